package render

import (
	"encoding/json"
	"math"
	"os"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// loadTruth reads the truth of photographs made by an independent renderer
// (testdata/README.md).
func loadTruth(t testing.TB) []Truth {
	data, err := os.ReadFile("testdata/independent-truth.json")
	if err != nil {
		t.Fatal(err)
	}
	var all []Truth
	if err := json.Unmarshal(data, &all); err != nil {
		t.Fatal(err)
	}
	return all
}

// asScene sets up the scene that a truth describes.
func asScene(t Truth) *Scene {
	deg := angle.FromDegrees
	vec := func(v [3]float64) Vec { return Vec{v[0], v[1], v[2]} }
	at, _ := time.Parse(time.RFC3339Nano, t.UTC)
	c, r := t.Camera, t.Rod
	return &Scene{
		Name: t.File, Time: at, Lat: deg(t.Lat), Lon: deg(t.Lon),
		Plate: Attitude{deg(t.Heading), deg(t.Pitch), deg(t.Roll)},
		Camera: Camera{
			c.Width, c.Height, c.Fx, c.Fy, c.Cx, c.Cy, c.Dist,
			[3]Vec{vec(c.Rotation[0]), vec(c.Rotation[1]), vec(c.Rotation[2])}, vec(c.Translation),
		},
		Rods: []Rod{{
			Foot: sheet.Point{X: r.Foot[0], Y: r.Foot[1]}, Height: r.Height, Diameter: r.Diameter,
			Lean: deg(r.Lean), LeanDir: deg(r.LeanDir), Material: Steel,
		}},
		Light: Light{
			Body: t.Body, Azimuth: deg(*t.BodyAzimuth), Altitude: deg(*t.BodyAltitude), Disc: deg(0.533),
			ShadowRatio: t.Light.ShadowRatio, Exposure: 0.75,
			SunColour: [3]float64{1, 0.97, 0.93}, SkyColour: [3]float64{0.8, 1.05, 1.5},
		},
		Paper: Paper{Curl: t.Sheet.Curl, CurlDir: deg(t.Sheet.CurlDir)},
	}
}

func TestTruthAgreesWithAnIndependentRenderer(t *testing.T) {
	// The other truth gives pixels to four decimals and angles to full precision.
	const pixels, degrees, mm = 0.01, 1e-6, 1e-6
	for _, want := range loadTruth(t) {
		got := asScene(want).Truth()
		for _, tt := range []struct {
			what            string
			got, want, most float64
		}{
			{"body x", got.BodyVector[0], want.BodyVector[0], degrees},
			{"body y", got.BodyVector[1], want.BodyVector[1], degrees},
			{"body z", got.BodyVector[2], want.BodyVector[2], degrees},
			{"altitude above the plate", *got.BodyAbovePlate, *want.BodyAbovePlate, degrees},
			{"shadow", *got.Shadow, *want.Shadow, degrees},
			{"shadow strip", *got.ShadowStrip, *want.ShadowStrip, degrees},
			{"level reader", *got.LevelReader, *want.LevelReader, degrees},
			{"strip reader", *got.StripReader, *want.StripReader, degrees},
			{"shadow tip x", got.ShadowTip[0], want.ShadowTip[0], mm},
			{"shadow tip y", got.ShadowTip[1], want.ShadowTip[1], mm},
			{"shadow length", *got.ShadowLength, *want.ShadowLength, mm},
			{"tilt", got.Camera.Tilt, want.Camera.Tilt, 0.05}, // printed to 0.1
			{"foot x", got.Foot[0], want.Foot[0], pixels},
			{"foot y", got.Foot[1], want.Foot[1], pixels},
			{"rod base x", got.RodBase[0], want.RodBase[0], pixels},
			{"rod base y", got.RodBase[1], want.RodBase[1], pixels},
			{"rod tip x", got.RodTip[0], want.RodTip[0], pixels},
			{"rod tip y", got.RodTip[1], want.RodTip[1], pixels},
		} {
			if !(math.Abs(tt.got-tt.want) <= tt.most) {
				t.Errorf("%s: %s = %v, want %v", want.File, tt.what, tt.got, tt.want)
			}
		}
		for i, m := range want.Marks {
			g := got.Marks[i]
			if g.ID != m.ID || g.InFrame != m.InFrame {
				t.Errorf("%s: mark %d (in frame %v), want %d (%v)", want.File, g.ID, g.InFrame, m.ID, m.InFrame)
			}
			for k, p := range m.Corners {
				if d := math.Hypot(g.Corners[k][0]-p[0], g.Corners[k][1]-p[1]); d > pixels {
					t.Errorf("%s: mark %d corner %d is %.4f px off", want.File, m.ID, k, d)
				}
			}
			if d := math.Hypot(g.Centre[0]-m.Centre[0], g.Centre[1]-m.Centre[1]); d > pixels {
				t.Errorf("%s: mark %d centre is %.4f px off", want.File, m.ID, d)
			}
		}
	}
}

// On flat paper the tip's shadow lies where the truth has it; paper that curls up along the
// shadow meets the ray at the root of c (u/150)² = (L - u) tan(altitude), a quadratic.
func TestShadowOnPaper(t *testing.T) {
	s := &Scene{
		Rods:  []Rod{{Height: 50, Diameter: 3}},
		Light: Light{Body: Sun, Azimuth: 250 * angle.Degree, Altitude: 25 * angle.Degree},
	}
	flat := 50 / (25 * angle.Degree).Tan()
	if got, ok := s.ShadowOnPaper(1); !ok || math.Abs(got-flat) > 1e-9 {
		t.Errorf("flat: %v mm (%v), want %v", got, ok, flat)
	}
	const curl = 0.8
	s.Paper.Curl, s.Paper.CurlDir = curl, 70*angle.Degree
	k, b := curl/(150*150), (25 * angle.Degree).Tan()
	want := (-b + math.Sqrt(b*b+4*k*b*flat)) / (2 * k)
	if got, _ := s.ShadowOnPaper(1); math.Abs(got-want) > 1e-6 {
		t.Errorf("curled: %v mm, want %v", got, want)
	}
	// A rod beside the foot: measured from the printed foot along the strip.
	s.Paper.Curl = 0
	s.Rods[0].Foot = sheet.Point{X: 0.5 * (70 * angle.Degree).Sin(), Y: 0.5 * (70 * angle.Degree).Cos()}
	if got, _ := s.ShadowOnPaper(1); math.Abs(got-flat-0.5) > 1e-9 {
		t.Errorf("half a millimetre ahead of the foot: %v mm, want %v", got, flat+0.5)
	}
}
