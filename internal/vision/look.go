package vision

import (
	"math"
	"slices"
)

// How the rod is looked for along its image.
const (
	// mustBeSeen and mayBeSeen are the heights, mm, below which a rod of unknown height must be
	// seen and may be; ofKnown the part of a known one for both, below its head.
	mustBeSeen, mayBeSeen = 28.0, 75.0
	ofKnown               = 0.85
	lookStep, lookBeside  = 0.5, 0.3 // mm along and across the image
	shadowGap             = 2.6      // mm from the strip's edge within which the strip may pass for the rod
	// The run of odd places that is the rod starts within lookOff, mm, of the axis; it is
	// runLeast steps broad, with holes of less than runHole. One that fills the view but for
	// fillMost, mm, without a structure is a shadow.
	lookOff           = 2.2
	runLeast, runHole = 2, 3
	fillMost          = 1.0
	// lookLeast looks, or widths, tell of a rod at all, and from lookSure widths on of how thick
	// it is: a shorter piece may be the cap alone. That is the width of one in thinOne.
	lookLeast, lookSure = 6, 16
	thinOne             = 10
	// lookAside is how far to each side the rod is looked for, mm on the paper: a cork of
	// 14 mm, seen nearer to the camera, has 10 and paper beside it.
	lookAside = 12.0
)

// look searches for the rod where the camera's place puts it. told is false where
// too little of it lies on plain paper, as seen from above; seen whether something
// other than paper stands there; thick its width over the samples, the lowest tenth, mm at the
// rod, 0 where too short a piece is seen to tell. A bright rod may differ from the
// paper on its shaded side only, so thick is a lower bound.
func (h *hearing) look() (thick float64, seen, told bool) {
	must, top := mustBeSeen, mayBeSeen
	st, r := h.st, h.img
	if r.known {
		must, top = ofKnown*r.height, ofKnown*r.height
	}
	f := newFrame(r.direction(), 0)
	high := r.camera[2]
	const step = lookBeside
	differs := max(differsLeast, differsNoise*st.Noise)
	var widths []float64
	samples, missed := 0, 0
	for d := clearOfFoot; d < r.plain; d += lookStep {
		z := r.heightBefore(d)
		if z > top {
			break
		}
		p := f.at(d, 0)
		if along, across := h.line.place(p); along > 0 && math.Abs(across) < st.Width/2+shadowGap {
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
		lo, hi, found, nearest := 0.0, 0.0, false, lookOff
		for i := 0; i < len(odd); {
			j := i
			for j+1 < len(odd) && odd[j+1]-odd[j] < runHole*step {
				j++
			}
			// A dark that fills the view without a structure is a shadow, not a rod.
			flat := odd[j]-odd[i] > 2*lookAside-fillMost && most-least < differs
			if gap := max(odd[i], -odd[j], 0); gap < nearest && odd[j]-odd[i] >= runLeast*step && !flat {
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
	case samples >= lookLeast && 2*missed > samples:
		return 0, false, true
	case len(widths) < lookLeast:
		return 0, false, false
	}
	if len(widths) < lookSure {
		return 0, true, true
	}
	slices.Sort(widths)
	return widths[len(widths)/thinOne], true, true
}
