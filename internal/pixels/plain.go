package pixels

import (
	"encoding/binary"
	"image"
	"math"
	"slices"
)

// plain is plain Go.
type plain struct{}

func (plain) name() string { return PlainGo }

func (plain) shrink(g Gray, factor int) Gray {
	out := blank(g.W/factor, g.H/factor)
	sums := make([]uint32, out.W)
	// As OpenCV divides: in single precision, halves to even; of four pixels up.
	part := 1 / float32(factor*factor)
	for v := range out.H {
		row := out.Pix[v*out.W : (v+1)*out.W]
		if factor == 2 {
			halve(row, g.Pix[2*v*g.W:][:g.W], g.Pix[(2*v+1)*g.W:][:g.W])
			continue
		}
		clear(sums)
		for y := v * factor; y < (v+1)*factor; y++ {
			above := g.Pix[y*g.W:]
			for u := range sums {
				for _, p := range above[:factor] {
					sums[u] += uint32(p)
				}
				above = above[factor:]
			}
		}
		for u, s := range sums {
			row[u] = uint8(math.RoundToEven(float64(float32(s) * part)))
		}
	}
	return out
}

// halve writes the means of the blocks of two rows.
func halve(out, a, b []uint8) {
	a, b = a[:2*len(out)], b[:2*len(out)]
	for u := range out {
		out[u] = uint8((uint32(a[2*u]) + uint32(a[2*u+1]) + uint32(b[2*u]) + uint32(b[2*u+1]) + 2) >> 2)
	}
}

func (plain) threshold(g Gray, window, below int) Gray {
	out := blank(g.W, g.H)
	half, area := window/2, uint32(window*window)
	row := func(v int) []uint8 {
		v = min(max(v, 0), g.H-1)
		return g.Pix[v*g.W : (v+1)*g.W]
	}
	// sums are those of each column over the window's rows, with the columns beyond the
	// edges.
	sums := make([]uint32, g.W+2*half)
	inner := sums[half : half+g.W]
	for v := -half; v <= half; v++ {
		for u, p := range row(v) {
			inner[u] += uint32(p)
		}
	}
	for v := range g.H {
		for u := range half {
			sums[u], sums[half+g.W+u] = inner[0], inner[g.W-1]
		}
		sum := uint32(0)
		for _, s := range sums[:2*half] {
			sum += s
		}
		pix, ink := row(v), out.Pix[v*g.W:(v+1)*g.W]
		enter, leave := sums[2*half:][:g.W], sums[:g.W]
		for u, p := range pix {
			sum += enter[u]
			if (uint32(p)+uint32(below))*area <= sum+area/2 { // the mean is rounded
				ink[u] = 255
			}
			sum -= leave[u]
		}
		next, last := row(v+half+1), row(v-half)
		for u := range inner {
			inner[u] += uint32(next[u]) - uint32(last[u])
		}
	}
	return out
}

func (plain) quads(ink Gray, least, most int, part float64) (found [][4]image.Point) {
	trace(ink, func(outline []image.Point) {
		if n := len(outline); n >= least && n <= most {
			if corners := simplify(outline, part*float64(n)); len(corners) == 4 {
				found = append(found, [4]image.Point(corners))
			}
		}
	})
	slices.Reverse(found) // as OpenCV has them
	return found
}

// Labels of pixels while outlines are traced.
const (
	paper  = 0
	fresh  = 1 // ink that no outline has met
	met    = 2 // on an outline
	passed = 3 // on an outline that has seen the paper to the right: no hole begins here
)

// around are the steps to the eight neighbours, against the clock from the right.
var around = [8]image.Point{{X: 1}, {X: 1, Y: -1}, {Y: -1}, {X: -1, Y: -1}, {X: -1}, {X: -1, Y: 1}, {Y: 1}, {X: 1, Y: 1}}

// trace calls found with every outline, from outside and round holes, each pixel with its
// eight neighbours (Suzuki and Abe 1985, algorithm 1, as OpenCV starts and goes). The
// points are found's until it returns.
func trace(ink Gray, found func([]image.Point)) {
	w := ink.W + 2 // a margin of paper
	labels := make([]uint8, w*(ink.H+2))
	for v := range ink.H {
		row := labels[(v+1)*w+1:][:ink.W]
		for u, p := range ink.Pix[v*ink.W : (v+1)*ink.W] {
			if p != 0 {
				row[u] = fresh
			}
		}
	}
	var step [8]int
	for i, d := range around {
		step[i] = d.Y*w + d.X
	}
	var points []image.Point
	for v := 1; v <= ink.H; v++ {
		row := labels[v*w : (v+1)*w]
		for u := 1; u < w; u++ {
			if row[u] == row[u-1] {
				// Long stretches are alike: eight at a time.
				same := uint64(row[u]) * 0x0101010101010101
				for u+8 < w && binary.LittleEndian.Uint64(row[u+1:]) == same {
					u += 8
				}
				continue
			}
			switch {
			case row[u-1] == paper && row[u] == fresh:
				points = follow(labels, step, v*w+u, image.Pt(u-1, v-1), 4, points[:0])
			case row[u] == paper && row[u-1] != passed:
				points = follow(labels, step, v*w+u-1, image.Pt(u-2, v-1), 0, points[:0])
			default:
				continue
			}
			found(points)
		}
	}
}

// follow goes round from one pixel of an outline, whose neighbour in a direction is paper.
func follow(labels []uint8, step [8]int, start int, p image.Point, paperAt int, points []image.Point) []image.Point {
	first, dir := 0, paperAt
	for {
		dir = (dir - 1) & 7
		if labels[start+step[dir]] != paper {
			first = start + step[dir]
			break
		}
		if dir == paperAt {
			labels[start] = passed // alone
			return append(points, p)
		}
	}
	for here := start; ; {
		from := dir
		for dir++; labels[here+step[dir&7]] == paper; dir++ {
		}
		dir &= 7
		if uint(dir-1) < uint(from) { // the right-hand neighbour was gone past
			labels[here] = passed
		} else if labels[here] == fresh {
			labels[here] = met
		}
		points = append(points, p)
		next := here + step[dir]
		p = p.Add(around[dir])
		if next == start && here == first {
			return points
		}
		here, dir = next, (dir+4)&7
	}
}

// simplify returns the corners of a closed outline that keeps within limit px of it, by the
// steps of OpenCV's approxPolyDP, so that both come to the same corners.
func simplify(outline []image.Point, limit float64) (corners []image.Point) {
	n := len(outline)
	// Two points far from each other: from anywhere to the farthest, thrice.
	a, b := 0, 0
	most := 0
	for range 3 {
		a = (a + b) % n
		most = 0
		for j := 1; j < n; j++ {
			if d := outline[(a+j)%n].Sub(outline[a]); d.X*d.X+d.Y*d.Y > most {
				most, b = d.X*d.X+d.Y*d.Y, j
			}
		}
	}
	limit *= limit
	if float64(most) <= limit {
		return []image.Point{outline[a]}
	}
	b = (a + b) % n
	corners = split(outline, a, b, limit, nil)
	corners = split(outline, b, a, limit, corners)
	return withoutStraight(corners, limit)
}

// split appends the corners from point a of the outline on to point b, without b.
func split(outline []image.Point, a, b int, limit float64, corners []image.Point) []image.Point {
	n := len(outline)
	chord := outline[b].Sub(outline[a])
	most, farthest := 0, a
	for i := (a + 1) % n; i != b; i = (i + 1) % n {
		d := outline[i].Sub(outline[a])
		off := d.Y*chord.X - d.X*chord.Y
		if off = max(off, -off); off > most {
			most, farthest = off, i
		}
	}
	if float64(most)*float64(most) <= limit*float64(chord.X*chord.X+chord.Y*chord.Y) {
		return append(corners, outline[a])
	}
	corners = split(outline, a, farthest, limit, corners)
	return split(outline, farthest, b, limit, corners)
}

// withoutStraight drops corners on almost straight lines, in place.
func withoutStraight(corners []image.Point, limit float64) []image.Point {
	n := len(corners)
	left, at := n, n-1
	read := func() image.Point {
		p := corners[at]
		at = (at + 1) % n
		return p
	}
	a := read()
	out := at
	p := read()
	keep := func(q image.Point) {
		corners[out] = q
		out = (out + 1) % n
	}
	for i := 0; i < n && left > 2; i++ {
		b := read()
		chord, in, on := b.Sub(a), p.Sub(a), b.Sub(p)
		off := float64(in.X*chord.Y - in.Y*chord.X)
		if off*off <= 0.5*limit*float64(chord.X*chord.X+chord.Y*chord.Y) && chord.X != 0 && chord.Y != 0 && in.X*on.X+in.Y*on.Y >= 0 {
			left--
			a = b
			keep(b)
			p = read()
			i++
			continue
		}
		a = p
		keep(p)
		p = b
	}
	return corners[:left]
}
