package vision

import (
	"math"
	"math/rand/v2"
	"testing"

	"shadowread/internal/calib"
)

// skyAt is the direction of a pixel against the plate, degrees, for a lens without distortion.
func skyAt(p *calib.Plate, q calib.Pixel) (azimuth, elevation float64) {
	a, b, m := (q.U-p.Lens.Cx)/p.Lens.F, (q.V-p.Lens.Cy)/p.Lens.F, &p.Pose.R
	var d [3]float64
	for i := range d {
		d[i] = m[0][i]*a + m[1][i]*b + m[2][i]
	}
	return math.Atan2(d[0], d[1]) * 180 / math.Pi, math.Atan2(d[2], math.Hypot(d[0], d[1])) * 180 / math.Pi
}

// A horizon is one long straight edge; hills, a second edge, too little of it in view, a
// faint step or none are refused.
func TestEdgesThatAreNoHorizon(t *testing.T) {
	const far = 75 * deg // of the camera off the vertical
	step := func(above, below float64, at func(azimuth float64) float64) func(azimuth, elevation float64) float64 {
		return func(azimuth, elevation float64) float64 {
			return below + (above-below)*normal((elevation-at(azimuth))/0.05)
		}
	}
	level := func(azimuth float64) float64 { return 2 + 0.02*azimuth }
	straight := step(0.8, 0.4, level)
	for name, tt := range map[string]struct {
		light func(azimuth, elevation float64) float64
		noise float64
		want  error
	}{
		"straight": {straight, 1, nil},
		"hills":    {step(0.8, 0.4, func(a float64) float64 { return level(a) + 0.8*math.Sin(a/3) }), 1, ErrCrooked},
		"two":      {func(a, e float64) float64 { return straight(a, e) - 0.2*normal((level(a)-3-e)/0.05) }, 1, ErrNoHorizon},
		"narrow": {func(a, e float64) float64 {
			if math.Abs(a) > 4 {
				return 0.4
			}
			return straight(a, e)
		}, 1, ErrNoHorizon},
		"faint":   {step(0.5, 0.497, level), 1, ErrNoHorizon},
		"none":    {func(a, e float64) float64 { return 0.5 }, 1, ErrNoHorizon},
		"texture": {func(a, e float64) float64 { return 0.5 }, 60, ErrNoHorizon},
	} {
		p := slantPlate(far, 180*deg, 2)
		p.Lens.F = 700 // a wide view, level with the sheet's own vanishing line in it
		r := rand.New(rand.NewPCG(7, 8))
		g := &Gray{W: pictureSide, H: pictureSide, Factor: 1, Pix: make([]uint8, pictureSide*pictureSide)}
		for v := range pictureSide {
			for u := range pictureSide {
				azimuth, elevation := skyAt(p, calib.Pixel{U: float64(u), V: float64(v)})
				level := 255*linearToSRGB(tt.light(azimuth, elevation)) + tt.noise*r.NormFloat64()
				g.Pix[v*g.W+u] = uint8(max(0, min(255, math.Round(level))))
			}
		}
		h, err := FindHorizon(g, p)
		if err != tt.want {
			t.Errorf("%s: %v, want %v", name, err, tt.want)
			continue
		}
		if err != nil {
			continue
		}
		for _, q := range h.Line {
			azimuth, elevation := skyAt(p, q)
			if math.Abs(elevation-level(azimuth)) > 0.03 {
				t.Errorf("%s: the horizon %.3f degrees off at %.1f", name, elevation-level(azimuth), azimuth)
			}
		}
	}
}
