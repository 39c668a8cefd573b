package calib

import (
	"math"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/render"
	"shadowread/internal/sheet"
)

// The dip of the horizon (Bowditch, American Practical Navigator, 2019, table 13: 0.97'
// times the root of feet, 1.76' times that of metres): 9 feet 2.9', 25 feet 4.9', 100 feet
// 9.7'.
func TestDip(t *testing.T) {
	for feet, want := range map[float64]float64{9: 2.9, 25: 4.9, 100: 9.7} {
		if got := Dip(feet*0.3048) / angle.Arcminute; math.Abs(float64(got)-want) > 0.06 {
			t.Errorf("%v feet: %.2f', want %.1f'", feet, float64(got), want)
		}
	}
}

// Pixels of a horizon by the renderer's camera, which shares no code with calib, give back
// how the plate stands.
func TestLevel(t *testing.T) {
	c := render.Camera{Width: 4000, Height: 3000, Fx: 3100, Fy: 3100, Cx: 2010, Cy: 1490, Dist: [5]float64{-0.05, 0.02}}
	c.LookAt(sheet.Point{X: 10, Y: 140}, 600, 66*angle.Degree, 190*angle.Degree, 4*angle.Degree)
	p := &Plate{Lens: Lens{F: c.Fx, Cx: c.Cx, Cy: c.Cy, K1: c.Dist[0], K2: c.Dist[1]}, Pose: Pose{T: [3]float64{c.T.X, c.T.Y, c.T.Z}}}
	for i, row := range c.R {
		p.Pose.R[i] = [3]float64{row.X, row.Y, row.Z}
	}
	for _, tt := range []struct{ forward, starboard, dip angle.Angle }{{0, 0, 0}, {5.3 * angle.Degree, -4.5 * angle.Degree, Dip(1.6)}, {-8 * angle.Degree, 3 * angle.Degree, Dip(20)}} {
		up := render.Vec{X: tt.starboard.Sin(), Y: tt.forward.Sin()}
		up.Z = math.Sqrt(1 - up.X*up.X - up.Y*up.Y)
		var line []Pixel
		for azimuth := -30.0; azimuth <= 30; azimuth += 5 {
			// Level, then lowered by the dip: a direction square to up, towards the azimuth.
			sin, cos := math.Sincos((azimuth + 10) * math.Pi / 180)
			flat := render.Vec{X: sin, Y: cos, Z: -(up.X*sin + up.Y*cos) / up.Z}
			n := math.Sqrt(flat.X*flat.X + flat.Y*flat.Y + flat.Z*flat.Z)
			s, k := tt.dip.Sin(), tt.dip.Cos()/n
			const far = 1e9
			u, v, ok := c.Project(render.Vec{X: far * (flat.X*k - up.X*s), Y: far * (flat.Y*k - up.Y*s), Z: far * (flat.Z*k - up.Z*s)})
			if ok {
				line = append(line, Pixel{u, v})
			}
		}
		if len(line) < 5 {
			t.Fatalf("%+v: %d points of the horizon in view", tt, len(line))
		}
		f, s, ok := p.Level(line, tt.dip)
		if e := max((f - tt.forward).Abs(), (s - tt.starboard).Abs()); !ok || e > angle.Degree/1e4 {
			t.Errorf("%+v: forward %v, starboard %v", tt, f, s)
		}
	}
}
