package vision

import (
	"math"
	"slices"

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
func (f *stripFit) findTip(axis fitLine) (length, sigma float64, ok bool) {
	least, most := f.plate.Scale(f.frame.at(axis.mid, 0))
	step := 0.5 / math.Sqrt(least*most)
	width := f.right.at(axis.mid) - f.left.at(axis.mid)
	type sample struct {
		s, v float64
	}
	var run []sample
	for d := f.lastGood() - 4; ; d += step {
		mid := axis.follow(d)
		p := f.frame.at(d, mid)
		if math.Abs(p.X) > faceHalf || math.Abs(p.Y) > faceHalf || !f.g.contains(f.plate.Project(p), 3) {
			break
		}
		if printed(f.sheet, p, width) {
			continue
		}
		if v := f.brightest(d, mid-0.2*width, mid+0.2*width) / f.lit(p); !math.IsNaN(v) {
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
		top, ok := f.capRadius(axis, end, half)
		switch {
		case !ok:
			return 0, 0, false
		case top > 0.75*width:
			f.head = top
			// A ball of radius R whose top is the tip: its shadow ends R tan(a/2)
			// beyond the tip's, a being the altitude; 20 to 60 degrees are spanned.
			return end - 0.36*top, 0.2*top + gap, true
		}
		return end - 0.97*width/2, 0.15 + gap/math.Sqrt(12), true
	}
	return 0, 0, false
}

// capRadius returns the greatest half width of the dark in the last stretch before
// the strip's end; ok is false when the dark spreads to a side as no rod's or cap's
// shadow does: the end is then another shadow's.
func (f *stripFit) capRadius(axis fitLine, end, half float64) (radius float64, ok bool) {
	const widest = 11.0 // mm
	for d := end - 14; d < end-0.4; d += 0.4 {
		mid := axis.follow(d)
		var reach [2]float64
		for i, side := range []float64{-1, 1} {
			n := 0.0
			for ; n < widest; n += 0.2 {
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
		if wide >= widest {
			return 0, false
		}
		radius = max(radius, narrow)
	}
	return radius, true
}

// brightest is the upper quartile of the light across a short stretch at distance
// d: between ticks and through numerals it is still paper.
func (f *stripFit) brightest(d, a, b float64) float64 {
	const n = 9
	var vs [n]float64
	k := 0
	for i := range n {
		p := f.frame.at(d, a+(b-a)*float64(i)/(n-1))
		q := f.plate.Project(p)
		if f.g.contains(q, 1) && !f.hides(p) {
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

const (
	farthest = 170.0 // mm: as far as the shadow is followed
	unseen   = 26.0  // mm across which the shadow is followed, dark before and after: a mark
	// The page, A4 with its face's middle 112 mm from its front (ISO 216; the sheet's own).
	pageHalf, pageFront, pageRear = 103.0, 110.0, -183.0
	bridged                       = 26.0 // mm of hidden or wholly printed paper across which an end is placed
)

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
	const step, window = 0.4, 0.7 // mm
	width := f.right.at(axis.mid) - f.left.at(axis.mid)
	var run []looked
	dark := 1 - 0.6*f.depth
	last, follow := f.lastGood(), true
	for d := last - 6; d < farthest; d += step {
		mid := axis.follow(d)
		p := f.frame.at(d, mid)
		if !f.g.contains(f.plate.Project(p), 3) {
			break
		}
		hidden, flank, least := f.img.hides, 2.0, 12
		switch onLubber, m := covered(f.sheet, p, width); {
		case onLubber:
			continue
		case m != nil: // only what is drawn white there, farther to the sides
			flank, least = 6, 3
			hidden = func(q sheet.Point) bool { return f.hides(q) || inked(m, q) }
		}
		off := width/2 + 2.5*f.sigma(d) + 0.8
		core := f.brightPart(d, window, mid-0.25*width, mid+0.25*width, hidden, least)
		l := f.brightPart(d, window, mid-off-flank, mid-off, hidden, least)
		r := f.brightPart(d, window, mid+off, mid+off+flank, hidden, least)
		if math.IsNaN(core+l+r) || l < 0.75*r || r < 0.75*l || min(l, r) < 0.02 {
			continue
		}
		v := core / ((l + r) / 2)
		run = append(run, looked{d, v, (l + r) / 2})
		switch {
		case !follow:
		case v > dark && d > last+3, d > last+unseen:
			follow = false
		case v <= dark:
			last = d
		}
	}
	// The half width of the rod's flat top lies beyond the axis' tip.
	atLeast = last - width/2 - 1.5
	// Beyond the page a shadow seems to end where the board does and its own shade begins, of
	// the same light at times: an end there is a bound.
	half := 1 - f.depth/2
	for i := 1; i < len(run); i++ {
		a, b := run[i-1], run[i]
		if !(a.v < half && b.v >= half) {
			continue
		}
		before, flankBefore, nb := nextTo(run[:i], -1, a.s-0.8)
		after, flankAfter, na := nextTo(run[i:], 1, b.s+0.8)
		gap := b.s - a.s
		if nb < 4 || na < 4 || gap > bridged || a.s > last+4 {
			continue
		}
		// Flanks that grow brighter or darker with the end may be a cap's shadow, or another
		// ground's.
		if before > half-0.25*f.depth || math.Abs(after-1) > 0.25*f.depth ||
			flankBefore < 0.8*flankAfter || flankAfter < 0.8*flankBefore || !onPage(f.frame.at(b.s, axis.follow(b.s))) {
			return 0, 0, atLeast
		}
		end := a.s + (half-a.v)/(b.v-a.v)*gap
		if gap > 2*step {
			end = (a.s + b.s) / 2
		}
		// The upper fifth of a window turns light when its farther fifth does.
		end += 0.6 * window
		return end - 0.97*width/2, math.Sqrt(sq(0.5) + sq(0.5*f.sigma(end)) + gap*gap/12), 0
	}
	return 0, 0, atLeast
}

// looked is the light of the strip's core over that of what lies beside, and the latter.
type looked struct{ s, v, flank float64 }

// nextTo averages the looks before (way -1) or after (+1) a distance from the foot: of the
// next 4 mm of paper that are seen, be there a mark's black between.
func nextTo(run []looked, way, from float64) (v, flank, n float64) {
	const most, reach = 8, 14.0 // mm
	outward := slices.All(run)
	if way < 0 {
		outward = slices.Backward(run)
	}
	for _, r := range outward {
		if off := way * (r.s - from); off > 0 && off < reach && n < most {
			v, flank, n = v+r.v, flank+r.flank, n+1
		}
	}
	return v / n, flank / n, n
}

// brightPart is the upper fifth of the light in a stretch along and across the strip.
func (f *stripFit) brightPart(d, window, a, b float64, hidden func(sheet.Point) bool, least int) float64 {
	const along, across = 4, 6
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
	return quantile(vs[:k], 0.8)
}

// covered reports ink too broad to leave paper between: the lubber line, or the mark
// that is near.
func covered(s *sheet.Sheet, p sheet.Point, width float64) (lubber bool, mark *sheet.Mark) {
	for i, m := range s.Marks {
		if h := m.Side/2 + width + 3; math.Abs(p.X-m.X) < h && math.Abs(p.Y-m.Y) < h {
			mark = &s.Marks[i]
		}
	}
	return math.Abs(p.X) < 1+width/2 && p.Y > s.LubberFrom.Y-1 && p.Y < s.LubberTo.Y+6, mark
}

// inked reports whether a place lies on a mark's black or within blurEdge of it.
func inked(m *sheet.Mark, p sheet.Point) bool {
	const blurEdge = 0.4 // mm
	bits, ok := sheet.ModuleBits(m.ID)
	for _, d := range [4]sheet.Point{{X: -blurEdge, Y: -blurEdge}, {X: blurEdge, Y: -blurEdge}, {X: -blurEdge, Y: blurEdge}, {X: blurEdge, Y: blurEdge}} {
		// Modules from the top left: a black border about four by four.
		x := int(math.Floor((p.X + d.X - m.X + m.Side/2) / m.Side * 6))
		y := int(math.Floor((m.Y + m.Side/2 - p.Y - d.Y) / m.Side * 6))
		if x < 0 || x > 5 || y < 0 || y > 5 {
			continue
		}
		if !ok || x == 0 || x == 5 || y == 0 || y == 5 || !bits[y-1][x-1] {
			return true
		}
	}
	return false
}
