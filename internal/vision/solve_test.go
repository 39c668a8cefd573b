package vision

import (
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"shadowread/internal/calib"
	"shadowread/internal/fault"
	"shadowread/internal/pixels"
	"shadowread/internal/sheet"
	"shadowread/internal/testtable"
)

// The chessboard photos that come with OpenCV (samples/data/left01.jpg to
// left14.jpg, number 10 missing; 640 x 480 px, 9 x 6 inner corners) and what is
// published of them.
const boardColumns, boardRows, boardWidth, boardHeight = 9, 6, 640, 480

// publishedBoard is the output of OpenCV's samples/python/calibrate.py for them, as
// widely reprinted: corners by findChessboardCorners and cornerSubPix with window 5,
// 30 turns or 0.1 px.
var publishedBoard = struct{ fx, fy, cx, cy, k1, k2, p1, p2, k3 float64 }{
	532.79536562, 532.91928338, 342.4582516, 233.90060514,
	-0.281086258, 0.0272581018, 0.00121665908, -0.000134204275, 0.158514022,
}

// publishedRMS is from OpenCV's modules/python/test/test_calibration.py, which
// allows 0.01 px.
const publishedRMS = 0.196334638034

// eachSolver runs a test with OpenCV, if this build has it, and without.
func eachSolver(t *testing.T, test func(*testing.T)) {
	engines := pixels.Engines()
	defer pixels.Use(engines[0])
	for _, name := range engines {
		pixels.Use(name)
		t.Run(name, test)
	}
}

// loadBoard reads corners that OpenCV found in the photos of one side, "left" or "right"; the
// file's head tells how.
func loadBoard(t testing.TB, side string) map[string]FlatView {
	t.Helper()
	views := map[string]FlatView{}
	for _, row := range testtable.Read(t, "testdata/opencv-"+side+"-corners.csv") {
		b := views[row["photo"]]
		b.On = append(b.On, sheet.Point{X: row.Number(t, "x"), Y: row.Number(t, "y")})
		b.Seen = append(b.Seen, calib.Pixel{U: row.Number(t, "u"), V: row.Number(t, "v")})
		views[row["photo"]] = b
	}
	return views
}

func list(views map[string]FlatView) (all []FlatView) {
	for _, name := range slices.Sorted(maps.Keys(views)) {
		all = append(all, views[name])
	}
	return all
}

func checkBoard(t *testing.T, s CameraSolution) {
	t.Helper()
	if d := s.RMSPx - publishedRMS; math.Abs(d) > 0.01 { // the published test's own bar
		t.Errorf("rms %.6f px, published %.6f", s.RMSPx, publishedRMS)
	}
	w := publishedBoard
	// The published test allows 10 px over the whole matrix and 0.001 over all terms
	// of distortion; other builds of OpenCV differ by a hundredth of a pixel.
	for _, c := range []struct {
		name           string
		got, want, tol float64
	}{
		{"fx", s.Lens.F, w.fx, 0.05}, {"fy", s.Fy, w.fy, 0.05}, {"cx", s.Lens.Cx, w.cx, 0.05}, {"cy", s.Lens.Cy, w.cy, 0.05},
		{"k1", s.Lens.K1, w.k1, 0.0002}, {"k2", s.Lens.K2, w.k2, 0.0002}, {"k3", s.Lens.K3, w.k3, 0.0002},
		{"p1", s.Lens.P1, w.p1, 0.0002}, {"p2", s.Lens.P2, w.p2, 0.0002},
	} {
		if math.Abs(c.got-c.want) > c.tol {
			t.Errorf("%s %.6f, published %.6f", c.name, c.got, c.want)
		}
	}
}

func TestSolveCameraOnPublishedCorners(t *testing.T) { eachSolver(t, solvesPublishedCorners) }

func solvesPublishedCorners(t *testing.T) {
	views := list(loadBoard(t, "left"))
	if len(views) != 13 {
		t.Fatalf("%d views, want 13", len(views))
	}
	s, err := SolveCamera(views, boardWidth, boardHeight, false)
	if err != nil {
		t.Fatal(err)
	}
	checkBoard(t, s)

	// With square pixels the one focal length lies between the two.
	s, err = SolveCamera(views, boardWidth, boardHeight, true)
	if err != nil {
		t.Fatal(err)
	}
	if s.Lens.F != s.Fy || s.Lens.F < 532.5 || s.Lens.F > 533.2 {
		t.Errorf("square pixels: fx %.4f fy %.4f", s.Lens.F, s.Fy)
	}
	// The poses are those of our own convention: projecting with them gives the rms.
	sum, n := 0.0, 0
	for i, v := range views {
		p := calib.Plate{Lens: s.Lens, Pose: s.Poses[i]}
		for j, at := range v.On {
			q := p.Project(at)
			sum += (q.U-v.Seen[j].U)*(q.U-v.Seen[j].U) + (q.V-v.Seen[j].V)*(q.V-v.Seen[j].V)
			n++
		}
	}
	if rms := math.Sqrt(sum / float64(n)); math.Abs(rms-s.RMSPx) > 1e-4 { // px; single precision of the points
		t.Errorf("rms by our projection %.6f px, OpenCV's %.6f", rms, s.RMSPx)
	}
}

func TestSolveCameraRefuses(t *testing.T) { eachSolver(t, refusesViews) }

func refusesViews(t *testing.T) {
	good := list(loadBoard(t, "left"))
	bent := func(f func(*FlatView)) []FlatView {
		v := FlatView{On: append([]sheet.Point(nil), good[0].On...), Seen: append([]calib.Pixel(nil), good[0].Seen...)}
		f(&v)
		return append([]FlatView{v}, good[1:]...)
	}
	for _, tt := range []struct {
		name  string
		views []FlatView
	}{
		{"none", nil},
		{"two", good[:2]},
		{"few points", bent(func(v *FlatView) { v.On, v.Seen = v.On[:7], v.Seen[:7] })},
		{"unequal", bent(func(v *FlatView) { v.On = v.On[:20] })},
		{"on a line", bent(func(v *FlatView) { v.On, v.Seen = v.On[:9], v.Seen[:9] })},
		{"one place", bent(func(v *FlatView) {
			for i := range v.Seen {
				v.Seen[i] = v.Seen[0]
			}
		})},
		{"not a number", bent(func(v *FlatView) { v.Seen[3].U = math.NaN() })},
	} {
		if _, err := SolveCamera(tt.views, boardWidth, boardHeight, true); fault.Code(err) != "lens_undetermined" {
			t.Errorf("%s: %v", tt.name, err)
		}
	}
}

// lineViews writes each point as two lines through it, along the rows and along the
// columns of the pattern, mm: what the joint adjustment takes.
func lineViews(views []FlatView, poses []calib.Pose, mm float64) (out []calib.View) {
	for i, v := range views {
		w := calib.View{Pose: poses[i]}
		for k := range w.Pose.T {
			w.Pose.T[k] *= mm
		}
		for j, p := range v.On {
			at := sheet.Point{X: p.X * mm, Y: p.Y * mm}
			for _, along := range []sheet.Point{{X: 1}, {Y: 1}} {
				w.Samples = append(w.Samples, calib.Sample{At: at, Along: along, Seen: v.Seen[j], Group: j})
			}
		}
		out = append(out, w)
	}
	return out
}

// openPrior leaves the lens to the views and holds print and sheet to what they are
// drawn as.
func openPrior(width, height int) calib.Prior {
	p := calib.UnknownLens(width, height, 0)
	p.LogF, p.Centre, p.K1, p.K2, p.K3, p.Decentring = 1, 0.1*float64(width), 1, 2, 2, 0.01
	return p
}

func TestJointAdjustmentOnPublishedCorners(t *testing.T) {
	views := list(loadBoard(t, "left"))
	s, err := SolveCamera(views, boardWidth, boardHeight, true)
	if err != nil {
		t.Fatal(err)
	}
	f, err := calib.FitViews(lineViews(views, s.Poses, 25), s.Lens, openPrior(boardWidth, boardHeight))
	if err != nil {
		t.Fatal(err)
	}
	// Both use the same corners, so that they differ by how they weigh them: OpenCV
	// takes all alike, the adjustment lowers outliers and views that scatter more.
	// That moves each parameter by a part of its sigma; the published values, found
	// with fx and fy apart, lie as near.
	g, w := f.Sigma, publishedBoard
	for _, c := range []struct {
		name                           string
		got, opencv, published, oneSig float64
	}{
		{"f", f.Lens.F, s.Lens.F, (w.fx + w.fy) / 2, g.F}, {"cx", f.Lens.Cx, s.Lens.Cx, w.cx, g.Cx}, {"cy", f.Lens.Cy, s.Lens.Cy, w.cy, g.Cy},
		{"k1", f.Lens.K1, s.Lens.K1, w.k1, g.K1}, {"k2", f.Lens.K2, s.Lens.K2, w.k2, g.K2}, {"k3", f.Lens.K3, s.Lens.K3, w.k3, g.K3},
		{"p1", f.Lens.P1, s.Lens.P1, w.p1, g.P1}, {"p2", f.Lens.P2, s.Lens.P2, w.p2, g.P2},
	} {
		if math.Abs(c.got-c.opencv) > 2*c.oneSig || math.Abs(c.got-c.published) > 2*c.oneSig {
			t.Errorf("%s %.5f ± %.5f, OpenCV %.5f, published %.5f", c.name, c.got, c.oneSig, c.opencv, c.published)
		}
	}
	// Linear least squares on 13 views with 0.2 px of noise leaves a focal length of
	// 533 px to about half a pixel; a tenth or ten times would be a wrong covariance.
	if g.F < 0.25 || g.F > 1 {
		t.Errorf("sigma of f %.3f px", g.F)
	}
}

// squareByOpenCV is what OpenCV 4.6.0 (calibrateCamera, fixed aspect ratio) makes of the stored
// corners.
var squareByOpenCV = map[string]calib.Lens{
	"left":  {F: 532.722356, K1: -0.2805571, K2: 0.0243638, K3: 0.1621742, P1: 0.00124879, P2: -0.00018353},
	"right": {F: 536.981178, K1: -0.2977497, K2: 0.1462081, K3: -0.0624580, P1: -0.00077293, P2: -0.00010232},
}

// A start of our own must lead the joint adjustment to where OpenCV's leads it: of two real
// cameras, focal length within 0.2 per cent of OpenCV's own and each term of distortion within
// one and a half of its sigmas.
func TestJointAdjustmentFromOurOwnStart(t *testing.T) {
	engines := pixels.Engines()
	defer pixels.Use(engines[0])
	pixels.Use(pixels.PlainGo)
	for side, w := range squareByOpenCV {
		views := list(loadBoard(t, side))
		s, err := SolveCamera(views, boardWidth, boardHeight, true)
		if err != nil {
			t.Fatal(err)
		}
		f, err := calib.FitViews(lineViews(views, s.Poses, 25), s.Lens, openPrior(boardWidth, boardHeight))
		if err != nil {
			t.Fatal(err)
		}
		g := f.Sigma
		for _, c := range []struct {
			name                       string
			start, joint, opencv, most float64
		}{
			{"f", s.Lens.F, f.Lens.F, w.F, 0.002 * w.F},
			{"k1", s.Lens.K1, f.Lens.K1, w.K1, 1.5 * g.K1}, {"k2", s.Lens.K2, f.Lens.K2, w.K2, 1.5 * g.K2}, {"k3", s.Lens.K3, f.Lens.K3, w.K3, 1.5 * g.K3},
			{"p1", s.Lens.P1, f.Lens.P1, w.P1, 1.5 * g.P1}, {"p2", s.Lens.P2, f.Lens.P2, w.P2, 1.5 * g.P2},
		} {
			if math.Abs(c.start-c.opencv) > c.most || math.Abs(c.joint-c.opencv) > c.most {
				t.Errorf("%s camera, %s: %.6f, jointly %.6f; OpenCV %.6f, at most %.6f off", side, c.name, c.start, c.joint, c.opencv, c.most)
			}
		}
	}
}

// An exception of OpenCV's would end the program: random points must come to a
// solution or an error.
func TestSolveCameraSurvivesGarbage(t *testing.T) { eachSolver(t, survivesGarbage) }

func survivesGarbage(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 7))
	for i := range 40 {
		size := math.Pow(10, 12*r.Float64()-3)
		var views []FlatView
		for range 3 + r.IntN(5) {
			var v FlatView
			for range 8 + r.IntN(20) {
				v.On = append(v.On, sheet.Point{X: float64(r.IntN(9)), Y: float64(r.IntN(6)) * math.Pow(10, -6*r.Float64()*float64(i%2))})
				v.Seen = append(v.Seen, calib.Pixel{U: size * r.NormFloat64(), V: size * r.NormFloat64()})
			}
			views = append(views, v)
		}
		s, err := SolveCamera(views, 1+r.IntN(4000), 1+r.IntN(3000), i%3 > 0)
		if err == nil && !(s.RMSPx >= 0 && s.Lens.F > 0) || err != nil && fault.Code(err) != "lens_undetermined" {
			t.Errorf("%+v %v", s, err)
		}
	}
}

// OpenCV's solver, given the same corners in the picture turned left to right, must
// come to the lens that Mirrored states.
func TestMirroredLensAgainstOpenCV(t *testing.T) {
	views := list(loadBoard(t, "left"))
	straight, err := SolveCamera(views, boardWidth, boardHeight, true)
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range views {
		var m FlatView
		for j := range v.On { // the board is turned over too, so that its map stays a view from the front
			m.On = append(m.On, sheet.Point{X: -v.On[j].X, Y: v.On[j].Y})
			m.Seen = append(m.Seen, calib.Pixel{U: boardWidth - 1 - v.Seen[j].U, V: v.Seen[j].V})
		}
		views[i] = m
	}
	turned, err := SolveCamera(views, boardWidth, boardHeight, true)
	if err != nil {
		t.Fatal(err)
	}
	want, got := straight.Lens.Mirrored(boardWidth), turned.Lens
	for _, c := range []struct {
		name           string
		got, want, tol float64 // far below each parameter's sigma: where the solver stops
	}{
		{"f", got.F, want.F, 0.02}, {"cx", got.Cx, want.Cx, 0.02}, {"cy", got.Cy, want.Cy, 0.02},
		{"k1", got.K1, want.K1, 1e-4}, {"k2", got.K2, want.K2, 1e-3}, {"k3", got.K3, want.K3, 2e-3},
		{"p1", got.P1, want.P1, 2e-6}, {"p2", got.P2, want.P2, 2e-6},
	} {
		if math.Abs(c.got-c.want) > c.tol {
			t.Errorf("%s %.6f, want %.6f", c.name, c.got, c.want)
		}
	}
}
