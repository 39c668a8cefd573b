package vision

import "math"

// Two sticks that touch cast one strip, whose axis is neither's. They do not stand alike, so that its edges are not
// parallel, and the one's shadow ends before the other's: to one side of the axis the strip goes on farther. A rod's
// end may be cut aslant, but then its edges are parallel, or carved, but then it ends alike on both sides.
const (
	// The ends are sought twoEndsAside of the breadth beside the axis from a breadth before the tip on, every
	// twoEndsStep, where it is light over twoEndsRun, mm. They lie twoEndsApart of the breadth apart, and twoEndsLeast,
	// mm: of sound shadows none had more than 0.11 of it.
	twoEndsAside               = 0.3
	twoEndsStep, twoEndsRun    = 0.1, 1.0
	twoEndsApart, twoEndsLeast = 0.35, 0.8
)

// twoEnds reports whether the strip tapers, or broadens, and ends farther out on one side than on the other.
func (h *hearing) twoEnds() bool {
	st, f := h.st, h.st.fit
	if f == nil || st.Length <= 0 || st.Head > 0 || st.asBroadAs(h.rod) {
		return false
	}
	if turned, expected := f.edgesTurned(); turned*turned < sq(axisFloor)+sq(taperSure)*expected {
		return false
	}
	axis, aside := f.axis(), twoEndsAside*st.Width
	apart := math.Abs(f.endBeside(axis, st, -aside) - f.endBeside(axis, st, aside))
	return apart > max(twoEndsLeast, twoEndsApart*st.Width) // NaN fails
}

// endBeside is where the strip ends n mm beside its axis, mm from the foot; NaN where that is not seen on plain paper.
func (f *stripFit) endBeside(axis fitLine, st *Strip, n float64) float64 {
	half, run := 1-f.depth/2, 0.0
	for s := st.Length - st.Width; s < f.sheet.Dial.ClearZone[1]-shortOfRing; s += twoEndsStep {
		p := f.frame.at(s, axis.follow(s)+n)
		v := f.light(p)
		switch {
		case math.IsNaN(v) || f.hides(p):
			return math.NaN()
		case v < half:
			run = 0
		default:
			run += twoEndsStep
		}
		if run > twoEndsRun {
			return s - run
		}
	}
	return math.NaN()
}
