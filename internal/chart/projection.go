package chart

import (
	"math"

	"github.com/tidwall/geodesic"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
	"shadowread/internal/journey"
	"shadowread/internal/workup"
)

// projection is the azimuthal equidistant one about a middle, in metres east and north
// of it.
type projection struct{ middle geo.Position }

// plane is a place on the projection, metres east and north of the middle.
type plane struct{ east, north float64 }

func (p projection) project(q geo.Position) plane {
	var s, azimuth float64
	geodesic.WGS84.Inverse(p.middle.Lat.Degrees(), p.middle.Lon.Degrees(), q.Lat.Degrees(), q.Lon.Degrees(), &s, &azimuth, nil)
	a := angle.FromDegrees(azimuth)
	return plane{s * a.Sin(), s * a.Cos()}
}

func (p projection) position(q plane) geo.Position {
	return journey.Offset(p.middle, workup.Offset{North: geo.Metres(q.north), East: geo.Metres(q.east)})
}

// bounds is a box on the projection.
type bounds struct{ west, east, south, north float64 }

func (b *bounds) add(p plane) {
	b.west, b.east = min(b.west, p.east), max(b.east, p.east)
	b.south, b.north = min(b.south, p.north), max(b.north, p.north)
}

func (p projection) bounds(positions []geo.Position) bounds {
	b := bounds{math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)}
	for _, q := range positions {
		b.add(p.project(q))
	}
	return b
}

// centred returns the projection about the middle of the positions, with their box.
func centred(positions []geo.Position) (projection, bounds) {
	p := projection{positions[0]}
	// About the new middle the box is a little different; a third time changes nothing
	// that a chart shows.
	for range 3 {
		b := p.bounds(positions)
		p.middle = p.position(plane{(b.west + b.east) / 2, (b.south + b.north) / 2})
	}
	return p, p.bounds(positions)
}

// rect is a rectangle on the chart, mm.
type rect struct{ left, top, right, bottom float64 }

func (r rect) has(p XY) bool {
	return p.X >= r.left && p.X <= r.right && p.Y >= r.top && p.Y <= r.bottom
}

// ground tells where on the chart there is room for type, in cells of half a millimetre:
// to ask takes as long for a hundred thousand legs as for ten.
type ground map[[2]int]bool

const cell = 0.5

func (g ground) each(r rect, visit func([2]int) bool) bool {
	at := func(v float64) int { return int(math.Floor(v / cell)) }
	for x := at(r.left); x <= at(r.right); x++ {
		for y := at(r.top); y <= at(r.bottom); y++ {
			if !visit([2]int{x, y}) {
				return false
			}
		}
	}
	return true
}

func (g ground) take(r rect) {
	g.each(r, func(c [2]int) bool {
		g[c] = true
		return true
	})
}

func (g ground) free(r rect) bool { return g.each(r, func(c [2]int) bool { return !g[c] }) }

// clip returns the part of a segment that lies in the rectangle (Liang and Barsky, "A
// new concept and method for line clipping", ACM Trans. Graphics 3, 1984).
func (r rect) clip(a, b XY) (from, to XY, ok bool) {
	t0, t1 := 0.0, 1.0
	dx, dy := b.X-a.X, b.Y-a.Y
	for _, edge := range [][2]float64{{-dx, a.X - r.left}, {dx, r.right - a.X}, {-dy, a.Y - r.top}, {dy, r.bottom - a.Y}} {
		switch p, q := edge[0], edge[1]; {
		case p == 0 && q < 0:
			return XY{}, XY{}, false
		case p < 0:
			t0 = max(t0, q/p)
		case p > 0:
			t1 = min(t1, q/p)
		}
	}
	if t0 > t1 {
		return XY{}, XY{}, false
	}
	return XY{a.X + t0*dx, a.Y + t0*dy}, XY{a.X + t1*dx, a.Y + t1*dy}, true
}

// clipLine returns the parts of a line that lie in the rectangle.
func (r rect) clipLine(line []XY) (parts [][]XY) {
	var part []XY
	for i := 1; i < len(line); i++ {
		from, to, ok := r.clip(line[i-1], line[i])
		if !ok {
			continue
		}
		if n := len(part); n == 0 || part[n-1] != from {
			if n > 1 {
				parts = append(parts, part)
			}
			part = []XY{from}
		}
		part = append(part, to)
	}
	if len(part) > 1 {
		parts = append(parts, part)
	}
	return parts
}
