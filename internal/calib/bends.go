package calib

import (
	"cmp"
	"math"
	"slices"

	lapack "gonum.org/v1/gonum/lapack/gonum"
	"gonum.org/v1/gonum/mat"

	"shadowread/internal/sheet"
)

const (
	// bendReach is how far from the foot heights are told, mm, at bendNodes places across the
	// backs with straight lines between: five mm apart, less than the narrowest back.
	bendReach, bendNodes = 116.0, 47
	// bendWays directions are tried, and bendFiner as many to each side of the likeliest instead
	// of it, and so on to bendLevels: coarser ones leave some of a high wave unexplained, as if
	// it were not straight. To weigh the rows bendFew are enough to begin with.
	bendWays, bendFew, bendFiner, bendLevels = 20, 10, 4, 3
	// flatPaper is how likely a sheet on a board is to lie flat before it is looked at, or to bend
	// one way alone.
	flatPaper = 0.5
	// bendShare is the part of the variance that the shapes which are kept have.
	bendShare = 0.995
)

var (
	// bendBreadths are how far heights are alike across the backs, mm; bendHeights one sigma of
	// them, mm: folds and waves of less than a tenth up to a millimetre (common practice).
	bendBreadths = []float64{8, 16, 32}
	bendHeights  = []float64{0.02, 0.04, 0.08, 0.16, 0.32, 0.64}
	// bendNoises are what the rows scatter by, over the fit's scatter, which heights may have
	// raised.
	bendNoises = []float64{0.25, 0.35, 0.5, 0.7, 1, 1.4, 2, 2.8}
)

// bendShapes are independent shapes across the backs, one sigma each, on the nodes, of each
// breadth: the eigenvectors of a Matern process of order 3/2, which has folds and waves.
var bendShapes = func() map[float64]*mat.Dense {
	all := map[float64]*mat.Dense{}
	const step = 2 * bendReach / (bendNodes - 1)
	for _, breadth := range bendBreadths {
		k := mat.NewSymDense(bendNodes, nil)
		for i := range bendNodes {
			for j := i; j < bendNodes; j++ {
				d := math.Sqrt(3) * float64(j-i) * step / breadth
				k.SetSym(i, j, (1+d)*math.Exp(-d))
			}
		}
		var eig mat.EigenSym
		var vectors mat.Dense
		eig.Factorize(k, true)
		eig.VectorsTo(&vectors)
		values := eig.Values(nil) // ascending
		kept, sum := 0, 0.0
		for ; sum < bendShare*bendNodes; kept++ {
			sum += values[bendNodes-1-kept]
		}
		shapes := mat.NewDense(bendNodes, kept, nil)
		for c := range kept {
			for i := range bendNodes {
				shapes.Set(i, c, math.Sqrt(values[bendNodes-1-c])*vectors.At(i, bendNodes-1-c))
			}
		}
		all[breadth] = shapes
	}
	return all
}()

// bend is one way in which the paper may lie: how likely that is, ln, and what it turns the
// line by.
type bend struct {
	way             float64 // rad, along the backs
	breadth, height float64 // mm; no height where the paper is flat
	noise           float64
	likely          float64
	turn, variance  float64
}

// node is where a place lies across the backs: the node before it and the part to the next.
func (g *bend) node(p sheet.Point) (node int, part float64) {
	sin, cos := math.Sincos(g.way)
	x := (p.X*cos - p.Y*sin + bendReach) * (bendNodes - 1) / (2 * bendReach)
	node = max(0, min(bendNodes-2, int(x)))
	return node, x - float64(node)
}

// bends are ways in which the paper may lie.
type bends []bend

// shares makes how likely they are parts of one.
func (b bends) shares() {
	most, sum := math.Inf(-1), 0.0
	for _, g := range b {
		most = max(most, g.likely)
	}
	for i := range b {
		b[i].likely = math.Exp(b[i].likely - most)
		sum += b[i].likely
	}
	for i := range b {
		b[i].likely /= sum
	}
}

// bent is how likely the paper is bent, and what it turns the line by then, with its variance.
func (b bends) bent() (part, turn, variance float64) {
	for _, g := range b {
		if g.height > 0 {
			part += g.likely
			turn += g.likely * g.turn
		}
	}
	if part == 0 {
		return 0, 0, 0
	}
	turn /= part
	for _, g := range b {
		if g.height > 0 {
			variance += g.likely / part * (g.variance + sq(g.turn-turn))
		}
	}
	return part, turn, variance
}

// trial is the map, as the rows adjust it, and all the bends that were tried on it.
type trial struct {
	*evidence
	seen   []sight
	chol   mat.Cholesky
	pull   *mat.VecDense
	turns  *mat.VecDense
	adjust mat.VecDense
	free   float64 // rows that count, less parameters that they settle
	square float64 // what the adjustment leaves of the rows, in sigmas
	turn   float64 // what it turns the line by,
	open   float64 // and the variance of that
	all    bends
	best   bend
}

// try tries bends of so many directions, the information that was there before the rows standing
// against a noise. It returns nil where nothing is determined.
func (e *evidence) try(noise float64, directions int) *trial {
	n := len(e.turns)
	t := &trial{evidence: e, pull: mat.NewVecDense(n, nil), turns: mat.NewVecDense(n, e.turns)}
	a := mat.NewSymDense(n, nil)
	a.ScaleSym(noise*noise, e.prior)
	prior := mat.DenseCopyOf(a)
	t.pull.ScaleVec(noise*noise, e.pull)
	t.square = e.far * noise * noise
	pull, info := t.pull.RawVector().Data, a.RawSymmetric()
	t.seen = e.seen()
	for i := range e.rows {
		t.free += e.rows[i].weight
	}
	for i := range t.seen {
		r := &t.seen[i]
		t.square += r.info * sq(r.off)
		for k, v := range r.by {
			if v *= r.info; v == 0 {
				continue
			}
			pull[k] += v * r.off
			row := info.Data[k*info.Stride:]
			for l := k; l < n; l++ {
				row[l] += v * r.by[l]
			}
		}
	}
	if !t.chol.Factorize(a) {
		return nil
	}
	// A condition beyond 1e16 is no failure: pixels, tangents and 1/mm share the matrix.
	t.chol.SolveVecTo(&t.adjust, t.pull)
	t.square -= mat.Dot(t.pull, &t.adjust)
	t.turn = mat.Dot(t.turns, &t.adjust)
	var settled mat.Dense
	t.chol.SolveTo(&settled, prior)
	t.free -= float64(n) - mat.Trace(&settled)
	var v mat.VecDense
	t.chol.SolveVecTo(&v, t.turns)
	t.open = mat.Dot(t.turns, &v)
	t.bends(directions)
	return t
}

// bends tries some directions, and finer ones about the likeliest.
func (t *trial) bends(directions int) {
	flat := math.Inf(-1)
	for _, noise := range bendNoises {
		g := t.flat(noise)
		t.all = append(t.all, g)
		flat = max(flat, g.likely)
	}
	// From coarse to fine: the place of the likeliest way is taken by finer ones.
	const fine = 2*bendFiner + 1
	step, part := math.Pi/float64(directions), 1/float64(directions)
	var ways []float64
	for k := range directions {
		ways = append(ways, step*float64(k))
	}
	for level := range bendLevels {
		best, first, likely := 0.0, 0, math.Inf(-1)
		for _, way := range ways {
			from := len(t.all)
			t.along(way, part)
			for _, g := range t.all[from:] {
				if g.likely > likely {
					best, first, likely = way, from, g.likely
				}
			}
		}
		if level == bendLevels-1 || !(likely > flat) {
			break
		}
		perWay := len(bendBreadths) * len(bendHeights) * len(bendNoises)
		t.all = slices.Delete(t.all, first, first+perWay)
		step, part, ways = step/fine, part/fine, ways[:0]
		for k := -bendFiner; k <= bendFiner; k++ {
			ways = append(ways, best+step*float64(k))
		}
	}
	t.best = slices.MaxFunc(t.all, func(a, b bend) int { return cmp.Compare(a.likely, b.likely) })
	t.all.shares()
}

// flat is the paper lying flat, the rows scattering by a noise.
func (t *trial) flat(noise float64) bend {
	return bend{
		noise: noise, likely: math.Log(flatPaper) - t.free*math.Log(noise) - t.square/(2*noise*noise),
		turn: t.turn, variance: t.open * noise * noise,
	}
}

// backs is what the rows tell of heights at the nodes across backs that run one way, the map
// being adjusted to them.
type backs struct {
	info   *mat.Dense
	seen   *mat.VecDense
	turns  *mat.VecDense // what heights turn the line by
	adjust mat.Dense     // and the map's parameters, with the other sign
}

func (t *trial) backs(g bend) *backs {
	b := &backs{info: mat.NewDense(bendNodes, bendNodes, nil), seen: mat.NewVecDense(bendNodes, nil), turns: mat.NewVecDense(bendNodes, nil)}
	n := len(t.evidence.turns)
	x := mat.NewDense(bendNodes, n, nil)
	info, seen, turns := b.info.RawMatrix().Data, b.seen.RawVector().Data, b.turns.RawVector().Data
	nodes, lifts := make([]int, 0, 2*reliefRows), make([]float64, 0, 2*reliefRows)
	for i := range t.seen {
		r := &t.seen[i]
		nodes, lifts = nodes[:0], lifts[:0]
		for j, at := range r.at {
			k, part := g.node(at)
			nodes, lifts = append(nodes, k, k+1), append(lifts, (1-part)*r.lift[j], part*r.lift[j])
		}
		for i, k := range nodes {
			h := r.info * lifts[i]
			seen[k] += h * r.off
			for j, l := range nodes {
				info[k*bendNodes+l] += h * lifts[j]
			}
			row := x.RawRowView(k)
			for q, v := range r.by {
				row[q] += h * v
			}
		}
	}
	for i, p := range t.on {
		k, part := g.node(p)
		turns[k] += (1 - part) * t.by[i]
		turns[k+1] += part * t.by[i]
	}
	t.chol.SolveTo(&b.adjust, x.T())
	var y mat.Dense
	y.Mul(x, &b.adjust)
	b.info.Sub(b.info, &y)
	var v mat.VecDense
	v.MulVec(b.adjust.T(), t.pull)
	b.seen.SubVec(b.seen, &v)
	v.MulVec(b.adjust.T(), t.turns)
	b.turns.SubVec(b.turns, &v)
	return b
}

// among is what the rows tell of shapes.
func (b *backs) among(shapes *mat.Dense) *mat.SymDense {
	n := shapes.RawMatrix().Cols
	var half, full mat.Dense
	half.Mul(shapes.T(), b.info)
	full.Mul(&half, shapes)
	s := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			s.SetSym(i, j, (full.At(i, j)+full.At(j, i))/2)
		}
	}
	return s
}

// chain is what the rows tell of shapes, turned so that each has to do with its neighbours
// alone: then any height and noise is weighed in a few steps for each shape.
type chain struct {
	known, next []float64 // the information's diagonal, and beside it
	seen, turns mat.VecDense
}

func (b *backs) chain(shapes *mat.Dense) *chain {
	info := b.among(shapes).RawSymmetric()
	n := info.N
	c := &chain{known: make([]float64, n), next: make([]float64, n-1)}
	tau, work := make([]float64, n-1), make([]float64, 64*n)
	var lapack lapack.Implementation
	lapack.Dsytrd(info.Uplo, n, info.Data, info.Stride, c.known, c.next, tau, work, len(work))
	lapack.Dorgtr(info.Uplo, n, info.Data, info.Stride, tau, work, len(work))
	var turned mat.Dense
	turned.Mul(shapes, mat.NewDense(n, n, info.Data))
	c.seen.MulVec(turned.T(), b.seen)
	c.turns.MulVec(turned.T(), b.turns)
	return c
}

// weigh adds to what flat paper makes likely what heights of a variance hh do, the rows' noise
// having the variance kk.
func (c *chain) weigh(g *bend, hh, kk float64) {
	ratio := hh / kk
	pivots := 1.0
	logs, square, turn, variance := 0.0, 0.0, 0.0, 0.0
	seen, turns := c.seen.RawVector().Data, c.turns.RawVector().Data
	pivot, z, w := 0.0, 0.0, 0.0 // of the shape before
	for k, known := range c.known {
		own, zk, wk := 1+ratio*known, seen[k], turns[k]
		if k > 0 {
			beside := ratio * c.next[k-1]
			own -= beside * beside / pivot
			zk -= beside / pivot * z
			wk -= beside / pivot * w
		}
		pivot, z, w = own, zk, wk
		square += z * z / pivot
		turn += z * w / pivot
		variance += w * w / pivot
		if pivots *= pivot; pivots > 1e200 {
			logs, pivots = logs+math.Log(pivots), 1
		}
	}
	g.likely += (ratio*square/kk - logs - math.Log(pivots)) / 2
	g.turn += ratio * turn
	g.variance += hh * variance
}

// along tries all bends that run one way, which is a part of all that may be.
func (t *trial) along(way, part float64) {
	b := t.backs(bend{way: way})
	rare := math.Log((1 - flatPaper) / flatPaper * part / float64(len(bendBreadths)*len(bendHeights)))
	for _, breadth := range bendBreadths {
		c := b.chain(bendShapes[breadth])
		for _, height := range bendHeights {
			for _, noise := range bendNoises {
				g := t.flat(noise)
				g.way, g.breadth, g.height = way, breadth, height
				g.likely += rare
				c.weigh(&g, height*height, noise*noise)
				t.all = append(t.all, g)
			}
		}
	}
}

// left is what the likeliest bend leaves of the rows, px.
func (t *trial) left() []float64 {
	adjust := mat.VecDenseCopyOf(&t.adjust)
	heights := mat.NewVecDense(bendNodes, nil)
	if g := t.best; g.height > 0 {
		b, shapes := t.backs(g), bendShapes[g.breadth]
		s := b.among(shapes)
		for i := range s.SymmetricDim() {
			s.SetSym(i, i, s.At(i, i)+sq(g.noise/g.height))
		}
		var seen, of, v mat.VecDense
		seen.MulVec(shapes.T(), b.seen)
		var chol mat.Cholesky
		if chol.Factorize(s) && chol.SolveVecTo(&of, &seen) == nil {
			heights.MulVec(shapes, &of)
			v.MulVec(&b.adjust, heights)
			adjust.SubVec(adjust, &v)
		}
	}
	out := make([]float64, len(t.rows))
	for i := range t.rows {
		r := &t.rows[i]
		k, part := t.best.node(r.at)
		out[i] = r.off - r.lift*((1-part)*heights.AtVec(k)+part*heights.AtVec(k+1))
		for q, v := range r.by {
			out[i] -= v * adjust.AtVec(q)
		}
	}
	return out
}
