package vision

import (
	"image"
	"math"
	"slices"

	"gocv.io/x/gocv"
	"gonum.org/v1/gonum/stat"

	"shadowread/internal/calib"
	"shadowread/internal/fault"
	"shadowread/internal/sheet"
)

// FlatView is one picture of a flat pattern: places on it, mm, and where each was
// seen, px.
type FlatView struct {
	On   []sheet.Point
	Seen []calib.Pixel
}

// CameraSolution is what OpenCV's solver makes of a set of views.
type CameraSolution struct {
	Lens  calib.Lens // F is the focal length along the rows
	Fy    float64    // px, along the columns; equal to Lens.F for square pixels
	RMSPx float64    // root mean square distance of the points from the model, px
	Poses []calib.Pose
}

// cv::CALIB_FIX_ASPECT_RATIO of calib3d.hpp. The names that the binding exports are
// those of the fisheye module, whose bits mean other things.
const calibFixAspectRatio gocv.CalibFlag = 2

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

// SolveCamera runs OpenCV's planar calibration (calibrateCamera; Zhang, PAMI 22(11),
// 2000) for all five terms of distortion on pictures of width x height px. With
// square pixels fx and fy are one parameter.
//
// It fails with code "lens_undetermined" for points that OpenCV would stop the
// program on or that have no solution.
func SolveCamera(views []FlatView, width, height int, square bool) (CameraSolution, error) {
	var out CameraSolution
	undetermined := func(why string) (CameraSolution, error) {
		return CameraSolution{}, fault.New("lens_undetermined", "take more photos of the sheet from different sides", "%s", why)
	}
	if len(views) < 3 || width <= 0 || height <= 0 {
		return undetermined("fewer than three views do not determine a lens")
	}
	on, seen := make([][]gocv.Point3f, len(views)), make([][]gocv.Point2f, len(views))
	for i, v := range views {
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
			on[i] = append(on[i], gocv.Point3f{X: float32(p.X), Y: float32(p.Y)})
			seen[i] = append(seen[i], gocv.Point2f{X: float32(q.U), Y: float32(q.V)})
		}
	}
	objects, images := gocv.NewPoints3fVectorFromPoints(on), gocv.NewPoints2fVectorFromPoints(seen)
	defer objects.Close()
	defer images.Close()
	k := gocv.Eye(3, 3, gocv.MatTypeCV64F)
	defer k.Close()
	d, rvecs, tvecs := gocv.NewMat(), gocv.NewMat(), gocv.NewMat()
	defer d.Close()
	defer rvecs.Close()
	defer tvecs.Close()
	var flags gocv.CalibFlag
	if square {
		flags = calibFixAspectRatio
	}
	out.RMSPx = gocv.CalibrateCamera(objects, images, image.Pt(width, height), &k, &d, &rvecs, &tvecs, flags)
	// OpenCV counts k1 k2 p1 p2 k3, in a row or a column.
	dist := func(i int) float64 {
		if d.Rows() == 1 {
			return d.GetDoubleAt(0, i)
		}
		return d.GetDoubleAt(i, 0)
	}
	out.Lens = calib.Lens{
		F: k.GetDoubleAt(0, 0), Cx: k.GetDoubleAt(0, 2), Cy: k.GetDoubleAt(1, 2),
		K1: dist(0), K2: dist(1), P1: dist(2), P2: dist(3), K3: dist(4),
	}
	out.Fy = k.GetDoubleAt(1, 1)
	sum := out.RMSPx + out.Lens.F + out.Lens.Cx + out.Lens.Cy + dist(0) + dist(1) + dist(2) + dist(3) + dist(4)
	for i := range views {
		r, t := rvecs.GetVecdAt(i, 0), tvecs.GetVecdAt(i, 0)
		pose := calib.Pose{R: calib.Rodrigues([3]float64{r[0], r[1], r[2]}), T: [3]float64{t[0], t[1], t[2]}}
		out.Poses = append(out.Poses, pose)
		sum += r[0] + r[1] + r[2] + t[0] + t[1] + t[2]
	}
	if math.IsNaN(sum) || math.IsInf(sum, 0) || out.Lens.F <= 0 {
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
// fit has found.
func SheetPoints(g *Gray, s *sheet.Sheet, p *FoundSheet) (samples []calib.Sample, corners []SheetCorner) {
	for _, m := range s.Marks {
		if !slices.Contains(p.Marks, m.ID) {
			continue
		}
		e := edgeSamples(g, m, p.ProjectDrawing, edgesOfMark*m.ID)
		samples = append(samples, e...)
		corners = append(corners, markCorners(p, m, e)...)
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
