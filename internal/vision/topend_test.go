package vision

import (
	"math"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// standing is a rod's image before a ground: what the ground does is not seen on it.
func (c canvas) standing(diameter, height float64, ground layer) layer {
	rod := c.rodLayer(diameter, height)
	return func(p sheet.Point) float64 {
		if v := rod(p); v < 1 {
			return v
		}
		return ground(p)
	}
}

// A shade about as dark as a thin rod ends nothing: beside the rod's image the ground was seen before,
// and is after. The shade's rim once ended it at seven tenths of its height.
func TestTopOfAThinRodBeforeAShadeAsDark(t *testing.T) {
	const diameter, high = 2.2, 50.0
	c := pictureOf()
	c.tilt = 50 * deg
	img := newRodImage(c.plate(), sheet.Standard, Rod{})
	want := math.Hypot(img.camera[0], img.camera[1]) * high / (img.camera[2] - high)
	rod, f := c.rodLayer(diameter, high), newFrame(img.direction(), 0)
	drawn := c.with(sunCast().layer(), func(p sheet.Point) float64 {
		if rod(p) < 1 {
			return 0.39
		}
		d, n := f.place(p)
		return 1 - 0.66*normal((d+0.3*n-want+22)/5)
	})
	s, st := drawn.must(t, shadowDir)
	st.Width = diameter
	if at, sigma, ok := s.rodTop(st); ok && math.Abs(at-want) > 2.5*sigma {
		t.Errorf("the top at %.1f ± %.1f mm, is at %.1f", at, sigma, want)
	}
}

// A rod of 50 mm is seen to end where it does, whatever the ground does there, or with a sigma
// that covers it.
func TestRodTopBeforeOtherThings(t *testing.T) {
	const diameter, high = 5.0, 50.0
	c := pictureOf()
	img := newRodImage(c.plate(), sheet.Standard, Rod{})
	// Where the ray over the top meets the paper: by similar triangles.
	away := math.Hypot(img.camera[0], img.camera[1])
	want := away * high / (img.camera[2] - high)
	bare := func(sheet.Point) float64 { return 1 }
	// dark is a bar across the rod's image or aslant to it, from a distance on.
	dark := func(from, wide, light float64, aslant float64) layer {
		f := newFrame(rodDir, 0)
		return func(p sheet.Point) float64 {
			d, n := f.place(p)
			d += aslant * n
			return 1 - (1-light)*normal((d-from)/0.4)*normal((from+wide-d)/0.4)
		}
	}
	patch := func(from, wide, light float64) layer { // as broad as the rod's image
		f := newFrame(rodDir, 0)
		return func(p sheet.Point) float64 {
			if d, n := f.place(p); d > from && d < from+wide && math.Abs(n) < diameter/2*img.grown(d) {
				return light
			}
			return 1
		}
	}
	for name, tt := range map[string]struct {
		ground layer
		most   float64 // sigma, mm
	}{
		"paper":               {bare, 2},
		"a bar of shade":      {dark(want+1, 12, 0.4, 0), 2},
		"a bar that it meets": {dark(want-6, 16, 0.4, 0), 6},
		"a bar aslant":        {dark(want-2, 10, 0.35, 1), 4},
		"shade from there on": {dark(want+0.5, 400, 0.3, 0.7), 2.5},
		"dirt farther out":    {patch(want+5, 14, 0.5), 2},
		// Where the one ends and the other begins is not told: the sigma covers both.
		"a thing right behind":         {patch(want+1.5, 20, 0.5), 30},
		"a bar of shade as dark as it": {dark(want-22, 9, 0.55, 0), 30},
		"a bar that is nearly as dark": {dark(want-22, 9, 0.45, 0), 30},
		"a broad one that is darker":   {dark(want-30, 16, 0.3, 0.5), 30},
	} {
		k := sunCast()
		drawn := c.with(k.layer(), c.standing(diameter, high, tt.ground))
		s, st := drawn.must(t, shadowDir)
		st.Width = diameter
		at, sigma, ok := s.rodTop(st)
		switch {
		case !ok:
			t.Errorf("%s: no top is seen", name)
		case math.Abs(at-want) > 2.5*sigma || sigma > tt.most:
			t.Errorf("%s: the top at %.1f ± %.1f mm, is at %.1f", name, at, sigma, want)
		}
	}
	for name, layer := range map[string]layer{
		"a rod that is too short to be seen, and dirt": c.standing(diameter, 4, patch(30, 14, 0.5)),
		"a rod that leaves the picture":                c.standing(diameter, 200, bare),
		"a rod that ends in the dark":                  c.standing(diameter, high, dark(20, 400, 0.35, 0)),
	} {
		k := sunCast()
		s, st := c.with(k.layer(), layer).must(t, shadowDir)
		st.Width = diameter
		if at, sigma, ok := s.rodTop(st); ok && !(math.Abs(at-want) < 2*sigma) {
			t.Errorf("%s: a top at %.1f ± %.1f mm", name, at, sigma)
		}
	}
}

// Where the rod's image runs by its own shadow, its top is looked for only where plain paper lies to both
// sides: that the one is shaded makes nothing stand out there.
func TestRodsImageByItsOwnShadow(t *testing.T) {
	for _, aside := range []angle.Angle{-14 * deg, -10 * deg, 10 * deg, 14 * deg} {
		k := sunCast()
		k.dir, k.width, k.to = rodDir+aside, 4, 52
		c := canvas{tilt: 20 * deg, view: rodDir + 180*deg, noise: 0.7}
		c = c.with(k.layer())
		s, st := c.with(c.rodLayer(4, 55)).must(t, k.dir)
		rows, _ := (&lookUp{search: s, st: st, line: s.rodLine(st), differs: topDiffers}).rows()
		for _, w := range rows {
			if off := math.Abs(math.Log(w.sides[1] / w.sides[0])); off > 0.2 {
				t.Errorf("%v aside, %.1f mm from the foot one side is %.2f of the other", aside, w.d, math.Exp(-off))
				break
			}
		}
	}
}

// A bead behind a bare stretch is no head on the tip; what is broad at the end is.
func TestHeadOfTheShadow(t *testing.T) {
	k := sunCast()
	k.to = 50
	f := newFrame(k.dir, 0)
	broad := func(from, to float64) layer {
		strip := k.layer()
		return func(p sheet.Point) float64 {
			s, n := f.place(p)
			sd := math.Hypot(k.blur, k.opens*max(s, 0))
			return min(strip(p), 1-k.depth*normal((s-from)/sd)*normal((to-s)/sd)*normal((n+4)/sd)*normal((4-n)/sd))
		}
	}
	for name, tt := range map[string]struct {
		layer layer
		head  float64
		bare  bool
	}{
		"none":            {k.layer(), 0, true},
		"a bead":          {broad(37, 42), 0, true},
		"a head":          {broad(45, 50), 4, false},
		"a broad end run": {broad(30, 50), 4, false},
	} {
		_, st := pictureOf(tt.layer).must(t, shadowDir)
		if math.Abs(st.Head-tt.head) > 0.5 || st.Bare != tt.bare {
			t.Errorf("%s: a head of %.1f mm, bare %v; want %.1f, %v", name, st.Head, st.Bare, tt.head, tt.bare)
		}
		if beyond := st.Length + 4*st.LengthSigma; !(beyond > 47) {
			t.Errorf("%s: %.1f ± %.1f mm long", name, st.Length, st.LengthSigma)
		}
	}
}

// A shadow that ends just before the ring is cut off at its end, lest that tell of its blur.
func TestShadowEndsAtTheRing(t *testing.T) {
	k := sunCast()
	for _, to := range []float64{54.5, 55, 55.5} {
		k.to = to
		_, st := pictureOf(k.layer()).must(t, shadowDir)
		if st.To > to-k.width/2 || st.Growth[1]+2*st.GrowthSigma < k.opens*k.opens {
			t.Errorf("to %.1f mm: measured to %.1f, growth at most %.2g ± %.2g, drawn %.2g", to, st.To, st.Growth[1], st.GrowthSigma, k.opens*k.opens)
		}
	}
}

// From straight above a rod is seen by the foot alone: of what ends farther out, as the image of one would that is
// higher than any, no end is told.
func TestRodTopFromStraightAbove(t *testing.T) {
	c := canvas{tilt: 2 * deg, view: rodDir + 180*deg, noise: 0.7}
	for name, tt := range map[string]struct {
		rod  layer
		want bool
	}{
		"a rod":              {c.rodLayer(3, 200), true},
		"one that is higher": {c.rodLayer(3, 320), false},
	} {
		s, st := c.with(sunCast().layer(), tt.rod).must(t, shadowDir)
		if at, sigma, ok := s.rodTop(st); ok != tt.want {
			t.Errorf("%s: ends at %.1f ± %.1f mm (%v), %.0f mm high", name, at, sigma, ok, s.img.heightBefore(at))
		}
	}
}
