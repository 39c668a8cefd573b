package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
	"shadowread/internal/steering"
	"shadowread/internal/wording"
)

// print gives one answer: as JSON, as a block on a terminal, else as a line of values.
func (h *helm) print(now *steering.Steer, t *table) error {
	switch {
	case h.s.json:
		answer, err := h.withDestination(now)
		if err != nil {
			return err
		}
		return h.s.printJSON(answer)
	case h.s.outTTY:
		_, err := fmt.Fprint(h.s.out, h.block(now))
		return err
	}
	return t.row("", steerCells(now)...)
}

func steerCells(now *steering.Steer) []string {
	utc := func(t *time.Time) string {
		if t == nil {
			return ""
		}
		return t.UTC().Round(100 * time.Millisecond).Format(time.RFC3339Nano)
	}
	cells := make([]string, 16)
	cells[0], cells[1] = utc(&now.Time), wording.Bearing(now.Course, 4)
	r := now.Reading
	if sky := r.Sky; sky != nil {
		cells[4], cells[5] = sky.Body.String(), wording.Fixed(sky.Altitude, 4)
	}
	var notes []string
	if now.OK() {
		cells[2], cells[3] = wording.Bearing(*now.Number, 4), wording.Fixed(r.Sigma, 4)
	} else {
		notes = append(notes, string(r.Reason))
	}
	if len(now.Changes) > 0 {
		cells[6], cells[7] = strconv.Itoa(now.Changes[0].Number), utc(&now.Changes[0].Time)
	}
	cells[8], cells[9] = utc(now.Serving.Until), utc(now.Serving.From)
	if g := now.Given; g != nil && g.OK() {
		cells[10] = wording.Fixed(*g.Come, 4)
	}
	if c := r.Compass.Steer; c != nil {
		cells[11], cells[12] = wording.Bearing(c.Value, 4), wording.Fixed(c.Sigma, 4)
	}
	if g := now.Grid(); g != nil {
		cells[13], cells[14] = wording.Bearing(g.Value, 4), wording.Fixed(g.Sigma, 4)
	}
	for _, w := range now.Warnings {
		notes = append(notes, w.Code)
	}
	cells[15] = strings.Join(notes, ",")
	return cells
}

// block lays one answer out for people, the number first.
func (h *helm) block(now *steering.Steer) string {
	var b strings.Builder
	line := func(label, text string) {
		if text != "" {
			fmt.Fprintf(&b, "%-12s %s\n", label, plain(text))
		}
	}
	if now.OK() {
		fmt.Fprintln(&b, h.s.paint(bold, "hold "+heldNumber(now)+" under the shadow to steer "+courseHeld(now)+" (95 %)"))
	} else {
		fmt.Fprintf(&b, "%s\n%s\n", h.s.paint(red, "no number to hold: "+string(now.Reading.Reason)), h.s.wrap(2, plain(now.Reading.Message)))
	}
	if g := now.Given; g != nil && g.OK() {
		n := wording.SteerPlaces(g.Sigma)
		text := wording.Turn(*g.Come, n) + ": " + wording.ThreeFigures(*g.Number, 1) + " under the shadow is heading " + wording.Steer(*g.Heading, g.Sigma)
		if grid := g.Compass.Grid; grid != nil {
			text += ", grid " + bearingWith(*grid)
		}
		fmt.Fprintln(&b, h.s.paint(bold, text))
	}
	b.WriteByte('\n')
	line("to", h.whereTo())
	line("next", h.changesText(now, len(now.Changes)))
	line("usable", h.usableText(now))
	line("by", h.skyText(now))
	line("compass", compassText(now))
	line("grid", gridText(now))
	if i := now.Reading.Instrument; i != nil && now.OK() {
		line("instrument", instrumentText(i, now.Reading.Correction))
	}
	line("time", h.clockText(now.Time))
	if p := now.Reading.Place; p != nil {
		line("position", fmt.Sprintf("%s ± %s km one sigma (%s)", p.Position, compact(p.SigmaKM), p.Source))
	}
	for _, w := range now.Warnings {
		fmt.Fprintf(&b, "%s\n%s\n", h.s.paint(yellow, "warning "+w.Code), h.s.wrap(2, plain(w.Message)))
	}
	fmt.Fprintln(&b, h.s.paint(dim, h.s.wrap(0, mindful)))
	return b.String()
}

// mindful is what whoever steers must have in mind.
const mindful = "for a passenger; never look at the sun; never the sole means of navigation"

// heldNumber is to the tenth: the dial has whole degrees, between which one reads by eye.
func heldNumber(now *steering.Steer) string { return wording.Three(*now.Number, 1) }

// courseHeld is the course with how surely it is held: near a pole not at all.
func courseHeld(now *steering.Steer) string {
	n := wording.SteerPlaces(now.Reading.Sigma)
	return fmt.Sprintf("%s true ± %s°", wording.ThreeFigures(now.Course, n), wording.Fixed(min(wording.Within95(now.Reading.Sigma), 180*angle.Degree), n))
}

// changesText names the next changes, n at most.
func (h *helm) changesText(now *steering.Steer, n int) string {
	var texts []string
	for _, c := range now.Changes[:min(n, len(now.Changes))] {
		texts = append(texts, fmt.Sprintf("%03d from %s", c.Number, c.Time.In(h.zone).Format(time.TimeOnly)))
	}
	return strings.Join(texts, ", ")
}

var endTexts = map[steering.End]string{
	steering.TooLow:  "then too low",
	steering.TooHigh: "then too high",
	steering.SunUp:   "then the sun rises",

	steering.NoNumber: "then no number gives the course",
}

// usableText says when the dial ceases to serve, or when it can be read again.
func (h *helm) usableText(now *steering.Steer) string {
	v := now.Serving
	switch {
	case now.OK() && v.Until != nil:
		return "until " + h.moment(*v.Until, now.Time) + ", " + endTexts[v.End]
	case now.OK():
		return "for a day and more"
	case v.From != nil:
		return "from " + h.moment(*v.From, now.Time) + ", by the " + v.Body.String()
	}
	return "not within a day"
}

// moment is a time of day, with its date where that is another than now's.
func (h *helm) moment(t, now time.Time) string {
	t, now = t.In(h.zone), now.In(h.zone)
	if t.YearDay() != now.YearDay() {
		return t.Format("2 January 15:04:05")
	}
	return t.Format(time.TimeOnly)
}

func (h *helm) skyText(now *steering.Steer) string {
	sky := now.Reading.Sky
	if sky == nil {
		return ""
	}
	text := fmt.Sprintf("%s, altitude %s°, azimuth %s°", sky.Body, wording.Fixed(sky.Altitude, 1), wording.Three(sky.Azimuth, 1))
	if sky.Body.String() == "moon" {
		text += fmt.Sprintf(", lit to %.0f %%", math.Round(100*sky.LitFraction))
	}
	return text
}

func compassText(now *steering.Steer) string {
	c := now.Reading.Compass.Steer
	if c == nil {
		return ""
	}
	return "must show " + bearingWith(*c)
}

func gridText(now *steering.Steer) string {
	if g := now.Grid(); g != nil {
		return "course " + bearingWith(*g)
	}
	return ""
}

// clockText is a time with what it counts from.
func (h *helm) clockText(t time.Time) string {
	t = t.In(h.zone)
	name := "UTC"
	if _, seconds := t.Zone(); seconds != 0 {
		name = geo.FormatOffset(time.Duration(seconds) * time.Second)
	}
	return t.Format(time.DateTime) + " " + name
}
