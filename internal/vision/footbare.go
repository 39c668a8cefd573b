package vision

import (
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// A rod on the foot covers the print that it stands on and, along its image, stands before: the foot's ring does
// not show there, however dark another shadow makes it. Where it shows all the same, no rod stands there.
const (
	// The ring is looked at bareReach, mm, inside and outside of it, where a rod would cover it that stands on the
	// strip's axis up to bareAlong from the foot, looked at every bareStep; rods are set to footSet, one sigma, but
	// for carelessly of them. Of its breadth bareBreadth is sure to be as thick at the foot, edgeInk sigmas of the
	// blur and clearInk within.
	bareReach           = 1.4
	bareAlong, bareStep = 2.5, 0.5
	carelessly          = 0.1
	bareBreadth         = 0.85
	// It is held against the ring bareTurn and more off the image and clear of the strip's edges, which must show as
	// bareInk of what is printed at least, printSure sigmas off none. Either shows as it should within bareOdd of that.
	bareTurn = 60 * angle.Degree
	bareInk  = 0.2
	bareOdd  = 0.2
	// Beside the ring, where less than bareClear of the ink is, the two sides' light differs by bareUnlike at most.
	bareClear, bareUnlike = 0.05, 0.1
	// surelyBare is the logarithm of how much likelier no rod must be. It is summed over ringSectors parts of the ring,
	// each of which says sectorSays at most: what is seen of a thick rod's top edge crosses the ring in one or two.
	surelyBare  = 3.0
	ringSectors = 8
	sectorSays  = 4.0
	// Paper is as light as the strip at least; what has less than leastUmbra of that is a dark rod.
	leastUmbra = 0.6
	// Where nothing is known of the height a rod is leastHigh at least, mm.
	leastHigh = 20.0
)

// footBare reports whether the foot's ring shows where a rod that casts the strip must cover it.
func (h *hearing) footBare() bool {
	f := h.st.fit
	if f == nil || h.rod.Hangs {
		return false
	}
	blur := max(f.blur, ringBlurPx/f.pxAcross(0))
	edge := edgeInk*blur + clearInk
	radius := min(bareBreadth*h.st.Width/2, h.st.Width/2-edge)
	if radius <= 0 {
		return false
	}
	ring := h.lookAtRing(blur)
	about, sigma := ring.shows(0, len(ring), func(p sheet.Point) bool {
		_, n := h.line.place(p)
		off := (angle.Clockwise(p.X, p.Y) - h.img.direction()).Signed().Abs()
		return off > bareTurn && math.Abs(math.Abs(n)-h.st.Width/2) > edge
	})
	if !(about-printSure*sigma > bareInk) {
		return false
	}
	image, long := newFrame(h.img.direction(), 0), h.leastImage()
	stands, weights := 0.0, 0.0
	for along := -bareAlong; along <= bareAlong; along += bareStep {
		d, n := image.place(h.line.at(along, 0))
		says := 0.0
		for k := range ringSectors {
			part, own := ring.shows(k*len(ring)/ringSectors, (k+1)*len(ring)/ringSectors, func(p sheet.Point) bool {
				s, m := image.place(p)
				return math.Hypot(s-max(d, min(s, d+long)), m-n) < radius
			})
			off := math.Hypot(math.Hypot(own, sigma), bareOdd*about)
			says += max(-sectorSays, min(sectorSays, (sq(part-about)-sq(part))/(2*off*off)))
		}
		weight := (1-carelessly)*bell(along, footSet) + carelessly/(2*bareAlong)
		stands += weight * math.Exp(says)
		weights += weight
	}
	return math.Log(stands/weights) < -surelyBare
}

// leastImage is how far from the foot the image of a rod reaches that casts what is seen of the strip, mm.
func (h *hearing) leastImage() float64 {
	high := leastHigh
	switch {
	case h.img.known:
		high = h.rod.HeightMM
	case h.rod.ShadowRatio > 0:
		high = max(h.st.To, h.st.Length-h.st.LengthSigma) / h.rod.ShadowRatio
	}
	r := h.img
	if r.camera[2] <= high {
		return math.Inf(1)
	}
	return math.Hypot(r.camera[0], r.camera[1]) * high / (r.camera[2] - high)
}

// ringLook is what is seen of the foot's ring: columns of places outwards, each with the ink printed there.
type ringLook [][]ringPlace

type ringPlace struct {
	at         sheet.Point
	off        float64 // from the ring, outwards
	ink, light float64
}

func (h *hearing) lookAtRing(blur float64) (look ringLook) {
	ring, step := h.sheet.FootRing, printStep/h.st.fit.pxAcross(0)
	first, n := h.img.direction()-math.Pi/ringSectors, int(2*math.Pi*ring/step)
	for i := range n { // the image in the middle of a sector
		turn := first + angle.Angle(2*math.Pi*float64(i)/float64(n))
		var column []ringPlace
		mean := 0.0
		for r := ring - bareReach; r <= ring+bareReach; r += step {
			p := sheet.Point{X: r * turn.Sin(), Y: r * turn.Cos()}
			if v := h.light(p); v > 0 {
				column = append(column, ringPlace{p, r - ring, footInk(h.sheet, p, blur), v})
				mean += v
			}
		}
		if mean < leastUmbra*(1-h.st.Depth)*float64(len(column)) {
			column = nil
		}
		look = append(look, column)
	}
	return look
}

// alikeBeside reports whether what counts of a column has paper of one light to both sides of the ring: the rim of a
// rod's top, or of its lit side, is no ring.
func alikeBeside(column []ringPlace, counts func(p sheet.Point) bool) bool {
	var light, n [2]float64
	for _, p := range column {
		if p.ink < bareClear && counts(p.at) {
			side := 0
			if p.off > 0 {
				side = 1
			}
			light[side], n[side] = light[side]+p.light, n[side]+1
		}
	}
	in, out := light[0]/n[0], light[1]/n[1]
	return math.Abs(in-out) < bareUnlike*(in+out)/2 // NaN fails
}

// shows is by which part the light is less where the ink is, of the places in some columns that count, with a sigma:
// a regression on the ink of the light over each column's mean.
func (look ringLook) shows(from, to int, counts func(p sheet.Point) bool) (part, sigma float64) {
	var kk, kv, vv float64
	free := -1
	for _, column := range look[from:to] {
		if !alikeBeside(column, counts) {
			continue
		}
		var ink, light, n float64
		for _, p := range column {
			if counts(p.at) {
				ink, light, n = ink+p.ink, light+p.light, n+1
			}
		}
		if n < 2 {
			continue
		}
		for _, p := range column {
			if counts(p.at) {
				k, v := p.ink-ink/n, p.light*n/light-1
				kk, kv, vv = kk+k*k, kv+k*v, vv+v*v
			}
		}
		free += int(n) - 1
	}
	if free < leastPrint || kk == 0 {
		return 0, math.Inf(1)
	}
	return -kv / kk, math.Sqrt(max(0, vv-kv*kv/kk) / float64(free) / kk * alikePlaces)
}
