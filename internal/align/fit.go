package align

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"shadowread/internal/angle"

	"shadowread/internal/fault"
)

// block is one observation's residuals and derivatives at a set of parameters, in sigmas.
type block struct {
	residuals []float64
	jacobian  [][]float64 // by row, then parameter
}

// solution is a least-squares solution.
type solution struct {
	x          []float64
	covariance *mat.SymDense // of all parameters; rows of those held are 0
	chi2       float64       // of the readings used and of the priors
	freedom    int
	blocks     []block // of all observations, used or not
	used       []bool
	widened    float64 // factor on sigma for scatter beyond chance, 1 or more
}

func errNoFit() error {
	return fault.New("no_fit", "check the times with their offsets, the position and the sense of the numbers", "no place of sheet and rod comes near these readings")
}

// block returns the residuals of observation i and, for the parameters not held, their
// derivatives by central differences.
func (q *problem) block(i int, x []float64) (b block, err error) {
	azimuth, altitude, err := q.obs[i].sky(x)
	if err != nil {
		return b, err
	}
	var ok bool
	if b.residuals, ok = q.rows(i, x, azimuth, altitude); !ok {
		return b, errNoFit()
	}
	b.jacobian = make([][]float64, len(b.residuals))
	for r := range b.jacobian {
		b.jacobian[r] = make([]float64, len(x))
	}
	y := append([]float64(nil), x...)
	for k := range x {
		if q.held[k] || k >= pStands && q.standOf(k) != q.stand[i] {
			continue
		}
		h := step(k)
		var side [2][]float64
		for n, sign := range []float64{1, -1} {
			y[k] = x[k] + sign*h
			az, alt := azimuth, altitude
			if k == pClock || k == pMoveN || k == pMoveE {
				if az, alt, err = q.obs[i].sky(y); err != nil {
					return b, err
				}
			}
			if side[n], ok = q.rows(i, y, az, alt); !ok {
				return b, errNoFit()
			}
		}
		y[k] = x[k]
		for r := range b.jacobian {
			b.jacobian[r][k] = (side[0][r] - side[1][r]) / (2 * h)
		}
	}
	return b, nil
}

// clip is where a robust fit begins to weigh an observation less (Huber 1964): beyond so
// many sigmas its pull no longer grows.
const clip = 3

// pull returns what an observation adds to the sum of a robust fit, and its weight there.
func pull(rows []float64) (sum, weight float64) {
	for _, r := range rows {
		sum += r * r
	}
	if sum <= clip*clip {
		return sum, 1
	}
	return 2*clip*math.Sqrt(sum) - clip*clip, clip / math.Sqrt(sum)
}

// chi2 is the sum of squares in sigmas of the observations used and of the priors.
func (q *problem) chi2(x []float64, used []bool, robust bool) (float64, error) {
	sum := 0.0
	for i := range q.obs {
		if !used[i] {
			continue
		}
		azimuth, altitude, err := q.obs[i].sky(x)
		if err != nil {
			return 0, err
		}
		rows, ok := q.rows(i, x, azimuth, altitude)
		if !ok {
			return math.Inf(1), nil
		}
		clipped, _ := pull(rows)
		if robust {
			sum += clipped
			continue
		}
		for _, r := range rows {
			sum += r * r
		}
	}
	for _, p := range q.priors {
		r := p.residual(x)
		sum += r * r
	}
	return sum, nil
}

// standOf is the stand that a parameter from pStands on belongs to.
func (q *problem) standOf(k int) int {
	if q.tilts > 0 && k >= q.tilts {
		return (k - q.tilts) / 2
	}
	return k - pStands
}

// free lists the parameters that are solved for: not held, and of a stand that is used.
func (q *problem) free(used []bool) []int {
	seen := make([]bool, len(q.stands))
	for i, s := range q.stand {
		seen[s] = seen[s] || used[i]
	}
	var free []int
	for k, held := range q.held {
		if !held && (k < pStands || seen[q.standOf(k)]) {
			free = append(free, k)
		}
	}
	return free
}

// information adds up the normal matrix and the right hand side of the parameters free.
func (q *problem) information(x []float64, free []int, blocks []block, used []bool, robust bool) (normal *mat.SymDense, right *mat.VecDense) {
	n := len(free)
	normal, right = mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	add := func(weight, residual float64, derivative func(k int) float64) {
		for a, ka := range free {
			d := weight * derivative(ka)
			if d == 0 {
				continue
			}
			right.SetVec(a, right.AtVec(a)-d*residual)
			for b := range a + 1 {
				normal.SetSym(a, b, normal.At(a, b)+d*derivative(free[b]))
			}
		}
	}
	for i, b := range blocks {
		if used[i] {
			weight := 1.0
			if robust {
				_, weight = pull(b.residuals)
			}
			for r, residual := range b.residuals {
				add(weight, residual, func(k int) float64 { return b.jacobian[r][k] })
			}
		}
	}
	for _, p := range q.priors {
		add(1, p.residual(x), func(k int) float64 { return -p.gradient(k) })
	}
	return normal, right
}

// factorize returns the Cholesky factor of a normal matrix, its columns scaled to 1, and
// the scale.
func factorize(normal *mat.SymDense, damping float64) (*mat.Cholesky, []float64, bool) {
	n := normal.SymmetricDim()
	scale := make([]float64, n)
	for k := range scale {
		scale[k] = 1 / math.Sqrt(normal.At(k, k))
	}
	m := mat.NewSymDense(n, nil)
	for a := range n {
		for b := range a + 1 {
			m.SetSym(a, b, normal.At(a, b)*scale[a]*scale[b])
		}
		m.SetSym(a, a, m.At(a, a)+damping)
	}
	var c mat.Cholesky
	ok := c.Factorize(m)
	return &c, scale, ok
}

// fit minimises the sum of squares of the observations used and the priors by damped
// least squares (Levenberg 1944, Marquardt 1963) from x. A robust fit clips the pull of
// observations that do not belong; its covariance is that without clipping, so that apart
// can judge by it.
// It is one loop, all of whose steps need all of its state.
func (q *problem) fit(x []float64, used []bool, robust bool) (*solution, error) {
	free := q.free(used)
	s := &solution{x: append([]float64(nil), x...), used: used, blocks: make([]block, len(q.obs)), widened: 1}
	var err error
	if s.chi2, err = q.chi2(s.x, used, robust); err != nil {
		return nil, err
	}
	var normal *mat.SymDense
	damping := 1e-6
	const turns = 100
	settled := false
	for range turns {
		for i := range q.obs {
			if s.blocks[i], err = q.block(i, s.x); err != nil {
				return nil, err
			}
		}
		var right *mat.VecDense
		normal, right = q.information(s.x, free, s.blocks, used, robust && !settled)
		if settled {
			break
		}
		for {
			c, scale, ok := factorize(normal, damping)
			if !ok {
				damping *= 10
				if damping > 1e12 {
					return nil, errNoFit()
				}
				continue
			}
			scaled := mat.NewVecDense(len(free), nil)
			for a := range free {
				scaled.SetVec(a, right.AtVec(a)*scale[a])
			}
			var move mat.VecDense
			if err := c.SolveVecTo(&move, scaled); err != nil {
				return nil, errNoFit()
			}
			y := append([]float64(nil), s.x...)
			for a, k := range free {
				y[k] += move.AtVec(a) * scale[a]
			}
			chi2, err := q.chi2(y, used, robust)
			if err != nil {
				return nil, err
			}
			// A millionth in chi2 moves nothing by more than a thousandth of its sigma.
			// Where chi2 is large the fit only serves to find what is bad.
			little := 1e-6 + 1e-7*s.chi2
			if chi2 <= s.chi2+1e-12*(1+s.chi2) {
				settled = s.chi2-chi2 < little
				s.x, s.chi2 = y, chi2
				damping = max(damping/10, 1e-12)
				break
			}
			if damping *= 10; damping > 1e12 { // no step goes down: it is the bottom
				settled = true
				break
			}
		}
	}
	if !settled {
		return nil, errNoFit()
	}
	c, scale, ok := factorize(normal, 0)
	if !ok {
		return nil, errNoFit()
	}
	var inverse mat.SymDense
	if err := c.InverseTo(&inverse); err != nil {
		return nil, errNoFit()
	}
	s.covariance = mat.NewSymDense(len(x), nil)
	for a, ka := range free {
		for b := range a + 1 {
			s.covariance.SetSym(ka, free[b], inverse.At(a, b)*scale[a]*scale[b])
		}
	}
	s.freedom = len(q.priors) - len(free)
	for i, b := range s.blocks {
		if used[i] {
			s.freedom += len(b.residuals)
		}
	}
	return s, nil
}

// apart tests whether observation i fits the others: t is chi-squared distributed with k
// degrees of freedom if it does. For one used it is exactly how much chi2 would fall
// without it, the model being near linear; k is 0 where it has no check.
func (s *solution) apart(i int) (t float64, k int) {
	b := s.blocks[i]
	n := len(b.residuals)
	m := mat.NewSymDense(n, nil)
	sign := 1.0
	if s.used[i] {
		sign = -1
	}
	spread := mat.NewVecDense(len(s.x), nil)
	for r := range n {
		spread.MulVec(s.covariance, mat.NewVecDense(len(s.x), b.jacobian[r]))
		for c := range r + 1 {
			v := sign * mat.Dot(spread, mat.NewVecDense(len(s.x), b.jacobian[c]))
			if r == c {
				v++
			}
			m.SetSym(r, c, v)
		}
	}
	var eigen mat.EigenSym
	if !eigen.Factorize(m, true) {
		return 0, 0
	}
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	for c, value := range eigen.Values(nil) {
		// Below this the observation itself determined the combination.
		if value < 1e-3 {
			continue
		}
		along := mat.Dot(vectors.ColView(c), mat.NewVecDense(n, b.residuals))
		t += along * along / value
		k++
	}
	return t, k
}

// chance is how often a clean set may be suspected: one in twenty, as in package bearing.
const chance = 0.05

// limit is the value of apart's t beyond which one of n readings is named.
func limit(k, n int) float64 {
	return distuv.ChiSquared{K: float64(k)}.Quantile(1 - chance/float64(n))
}

// tellApart is the least difference in chi2 at which one reading rather than another is
// called bad: odds of exp(3), 20 to 1.
const tellApart = 6

// solve fits the readings and sets bad ones aside one by one, at most a quarter. suspects
// are readings that do not agree, where nobody can say which is wrong.
func (q *problem) solve() (s *solution, suspects []int, err error) {
	n := len(q.obs)
	x := q.start()
	used, out := q.plausible(x)
	for ; ; out++ {
		if s, err = q.fit(x, used, true); err != nil {
			return nil, nil, err
		}
		x = s.x
		worst, ratio := -1, 1.0
		for i := range q.obs {
			if t, k := s.apart(i); used[i] && k > 0 && t/limit(k, n) > ratio {
				worst, ratio = i, t/limit(k, n)
			}
		}
		if worst < 0 {
			break
		}
		if suspects = q.alike(x, used, worst); len(suspects) > 1 || out >= max(1, n/4) {
			break
		}
		suspects = nil
		used[worst] = false
	}
	if s, err = q.fit(x, used, false); err != nil {
		return nil, nil, err
	}
	// What was set aside early, beside a worse one, may fit after all.
	back := false
	for i := range q.obs {
		if t, k := s.apart(i); !used[i] && t <= limit(max(1, k), n) && q.seen(used, i) {
			used[i], back = true, true
		}
	}
	if back {
		if s, err = q.fit(s.x, used, false); err != nil {
			return nil, nil, err
		}
	}
	s.widen()
	return s, suspects, nil
}

// widen raises all sigmas where the residuals exceed what theirs allow.
func (s *solution) widen() {
	if s.freedom > 0 && (distuv.ChiSquared{K: float64(s.freedom)}).Survival(s.chi2) < 0.01 {
		s.widened = math.Sqrt(s.chi2 / float64(s.freedom))
		s.covariance.ScaleSym(s.widened*s.widened, s.covariance)
	}
}

// alike returns, beside the worst observation, those without which the rest would fit
// nearly as well as without the worst. Where there are many, each bad one stands out.
func (q *problem) alike(x []float64, used []bool, worst int) []int {
	const many = 16
	suspects := []int{worst}
	if len(q.obs) > many {
		return suspects
	}
	without := func(i int) float64 {
		rest := slices.Clone(used)
		rest[i] = false
		s, err := q.fit(x, rest, false)
		if err != nil {
			return math.Inf(1)
		}
		return s.chi2
	}
	best := without(worst)
	for i := range q.obs {
		if i != worst && used[i] && without(i)-best < tellApart {
			suspects = append(suspects, i)
		}
	}
	slices.Sort(suspects)
	return suspects
}

// plausible leaves out readings so far from the rest of their stand that no lean explains
// them: they would spoil the start of the fit. There are as few as
// may be set aside at all; solve takes them back if they fit.
func (q *problem) plausible(x []float64) (used []bool, out int) {
	used = make([]bool, len(q.obs))
	for i := range q.obs {
		o := &q.obs[i]
		const lean = 10 * angle.Degree
		swing := angle.Asin(lean.Tan() * o.Sky.Altitude.Tan())
		apart := (o.plainHeading() - angle.Angle(x[pStands+q.stand[i]])).Signed().Abs()
		if used[i] = apart <= 2*swing+10*o.DirectionSigma; !used[i] {
			out++
		}
	}
	if out > max(1, len(q.obs)/4) {
		for i := range used {
			used[i] = true
		}
		return used, 0
	}
	return used, out
}

// seen tells whether another reading of i's stand is used.
func (q *problem) seen(used []bool, i int) bool {
	for j := range used {
		if j != i && used[j] && q.stand[j] == q.stand[i] {
			return true
		}
	}
	return false
}

// sigma is that of parameter k.
func (s *solution) sigma(k int) float64 { return math.Sqrt(s.covariance.At(k, k)) }

// share returns which part of the variance of parameter k comes from the priors rather
// than the readings, and the prior that has most of it. With C the covariance, an error
// e of one prior moves the estimate by (C a)_k e, a being the prior's gradient in its
// sigmas; the squares of these and of the readings' add up to C_kk.
func (q *problem) share(s *solution, k int) (total float64, name string) {
	by := map[string]float64{}
	greatest := 0.0
	for _, p := range q.priors {
		moved := s.covariance.At(k, p.k) * p.perSigma
		if p.less >= 0 {
			moved -= s.covariance.At(k, p.less) * p.perSigma
		}
		part := moved * moved / (s.widened * s.widened * s.covariance.At(k, k))
		total += part
		by[p.name] += part
		if by[p.name] > greatest {
			greatest, name = by[p.name], p.name
		}
	}
	return total, name
}
