// Package paper puts type and ink on printed pages: the embedded fonts and a PDF
// whose bytes depend on its contents alone.
//
// Lengths are millimetres on paper, places are counted from the upper left corner
// of the page, x to the right and y down.
package paper

import (
	_ "embed"
	"fmt"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// Typeface is a font in the two forms that the writers need: the file to embed
// and the parsed outlines.
type Typeface struct {
	style string // the PDF library's name for it
	ttf   []byte
	font  *sfnt.Font
}

// The fonts that everything is printed in.
var (
	Regular = mustTypeface("", goregular.TTF)
	Bold    = mustTypeface("B", gobold.TTF)
)

func mustTypeface(style string, ttf []byte) *Typeface {
	f, err := sfnt.Parse(ttf)
	if err != nil {
		panic(fmt.Sprintf("embedded font: %v", err))
	}
	return &Typeface{style, ttf, f}
}

// Has tells whether every character of s can be printed.
func (f *Typeface) Has(s string) bool {
	for _, r := range s {
		if i, err := f.font.GlyphIndex(nil, r); err != nil || i == 0 {
			return false
		}
	}
	return true
}

// Glyph returns the outline of r, y down, and its advance, for Em to convert. It
// panics for a character that the font lacks: what a user wrote must pass Has first.
func (f *Typeface) Glyph(r rune) (sfnt.Segments, fixed.Int26_6) {
	outline, err := f.font.LoadGlyph(nil, f.index(r), f.ppem(), nil)
	if err != nil {
		panic(fmt.Sprintf("embedded font: %q: %v", r, err))
	}
	return outline, f.advance(r)
}

func (f *Typeface) index(r rune) sfnt.GlyphIndex {
	i, err := f.font.GlyphIndex(nil, r)
	if err == nil && i == 0 {
		err = sfnt.ErrNotFound
	}
	if err != nil {
		panic(fmt.Sprintf("embedded font: %q: %v", r, err))
	}
	return i
}

func (f *Typeface) advance(r rune) fixed.Int26_6 {
	advance, err := f.font.GlyphAdvance(nil, f.index(r), f.ppem(), font.HintingNone)
	if err != nil {
		panic(fmt.Sprintf("embedded font: %q: %v", r, err))
	}
	return advance
}

// ppem is one pixel a font unit: no rounding.
func (f *Typeface) ppem() fixed.Int26_6 { return fixed.Int26_6(f.font.UnitsPerEm()) << 6 }

// Em converts a length of a glyph to em.
func (f *Typeface) Em(v fixed.Int26_6) float64 {
	return float64(v) / 64 / float64(f.font.UnitsPerEm())
}

// DigitHeight returns the height of the figures, in em: that of the 1, which has
// no overshoot.
func (f *Typeface) DigitHeight() float64 {
	outline, _ := f.Glyph('1')
	return -f.Em(outline.Bounds().Min.Y)
}

// Width returns the length of s, in em. It panics as Glyph does.
func (f *Typeface) Width(s string) float64 {
	w := 0.0
	for _, r := range s {
		w += f.Em(f.advance(r))
	}
	return w
}

// TypefaceLicence is the licence of the embedded fonts, which goes where they go.
//
//go:embed typeface-licence.txt
var TypefaceLicence string
