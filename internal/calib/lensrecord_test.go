package calib

import (
	"bytes"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/render"
	"shadowread/internal/sheet"
)

// An invented camera.
func record() LensRecord {
	return LensRecord{
		Camera: Camera{Make: "Saltpan", Model: "S-1", FocalLengthMM: 4.25, FocalLength35MM: 26, WidthPX: 4000, HeightPX: 3000},
		Lens:   Lens{F: 3010.25, Cx: 2010.5, Cy: 1489.75, K1: 0.05, K2: -0.12, K3: 0.055, P1: 0.0004, P2: -0.0007},
		Sigma:  LensSigma{F: 1.5, Cx: 1.25, Cy: 1.125, K1: 0.001, K2: 0.004, K3: 0.005, P1: 0.0001, P2: 0.0002},
		RMSPx:  0.125, Views: 8, Solved: time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC),
	}
}

func TestLensRecordRoundTrip(t *testing.T) {
	path := filepath.Join(t.TempDir(), "lens.toml")
	want := record()
	if err := want.Save(path); err != nil {
		t.Fatal(err)
	}
	got, err := LoadLensRecord(path)
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%v\ngot  %+v\nwant %+v", err, got, want)
	}
	want.Views = 9
	if err := want.Save(path); err != nil { // in place of the old one
		t.Fatal(err)
	}
	if got, _ = LoadLensRecord(path); got.Views != 9 {
		t.Errorf("%d views after saving again", got.Views)
	}
	if left, _ := os.ReadDir(filepath.Dir(path)); len(left) != 1 {
		t.Errorf("%d files in the folder, want 1", len(left))
	}
}

func TestLensRecordSaveLeavesNothing(t *testing.T) {
	dir := t.TempDir()
	bad := record()
	bad.Lens.F = math.NaN()
	if err := bad.Save(filepath.Join(dir, "a.toml")); fault.Code(err) != "bad_lens_record" {
		t.Error(err)
	}
	if err := record().Save(dir); fault.Code(err) != "cannot_write" {
		t.Error(err)
	}
	if err := record().Save(filepath.Join(dir, "none", "a.toml")); fault.Code(err) != "cannot_write" {
		t.Error(err)
	}
	if left, _ := os.ReadDir(dir); len(left) != 0 {
		t.Errorf("%d files left", len(left))
	}
}

func TestDecodeLensRecordRefuses(t *testing.T) {
	var b bytes.Buffer
	if err := record().Encode(&b); err != nil {
		t.Fatal(err)
	}
	good := b.String()
	for _, tt := range []struct{ old, new, want string }{
		{"", "", ""},
		{good, "", "schema"},
		{good, "heading = 4\n", "schema"},
		{good, "\x00\xff", "line 1"},
		{"schema = 1", "schema = 2", "schema 2; this program reads 1"},
		{"schema = 1", "schema = 0", "schema 0"},
		{"schema = 1", "schema = \"one\"", "cannot be read"},
		{"views = 8", "views = 8\nview = 9", "unknown entry solution.view"},
		{"k2 = -0.12\n", "", "lacks lens.k2"},
		{"solved = \"2026-11-25\"", "solved = \"25.11.2026\"", "day"},
		{"f_px = 3010.25", "f_px = nan", "f_px cannot be NaN"},
		{"f_px = 3010.25", "f_px = 30.1025", "f_px"},
		{"f_px = 1.5", "f_px = 0.0", "sigma of f_px"},
		{"f_px = 1.5", "f_px = -1.5", "sigma of f_px"},
		{"k1 = 0.05", "k1 = -2.5", "folds"},
		{"width_px = 4000", "width_px = 400", "cx_px"},
		{"width_px = 4000", "width_px = 4000000", "picture of 4000000"},
		{"model = \"S-1\"", "model = \"S\\u0007\"", "plain name"},
		{good, strings.Repeat("#", maxRecordBytes+1), "longer than"},
	} {
		if !strings.Contains(good, tt.old) {
			t.Fatalf("the record has no %q:\n%s", tt.old, good)
		}
		_, err := DecodeLensRecord([]byte(strings.Replace(good, tt.old, tt.new, 1)))
		if tt.want == "" {
			if err != nil {
				t.Error(err)
			}
			continue
		}
		if fault.Code(err) != "bad_lens_record" || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%q for %q: %v, want %q", tt.new, tt.old, err, tt.want)
		}
	}
	if _, err := LoadLensRecord(filepath.Join(t.TempDir(), "none")); fault.Code(err) != "unreadable_file" {
		t.Error(err)
	}
	if _, err := LoadLensRecord(t.TempDir()); fault.Code(err) != "not_a_file" {
		t.Error(err)
	}
}

// Whatever is accepted prints to a record that reads back the same.
func FuzzDecodeLensRecord(f *testing.F) {
	var b bytes.Buffer
	if err := record().Encode(&b); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Add([]byte("schema = 1\n[lens]\nf_px = inf\n"))
	f.Add([]byte("schema = 1\n[[lens]]\n"))
	f.Add([]byte("[camera]\nmake = '''"))
	f.Add([]byte(strings.Repeat("a.", 3000) + "a = 1"))
	f.Add([]byte("lens = " + strings.Repeat("{ a = ", 3000)))
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := DecodeLensRecord(data)
		if err != nil {
			if fault.Code(err) != "bad_lens_record" {
				t.Fatal(err)
			}
			return
		}
		var b bytes.Buffer
		if err := r.Encode(&b); err != nil {
			t.Fatal(err)
		}
		again, err := DecodeLensRecord(b.Bytes())
		if err != nil || !reflect.DeepEqual(again, r) {
			t.Fatalf("%v\n%+v\n%+v", err, r, again)
		}
	})
}

func TestCameraSame(t *testing.T) {
	base := record().Camera
	for _, tt := range []struct {
		name   string
		change func(*Camera)
		want   bool
	}{
		{"itself", func(*Camera) {}, true},
		{"rounded focal length", func(c *Camera) { c.FocalLengthMM = 4.2521 }, true},
		{"no 35 mm figure", func(c *Camera) { c.FocalLength35MM = 0 }, true},
		{"other lens", func(c *Camera) { c.FocalLengthMM = 1.8 }, false},
		{"digital zoom", func(c *Camera) { c.FocalLength35MM = 52 }, false},
		{"other maker", func(c *Camera) { c.Make = "Other" }, false},
		{"other model", func(c *Camera) { c.Model = "S-1 Pro" }, false},
		{"other size", func(c *Camera) { c.WidthPX, c.HeightPX = 2000, 1500 }, false},
		{"upright file", func(c *Camera) { c.WidthPX, c.HeightPX = 3000, 4000 }, false},
		{"no model", func(c *Camera) { c.Model = "" }, false},
		{"no focal length", func(c *Camera) { c.FocalLengthMM = 0 }, false},
	} {
		c := base
		tt.change(&c)
		if got := base.Same(c); got != tt.want {
			t.Errorf("%s: %v", tt.name, got)
		}
		if got := c.Same(base); got != tt.want {
			t.Errorf("%s, the other way: %v", tt.name, got)
		}
	}
	// Two cameras that say nothing are not known to be one.
	if n := (Camera{WidthPX: 4000, HeightPX: 3000}); n.Same(n) {
		t.Error("nameless cameras are the same")
	}
}

// The working raster shows every direction where the stored one does, by the
// relation of the pixel centres alone; a mirrored one shows it where the direction
// turned left to right would stand.
func TestPriorInWorkingRaster(t *testing.T) {
	r := record()
	stored := Plate{Lens: r.Lens}
	for _, tt := range []struct {
		width, factor int
		mirrored      bool
	}{{4000, 1, false}, {2000, 2, false}, {1000, 4, false}, {500, 8, false}, {4000, 1, true}, {1000, 4, true}} {
		p := r.Prior(tt.width, tt.factor, tt.mirrored)
		working := Plate{Lens: p.Lens}
		n := float64(tt.factor)
		for _, d := range [][2]float64{{0, 0}, {0.4, 0.3}, {-0.5, 0.1}, {0.2, -0.4}} {
			q := stored.ProjectSpace(d[0], d[1], 1)
			x := d[0]
			want := Pixel{(q.U - (n-1)/2) / n, (q.V - (n-1)/2) / n}
			if tt.mirrored {
				x, want.U = -x, float64(tt.width-1)-want.U
			}
			got := working.ProjectSpace(x, d[1], 1)
			if math.Hypot(got.U-want.U, got.V-want.V) > 1e-9 { // px, rounding
				t.Errorf("%+v direction %v: %v, want %v", tt, d, got, want)
			}
		}
		// 1.25 px and the wandering of 0.002 x 4000 px.
		if math.Abs(p.Centre-math.Hypot(1.25, 8)/n) > 1e-12 || p.K3 != 0.005 || p.Decentring != 0.0002 {
			t.Errorf("%+v: sigmas %+v", tt, p)
		}
		// 1.5/3010.25 and the focus of a lens of 4.25 mm.
		if want := math.Hypot(1.5/3010.25, 0.00425); math.Abs(p.LogF-want) > 1e-12 {
			t.Errorf("sigma of ln f %v, want %v", p.LogF, want)
		}
	}
}

// thinViews are views of the marks' edges by the renderer's projection, which shares
// no code with ours, with white noise of sigma px across each edge.
func thinViews(r *rand.Rand, c render.Camera, stretch, sigma float64) (views []View) {
	poses := []struct{ tilt, dir, roll, distance, x, y float64 }{
		{3, 0, 0, 260, 0, 0}, {32, 0, 10, 290, 10, 0}, {32, 90, -20, 290, -30, 15}, {32, 180, 80, 300, 30, -20},
		{32, 270, 100, 290, 0, 30}, {42, 45, 45, 330, -30, -30}, {42, 225, 190, 330, 20, 20},
	}
	for _, p := range poses {
		c.LookAt(sheet.Point{X: p.x, Y: p.y}, p.distance, angle.FromDegrees(p.tilt), angle.FromDegrees(p.dir), angle.FromDegrees(p.roll))
		v := View{Pose: Pose{T: [3]float64{c.T.X, c.T.Y, c.T.Z}}}
		for i := range 3 {
			v.Pose.R[i] = [3]float64{c.R[i].X, c.R[i].Y, c.R[i].Z}
		}
		seen := func(p sheet.Point) (float64, float64) {
			u, w, _ := c.Project(render.Vec{X: p.X * (1 + stretch/2), Y: p.Y * (1 - stretch/2)})
			return u, w
		}
		for _, m := range sheet.Standard.Marks {
			k := m.Corners()
			for i := range 4 {
				a, b := k[i], k[(i+1)%4]
				along := sheet.Point{X: (b.X - a.X) / m.Side, Y: (b.Y - a.Y) / m.Side}
				for j := range 8 {
					f := (float64(j) + 0.5) / 8
					at := sheet.Point{X: a.X + f*(b.X-a.X), Y: a.Y + f*(b.Y-a.Y)}
					u, w := seen(at)
					u2, w2 := seen(sheet.Point{X: at.X + 0.1*along.X, Y: at.Y + 0.1*along.Y})
					l := math.Hypot(u2-u, w2-w)
					e := sigma * r.NormFloat64()
					v.Samples = append(v.Samples, Sample{
						At: at, Along: along, Ink: 1, Group: 4*m.ID + i,
						Seen: Pixel{u + e*(w2-w)/l, w - e*(u2-u)/l},
					})
				}
			}
		}
		views = append(views, v)
	}
	return views
}

// The renderer's projection tells the truth; the errors of the fit must follow its
// sigmas: of independent normal errors 95.4 % lie within two sigma.
func TestFitViewsIsHonest(t *testing.T) {
	const sets, noise = 60, 0.2 // px
	r := rand.New(rand.NewPCG(3, 1))
	prior := UnknownLens(1600, 1200, 0)
	prior.LogF, prior.Centre, prior.K1, prior.K2, prior.K3, prior.Decentring = 1, 160, 1, 2, 2, 0.01
	prior.Stretch, prior.Curl = 0.01, 3e-5
	within, n, chi := 0, 0, 0.0
	for range sets {
		c := render.Camera{Width: 1600, Height: 1200, Cx: 800 + 10*r.NormFloat64(), Cy: 600 + 10*r.NormFloat64(),
			Dist: [5]float64{-0.25 + 0.05*r.NormFloat64(), 0.08, 0.0005 * r.NormFloat64(), 0.0005 * r.NormFloat64(), -0.01}}
		c.Fx = 1200 * (1 + 0.05*r.NormFloat64())
		c.Fy = c.Fx
		stretch := 0.002 * r.NormFloat64()
		start := Lens{F: c.Fx * 1.01, Cx: 799.5, Cy: 599.5, K1: -0.2}
		f, err := FitViews(thinViews(r, c, stretch, noise), start, prior)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range [][2]float64{
			{f.Lens.F - c.Fx, f.Sigma.F}, {f.Lens.Cx - c.Cx, f.Sigma.Cx}, {f.Lens.Cy - c.Cy, f.Sigma.Cy},
			{f.Lens.K1 - c.Dist[0], f.Sigma.K1}, {f.Lens.K2 - c.Dist[1], f.Sigma.K2}, {f.Lens.K3 - c.Dist[4], f.Sigma.K3},
			{f.Lens.P1 - c.Dist[2], f.Sigma.P1}, {f.Lens.P2 - c.Dist[3], f.Sigma.P2}, {f.Stretch - stretch, f.StretchSigma},
		} {
			z := e[0] / e[1]
			n++
			chi += z * z
			if math.Abs(z) < 2 {
				within++
			}
		}
	}
	// 540 values, of which each set's hang together: some 300 free ones, of which
	// 95.4 % have a standard deviation of 1.2 %.
	share, mean := float64(within)/float64(n), chi/float64(n)
	t.Logf("within two sigma %.1f %%, mean square of error over sigma %.2f", 100*share, mean)
	if share < 0.92 || share > 0.985 || mean < 0.75 || mean > 1.3 {
		t.Errorf("within two sigma %.1f %%, mean square of error over sigma %.2f", 100*share, mean)
	}
}

func TestFitViewsNeedsSamples(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	c := render.Camera{Width: 1600, Height: 1200, Fx: 1200, Fy: 1200, Cx: 800, Cy: 600}
	v := thinViews(r, c, 0, 0.1)
	v[2].Samples = v[2].Samples[:leastSamples-1]
	if _, err := FitViews(v, Lens{F: 1200, Cx: 800, Cy: 600}, UnknownLens(1600, 1200, 0)); err != ErrUndetermined {
		t.Error(err)
	}
	v = thinViews(r, c, 0, 0.1)
	for i := range v[0].Samples {
		v[0].Samples[i].Seen.U = math.NaN()
	}
	if _, err := FitViews(v, Lens{F: 1200, Cx: 800, Cy: 600}, UnknownLens(1600, 1200, 0)); err != ErrUndetermined {
		t.Error(err)
	}
}

func BenchmarkFitViews(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 1))
	c := render.Camera{Width: 1600, Height: 1200, Fx: 1200, Fy: 1200, Cx: 800, Cy: 600, Dist: [5]float64{-0.25, 0.08}}
	v := thinViews(r, c, 0, 0.1)
	prior := UnknownLens(1600, 1200, 0)
	for b.Loop() {
		if _, err := FitViews(v, Lens{F: 1210, Cx: 800, Cy: 600, K1: -0.2}, prior); err != nil {
			b.Fatal(err)
		}
	}
}
