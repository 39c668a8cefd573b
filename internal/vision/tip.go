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
// diameter. ok is false when the end is off the face or cannot be told from ink.
func (f *stripFit) findTip(axis fitLine, s *sheet.Sheet, hidden func(sheet.Point) bool) (length, sigma float64, ok bool) {
	least, most := f.plate.Scale(f.frame.at(axis.mid, 0))
	step := 0.5 / math.Sqrt(least*most)
	width := f.right.at(axis.mid) - f.left.at(axis.mid)
	from := f.lastGood() - 4
	type sample struct {
		s, v float64
	}
	var run []sample
	for d := from; ; d += step {
		mid := axis.at(d)
		p := f.frame.at(d, mid)
		if math.Abs(p.X) > faceHalf || math.Abs(p.Y) > faceHalf || !f.g.contains(f.plate.Project(p), 3) {
			break
		}
		if printed(s, p, width) {
			continue
		}
		core := f.brightest(d, mid-0.2*width, mid+0.2*width, hidden)
		blur := f.sigma(d)
		a := f.brightest(d, mid-width/2-2.5*blur-1.2, mid-width/2-2.5*blur-0.3, hidden)
		b := f.brightest(d, mid+width/2+2.5*blur+0.3, mid+width/2+2.5*blur+1.2, hidden)
		if math.IsNaN(a) {
			a = b
		} else if math.IsNaN(b) {
			b = a
		}
		v := core / ((a + b) / 2)
		if math.IsNaN(v) || min(a, b) < 0.6*max(a, b) {
			continue
		}
		run = append(run, sample{d, v})
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
		at := a.s + (half-a.v)/(b.v-a.v)*(b.s-a.s)
		gap := b.s - a.s
		if gap > 2.5 {
			return 0, 0, false
		}
		return at - 0.97*width/2, 0.08 + gap/math.Sqrt(12), true
	}
	return 0, 0, false
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
