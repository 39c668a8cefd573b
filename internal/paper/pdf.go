// Package paper puts ink on printed pages: their sizes, and a PDF whose bytes depend on
// its contents alone.
//
// Lengths are millimetres on paper, places are counted from the upper left corner
// of the page, x to the right and y down.
package paper

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"shadowread/internal/angle"
	"shadowread/internal/typeface"
)

// PointsPerMM converts millimetres to the points of type.
const PointsPerMM = 72 / 25.4

// PDF is a document of vector pages of one size, its fonts embedded and its words
// as text. It asks viewers to print it without scaling.
type PDF struct {
	doc    *fpdf.Fpdf
	height float64
}

// NewPDF returns an empty document with pages of the given size.
func NewPDF(title string, f Format) *PDF {
	epoch := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC) // any fixed date
	return &PDF{NewDocument(title, f, epoch), f.Height}
}

// NewDocument returns an empty document in the PDF library's own terms, in mm, whose
// bytes depend on what is put in it alone. It carries the embedded fonts as "Go" in
// the styles "" and "B" and breaks no page by itself.
func NewDocument(title string, f Format, date time.Time) *fpdf.Fpdf {
	doc := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: f.Width, Ht: f.Height}})
	doc.SetCreationDate(date)
	doc.SetModificationDate(date)
	doc.SetCatalogSort(true)
	doc.SetAutoPageBreak(false, 0)
	doc.SetTitle(title, true)
	doc.SetLang("en")
	for _, f := range []*typeface.Face{typeface.Regular, typeface.Bold} {
		doc.AddUTF8FontFromBytes("Go", style(f), f.TTF)
	}
	return doc
}

// style is the PDF library's name for a face.
func style(f *typeface.Face) string {
	if f == typeface.Bold {
		return "B"
	}
	return ""
}

// AddPage begins a new page.
func (d *PDF) AddPage() { d.doc.AddPage() }

// Fill fills regions of ink, written in PDF's path operators (ISO 32000-1, 8.5) in
// millimetres about the origin (x, y), their own y up.
func (d *PDF) Fill(x, y float64, regions ...[]byte) {
	// The library rounds to a hundredth of a point; write the regions in mm.
	d.doc.TransformBegin()
	d.doc.Transform(fpdf.TransformMatrix{A: PointsPerMM, D: PointsPerMM, E: x * PointsPerMM, F: (d.height - y) * PointsPerMM})
	for _, r := range regions {
		d.doc.RawWriteStr(string(r))
	}
	d.doc.TransformEnd()
}

// Text sets s with its baseline starting at (x, y), turned clockwise about that
// point; size is the em in millimetres.
func (d *PDF) Text(s string, face *typeface.Face, size, x, y float64, turn angle.Angle) {
	d.doc.SetFont("Go", style(face), size*PointsPerMM)
	d.doc.TransformBegin()
	d.doc.TransformRotate(-turn.Degrees(), x, y)
	d.doc.Text(x, y, s)
	d.doc.TransformEnd()
}

// Bytes composes the document.
func (d *PDF) Bytes() ([]byte, error) {
	var b bytes.Buffer
	if err := d.doc.Output(&b); err != nil {
		return nil, err
	}
	return printUnscaled(b.String())
}

// printUnscaled sets the viewer preference PrintScaling to None (ISO 32000-1,
// 12.2; new in PDF 1.6), for which the library has no call. The catalog is the last
// object, so that only the place of the cross-reference table moves.
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
