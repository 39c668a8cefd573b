package vision

import (
	"math"

	"shadowread/internal/sheet"
)

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

// headImage is the outline on the paper of a ball on the rod, an ellipse along its image: its middle's
// distance from the foot and its half axes, mm.
type headImage struct {
	frame                 frame
	middle, along, across float64
}

// at is the place at a part of the way from the middle to the outline.
func (e *headImage) at(part, sin, cos float64) sheet.Point {
	return e.frame.at(e.middle+part*e.along*cos, part*e.across*sin)
}

// covers reports whether a place lies within the outline, or as far beyond as it is looked at for paper.
func (e *headImage) covers(p sheet.Point) bool {
	d, n := e.frame.place(p)
	return math.Hypot((d-e.middle)/e.along, n/e.across) < headOutside
}

// headWhere is where the head that the strip ends in is seen, as high as the strip's length and the
// body's altitude make it, and as broad; ok is false where it ends in none, or that tells no height.
func (h *hearing) headWhere() (e headImage, ok bool) {
	st, r := h.st, h.img
	if st.Head == 0 || !(h.rod.ShadowRatio > 0) {
		return e, false
	}
	middle := st.Length/h.rod.ShadowRatio - st.Head // of a ball whose top is the tip
	over := r.camera[2] - middle
	if !(middle > 0 && over > middle) {
		return e, false
	}
	away := math.Hypot(r.camera[0], r.camera[1])
	across := st.Head * r.camera[2] / over
	// The image of a ball seen aslant is longer.
	return headImage{newFrame(r.direction(), 0), middle * away / over, across * math.Hypot(away, over) / over, across}, true
}

// seekHead returns the head that the strip ends in if something round is seen there. No wire's
// shadow ends like that, so it need not be seen that the line begins at the foot.
func (h *hearing) seekHead() *headImage {
	e, ok := h.headWhere()
	if !ok {
		return nil
	}
	told, differ, lit := 0, 0, 0
	for i := range headAngles {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / headAngles)
		at := func(part float64) (v float64, onStrip bool) {
			p := e.at(part, sin, cos)
			d, n := h.line.place(p)
			return h.light(p), d > 0 && math.Abs(n) < h.st.Width
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
	if told >= headLeast && tenths(differ, told, headTenths) && 2*lit >= told {
		return &e
	}
	return nil
}

// underHead reports whether a broad head on a top that is known to be so high would hide all of the rod beyond its
// foot: from straight above one as white as the paper leaves nothing of either to be seen.
func (h *hearing) underHead() bool {
	r := h.img
	return r.known && r.length()-broadHead*r.camera[2]/max(r.camera[2]-r.height, 1) < clearOfFoot
}
