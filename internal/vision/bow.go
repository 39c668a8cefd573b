package vision

import (
	"math"

	"shadowread/internal/angle"
)

const (
	// sureBow is how many of its sigmas a bow must have to be one, and leastBow what it
	// must measure on the piece that is seen, mm.
	sureBow  = 4
	leastBow = 0.008
	// likelyBow is how many it must have to be feared.
	likelyBow = 1.5
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
	// mm (common practice: an eye along it sees a quarter of a millimetre).
	byEye = 0.08
	// bowedMost is the sigma up to which a bowed shadow of unknown length is read: by eye one
	// does no better (common practice), and it is told.
	bowedMost = 2 * angle.Degree
	// longShadow stands for the length of a shadow whose end is neither seen nor known,
	// mm: a rod of 50 mm with the sun at 20 degrees.
	longShadow = 140
	// A shadow of unknown length is taken for up to unknownMost long ones where what a wire
	// hides then costs more; a bow that is seen costs what it turns one of unknownBow.
	unknownMost, unknownBow = 3, 1.2
)

// bowed tells what a bow turns the direction by, what it costs and how large it is, mm. A
// bent rod casts a bent shadow, whose straight line from foot to tip is not along the
// piece that is seen: for a parabola of half second derivative k through both ends, the
// line turns from the tangent at m by k (L - 2m), for half a sine by halfSine. tip is the
// shadow's length where its end is seen, else 0.
func (f *stripFit) bowed(axis fitLine, tip float64) (turn, cost angle.Angle, bow float64) {
	span := 0.0
	for i := range f.rows {
		if r := &f.rows[i]; r.ok {
			span = max(span, 2*math.Abs(r.s-axis.mid))
		}
	}
	length, known := tip, true
	if length == 0 {
		length = f.rod.ShadowMM
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
			cost = max(cost, unseenBow(axis, l, f.rod.Hangs))
		}
	}
	if !axis.bent() || sagitta < leastBow || !wire && sagitta < waveMost {
		return 0, cost, 0
	}
	bow = -axis.bend * length * length / 4
	if !known {
		return 0, max(halfSine(axis, unknownBow*length).Abs(), cost), bow
	}
	arc, sine := angle.Angle(axis.bend*(length-2*axis.mid)), halfSine(axis, length)
	if math.Abs(bow) < paperBow {
		return 0, max(sine.Abs(), cost), bow
	}
	// What shape the bend has is not known.
	return (arc + sine) / 2, angle.Angle(math.Hypot(float64(arc-sine)/2+bendSigma*float64(sine), math.Abs(axis.bend)*span/8)), bow
}

// halfSine is what the line from foot to tip turns by from a strip that is part of half a
// sine over a shadow of a length, mm.
func halfSine(axis fitLine, length float64) angle.Angle {
	return angle.Angle(2 * axis.bend * length / math.Pi / math.Tan(math.Pi*axis.mid/length))
}

// unseenBow is what a wire's bow that the strip is too short to show turns the direction by:
// half a sine of height byEye over a shadow of a length, mm, less what the strip tells of it, and
// what it likely shows of it unless the gnomon is a thread, which hangs straight.
func unseenBow(axis fitLine, length float64, hangs bool) angle.Angle {
	turn := math.Pi / length // for each mm of bow
	at := turn * axis.mid
	bend := turn * turn / 2 * math.Sin(at)
	left := 1 / math.Sqrt(1/(byEye*byEye)+bend*bend/axis.varBend) // mm of bow
	likely := 0.0
	if !hangs {
		likely = max(0, math.Abs(axis.bend)-likelyBow*math.Sqrt(axis.varBend)) / bend
	}
	return angle.Angle(turn * math.Abs(math.Cos(at)) * math.Hypot(left, likely))
}
