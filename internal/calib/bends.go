package calib

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
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
	// Where all bends of the middle breadth are less likely than flat paper by surelyFlat, ln, rows are
	// weighed as of flat paper: of real bends no breadth is told so sharply from the next. By
	// flatAlone, all bends together have a thousandth, and are not tried any more.
	surelyFlat, flatAlone = 6, 12
	// bendShare is the part of the variance that the shapes which are kept have.
	bendShare = 0.995
)

var (
	// bendBreadths are how far heights are alike across the backs, mm; bendHeights one sigma of
	// them, mm: folds and waves of less than a tenth up to a millimetre (common practice).
	bendBreadths  = []float64{8, 16, 32}
	middleBreadth = bendBreadths[1:2]
	bendHeights   = []float64{0.02, 0.04, 0.08, 0.16, 0.32, 0.64}
	// bendNoises are what the rows scatter by, over the fit's scatter, which heights may have
	// raised.
	bendNoises = []float64{0.25, 0.35, 0.5, 0.7, 1, 1.4, 2, 2.8}
)

// bendHalf is how many nodes there are but for those whose mirror image is one of them.
const bendHalf = (bendNodes + 1) / 2

// shapes are independent shapes across the backs, one sigma each, on the nodes. Each is its own
// mirror image, or that with the other sign: on what nodes and their mirror images have alike,
// and on by what they differ, it takes half the places.
type shapes struct {
	*mat.Dense             // a column each, those that mirror alike first
	alike, odd [][]float64 // the same, folded
}

// bendShapes are shapes of each breadth: the eigenvectors of a Matern process of order 3/2, which
// has folds and waves.
var bendShapes = func() map[float64]*shapes {
	all := map[float64]*shapes{}
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
		s := &shapes{}
		for c, sum := bendNodes-1, 0.0; sum < bendShare*bendNodes; c-- {
			sum += values[c]
			v := mat.Col(nil, c, &vectors)
			floats.Scale(math.Sqrt(values[c]), v)
			if folded(v); floats.Norm(v[:bendHalf], 2) > floats.Norm(v[bendHalf:], 2) {
				s.alike = append(s.alike, v[:bendHalf])
			} else {
				s.odd = append(s.odd, v[bendHalf:])
			}
		}
		s.Dense = mat.NewDense(bendNodes, len(s.alike)+len(s.odd), nil)
		for c := range s.alike {
			s.SetCol(c, unfolded(s.alike[c], nil))
		}
		for c := range s.odd {
			s.SetCol(len(s.alike)+c, unfolded(nil, s.odd[c]))
		}
		all[breadth] = s
	}
	return all
}()

// folded puts for values on the nodes what they have in common with their mirror images, and then
// by what they differ. It is a turn.
func folded(v []float64) {
	var out [bendNodes]float64
	for i := range bendHalf - 1 {
		a, b := v[i], v[bendNodes-1-i]
		out[i], out[bendHalf+i] = (a+b)/math.Sqrt2, (a-b)/math.Sqrt2
	}
	out[bendHalf-1] = v[bendHalf-1]
	copy(v, out[:])
}

// unfolded turns values back.
func unfolded(alike, odd []float64) []float64 {
	out := make([]float64, bendNodes)
	for i, v := range alike {
		if i == bendHalf-1 {
			out[i] += v
			break
		}
		out[i], out[bendNodes-1-i] = out[i]+v/math.Sqrt2, out[bendNodes-1-i]+v/math.Sqrt2
	}
	for i, v := range odd {
		out[i], out[bendNodes-1-i] = out[i]+v/math.Sqrt2, out[bendNodes-1-i]-v/math.Sqrt2
	}
	return out
}

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
	return across(p, sin, cos)
}

func across(p sheet.Point, sin, cos float64) (node int, part float64) {
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
	root   mat.TriDense // of the information, lower
	pull   *mat.VecDense
	turns  *mat.VecDense
	pulled []float64 // pull and turns over the root
	turned []float64
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
func (e *evidence) try(noise float64, directions int, weighing bool) *trial {
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
	t.chol.LTo(&t.root)
	t.pulled, t.turned = slices.Clone(pull), slices.Clone(e.turns)
	t.overRoot(t.pulled)
	t.overRoot(t.turned)
	t.bends(directions, weighing)
	return t
}

// bends tries some directions, and finer ones about the likeliest; with none, the paper is flat.
func (t *trial) bends(directions int, weighing bool) {
	flat := math.Inf(-1)
	perWay := len(bendBreadths) * len(bendHeights) * len(bendNoises)
	t.all = make(bends, 0, len(bendNoises)+directions*perWay)
	for _, noise := range bendNoises {
		g := t.flat(noise)
		t.all = append(t.all, g)
		flat = max(flat, g.likely)
	}
	if directions == 0 {
		t.settled()
		return
	}
	// From coarse to fine: the place of the likeliest way is taken by finer ones.
	const fine = 2*bendFiner + 1
	step, part := math.Pi/float64(directions), 1/float64(directions)
	var ways []float64
	for k := range directions {
		ways = append(ways, step*float64(k))
	}
	if weighing {
		t.flatBy = flat - t.likeliest(ways, part)
		if t.flatBy > surelyFlat {
			t.settled()
			return
		}
	}
	for level := range bendLevels {
		best, first, likely := 0.0, 0, math.Inf(-1)
		for _, way := range ways {
			from := len(t.all)
			t.along(way, part, bendBreadths)
			for _, g := range t.all[from:] {
				if g.likely > likely {
					best, first, likely = way, from, g.likely
				}
			}
		}
		if level == bendLevels-1 || !(likely > flat) {
			break
		}
		t.all = slices.Delete(t.all, first, first+perWay)
		step, part, ways = step/fine, part/fine, ways[:0]
		for k := -bendFiner; k <= bendFiner; k++ {
			ways = append(ways, best+step*float64(k))
		}
	}
	t.settled()
}

// likeliest is how likely the likeliest bend of the middle breadth is.
func (t *trial) likeliest(ways []float64, part float64) float64 {
	flat, likely := len(t.all), math.Inf(-1)
	for _, way := range ways {
		t.along(way, part, middleBreadth)
		for _, g := range t.all[flat:] {
			likely = max(likely, g.likely)
		}
		t.all = t.all[:flat]
	}
	return likely
}

// settled takes the likeliest of what was tried, and makes parts of all.
func (t *trial) settled() {
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

// along tries all bends that run one way, which is a part of all that may be.
func (t *trial) along(way, part float64, breadths []float64) {
	b := t.turnedTo(way)
	rare := math.Log((1 - flatPaper) / flatPaper * part / float64(len(bendBreadths)*len(bendHeights)))
	for _, breadth := range breadths {
		b.chain.turn(b.among(bendShapes[breadth]))
		for _, height := range bendHeights {
			for i, noise := range bendNoises {
				g := t.all[i] // flat
				g.way, g.breadth, g.height = way, breadth, height
				g.likely += rare
				b.chain.weigh(&g, height*height, noise*noise)
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
		b, shapes := t.turnedTo(g.way), bendShapes[g.breadth]
		info, seen, _ := b.among(shapes)
		n := len(seen)
		s := mat.NewSymDense(n, nil)
		for i := range n {
			for j := i; j < n; j++ {
				s.SetSym(i, j, info[j*n+i])
			}
			s.SetSym(i, i, s.At(i, i)+sq(g.noise/g.height))
		}
		var of, v, back mat.VecDense
		var chol mat.Cholesky
		if chol.Factorize(s) && chol.SolveVecTo(&of, mat.NewVecDense(n, seen)) == nil {
			heights.MulVec(shapes, &of)
			v.MulVec(mat.NewDense(bendNodes, len(t.pulled), b.root).T(), heights)
			if back.SolveVec(t.root.T(), &v) == nil {
				adjust.SubVec(adjust, &back)
			}
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
