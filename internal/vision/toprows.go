package vision

import (
	"math"
	"slices"

	"shadowread/internal/sheet"
)

// How the rod's image is looked at. Lengths are mm on the paper.
const (
	topStep, topReach = 0.25, 220.0
	// No rod on a sheet of this size is higher than tallestTop, mm (common practice). From straight above it is seen
	// near the foot, however high, and what ends farther out is another thing.
	tallestTop = 250.0
	topBlur    = 0.006 // of the distance: what the strip's edge is blurred by, of the ground beside the image
	// What lies beside is the quantile besideUpper, which sees past thin ink, of places from
	// besideFrom to besideTo beyond the image's edge, each besideStep, on three lines besideAlong
	// apart; leastBeside must be free of a mark's black. The image's edge is let go by
	// maskGrows of its height.
	besideFrom, besideTo, besideStep = 1.2, 3.0, 0.45
	besideAlong, besideUpper         = 0.4, 0.7
	leastBeside                      = 4
	besideLooks                      = 16 // room for them
	// The ground is known to groundSigma of its light, to oneSided more where it is seen on
	// one side, to what its places between besideLeast and besideMost differ, and to what those
	// from besideHead on, where no head is, differ from it on both sides.
	groundSigma, oneSided   = 0.06, 0.1
	besideLeast, besideMost = 0.25, 0.85
	besideHead              = 7.5
	beadHalf                = 7.0 // mm of height about a stated nodus that it may take
	// Black is printedBlack of the paper's light, and vague.
	printedBlack, printedVague = 0.15, 0.7
	toldLeast                  = 4   // of a row's places that must be told
	thinInk                    = 0.4 // to each side, past which ticks and numerals are looked
	aboutRing                  = 1.0 // inside the ring, where the print begins

	// A head is looked for over headRun before the end, in steps of headEvery, and to
	// headReach at each side; it is one where the image is broad from headStart to headStop half
	// widths before the end. Holes of headHole steps are none. Its breadth is the quantile
	// headUpper.
	headRun, headReach, headEvery = 15.0, 12.0, 0.3
	headHole                      = 3
	headStart, headStop           = 0.8, 1.8
	headUpper                     = 0.85
)

// topRow is the light seen across the rod's image at a distance from the foot, and what would
// be seen there if nothing stood before the ground.
type topRow struct {
	d, beside float64
	light     [len(topColumns)]float64 // NaN where nothing is told
	ground    [len(topColumns)]float64
	vague     [len(topColumns)]float64 // one sigma of the ground's light, as a part
	sides     [2]float64               // the ground's light on either side
	even      float64                  // one sigma of that, as a part
	head      bool                     // a head's or a bead's image may lie on both
	ink       bool                     // among ticks and numerals
}

// stands reports whether what is seen at a place of a row differs from the ground, which may
// be no ink there, by a part of its light and by some of its sigmas.
func (w *topRow) stands(k int, differs, sigmas float64) bool {
	return w.vague[k] != printedVague && math.Abs(w.light[k]/w.ground[k]-1) > max(differs, sigmas*w.vague[k])
}

// grounds is how likely the light of a place is the ground's: that of a side, as up to the
// edge of a shade, or what lies between.
func (w *topRow) grounds(k int) float64 {
	seen := dark(w.light[k]/w.ground[k]) + math.Log(w.ground[k])
	between := likely(seen-math.Log(w.ground[k]), w.vague[k])
	if w.vague[k] == printedVague {
		return between
	}
	return (likely(seen-math.Log(w.sides[0]), w.even) + between + likely(seen-math.Log(w.sides[1]), w.even)) / 3
}

// odd is at how many places something stands.
func (w *topRow) odd(differs, sigmas float64) (n int) {
	for k := range w.light {
		if w.stands(k, differs, sigmas) {
			n++
		}
	}
	return n
}

// rows looks along the rod's image until it has plainly ended, and a rim with it. Rows over the
// lubber line, and those beside which nothing is seen, are left out.
func (l *lookUp) rows() (rows []topRow, weighed *endings) {
	weighed = newEndings()
	r, st, f := l.img, l.st, l.line
	strip := newFrame(st.Direction, st.FootOffset)
	for d := clearOfFoot; d < topReach && r.heightBefore(d) < tallestTop; d += topStep {
		p := f.at(d, 0)
		half := st.Width / 2 * r.grown(d)
		// What lies beside the image must be ground, and none of the shadow.
		apart := st.Width/2 + topBlur*d + half + maskGrows*r.heightBefore(d) + besideTo
		if along, across := strip.place(p); along > 0 && math.Abs(across) < apart {
			if len(rows) > 0 {
				return rows, weighed
			}
			continue
		}
		if math.IsNaN(l.raw(p)) {
			return rows, weighed
		}
		onLubber, mark := covered(l.sheet, p, 2*half)
		if onLubber {
			continue
		}
		if w, ok := l.row(d, half, mark); ok {
			rows = append(rows, w)
			weighed.take(&w, l.differs)
			if weighed.over && d-rows[weighed.best].d >= topRim {
				break
			}
		}
	}
	return rows, weighed
}

// row looks at one place of the rod's image, where that has a half width. ok is false where
// too little is seen there or beside.
func (l *lookUp) row(d, half float64, mark *sheet.Mark) (w topRow, ok bool) {
	look := l.past(mark)
	edge := half + maskGrows*l.img.heightBefore(d)
	w = topRow{d: d, ink: inBand(l.sheet, l.line.at(d, 0))}
	w.sides, w.even, w.head = l.flanks(d, edge, look)
	sides := w.sides
	w.beside = (sides[0] + sides[1]) / 2
	vague := math.Hypot(w.even, math.Log(sides[1]/sides[0])/2)
	if !(w.beside > leastLight) {
		return w, false
	}
	told, out := 0, edge+(besideFrom+besideTo)/2
	for k, n := range topColumns {
		n *= max(half, leastHalf)
		v, white := look(d, n)
		w.light[k], w.vague[k], w.ground[k] = v, vague, sides[0]+(sides[1]-sides[0])*(n+out)/(2*out)
		switch {
		case w.ink && math.Abs(math.Abs(n)-half) < thinInk: // the look past thin ink reaches over the rod's edge
			w.light[k] = math.NaN()
			told++
		case white:
			told++
		case v < black*w.beside || !soaked(mark, l.line.at(d, n)): // a mark's black or its blur, or what is as dark before it
			w.light[k] = math.NaN()
		default:
			told++
			w.ground[k], w.vague[k] = w.ground[k]*printedBlack, printedVague
		}
	}
	return w, told >= toldLeast
}

// flanks is the light on either side of the rod's image, which reaches to an edge, with one
// sigma, as a part. Where one side is not seen the other stands for it; NaN where none is. head
// tells that both differ from what lies farther out, as what is turned about the rod does.
func (l *lookUp) flanks(d, edge float64, look func(d, n float64) (v float64, white bool)) (sides [2]float64, even float64, head bool) {
	var room [besideLooks]float64
	beyond := func(side, from float64) (vs []float64) { // ascending
		vs = room[:0]
		for _, along := range [3]float64{-besideAlong, 0, besideAlong} {
			for n := from; n < from+besideTo-besideFrom; n += besideStep {
				if v, white := look(d+along, side*(edge+n)); white && v > 0 {
					vs = append(vs, v)
				}
			}
		}
		slices.Sort(vs)
		return vs
	}
	of := func(vs []float64, q float64) float64 { return vs[int(q*float64(len(vs)-1))] } // as quantile
	even = groundSigma
	var nearer [2]float64 // than what lies farther out, in e-folds; NaN where that is not seen
	for k, side := range [2]float64{-1, 1} {
		sides[k], nearer[k] = math.NaN(), math.NaN()
		vs := beyond(side, besideFrom)
		if len(vs) < leastBeside {
			continue
		}
		sides[k] = of(vs, besideUpper) // thin ink beside is brighter between
		even = math.Hypot(even, math.Log(of(vs, besideMost)/of(vs, besideLeast))/2)
		if far := beyond(side, besideHead); len(far) >= leastBeside {
			nearer[k] = math.Log(sides[k] / of(far, besideUpper))
		}
	}
	for k := range sides {
		if math.IsNaN(nearer[k]) {
			nearer[k] = nearer[1-k]
		}
		if math.IsNaN(sides[k]) && !math.IsNaN(sides[1-k]) {
			sides[k], even = sides[1-k], math.Hypot(even, oneSided)
		}
	}
	if nearer[0]*nearer[1] > 0 {
		both := min(math.Abs(nearer[0]), math.Abs(nearer[1]))
		even, head = math.Hypot(even, both), both > l.differs
	}
	return sides, even, head || l.rod.NodusMM > 0 && math.Abs(l.img.heightBefore(d)-l.rod.NodusMM) < beadHalf
}

// past looks at places along and across the rod's image. white is whether the paper
// is bare there, but for thin ink, which is looked past.
func (l *lookUp) past(mark *sheet.Mark) func(d, n float64) (v float64, white bool) {
	return func(d, n float64) (float64, bool) {
		p := l.line.at(d, n)
		if !inBand(l.sheet, p) {
			return l.raw(p), mark == nil || !inked(mark, p)
		}
		var room [9]float64
		vs := room[:0]
		for _, along := range [3]float64{-thinInk, 0, thinInk} {
			for _, across := range [3]float64{-thinInk, 0, thinInk} {
				vs = append(vs, l.raw(l.line.at(d+along, n+across)))
			}
		}
		return quantile(vs, upperFifth), mark == nil || !inked(mark, p)
	}
}

// headWidth is the breadth of a head at the end of the rod's image, half being the rod's half
// width there, mm on the paper: alike on both sides, and at the end itself, where a bead below
// it is not. It is told from the ground about the end and from that where the rod is bare. ok
// is false where something wider is in the way, or ticks and numerals.
func (l *lookUp) headWidth(rows []topRow, end rodEnd, half float64) (width float64, ok bool) {
	ground := [2]float64{rows[end.seen].beside, rows[end.seen].beside}
	for _, w := range rows[:end.rows] {
		if w.d > end.d-headRun {
			ground[1] = w.beside
			break
		}
	}
	var near, all []float64
	looks := 0
	for x := headStart * half; x < headRun; x += headEvery {
		reach := min(l.reach(end.d-x, -1, ground), l.reach(end.d-x, 1, ground))
		seen := reach < headReach-headEvery && !inBand(l.sheet, l.line.at(end.d-x, 0))
		if x < headStop*half {
			looks++
			if seen {
				near = append(near, 2*reach)
			}
		} else if seen && 2*reach < headBroad*half {
			break // the bare rod
		}
		if seen {
			all = append(all, 2*reach)
		}
	}
	if width = quantile(near, 0.5); width > headBroad*half {
		width = quantile(all, headUpper)
	}
	return width, 2*len(near) > looks
}

// reach is how far to a side something differs from both grounds and from what lies between them.
func (l *lookUp) reach(d, side float64, ground [2]float64) (n float64) {
	_, mark := covered(l.sheet, l.line.at(d, 0), headReach)
	look := l.past(mark)
	low, high := min(ground[0], ground[1]), max(ground[0], ground[1])
	for gap := 0.0; n < headReach && gap < headHole*headEvery; {
		at := n + gap + headEvery
		v, white := look(d, side*at)
		if (v < (1-l.differs)*low || v > (1+l.differs)*high) && (white || v > black*low) {
			n, gap = at, 0
		} else {
			gap += headEvery
		}
	}
	return n
}
