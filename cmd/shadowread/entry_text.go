package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/reading"
	"shadowread/internal/telling"
	"shadowread/internal/wording"
	"shadowread/internal/workup"
)

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
func whatText(e *logbook.Entry) string { return whatTextAt(e, "") }

// whatTextAt is the same with the grid heading beside a true one.
func whatTextAt(e *logbook.Entry, grid string) string {
	switch c := e.Content.(type) {
	case *logbook.Leg:
		h := headingOf(c)
		if h == nil {
			return "leg, no heading"
		}
		return fmt.Sprintf("leg %s%s by %s", telling.With(reading.Uncertain{Value: h.Heading, Sigma: h.Sigma}), grid, c.How)
	case *logbook.Detour:
		return "detour of " + wording.Count(len(c.Legs), "leg")
	case *logbook.Settings:
		var names []string
		for _, l := range settingsLines(c) {
			if !slices.Contains(names, l[0]) {
				names = append(names, l[0])
			}
		}
		return "settings: " + strings.Join(names, ", ")
	case *logbook.OdometerSet:
		return "odometer set to " + c.After.String()
	case *logbook.Withdrawal:
		return fmt.Sprintf("withdrawal of %d", e.Supersedes)
	case *logbook.Fix:
		return fmt.Sprintf("fix, error %s", wording.Length(c.Sigma))
	case *logbook.Departure:
		return fmt.Sprintf("departure, error %s", wording.Length(c.Sigma))
	}
	return string(e.Kind())
}

// shownText says what the dial showed and by which shadow; "" for what is not by the dial.
func shownText(d logbook.DialReading) string {
	var parts []string
	if d.Number != nil {
		parts = append(parts, fmt.Sprintf("%.1f", *d.Number))
	}
	if d.Body != "" {
		parts = append(parts, d.Body)
	}
	return strings.Join(parts, ", ")
}

// readText is whatTextAt with what the dial showed.
func readText(e *logbook.Entry, grid string, d logbook.DialReading) string {
	if text := shownText(d); text != "" {
		return whatTextAt(e, grid) + " " + text
	}
	return whatTextAt(e, grid)
}

// wayText says what was given of the distance run.
func wayText(c logbook.Content) string { return wayTextIn(c, logbook.Kilometres) }

// wayTextIn is wayText with speeds and lengths in a journey's unit.
func wayTextIn(c logbook.Content, unit logbook.Unit) string {
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
		text := fmt.Sprintf("%.3g %s", float64(run.Speed.Mean)*3600/float64(unit.Length()), unit.PerHour())
		if run.Speed.For > 0 {
			text += " for " + wording.Span(run.Speed.For)
		}
		parts = append(parts, text)
	case run.Distance != nil:
		parts = append(parts, "+"+unit.Text(run.Distance.Length))
	case run.Stood:
		parts = append(parts, "stood")
	}
	return strings.Join(parts, ", ")
}

// ellipseText says how far an ellipse reaches from its middle.
func ellipseText(e workup.Ellipse, unit logbook.Unit) string {
	if e.Major-e.Minor < e.Major/50 {
		return unit.Near(e.Major)
	}
	return briefEllipse(e, unit) + ", the longer way " + axisText(e.Bearing)
}

func axisText(a angle.Angle) string {
	n := wholeDegrees(a) % 180
	return fmt.Sprintf("%03d°/%03d°", n, n+180)
}

// courseText prints a bearing to the degree, as in "045°".
func courseText(a angle.Angle) string { return fmt.Sprintf("%03d°", wholeDegrees(a)) }

func wholeDegrees(a angle.Angle) int { return int(math.Round(a.Degrees())) % 360 }

func closingText(c *workup.Closing, unit logbook.Unit) string {
	text := fmt.Sprintf("%s off towards %s", unit.Near(c.Distance), courseText(c.Bearing))
	if c.Run > 0 {
		text += fmt.Sprintf(", %.2f %% of %s run", c.PerCent, unit.Text(c.Run))
	}
	text += fmt.Sprintf(", %.1f sigma", c.Sigmas)
	if !c.Used {
		text += ": not used"
	}
	return text
}

// briefEllipse is an ellipse in a table.
func briefEllipse(e workup.Ellipse, unit logbook.Unit) string {
	return unit.Near(e.Major) + " by " + unit.Near(e.Minor)
}

// entryNotes is the last cell of a row.
func entryNotes(e *logbook.Entry, c *workup.Closing, unit logbook.Unit) string {
	var notes []string
	if l, ok := e.Content.(*logbook.Leg); ok && l.Photo != nil {
		text := l.Photo.Name
		if l.Photo.Refused != "" {
			text += " refused (" + l.Photo.Refused + ")"
		}
		notes = append(notes, text)
	}
	if c != nil {
		notes = append(notes, closingText(c, unit))
	}
	if f, ok := e.Content.(*logbook.Fix); ok && f.Source != "" {
		notes = append(notes, f.Source)
	}
	if e.Note != "" {
		notes = append(notes, e.Note)
	}
	return plain(strings.Join(notes, "; "))
}

// gridAt is the grid heading of a leg that was logged at a place near a pole, to stand beside
// the true one; "" elsewhere.
func gridAt(e *logbook.Entry, p geo.Position) string {
	if l, ok := e.Content.(*logbook.Leg); ok {
		if h := headingOf(l); h != nil {
			return wording.GridBeside(h.Heading, p)
		}
	}
	return ""
}

// gridDegreesAt is the same in degrees.
func gridDegreesAt(e *logbook.Entry, p geo.Position) *float64 {
	if l, ok := e.Content.(*logbook.Leg); ok {
		if h := headingOf(l); h != nil {
			return gridDegrees(h.Heading, p)
		}
	}
	return nil
}
