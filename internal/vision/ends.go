package vision

import "math"

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
	med := runningMedian(depth, 6)
	end, low, high := len(med), 0, 0
	for i, d := range med {
		switch {
		case math.IsNaN(d):
		case high < 4: // not begun
			if high++; d < 0.5*f.depth {
				high = 0
				f.rows[i].ok = false
			}
		case d < 0.5*f.depth:
			if low++; low >= 8 {
				end = i - low + 1
			}
		default:
			low = 0
		}
		if end < len(med) {
			break
		}
	}
	if end == len(med) {
		return
	}
	f.dropFrom(f.rows[end].s - (f.right.a-f.left.a)/2 - 0.6 - 0.006*f.rows[end].s)
}

// cutCap puts aside the rows from where the strip widens to both sides at once for
// good: a cap on the rod's tip casts a broader shadow. Where the strip goes on
// beyond, another shadow crosses it, and only the crossing is left out.
func (f *stripFit) cutCap() {
	first, wide, beyond := -1, false, 0
	for i := range f.rows {
		row := &f.rows[i]
		gap := 3*f.sigma(row.s) + 0.15
		l, r := f.left.at(row.s), f.right.at(row.s)
		a, b := f.level(row, l-gap-0.4, l-gap), f.level(row, r+gap, r+gap+0.4)
		dark := a < 1-0.3*f.depth && b < 1-0.3*f.depth
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
			if beyond++; beyond > 12 {
				wide = false
			}
		}
	}
	if wide {
		f.dropFrom(f.rows[first].s - 0.5)
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
