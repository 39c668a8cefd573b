package vision

import (
	"math"

	"shadowread/internal/angle"
)

// What measuring one candidate goes by. Lengths are mm on the paper.
const (
	scaleAt = 30.0 // from the foot, where a strip's scale is taken: the middle of the dial
	// A first look, a row every firstEvery px and firstTurns turns of the fit, gives the
	// breadth; the second measures. More turns or rows cost time in proportion.
	firstEvery, firstTurns = 2.0, 3
	lastEvery, lastTurns   = 1.0, 4
	// The flanks, which give each row its paper's light, are flankWide broad and begin at
	// firstInner from the axis, or firstGap beyond a stated rod's edge; in the second look
	// innerGap or innerBlur sigmas of the blur at blurAt beyond the edges. Nearer ones take
	// penumbra for paper, farther ones meet more of other shadows.
	flankWide             = 1.8
	firstInner, firstGap  = 2.4, 1.0
	innerGap, innerBlur   = 0.9, 2.5
	blurAt                = 50.0
	firstSeen, firstClear = 2.0, 0.4 // nothing may hide the axis to this far, or this far beyond a stated rod's edge
	clearGap              = 0.35     // the same beyond the edges in the second look
	shortOfRing           = 0.6      // the clear zone's end is left out by it: the ring's blur
	firstBlur             = 0.8      // px: one sigma of an edge to begin with
	leastBlur             = 0.05     // and at least
	firstGrowth           = 1e-5     // of its square with the distance's: twice the sun's least (leastGrowth)
	// leastRows is the fewest rows, or edges, that a line is fitted through. Where fewer are
	// left, and half of all were hidden, the rod's image is to blame.
	leastRows = 6
	// What is narrower or broader is not taken for a rod's shadow.
	narrowest, broadest = 0.4, 12.0

	// The first profile is the median of rows up to firstReach from the foot, or firstSpan
	// from the nearest seen: where every shadow is. It takes leastMedian rows a column, and
	// is smoothed over smoothReach samples to each side.
	firstReach, firstSpan    = 30.0, 15.0
	leastMedian, smoothReach = 4, 2
	axisReach                = 1.2  // from the candidate's axis, within which the dark must have its middle
	leastDark                = 0.04 // part of the light that a shadow takes away, at least: fainter ones are given up

	// A candidate is laid along the middles of the dark about the darkest places of its rows, means
	// over coreHalf to each side, within recentreReach; they count if they keep recentreDepth of its
	// depth. It is left where leastPlaces do not agree, or where they turn it by recentreTurn, as
	// another line does.
	recentreReach = 3.2
	coreHalf      = 0.6
	recentreDepth = 0.4
	leastPlaces   = 8
	recentreTurn  = 0.15 // tangent
	recentreEvery = 2.0  // px from row to row
)

// measureStrip measures one candidate. It returns ErrNoShadow when the line does
// not look like a rod's shadow and ErrRodHides when the rod's image leaves too
// little of it; with ErrBowed and ErrTapers, and with no other error, the strip.
func (q *search) measureStrip(r ray) (*Strip, error) {
	f := &stripFit{search: q, frame: newFrame(r.dir, r.offset)}
	least, most := q.plate.Scale(f.frame.at(scaleAt, 0))
	px := math.Sqrt(least * most)
	inner := max(firstInner, q.rod.DiameterMM/2+firstGap)
	edges := max(firstSeen, q.rod.DiameterMM/2+firstClear) // n within which every sample must be seen
	to := q.sheet.Dial.ClearZone[1] - shortOfRing
	// A first look gives the width; a second, with the flanks set to it, measures.
	width := q.rod.DiameterMM
	every, turns := firstEvery, firstTurns
	if breadth := f.recentre(r, to); breadth > 0 {
		inner = max(inner, breadth/2+firstGap)
		f.search = q.asThick(min(breadth, usualRod))
	}
	for pass := range 2 {
		if pass == 1 {
			every, turns = lastEvery, lastTurns
			inner = width/2 + max(innerGap, innerBlur*f.sigma(blurAt))
			edges = width/2 + clearGap
			f.search = q.asThick(width)
		}
		f.sampleRows(shadowStart, to, inner+flankWide, edges, every)
		total := len(f.rows)
		visible := f.good()
		f.keepBare()
		f.normalise(inner)
		if !f.start(r, firstBlur/px) {
			if visible < total/2 {
				return nil, ErrRodHides
			}
			return nil, ErrNoShadow
		}
		f.cutEnd()
		f.cutCap()
		if f.good() < leastRows {
			if visible < total/2 {
				return nil, ErrRodHides
			}
			return nil, ErrNoShadow
		}
		for iter := range turns {
			f.measureEdges()
			f.left = f.fitEdgeLine(func(r *profileRow) float64 { return r.left }, iter < turns-1)
			f.right = f.fitEdgeLine(func(r *profileRow) float64 { return r.right }, iter < turns-1)
			if f.left.used < leastRows || f.right.used < leastRows {
				return nil, ErrNoShadow
			}
			if iter < turns-1 {
				f.refineLight()
			}
		}
		axis := f.axis()
		width = f.right.at(axis.mid) - f.left.at(axis.mid)
		if !(width > narrowest && width < broadest) {
			return nil, ErrNoShadow
		}
		// The second pass runs along the measured axis.
		if pass == 0 {
			off := f.frame.offset + axis.at(0)
			f.frame = newFrame(f.direction()+angle.Atan2(axis.b, 1), off)
		}
	}
	return f.strip()
}

// asThick is the search with the rod's image masked for one of a thickness, mm, where none was
// stated: a rod is as thick as its shadow is broad.
func (q *search) asThick(width float64) *search {
	if q.rod.DiameterMM > 0 || q.rod.Hangs {
		return q
	}
	again, img := *q, *q.img
	img.radius = width/2 + rodMargin
	again.img = &img
	return &again
}

// start finds first values for the model from the median profile of the rows
// nearest to the foot, where every shadow is.
func (f *stripFit) start(r ray, blur float64) bool {
	samples := len(f.rows[0].light)
	profile := make([]float64, samples)
	near := math.Inf(1)
	for i := range f.rows {
		if f.rows[i].ok {
			near = min(near, f.rows[i].s)
		}
	}
	var col []float64
	for k := range profile {
		col = col[:0]
		for i := range f.rows {
			row := &f.rows[i]
			if row.ok && row.s < min(max(firstReach, near+firstSpan), r.length-1) && !math.IsNaN(row.light[k]) {
				col = append(col, row.light[k])
			}
		}
		if len(col) < leastMedian {
			profile[k] = math.NaN()
			continue
		}
		profile[k] = quantile(col, 0.5)
	}
	// The darkest place near the axis and the half-depth crossings to both sides.
	low, at := math.Inf(1), -1
	smooth := smoothed(profile, smoothReach)
	for k, v := range smooth {
		if n := f.first + float64(k)*f.step; math.Abs(n) < axisReach && v < low {
			low, at = v, k
		}
	}
	if at < 0 || low > 1-leastDark {
		return false
	}
	half := (1 + low) / 2
	a, b := at, at
	for a > 0 && smooth[a] < half {
		a--
	}
	for b < samples-1 && smooth[b] < half {
		b++
	}
	if !(smooth[a] >= half) || !(smooth[b] >= half) {
		return false
	}
	f.left = fitLine{a: f.first + float64(a)*f.step}
	f.right = fitLine{a: f.first + float64(b)*f.step}
	f.depth = 1 - low
	f.blur, f.grow, f.fade = max(blur, leastBlur), firstGrowth, 0
	return true
}

func smoothed(xs []float64, reach int) []float64 {
	out := make([]float64, len(xs))
	for i := range xs {
		s, n := 0.0, 0
		for k := max(0, i-reach); k <= min(len(xs)-1, i+reach); k++ {
			if !math.IsNaN(xs[k]) {
				s += xs[k]
				n++
			}
		}
		out[i] = s / float64(n) // NaN when nothing is seen
	}
	return out
}

// recentre lays the frame along the middles of the rows' dark: a ray beside the
// rod's image is known to a few degrees only, since half of its dark is masked. It returns the
// dark's breadth, mm, 0 where most rows do not show both its edges.
//
// Then the darkest places stand for the middles. They may lie by one edge, and do in a
// telephone's picture, whose sharpening darkens the rims of what is dark.
func (f *stripFit) recentre(r ray, to float64) (breadth float64) {
	f.sampleRows(shadowStart, min(to, r.length-0.5), max(recentreReach, r.flank)+1, 0, recentreEvery)
	span := max(1, int(coreHalf/f.step))
	var ss, ns, at, middles, widths []float64
	for i := range f.rows {
		row := &f.rows[i]
		paper := f.lit(f.frame.at(row.s, 0))
		low, darkest := (1-recentreDepth*r.depth)*paper, -1
		for k := span; k+span < len(row.light); k++ {
			n := f.first + float64(k)*f.step
			if math.Abs(n) > recentreReach {
				continue
			}
			if v := f.level(row, n-coreHalf, n+coreHalf); v < low {
				low, darkest = v, k
			}
		}
		if darkest < 0 {
			continue
		}
		ss, ns = append(ss, row.s), append(ns, f.first+float64(darkest)*f.step)
		light := smoothed(row.light, smoothReach)
		if from, to := edgesAbout(light, darkest, (paper+low)/2); from >= 0 && to < len(light) && !math.IsNaN(light[from]+light[to]) {
			at, middles = append(at, row.s), append(middles, f.first+float64(from+to)/2*f.step)
			widths = append(widths, float64(to-from)*f.step)
		}
	}
	if 2*len(middles) > len(ns) {
		ss, ns, breadth = at, middles, quantile(widths, 0.5)
	}
	if l := robustLine(ss, ns); l.used >= leastPlaces && math.Abs(l.b) < recentreTurn {
		f.frame = newFrame(r.dir+angle.Atan2(l.b, 1), f.frame.offset+l.at(0))
	}
	return breadth
}

// edgesAbout returns the nearest places to both sides of one that are unseen or lighter than
// half; -1 and the number of places where there are none.
func edgesAbout(light []float64, at int, half float64) (from, to int) {
	for from, to = at, at; from >= 0 && light[from] <= half; from-- {
	}
	for to < len(light) && light[to] <= half {
		to++
	}
	return from, to
}
