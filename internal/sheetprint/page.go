// Package sheetprint draws the printed sheet, as PDF, SVG and PNG.
//
// Lengths are millimetres on paper, in the axes of package sheet.
package sheetprint

import (
	"fmt"
	"math"
	"slices"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
	"shadowread/internal/typeface"
)

// What the geometry leaves open, in mm.
const (
	faceHalf   = 88.0 // the face is the square |x|, |y| <= faceHalf, out to the marks' edges
	scaleTick  = 3.0  // length of the end ticks of the scale check line
	thinLine   = 0.25 // every line outside the face
	arrowLong  = 4.0  // head of the lubber line
	arrowBroad = 2.8
	body       = 2.7 // em of the small print, 7.7 pt
	leading    = 4.2
)

// group is a part of the page: regions of ink and lines of type.
type group struct {
	id     string
	shapes []path
	texts  []text
}

// page returns all that is printed, in plate millimetres. It is the same on
// every paper.
func page(s *sheet.Sheet) []group {
	return append(face(s), notes(s)...)
}

// face returns what the geometry lists within the face, and nothing else.
func face(s *sheet.Sheet) []group {
	marks := group{id: "marks"}
	for _, m := range s.Marks {
		marks.shapes = append(marks.shapes, ink(m))
	}

	d := s.Dial
	dial := group{id: "dial", shapes: []path{ring(d.RingRadius, d.RingWidth)}}
	for deg := range 360 {
		step := sheet.TickStep(deg)
		a := angle.FromDegrees(float64(deg))
		dial.shapes = append(dial.shapes, line(polar(d.TickInnerRadius, a), polar(d.TickOuterRadius[step], a), d.TickWidth[step]))
	}
	for n := 0; n < 360; n += 10 {
		dial.texts = append(dial.texts, numeral(d, n))
	}

	from, to := s.LubberFrom, s.LubberTo
	shoulder := xy(to.X, to.Y-arrowLong)
	var head path
	head.polygon(to, xy(to.X+arrowBroad/2, shoulder.Y), xy(to.X-arrowBroad/2, shoulder.Y))
	lubber := group{id: "lubber", shapes: []path{line(from, shoulder, s.LubberWidth), head}}

	foot := group{id: "foot", shapes: []path{ring(s.FootRing, s.FootLine)}}
	for quarter := range 4 {
		a := angle.FromDegrees(float64(90 * quarter))
		foot.shapes = append(foot.shapes, line(polar(s.FootCross[0], a), polar(s.FootCross[1], a), s.FootLine))
	}
	return []group{marks, dial, lubber, foot}
}

// polar is the point at radius mm and a clockwise from forward.
func polar(radius float64, a angle.Angle) sheet.Point {
	return xy(radius*a.Sin(), radius*a.Cos())
}

// ink returns the mark's black as one region: the outer square less the white
// area, whose outline is traced round adjoining modules so that no seam shows
// between them.
func ink(m sheet.Mark) path {
	var p path
	corners := m.Corners()
	p.polygon(corners[:]...) // clockwise, so the holes run counter-clockwise

	bits, _ := sheet.ModuleBits(m.ID)
	type cell struct{ row, col int }
	white := func(c cell) bool {
		return c.row >= 0 && c.row < 4 && c.col >= 0 && c.col < 4 && bits[c.row][c.col]
	}
	// The edges between white and black, from grid point to grid point.
	var edges [][2]cell
	for i := range 16 {
		r, c := i/4, i%4
		if !white(cell{r, c}) {
			continue
		}
		for _, side := range []struct{ beyond, from, to cell }{
			{cell{r, c - 1}, cell{r, c}, cell{r + 1, c}},
			{cell{r + 1, c}, cell{r + 1, c}, cell{r + 1, c + 1}},
			{cell{r, c + 1}, cell{r + 1, c + 1}, cell{r, c + 1}},
			{cell{r - 1, c}, cell{r, c + 1}, cell{r, c}},
		} {
			if !white(side.beyond) {
				edges = append(edges, [2]cell{side.from, side.to})
			}
		}
	}
	module := m.Side / 6 // four modules and a border on either side
	for len(edges) > 0 {
		var hole []sheet.Point
		for at, i := edges[0][0], 0; i >= 0; i = slices.IndexFunc(edges, func(e [2]cell) bool { return e[0] == at }) {
			hole = append(hole, xy(corners[0].X+float64(at.col+1)*module, corners[0].Y-float64(at.row+1)*module))
			at = edges[i][1]
			edges = slices.Delete(edges, i, i+1)
		}
		p.polygon(hole...)
	}
	return p
}

// numeral returns the numeral n, whose middle stands at the clockwise angle
// 180 - n with its head outward: the number under the shadow is upright for
// someone who looks along the shadow from the rod, with the sun behind.
func numeral(d sheet.Dial, n int) text {
	a := (180*angle.Degree - angle.FromDegrees(float64(n))).Bearing()
	return text{
		s: fmt.Sprint(n), face: typeface.Regular, size: d.NumeralHeight / typeface.Regular.DigitHeight(),
		at: polar(d.NumeralRadius-d.NumeralHeight/2, a), align: 0.5, turn: a,
	}
}

// notes returns what stands outside the face: above it the way forward and the
// hand rule, below it the scale check, the table of rods and the small print.
func notes(s *sheet.Sheet) []group {
	forward := group{id: "forward", texts: []text{{s: "FORWARD", face: typeface.Bold, size: 5, at: xy(0, faceHalf+3), align: 0.5}}}
	for _, x := range []float64{-18, 18} {
		var p path
		p.polygon(xy(x, faceHalf+6.6), xy(x+1.9, faceHalf+3), xy(x-1.9, faceHalf+3))
		forward.shapes = append(forward.shapes, p)
	}

	rule := group{id: "rule", texts: []text{
		{s: "True heading = azimuth of the sun + number under the shadow (less 360 if over)", face: typeface.Bold, size: 4.2, at: xy(0, faceHalf+12.5), align: 0.5},
		{s: fmt.Sprintf("shadowread %s %d", s.Name, s.Version), face: typeface.Regular, size: body, at: xy(-faceHalf, faceHalf+19)},
		{s: "By moonlight, the azimuth of the moon. Azimuth and heading are counted from true north.", face: typeface.Regular, size: body, at: xy(faceHalf, faceHalf+19), align: 1},
	}}
	return []group{forward, rule, scaleCheck(s), rodTable(s, faceHalf+17.5), smallPrint(s, faceHalf+37.5)}
}

// scaleCheck returns the line that must measure its length between the middles
// of its end ticks.
func scaleCheck(s *sheet.Sheet) group {
	from, to := s.ScaleFrom, s.ScaleTo
	g := group{id: "scale-check", shapes: []path{line(from, to, thinLine)}}
	for _, p := range []sheet.Point{from, to} {
		g.shapes = append(g.shapes, line(xy(p.X, p.Y+scaleTick/2), xy(p.X, p.Y-scaleTick/2), thinLine))
	}
	g.texts = []text{{s: fmt.Sprintf("%g mm", s.ScaleLength), face: typeface.Regular, size: body, at: xy((from.X+to.X)/2, from.Y-4), align: 0.5}}
	return g
}

// rodHeight is the height of the rod whose tip's shadow falls on the ring, in
// whole millimetres, rounded up so that it does reach.
func rodHeight(s *sheet.Sheet, altitude angle.Angle) int {
	return int(math.Ceil(s.Dial.RingRadius * altitude.Tan()))
}

// rodTable returns the table of rod heights, its upper rule below mm under the
// foot.
func rodTable(s *sheet.Sheet, below float64) group {
	const first, column, height = -faceHalf + 46, 11.0, 4.6 // left edge of the figures, column width, row height
	top := -below
	g := group{id: "rod-table"}
	for i := range 3 {
		y := top - float64(i)*height
		g.shapes = append(g.shapes, line(xy(-faceHalf, y), xy(faceHalf, y), thinLine))
	}
	cell := func(row int, x, align float64, s string, face *typeface.Face) {
		g.texts = append(g.texts, text{s: s, face: face, size: body, at: xy(x, top-3.3-float64(row)*height), align: align})
	}
	cell(0, -faceHalf, 0, "Altitude of the sun or moon", typeface.Bold)
	cell(1, -faceHalf, 0, "Rod that reaches the scale", typeface.Bold)
	for i := range 12 {
		alt := 10 + 5*i
		x := first + column*float64(i) + column/2
		cell(0, x, 0.5, fmt.Sprintf("%d°", alt), typeface.Regular)
		cell(1, x, 0.5, fmt.Sprintf("%d", rodHeight(s, angle.FromDegrees(float64(alt)))), typeface.Regular)
	}
	cell(2, -faceHalf, 0, fmt.Sprintf("Heights in mm above the sheet: %g mm × tan altitude, rounded up. A %g mm rod reaches the scale only below %.0f°.",
		s.Dial.RingRadius, s.RodHeight, angle.Atan2(s.RodHeight, s.Dial.RingRadius).Degrees()), typeface.Regular)
	return g
}

// row is a line of the small print. One with a unit leaves a space to write in.
type row struct{ text, unit string }

// smallPrint returns the three columns at the bottom, their headings' baseline
// below mm under the foot.
func smallPrint(s *sheet.Sheet, below float64) group {
	columns := [3][]row{{
		{"Check the print in both directions", ""},
		{"Print at 100 %, “actual size”, not “fit to page”.", ""},
		{fmt.Sprintf("The line above: %g mm", s.ScaleLength), "mm"},
		{"Over the outer edges of the corner marks:", ""},
		{fmt.Sprintf("athwart: %g mm", 2*faceHalf), "mm"},
		{fmt.Sprintf("fore and aft: %g mm", 2*faceHalf), "mm"},
		{"A stretch of 0.5 % one way costs up to 0.14°.", ""},
	}, {
		{"Rod and board", ""},
		{"Rod height", "mm"},
		{"Rod diameter", "mm"},
		{"Nodus: ring of tape, at 20 mm", "mm"},
		{"Rod plumb on the small circle, board level.", ""},
		{"Read at the middle of the shadow.", ""},
		{"In a photo, keep all twelve marks in view.", ""},
	}, {
		{"Take care", ""},
		{"Never look at the sun.", ""},
		{"Cap the tip of the rod.", ""},
		{"No rod before an airbag or a face.", ""},
		{"Under way, the driver does not handle it.", ""},
		{"Never the sole means of navigation.", ""},
		{"Local rules and licensed practice come first.", ""},
	}}
	const gutter, gap = 6.0, 1.5
	width := (2*faceHalf - 2*gutter) / 3
	g := group{id: "small-print"}
	for i, rows := range columns {
		x := -faceHalf + float64(i)*(width+gutter)
		for j, r := range rows {
			y := -below - float64(j)*leading
			t := text{s: r.text, face: typeface.Regular, size: body, at: xy(x, y)}
			if j == 0 {
				t.face = typeface.Bold
			}
			g.texts = append(g.texts, t)
			if r.unit == "" {
				continue
			}
			unit := text{s: r.unit, face: typeface.Regular, size: body, at: xy(x+width, y), align: 1}
			g.texts = append(g.texts, unit)
			g.shapes = append(g.shapes, line(xy(x+t.width()+gap, y-0.5), xy(x+width-unit.width()-gap, y-0.5), thinLine))
		}
	}
	return g
}
