package main

import (
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/angle"
	"shadowread/internal/daycard"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/paper"
)

type cardOptions struct {
	date            parsed[daycard.Date]
	days            quantity
	offset          parsed[time.Duration]
	place           place
	stops           stops
	elevation       quantity
	courses         courses
	tolerance       quantity
	window          quantity
	lowest, highest quantity
	ruleAt          parsed[time.Duration]
	rod, scale      quantity
	title           string
	paper           parsed[paper.Format]
	output          string
	force           bool
}

func newCard(s *streams) *cobra.Command {
	o := cardOptions{
		date:      newDateFlag(),
		days:      quantity{value: 1, least: 1, most: daycard.MaxDays, text: "1"},
		offset:    parsed[time.Duration]{name: "OFFSET", parse: geo.ParseOffset},
		elevation: elevationFlag(),
		tolerance: quantity{value: daycard.DefaultTolerance.Degrees(), least: daycard.MinTolerance.Degrees(), most: daycard.MaxTolerance.Degrees(), unit: "deg", text: "1"},
		window:    quantity{least: 15, most: 30, unit: "min"},
		lowest:    quantity{value: daycard.DefaultLowest.Degrees(), least: 0, most: 90, unit: "deg", text: "6"},
		highest:   quantity{value: daycard.DefaultHighest.Degrees(), least: 0, most: 90, unit: "deg", text: "75"},
		ruleAt:    parsed[time.Duration]{name: "HH:MM", parse: parseClock},
		rod:       quantity{least: 5, most: daycard.MaxRodMM, unit: "mm"},
		scale:     quantity{least: 5, most: daycard.MaxRodMM, unit: "mm"},
		paper:     paperFlag(daycard.Papers),
	}
	cmd := &cobra.Command{
		Use:   "card",
		Short: "plan a day: azimuths and numbers to steer by, to print",
		Long: `Make the day's card: for each window of the day the azimuth to set on a hand
dial and, for each course, the number under the shadow to steer by. All from
true north: number = course - azimuth, heading = azimuth + number.

No moment of a window is off by more than --tolerance; with --window the windows
are fixed, centred on their value, and each states its greatest error. Beside it
stands how wrong a rule of 15 degrees an hour would be, run on from a bearing at
--rule-at: in the right sense for the hemisphere, and wrong all the same. Sun
and moon, when the shadow is usable, and what a rod out of plumb costs are there
too.

Give one place, or --stop for each place of a route in order. Without times a
line is good anywhere on the route; with times, for whoever keeps to them. Times
of the card are those of --utc-offset, which each page says twice.

-o writes it as PDF, with a blank log on the back of each leaf.`,
		Example: `  shadowread card --position -22.9,22.3 --date 2026-08-29 --utc-offset 2 --course 58,121,174
  shadowread card --stop "22.9 S, 22.3 E" --stop "22.81 S, 22.45 E" --date 2026-08-29 --days 2 --utc-offset 2 --course 58 --rod-height 50 --scale-radius 58 -o card.pdf
  shadowread card --stop "-22.9,22.3@2026-08-29T06:30:00" --stop "-22.81,22.45@2026-08-29T12:00:00" --date 2026-08-29 --utc-offset 2 --course 58 --window 30 --rule-at 07:00 --json
  shadowread card --position -22.9,22.3 --date 2026-08-29 --utc-offset 2 --course 58 --paper pocket -o pocket.pdf`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runCard(cmd, s, &o) },
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.Var(&o.date, "date", "the first day, as 2026-03-14; required")
	f.Var(&o.days, "days", "how many days")
	f.Var(&o.offset, "utc-offset", "of the card's clock, as +02:00 or 2; east is positive (default UTC)")
	o.place.add(f, "where, as -20.6142,25.4310 or \"20 36.852 S, 25 25.860 E\"")
	f.Var(&o.stops, "stop", "a place of the route, once for each, perhaps with @TIME; in place of --position")
	f.Var(&o.elevation, "elevation", "above sea level (default 0)")
	f.Var(&o.courses, "course", fmt.Sprintf("the true courses to steer, up to %d; required", daycard.MaxCourses))
	f.Var(&o.tolerance, "tolerance", "the most that the azimuth may be off in a window")
	f.Var(&o.window, "window", "fixed windows of 15 or 30 minutes in place of --tolerance")
	f.Var(&o.lowest, "lowest", "altitude of the sun from which on the shadow is usable")
	f.Var(&o.highest, "highest", "altitude up to which it is usable")
	f.Var(&o.ruleAt, "rule-at", "when the bearing of the 15 degree rule is taken (default when the shadow is first usable)")
	f.Var(&o.rod, "rod-height", "rod above the sheet, for the shadow's length")
	f.Var(&o.scale, "scale-radius", "of the dial that the shadow should reach; 58 mm on the printed sheet")
	f.StringVar(&o.title, "title", "", "a `TITLE` at the top")
	f.Var(&o.paper, "paper", "of the PDF: a4, letter or pocket")
	f.StringVarP(&o.output, "output", "o", "", "write the card into this `FILE`, as PDF, rather than show it")
	f.BoolVarP(&o.force, "force", "f", false, "replace a file that is there")
	addJSON(cmd, s)
	words(cmd, "paper", "a4", "letter", "pocket")
	words(cmd, "window", "15", "30")
	completeStops(cmd, s, "stop", &logFlag{})
	inGroup(cmd, everyday, "date", "days", "utc-offset", "position", "stop", "course", "rod-height", "output", "paper", "title", "force", "json")
	inGroup(cmd, seldom)
	return cmd
}

func runCard(cmd *cobra.Command, s *streams, o *cardOptions) error {
	for _, names := range [][]string{{"position", "stop"}, {"tolerance", "window"}} {
		if err := exclusive(cmd, names...); err != nil {
			return err
		}
	}
	switch {
	case !o.date.set:
		return fault.Usage("no_date", "give --date, the first day of the card", "no date given")
	case !o.place.set && len(o.stops.text) == 0:
		return fault.Usage("no_position", "give --position LAT,LON, as -20.6142,25.4310, or --stop for each place of a route", "no position given")
	case len(o.courses.list) == 0:
		return fault.Usage("no_course", "give --course, as 58,121", "no course given")
	case o.days.value != math.Trunc(o.days.value):
		return fault.Usage("bad_days", "give a whole number", "%g days are no whole number", o.days.value)
	case o.output == "" && cmd.Flags().Changed("paper"):
		return fault.Usage("paper_without_output", "give -o FILE.pdf too", "--paper has no meaning without --output")
	}
	options, err := o.options()
	if err != nil {
		return err
	}
	if o.output != "" {
		if err := mayWrite(o.output, o.force); err != nil {
			return err
		}
	}
	card, err := daycard.New(options)
	if err != nil {
		return asUsage(err)
	}
	if err := cmd.Context().Err(); err != nil {
		return err
	}
	if o.output != "" {
		if err := writeFile(o.output, o.force, func(w io.Writer) error { return card.WritePDF(w, o.paper.value) }); err != nil {
			return err
		}
		s.note("wrote", "wrote %s for %s paper; print on both sides, turned on the long edge", o.output, o.paper.value.Name)
	}
	switch {
	case s.json:
		return s.printJSON(card)
	case o.output == "" && s.outTTY:
		return card.WriteText(s.out)
	}
	for _, d := range card.Days {
		for _, x := range d.Warnings {
			s.note(x.Code, "%v: %s", d.Date, x.Message)
		}
	}
	if o.output != "" {
		return nil
	}
	return cardPipe(s, card)
}

func (o *cardOptions) options() (daycard.Options, error) {
	out := daycard.Options{
		Title: o.title, First: o.date.value, Days: int(o.days.value), UTCOffset: o.offset.value,
		ElevationMetres: o.elevation.value, Courses: o.courses.list, Tolerance: o.tolerance.angle(),
		Window: time.Duration(o.window.value * float64(time.Minute)),
		Lowest: o.lowest.angle(), Highest: o.highest.angle(), RuleAt: o.ruleAt.given(),
		RodHeightMM: o.rod.value, ScaleRadiusMM: o.scale.value,
	}
	if o.place.set {
		out.Stops = []daycard.Stop{{Position: o.place.value}}
	}
	for _, text := range o.stops.text {
		stop, err := parseStop(text, o.offset.given())
		if err != nil {
			return out, fault.Usage(fault.Code(err), fault.Hint(err), "--stop: %s", err)
		}
		out.Stops = append(out.Stops, stop)
	}
	return out, nil
}

// stops keeps what each --stop says: its time may want the offset of a later flag.
type stops struct{ text []string }

func (s *stops) Set(text string) error {
	place, _, _ := strings.Cut(text, "@")
	if _, err := geo.ParsePosition(place); err != nil {
		return err
	}
	s.text = append(s.text, text)
	return nil
}

func (s *stops) String() string { return "" }
func (s *stops) Type() string   { return "LAT,LON[@TIME]" }

// parseStop reads LAT,LON or LAT,LON@TIME.
func parseStop(s string, offset *time.Duration) (daycard.Stop, error) {
	place, at, timed := strings.Cut(s, "@")
	var out daycard.Stop
	var err error
	if out.Position, err = geo.ParsePosition(place); err != nil || !timed {
		return out, err
	}
	// A time with an offset of its own may be another than the card's.
	n, err := geo.ParseNoted(at, offset, time.Time{})
	if fault.Code(err) == "offset_conflict" {
		n, err = geo.ParseNoted(at, nil, time.Time{})
	}
	if err == nil && n.Day {
		err = fault.Usage("bad_time", "give the hour too", "%q has no hour", at)
	}
	out.Time = n.Time
	return out, err
}

// courses is --course: once for each, or parted by commas.
type courses struct {
	list []angle.Angle
}

func (c *courses) Set(s string) error {
	parts := strings.Split(s, ",")
	for i, part := range parts[1:] {
		if len(strings.TrimSpace(part)) == 1 { // nobody writes a course in one figure
			if err := decimalComma(parts[i]+","+part, "the decimal sign is a point; write courses in three figures, as 058,005, or --course for each"); err != nil {
				return err
			}
		}
	}
	for _, text := range parts {
		q := quantity{least: 0, most: 360, unit: "deg"}
		if err := q.Set(text); err != nil {
			return err
		}
		c.list = append(c.list, q.angle())
	}
	return nil
}

func (c *courses) String() string { return "" }
func (c *courses) Type() string   { return "DEG,..." }

var clockPattern = regexp.MustCompile(`^(\d{1,2}):(\d{2})$`)

// parseClock reads hours and minutes of the day.
func parseClock(s string) (time.Duration, error) {
	m := clockPattern.FindStringSubmatch(s)
	if m != nil {
		hours, _ := strconv.Atoi(m[1]) // digits by the pattern
		minutes, _ := strconv.Atoi(m[2])
		if hours < 24 && minutes < 60 {
			return time.Duration(hours)*time.Hour + time.Duration(minutes)*time.Minute, nil
		}
	}
	return 0, fault.Usage("bad_rule_time", "give hours and minutes of the card's clock, as 07:30", "%.40q is no time of the day", s)
}

// cardPipe prints a record for each window.
func cardPipe(s *streams, c *daycard.Card) error {
	t := &table{s: s, pipe: "card"}
	for _, d := range c.Days {
		for _, w := range d.Windows {
			cells := []string{w.From.Format(time.RFC3339), w.Until.Format(time.RFC3339), decimal(&w.AzimuthDeg, 1), decimal(&w.GreatestErrDeg, 3), decimal(&w.LevelCostDeg, 3), decimal(w.RuleErrorDeg, 3)}
			for _, n := range w.NumbersDeg {
				cells = append(cells, decimal(&n, 1))
			}
			if err := t.row("", cells...); err != nil {
				return err
			}
		}
	}
	return nil
}
