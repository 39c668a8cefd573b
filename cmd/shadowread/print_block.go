package main

import (
	"cmp"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"shadowread/internal/reading"
	"shadowread/internal/sheet"
	"shadowread/internal/telling"
	"shadowread/internal/wording"
)

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
		head := fmt.Sprintf("%s %s true ± %s° (95 %%)", telling.HeadingName(r), wording.ThreeFigures(*r.Heading, n), wording.Fixed(wording.Within95(r.Sigma), n))
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
	if text := telling.Clock(r); text != "" {
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
		line("time", "%s ± %s one sigma (%s)", wording.LocalTime(t.UTC, t.Offset), telling.Sigma(t.Sigma), t.Source)
	}
	if p := r.Place; p != nil {
		line("position", "%s ± %s km one sigma (%s)", p.Position, telling.Figures(p.SigmaKM), p.Source)
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
		line("instrument", "%s", telling.Instrument(i, r.Correction))
	}
	if r.Tilt != nil {
		line("board", "%s", telling.Board(r))
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
		meaning := telling.Meaning(r, t.Name)
		if flag := telling.SetBy(r, t.Name); flag != "" {
			meaning += " (--" + flag + ")"
		}
		fmt.Fprintf(b, "  %-12s %6s°  %s\n", wording.Term(t.Name), wording.Fixed(t.Sigma, 3), meaning)
	}
	if small > 0 {
		fmt.Fprintf(b, "  %s below %.0f %% of the sum left out (--all-terms)\n", wording.Count(small, "term"), 100*smallTerm)
	}
	for _, text := range telling.Doubts(r) {
		b.WriteString("  " + text + "\n")
	}
}

// norths says what other norths make of the heading.
func norths(line func(label, format string, args ...any), r *reading.Result) {
	c := r.Compass
	if m := c.Magnetic; m != nil {
		line("magnetic", "heading %s = true − declination %s (%s)", telling.With(*m), wording.EastWest(c.Declination.Value, c.Declination.Sigma), declinationSource(*c.Declination))
	}
	if d := c.Deviated; d != nil {
		text := "heading " + telling.With(*d) + " = magnetic − deviation"
		if c.Steer != nil {
			text += ", steer " + telling.With(*c.Steer) + " by it for the course"
		}
		line("compass", "%s", text)
	}
	if g := c.Grid; g != nil {
		rule := "true − longitude"
		if r.Place.Position.Lat < 0 {
			rule = "true + longitude"
		}
		line("grid", "heading %s = %s: grid north is the direction of the Greenwich meridian", telling.With(*g), rule)
	}
}
