package daycard

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"shadowread/internal/fault"
	"shadowread/internal/paper"
	"shadowread/internal/typeface"
)

// Papers are the formats that a card is printed on, the usual one first.
var Papers = []paper.Format{paper.A4, paper.Letter, paper.Pocket}

// layout is how a card stands on a format. Lengths are millimetres.
type layout struct {
	paper.Format
	margin float64
	body   float64 // em of the text
	table  float64 // em of the table
	row    float64 // height of a line of the table
	logRow float64 // height of a line of the log
	cut    bool    // to be cut out of a larger sheet
}

func newLayout(f paper.Format) layout {
	if f == paper.Pocket {
		return layout{f, 6, 2.15, 2.55, 3.45, 6.5, true}
	}
	return layout{f, 12, 2.9, 3.3, 4.5, 8, false}
}

// Every rule is a region of this width, mm.
const (
	hairline = 0.1
	thinLine = 0.25
)

// WritePDF writes the card for print in black on white, with its font embedded and its
// words as text. Each leaf carries the card on its front and a blank log on its back;
// the bytes depend on the card and the paper alone.
func (c *Card) WritePDF(w io.Writer, f paper.Format) error {
	if err := cmp.Or(f.Among(Papers...), typeface.Fonts()); err != nil {
		return err
	}
	s := &setter{PDF: paper.NewPDF("Day's card from "+c.Days[0].Date.String(), f), c: c, p: newLayout(f)}
	for _, d := range c.Days {
		s.leaves(d)
	}
	out, err := s.Bytes()
	if err != nil {
		return fault.Wrap(err, "pdf_failed", "write the card as a table instead", "cannot compose the PDF")
	}
	_, err = w.Write(out)
	return err
}

// setter sets type on the pages of a card.
type setter struct {
	*paper.PDF
	c *Card
	p layout
}

func (s *setter) left() float64  { return s.p.margin }
func (s *setter) right() float64 { return s.p.Width - s.p.margin }

// set sets text at x, its start, middle or end by align (0, 0.5, 1).
func (s *setter) set(t string, face *typeface.Face, em, x, y, align float64) {
	s.Text(t, face, em, x-align*em*face.Width(t), y, 0)
}

// box fills a rectangle.
func (s *setter) box(x, y, width, height float64) {
	s.Fill(0, 0, fmt.Appendf(nil, "%.3f %.3f %.3f %.3f re f", x, -y-height, width, height))
}

func (s *setter) rule(x, y, to, thick float64) { s.box(x, y-thick/2, to-x, thick) }

func (s *setter) upright(x, y, to, thick float64) { s.box(x-thick/2, y, thick, to-y) }

// paragraph is text to be broken into lines.
type paragraph struct {
	text string
	face *typeface.Face
}

func plain(texts ...string) (ps []paragraph) {
	for _, t := range texts {
		ps = append(ps, paragraph{t, typeface.Regular})
	}
	return ps
}

// breaks returns the paragraph in lines of at most width mm. A longer word stands alone.
func (p paragraph) breaks(em, width float64) (lines []string) {
	line := ""
	for _, word := range strings.Fields(p.text) {
		switch longer := line + " " + word; {
		case line == "":
			line = word
		case em*p.face.Width(longer) <= width:
			line = longer
		default:
			lines = append(lines, line)
			line = word
		}
	}
	return append(lines, line)
}

// leading is the distance of lines of text.
func (s *setter) leading() float64 { return 1.32 * s.p.body }

// height is what the paragraphs take.
func (s *setter) height(ps []paragraph, width float64) float64 {
	n := 0
	for _, p := range ps {
		n += len(p.breaks(s.p.body, width))
	}
	return float64(n) * s.leading()
}

// flow sets paragraphs from y down.
func (s *setter) flow(ps []paragraph, x, y, width float64) {
	for _, p := range ps {
		for _, l := range p.breaks(s.p.body, width) {
			s.set(l, p.face, s.p.body, x, y+s.p.body, 0)
			y += s.leading()
		}
	}
}

// page begins a page. A frame shows where to cut one that is smaller than printers take.
func (s *setter) page() {
	s.AddPage()
	if s.p.cut {
		const in = 1.0
		w, h := s.p.Width, s.p.Height
		s.rule(in, in, w-in, hairline)
		s.rule(in, h-in, w-in, hairline)
		s.upright(in, in, h-in, hairline)
		s.upright(w-in, in, h-in, hairline)
	}
}

// headHeight is where the top of a page ends.
func (s *setter) headHeight() float64 { return s.p.margin + 3.8*s.p.body }

// head sets the top of a page: the title, the day and the clock.
func (s *setter) head(d Day, corner string) {
	b := s.p.body
	y := s.p.margin + b
	title := s.c.Title
	if title == "" {
		title = "Sun compass: the day's card"
	}
	room := s.right() - s.left() - b*typeface.Regular.Width(corner) - 2*b
	s.set(title, typeface.Regular, min(b, room/typeface.Regular.Width(title)), s.left(), y, 0)
	s.set(corner, typeface.Regular, b, s.right(), y, 1)
	y += 2.1 * b
	s.set(d.title(), typeface.Bold, 1.8*b, s.left(), y, 0)
	s.set("UTC"+s.c.UTCOffset, typeface.Bold, 1.8*b, s.right(), y, 1)
}

// leaves sets the day: as many leaves as its table needs.
func (s *setter) leaves(d Day) {
	width := s.right() - s.left()
	above := plain(append([]string{s.c.placeLine(), s.c.clockLine(d)}, s.c.sky(d)...)...)
	above[1].face, above[2].face = typeface.Bold, typeface.Bold // the clock, and when the shadow is usable
	for _, w := range d.Warnings {
		above = append(above, paragraph{"Warning: " + w.Message + ".", typeface.Bold})
	}
	below := append([]paragraph{{headingRule, typeface.Bold}}, plain(s.c.hints(d)...)...)
	below = append(below, plain(strings.Join(cautions, " "))...)

	top := s.headHeight() + s.height(above, width) + 0.8*s.p.body
	bottom := s.p.Height - s.p.margin - s.height(below, width)
	t := s.newTable(top, bottom-s.p.body)
	leaves := t.divide(s.c.lines(d))
	for i, lines := range leaves {
		s.page()
		s.head(d, fmt.Sprintf("leaf %d of %d", i+1, len(leaves)))
		s.flow(above, s.left(), s.headHeight(), width)
		t.set(lines)
		s.rule(s.left(), bottom-0.3*s.p.body, s.right(), thinLine)
		s.flow(below, s.left(), bottom, width)
		s.page()
		s.back(d, fmt.Sprintf("log, leaf %d of %d", i+1, len(leaves)))
	}
}

// table sets lines in blocks side by side.
type table struct {
	*setter
	cols          []column
	widths        []float64
	block, gutter float64
	blocks        int // that fit side by side
	room          int // lines that fit in one
	top           float64
}

// newTable lays the columns out for the space between top and bottom.
func (s *setter) newTable(top, bottom float64) *table {
	t := &table{setter: s, cols: s.c.columns(), gutter: 1.5 * s.p.table, top: top}
	for _, k := range t.cols {
		w := max(s.p.table*typeface.Bold.Width(k.widest), t.small()*typeface.Bold.Width(k.over), t.small()*typeface.Bold.Width(k.head))
		t.widths = append(t.widths, w+2*t.pad())
		t.block += w + 2*t.pad()
	}
	t.blocks = max(1, int((s.right()-s.left()+t.gutter)/(t.block+t.gutter)))
	// What is left over widens the columns, but not so much that lines fall apart.
	free := s.right() - s.left() - float64(t.blocks-1)*t.gutter
	stretch := min(1.2, max(1, free/float64(t.blocks)/t.block))
	for i := range t.widths {
		t.widths[i] *= stretch
	}
	t.block *= stretch
	t.room = int((bottom - top - t.heading()) / s.p.row)
	return t
}

func (t *table) small() float64   { return 0.76 * t.p.table } // em of headings and notes
func (t *table) pad() float64     { return 0.2 * t.p.table }
func (t *table) heading() float64 { return 2.3*t.small() + 0.5*t.p.table }

// divide returns the lines of each leaf, at least one leaf. The last line of all leaves
// but the last says from when on the next one is good.
func (t *table) divide(lines []line) (leaves [][]line) {
	most := t.blocks * t.room
	for len(lines) > most {
		next := lines[most-1]
		if next.cells != nil {
			next.at = next.cells[0]
		}
		leaves = append(leaves, append(slices.Clone(lines[:most-1]), line{at: next.at, note: "see the next leaf"}))
		lines = lines[most-1:]
	}
	return append(leaves, lines)
}

// set sets the lines of one leaf.
func (t *table) set(lines []line) {
	deep := (len(lines) + t.blocks - 1) / t.blocks
	left := t.left()
	for part := range slices.Chunk(lines, max(1, deep)) {
		t.setBlock(part, left)
		left += t.block + t.gutter
	}
}

func (t *table) setBlock(lines []line, left float64) {
	em, small, pad := t.p.table, t.small(), t.pad()
	cell := func(s string, face *typeface.Face, em, y float64, i int) {
		x := left
		for _, w := range t.widths[:i+1] {
			x += w
		}
		t.setter.set(s, face, em, x-pad, y, 1)
	}
	for i, k := range t.cols {
		cell(k.over, typeface.Bold, small, t.top+small, i)
		cell(k.head, typeface.Bold, small, t.top+2.15*small, i)
	}
	y := t.top + t.heading()
	t.rule(left, y, left+t.block, thinLine)
	for _, l := range lines {
		base := y + (t.p.row+0.72*em)/2 // figures are 0.72 em high
		if l.cells == nil {
			cell(l.at, typeface.Regular, em, base, 0)
			note := l.note
			if x := t.widths[0] + 2*pad; x+small*typeface.Bold.Width(note) > t.block {
				note, _, _ = strings.Cut(note, ":")
			}
			t.setter.set(note, typeface.Bold, small, left+t.widths[0]+2*pad, base, 0)
		}
		for i, s := range l.cells {
			face := typeface.Regular
			if i > 0 && i < len(t.cols)-3 { // what is set and steered by
				face = typeface.Bold
			}
			cell(s, face, em, base, i)
		}
		y += t.p.row
		t.rule(left, y, left+t.block, hairline)
	}
}

// back sets the blank log.
func (s *setter) back(d Day, corner string) {
	b := s.p.body
	width := s.right() - s.left()
	s.head(d, corner)
	top := s.headHeight() + 0.6*b
	below := append([]paragraph{{headingRule, typeface.Bold}}, plain(s.c.legend(d)...)...)
	bottom := s.p.Height - s.p.margin - s.height(below, width)
	s.flow(below, s.left(), bottom, width)
	bottom -= b

	cols := []struct {
		head string
		part float64
	}{{"Time, UTC" + s.c.UTCOffset, 0.20}, {"Odometer", 0.14}, {"Number", 0.12}, {"True heading", 0.17}, {"Remarks", 0.37}}
	heading := 2.2 * b
	rows := int((bottom - top - heading) / s.p.logRow)
	end := top + heading + float64(rows)*s.p.logRow
	x := s.left()
	for _, k := range cols {
		s.upright(x, top, end, hairline)
		s.set(k.head, typeface.Bold, 0.9*b, x+0.5*b, top+1.45*b, 0)
		x += k.part * width
	}
	s.upright(x, top, end, hairline)
	s.rule(s.left(), top, s.right(), thinLine)
	s.rule(s.left(), top+heading, s.right(), thinLine)
	for i := range rows {
		s.rule(s.left(), top+heading+float64(i+1)*s.p.logRow, s.right(), hairline)
	}
}
