package calib

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// testPlate is a phone-like camera over the sheet: tilted off the normal, turned,
// with the lens terms given.
func testPlate(tilt, dir, roll angle.Angle, distance float64, lens Lens) Plate {
	// The camera's axis points at the foot from the given direction.
	away := [3]float64{tilt.Sin() * dir.Sin(), tilt.Sin() * dir.Cos(), tilt.Cos()}
	z := [3]float64{-away[0], -away[1], -away[2]}
	x := unit(cross(z, [3]float64{roll.Sin(), roll.Cos(), 0.01}))
	y := cross(z, x)
	p := Plate{Lens: lens, Pose: Pose{R: [3][3]float64{x, y, z}}}
	p.Pose.T = [3]float64{0, 0, distance}
	return p
}

var phone = Lens{F: 1600, Cx: 1004, Cy: 745, K1: 0.06, K2: -0.14, K3: 0.06, P1: 0.0003, P2: -0.0004}

func TestProjectionAndItsInverse(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 300 {
		lens := phone
		lens.K1, lens.K2, lens.K3 = 0.35*(r.Float64()-0.7), 0.1*r.Float64(), 0
		p := testPlate(angle.Angle(r.Float64()), angle.Angle(6*r.Float64()), angle.Angle(6*r.Float64()), 300+200*r.Float64(), lens)
		p.Curl = Curl{XX: 2e-5 * r.NormFloat64(), XY: 2e-5 * r.NormFloat64(), YY: 2e-5 * r.NormFloat64()}
		s := sheet.Point{X: 80 * (2*r.Float64() - 1), Y: 80 * (2*r.Float64() - 1)}
		q := p.Project(s)
		back, ok := p.Unproject(q)
		// 1e-4 mm is a hundredth of what any edge is measured to.
		if !ok || math.Hypot(back.X-s.X, back.Y-s.Y) > 1e-4 {
			t.Errorf("Unproject(Project(%v)) = %v, %v with %+v", s, back, ok, p)
		}
	}
}

// The independent renderer's photos state camera, marks and foot in pixels; its lens
// model is that of OpenCV's calib3d.
func TestProjectAgreesWithAnIndependentRenderer(t *testing.T) {
	var truths []struct {
		File   string `json:"file"`
		Camera struct {
			F    float64       `json:"fx_px"`
			Cx   float64       `json:"cx_px"`
			Cy   float64       `json:"cy_px"`
			Dist [5]float64    `json:"dist_k1_k2_p1_p2_k3"`
			R    [3][3]float64 `json:"rotation_plate_to_camera"`
			T    [3]float64    `json:"translation_mm"`
		} `json:"camera"`
		Sheet struct {
			Curl float64 `json:"curl_mm"`
		} `json:"sheet"`
		Marks []struct {
			ID      int           `json:"id"`
			Corners [4][2]float64 `json:"corners_px"`
		} `json:"marks"`
	}
	data, err := os.ReadFile("../../fixtures/independent/truth.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, &truths); err != nil {
		t.Fatal(err)
	}
	checked := 0
	for _, tr := range truths {
		if tr.Sheet.Curl != 0 {
			continue
		}
		c := tr.Camera
		p := Plate{Lens: Lens{F: c.F, Cx: c.Cx, Cy: c.Cy, K1: c.Dist[0], K2: c.Dist[1], P1: c.Dist[2], P2: c.Dist[3], K3: c.Dist[4]}, Pose: Pose{R: c.R, T: c.T}}
		for _, m := range tr.Marks {
			for _, s := range sheet.Standard.Marks {
				if s.ID != m.ID {
					continue
				}
				for k, corner := range s.Corners() {
					q := p.Project(corner)
					// The truth is printed to 1e-4 px.
					if d := math.Hypot(q.U-m.Corners[k][0], q.V-m.Corners[k][1]); d > 0.001 {
						t.Errorf("%s mark %d corner %d: %.4f px off", tr.File, m.ID, k, d)
					}
					checked++
				}
			}
		}
	}
	if checked < 48 {
		t.Fatalf("only %d corners checked", checked)
	}
}

// edgeSamples are what a perfect edge finder with normal scatter would see of p.
func edgeSamples(r *rand.Rand, p *Plate, marks []sheet.Mark, sigma, shrink float64) []Sample {
	var out []Sample
	for g, m := range marks {
		corners := m.Corners()
		for i := range 4 {
			a, b := corners[i], corners[(i+1)%4]
			along := sheet.Point{X: (b.X - a.X) / m.Side, Y: (b.Y - a.Y) / m.Side}
			for j := range 16 {
				f := 0.1 + 0.8*float64(j)/15
				at := sheet.Point{X: a.X + f*(b.X-a.X), Y: a.Y + f*(b.Y-a.Y)}
				q := p.ProjectDrawing(at)
				n := p.ProjectDrawing(sheet.Point{X: at.X - 0.1*along.Y, Y: at.Y + 0.1*along.X})
				l := math.Hypot(n.U-q.U, n.V-q.V)
				d := sigma*r.NormFloat64() - shrink
				q.U, q.V = q.U+d*(n.U-q.U)/l, q.V+d*(n.V-q.V)/l
				out = append(out, Sample{At: at, Along: along, Seen: q, Ink: 1, Group: 4*g + i})
			}
		}
	}
	return out
}

func startOf(t *testing.T, p *Plate, marks ...sheet.Mark) Homography {
	t.Helper()
	if marks == nil {
		marks = sheet.Standard.Marks
	}
	var from []sheet.Point
	var to []Pixel
	for _, m := range marks {
		for _, c := range m.Corners() {
			from, to = append(from, c), append(to, p.ProjectDrawing(c))
		}
	}
	h, ok := FitHomography(from, to)
	if !ok {
		t.Fatal("no homography")
	}
	return h
}

// direction is that of a shadow from 6 to 50 mm whose ends stand at the pixels where
// the true plate shows them.
func direction(truth *Plate, dir angle.Angle) func(*Plate) float64 {
	a := truth.Project(sheet.Point{X: 6 * dir.Sin(), Y: 6 * dir.Cos()})
	b := truth.Project(sheet.Point{X: 50 * dir.Sin(), Y: 50 * dir.Cos()})
	return func(p *Plate) float64 {
		s, _ := p.Unproject(a)
		e, _ := p.Unproject(b)
		return float64((angle.Clockwise(e.X-s.X, e.Y-s.Y) - dir).Signed())
	}
}

// Six marks along two sides, near to a wide lens that bends much: the plane map through them leads some fits astray
// that begin at the likeliest focal length.
func TestFitPlateThroughABentLens(t *testing.T) {
	const scatter = 0.06 // px, of the edges
	r := rand.New(rand.NewPCG(5, 6))
	var marks []sheet.Mark
	for _, m := range sheet.Standard.Marks {
		if m.ID == 6 || m.ID == 7 || m.ID >= 10 && m.ID <= 13 {
			marks = append(marks, m)
		}
	}
	lens := Lens{F: 1162, Cx: 988, Cy: 756, K1: -0.254, K2: 0.082, K3: -0.01}
	const n = 300
	lost := 0
	for range n {
		truth := testPlate(angle.FromDegrees(52+6*r.Float64()), angle.Angle(6.28*r.Float64()), angle.Angle(6.28*r.Float64()), 178, lens)
		fit, err := FitPlate(startOf(t, &truth, marks...), edgeSamples(r, &truth, marks, scatter, 0.2), UnknownLens(2000, 1500, 0))
		if err != nil || fit.SigmaPx > 2*scatter {
			lost++
		}
	}
	if 20*lost > n { // a quarter, begun but once
		t.Errorf("%d of %d lost", lost, n)
	}
}

// With every unknown drawn from its prior, the error of a direction over its stated
// sigma must be a unit normal: 400 plates put 68.3 % within one sigma and 95.4 %
// within two, give or take three binomial sigmas of 2.3 and 1.05 %. From nearly
// above, tilt and focal length are known only together, which is the hardest case.
func TestFitPlateStatesAnHonestSigma(t *testing.T) {
	for _, tt := range []struct {
		name       string
		focal      float64 // px as the photo's facts state it; 0: not stated
		from, upto float64 // degrees off the vertical
	}{
		{"any tilt, focal length stated", 1500, 0, 57},
		{"nearly from above, focal length open", 0, 1, 4},
		{"slightly tilted, focal length open", 0, 4, 10},
	} {
		r := rand.New(rand.NewPCG(3, 4))
		const n = 400
		one, two := 0, 0
		for range n {
			prior := UnknownLens(2000, 1500, tt.focal)
			prior.Stretch, prior.Curl = 0.001, 3e-5
			lens := Lens{
				F:  prior.Lens.F * math.Exp(prior.LogF*r.NormFloat64()),
				Cx: prior.Lens.Cx + prior.Centre*r.NormFloat64(), Cy: prior.Lens.Cy + prior.Centre*r.NormFloat64(),
				K1: 0.2 * r.NormFloat64(), K2: 0.1 * r.NormFloat64(), P1: 0.0005 * r.NormFloat64(), P2: 0.0005 * r.NormFloat64(),
			}
			tilt := angle.FromDegrees(tt.from + (tt.upto-tt.from)*r.Float64())
			truth := testPlate(tilt, angle.Angle(6.28*r.Float64()), angle.Angle(6.28*r.Float64()), 330, lens)
			truth.Stretch = prior.Stretch * r.NormFloat64()
			truth.Curl = Curl{XX: prior.Curl * r.NormFloat64(), XY: prior.Curl * r.NormFloat64(), YY: prior.Curl * r.NormFloat64()}
			fit, err := FitPlate(startOf(t, &truth), edgeSamples(r, &truth, sheet.Standard.Marks, 0.06, 0.2), prior)
			if err != nil {
				t.Fatal(err)
			}
			q := direction(&truth, angle.Angle(6.28*r.Float64()))
			printed, rest := fit.Spread(q)
			ratio := math.Abs(q(&fit.Plate)) / math.Hypot(printed, rest)
			if ratio < 1 {
				one++
			}
			if ratio < 2 {
				two++
			}
			if ratio > 4.5 {
				t.Errorf("%s: error %.4f°, sigma %.4f°: ratio %.1f for %+v", tt.name, angle.Angle(q(&fit.Plate)).Degrees(), angle.Angle(math.Hypot(printed, rest)).Degrees(), ratio, truth)
			}
		}
		t.Logf("%s: %d of %d within one sigma, %d within two", tt.name, one, n, two)
		if f := float64(one) / n; f < 0.61 || f > 0.76 {
			t.Errorf("%s: %.3f within one sigma", tt.name, f)
		}
		if f := float64(two) / n; f < 0.92 {
			t.Errorf("%s: %.3f within two sigma", tt.name, f)
		}
	}
}

// A known lens shows a stretched print; an unknown one seen obliquely does not, and
// then the prior's width must remain in the sigma.
func TestStretchIsSeenOrOwnedUpTo(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	truth := testPlate(35*angle.Degree, 1, 2, 330, phone)
	truth.Stretch = 0.005
	samples := edgeSamples(r, &truth, sheet.Standard.Marks, 0.05, 0)
	known := Prior{Lens: phone, LogF: 0.0005, Centre: 0.5, K1: 0.001, K2: 0.003, K3: 0.003, Decentring: 1e-5, Stretch: 0.005, Curl: 1e-6}
	fit, err := FitPlate(startOf(t, &truth), samples, known)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(fit.Stretch-0.005) > 3*fit.StretchSigma() || fit.StretchSigma() > 0.001 {
		t.Errorf("known lens: stretch %.5f ± %.5f, true 0.005", fit.Stretch, fit.StretchSigma())
	}
	unknown := UnknownLens(2000, 1500, 0)
	unknown.Stretch, unknown.Curl = 0.001, 3e-5
	truth.Stretch = 0
	fit, err = FitPlate(startOf(t, &truth), edgeSamples(r, &truth, sheet.Standard.Marks, 0.05, 0), unknown)
	if err != nil {
		t.Fatal(err)
	}
	if fit.StretchSigma() < 0.0007 {
		t.Errorf("one oblique photo with an unknown lens claims to know the stretch to %.5f", fit.StretchSigma())
	}
}

// A cropped picture has its principal point far from the middle. The reader must
// not turn that into a stretched print or a strange lens and then be sure of it.
func TestCroppedPictureIsNoticed(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	bad := 0
	for range 150 {
		lens := phone
		lens.Cx += 1000 * (r.Float64() - 0.5)
		lens.Cy += 750 * (r.Float64() - 0.5)
		truth := testPlate(angle.Angle(r.Float64()), angle.Angle(6.28*r.Float64()), angle.Angle(6.28*r.Float64()), 330, lens)
		prior := UnknownLens(2000, 1500, 0)
		prior.Stretch, prior.Curl = 0.001, 3e-5
		fit, err := FitPlate(startOf(t, &truth), edgeSamples(r, &truth, sheet.Standard.Marks, 0.05, 0), prior)
		if err != nil {
			continue
		}
		q := direction(&truth, angle.Angle(6.28*r.Float64()))
		printed, rest := fit.Spread(q)
		if e, s := math.Abs(q(&fit.Plate)), math.Hypot(printed, rest); e > 3*s {
			bad++
			t.Logf("error %.4f°, sigma %.4f°, scatter %.3f px, loosened %v, true centre %.0f %.0f", angle.Angle(e).Degrees(), angle.Angle(s).Degrees(), fit.SigmaPx, fit.Loosened, lens.Cx, lens.Cy)
		}
	}
	// 0.3 % of unit normals lie beyond three sigma; two of 150 are one in a hundred.
	if bad > 2 {
		t.Errorf("%d of 150 cropped pictures lie beyond three sigma", bad)
	}
}

// Under marks that rise from the board by some tenths of a millimetre, seen aslant from near by, no lens fits
// well, and a strange one somewhat better: the camera must not be put elsewhere for that.
func TestRaisedMarksAreNoStrangeLens(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 22))
	prior := UnknownLens(2000, 1500, 0)
	prior.Stretch, prior.Curl = 0.001, TapedCurl
	misfits, strange := 0, 0
	for range 150 {
		truth := testPlate(38*angle.Degree, angle.Angle(6.28*r.Float64()), angle.Angle(6.28*r.Float64()), 230, phone)
		var samples []Sample
		for i, m := range sheet.Standard.Marks {
			raised := truth
			rise := 0.4 * r.NormFloat64()
			for k := range 3 {
				raised.Pose.T[k] += rise * truth.Pose.R[k][2]
			}
			of := edgeSamples(r, &raised, []sheet.Mark{m}, 0.05, 0)
			for k := range of {
				of[k].Group += 4 * i
			}
			samples = append(samples, of...)
		}
		fit, err := FitPlate(startOf(t, &truth), samples, prior)
		if err != nil {
			t.Fatal(err)
		}
		if fit.SigmaPx > misfitPx {
			misfits++
		}
		a, b := truth.Pose.Centre(), fit.Pose.Centre()
		if off := math.Hypot(math.Hypot(a[0]-b[0], a[1]-b[1]), a[2]-b[2]); off > 23 {
			strange++
			t.Logf("the camera %.0f mm off, focal length %.0f px for %.0f, scatter %.2f px", off, fit.Lens.F, truth.Lens.F, fit.SigmaPx)
		}
	}
	// A tenth of the distance is an error that the prior of a lens allows once in a hundred.
	if misfits < 30 || strange > 2 {
		t.Errorf("%d of 150 cameras a tenth of their distance off, %d maps fit badly", strange, misfits)
	}
}

// One mark with a false place (a finger's edge, a shadow) must not move the map.
func TestFalseEdgeIsDropped(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 10))
	truth := testPlate(25*angle.Degree, 2, 1, 330, phone)
	prior := UnknownLens(2000, 1500, 0)
	prior.Stretch, prior.Curl = 1e-6, 1e-9
	samples := edgeSamples(r, &truth, sheet.Standard.Marks, 0.05, 0)
	for i := range samples {
		if samples[i].Group == 9 {
			samples[i].Seen.U += 1.5
			samples[i].Seen.V += 1.5
		}
	}
	fit, err := FitPlate(startOf(t, &truth), samples, prior)
	if err != nil {
		t.Fatal(err)
	}
	if e := math.Abs(direction(&truth, 0.8)(&fit.Plate)); e > 0.005*math.Pi/180 {
		t.Errorf("a false edge moves the direction by %.4f°", angle.Angle(e).Degrees())
	}
}

func TestTooLittleIsRefused(t *testing.T) {
	truth := testPlate(25*angle.Degree, 2, 1, 330, phone)
	r := rand.New(rand.NewPCG(9, 10))
	samples := edgeSamples(r, &truth, sheet.Standard.Marks[:1], 0.05, 0)
	if _, err := FitPlate(startOf(t, &truth), samples[:30], UnknownLens(2000, 1500, 0)); err == nil {
		t.Error("30 samples were taken for a map")
	}
	line := []sheet.Point{{X: 0, Y: 0}, {X: 1, Y: 0}, {X: 2, Y: 0}, {X: 3, Y: 0}}
	if _, ok := FitHomography(line, []Pixel{{0, 0}, {1, 0}, {2, 0}, {3, 0}}); ok {
		t.Error("four points on a line were taken for a map")
	}
}

func BenchmarkFitPlate(b *testing.B) {
	r := rand.New(rand.NewPCG(3, 4))
	truth := testPlate(25*angle.Degree, 2, 1, 330, phone)
	prior := UnknownLens(2000, 1500, 0)
	prior.Stretch, prior.Curl = 0.001, 3e-5
	samples := edgeSamples(r, &truth, sheet.Standard.Marks, 0.05, 0)
	var from []sheet.Point
	var to []Pixel
	for _, m := range sheet.Standard.Marks {
		for _, c := range m.Corners() {
			from, to = append(from, c), append(to, truth.ProjectDrawing(c))
		}
	}
	h, _ := FitHomography(from, to)
	for b.Loop() {
		if _, err := FitPlate(h, samples, prior); err != nil {
			b.Fatal(err)
		}
	}
}

// A frame moved about the paper maps the same places to the same pixels. What the curl's
// height differs by between the plane and its tangent is below a micrometre there.
func TestPlateAbout(t *testing.T) {
	p := &Plate{
		Lens: Lens{F: 1500, Cx: 1000, Cy: 750, K1: -0.1, K2: 0.02, P1: 0.001},
		Pose: Pose{R: turn([3]float64{2.8, 0.3, -0.2}, [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}), T: [3]float64{5, -8, 340}},
		Curl: Curl{XX: 4e-5, XY: 1e-5, YY: -2e-5},
	}
	at := sheet.Point{X: 7, Y: -6}
	moved := p.About(at)
	for _, q := range []sheet.Point{{}, {X: 50}, {Y: -50}, {X: -30, Y: 40}} {
		want, got := p.Project(sheet.Point{X: at.X + q.X, Y: at.Y + q.Y}), moved.Project(q)
		if d := math.Hypot(want.U-got.U, want.V-got.V); !(d < 0.005) {
			t.Errorf("%+v: %+v, want %+v", q, got, want)
		}
	}
}
