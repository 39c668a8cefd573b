package sheetprint

import (
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
	"shadowread/internal/typeface"
)

// text is a line of type. At is on the baseline, at the start, the middle or the
// end of the line by align (0, 0.5, 1); the line is turned clockwise about it.
type text struct {
	s     string
	face  *typeface.Face
	size  float64 // em, mm
	at    sheet.Point
	align float64
	turn  angle.Angle
}

// width returns the length of the line in mm.
func (t text) width() float64 { return t.face.Width(t.s) * t.size }

// placer returns the map from the line, x mm along the baseline from its start
// and y mm above it, to the sheet.
func (t text) placer() func(x, y float64) sheet.Point {
	before := t.align * t.width()
	sin, cos := t.turn.Sin(), t.turn.Cos()
	return func(x, y float64) sheet.Point {
		x -= before
		return xy(t.at.X+x*cos+y*sin, t.at.Y-x*sin+y*cos)
	}
}

// outline returns the line as a region of ink.
func (t text) outline() path {
	var p path
	place := t.placer()
	pen := 0.0
	for _, r := range t.s {
		segments, advance := t.face.Glyph(r)
		at := func(q fixed.Point26_6) sheet.Point {
			return place(pen+t.face.Em(q.X)*t.size, -t.face.Em(q.Y)*t.size)
		}
		var last sheet.Point
		for i, s := range segments {
			switch s.Op {
			case sfnt.SegmentOpMoveTo:
				if i > 0 {
					p.add('Z')
				}
				last = at(s.Args[0])
				p.add('M', last)
			case sfnt.SegmentOpLineTo:
				last = at(s.Args[0])
				p.add('L', last)
			case sfnt.SegmentOpQuadTo: // TrueType has no other curve
				c, end := at(s.Args[0]), at(s.Args[1])
				toward := func(a sheet.Point) sheet.Point { return xy(a.X+(c.X-a.X)*2/3, a.Y+(c.Y-a.Y)*2/3) }
				p.add('C', toward(last), toward(end), end)
				last = end
			}
		}
		if len(segments) > 0 {
			p.add('Z')
		}
		pen += t.face.Em(advance) * t.size
	}
	return p
}
