package vision

import (
	"errors"
	"math"
	"slices"

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
	// lookAside is how far to each side the rod is looked for, mm on the paper: a cork of
	// 14 mm, seen nearer to the camera, has 10 and paper beside it.
	lookAside = 12.0
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
		if q.hides(h.line.at(st.From-3, 0)) {
			return ErrRodHides
		}
		return ErrNoShadow
	case st.Depth < creaseDepth && st.Width < creaseWidth:
		return ErrNoShadow
	}
	thick, seen, told := h.look()
	own := st.vouched(q.rod)
	matched := own || thick > 0 && math.Abs(thick-st.Width) < 0.2*st.Width
	switch {
	case h.goesOn() && !(st.asBroadAs(q.rod) && h.footLit()):
		return ErrNoShadow
	case st.asBroadAs(q.rod):
	case st.Growth[1]+4*st.GrowthSigma < 0.3*leastGrowth:
		return ErrNoShadow // as sharp far from the foot as near it: no disc's penumbra
	case !own && math.Abs(st.FootOffset) > strayMost+2*st.FootSigma:
		return ErrNoShadow
	default:
		asThick := own && thick > 0 && math.Abs(thick-st.Width) < 0.25*st.Width
		if err := h.begins(own); err != nil && !(errors.Is(err, ErrRodHides) && asThick) {
			return err // but a strip that is a shadow, before a rod as thick as it is broad, is the rod's
		}
	}
	if !h.footLit() && !((seen || !told) && matched && math.Abs(st.FootOffset) < 1+2*st.FootSigma) {
		return ErrFootShaded // the shaded foot casts nothing
	}
	beside := (st.Direction - q.img.direction()).Signed().Abs()
	switch {
	case q.dial.bright > 0.95: // where the paper is burnt out, a bright rod is too
		return nil
	case told && !seen:
		return ErrNoShadow
	case told && st.Width < 0.6*thick && thick > 0 && thick < thickest && !matched:
		return ErrNoShadow
	case !told && !own && (st.Bow == 0 && st.Sigma > vagueMost || st.Growth[1]+3*st.GrowthSigma < 0.9*leastGrowth):
		return ErrNoShadow // no rod can be seen, and the line is a poor one or too sharp
	case !told && !own && beside < 25*angle.Degree && q.img.length() > leastStrip && st.To < q.img.length()+8:
		return ErrRodHides // nothing shows that the line is not the rod itself
	}
	return nil
}

// leastGrowth is by how much the variance of a penumbra grows with the square of the
// distance from the foot, at least: a disc of 0.533 degrees blurs as a normal law of
// a quarter of its width, and more under a higher light.
const leastGrowth = 0.0093 * 0.0093 / 16

// vouched reports whether the strip shows a mark of the rod's own shadow that a
// crease, a wire or a roof has not: it is as broad as the rod is known to be thick,
// or its penumbra is sure to grow from the foot, and may grow as the sun's disc makes it.
func (st *Strip) vouched(rod Rod) bool {
	if rod.DiameterMM > 0 {
		return st.asBroadAs(rod)
	}
	return st.Growth[0] > 3*st.GrowthSigma && st.Growth[1] > 0.85*leastGrowth
}

// asBroadAs reports whether the strip is as broad as the rod is said to be thick.
func (st *Strip) asBroadAs(rod Rod) bool {
	return math.Abs(st.Width-rod.DiameterMM) < 0.1+0.04*rod.DiameterMM
}

// footLit reports whether the paper around the back of the foot lies in the light: close
// to it, or where a cork or clay covers it, all about that.
func (h *hearing) footLit() bool {
	about := func(from, to float64) (lit, seen int) {
		for r := from; r < to; r += 0.75 {
			for a := -90; a <= 90; a += 5 {
				dir := h.st.Direction + math.Pi + angle.FromDegrees(float64(a))
				p := sheet.Point{X: r * dir.Sin(), Y: r * dir.Cos()}
				onCross := min(math.Abs(p.X), math.Abs(p.Y)) < 0.8 && r < h.sheet.FootCross[1]+0.6
				if onCross || h.hides(p) {
					continue
				}
				v := h.light(p)
				if math.IsNaN(v) {
					continue
				}
				seen++
				if v > 0.75 {
					lit++
				}
			}
		}
		return lit, seen
	}
	const nearBy, beyond = 9.5, 16.0 // mm
	if lit, seen := about(h.sheet.FootRing+1, nearBy); seen >= 15 && 2*lit >= seen {
		return true
	}
	lit, seen := about(nearBy, beyond)
	return seen >= 60 && 10*lit >= 9*seen
}

// goesOn reports whether the line goes on behind the foot, looked at through the
// mask of the rod: a wire's shadow there is as dark as before it and even across, a
// rod's image by rare chance only.
func (h *hearing) goesOn() bool {
	st, f, light := h.st, h.line, h.light
	behindRod := (st.Direction + math.Pi - h.img.direction()).Signed().Abs() < 15*angle.Degree
	core := max(0.1*st.Width, min(0.3*st.Width, st.Width/2-0.55)) // mm, clear of the blur
	same, seen := 0, 0
	for b := 7.5; b < 30; b += 0.75 {
		a, m, c := light(f.at(-b, -core)), light(f.at(-b, 0)), light(f.at(-b, core))
		side := st.Width/2 + 1.2
		l, r := light(f.at(-b, -side)), light(f.at(-b, side))
		if math.IsNaN(a + m + c + l + r) {
			continue
		}
		seen++
		switch {
		case 1-m/min(l, r) < 0.5*st.Depth:
		case behindRod && b < h.img.length():
			// A shadow is even across, a round rod is not.
			if s := 1 - st.Depth; max(math.Abs(a-s), math.Abs(m-s), math.Abs(c-s)) < 0.08 {
				same++
			}
		default:
			same++
		}
	}
	return seen >= 8 && 10*same >= 6*seen
}

// begins returns nil where the paper behind the foot is seen to be clear, so that the
// line begins there, and else says what is in the way. Where the rod's own image covers it, the line must be darker than
// any crease and the paper be seen to be clear beyond the image, where a wire's shadow
// would go on. A line whose penumbra vouches for it need only not be as dark behind, or
// be seen to be gone beyond another shadow that lies there.
func (h *hearing) begins(vouched bool) error {
	st, f, light := h.st, h.line, h.light
	bare, dark, hidden, all := 0, 0, 0, 0 // dark: half as dark as the line or more
	side := st.Width/2 + 1
	for b := 5.6; b < 14; b += 0.6 {
		all++
		if h.hides(f.at(-b, 0)) {
			hidden++
			continue
		}
		if light(f.at(-b, 0)) < 1-st.Depth/2 {
			dark++
		}
		if m, l, r := light(f.at(-b, 0)), light(f.at(-b, -side)), light(f.at(-b, side)); m > 0.8 && max(l, r) > 0.7 {
			bare++
		}
	}
	switch {
	case bare >= 4, vouched && 2*dark < all:
		return nil
	case !vouched && 2*hidden <= all:
		return ErrFootShaded
	case !vouched && st.Depth < 0.5:
		return ErrRodHides
	}
	const far = 8 // places in a row: half a centimetre, so that no highlight on the rod will do
	most := 1 + max(0.15, 5*st.Noise)
	run := 0
	for b := 14.0; b < h.img.plain && run < far; b += 0.6 {
		run++
		for _, n := range []float64{-0.35, 0, 0.35} {
			if v := light(f.at(-b, n*st.Width)); !(v > 1-0.3*st.Depth && v < most) {
				run = 0
			}
		}
	}
	switch {
	case run == far:
		return nil
	case 2*hidden <= all:
		return ErrFootShaded
	}
	return ErrRodHides
}

// look searches for the rod where the camera's place puts it. told is false where
// too little of it lies on plain paper, as seen from above; seen whether something
// other than paper stands there; thick its width over the samples, the lowest tenth, mm at the
// rod, 0 where too short a piece is seen to tell. A bright rod may differ from the
// paper on its shaded side only, so thick is a lower bound.
func (h *hearing) look() (thick float64, seen, told bool) {
	// Up to the first height a rod must be seen; an unknown one may reach further.
	must, top := 28.0, 75.0
	st, r := h.st, h.img
	if r.known {
		must, top = 0.85*r.height, 0.85*r.height
	}
	f := newFrame(r.direction(), 0)
	high := r.camera[2]
	const step = 0.3
	differs := max(0.1, 5*st.Noise)
	var widths []float64
	samples, missed := 0, 0
	for d := 5.8; d < r.plain; d += 0.5 {
		z := r.heightBefore(d)
		if z > top {
			break
		}
		p := f.at(d, 0)
		if along, across := h.line.place(p); along > 0 && math.Abs(across) < st.Width/2+2.6 {
			continue // the shadow itself lies there
		}
		var odd []float64
		least, most := math.Inf(1), 0.0
		bad := false
		for n := -lookAside; n <= lookAside; n += step {
			v := h.light(f.at(d, n))
			if math.IsNaN(v) {
				if bad = math.Abs(n) < lookAside/2; bad {
					break
				}
				continue
			}
			least, most = min(least, v), max(most, v)
			if math.Abs(v-1) > differs {
				odd = append(odd, n)
			}
		}
		if bad {
			continue
		}
		// The run of differing samples that lies nearest to the axis.
		lo, hi, found, nearest := 0.0, 0.0, false, 2.2
		for i := 0; i < len(odd); {
			j := i
			for j+1 < len(odd) && odd[j+1]-odd[j] < 3*step {
				j++
			}
			// A dark that fills the view without a structure is a shadow, not a rod.
			flat := odd[j]-odd[i] > 2*lookAside-1 && most-least < differs
			if gap := max(odd[i], -odd[j], 0); gap < nearest && odd[j]-odd[i] >= 2*step && !flat {
				lo, hi, found, nearest = odd[i], odd[j], true, gap
			}
			i = j + 1
		}
		if z <= must {
			samples++
			if !found {
				missed++
			}
		}
		if found {
			widths = append(widths, (hi-lo+step)*(high-z)/high)
		}
	}
	switch {
	case samples >= 6 && 2*missed > samples:
		return 0, false, true
	case len(widths) < 6:
		return 0, false, false
	}
	if len(widths) < 16 { // too short a piece: it may all be the cap on the tip
		return 0, true, true
	}
	slices.Sort(widths)
	return widths[len(widths)/10], true, true
}
