package chart

import (
	"image"
	"image/color"
	"image/png"
	"io"
	"math"

	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/vector"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/typeface"
)

// DefaultDotsPerMM is 203 dots per inch, fine enough for print and small enough to
// send: 1440 pixels across.
const DefaultDotsPerMM = 8

// WritePNG writes the chart as a grey picture. It fails with code "bad_resolution" if
// dotsPerMM is not within 2 and 24.
func (c *Chart) WritePNG(w io.Writer, dotsPerMM float64) error {
	if !(dotsPerMM >= 2 && dotsPerMM <= 24) {
		return fault.New("bad_resolution", "give 2 to 24 dots per mm; 8 is usual", "a chart of %v dots per mm cannot be drawn", dotsPerMM)
	}
	size := image.Rect(0, 0, int(math.Round(c.WidthMM*dotsPerMM)), int(math.Round(c.HeightMM*dotsPerMM)))
	p := &painter{dots: dotsPerMM, picture: image.NewGray(size)}
	for i := range p.picture.Pix {
		p.picture.Pix[i] = 255
	}
	for _, item := range c.Items {
		p.paint(item)
	}
	encoder := png.Encoder{CompressionLevel: png.BestCompression}
	return encoder.Encode(w, p.picture)
}

type painter struct {
	dots    float64
	picture *image.Gray
	shapes  [][]XY // of the item in hand, in dots, all turning the same way
}

func (p *painter) paint(item Item) {
	p.shapes = p.shapes[:0]
	grey := 0.0
	switch it := item.(type) {
	case Area:
		grey = it.Grey
		p.shape(scaled(it.Points, p.dots))
	case Stroke:
		grey = it.Grey
		line := scaled(it.Points, p.dots)
		if it.Closed && len(line) > 0 {
			line = append(line, line[0])
		}
		half := max(it.WidthMM*p.dots, 1) / 2 // nothing thinner than a dot
		if len(it.DashMM) == 0 {
			p.line(line, half, true)
		} else {
			for _, dash := range dashes(line, it.DashMM, p.dots) {
				p.line(dash, half, false)
			}
		}
	case Words:
		p.words(it)
		return
	}
	p.fill(grey, func(z *vector.Rasterizer, origin XY) {
		for _, s := range p.shapes {
			for i, q := range s {
				x, y := float32(q.X-origin.X), float32(q.Y-origin.Y)
				if i == 0 {
					z.MoveTo(x, y)
				} else {
					z.LineTo(x, y)
				}
			}
			z.ClosePath()
		}
	}, box(p.shapes))
}

// shape adds a polygon, turned so that where two overlap their windings add up.
func (p *painter) shape(points []XY) {
	area := 0.0
	for i, a := range points {
		b := points[(i+1)%len(points)]
		area += a.X*b.Y - b.X*a.Y
	}
	s := make([]XY, len(points))
	for i := range points {
		if area < 0 {
			s[i] = points[len(points)-1-i]
		} else {
			s[i] = points[i]
		}
	}
	p.shapes = append(p.shapes, s)
}

// line adds the outline of a line. What bends gently is one polygon, since where two
// overlap their soft edges would add up to dots; at sharp turns a disc joins two.
func (p *painter) line(points []XY, half float64, round bool) {
	var run []XY
	end := func() {
		if len(run) > 1 {
			p.shape(outline(run, half))
		}
		run = run[max(0, len(run)-1):]
	}
	for _, b := range points {
		n := len(run)
		if n > 0 && distance(run[n-1], b) < 1e-9 {
			continue
		}
		if n > 1 && sharp(run[n-2], run[n-1], b) {
			p.shape(circle(run[n-1], half))
			end()
		}
		run = append(run, b)
	}
	end()
	if round && len(points) > 0 {
		p.shape(circle(points[0], half))
		p.shape(circle(points[len(points)-1], half))
	}
}

// sharp tells a turn of more than 30 degrees at b.
func sharp(a, b, c XY) bool {
	dot := (b.X-a.X)*(c.X-b.X) + (b.Y-a.Y)*(c.Y-b.Y)
	return dot < (30*angle.Degree).Cos()*distance(a, b)*distance(b, c)
}

// outline returns the polygon half on either side of a line without sharp turns.
func outline(line []XY, half float64) []XY {
	n := len(line)
	out := make([]XY, 2*n)
	for i, q := range line {
		a, b := line[max(i-1, 0)], line[min(i+1, n-1)]
		// The normals of the pieces before and after; their sum points along the mitre.
		u, v := normal(a, q), normal(q, b)
		if i == 0 {
			u = v
		}
		if i == n-1 {
			v = u
		}
		x, y := u.X+v.X, u.Y+v.Y
		k := 2 * half / (x*x + y*y)
		out[i] = XY{q.X + k*x, q.Y + k*y}
		out[2*n-1-i] = XY{q.X - k*x, q.Y - k*y}
	}
	return out
}

// normal returns the unit vector a right angle from a to b, or nothing if they are one.
func normal(a, b XY) XY {
	l := distance(a, b)
	if l == 0 {
		return XY{}
	}
	return XY{(b.Y - a.Y) / l, (a.X - b.X) / l}
}

// dashes cuts a line into its inked parts.
func dashes(line []XY, pattern []float64, dots float64) (parts [][]XY) {
	at, left := 0, pattern[0]*dots
	var part []XY
	for i := 1; i < len(line); i++ {
		a, b := line[i-1], line[i]
		l := distance(a, b)
		for done := 0.0; done < l; {
			from := done
			done = min(l, done+left)
			left -= done - from
			if at%2 == 0 {
				if part == nil {
					part = []XY{between(a, b, from/l)}
				}
				part = append(part, between(a, b, done/l))
			}
			if left <= 1e-9 {
				if part != nil {
					parts = append(parts, part)
				}
				part = nil
				at = (at + 1) % len(pattern)
				left = pattern[at] * dots
			}
		}
	}
	if part != nil {
		parts = append(parts, part)
	}
	return parts
}

func between(a, b XY, share float64) XY { return XY{a.X + share*(b.X-a.X), a.Y + share*(b.Y-a.Y)} }

func scaled(points []XY, dots float64) []XY {
	out := make([]XY, len(points))
	for i, q := range points {
		out[i] = XY{q.X * dots, q.Y * dots}
	}
	return out
}

func box(shapes [][]XY) rect {
	b := rect{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for _, s := range shapes {
		for _, q := range s {
			b.left, b.right = min(b.left, q.X), max(b.right, q.X)
			b.top, b.bottom = min(b.top, q.Y), max(b.bottom, q.Y)
		}
	}
	return b
}

// fill inks what outline draws, whose box in dots is given: only that much is looked at.
func (p *painter) fill(grey float64, outline func(z *vector.Rasterizer, origin XY), b rect) {
	r := image.Rect(int(math.Floor(b.left))-1, int(math.Floor(b.top))-1, int(math.Ceil(b.right))+1, int(math.Ceil(b.bottom))+1)
	r = r.Intersect(p.picture.Rect)
	if r.Empty() {
		return
	}
	z := vector.NewRasterizer(r.Dx(), r.Dy())
	outline(z, XY{float64(r.Min.X), float64(r.Min.Y)})
	z.Draw(p.picture, r, image.NewUniform(color.Gray{Y: uint8(math.Round(255 * grey))}), image.Point{})
}

// words sets type from the fonts' outlines.
func (p *painter) words(t Words) {
	face := typeface.Regular
	if t.Bold {
		face = typeface.Bold
	}
	text := Printable(t.Text)
	em := t.SizeMM * p.dots
	x, y := t.At.X*p.dots-t.Align*em*face.Width(text), t.At.Y*p.dots
	b := rect{x - em, y - 1.5*em, x + em*face.Width(text) + em, y + em}
	p.fill(0, func(z *vector.Rasterizer, origin XY) {
		x := x
		for _, r := range text {
			glyph, advance := face.Glyph(r)
			at := func(i int, s sfnt.Segment) (float32, float32) {
				return float32(x - origin.X + em*face.Em(s.Args[i].X)), float32(y - origin.Y + em*face.Em(s.Args[i].Y))
			}
			for i, s := range glyph {
				ax, ay := at(0, s)
				bx, by := at(1, s)
				cx, cy := at(2, s)
				switch s.Op {
				case sfnt.SegmentOpMoveTo:
					if i > 0 {
						z.ClosePath()
					}
					z.MoveTo(ax, ay)
				case sfnt.SegmentOpLineTo:
					z.LineTo(ax, ay)
				case sfnt.SegmentOpQuadTo:
					z.QuadTo(ax, ay, bx, by)
				case sfnt.SegmentOpCubeTo:
					z.CubeTo(ax, ay, bx, by, cx, cy)
				}
			}
			z.ClosePath()
			x += em * face.Em(advance)
		}
	}, b)
}
