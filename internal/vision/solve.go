package vision

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"shadowread/internal/calib"
	"shadowread/internal/fault"
	"shadowread/internal/pixels"
	"shadowread/internal/sheet"
)

// FlatView is one picture of a flat pattern: places on it, mm, and where each was
// seen, px.
type FlatView = pixels.FlatView

// CameraSolution is what a solver makes of a set of views.
type CameraSolution = pixels.CameraSolution

// leastViewPoints is the fewest points of one view: eight numbers pin its map from
// the plane, and as many again speak for the lens.
const leastViewPoints = 8

// How a mark's corners are found by its edges.
const (
	// An edge's samples take part within offLimit px, or offSigmas of the map's scatter, of
	// their median; leastOfEdge of them must, and three quarters.
	offLimit, offSigmas = 1, 6
	leastOfEdge         = 6
	leastCross          = 0.3 // sine of the angle of two edges: under 18 degrees they pin no corner
	alongEdge           = 0.1 // mm along an edge to a second place, which tells how it runs
)

// SolveCamera runs a planar calibration (OpenCV's calibrateCamera where that is to be had;
// Zhang, PAMI 22(11), 2000) for all five terms of distortion on pictures of width x height
// px. With square pixels fx and fy are one parameter.
//
// It fails with code "lens_undetermined" for points that OpenCV would stop the
// program on or that have no solution.
func SolveCamera(views []FlatView, width, height int, square bool) (CameraSolution, error) {
	undetermined := func(why string) (CameraSolution, error) {
		return CameraSolution{}, fault.New("lens_undetermined", "take more photos of the sheet from different sides", "%s", why)
	}
	if len(views) < 3 || width <= 0 || height <= 0 {
		return undetermined("fewer than three views do not determine a lens")
	}
	for _, v := range views {
		if len(v.On) != len(v.Seen) || len(v.On) < leastViewPoints {
			return undetermined("a view has too few points")
		}
		if _, ok := calib.FitHomography(v.On, v.Seen); !ok {
			return undetermined("a view's points lie on one line")
		}
		for j, p := range v.On {
			q := v.Seen[j]
			if s := p.X + p.Y + q.U + q.V; math.IsNaN(s) || math.IsInf(s, 0) {
				return undetermined("a view has a point at no finite place")
			}
		}
	}
	out, ok := pixels.SolveFlat(views, width, height, square)
	l := out.Lens
	sum := out.RMSPx + l.F + out.Fy + l.Cx + l.Cy + l.K1 + l.K2 + l.K3 + l.P1 + l.P2
	for _, p := range out.Poses {
		for i := range 3 {
			sum += p.R[i][0] + p.R[i][1] + p.R[i][2] + p.T[i]
		}
	}
	if !ok || math.IsNaN(sum) || math.IsInf(sum, 0) || l.F <= 0 {
		return undetermined("no lens explains the views")
	}
	return out, nil
}

// SheetCorner is the outer corner of a mark, found where two of its edges meet.
type SheetCorner struct {
	Mark int // id
	At   sheet.Point
	Seen calib.Pixel
}

// SheetPoints measures what one picture says about its lens: samples of the marks'
// edges and the ticks as in FindSheet, and the corners of the marks. Pixels are
// those of g. The corners are put right for the drawing-in of ink that the plate's
// fit has found. Edges that a ghost blurs, and the corners on them, are left out.
func SheetPoints(g *Gray, s *sheet.Sheet, p *FoundSheet) (samples []calib.Sample, corners []SheetCorner) {
	var edges []edgeProfile
	for _, m := range s.Marks {
		if slices.Contains(p.Marks, m.ID) {
			edges = edgesOf(edges, g, m, p.ProjectDrawing, perEdge)
		}
	}
	samples = withoutGhost(ghostOf(g, edges, p.ProjectDrawing), samplesOf(edges), p.ProjectDrawing)
	for _, m := range s.Marks {
		if slices.Contains(p.Marks, m.ID) {
			corners = append(corners, markCorners(p, m, samples)...)
		}
	}
	return append(samples, tickSamples(g, s, p.Fit)...), corners
}

// lineOff is a straight line through the distances of an edge's samples from where
// the map has them, outward, against the place along the edge: 0 at its first
// corner, 1 at the second.
type lineOff struct {
	a, b float64
	ok   bool
}

// markCorners intersects a mark's edges. The samples' distances from the map are
// used, not the samples, so that a lens that bends the edges does not move their
// crossing.
func markCorners(p *FoundSheet, m sheet.Mark, samples []calib.Sample) (found []SheetCorner) {
	corners := m.Corners()
	var off [4]lineOff
	for i := range off {
		var along, dist []float64
		for _, s := range samples {
			if s.Group != edgesOfMark*m.ID+i {
				continue
			}
			q, nu, nv := edgeNormal(p, s.At, s.Along)
			along = append(along, math.Hypot(s.At.X-corners[i].X, s.At.Y-corners[i].Y)/m.Side)
			dist = append(dist, nu*(s.Seen.U-q.U)+nv*(s.Seen.V-q.V)+p.Shrink)
		}
		off[i] = fitOff(along, dist, max(offLimit, offSigmas*p.SigmaPx))
	}
	for i, c := range corners {
		before, after := (i+3)%4, i // the edges that end and begin here
		if !off[before].ok || !off[after].ok {
			continue
		}
		n := corners[(i+1)%4]
		b := corners[before]
		q, au, av := edgeNormal(p, c, sheet.Point{X: (n.X - c.X) / m.Side, Y: (n.Y - c.Y) / m.Side})
		_, bu, bv := edgeNormal(p, c, sheet.Point{X: (c.X - b.X) / m.Side, Y: (c.Y - b.Y) / m.Side})
		det := au*bv - av*bu
		if math.Abs(det) < leastCross {
			continue
		}
		da, db := off[after].a, off[before].a+off[before].b
		seen := calib.Pixel{U: q.U + (da*bv-db*av)/det, V: q.V + (au*db-bu*da)/det}
		found = append(found, SheetCorner{Mark: m.ID, At: c, Seen: seen})
	}
	return found
}

// edgeNormal returns where the map has a point of the drawing and the unit normal
// there, in pixels, of the printed line along; ink is on the line's right, the
// normal points away from it.
func edgeNormal(p *FoundSheet, at, along sheet.Point) (q calib.Pixel, nu, nv float64) {
	q = p.ProjectDrawing(at)
	e := p.ProjectDrawing(sheet.Point{X: at.X + alongEdge*along.X, Y: at.Y + alongEdge*along.Y})
	du, dv := e.U-q.U, e.V-q.V
	l := math.Hypot(du, dv)
	return q, dv / l, -du / l
}

// fitOff fits a line by least squares to the samples that lie within limit px of
// their median; three quarters must.
func fitOff(along, dist []float64, limit float64) (l lineOff) {
	if len(dist) < leastOfEdge {
		return l
	}
	sorted := slices.Clone(dist)
	slices.Sort(sorted)
	middle := sorted[len(sorted)/2]
	if math.Abs(middle) > limit {
		return l
	}
	var xs, ys []float64
	for i, d := range dist {
		if math.Abs(d-middle) <= limit {
			xs, ys = append(xs, along[i]), append(ys, d)
		}
	}
	if 4*len(xs) < 3*len(dist) {
		return l
	}
	l.a, l.b = stat.LinearRegression(xs, ys, nil, false)
	l.ok = true
	return l
}
