package main

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"shadowread/internal/steering"
	"shadowread/internal/telling"
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
		fmt.Fprintln(&b, h.s.paint(bold, "hold "+telling.Number(now)+" under the shadow to steer "+telling.Course(now)+" (95 %)"))
	} else {
		fmt.Fprintf(&b, "%s\n%s\n", h.s.paint(red, "no number to hold: "+string(now.Reading.Reason)), h.s.wrap(2, plain(now.Reading.Message)))
	}
	if g := now.Given; g != nil && g.OK() {
		n := wording.SteerPlaces(g.Sigma)
		text := wording.Turn(*g.Come, n) + ": " + wording.ThreeFigures(*g.Number, 1) + " under the shadow is heading " + wording.Steer(*g.Heading, g.Sigma)
		if grid := g.Compass.Grid; grid != nil {
			text += ", grid " + telling.With(*grid)
		}
		fmt.Fprintln(&b, h.s.paint(bold, text))
	}
	b.WriteByte('\n')
	line("to", h.whereTo())
	line("next", h.zone.Changes(now, len(now.Changes)))
	line("usable", h.zone.Usable(now))
	line("by", telling.Sky(now))
	line("compass", telling.Compass(now))
	line("grid", telling.Grid(now))
	if i := now.Reading.Instrument; i != nil && now.OK() {
		line("instrument", telling.Instrument(i, now.Reading.Correction))
	}
	line("time", h.zone.Time(now.Time))
	if p := now.Reading.Place; p != nil {
		line("position", fmt.Sprintf("%s ± %s km one sigma (%s)", h.set.Place(p.Position), telling.Figures(p.SigmaKM), p.Source))
	}
	for _, w := range now.Warnings {
		fmt.Fprintf(&b, "%s\n%s\n", h.s.paint(yellow, "warning "+w.Code), h.s.wrap(2, plain(w.Message)))
	}
	fmt.Fprintln(&b, h.s.paint(dim, h.s.wrap(0, mindful)))
	return b.String()
}

// mindful is what whoever steers must have in mind.
const mindful = "for a passenger; never look at the sun; never the sole means of navigation"
