package instrument

import (
	"math"

	"shadowread/internal/angle"
)

// components of a stand are those of what is proved of an instrument, in their order, and
// the logarithm of the rod's height over a millimetre.
const (
	height     = Components
	components = Components + 1
)

// A rod of which nobody states the height is some 60 mm high, to a factor of e.
const (
	usualHeight = 60.0 // mm
	anyHeight   = 1.0
)

// guess is one estimate of a stand's components with their covariance, and how much of
// what is believed it is. The sheet's tilt is the rod's slope less its lean.
type guess struct {
	value  [components]float64
	cov    [components][components]float64
	weight float64
	tilted bool // the sheet's tilt was measured
}

// row is a linear combination of the components.
type row [components]float64

// observed is a measured combination. lean is what a unit of it is of lean, should a lean
// alone make it differ from what was known.
type observed struct {
	row
	value, sigma float64
	lean         float64
}

func variance(a angle.Angle) float64 { return float64(a * a) }

func sq(x float64) float64 { return x * x }

// axes are lean and rod, to starboard and forward.
var axes = [2]struct{ lean, rod int }{{LeanStarboard, RodStarboard}, {LeanForward, RodForward}}

// on is the slope's component on an axis.
func (s Slope) on(axis int) float64 { return [2]float64{s.Starboard, s.Forward}[axis] }

// take fills in what a record knows; nil is none.
func (g *guess) take(r *Record) {
	if r == nil {
		return
	}
	p := r.Proved
	for i, row := range p.Covariance {
		copy(g.cov[i][:], row[:])
	}
	g.value[LeanStarboard], g.value[LeanForward] = p.Lean.Starboard, p.Lean.Forward
	g.value[RodStarboard], g.value[RodForward] = p.Rod.Starboard, p.Rod.Forward
	if p.Lubber != nil {
		g.value[Lubber] = float64(*p.Lubber)
	}
}

// fix sets a component to a value with a variance of its own.
func (g *guess) fix(k int, value, v float64) {
	for j := range g.cov {
		g.cov[k][j], g.cov[j][k] = 0, 0
	}
	g.value[k], g.cov[k][k] = value, v
}

// hang makes rod and plumb line one, through a sheet that stands so; nil is level.
func (g *guess) hang(t *Tilt) {
	var plumb Slope
	var v float64
	if t != nil {
		plumb, v = t.Plumb(), variance(t.Sigma)
	}
	for i, a := range axes {
		g.fix(a.lean, 0, 0)
		g.fix(a.rod, plumb.on(i), v)
	}
}

// addRod adds to what is open of the rod's slope, which its lean shares; addLean to what
// is open of the lean alone, by the sheet.
func (g *guess) addRod(v float64) {
	for _, a := range axes {
		g.cov[a.rod][a.rod] += v
		g.cov[a.lean][a.lean] += v
		g.cov[a.rod][a.lean] += v
		g.cov[a.lean][a.rod] += v
	}
}

func (g *guess) addLean(v float64) {
	for _, a := range axes {
		g.cov[a.lean][a.lean] += v
	}
}

// replace has the lean follow from the tilt as measured and from the rod's slope, whose
// covariance it shares.
func (g *guess) replace(t Tilt) {
	plumb := t.Plumb()
	for i, a := range axes {
		g.value[a.lean] = g.value[a.rod] - plumb.on(i)
		g.cov[a.lean] = g.cov[a.rod]
	}
	for _, a := range axes {
		for j := range g.cov {
			g.cov[j][a.lean] = g.cov[j][a.rod]
		}
	}
	g.addLean(variance(t.Sigma))
}

// tilt joins a measured tilt with a record that knows the lean to what a new setting-up
// changes. The rod is taken for square to a sigma where the record knows no better. Beyond
// three sigmas the record's lean is another stand's, and the tilt replaces it.
func (g *guess) tilt(t Tilt, r *Record, square angle.Angle) (contradicted bool) {
	g.addLean(variance(r.LevelSigma))
	known := g.cov[RodStarboard][RodStarboard] + g.cov[RodForward][RodForward]
	if found := known > 0 || r.Proved.Rod != (Slope{}); !found || known > 2*variance(square) {
		for _, a := range axes {
			g.fix(a.rod, 0, variance(square))
		}
	}
	was := *g
	plumb := t.Plumb()
	misfit := 0.0
	for i, a := range axes {
		var h row
		h[a.lean], h[a.rod] = -1, 1
		misfit = math.Hypot(misfit, g.observe(h, plumb.on(i), float64(t.Sigma)))
	}
	if misfit <= 3 {
		return false
	}
	*g = was
	g.replace(t)
	return true
}

// join weighs the guess by observations and joins them. The widest guess first widens what
// it knows by what does not fit, laid to lean, height and observation as each was open: such
// a rod may lean by as much along the other axis, its board be out of level by a part of that.
//
// A guess that is not the widest keeps its lean where little is said of it (loose): that
// speaks for the one guess or the other, and of the height.
func (g *guess) join(list []observed, widest, loose bool) {
	const (
		unlike = 2 // sigmas
		sloppy = 3
	)
	lean, tall := 0.0, 0.0
	before := *g
	sigmas := make([]float64, len(list))
	for i, o := range list {
		known, v := before.along(o.row)
		total := v + sq(o.sigma)
		off := math.Abs(o.value - known)
		g.weight *= math.Exp(-sq(off)/(2*total)) / math.Sqrt(total)
		sigmas[i] = o.sigma
		if widest && off > unlike*math.Sqrt(total) {
			high := sq(o.row[height]) * before.cov[height][height]
			open := sq(off) / total
			lean = max(lean, sq(o.lean)*open*max(0, v-high))
			tall = max(tall, open*high)
			sigmas[i] = math.Hypot(o.sigma, math.Sqrt(open)*o.sigma)
		}
		before.observe(o.row, o.value, sigmas[i])
	}
	if lean > 0 {
		g.addRod(lean)
		if !g.tilted {
			g.addLean(lean / sq(sloppy))
		}
	}
	g.cov[height][height] += tall
	for i, o := range list {
		if loose && !widest {
			g.consider(o.row, o.value, sigmas[i])
		} else {
			g.observe(o.row, o.value, sigmas[i])
		}
	}
}

// gradient returns the derivatives of f by the components.
func (g *guess) gradient(f func([components]float64) float64) (h row) {
	const step = 1e-5 // 2 arcseconds, or that part of the height
	for k := range g.value {
		up, down := g.value, g.value
		up[k] += step
		down[k] -= step
		h[k] = (f(up) - f(down)) / (2 * step)
	}
	return h
}

// along is the mean and the variance of a combination.
func (g *guess) along(h row) (mean, v float64) {
	for i := range h {
		mean += h[i] * g.value[i]
		for j := range h {
			v += h[i] * g.cov[i][j] * h[j]
		}
	}
	return mean, v
}

// sigma is one sigma of a combination of angles.
func (g *guess) sigma(h row) angle.Angle {
	_, v := g.along(h)
	return angle.Angle(math.Sqrt(max(0, v)))
}

// observe joins a measured combination, and returns by how many sigmas it was off what was
// known.
func (g *guess) observe(h row, value, sigma float64) float64 {
	return g.update(h, value, sigma, func(int) bool { return true })
}

// consider is observe where the height alone learns from it.
func (g *guess) consider(h row, value, sigma float64) {
	g.update(h, value, sigma, func(i int) bool { return i == height })
}

// update joins a measured combination to those components that learn (Joseph's form, which
// holds for any gain).
func (g *guess) update(h row, value, sigma float64, learns func(i int) bool) float64 {
	mean, v := g.along(h)
	total := v + sigma*sigma
	if total <= 0 {
		return 0
	}
	var gain, ph row
	for i := range gain {
		for j := range h {
			ph[i] += g.cov[i][j] * h[j]
		}
		if learns(i) {
			gain[i] = ph[i] / total
		}
	}
	for i := range gain {
		g.value[i] += gain[i] * (value - mean)
	}
	for i := range gain {
		for j := range gain {
			g.cov[i][j] += gain[i]*total*gain[j] - gain[i]*ph[j] - ph[i]*gain[j]
		}
	}
	return math.Abs(value-mean) / math.Sqrt(total)
}
