package vision

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"shadowread/internal/calib"
	"shadowread/internal/sheet"
)

// What the ghost of a second frame is told by.
const (
	// It is looked for every ghostStep px inwards from a mark's edge for half a module, but
	// ghostSteps times at most: a telephone sets its frames over one another better than that.
	// ghostLeast places tell: half as many as four marks have.
	ghostStep, ghostSteps = 0.5, 10
	ghostLeast            = leastMarks * edgesOfMark * perEdge / 2
	// From ghostSure on the edges that face it within the cosine ghostFacing are left out of the map:
	// half light has no place where it is half as light.
	ghostSure, ghostFacing = 0.1, 0.3
)

// ghost is a direction in the picture, and by how much lighter, as a part of the ink's depth, what
// is dark is just within those of its edges that face there than within those that face the other way.
//
// A telephone that takes dark places from two frames displaced against each other leaves half light
// along all edges that face one way, of ink as of shadows, and none along the others.
type ghost struct{ u, v float64 }

// along is the ghost's part in a direction of the picture, a unit vector.
func (h ghost) along(u, v float64) float64 { return h.u*u + h.v*v }

// sure reports whether there is one: half light has no place where it is half as light.
func (h ghost) sure() bool { return math.Hypot(h.u, h.v) >= ghostSure }

// ghostOf finds the ghost by the marks' edges, where they differ most; none where the
// marks do not tell.
func ghostOf(g *Gray, edges []edgeProfile, project projector) (most ghost) {
	var sums [ghostSteps]ghostSum
	var room [ghostSteps]float64
	for i := range edges {
		e := &edges[i]
		for j, v := range e.inkWithin(g, project, room[:0]) {
			sums[j].add(e.nu, e.nv, v)
		}
	}
	for j := range sums {
		if sums[j].n < ghostLeast {
			break
		}
		if h := sums[j].solve(); math.Hypot(h.u, h.v) > math.Hypot(most.u, most.v) {
			most = h
		}
	}
	return most
}

// ghostSum collects the light within edges for its regression on their normals.
type ghostSum struct {
	n      float64
	a      [3 * 3]float64
	rights [3]float64
}

func (s *ghostSum) add(nu, nv, light float64) {
	s.n++
	row := [3]float64{1, nu, nv}
	for i, x := range row {
		for j, y := range row {
			s.a[3*i+j] += x * y
		}
		s.rights[i] += x * light
	}
}

func (s *ghostSum) solve() ghost {
	var x mat.VecDense
	if x.SolveVec(mat.NewDense(3, 3, s.a[:]), mat.NewVecDense(3, s.rights[:])) != nil {
		return ghost{}
	}
	return ghost{2 * x.AtVec(1), 2 * x.AtVec(2)}
}

// inkWithin appends the light inwards from a mark's edge, every ghostStep px to the middle of its
// black module: 0 is that of the ink there, 1 that of the paper as far outside.
func (e *edgeProfile) inkWithin(g *Gray, project projector, within []float64) []float64 {
	edge, ok := e.crossing(0)
	if !ok {
		return nil
	}
	in := project(sheet.Point{X: e.at.X + e.along.Y*e.module, Y: e.at.Y - e.along.X*e.module})
	half := ((e.q.U-in.U)*e.nu + (e.q.V-in.V)*e.nv) / 2
	if !g.contains(edge, half+2) {
		return nil
	}
	light := func(inwards float64) float64 { return g.light(edge.U-inwards*e.nu, edge.V-inwards*e.nv) }
	ink, paper := light(half), light(-half)
	if !(paper > inkRatio*ink) {
		return nil
	}
	for j := range ghostSteps {
		x := ghostStep * float64(j+1)
		if x > half {
			break
		}
		within = append(within, (light(x)-ink)/(paper-ink))
	}
	return within
}

// withoutGhost leaves out the samples of edges that a ghost blurs.
func withoutGhost(h ghost, samples []calib.Sample, project projector) []calib.Sample {
	if !h.sure() {
		return samples
	}
	size := math.Hypot(h.u, h.v)
	kept := make([]calib.Sample, 0, len(samples))
	for _, s := range samples {
		q := project(s.At)
		t := project(sheet.Point{X: s.At.X + s.Along.X*alongTo, Y: s.At.Y + s.Along.Y*alongTo})
		tu, tv := t.U-q.U, t.V-q.V
		if h.along(tv, -tu) < ghostFacing*size*math.Hypot(tu, tv) {
			kept = append(kept, s)
		}
	}
	return kept
}
