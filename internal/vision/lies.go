package vision

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// A stick that lies on the sheet makes a dark line with two parallel edges as well. Five
// things tell it from a shadow, whatever a telephone has sharpened:
//
//   - Print under a shadow is seen through it; a stick hides it.
//   - Beside a shadow is paper; along a lit thing runs its other edge (beside.go).
//   - A shadow begins at the rod's foot. Bright paper between the foot and the line is none's.
//   - A shadow is never redder than the paper, nor greener (colour.go).
//   - The light's disc blurs a shadow's edges the more, the farther they lie from what casts
//     them, and its end most; a stick's are as sharp as the camera makes any edge. What camera and
//     sharpening do is the same all along the line, and so is fitted to it.
const (
	// Print is looked for through the strip on the ring and the ticks, printFrom to printTo mm
	// from the foot, every printStep px, against what shows to both sides, from besideInk beyond the edges on
	// over printSide mm. The edges of both are edgeInk sigmas of the blur and clearInk mm away.
	printFrom, printTo, printStep   = 55.5, 65.0, 0.5
	printSide, besideInk            = 4.0, 0.3
	edgeInk, clearInk               = 2.5, 0.1
	leastPrint                      = 40  // places that tell anything
	leastInk                        = 0.1 // of the paper's light that the ink beside must take away
	printTerms                      = 4   // light, its slopes along and across, ink
	alikePlaces                     = 8   // over which the light's misfit is the same
	printSure, asInked, asUncovered = 2, 0.35, 0.5
	// Over coreInk of the breadth it is looked for at least, if blur brings no more than mostLeaks of the
	// light there from beside.
	coreInk, mostLeaks = 0.25, 0.4
	inkBlur            = 0.05 // mm, at least

	// The foot's print is looked for from footFrom, and from where a rod as thick as the strip covers it,
	// footSet mm and edgeInk sigmas of the blur beyond, to footPast beyond its cross. Through a shadow it shows as
	// footShows of itself, through a thing it does not, one sigma each; oddFoot of both show anything over footRange.
	// What is too vague to tell alone of the ring and the ticks is weighed so, too.
	footFrom, footPast           = 1.2, 0.5
	footSet                      = 0.5 // to which rods are set
	footShows, footCast, footHid = 0.85, 0.2, 0.08
	oddFoot, footRange           = 0.05, 6.0

	// The strip's core, gapCore of its breadth to each side, is looked at from gapFrom on, every
	// gapStep: leastGap mm in a row with less than gapDepth of its depth are bare paper. Rods
	// stand within gapFrom less their radius of the printed foot.
	gapFrom, gapStep, leastGap = 3.5, 0.2, 1.4
	gapCore, gapDepth          = 0.25, 0.3
	// On bare paper the foot's ring shows. It is looked for every ringTurn to ringHalf off the strip, ringOff
	// beside the cross, against what lies ringBeyond sigmas of the blur farther out. At ringTenths tenths
	// of leastRing places or more it takes away ringShows of the light at least, be it worn or gray (half of what
	// the palest ink does), and ringMost at most, but for noise all of it: edges of a nut do more. One
	// in ringOpen of these has another light as far in, be it the rod's, by a third of that: a nut's shade is no line.
	ringHalf, ringTurn    = 90 * angle.Degree, 4 * angle.Degree
	ringOff, ringBeyond   = 0.4, 3.0
	ringBlurPx            = 0.5 // sigma of the camera's blur, at least
	ringShows, ringMost   = 0.2, 1.2
	leastRing, ringTenths = 8, 7
	ringOpen              = 4

	lateBegin = 24.0 // mm from the foot
	// Where less of the light is the sun's, it shines through cloud, whose skylight has no
	// colour, and a shadow is rarer than a gray thing: the disc must be seen.
	throughCloud = 0.45
)

// lies reports whether the strip is a thing that lies on the sheet. told says that a rod is seen
// to stand; where none is, what is likelier a stick is refused as well.
func (h *hearing) lies(told bool) bool {
	f := h.st.fit
	if f == nil || h.rod.Hangs { // a thread is seen to go up
		return false
	}
	axis := f.axis()
	// A white head may hide where a shadow begins that is sure to be cast from the foot.
	if f.apartFromFoot(axis) && !(h.st.vouched(Rod{}) && h.discSays() < -surelyLies) {
		return true
	}
	ratio, sigma := f.printThrough(axis, f.dialPrint(max(h.st.Length, h.st.AtLeast)-h.st.Width))
	switch {
	case ratio+printSure*sigma < asInked:
		return true
	case ratio-printSure*sigma > asUncovered:
		return false
	case h.discHidden():
		return false
	case f.runsBeside(axis, h.st) && !(h.st.vouched(h.rod) && h.castWhole()):
		return true
	}
	says := h.discSays()
	if says > -askHue {
		more, own := f.hueSays(axis, h.st.Depth)
		if own {
			return true
		}
		says += max(-maybeCast, more) // there are blue things as well
		says += f.hidSays(ratio, sigma) + f.footSays(axis)
	}
	// What runs beside the line up to lateBegin, other than the rod and what holds its foot, may be
	// the shadow.
	late := h.st.From > lateBegin && !h.st.Held && !h.imageBefore()
	switch {
	case says < -maybeCast:
		return false
	case late || h.st.Depth < throughCloud || says > surelyLies:
		return true
	}
	return !told && says > maybeLies
}

// apartFromFoot reports whether bare paper lies between the foot and the strip.
func (f *stripFit) apartFromFoot(axis fitLine) bool {
	if f.held {
		return false
	}
	width, run := f.right.at(axis.mid)-f.left.at(axis.mid), 0.0
	for s := gapFrom; s < f.firstGood(); s += gapStep {
		run += gapStep
		for _, n := range [3]float64{-gapCore, 0, gapCore} {
			p := f.frame.at(s, axis.at(s)+n*width)
			if v := f.light(p); f.hides(p) || !(v > 1-gapDepth*f.depth) {
				run = 0
			}
		}
		if run > leastGap {
			return !f.footCovered()
		}
	}
	return false
}

// footCovered reports whether the printed foot's ring does not show where it must, on the strip's side
// beyond the rod: a nut or clay lies there, which may be as white as paper.
func (f *stripFit) footCovered() bool {
	blur, line := max(f.blur, ringBlurPx/f.pxAcross(0)), f.sheet.FootLine
	ink := 2*cdf(line/2/blur) - 1
	foot, ring, off := newFrame(f.direction(), 0), f.sheet.FootRing, line/2+ringBeyond*blur
	inked, open, places := 0, 0, 0
	for turn := -ringHalf; turn <= ringHalf; turn += ringTurn {
		at := func(r float64) sheet.Point { return foot.at(r*turn.Cos(), r*turn.Sin()) }
		p, out := at(ring), at(ring+off)
		on, beside := f.light(p), f.light(out)
		part := (beside - on) / ink
		if math.IsNaN(part) || f.hides(p) || f.hides(out) || min(math.Abs(p.X), math.Abs(p.Y), math.Abs(out.X), math.Abs(out.Y)) <= line/2+ringOff {
			continue
		}
		if places++; part > ringShows && part < ringMost {
			inked++
			if math.Abs(f.light(at(ring-off))-on) > (beside-on)/3 {
				open++
			}
		}
	}
	shows := tenths(inked, places, ringTenths) && ringOpen*open >= inked
	return places >= leastRing && !shows
}

// footSays is the logarithm of how much likelier a thing is than a shadow by how the foot's print shows through
// the strip, where it shows behind the foot; 0 at least, since a thing may begin beyond it.
func (f *stripFit) footSays(axis fitLine) float64 {
	if f.held {
		return 0
	}
	return f.hidSays(f.printThrough(axis, f.footPrint()))
}

// hidSays is the logarithm of how much likelier a thing is than a shadow where print shows through it as ratio of
// itself; 0 at least.
func (f *stripFit) hidSays(ratio, sigma float64) float64 {
	if math.IsInf(sigma, 1) {
		return 0
	}
	odd := oddFoot / footRange
	thing := (1-oddFoot)*bell(ratio, math.Hypot(footHid, sigma)) + odd
	shows := bell(ratio-footShows, math.Hypot(footCast, sigma))
	if f.ghost.sure() { // in the dark two frames may be merged, each with half of a thin line, beside the other's
		shows = (shows + bell(ratio-footShows/2, math.Hypot(footCast, sigma))) / 2
	}
	cast := (1-oddFoot)*shows + odd
	return max(0, math.Log(thing/cast))
}

// printPiece is a piece of the sheet's print that the strip runs over: what the ink covers there, blurred,
// and where along the strip, mm from the foot.
type printPiece struct {
	ink      func(p sheet.Point, blur float64) float64
	from, to float64
	behind   float64 // from where on, up to the foot, it is compared; 0: beside the strip
}

// printThrough is how strongly the print shows in the strip over how strongly it shows beside it, as
// parts of the light there: 1 through a shadow, 0 where it is covered. The sigma is infinite where
// too little is seen.
func (f *stripFit) printThrough(axis fitLine, p printPiece) (ratio, sigma float64) {
	none := math.Inf(1)
	mid := (p.from + p.to) / 2
	half, blur := (f.right.at(axis.mid)-f.left.at(axis.mid))/2, f.sigma(mid)
	edge := edgeInk*blur + clearInk
	core := max(half-edge, coreInk*half)
	in, inSigma := f.printSeen(axis, p, -core, core)
	beside, variance := f.printBeside(axis, p, half+edge+besideInk)
	// Ink takes no more than all the light: what seems to is another shadow's rim. Where it is not seen for sure,
	// as before a black head, nothing can be said.
	if besideSigma := math.Sqrt(variance); !(beside > max(leastInk, printSure*besideSigma)) || beside-printSure*besideSigma > 1 {
		return 0, none
	}
	ratio = in / beside
	sigma = math.Hypot(inSigma, ratio*math.Sqrt(variance)) / beside
	// What blur brings in from beside shows the print whatever lies there.
	leaks := f.leaks(mid, half, core)
	if leaks > mostLeaks {
		return 0, none
	}
	return (ratio - leaks) / (1 - leaks), sigma / (1 - leaks)
}

// printBeside is how strongly the print shows out of the strip, out mm and more from its axis, or behind
// the foot, with its variance.
func (f *stripFit) printBeside(axis fitLine, p printPiece, out float64) (part, variance float64) {
	n := 0.0
	look := func(p printPiece, from, to float64) {
		if v, sigma := f.printSeen(axis, p, from, to); !math.IsInf(sigma, 1) {
			part, variance, n = part+v, variance+sigma*sigma, n+1
		}
	}
	if p.behind < 0 {
		p.from, p.to = p.behind, -p.from
		look(p, p.behind, -p.behind)
	} else {
		look(p, -out-printSide, -out)
		look(p, out, out+printSide)
	}
	return part / n, variance / (n * n)
}

// leaks is the part of the light in a strip's core that blur brings in from beside it.
func (f *stripFit) leaks(s, half, core float64) float64 {
	const steps = 8
	blur, depth := f.sigma(s), f.depthAt(s)
	out, all := 0.0, 0.0
	for k := range steps {
		n := core * (2*(float64(k)+0.5)/steps - 1)
		inside := cdf((n+half)/blur) * cdf((half-n)/blur)
		out, all = out+1-inside, all+1-depth*inside
	}
	return out / all
}

// printSeen is by which part the light is less where the print is, from one place across the axis to
// another, with a sigma; that is infinite where too little is seen.
func (f *stripFit) printSeen(axis fitLine, print printPiece, from, to float64) (part, sigma float64) {
	step := printStep / f.pxAcross(print.from)
	var xs, vs []float64
	for s := print.from; s < print.to; s += step {
		mid := axis.follow(s)
		for n := from; n <= to; n += step {
			p := f.frame.at(s, mid+n)
			if v := f.light(p); !math.IsNaN(v) && !f.hides(p) {
				xs = append(xs, 1, s-print.from, n-from, print.ink(p, max(f.blur, inkBlur)))
				vs = append(vs, v)
			}
		}
	}
	if len(vs) < leastPrint {
		return 0, math.Inf(1)
	}
	x, y := mat.NewDense(len(vs), printTerms, xs), mat.NewVecDense(len(vs), vs)
	var normal, inverse mat.Dense
	var both, terms, rest mat.VecDense
	normal.Mul(x.T(), x)
	if inverse.Inverse(&normal) != nil {
		return 0, math.Inf(1)
	}
	both.MulVec(x.T(), y)
	terms.MulVec(&inverse, &both)
	rest.MulVec(x, &terms)
	rest.SubVec(y, &rest)
	// The light in the middle, where the ink would be none.
	light := terms.AtVec(0) + terms.AtVec(1)*(print.to-print.from)/2 + terms.AtVec(2)*(to-from)/2
	variance := inverse.At(printTerms-1, printTerms-1) * mat.Dot(&rest, &rest) / float64(len(vs)-printTerms) * alikePlaces
	return -terms.AtVec(printTerms-1) / light, math.Sqrt(variance) / light
}

// dialPrint is the ring and the ticks, up to where the strip ends.
func (f *stripFit) dialPrint(end float64) printPiece {
	return printPiece{func(p sheet.Point, blur float64) float64 { return dialInk(f.sheet, p, blur) }, printFrom, min(printTo, end), 0}
}

// footPrint is the printed foot, beyond the rod, which covers the print that it stands on.
func (f *stripFit) footPrint() printPiece {
	end := f.sheet.FootCross[1] + footPast
	blur := f.sigma(0)
	from := max(footFrom, (f.right.at(0)-f.left.at(0))/2+footSet+edgeInk*blur)
	if ring := f.sheet.FootRing; from > ring-f.sheet.FootLine/2 { // a line's outer edge alone tells blur
		from = max(from, ring+f.sheet.FootLine/2+edgeInk*blur)
	}
	ink := func(p sheet.Point, blur float64) float64 { return footInk(f.sheet, p, blur) }
	return printPiece{ink, min(from, end), end, -end}
}

// footInk is the part of a place that the foot's ring and cross cover, blurred.
func footInk(s *sheet.Sheet, p sheet.Point, blur float64) float64 {
	line := func(off float64) float64 {
		return cdf((off+s.FootLine/2)/blur) - cdf((off-s.FootLine/2)/blur)
	}
	r, arm := math.Hypot(p.X, p.Y), max(math.Abs(p.X), math.Abs(p.Y))
	cross := line(min(math.Abs(p.X), math.Abs(p.Y))) * cdf((arm-s.FootCross[0])/blur) * cdf((s.FootCross[1]-arm)/blur)
	return min(1, line(r-s.FootRing)+cross)
}

// dialInk is the part of a place that the ring's and the ticks' ink covers, blurred.
func dialInk(s *sheet.Sheet, p sheet.Point, blur float64) float64 {
	d := &s.Dial
	r := math.Hypot(p.X, p.Y)
	line := func(off, width float64) float64 {
		return cdf((off+width/2)/blur) - cdf((off-width/2)/blur)
	}
	ink := line(r-d.RingRadius, d.RingWidth)
	degree := math.Atan2(p.X, p.Y) * 180 / math.Pi
	for k := int(math.Round(degree)) - 1; float64(k) < degree+1.5; k++ {
		step := sheet.TickStep((k + 360) % 360)
		along := cdf((r-d.TickInnerRadius)/blur) * cdf((d.TickOuterRadius[step]-r)/blur)
		ink += line(r*(degree-float64(k))*math.Pi/180, d.TickWidth[step]) * along
	}
	return min(1, ink)
}
