package pixels

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"shadowread/internal/calib"
	"shadowread/internal/sheet"
)

// FlatView is one picture of a flat pattern: places on it, mm, and where each was
// seen, px.
type FlatView struct {
	On   []sheet.Point
	Seen []calib.Pixel
}

// CameraSolution is the lens that makes the least of the squares of all points' distances
// from where it has them.
type CameraSolution struct {
	Lens  calib.Lens // F is the focal length along the rows
	Fy    float64    // px, along the columns; equal to Lens.F for square pixels
	RMSPx float64    // root mean square distance of the points from the model, px
	Poses []calib.Pose
}

// SolveFlat finds a lens with all five terms of distortion from views of a flat pattern in
// pictures of width x height px (Zhang, PAMI 22(11), 2000). With square pixels fx and fy are
// one parameter. There must be three views or more, none with its points on one line, and all
// places finite. ok is false where no lens explains them; OpenCV may give one that is not
// finite, too.
func SolveFlat(views []FlatView, width, height int, square bool) (s CameraSolution, ok bool) {
	return at.solveFlat(views, width, height, square)
}

// flatSolver is the state of the adjustment: a lens, and a pose for every view.
type flatSolver struct {
	views  []FlatView
	square bool
	CameraSolution
}

// What the adjustment is bounded by.
const (
	// mostTurns is some ten times what sound views take.
	mostTurns = 200
	// settled is the part of the sum of squares that a turn must win to be followed by
	// another.
	settled = 1e-13
	// Levenberg's damping: at first, by how much it changes, its least, and where it is given up.
	damping, damped, underdamped, overdamped = 1e-3, 10, 1e-12, 1e12
	// ahead is the least distance before the lens, in the pattern's unit, of what it shows.
	ahead = 1e-9
)

// Parameters of the lens; a pose has six more.
const (
	qLogF, qLogFy, qCx, qCy      = 0, 1, 2, 3
	qK1, qK2, qP1, qP2, qK3, qOf = 4, 5, 6, 7, 8, 9
	qPose                        = 6
)

func (plain) solveFlat(views []FlatView, width, height int, square bool) (CameraSolution, bool) {
	s := &flatSolver{views: views, square: square}
	if !s.start(width, height) {
		return CameraSolution{}, false
	}
	sum, lambda := s.sum(), damping
	if math.IsNaN(sum) || math.IsInf(sum, 0) {
		return CameraSolution{}, false
	}
	for range mostTurns {
		next, left := s.improved(sum, &lambda)
		if next == nil {
			break
		}
		won := sum - left
		s, sum = next, left
		if won <= settled*sum {
			break
		}
	}
	n := 0
	for _, v := range views {
		n += len(v.On)
	}
	s.RMSPx = math.Sqrt(sum / float64(n))
	return s.CameraSolution, true
}

// start is Zhang's closed form with the lens's centre in the middle of the picture, without
// distortion, and each view's pose by its own map.
func (s *flatSolver) start(width, height int) bool {
	s.Lens.Cx, s.Lens.Cy = float64(width-1)/2, float64(height-1)/2
	maps := make([]calib.Homography, len(s.views))
	// The two axes of the pattern are square to each other and of one length, which is
	// linear in 1/f^2.
	unit := float64(max(width, height))
	over, under := 0.0, 0.0
	for i, v := range s.views {
		h, ok := calib.FitHomography(v.On, v.Seen)
		if !ok {
			return false
		}
		maps[i] = h
		var x, y [3]float64
		for j := range 2 {
			c := &x
			if j == 1 {
				c = &y
			}
			*c = [3]float64{(h[j] - s.Lens.Cx*h[6+j]) / unit, (h[3+j] - s.Lens.Cy*h[6+j]) / unit, h[6+j]}
		}
		size := x[0]*x[0] + x[1]*x[1] + y[0]*y[0] + y[1]*y[1]
		for _, e := range [2][2]float64{
			{x[0]*y[0] + x[1]*y[1], x[2] * y[2]},
			{x[0]*x[0] + x[1]*x[1] - y[0]*y[0] - y[1]*y[1], x[2]*x[2] - y[2]*y[2]},
		} {
			over -= e[0] * e[1] / (size * size)
			under += e[0] * e[0] / (size * size)
		}
	}
	s.Lens.F = unit // where the views do not tell, as of a middling lens
	if f := unit * math.Sqrt(under/over); f > unit/100 && f < unit*100 {
		s.Lens.F = f
	}
	s.Fy = s.Lens.F
	for _, h := range maps {
		pose, _ := calib.PoseFromHomography(h, s.Lens.F, s.Lens.Cx, s.Lens.Cy)
		s.Poses = append(s.Poses, pose)
	}
	return true
}

// project returns where a lens and a pose have a point of the pattern.
func (s *flatSolver) project(view int, p sheet.Point) calib.Pixel {
	r, t := &s.Poses[view].R, &s.Poses[view].T
	z := r[2][0]*p.X + r[2][1]*p.Y + t[2]
	if !(z > ahead) {
		return calib.Pixel{U: math.Inf(1)}
	}
	x, y := (r[0][0]*p.X+r[0][1]*p.Y+t[0])/z, (r[1][0]*p.X+r[1][1]*p.Y+t[1])/z
	l := &s.Lens
	q := x*x + y*y
	radial := 1 + q*(l.K1+q*(l.K2+q*l.K3))
	return calib.Pixel{
		U: l.F*(x*radial+2*l.P1*x*y+l.P2*(q+2*x*x)) + l.Cx,
		V: s.Fy*(y*radial+l.P1*(q+2*y*y)+2*l.P2*x*y) + l.Cy,
	}
}

// sum is the sum of squares, infinite where a point cannot be seen.
func (s *flatSolver) sum() (sum float64) {
	for i, v := range s.views {
		for j, p := range v.On {
			q := s.project(i, p)
			sum += (q.U-v.Seen[j].U)*(q.U-v.Seen[j].U) + (q.V-v.Seen[j].V)*(q.V-v.Seen[j].V)
		}
	}
	return sum
}

// moved returns the state with one parameter of the lens, or of a view, changed.
func (s *flatSolver) moved(view, k int, d float64) *flatSolver {
	out := *s
	l := &out.Lens
	switch k {
	case qLogF:
		l.F *= math.Exp(d)
		if s.square {
			out.Fy = l.F
		}
	case qLogFy:
		if !s.square {
			out.Fy *= math.Exp(d)
		}
	case qCx:
		l.Cx += d
	case qCy:
		l.Cy += d
	case qK1:
		l.K1 += d
	case qK2:
		l.K2 += d
	case qP1:
		l.P1 += d
	case qP2:
		l.P2 += d
	case qK3:
		l.K3 += d
	default:
		out.Poses = append([]calib.Pose(nil), s.Poses...)
		p := &out.Poses[view]
		if k -= qOf; k >= 3 {
			p.T[k-3] += d * s.distance(view)
			break
		}
		var w [3]float64
		w[k] = d
		turn := calib.Rodrigues(w)
		var r [3][3]float64
		for i := range 3 {
			for j := range 3 {
				for m := range 3 {
					r[i][j] += turn[i][m] * p.R[m][j]
				}
			}
		}
		p.R = r
	}
	return &out
}

// distance is that of a view, in which shifts are counted.
func (s *flatSolver) distance(view int) float64 {
	t := s.Poses[view].T
	return math.Sqrt(t[0]*t[0] + t[1]*t[1] + t[2]*t[2])
}

// normal adds up the normal equations, with slopes from small steps to both sides.
func (s *flatSolver) normal() (*mat.SymDense, *mat.VecDense) {
	n := qOf + qPose*len(s.views)
	a, g := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	for i, v := range s.views {
		const params = qOf + qPose
		var plus, minus [params]*flatSolver
		var step [params]float64
		for k := range params {
			step[k] = 1e-6
			if k == qCx || k == qCy {
				step[k] = 1e-3 // px
			}
			plus[k], minus[k] = s.moved(i, k, step[k]), s.moved(i, k, -step[k])
		}
		place := func(k int) int {
			if k < qOf {
				return k
			}
			return k + qPose*i
		}
		for j, p := range v.On {
			q := s.project(i, p)
			eu, ev := v.Seen[j].U-q.U, v.Seen[j].V-q.V
			var du, dv [params]float64
			for k := range params {
				b, c := plus[k].project(i, p), minus[k].project(i, p)
				du[k], dv[k] = (b.U-c.U)/(2*step[k]), (b.V-c.V)/(2*step[k])
			}
			for k := range params {
				at := place(k)
				g.SetVec(at, g.AtVec(at)+du[k]*eu+dv[k]*ev)
				for m := k; m < params; m++ {
					a.SetSym(at, place(m), a.At(at, place(m))+du[k]*du[m]+dv[k]*dv[m])
				}
			}
		}
	}
	if s.square {
		a.SetSym(qLogFy, qLogFy, 1) // stays
	}
	return a, g
}

// improved returns a state with a sum that is no greater, and the sum; nil where no step leads
// to one. lambda is the damping to begin with, and comes back as that to go on with.
func (s *flatSolver) improved(sum float64, lambda *float64) (*flatSolver, float64) {
	a, g := s.normal()
	for ; *lambda < overdamped; *lambda *= damped {
		next, ok := s.stepped(a, g, *lambda)
		if !ok {
			continue
		}
		if left := next.sum(); left <= sum {
			*lambda = max(*lambda/damped, underdamped)
			return next, left
		}
	}
	return nil, sum
}

// stepped returns the state after a damped step.
func (s *flatSolver) stepped(a *mat.SymDense, g *mat.VecDense, lambda float64) (*flatSolver, bool) {
	n := a.SymmetricDim()
	b := mat.NewSymDense(n, nil)
	b.CopySym(a)
	for k := range n {
		b.SetSym(k, k, a.At(k, k)*(1+lambda))
	}
	var chol mat.Cholesky
	if !chol.Factorize(b) {
		return nil, false
	}
	var d mat.VecDense
	chol.SolveVecTo(&d, g) // an ill-conditioned step is judged by what it wins
	out := s
	for k := range qOf {
		out = out.moved(0, k, d.AtVec(k))
	}
	for i := range s.views {
		for k := range qPose {
			out = out.moved(i, qOf+k, d.AtVec(qOf+qPose*i+k))
		}
	}
	return out, true
}
