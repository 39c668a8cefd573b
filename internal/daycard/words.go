package daycard

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"
	"unicode/utf8"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
)

// clock prints a time of the day, from 00:00 to 24:00, to the nearest minute.
func (d Day) clock(t time.Time) string {
	minutes := int(t.Sub(d.midnight).Round(time.Minute) / time.Minute)
	return fmt.Sprintf("%02d:%02d", minutes/60, minutes%60)
}

// during prints spans, cut to the whole minutes within them.
func (d Day) during(spans []Span) string {
	var s []string
	for _, x := range spans {
		from := x.From.Add(time.Minute - 1).Truncate(time.Minute)
		s = append(s, d.clock(from)+"–"+d.clock(x.Until.Truncate(time.Minute)))
	}
	return list(s)
}

// list joins words as in "a, b and c".
func list(s []string) string {
	if len(s) < 2 {
		return strings.Join(s, "")
	}
	return strings.Join(s[:len(s)-1], ", ") + " and " + s[len(s)-1]
}

// title is the day in full.
func (d Day) title() string {
	return fmt.Sprintf("%s %d %s %d", d.midnight.Weekday(), d.Date.Day, d.Date.Month, d.Date.Year)
}

// clockLine tells the card's clock from every other.
func (c *Card) clockLine(d Day) string {
	noon := d.midnight.Add(12 * time.Hour)
	utc := noon.UTC()
	day := ""
	if utc.Day() != noon.Day() {
		day = fmt.Sprintf(" on the %s", utc.Format("2 January"))
	}
	return fmt.Sprintf("All times are UTC%s: 12:00 on this card is %s UTC%s.", c.UTCOffset, utc.Format("15:04"), day)
}

func (c *Card) placeLine() string {
	text := func(p Place) string {
		at := geo.Position{Lat: angle.FromDegrees(p.LatitudeDeg), Lon: angle.FromDegrees(p.LongitudeDeg)}.String()
		if p.Time != nil {
			at += p.Time.Format(" on 2 Jan 15:04")
		}
		return at
	}
	first, last := text(c.Places[0]), text(c.Places[len(c.Places)-1])
	switch n := len(c.Places); {
	case n == 1:
		return "For " + first + "."
	case n == 2:
		return "From " + first + " to " + last + "."
	case n == 3:
		return "From " + first + " by one place to " + last + "."
	default:
		return fmt.Sprintf("From %s by %d places to %s.", first, n-2, last)
	}
}

func (d Day) passageWords(p Passage) string {
	switch p.State {
	case UpAll:
		return "up all day"
	case DownAll:
		return "down all day"
	}
	events := func(verb string, at []time.Time) string {
		if len(at) == 0 {
			return "no " + strings.TrimSuffix(verb, "s")
		}
		var s []string
		for _, t := range at {
			s = append(s, d.clock(t))
		}
		return verb + " " + list(s)
	}
	return events("rises", p.Rises) + ", " + events("sets", p.Sets)
}

// sky is what the day brings, a line each.
func (c *Card) sky(d Day) []string {
	sun := "Sun: " + d.passageWords(d.Sun.Passage)
	if h := d.Sun.Highest; h != nil {
		sun += fmt.Sprintf("; highest %s, altitude %.1f°, azimuth %03.0f°", d.clock(h.Time), h.AltitudeDeg, math.Mod(math.Round(h.AzimuthDeg), 360))
	}
	shadow := fmt.Sprintf("The shadow is not usable on this day (altitude %g° to %g°).", c.LowestDeg, c.HighestDeg)
	if len(d.Serves) > 0 {
		shadow = fmt.Sprintf("The shadow is usable %s (altitude %g° to %g°).", d.during(d.Serves), c.LowestDeg, c.HighestDeg)
	}
	moon := fmt.Sprintf("Moon: %.0f %% lit; %s; ", 100*d.Moon.LitFraction, d.passageWords(d.Moon.Passage))
	if len(d.Moon.Serves) > 0 {
		moon += fmt.Sprintf("its shadow is usable in the dark %s.", d.during(d.Moon.Serves))
	} else {
		moon += "its shadow is not usable in the dark."
	}
	lines := []string{shadow, sun + ".", moon}
	if grid := c.grid(d); grid != "" {
		lines = append(lines, grid)
	}
	return lines
}

// grid says the day's courses from polar grid north; "" away from the poles.
func (c *Card) grid(d Day) string {
	if len(d.GridDeg) == 0 {
		return ""
	}
	var each []string
	for i, k := range c.CoursesDeg {
		each = append(each, fmt.Sprintf("%s true is %05.1f grid", c.degrees(k), d.GridDeg[i]))
	}
	return fmt.Sprintf("At the day's place course %s: the meridian turns with every step, the grid does not.", list(each))
}

// column is a column of the table: the parts of its heading, and the widest entry.
type column struct{ over, head, widest string }

// columns are those of the card, courses in the middle.
func (c *Card) columns() []column {
	time := column{"", "from", "00:00"}
	if c.WindowMinutes != nil {
		time.head = "at"
	}
	cols := []column{time, {"set", "azimuth", "azimuth"}}
	for _, k := range c.CoursesDeg {
		cols = append(cols, column{"number", c.degrees(k), "000.0"})
	}
	return append(cols, column{"off by", "up to", "up to"}, column{"if not", "plumb", "plumb"}, column{"15° an", "hour", "+000.0"})
}

// degrees prints a bearing with as many decimals as the card needs.
func (c *Card) degrees(v float64) string {
	if c.whole() {
		return fmt.Sprintf("%03.0f", v)
	}
	return fmt.Sprintf("%05.1f", v)
}

// whole tells whether all azimuths and numbers are whole degrees.
func (c *Card) whole() bool {
	for _, k := range c.CoursesDeg {
		if k != math.Trunc(k) {
			return false
		}
	}
	return c.ToleranceDeg != nil && *c.ToleranceDeg >= 2
}

// line is a line of the table: the cells of a window, or the time from which on the
// shadow is not usable and why.
type line struct {
	cells []string
	at    string
	note  string
}

var reasonWords = map[Reason]string{
	TooLow:   "sun too low",
	TooHigh:  "sun too high",
	TooFast:  "turns too fast",
	TooApart: "route too long",
}

// lines returns the table of a day. What comes before the first window is left out.
func (c *Card) lines(d Day) []line {
	var lines []line
	gaps := d.Gaps
	note := func(g Gap) {
		var why []string
		for _, r := range g.Reasons {
			why = append(why, reasonWords[r])
		}
		lines = append(lines, line{at: d.clock(g.From.Truncate(time.Minute)), note: "not usable: " + list(why)})
	}
	for i, w := range d.Windows {
		for len(gaps) > 0 && gaps[0].From.Before(w.From) {
			if i > 0 {
				note(gaps[0])
			}
			gaps = gaps[1:]
		}
		at := w.From
		if c.WindowMinutes != nil {
			at = w.Centre
		}
		cells := []string{d.clock(at), c.degrees(w.AzimuthDeg)}
		for _, n := range w.NumbersDeg {
			cells = append(cells, c.degrees(n))
		}
		cells = append(cells, fmt.Sprintf("%.1f", up(w.GreatestErrDeg)), fmt.Sprintf("%.1f", up(w.LevelCostDeg)))
		switch {
		case w.RuleErrorDeg == nil:
			cells = append(cells, "–")
		case math.Abs(*w.RuleErrorDeg) >= 10:
			cells = append(cells, fmt.Sprintf("%+.0f", *w.RuleErrorDeg))
		default:
			cells = append(cells, fmt.Sprintf("%+.1f", *w.RuleErrorDeg))
		}
		lines = append(lines, line{cells: cells})
	}
	switch {
	case len(d.Windows) == 0:
	case len(gaps) > 0:
		note(gaps[0])
	default:
		lines = append(lines, line{at: "24:00", note: "end of the day"})
	}
	return lines
}

// up rounds up to a tenth.
func up(v float64) float64 { return math.Ceil(v*10-1e-9)/10 + 0 } // no -0

const headingRule = "True heading = azimuth + number under the shadow (less 360 if over)."

// legend explains the columns, a paragraph each.
func (c *Card) legend(d Day) []string {
	from := "Each line is good from its time until the next: set its azimuth on a hand dial, or steer with its number under the shadow."
	if c.WindowMinutes != nil {
		from = fmt.Sprintf("Each line is good for %g minutes either side of its time, no further: set its azimuth on a hand dial, or steer with its number under the shadow.", *c.WindowMinutes/2)
	}
	rule := "15° an hour: no bearing could be taken from which that rule would run on."
	if d.Rule.From != nil {
		sense := map[string]string{"clockwise": "clockwise, as on the northern hemisphere", "counterclockwise": "counterclockwise, as on the southern hemisphere"}[d.Rule.Sense]
		rule = fmt.Sprintf("15° an hour: how wrong the heading would be by a rule of 15° an hour, %s, run on from %05.1f° at %s; + is too great.",
			sense, *d.Rule.AzimuthDeg, d.clock(*d.Rule.From))
	}
	return []string{
		from,
		"Off by up to: the most that the azimuth is wrong, in degrees, at any moment of the line and anywhere on the route.",
		fmt.Sprintf("If not plumb: the most that a rod %g° off plumb costs. The largest error of all: plumb the rod.", c.LevelErrorDeg),
		rule,
	}
}

// hints are the figures of the day that help to trust or doubt it.
func (c *Card) hints(d Day) []string {
	var s []string
	if d.Costs != nil {
		s = append(s, fmt.Sprintf("A clock one minute wrong turns the azimuth by up to %.1f°, ten kilometres off the place by up to %.1f°.",
			up(d.Costs.ClockMinuteDeg), up(d.Costs.TenKMDeg)))
	}
	if r := d.Rod; r != nil {
		t := fmt.Sprintf("A rod of %g mm throws %d to %d mm on level ground", *c.RodHeightMM, r.ShortestMM, r.LongestMM)
		if r.AllDayRodMM != nil {
			switch {
			case len(r.ReachesScale) == 0:
				t += fmt.Sprintf(" and never reaches the scale at %g mm", *c.ScaleRadiusMM)
			default:
				t += fmt.Sprintf(" and reaches the scale at %g mm while the sun is below %.1f°: %s", *c.ScaleRadiusMM, *r.ReachesBelow, d.during(r.ReachesScale))
			}
			if float64(*r.AllDayRodMM) > *c.RodHeightMM {
				t += fmt.Sprintf("; one of %d mm always does", *r.AllDayRodMM)
			}
		}
		s = append(s, t+".")
	}
	return s
}

var cautions = []string{
	"Never look at the sun.",
	"Cap the tip of the rod; no rod before an airbag or a face.",
	"The driver does not handle it under way.",
	"No line is good beyond its time or its place.",
	"Check the clock and its offset from UTC before the start.",
	"Never the sole means of navigation.",
}

// WriteText writes the card as a table for a screen.
func (c *Card) WriteText(w io.Writer) error {
	var b strings.Builder
	for i, d := range c.Days {
		if i > 0 {
			b.WriteString("\n\n")
		}
		if c.Title != "" {
			fmt.Fprintln(&b, c.Title)
		}
		fmt.Fprintf(&b, "%s (%v)\n%s\n%s\n", d.title(), d.Date, c.placeLine(), c.clockLine(d))
		for _, s := range c.sky(d) {
			fmt.Fprintln(&b, s)
		}
		for _, x := range d.Warnings {
			fmt.Fprintf(&b, "Warning: %s.\n", x.Message)
		}
		if len(d.Windows) > 0 {
			b.WriteByte('\n')
			row := func(cells []string) {
				for i, k := range c.columns() {
					if i > 0 {
						b.WriteString("  ")
					}
					fmt.Fprintf(&b, "%*s", max(utf8.RuneCountInString(k.over), len(k.head), len(k.widest)), cells[i])
				}
				b.WriteByte('\n')
			}
			var over, head []string
			for _, k := range c.columns() {
				over, head = append(over, k.over), append(head, k.head)
			}
			row(over)
			row(head)
			for _, l := range c.lines(d) {
				if l.cells == nil {
					fmt.Fprintf(&b, "%s  %s\n", l.at, l.note)
					continue
				}
				row(l.cells)
			}
			b.WriteByte('\n')
			for _, s := range append([]string{headingRule}, append(c.legend(d), c.hints(d)...)...) {
				fmt.Fprintln(&b, s)
			}
		}
	}
	fmt.Fprintf(&b, "\n%s\n", strings.Join(cautions, " "))
	_, err := io.WriteString(w, b.String())
	return err
}
