package render

import (
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// footprint is the sheet's displacement per step of the sampling grid: the sides
// of the parallelogram that one sample stands for, mm.
type footprint struct{ ax, ay, bx, by float64 }

// across returns the footprint's full width along the unit direction (ux, uy).
func (f *footprint) across(ux, uy float64) float64 {
	return math.Abs(f.ax*ux+f.ay*uy) + math.Abs(f.bx*ux+f.by*uy)
}

// overlap returns the part of an interval of width w about u that lies in
// [-half, half].
func overlap(u, half, w float64) float64 {
	lo, hi := max(u-w/2, -half), min(u+w/2, half)
	if hi <= lo {
		return 0
	}
	return (hi - lo) / w
}

// stroke is a straight printed line: a box about (x, y), its long axis along the
// unit vector (ux, uy).
type stroke struct{ x, y, ux, uy, halfLength, halfWidth float64 }

func (s *stroke) cover(x, y float64, f *footprint) float64 {
	x, y = x-s.x, y-s.y
	c := overlap(x*s.ux+y*s.uy, s.halfLength, f.across(s.ux, s.uy))
	if c == 0 {
		return 0
	}
	return c * overlap(x*s.uy-y*s.ux, s.halfWidth, f.across(s.uy, -s.ux))
}

// ring is a printed circle about the foot.
type ring struct{ radius, halfWidth float64 }

func (r *ring) cover(x, y float64, f *footprint) float64 {
	d := math.Sqrt(x*x + y*y)
	if d == 0 {
		return 0
	}
	return overlap(d-r.radius, r.halfWidth, f.across(x/d, y/d))
}

// mark is a printed mark of 6 by 6 modules, black where set; row 0 is the top.
type mark struct {
	left, top, side float64
	black           [6][6]bool
}

func newMark(m sheet.Mark) mark {
	bits, _ := sheet.ModuleBits(m.ID)
	k := mark{left: m.X - m.Side/2, top: m.Y + m.Side/2, side: m.Side}
	for r := range 6 {
		for c := range 6 {
			k.black[r][c] = r == 0 || r == 5 || c == 0 || c == 5 || !bits[r-1][c-1]
		}
	}
	return k
}

func (m *mark) cover(x, y float64, f *footprint) float64 {
	module := m.side / 6
	w, h := f.across(1, 0)/module, f.across(0, 1)/module
	c, r := (x-m.left)/module, (m.top-y)/module
	c0, c1, r0, r1 := c-w/2, c+w/2, r-h/2, r+h/2
	sum := 0.0
	for i := max(0, int(math.Floor(r0))); i < 6 && float64(i) < r1; i++ {
		tall := min(r1, float64(i+1)) - max(r0, float64(i))
		for j := max(0, int(math.Floor(c0))); j < 6 && float64(j) < c1; j++ {
			if m.black[i][j] {
				sum += tall * (min(c1, float64(j+1)) - max(c0, float64(j)))
			}
		}
	}
	return sum / (w * h)
}

// What a cell of the print's grid holds.
const (
	blank = iota
	solid
	mixed
)

// printed is the ink of the whole sheet, in nominal coordinates, with a grid of
// cells that says where there is any.
type printed struct {
	marks   []mark
	strokes []stroke
	rings   []ring

	kind  []uint8    // per cell
	items [][]uint16 // per cell: what to look at where kind is mixed
}

const (
	cellSize  = 0.5 // mm
	gridMin   = -106.0
	gridCells = 424 // to +106 mm
	// How far a sample's footprint may reach over its cell's edge: pixels of 0.8 mm
	// on the sheet, seen at a slant of 60 degrees.
	sampleReach = 0.2
)

// newPrint lays the standard sheet's ink out.
func newPrint(s *sheet.Sheet) *printed {
	p := &printed{}
	for _, m := range s.Marks {
		p.marks = append(p.marks, newMark(m))
	}
	line := func(a, b sheet.Point, width float64) {
		dx, dy := b.X-a.X, b.Y-a.Y
		n := math.Hypot(dx, dy)
		p.strokes = append(p.strokes, stroke{(a.X + b.X) / 2, (a.Y + b.Y) / 2, dx / n, dy / n, n / 2, width / 2})
	}
	polar := func(r float64, a angle.Angle) sheet.Point { return sheet.Point{X: r * a.Sin(), Y: r * a.Cos()} }

	d := s.Dial
	p.rings = []ring{{d.RingRadius, d.RingWidth / 2}, {s.FootRing, s.FootLine / 2}}
	for deg := range 360 {
		a, step := angle.FromDegrees(float64(deg)), sheet.TickStep(deg)
		line(polar(d.TickInnerRadius, a), polar(d.TickOuterRadius[step], a), d.TickWidth[step])
	}
	for n := 0; n < 360; n += 10 {
		at := angle.FromDegrees(float64(180 - n))
		p.numeral(line, n, polar(d.NumeralRadius, at), at, d.NumeralHeight)
	}
	for i := range 4 {
		a := angle.FromDegrees(float64(90 * i))
		line(polar(s.FootCross[0], a), polar(s.FootCross[1], a), s.FootLine)
	}
	line(s.LubberFrom, s.LubberTo, s.LubberWidth)
	for _, side := range []float64{-1, 1} { // arrow head
		line(s.LubberTo, sheet.Point{X: s.LubberTo.X + side*1.5, Y: s.LubberTo.Y - 3.5}, s.LubberWidth)
	}
	const thin, endTick = 0.25, 3.0
	line(s.ScaleFrom, s.ScaleTo, thin)
	for _, e := range []sheet.Point{s.ScaleFrom, s.ScaleTo} {
		line(sheet.Point{X: e.X, Y: e.Y - endTick/2}, sheet.Point{X: e.X, Y: e.Y + endTick/2}, thin)
	}
	p.numeral(line, int(s.ScaleLength), sheet.Point{X: 0, Y: s.ScaleFrom.Y - 4}, 0, d.NumeralHeight)
	p.index()
	return p
}

// Seven-segment strokes, in units of half the digit's width and height.
var segments = [7][4]float64{
	{-1, 1, 1, 1}, {1, 1, 1, 0}, {1, 0, 1, -1}, {-1, -1, 1, -1}, {-1, 0, -1, -1}, {-1, 1, -1, 0}, {-1, 0, 1, 0},
}

// The segments of each digit, bit i for segments[i].
var digits = [10]uint8{0x3f, 0x06, 0x5b, 0x4f, 0x66, 0x6d, 0x7d, 0x07, 0x7f, 0x6f}

// numeral draws n centred at the point, its top towards the clockwise direction.
func (p *printed) numeral(line func(a, b sheet.Point, width float64), n int, at sheet.Point, top angle.Angle, height float64) {
	var ds []int
	for first := true; n > 0 || first; n, first = n/10, false {
		ds = append([]int{n % 10}, ds...)
	}
	pen, halfWidth, halfHeight := height/9, height/4.4, height/2
	place := func(u, v float64) sheet.Point { // u to the numeral's right, v up
		return sheet.Point{X: at.X + u*top.Cos() + v*top.Sin(), Y: at.Y - u*top.Sin() + v*top.Cos()}
	}
	for i, d := range ds {
		u := (float64(i) - float64(len(ds)-1)/2) * height * 0.68
		for k, s := range segments {
			if digits[d]>>k&1 == 1 {
				line(place(u+s[0]*halfWidth, s[1]*halfHeight), place(u+s[2]*halfWidth, s[3]*halfHeight), pen)
			}
		}
	}
}

// index fills the grid of cells.
func (p *printed) index() {
	p.kind = make([]uint8, gridCells*gridCells)
	p.items = make([][]uint16, gridCells*gridCells)
	id := 0
	each := func(x0, y0, x1, y1 float64, visit func(cell int, x, y float64)) {
		cx0, cx1 := cellOf(x0-sampleReach), cellOf(x1+sampleReach)
		cy0, cy1 := cellOf(y0-sampleReach), cellOf(y1+sampleReach)
		for cy := cy0; cy <= cy1; cy++ {
			for cx := cx0; cx <= cx1; cx++ {
				visit(cy*gridCells+cx, gridMin+(float64(cx)+0.5)*cellSize, gridMin+(float64(cy)+0.5)*cellSize)
			}
		}
	}
	mix := func(cell int) {
		p.kind[cell] = mixed
		p.items[cell] = append(p.items[cell], uint16(id))
	}
	for i := range p.marks {
		m := &p.marks[i]
		wide := footprint{ax: cellSize + 2*sampleReach, by: cellSize + 2*sampleReach}
		each(m.left, m.top-m.side, m.left+m.side, m.top, func(cell int, x, y float64) {
			switch c := m.cover(x, y, &wide); {
			case c > 1-1e-9:
				p.kind[cell] = solid
			case c > 0:
				mix(cell)
			}
		})
		id++
	}
	for i := range p.strokes {
		s := &p.strokes[i]
		w := math.Abs(s.ux)*s.halfLength + math.Abs(s.uy)*s.halfWidth
		h := math.Abs(s.uy)*s.halfLength + math.Abs(s.ux)*s.halfWidth
		each(s.x-w, s.y-h, s.x+w, s.y+h, func(cell int, x, y float64) {
			if math.Abs((x-s.x)*s.uy-(y-s.y)*s.ux) <= s.halfWidth+sampleReach+cellSize/math.Sqrt2 {
				mix(cell)
			}
		})
		id++
	}
	for i := range p.rings {
		r := &p.rings[i]
		w := r.radius + r.halfWidth
		each(-w, -w, w, w, func(cell int, x, y float64) {
			if math.Abs(math.Hypot(x, y)-r.radius) <= r.halfWidth+sampleReach+cellSize/math.Sqrt2 {
				mix(cell)
			}
		})
		id++
	}
}

func cellOf(v float64) int { return max(0, min(gridCells-1, int((v-gridMin)/cellSize))) }

// at returns the cell of a nominal place, -1 beyond the print.
func (p *printed) at(x, y float64) int {
	cx, cy := int((x-gridMin)*(1/cellSize)), int((y-gridMin)*(1/cellSize))
	if uint(cx) >= gridCells || uint(cy) >= gridCells {
		return -1
	}
	return cy*gridCells + cx
}

// cover returns the part of the footprint about (x, y) that is black.
func (p *printed) cover(x, y float64, f *footprint) float64 {
	cell := p.at(x, y)
	if cell < 0 || p.kind[cell] == blank {
		return 0
	}
	if p.kind[cell] == solid {
		return 1
	}
	white := 1.0
	for _, id := range p.items[cell] {
		i := int(id)
		var c float64
		switch {
		case i < len(p.marks):
			c = p.marks[i].cover(x, y, f)
		case i < len(p.marks)+len(p.strokes):
			c = p.strokes[i-len(p.marks)].cover(x, y, f)
		default:
			c = p.rings[i-len(p.marks)-len(p.strokes)].cover(x, y, f)
		}
		white *= 1 - c
	}
	return 1 - white
}
