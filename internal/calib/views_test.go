package calib

import (
	"math"
	"math/rand/v2"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/render"
	"shadowread/internal/sheet"
)

// thinViews are views of the marks' edges by the renderer's projection, which shares
// no code with ours, with white noise of sigma px across each edge.
func thinViews(r *rand.Rand, c render.Camera, stretch, sigma float64) (views []View) {
	poses := []struct{ tilt, dir, roll, distance, x, y float64 }{
		{3, 0, 0, 260, 0, 0}, {32, 0, 10, 290, 10, 0}, {32, 90, -20, 290, -30, 15}, {32, 180, 80, 300, 30, -20},
		{32, 270, 100, 290, 0, 30}, {42, 45, 45, 330, -30, -30}, {42, 225, 190, 330, 20, 20},
	}
	for _, p := range poses {
		c.LookAt(sheet.Point{X: p.x, Y: p.y}, p.distance, angle.FromDegrees(p.tilt), angle.FromDegrees(p.dir), angle.FromDegrees(p.roll))
		v := View{Pose: Pose{T: [3]float64{c.T.X, c.T.Y, c.T.Z}}}
		for i := range 3 {
			v.Pose.R[i] = [3]float64{c.R[i].X, c.R[i].Y, c.R[i].Z}
		}
		seen := func(p sheet.Point) (float64, float64) {
			u, w, _ := c.Project(render.Vec{X: p.X * (1 + stretch/2), Y: p.Y * (1 - stretch/2)})
			return u, w
		}
		for _, m := range sheet.Standard.Marks {
			k := m.Corners()
			for i := range 4 {
				a, b := k[i], k[(i+1)%4]
				along := sheet.Point{X: (b.X - a.X) / m.Side, Y: (b.Y - a.Y) / m.Side}
				for j := range 8 {
					f := (float64(j) + 0.5) / 8
					at := sheet.Point{X: a.X + f*(b.X-a.X), Y: a.Y + f*(b.Y-a.Y)}
					u, w := seen(at)
					u2, w2 := seen(sheet.Point{X: at.X + 0.1*along.X, Y: at.Y + 0.1*along.Y})
					l := math.Hypot(u2-u, w2-w)
					e := sigma * r.NormFloat64()
					v.Samples = append(v.Samples, Sample{
						At: at, Along: along, Ink: 1, Group: 4*m.ID + i,
						Seen: Pixel{u + e*(w2-w)/l, w - e*(u2-u)/l},
					})
				}
			}
		}
		views = append(views, v)
	}
	return views
}

// The renderer's projection tells the truth; the errors of the fit must follow its
// sigmas: of independent normal errors 95.4 % lie within two sigma.
func TestFitViewsIsHonest(t *testing.T) {
	const sets, noise = 60, 0.2 // px
	r := rand.New(rand.NewPCG(3, 1))
	prior := UnknownLens(1600, 1200, 0)
	prior.LogF, prior.Centre, prior.K1, prior.K2, prior.K3, prior.Decentring = 1, 160, 1, 2, 2, 0.01
	prior.Stretch, prior.Curl = 0.01, 3e-5
	within, n, chi := 0, 0, 0.0
	for range sets {
		c := render.Camera{Width: 1600, Height: 1200, Cx: 800 + 10*r.NormFloat64(), Cy: 600 + 10*r.NormFloat64(),
			Dist: [5]float64{-0.25 + 0.05*r.NormFloat64(), 0.08, 0.0005 * r.NormFloat64(), 0.0005 * r.NormFloat64(), -0.01}}
		c.Fx = 1200 * (1 + 0.05*r.NormFloat64())
		c.Fy = c.Fx
		stretch := 0.002 * r.NormFloat64()
		start := Lens{F: c.Fx * 1.01, Cx: 799.5, Cy: 599.5, K1: -0.2}
		f, err := FitViews(thinViews(r, c, stretch, noise), start, prior)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range [][2]float64{
			{f.Lens.F - c.Fx, f.Sigma.F}, {f.Lens.Cx - c.Cx, f.Sigma.Cx}, {f.Lens.Cy - c.Cy, f.Sigma.Cy},
			{f.Lens.K1 - c.Dist[0], f.Sigma.K1}, {f.Lens.K2 - c.Dist[1], f.Sigma.K2}, {f.Lens.K3 - c.Dist[4], f.Sigma.K3},
			{f.Lens.P1 - c.Dist[2], f.Sigma.P1}, {f.Lens.P2 - c.Dist[3], f.Sigma.P2}, {f.Stretch - stretch, f.StretchSigma},
		} {
			z := e[0] / e[1]
			n++
			chi += z * z
			if math.Abs(z) < 2 {
				within++
			}
		}
	}
	// 540 values, of which each set's hang together: some 300 free ones, of which
	// 95.4 % have a standard deviation of 1.2 %.
	share, mean := float64(within)/float64(n), chi/float64(n)
	t.Logf("within two sigma %.1f %%, mean square of error over sigma %.2f", 100*share, mean)
	if share < 0.92 || share > 0.985 || mean < 0.75 || mean > 1.3 {
		t.Errorf("within two sigma %.1f %%, mean square of error over sigma %.2f", 100*share, mean)
	}
}

func TestFitViewsNeedsSamples(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	c := render.Camera{Width: 1600, Height: 1200, Fx: 1200, Fy: 1200, Cx: 800, Cy: 600}
	v := thinViews(r, c, 0, 0.1)
	v[2].Samples = v[2].Samples[:leastSamples-1]
	if _, err := FitViews(v, Lens{F: 1200, Cx: 800, Cy: 600}, UnknownLens(1600, 1200, 0)); err != ErrUndetermined {
		t.Error(err)
	}
	v = thinViews(r, c, 0, 0.1)
	for i := range v[0].Samples {
		v[0].Samples[i].Seen.U = math.NaN()
	}
	if _, err := FitViews(v, Lens{F: 1200, Cx: 800, Cy: 600}, UnknownLens(1600, 1200, 0)); err != ErrUndetermined {
		t.Error(err)
	}
}

func BenchmarkFitViews(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 1))
	c := render.Camera{Width: 1600, Height: 1200, Fx: 1200, Fy: 1200, Cx: 800, Cy: 600, Dist: [5]float64{-0.25, 0.08}}
	v := thinViews(r, c, 0, 0.1)
	prior := UnknownLens(1600, 1200, 0)
	for b.Loop() {
		if _, err := FitViews(v, Lens{F: 1210, Cx: 800, Cy: 600, K1: -0.2}, prior); err != nil {
			b.Fatal(err)
		}
	}
}
