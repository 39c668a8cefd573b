package vision

import (
	"math"
)

// What holds a rod's foot (a nut, clay) casts a broader shadow before the strip begins,
// and a point a narrower one where it ends: neither has edges that run along the rod.
const (
	plateau   = 8.0  // mm of one breadth that make the rod's own; the least that is read
	evenWidth = 0.15 // by which the breadth may vary on it, as a part, beside 0.1 mm of noise
	tooBroad  = 1.3  // breadths, beside 0.2 mm: what holds the foot
	tooNarrow = 0.85 // breadths: a point
	// leastPoint is how long a point's shadow must be seen to narrow, mm.
	leastPoint = 3.0
)

// keepBare puts aside the rows in which the shadow is not of the rod's own breadth: what
// holds the foot, a point, and between them a nodus, or another shadow across. The rows are
// as sampled; what cannot be told is left in.
func (f *stripFit) keepBare() {
	widths := make([]float64, len(f.rows))
	for i := range f.rows {
		widths[i] = f.darkWidth(&f.rows[i])
	}
	widths = runningMedian(widths, 3)
	own, ok := f.ownWidth(widths)
	if !ok {
		return
	}
	from, broad := 0.0, tooBroad*own+0.2
	const beside = 0.6 // mm: the blurred ends of what is broad
	for i, w := range widths {
		if w > broad {
			for k := range f.rows {
				if math.Abs(f.rows[k].s-f.rows[i].s) < beside+0.006*f.rows[i].s {
					f.rows[k].ok = false
				}
			}
		}
	}
	if s := f.holderEnds(widths, broad); s > 0 {
		from, f.held = s+0.8+0.012*s, true // its rounded corner and its penumbra
	}
	// From the strip's end inward as long as it is narrow.
	var rest []float64
	for i, w := range widths {
		if f.rows[i].s >= from && !math.IsNaN(w) {
			rest = append(rest, w)
		}
	}
	if len(rest) < 6 {
		f.keep(from, math.Inf(1))
		return
	}
	usual := quantile(rest, 0.5)
	ends, narrows := math.NaN(), math.NaN()
	for i := len(widths) - 1; i >= 0; i-- {
		if math.IsNaN(widths[i]) {
			continue
		}
		if math.IsNaN(ends) {
			ends = f.rows[i].s
		}
		if widths[i] > tooNarrow*usual {
			break
		}
		narrows = f.rows[i].s
	}
	// A flat top ends in an arc of half its breadth, and the rows beyond it are cut elsewhere.
	to := math.Inf(1)
	if ends-narrows > own/2+leastPoint {
		to = narrows - 0.5
	}
	f.keep(from, to)
}

// holderEnds returns where the beginning of the strip that is wider than broad ends, 0 where it
// has none. The body itself may lie over the first few millimetres.
func (f *stripFit) holderEnds(widths []float64, broad float64) (end float64) {
	const least, body = 1.2, 6.0 // mm of broad shadow, and before it
	began, first := math.NaN(), math.NaN()
	for i, w := range widths {
		s := f.rows[i].s
		if math.IsNaN(w) {
			continue
		}
		if math.IsNaN(first) {
			first = s
		}
		switch wide := w > broad; {
		case wide && math.IsNaN(began):
			began = s
		case wide && s-began > least:
			end = s
		case !wide:
			began = math.NaN()
		}
		if math.IsNaN(began) && (end > 0 || s > first+body) {
			break
		}
	}
	return end
}

// darkWidth is the breadth of the dark about the axis at half its depth, mm; the whole
// window where no edge is in it, NaN where there is no dark or its edge is not seen.
func (f *stripFit) darkWidth(row *profileRow) float64 {
	paper := f.lit(f.frame.at(row.s, 0))
	low, at := 0.85*paper, -1
	reach := max(1, int(0.3/f.step))
	about := func(k int) float64 {
		sum, n := 0.0, 0
		for j := max(0, k-reach); j <= min(len(row.light)-1, k+reach); j++ {
			if v := row.light[j]; !math.IsNaN(v) {
				sum, n = sum+v, n+1
			}
		}
		if 2*n < reach {
			return math.NaN()
		}
		return sum / float64(n)
	}
	for k := range row.light {
		if n := f.first + float64(k)*f.step; math.Abs(n) > 1.2 {
			continue
		}
		if v := about(k); v < low {
			low, at = v, k
		}
	}
	if at < 0 {
		return math.NaN()
	}
	half := (paper + low) / 2
	width := 0.0
	for _, side := range []int{-1, 1} {
		for k := at; k >= 0 && k < len(row.light); k += side {
			v := row.light[k]
			if math.IsNaN(v) {
				return v
			}
			if v > half {
				break
			}
			width += f.step
		}
	}
	return width
}

// ownWidth is the smallest breadth that the strip keeps over a plateau, mm.
func (f *stripFit) ownWidth(widths []float64) (own float64, ok bool) {
	own = math.Inf(1)
	var in []float64
	for i := range f.rows {
		if f.rows[i].s+plateau > f.rows[len(f.rows)-1].s {
			break
		}
		in = in[:0]
		n := 0
		for k := i; k < len(f.rows) && f.rows[k].s < f.rows[i].s+plateau; k++ {
			n++
			if !math.IsNaN(widths[k]) {
				in = append(in, widths[k])
			}
		}
		if 10*len(in) < 7*n {
			continue
		}
		mid := quantile(in, 0.5)
		if mid > 0.4 && quantile(in, 0.85)-quantile(in, 0.15) < evenWidth*mid+0.1 {
			own = min(own, mid)
		}
	}
	return own, !math.IsInf(own, 1)
}
