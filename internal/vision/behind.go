package vision

import (
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// Where the paper behind the foot is looked at, along a line, and what goes on there. All mm.
const (
	// A line goes on where it is seen at behindLeast places from behindFrom to behindTo, each
	// behindStep, and behindTenths of them are half as dark as the strip, by what lies sideGap
	// beyond its edges. Fewer take the rod's dark image for a wire's shadow.
	behindFrom, behindTo, behindStep = 7.5, 30.0, 0.75
	behindLeast, behindTenths        = 8, 6
	unlikeTenths                     = 3 // of them, at which a rod's image is not told from the strip
	sideGap                          = 1.2
	// Behind the rod's image, within behindImage of it, a place counts if three places across
	// its core are as dark as the strip within evenDark: a shadow is even, a round rod is not.
	// The core is coreLeast to coreMost of the breadth, and coreClear from the edges' blur.
	behindImage         = 15 * angle.Degree
	evenDark            = 0.08
	coreLeast, coreMost = 0.1, 0.3
	coreClear           = 0.55

	// A line begins at the foot where of the places from beginFrom to beginTo behind it, each
	// beginStep, beginClear are clear: brighter than clearPaper, with a side, beginSide
	// beyond the edges, brighter than clearSide; or on a stain with stainEven of the light beside.
	beginFrom, beginTo, beginStep = 5.6, 14.0, 0.6
	beginClear, beginSide         = 4, 1.0
	clearPaper, clearSide         = 0.8, 0.7
	stainEven                     = 0.85
	darkerThanCrease              = 0.5 // depth of a line for which the paper beyond the image is asked
	// There clearRun places in a row, half a centimetre, so that no highlight on the rod will
	// do, must have less than clearDepth of the line's depth and no more light than the
	// paper's by glint or glintNoise sigmas, in the middle and clearAside of the breadth off.
	clearRun          = 8
	clearDepth        = 0.3
	glint, glintNoise = 0.15, 5
	clearAside        = 0.35
	// Past the plain paper, where it is seen between print and up to the page's edge, pastRun mm must be
	// as clear, in windows clearPart of the breadth to each side of those places, and no line as dark
	// over lineAgain be seen farther out.
	pastRun, clearPart, lineAgain = 6.0, 0.12, 3.0

	// All about the foot to aboutBy, mm, aboutTenths of the paper lie in the light where no larger
	// shadow does: a rod's own is less.
	aboutBy, aboutTenths = 20.0, 8
)

// goesOn reports whether the line goes on behind the foot, looked at through the
// mask of the rod: a wire's shadow there is as dark as before it and even across, a
// rod's image by chance, of an unlit side. Beside that image nothing but a line is dark.
func (h *hearing) goesOn() bool {
	all, clear := h.behind()
	switch {
	case clear.lead >= behindLeast:
		return true
	case !all.goesOn():
		return false
	}
	return !(h.behindRod() && (h.gone() || h.castWhole()))
}

// alike counts the places behind the foot that are seen, those that look as the strip does, and those of them before
// the first that does not: another shadow may cross farther out.
type alike struct{ same, seen, lead int }

func (a alike) goesOn() bool { return a.seen >= behindLeast && tenths(a.same, a.seen, behindTenths) }

// castWhole reports whether the strip's end is seen, and the light's disc for sure in its edges: a wire's
// shadow ends nowhere, and a stick's edges are alike all along.
func (h *hearing) castWhole() bool { return h.st.Length > 0 && h.discSays() < -surelyLies }

// behindRod reports whether the rod's image lies where the line would go on.
func (h *hearing) behindRod() bool {
	return (h.st.Direction + math.Pi - h.img.direction()).Signed().Abs() < behindImage
}

// gone reports whether the last of the plain paper behind the foot is clear, where a line that
// goes on would be, or paper farther out: a rod's unlit side may look as its shadow does, but it ends.
func (h *hearing) gone() bool {
	b := h.img.plain
	for range clearRun {
		if b -= beginStep; !h.clear(b) {
			return h.clearPast()
		}
	}
	return true
}

// clearPast reports whether the line is seen to be gone past the plain paper behind the foot: over
// pastRun each look at its place is as light as what lies to both sides, in the light, and so is what is seen
// farther out. A wire's shadow goes on to the page's edge, wherever before that the image of the rod, which may be
// as light as paper, ends.
func (h *hearing) clearPast() bool {
	f := h.st.fit
	if f == nil {
		return false
	}
	run, again, gone := 0.0, 0.0, false
	axis, most := f.axis(), 1+max(glint, glintNoise*h.st.Noise)
	for b := h.img.plain; b < farthest && again < lineAgain; b += followStep {
		p := f.frame.at(-b, axis.at(-b))
		if !onPage(p) || !f.g.contains(f.plate.Project(p), insidePicture) {
			break
		}
		cores, beside, seen := f.pastPrint(-b, axis.at(-b), h.st.Width)
		lit := beside > clearSide*f.lit(p)
		switch {
		case !seen || h.underRod(p): // print covers it, or the rod
		case lit && cores[0] > 1-clearDepth*h.st.Depth && cores[1] < most:
			run, again = run+followStep, 0
			gone = gone || run >= pastRun
		case gone && lit && cores[1] < 1-h.st.Depth/2:
			run, again = 0, again+followStep
		default:
			run, again = 0, 0
		}
	}
	return gone && again < lineAgain
}

// underRod reports whether the rod, known to be so high, covers a place: what is seen there is no paper's light.
func (h *hearing) underRod(p sheet.Point) bool { return h.img.known && h.hides(p) }

// pastPrint looks between print at a line of a breadth whose middle lies at a place: the least and the
// most light of its core, over that of the paper to both sides, and that. seen is false where ink hides
// one of them, or a side is another ground.
func (f *stripFit) pastPrint(s, mid, width float64) (cores [2]float64, beside float64, seen bool) {
	none := func(sheet.Point) bool { return false }
	w, seen := f.between(s, mid, width, none, none)
	if !seen {
		return cores, 0, false
	}
	l, r, left, right := w.flanks()
	if !(l > alikeFlanks*r && r > alikeFlanks*l) || !left || !right {
		return cores, 0, false
	}
	beside, cores = (l+r)/2, [2]float64{math.Inf(1), math.Inf(-1)}
	for _, n := range [3]float64{-clearAside, 0, clearAside} {
		v := w.light((n-clearPart)*width, (n+clearPart)*width) / beside
		if math.IsNaN(v) {
			return cores, 0, false
		}
		cores[0], cores[1] = min(cores[0], v), max(cores[1], v)
	}
	return cores, beside, true
}

// lacks reports whether the line is surely not at a place in the sun, by the light there and beside:
// as bright as paper, or on a stain as dark as that beside.
func (h *hearing) lacks(middle, beside float64) bool {
	return beside > clearSide && (middle > clearPaper || h.st.Depth > creaseDepth && middle > stainEven*beside)
}

// clear reports whether a place behind the foot is as light as paper, in the middle of where the
// line would go on and to both sides.
func (h *hearing) clear(b float64) bool {
	most := 1 + max(glint, glintNoise*h.st.Noise)
	if h.underRod(h.line.at(-b, 0)) {
		return false
	}
	for _, n := range []float64{-clearAside, 0, clearAside} {
		if v := h.light(h.line.at(-b, n*h.st.Width)); !(v > 1-clearDepth*h.st.Depth && v < most) {
			return false
		}
	}
	return true
}

// alone reports whether no other line can be the rod's shadow, where its image covers the paper
// behind the foot: a rod unlike the strip is seen to stand in the light, and so casts a shadow;
// that is no other line on the dial, nor one behind the image, since that ends before what lies
// beside, or the strip itself does. A wire's shadow ends nowhere.
func (h *hearing) alone() bool {
	behind, _ := h.behind()
	switch {
	case behind.seen < behindLeast || tenths(behind.same, behind.seen, unlikeTenths):
		return false
	case h.st.Depth < darkerThanCrease || !h.litAbout() || h.shadowBeyond() || h.st.faintGrows():
		return false
	}
	if at, sigma, ends := h.rodTop(h.st); !(ends && sigma < surelyTop*at) && h.st.Length == 0 {
		return false
	}
	own, rival := 0.0, 0.0
	for _, r := range h.rays {
		if (r.dir - h.st.Direction).Signed().Abs() < besideImage {
			own = max(own, r.score)
		} else {
			rival = max(rival, r.score)
		}
	}
	return rival < rivalScore*own
}

// unrivalled reports whether the sun's disc is surely in the strip's edges, its end is seen, and the rod casts no
// other: a strip that is known for the rod's by its breadth or its growth, too, is cast by nothing else.
func (h *hearing) unrivalled() bool { return h.castWhole() && h.alone() }

// litAbout reports whether the paper all about the foot lies in the light, so that no shadow of
// the rod is lost in a larger one.
func (h *hearing) litAbout() bool {
	lit, seen := 0, 0
	for j, row := range h.dial.ratio {
		if h.dial.radius(j) > aboutBy {
			break
		}
		for _, v := range row {
			if math.IsNaN(v) {
				continue
			}
			seen++
			if v > litPaper {
				lit++
			}
		}
	}
	return tenths(lit, seen, aboutTenths)
}

// behind looks at the places behind the foot: at all that are near, and at those clear of the image of a rod as thick
// as the strip is broad, up to the plain paper's end: a stick may stand as far behind.
func (h *hearing) behind() (all, clear alike) {
	st, f, light := h.st, h.line, h.light
	core := max(coreLeast*st.Width, min(coreMost*st.Width, st.Width/2-coreClear))
	image := *h.img
	image.radius = max(image.radius, st.Width/2+rodMargin)
	for b := behindFrom; b < max(behindTo, h.img.plain); b += behindStep {
		a, m, c := light(f.at(-b, -core)), light(f.at(-b, 0)), light(f.at(-b, core))
		side := st.Width/2 + sideGap
		l, r := light(f.at(-b, -side)), light(f.at(-b, side))
		if math.IsNaN(a + m + c + l + r) {
			continue
		}
		same := 1-m/min(l, r) >= 0.5*st.Depth
		under := image.hides(f.at(-b, -core)) || image.hides(f.at(-b, 0)) || image.hides(f.at(-b, core))
		if under && same {
			s := 1 - st.Depth
			same = max(math.Abs(a-s), math.Abs(m-s), math.Abs(c-s)) < evenDark
		}
		if b < behindTo {
			all.add(same)
		}
		if !under {
			clear.add(same)
		}
	}
	return all, clear
}

func (a *alike) add(same bool) {
	a.seen++
	if !same {
		return
	}
	if a.same++; a.same == a.seen {
		a.lead = a.same
	}
}

// begins returns nil where the paper behind the foot is seen to be clear, so that the
// line begins there, and else says what is in the way. Where the rod's own image covers
// it, the line must be darker than any crease and the paper be seen to be clear beyond the image,
// where a wire's shadow would go on; past the plain paper its penumbra must vouch for it, or it be as broad as the
// rod that is seen is thick. A line whose penumbra vouches for it need only not be as dark behind, or
// be seen to be gone beyond another shadow that lies there, as must one that is as broad as
// the rod that is seen is thick; in a shade broader than the line its end must be seen.
func (h *hearing) begins(vouched, asThick bool) error {
	st, f, light := h.st, h.line, h.light
	bare, dark, broad, hidden, all := 0, 0, 0, 0, 0 // dark: half as dark as the line or more; broad: to both sides, too
	side := st.Width/2 + beginSide
	for b := beginFrom; b < beginTo; b += beginStep {
		all++
		if h.hides(f.at(-b, 0)) {
			hidden++
			continue
		}
		middle, beside := light(f.at(-b, 0)), max(light(f.at(-b, -side)), light(f.at(-b, side)))
		if middle < 1-st.Depth/2 {
			dark++
			if beside < 1-st.Depth/2 {
				broad++
			}
		}
		if h.lacks(middle, beside) {
			bare++
		}
	}
	inTheWay := ErrRodHides
	if 2*hidden <= all {
		inTheWay = ErrFootShaded
	}
	switch {
	case bare >= beginClear, vouched && 2*dark < all, vouched && 2*(dark-broad) < all && h.castWhole():
		return nil
	case !vouched && (st.Depth < darkerThanCrease || !asThick && inTheWay == ErrFootShaded):
		return inTheWay
	}
	run := 0
	for b := beginTo; b < h.img.plain && run < clearRun; b += beginStep {
		if run++; !h.clear(b) {
			run = 0
		}
	}
	if run == clearRun || (vouched || asThick) && h.clearPast() {
		return nil
	}
	return inTheWay
}
