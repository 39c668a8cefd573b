package vision

import (
	"math"

	"shadowread/internal/calib"
	"shadowread/internal/sheet"
)

// What the ghost of a second frame is told by.
const (
	// Of a mark's edges those tell that face the strip's sides within 45 degrees, at ghostPlaces
	// places each, every ghostStep px inwards for half a module, but for ghostMost px at most: a
	// telephone sets its frames over one another better than that.
	facing                = 0.7 // cosine
	ghostPlaces           = 8
	ghostStep, ghostSteps = 0.5, 10
	ghostLeast            = 24 // places to each side, of three edges, that tell
)

// ghost is by how much lighter, as a part of the ink's depth, the printed marks are just within
// their edges that face the strip's left than within those that face its right, where they
// differ most; 0 where the marks do not tell.
//
// A telephone that takes dark places from two frames displaced against each other leaves half light
// along all edges that face one way, of ink as of shadows, and none along those that face the other.
func (f *stripFit) ghost() float64 {
	at := f.frame.at(scaleAt, 0)
	a, b := f.plate.Project(at), f.plate.Project(f.frame.at(scaleAt, -1))
	long := math.Hypot(b.U-a.U, b.V-a.V)
	lu, lv := (b.U-a.U)/long, (b.V-a.V)/long
	var sum, count [2][ghostSteps]float64 // of edges that face left and right
	for _, m := range f.sheet.Marks {
		corners := m.Corners()
		for i, c := range corners {
			n := corners[(i+1)%len(corners)]
			along := sheet.Point{X: (n.X - c.X) / m.Side, Y: (n.Y - c.Y) / m.Side}
			for k := range ghostPlaces {
				t := m.Side * (edgeFrom + (1-2*edgeFrom)*(float64(k)+0.5)/ghostPlaces)
				p := sheet.Point{X: c.X + t*along.X, Y: c.Y + t*along.Y}
				dark, nu, nv, ok := f.inkWithin(p, along, m.Side/markCells)
				side, cos := 0, nu*lu+nv*lv
				if cos < 0 {
					side = 1
				}
				if !ok || math.Abs(cos) < facing {
					continue
				}
				for j, v := range dark {
					sum[side][j] += v
					count[side][j]++
				}
			}
		}
	}
	most := 0.0
	for j := range ghostSteps {
		if min(count[0][j], count[1][j]) < ghostLeast {
			break
		}
		if d := sum[0][j]/count[0][j] - sum[1][j]/count[1][j]; math.Abs(d) > math.Abs(most) {
			most = d
		}
	}
	return most
}

// inkWithin is the light inwards from a mark's edge, every ghostStep px to the middle of its black
// module: 0 is that of the ink there, 1 that of the paper as far outside. (nu, nv) is the
// edge's outward normal in the picture.
func (f *stripFit) inkWithin(at, along sheet.Point, module float64) (within []float64, nu, nv float64, ok bool) {
	outward := sheet.Point{X: -along.Y, Y: along.X}
	edge, ok := crossing(f.g, at, along, outward, module, f.plate.ProjectDrawing)
	if !ok {
		return nil, 0, 0, false
	}
	in := f.plate.ProjectDrawing(sheet.Point{X: at.X - outward.X*module, Y: at.Y - outward.Y*module})
	ahead := f.plate.ProjectDrawing(sheet.Point{X: at.X + along.X*alongTo, Y: at.Y + along.Y*alongTo})
	q := f.plate.ProjectDrawing(at)
	tu, tv := ahead.U-q.U, ahead.V-q.V
	long := math.Hypot(tu, tv)
	nu, nv = tv/long, -tu/long
	half := ((q.U-in.U)*nu + (q.V-in.V)*nv) / 2
	light := func(inwards float64) float64 {
		return f.g.light(edge.U-inwards*nu, edge.V-inwards*nv)
	}
	if !f.g.contains(calib.Pixel{U: edge.U, V: edge.V}, half+2) {
		return nil, 0, 0, false
	}
	ink, paper := light(half), light(-half)
	for j := range ghostSteps {
		x := ghostStep * float64(j+1)
		if x > half {
			break
		}
		within = append(within, (light(x)-ink)/(paper-ink))
	}
	return within, nu, nv, paper > inkRatio*ink
}
