package reading_test

import (
	"math/rand/v2"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/reading"
	"shadowread/internal/render"
)

// What is no flat horizon must be told of, or leave the tilt within four sigma: hills broad
// and narrow, low ranges over part of the width or all of it, air that hides where the ground ends.
func TestHillsAreNoHorizon(t *testing.T) {
	manyPictures(t)
	hill := func(azimuth, width, height float64) render.Hill {
		return render.Hill{Azimuth: angle.FromDegrees(azimuth), Width: angle.FromDegrees(width), Height: angle.FromDegrees(height)}
	}
	var ridge []render.Hill
	for i := range 25 { // off the camera's axis
		ridge = append(ridge, hill(float64(5*i-60), 4, 0.8+0.5*float64(i*7%5)/5))
	}
	told, taken := 0, 0
	for name, tt := range map[string]struct {
		hills []render.Hill
		haze  float64
	}{
		"none":                 {nil, 0.2},
		"one broad hill":       {[]render.Hill{hill(5, 12, 2)}, 0.2},
		"a low rise":           {[]render.Hill{hill(0, 15, 0.5)}, 0.2},
		"a slope of a range":   {[]render.Hill{hill(40, 25, 3)}, 0.2},
		"a range":              {ridge, 0.3},
		"hills on either side": {[]render.Hill{hill(-20, 6, 1.5), hill(18, 5, 1)}, 0.1},
		"the ends of a valley": {[]render.Hill{hill(-30, 8, 3), hill(30, 8, 3)}, 0.1},
		"air that hides it":    {nil, 1},
	} {
		for seed := range uint64(2) {
			s := render.RandomScene(rand.New(rand.NewPCG(seed, 77)), render.RandomOptions{Width: 1600, Country: true})
			// Hills stand where the camera looks.
			toward := angle.Clockwise(s.Camera.R[2].X, s.Camera.R[2].Y)
			for _, h := range tt.hills {
				h.Azimuth += toward
				s.Country.Hills = append(s.Country.Hills, h)
			}
			s.Country.Haze = tt.haze
			s.Light.Azimuth, s.Light.Altitude = angle.FromDegrees(120), angle.FromDegrees(40)
			o := reading.Defaults()
			o.Time.At, o.Position.Position = exactly(scene(40*deg, 0, 0)).Time.At, &pan
			o.Horizon = &reading.Horizon{Sigma: 0.03 * deg, EyeMetres: s.Country.EyeMetres}
			r, _ := readScene(t, s, o)
			if r.Plate == nil {
				t.Fatalf("%s, %d: %s", name, seed, r.Message)
			}
			if r.Horizon == nil {
				told++
				if !warned(r, "no_horizon") && !warned(r, "horizon_not_straight") {
					t.Errorf("%s, %d: no horizon, and no word of it", name, seed)
				}
				if name == "none" {
					t.Errorf("%d: the plain horizon is not seen: %v", seed, r.Warnings)
				}
				continue
			}
			taken++
			if r.Tilt == nil {
				continue // no heading was to be had
			}
			off := max((r.Tilt.Forward - s.Plate.Pitch).Abs(), (r.Tilt.Starboard + s.Plate.Roll).Abs())
			t.Logf("%s, %d: taken, off by %v, sigma %v", name, seed, off, r.Tilt.Sigma)
			if off > 4*r.Tilt.Sigma {
				t.Errorf("%s, %d: the tilt is off by %v, sigma %v", name, seed, off, r.Tilt.Sigma)
			}
		}
	}
	t.Logf("%d told of, %d taken", told, taken)
	if told < 4 || taken < 2 {
		t.Errorf("%d told of, %d taken: nothing is tried", told, taken)
	}
}
