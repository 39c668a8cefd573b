package vision

import (
	"math"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// The chord of a bowed wire's shadow, from foot to tip, is its direction. Where the tip is
// not seen and no height stated, the image of the wire's top says how long the shadow is.
func TestBowedWireByItsTop(t *testing.T) {
	const height, length, atFifty = 50.0, 85.0, 0.6 // mm; the last is off the tangent, 50 mm from the foot
	wire := sunCast()
	wire.width, wire.bow = 2, atFifty
	chord := shadowDir + angle.Angle(atFifty/2500*length)
	c := pictureOf(wire.layer())
	c = c.with(c.rodLayer(2, height))
	q := c.search(t)
	q.rod.ShadowRatio = length / height
	r := q.dial.rays(0, offsetMost)[0]

	alone, err := q.measureStrip(r)
	if err != nil && err != ErrBowed {
		t.Fatal(err)
	}
	if alone.Length > 0 || !q.lengthOpen(alone) {
		t.Fatalf("the tip is to be out of sight: length %.1f", alone.Length)
	}
	st, err := q.measureByTop(r, alone, err)
	if err != nil {
		t.Fatal(err)
	}
	off := (st.Direction - chord).Signed().Abs()
	if off > 2*st.Sigma || st.Sigma > 0.6*deg || st.Sigma > alone.Sigma/2 {
		t.Errorf("%.3f off, sigma %.3f; %.3f without the top", off.Degrees(), st.Sigma.Degrees(), alone.Sigma.Degrees())
	}
	// A parabola and half a sine of one bend at the strip's middle turn the line by as much.
	bend := atFifty / 2500
	mid := (st.From + st.To) / 2
	parabola := bend * (length - 2*mid)
	sine := float64(halfSine(fitLine{bend: bend, mid: mid}, length))
	if float64(st.Sigma) < 0.8*math.Abs(parabola-sine)/2 {
		t.Errorf("sigma %.3f leaves out that the bend may be of another shape, %.3f", st.Sigma.Degrees(), angle.Angle(parabola-sine).Degrees()/2)
	}
}

// Waved paper bends a thick rod's shadow, both edges alike: it is read, with a sigma that says so, also in
// two pieces with a shade between.
func TestPaperBendsAThickRodsShadow(t *testing.T) {
	across := func(p sheet.Point) float64 {
		s, _ := newFrame(shadowDir, 0).place(p)
		return 1 - 0.6*normal((s-32)/0.4)*normal((50-s)/0.4)
	}
	for name, tt := range map[string]struct {
		bow  float64
		also layer
	}{
		"whole": {1, func(sheet.Point) float64 { return 1 }}, "in two pieces": {0.8, across},
	} {
		k := sunCast()
		k.width, k.bow = 4, tt.bow
		_, st := canvas{tilt: 2 * deg, view: rodDir + 180*deg, noise: 0.3}.with(k.layer(), tt.also).must(t, shadowDir)
		most := angle.Angle(tt.bow / 2500 * 50 / 4) // a quarter of what bends over the 50 mm
		if st.Bow != 0 || st.Sigma < 0.8*most || st.Sigma > 1.3*most {
			t.Errorf("%s: bow %.2f, sigma %.2f°, want %.2f°", name, st.Bow, st.Sigma.Degrees(), most.Degrees())
		}
	}
}

// Waves of the paper bend a thick rod's shadow one way within the dial and back beyond it: it goes on
// straight, and is not lost where a parabola would leave it.
func TestShadowGoesOnOverWaves(t *testing.T) {
	k := sunCast()
	k.width, k.to = 2.8, 300
	k.wave, k.every = 0.4, 124 // half a swing within the dial
	_, st := canvas{tilt: 2 * deg, view: rodDir + 180*deg, noise: 0.3, scale: 2.4}.with(k.layer()).must(t, shadowDir)
	if st.Length > 0 || st.AtLeast < 100 {
		t.Errorf("it ends at %.1f ± %.1f mm, is followed to %.1f", st.Length, st.LengthSigma, st.AtLeast)
	}
}

// What a wire's bow may turn unseen, by hand for a shadow of 200 mm of which 6 to 56 are
// measured: a millimetre of bow turns pi/200 cos(0.487) = 0.0139 and bends by 0.0000577.
func TestUnseenBow(t *testing.T) {
	const perMM, bendPerMM = 0.01388, 0.0000577
	axis := func(bow, unsure float64) fitLine {
		return fitLine{mid: 31, bend: bow * bendPerMM, varBend: sq(unsure * bendPerMM)}
	}
	for _, tt := range []struct {
		name        string
		axis        fitLine
		right       float64 // mm of bow, put right,
		least, most float64 // and left
	}{
		// What is not measured is as wires are, 0.26 mm root mean square; but one in a thousand,
		// one in 250 of those that nobody picked, has more than 2.878*0.5 mm: four sigmas.
		{"nothing told", axis(0, 50), 0, 0.358, 0.362},
		{"straight for sure", axis(0, 0.01), 0, 0.008, 0.012},
		// Bent in 0.89 of such cases, by 0.385 +- 0.098 mm, else picked, 0.156 +- 0.062.
		{"0.4 mm, at four sigma", axis(0.4, 0.1), 0.36, 0.11, 0.125},
		{"0.1 mm, not sure", axis(0.1, 0.08), 0, 0.06, 0.12},
		{"2 mm, at a hundred sigma", axis(2, 0.02), 2, 0.018, 0.022},
	} {
		turn, sigma := unseenBow(tt.axis, []float64{200}, 0)
		if right := float64(turn) / perMM; math.Abs(right-tt.right) > 0.005 {
			t.Errorf("%s: %.3f mm put right, want %.3f", tt.name, right, tt.right)
		}
		if left := float64(sigma) / perMM; !(left >= tt.least && left <= tt.most) {
			t.Errorf("%s: %.3f mm left, want %.3f to %.3f", tt.name, left, tt.least, tt.most)
		}
	}
}

// A bend that a wire would need 3 mm of bow for is waved paper's where that is seen obliquely, and
// the wire's, whatever it needs, where it is seen from straight above. By hand, for 50 of 160 mm: a bow
// of 3 mm is six sigmas of any wire's, and its 0.29 mm out of line are 1.5 of the paper's.
func TestWavedPaperBendsAStraightWire(t *testing.T) {
	const length, mid, span = 160.0, 31.0, 50.0
	axis := fitLine{mid: mid}
	axis.bend = 3 * sineBend(axis, length)
	axis.varBend = sq(axis.bend / 50)
	turn := float64(halfSine(axis, length))
	for _, tt := range []struct {
		parallax    float64
		least, most float64 // of the wire's turn
	}{{0, 0.98, 1.01}, {1, 0, 0.1}} {
		paper := 4 * waveHeight * tt.parallax / (span * span)
		all := append(ownBows(axis, length, 1-wavedPaper, 0), ownBows(axis, length, wavedPaper, paper)...)
		if part := all.times(sineTurn(axis, length)).mean() / turn; part < tt.least || part > tt.most {
			t.Errorf("parallax %.0f: %.2f of the turn is put right", tt.parallax, part)
		}
	}
}

// Paper that curls across the line of sight may straighten a bowed wire's shadow to the eye: a bow that two
// sigmas of the curl hide lies within four of the direction.
func TestCurlMayHideABow(t *testing.T) {
	const curl, length = 1e-5, 220.0
	k := sunCast()
	k.width = 2
	c := pictureOf(k.layer())
	c.rod = Rod{HeightMM: 60, ShadowRatio: length / 60}
	s := c.search(t)
	sigma := func() (sigma, hidden float64) {
		_, st, err := s.withRays(t, shadowDir)
		if err != nil {
			t.Fatal(err)
		}
		axis := st.fit.axis()
		bow := 2 * curl * st.fit.parallax(axis) / sineBend(axis, length)
		return float64(st.Sigma), bow * sineTurn(axis, length)
	}
	before, hidden := sigma()
	s.curlSigma = func(angle.Angle) float64 { return curl }
	after, _ := sigma()
	if before > hidden/4 || after < hidden/4 || after > hidden {
		t.Errorf("sigma %.3f degrees, with the curl %.3f; it may hide %.3f", angle.Angle(before).Degrees(), angle.Angle(after).Degrees(), angle.Angle(hidden).Degrees())
	}
}

// A bend that no wire has over a long shadow says that the shadow is short: of half a sine of
// 0.4 mm over 91 mm, 7 to 56 mm of it seen, the length is found among 84 to 165 mm, which alone
// are 119 +- 23 mm, each as likely as another by a part.
func TestLengthByTheBend(t *testing.T) {
	const length, bow = 91.0, 0.4
	axis := fitLine{mid: 31.5}
	axis.bend = -bow * sineBend(axis, length)
	axis.varBend = sq(axis.bend / 60)
	var all guesses
	for l := 84.0; l < 165; l *= lengthRatio {
		all = append(all, guess{evidence(axis, l), l, 0})
	}
	if got, spread := all.mean(), all.spread(all.mean()); math.Abs(got-length) > 2*spread || spread > 18 {
		t.Errorf("%.0f +- %.0f mm, want %.0f", got, spread, length)
	}
}

// The spread of guesses, by hand: of a normal law its sigma; where one in a hundred is ten times
// as broad, of which one in ten, beyond 1.645 sigmas, makes one in a thousand.
func TestSpreadOfGuesses(t *testing.T) {
	for _, tt := range []struct {
		all  guesses
		want float64
	}{
		{guesses{{0, 0, 1}}, 1},
		{guesses{{0, 3, 0}}, 3},
		{guesses{{math.Log(0.99), 0, 1}, {math.Log(0.01), 0, 10}}, 16.45 / 4},
	} {
		if got := tt.all.spread(0); math.Abs(got-tt.want) > 0.02*tt.want {
			t.Errorf("%v: %.3f, want %.3f", tt.all, got, tt.want)
		}
	}
}
