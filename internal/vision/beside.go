package vision

import "math"

// What runs beside a strip.
const (
	// From pairedClear sigmas of the blur and pairedClearPx beyond the edges to pairedMost, mm, every
	// pairedEvery, the light to one side is held against that to the other, each over its paper's, from there to
	// pairedPaper. Something runs along the strip where in all of pairedParts parts, of which pairedSeen are
	// seen at least, they differ alike by pairedOdd and pairedNoise sigmas, and by half as much pairedEdge
	// farther on or nearer.
	pairedClear, pairedClearPx           = 3.0, 2.0
	pairedMost, pairedPaper, pairedEvery = 6.5, 9.0, 0.1
	pairedParts, pairedSeen              = 8, 6
	pairedOdd, pairedNoise               = 0.06, 5
	pairedEdge                           = 1.0
	pairedLooks                          = 6 // rows of a part, and places of its paper, at least
	// A fold goes on: pairedFar places, each pairedStep, from pairedFrom beyond the line's end, mm, differ as much within
	// pairedEdge of where it would run.
	pairedFrom, pairedFar, pairedStep = 3.0, 20, 0.5
)

// runsBeside reports whether something runs along one side of the strip, at the same distance all
// along: of a lit thing the dark line is the shade by its one edge, and the other edge runs beside it.
// Beside a shadow is paper; what the camera, sharpening and haze make of that is alike to both sides.
func (f *stripFit) runsBeside(axis fitLine, st *Strip) bool {
	rows := f.goodRows()
	if len(rows) < pairedParts*pairedLooks {
		return false
	}
	last := rows[len(rows)-1].s
	from := (f.right.at(axis.mid)-f.left.at(axis.mid))/2 + pairedClear*f.sigma(last) + pairedClearPx/f.pxAcross(last)
	least := max(pairedOdd, pairedNoise*st.Noise/math.Sqrt(float64(len(rows)/pairedParts)))
	places := max(0, int((pairedMost-from)/pairedEvery))
	darker, brighter, seen := make([]int, places), make([]int, places), make([]int, places)
	var odds []func(n float64) float64 // of each part: how far n mm beside the axis differ
	for b := range pairedParts {
		part := rows[b*len(rows)/pairedParts : (b+1)*len(rows)/pairedParts]
		left, right := f.besidePaper(part, axis, -1), f.besidePaper(part, axis, 1)
		if math.IsNaN(left + right) {
			continue
		}
		odd := func(n float64) float64 {
			return f.lightAlong(part, axis, n)/right - f.lightAlong(part, axis, -n)/left
		}
		odds = append(odds, odd)
		open := false // a place where all parts so far differ alike
		for k := range seen {
			if max(darker[k], brighter[k]) < seen[k] {
				continue
			}
			v := odd(from + float64(k)*pairedEvery)
			if math.IsNaN(v) {
				open = true
				continue
			}
			seen[k]++
			if v > least {
				brighter[k]++
			} else if v < -least {
				darker[k]++
			}
			open = open || max(darker[k], brighter[k]) == seen[k]
		}
		if !open {
			return false
		}
	}
	for k, n := range seen {
		at := from + float64(k)*pairedEvery
		if n >= pairedSeen && max(darker[k], brighter[k]) == n && (gone(odds, at, pairedEdge) || at-pairedEdge >= from && gone(odds, at, -pairedEdge)) {
			return !f.foldAt(axis, st, at, math.Copysign(least, odds[0](at)))
		}
	}
	return false
}

// foldAt reports whether what runs beside the strip so far from its axis goes on beyond the strip's end, as no
// thing does whose shade the strip is: the sides differ by as much there, and as least does.
func (f *stripFit) foldAt(axis fitLine, st *Strip, at, least float64) bool {
	if st.Length == 0 {
		return false
	}
	part := make([]*profileRow, pairedFar)
	for k := range part {
		part[k] = &profileRow{s: st.Length + st.Width/2 + 2*st.Head + pairedFrom + float64(k)*pairedStep}
	}
	left, right := f.besidePaper(part, axis, -1), f.besidePaper(part, axis, 1)
	for n := at - pairedEdge; n < at+pairedEdge; n += pairedEvery {
		if odd := f.lightAlong(part, axis, n)/right - f.lightAlong(part, axis, -n)/left; odd/least > 1 {
			return true
		}
	}
	return false
}

// gone reports whether what differs at a place has half gone a step farther on: a thing has an edge
// there, and the rim of another shadow goes over gradually.
func gone(odds []func(n float64) float64, at, step float64) bool {
	n := 0
	for _, odd := range odds {
		if math.Abs(odd(at+step)) < math.Abs(odd(at))/2 {
			n++
		}
	}
	return n >= pairedSeen
}

// besidePaper is the light of the paper to one side of some rows; NaN where too little is seen, or
// another shadow lies.
func (f *stripFit) besidePaper(part []*profileRow, axis fitLine, side float64) float64 {
	var vs []float64
	for n := pairedMost; n < pairedPaper; n += pairedEvery {
		if v := f.lightAlong(part, axis, side*n); !math.IsNaN(v) {
			vs = append(vs, v)
		}
	}
	if len(vs) < pairedLooks {
		return math.NaN()
	}
	if paper := quantile(vs, 0.5); paper > litPaper {
		return paper
	}
	return math.NaN()
}

// lightAlong is the median light n mm beside the axis in some rows; NaN where it is seen in less than half.
func (f *stripFit) lightAlong(part []*profileRow, axis fitLine, n float64) float64 {
	var vs []float64
	for _, r := range part {
		p := f.frame.at(r.s, axis.follow(r.s)+n)
		if v := f.light(p); !math.IsNaN(v) && !f.hides(p) {
			vs = append(vs, v)
		}
	}
	if 2*len(vs) < len(part) {
		return math.NaN()
	}
	return quantile(vs, 0.5)
}
