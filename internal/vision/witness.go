package vision

import (
	"errors"
	"math"
	"sync"

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
	// beginning the rod's image hides may come into view, or one of its edges, mm.
	farStart = 38.0
	// farHeld is the same where the broader shadow of a nut or of clay fills the beginning: clay of
	// 6 mm under the sun at 8 degrees, to its rim 5 mm behind the rod, and what is left out beyond that.
	farHeld = 49.0

	// An edge is followed towards the foot every freeStep by places freeBlur sigmas of the blur and
	// freeGap off it to both sides, over holes of less than freeHole, all mm.
	freeStep, freeHole = 0.5, 2.5
	freeBlur, freeGap  = 1.3, 0.2
	// hiddenBefore is how far before the strip's beginning, mm, the rod's image must lie for a
	// late beginning to be its doing.
	hiddenBefore = 3.0
	// The rod is as thick as the strip is broad within likeBreadth of it, and within
	// nearBreadth where the strip is a shadow for sure.
	likeBreadth, nearBreadth = 0.2, 0.25
	// Of a rod half of which is as dark as the shade that it stands in, halfShows is seen at least.
	halfShows = 0.55
	// leastGrowth is by how much the variance of a penumbra grows with the square of the
	// distance from the foot, at least: the sun's disc blurs as a normal law of
	// a quarter of its width, and more under a higher light.
	leastGrowth = sunDisc * sunDisc / 16
	// tooSharp is the part of leastGrowth under which, by sharpSure sigmas, no disc's penumbra
	// grows; without a rod in view it takes faintGrowth of it within growthSure sigmas.
	tooSharp, sharpSure     = 0.3, 3
	faintGrowth, growthSure = 0.9, 3
	// nearFoot, mm, is how far a strip may pass the foot for the paper beside that to be let
	// off, and passSure the sigmas of that place that any such bound is widened by.
	nearFoot, passSure = 1.0, 2
	// burntOut is the light of the paper, 1 where the sensor clips, above which a bright rod is
	// burnt out as well and cannot be missed.
	burntOut = 0.95
	// A strip narrower than leastOfRod of a rod that is seen below its head, itself thinner than
	// thickest, is not that rod's.
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
)

// hearing is a strip before the witnesses.
type hearing struct {
	*search
	st   *Strip
	line frame // along the strip's axis
	// discSays is that of the strip; 0 where nothing can be said.
	discSays func() float64
	// headSeen is the head that the strip ends in as the rod is seen to wear it; nil where it is not.
	headSeen func() *headImage
}

func (q *search) hear(st *Strip) *hearing {
	h := &hearing{search: q, st: st, line: newFrame(st.Direction, st.FootOffset)}
	h.discSays, h.headSeen = sync.OnceValue(h.weighDisc), sync.OnceValue(h.seekHead)
	return h
}

// castByRod hears the witnesses; it returns nil when none speaks against the strip.
func (q *search) castByRod(st *Strip) error {
	h := q.hear(st)
	look := h.look()
	thick, seen, told := look.thick, look.seen, look.told
	own := st.vouched(q.rod)
	matched := own || thick > 0 && math.Abs(thick-st.Width) < likeBreadth*st.Width
	late := st.From > farStart && !(st.Held && st.From < farHeld) && !(matched && h.unrivalled())
	switch {
	case late && !h.imageBefore():
		return ErrNoShadow
	case late && h.seenFrom() > farStart:
		return ErrRodHides
	case st.Depth < creaseDepth && st.Width < creaseWidth:
		return ErrNoShadow
	}
	headed := h.headSeen() != nil
	seen, told = seen || headed, told || headed // who wears the head that the strip ends in stands there
	switch {
	// Among things that lie about only what is sure to be as broad as the rod, and may blur as a
	// shadow does, is heard.
	case q.among && (!st.asBroadAs(q.rod) || st.faintGrows()):
		return ErrNoShadow
	case h.goesOn() && !(st.asBroadAs(q.rod) && h.footLit()):
		return ErrNoShadow
	case h.softFoot():
		return ErrNoShadow // cast from elsewhere
	case st.asBroadAs(q.rod):
	case st.Growth[1]+sharpSure*st.GrowthSigma < tooSharp*leastGrowth && h.discSays() >= 0:
		return ErrNoShadow // as sharp far from the foot as near it: no disc's penumbra
	case (!own || st.Width > thickest) && math.Abs(st.FootOffset) > strayMost+passSure*st.FootSigma:
		return ErrNoShadow // or two beside each other in one
	default:
		asThick := thick > 0 && math.Abs(thick-st.Width) < nearBreadth*st.Width
		err := h.begins(own || h.merges(look) || h.rod.DiameterMM == 0 && h.castWhole(), seen && asThick)
		if err != nil && !headed && !(asThick && (own || h.castWhole() || errors.Is(err, ErrRodHides) && seen && h.alone())) {
			return err // but a strip that is a shadow, before a rod as thick as it is broad, is the rod's
		}
	}
	if !h.footLit() && !((seen || !told) && (matched || h.merges(look)) && math.Abs(st.FootOffset) < nearFoot+passSure*st.FootSigma) {
		return ErrFootShaded // the shaded foot casts nothing
	}
	beside := (st.Direction - q.img.direction()).Signed().Abs()
	switch {
	case q.dial.bright > burntOut: // where the paper is burnt out, a bright rod is too
	case told && !seen && !(own && h.underHead() && h.discSays() < -surelyLies):
		return ErrNoShadow
	case told && look.bare && max(st.Width, 2*st.Head) < leastOfRod*thick && thick < thickest && !matched:
		return ErrNoShadow
	case h.tooBroad(look), h.twoEnds():
		return ErrNoShadow
	case !told && !own && (st.Bow == 0 && st.seenSigma > vagueMost || !st.cast && h.faintGrows()):
		return ErrNoShadow // no rod can be seen, and the line is a poor one or too sharp
	case !told && !own && beside < besideRod && q.img.length() > leastStrip && st.To < q.img.length()+pastImage:
		return ErrRodHides // nothing shows that the line is not the rod itself
	}
	if h.footBare() {
		return ErrNoShadow // nothing stands there
	}
	if h.lies(seen || own) {
		return ErrLies
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

// faintGrows reports whether the penumbra grows less than a disc's, though its sigma be allowed.
func (st *Strip) faintGrows() bool {
	return st.Growth[1]+growthSure*st.GrowthSigma < faintGrowth*leastGrowth
}

// imageBefore reports whether the rod's image lies over a part of the strip's breadth, or over what
// its edges are measured by, just before the strip begins: no row can be measured there.
func (h *hearing) imageBefore() bool {
	at, reach := h.st.From-hiddenBefore, h.st.Width/2
	if h.st.fit != nil {
		reach += h.st.fit.edgeSpan(at)
	}
	for _, n := range [3]float64{-reach, 0, reach} {
		if h.hides(h.line.at(at, n)) {
			return true
		}
	}
	return false
}

// seenFrom is from where on the strip is seen, mm from the foot: where the rod's image covers one of its
// edges, the other shows it, dark within and light beyond where the strip's own line has it.
func (h *hearing) seenFrom() (from float64) {
	from = h.st.From
	f, axis, side := h.st.fit, fitLine{}, 1.0
	if f == nil {
		return from
	}
	axis = f.axis()
	if (h.img.direction() - h.st.Direction).Signed() > 0 {
		side = -1
	}
	light := func(s, n float64) float64 {
		if p := f.frame.at(s, axis.at(s)+side*n); !h.hides(p) {
			return h.light(p)
		}
		return math.NaN()
	}
	for s := from; s > shadowStart && from-s < freeHole; s -= freeStep {
		off := freeBlur*f.sigma(s) + freeGap
		if half := 1 - f.depthAt(s)/2; light(s, h.st.Width/2-off) < half && light(s, h.st.Width/2+off) > half {
			from = s
		}
	}
	return from
}

// merges reports whether the rod seems too thick for one, or else shows some of itself alone, since the
// shade that its foot stands in is seen beside it, and the strip's penumbra is sure to be cast from the foot,
// by the rod's part that stands out of that shade. In the shade the side away from the light may be as dark:
// a strip that may be cast from the foot is the rod's where at least half of its breadth is seen.
func (h *hearing) merges(look rodSeen) bool {
	if h.rod.DiameterMM > 0 || !look.inShade && look.thick <= thickest {
		return false
	}
	most := -surelyLies
	if part := look.thick / h.st.Width; look.inShade && part > halfShows && part < 1+likeBreadth {
		most = -maybeCast
	}
	return h.discSays() < most
}

// discHidden tells that the strip does not show the light's disc: the moon's lit part may be
// narrow, and of burnt-out paper the lit part of a penumbra is not seen.
func (h *hearing) discHidden() bool { return h.rod.Moonlit || h.dial.bright > burntOut }

func (h *hearing) weighDisc() float64 {
	if f := h.st.fit; f != nil && !h.rod.Hangs && !h.discHidden() {
		return f.discSays(f.axis(), h.st)
	}
	return 0
}

// faintGrows is that of the strip, unless the disc is seen in its edges and its end: a telephone's
// sharpening steepens the blurred edges more than the sharp ones, and is fitted with the disc.
func (h *hearing) faintGrows() bool { return h.st.faintGrows() && h.discSays() > -maybeCast }

// asBroadAs reports whether the strip is as broad as the rod is said to be thick.
func (st *Strip) asBroadAs(rod Rod) bool {
	return math.Abs(st.Width-rod.DiameterMM) < asBroad+asBroadPart*rod.DiameterMM
}

// footLit reports whether the paper around the back of the foot lies in the light: close
// to it, or where a cork or clay covers it, all about that. What the rod's head hides tells nothing.
func (h *hearing) footLit() bool {
	head := h.headSeen()
	about := func(from, to float64) (lit, seen int) {
		for r := from; r < to; r += aroundStep {
			for a := -90; a <= 90; a += aroundTurn {
				dir := h.st.Direction + math.Pi + angle.FromDegrees(float64(a))
				p := sheet.Point{X: r * dir.Sin(), Y: r * dir.Cos()}
				onCross := min(math.Abs(p.X), math.Abs(p.Y)) < crossWide && r < h.sheet.FootCross[1]+crossEnd
				if onCross || h.hides(p) || head != nil && head.covers(p) {
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
