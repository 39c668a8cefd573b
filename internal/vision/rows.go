package vision

import (
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/calib"
	"shadowread/internal/rank"
)

// What the rows of a strip are sampled and divided by.
const (
	// acrossStep is from one sample across to the next, px: half a pixel leaves nothing out
	// that bilinear interpolation shows, and costs twice a pixel's time.
	acrossStep = 0.5
	// leastSeen is one over the part of a mean's samples that must be seen.
	leastSeen = 3
	// The paper's light beside each row is a running median over flankReach rows to each side:
	// dirt is less, the light's slow changes are more.
	flankReach = 7
	// A row is put aside where one flank has less than evenFlanks of the other's light
	// (another shadow's edge, dirt) or less than litFlanks of the dial's (a large shadow). Nearer
	// to 1 loses strips in the penumbra of others, nearer to 0 lets their slope turn the edges.
	evenFlanks, litFlanks = 0.7, 0.6
	// Where steadyTenths tenths of the rows left have flanks alike within steadyFlanks, the others
	// lie by a shadow's rim, which bends the light as no straight line between the flanks does: one
	// that comes nearer outward leaves less than half of them.
	steadyFlanks, steadyTenths = 0.1, 4
	// leastOfMedian is the fewest places that a running median takes where its own is unseen.
	leastOfMedian = 3
)

// profileRow is the light across the strip at one distance from the foot, divided
// by the paper's light beside it.
type profileRow struct {
	s     float64   // mm from the foot
	light []float64 // at n = first + k*step; NaN where unseen
	// Edges in n, mm, and whether they could be measured.
	left, right float64
	ok          bool
	slant       float64 // part by which the paper grows lighter, for each mm to the right
}

// stripFit is the work space of one measurement.
type stripFit struct {
	*search
	frame frame
	step  float64 // mm between samples across
	first float64 // n of the first sample
	rows  []profileRow
	// The model: both edges as lines in s, the depth and the blur.
	left, right fitLine
	depth       float64 // at middle
	// fade is how much of the depth is lost for each mm beyond middle, mm from the foot.
	fade, middle float64
	head         float64 // half width of the shadow's broader end, mm
	tip          tipPlace
	bare         bool    // its broader end would be seen, and is none
	cast         bool    // it takes the same part of the light from darker ground beyond the paper
	held         bool    // it begins with the broader shadow of what holds the foot
	blur, grow   float64 // sigma of the edge at the foot, mm, and its growth squared per mm squared
}

// sampleRows reads the light in a window of half width half about the frame's axis
// between two distances from the foot, a row every so many pixels. Nothing may
// hide what lies within edge of the axis.
func (f *stripFit) sampleRows(from, to, half float64, edge, every float64) {
	least, most := f.plate.Scale(f.frame.at((from+to)/2, 0))
	scale := math.Sqrt(least * most)
	ds := every / scale
	f.step = acrossStep / scale
	samples := 2*int(half/f.step) + 1
	f.first = -float64(samples/2) * f.step
	f.rows = f.rows[:0]
	for s := from; s <= to; s += ds {
		a := f.plate.Project(f.frame.at(s, f.first))
		b := f.plate.Project(f.frame.at(s, 0))
		c := f.plate.Project(f.frame.at(s, -f.first))
		row := profileRow{s: s, light: make([]float64, samples)}
		blocked := false
		for k := range row.light {
			n := f.first + float64(k)*f.step
			// The map bends so little over a few millimetres that a parabola
			// through three points is exact to thousandths of a pixel.
			t := n / -f.first // -1..1
			qa, qb, qc := t*(t-1)/2, 1-t*t, t*(t+1)/2
			q := calib.Pixel{U: qa*a.U + qb*b.U + qc*c.U, V: qa*a.V + qb*b.V + qc*c.V}
			if !f.g.contains(q, 1) || f.hides(f.frame.at(s, n)) {
				row.light[k] = math.NaN()
				if math.Abs(n) < edge {
					blocked = true
				}
				continue
			}
			row.light[k] = f.g.light(q.U, q.V)
		}
		row.ok = !blocked
		f.rows = append(f.rows, row)
	}
}

// level is the mean of the samples with n in [a, b]; NaN when under a third (leastSeen) is seen.
func (f *stripFit) level(r *profileRow, a, b float64) float64 {
	i, j := int(math.Ceil((a-f.first)/f.step)), int((b-f.first)/f.step)
	i, j = max(i, 0), min(j, len(r.light)-1)
	sum, n := 0.0, 0
	for k := i; k <= j; k++ {
		if v := r.light[k]; !math.IsNaN(v) {
			sum += v
			n++
		}
	}
	if n == 0 || leastSeen*n < j-i+1 {
		return math.NaN()
	}
	return sum / float64(n)
}

// normalise divides every row by the light of the paper to both sides, smoothed
// along the strip, and puts rows aside whose flanks differ (another shadow's edge,
// dirt) or are dark (inside a large shadow). inner is where the flanks begin.
func (f *stripFit) normalise(inner float64) {
	half := -f.first
	n := len(f.rows)
	l, r := make([]float64, n), make([]float64, n)
	for i := range f.rows {
		row := &f.rows[i]
		l[i], r[i] = f.level(row, -half, -inner), f.level(row, inner, half)
	}
	ls, rs := runningMedian(l, flankReach), runningMedian(r, flankReach)
	uneven := make([]float64, n)
	even, all := 0, 0
	for i := range f.rows {
		row := &f.rows[i]
		a, b := ls[i], rs[i]
		if math.IsNaN(a) {
			a = b
		} else if math.IsNaN(b) {
			b = a
		}
		paper := f.lit(f.frame.at(row.s, 0))
		uneven[i] = 1 - min(a, b)/max(a, b)
		if math.IsNaN(a) || uneven[i] > 1-evenFlanks || min(a, b) < litFlanks*paper {
			row.ok = false
			continue
		}
		if row.ok {
			if all++; uneven[i] < steadyFlanks {
				even++
			}
		}
		mid := (half + inner) / 2
		row.slant = (b - a) / (a + b) / mid
		for k := range row.light {
			t := (f.first + float64(k)*f.step) / mid
			row.light[k] /= (a+b)/2 + (b-a)/2*max(-1, min(1, t))
		}
	}
	if !f.steady || !tenths(even, all, steadyTenths) {
		return
	}
	for i := range f.rows {
		if uneven[i] >= steadyFlanks {
			f.rows[i].ok = false
		}
	}
}

func runningMedian(xs []float64, reach int) []float64 {
	out := make([]float64, len(xs))
	var w []float64
	for i := range xs {
		w = w[:0]
		for k := max(0, i-reach); k <= min(len(xs)-1, i+reach); k++ {
			if !math.IsNaN(xs[k]) {
				w = append(w, xs[k])
			}
		}
		if len(w) == 0 || math.IsNaN(xs[i]) && len(w) < leastOfMedian {
			out[i] = math.NaN()
			continue
		}
		out[i] = rank.Select(w, len(w)/2)
	}
	return out
}

func (f *stripFit) good() (n int) {
	for i := range f.rows {
		if f.rows[i].ok {
			n++
		}
	}
	return n
}

// goodRows are those that count, from the foot outward.
func (f *stripFit) goodRows() (good []*profileRow) {
	for i := range f.rows {
		if f.rows[i].ok {
			good = append(good, &f.rows[i])
		}
	}
	return good
}

func (f *stripFit) lastGood() (s float64) {
	for i := range f.rows {
		if f.rows[i].ok {
			s = max(s, f.rows[i].s)
		}
	}
	return s
}

func (f *stripFit) firstGood() float64 {
	for i := range f.rows {
		if f.rows[i].ok {
			return f.rows[i].s
		}
	}
	return 0
}

func (f *stripFit) direction() angle.Angle { return angle.Clockwise(f.frame.u.X, f.frame.u.Y) }
