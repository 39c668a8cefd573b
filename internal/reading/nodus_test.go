package reading_test

import (
	"math"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/reading"
	"shadowread/internal/render"
	"shadowread/internal/sheet"
)

// A nodus tells the sun's altitude where the shadow's tip is off the paper, and leaves the
// heading as it is. The truth is the renderer's: a point of the rod at h casts its shadow
// h cot(altitude) away.
func TestNodus(t *testing.T) {
	manyPictures(t)
	deg := angle.FromDegrees
	ring := func(from, to, diameter float64) []render.Collar {
		return []render.Collar{{From: from, To: to, Diameter: diameter}}
	}
	for _, tt := range []struct {
		name     string
		altitude float64
		tilt     float64
		camera   float64
		collars  []render.Collar
		height   float64 // of the nodus, mm
		found    bool
	}{
		{"ring of tape", 40, 25, 200, ring(17, 23, 7), 20, true},
		{"ring of tape, oblique", 30, 45, 330, ring(17, 23, 7), 20, true},
		{"bead", 25, 30, 160, ring(16.5, 23.5, 9), 20, true},
		{"low sun, on the board", 9.5, 30, 200, ring(18.5, 21.5, 8), 20, true},
		{"low sun, in the margin", 12.5, 20, 330, ring(18, 22, 7), 20, true},
		{"thin ring", 35, 25, 200, ring(18, 22, 5.5), 20, true},
		{"none", 35, 25, 200, nil, 20, false},
		{"a head at the tip is none", 35, 25, 200, ring(48, 50, 9), 49, false},
		{"a nut at the foot is none", 35, 25, 200, ring(0, 6, 9), 3, false},
		{"two are none", 35, 25, 200, append(ring(14, 18, 8), ring(26, 30, 8)...), 20, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := scene(deg(tt.altitude), deg(tt.tilt), deg(tt.camera))
			s.Camera.LookAt(sheet.Point{X: 20, Y: 10}, 420, deg(tt.tilt), deg(tt.camera), 10*angle.Degree)
			// Past the marks, which would hide what lies over them.
			s.Plate.Heading = (s.Plate.Heading + shadowDir - 92*angle.Degree).Bearing()
			s.Rods[0].Diameter, s.Rods[0].Collars = 3.5, tt.collars
			o := exactly(s)
			plain, truth := readScene(t, s, o)
			o.Rod.NodusMM = tt.height
			r, _ := readScene(t, s, o)
			mustRead.check(t, r, truth)
			if !plain.OK() || !r.OK() {
				t.Fatalf("refused: %s, %s", plain.Reason, r.Reason)
			}
			if d := (*plain.Heading - *r.Heading).Signed().Abs(); d != 0 && r.Clock != reading.ClockFailed {
				t.Errorf("the nodus turns the heading by %v", d)
			}
			got := r.Shadow.Nodus
			if !tt.found {
				if got != 0 {
					t.Errorf("a nodus is found at %.2f mm", got)
				}
				return
			}
			want := tt.height / s.Light.Altitude.Tan()
			if got == 0 || math.Abs(got-want) > 3*r.Shadow.NodusSigma {
				t.Fatalf("nodus at %.2f ± %.2f mm, is at %.2f", got, r.Shadow.NodusSigma, want)
			}
			t.Logf("nodus %+.2f ± %.2f mm of %.1f", got-want, r.Shadow.NodusSigma, want)
			if r.AltitudeFromShadow == nil || (*r.AltitudeFromShadow-s.Light.Altitude).Abs() > 3*r.AltitudeSigma {
				t.Errorf("altitude by the nodus %v ± %v, is %v", r.AltitudeFromShadow, r.AltitudeSigma, s.Light.Altitude)
			}
		})
	}
}
