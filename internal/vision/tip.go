package vision

import (
	"math"
	"slices"

	"shadowread/internal/sheet"
)

// Where a shadow's end is looked for. Lengths are mm on the paper.
const (
	// faceHalf is half the side of the printed face: beyond it the page may carry type, and
	// the paper may end.
	faceHalf = 88.0
	// The page, A4 with its face's middle 112 mm from its front (ISO 216; the sheet's own).
	pageHalf, pageFront, pageRear = 103.0, 110.0, -183.0
	farthest                      = 170.0 // as far as the shadow is followed
	unseen                        = 26.0  // across which the shadow is followed, dark before and after: a mark
	bridged                       = 26.0  // of hidden or wholly printed paper across which an end is placed
	insidePicture                 = 3     // px from the picture's border

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
	// altitude; headPart and headSigma span 20 to 60 degrees.
	headFrom            = 0.75
	headPart, headSigma = 0.36, 0.2
	// Heads are looked for over headStretch before the end, but for headStep, every headStep,
	// and to headWidest at each side in steps of headAcross: broader is another shadow.
	headStretch, headStep  = 14.0, 0.4
	headWidest, headAcross = 11.0, 0.2
	// Of a short row of brightRow places the quantile brightUpper is taken, of leastBright that
	// are seen: between ticks and through numerals it is still paper.
	brightRow, leastBright = 9, 4
	brightUpper            = 0.75
	// Ink may reach so far beyond what is printed: of the ring and numerals, of marks, of the
	// lubber line to its sides and at its rear.
	ringBlur, markBlur     = 0.6, 0.5
	lubberBlur, lubberRear = 2.0, 1.0

	// Beyond the face: looks every followStep of windows followWindow to each side along the
	// strip, starting followBefore before the last good row; the core is followCore of the
	// breadth to each side, the flanks plainFlank broad, besideMark by a mark, where
	// markLeast places must be white, else leastWhite. They begin flankBlur sigmas of the blur and
	// flankGap beyond the edges.
	followStep, followWindow = 0.4, 0.7
	followBefore             = 6.0
	followCore               = 0.25
	plainFlank, besideMark   = 2.0, 6.0
	leastWhite, markLeast    = 12, 3
	flankBlur, flankGap      = 2.5, 0.8
	// Flanks must have alikeFlanks of each other's light and leastLight of full scale.
	alikeFlanks, leastLight = 0.75, 0.02
	surelyDark              = 0.6 // of the depth: the shadow still
	followPast              = 3.0 // of light after which the shadow may be lost
	boundClear              = 1.5 // taken off a bound for the tip's blur
	// An end has leastEnd looks to each side, endClear from it, and begins endLate after what
	// was surely dark at most. Flanks that differ by alikeEnd about it may be a cap's shadow's
	// or another ground's.
	leastEnd, endClear, endLate = 4, 0.8, 4.0
	alikeEnd                    = 0.8
	windowLate                  = 0.6      // of the window: its upper fifth turns light when its farther fifth does
	endSigma, endBlurSigma      = 0.5, 0.5 // one sigma, mm, and of the blur's
	// nextMost looks of the next nextReach are averaged, be there a mark's black between.
	nextMost, nextReach = 8, 14.0
	// A window is partAlong by partAcross places; its quantile upperFifth sees past thin ink.
	partAlong, partAcross = 4, 6
	upperFifth            = 0.8
	// Ink too broad to leave paper between: a mark's with markNear about it, the lubber
	// line's with lubberNear to its sides and from lubberRear to lubberFront.
	markNear                = 3.0
	lubberNear, lubberFront = 1.0, 6.0
	markCells               = 6 // to a side, a black border about four by four
	blurEdge                = 0.4
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
		if v := f.brightest(d, mid-tipCore*width, mid+tipCore*width) / f.lit(p); !math.IsNaN(v) {
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
		if gap > tipGap {
			return 0, 0, false
		}
		top, ok := f.capRadius(axis, end, half)
		switch {
		case !ok:
			return 0, 0, false
		case top > headFrom*width:
			f.head = top
			return end - headPart*top, headSigma*top + gap, true
		}
		return end - arcPart*width/2, flatSigma + gap/math.Sqrt(12), true
	}
	return 0, 0, false
}

// capRadius returns the greatest half width of the dark in the last stretch before
// the strip's end; ok is false when the dark spreads to a side as no rod's or cap's
// shadow does: the end is then another shadow's.
func (f *stripFit) capRadius(axis fitLine, end, half float64) (radius float64, ok bool) {
	for d := end - headStretch; d < end-headStep; d += headStep {
		mid := axis.follow(d)
		var reach [2]float64
		for i, side := range []float64{-1, 1} {
			n := 0.0
			for ; n < headWidest; n += headAcross {
				p := f.frame.at(d, mid+side*n)
				q := f.plate.Project(p)
				if !f.g.contains(q, 1) || f.g.light(q.U, q.V)/f.lit(p) > half {
					break
				}
			}
			reach[i] = n
		}
		wide, narrow := max(reach[0], reach[1]), min(reach[0], reach[1])
		// Ink beside the strip may stretch one side a little.
		if wide >= headWidest {
			return 0, false
		}
		radius = max(radius, narrow)
	}
	return radius, true
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

// printed reports ink that may cover the neighbourhood: the ring, numerals, marks
// and the lubber line. Ticks leave paper between.
func printed(s *sheet.Sheet, p sheet.Point, width float64) bool {
	r := math.Hypot(p.X, p.Y)
	if math.Abs(r-s.Dial.RingRadius) < ringBlur || math.Abs(r-s.Dial.NumeralRadius) < s.Dial.NumeralHeight/2+ringBlur {
		return true
	}
	for _, m := range s.Marks {
		if h := m.Side/2 + markBlur + width; math.Abs(p.X-m.X) < h && math.Abs(p.Y-m.Y) < h {
			return true
		}
	}
	return math.Abs(p.X) < lubberBlur+width/2 && p.Y > s.LubberFrom.Y-lubberRear
}

// onPage reports whether a place lies on the page.
func onPage(p sheet.Point) bool {
	return math.Abs(p.X) < pageHalf && p.Y < pageFront && p.Y > pageRear
}

// followStrip goes along the strip past the plain paper and compares its core with both
// flanks at the same distance: ink, margins and the board beyond look one way in light
// and another in shade. The brighter part of each stretch is compared, so that thin ink
// cancels. It returns the length where the strip is surely seen to end, else how far it
// was surely followed.
func (f *stripFit) followStrip(axis fitLine) (length, sigma, atLeast float64) {
	const step, window = followStep, followWindow
	width := f.right.at(axis.mid) - f.left.at(axis.mid)
	var run []looked
	dark := 1 - surelyDark*f.depth
	last, follow := f.lastGood(), true
	for d := last - followBefore; d < farthest; d += step {
		mid := axis.follow(d)
		p := f.frame.at(d, mid)
		if !f.g.contains(f.plate.Project(p), insidePicture) {
			break
		}
		hidden, flank, least := f.img.hides, plainFlank, leastWhite
		switch onLubber, m := covered(f.sheet, p, width); {
		case onLubber:
			continue
		case m != nil: // only what is drawn white there, farther to the sides
			flank, least = besideMark, markLeast
			hidden = func(q sheet.Point) bool { return f.hides(q) || inked(m, q) }
		}
		off := width/2 + flankBlur*f.sigma(d) + flankGap
		core := f.brightPart(d, window, mid-followCore*width, mid+followCore*width, hidden, least)
		l := f.brightPart(d, window, mid-off-flank, mid-off, hidden, least)
		r := f.brightPart(d, window, mid+off, mid+off+flank, hidden, least)
		if math.IsNaN(core+l+r) || l < alikeFlanks*r || r < alikeFlanks*l || min(l, r) < leastLight {
			continue
		}
		v := core / ((l + r) / 2)
		run = append(run, looked{d, v, (l + r) / 2})
		switch {
		case !follow:
		case v > dark && d > last+followPast, d > last+unseen:
			follow = false
		case v <= dark:
			last = d
		}
	}
	// The half width of the rod's flat top lies beyond the axis' tip.
	atLeast = last - width/2 - boundClear
	// Beyond the page a shadow seems to end where the board does and its own shade begins, of
	// the same light at times: an end there is a bound.
	half := 1 - f.depth/2
	for i := 1; i < len(run); i++ {
		a, b := run[i-1], run[i]
		if !(a.v < half && b.v >= half) {
			continue
		}
		before, flankBefore, nb := nextTo(run[:i], -1, a.s-endClear)
		after, flankAfter, na := nextTo(run[i:], 1, b.s+endClear)
		gap := b.s - a.s
		if nb < leastEnd || na < leastEnd || gap > bridged || a.s > last+endLate {
			continue
		}
		if before > half-plainDepth*f.depth || math.Abs(after-1) > plainDepth*f.depth ||
			flankBefore < alikeEnd*flankAfter || flankAfter < alikeEnd*flankBefore || !onPage(f.frame.at(b.s, axis.follow(b.s))) {
			return 0, 0, atLeast
		}
		end := a.s + (half-a.v)/(b.v-a.v)*gap
		if gap > 2*step {
			end = (a.s + b.s) / 2
		}
		end += windowLate * window
		return end - arcPart*width/2, math.Sqrt(sq(endSigma) + sq(endBlurSigma*f.sigma(end)) + gap*gap/12), 0
	}
	return 0, 0, atLeast
}

// looked is the light of the strip's core over that of what lies beside, and the latter.
type looked struct{ s, v, flank float64 }

// nextTo averages the looks before (way -1) or after (+1) a distance from the foot: of the
// next 4 mm of paper that are seen, be there a mark's black between.
func nextTo(run []looked, way, from float64) (v, flank, n float64) {
	outward := slices.All(run)
	if way < 0 {
		outward = slices.Backward(run)
	}
	for _, r := range outward {
		if off := way * (r.s - from); off > 0 && off < nextReach && n < nextMost {
			v, flank, n = v+r.v, flank+r.flank, n+1
		}
	}
	return v / n, flank / n, n
}

// brightPart is the upper fifth of the light in a stretch along and across the strip.
func (f *stripFit) brightPart(d, window, a, b float64, hidden func(sheet.Point) bool, least int) float64 {
	const along, across = partAlong, partAcross
	var vs [along * across]float64
	k := 0
	for i := range along {
		for j := range across {
			p := f.frame.at(d+window*(2*float64(i)/(along-1)-1), a+(b-a)*float64(j)/(across-1))
			if q := f.plate.Project(p); f.g.contains(q, 1) && !hidden(p) {
				vs[k] = f.g.light(q.U, q.V)
				k++
			}
		}
	}
	if k < least {
		return math.NaN()
	}
	return quantile(vs[:k], upperFifth)
}

// covered reports ink too broad to leave paper between: the lubber line, or the mark
// that is near.
func covered(s *sheet.Sheet, p sheet.Point, width float64) (lubber bool, mark *sheet.Mark) {
	for i, m := range s.Marks {
		if h := m.Side/2 + width + markNear; math.Abs(p.X-m.X) < h && math.Abs(p.Y-m.Y) < h {
			mark = &s.Marks[i]
		}
	}
	return math.Abs(p.X) < lubberNear+width/2 && p.Y > s.LubberFrom.Y-lubberRear && p.Y < s.LubberTo.Y+lubberFront, mark
}

// inked reports whether a place lies on a mark's black or within blurEdge of it.
func inked(m *sheet.Mark, p sheet.Point) bool {
	bits, ok := sheet.ModuleBits(m.ID)
	for _, d := range [4]sheet.Point{{X: -blurEdge, Y: -blurEdge}, {X: blurEdge, Y: -blurEdge}, {X: -blurEdge, Y: blurEdge}, {X: blurEdge, Y: blurEdge}} {
		// Modules from the top left.
		x := int(math.Floor((p.X + d.X - m.X + m.Side/2) / m.Side * markCells))
		y := int(math.Floor((m.Y + m.Side/2 - p.Y - d.Y) / m.Side * markCells))
		if min(x, y) < 0 || max(x, y) > markCells-1 {
			continue
		}
		if !ok || min(x, y) == 0 || max(x, y) == markCells-1 || !bits[y-1][x-1] {
			return true
		}
	}
	return false
}
