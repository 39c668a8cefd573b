package calib

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"shadowread/internal/angle"
)

// Dip is how far the horizon of flat country or sea lies below the level of an eye at a
// height, m: 1.76 minutes of arc times its root, refraction included (The Nautical
// Almanac, explanation of the altitude corrections).
func Dip(eyeMetres float64) angle.Angle {
	return angle.Angle(1.76*math.Sqrt(max(0, eyeMetres))) * angle.Arcminute
}

// Toward returns the pixel of what lies infinitely far away in a direction of the plate
// frame; NaN behind the camera or far outside the lens's field.
func (p *Plate) Toward(d [3]float64) Pixel {
	far := *p
	far.Pose.T = [3]float64{}
	return far.ProjectSpace(d[0], d[1], d[2])
}

// Sees reports whether a pixel's ray is a direction of the plate frame, within a tenth of a
// degree.
func (p *Plate) Sees(q Pixel, d [3]float64) bool {
	r, ok := p.ray(q)
	c := cross(r, d)
	n, m := math.Sqrt(r[0]*r[0]+r[1]*r[1]+r[2]*r[2]), math.Sqrt(d[0]*d[0]+d[1]*d[1]+d[2]*d[2])
	return ok && math.Sqrt(c[0]*c[0]+c[1]*c[1]+c[2]*c[2]) < 0.0017*n*m
}

// Level returns how the plate stands by pixels of the horizon, the elevations of its
// forward and its starboard axis: rays to a horizon of a dip lie on a cone about the plumb
// line, 90 degrees plus the dip from straight up, which is fitted to them. ok is false
// where they do not say.
func (p *Plate) Level(horizon []Pixel, dip angle.Angle) (forward, starboard angle.Angle, ok bool) {
	var xx, xy, yy float64
	rays := make([][3]float64, 0, len(horizon))
	for _, q := range horizon {
		d, ok := p.ray(q)
		if !ok {
			return 0, 0, false
		}
		n := math.Sqrt(d[0]*d[0] + d[1]*d[1] + d[2]*d[2])
		for i := range d {
			d[i] /= n
		}
		rays = append(rays, d)
		xx, xy, yy = xx+d[0]*d[0], xy+d[0]*d[1], yy+d[1]*d[1]
	}
	det := xx*yy - xy*xy
	if !(det > 1e-6) {
		return 0, 0, false
	}
	// (a, b, 1)/n is up: a x + b y + z = -n sin(dip).
	a, b := 0.0, 0.0
	for range 4 {
		s := -math.Sqrt(1+a*a+b*b) * dip.Sin()
		var x, y float64
		for _, d := range rays {
			x, y = x+d[0]*(s-d[2]), y+d[1]*(s-d[2])
		}
		a, b = (yy*x-xy*y)/det, (xx*y-xy*x)/det
	}
	n := math.Sqrt(1 + a*a + b*b)
	return angle.Asin(b / n), angle.Asin(a / n), true
}

// OffHorizon is by how much a pixel's ray stands above the horizon of a plate that stands
// so.
func (p *Plate) OffHorizon(q Pixel, forward, starboard, dip angle.Angle) angle.Angle {
	d, ok := p.ray(q)
	if !ok {
		return math.Pi
	}
	x, y := starboard.Sin(), forward.Sin()
	z := math.Sqrt(max(0, 1-x*x-y*y))
	n := math.Sqrt(d[0]*d[0] + d[1]*d[1] + d[2]*d[2])
	return angle.Asin((x*d[0]+y*d[1]+z*d[2])/n) + dip
}

// LevelByHorizon is Level through a fitted map, with the covariance of forward and
// starboard. A horizon is straight, so that what it bends by corrects what is open of the
// lens; each place on it is seen to a sigma. bends is the RMS that remains, of which hills
// leave much.
func (f *Fit) LevelByHorizon(horizon []Pixel, dip, sigma angle.Angle) (forward, starboard angle.Angle, cov [2][2]float64, bends angle.Angle, ok bool) {
	n := len(horizon)
	if _, _, ok = f.Level(horizon, dip); !ok || n < 4 {
		return 0, 0, cov, 0, false
	}
	values, c := f.Covariance(func(p *Plate) []float64 {
		forward, starboard, _ := p.Level(horizon, dip)
		out := []float64{float64(forward), float64(starboard)}
		for _, q := range horizon {
			out = append(out, float64(p.OffHorizon(q, forward, starboard, dip)))
		}
		return out
	})
	// Given that the horizon is straight: x - C (C + S)^-1 r.
	total := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			total.SetSym(i, j, c.At(2+i, 2+j))
		}
		total.SetSym(i, i, total.At(i, i)+float64(sigma*sigma))
	}
	var chol mat.Cholesky
	if !chol.Factorize(total) {
		return 0, 0, cov, 0, false
	}
	var weighted mat.VecDense
	if chol.SolveVecTo(&weighted, mat.NewVecDense(n, values[2:])) != nil {
		return 0, 0, cov, 0, false
	}
	level := [2]float64{values[0], values[1]}
	var squares float64
	for i := range n {
		rest := values[2+i]
		for j := range n {
			rest -= c.At(2+i, 2+j) * weighted.AtVec(j)
		}
		squares += rest * rest
	}
	for k := range level {
		for j := range n {
			level[k] -= c.At(k, 2+j) * weighted.AtVec(j)
		}
	}
	for k := range 2 {
		for l := range 2 {
			cov[k][l] = c.At(k, l)
			column := mat.NewVecDense(n, nil)
			for j := range n {
				column.SetVec(j, c.At(l, 2+j))
			}
			var solved mat.VecDense
			if chol.SolveVecTo(&solved, column) != nil {
				return 0, 0, cov, 0, false
			}
			for j := range n {
				cov[k][l] -= c.At(k, 2+j) * solved.AtVec(j)
			}
		}
	}
	return angle.Angle(level[0]), angle.Angle(level[1]), cov, angle.Angle(math.Sqrt(squares / float64(n))), true
}
