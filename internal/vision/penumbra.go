package vision

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
)

// What the fit of a strip's depth and blur goes by.
const (
	// depthMost and depthLeast bound the part of the light that a shadow takes away: at 0 and
	// 1 the fit has no edge to move.
	depthLeast, depthMost = 0.02, 0.999
	sureBlur              = 0.03 // mm: one sigma of the blur at the foot, at least, that an edge may be fitted
	halfRows              = 4    // rows that each half of the strip must have to tell of its blur
	// beyondEdges is how far past the edges a misfit is counted, mm, and misfitRows in how many
	// rows: more cost time, and neighbours are alike.
	beyondEdges, misfitRows = 0.8, 20

	// growthRows is the fewest rows of a half whose blur is measured, in growthParts parts, of
	// which the middle one counts: what holds the foot, or another shadow, blurs one part.
	growthRows, growthParts = 8, 6
	// The scatter of all parts is their root mean square off the middle one of their half, but for the two
	// farthest off, leastScatter, mm squared, at least; ofHalves times that is one sigma of the difference of
	// the middle ones (drawn normal laws: of a median absolute deviation of six parts by themselves
	// chance made one in sixteen surely differ by four sigmas).
	leastScatter, ofHalves = 6e-4, 1.08
	// unevenFocus is the part by which the camera's own blur may be less at the strip's end.
	unevenFocus = 0.02
	// A blur is sought in blurHalf steps of blurRatio to each side of the one expected: a
	// factor of two.
	blurHalf, blurRatio = 6, 1.12
)

// blurTrials are the factors by which one turn of the fit may change the blur: in two turns
// it comes to a factor of three either way.
var blurTrials = [7]float64{0.6, 0.75, 0.88, 1, 1.13, 1.33, 1.7}

// refineLight fits the depth and the blur, each in the nearer and the farther half, to
// the rows as they stand. Haze about the sun fills a shadow the more, the farther it is
// cast: edges sought at one depth would taper.
func (f *stripFit) refineLight() {
	first, last := math.Inf(1), 0.0
	for i := range f.rows {
		if r := &f.rows[i]; r.ok {
			first, last = min(first, r.s), max(last, r.s)
		}
	}
	mid := (first + last) / 2
	var halves [2]struct {
		s, n, cc, cd float64
		rows         []*profileRow
	}
	for i := range f.rows {
		row := &f.rows[i]
		if !row.ok {
			continue
		}
		h := &halves[0]
		if row.s > mid {
			h = &halves[1]
		}
		h.s += row.s
		h.n++
		h.rows = append(h.rows, row)
		s, left, right := f.sigma(row.s), f.left.at(row.s), f.right.at(row.s)
		for k, v := range row.light {
			if math.IsNaN(v) {
				continue
			}
			n := f.first + float64(k)*f.step
			c := cdf((n-left)/s) * cdf((right-n)/s)
			h.cc += c * c
			h.cd += c * (1 - v)
		}
	}
	if cc := halves[0].cc + halves[1].cc; cc > 0 {
		f.depth, f.fade = max(depthLeast, min(depthMost, (halves[0].cd+halves[1].cd)/cc)), 0
	}
	var at, square [2]float64
	for h := range halves {
		if halves[h].n < halfRows {
			return
		}
		at[h] = halves[h].s / halves[h].n
	}
	if a, b := &halves[0], &halves[1]; a.cc > 0 && b.cc > 0 {
		f.middle = (a.cc*at[0] + b.cc*at[1]) / (a.cc + b.cc)
		f.fade = max(0, (a.cd/a.cc-b.cd/b.cc)/(at[1]-at[0])) // no light makes it deeper
	}
	for h := range halves {
		s0 := f.sigma(at[h])
		best, cost := s0, math.Inf(1)
		for _, m := range blurTrials {
			if c := f.misfit(halves[h].rows, s0*m, 0); c < cost {
				best, cost = s0*m, c
			}
		}
		square[h] = best * best
	}
	f.grow = max(0, (square[1]-square[0])/(at[1]*at[1]-at[0]*at[0]))
	f.blur = math.Sqrt(max(sureBlur*sureBlur, square[0]-f.grow*at[0]*at[0]))
}

// depthAt is the part of the light that the shadow takes away at a distance from the foot.
func (f *stripFit) depthAt(s float64) float64 {
	return max(depthLeast, min(depthMost, f.depth-f.fade*(s-f.middle)))
}

// misfit is the sum of squares over the edges of some twenty rows for one blur; side is that of the
// edge that counts, left where it is negative, 0 for both.
func (f *stripFit) misfit(rows []*profileRow, sigma, side float64) (sum float64) {
	by := 1 / sigma
	for i := 0; i < len(rows); i += max(1, len(rows)/misfitRows) {
		row := rows[i]
		l, r, depth := f.left.at(row.s), f.right.at(row.s), f.depthAt(row.s)
		from, to := l-beyondEdges, r+beyondEdges
		if side < 0 {
			to = (l + r) / 2
		} else if side > 0 {
			from = (l + r) / 2
		}
		first, last := max(0, int(math.Ceil((from-f.first)/f.step))), min(len(row.light)-1, int(math.Floor((to-f.first)/f.step)))
		for k := first; k <= last; k++ {
			v, n := row.light[k], f.first+float64(k)*f.step
			if math.IsNaN(v) {
				continue
			}
			e := v - 1 + depth*cdf((n-l)*by)*cdf((r-n)*by)
			sum += e * e
		}
	}
	return sum
}

// growth measures by how much the variance of the edges' blur grows with the square
// of the distance from the foot, per mm squared, from its nearer and farther half.
//
// Of a blur that is the camera's own the breadth on the paper changes with the scale, so
// that from the blur at the foot a growth follows without any penumbra; how much of the
// blur is the camera's is not told, and so least and most bound what is left.
func (f *stripFit) growth() (least, most, sigma float64) {
	var near, far []*profileRow
	axis := f.axis()
	for i := range f.rows {
		switch r := &f.rows[i]; {
		case !r.ok:
		case r.s < axis.mid:
			near = append(near, r)
		default:
			far = append(far, r)
		}
	}
	if len(near) < growthRows || len(far) < growthRows {
		return 0, 0, math.Inf(1)
	}
	off := make([]float64, 0, 2*growthParts)
	variance := func(rows []*profileRow) (v, at float64) {
		for _, r := range rows {
			at += r.s / float64(len(rows))
		}
		// Blur in small parts of the half: the middle one, and how far the others are off.
		var all [growthParts]float64
		for k := range all {
			all[k] = sq(f.blurOf(rows[k*len(rows)/growthParts:(k+1)*len(rows)/growthParts], f.sigma(at)))
		}
		v = quantile(all[:], 0.5)
		off = append(off, apart(all[:], v)...)
		return v, at
	}
	v0, a0 := variance(near)
	v1, a1 := variance(far)
	slices.Sort(off)
	scatter := max(floats.Norm(off[:len(off)-2], 2)/math.Sqrt(float64(len(off)-2)), leastScatter)
	span := a1*a1 - a0*a0
	growth, camera := (v1-v0)/span, f.blur*f.blur*(sq(f.pxAcross(0)/f.pxAcross(a1))-sq(f.pxAcross(0)/f.pxAcross(a0)))/span
	return growth - max(camera, 0), growth - min(camera, 0) + unevenFocus*f.blur*f.blur/span, ofHalves * scatter / span
}

// apart returns how far values lie from one.
func apart(vs []float64, from float64) []float64 {
	out := make([]float64, len(vs))
	for i, v := range vs {
		out[i] = math.Abs(v - from)
	}
	return out
}

// blurOf returns the blur that fits some rows best, within a factor of 2 of the one given:
// the lowest of a few, and the vertex of the parabola through it and its neighbours.
func (f *stripFit) blurOf(rows []*profileRow, about float64) float64 {
	var cost [2*blurHalf + 1]float64
	least, side := 0, f.cleanSide()
	for i := range cost {
		cost[i] = f.misfit(rows, about*math.Pow(blurRatio, float64(i-blurHalf)), side)
		if cost[i] < cost[least] {
			least = i
		}
	}
	at := float64(least - blurHalf)
	if least > 0 && least < len(cost)-1 {
		at += vertex(cost[least-1], cost[least], cost[least+1])
	}
	return about * math.Pow(blurRatio, at)
}

// vertex is where the parabola through three neighbours has its vertex, in steps from the middle one.
func vertex(a, b, c float64) float64 {
	if bend := a - 2*b + c; bend != 0 {
		return (a - c) / (2 * bend)
	}
	return 0
}

// cleanSide is that of the edge which a ghost leaves alone, negative for the left one; 0 where it leaves
// both or there is none: half light along the other is no penumbra.
func (f *stripFit) cleanSide() float64 {
	h := f.ghost
	if across := f.ghostToRight(); h.sure() && math.Abs(across) > ghostFacing*math.Hypot(h.u, h.v) {
		return -across
	}
	return 0
}

// pxAcross is the scale across the strip at a distance from the foot, px/mm.
func (f *stripFit) pxAcross(s float64) float64 {
	a, b := f.plate.Project(f.frame.at(s, -1)), f.plate.Project(f.frame.at(s, 1))
	return math.Hypot(b.U-a.U, b.V-a.V) / 2
}

func sq(x float64) float64 { return x * x }
