package vision

import (
	"cmp"
	"math"

	"shadowread/internal/angle"
)

const (
	// sureBow is how many of its sigmas a bow must have to be one, and leastBow what it
	// must measure on the piece that is seen, mm.
	sureBow  = 4
	leastBow = 0.008
	// bendSigma is one sigma of what a bow turns, as a part: wires bend in a place.
	bendSigma = 0.2
	// A rod of at least stiffRod, mm, is straight (common practice: wire is what bends);
	// its shadow is bowed by paper that is not flat, by up to waveMost, seen obliquely.
	stiffRod = 2.6
	waveMost = 0.3 // mm
	// paperBow is the bow, mm, up to which a fold or a ripple of the paper is as likely to
	// bend a shadow as the wire is: it turns nothing then.
	paperBow = 0.15
	// byEye is one sigma of the bow, at its middle, that a wire picked for straight may keep,
	// mm (common practice: an eye along it sees a quarter of a millimetre). One in
	// 1/unpicked was not looked at, and keeps unpickedBow.
	byEye                 = 0.08
	unpicked, unpickedBow = 0.1, 0.5
	// bowedMost is the sigma up to which a bowed shadow of unknown length is read: by eye one
	// does no better (common practice), and it is told.
	bowedMost = 2 * angle.Degree
	// A rod's top tells the length where its place is known to surelyTop of its distance.
	surelyTop = 0.1
	// longShadow stands for the length of a shadow whose end is neither seen nor known,
	// mm: a rod of 50 mm with the sun at 20 degrees.
	longShadow = 140
	// A shadow of unknown length is taken for up to unknownMost long ones where what a wire
	// hides then costs more; a bow that is seen costs what it turns one of unknownBow.
	unknownMost, unknownBow = 3, 1.2
)

// bowed tells what a bow turns the direction by, what it costs, what one that is not sure may
// cost where that is more, and how large it is, mm. A
// bent rod casts a bent shadow, whose straight line from foot to tip is not along the
// piece that is seen: for a parabola of half second derivative k through both ends, the
// line turns from the tangent at m by k (L - 2m), for half a sine by halfSine. tip is the
// shadow's length where its end is seen, else 0.
func (f *stripFit) bowed(axis fitLine, tip float64) (turn, cost, unseen angle.Angle, bow float64) {
	span := 0.0
	for i := range f.rows {
		if r := &f.rows[i]; r.ok {
			span = max(span, 2*math.Abs(r.s-axis.mid))
		}
	}
	length, known := tip, true
	if length == 0 {
		length = f.rod.ShadowRatio * cmp.Or(f.rod.HeightMM, f.topMM)
	}
	if length == 0 {
		length, known = longShadow, false
	}
	length = max(length, axis.mid+span/2)
	// What bends the strip may as well turn it, by as much as a quarter of its length is
	// out of line.
	surplus := math.Sqrt(max(0, axis.bend*axis.bend-4*axis.varBend))
	cost = angle.Angle(surplus * span / 4)
	sagitta := math.Abs(axis.bend) * span * span / 4
	wire := f.right.at(axis.mid)-f.left.at(axis.mid) < stiffRod
	if wire {
		far := length
		if !known {
			far = unknownMost * longShadow
		}
		for l := length; l <= far; l += longShadow / 2 {
			unseen = max(unseen, unseenBow(axis, l))
		}
	}
	if !axis.bent() || sagitta < leastBow || !wire && sagitta < waveMost {
		return 0, cost, unseen, 0
	}
	cost = max(cost, unseen)
	bow = -axis.bend * length * length / 4
	if !known {
		return 0, max(halfSine(axis, unknownBow*length).Abs(), cost), 0, bow
	}
	arc, sine := angle.Angle(axis.bend*(length-2*axis.mid)), halfSine(axis, length)
	if math.Abs(bow) < paperBow {
		return 0, max(sine.Abs(), cost), 0, bow
	}
	// What shape the bend has is not known.
	return (arc + sine) / 2, angle.Angle(math.Hypot(math.Hypot(float64(arc-sine)/2, bendSigma*float64(sine)), math.Abs(axis.bend)*span/8)), 0, bow
}

// lengthOpen reports whether a strip is a wire's, which may be bowed, whose shadow is of a
// length that the rod's image may tell.
func (q *search) lengthOpen(st *Strip) bool {
	return st.Width < stiffRod && st.Length == 0 && q.rod.HeightMM == 0 && q.rod.ShadowRatio > 0
}

// measureByTop measures a candidate anew, with the length of the shadow that the rod's height
// makes by the clock, where the rod's top is seen; else what was measured stands.
func (q *search) measureByTop(r ray, st *Strip, err error) (*Strip, error) {
	st.RodAxis = q.rodAxis(st)
	at, sigma, ok := q.rodTop(st)
	if !ok || sigma > surelyTop*at {
		return st, err
	}
	again := *q
	again.topMM = q.img.heightBefore(at)
	return again.measureStrip(r)
}

// halfSine is what the line from foot to tip turns by from a strip that is part of half a
// sine over a shadow of a length, mm.
func halfSine(axis fitLine, length float64) angle.Angle {
	return angle.Angle(2 * axis.bend * length / math.Pi / math.Tan(math.Pi*axis.mid/length))
}

// unseenBow is what a wire's bow that is not sure turns the direction by over a shadow of a
// length, mm, at one sigma: half a sine of a height that wires have, of which the strip's
// bend tells some. The paper's own bends are taken for the wire's.
func unseenBow(axis fitLine, length float64) angle.Angle {
	turn := math.Pi / length // for each mm of bow
	at := turn * axis.mid
	bend := turn * turn / 2 * math.Sin(at)
	widest := sq(bend*unpickedBow) + axis.varBend
	var weight, square float64
	for _, wires := range [2]struct{ part, sigma float64 }{{1 - unpicked, byEye}, {unpicked, unpickedBow}} {
		spread := sq(bend*wires.sigma) + axis.varBend // of the bend that such wires show
		w := wires.part * math.Exp(sq(axis.bend)/2*(1/widest-1/spread)) / math.Sqrt(spread)
		mean := bend * sq(wires.sigma) * axis.bend / spread // mm of bow
		weight += w
		square += w * (mean*mean + sq(wires.sigma)*axis.varBend/spread)
	}
	return angle.Angle(turn * math.Abs(math.Cos(at)) * math.Sqrt(square/weight))
}
