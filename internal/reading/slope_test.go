package reading_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/render"
)

// The rod's own image must tell its slope across the line of sight within three of its
// sigmas of the renderer's, whatever the rod is made of and however it leans; and no worse
// than 0.3 degree (the sigma of a photo), so that a few photos are worth more than a rod
// drilled with a jig.
func TestRodSlope(t *testing.T) {
	manyPictures(t)
	r := rand.New(rand.NewPCG(20261125, 3))
	seen, square := 0, 0.0
	const scenes = 15
	for i := range scenes {
		s := scene(angle.FromDegrees(20+40*r.Float64()), angle.FromDegrees(25+25*r.Float64()), shadowDir+angle.FromDegrees(60+80*r.Float64()))
		s.Seed = r.Uint64()
		rod := &s.Rods[0]
		rod.Lean, rod.LeanDir, rod.Diameter = angle.FromDegrees(3*r.Float64()), angle.FromDegrees(360*r.Float64()), 2+2*r.Float64()
		rod.Material = []render.Material{render.Steel, render.Brass, render.Dowel, render.Black, render.White}[i%5]
		if i%4 == 0 {
			rod.Cap = 2 * rod.Diameter
		}
		o := exactly(s)
		if i%2 == 0 {
			o.Rod.HeightMM = rod.Height
		}
		got, _ := readScene(t, s, o)
		if got.RodSlope == nil {
			t.Logf("%d: %s %s: not seen", i, rod.Material.Name, got.Reason)
			continue
		}
		seen++
		want := rod.Lean.Tan() * (got.RodSlope.Toward - rod.LeanDir).Cos()
		e := got.RodSlope.Slope - want
		square += e * e / (got.RodSlope.Sigma * got.RodSlope.Sigma)
		t.Logf("%d: %s: %.4f, true %.4f, sigma %.4f", i, rod.Material.Name, got.RodSlope.Slope, want, got.RodSlope.Sigma)
		if math.Abs(e) > 3*got.RodSlope.Sigma || got.RodSlope.Sigma > (0.3*deg).Tan() {
			t.Errorf("%d: slope %.4f, true %.4f, sigma %.4f", i, got.RodSlope.Slope, want, got.RodSlope.Sigma)
		}
	}
	t.Logf("%d of %d seen, rms %.2f sigmas", seen, scenes, math.Sqrt(square/float64(seen)))
	if seen < scenes*2/3 {
		t.Errorf("the rod's axis is seen in %d of %d photos taken beside the shadow", seen, scenes)
	}
}

// A rod that leans by more than the budget allows for is told from its image, and its
// heading carries an uncertainty that covers the lean. Seen along the lean it cannot be told.
func TestLeaningRodIsTold(t *testing.T) {
	for _, tt := range []struct {
		lean  angle.Angle
		view  angle.Angle // from the shadow
		warns bool
	}{
		{0.5 * deg, 40 * deg, false}, {4 * deg, 40 * deg, true}, {4 * deg, 140 * deg, true}, {4 * deg, 90 * deg, false},
	} {
		s := scene(45*deg, 35*deg, shadowDir+tt.view)
		s.Rods[0].Lean, s.Rods[0].LeanDir = tt.lean, shadowDir+90*deg
		r, _ := readScene(t, s, exactly(s))
		if !r.OK() {
			t.Fatalf("%+v: %s %s", tt, r.Reason, r.Message)
		}
		e := (*r.Heading - s.Plate.Heading).Signed()
		t.Logf("%+v: off by %v, sigma %v", tt, e, r.Sigma)
		if got := warned(r, "rod_leans"); got != tt.warns {
			t.Errorf("%+v: warned %t of %+v", tt, got, r.RodSlope)
		}
		if tt.warns && e.Abs() > 2*r.Sigma {
			t.Errorf("%+v: off by %v, sigma %v", tt, e, r.Sigma)
		}
	}
}
