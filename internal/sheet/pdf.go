package sheet

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"shadowread/internal/fault"
)

// WritePDF writes the standard sheet as a one-page vector PDF with its font
// embedded and its words as text. The bytes depend on the paper alone. The file
// asks viewers to print it without scaling. An unknown paper is the usage error
// bad_paper.
func WritePDF(w io.Writer, p Paper) error {
	if err := p.check(); err != nil {
		return err
	}
	doc := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: p.Width, Ht: p.Height}})
	epoch := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC) // any fixed date
	doc.SetCreationDate(epoch)
	doc.SetModificationDate(epoch)
	doc.SetCatalogSort(true)
	doc.SetTitle(fmt.Sprintf("shadowread %s %d, %s", Standard.Name, Standard.Version, p.Name), true)
	doc.SetLang("en")
	for _, f := range []*typeface{regular, bold} {
		doc.AddUTF8FontFromBytes("Go", f.style, f.ttf)
	}
	doc.AddPage()

	const pointsPerMM = 72 / 25.4
	for _, g := range Standard.page() {
		// The library rounds to a hundredth of a point; write the regions in mm.
		doc.TransformBegin()
		doc.Transform(fpdf.TransformMatrix{A: pointsPerMM, D: pointsPerMM, E: p.Width / 2 * pointsPerMM, F: (p.Height - p.FootFromTop) * pointsPerMM})
		for _, s := range g.shapes {
			doc.RawWriteStr(string(s.pdf()))
		}
		doc.TransformEnd()
		for _, t := range g.texts {
			start := t.placer()(0, 0)
			x, y := p.Width/2+start.X, p.FootFromTop-start.Y
			doc.SetFont("Go", t.face.style, t.size*pointsPerMM)
			doc.TransformBegin()
			doc.TransformRotate(-t.turn.Degrees(), x, y)
			doc.Text(x, y, t.s)
			doc.TransformEnd()
		}
	}

	var b bytes.Buffer
	if err := doc.Output(&b); err != nil {
		return fault.Wrap(err, "pdf_failed", "write the sheet as SVG or PNG instead", "cannot compose the PDF")
	}
	out, err := printUnscaled(b.String())
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

// printUnscaled sets the viewer preference PrintScaling to None (ISO 32000-1,
// 12.2; new in PDF 1.6), for which the library has no call. The catalog is the last object, so
// that only the place of the cross-reference table moves.
func printUnscaled(pdf string) ([]byte, error) {
	const catalog = "/Type /Catalog\n"
	const preference = "/Version /1.6\n/ViewerPreferences <</PrintScaling /None>>\n"
	head, rest, ok := strings.Cut(pdf, catalog)
	object, table, okTable := strings.Cut(rest, "\nxref\n")
	table, _, okEnd := strings.Cut(table, "startxref\n")
	if !ok || !okTable || !okEnd || strings.Contains(object, " obj\n") {
		return nil, errors.New("the catalog is not the last object")
	}
	out := head + catalog + preference + object + "\n"
	return fmt.Appendf(nil, "%sxref\n%sstartxref\n%d\n%%%%EOF\n", out, table, len(out)), nil
}
