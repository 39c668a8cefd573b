package vision

import "math"

// How the head that a strip's end shows is looked for on the rod.
const (
	// Of headAngles places about where it must be, those headWithin of its radius from its middle
	// must differ by headDiffers, in logarithms, from those headOutside of it: headTenths of
	// headLeast or more, of which half must have lit paper outside.
	headAngles, headLeast   = 36, 18
	headWithin, headOutside = 0.75, 1.3
	headDiffers, headTenths = 0.15, 8
	// A cork has broadHead, mm, of half breadth at most.
	broadHead = 7.0
)

// headSeen reports whether the rod wears the head that the strip ends in: as high as the strip's
// length and the body's altitude make it, and as broad, something round is seen. No wire's shadow
// ends like that, so it need not be seen that the line begins at the foot.
func (h *hearing) headSeen() bool {
	st, r := h.st, h.img
	if st.Head == 0 || !(h.rod.ShadowRatio > 0) {
		return false
	}
	middle := st.Length/h.rod.ShadowRatio - st.Head // of a ball whose top is the tip
	over := r.camera[2] - middle
	if !(middle > 0 && over > middle) {
		return false
	}
	away := math.Hypot(r.camera[0], r.camera[1])
	across := st.Head * r.camera[2] / over
	along := across * math.Hypot(away, over) / over // the image of a ball seen aslant is longer
	f := newFrame(r.direction(), 0)
	told, differ, lit := 0, 0, 0
	for i := range headAngles {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / headAngles)
		at := func(part float64) (v float64, onStrip bool) {
			p := f.at(middle*away/over+part*along*cos, part*across*sin)
			d, n := h.line.place(p)
			return h.light(p), d > 0 && math.Abs(n) < st.Width
		}
		within, _ := at(headWithin)
		outside, onStrip := at(headOutside)
		if onStrip || math.IsNaN(within+outside) {
			continue
		}
		told++
		if math.Abs(dark(within)-dark(outside)) > headDiffers {
			differ++
		}
		if outside > litPaper {
			lit++
		}
	}
	return told >= headLeast && tenths(differ, told, headTenths) && 2*lit >= told
}

// underHead reports whether a broad head on a top that is known to be so high would hide all of the rod beyond its
// foot: from straight above one as white as the paper leaves nothing of either to be seen.
func (h *hearing) underHead() bool {
	r := h.img
	return r.known && r.length()-broadHead*r.camera[2]/max(r.camera[2]-r.height, 1) < clearOfFoot
}
