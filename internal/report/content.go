// Package report writes a journey down for people: one HTML file with everything in it,
// or a PDF. Day by day it has the entries, then what was corrected, the fixes with their
// closing errors, the adjustment beside the compass rule's, the overlays of the photos,
// and the instrument and compass used; what to beware of comes first.
//
// The bytes depend on what is given alone.
package report

import (
	"bytes"
	"cmp"
	"fmt"
	"image"
	"image/jpeg"
	"math"
	"slices"
	"strings"
	"time"

	"golang.org/x/image/draw"

	"shadowread/internal/angle"
	"shadowread/internal/chart"
	"shadowread/internal/compass"
	"shadowread/internal/geo"
	"shadowread/internal/instrument"
	"shadowread/internal/journey"
	"shadowread/internal/logbook"
	"shadowread/internal/wording"
	"shadowread/internal/workup"
)

// Input is what a report is made of.
type Input struct {
	Title string // empty stands for the journey's number
	Track *logbook.Track
	// Entries are all of the journey, superseded ones too: the log's List.
	Entries []logbook.Entry
	// Where is where the journey is; nil while its position is lost.
	Where *logbook.Whereabouts
	// Overlay returns an entry's overlay as JPEG, nil if there is none: the log's
	// Evidence. Nil leaves overlays out.
	Overlay func(entry int) ([]byte, error)
	// Instrument and Compass are those used; nil where there was none.
	Instrument *instrument.Record
	Compass    *compass.Card
	// Settings hold for the journey: lengths are in its unit, positions in its form.
	Settings logbook.Settings
	// UTCOffset is the report's clock, east positive.
	UTCOffset time.Duration
}

// document is a report in words, the same for HTML and PDF.
type document struct {
	Title    string
	Subtitle string
	Clock    string
	Summary  []pair
	Cautions []string
	Chart    *chart.Chart // nil if no position is known
	Days     []table
	Replaced table // corrected and withdrawn entries
	Fixes    table
	Learnt   []string // of the instruments, by each fix
	Adjusted table
	Overlays []overlay
	Used     []section // instrument and compass
	Notes    []string  // how to read it
}

type pair struct{ Label, Value string }

// table is made of texts, under a title and perhaps a line of text. Share is how wide
// each column is in a PDF, in parts of the whole; Right says which are figures.
type table struct {
	Title string
	Line  string
	Heads []string
	Share []float64
	Right []bool
	Rows  [][]string
}

// Class says how a column is set on the page: figures to the right, words broken into
// lines, anything else on one.
func (t table) Class(column int) string {
	switch h := t.Heads[column]; {
	case t.Right[column]:
		return "figures"
	case slices.Contains([]string{"what", "what it said", "source", "note", "replaced by"}, h):
		return "words"
	}
	return ""
}

type section struct {
	Title string
	Pairs []pair
}

type overlay struct {
	Caption string
	JPEG    []byte
	Size    image.Point
}

type composer struct {
	in Input
	j  *journey.Journey
	document
}

// compose puts a report into words. It fails as Overlay does.
func compose(in Input) (*document, error) {
	c := &composer{in: in, j: journey.FromTrack(in.Track)}
	c.Title = cmp.Or(in.Title, fmt.Sprintf("Journey %d", in.Track.Journey))
	c.Clock = "UTC" + geo.FormatOffset(in.UTCOffset)
	first, last := c.j.Points[0].Time, c.timeOf(len(c.j.Points)-1)
	c.Subtitle = fmt.Sprintf("%s to %s. All times are %s.", c.date(first), c.date(last), c.Clock)
	if c.date(first) == c.date(last) {
		c.Subtitle = fmt.Sprintf("%s. All times are %s.", c.date(first), c.Clock)
	}
	if drawn, err := chart.Draw(c.j, c.Title); err == nil {
		c.Chart = drawn
	}
	c.summary()
	c.days()
	c.replaced()
	c.fixes()
	c.adjustment()
	if err := c.overlays(); err != nil {
		return nil, err
	}
	c.used()
	c.cautions()
	c.Notes = []string{
		"The position on the way is what headings and distances give from the departure or the last fix used. The adjusted position takes all fixes into account, those that came later too (weighted least squares).",
		"A ± holds 95 %; how good a departure or a fix is, is one sigma on each axis, as given. The 95 % ellipse is given by its long and short semi-axis and the bearing of the long one; it holds the true position in 95 of 100 cases if the errors allowed for are those of the vehicle.",
		"The closing error runs from the position on the way to the fix. One per cent of the distance run is common practice for a good day. The compass rule shares it out by distance run, whatever the errors are; it is given for comparison.",
		"Bearings and headings run clockwise from true north.",
	}
	return &c.document, nil
}

func (c *composer) local(t time.Time) time.Time {
	return t.In(time.FixedZone("", int(c.in.UTCOffset/time.Second)))
}

// timeOf is when an entry was. Settings have the time of their writing alone, which may be
// long after the day that they stand in: they go with the entry before them.
func (c *composer) timeOf(i int) time.Time {
	for i > 0 && c.j.Points[i].Kind == logbook.KindSettings {
		i--
	}
	return c.j.Points[i].Time
}

func (c *composer) date(t time.Time) string { return c.local(t).Format("2 January 2006") }

func (c *composer) clock(t time.Time) string { return c.local(t).Format("15:04") }

func (c *composer) moment(t time.Time) string { return c.date(t) + " " + c.clock(t) }

// unit is the journey's.
func (c *composer) unit() logbook.Unit { return c.in.Settings.UnitOr() }

func (c *composer) ellipse(cov workup.Cov) string {
	e, u := cov.Ellipse95(), c.unit()
	if e.Major-e.Minor < e.Major/50 { // a circle has no long axis
		return u.Near(e.Major)
	}
	return fmt.Sprintf("%s × %s, %03.0f°", u.Near(e.Major), u.Near(e.Minor), math.Mod(math.Round(e.Bearing.Degrees()), 180))
}

func heading(h, sigma angle.Angle) (string, string) {
	n := wording.SteerPlaces(sigma)
	return wording.ThreeFigures(h, n), wording.Fixed(wording.Within95(sigma), n) + "°"
}

// signed writes a number with its sign, as it is set in print; a zero has none.
func signed(v float64, places int) string {
	return strings.Replace(wording.SignedNumber(v, places), "-", "−", 1)
}

// way returns the length of the adjusted track between two points, passing none that is
// lost.
func (c *composer) way(from, to int) (sum geo.Metres) {
	for i := from + 1; i <= to; i++ {
		a, b := &c.j.Points[i-1], &c.j.Points[i]
		if a.At == nil || b.At == nil {
			continue
		}
		before := a.At.Adjusted
		for _, next := range append(b.Via, *b.At) {
			if _, l, err := geo.RhumbInverse(before, next.Adjusted); err == nil {
				sum += l
			}
			before = next.Adjusted
		}
	}
	return sum
}

func (c *composer) summary() {
	points := c.j.Points
	add := func(label, format string, args ...any) {
		c.Summary = append(c.Summary, pair{label, fmt.Sprintf(format, args...)})
	}
	if d, ok := c.in.Track.Points[0].Entry.Content.(*logbook.Departure); ok {
		add("Departure", "%s, %s, good to %s (%s)", c.moment(points[0].Time), c.in.Settings.Place(d.Position), wording.Length(d.Sigma), cmp.Or(d.Source, "source not noted"))
	}
	add("Run", "%s in %s, %s", c.unit().Text(c.way(0, len(points)-1)), wording.Count(len(c.j.Legs), "leg"), entries(len(points)))
	w := c.in.Where
	if w == nil {
		add("Where we are", "not known: the position is lost")
		return
	}
	e := &w.Estimate
	add("Where we are", "%s at %s", c.in.Settings.Place(e.Position), c.moment(e.Time))
	add("How sure", "95 %% ellipse %s", c.ellipse(e.Cov))
	add("Since", "%s, the last fix used or the departure; %s logged since then", c.moment(e.Since), c.unit().Text(e.Run))
	if e.Steered {
		add("Heading of the current leg", "%s true%s, with what the fixes have taught of the instrument", wording.ThreeFigures(e.Heading, 1), wording.GridBeside(e.Heading, e.Position))
	}
}

// days divides the entries by the report's calendar.
func (c *composer) days() {
	from := 0
	for i := range c.j.Points {
		if i+1 < len(c.j.Points) && c.date(c.timeOf(i)) == c.date(c.timeOf(i+1)) {
			continue
		}
		legs := map[int]bool{}
		for k := from; k <= i; k++ {
			if c.j.Points[k].Kind == logbook.KindLeg {
				legs[c.j.Points[k].Leg] = true
			}
		}
		d := table{
			Title: c.local(c.timeOf(i)).Format("Monday 2 January 2006"),
			Line:  fmt.Sprintf("%s, %s, %s run (adjusted track).", entries(i-from+1), wording.Count(len(legs), "change")+" of leg", c.unit().Text(c.way(max(from-1, 0), i))),
			Heads: []string{"time", "entry", "what", "heading", "±", "odometer", "position, adjusted", "95 % ellipse", "note"},
			Share: []float64{8, 7, 25, 11, 6, 14, 22, 23, 22},
			Right: []bool{false, true, false, true, true, true, false, false, false},
		}
		for k := from; k <= i; k++ {
			d.Rows = append(d.Rows, c.entry(k))
		}
		c.Days = append(c.Days, d)
		from = i + 1
	}
}

func (c *composer) entry(i int) []string {
	p := &c.j.Points[i]
	number := ""
	switch {
	case p.Fix != nil:
		number = fmt.Sprintf(" %d", p.Fix.Number)
	case p.Kind == logbook.KindLeg:
		number = fmt.Sprintf(" %d", p.Leg)
	}
	row := append([]string{c.clock(p.Time), fmt.Sprint(p.Entry)}, said(c.in.Track.Points[i].Entry.Content, number, c.unit())...)
	if p.Kind == logbook.KindSettings {
		row[0] = ""
	}
	if p.Fix != nil && !p.Fix.Used() {
		row[2] += "; not used"
	}
	if leg, ok := p.Content.(*logbook.Leg); ok && p.At != nil {
		row[3] += grid(leg, p.At.Adjusted)
	}
	switch {
	case p.Placed():
		row = append(row, c.in.Settings.Place(p.At.Adjusted), c.ellipse(p.At.AdjustedCov))
	case p.Kind == logbook.KindNote, p.Kind == logbook.KindSettings:
		row = append(row, "", "")
	default:
		row = append(row, "lost", "")
	}
	return append(row, p.Note)
}

// said returns what an entry says: what it is, its heading with the sigma, the way. A leg
// or fix gets its number.
func said(content logbook.Content, number string, unit logbook.Unit) []string {
	switch e := content.(type) {
	case *logbook.Departure:
		if e.Odometer != nil {
			return []string{"departure", "", "", e.Odometer.String()}
		}
	case *logbook.Leg:
		h, sigma := "none yet", ""
		switch {
		case e.Hand != nil:
			h, sigma = heading(e.Hand.Heading, e.Hand.Sigma)
		case e.Reading != nil:
			h, sigma = heading(e.Reading.Heading, e.Reading.Sigma)
		}
		return []string{"leg" + number + ", " + how(e), h, sigma, run(&e.Run, unit)}
	case *logbook.Detour:
		return []string{"detour: " + detour(e, unit), "", "", run(&e.Run, unit)}
	case *logbook.Halt:
		return []string{"halt", "", "", run(&e.Run, unit)}
	case *logbook.Fix:
		return []string{"fix" + number + ", " + cmp.Or(e.Source, "source not noted"), "", "", run(&e.Run, unit)}
	case *logbook.Remount:
		return []string{"instrument put on anew", "", "", ""}
	case *logbook.Tyres:
		return []string{"tyres changed, or their pressure", "", "", run(&e.Run, unit)}
	case *logbook.Settings:
		return []string{"settings: " + settings(e), "", "", ""}
	case *logbook.OdometerSet:
		return []string{"odometer set to " + e.After.String(), "", "", run(&e.Run, unit)}
	}
	return []string{string(content.Kind()), "", "", ""}
}

// settings names what is stated otherwise from here on.
func settings(s *logbook.Settings) string {
	names := s.Says()
	for _, key := range s.Forgotten {
		names = append(names, key+" no longer")
	}
	return strings.ReplaceAll(strings.Join(names, ", "), "_", " ")
}

// entries counts them.
func entries(n int) string {
	if n == 1 {
		return "1 entry"
	}
	return fmt.Sprintf("%d entries", n)
}

// grid is a leg's heading from polar grid north, to stand beside the true one near a pole.
func grid(leg *logbook.Leg, p geo.Position) string {
	switch {
	case leg.Hand != nil:
		return wording.GridBeside(leg.Hand.Heading, p)
	case leg.Reading != nil:
		return wording.GridBeside(leg.Reading.Heading, p)
	}
	return ""
}

// replaced lists what was corrected or withdrawn, as it was said first.
func (c *composer) replaced() {
	c.Replaced = table{
		Title: "Corrections",
		Line:  "What was corrected or withdrawn, as it stood before. The log keeps it.",
		Heads: []string{"entry", "time", "what it said", "heading", "±", "odometer", "note", "replaced by", "that was written"},
		Share: []float64{7, 20, 25, 11, 6, 14, 20, 13, 20},
		Right: []bool{true, false, false, true, true, true, false, false, false},
	}
	by := map[int]*logbook.Entry{}
	for i := range c.in.Entries {
		by[c.in.Entries[i].Number] = &c.in.Entries[i]
	}
	for i := range c.in.Entries {
		e := &c.in.Entries[i]
		next := by[e.SupersededBy]
		if next == nil {
			continue
		}
		row := append([]string{fmt.Sprint(e.Number), c.moment(e.Time)}, said(e.Content, "", c.unit())...)
		switch old := e.Content.(type) {
		case *logbook.Departure:
			row[2] += ", " + c.in.Settings.Place(old.Position)
		case *logbook.Fix:
			row[2] += ", " + c.in.Settings.Place(old.Position)
		}
		what := fmt.Sprintf("entry %d", next.Number)
		if next.Kind() == logbook.KindWithdrawal {
			what = "nothing: withdrawn"
			if next.Note != "" {
				what += ", " + next.Note
			}
		}
		c.Replaced.Rows = append(c.Replaced.Rows, append(row, e.Note, what, c.moment(next.Written)))
	}
}

func how(l *logbook.Leg) string {
	text := map[logbook.How]string{logbook.ByPhoto: "photo", logbook.ByNumber: "number read by eye", logbook.ByHand: "by hand"}[l.How]
	if l.Photo != nil {
		text = "photo " + l.Photo.Name
		if l.Photo.Refused != "" {
			text += " refused"
		}
		if l.Hand != nil {
			text += ", heading by hand"
		}
	}
	return text
}

func detour(d *logbook.Detour, unit logbook.Unit) string {
	var legs []string
	for _, l := range d.Legs {
		legs = append(legs, wording.ThreeFigures(l.Heading.Heading, 0)+" to "+cmp.Or(run(&l.Run, unit), "?"))
	}
	return strings.Join(legs, ", ")
}

// run writes the way since the entry before as it was logged.
func run(r *logbook.Run, unit logbook.Unit) string {
	var parts []string
	if r.Odometer != nil {
		parts = append(parts, r.Odometer.String())
	}
	if s := r.Speed; s != nil {
		text := fmt.Sprintf("%.0f %s", float64(s.Mean)*3600/float64(unit.Length()), unit.PerHour())
		if s.For > 0 {
			text += " for " + wording.Span(s.For)
		}
		parts = append(parts, text)
	}
	if r.Distance != nil {
		parts = append(parts, unit.Text(r.Distance.Length))
	}
	return strings.Join(parts, "; ")
}

func (c *composer) fixes() {
	c.Fixes = table{
		Title: "Fixes and closing errors",
		Heads: []string{"fix", "time", "source", "good to", "closing error", "on", "run since", "% of run", "sigmas", "used"},
		Share: []float64{5, 22, 20, 10, 15, 10, 13, 10, 8, 11},
		Right: []bool{true, false, false, true, true, true, true, true, true, false},
	}
	for i := range c.j.Points {
		p := &c.j.Points[i]
		f := p.Fix
		if f == nil {
			continue
		}
		row := []string{fmt.Sprint(f.Number), c.moment(p.Time), f.Source, wording.Length(f.Sigma), "–", "–", "–", "–", "–", "yes, begins anew"}
		if k := f.Closing; k != nil {
			row = append(row[:4], c.unit().Near(k.Distance), wording.ThreeFigures(k.Bearing, 1), c.unit().Text(k.Run), "–", fmt.Sprintf("%.1f", k.Sigmas), "yes")
			if k.Run > 0 {
				row[7] = fmt.Sprintf("%.2f", k.PerCent)
			}
			if k.Blunder {
				row[9] = "yes, confirmed"
			}
			if k.Used {
				c.Learnt = append(c.Learnt, learnt(f.Number, k))
			}
		}
		if !f.Used() {
			row[9] = "no"
		}
		c.Fixes.Rows = append(c.Fixes.Rows, row)
	}
}

// learnt says what a fix has taught of the instruments.
func learnt(number int, k *workup.Closing) string {
	if k.Blunder {
		return fmt.Sprintf("Fix %d lies further off than the errors allowed for explain, and was confirmed: it moves the track and teaches nothing of the instruments.", number)
	}
	s := &k.Shared
	text := fmt.Sprintf("After fix %d: lubber line %s° ± %.1f°; odometer scale %s %% ± %.1f %%; rod's lean to starboard %s° ± %.1f°, forward %s° ± %.1f°",
		number, signed(s.Mount.Degrees(), 1), wording.Within95(s.MountSigma).Degrees(), signed(100*s.Scale, 1), 196*s.ScaleSigma,
		signed(s.LeanX.Degrees(), 1), wording.Within95(s.LeanXSigma).Degrees(), signed(s.LeanY.Degrees(), 1), wording.Within95(s.LeanYSigma).Degrees())
	if s.DriftNSigma > 0 || s.DriftESigma > 0 {
		text += fmt.Sprintf("; drift north %s ± %.2f m/s, east %s ± %.2f m/s",
			signed(float64(s.DriftN), 2), 1.96*s.DriftNSigma, signed(float64(s.DriftE), 2), 1.96*s.DriftESigma)
	}
	return text + "."
}

// adjustment lists what the fixes moved, beside the compass rule.
func (c *composer) adjustment() {
	if !c.j.IsAdjusted() {
		return
	}
	c.Adjusted = table{
		Title: "Adjustment",
		Line:  "How far each entry was moved from its position on the way: by all fixes and all that is known of the errors, and beside it by the compass rule.",
		Heads: []string{"entry", "time", "what", "position on the way", "moved by", "on", "compass rule", "on"},
		Share: []float64{8, 20, 15, 24, 14, 9, 14, 9},
		Right: []bool{true, false, false, false, true, true, true, true},
	}
	for i := range c.j.Points {
		p := &c.j.Points[i]
		if !p.Placed() || p.Kind == logbook.KindNote {
			continue
		}
		what := strings.ReplaceAll(string(p.Kind), "_", " ")
		switch p.Kind {
		case logbook.KindLeg:
			what = fmt.Sprintf("leg %d", p.Leg)
		case logbook.KindFix:
			what = fmt.Sprintf("fix %d", p.Fix.Number)
		}
		row := []string{fmt.Sprint(p.Entry), c.moment(p.Time), what, c.in.Settings.Place(p.At.Estimated)}
		for _, to := range []geo.Position{p.At.Adjusted, p.At.Proportional} {
			course, distance, err := geo.GeodesicInverse(p.At.Estimated, to)
			switch {
			case err != nil:
				row = append(row, "–", "–")
			case distance < 0.5:
				row = append(row, "0 m", "")
			default:
				row = append(row, c.unit().Near(distance), wording.ThreeFigures(course, 0))
			}
		}
		c.Adjusted.Rows = append(c.Adjusted.Rows, row)
	}
}

// Bounds of an overlay: one that was made by this program is far below the first; the
// second is wide enough for its lettering.
const (
	mostPixels   = 40e6
	overlayWidth = 720
)

func (c *composer) overlays() error {
	if c.in.Overlay == nil {
		return nil
	}
	for i := range c.in.Track.Points {
		e := &c.in.Track.Points[i].Entry
		leg, ok := e.Content.(*logbook.Leg)
		if !ok || leg.Photo == nil {
			continue
		}
		data, err := c.in.Overlay(e.Number)
		if err != nil {
			return err
		}
		if data == nil {
			continue
		}
		caption := fmt.Sprintf("Leg %d, entry %d, %s: %s", c.j.Points[i].Leg, e.Number, c.moment(e.Time), leg.Photo.Name)
		if r := leg.Reading; r != nil {
			h, sigma := heading(r.Heading, r.Sigma)
			caption += fmt.Sprintf(", %s ± %s", h, sigma)
		} else if leg.Photo.Message != "" {
			caption += "; refused: " + leg.Photo.Message
		}
		if leg.Hand != nil {
			h, sigma := heading(leg.Hand.Heading, leg.Hand.Sigma)
			caption += fmt.Sprintf("; heading by hand: %s ± %s", h, sigma)
		}
		small, size, err := shrink(data)
		if err != nil {
			c.Cautions = append(c.Cautions, fmt.Sprintf("The overlay of entry %d cannot be shown: it is no JPEG picture that can be read.", e.Number))
			continue
		}
		c.Overlays = append(c.Overlays, overlay{caption, small, size})
	}
	return nil
}

// shrink returns a JPEG picture no wider than overlayWidth.
func shrink(data []byte) ([]byte, image.Point, error) {
	head, err := jpeg.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return nil, image.Point{}, err
	}
	if float64(head.Width)*float64(head.Height) > mostPixels {
		return nil, image.Point{}, fmt.Errorf("%d x %d pixels are too many", head.Width, head.Height)
	}
	picture, err := jpeg.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, image.Point{}, err
	}
	size := image.Point{head.Width, head.Height}
	if size.X > overlayWidth {
		size = image.Point{overlayWidth, max(1, size.Y*overlayWidth/size.X)}
	}
	out := image.NewRGBA(image.Rectangle{Max: size})
	draw.CatmullRom.Scale(out, out.Bounds(), picture, picture.Bounds(), draw.Src, nil)
	var b bytes.Buffer
	err = jpeg.Encode(&b, out, &jpeg.Options{Quality: 80})
	return b.Bytes(), size, err
}

func (c *composer) used() {
	if r := c.in.Instrument; r != nil {
		s := section{Title: "Sun compass: " + r.Name}
		add := func(label, format string, args ...any) {
			s.Pairs = append(s.Pairs, pair{label, fmt.Sprintf(format, args...)})
		}
		add("Gnomon", "%s", r.Gnomon)
		if r.HeightMM > 0 {
			add("Height", "%.1f mm above the sheet", r.HeightMM)
		}
		if r.Found.IsZero() {
			add("Proved", "nothing yet")
		} else {
			add("Proved", "%s, %s", c.date(r.Found), r.How)
		}
		if r.Proved.Lubber != nil {
			add("Lubber line", "%s° to be added to the heading", signed(r.Proved.Lubber.Degrees(), 2))
		}
		x, y := r.Proved.Lean.Angles()
		add("Lean", "%s° to starboard, %s° forward", signed(x.Degrees(), 2), signed(y.Degrees(), 2))
		add("Setting up anew", "level ± %.1f°, lubber line ± %.1f°", wording.Within95(r.LevelSigma).Degrees(), wording.Within95(r.AlignmentSigma).Degrees())
		c.Used = append(c.Used, s)
	}
	if card := c.in.Compass; card != nil {
		s := section{Title: "Magnetic compass: " + card.Title}
		s.Pairs = append(s.Pairs, pair{"Swung", c.date(card.Swung)})
		var coefficients []string
		for i, v := range card.Coefficients {
			coefficients = append(coefficients, fmt.Sprintf("%c %s°", 'A'+i, signed(v.Degrees(), 1)))
		}
		s.Pairs = append(s.Pairs, pair{"Coefficients", strings.Join(coefficients, ", ")})
		var values []string
		for h := 0; h < 360; h += 45 {
			d, sigma := card.DeviationAt(angle.FromDegrees(float64(h)))
			values = append(values, fmt.Sprintf("%03d° %s° ± %.1f°", h, signed(d.Degrees(), 1), wording.Within95(sigma).Degrees()))
		}
		s.Pairs = append(s.Pairs, pair{"Deviation by compass", strings.Join(values, "; ")})
		c.Used = append(c.Used, s)
	}
}

// goodDay is the closing error of a good day in per cent of the distance run (common
// practice).
const goodDay = 1.0

// cautions says what a reader must not overlook.
func (c *composer) cautions() {
	var cs []string
	add := func(format string, args ...any) { cs = append(cs, fmt.Sprintf(format, args...)) }
	for _, l := range c.in.Track.Lost {
		add("The position was lost at entry %d: %s. %s.", l.Entry, l.Message, capital(l.Hint))
	}
	byHand := 0
	for i := range c.in.Track.Points {
		p := &c.j.Points[i]
		if leg, ok := c.in.Track.Points[i].Entry.Content.(*logbook.Leg); ok {
			switch {
			case leg.NeedsHeading():
				add("Leg %d (entry %d) has no heading yet: it is run on in no direction known, and the ellipses after it are as large as it is long.", p.Leg, p.Entry)
			case leg.Hand != nil:
				byHand++
			}
		}
		f := p.Fix
		if f == nil || f.Closing == nil {
			continue
		}
		k := f.Closing
		switch {
		case !k.Used:
			add("Fix %d (entry %d) lies %s off, %.1f sigma, and is not used until it is confirmed: one of the two is wrong.", f.Number, p.Entry, c.unit().Near(k.Distance), k.Sigmas)
		case k.Blunder:
			add("Fix %d (entry %d) was confirmed though it lies %.1f sigma off: look for a leg left out or a wrong reading before it.", f.Number, p.Entry, k.Sigmas)
		case k.Run > 0 && k.PerCent > goodDay:
			add("Fix %d closes with %.1f %% of the distance run; 1 %% is common practice for a good day.", f.Number, k.PerCent)
		}
	}
	if byHand > 0 {
		add("Headings by hand: %d of %s.", byHand, wording.Count(len(c.j.Legs), "leg"))
	}
	if !c.j.IsAdjusted() {
		add("No fix closes the journey: nothing has shown how good the positions are.")
	}
	if c.in.Instrument == nil {
		add("No record of the sun compass was given: its lubber line and the rod's lean are allowed for by default.")
	}
	cs = append(cs, c.Cautions...)
	c.Cautions = append(cs, "Never the sole means of navigation: compare these positions with others, and let local rules and licensed practice come first.")
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
