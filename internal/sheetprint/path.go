package sheetprint

import (
	"math"
	"strconv"

	"shadowread/internal/sheet"
)

func xy(x, y float64) sheet.Point { return sheet.Point{X: x, Y: y} }

// segment is one step of a path: 'M' move, 'L' line, 'C' cubic Bézier, 'Z' close.
// The end point comes last in p.
type segment struct {
	op byte
	p  []sheet.Point
}

// path is a region of ink in plate millimetres, filled by the nonzero winding
// rule. Lines and rings are regions too: a filled outline has the same width in
// every viewer and on every printer, while a stroke may be snapped to whole
// pixels.
type path []segment

func (p *path) add(op byte, pts ...sheet.Point) { *p = append(*p, segment{op, pts}) }

func (p *path) polygon(pts ...sheet.Point) {
	p.add('M', pts[0])
	for _, q := range pts[1:] {
		p.add('L', q)
	}
	p.add('Z')
}

// line is a straight stroke with butt ends.
func line(a, b sheet.Point, width float64) path {
	s := width / 2 / math.Hypot(b.X-a.X, b.Y-a.Y)
	nx, ny := -(b.Y-a.Y)*s, (b.X-a.X)*s
	var p path
	p.polygon(xy(a.X+nx, a.Y+ny), xy(b.X+nx, b.Y+ny), xy(b.X-nx, b.Y-ny), xy(a.X-nx, a.Y-ny))
	return p
}

// ring is a circle about the foot, drawn with a line of the given width.
func ring(radius, width float64) path {
	var p path
	p.circle(radius+width/2, 1)
	p.circle(radius-width/2, -1)
	return p
}

// circle goes round the foot in eight cubic arcs, turning by sign. An arc of 45
// degrees with handles of 4/3 tan(a/4) leaves the true circle by at most 5e-6 of
// its radius: a third of a micrometre on the dial.
func (p *path) circle(r, sign float64) {
	const arcs = 8
	step := sign * 2 * math.Pi / arcs
	h := 4.0 / 3 * math.Tan(step/4)
	on := func(i int, handle float64) sheet.Point {
		sin, cos := math.Sincos(float64(i) * step)
		return xy(r*(cos-handle*sin), r*(sin+handle*cos))
	}
	p.add('M', on(0, 0))
	for i := range arcs {
		p.add('C', on(i, h), on(i+1, -h), on(i+1, 0))
	}
	p.add('Z')
}

// bounds returns the corners of a box that holds the path.
func (p path) bounds() (lo, hi sheet.Point) {
	lo, hi = xy(math.Inf(1), math.Inf(1)), xy(math.Inf(-1), math.Inf(-1))
	for _, s := range p {
		for _, q := range s.p {
			lo = xy(min(lo.X, q.X), min(lo.Y, q.Y))
			hi = xy(max(hi.X, q.X), max(hi.Y, q.Y))
		}
	}
	return lo, hi
}

// appendNumber writes millimetres to a micrometre, without trailing zeros.
func appendNumber(b []byte, v float64) []byte {
	return strconv.AppendFloat(b, math.Round(v*1e3)/1e3+0, 'f', -1, 64) // +0 turns -0 into 0
}
