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

	"shadowread/internal/angle"
	"shadowread/internal/instrument"
	"shadowread/internal/reading"
	"shadowread/internal/sheet"
	"shadowread/internal/wording"
)

// termMeanings says what the terms of the budget are.
var termMeanings = map[string]string{
	"level":      "rod from plumb across the shadow (--level-sigma)",
	"shadow_fit": "direction of the shadow's strip",
	"sheet_map":  "sheet to picture: lens, camera, flatness",
	"print":      "stretch of the print (--print-scale)",
	"alignment":  "sheet's forward axis against the vehicle's (--lubber-sigma)",
	"time":       "clock (--time-sigma)",
	"position":   "place (--position-sigma)",
	"body":       "computed azimuth",
}

// block lays one reading out for people, the heading first.
func block(s *streams, r *reading.Result, all bool) string {
	var b strings.Builder
	line := func(label, format string, args ...any) {
		fmt.Fprintf(&b, "%-12s %s\n", label, plain(fmt.Sprintf(format, args...)))
	}
	headLines(&b, s, r)
	b.WriteByte('\n')
	takenLines(line, r)
	norths(line, r)
	foundLines(line, r)
	if r.Budget != nil && r.OK() {
		budgetLines(&b, r, all)
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

// headLines give the heading, or why there is none, and how far the clock was checked.
func headLines(b *strings.Builder, s *streams, r *reading.Result) {
	if r.OK() {
		n := wording.SteerPlaces(r.Sigma)
		head := fmt.Sprintf("%s %s true ± %s° (95 %%)", headingName(r), wording.ThreeFigures(*r.Heading, n), wording.Fixed(wording.Within95(r.Sigma), n))
		if r.Come != nil {
			head += ", " + wording.Turn(*r.Come, n) + " to steer " + wording.ThreeFigures(*r.Course, n)
		}
		if r.MoonTaken {
			head += ", by the moon: the sun is down"
		}
		fmt.Fprintf(b, "%s\n", s.paint(bold, head))
	} else {
		fmt.Fprintf(b, "%s\n", s.paint(red, "no heading: "+string(r.Reason)))
		fmt.Fprintln(b, s.wrap(2, plain(r.Message)))
	}
	if text := clockText(r); text != "" {
		fmt.Fprintln(b, strings.TrimSpace(s.wrap(0, text)))
	}
}

// takenLines say where and when it was.
func takenLines(line func(label, format string, args ...any), r *reading.Result) {
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
		line(sky.Body.String(), "azimuth %s°, altitude %s°", wording.Three(sky.Azimuth, 2), wording.Fixed(sky.Altitude, 2))
	}
	if t := r.Instant; t != nil {
		line("time", "%s ± %s one sigma (%s)", wording.LocalTime(t.UTC, t.Offset), spanText(t.Sigma), t.Source)
	}
	if p := r.Place; p != nil {
		line("position", "%s ± %s km one sigma (%s)", p.Position, compact(p.SigmaKM), p.Source)
	}
}

// foundLines say what was seen in the picture and what was known beforehand.
func foundLines(line func(label, format string, args ...any), r *reading.Result) {
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
		sigma = wording.Within95(sigma)
		n := wording.Places(sigma)
		text := fmt.Sprintf("%s° ± %s° from square to the sheet towards %s°, seen across the line of sight", wording.Fixed(off, n), wording.Fixed(sigma, n), wording.Three(toward, 0))
		if r.PlumbLine {
			text += ": so much is the sheet out of level"
		}
		line("rod", "%s", text)
	}
}

// smallTerm is the share of the sum below which a term is left out: it makes up a four
// hundredth of its square.
const smallTerm = 0.05

// budgetLines list what makes up the uncertainty, the greatest first, all of it if asked.
func budgetLines(b *strings.Builder, r *reading.Result, all bool) {
	b.WriteString("\nuncertainty, one sigma\n")
	terms := r.Budget.Terms()
	slices.SortStableFunc(terms, func(a, b reading.Term) int { return cmp.Compare(b.Sigma, a.Sigma) })
	small := 0
	for _, t := range terms {
		if !all && float64(t.Sigma) < smallTerm*float64(r.Sigma) {
			small++
			continue
		}
		meaning := termMeanings[t.Name]
		if r.PlumbLine && t.Name == "level" {
			meaning = "sheet from level (--level-sigma), squared"
		}
		if p := r.LevelParts; p != nil && t.Name == "level" {
			meaning = fmt.Sprintf("board's tilt %s°, rod square to it %s° (--square-sigma)", wording.Fixed(p.Tilt, 3), wording.Fixed(p.Square, 3))
		} else if r.Instrument != nil && (t.Name == "level" || t.Name == "alignment") {
			meaning = "what the instrument's record leaves open"
		}
		fmt.Fprintf(b, "  %-12s %6s°  %s\n", wording.Term(t.Name), wording.Fixed(t.Sigma, 3), meaning)
	}
	if small > 0 {
		fmt.Fprintf(b, "  %s below %.0f %% of the sum left out (--all-terms)\n", wording.Count(small, "term"), 100*smallTerm)
	}
	if r.RodInDoubt() {
		b.WriteString("  nothing was said of how the rod was set (--level-sigma), and this photo does not show it: take it along the shadow from its far end\n")
	}
	if r.Budget.Alignment == 0 && r.Instrument == nil {
		b.WriteString("  the heading is the sheet's: nothing was said of how it lies in the vehicle\n")
	}
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
		line("magnetic", "heading %s = true − declination %s (%s)", bearingWith(*m), wording.EastWest(c.Declination.Value, c.Declination.Sigma), declinationSource(*c.Declination))
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
	text := fmt.Sprintf("%s %s%s° ± %s° by its length, %s° by the clock", r.Sky.Body, most, wording.Fixed(*a, 1), wording.Fixed(wording.Within95(r.AltitudeSigma), 1), wording.Fixed(r.Sky.Altitude, 1))
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

// tiltText says how the sheet stands and which edges to raise.
func tiltText(r *reading.Result) string {
	t := r.Tilt
	edge := func(a angle.Angle, high, low string) (stands, raise string) {
		name, other := high, low
		if a < 0 {
			name, other = low, high
		}
		return fmt.Sprintf("%s edge %.2f° high", name, a.Abs().Degrees()), fmt.Sprintf("%s edge %.1f mm", other, 100*a.Abs().Tan())
	}
	f, raiseF := edge(t.Forward, "forward", "aft")
	s, raiseS := edge(t.Starboard, "starboard", "port")
	return fmt.Sprintf("%s, %s, ± %.2f° (%s); to level it raise the %s and the %s on 100 mm",
		f, s, wording.Within95(t.Sigma).Degrees(), strings.Join(r.TiltSources, " and "), raiseF, raiseS)
}
