package render

import (
	"image"
	"image/jpeg"
	"io"
	"slices"
)

// planes is a picture in linear light, one plane a colour.
type planes struct {
	w, h int
	c    [3][]float32
}

func newPlanes(w, h int) *planes {
	p := &planes{w: w, h: h}
	for i := range p.c {
		p.c[i] = make([]float32, w*h)
	}
	return p
}

func (p *planes) set(i int, r, g, b float64) {
	p.c[0][i], p.c[1][i], p.c[2][i] = float32(r), float32(g), float32(b)
}

// Render draws the scene and tells the truth about it.
func (s *Scene) Render() (*image.RGBA, *Truth) {
	return s.finish(s.radiance()), s.Truth()
}

// WriteJPEG renders the scene into a JPEG file without metadata.
func (s *Scene) WriteJPEG(w io.Writer) (*Truth, error) {
	img, truth := s.Render()
	return truth, jpeg.Encode(w, img, &jpeg.Options{Quality: s.Finish.Quality})
}

// grid is the number of samples along each side of a pixel where something changes.
const grid = 4

// line is one row of pixels as seen by one ray each.
type line struct {
	lens []lensPoint
	id   []uint16
	busy []bool
}

// radiance returns the light on the sensor of a perfect lens: each pixel is the
// mean over its square, found with one ray where nothing changes about it and with
// grid by grid rays elsewhere.
func (s *Scene) radiance() *planes {
	t := s.newTracer()
	c := &s.Camera
	out := newPlanes(c.Width, c.Height)
	rods := s.rodMask()

	lines := [3]line{}
	for i := range lines {
		lines[i] = line{make([]lensPoint, c.Width), make([]uint16, c.Width), make([]bool, c.Width)}
	}
	row := func(y int) *line { return &lines[(y+3)%3] }
	for y := 0; y <= c.Height; y++ {
		if y < c.Height {
			t.firstLook(row(y), y, rods, out)
		}
		if y > 0 {
			above, below := row(y-2), row(y)
			if y == 1 {
				above = row(0)
			}
			if y == c.Height {
				below = row(y - 1)
			}
			t.closerLook(above, row(y-1), below, y-1, rods, out)
		}
	}
	return out
}

// firstLook sends one ray through the middle of each pixel of row y.
func (t *tracer) firstLook(l *line, y int, rods []bool, out *planes) {
	c := &t.scene.Camera
	c.undistortRow(l.lens, y)
	var h hit
	for x := range l.lens {
		p := &l.lens[x]
		if !p.ok { // outside the lens' field: black
			l.id[x], l.busy[x] = inSky, false
			continue
		}
		i := y*c.Width + x
		t.look(c.unrotate(p.x, p.y, 1), nil, rods[i], &h)
		out.set(i, h.r, h.g, h.b)
		l.id[x], l.busy[x] = h.id, h.busy || rods[i]
	}
}

// closerLook samples again those pixels of row y that differ from a neighbour or
// have something fine in them.
func (t *tracer) closerLook(above, l, below *line, y int, rods []bool, out *planes) {
	c := &t.scene.Camera
	w := c.Width
	var h hit
	for x := range w {
		id := l.id[x]
		if !l.busy[x] && id == above.id[x] && id == below.id[x] && id == l.id[max(0, x-1)] && id == l.id[min(w-1, x+1)] {
			continue
		}
		p := &l.lens[x]
		if !p.ok {
			continue
		}
		f := t.footprint(p)
		i := y*w + x
		r, g, b := 0.0, 0.0, 0.0
		for sy := range grid {
			v := (float64(sy)+0.5)/grid - 0.5
			for sx := range grid {
				u := (float64(sx)+0.5)/grid - 0.5
				t.look(c.unrotate(p.x+u*p.xpx+v*p.xpy, p.y+u*p.ypx+v*p.ypy, 1), &f, rods[i], &h)
				r, g, b = r+h.r, g+h.g, b+h.b
			}
		}
		out.set(i, r/(grid*grid), g/(grid*grid), b/(grid*grid))
	}
}

// footprint returns what one of the pixel's samples covers of the sheet's plane,
// in the print's own millimetres.
func (t *tracer) footprint(p *lensPoint) footprint {
	c := &t.scene.Camera
	d := c.unrotate(p.x, p.y, 1)
	if d.Z >= -1e-9 {
		return footprint{ax: 1, by: 1} // the sky: not used
	}
	k := -t.eye.Z / d.Z
	// The derivative of eye + k d by d, in the plane: k times the step less its part along d.
	step := func(sx, sy float64) (x, y float64) {
		e := c.unrotate(sx, sy, 0)
		return k * (e.X - d.X*e.Z/d.Z) / (grid * t.scaleX), k * (e.Y - d.Y*e.Z/d.Z) / (grid * t.scaleY)
	}
	var f footprint
	f.ax, f.ay = step(p.xpx, p.ypx)
	f.bx, f.by = step(p.xpy, p.ypy)
	return f
}

// rodMask tells the pixels in which a rod may be seen.
func (s *Scene) rodMask() []bool {
	c := &s.Camera
	mask := make([]bool, c.Width*c.Height)
	for _, b := range slices.Concat(s.wholes()...) {
		axis, length := b.axis()
		wide := max(b.radius, b.ball)
		const steps = 400
		for k := range steps + 1 {
			p := b.from.add(axis.mul(length * float64(k) / steps))
			x, y, ok := c.Project(p)
			depth := c.rotate(p).add(c.T).Z
			if !ok || depth < 2*wide {
				continue
			}
			// Half a step along the rod and two pixels are added to the radius; no lens
			// here magnifies by more than a fifth.
			n := int(1.2*(wide+length/steps)*max(c.Fx, c.Fy)/(depth-wide)) + 2
			for j := max(0, int(y)-n); j <= min(c.Height-1, int(y)+n); j++ {
				for i := max(0, int(x)-n); i <= min(c.Width-1, int(x)+n); i++ {
					mask[j*c.Width+i] = true
				}
			}
		}
	}
	return mask
}
