package camera

import (
	"bytes"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"shadowread/internal/calib"
	"shadowread/internal/fault"
)

// An invented camera.
func record() LensRecord {
	return LensRecord{
		Camera: Camera{Make: "Saltpan", Model: "S-1", FocalLengthMM: 4.25, FocalLength35MM: 26, WidthPX: 4000, HeightPX: 3000},
		Lens:   calib.Lens{F: 3010.25, Cx: 2010.5, Cy: 1489.75, K1: 0.05, K2: -0.12, K3: 0.055, P1: 0.0004, P2: -0.0007},
		Sigma:  calib.LensSigma{F: 1.5, Cx: 1.25, Cy: 1.125, K1: 0.001, K2: 0.004, K3: 0.005, P1: 0.0001, P2: 0.0002},
		RMSPx:  0.125, Views: 8, Solved: time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC),
	}
}

func TestDecodeLensRecordRefuses(t *testing.T) {
	var b bytes.Buffer
	if err := record().Encode(&b); err != nil {
		t.Fatal(err)
	}
	good := b.String()
	for _, tt := range []struct{ old, with, want string }{
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
		{good, strings.Repeat("#", MaxRecordBytes+1), "longer than"},
	} {
		if !strings.Contains(good, tt.old) {
			t.Fatalf("the record has no %q:\n%s", tt.old, good)
		}
		_, err := DecodeLensRecord([]byte(strings.Replace(good, tt.old, tt.with, 1)))
		if tt.want == "" {
			if err != nil {
				t.Error(err)
			}
			continue
		}
		if fault.Code(err) != "bad_lens_record" || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%q for %q: %v, want %q", tt.with, tt.old, err, tt.want)
		}
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
	stored := calib.Plate{Lens: r.Lens}
	for _, tt := range []struct {
		width, factor int
		mirrored      bool
	}{{4000, 1, false}, {2000, 2, false}, {1000, 4, false}, {500, 8, false}, {4000, 1, true}, {1000, 4, true}} {
		p := r.Prior(tt.width, tt.factor, tt.mirrored)
		working := calib.Plate{Lens: p.Lens}
		n := float64(tt.factor)
		for _, d := range [][2]float64{{0, 0}, {0.4, 0.3}, {-0.5, 0.1}, {0.2, -0.4}} {
			q := stored.ProjectSpace(d[0], d[1], 1)
			x := d[0]
			want := calib.Pixel{U: (q.U - (n-1)/2) / n, V: (q.V - (n-1)/2) / n}
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
