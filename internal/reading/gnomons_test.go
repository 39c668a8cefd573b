package reading_test

import (
	"context"
	"math"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
	"shadowread/internal/render"
	"shadowread/internal/sheet"
)

// Gnomons as people make them. What Readable calls readable must be read.
func TestHomeMadeGnomons(t *testing.T) {
	manyPictures(t)
	deg := angle.FromDegrees
	for _, tt := range []struct {
		name     string
		altitude float64
		tilt     float64
		camera   float64 // where the camera stands, clockwise from forward
		change   func(*render.Scene)
		expect   expect
	}{
		{"nail with a flat head", 40, 30, 160, func(s *render.Scene) {
			s.Rods[0].Collars = []render.Collar{{From: 48, To: 50, Diameter: 9}}
		}, mustRead},
		{"nail from above", 50, 12, 300, func(s *render.Scene) {
			s.Rods[0].Collars = []render.Collar{{From: 47.5, To: 50, Diameter: 10}}
		}, mustRead},
		{"nail, low sun", 20, 40, 20, func(s *render.Scene) {
			s.Rods[0].Collars = []render.Collar{{From: 48, To: 50, Diameter: 8}}
		}, mustRead},
		{"nail, short", 45, 25, 190, func(s *render.Scene) {
			s.Rods[0].Height = 40
			s.Rods[0].Collars = []render.Collar{{From: 38, To: 40, Diameter: 8}}
		}, mustRead},
		{"nut at the foot", 35, 30, 200, func(s *render.Scene) {
			s.Rods[0].Collars = []render.Collar{{From: 0, To: 5, Diameter: 11}}
		}, mustRead},
		{"clay at the foot", 30, 30, 340, func(s *render.Scene) {
			s.Rods[0].Collars = []render.Collar{{From: 0, To: 3, Diameter: 16}, {From: 3, To: 6, Diameter: 12}}
		}, mustRead},
		{"skewer", 35, 30, 200, func(s *render.Scene) { s.Rods[0].Point, s.Rods[0].Material = 15, render.Dowel }, mustRead},
		{"cork on the tip", 30, 30, 200, func(s *render.Scene) {
			s.Rods[0].Collars = []render.Collar{{From: 35, To: 50, Diameter: 14}}
		}, mustRead},
		{"pencil", 30, 4, 320, thick(7.6), mustRead},
		{"pencil, high sun", 62, 15, 200, thick(7.2), mustRead},
		{"thick dowel", 22, 36, 200, thick(9.7), mustRead},
		{"thick dowel from above", 31, 3, 100, thick(8.4), mustRead},
		{"thick dowel, low sun", 14, 30, 20, thick(10), mustRead},
		{"dowel in thin cloud", 40, 30, 200, thinCloud(0.45), mustRead},
		{"dowel in thin cloud, from another side", 30, 35, 330, thinCloud(0.6), mustRead},
		{"dowel in thin cloud, from above", 50, 10, 100, thinCloud(0.5), mustRead},
		{"bent wire", 35, 20, 200, bent(0.8, 90), mustRead},
		{"bent wire, the other way", 30, 30, 330, bent(0.8, 250), mustRead},
		{"bent wire, low sun", 20, 30, 160, bent(0.6, 180), mustRead},
		{"a little bent", 40, 30, 200, bent(0.3, 150), mustRead},
		{"bent wire, tip among the numerals", 40, 25, 200, func(s *render.Scene) {
			bent(0.7, 160)(s)
			s.Rods[0].Height = 58
		}, mustRead},
		{"bent wire, high sun", 68, 20, 200, bent(0.8, 90), hard},
		{"clay, low sun", 10, 20, 200, func(s *render.Scene) {
			s.Rods[0].Collars = []render.Collar{{From: 0, To: 3, Diameter: 16}, {From: 3, To: 5, Diameter: 10}}
		}, mustRead},
		{"nut, low sun", 9, 30, 330, func(s *render.Scene) {
			s.Rods[0].Collars = []render.Collar{{From: 0, To: 1, Diameter: 9}, {From: 1, To: 5, Diameter: 5.7}}
		}, mustRead},
		{"cork over the foot", 40, 2, 100, func(s *render.Scene) {
			s.Rods[0].Collars = []render.Collar{{From: 36, To: 50, Diameter: 13}}
		}, mustRead},
		{"cork of brass from nearly above", 49, 8, 20, func(s *render.Scene) {
			s.Rods[0].Height, s.Rods[0].Diameter, s.Rods[0].Material = 65, 4.7, render.Brass
			s.Rods[0].Collars = []render.Collar{{From: 52, To: 65, Diameter: 14}}
		}, mustRead},
		{"skewer, short", 32, 40, 330, func(s *render.Scene) {
			s.Rods[0].Height, s.Rods[0].Point, s.Rods[0].Material = 38, 13, render.Dowel
		}, mustRead},
		{"short, before its own shadow", 35, 28, 263, func(s *render.Scene) {
			s.Rods[0].Height, s.Rods[0].Diameter, s.Rods[0].Material = 40, 4.8, render.White
		}, mustRead},
		{"skewer, short, long point", 50, 32, 60, func(s *render.Scene) {
			s.Rods[0].Height, s.Rods[0].Diameter, s.Rods[0].Point, s.Rods[0].Material = 33, 3.5, 14.8, render.Dowel
		}, mustRead},
		{"a roof's shadow behind the foot", 35, 25, 330, shade(render.Shade{Offset: -15, Dir: 75 * angle.Degree, Width: 14, Penumbra: 4}), mustRead},
		{"sun at 79 degrees", 79, 20, 200, func(s *render.Scene) { s.Rods[0].Height = 90 }, hard},
		{"a cable's shadow at a small angle", 35, 25, 200, shade(render.Shade{Offset: 9, Dir: (70 + 90 + 7) * angle.Degree, Width: 4, Penumbra: 1}), hard},
		{"a cable's shadow at 15 degrees", 35, 25, 200, shade(render.Shade{Offset: -12, Dir: (70 + 90 + 15) * angle.Degree, Width: 4, Penumbra: 1}), hard},
	} {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			s := scene(deg(tt.altitude), deg(tt.tilt), deg(tt.camera))
			tt.change(s)
			path, truth := drawScene(t, s)
			for _, known := range []bool{false, true} {
				o := exactly(s)
				if known {
					o.Rod.HeightMM, o.Rod.DiameterMM = s.Rods[0].Height, s.Rods[0].Diameter
				}
				tt.expect.check(t, reading.Read(context.Background(), photofile.At(path), o), truth)
			}
		})
	}
}

func thick(mm float64) func(*render.Scene) {
	return func(s *render.Scene) { s.Rods[0].Material, s.Rods[0].Diameter = render.Dowel, mm }
}

func thinCloud(haze float64) func(*render.Scene) {
	return func(s *render.Scene) {
		s.Rods[0].Material, s.Rods[0].Diameter = render.Dowel, 5
		s.Light.HazeFraction, s.Light.HazeDisc, s.Light.ShadowRatio = haze, 5*angle.Degree, 0.45
	}
}

func bent(mm, towards float64) func(*render.Scene) {
	return func(s *render.Scene) {
		s.Rods[0].Bow, s.Rods[0].BowDir, s.Rods[0].Diameter = mm, angle.FromDegrees(towards), 2
	}
}

// Things that lie on the sheet, with a rod standing or none: never their direction.
func TestLyingThings(t *testing.T) {
	manyPictures(t)
	deg := angle.FromDegrees
	for i := range 32 {
		r := float64(i)
		dir := deg(math.Mod(37*r+20, 360))
		from, to := 3+2*math.Mod(r, 4), 40+5*math.Mod(r, 5)
		thing := render.Thing{
			From:     sheet.Point{X: from * dir.Sin(), Y: from * dir.Cos()},
			To:       sheet.Point{X: to * dir.Sin(), Y: to * dir.Cos()},
			Diameter: []float64{1.5, 3, 5, 7, 9, 10, 8}[i%7],
			Material: []render.Material{render.Steel, render.Black, render.Dowel, render.Brass}[(i/4)%4],
		}
		s := scene(deg(20+math.Mod(7*r, 40)), deg(10+math.Mod(11*r, 35)), deg(53*r))
		s.Things = []render.Thing{thing}
		if i%2 == 0 {
			s.Rods = nil
		}
		o := exactly(s)
		if i%3 == 0 {
			o.Rod.HeightMM, o.Rod.DiameterMM = 50, 3
		}
		res, truth := readScene(t, s, o)
		switch {
		case !res.OK():
			t.Logf("%d: rod %v: %s", i, i%2 == 1, res.Reason)
		case truth.StripReader == nil:
			t.Errorf("%d: a thing that lies was read: %v ± %v", i, *res.Heading, res.Sigma)
		default:
			e := (*res.Heading - res.Correction - deg(*truth.StripReader)).Signed()
			if s := withoutLevel(res); e.Abs() > 4*s {
				t.Errorf("%d: off by %v, sigma %v", i, e, s)
			}
		}
	}
}

func withoutLevel(r *reading.Result) angle.Angle {
	b := *r.Budget
	b.Level, b.Alignment = 0, 0
	return b.Sigma()
}

// A stick over part of the shadow leaves the rest of it to a rod whose thickness is stated; one that
// lies alone in the light, as broad as that and well off the foot, is no shadow.
func TestStickAboutTheShadow(t *testing.T) {
	at := func(along, across float64) sheet.Point { // of the shadow
		return sheet.Point{X: along*shadowDir.Sin() + across*shadowDir.Cos(), Y: along*shadowDir.Cos() - across*shadowDir.Sin()}
	}
	across := render.Thing{From: at(40, -22), To: at(19, 14), Diameter: 6.5, Material: render.Dowel}
	along := render.Thing{From: at(24, 0.3), To: at(51, 0), Diameter: 3.6, Material: render.Dowel}
	for _, tt := range []struct {
		name   string
		thing  render.Thing
		sun    bool
		expect expect
	}{
		{"across", across, true, mustRead},
		{"alone", along, false, refused},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := scene(25*angle.Degree, 30*angle.Degree, 330*angle.Degree)
			s.Rods[0].Height, s.Rods[0].Diameter, s.Rods[0].Material = 60, 3.6, render.Black
			s.Things = []render.Thing{tt.thing}
			if !tt.sun {
				overcast(s)
			}
			o := exactly(s)
			o.Rod.HeightMM, o.Rod.DiameterMM = 60, 3.6
			r, truth := readScene(t, s, o)
			tt.expect.check(t, r, truth)
		})
	}
}

// From above a carved peg does not show that it tapers: its shadow is read with a warning and a sigma that allows for
// another shadow along one edge; stating how thick it is at the foot tells.
func TestTaperedPegFromAbove(t *testing.T) {
	s := scene(angle.FromDegrees(28), angle.FromDegrees(4), angle.FromDegrees(200))
	s.Rods[0].Height, s.Rods[0].Diameter, s.Rods[0].Taper, s.Rods[0].Material = 40, 6, 0.5, render.Dowel
	path, truth := drawScene(t, s)
	for _, stated := range []float64{0, 6} {
		o := exactly(s)
		o.Rod.DiameterMM = stated
		r := reading.Read(context.Background(), photofile.At(path), o)
		if !r.OK() {
			t.Fatalf("%s: %s", r.Reason, r.Message)
		}
		off := (*r.Heading - r.Correction - angle.FromDegrees(*truth.StripReader)).Signed().Abs()
		sigma := withoutLevel(r)
		if wide := sigma > angle.FromDegrees(0.3); off > 2*sigma || wide != (stated == 0) || wide != warned(r, "shadow_narrows") {
			t.Errorf("stated %v: off by %v ± %v, %v", stated, off, sigma, r.Warnings)
		}
	}
}
