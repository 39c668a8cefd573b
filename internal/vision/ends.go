package vision

import "math"

// Where a strip begins and ends. Lengths are mm on the paper.
const (
	// A strip begins with beginRows rows, and ends before endRows, whose core is and is not
	// half as dark as the whole; the core's depth is a running median over medianReach rows
	// to each side. Fewer let dirt end it, more let the tip's round end into the fit.
	beginRows, endRows, medianReach = 4, 8, 6
	// Before the end half the breadth is left out, where a flat tip's shadow is round, with
	// endMargin, and endPenumbra of the distance: two thirds of the sun's disc of 0.0093.
	endMargin, endPenumbra = 0.6, 0.006
	// A cap's shadow darkens both sides by capDepth of the depth, capGap and capBlur sigmas of
	// the blur beyond the edges, over capWide. Where capBeyond bare rows follow, another
	// shadow crossed. capMargin before it is left out too.
	capDepth, capGap, capBlur, capWide = 0.3, 0.15, 3, 0.4
	capBeyond, capMargin               = 12, 0.5
)

// cutEnd puts aside the rows from a little before the place where the strip ends:
// the shadow of the rod's tip is round and blurred; and those before it begins, where a
// cork or a lump of clay lies over it.
func (f *stripFit) cutEnd() {
	depth := make([]float64, len(f.rows))
	for i := range f.rows {
		row := &f.rows[i]
		depth[i] = math.NaN()
		if row.ok {
			m := (f.left.at(row.s) + f.right.at(row.s)) / 2
			w := max((f.right.at(row.s)-f.left.at(row.s))/4, f.step)
			depth[i] = 1 - f.level(row, m-w, m+w)
		}
	}
	med := runningMedian(depth, medianReach)
	end, low, high := len(med), 0, 0
	for i, d := range med {
		switch {
		case math.IsNaN(d):
		case high < beginRows: // not begun
			if high++; d < 0.5*f.depth {
				high = 0
				f.rows[i].ok = false
			}
		case d < 0.5*f.depth:
			if low++; low >= endRows {
				end = i - low + 1
			}
		default:
			low = 0
		}
		if end < len(med) {
			break
		}
	}
	if end == len(med) { // it may end with the last rows of all, of which the median keeps half
		end -= max(low, endedLate(depth, 0.5*f.depth))
	}
	if end == len(med) {
		return
	}
	f.dropFrom(f.rows[end].s - (f.right.a-f.left.a)/2 - endMargin - endPenumbra*f.rows[end].s)
}

// endedLate is how many of the last rows in a row are less deep than the least, where two are.
func endedLate(depth []float64, least float64) (n int) {
	for n < len(depth) && depth[len(depth)-1-n] < least {
		n++
	}
	if n < 2 {
		return 0
	}
	return n
}

// cutCap puts aside the rows from where the strip widens to both sides at once for
// good: a cap on the rod's tip casts a broader shadow. Where the strip goes on
// beyond, another shadow crosses it, and only the crossing is left out.
func (f *stripFit) cutCap() {
	first, wide, beyond := -1, false, 0
	for i := range f.rows {
		row := &f.rows[i]
		gap := capBlur*f.sigma(row.s) + capGap
		l, r := f.left.at(row.s), f.right.at(row.s)
		a, b := f.level(row, l-gap-capWide, l-gap), f.level(row, r+gap, r+gap+capWide)
		dark := a < 1-capDepth*f.depth && b < 1-capDepth*f.depth
		switch {
		case first < 0 && !row.ok: // before the strip lies the rod's own image
		case first < 0:
			first = i
		case dark && !wide:
			wide, beyond, first = true, 0, i
			row.ok = false
		case dark:
			beyond = 0
			row.ok = false
		case wide && row.ok:
			if beyond++; beyond > capBeyond {
				wide = false
			}
		}
	}
	if wide {
		f.dropFrom(f.rows[first].s - capMargin)
	}
}

func (f *stripFit) dropFrom(stop float64) { f.keep(0, stop) }

// keep puts the rows outside a stretch aside.
func (f *stripFit) keep(from, to float64) {
	for i := range f.rows {
		if s := f.rows[i].s; s < from || s > to {
			f.rows[i].ok = false
		}
	}
}
