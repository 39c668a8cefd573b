package vision

import (
	"math"
	"slices"

	"shadowread/internal/rank"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// fitLine is n = a + b*(s-mid), with its covariance.
type fitLine struct {
	a, b, mid  float64
	varA, varB float64
	scatter    float64
	alike      float64 // by how much their likeness from row to row swells the variances
	used       int
	// bend is half the second derivative, 1/mm: n = a + b(s-mid) + bend (s-mid)^2.
	bend, varBend float64
	curve         [2]float64 // a and b of that parabola
	swings        bool       // waves of the paper bend it, and bend it back farther on
}

// bent reports whether the line is surely bent.
func (l fitLine) bent() bool { return !(l.bend*l.bend < sureBow*sureBow*l.varBend) }

// follow is at, along the parabola where it is surely bent: to look for what lies beyond.
func (l fitLine) follow(s float64) float64 {
	if l.swings || !l.bent() {
		return l.at(s)
	}
	x := s - l.mid
	return l.curve[0] + l.curve[1]*x + l.bend*x*x
}

// widen multiplies the variances.
func (l *fitLine) widen(by float64) {
	l.varA, l.varB, l.varBend = by*l.varA, by*l.varB, by*l.varBend
}

func (l fitLine) at(s float64) float64 { return l.a + l.b*(s-l.mid) }

// keeps reports whether the robust fit gave a place any weight.
func (l fitLine) keeps(s, n float64) bool { return math.Abs(n-l.at(s)) < tukey*l.scatter }

// What a robust line goes by.
const (
	// tukey is the biweight's cut in sigmas: 95 % efficient for a normal law (textbooks).
	// The first wideTurns of lineTurns turns take wideCut times as much, so that a poor start
	// throws nothing out; more turns cost time.
	tukey                         = 4.685
	parabolaTerms                 = 3 // which the residuals have used up
	wideCut, wideTurns, lineTurns = 3, 2, 8
	leastLine                     = 1e-4 // mm: of the scatter, lest a perfect line cut everything
	usedWeight                    = 0.2  // from this weight on a place counts as used
	leastGrows                    = 0.5  // of what a residual counts for, where many lie at the cut: 0.83 for a normal law
	leastLeft                     = 0.2  // of the sum over all lags, at least, that a fit is taken to leave
	// The residuals' correlation is summed over lags up to a part of the line, 1 over
	// lagPart, and mostLags: more sum noise.
	lagPart, mostLags = 8, 24
	// A parabola starts with a weight of bowWeight at least for what lies within bowCut sigmas
	// of the line, since a bow alone must not put the line's ends aside; bowTurns turns.
	bowWeight, bowCut, bowTurns = 0.3, 12, 5
)

// robustLine fits n = a + b (s - mid) with Tukey's biweight and estimates the
// variances of a and b from the residuals, allowing for their correlation from row
// to row (interpolation, paper texture and JPEG blocks make neighbours alike).
func robustLine(ss, ns []float64) fitLine {
	l, w, sw, sxx, det := biweightLine(ss, ns)
	if w == nil {
		return l
	}
	// The bow is taken out before the residuals are looked at: they would take it for
	// noise that is alike from row to row.
	bent := parabola(ss, ns, l, w)
	res := make([]float64, len(ss))
	for i := range ss {
		x := ss[i] - l.mid
		res[i] = ns[i] - (bent[0] + bent[1]*x + bent[2]*x*x)
	}
	l.bend, l.curve = bent[2], [2]float64{bent[0], bent[1]}
	v, inflate := scatterOf(res, w)
	l.alike = inflate
	l.varA, l.varB = inflate*v*sxx/det, inflate*v*sw/det
	l.varBend = inflate * v * bent[3]
	return l
}

// biweightLine is a robust line without its variances and its bow, with the weights and what the
// variances want; no weights where there is no line.
func biweightLine(ss, ns []float64) (l fitLine, w []float64, sw, sxx, det float64) {
	if len(ss) < leastRows {
		l.varA, l.varB = math.Inf(1), math.Inf(1)
		return l, nil, 0, 0, 0
	}
	for _, s := range ss {
		l.mid += s / float64(len(ss))
	}
	w = make([]float64, len(ss))
	for i := range w {
		w[i] = 1
	}
	res, abs := make([]float64, len(ss)), make([]float64, len(ss))
	var sx, sy, sxy float64
	for iter := range lineTurns {
		sw, sx, sy, sxx, sxy = 0, 0, 0, 0, 0
		for i := range ss {
			x, y := ss[i]-l.mid, ns[i]
			sw += w[i]
			sx += w[i] * x
			sy += w[i] * y
			sxx += w[i] * x * x
			sxy += w[i] * x * y
		}
		det = sw*sxx - sx*sx
		if det <= 0 {
			l.varA, l.varB = math.Inf(1), math.Inf(1)
			return l, nil, 0, 0, 0
		}
		l.a, l.b = (sxx*sy-sx*sxy)/det, (sw*sxy-sx*sy)/det
		for i := range ss {
			res[i] = ns[i] - l.at(ss[i])
			abs[i] = math.Abs(res[i])
		}
		l.scatter = max(leastLine, rank.MadSigma*quantile(abs, 0.5))
		c := tukey * l.scatter
		if iter < wideTurns {
			c *= wideCut
		}
		for i, r := range res {
			w[i] = 0
			if u := r / c; math.Abs(u) < 1 {
				w[i] = (1 - u*u) * (1 - u*u)
			}
		}
	}
	for _, weight := range w {
		if weight > usedWeight {
			l.used++
		}
	}
	return l, w, sw, sxx, det
}

// slopeOf is the slope of the line through places that all count, and its variance; none where
// they are too few.
func slopeOf(ss, ns []float64) (slope, variance float64) {
	if len(ss) < leastRows {
		return 0, 0
	}
	w, res := make([]float64, len(ss)), make([]float64, len(ss))
	for i := range w {
		w[i] = 1
	}
	a, b := stat.LinearRegression(ss, ns, nil, false)
	for i := range res {
		res[i] = ns[i] - a - b*ss[i]
	}
	v, inflate := scatterOf(res, w)
	return b, inflate * v / (float64(len(ss)-1) * stat.Variance(ss, nil))
}

// scatterOf returns the variance of residuals, as a biweight's line takes it, and by how much that of what is
// fitted to them exceeds its own by their correlation over lags up to an eighth of the line.
//
// A biweight counts a residual r for w r, which grows by 5 w - 4 sqrt(w) of what r does: the line's variance is that
// of the former over the square of the latter's mean (Huber's sandwich). By w r squared alone it came a seventh too small.
func scatterOf(res, w []float64) (v, inflate float64) {
	n, grows := 0.0, 0.0
	counts := make([]float64, len(res))
	for i, r := range res {
		counts[i] = w[i] * r
		v += sq(counts[i])
		grows += 5*w[i] - 4*math.Sqrt(w[i])
		n += w[i]
	}
	v /= max(n-parabolaTerms, 1)
	inflate = 1
	lags := min(len(res)/lagPart, mostLags)
	for k := 1; k <= lags; k++ {
		c, m := 0.0, 0.0
		for i := 0; i+k < len(res); i++ {
			c += counts[i] * counts[i+k]
			m += math.Sqrt(w[i] * w[i+k])
		}
		if m > 0 {
			inflate += 2 * (1 - float64(k)/float64(lags+1)) * c / m / v
		}
	}
	// What was fitted took as much of each lag's sum with it: parabolaTerms / n of all of them.
	took := parabolaTerms / max(n, leastRows)
	inflate = (inflate - took) / max(1-took*float64(lags+1), leastLeft)
	return v / sq(max(grows/n, leastGrows)), max(1, inflate)
}

// parabola fits n = a + b x + c x^2, x = s - mid, to a robust line's neighbourhood: the
// line's weights first, then those of its own residuals. It returns a, b, c, and the
// variance of c for residuals of variance 1.
func parabola(ss, ns []float64, l fitLine, w []float64) (p [4]float64) {
	w = slices.Clone(w)
	for i := range w {
		if r := math.Abs(ns[i]-l.at(ss[i])) / max(l.scatter, leastLine); r < bowCut {
			w[i] = max(w[i], bowWeight)
		}
	}
	abs := make([]float64, len(ss))
	for turn := range bowTurns {
		var m [2*parabolaTerms - 1]float64 // sums of w x^k
		var y [parabolaTerms]float64
		for i := range ss {
			x := ss[i] - l.mid
			f := w[i]
			for k := range m {
				m[k] += f
				if k < len(y) {
					y[k] += f * ns[i]
				}
				f *= x
			}
		}
		var chol mat.Cholesky
		terms := mat.NewVecDense(parabolaTerms, p[:parabolaTerms])
		if !chol.Factorize(mat.NewSymDense(parabolaTerms, []float64{m[0], m[1], m[2], m[1], m[2], m[3], m[2], m[3], m[4]})) ||
			chol.SolveVecTo(terms, mat.NewVecDense(parabolaTerms, y[:])) != nil {
			return [4]float64{l.a, l.b, 0, math.Inf(1)}
		}
		if turn == bowTurns-1 {
			var inverse mat.SymDense
			if chol.InverseTo(&inverse) != nil {
				return [4]float64{l.a, l.b, 0, math.Inf(1)}
			}
			p[3] = inverse.At(2, 2)
		}
		for i := range ss {
			x := ss[i] - l.mid
			abs[i] = math.Abs(ns[i] - (p[0] + p[1]*x + p[2]*x*x))
		}
		c := tukey * max(leastLine, rank.MadSigma*quantile(abs, 0.5))
		for i, r := range abs {
			w[i] = 0
			if u := r / c; u < 1 {
				w[i] = (1 - u*u) * (1 - u*u)
			}
		}
	}
	return p
}
