package report

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"codeberg.org/go-pdf/fpdf"

	"shadowread/internal/chart"
	"shadowread/internal/fault"
	"shadowread/internal/paper"
	"shadowread/internal/typeface"
)

// Measures of a page, mm.
const (
	margin  = 14.0
	foot    = 14.0 // kept free for the page's number
	bodyEm  = 3.2
	tableEm = 2.6
	leading = 1.35
)

// WritePDF writes the report for print on pages of a paper. Characters that the
// embedded fonts lack are printed as question marks, and a caution says so. It fails
// with code "bad_paper" or "pdf_failed", or as Overlay and w do.
func WritePDF(w io.Writer, in Input, p paper.Format) error {
	if err := cmp.Or(p.Among(paper.Office...), typeface.Fonts()); err != nil {
		return err
	}
	d, err := compose(in)
	if err != nil {
		return err
	}
	s := newSetter(d, in, p)
	s.report()
	var b bytes.Buffer
	if err := s.pdf.Output(&b); err != nil {
		return fault.Wrap(err, "pdf_failed", "write the report as HTML instead", "cannot compose the PDF")
	}
	_, err = w.Write(b.Bytes())
	return err
}

type setter struct {
	*document
	pdf           *fpdf.Fpdf
	width, height float64 // of the page
	y             float64 // where the next line begins
}

func newSetter(d *document, in Input, p paper.Format) *setter {
	last := in.Track.Points[len(in.Track.Points)-1].Entry.Time.UTC()
	return &setter{document: d, pdf: paper.NewDocument(d.Title, p, last), width: p.Width, height: p.Height}
}

func (s *setter) room() float64 { return s.width - 2*margin }

func (s *setter) page() {
	s.pdf.AddPage()
	s.y = margin
	number := fmt.Sprintf("%s, page %d", s.Title, s.pdf.PageNo())
	s.text(number, false, 2.4, margin, s.height-8)
}

// need begins a new page if so much does not fit on this one.
func (s *setter) need(height float64) {
	if s.y+height > s.height-foot {
		s.page()
	}
}

func (s *setter) text(t string, bold bool, em, x, y float64) {
	style := ""
	if bold {
		style = "B"
	}
	s.pdf.SetFont("Go", style, em*paper.PointsPerMM)
	s.pdf.Text(x, y, chart.Printable(t))
}

func face(bold bool) *typeface.Face {
	if bold {
		return typeface.Bold
	}
	return typeface.Regular
}

// broken returns a text in lines of a width. A word that is longer is broken.
func broken(text string, bold bool, em, width float64) (lines []string) {
	f := face(bold)
	fits := func(s string) bool { return em*f.Width(s) <= width }
	line := ""
	for _, word := range strings.Fields(chart.Printable(strings.Map(plain, text))) {
		if line != "" && fits(line+" "+word) {
			line += " " + word
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		line = ""
		for _, r := range word {
			if line != "" && !fits(line+string(r)) {
				lines = append(lines, line)
				line = ""
			}
			line += string(r)
		}
	}
	return append(lines, line)
}

// plain turns control characters into spaces.
func plain(r rune) rune {
	if r < ' ' {
		return ' '
	}
	return r
}

// lines sets text from y down, at x.
func (s *setter) lines(text string, bold bool, em, x, width float64) {
	for _, l := range broken(text, bold, em, width) {
		s.need(leading * em)
		s.text(l, bold, em, x, s.y+em)
		s.y += leading * em
	}
}

// headingRoom is what a heading takes, with something below it.
const headingRoom = 24.0

func (s *setter) heading(text string) {
	s.need(headingRoom)
	s.y += 5
	s.lines(text, true, 4.2, margin, s.room())
	s.pdf.SetDrawColor(0, 0, 0)
	s.pdf.SetLineWidth(0.25)
	s.pdf.Line(margin, s.y+0.3, s.width-margin, s.y+0.3)
	s.y += 2.5
}

func (s *setter) pairs(pairs []pair) {
	const labels = 42.0
	for _, p := range pairs {
		s.need(leading * bodyEm)
		top := s.y
		s.text(p.Label, true, bodyEm, margin, top+bodyEm)
		s.lines(p.Value, false, bodyEm, margin+labels, s.room()-labels)
	}
}

// Of a list: where its text begins, and the space below each item.
const bullet, between = 4.0, 0.6

func (s *setter) list(items []string) {
	for _, i := range items {
		s.need(leading * bodyEm)
		s.text("•", false, bodyEm, margin, s.y+bodyEm)
		s.lines(i, false, bodyEm, margin+bullet, s.room()-bullet)
		s.y += between
	}
}

func (s *setter) listHeight(items []string) (height float64) {
	for _, i := range items {
		height += leading*bodyEm*float64(len(broken(i, false, bodyEm, s.room()-bullet))) + between
	}
	return height
}

func (s *setter) report() {
	if s.unprintable() {
		s.Cautions = append(s.Cautions, "Some characters of titles or notes are not in the font of this file and stand as question marks; the HTML report has them.")
	}
	s.page()
	s.lines(s.Title, true, 6.5, margin, s.room())
	s.lines(s.Subtitle, false, bodyEm, margin, s.room())
	s.y += 2
	s.pairs(s.Summary)
	if len(s.Cautions) > 0 {
		s.heading("Cautions")
		s.list(s.Cautions)
	}
	if s.Chart != nil {
		s.chart()
	}
	for _, d := range s.Days {
		s.table(d)
	}
	s.table(s.Replaced)
	s.table(s.Fixes)
	if len(s.Learnt) > 0 {
		s.y += 2
		s.list(s.Learnt)
	}
	s.table(s.Adjusted)
	s.overlays()
	for _, u := range s.Used {
		s.heading(u.Title)
		s.pairs(u.Pairs)
	}
	s.need(headingRoom + s.listHeight(s.Notes)) // on one page
	s.heading("How to read this")
	s.list(s.Notes)
}

// unprintable tells whether the fonts lack a character of what a user may have written.
func (s *setter) unprintable() bool {
	lacks := func(t string) bool { return chart.Printable(strings.Map(plain, t)) != strings.Map(plain, t) }
	if lacks(s.Title) {
		return true
	}
	rows := s.Replaced.Rows
	for _, d := range s.Days {
		rows = append(rows, d.Rows...)
	}
	return slices.ContainsFunc(rows, func(row []string) bool { return slices.ContainsFunc(row, lacks) })
}

// chart draws the chart as wide as the page, or as high.
func (s *setter) chart() {
	c := s.Chart
	scale := min(s.room()/c.WidthMM, (s.height-margin-foot)/c.HeightMM)
	// A somewhat smaller chart below the cautions is better than a page half empty.
	if here := (s.height - foot - s.y) / c.HeightMM; here > 0.7*scale {
		scale = min(scale, here)
	}
	s.need(scale * c.HeightMM)
	x, y := margin+(s.room()-scale*c.WidthMM)/2, s.y
	place := func(points []chart.XY) []fpdf.PointType {
		out := make([]fpdf.PointType, len(points))
		for i, p := range points {
			out[i] = fpdf.PointType{X: x + scale*p.X, Y: y + scale*p.Y}
		}
		return out
	}
	for _, item := range c.Items {
		switch it := item.(type) {
		case chart.Area:
			g := int(math.Round(255 * it.Grey))
			s.pdf.SetFillColor(g, g, g)
			s.pdf.Polygon(place(it.Points), "F")
		case chart.Stroke:
			g := int(math.Round(255 * it.Grey))
			s.pdf.SetDrawColor(g, g, g)
			s.pdf.SetLineWidth(scale * it.WidthMM)
			ends := "round"
			dash := make([]float64, len(it.DashMM))
			for i, l := range it.DashMM {
				dash[i], ends = scale*l, "butt"
			}
			s.pdf.SetDashPattern(dash, 0)
			s.pdf.SetLineCapStyle(ends)
			s.pdf.SetLineJoinStyle("round")
			points := place(it.Points)
			s.pdf.MoveTo(points[0].X, points[0].Y)
			for _, p := range points[1:] {
				s.pdf.LineTo(p.X, p.Y)
			}
			if it.Closed {
				s.pdf.ClosePath()
			}
			s.pdf.DrawPath("D")
		case chart.Words:
			em := scale * it.SizeMM
			s.text(it.Text, it.Bold, em, x+scale*it.At.X-it.Align*em*face(it.Bold).Width(chart.Printable(it.Text)), y+scale*it.At.Y)
		}
	}
	s.pdf.SetDashPattern(nil, 0)
	s.pdf.SetLineCapStyle("butt")
	s.y += scale * c.HeightMM
}

// table sets a table with its title, its heads again on each page; one without rows is
// left out.
func (s *setter) table(t table) {
	if len(t.Rows) == 0 {
		return
	}
	const pad = 0.8
	whole := 0.0
	for _, v := range t.Share {
		whole += v
	}
	widths := make([]float64, len(t.Share))
	for i, v := range t.Share {
		widths[i] = s.room() * v / whole
	}
	row := func(cells []string, bold bool) {
		texts := make([][]string, len(cells))
		most := 1
		for i, c := range cells {
			texts[i] = broken(c, bold, tableEm, widths[i]-2*pad)
			most = max(most, len(texts[i]))
		}
		x := margin
		for i, ls := range texts {
			for k, l := range ls {
				left := x + pad
				if t.Right[i] {
					left = x + widths[i] - pad - tableEm*face(bold).Width(l)
				}
				s.text(l, bold, tableEm, left, s.y+tableEm+0.5+float64(k)*leading*tableEm)
			}
			x += widths[i]
		}
		s.y += float64(most)*leading*tableEm + 0.9
		g := 190
		if bold {
			g = 0
		}
		s.pdf.SetDrawColor(g, g, g)
		s.pdf.SetLineWidth(0.15)
		s.pdf.Line(margin, s.y, margin+s.room(), s.y)
	}
	height := func(cells []string) float64 {
		most := 1
		for i, c := range cells {
			most = max(most, len(broken(c, false, tableEm, widths[i]-2*pad)))
		}
		return float64(most)*leading*tableEm + 0.9
	}
	const rowsToo = 6 * leading * tableEm // the heads and a row or two, on the title's page
	s.need(headingRoom + rowsToo)
	s.heading(t.Title)
	if t.Line != "" {
		s.lines(t.Line, false, bodyEm, margin, s.room())
	}
	row(t.Heads, true)
	for _, r := range t.Rows {
		if s.y+height(r) > s.height-foot {
			s.page()
			row(t.Heads, true)
		}
		row(r, false)
	}
}

// overlays sets the pictures two abreast.
func (s *setter) overlays() {
	if len(s.Overlays) == 0 {
		return
	}
	const gap, captionEm = 6.0, 2.6
	width := (s.room() - gap) / 2
	height := func(o overlay) float64 {
		return min(width*float64(o.Size.Y)/float64(o.Size.X), s.height/2-margin-foot)
	}
	s.heading("Readings")
	for i := 0; i < len(s.Overlays); i += 2 {
		pair := s.Overlays[i:min(i+2, len(s.Overlays))]
		tall := 0.0
		for _, o := range pair {
			tall = max(tall, height(o)+1.5+leading*captionEm*float64(len(broken(o.Caption, false, captionEm, width))))
		}
		s.need(tall + 3)
		for k, o := range pair {
			x := margin + float64(k)*(width+gap)
			h := height(o)
			name := fmt.Sprintf("overlay%d", i+k)
			s.pdf.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: "JPEG"}, bytes.NewReader(o.JPEG))
			s.pdf.ImageOptions(name, x, s.y, h*float64(o.Size.X)/float64(o.Size.Y), h, false, fpdf.ImageOptions{}, 0, "")
			for n, l := range broken(o.Caption, false, captionEm, width) {
				s.text(l, false, captionEm, x, s.y+h+1+captionEm+float64(n)*leading*captionEm)
			}
		}
		s.y += tall + 3
	}
}
