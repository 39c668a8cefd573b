package pixels

import (
	"encoding/binary"
	"math"
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

// halve writes the means of the blocks of two rows, four of them at a time.
func halve(out, a, b []uint8) {
	const even = 0x00FF00FF00FF00FF
	for len(out) >= 4 {
		x, y := binary.LittleEndian.Uint64(a), binary.LittleEndian.Uint64(b)
		sum := x&even + x>>8&even + y&even + y>>8&even + 0x0002000200020002
		out[0], out[1], out[2], out[3] = uint8(sum>>2), uint8(sum>>18), uint8(sum>>34), uint8(sum>>50)
		out, a, b = out[4:], a[8:], b[8:]
	}
	for u := range out {
		out[u] = uint8((uint32(a[2*u]) + uint32(a[2*u+1]) + uint32(b[2*u]) + uint32(b[2*u+1]) + 2) >> 2)
	}
}

func (plain) threshold(g Gray, window, below int) Gray {
	out := blankInk(g.W, g.H)
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
			// Without a branch, which noise would have guessed wrong: the sign's bits of what is too light.
			ink[u] = uint8(^(int32(sum+area/2-(uint32(p)+uint32(below))*area) >> 31)) // the mean is rounded
			sum -= leave[u]
		}
		next, last := row(v+half+1), row(v-half)
		for u := range inner {
			inner[u] += uint32(next[u]) - uint32(last[u])
		}
	}
	return out
}
