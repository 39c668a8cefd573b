package reading_test

import (
	"math"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/reading"
	"shadowread/internal/render"
	"shadowread/internal/sheet"
)

// The shadow's end wherever it lies on the page, and beyond it never more than a bound. The
// truth is the renderer's.
func TestTipWhereverItLies(t *testing.T) {
	deg := angle.FromDegrees
	for _, tt := range []struct {
		name     string
		altitude float64
		shadow   float64 // direction, clockwise from forward
		bound    bool
	}{
		{"on plain paper", 48, 92, false},      // 45 mm
		{"among the ticks", 39.5, 100, false},  // 61 mm
		{"among the numerals", 36, 95, false},  // 69 mm
		{"beside a mark", 32, 92, false},       // 80 mm
		{"in the margin", 27, 92, false},       // 98 mm
		{"in the rear margin", 22, 176, false}, // 124 mm
		{"on the board", 22.5, 92, true},       // 121 mm
		{"off the board, in its shade", 15, 92, true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := scene(deg(tt.altitude), deg(25), deg(tt.shadow+120))
			s.Plate.Heading = (s.Plate.Heading + shadowDir - deg(tt.shadow)).Bearing()
			s.Camera.LookAt(sheet.Point{X: 20 * deg(tt.shadow).Sin(), Y: 20 * deg(tt.shadow).Cos()}, 430, deg(25), deg(tt.shadow+120), 10*angle.Degree)
			o := exactly(s)
			o.Rod.HeightMM = s.Rods[0].Height
			r, truth := readScene(t, s, o)
			mustRead.check(t, r, truth)
			if !r.OK() {
				return
			}
			st, want := r.Shadow, *truth.ShadowLength
			if tt.bound {
				if st.Length != 0 || st.AtLeast < 95 || st.AtLeast > want+1 {
					t.Errorf("length %.1f, at least %.1f mm, is %.1f", st.Length, st.AtLeast, want)
				}
				return
			}
			if st.Length == 0 || math.Abs(st.Length-want) > 3*st.LengthSigma {
				t.Errorf("length %.2f ± %.2f mm, is %.2f", st.Length, st.LengthSigma, want)
			}
		})
	}
}

// The ends that people's gnomons have: a nail's flat head lies wholly beyond the axis's tip, and a
// point's shadow ends before it. Neither accuses a clock that is right. The truth is the renderer's.
func TestTipOfHeadsAndPoints(t *testing.T) {
	deg := angle.FromDegrees
	for _, tt := range []struct {
		name           string
		altitude, from float64
		rod            render.Rod
	}{
		{"a nail's head", 46, 200, render.Rod{Height: 45, Diameter: 3.4, Collars: []render.Collar{{From: 43.8, To: 45, Diameter: 8.4}}}},
		{"a nail's head, high sun", 62, 330, render.Rod{Height: 50, Diameter: 4, Collars: []render.Collar{{From: 48.5, To: 50, Diameter: 9}}}},
		{"a ball", 46, 200, render.Rod{Height: 45, Diameter: 3.4, Cap: 9}},
		{"a cork", 48, 330, render.Rod{Height: 45, Diameter: 3, Collars: []render.Collar{{From: 33, To: 45, Diameter: 12}}}},
		{"a pencil", 44, 200, render.Rod{Height: 50, Diameter: 7, Point: 10}},
		{"a pencil, from another side", 50, 330, render.Rod{Height: 55, Diameter: 7, Point: 12}},
		{"a pencil, its end among the numerals", 30, 200, render.Rod{Height: 38, Diameter: 7, Point: 10}},
		{"a skewer", 42, 330, render.Rod{Height: 45, Diameter: 3.5, Point: 14}},
		{"a flat tip", 44, 200, render.Rod{Height: 50, Diameter: 7}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := scene(deg(tt.altitude), deg(30), deg(tt.from))
			tt.rod.Material = render.Dowel
			s.Rods[0] = tt.rod
			o := exactly(s)
			o.Rod.HeightMM = tt.rod.Height
			r, truth := readScene(t, s, o)
			mustRead.check(t, r, truth)
			if !r.OK() {
				return
			}
			st, want := r.Shadow, *truth.ShadowLength
			t.Logf("length %.2f ± %.2f mm, is %.2f", st.Length, st.LengthSigma, want)
			if st.Length == 0 || math.Abs(st.Length-want) > 2*st.LengthSigma {
				t.Errorf("length %.2f ± %.2f mm, is %.2f", st.Length, st.LengthSigma, want)
			}
			if r.Clock == reading.ClockFailed {
				t.Error("a right clock is accused")
			}
		})
	}
}
