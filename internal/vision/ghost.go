package vision

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"shadowread/internal/calib"
	"shadowread/internal/sheet"
)

// What the ghost of a second frame is told by.
const (
	// A mark's edges are looked at in ghostPlaces places each, every ghostStep px inwards for half a
	// module, but ghostSteps times at most: a telephone sets its frames over one another better
	// than that. ghostLeast places tell, of four marks.
	ghostPlaces           = 8
	ghostStep, ghostSteps = 0.5, 10
	ghostLeast            = 4 * edgesOfMark * ghostPlaces
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

// ghostOfMarks finds the ghost by the marks' edges, where they differ most; none where the
// marks do not tell.
func ghostOfMarks(g *Gray, s *sheet.Sheet, project projector) (most ghost) {
	var sums [ghostSteps]ghostSum
	for _, m := range s.Marks {
		corners := m.Corners()
		for i, c := range corners {
			n := corners[(i+1)%len(corners)]
			along := sheet.Point{X: (n.X - c.X) / m.Side, Y: (n.Y - c.Y) / m.Side}
			for k := range ghostPlaces {
				t := m.Side * (edgeFrom + (1-2*edgeFrom)*(float64(k)+0.5)/ghostPlaces)
				p := sheet.Point{X: c.X + t*along.X, Y: c.Y + t*along.Y}
				within, nu, nv := inkWithin(g, p, along, m.Side/markCells, project)
				for j, v := range within {
					sums[j].add(nu, nv, v)
				}
			}
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

// inkWithin is the light inwards from a mark's edge, every ghostStep px to the middle of its black
// module: 0 is that of the ink there, 1 that of the paper as far outside. (nu, nv) is the
// edge's outward normal in the picture.
func inkWithin(g *Gray, at, along sheet.Point, module float64, project projector) (within []float64, nu, nv float64) {
	outward := sheet.Point{X: -along.Y, Y: along.X}
	e := edgeProfile{at: at, along: along}
	if !e.across(g, outward, module, project) {
		return nil, 0, 0
	}
	edge, ok := e.crossing(0)
	if !ok {
		return nil, 0, 0
	}
	nu, nv = e.nu, e.nv
	in := project(sheet.Point{X: at.X - outward.X*module, Y: at.Y - outward.Y*module})
	half := ((e.q.U-in.U)*nu + (e.q.V-in.V)*nv) / 2
	if !g.contains(edge, half+2) {
		return nil, 0, 0
	}
	light := func(inwards float64) float64 { return g.light(edge.U-inwards*nu, edge.V-inwards*nv) }
	ink, paper := light(half), light(-half)
	if !(paper > inkRatio*ink) {
		return nil, 0, 0
	}
	within = make([]float64, 0, ghostSteps)
	for j := range ghostSteps {
		x := ghostStep * float64(j+1)
		if x > half {
			break
		}
		within = append(within, (light(x)-ink)/(paper-ink))
	}
	return within, nu, nv
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
