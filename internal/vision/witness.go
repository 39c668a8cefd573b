package vision

import (
	"errors"
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// A dark line with two parallel edges that passes the foot need not be the shadow
// of the rod: creases, wires and roofs make such lines too. Four witnesses are
// heard, each of which can only speak against it.
//
//   - The foot stands in the light. In a large shadow the rod's foot casts none.
//   - The line begins at the foot and does not go on behind it, nor behind the rod's image.
//   - The rod itself is seen where the camera's place puts it, about as thick as
//     the strip is broad.
//   - The line is as dark as a shadow, or else as broad as one.
const (
	// creaseDepth and creaseWidth bound what passes for a crease: folds change the
	// light by less than a third over less than a millimetre and a half.
	creaseDepth = 0.35
	creaseWidth = 1.6 // mm
	// thickest is the greatest width that is taken for a rod's own, mm; a broader
	// dark has another shadow in it.
	thickest = 8.0
	// strayMost is how far a strip may pass the printed foot, mm, when nothing else
	// vouches for it: rods are set to half a millimetre.
	strayMost = 1.2
	// farStart is the greatest distance from the foot at which a strip whose
	// beginning the rod's image hides may come into view, mm.
	farStart = 38.0
	// farHeld is the same where the broader shadow of a nut or of clay fills the beginning:
	// clay of 6 mm under the sun at 8 degrees.
	farHeld = 44.0

	// hiddenBefore is how far before the strip's beginning, mm, the rod's image must lie for a
	// late beginning to be its doing.
	hiddenBefore = 3.0
	// The rod is as thick as the strip is broad within likeBreadth of it, and within
	// nearBreadth where the strip is a shadow for sure.
	likeBreadth, nearBreadth = 0.2, 0.25
	// leastGrowth is by how much the variance of a penumbra grows with the square of the
	// distance from the foot, at least: a disc of 0.533 degrees blurs as a normal law of
	// a quarter of its width, and more under a higher light.
	leastGrowth = 0.0093 * 0.0093 / 16
	// tooSharp is the part of leastGrowth under which, by sharpSure sigmas, no disc's penumbra
	// grows; without a rod in view it takes faintGrowth of it within growthSure sigmas.
	tooSharp, sharpSure     = 0.3, 4
	faintGrowth, growthSure = 0.9, 3
	// nearFoot, mm, is how far a strip may pass the foot for the paper beside that to be let
	// off, and passSure the sigmas of that place that any such bound is widened by.
	nearFoot, passSure = 1.0, 2
	// burntOut is the light of the paper, 1 where the sensor clips, above which a bright rod is
	// burnt out as well and cannot be missed.
	burntOut = 0.95
	// A strip narrower than leastOfRod of a rod that is seen, itself thinner than thickest, is
	// not that rod's.
	leastOfRod = 0.6
	// A line within besideRod of the rod's image that ends no more than pastImage beyond it
	// may be the rod itself.
	besideRod = 25 * angle.Degree
	// vouchGrowth is the part of leastGrowth that a penumbra must reach at most to be the sun's.
	vouchGrowth = 0.85
	// A breadth is the stated one within asBroad mm and asBroadPart of it: more lets a
	// line of about that breadth pass without other witnesses.
	asBroad, asBroadPart = 0.1, 0.04
)

// Where the paper about the foot is looked at, and what is light there. All mm.
const (
	// The half circle behind the foot, from aroundFrom outside its ring to nearBy, and where
	// a cork or clay covers that, on to beyondBy; every aroundStep and aroundTurn degrees, and
	// crossWide and crossEnd clear of the printed cross.
	aroundFrom, nearBy, beyondBy = 1.0, 9.5, 16.0
	aroundStep, aroundTurn       = 0.75, 5
	crossWide, crossEnd          = 0.8, 0.6
	// Light is what has litPaper of the paper's light. Half of nearLeast places make the foot
	// lit, beyond its holder clearTenths tenths of beyondLeastSeen.
	litPaper                   = 0.75
	nearLeast, beyondLeastSeen = 15, 60
	clearTenths                = 9
	// All about the foot to aboutBy, mm, aboutTenths of the paper lie in the light where no larger
	// shadow does: a rod's own is less.
	aboutBy, aboutTenths = 20.0, 8

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
	// beyond the edges, brighter than clearSide.
	beginFrom, beginTo, beginStep = 5.6, 14.0, 0.6
	beginClear, beginSide         = 4, 1.0
	clearPaper, clearSide         = 0.8, 0.7
	darkerThanCrease              = 0.5 // depth of a line for which the paper beyond the image is asked
	// There clearRun places in a row, half a centimetre, so that no highlight on the rod will
	// do, must have less than clearDepth of the line's depth and no more light than the
	// paper's by glint or glintNoise sigmas, in the middle and clearAside of the breadth off.
	clearRun          = 8
	clearDepth        = 0.3
	glint, glintNoise = 0.15, 5
	clearAside        = 0.35
)

// hearing is a strip before the witnesses.
type hearing struct {
	*search
	st   *Strip
	line frame // along the strip's axis
}

func (q *search) hear(st *Strip) *hearing {
	return &hearing{search: q, st: st, line: newFrame(st.Direction, st.FootOffset)}
}

// castByRod hears the witnesses; it returns nil when none speaks against the strip.
func (q *search) castByRod(st *Strip) error {
	h := q.hear(st)
	switch {
	case st.From > farStart && !(st.Held && st.From < farHeld):
		if q.hides(h.line.at(st.From-hiddenBefore, 0)) {
			return ErrRodHides
		}
		return ErrNoShadow
	case st.Depth < creaseDepth && st.Width < creaseWidth:
		return ErrNoShadow
	}
	thick, seen, told := h.look()
	own := st.vouched(q.rod)
	matched := own || thick > 0 && math.Abs(thick-st.Width) < likeBreadth*st.Width
	switch {
	case h.goesOn() && !(st.asBroadAs(q.rod) && h.footLit()):
		return ErrNoShadow
	case st.asBroadAs(q.rod):
	case st.Growth[1]+sharpSure*st.GrowthSigma < tooSharp*leastGrowth:
		return ErrNoShadow // as sharp far from the foot as near it: no disc's penumbra
	case !own && math.Abs(st.FootOffset) > strayMost+passSure*st.FootSigma:
		return ErrNoShadow
	default:
		asThick := thick > 0 && math.Abs(thick-st.Width) < nearBreadth*st.Width
		err := h.begins(own, seen && asThick)
		if err != nil && !(errors.Is(err, ErrRodHides) && asThick && (own || seen && h.alone())) {
			return err // but a strip that is a shadow, before a rod as thick as it is broad, is the rod's
		}
	}
	if !h.footLit() && !((seen || !told) && matched && math.Abs(st.FootOffset) < nearFoot+passSure*st.FootSigma) {
		return ErrFootShaded // the shaded foot casts nothing
	}
	beside := (st.Direction - q.img.direction()).Signed().Abs()
	switch {
	case q.dial.bright > burntOut: // where the paper is burnt out, a bright rod is too
		return nil
	case told && !seen:
		return ErrNoShadow
	case told && max(st.Width, 2*st.Head) < leastOfRod*thick && thick > 0 && thick < thickest && !matched:
		return ErrNoShadow
	case !told && !own && (st.Bow == 0 && st.seenSigma > vagueMost || st.Growth[1]+growthSure*st.GrowthSigma < faintGrowth*leastGrowth):
		return ErrNoShadow // no rod can be seen, and the line is a poor one or too sharp
	case !told && !own && beside < besideRod && q.img.length() > leastStrip && st.To < q.img.length()+pastImage:
		return ErrRodHides // nothing shows that the line is not the rod itself
	}
	return nil
}

// vouched reports whether the strip shows a mark of the rod's own shadow that a
// crease, a wire or a roof has not: it is as broad as the rod is known to be thick,
// or its penumbra is sure to grow from the foot, and may grow as the sun's disc makes it.
func (st *Strip) vouched(rod Rod) bool {
	if rod.DiameterMM > 0 {
		return st.asBroadAs(rod)
	}
	return st.Growth[0] > growthSure*st.GrowthSigma && st.Growth[1] > vouchGrowth*leastGrowth
}

// asBroadAs reports whether the strip is as broad as the rod is said to be thick.
func (st *Strip) asBroadAs(rod Rod) bool {
	return math.Abs(st.Width-rod.DiameterMM) < asBroad+asBroadPart*rod.DiameterMM
}

// footLit reports whether the paper around the back of the foot lies in the light: close
// to it, or where a cork or clay covers it, all about that.
func (h *hearing) footLit() bool {
	about := func(from, to float64) (lit, seen int) {
		for r := from; r < to; r += aroundStep {
			for a := -90; a <= 90; a += aroundTurn {
				dir := h.st.Direction + math.Pi + angle.FromDegrees(float64(a))
				p := sheet.Point{X: r * dir.Sin(), Y: r * dir.Cos()}
				onCross := min(math.Abs(p.X), math.Abs(p.Y)) < crossWide && r < h.sheet.FootCross[1]+crossEnd
				if onCross || h.hides(p) {
					continue
				}
				v := h.light(p)
				if math.IsNaN(v) {
					continue
				}
				seen++
				if v > litPaper {
					lit++
				}
			}
		}
		return lit, seen
	}
	if lit, seen := about(h.sheet.FootRing+aroundFrom, nearBy); seen >= nearLeast && 2*lit >= seen {
		return true
	}
	lit, seen := about(nearBy, beyondBy)
	return seen >= beyondLeastSeen && tenths(lit, seen, clearTenths)
}

// goesOn reports whether the line goes on behind the foot, looked at through the
// mask of the rod: a wire's shadow there is as dark as before it and even across, a
// rod's image by rare chance only.
func (h *hearing) goesOn() bool {
	same, seen := h.behind()
	return seen >= behindLeast && tenths(same, seen, behindTenths) && !(h.behindRod() && h.gone())
}

// behindRod reports whether the rod's image lies where the line would go on.
func (h *hearing) behindRod() bool {
	return (h.st.Direction + math.Pi - h.img.direction()).Signed().Abs() < behindImage
}

// gone reports whether the last of the plain paper behind the foot is clear, where a line that
// goes on would be: a rod's unlit side may look as its shadow does, but it ends.
func (h *hearing) gone() bool {
	b := h.img.plain
	for range clearRun {
		if b -= beginStep; !h.clear(b) {
			return false
		}
	}
	return true
}

// clear reports whether a place behind the foot is as light as paper, in the middle of where the
// line would go on and to both sides.
func (h *hearing) clear(b float64) bool {
	most := 1 + max(glint, glintNoise*h.st.Noise)
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
	same, seen := h.behind()
	switch {
	case seen < behindLeast || tenths(same, seen, unlikeTenths):
		return false
	case h.st.Depth < darkerThanCrease || !h.litAbout() || h.shadowBeyond():
		return false
	case h.st.Growth[1]+growthSure*h.st.GrowthSigma < faintGrowth*leastGrowth:
		return false
	}
	if _, _, ends := h.rodTop(h.st); !ends && h.st.Length == 0 {
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

// behind counts the places behind the foot that are seen, and those that look as the strip does.
func (h *hearing) behind() (same, seen int) {
	st, f, light := h.st, h.line, h.light
	core := max(coreLeast*st.Width, min(coreMost*st.Width, st.Width/2-coreClear))
	for b := behindFrom; b < behindTo; b += behindStep {
		a, m, c := light(f.at(-b, -core)), light(f.at(-b, 0)), light(f.at(-b, core))
		side := st.Width/2 + sideGap
		l, r := light(f.at(-b, -side)), light(f.at(-b, side))
		if math.IsNaN(a + m + c + l + r) {
			continue
		}
		seen++
		switch {
		case 1-m/min(l, r) < 0.5*st.Depth:
		case h.behindRod() && b < h.img.length():
			if s := 1 - st.Depth; max(math.Abs(a-s), math.Abs(m-s), math.Abs(c-s)) < evenDark {
				same++
			}
		default:
			same++
		}
	}
	return same, seen
}

// begins returns nil where the paper behind the foot is seen to be clear, so that the
// line begins there, and else says what is in the way. Where the rod's own image covers
// it, the line must be darker than any crease and the paper be seen to be clear beyond the image, where a wire's shadow
// would go on. A line whose penumbra vouches for it need only not be as dark behind, or
// be seen to be gone beyond another shadow that lies there, as must one that is as broad as
// the rod that is seen is thick.
func (h *hearing) begins(vouched, asThick bool) error {
	st, f, light := h.st, h.line, h.light
	bare, dark, hidden, all := 0, 0, 0, 0 // dark: half as dark as the line or more
	side := st.Width/2 + beginSide
	for b := beginFrom; b < beginTo; b += beginStep {
		all++
		if h.hides(f.at(-b, 0)) {
			hidden++
			continue
		}
		if light(f.at(-b, 0)) < 1-st.Depth/2 {
			dark++
		}
		if m, l, r := light(f.at(-b, 0)), light(f.at(-b, -side)), light(f.at(-b, side)); m > clearPaper && max(l, r) > clearSide {
			bare++
		}
	}
	inTheWay := ErrRodHides
	if 2*hidden <= all {
		inTheWay = ErrFootShaded
	}
	switch {
	case bare >= beginClear, vouched && 2*dark < all:
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
	if run == clearRun {
		return nil
	}
	return inTheWay
}
