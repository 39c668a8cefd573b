package vision

import (
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/rank"
)

// What a measured strip is judged by.
const (
	// A strip's breadth may differ from a stated diameter by breadthMost mm and breadthPart of
	// it, for what a user states: less refuses a guess, more lets another line pass.
	breadthMost, breadthPart = 0.5, 0.25
	// A strip that narrows or broadens by taperPart of its breadth over its length, and by
	// taperSure sigmas, has another shadow in it.
	taperPart, taperSure = 0.5, 4
	sigmaMost            = 1 * angle.Degree // above it a direction is no reading

	// unevenMost is the part of a shadow's depth by which its halves may differ: of sound
	// shadows' none did by more than a tenth, of bodies' that lie on the paper most by more
	// than a half. halfBins are looked at to each side of the axis.
	unevenMost = 0.25
	halfBins   = 5
	// A shadow's core, clear of the edges by edgeInk sigmas of the blur and coreClearPx and corePart of its breadth
	// at least, has one light, the sky's: sound ones' outer thirds differ by 0.05 at most, in logarithms. A thing's that differ
	// by coreUnlike, sureSides sigmas off none, are those of its own unlit side and of the shadow beside it.
	corePart, coreClearPx = 0.3, 1.0
	coreUnlike            = 0.3
	// twoSided is the part of its depth by which a shadow's sides differ where another
	// shadow lies along one of them, at least. edgeBins of edgeBin mm are looked at about
	// each edge.
	twoSided          = 0.1
	edgeBins, edgeBin = 6, 0.4
	// leastTaper is the part of a taper that is taken to turn the axis however alike the
	// sides are.
	leastTaper = 0.3
	// The paper that shows whether an edge is stained lies stainBlur sigmas of the blur beyond it
	// and is stainWide mm broad: nearer is penumbra, farther another place.
	stainBlur, stainWide = 2, 0.6
	// lopsidedRows is the fewest rows that tell a difference between the sides; it is sure
	// at sureSides sigmas, and possible within maybeSides.
	lopsidedRows          = 10
	sureSides, maybeSides = 5, 2
	// noiseLag is how many samples apart the noise is taken, over two pixels, so that texture and
	// slow changes stay out, noiseClear mm beyond the edges.
	noiseLag, noiseClear = 4, 0.8
)

// strip turns the fitted edges into a measurement, or says that they are not a
// rod's shadow. With ErrBowed and ErrTapers it does both.
func (f *stripFit) strip() (*Strip, error) {
	rod := f.rod
	axis := f.axis()
	first, last := math.Inf(1), 0.0
	seen := 0.0
	for i := range f.rows {
		if r := &f.rows[i]; r.ok {
			first, last = min(first, r.s), max(last, r.s)
			seen++
		}
	}
	if len(f.rows) > 1 {
		seen *= f.rows[1].s - f.rows[0].s
	}
	width := f.right.at(axis.mid) - f.left.at(axis.mid)
	// Disagreement beyond the scatter widens the sigma: of the two edges, of the
	// near and the far half (a bow).
	variance := axis.varB
	turned, expected := f.edgesTurned()
	noise := f.flankNoise()
	open := f.ownTaper(axis, turned, expected, noise)
	tapers := f.taper(axis.mid, open, expected)
	variance += tapers + f.stained()
	atLeast := 0.0
	tip, tipSigma, tipSeen := f.findTip(axis)
	if !tipSeen {
		tip, tipSigma, atLeast = f.followStrip(axis)
	}
	turn, cost, unseen, bow := f.bowed(axis, tip, atLeast)
	// What bends both edges alike is the rod, or the paper under it, and no other shadow.
	unlike, straight := math.Sqrt(variance), math.Sqrt(variance-tapers)
	seenSigma := angle.Angle(math.Sqrt(variance + sq(float64(cost))))
	variance += sq(float64(max(cost, unseen)))
	least, most, growthSigma := f.growth()
	st := &Strip{
		Direction:  (f.direction() + angle.Atan2(axis.b, 1) + turn).Bearing(),
		Sigma:      angle.Angle(math.Sqrt(variance)),
		seenSigma:  seenSigma,
		FootOffset: f.frame.offset + axis.at(0),
		FootSigma:  math.Sqrt(axis.varA + variance*axis.mid*axis.mid),
		Width:      width,
		Depth:      f.depth,
		Growth:     [2]float64{least, most}, GrowthSigma: growthSigma,
		From: first, To: last,
		Noise: noise,
		Bow:   bow,
		Head:  f.head, Bare: f.bare, Held: f.held, cast: f.cast, fit: f,
		Length: tip, LengthSigma: tipSigma, AtLeast: atLeast,
	}
	if bow != 0 {
		st.FootOffset += axis.bend * axis.mid * axis.mid
	}
	for i, s := range [2]float64{first, last} {
		st.Axis[i] = f.plate.Project(f.frame.at(s, axis.at(s)))
		st.Left[i] = f.plate.Project(f.frame.at(s, f.left.at(s)))
		st.Right[i] = f.plate.Project(f.frame.at(s, f.right.at(s)))
	}
	switch {
	case seen < leastStrip:
		return nil, ErrNoShadow
	case math.Abs(st.FootOffset) > footMost+2*st.FootSigma:
		return nil, ErrNoShadow
	case rod.DiameterMM > 0 && f.otherBreadth(width, open < math.Abs(turned), last):
		return nil, ErrNoShadow
	case f.uneven(), f.unlikeCore():
		return nil, ErrNoShadow
	case !(st.Sigma < bowedMost) && bow != 0:
		return st, ErrBowed
	case bow == 0 && f.vague(st, math.Sqrt(variance-tapers), straight):
		return nil, ErrNoShadow
	case bow == 0 && f.vague(st, math.Sqrt(variance), unlike),
		open*2*(last-first) > taperPart*width && open > taperSure*math.Sqrt(expected):
		st.seenSigma = angle.Angle(straight)
		if turned > 0 {
			st.Narrows = angle.Angle(math.Sqrt(variance - tapers + open*open))
		}
		return st, ErrTapers
	}
	if rod.NodusMM > 0 {
		st.Nodus, st.NodusSigma = f.findNodus(axis)
	}
	return st, nil
}

// edgesTurned is by how much the two edges are turned off their axis, towards each other, and the variance of that which
// their own sigmas leave to be expected.
func (f *stripFit) edgesTurned() (turned, expected float64) {
	return (f.left.b - f.right.b) / 2, (f.left.varB + f.right.varB) / 4
}

// otherBreadth reports whether the strip's breadth is not the stated diameter's: anywhere from the foot to
// its end where it tapers as the rod is seen to, since that may have been measured anywhere.
func (f *stripFit) otherBreadth(width float64, own bool, last float64) bool {
	off := math.Abs(width - f.rod.DiameterMM)
	if own {
		a, b := f.right.at(0)-f.left.at(0), f.right.at(last)-f.left.at(last)
		off = max(0, min(a, b)-f.rod.DiameterMM, f.rod.DiameterMM-max(a, b))
	}
	return off > breadthMost+breadthPart*f.rod.DiameterMM
}

// vague reports whether a sigma of the direction is none of a reading, or what of it no bow makes, which
// no noise explains, shows two shadows in one.
func (f *stripFit) vague(st *Strip, sigma, unlike float64) bool {
	return !(sigma < float64(sigmaMost)) || unlike > float64(vagueMost) && unlike > vagueNoise*float64(f.noiseSigma(st))
}

// uneven reports whether the strip's two halves differ, as those of a body do that lies
// on the paper: one side of it is lit, along the other lies its own shadow. A shadow is
// the same on both sides, but for what the picture does to all that is dark.
func (f *stripFit) uneven() bool {
	lighter, _ := f.lopsided(halfBins, 0, math.Inf(1), func(width float64, k int) (from, to float64) {
		return width * float64(k) / (2 * halfBins), width * float64(k+1) / (2 * halfBins)
	})
	if math.Abs(lighter) <= unevenMost*f.depth {
		return false
	}
	most := unevenMost
	if ghost := f.ghostToRight(); ghost*lighter < 0 {
		most += math.Abs(ghost)
	}
	return math.Abs(lighter) > most*f.depth
}

// unlikeCore reports whether the two sides of the strip's core have each their own light. A part of what is dark
// anyway is none of the depth, which uneven goes by: ticks show through the shadow beside a thing as through any,
// and it is as blue.
func (f *stripFit) unlikeCore() bool {
	if f.ghost.sure() { // two frames, each with its own edges
		return false
	}
	var odds []float64
	for _, r := range f.goodRows() {
		l, right := f.left.at(r.s), f.right.at(r.s)
		clear := edgeInk*f.sigma(r.s) + coreClearPx/f.pxAcross(r.s)
		core := right - l - 2*clear
		if core < corePart*(right-l) {
			continue
		}
		a, b := f.level(r, l+clear, l+clear+core/3), f.level(r, right-clear-core/3, right-clear)
		if odd := dark(a) - dark(b); !math.IsNaN(odd) {
			odds = append(odds, odd)
		}
	}
	if len(odds) < lopsidedRows {
		return false
	}
	odd := math.Abs(quantile(odds, 0.5))
	sigma := rank.MadSigma * quantile(apart(odds, quantile(odds, 0.5)), 0.5) * math.Sqrt(alikeHues/float64(len(odds)))
	return odd > coreUnlike && odd > sureSides*sigma
}

// ghostToRight is the ghost's part across the strip.
func (f *stripFit) ghostToRight() float64 {
	a, b := f.plate.Project(f.frame.at(scaleAt, 0)), f.plate.Project(f.frame.at(scaleAt, 1))
	long := math.Hypot(b.U-a.U, b.V-a.V)
	return f.ghost.along((b.U-a.U)/long, (b.V-a.V)/long)
}

// taper is what the edges' disagreement turned, whose variance is expected, adds to the
// variance of the direction. Another
// shadow along one side turns that edge and not the other, and there the two sides differ;
// haze about the sun makes a shadow narrower or broader with the distance, the same on
// both sides, and turns nothing.
//
// Haze turns an edge by a part of the blur that it makes: by more than the edge is blurred two shadows part from the
// foot, of a light each, or run together, where nothing is known of a taper, and are as alike on either side. Either
// may be the sun's.
func (f *stripFit) taper(middle, open, expected float64) (variance float64) {
	about := func(_ float64, k int) (from, to float64) {
		from = edgeBin * (float64(k) - edgeBins/2)
		return from, from + edgeBin
	}
	_, near := f.lopsided(edgeBins, 0, middle, about)
	_, far := f.lopsided(edgeBins, middle, math.Inf(1), about)
	part := max(leastTaper, min(1, max(near, far)/(twoSided*f.depth)))
	outward := (f.right.b - f.left.b) / 2
	parts := (outward > 0 || open == -outward) && open*middle > f.sigma(middle) && open*open > sq(taperSure)*expected
	if f.among || parts { // what lies by one edge may be as dark as the shadow
		part = 1
	}
	return part * part * max(0, open*open-expected)
}

// stained is what paper that is not alike along both edges adds to the variance of the
// direction. A smudge or the rim of another shadow darkens the paper under an edge by other than
// what the flanks have it for, and the edge, sought at half the depth, gives way: by
// 2 sqrt(pi) blur (1 - depth/2) / depth for each part of the light, from the model's slope. The
// paper next to both edges shows by how much they differ, and how that turns the axis.
//
// In another shadow's rim the strip's own depth differs from edge to edge as well, since its light
// is that of the sky everywhere: by (1 - depth) of what the paper's light does. Both edges then
// give way to one side, by sqrt(pi) blur / depth for half of that.
func (f *stripFit) stained() (variance float64) {
	var ss, ns, at, rims []float64
	for i := range f.rows {
		row := &f.rows[i]
		if !row.ok || !f.left.keeps(row.s, row.left) || !f.right.keeps(row.s, row.right) {
			continue // what the fits put aside turns nothing
		}
		blur, depth := f.sigma(row.s), f.depthAt(row.s)
		off := stainBlur * blur
		l, r := f.left.at(row.s), f.right.at(row.s)
		at = append(at, row.s)
		rims = append(rims, (1-depth)*row.slant*(r-l)/2*math.Sqrt(math.Pi)*blur/depth)
		d := f.level(row, l-off-stainWide, l-off) - f.level(row, r+off, r+off+stainWide)
		if !math.IsNaN(d) {
			ss, ns = append(ss, row.s), append(ns, d*math.Sqrt(math.Pi)*blur*(1-depth/2)/depth)
		}
	}
	turn, expected := slopeOf(ss, ns)
	rim, _ := slopeOf(at, rims)
	return max(0, turn*turn-expected) + rim*rim
}

// lopsided is by how much the light differs between places that mirror each other about the
// axis, at most: surely, the left one's less the right one's, and possibly. bin gives the
// places, from the edges inwards, mm. It looks at the rows between two distances from the foot.
func (f *stripFit) lopsided(bins int, start, end float64, bin func(width float64, k int) (from, to float64)) (sure, possible float64) {
	sum, square := make([]float64, bins), make([]float64, bins)
	n := 0.0
	for i := range f.rows {
		row := &f.rows[i]
		if !row.ok || row.s < start || row.s > end {
			continue
		}
		l, r := f.left.at(row.s), f.right.at(row.s)
		n++
		for k := range bins {
			from, to := bin(r-l, k)
			d := f.level(row, l+from, l+to) - f.level(row, r-to, r-from)
			if math.IsNaN(d) {
				d = 0
			}
			sum[k] += d
			square[k] += d * d
		}
	}
	if n < lopsidedRows {
		return 0, math.Inf(1)
	}
	for k := range bins {
		off := sum[k] / n
		sigma := math.Sqrt(max(0, square[k]/n-off*off) / n)
		if math.Abs(off) > max(sureSides*sigma, math.Abs(sure)) {
			sure = off
		}
		possible = max(possible, math.Abs(off)+maybeSides*sigma)
	}
	return sure, possible
}

// noiseSigma is the sigma of the direction that white noise alone leaves to a strip (the
// closed form in docs/method.md).
func (f *stripFit) noiseSigma(st *Strip) angle.Angle {
	mid := (st.From + st.To) / 2
	px := f.pxAcross(mid)
	length := (st.To - st.From) * px
	return angle.Angle(st.Noise / st.Depth * math.Sqrt(12*math.Sqrt(math.Pi)*f.sigma(mid)*px/(length*length*length)))
}

// flankNoise is the scatter of neighbouring samples beside the strip, as a part of
// the paper's light, from differences of samples noiseLag apart.
func (f *stripFit) flankNoise() float64 {
	var d []float64
	for i := range f.rows {
		row := &f.rows[i]
		if !row.ok {
			continue
		}
		for k := noiseLag; k < len(row.light); k++ {
			n := f.first + float64(k)*f.step
			if n < f.left.at(row.s)-noiseClear || n-noiseLag*f.step > f.right.at(row.s)+noiseClear {
				if v := math.Abs(row.light[k] - row.light[k-noiseLag]); !math.IsNaN(v) {
					d = append(d, v)
				}
			}
		}
	}
	return rank.MadSigma * quantile(d, 0.5) / math.Sqrt2
}
