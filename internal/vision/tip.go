package vision

import (
	"math"

	"shadowread/internal/sheet"
)

// faceHalf is half the side of the printed face, mm: beyond it the page may carry
// type, and the paper may end.
const faceHalf = 88.0

// findTip follows the measured strip outward to where its middle turns light again
// and returns the distance from the foot's perpendicular to the shadow of the axis's
// tip. The strip of a rod with a flat top ends half a diameter beyond that shadow,
// in an arc; the middle two fifths of the width meet the arc at 0.97 of the half
// diameter. ok is false when the end is off the face, cannot be told from ink, or
// is another shadow's.
func (f *stripFit) findTip(axis fitLine, s *sheet.Sheet, hidden func(sheet.Point) bool, lit func(sheet.Point) float64) (length, sigma float64, ok bool) {
	least, most := f.plate.Scale(f.frame.at(axis.mid, 0))
	step := 0.5 / math.Sqrt(least*most)
	width := f.right.at(axis.mid) - f.left.at(axis.mid)
	type sample struct {
		s, v float64
	}
	var run []sample
	for d := f.lastGood() - 4; ; d += step {
		mid := axis.at(d)
		p := f.frame.at(d, mid)
		if math.Abs(p.X) > faceHalf || math.Abs(p.Y) > faceHalf || !f.g.contains(f.plate.Project(p), 3) {
			break
		}
		if printed(s, p, width) {
			continue
		}
		if v := f.brightest(d, mid-0.2*width, mid+0.2*width, hidden) / lit(p); !math.IsNaN(v) {
			run = append(run, sample{d, v})
		}
	}
	// The crossing of half depth, seen close on both sides, dark before and light
	// after over two millimetres.
	half := 1 - f.depth/2
	for i := 1; i < len(run); i++ {
		a, b := run[i-1], run[i]
		if !(a.v < half && b.v >= half) {
			continue
		}
		before, after, nb, na := 0.0, 0.0, 0, 0
		for _, r := range run {
			switch {
			case r.s > a.s-2.5 && r.s < a.s-0.5:
				before, nb = before+r.v, nb+1
			case r.s > b.s+0.5 && r.s < b.s+2.5:
				after, na = after+r.v, na+1
			}
		}
		if nb < 2 || na < 2 || before/float64(nb) > half-0.25*f.depth || after/float64(na) < half+0.25*f.depth {
			continue
		}
		end, gap := a.s+(half-a.v)/(b.v-a.v)*(b.s-a.s), b.s-a.s
		if gap > 2.5 {
			return 0, 0, false
		}
		top, ok := f.capRadius(axis, end, half, lit)
		switch {
		case !ok:
			return 0, 0, false
		case top > 0.75*width:
			// A ball of radius R whose top is the tip: its shadow ends R tan(a/2)
			// beyond the tip's, a being the altitude; 20 to 60 degrees are spanned.
			return end - 0.36*top, 0.2*top + gap, true
		}
		return end - 0.97*width/2, 0.08 + gap/math.Sqrt(12), true
	}
	return 0, 0, false
}

// capRadius returns the greatest half width of the dark in the last stretch before
// the strip's end; ok is false when the dark spreads to a side as no rod's or cap's
// shadow does: the end is then another shadow's.
func (f *stripFit) capRadius(axis fitLine, end, half float64, lit func(sheet.Point) float64) (radius float64, ok bool) {
	const widest = 11.0 // mm
	for d := end - 14; d < end-0.4; d += 0.4 {
		mid := axis.at(d)
		var reach [2]float64
		for i, side := range []float64{-1, 1} {
			n := 0.0
			for ; n < widest; n += 0.2 {
				p := f.frame.at(d, mid+side*n)
				q := f.plate.Project(p)
				if !f.g.contains(q, 1) || f.g.light(q.U, q.V)/lit(p) > half {
					break
				}
			}
			reach[i] = n
		}
		wide, narrow := max(reach[0], reach[1]), min(reach[0], reach[1])
		// Ink beside the strip may stretch one side a little.
		if wide >= widest {
			return 0, false
		}
		radius = max(radius, narrow)
	}
	return radius, true
}

func (f *stripFit) lastGood() (s float64) {
	for i := range f.rows {
		if f.rows[i].ok {
			s = max(s, f.rows[i].s)
		}
	}
	return s
}

// brightest is the upper quartile of the light across a short stretch at distance
// d: between ticks and through numerals it is still paper.
func (f *stripFit) brightest(d, a, b float64, hidden func(sheet.Point) bool) float64 {
	const n = 9
	var vs [n]float64
	k := 0
	for i := range n {
		p := f.frame.at(d, a+(b-a)*float64(i)/(n-1))
		q := f.plate.Project(p)
		if f.g.contains(q, 1) && !hidden(p) {
			vs[k] = f.g.light(q.U, q.V)
			k++
		}
	}
	if k < 4 {
		return math.NaN()
	}
	return quantile(vs[:k], 0.75)
}

// printed reports ink that may cover the neighbourhood: the ring, numerals, marks
// and the lubber line. Ticks leave paper between.
func printed(s *sheet.Sheet, p sheet.Point, width float64) bool {
	r := math.Hypot(p.X, p.Y)
	if math.Abs(r-s.Dial.RingRadius) < 0.6 || math.Abs(r-s.Dial.NumeralRadius) < s.Dial.NumeralHeight/2+0.6 {
		return true
	}
	for _, m := range s.Marks {
		if h := m.Side/2 + 0.5 + width; math.Abs(p.X-m.X) < h && math.Abs(p.Y-m.Y) < h {
			return true
		}
	}
	return math.Abs(p.X) < 2+width/2 && p.Y > s.LubberFrom.Y-1
}
