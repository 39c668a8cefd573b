package calib

import (
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"shadowread/internal/angle"
	"shadowread/internal/rank"
	"shadowread/internal/sheet"
)

// Paper that is not flat. A place at a height z over the plate is seen where the plate's own
// place farther from the camera would be, by z times the tangent of the slant. So print is seen off the
// map, and a shadow is bowed and turned, both by the same heights and the same parallax: seen
// from above there is neither error nor evidence. Marks and ticks tell the heights about the
// dial. What lies between follows from that paper bends but does not stretch: it lies in folds
// and waves with straight backs, whose height depends on the distance across them alone. Which
// way they run, how high and how broad they are is not known: whatever may be is tried, and
// counts by how likely it makes what is seen (Rasmussen and Williams, Gaussian Processes for
// Machine Learning, 2006, sections 2.2, 2.7 and 5.2).

const (
	// reliefRows samples side by side on one printed edge count as one, by their median, lest a
	// bend be lost in the mean of an edge. rowNoise is what they share of a sample's variance, and
	// edgeNoise what a whole edge of ink does: along a row of pixels all its samples lie alike
	// between two, and err alike.
	reliefRows          = 4
	rowNoise, edgeNoise = 0.15, 0.25
	// What stands off the map by startCut scatters loses weight before anything is tried;
	// what stands off all that paper does is put aside in reliefTurns turns, but for leastKept.
	startCut, reliefTurns = 3, 3
	leastKept             = 1e-6
	// linePlaces are the places of a line at which heights turn it.
	linePlaces = 40
	// notStraight is one sigma of what backs that are not quite straight or alike turn, as a part
	// of what straight ones do.
	notStraight = 0.1
	// One bend explains all where it leaves no more than allByOne of it, two where allByTwo: of 600 drawn
	// sheets with bumps the least were 0.33 and 0.18. crossing is notStraight of two.
	allByOne, allByTwo, crossing = 0.25, 0.1, 0.2
	// sureTurn is how many of its sigmas a turn must have to be put right; else it is feared.
	sureTurn = 2
)

// Relief is what the heights of the paper do to a line that is seen on it.
type Relief struct {
	Turn  angle.Angle // to be added to the direction that is seen
	Sigma angle.Angle // what they leave open
	// ResidualMM is as the fit's, with what the heights explain taken out.
	ResidualMM float64
}

// reliefRow is what a few samples side by side tell.
type reliefRow struct {
	at     sheet.Point
	off    float64   // px, what the map leaves
	lift   float64   // px for each mm of height
	by     []float64 // px by each parameter of the map
	sigma  float64   // px
	scale  float64   // px per mm, of an edge of ink
	shared float64   // px squared, the variance of what it errs by as a whole
	group  int
	weight float64
}

// evidence is what a picture tells of heights, about a line on the paper.
type evidence struct {
	rows  []reliefRow
	prior *mat.SymDense // information on the parameters before the rows,
	pull  *mat.VecDense // what it pulls them with, and how far that is
	far   float64
	turns []float64     // rad, what each parameter turns the line by
	on    []sheet.Point // places of the line, and rad for each mm of height there
	by    []float64
	backs backs // those of one way after the other
	// flatBy is by how much flat paper was likelier than bends of the middle breadth, ln.
	flatBy float64
}

// Relief tells what the heights of the paper do to the straight line between two pixels,
// whose direction was taken from all its places alike. Paper that one bend does not explain
// may be bent both ways, or have bumps, which the dial about them does not tell: what is
// likely to be so is not put right but feared. Only where one bend, or a second across it, explains
// nearly all that the map leaves, as they do not of bumps, and both turn the line alike, are they told.
func (f *Fit) Relief(a, b Pixel) Relief {
	e := f.evidence(a, b)
	one := e.settle()
	if one == nil {
		return Relief{ResidualMM: f.ResidualMM}
	}
	// Either it is flat and the map stands, or it is bent one way, or otherwise.
	bent, turn, variance := one.all.bent()
	open := one.open * sq(one.best.noise)
	left, feared := e.residual(one.left()), 0.0
	explained := sq(left)
	if one.best.height > 0 {
		if two := e.with(one.best).settle(); two != nil {
			both, other, spread := two.all.bent()
			leaves := e.residual(two.left())
			if (left < allByOne*f.ResidualMM || leaves < allByTwo*f.ResidualMM) && sq(turn-other) < sq(sureTurn)*(variance+spread) {
				turn, variance = (1-both)*turn+both*other, (1-both)*variance+both*(spread+sq(crossing*other))
			} else {
				feared = bent * both * (max(0, spread-open) + sq(other))
				bent *= 1 - both
				leaves = f.ResidualMM
			}
			explained = (1-both)*explained + both*sq(leaves)
		}
	}
	variance = feared + bent*max(0, variance-open) + bent*(1-bent)*sq(turn) + sq(notStraight*bent*turn)
	turn *= bent
	if sq(turn) < sq(sureTurn)*variance { // as likely to be the edges' own error
		turn, variance = 0, variance+sq(turn)
	}
	return Relief{
		Turn: angle.Angle(turn), Sigma: angle.Angle(math.Sqrt(variance)),
		ResidualMM: min(math.Sqrt(explained), f.ResidualMM),
	}
}

// evidence gathers what the samples tell, and how heights turn the line.
func (f *Fit) evidence(a, b Pixel) *evidence {
	e := &evidence{}
	n := len(f.samples)
	res, jac := make([]float64, n), make([][nParams]float64, n)
	linearise(&f.Plate, f.Shrink, f.samples, res, jac)
	path, r := f.path(), &f.Pose.R
	for i := 0; i < n; {
		row := reliefRow{group: f.samples[i].Group, by: make([]float64, nParams), weight: 1}
		ink := f.samples[i].Ink > 0
		var off []float64
		for end := i + reliefRows; i < min(n, end) && f.samples[i].Group == row.group; i++ {
			if math.IsInf(res[i], 0) {
				continue
			}
			off = append(off, res[i])
			p := f.Paper(f.samples[i].At)
			row.at.X, row.at.Y = row.at.X+p.X, row.at.Y+p.Y
			for k, v := range jac[i] {
				row.by[k] += v
			}
		}
		if len(off) == 0 {
			continue
		}
		m, along := float64(len(off)), 0.0
		row.at.X, row.at.Y = row.at.X/m, row.at.Y/m
		for k := range row.by {
			row.by[k] /= m
			along += row.by[k] * path[k]
		}
		row.lift = r[0][2]*row.by[pT] + r[1][2]*row.by[pT+1] + r[2][2]*row.by[pT+2]
		row.by[pLogF] = along
		row.off = middle(off)
		row.sigma = f.SigmaPx * math.Sqrt(1/m+rowNoise)
		if ink {
			least, most := f.Scale(row.at)
			row.scale = math.Sqrt(least * most)
			row.shared = edgeNoise * sq(f.SigmaPx)
		}
		e.rows = append(e.rows, row)
	}
	prior, pull := normalEquations(nil, nil, nil, 1, f.Plate, f.Shrink, f.prior)
	for k := range nParams {
		if held := prior.At(k, k); held > 0 {
			e.far += sq(pull.AtVec(k)) / held
		}
	}
	e.prior, e.pull = straightened(&f.Plate, prior, pull)
	e.line(f, a, b)
	return e
}

// middle is the median, of an even number the mean of the two.
func middle(xs []float64) float64 {
	slices.Sort(xs)
	return (xs[(len(xs)-1)/2] + xs[len(xs)/2]) / 2
}

// line adds what the map's parameters and heights turn the line between two pixels by.
func (e *evidence) line(f *Fit, a, b Pixel) {
	from, _ := f.Unproject(a)
	to, _ := f.Unproject(b)
	x, y := to.X-from.X, to.Y-from.Y
	_, by := f.gradients(func(p *Plate) []float64 {
		from, _ := p.Unproject(a)
		to, _ := p.Unproject(b)
		u, v := to.X-from.X, to.Y-from.Y
		return []float64{math.Atan2(u*y-v*x, u*x+v*y)} // clockwise from where it is
	})
	e.turns = by[0][:]
	c := f.Pose.Centre()
	long := math.Hypot(x, y)
	for k := range linePlaces {
		t := (float64(k)+0.5)/linePlaces - 0.5
		p := sheet.Point{X: (from.X+to.X)/2 + t*x, Y: (from.Y+to.Y)/2 + t*y}
		// To the right of the line for each mm of height, and what that turns a line through
		// places that are evenly spread.
		right := ((p.X-c[0])*y - (p.Y-c[1])*x) / (long * c[2])
		e.on = append(e.on, p)
		e.by = append(e.by, -12*t/(linePlaces*long)*right)
	}
}

// sight is what is seen of heights at some places, with its information: one row, or what the
// rows of an edge of ink share, which they tell but once.
type sight struct {
	at   []sheet.Point
	lift []float64
	off  float64
	by   []float64
	info float64
}

// seen lists what the rows tell. An error that the rows of an edge share takes from their
// information that of their mean, but for what the error leaves of it.
func (e *evidence) seen() []sight {
	all := make([]sight, 0, len(e.rows)*5/4)
	var edge sight
	var shared float64 // its variance
	close := func() {
		if len(edge.at) > 1 {
			for i := range edge.lift {
				edge.lift[i] /= edge.info
			}
			for k := range edge.by {
				edge.by[k] /= edge.info
			}
			edge.off /= edge.info
			edge.info = -sq(edge.info) / (edge.info + 1/shared)
			all = append(all, edge)
		}
		edge = sight{}
	}
	// One row's place and lift stand in these.
	at, lift := make([]sheet.Point, len(e.rows)), make([]float64, len(e.rows))
	for i := range e.rows {
		r := &e.rows[i]
		at[i], lift[i] = r.at, r.lift
		if i > 0 && r.group != e.rows[i-1].group {
			close()
		}
		info := r.weight / sq(r.sigma)
		all = append(all, sight{at[i : i+1], lift[i : i+1], r.off, r.by, info})
		if r.scale == 0 { // a tick, drawn by itself
			continue
		}
		if edge.by == nil {
			edge.by, shared = make([]float64, len(r.by)), r.shared
		}
		edge.at, edge.lift = append(edge.at, r.at), append(edge.lift, info*r.lift)
		edge.off, edge.info = edge.off+info*r.off, edge.info+info
		for k, v := range r.by {
			edge.by[k] += info * v
		}
	}
	close()
	return all
}

// settle tries what the paper may lie like, and puts aside rows that nothing explains.
func (e *evidence) settle() *trial {
	var off []float64
	for _, r := range e.rows {
		off = append(off, math.Abs(r.off)/r.sigma)
	}
	if len(off) == 0 {
		return nil
	}
	cut := startCut * max(1, rank.MadSigma*middle(off))
	for i := range e.rows {
		r := &e.rows[i]
		r.weight = min(1, cut*r.sigma/max(math.Abs(r.off), leastKept))
	}
	noise := 1.0
	var t *trial
	for k := range reliefTurns {
		directions, weighing := bendFew, true
		switch {
		case e.flatBy > flatAlone:
			directions = 0
		case k == reliefTurns-1:
			directions, weighing = bendWays, false
		}
		if t = e.try(noise, directions, weighing); t == nil {
			return nil
		}
		noise = t.best.noise
		if k < reliefTurns-1 {
			for i, off := range t.left() {
				r := &e.rows[i]
				r.weight = max(leastKept, biweight(off, r.sigma*noise, false))
			}
		}
	}
	return t
}

// with takes a bend among the parameters, which are open then but for its direction, its
// breadth and its height.
func (e *evidence) with(g bend) *evidence {
	shapes := bendShapes[g.breadth]
	old, more := len(e.turns), shapes.RawMatrix().Cols
	out := &evidence{rows: slices.Clone(e.rows), on: e.on, by: e.by, far: e.far}
	out.prior = mat.NewSymDense(old+more, nil)
	out.pull = mat.NewVecDense(old+more, nil)
	for i := range old + more {
		if i >= old {
			out.prior.SetSym(i, i, 1)
			continue
		}
		out.pull.SetVec(i, e.pull.AtVec(i))
		for j := i; j < old; j++ {
			out.prior.SetSym(i, j, e.prior.At(i, j))
		}
	}
	add := func(to []float64, p sheet.Point, lift float64) {
		k, part := g.node(p)
		for c := range to {
			to[c] += g.height * lift * ((1-part)*shapes.At(k, c) + part*shapes.At(k+1, c))
		}
	}
	for i := range out.rows {
		r := &out.rows[i]
		r.by = append(slices.Clone(r.by), make([]float64, more)...)
		add(r.by[old:], r.at, r.lift)
	}
	out.turns = append(slices.Clone(e.turns), make([]float64, more)...)
	for i, p := range e.on {
		add(out.turns[old:], p, e.by[i])
	}
	return out
}

// residual is the rms over printed edges of their mean departure, mm, of what is left.
func (e *evidence) residual(left []float64) float64 {
	type edge struct{ n, sum, scale float64 }
	edges := map[int]*edge{}
	for i, r := range e.rows {
		if r.scale == 0 || r.weight < 0.1 {
			continue
		}
		if edges[r.group] == nil {
			edges[r.group] = &edge{}
		}
		g := edges[r.group]
		g.n, g.sum, g.scale = g.n+1, g.sum+left[i], g.scale+r.scale
	}
	square := 0.0
	for _, k := range slices.Sorted(maps.Keys(edges)) {
		square += sq(edges[k].sum / edges[k].scale)
	}
	return math.Sqrt(square / max(1, float64(len(edges))))
}

func sq(x float64) float64 { return x * x }
