package sheetprint

import (
	"fmt"
	"io"

	"shadowread/internal/fault"
	"shadowread/internal/paper"
	"shadowread/internal/sheet"
)

// WritePDF writes the standard sheet as a one-page vector PDF with its font
// embedded and its words as text. The bytes depend on the paper alone. The file
// asks viewers to print it without scaling. An unknown paper is the usage error
// bad_paper.
func WritePDF(w io.Writer, f paper.Format) error {
	p, err := newLeaf(f)
	if err != nil {
		return err
	}
	doc := paper.NewPDF(fmt.Sprintf("shadowread %s %d, %s", sheet.Standard.Name, sheet.Standard.Version, p.Name), p.Format)
	doc.AddPage()
	for _, g := range page(sheet.Standard) {
		var regions [][]byte
		for _, s := range g.shapes {
			regions = append(regions, s.pdf())
		}
		doc.Fill(p.Width/2, p.footFromTop, regions...)
		for _, t := range g.texts {
			start := t.placer()(0, 0)
			doc.Text(t.s, t.face, t.size, p.Width/2+start.X, p.footFromTop-start.Y, t.turn)
		}
	}
	out, err := doc.Bytes()
	if err != nil {
		return fault.Wrap(err, "pdf_failed", "write the sheet as SVG or PNG instead", "cannot compose the PDF")
	}
	_, err = w.Write(out)
	return err
}

// pdf writes the region in PDF's path operators (ISO 32000-1, 8.5) and fills it.
func (p path) pdf() []byte {
	var b []byte
	for _, s := range p {
		for _, q := range s.p {
			b = appendNumber(b, q.X)
			b = append(b, ' ')
			b = appendNumber(b, q.Y)
			b = append(b, ' ')
		}
		b = append(b, map[byte]string{'M': "m\n", 'L': "l\n", 'C': "c\n", 'Z': "h\n"}[s.op]...)
	}
	return append(b, 'f')
}
