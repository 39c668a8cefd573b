package vision

import (
	"math"

	"gonum.org/v1/gonum/stat"
)

// Where a shadow's end is looked for. Lengths are mm on the paper.
const (
	// faceHalf is half the side of the printed face: beyond it the page may carry type, and
	// the paper may end.
	faceHalf      = 88.0
	insidePicture = 3 // px from the picture's border

	// On the face: the look starts tipBefore before the last good row, its core is tipCore of the
	// breadth to each side. The light must be off half the depth by plainDepth of it on the
	// mean of leastNext looks from nextFrom to nextUntil before and after, and the end lies
	// between looks no more than tipGap apart.
	tipBefore           = 4.0
	tipCore             = 0.2
	plainDepth          = 0.25
	leastNext           = 2
	nextFrom, nextUntil = 0.5, 2.5
	tipGap              = 2.5
	// A flat tip's shadow ends in an arc, which the middle two fifths of the breadth meet at
	// arcPart of the half diameter; flatSigma is what stays of that.
	arcPart, flatSigma = 0.97, 0.15
	// A dark end broader than headFrom of the breadth to each side is a head's: of a ball of
	// radius R whose top is the tip the shadow ends R tan(a/2) beyond the tip's, a being the
	// altitude; headPart and headSigma span 20 to 60 degrees. Of a nail's flat head, a cork or a
	// bolt's it is the whole of R: broadEnd spans these too.
	headFrom                = 0.75
	headPart, headSigma     = 0.36, 0.2
	broadEnd, broadEndSigma = 0.6, 0.3
	// Heads are looked for over headStretch before the end, but for headStep, every headStep,
	// and to headWidest at each side in steps of headAcross: broader is another shadow.
	headStretch, headStep = 14.0, 0.4
	// The dark of a bare rod reaches bareBroad of the breadth to each side; where it does so over
	// bareTip, mm, and bareHalves half breadths, but for the first, no head is on the tip.
	bareBroad, bareTip, bareHalves = 0.6, 2.5, 1.5
	// Where nothing tells a flat tip from a small ball, of which the shadow ends 0.27 to 0.54
	// breadths beyond the axis's, the end lies anyTip of the breadth beyond, with a sigma.
	anyTip, anyTipSigma    = 0.42, 0.1
	headWidest, headAcross = 11.0, 0.2
	// A point's shadow narrows: the dark is not fullPart of half the breadth until pointFrom breadths and
	// pointMore, mm, before the end, looked for over pointStretch. The tip's shadow, be the point sharp
	// or blunt, lies anywhere from the end that is seen, where the dark is still as broad as the core,
	// to where the sides, by leastSides looks, meet: no more than pointMost times as far as they are seen.
	fullPart, pointFrom, pointMore = 0.9, 0.4, 0.4
	pointStretch, leastSides       = 45.0, 4
	pointMost                      = 2.0
	// A strip is seen again over onAgain, with paper onBeside beyond its edges. Dark over lyingDark
	// within lyingReach of the end is the shadow of a thing that lies on the strip there: what
	// is as bright as paper hides it. That is as sharp as what lies there: lyingRim before it
	// no more than plainDepth of the depth is missing.
	onAgain, onBeside               = 4.0, 1.4
	alikeSides                      = 0.15
	lyingDark, lyingReach, lyingRim = 2.0, 12.0, 1.5
	// Of a short row of brightRow places the quantile brightUpper is taken, of leastBright that
	// are seen: between ticks and through numerals it is still paper.
	brightRow, leastBright = 9, 4
	brightUpper            = 0.75
)

// findTip follows the measured strip outward to where its middle turns light again
// and returns the distance from the foot's perpendicular to the shadow of the axis's
// tip. The strip of a rod with a flat top ends half a diameter beyond that shadow,
// in an arc. ok is false when the end is off the face, cannot be told from ink, or
// is another shadow's.
func (f *stripFit) findTip(axis fitLine) (length, sigma float64, ok bool) {
	least, most := f.plate.Scale(f.frame.at(axis.mid, 0))
	step := acrossStep / math.Sqrt(least*most)
	width := f.right.at(axis.mid) - f.left.at(axis.mid)
	type sample struct {
		s, v float64
	}
	var run []sample
	for d := f.lastGood() - tipBefore; ; d += step {
		mid := axis.follow(d)
		p := f.frame.at(d, mid)
		if math.Abs(p.X) > faceHalf || math.Abs(p.Y) > faceHalf || !f.g.contains(f.plate.Project(p), insidePicture) {
			break
		}
		if printed(f.sheet, p, width) {
			continue
		}
		if v := f.coreLight(d, axis, width); !math.IsNaN(v) {
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
			case r.s > a.s-nextUntil && r.s < a.s-nextFrom:
				before, nb = before+r.v, nb+1
			case r.s > b.s+nextFrom && r.s < b.s+nextUntil:
				after, na = after+r.v, na+1
			}
		}
		if nb < leastNext || na < leastNext || before/float64(nb) > half-plainDepth*f.depth || after/float64(na) < half+plainDepth*f.depth {
			continue
		}
		end, gap := a.s+(half-a.v)/(b.v-a.v)*(b.s-a.s), b.s-a.s
		if gap > tipGap || f.goesOn(end, axis, half, width) {
			return 0, 0, false
		}
		top, bare, ok := f.capRadius(axis, end, half, width)
		switch {
		case !ok:
			return 0, 0, false
		case top > headFrom*width:
			f.head = top
			f.tip = tipPlace{end - broadEnd*top, broadEndSigma*top + gap}
			return end - headPart*top, headSigma*top + gap, true
		}
		if beyond, ok := f.point(axis, end, half, width); ok {
			f.tip = tipPlace{end + beyond/2, flatSigma + beyond/math.Sqrt(12) + gap/math.Sqrt(12)}
		}
		if !bare {
			return end - anyTip*width, math.Sqrt(sq(flatSigma) + sq(anyTipSigma*width) + gap*gap/12), true
		}
		f.bare = true
		return end - arcPart*width/2, flatSigma + gap/math.Sqrt(12), true
	}
	return 0, 0, false
}

// goesOn reports whether the dark is seen again farther out than where the strip seems to end, between what is
// printed: with lit paper beside it, or as far to the one side as to the other, the shadow, or its head's, behind a
// thing that lies across; or near by on the plain paper the shadow of what lies over it there.
func (f *stripFit) goesOn(end float64, axis fitLine, half, width float64) bool {
	run, over, sharp := 0.0, 0.0, false
	for d := end + nextUntil; ; d += headStep {
		mid := axis.follow(d)
		p := f.frame.at(d, mid)
		if !onPage(p) || !f.g.contains(f.plate.Project(p), insidePicture) {
			return false
		}
		if printed(f.sheet, p, width) || f.hides(p) {
			continue
		}
		left, right := f.reaches(d, mid, half)
		if min(left, right) < tipCore*width {
			run, over = 0, 0
			continue
		}
		if over == 0 {
			sharp = f.coreLight(d-lyingRim, axis, width) > 1-plainDepth*f.depth
		}
		if over += headStep; sharp && over >= lyingDark && d-over < end+lyingReach && d < f.sheet.Dial.ClearZone[1]-shortOfRing {
			return true
		}
		most := max(left, right)
		if most >= width/2+onBeside && (most >= headWidest || math.Abs(left-right) > alikeSides*(left+right)+headStep) {
			run = 0
			continue
		}
		if run += headStep; run >= onAgain {
			return true
		}
	}
}

// capRadius returns the greatest half width of the dark in the last stretch before the strip's
// end, of a breadth, and whether that is bare there; ok is false when the dark spreads to a side
// as no rod's or cap's shadow does: the end is then another shadow's. Behind a bare stretch lies
// no cap but a bead. What lies among ticks and numerals is left out.
func (f *stripFit) capRadius(axis fitLine, end, half, width float64) (radius float64, bare, ok bool) {
	run := -width / 2 // of bare strip, less the round end
	var bareWide []float64
	for d := end - headStep; d > end-headStretch; d -= headStep {
		mid := axis.follow(d)
		if inBand(f.sheet, f.frame.at(d, mid)) {
			continue
		}
		left, right := f.reaches(d, mid, half)
		wide, narrow := max(left, right), min(left, right)
		// Ink beside the strip may stretch one side a little.
		if wide >= headWidest {
			return 0, false, false
		}
		bareWide = append(bareWide, wide)
		if run += headStep; narrow > bareBroad*width {
			run, bareWide = 0, bareWide[:0]
		}
		if run > max(bareTip, bareHalves*width/2) {
			// Dark to one side alone is that of a shadow that runs across.
			return radius, radius <= headFrom*width, quantile(bareWide, 0.5) < headFrom*width
		}
		radius = max(radius, narrow)
	}
	return radius, false, true
}

// reaches is how far the dark reaches to both sides of a place on the strip.
func (f *stripFit) reaches(d, mid, half float64) (left, right float64) {
	reach := func(side float64) (n float64) {
		for ; n < headWidest; n += headAcross {
			p := f.frame.at(d, mid+side*n)
			q := f.plate.Project(p)
			if !f.g.contains(q, 1) || inBand(f.sheet, p) || f.g.light(q.U, q.V)/f.lit(p) > half {
				break
			}
		}
		return n
	}
	return reach(-1), reach(1)
}

// tipPlace is where the shadow of a tip that is not flat lies, mm from the foot; 0 where it is told as
// that of a flat one. The witnesses look at where the dark ends, and hear nothing of it.
type tipPlace struct{ at, sigma float64 }

// tellTip puts the place of a tip that is not flat in the strip.
func (st *Strip) tellTip() {
	if st.fit != nil && st.Length > 0 && st.fit.tip.at > 0 {
		st.Length, st.LengthSigma = st.fit.tip.at, st.fit.tip.sigma
	}
}

// point returns how far beyond its end the sides of a sharpened rod's shadow meet; ok is false where
// the strip keeps its breadth up to there, as that of a rod with a flat tip does.
func (f *stripFit) point(axis fitLine, end, half, width float64) (beyond float64, ok bool) {
	var at, wide []float64
	full := false
	for d := end - headStep; d > max(shadowStart, end-pointStretch) && !full; d -= headStep {
		mid := axis.follow(d)
		if inBand(f.sheet, f.frame.at(d, mid-width/2)) || inBand(f.sheet, f.frame.at(d, mid+width/2)) {
			continue
		}
		left, right := f.reaches(d, mid, half)
		w := left + right - headAcross // each is the first step that is light
		if full = w > fullPart*width; !full {
			at, wide = append(at, d), append(wide, w)
		}
	}
	n := len(at)
	if !full || n < leastSides || end-at[n-1] < pointFrom*width+pointMore {
		return 0, false
	}
	a, b := stat.LinearRegression(at, wide, nil, false)
	beyond = -a/b - end
	return beyond, b < 0 && beyond > 0 && beyond < pointMost*(end-at[n-1])
}

// coreLight is the light of a strip's core at distance d, over the paper's there; NaN where it is not seen.
func (f *stripFit) coreLight(d float64, axis fitLine, width float64) float64 {
	mid := axis.follow(d)
	return f.brightest(d, mid-tipCore*width, mid+tipCore*width) / f.lit(f.frame.at(d, mid))
}

// brightest is the upper quartile of the light across a short stretch at distance
// d: between ticks and through numerals it is still paper.
func (f *stripFit) brightest(d, a, b float64) float64 {
	var vs [brightRow]float64
	k := 0
	for i := range vs {
		p := f.frame.at(d, a+(b-a)*float64(i)/(brightRow-1))
		q := f.plate.Project(p)
		if f.g.contains(q, 1) && !f.hides(p) {
			vs[k] = f.g.light(q.U, q.V)
			k++
		}
	}
	if k < leastBright {
		return math.NaN()
	}
	return quantile(vs[:k], brightUpper)
}
