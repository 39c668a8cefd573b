package calib

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// Rodrigues returns the rotation by |w| radians about the axis w (Rodrigues'
// formula, as OpenCV's rotation vectors).
func Rodrigues(w [3]float64) [3][3]float64 {
	return turn(w, [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}})
}

// View is what one photo of the sheet tells about its lens.
type View struct {
	Samples []Sample
	Pose    Pose    // to start from
	Shrink  float64 // px, to start from
}

// LensSigma is one standard deviation of each parameter of a lens, in the unit of
// the parameter.
type LensSigma struct{ F, Cx, Cy, K1, K2, K3, P1, P2 float64 }

// FittedView is one view under the lens found.
type FittedView struct {
	Pose    Pose
	Shrink  float64 // px by which ink was seen inside its true place
	SigmaPx float64 // scatter of one sample, px
	// Common is by how much the variance of an edge's mean exceeds that of
	// independent samples.
	Common float64
	Used   int // samples that took part
}

// LensFit is a lens found from several views of one print, with its covariance.
type LensFit struct {
	Lens         Lens
	Sigma        LensSigma
	Stretch      float64 // of the print, as in Plate
	StretchSigma float64
	Curl         Curl // of the sheet, the same in all views
	Views        []FittedView
}

// Plate returns the map of one view.
func (f *LensFit) Plate(view int) Plate {
	return Plate{Lens: f.Lens, Pose: f.Views[view].Pose, Stretch: f.Stretch, Curl: f.Curl}
}

const (
	// shared parameters are those of lens and print, pLogF to pCurlYY.
	shared = pShrink - pLogF
	// perView are a pose and the shrink of ink.
	perView = pLogF + 1
	// maxTurns bounds the adjustment. From OpenCV's solution it settles in five or
	// six; a set that has not by then has no minimum worth the name.
	maxTurns = 40
)

// place returns where parameter k of a view stands among all.
func place(k, view int) int {
	switch {
	case k < pLogF:
		return shared + view*perView + k
	case k == pShrink:
		return shared + view*perView + pLogF
	}
	return k - pLogF
}

// FitViews finds the most probable lens for all views together, every view with a
// pose of its own, one lens and one print for all (bundle adjustment: Gauss-Newton
// steps on the joint normal equations; Triggs et al., Bundle Adjustment - A Modern
// Synthesis, 1999, sections 4 and 9). Samples are weighted as in FitPlate: by a
// biweight on the scatter of their own view, and printed edges that stand off as a
// whole lower the weight of all. The covariance is the inverse of the normal
// matrix at the minimum; it holds for the lens with poses, print and curl unknown.
//
// It fails with ErrUndetermined.
func FitViews(views []View, start Lens, prior Prior) (*LensFit, error) {
	f := &LensFit{Lens: start, Stretch: prior.StretchMean, Views: make([]FittedView, len(views))}
	for i, v := range views {
		if len(v.Samples) < leastSamples {
			return nil, ErrUndetermined
		}
		f.Views[i] = FittedView{Pose: v.Pose, Shrink: v.Shrink}
	}
	n := shared + perView*len(views)
	for range maxTurns {
		a, g, ok := f.normal(views, prior)
		var chol mat.Cholesky
		if !ok || !chol.Factorize(a) {
			return nil, ErrUndetermined
		}
		// A condition number beyond 1e16 is no failure: tangents, pixels and
		// 1/mm share the matrix. What is undetermined shows in the covariance.
		var d mat.VecDense
		chol.SolveVecTo(&d, g)
		f.step(d.RawVector().Data)
		// The step in units of its own sigma, all parameters together.
		if s := mat.Dot(&d, g); math.IsNaN(s) || s > 1e-6*float64(n) {
			continue
		}
		var cov mat.SymDense
		chol.InverseTo(&cov)
		f.conclude(&cov)
		if math.IsNaN(f.Sigma.F + f.Sigma.Cx + f.Sigma.K3 + f.StretchSigma) {
			return nil, ErrUndetermined
		}
		return f, nil
	}
	return nil, ErrUndetermined
}

// normal adds up the normal equations of all views at the present state.
func (f *LensFit) normal(views []View, prior Prior) (*mat.SymDense, *mat.VecDense, bool) {
	n := shared + perView*len(views)
	a, g := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	// The prior on lens and print counts once; that on the shrink in every view.
	open := prior
	open.LogF, open.Centre, open.Decentring = never, never, never
	open.K1, open.K2, open.K3 = never, never, never
	open.Stretch, open.Curl = never, never
	for i, v := range views {
		pl := f.Plate(i)
		fv := &f.Views[i]
		res, jac := make([]float64, len(v.Samples)), make([][nParams]float64, len(v.Samples))
		if linearise(&pl, fv.Shrink, v.Samples, res, jac) > len(res)/2 {
			return nil, nil, false
		}
		weight := make([]float64, len(res))
		fv.SigmaPx, fv.Used = scatter(res, nil), 0
		for k, r := range res {
			weight[k] = biweight(r, fv.SigmaPx, false)
		}
		fv.Common = edgesOf(v.Samples).drop(v.Samples, res, weight, fv.SigmaPx)
		for _, w := range weight {
			if w >= 0.1 {
				fv.Used++
			}
		}
		if fv.Used < leastSamples {
			return nil, nil, false
		}
		sigma := fv.SigmaPx * math.Sqrt(fv.Common)
		if i == 0 {
			f.add(a, g, i, res, jac, weight, sigma, pl, fv.Shrink, prior)
		} else {
			f.add(a, g, i, res, jac, weight, sigma, pl, fv.Shrink, open)
		}
	}
	return a, g, true
}

// never is a sigma that says nothing of any parameter.
const never = 1e9

func (f *LensFit) add(a *mat.SymDense, g *mat.VecDense, view int, res []float64, jac [][nParams]float64, weight []float64, sigma float64, pl Plate, shrink float64, prior Prior) {
	va, vg := normalEquations(res, jac, weight, sigma, pl, shrink, prior)
	for p := range nParams {
		i := place(p, view)
		g.SetVec(i, g.AtVec(i)+vg.AtVec(p))
		for q := p; q < nParams; q++ {
			j := place(q, view)
			a.SetSym(i, j, a.At(i, j)+va.At(p, q))
		}
	}
}

// step moves the state by d.
func (f *LensFit) step(d []float64) {
	common := f.Plate(0)
	for k := pLogF; k < pShrink; k++ {
		common = common.moved(k, limited(k, d[place(k, 0)], &common))
	}
	f.Lens, f.Stretch, f.Curl = common.Lens, common.Stretch, common.Curl
	for i := range f.Views {
		pl := f.Plate(i)
		for k := range pLogF {
			pl = pl.moved(k, limited(k, d[place(k, i)], &pl))
		}
		f.Views[i].Pose = pl.Pose
		f.Views[i].Shrink += d[place(pShrink, i)]
	}
}

// conclude reads the sigmas off the covariance of all parameters.
func (f *LensFit) conclude(cov *mat.SymDense) {
	sd := func(k int) float64 { return math.Sqrt(cov.At(place(k, 0), place(k, 0))) }
	f.Sigma = LensSigma{
		F: f.Lens.F * sd(pLogF), Cx: sd(pCx), Cy: sd(pCy),
		K1: sd(pK1), K2: sd(pK2), K3: sd(pK3), P1: sd(pP1), P2: sd(pP2),
	}
	f.StretchSigma = sd(pStretch)
}
