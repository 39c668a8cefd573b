// Package typeface has the fonts that everything is printed and drawn in.
package typeface

import (
	"fmt"

	"golang.org/x/image/font"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"

	"shadowread/internal/fault"
)

// Face is a font in the forms that the writers need: the file to embed and the parsed
// outlines.
type Face struct {
	TTF  []byte
	font *sfnt.Font
}

func mustParse(ttf []byte) *Face {
	f, err := sfnt.Parse(ttf)
	if err != nil {
		panic(fmt.Sprintf("embedded font: %v", err))
	}
	return &Face{ttf, f}
}

// Fonts fails with code "no_fonts" in a build that has none: what prints or draws asks first.
func Fonts() error {
	if Regular.font == nil {
		return fault.New("no_fonts", "use a build of the program without the tag nofonts, or ask for text or JSON", "this build of the program has no fonts to print or draw with")
	}
	return nil
}

// Has tells whether every character of s can be printed; of what a build without
// fonts writes as plain text, nothing is missing.
func (f *Face) Has(s string) bool {
	if f.font == nil {
		return true
	}
	for _, r := range s {
		if i, err := f.font.GlyphIndex(nil, r); err != nil || i == 0 {
			return false
		}
	}
	return true
}

// Glyph returns the outline of r, y down, and its advance, for Em to convert. It
// panics for a character that the font lacks: what a user wrote must pass Has first.
func (f *Face) Glyph(r rune) (sfnt.Segments, fixed.Int26_6) {
	outline, err := f.font.LoadGlyph(nil, f.index(r), f.ppem(), nil)
	if err != nil {
		panic(fmt.Sprintf("embedded font: %q: %v", r, err))
	}
	return outline, f.advance(r)
}

func (f *Face) index(r rune) sfnt.GlyphIndex {
	i, err := f.font.GlyphIndex(nil, r)
	if err == nil && i == 0 {
		err = sfnt.ErrNotFound
	}
	if err != nil {
		panic(fmt.Sprintf("embedded font: %q: %v", r, err))
	}
	return i
}

func (f *Face) advance(r rune) fixed.Int26_6 {
	advance, err := f.font.GlyphAdvance(nil, f.index(r), f.ppem(), font.HintingNone)
	if err != nil {
		panic(fmt.Sprintf("embedded font: %q: %v", r, err))
	}
	return advance
}

// Sized returns the face to draw on pictures with, em pixels high. It fails as [Fonts] does.
func (f *Face) Sized(em float64) (font.Face, error) {
	if err := Fonts(); err != nil {
		return nil, err
	}
	return opentype.NewFace(f.font, &opentype.FaceOptions{Size: em, DPI: 72}) // at 72 an em is in pixels
}

// ppem is one pixel a font unit: no rounding.
func (f *Face) ppem() fixed.Int26_6 { return fixed.Int26_6(f.font.UnitsPerEm()) << 6 }

// Em converts a length of a glyph to em.
func (f *Face) Em(v fixed.Int26_6) float64 {
	return float64(v) / 64 / float64(f.font.UnitsPerEm())
}

// DigitHeight returns the height of the figures, in em: that of the 1, which has
// no overshoot.
func (f *Face) DigitHeight() float64 {
	outline, _ := f.Glyph('1')
	return -f.Em(outline.Bounds().Min.Y)
}

// Width returns the length of s, in em. It panics as Glyph does.
func (f *Face) Width(s string) float64 {
	w := 0.0
	for _, r := range s {
		w += f.Em(f.advance(r))
	}
	return w
}
