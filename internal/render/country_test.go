package render

import (
	"math"
	"math/rand/v2"
	"testing"

	"shadowread/internal/angle"
)

// The horizon of level ground must lie 90 degrees and the dip from the plumb line: a step
// from sky to ground across rays that are made from the plate's pitch and roll alone (rotations
// about the axes as Plate's comment says; the dip is The Nautical Almanac's 1.76 minutes of arc
// times the root of the eye's height in metres).
func TestHorizonLiesWhereItMust(t *testing.T) {
	for seed := range uint64(4) {
		s := RandomScene(rand.New(rand.NewPCG(seed, 1)), RandomOptions{Width: 1200, Country: true})
		s.Finish = Finish{}
		tr := s.newTracer()
		dip := 1.76 * math.Sqrt(s.Country.EyeMetres) / 60 * math.Pi / 180
		pitch, roll := float64(s.Plate.Pitch), float64(s.Plate.Roll)
		seen := 0
		for azimuth := 0.0; azimuth < 2*math.Pi; azimuth += 0.05 {
			for _, above := range []float64{0.0005, -0.0005} {
				// A level ray, turned into the frame of a plate that is pitched, then rolled.
				e := -dip + above
				x, y, z := math.Sin(azimuth)*math.Cos(e), math.Cos(azimuth)*math.Cos(e), math.Sin(e)
				y, z = y*math.Cos(pitch)+z*math.Sin(pitch), z*math.Cos(pitch)-y*math.Sin(pitch)
				x, z = x*math.Cos(roll)-z*math.Sin(roll), z*math.Cos(roll)+x*math.Sin(roll)
				if c := s.Camera.rotate(Vec{x, y, z}); c.Z < 0.5 {
					continue
				}
				var h hit
				tr.look(Vec{x, y, z}, nil, false, &h)
				seen++
				if sky := h.id == inSky; sky != (above > 0) {
					t.Fatalf("seed %d, azimuth %.2f: %.4f rad from the horizon is sky: %v", seed, azimuth, above, sky)
				}
			}
		}
		if seen < 20 {
			t.Errorf("seed %d: %d rays to the horizon", seed, seen)
		}
	}
}

// A hill rises over the horizon where it stands and nowhere else.
func TestHillsStandOnTheHorizon(t *testing.T) {
	c := country{Country: &Country{Hills: []Hill{{Azimuth: 20 * angle.Degree, Width: 3 * angle.Degree, Height: angle.Degree}}}, horizon: -2 * angle.Arcminute}
	for azimuth, want := range map[angle.Angle]angle.Angle{20: angle.Degree - 2*angle.Arcminute, 23: angle.Angle(math.Exp(-0.5))*angle.Degree - 2*angle.Arcminute, 60: -2 * angle.Arcminute} {
		if got := c.skyline(azimuth * angle.Degree); (got - want).Abs() > angle.Arcminute/100 {
			t.Errorf("at %v degrees it stands at %v, not %v", float64(azimuth), got, want)
		}
	}
}
