package calib

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"shadowread/internal/angle"
	"shadowread/internal/rank"
	"shadowread/internal/sheet"
)

// Sample is one place where a printed boundary was seen: the picture shows at
// Seen some point of the straight printed line through At along Along. Only the
// distance across the line is used.
type Sample struct {
	At, Along sheet.Point // on the drawing, mm; Along is a unit vector with the ink on its right
	Seen      Pixel
	Ink       float64 // 1: the edge of ink, which blur and tone curve draw inwards; 0: a line's axis
	Group     int     // samples of one printed edge share a group: their errors are not independent
	Spread    float64 // scatter relative to that of an edge of ink; 0 means 1
}

// Prior says what is known of the camera and the print before the marks are
// looked at. Every sigma is one standard deviation.
type Prior struct {
	Lens        Lens
	LogF        float64 // sigma of ln(focal length)
	Centre      float64 // of the principal point, px
	K1, K2, K3  float64 // of the radial terms
	Decentring  float64 // of p1 and p2
	StretchMean float64 // print scale athwart over fore-and-aft, less 1
	Stretch     float64
	Curl        float64 // of each curl coefficient, 1/mm
}

// UnknownLens is the prior for a photo whose lens has not been calibrated: a
// picture of width x height px that has not been cropped. focalPx is the focal
// length in pixels if the photo's facts state one, else 0.
//
// The widths are those of the trade (from memory of published phone and action
// camera calibrations): principal points within 1 % of the width of the middle,
// radial terms of a few tenths, decentring below a thousandth.
func UnknownLens(width, height int, focalPx float64) Prior {
	long := float64(max(width, height))
	p := Prior{
		Lens: Lens{F: 0.78 * long, Cx: float64(width-1) / 2, Cy: float64(height-1) / 2},
		LogF: 0.35, Centre: 0.01 * long,
		K1: 0.3, K2: 0.3, K3: 0.2, Decentring: 0.001,
	}
	if focalPx > 0 {
		p.Lens.F, p.LogF = focalPx, 0.1
	}
	return p
}

// What the readers of the sheet take for granted of paper and print. Each is one sigma.
const (
	// TapedCurl lets the paper rise a third of a millimetre at 100 mm from the foot
	// along each axis: a sheet taped at its corners. 1/mm.
	TapedCurl = 3e-5
	// MeasuredPrint is for a print's scale athwart over fore-and-aft when both 176 mm
	// were measured with a ruler to 0.1 mm each.
	MeasuredPrint = 0.0008
)

// Parameters of the fit, in the order of the covariance matrix.
const (
	pRot = iota // 0..2 rotation vector, rad
	_
	_
	pT // 3..5 translation, mm
	_
	_
	pLogF
	pCx
	pCy
	pK1
	pK2
	pK3
	pP1
	pP2
	pStretch
	pCurlXX
	pCurlXY
	pCurlYY
	pShrink
	nParams
)

// steps are the increments of the numerical derivatives, small beside the scale on
// which the map bends and large beside rounding.
var steps = [nParams]float64{1e-6, 1e-6, 1e-6, 1e-4, 1e-4, 1e-4, 1e-6, 1e-2, 1e-2, 1e-6, 1e-6, 1e-6, 1e-7, 1e-7, 1e-7, 1e-9, 1e-9, 1e-9, 1e-3}

// moved changes one parameter and leaves the others.
func (p Plate) moved(k int, d float64) Plate {
	switch {
	case k < pT:
		var w [3]float64
		w[k-pRot] = d
		p.Pose.R = turn(w, p.Pose.R)
	case k < pLogF:
		p.Pose.T[k-pT] += d
	default:
		switch k {
		case pLogF:
			p.Lens.F *= math.Exp(d)
		case pCx:
			p.Lens.Cx += d
		case pCy:
			p.Lens.Cy += d
		case pK1:
			p.Lens.K1 += d
		case pK2:
			p.Lens.K2 += d
		case pK3:
			p.Lens.K3 += d
		case pP1:
			p.Lens.P1 += d
		case pP2:
			p.Lens.P2 += d
		case pStretch:
			p.Stretch += d
		case pCurlXX:
			p.Curl.XX += d
		case pCurlXY:
			p.Curl.XY += d
		case pCurlYY:
			p.Curl.YY += d
		}
	}
	return p
}

// Fit is the plate map found from one picture, with its covariance.
type Fit struct {
	Plate
	Shrink     float64       // px by which ink edges were seen inside their true place
	SigmaPx    float64       // scatter of one sample about the map, px
	ResidualPx float64       // rms over printed edges of their mean departure from the map, px
	ResidualMM float64       // the same on the sheet, mm
	Used       int           // samples that took part
	Loosened   bool          // the picture contradicted an uncropped lens, so the prior was widened
	cov        *mat.SymDense // of the parameters of along
	samples    []Sample
	prior      Prior
}

// refocused lengthens the focal length by the factor exp(d) and takes along what
// keeps the picture nearly as it is: the distance grows with it, the sine of the
// tilt too, and the distortion stays what it was in pixels. Along this path the
// fit's valley is straight. Along the focal length alone it is bent, so that a fit
// from nearly above would creep, and stop short of its end sure of itself.
func (p Plate) refocused(d float64) Plate {
	w := p.tiltAxis()
	p.Pose.R = turn([3]float64{d * w[0], d * w[1], 0}, p.Pose.R)
	e := math.Exp(d)
	l := &p.Lens
	l.F *= e
	p.Pose.T[2] *= e
	l.P1, l.P2 = l.P1*e, l.P2*e
	l.K1, l.K2, l.K3 = l.K1*e*e, l.K2*e*e*e*e, l.K3*e*e*e*e*e*e
	return p
}

// tiltAxis is the axis about which the plate is tilted, times the tilt's tangent.
func (p *Plate) tiltAxis() [2]float64 {
	r := &p.Pose.R
	return [2]float64{-r[1][2] / r[2][2], r[0][2] / r[2][2]}
}

// path is the derivative of the parameters along refocused.
func (p *Plate) path() (v [nParams]float64) {
	w := p.tiltAxis()
	l := &p.Lens
	v[pRot], v[pRot+1], v[pT+2], v[pLogF] = w[0], w[1], p.Pose.T[2], 1
	v[pK1], v[pK2], v[pK3], v[pP1], v[pP2] = 2*l.K1, 4*l.K2, 6*l.K3, l.P1, l.P2
	return v
}

// along moves one parameter of the fit: the focal length along refocused, every
// other by itself.
func (p Plate) along(k int, d float64) Plate {
	if k == pLogF {
		return p.refocused(d)
	}
	return p.moved(k, d)
}

// straightened turns normal equations in the plain parameters into those in which
// the focal length runs along its path.
func straightened(p *Plate, a *mat.SymDense, g *mat.VecDense) (*mat.SymDense, *mat.VecDense) {
	v := p.path()
	out, h := mat.NewSymDense(nParams, nil), mat.NewVecDense(nParams, nil)
	out.CopySym(a)
	h.CopyVec(g)
	var av [nParams]float64
	vav, vg := 0.0, 0.0
	for i := range nParams {
		for j := range nParams {
			av[i] += a.At(i, j) * v[j]
		}
		vav += v[i] * av[i]
		vg += v[i] * g.AtVec(i)
	}
	for i := range nParams {
		out.SetSym(i, pLogF, av[i])
	}
	out.SetSym(pLogF, pLogF, vav)
	h.SetVec(pLogF, vg)
	return out, h
}

// ErrUndetermined reports samples that do not pin the map down.
var ErrUndetermined = errors.New("the marks do not pin the map down")

// FitPlate finds the most probable map for the samples under the prior by damped
// least squares with a biweight on each sample's residual, starting from the plain
// homography h. The posterior covariance comes with it; what the picture cannot
// show (a stretched print seen obliquely, the focal length from straight above)
// keeps its prior width there.
func FitPlate(h Homography, samples []Sample, prior Prior) (*Fit, error) {
	start := Plate{Lens: prior.Lens, Stretch: prior.StretchMean}
	at := func(s float64) (pl Plate, misfit float64) {
		pl = start
		pl.Lens.F = prior.Lens.F * s
		pl.Pose, misfit = PoseFromHomography(h, pl.Lens.F, prior.Lens.Cx, prior.Lens.Cy)
		return pl, misfit
	}
	first, best := at(1)
	if prior.LogF <= knownLens {
		return refit(first, 0, samples, prior, coldTurns)
	}
	for _, s := range []float64{0.7, 1.4} {
		// Seen from straight above every focal length fits; only a clear gain counts.
		if pl, misfit := at(s); misfit < 0.7*best {
			first, best = pl, misfit
		}
	}
	fit, err := refit(first, 0, samples, prior, coldTurns)
	// The plane map through marks that a lens has bent much may lead anywhere.
	for _, s := range otherFocals {
		if err == nil && fit.SigmaPx < lostPx {
			break
		}
		pl, _ := at(s)
		if again, e := refit(pl, 0, samples, prior, coldTurns); e == nil && (err != nil || again.SigmaPx < fit.SigmaPx) {
			fit, err = again, nil
		}
	}
	return fit, err
}

// otherFocals are the focal lengths, over the likeliest, from which a fit is begun again that was lost: lostPx is
// the scatter of edges, px, from which on it is.
var otherFocals = []float64{0.5, 0.6, 0.7, 0.85, 1.2, 1.4}

const lostPx = 1.0

// Refit repeats a fit with other samples or another prior, starting from what it
// found.
func (f *Fit) Refit(samples []Sample, prior Prior) (*Fit, error) {
	return refit(f.Plate, f.Shrink, samples, prior, 0)
}

// coldTurns is how many turns of the fit from a plain homography only find the
// basin: no sample is thrown out before the map is near enough to judge it.
const coldTurns = 2

func refit(start Plate, shrink float64, samples []Sample, prior Prior, gentle int) (*Fit, error) {
	f, err := fitFrom(start, shrink, samples, prior, gentle)
	if err != nil {
		return nil, err
	}
	// A cropped picture has its principal point far from the middle, and a print
	// can be stretched beyond what is usual. Either shows as a prior pulled too far
	// or as edges that no usual lens explains and another does; then the picture is
	// believed over the prior.
	l := f.Lens
	pull := math.Max(math.Hypot(l.Cx-prior.Lens.Cx, l.Cy-prior.Lens.Cy)/prior.Centre,
		math.Abs(f.Stretch-prior.StretchMean)/prior.Stretch)
	if prior.LogF <= knownLens || pull <= 3 && f.SigmaPx <= misfitPx {
		return f, nil
	}
	wide := prior
	wide.Centre *= 25
	wide.LogF = max(wide.LogF, 0.35)
	wide.Stretch *= 2
	again := start
	again.Lens = prior.Lens
	g, err := fitFrom(again, shrink, samples, wide, coldTurns)
	if err != nil || g.SigmaPx > explained*f.SigmaPx && pull <= 3 {
		return f, nil
	}
	g.Loosened = true
	return g, nil
}

const (
	// knownLens is the sigma of ln(focal length) below which a prior comes from a
	// calibration and is not doubted.
	knownLens = 0.05
	// misfitPx is a scatter of edges about the map that a sharp or blurred picture
	// alone does not make (they lie at 0.03 to 0.15 px).
	misfitPx = 0.35
	// explained is the part of a misfit that an unusual lens leaves, at most, if it is
	// what made it. Of what paper that rises in places makes, any freer lens takes some,
	// and puts the camera elsewhere for it.
	explained = 0.5
)

// lambda damps a fit's steps, as a part of each parameter's own curvature. With a millionth a fit went a
// twentieth of the way in each turn along what a picture hardly shows, where parameters trade off,
// and ended up to three sigmas short.
const lambda = 1e-9

func fitFrom(pl Plate, shrink float64, samples []Sample, prior Prior, gentle int) (*Fit, error) {
	n := len(samples)
	if n < leastSamples {
		return nil, ErrUndetermined
	}
	res, jac, room := make([]float64, n), make([][nParams]float64, n), make([]float64, n)
	weight, edges := make([]float64, n), edgesOf(samples)
	sigma, common := 1.0, 1.0
	var normal *mat.SymDense
	for iter := range 25 {
		if bad := linearise(&pl, shrink, samples, res, jac); bad > n/2 {
			return nil, ErrUndetermined
		}
		sigma = scatter(res, room)
		for i, r := range res {
			weight[i] = biweight(r, sigma, iter < gentle)
		}
		if iter >= gentle {
			common = edges.drop(samples, res, weight, sigma)
		}
		a, g := normalEquations(res, jac, weight, sigma*math.Sqrt(common), pl, shrink, prior)
		a, g = straightened(&pl, a, g)
		normal = a
		damped := mat.NewSymDense(nParams, nil)
		damped.CopySym(a)
		for k := range nParams {
			damped.SetSym(k, k, a.At(k, k)*(1+lambda))
		}
		var chol mat.Cholesky
		if !chol.Factorize(damped) {
			return nil, ErrUndetermined
		}
		var d mat.VecDense
		if err := chol.SolveVecTo(&d, g); err != nil && !errors.As(err, new(mat.Condition)) {
			return nil, ErrUndetermined
		}
		next := pl
		for k := range pShrink {
			next = next.along(k, limited(k, d.AtVec(k), &pl))
		}
		pl, shrink = next, shrink+d.AtVec(pShrink)
		// The step in units of the posterior: done when it moves nothing by more
		// than a seventh of its sigma. The sum of squares itself is no guide: it
		// hardly changes along what the picture leaves open, as the focal length
		// seen from straight above, and still that turns the direction.
		if iter > gentle && mat.Dot(g, &d) < 0.02 {
			break
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(normal) {
		return nil, ErrUndetermined
	}
	f := &Fit{Plate: pl, Shrink: shrink, SigmaPx: sigma, cov: mat.NewSymDense(nParams, nil), samples: samples, prior: prior}
	if err := chol.InverseTo(f.cov); err != nil && !errors.As(err, new(mat.Condition)) {
		return nil, ErrUndetermined
	}
	f.judge(edges, samples, res, weight)
	if f.Used < leastSamples || math.IsNaN(f.ResidualPx) {
		return nil, ErrUndetermined
	}
	return f, nil
}

// leastSamples is a little more than four marks' edges at their sparsest, and twice
// the number of parameters.
const leastSamples = 40

// edges are the printed edges that samples lie on, in the order of their groups: sums in one order
// let a reading repeat to the last digit.
type edges struct {
	of    []int // which each sample lies on
	means []edgeMean
}

// edgeMean is the weighted mean residual of one printed edge.
type edgeMean struct {
	n, sum float64
	at     sheet.Point
	ink    bool
}

func (e *edgeMean) mean() (m float64, ok bool) { return e.sum / e.n, e.n > 0 }

func edgesOf(samples []Sample) *edges {
	groups := make([]int, 0, len(samples))
	for i := range samples {
		if g := samples[i].Group; len(groups) == 0 || groups[len(groups)-1] != g {
			groups = append(groups, g)
		}
	}
	slices.Sort(groups)
	groups = slices.Compact(groups)
	e := &edges{make([]int, len(samples)), make([]edgeMean, len(groups))}
	for i := range samples {
		if i > 0 && samples[i].Group == samples[i-1].Group {
			e.of[i] = e.of[i-1]
			continue
		}
		e.of[i], _ = slices.BinarySearch(groups, samples[i].Group)
	}
	return e
}

func (e *edges) take(samples []Sample, res, weight []float64) {
	clear(e.means)
	for i := range samples {
		if weight[i] < 0.1 {
			continue
		}
		m := &e.means[e.of[i]]
		if m.n == 0 {
			m.at, m.ink = samples[i].At, samples[i].Ink > 0
		}
		m.n++
		m.sum += res[i]
	}
}

// drop takes printed edges out that stand off the map as a whole (a shadow's
// edge along them, a finger) and returns by how much the variance of the rest
// exceeds that of independent samples: 30 samples of an edge that all lie 0.1 px
// off are one witness, not thirty.
func (e *edges) drop(samples []Sample, res, weight []float64, sigma float64) (common float64) {
	e.take(samples, res, weight)
	off := make([]float64, 0, len(e.means))
	for i := range e.means {
		if m, ok := e.means[i].mean(); ok {
			off = append(off, math.Abs(m))
		}
	}
	if len(off) == 0 {
		return 1
	}
	limit := max(6*rank.MadSigma*rank.Select(off, len(off)/2), 3*sigma)
	excess, count := 0.0, 0.0
	for i := range e.means {
		if m, ok := e.means[i].mean(); ok && math.Abs(m) <= limit {
			excess += m * m * e.means[i].n / (sigma * sigma)
			count++
		}
	}
	for i := range samples {
		if m, ok := e.means[e.of[i]].mean(); ok && math.Abs(m) > limit {
			weight[i] = 0
		}
	}
	// The map's parameters have used up some of the edges' freedom.
	return max(1, excess/max(1, count-12))
}

// limited keeps one step of the fit inside the region where it is nearly linear.
func limited(k int, d float64, p *Plate) float64 {
	var most float64
	switch {
	case k < pT:
		most = 0.2
	case k < pLogF:
		most = 0.2 * p.Pose.T[2]
	case k == pLogF:
		most = 0.2
	case k >= pK1 && k <= pK3:
		most = 0.2
	default:
		return d
	}
	return max(-most, min(most, d))
}

// linearise fills the residuals and their derivatives and counts the samples that
// the map cannot place.
func linearise(pl *Plate, shrink float64, samples []Sample, res []float64, jac [][nParams]float64) (bad int) {
	l, r, t := &pl.Lens, &pl.Pose.R, &pl.Pose.T
	for i := range samples {
		s := &samples[i]
		q := pl.ProjectDrawing(s.At)
		e := pl.ProjectDrawing(sheet.Point{X: s.At.X + 0.1*s.Along.X, Y: s.At.Y + 0.1*s.Along.Y})
		du, dv := e.U-q.U, e.V-q.V
		long := math.Hypot(du, dv)
		// With the ink on the right of Along (seen from above, so on the right in
		// the picture too), the outward normal is on the left: (dv, -du), v down.
		nu, nv := dv/long, -du/long
		d := nu*(s.Seen.U-q.U) + nv*(s.Seen.V-q.V) + shrink*s.Ink
		if math.IsNaN(d) {
			bad++
			res[i] = math.Inf(1)
			jac[i] = [nParams]float64{}
			continue
		}
		// Samples that scatter more count less: residual and derivatives alike.
		if s.Spread > 0 {
			d, nu, nv = d/s.Spread, nu/s.Spread, nv/s.Spread
		}
		res[i] = d
		p := pl.Paper(s.At)
		z := pl.Curl.height(p.X, p.Y)
		var v [3]float64 // R X, the point turned but not yet moved
		for k := range 3 {
			v[k] = r[k][0]*p.X + r[k][1]*p.Y + r[k][2]*z
		}
		w := v[2] + t[2]
		a, b := (v[0]+t[0])/w, (v[1]+t[1])/w
		r2 := a*a + b*b
		rad := 1 + r2*(l.K1+r2*(l.K2+r2*l.K3))
		slope := l.K1 + r2*(2*l.K2+3*l.K3*r2)
		mixed := 2*a*b*slope + 2*l.P1*a + 2*l.P2*b
		// (ga, gb): the residual's change with the undistorted tangents; h: with the
		// point in the camera frame; m: with the point in the plate frame.
		ga := l.F * (nu*(rad+2*a*a*slope+2*l.P1*b+6*l.P2*a) + nv*mixed)
		gb := l.F * (nu*mixed + nv*(rad+2*b*b*slope+6*l.P1*b+2*l.P2*a))
		h := [3]float64{ga / w, gb / w, -(ga*a + gb*b) / w}
		var m [3]float64
		for k := range 3 {
			m[k] = r[0][k]*h[0] + r[1][k]*h[1] + r[2][k]*h[2]
		}
		ink := s.Ink
		if s.Spread > 0 {
			ink /= s.Spread
		}
		turned := cross(v, h)
		radial := l.F * (nu*a + nv*b)
		j := &jac[i]
		*j = [nParams]float64{
			pRot: turned[0], pRot + 1: turned[1], pRot + 2: turned[2],
			pT: h[0], pT + 1: h[1], pT + 2: h[2],
			pLogF: nu*(q.U-l.Cx) + nv*(q.V-l.Cy), pCx: nu, pCy: nv,
			pK1: radial * r2, pK2: radial * r2 * r2, pK3: radial * r2 * r2 * r2,
			pP1:      l.F * (nu*2*a*b + nv*(r2+2*b*b)),
			pP2:      l.F * (nu*(r2+2*a*a) + nv*2*a*b),
			pStretch: (m[0]*s.At.X - m[1]*s.At.Y) / 2,
			pCurlXX:  m[2] * p.X * p.X, pCurlXY: m[2] * p.X * p.Y, pCurlYY: m[2] * p.Y * p.Y,
			pShrink: -ink,
		}
	}
	return bad
}

// scatter is the standard deviation of the residuals from their median magnitude, not
// below 0.01 px.
func scatter(res, room []float64) float64 {
	m := room[:0]
	for _, r := range res {
		m = append(m, math.Abs(r))
	}
	return max(0.01, rank.MadSigma*rank.Select(m, len(m)/2))
}

// biweight is Tukey's weight with the customary 4.685 sigma.
func biweight(r, sigma float64, gentle bool) float64 {
	c := 4.685 * sigma
	if gentle { // Huber's, which keeps every sample
		return 1 / max(1, math.Abs(r)/(1.345*sigma)) * finite(r)
	}
	if u := r / c; math.Abs(u) < 1 {
		return (1 - u*u) * (1 - u*u)
	}
	return 0
}

func finite(r float64) float64 {
	if math.IsInf(r, 0) {
		return 0
	}
	return 1
}

func normalEquations(res []float64, jac [][nParams]float64, weight []float64, sigma float64, pl Plate, shrink float64, prior Prior) (*mat.SymDense, *mat.VecDense) {
	var a [nParams][nParams]float64
	var g [nParams]float64
	var four [4]weighted
	n := 0
	for i, r := range res {
		if w := weight[i] / (sigma * sigma); w != 0 {
			four[n] = weighted{&jac[i], w, r}
			if n++; n == len(four) {
				addFour(&a, &g, &four)
				n = 0
			}
		}
	}
	if n > 0 {
		for ; n < len(four); n++ {
			four[n] = weighted{by: four[0].by}
		}
		addFour(&a, &g, &four)
	}
	hold := func(k int, value, mean, sd float64) {
		if sd <= 0 {
			sd = steps[k] // held
		}
		a[k][k] += 1 / (sd * sd)
		g[k] -= (value - mean) / (sd * sd)
	}
	l, m := &pl.Lens, &prior.Lens
	hold(pLogF, math.Log(l.F), math.Log(m.F), prior.LogF)
	hold(pCx, l.Cx, m.Cx, prior.Centre)
	hold(pCy, l.Cy, m.Cy, prior.Centre)
	hold(pK1, l.K1, m.K1, prior.K1)
	hold(pK2, l.K2, m.K2, prior.K2)
	hold(pK3, l.K3, m.K3, prior.K3)
	hold(pP1, l.P1, m.P1, prior.Decentring)
	hold(pP2, l.P2, m.P2, prior.Decentring)
	hold(pStretch, pl.Stretch, prior.StretchMean, prior.Stretch)
	hold(pCurlXX, pl.Curl.XX, 0, prior.Curl)
	hold(pCurlXY, pl.Curl.XY, 0, prior.Curl)
	hold(pCurlYY, pl.Curl.YY, 0, prior.Curl)
	hold(pShrink, shrink, 0, 1)
	sym := mat.NewSymDense(nParams, nil)
	for p := range nParams {
		for q := p; q < nParams; q++ {
			sym.SetSym(p, q, a[p][q])
		}
	}
	return sym, mat.NewVecDense(nParams, g[:])
}

// weighted is a residual with its derivatives.
type weighted struct {
	by          *[nParams]float64
	weight, off float64
}

// addFour adds four residuals at a time to the upper half of normal equations: most of a fit's time
// goes here, and sums that lie in memory cost more than the products.
func addFour(a *[nParams][nParams]float64, g *[nParams]float64, four *[4]weighted) {
	b0, b1, b2, b3 := four[0].by, four[1].by, four[2].by, four[3].by
	for p := range nParams {
		w0, w1, w2, w3 := four[0].weight*b0[p], four[1].weight*b1[p], four[2].weight*b2[p], four[3].weight*b3[p]
		g[p] += w0*four[0].off + w1*four[1].off + w2*four[2].off + w3*four[3].off
		row := &a[p]
		for q := p; q < nParams; q++ {
			row[q] += w0*b0[q] + w1*b1[q] + w2*b2[q] + w3*b3[q]
		}
	}
}

// judge fills the figures of merit.
func (f *Fit) judge(edges *edges, samples []Sample, res, weight []float64) {
	for _, w := range weight {
		if w >= 0.1 {
			f.Used++
		}
	}
	var px, mm, count float64
	edges.take(samples, res, weight)
	for i := range edges.means {
		e := &edges.means[i]
		if e.n < 3 || !e.ink {
			continue
		}
		least, most := f.Scale(f.Paper(e.at))
		m := e.sum / e.n
		px += m * m
		mm += m * m / (least * most)
		count++
	}
	f.ResidualPx, f.ResidualMM = math.Sqrt(px/count), math.Sqrt(mm/count)
}

// gradients returns quantities computed from the map and their derivatives by each
// parameter, numerically.
func (f *Fit) gradients(quantities func(*Plate) []float64) (values []float64, by [][nParams]float64) {
	values = quantities(&f.Plate)
	by = make([][nParams]float64, len(values))
	for k := range pShrink {
		h := steps[k] * 10
		m := f.Plate.along(k, h)
		for i, v := range quantities(&m) {
			by[i][k] = (v - values[i]) / h
		}
	}
	return values, by
}

// spanned is the covariance of two quantities by their gradients.
func (f *Fit) spanned(a, b *[nParams]float64) (sum float64) {
	for p := range nParams {
		for q := range nParams {
			sum += a[p] * b[q] * f.cov.At(p, q)
		}
	}
	return sum
}

// Covariance returns quantities computed from the map and their covariance, each in its own
// unit.
func (f *Fit) Covariance(quantities func(*Plate) []float64) (values []float64, cov *mat.SymDense) {
	values, by := f.gradients(quantities)
	cov = mat.NewSymDense(len(values), nil)
	for i := range by {
		for j := i; j < len(by); j++ {
			cov.SetSym(i, j, f.spanned(&by[i], &by[j]))
		}
	}
	return values, cov
}

// Spread returns the standard deviation of a quantity computed from the map, in
// the quantity's own unit, split into the part that follows the print's stretch
// and the rest.
func (f *Fit) Spread(quantity func(*Plate) float64) (fromPrint, rest float64) {
	_, by := f.gradients(func(p *Plate) []float64 { return []float64{quantity(p)} })
	var along float64
	for p, g := range by[0] {
		along += g * f.cov.At(p, pStretch)
	}
	fromPrint = math.Abs(along) / f.StretchSigma()
	return fromPrint, math.Sqrt(max(0, f.spanned(&by[0], &by[0])-fromPrint*fromPrint))
}

// CurlSigma returns the standard deviation of the sheet's curl along a direction: of half the second
// derivative of its height, 1/mm.
func (f *Fit) CurlSigma(dir angle.Angle) float64 {
	sin, cos := dir.Sin(), dir.Cos()
	return math.Hypot(f.Spread(func(p *Plate) float64 { return p.Curl.height(sin, cos) }))
}

// StretchSigma returns the standard deviation of the print's stretch.
func (f *Fit) StretchSigma() float64 { return math.Sqrt(f.cov.At(pStretch, pStretch)) }
