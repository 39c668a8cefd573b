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
	unpicked, unpickedBow = 0.25, 0.5
	// One sheet in 1/wavedPaper lies in waves, whose heights over the strip differ by waveHeight, mm,
	// one sigma (a judgement): seen obliquely they bend it.
	wavedPaper, waveHeight = 0.1, 0.2
	// bowedMost is the sigma up to which a bowed shadow of unknown length is read: by eye one
	// does no better (common practice), and it is told.
	bowedMost = 2 * angle.Degree
	// tallRod is the height of a rod of unknown height at most, mm (common practice); longest
	// what a shadow has at most where the sun's height is not known either. lengthRatio is
	// from one length that is tried to the next.
	tallRod, longest, lengthRatio = 120, 420, 1.1
	// rareWire is the part of all wires that four sigmas may leave out: what lies beyond is
	// taken for a blunder.
	rareWire, rareSigmas = 1e-3, 4
	rareSteps            = 20   // of bisection: to a millionth
	sharpGuess           = 1e-3 // of what may be, the least sigma of a guess
	// A rod's top tells the length where its place is known to surelyTop of its distance.
	surelyTop = 0.1
)

// bowed tells what a bow turns the direction by, what it costs, what one that is not sure may
// cost where that is more, and how large a sure one is, mm. A
// bent rod casts a bent shadow, whose straight line from foot to tip is not along the
// piece that is seen: for a parabola of half second derivative k through both ends, the
// line turns from the tangent at m by k (L - 2m), for half a sine by halfSine. tip is the
// shadow's length where its end is seen, else 0.
func (f *stripFit) bowed(axis fitLine, tip, atLeast float64) (turn, cost, unseen angle.Angle, bow float64) {
	if f.curlSigma != nil { // what the map's curl leaves open bends the strip, too, and may hide a wire's bow
		axis.varBend += sq(f.curlSigma(f.direction()) * f.parallax(axis))
	}
	last := f.lastGood()
	span := last - f.firstGood() // most rows may lie by one end: axis.mid is their mean
	lengths := f.lengths(tip, max(atLeast, last))
	paper := 0.0 // one sigma of the bend that its waves make; that they hide a wire's is rare
	if axis.bent() {
		paper = 4 * waveHeight * f.parallax(axis) / (span * span)
	}
	// What bends the strip may as well turn it, by as much as a quarter of its length is
	// out of line.
	surplus := math.Sqrt(max(0, axis.bend*axis.bend-4*axis.varBend))
	cost = angle.Angle(surplus * span / 4)
	sagitta := math.Abs(axis.bend) * span * span / 4
	wire := f.right.at(axis.mid)-f.left.at(axis.mid) < stiffRod
	if wire {
		turn, unseen = unseenBow(axis, lengths, paper)
	}
	if !axis.bent() || sagitta < leastBow || !wire && sagitta < waveMost {
		return turn, cost, unseen, 0
	}
	// What shape the bend has is not known: an arc, or half a sine.
	var either, sine, bows guesses
	for _, length := range lengths {
		likely := 0.0
		if wire {
			likely = evidence(axis, length) + math.Log1p(-wavedPaper)
			waved := ownBows(axis, length, wavedPaper, paper)
			turned := waved.times(sineTurn(axis, length))
			either, sine, bows = append(either, turned...), append(sine, turned...), append(bows, waved.times(-1)...)
		}
		a, s := axis.bend*(length-2*axis.mid), float64(halfSine(axis, length))
		of := math.Hypot(math.Hypot((a-s)/2, bendSigma*s), math.Abs(axis.bend)*span/8)
		either = append(either, guess{likely, (a + s) / 2, of})
		sine = append(sine, guess{likely, s, 0})
		bows = append(bows, guess{likely, -axis.bend * length * length / 4, 0})
	}
	bow = bows.mean()
	if math.Abs(bow) < paperBow {
		return 0, max(angle.Angle(sine.spread(0)), cost, unseen), 0, bow
	}
	mean := either.mean()
	return angle.Angle(mean), angle.Angle(either.spread(mean)), 0, bow
}

// lengths lists what the length of the shadow may be, mm, none less than least: one where its
// end is seen, at tip, or the rod's height known; else what rods have under this sun, as
// likely to be longer by a part as to be shorter. A rod whose shadow is seen to be longer than
// what its top tells does not end there.
func (f *stripFit) lengths(tip, least float64) (all []float64) {
	if known := cmp.Or(tip, f.rod.ShadowRatio*f.rod.HeightMM); known > 0 {
		return []float64{max(known, least)}
	}
	if byTop := f.rod.ShadowRatio * f.topMM; byTop > least {
		return []float64{byTop}
	}
	from, to := least, float64(longest)
	if r := f.rod.ShadowRatio; r > 0 {
		from, to = max(least, r*shortRod), r*tallRod
	}
	for l := from; l == from || l <= to; l *= lengthRatio {
		all = append(all, l)
	}
	return all
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

// unseenBow is what a wire's bow that is not sure turns the direction by over a shadow of one
// of some lengths, mm, and one sigma of it: half a sine of a height that wires have, of which the
// strip's bend tells some, and the less, the more of it may be the paper's. Left as it is seen, a wire
// bent by three sigmas was as far off as one that is bent for sure would be.
func unseenBow(axis fitLine, lengths []float64, paper float64) (turn, sigma angle.Angle) {
	var bows, turns guesses
	for _, length := range lengths {
		own := append(ownBows(axis, length, 1-wavedPaper, 0), ownBows(axis, length, wavedPaper, paper)...)
		bows, turns = append(bows, own...), append(turns, own.times(sineTurn(axis, length))...)
	}
	mean := 0.0
	if math.Abs(bows.mean()) >= paperBow {
		mean = turns.mean()
	}
	return angle.Angle(mean), angle.Angle(turns.spread(mean))
}

// ownBows is how wires of each kind may themselves be bowed, mm, whose shadow of a length, mm, has some
// bend, on a part of all paper, which bends it by one sigma.
func ownBows(axis fitLine, length, part, paper float64) (all guesses) {
	bend := sineBend(axis, length)
	axis.varBend += sq(paper)
	for _, wires := range wireKinds {
		spread := sq(bend*wires.sigma) + axis.varBend // of the bend that is seen with such wires
		mean := bend * sq(wires.sigma) * axis.bend / spread
		of := wires.sigma * math.Sqrt(axis.varBend/spread)
		all = append(all, guess{math.Log(part) + wires.evidence(axis, bend), mean, of})
	}
	return all
}

// parallax is how far across the strip its middle seems to lie for each millimetre that the paper
// lies higher there, mm.
func (f *stripFit) parallax(axis fitLine) float64 {
	p, c, v := f.frame.at(axis.mid, 0), f.img.camera, f.frame.v
	return math.Abs((p.X-c[0])*v.X+(p.Y-c[1])*v.Y) / c[2]
}

// sineTurn and sineBend are what a millimetre of bow, half a sine over a length, mm, turns the
// strip's middle by, and half the second derivative it has there.
func sineTurn(axis fitLine, length float64) float64 {
	return math.Pi / length * math.Cos(math.Pi/length*axis.mid)
}

func sineBend(axis fitLine, length float64) float64 {
	return sq(math.Pi/length) / 2 * math.Sin(math.Pi/length*axis.mid)
}

// wireKind is a part of all wires, which are bowed by one sigma, mm.
type wireKind struct{ part, sigma float64 }

var wireKinds = [2]wireKind{{1 - unpicked, byEye}, {unpicked, unpickedBow}}

// evidence is how likely the strip's bend is with such wires: ln of it, but for a constant.
func (k wireKind) evidence(axis fitLine, bend float64) float64 {
	spread := sq(bend*k.sigma) + axis.varBend
	return math.Log(k.part) - (sq(axis.bend)/spread+math.Log(spread))/2
}

// evidence is how likely the strip's bend is with a wire whose shadow is of a length, mm, as
// such a logarithm: bows that no wire has speak against a shadow so short or so long.
func evidence(axis fitLine, length float64) float64 {
	bend := sineBend(axis, length)
	a, b := wireKinds[0].evidence(axis, bend), wireKinds[1].evidence(axis, bend)
	return max(a, b) + math.Log1p(math.Exp(-math.Abs(a-b)))
}

// guess is what a strip may be turned by, or its wire be bowed, with one sigma of it, and ln of how
// likely that is.
type guess struct{ likely, turn, sigma float64 }

type guesses []guess

func (g guesses) times(by float64) guesses {
	out := make(guesses, len(g))
	for i, o := range g {
		out[i] = guess{o.likely, by * o.turn, math.Abs(by) * o.sigma}
	}
	return out
}

// weights are how likely each is, one together.
func (g guesses) weights() []float64 {
	most, sum := math.Inf(-1), 0.0
	for _, o := range g {
		most = max(most, o.likely)
	}
	w := make([]float64, len(g))
	for i, o := range g {
		w[i] = math.Exp(o.likely - most)
		sum += w[i]
	}
	for i := range w {
		w[i] /= sum
	}
	return w
}

func (g guesses) mean() (sum float64) {
	for i, w := range g.weights() {
		sum += w * g[i].turn
	}
	return sum
}

// spread is one sigma about a value: the root mean square, or where rare ones lie far off a
// fourth of what one in a thousand exceeds.
func (g guesses) spread(about float64) float64 {
	weights := g.weights()
	square, low, high := 0.0, 0.0, 0.0
	for i, o := range g {
		square += weights[i] * (sq(o.turn-about) + sq(o.sigma))
		high = max(high, math.Abs(o.turn-about)+normalReach*o.sigma)
	}
	for range rareSteps {
		x, beyond := (low+high)/2, 0.0
		for i, o := range g {
			sigma := max(o.sigma, high*sharpGuess)
			beyond += weights[i] * (cdf((o.turn-about-x)/sigma) + cdf((about-o.turn-x)/sigma))
		}
		if beyond > rareWire {
			low = x
		} else {
			high = x
		}
	}
	return max(math.Sqrt(square), high/rareSigmas)
}
