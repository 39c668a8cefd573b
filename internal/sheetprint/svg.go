package sheetprint

import (
	"bytes"
	"fmt"
	"html"
	"io"

	"shadowread/internal/paper"
	"shadowread/internal/sheet"
)

// WriteSVG writes the standard sheet as an SVG 1.1 page at true size. Lines of
// type are outlines, so that it looks the same without the font; their words
// stay readable as aria-labels. An unknown paper is the usage error bad_paper.
func WriteSVG(w io.Writer, f paper.Format) error {
	p, err := newLeaf(f)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%gmm" height="%gmm" viewBox="0 0 %g %g">`+"\n", p.Width, p.Height, p.Width, p.Height)
	fmt.Fprintf(&b, "<title>shadowread %s %d, %s</title>\n", sheet.Standard.Name, sheet.Standard.Version, p.Name)
	fmt.Fprintf(&b, `<rect width="%g" height="%g" fill="#fff"/>`+"\n", p.Width, p.Height)
	fmt.Fprintf(&b, `<g transform="translate(%g %g) scale(1 -1)">`+"\n", p.Width/2, p.footFromTop)
	for _, g := range page(sheet.Standard) {
		fmt.Fprintf(&b, `<g id="%s">`+"\n", g.id)
		for _, s := range g.shapes {
			fmt.Fprintf(&b, `<path d="%s"/>`+"\n", s.svg())
		}
		for _, t := range g.texts {
			fmt.Fprintf(&b, `<path aria-label="%s" d="%s"/>`+"\n", html.EscapeString(t.s), t.outline().svg())
		}
		b.WriteString("</g>\n")
	}
	b.WriteString("</g>\n</svg>\n")
	_, err = b.WriteTo(w)
	return err
}

func (p path) svg() []byte {
	var b []byte
	for _, s := range p {
		b = append(b, s.op)
		for i, q := range s.p {
			if i > 0 {
				b = append(b, ' ')
			}
			b = appendNumber(b, q.X)
			b = append(b, ' ')
			b = appendNumber(b, q.Y)
		}
	}
	return b
}
