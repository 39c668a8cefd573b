package main

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/reading"
	"shadowread/internal/wording"
	"shadowread/internal/workup"
)

// The JSON objects of shadowread log. Angles are degrees, lengths metres, times UTC.
type (
	entryJSON struct {
		Entry        int            `json:"entry"`
		Journey      int            `json:"journey"`
		Kind         logbook.Kind   `json:"kind"`
		Time         time.Time      `json:"time_utc"`
		Written      time.Time      `json:"written_utc"`
		Supersedes   *int           `json:"supersedes"`
		SupersededBy *int           `json:"superseded_by"`
		Note         string         `json:"note"`
		Way          *wayJSON       `json:"way"`
		How          *logbook.How   `json:"how"` // of a leg's heading
		Heading      *float64       `json:"heading_true_deg"`
		HeadingSigma *float64       `json:"heading_sigma_deg"`
		NeedsHeading bool           `json:"needs_heading"`
		Photo        *logbook.Photo `json:"photo"`
		Position     *spotJSON      `json:"position"` // of a departure or fix
		Source       *string        `json:"source"`
		Confirmed    *bool          `json:"confirmed"` // of a fix
		Legs         []shortLegJSON `json:"legs"`      // of a detour
		Reads        *string        `json:"reads"`     // of a new odometer
	}
	shortLegJSON struct {
		Heading float64  `json:"heading_true_deg"`
		Sigma   float64  `json:"heading_sigma_deg"`
		Way     *wayJSON `json:"way"`
	}
	wayJSON struct {
		Odometer      *string  `json:"odometer"` // as given, with its unit
		RolledOver    *int     `json:"rolled_over_digits"`
		Speed         *float64 `json:"speed_kmh"`
		SpeedSigma    *float64 `json:"speed_sigma_kmh"`
		UnderWay      *float64 `json:"under_way_s"`
		Distance      *float64 `json:"distance_m"`
		DistanceSigma *float64 `json:"distance_sigma_m"`
		Stood         bool     `json:"stood"`
	}
	spotJSON struct {
		Latitude  float64      `json:"latitude_deg"`
		Longitude float64      `json:"longitude_deg"`
		Sigma     *float64     `json:"sigma_m"`    // on each axis, of what was given
		Ellipse   *ellipseJSON `json:"ellipse_95"` // of what was worked up
	}
	ellipseJSON struct {
		Major   float64 `json:"semi_major_m"`
		Minor   float64 `json:"semi_minor_m"`
		Bearing float64 `json:"major_bearing_deg"`
	}
	closingJSON struct {
		Distance float64 `json:"distance_m"` // from the estimate to the fix
		Bearing  float64 `json:"bearing_deg"`
		PerCent  float64 `json:"per_cent_of_run"`
		Run      float64 `json:"run_m"`
		Sigmas   float64 `json:"sigmas"`
		Used     bool    `json:"used"`
	}
	addedJSON struct {
		entryJSON
		Estimate *spotJSON    `json:"estimate"` // null if the position is lost
		Lost     *string      `json:"lost"`
		Closing  *closingJSON `json:"closing"`
	}
	listedJSON struct {
		entryJSON
		Estimated *spotJSON    `json:"estimated"` // on the way
		Adjusted  *spotJSON    `json:"adjusted"`  // by all fixes
		Closing   *closingJSON `json:"closing"`
	}
)

func metres(m geo.Metres) float64 { return wording.Round(float64(m), 2) }

func positive(n int) *int {
	if n == 0 {
		return nil
	}
	return &n
}

func spotOf(p geo.Position, sigma geo.Metres) *spotJSON {
	return &spotJSON{Latitude: wording.Round(p.Lat.Degrees(), 7), Longitude: wording.Round(p.Lon.Degrees(), 7), Sigma: new(metres(sigma))}
}

func workedSpot(p geo.Position, c workup.Cov) *spotJSON {
	s := spotOf(p, 0)
	s.Sigma, s.Ellipse = nil, new(ellipseOf(c.Ellipse95()))
	return s
}

func ellipseOf(e workup.Ellipse) ellipseJSON {
	return ellipseJSON{metres(e.Major), metres(e.Minor), wording.BearingDegrees(e.Bearing, 4)}
}

func closingOf(c *workup.Closing) *closingJSON {
	if c == nil {
		return nil
	}
	return &closingJSON{metres(c.Distance), wording.BearingDegrees(c.Bearing, 4), wording.Round(c.PerCent, 3), metres(c.Run), wording.Round(c.Sigmas, 3), c.Used}
}

func wayOf(r logbook.Run) *wayJSON {
	w := &wayJSON{Stood: r.Stood}
	if o := r.Odometer; o != nil {
		w.Odometer, w.RolledOver = new(o.String()), positive(o.RolledOver)
	}
	if v := r.Speed; v != nil {
		w.Speed = new(wording.Round(float64(v.Mean)*3.6, 4))
		if v.Sigma > 0 {
			w.SpeedSigma = new(wording.Round(float64(v.Sigma)*3.6, 4))
		}
		if v.For > 0 {
			w.UnderWay = new(v.For.Seconds())
		}
	}
	if d := r.Distance; d != nil {
		w.Distance = new(metres(d.Length))
		if d.Sigma > 0 {
			w.DistanceSigma = new(metres(d.Sigma))
		}
	}
	return w
}

func entryOf(e *logbook.Entry) entryJSON {
	out := entryJSON{
		Entry: e.Number, Journey: e.Journey, Kind: e.Kind(), Time: e.Time.UTC(), Written: e.Written.UTC(), Note: e.Note,
		Supersedes: positive(e.Supersedes), SupersededBy: positive(e.SupersededBy),
	}
	if run := runOf(e.Content); run != nil {
		out.Way = wayOf(*run)
	}
	switch c := e.Content.(type) {
	case *logbook.Departure:
		out.Position, out.Source = spotOf(c.Position, c.Sigma), &c.Source
		if c.Odometer != nil {
			out.Way = wayOf(logbook.ByOdometer(*c.Odometer))
		}
	case *logbook.Fix:
		out.Position, out.Source, out.Confirmed = spotOf(c.Position, c.Sigma), &c.Source, &c.Confirmed
	case *logbook.Leg:
		out.How, out.Photo, out.NeedsHeading = &c.How, c.Photo, c.NeedsHeading()
		if h := headingOf(c); h != nil {
			out.Heading, out.HeadingSigma = new(wording.BearingDegrees(h.Heading, 4)), new(wording.Degrees(h.Sigma, 4))
		}
	case *logbook.Detour:
		for _, l := range c.Legs {
			out.Legs = append(out.Legs, shortLegJSON{wording.BearingDegrees(l.Heading.Heading, 4), wording.Degrees(l.Heading.Sigma, 4), wayOf(l.Run)})
		}
	case *logbook.OdometerSet:
		out.Reads = new(c.After.String())
	}
	return out
}

// runOf is the way since the entry before; nil for entries without.
func runOf(c logbook.Content) *logbook.Run {
	switch c := c.(type) {
	case *logbook.Leg:
		return &c.Run
	case *logbook.Detour:
		return &c.Run
	case *logbook.Halt:
		return &c.Run
	case *logbook.Fix:
		return &c.Run
	case *logbook.Tyres:
		return &c.Run
	case *logbook.OdometerSet:
		return &c.Run
	}
	return nil
}

// headingOf is the heading of a leg; nil if it waits for one.
func headingOf(l *logbook.Leg) *logbook.Heading {
	switch {
	case l.Hand != nil:
		return l.Hand
	case l.Reading != nil:
		return &logbook.Heading{Heading: l.Reading.Heading, Sigma: l.Reading.Sigma}
	}
	return nil
}

// whatText says in a few words what an entry is.
func whatText(e *logbook.Entry) string {
	switch c := e.Content.(type) {
	case *logbook.Leg:
		h := headingOf(c)
		if h == nil {
			return "leg, no heading"
		}
		return fmt.Sprintf("leg %s by %s", bearingWith(reading.Uncertain{Value: h.Heading, Sigma: h.Sigma}), c.How)
	case *logbook.Detour:
		return "detour of " + wording.Count(len(c.Legs), "leg")
	case *logbook.OdometerSet:
		return "odometer set to " + c.After.String()
	case *logbook.Withdrawal:
		return fmt.Sprintf("withdrawal of %d", e.Supersedes)
	case *logbook.Fix:
		return fmt.Sprintf("fix ± %s", wording.Length(c.Sigma))
	case *logbook.Departure:
		return fmt.Sprintf("departure ± %s", wording.Length(c.Sigma))
	}
	return string(e.Kind())
}

// wayText says what was given of the way.
func wayText(c logbook.Content) string {
	if d, ok := c.(*logbook.Departure); ok && d.Odometer != nil {
		return d.Odometer.String()
	}
	run := runOf(c)
	if run == nil {
		return ""
	}
	var parts []string
	if run.Odometer != nil {
		parts = append(parts, run.Odometer.String())
	}
	switch {
	case run.Speed != nil:
		text := fmt.Sprintf("%.3g km/h", float64(run.Speed.Mean)*3.6)
		if run.Speed.For > 0 {
			text += " for " + shortDuration(run.Speed.For)
		}
		parts = append(parts, text)
	case run.Distance != nil:
		parts = append(parts, "+"+wording.Length(run.Distance.Length))
	case run.Stood:
		parts = append(parts, "stood")
	}
	return strings.Join(parts, ", ")
}

// shortDuration prints 25m0s as 25m.
func shortDuration(d time.Duration) string {
	text := d.Round(time.Second).String()
	if strings.HasSuffix(text, "m0s") {
		text = strings.TrimSuffix(text, "0s")
	}
	if strings.HasSuffix(text, "h0m") {
		text = strings.TrimSuffix(text, "0m")
	}
	return text
}

// ellipseText says how far an ellipse reaches from its middle.
func ellipseText(e workup.Ellipse) string {
	if e.Major-e.Minor < e.Major/50 {
		return wording.Length(e.Major)
	}
	return fmt.Sprintf("%s by %s, the longer way %s", wording.Length(e.Major), wording.Length(e.Minor), axisText(e.Bearing))
}

func axisText(a angle.Angle) string {
	n := wholeDegrees(a) % 180
	return fmt.Sprintf("%03d°/%03d°", n, n+180)
}

// courseText prints a bearing to the degree, as in "045°".
func courseText(a angle.Angle) string { return fmt.Sprintf("%03d°", wholeDegrees(a)) }

func wholeDegrees(a angle.Angle) int { return int(math.Round(a.Degrees())) % 360 }

func closingText(c *workup.Closing) string {
	text := fmt.Sprintf("%s off towards %s", wording.Length(c.Distance), courseText(c.Bearing))
	if c.Run > 0 {
		text += fmt.Sprintf(", %.2f %% of %s run", c.PerCent, wording.Length(c.Run))
	}
	text += fmt.Sprintf(", %.1f sigma", c.Sigmas)
	if !c.Used {
		text += ": not used"
	}
	return text
}

func utcText(t time.Time) string { return t.UTC().Format(time.DateTime) + " UTC" }

// printAdded tells what became of an entry, and returns errRefused if it waits for a
// heading.
func printAdded(s *streams, a logbook.Added) error {
	var err error
	switch {
	case s.json:
		err = s.printJSON(addedOf(a))
	case s.outTTY:
		err = addedForPeople(s, a)
	default:
		err = addedTable(s).row("", addedForPipe(a)...)
	}
	if err != nil {
		return err
	}
	tellAdded(s, a)
	if a.NeedsHeading {
		return errRefused
	}
	return nil
}

// tellAdded says what the user is to do about an entry.
func tellAdded(s *streams, a logbook.Added) {
	if ahead := a.Entry.Time.Sub(a.Entry.Written); ahead > time.Minute {
		s.note("time_ahead", "entry %d is of a time that the clock of this machine reaches in %s only: check its date and UTC offset", a.Entry.Number, shortDuration(ahead))
	}
	if a.NeedsHeading {
		s.note("needs_heading", "entry %d is in the log and needs a heading: %s", a.Entry.Number, waitsFor(a.Entry.Number))
	}
	if c := a.Closing; c != nil && !c.Used {
		s.note("needs_confirmation", "the fix lies %.1f sigma from the estimate and is not used: check position, time and entries; if it is right: shadowread log fix --confirm %d", c.Sigmas, a.Entry.Number)
	}
	if a.Lost != nil {
		s.note("position_lost", "there is no estimated position: %s; log a fix, or correct the entry", a.Lost.Error())
	}
}

func addedOf(a logbook.Added) addedJSON {
	out := addedJSON{entryJSON: entryOf(&a.Entry), Closing: closingOf(a.Closing)}
	if e := a.Estimate; e != nil {
		out.Estimate = workedSpot(e.Position, e.Cov)
	}
	if a.Lost != nil {
		out.Lost = new(a.Lost.Error())
	}
	return out
}

func addedForPipe(a logbook.Added) []string {
	cells := append(entryCells(&a.Entry), "", "", "", "", "")
	if e := a.Estimate; e != nil {
		copy(cells[len(cells)-5:], spotCells(e.Position, e.Cov))
	}
	return append(cells, plain(a.Entry.Note))
}

// entryCells begin the records of an entry in a pipe.
func entryCells(e *logbook.Entry) []string {
	heading, sigma, how := "", "", ""
	if l, ok := e.Content.(*logbook.Leg); ok {
		how = string(l.How)
		if h := headingOf(l); h != nil {
			heading, sigma = wording.Bearing(h.Heading, 4), wording.Fixed(h.Sigma, 4)
		}
	}
	return []string{strconv.Itoa(e.Number), string(e.Kind()), e.Time.UTC().Format(time.RFC3339Nano), wayText(e.Content), heading, sigma, how}
}

func spotCells(p geo.Position, c workup.Cov) []string {
	e := c.Ellipse95()
	return []string{wording.Fixed(p.Lat, 6), wording.Fixed(p.Lon, 6), fmt.Sprintf("%.1f", float64(e.Major)), fmt.Sprintf("%.1f", float64(e.Minor)), wording.Bearing(e.Bearing, 2)}
}

// labelled is a line of a block.
func labelled(s *streams, label, format string, args ...any) {
	fmt.Fprintf(s.out, "%-12s %s\n", label, plain(fmt.Sprintf(format, args...)))
}

func addedForPeople(s *streams, a logbook.Added) error {
	e := &a.Entry
	head := fmt.Sprintf("entry %d: %s", e.Number, whatText(e))
	if e.Supersedes != 0 && e.Kind() != logbook.KindWithdrawal {
		head += fmt.Sprintf(", in place of entry %d", e.Supersedes)
	}
	st := bold
	if a.NeedsHeading {
		st = red
	}
	fmt.Fprintln(s.out, s.paint(st, head))
	if l, ok := e.Content.(*logbook.Leg); ok && l.Photo != nil {
		labelled(s, "photo", "%s", l.Photo.Name)
		if l.Photo.Refused != "" && l.NeedsHeading() {
			fmt.Fprintln(s.out, s.wrap(13, plain(l.Photo.Message)))
		}
	}
	way := wayText(e.Content)
	if way != "" {
		way = ", " + way
	}
	labelled(s, "time", "%s%s", utcText(e.Time), way)
	if a.Closing != nil {
		labelled(s, "the fix", "%s", closingText(a.Closing))
	}
	if x := a.Estimate; x != nil {
		labelled(s, "estimate", "%s, 95 %% within %s", x.Position, ellipseText(x.Cov.Ellipse95()))
	}
	return nil
}

// addedTable is for entries that come one after the other.
func addedTable(s *streams) *table {
	return &table{s: s, columns: []column{
		{head: "entry", right: true}, {head: "time UTC", width: 19}, {head: "what", width: 29}, {head: "way", width: 10}, {head: "estimate", width: 19}, {head: "95 % within", width: 18}, {head: "notes"},
	}}
}

// briefEllipse is an ellipse in a table.
func briefEllipse(e workup.Ellipse) string {
	return wording.Length(e.Major) + " by " + wording.Length(e.Minor)
}

func addedRow(t *table, a logbook.Added) error {
	if !t.s.outTTY {
		return t.row("", addedForPipe(a)...)
	}
	e := &a.Entry
	cells := []string{strconv.Itoa(e.Number), e.Time.UTC().Format(time.DateTime), whatText(e), wayText(e.Content), "", "", entryNotes(e, a.Closing)}
	if x := a.Estimate; x != nil {
		cells[4], cells[5] = x.Position.String(), briefEllipse(x.Cov.Ellipse95())
	}
	st := style("")
	if a.NeedsHeading || a.Closing != nil && !a.Closing.Used {
		st = red
	}
	return t.row(st, cells...)
}

// entryNotes is the last cell of a row.
func entryNotes(e *logbook.Entry, c *workup.Closing) string {
	var notes []string
	if l, ok := e.Content.(*logbook.Leg); ok && l.Photo != nil {
		text := l.Photo.Name
		if l.Photo.Refused != "" {
			text += " refused (" + l.Photo.Refused + ")"
		}
		notes = append(notes, text)
	}
	if c != nil {
		notes = append(notes, closingText(c))
	}
	if f, ok := e.Content.(*logbook.Fix); ok && f.Source != "" {
		notes = append(notes, f.Source)
	}
	if e.Note != "" {
		notes = append(notes, e.Note)
	}
	return plain(strings.Join(notes, "; "))
}

// listed is an entry of a list, with where the work-up puts it.
type listed struct {
	*logbook.Entry
	at *workup.Point // nil if it does not stand, or the position is lost
}

func (l *listed) json() listedJSON {
	out := listedJSON{entryJSON: entryOf(l.Entry)}
	if p := l.at; p != nil {
		out.Estimated, out.Adjusted = workedSpot(p.Estimated, p.Cov), workedSpot(p.Adjusted, p.AdjustedCov)
		out.Closing = closingOf(p.Closing)
	}
	return out
}

// printList prints the entries of a journey.
func printList(s *streams, list []listed) error {
	if s.json {
		for i := range list {
			if err := s.printJSON(list[i].json()); err != nil {
				return err
			}
		}
		return nil
	}
	if !s.outTTY {
		t := &table{s: s}
		for _, l := range list {
			cells := append(entryCells(l.Entry), "", "", "", "", "", "", "")
			if p := l.at; p != nil {
				copy(cells[7:], spotCells(p.Adjusted, p.AdjustedCov))
			}
			for i, n := range []int{l.Supersedes, l.SupersededBy} {
				if n != 0 {
					cells[12+i] = strconv.Itoa(n)
				}
			}
			if err := t.row("", append(cells, plain(l.Note))...); err != nil {
				return err
			}
		}
		return nil
	}
	rows := make([][]string, len(list))
	for i, l := range list {
		closing := (*workup.Closing)(nil)
		rows[i] = []string{strconv.Itoa(l.Number), l.Time.UTC().Format(time.DateTime), whatText(l.Entry), wayText(l.Content), "", "", ""}
		if p := l.at; p != nil {
			rows[i][4], rows[i][5] = p.Adjusted.String(), briefEllipse(p.AdjustedCov.Ellipse95())
			closing = p.Closing
		}
		rows[i][6] = entryNotes(l.Entry, closing)
		if l.SupersededBy != 0 {
			rows[i][6] = strings.TrimPrefix(rows[i][6]+"; ", "; ") + fmt.Sprintf("superseded by %d", l.SupersededBy)
		}
	}
	t := addedTable(s)
	t.columns[4].head = "position"
	for i := range t.columns {
		t.columns[i].width = slices.Max(append([]int{0}, widths(rows, i)...))
	}
	for i, row := range rows {
		st := style("")
		switch l, leg := list[i].Content.(*logbook.Leg); {
		case list[i].SupersededBy != 0 || list[i].Kind() == logbook.KindWithdrawal:
			st = dim
		case leg && l.NeedsHeading() || list[i].at != nil && list[i].at.Closing != nil && !list[i].at.Closing.Used:
			st = red
		}
		if err := t.row(st, row...); err != nil {
			return err
		}
	}
	s.note("legend", "headings are true, ± one sigma; positions are adjusted by the fixes; 95 %% within: half the length by half the width of the ellipse")
	return nil
}

func widths(rows [][]string, column int) (out []int) {
	for _, r := range rows {
		out = append(out, utf8.RuneCountInString(r[column]))
	}
	return out
}
