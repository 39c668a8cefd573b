package reading_test

import (
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/proof"
	"shadowread/internal/reading"
	"shadowread/internal/render"
	"shadowread/internal/sheet"
)

// hang has the rod be a thread in a plate that is out of level: it stands along the
// renderer's vertical, so that its lean in the plate's frame is the plate's tilt.
func hang(s *render.Scene, foot sheet.Point, pitch, roll angle.Angle, height, diameter float64, m render.Material) {
	s.Plate.Pitch, s.Plate.Roll = pitch, roll
	up := s.Plate.BodyVector(0, 90*deg)
	s.Rods = []render.Rod{{
		Foot: foot, Height: height, Diameter: diameter, Material: m,
		Lean: angle.Acos(up.Z), LeanDir: angle.Clockwise(up.X, up.Y),
	}}
}

// A plumb line anywhere within the reach of the foot, over a sheet up to three degrees
// out of level, gives the vehicle's heading itself: the level costs its square only.
func TestPlumbLine(t *testing.T) {
	manyPictures(t)
	r := rand.New(rand.NewPCG(20261125, 1))
	uniform := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	var strip, whole []float64
	read, refused := 0, map[reading.Reason]int{}
	scenes := 12
	if os.Getenv("SHADOWREAD_SOAK") != "" {
		scenes = 200
	}
	for i := range scenes {
		altitude := angle.FromDegrees(uniform(12, 65))
		// The camera looks from the side on which thread and shadow make an open angle.
		view := shadowDir + angle.FromDegrees(uniform(40, 140)*[]float64{1, -1}[r.IntN(2)])
		s := scene(altitude, angle.FromDegrees(uniform(25, 55)), view)
		s.Seed = r.Uint64()
		a, off := 2*math.Pi*r.Float64(), 8*math.Sqrt(r.Float64())
		pitch, roll := angle.FromDegrees(1.5*r.NormFloat64()), angle.FromDegrees(1.5*r.NormFloat64())
		pitch, roll = max(-3*deg, min(3*deg, pitch)), max(-3*deg, min(3*deg, roll))
		m := []render.Material{render.Dowel, render.Black, render.White}[r.IntN(3)]
		hang(s, sheet.Point{X: off * math.Cos(a), Y: off * math.Sin(a)}, pitch, roll, uniform(70, 160), uniform(1, 3), m)
		o := exactly(s)
		o.Rod.Hangs = true
		if r.IntN(2) == 0 {
			o.Rod.DiameterMM = s.Rods[0].Diameter
		}
		o.Level = 1.5 * deg
		got, truth := readScene(t, s, o)
		if !got.OK() {
			refused[got.Reason]++
			t.Logf("%d: %s %s: foot %+v, altitude %v, tilt %v, view %v, rod %+v", i, got.Reason, got.Message, s.Rods[0].Foot, altitude, s.Camera, view-shadowDir, s.Rods[0])
			continue
		}
		read++
		e := (*got.Heading - angle.FromDegrees(*truth.StripReader)).Signed()
		sigma := proof.WithoutLevel(*got.Budget)
		strip = append(strip, float64(e/sigma))
		if e.Abs() > 4*sigma || e.Abs() > 0.3*deg {
			t.Errorf("%d: off by %v, sigma %v (%.1f)", i, e, sigma, float64(e/sigma))
		}
		// Against the renderer's own heading, level and all.
		e = (*got.Heading - s.Plate.Heading).Signed()
		whole = append(whole, float64(e/got.Sigma))
		if e.Abs() > 4*got.Sigma {
			t.Errorf("%d: heading off by %v, sigma %v", i, e, got.Sigma)
		}
	}
	rms := func(xs []float64) float64 {
		s := 0.0
		for _, x := range xs {
			s += x * x
		}
		return math.Sqrt(s / float64(len(xs)))
	}
	t.Logf("%d of %d read, refused %v; rms %.2f sigmas to the strip, %.2f to the heading", read, scenes, refused, rms(strip), rms(whole))
	if read < scenes*9/10 {
		t.Errorf("%d of %d read", read, scenes)
	}
}

// What may pass for a plumb line's shadow, or spoil it. With the sky overcast the thread
// is in view and casts nothing.
func TestPlumbLineTraps(t *testing.T) {
	manyPictures(t)
	at := sheet.Point{X: 5, Y: -3}
	side := shadowDir + 90*deg
	through := func(dir angle.Angle) float64 { // the offset of a line through the thread's foot
		return at.X*dir.Cos() - at.Y*dir.Sin()
	}
	for _, tt := range []struct {
		name string
		view angle.Angle
		tilt angle.Angle
		want expect
		set  func(*render.Scene)
	}{
		{"clear", side, 40 * deg, mustRead, nil},
		{"with a weight over the paper", side, 40 * deg, mustRead, func(s *render.Scene) {
			s.Rods = append(s.Rods, render.Rod{Foot: at, Height: 8, Diameter: 9, Material: render.Steel})
		}},
		{"with a broad weight", side, 40 * deg, unseen, func(s *render.Scene) {
			s.Rods = append(s.Rods, render.Rod{Foot: at, Height: 15, Diameter: 18, Material: render.Brass})
		}},
		{"overcast", side, 40 * deg, refused, overcast},
		{"overcast, a crease through the foot", side, 40 * deg, refused, func(s *render.Scene) {
			overcast(s)
			crease(through(30*deg), 30*deg, 0.5, -0.25)(s)
		}},
		{"overcast, a wire's shadow through the foot", side, 40 * deg, refused, func(s *render.Scene) {
			overcast(s)
			shade(render.Shade{Offset: through(20 * deg), Dir: 20 * deg, Width: 2, Penumbra: 0.6})(s)
		}},
		{"a wire's shadow through the foot", side, 40 * deg, hard, shade(render.Shade{Offset: through(20 * deg), Dir: 20 * deg, Width: 2, Penumbra: 0.6})},
		{"a wire's shadow a little off the foot", side, 40 * deg, hard, shade(render.Shade{Offset: through(20*deg) + 4, Dir: 20 * deg, Width: 2, Penumbra: 0.6})},
		{"a wire's shadow, the thread in a larger one", side, 40 * deg, refused, func(s *render.Scene) {
			shade(render.Shade{Offset: through(20 * deg), Dir: 20 * deg, Width: 2, Penumbra: 0.6})(s)
			shade(render.Shade{Offset: through(70*deg) + 15, Dir: 70 * deg, Width: 40, Penumbra: 4})(s)
		}},
		{"a wire's shadow along the thread", side, 40 * deg, hard, shade(render.Shade{Offset: through(161 * deg), Dir: 161 * deg, Width: 3.2, Penumbra: 0.2})},
		{"overcast, a short rod leans beside the thread", 201 * deg, 26 * deg, notHung, func(s *render.Scene) {
			hang(s, sheet.Point{}, 0, 0, 191, 3.2, render.Black)
			overcast(s)
			s.Rods = append(s.Rods, render.Rod{Foot: sheet.Point{X: -6.5, Y: 3}, Height: 33, Diameter: 2.5, Lean: 16 * deg, LeanDir: 235 * deg, Material: render.Steel})
		}},
		{"a second thread", side, 40 * deg, hard, func(s *render.Scene) {
			r := s.Rods[0]
			r.Foot = sheet.Point{X: -6, Y: 4}
			s.Rods = append(s.Rods, r)
		}},
		{"no thread", side, 40 * deg, refused, noRod},
		{"no thread, a wire's shadow", side, 40 * deg, refused, func(s *render.Scene) {
			noRod(s)
			shade(render.Shade{Offset: 2, Dir: 20 * deg, Width: 2, Penumbra: 0.6})(s)
		}},
		{"thread along its shadow", shadowDir + 180*deg, 40 * deg, refused, nil},
		{"thread nearly along its shadow", shadowDir + 184*deg, 40 * deg, hard, nil},
		{"thread toward the camera", shadowDir, 40 * deg, hard, nil},
		{"from above", side, 3 * deg, hard, nil},
		{"from nearly above", side, 12 * deg, unseen, nil},
		{"the arm's shadow across", side, 40 * deg, hard, shade(render.Shade{Offset: 38, Dir: 150 * deg, Width: 6, Penumbra: 1.5})},
		{"out of reach", side, 40 * deg, refused, func(s *render.Scene) { s.Rods[0].Foot = sheet.Point{X: 14, Y: 10} }},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := scene(40*deg, tt.tilt, tt.view)
			hang(s, at, 2*deg, -1*deg, 110, 1.6, render.Dowel)
			if tt.set != nil {
				tt.set(s)
			}
			o := exactly(s)
			o.Rod.Hangs = true
			r, truth := readScene(t, s, o)
			tt.want.check(t, r, truth)
		})
	}
}

// A fixed rod said to be a plumb line: its tilt would be left out of the uncertainty, and
// headings were wrong by fifty of their sigmas.
func TestARodIsNoPlumbLine(t *testing.T) {
	for i := range 12 {
		s := scene(angle.FromDegrees(15+4*float64(i)), angle.FromDegrees(8+3*float64(i)), angle.FromDegrees(160+77*float64(i)))
		s.Plate.Pitch, s.Plate.Roll = 3*angle.Degree, -2*angle.Degree
		s.Rods[0].Height = 40 + 3*float64(i)
		o := exactly(s)
		o.Rod.Hangs = true
		// A flag must not make a reading surer than it is without it.
		least := angle.Angle(float64(reading.DefaultLevel) * angle.FromDegrees(15+4*float64(i)).Tan())
		if r, _ := readScene(t, s, o); r.OK() && r.Budget.Level < least-0.01*angle.Degree {
			t.Errorf("scene %d: read as a plumb line: %v ± %v", i, *r.Heading, r.Sigma)
		}
	}
}
