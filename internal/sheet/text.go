package sheet

import (
	"fmt"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"

	"shadowread/internal/angle"
)

// typeface is a font in the two forms that the writers need: the file to embed
// and the parsed outlines.
type typeface struct {
	style string // the PDF library's name for it
	ttf   []byte
	font  *sfnt.Font
}

var (
	regular = mustTypeface("", goregular.TTF)
	bold    = mustTypeface("B", gobold.TTF)
)

func mustTypeface(style string, ttf []byte) *typeface {
	f, err := sfnt.Parse(ttf)
	if err != nil {
		panic(fmt.Sprintf("embedded font: %v", err))
	}
	return &typeface{style, ttf, f}
}

// glyph returns the outline of r, y down, and its advance, for em to convert.
// Every text on the sheet is a constant, so a missing glyph is a slip in this
// package.
func (f *typeface) glyph(r rune) (sfnt.Segments, fixed.Int26_6) {
	ppem := fixed.Int26_6(f.font.UnitsPerEm()) << 6 // one pixel a font unit: no rounding
	i, err := f.font.GlyphIndex(nil, r)
	if err == nil && i == 0 {
		err = sfnt.ErrNotFound
	}
	var advance fixed.Int26_6
	var outline sfnt.Segments
	if err == nil {
		advance, err = f.font.GlyphAdvance(nil, i, ppem, font.HintingNone)
	}
	if err == nil {
		outline, err = f.font.LoadGlyph(nil, i, ppem, nil)
	}
	if err != nil {
		panic(fmt.Sprintf("embedded font: %q: %v", r, err))
	}
	return outline, advance
}

// em converts a length of a glyph to em.
func (f *typeface) em(v fixed.Int26_6) float64 {
	return float64(v) / 64 / float64(f.font.UnitsPerEm())
}

// digitHeight returns the height of the figures, in em: that of the 1, which has
// no overshoot.
func (f *typeface) digitHeight() float64 {
	outline, _ := f.glyph('1')
	return -f.em(outline.Bounds().Min.Y)
}

// text is a line of type. At is on the baseline, at the start, the middle or the
// end of the line by align (0, 0.5, 1); the line is turned clockwise about it.
type text struct {
	s     string
	face  *typeface
	size  float64 // em, mm
	at    Point
	align float64
	turn  angle.Angle
}

// width returns the length of the line in mm.
func (t text) width() float64 {
	w := 0.0
	for _, r := range t.s {
		_, advance := t.face.glyph(r)
		w += t.face.em(advance)
	}
	return w * t.size
}

// placer returns the map from the line, x mm along the baseline from its start
// and y mm above it, to the sheet.
func (t text) placer() func(x, y float64) Point {
	before := t.align * t.width()
	sin, cos := t.turn.Sin(), t.turn.Cos()
	return func(x, y float64) Point {
		x -= before
		return Point{t.at.X + x*cos + y*sin, t.at.Y - x*sin + y*cos}
	}
}

// outline returns the line as a region of ink.
func (t text) outline() path {
	var p path
	place := t.placer()
	pen := 0.0
	for _, r := range t.s {
		segments, advance := t.face.glyph(r)
		at := func(q fixed.Point26_6) Point {
			return place(pen+t.face.em(q.X)*t.size, -t.face.em(q.Y)*t.size)
		}
		var last Point
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
				toward := func(a Point) Point { return Point{a.X + (c.X-a.X)*2/3, a.Y + (c.Y-a.Y)*2/3} }
				p.add('C', toward(last), toward(end), end)
				last = end
			}
		}
		if len(segments) > 0 {
			p.add('Z')
		}
		pen += t.face.em(advance) * t.size
	}
	return p
}
