package vision

import (
	"math"
	"slices"

	"shadowread/internal/sheet"
)

// How a shadow is followed past the plain paper. Lengths are mm on the paper.
const (
	farthest = 200.0 // as far as the shadow is followed: over the page's rear corners
	unseen   = 26.0  // across which the shadow is followed, dark before and after: a mark
	bridged  = 26.0  // of hidden or wholly printed paper across which an end is placed
	// Looks every followStep of windows followWindow to each side along the
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
	// was surely dark at most, and no more than followPast before: something lies over the shadow
	// there. Flanks that differ by alikeEnd about it may be a cap's shadow's or another ground's.
	leastEnd, endClear, endLate = 4, 0.8, 4.0
	alikeEnd                    = 0.8
	windowLate                  = 0.6      // of the window: its upper fifth turns light when its farther fifth does
	endSigma, endBlurSigma      = 0.5, 0.5 // one sigma, mm, and of the blur's
	// nextMost looks of the next nextReach are averaged, be there a mark's black between.
	nextMost, nextReach = 8, 14.0
	// A line goes over other ground where that is otherGround of the paper's light at most, at
	// leastEnd looks or more: as a shadow if the light that it leaves there differs from what it
	// leaves on the paper by no more than asShadow of what a thing of one colour would differ by, in logarithms.
	otherGround, asShadow = 0.8, 0.4
	// A window is partAlong by partAcross places; its quantile upperFifth sees past thin ink.
	partAlong, partAcross = 4, 6
	upperFifth            = 0.8
)

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
		w, seen := f.between(d, mid, width, f.img.hides, f.hides)
		if !seen {
			continue
		}
		core := w.light(-followCore*width, followCore*width)
		l, r, left, right := w.flanks()
		switch { // By the page's edge the one flank that is on the page stands for both.
		case right && !left:
			l = r
		case left && !right:
			r = l
		}
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
	f.cast = castOn(run, f.lastGood(), last)
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
		if nb < leastEnd || na < leastEnd || gap > bridged || a.s > last+endLate || b.s < last-followPast {
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
		if f.goesOn(end, axis, half, width) {
			return 0, 0, atLeast
		}
		if beyond, ok := f.point(axis, end, half, width); ok {
			f.tip = tipPlace{end + beyond/2, endSigma + beyond/math.Sqrt(12) + gap/math.Sqrt(12)}
		}
		return end - anyTip*width, math.Sqrt(sq(endSigma) + sq(endBlurSigma*f.sigma(end)) + sq(anyTipSigma*width) + gap*gap/12), 0
	}
	return 0, 0, atLeast
}

// windows are how a line is looked at between print, in windows across it at a distance from the foot.
type windows struct {
	*stripFit
	s, mid     float64
	off, flank float64 // where the flanks begin, from the middle, and their breadth
	hidden     func(sheet.Point) bool
	least      int // places of a window that must be seen
}

// between tells how to look at a line of a breadth; plain and marked hide what stands before plain paper and
// before a mark. seen is false where the lubber line runs.
func (f *stripFit) between(s, mid, width float64, plain, marked func(sheet.Point) bool) (w windows, seen bool) {
	w = windows{f, s, mid, width/2 + flankBlur*f.sigma(s) + flankGap, plainFlank, plain, leastWhite}
	onLubber, m := covered(f.sheet, f.frame.at(s, mid), width)
	if m != nil { // only what is drawn white there, farther to the sides
		w.flank, w.least = besideMark, markLeast
		w.hidden = func(q sheet.Point) bool { return marked(q) || inked(m, q) }
	}
	return w, !onLubber
}

// light is that of a window across, from the line's middle.
func (w *windows) light(from, to float64) float64 {
	return w.brightPart(patch{w.s, followWindow, w.mid + from, w.mid + to}, w.hidden, w.least)
}

// flanks are the light to the left and to the right, and whether each lies on the page.
func (w *windows) flanks() (l, r float64, left, right bool) {
	far := w.off + w.flank
	return w.light(-far, -w.off), w.light(w.off, far), onPage(w.frame.at(w.s, w.mid-far)), onPage(w.frame.at(w.s, w.mid+far))
}

// castOn reports whether a line that goes on from the plain paper, up to one distance, over darker
// ground, up to another, takes the same part of the light there: a shadow does, a thing that lies
// there is as light on either.
func castOn(run []looked, paper, end float64) bool {
	var here, there looks
	for _, r := range run {
		if r.s < paper {
			here = append(here, r)
		}
	}
	if len(here) < leastEnd {
		return false
	}
	v, flank := here.middle()
	for _, r := range run {
		if r.s > paper && r.s <= end && r.flank < otherGround*flank {
			there = append(there, r)
		}
	}
	if len(there) < leastEnd {
		return false
	}
	left, ground := there.middle()
	return math.Abs(math.Log(max(left, darkest)/max(v, darkest))) < asShadow*math.Log(flank/ground)
}

// looks are some of those along a line.
type looks []looked

// middle returns the middle ones of what the line leaves of the light, and of that beside it.
func (ls looks) middle() (v, flank float64) {
	var vs, fs []float64
	for _, l := range ls {
		vs, fs = append(vs, l.v), append(fs, l.flank)
	}
	return quantile(vs, 0.5), quantile(fs, 0.5)
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

// patch is a stretch of paper: half to each side of a distance along the strip, and from one
// place across it to another, mm.
type patch struct{ s, half, from, to float64 }

// brightPart is the upper fifth of the light in a patch; NaN where too few places are seen.
func (f *stripFit) brightPart(k patch, hidden func(sheet.Point) bool, least int) float64 {
	vs := make([]float64, 0, partAlong*partAcross)
	for i := range partAlong {
		for j := range partAcross {
			p := f.frame.at(k.s+k.half*(2*float64(i)/(partAlong-1)-1), k.from+(k.to-k.from)*float64(j)/(partAcross-1))
			if q := f.plate.Project(p); f.g.contains(q, 1) && !hidden(p) {
				vs = append(vs, f.g.light(q.U, q.V))
			}
		}
	}
	if len(vs) < least {
		return math.NaN()
	}
	return quantile(vs, upperFifth)
}
