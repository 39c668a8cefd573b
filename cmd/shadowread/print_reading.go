package main

import (
	"cmp"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"shadowread/internal/angle"
	"shadowread/internal/instrument"
	"shadowread/internal/reading"
	"shadowread/internal/sheet"
	"shadowread/internal/wording"
)

// printer prints readings: as JSON, as a block for a single one on a terminal, else
// as rows of a table.
type printer struct {
	s       *streams
	table   *table // nil: blocks
	show    shown
	folder  string // of all photos, left out in the table; "" where they differ
	heading bool   // some reading had one
	proved  bool   // it was corrected by an instrument's record
	read    int    // readings with a heading
	checked int    // of them, how many clocks the shadow or a GPS stamp checked
}

// shown is what a table on a terminal shows only where it was asked for.
type shown struct {
	course bool // how far to come
	norths bool // headings from other norths than the true one
}

// newPrinter takes the paths that will be printed, none for a number read by eye.
func newPrinter(s *streams, paths []string, show shown) *printer {
	p := &printer{s: s, show: show}
	if s.outTTY && len(paths) < 2 {
		return p
	}
	if len(paths) > 1 {
		p.folder = filepath.Dir(paths[0])
		if slices.ContainsFunc(paths, func(path string) bool { return filepath.Dir(path) != p.folder }) {
			p.folder = ""
		}
	}
	photo, turn := 0, 0
	for _, path := range paths {
		photo = max(photo, utf8.RuneCountInString(p.label(path)))
	}
	if show.course {
		turn = utf8.RuneCountInString("come right 123.45°")
	}
	p.table = &table{s: s, columns: []column{
		{head: "photo", width: photo}, {head: "time UTC", width: 19}, {head: "body"}, {head: "altitude", right: true},
		{head: "heading", right: true, width: 8}, {head: "± 1 sigma", right: true}, {head: "come", width: turn}, {head: "largest", width: 10}, {head: "notes"},
	}}
	return p
}

// label is the end of a path, which tells photos apart on a terminal.
func (p *printer) label(path string) string {
	if p.folder != "" {
		path = filepath.Base(path)
	}
	const most = 40
	if r := []rune(path); len(r) > most {
		return "…" + string(r[len(r)-most+1:])
	}
	return path
}

func (p *printer) print(r *reading.Result) error {
	p.heading = p.heading || r.OK()
	p.proved = p.proved || r.Instrument != nil
	if r.OK() {
		p.read++
		if r.Clock == reading.ClockPassed || r.ClockProved {
			p.checked++
		}
	}
	switch {
	case p.s.json:
		return p.s.printJSON(r)
	case p.table == nil:
		_, err := fmt.Fprint(p.s.out, block(p.s, r))
		return err
	}
	return p.row(r)
}

// footer says once what holds for every row of a table.
func (p *printer) footer() {
	if p.table != nil && p.s.outTTY && !p.s.json && p.heading {
		of := "of the sheet's forward axis"
		if p.proved {
			of = "corrected by the instrument's record"
		}
		p.s.note("clocks", "the clock was checked, by the shadow or a GPS stamp, in %d of %d headings", p.checked, p.read)
		p.s.note("legend", "headings are true, %s; largest is the greatest term of the uncertainty", of)
	}
}

func (p *printer) row(r *reading.Result) error {
	notes := make([]string, 0, len(r.Warnings)+1)
	if !r.OK() {
		notes = append(notes, string(r.Reason))
	}
	for _, w := range r.Warnings {
		notes = append(notes, w.Code)
	}
	var st style
	var cells []string
	if p.s.outTTY {
		notes = append(otherNorths(r, p.show.norths), notes...)
		cells = p.forPeople(r, strings.Join(notes, ", "))
	} else {
		cells = forPipe(r, strings.Join(notes, ","))
	}
	for i := range cells { // a file's name may hold anything
		cells[i] = plain(cells[i])
	}
	if !r.OK() {
		st = red
	}
	if err := p.table.row(st, cells...); err != nil || r.OK() || !p.s.outTTY {
		return err
	}
	_, err := fmt.Fprintln(p.s.out, p.s.wrap(4, plain(r.Message)))
	return err
}

func (p *printer) forPeople(r *reading.Result, notes string) []string {
	cells := []string{p.label(r.Photo), "", "", "", "refused", "", "", "", notes}
	if t := r.Instant; t != nil {
		cells[1] = t.UTC.UTC().Format(time.DateTime)
	}
	if b := r.Sky; b != nil {
		cells[2], cells[3] = b.Body.String(), wording.Fixed(b.Altitude, 1)+"°"
	}
	if !r.OK() {
		return cells
	}
	n := wording.Places(r.Sigma)
	cells[4], cells[5] = wording.Bearing(*r.Heading, n)+"°", wording.Fixed(r.Sigma, n)+"°"
	if r.Come != nil {
		cells[6] = wording.Come(*r.Come, n)
	}
	cells[7] = r.Budget.Largest()
	return cells
}

func forPipe(r *reading.Result, notes string) []string {
	cells := []string{r.Photo, "", "", "", "", "", "", "", "", "", "", "", "", "", "", "", notes}
	if t := r.Instant; t != nil {
		cells[1] = t.UTC.UTC().Format(time.RFC3339Nano)
	}
	if b := r.Sky; b != nil {
		cells[2], cells[3] = b.Body.String(), wording.Fixed(b.Altitude, 4)
	}
	if !r.OK() {
		return cells
	}
	cells[4], cells[5] = wording.Bearing(*r.Heading, 4), wording.Fixed(r.Sigma, 4)
	if r.Come != nil {
		cells[6] = wording.Fixed(*r.Come, 4)
	}
	cells[7] = r.Budget.Largest()
	c := r.Compass
	for i, u := range []*reading.Uncertain{c.Magnetic, c.Deviated, c.Steer, c.Grid} {
		if u != nil {
			cells[8+2*i], cells[9+2*i] = wording.Bearing(u.Value, 4), wording.Fixed(u.Sigma, 4)
		}
	}
	return cells
}

// otherNorths names the headings from other norths, the magnetic ones if asked for.
func otherNorths(r *reading.Result, magnetic bool) (texts []string) {
	c := r.Compass
	add := func(name string, u *reading.Uncertain) {
		if magnetic && u != nil {
			texts = append(texts, name+" "+bearingWith(*u))
		}
	}
	add("magnetic", c.Magnetic)
	add("compass", c.Deviated)
	add("steer by compass", c.Steer)
	if c.Grid != nil {
		texts = append(texts, "grid "+bearingWith(*c.Grid))
	}
	return texts
}

// termMeanings says what the terms of the budget are.
var termMeanings = map[string]string{
	"level":      "rod from plumb across the shadow (--level-sigma)",
	"shadow_fit": "direction of the shadow's strip",
	"sheet_map":  "sheet to picture: lens, camera, flatness",
	"print":      "stretch of the print (--print-scale)",
	"alignment":  "sheet's forward axis against the vehicle (--alignment-sigma)",
	"time":       "clock (--time-sigma)",
	"position":   "place (--position-sigma)",
	"body":       "computed azimuth",
}

// block lays one reading out for people, the heading first.
func block(s *streams, r *reading.Result) string {
	var b strings.Builder
	line := func(label, format string, args ...any) {
		fmt.Fprintf(&b, "%-12s %s\n", label, plain(fmt.Sprintf(format, args...)))
	}
	if r.OK() {
		n := wording.Places(r.Sigma)
		head := fmt.Sprintf("%s %s° true ± %s° (one sigma)", headingName(r), wording.Bearing(*r.Heading, n), wording.Fixed(r.Sigma, n))
		if r.Come != nil {
			head += ", " + wording.Come(*r.Come, n) + " to steer " + wording.Bearing(*r.Course, n) + "°"
		}
		if r.MoonTaken {
			head += ", by the moon: the sun is down"
		}
		fmt.Fprintf(&b, "%s\n", s.paint(bold, head))
	} else {
		fmt.Fprintf(&b, "%s\n", s.paint(red, "no heading: "+string(r.Reason)))
		fmt.Fprintln(&b, s.wrap(2, plain(r.Message)))
	}
	if text := clockText(r); text != "" {
		fmt.Fprintln(&b, strings.TrimSpace(s.wrap(0, text)))
	}
	b.WriteByte('\n')
	if r.Photo != "" {
		line("photo", "%s", r.Photo)
	}
	if n := r.Number; n != nil {
		stretched := ""
		if r.Printed != 0 {
			stretched = ", on a print that turns it by " + wording.Signed(r.Printed, 2)
		}
		line("number", "%s under the shadow, which lies %s° clockwise of the arrow%s",
			wording.Bearing(*n, 2), wording.Bearing((math.Pi-*n-r.Printed).Bearing(), 2), stretched)
	}
	if sky := r.Sky; sky != nil {
		line(sky.Body.String(), "azimuth %s°, altitude %s°", wording.Bearing(sky.Azimuth, 2), wording.Fixed(sky.Altitude, 2))
	}
	if t := r.Instant; t != nil {
		line("time", "%s UTC ± %s (%s)", t.UTC.UTC().Format("2006-01-02 15:04:05.999"), spanText(t.Sigma), t.Source)
	}
	if p := r.Place; p != nil {
		line("position", "%s ± %s km (%s)", p.Position, compact(p.SigmaKM), p.Source)
	}
	norths(line, r)
	if r.Photo != "" {
		text := fmt.Sprintf("%d of %d found", r.MarksFound, len(sheet.Standard.Marks))
		if f := r.Plate; f != nil {
			text += fmt.Sprintf(", map residual %.2f px, %.3f mm on the sheet", f.ResidualPx*float64(r.Picture.Factor), f.ResidualMM)
		}
		line("marks", "%s", text)
	}
	switch r.LensSource {
	case reading.LensFromFile:
		line("lens", "%s", r.Lens.Path)
	case reading.LensFromStore:
		line("lens", "%s, of this camera in the store of lenses", filepath.Base(r.Lens.Path))
	}
	if i := r.Instrument; i != nil && r.OK() {
		line("instrument", "%s", instrumentText(i, r.Correction))
	}
	if r.Tilt != nil {
		line("board", "%s", tiltText(r))
	}
	if sh := r.Shadow; sh != nil {
		text := fmt.Sprintf("passes the foot by %.2f mm", math.Abs(sh.FootOffset))
		if sh.Length > 0 {
			text += fmt.Sprintf(", %.1f mm long", sh.Length)
		}
		if a := r.AltitudeFromShadow; a != nil {
			text += fmt.Sprintf(", which shows an altitude of %s°", wording.Fixed(*a, 1))
		}
		line("shadow", "%s", text)
	}
	if l := r.RodSlope; l != nil {
		off, toward, sigma := l.Lean()
		n := wording.Places(sigma)
		text := fmt.Sprintf("%s° ± %s° from square to the sheet towards %s°, seen across the line of sight", wording.Fixed(off, n), wording.Fixed(sigma, n), wording.Bearing(toward, 0))
		if r.PlumbLine {
			text += ": so much is the sheet out of level"
		}
		line("rod", "%s", text)
	}
	if r.Budget != nil && r.OK() {
		b.WriteString("\nuncertainty, one sigma\n")
		terms := r.Budget.Terms()
		slices.SortStableFunc(terms, func(a, b reading.Term) int { return cmp.Compare(b.Sigma, a.Sigma) })
		for _, t := range terms {
			meaning := termMeanings[t.Name]
			if r.PlumbLine && t.Name == "level" {
				meaning = "sheet from level (--level-sigma), squared"
			}
			if p := r.LevelParts; p != nil && t.Name == "level" {
				meaning = fmt.Sprintf("board's tilt %s°, rod square to it %s° (--square-sigma)", wording.Fixed(p.Tilt, 3), wording.Fixed(p.Square, 3))
			} else if r.Instrument != nil && (t.Name == "level" || t.Name == "alignment") {
				meaning = "what the instrument's record leaves open"
			}
			fmt.Fprintf(&b, "  %-10s %6s°  %s\n", strings.ReplaceAll(t.Name, "_", " "), wording.Fixed(t.Sigma, 3), meaning)
		}
		if r.Budget.Alignment == 0 && r.Instrument == nil {
			b.WriteString("  the heading is the sheet's: nothing was said of how it lies in the vehicle\n")
		}
	}
	if len(r.Warnings) > 0 {
		b.WriteByte('\n')
	}
	for _, w := range r.Warnings {
		fmt.Fprintf(&b, "%s\n%s\n", s.paint(yellow, "warning "+w.Code), s.wrap(2, plain(w.Message)))
	}
	if r.OK() {
		fmt.Fprintf(&b, "\n%s\n", s.paint(dim, "never the sole means of navigation; see shadowread help cautions"))
	}
	return b.String()
}

// headingName says whether what was proved of the instrument is in the heading.
func headingName(r *reading.Result) string {
	if r.Instrument != nil {
		return "corrected heading"
	}
	return "heading"
}

// instrumentText says what a record did to a heading.
func instrumentText(i *instrument.Record, correction angle.Angle) string {
	text := "the " + string(i.Gnomon)
	if i.Name != "" {
		text = i.Name + ", a " + string(i.Gnomon)
	}
	text += ": corrected by " + wording.Signed(correction, 2)
	if i.Proved.Lubber == nil {
		return text + ", to the sheet's forward axis"
	}
	return text + ", to the vehicle"
}

// norths says what other norths make of the heading.
func norths(line func(label, format string, args ...any), r *reading.Result) {
	c := r.Compass
	if m := c.Magnetic; m != nil {
		line("magnetic", "heading %s = true − declination %s (%s)", bearingWith(*m), wording.SignedWith(c.Declination.Value, c.Declination.Sigma), declinationSource(*c.Declination))
	}
	if d := c.Deviated; d != nil {
		text := "heading " + bearingWith(*d) + " = magnetic − deviation"
		if c.Steer != nil {
			text += ", steer " + bearingWith(*c.Steer) + " by it for the course"
		}
		line("compass", "%s", text)
	}
	if g := c.Grid; g != nil {
		rule := "true − longitude"
		if r.Place.Position.Lat < 0 {
			rule = "true + longitude"
		}
		line("grid", "heading %s = %s: grid north is the direction of the Greenwich meridian", bearingWith(*g), rule)
	}
}

// bearingWith prints a bearing with its sigma.
func bearingWith(u reading.Uncertain) string {
	n := wording.Places(u.Sigma)
	return fmt.Sprintf("%s° ± %s°", wording.Bearing(u.Value, n), wording.Fixed(u.Sigma, n))
}

// compact prints a sigma that may be a tenth or some thousands.
func compact(x float64) string { return strconv.FormatFloat(x, 'g', 3, 64) }

// spanText prints a sigma of a time as people say it: 30 s, 2.5 min, 1 h, 3 days.
func spanText(d time.Duration) string {
	x, unit := d.Seconds(), "s"
	switch {
	case d >= 48*time.Hour:
		x, unit = x/86400, "days"
	case d >= time.Hour:
		x, unit = x/3600, "h"
	case d >= 2*time.Minute:
		x, unit = x/60, "min"
	}
	if x >= 1000 { // three digits would be written as a power of ten
		return strconv.FormatFloat(x, 'f', 0, 64) + " " + unit
	}
	return compact(x) + " " + unit
}

// clockText says how far the clock is checked, first of all by the shadow; "" where there
// is nothing to check.
func clockText(r *reading.Result) string {
	a := r.AltitudeFromShadow
	if r.Sky == nil || r.Number == nil {
		return ""
	}
	if a == nil {
		if r.ClockProved {
			return "clock checked by the photo's GPS stamp, not by the shadow: " + r.WhyNotChecked()
		}
		return "clock not checked: " + r.WhyNotChecked()
	}
	most := ""
	if r.AltitudeAtMost {
		most = "at most "
	}
	text := fmt.Sprintf("%s %s%s° ± %s° by its length, %s° by the clock", r.Sky.Body, most, wording.Fixed(*a, 1), wording.Fixed(r.AltitudeSigma, 1), wording.Fixed(r.Sky.Altitude, 1))
	switch r.Clock {
	case reading.ClockFailed:
		return "clock contradicted by the shadow: " + text
	case reading.ClockWeak:
		text = "clock hardly checked by the shadow: " + text
		if other := r.OtherHoursText(); other != "" {
			return text + "; " + other
		}
		return text + "; the altitude hardly changes about this time"
	}
	return "clock checked by the shadow: " + text
}
