package render

import (
	"math"
	"math/rand/v2"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// The light that gets past rods of many parts, and past things that lie on the sheet,
// is that of rays drawn over the sun's disc one by one.
func TestLightPastHeadsBowsAndThings(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	worst, partly := 0.0, 0
	for range 600 {
		s := &Scene{Light: Light{Body: Sun, Azimuth: angle.FromDegrees(360 * r.Float64()), Altitude: angle.FromDegrees(15 + 55*r.Float64()), Disc: 0.533 * angle.Degree}}
		dir, _ := s.body()
		about := Vec{}
		switch r.IntN(4) {
		case 0:
			s.Rods = []Rod{{Height: 50, Diameter: 3, Collars: []Collar{{47.5, 50, 9}}}}
			about = Vec{0, 0, 49}
		case 1:
			s.Rods = []Rod{{Height: 50, Diameter: 3, Bow: 0.8, BowDir: angle.FromDegrees(360 * r.Float64()), Collars: []Collar{{18, 22, 7}}}}
			about = Vec{0, 0, 50 * r.Float64()}
		case 2:
			s.Rods = []Rod{{Height: 50, Diameter: 3, Point: 15}}
			about = Vec{0, 0, 35 + 15*r.Float64()}
		default:
			s.Things = []Thing{{From: sheet.Point{X: -20}, To: sheet.Point{X: 40, Y: 10}, Diameter: 6}}
			about = Vec{60*r.Float64() - 20, 10 * r.Float64(), 3}
		}
		p := about.sub(dir.mul(about.Z / dir.Z)).add(Vec{2 * r.NormFloat64(), 2 * r.NormFloat64(), 0})
		if len(s.Things) > 0 && s.Things[0].distance(p) < 3 {
			continue // under the thing
		}
		got, _ := s.newSun().byRods(p)
		e := dir.cross(Vec{0, 0, 1}).unit()
		f := dir.cross(e)
		free := 0
		const rays = 2000
		for range rays {
			a, b := r.Float64()*2*math.Pi, math.Sqrt(r.Float64())*s.Light.Disc.Radians()/2
			d := dir.add(e.mul(b * math.Cos(a))).add(f.mul(b * math.Sin(a)))
			hit := false
			for _, parts := range s.wholes() {
				for i := range parts {
					tube := newTube(&parts[i], p)
					_, _, ok := tube.meet(d)
					hit = hit || ok
				}
			}
			if !hit {
				free++
			}
		}
		want := float64(free) / rays
		if want > 0 && want < 1 {
			partly++
		}
		worst = max(worst, math.Abs(got-want))
		// Four sigma of the count, and what parts that meet leave at their seams, most at
		// the steps of a point.
		tolerance := 4*math.Sqrt(0.25/rays) + 0.06
		if len(s.Rods) > 0 && s.Rods[0].Point > 0 {
			tolerance += 0.25
		}
		if math.Abs(got-want) > tolerance {
			t.Errorf("%+v %+v at %v: %.3f, rays say %.3f", s.Rods, s.Things, p, got, want)
		}
	}
	t.Logf("worst %.3f, %d places in penumbra", worst, partly)
	if partly < 40 {
		t.Errorf("only %d places in penumbra", partly)
	}
}

func (t *Thing) distance(p Vec) float64 {
	o := Occluder{From: t.From, To: t.To}
	return o.distance(p.ground())
}
