package vision

import "math"

// What holds a rod's foot (a nut, clay) casts a broader shadow before the strip begins,
// and a point a narrower one where it ends: neither has edges that run along the rod.
const (
	plateau = 8.0 // mm of one breadth that make the rod's own; the least that is read
	// evenWidth is how much the breadth may vary on a plateau, as a part, beside evenNoise, mm:
	// between the quantiles evenLow and evenHigh.
	evenWidth, evenNoise = 0.15, 0.1
	evenLow, evenHigh    = 0.15, 0.85
	// Its halves may differ by evenTaper of it and a sample: a point's farther one is narrower by more,
	// under any but the lowest sun, and the nearer one where a ball's image covers part of it. Its
	// depth may vary by evenDepth: a point's end loses more than half.
	evenTaper, evenDepth = 0.06, 0.3
	plateauSeen          = 7 // tenths of a plateau's rows whose breadth must be told
	// What is broader than tooBroad of the rod's breadth and broadNoise mm is what holds the
	// foot; what is narrower than tooNarrow a point.
	tooBroad, broadNoise = 1.3, 0.2
	tooNarrow            = 0.85
	// leastPoint is how long a point's shadow must be seen to narrow, mm.
	leastPoint = 3.0
	pointClear = 0.5 // mm left out before it
	// Beside broad rows so much is left out for their blurred ends, mm and as a part of the
	// distance; after what holds the foot more, for its rounded corner and its penumbra.
	broadClear, broadBlur = 0.6, 0.006
	heldClear, heldBlur   = 0.8, 0.012
	// A foot's holder casts leastHeld mm of broad shadow at least, and its body may hide
	// bodyMost mm before that.
	leastHeld, bodyMost = 1.2, 6.0
	widthsReach         = 3 // rows to each side over which the breadths are medians
	// A dark is one from darkPart of the light on, by means over darkReach mm to each side.
	darkPart, darkReach = 0.15, 0.3
	darkGap             = 3.0 // mm of paper in the light after which a strip has ended
)

// keepBare puts aside the rows in which the shadow is not of the rod's own breadth: what
// holds the foot, a point, and between them a nodus, or another shadow across. The rows are
// as sampled; what cannot be told is left in.
func (f *stripFit) keepBare() {
	widths, depths := make([]float64, len(f.rows)), make([]float64, len(f.rows))
	for i := range f.rows {
		widths[i], depths[i] = f.darkWidth(&f.rows[i])
	}
	widths = runningMedian(widths, widthsReach)
	own, ok := f.ownWidth(widths, depths)
	if !ok {
		return
	}
	from, broad := 0.0, tooBroad*own+broadNoise
	for i, w := range widths {
		if w > broad || f.among && math.Abs(w-own) > evenTaper*own+f.step {
			for k := range f.rows {
				if math.Abs(f.rows[k].s-f.rows[i].s) < broadClear+broadBlur*f.rows[i].s {
					f.rows[k].ok = false
				}
			}
		}
	}
	if s := f.holderEnds(widths, broad); s > 0 {
		from, f.held = s+heldClear+heldBlur*s, true
	}
	// From the strip's end inward as long as it is narrow.
	var rest []float64
	for i, w := range widths {
		if f.rows[i].s >= from && w <= broad {
			rest = append(rest, w)
		}
	}
	if len(rest) < leastRows {
		f.keep(from, math.Inf(1))
		return
	}
	usual := max(quantile(rest, 0.5), own) // a long point may be more than half of what is seen
	ends, narrows := math.NaN(), math.NaN()
	for i := f.lastDark(widths, from); i >= 0; i-- {
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
	// A flat top ends in an arc of half its breadth, and the rows beyond it are cut elsewhere, but
	// where the last of them lies in the arc.
	to := math.Inf(1)
	if last := f.rows[len(f.rows)-1].s; ends-narrows > own/2+leastPoint || ends > last-pointClear {
		to = narrows - pointClear
	}
	f.keep(from, to)
}

// lastDark is the row before the strip is plainly seen to have ended, from a distance from the foot
// on: what is dark farther out is another shadow. It is the last of all where none is.
func (f *stripFit) lastDark(widths []float64, from float64) int {
	last := math.NaN()
	for i, w := range widths {
		switch s := f.rows[i].s; {
		case s < from:
		case !math.IsNaN(w) || !f.rows[i].ok && !math.IsNaN(last):
			last = s
		case s-last > darkGap:
			return i
		}
	}
	return len(widths) - 1
}

// holderEnds returns where the beginning of the strip that is wider than broad ends, 0 where it
// has none. The body itself may lie over the first few millimetres.
func (f *stripFit) holderEnds(widths []float64, broad float64) (end float64) {
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
		case wide && s-began > leastHeld:
			end = s
		case !wide:
			began = math.NaN()
		}
		if math.IsNaN(began) && (end > 0 || s > first+bodyMost) {
			break
		}
	}
	return end
}

// darkWidth is the breadth of the dark about the axis at half its depth, mm, and that depth; the
// whole window where no edge is in it, NaN where there is no dark or its edge is not seen.
func (f *stripFit) darkWidth(row *profileRow) (width, depth float64) {
	paper := f.lit(f.frame.at(row.s, 0))
	low, at := (1-darkPart)*paper, -1
	reach := max(1, int(darkReach/f.step))
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
		if n := f.first + float64(k)*f.step; math.Abs(n) > axisReach {
			continue
		}
		if v := about(k); v < low {
			low, at = v, k
		}
	}
	if at < 0 {
		return math.NaN(), math.NaN()
	}
	from, to := edgesAbout(row.light, at, (paper+low)/2)
	if from >= 0 && math.IsNaN(row.light[from]) || to < len(row.light) && math.IsNaN(row.light[to]) {
		return math.NaN(), 1 - low/paper
	}
	return float64(to-from) * f.step, 1 - low/paper
}

// ownWidth is the smallest breadth that the strip keeps over a plateau, mm; or among things that lie
// about that which comes nearest to the stated one. A point narrows all along; its end keeps the
// breadth of its blur, but grows paler. A plateau of rows that the rod's image partly covers gives
// way to one farther out that is seen whole: a ball's image, broader than the rod, bites into the strip.
func (f *stripFit) ownWidth(widths, depths []float64) (own float64, ok bool) {
	own = math.Inf(1)
	var in, dark []float64
	bitten := false
	for i := range f.rows {
		if f.rows[i].s+plateau > f.rows[len(f.rows)-1].s {
			break
		}
		in, dark = in[:0], dark[:0]
		n, whole := 0, true
		for k := i; k < len(f.rows) && f.rows[k].s < f.rows[i].s+plateau; k++ {
			n++
			whole = whole && f.rows[k].ok
			if !math.IsNaN(widths[k]) {
				in, dark = append(in, widths[k]), append(dark, depths[k])
			}
		}
		if !tenths(len(in), n, plateauSeen) {
			continue
		}
		mid := quantile(in, 0.5)
		half := len(in) / 2
		if mid > narrowest && quantile(in, evenHigh)-quantile(in, evenLow) < evenWidth*mid+evenNoise &&
			math.Abs(quantile(in[:half], 0.5)-quantile(in[half:], 0.5)) < evenTaper*mid+f.step &&
			quantile(dark, evenHigh)-quantile(dark, evenLow) < evenDepth*quantile(dark, 0.5) {
			if !f.among && (mid < own || bitten && whole) || f.among && math.Abs(mid-f.rod.DiameterMM) < math.Abs(own-f.rod.DiameterMM) {
				own, bitten = mid, !whole
			}
		}
	}
	return own, !math.IsInf(own, 1)
}
