package lens

import (
	"bytes"
	"context"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/calib"
	"shadowread/internal/camera"
	"shadowread/internal/fault"
	"shadowread/internal/photo"
	"shadowread/internal/photo/exifwrite"
	"shadowread/internal/photofile"
	"shadowread/internal/render"
	"shadowread/internal/sheet"
	"shadowread/internal/sheetphoto"
	"shadowread/internal/vision"
)

// The photos are drawn by internal/render, which shares nothing with the reader but
// the sheet's geometry; camera and maker are invented.

// pose is where a photo is taken from: see render.Camera.LookAt; degrees and mm.
type pose struct{ tilt, dir, roll, distance, x, y float64 }

// around is a set as the documentation asks for; the last is held out.
var around = []pose{
	{3, 0, 0, 262, 0, 0}, {30, 0, 10, 290, -25, 0}, {32, 90, -20, 285, 25, 0}, {33, 180, 90, 290, 0, 20},
	{31, 270, 100, 280, 0, -20}, {40, 45, 180, 310, 40, 30}, {40, 225, 190, 310, -40, 30}, {25, 135, -90, 290, 10, 10},
}

const printStretch = 0.003

// actionCamera has the distortion of a wide lens.
func actionCamera() render.Camera {
	return render.Camera{Width: 1280, Height: 960, Fx: 970, Fy: 970, Cx: 645.8, Cy: 474.1,
		Dist: [5]float64{-0.25, 0.09, 0.0006, -0.0008, -0.014}}
}

// Orientation says that the photo is to be turned; the raster stays as stored.
var tags = exifwrite.Tags{Make: "Saltpan", Model: "S-1", Orientation: 6, FocalLengthMM: 4.25, FocalLength35MM: 27, Width: 1280, Height: 960}

var day = time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)

func scene(c render.Camera, p pose, seed uint64) *render.Scene {
	s := &render.Scene{Seed: seed, Camera: c, Rods: []render.Rod{{Height: 50, Diameter: 3, Material: render.Steel}}}
	s.Light = render.Light{Body: render.Sun, Azimuth: 40 * angle.Degree, Altitude: 40 * angle.Degree, Disc: angle.FromDegrees(0.533),
		ShadowRatio: 0.25, SunColour: [3]float64{1, 1, 1}, SkyColour: [3]float64{1, 1, 1}, Exposure: 0.75}
	s.Finish = render.Finish{Defocus: 0.7, Quality: 92}
	s.Finish.ReadNoise, s.Finish.ShotNoise = render.NoiseAtISO(100)
	s.Paper.ScaleX = 1 + printStretch
	s.Camera.LookAt(sheet.Point{X: p.x, Y: p.y}, p.distance, angle.FromDegrees(p.tilt), angle.FromDegrees(p.dir), angle.FromDegrees(p.roll))
	return s
}

// write puts a JPEG with Exif data into a file.
func write(path string, picture []byte, tags exifwrite.Tags) error {
	data, err := exifwrite.Insert(picture, tags)
	if err != nil {
		return err
	}
	return os.WriteFile(path, data, 0o644)
}

// shoot renders photos into a folder.
func shoot(t testing.TB, dir string, c render.Camera, poses []pose, tags exifwrite.Tags) []string {
	t.Helper()
	paths, errs := make([]string, len(poses)), make([]error, len(poses))
	var wg sync.WaitGroup
	for i, p := range poses {
		paths[i] = filepath.Join(dir, fmt.Sprintf("view-%d.jpg", i))
		wg.Go(func() {
			var b bytes.Buffer
			if _, errs[i] = scene(c, p, uint64(i)).WriteJPEG(&b); errs[i] == nil {
				errs[i] = write(paths[i], b.Bytes(), tags)
			}
		})
	}
	wg.Wait()
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
	return paths
}

// checkLens compares a lens with the renderer's, in sigmas and in absolute terms.
func checkLens(t *testing.T, l calib.Lens, s calib.LensSigma, c render.Camera) {
	t.Helper()
	for _, v := range []struct {
		name             string
		got, sigma, want float64
		enough           float64 // a sigma that serves: see below
	}{
		// 0.1 % of the focal length and 0.1 % of the picture's width move a heading
		// by less than 0.01 degree; distortion to 0.002 moves the picture's corner,
		// at 0.8 of the focal length, by a pixel.
		{"f", l.F, s.F, c.Fx, 1}, {"cx", l.Cx, s.Cx, c.Cx, 1.3}, {"cy", l.Cy, s.Cy, c.Cy, 1.3},
		{"k1", l.K1, s.K1, c.Dist[0], 0.002}, {"k2", l.K2, s.K2, c.Dist[1], 0.01}, {"k3", l.K3, s.K3, c.Dist[4], 0.02},
		{"p1", l.P1, s.P1, c.Dist[2], 0.0001}, {"p2", l.P2, s.P2, c.Dist[3], 0.0001},
	} {
		// Three sigma in one of eight: by chance once in fifty sets. Seeds are fixed.
		if math.Abs(v.got-v.want) > 3*v.sigma {
			t.Errorf("%s %.6f ± %.6f, true %.6f", v.name, v.got, v.sigma, v.want)
		}
		if v.sigma > v.enough {
			t.Errorf("sigma of %s %.6f, more than %g", v.name, v.sigma, v.enough)
		}
	}
}

func TestSolve(t *testing.T) {
	dir := t.TempDir()
	c := actionCamera()
	all := shoot(t, dir, c, around, tags)
	paths, held := all[:len(all)-1], all[len(all)-1]
	ctx := context.Background()
	r, err := Solve(ctx, photofile.All(paths), Options{Solved: day})
	if err != nil {
		t.Fatal(err)
	}

	t.Run("the true lens within its sigmas", func(t *testing.T) {
		checkLens(t, r.Record.Lens, r.Record.Sigma, c)
		if r.RMSPx > 0.1 { // px; edges are found to 0.07 px rms
			t.Errorf("rms %.3f px", r.RMSPx)
		}
		sum := 0.0
		for i, v := range r.Views {
			sum += v.Share
			// The optical axis is LookAt's, so that its tilt is the view's.
			if d := v.Tilt - angle.FromDegrees(around[i].tilt); d.Abs() > 0.1*angle.Degree {
				t.Errorf("%s: tilt %v, true %v°", v.Photo, v.Tilt, around[i].tilt)
			}
			if len(v.Marks) < 10 {
				t.Errorf("%s: marks %v", v.Photo, v.Marks)
			}
		}
		if math.Abs(sum-1) > 1e-9 {
			t.Errorf("shares add up to %v", sum)
		}
	})

	t.Run("OpenCV agrees", func(t *testing.T) {
		// OpenCV weighs corners, the adjustment edges and ticks: their errors are in
		// part independent, OpenCV's the greater.
		if r.OpenCV.Difference > 4 {
			t.Errorf("OpenCV differs by %.1f sigma: %+v, %+v", r.OpenCV.Difference, r.OpenCV, r.Record.Lens)
		}
		if r.OpenCV.RMSPx > 0.1 {
			t.Errorf("OpenCV's rms %.3f px", r.OpenCV.RMSPx)
		}
	})

	t.Run("held-out photo", func(t *testing.T) {
		facts, err := photo.ReadFacts(photofile.At(held))
		if err != nil {
			t.Fatal(err)
		}
		p, err := sheetphoto.Open(photofile.At(held), facts)
		if err != nil {
			t.Fatal(err)
		}
		// All of the lens held: only the pose is free.
		lens := calib.Prior{Lens: r.Record.Lens, StretchMean: r.Print.Stretch}
		g, plate, _, err := p.FindWhole(sheet.Standard, func(*vision.Gray) calib.Prior { return lens })
		if err != nil {
			t.Fatal(err)
		}
		_, corners := vision.SheetPoints(g, sheet.Standard, plate)
		s := scene(c, around[len(around)-1], 0)
		seen, truth := 0.0, 0.0
		for _, k := range corners {
			q := plate.ProjectDrawing(k.At)
			u, v, _ := s.Camera.Project(render.Vec{X: k.At.X * (1 + printStretch), Y: k.At.Y})
			seen += (q.U-k.Seen.U)*(q.U-k.Seen.U) + (q.V-k.Seen.V)*(q.V-k.Seen.V)
			truth += (q.U-u)*(q.U-u) + (q.V-v)*(q.V-v)
		}
		n := float64(len(corners))
		// Corners are seen to 0.07 px rms; 48 of them pin the pose to a tenth of that.
		if rms := math.Sqrt(seen / n); rms > 0.07 {
			t.Errorf("held-out residual %.3f px rms", rms)
		}
		if rms := math.Sqrt(truth / n); rms > 0.03 {
			t.Errorf("held-out map lies %.3f px rms from the truth", rms)
		}
	})

	t.Run("stretched print", func(t *testing.T) {
		if math.Abs(r.Print.Stretch-printStretch) > 3*r.Print.Sigma || r.Print.Sigma > 0.0003 {
			t.Errorf("print %+v, true %v", r.Print, printStretch)
		}
		if len(r.Warnings) != 1 || r.Warnings[0].Code != "print_stretched" {
			t.Errorf("warnings %+v", r.Warnings)
		}
		check, err := CheckPrint(ctx, photofile.All([]string{held, paths[1], filepath.Join(dir, "none.jpg")}), r.Record, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(check.Stretch-printStretch) > 3*check.Sigma || check.Sigma > 0.001 || check.Photos != 2 || len(check.Skipped) != 1 {
			t.Errorf("check %+v, true %v", check, printStretch)
		}
		if len(check.Warnings) != 1 || check.Warnings[0].Code != "print_stretched" {
			t.Errorf("warnings %+v", check.Warnings)
		}
		other := r.Record
		other.Camera.Model = "S-2"
		if _, err := CheckPrint(ctx, photofile.All(paths[:1]), other, Options{}); fault.Code(err) != "lens_mismatch" {
			t.Errorf("another camera's record: %v", err)
		}
	})

	t.Run("mirrored photos", func(t *testing.T) {
		mirror := t.TempDir()
		var turned []string
		for i, path := range paths {
			turned = append(turned, filepath.Join(mirror, fmt.Sprintf("%d.jpg", i)))
			if err := write(turned[i], mirrored(t, path), tags); err != nil {
				t.Fatal(err)
			}
		}
		m, err := Solve(ctx, photofile.All(turned), Options{Solved: day})
		if err != nil {
			t.Fatal(err)
		}
		want := c
		want.Cx, want.Dist[3] = float64(c.Width-1)-c.Cx, -c.Dist[3]
		checkLens(t, m.Record.Lens, m.Record.Sigma, want)
		if m.OpenCV.Difference > 4 {
			t.Errorf("OpenCV differs by %.1f sigma", m.OpenCV.Difference)
		}
		_, err = Solve(ctx, photofile.All(append([]string{turned[0]}, paths...)), Options{Solved: day})
		if fault.Code(err) != "mixed_cameras" || !strings.Contains(err.Error(), "mirrored") {
			t.Errorf("one mirrored photo: %v", err)
		}
	})

	t.Run("photos that do not serve", func(t *testing.T) {
		text := filepath.Join(dir, "note.jpg")
		if err := os.WriteFile(text, []byte("no photo"), 0o644); err != nil {
			t.Fatal(err)
		}
		blank := filepath.Join(dir, "blank.jpg")
		var b bytes.Buffer
		if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 1280, 960)), nil); err != nil {
			t.Fatal(err)
		}
		if err := write(blank, b.Bytes(), tags); err != nil {
			t.Fatal(err)
		}
		copied := filepath.Join(dir, "copy.jpg")
		if data, err := os.ReadFile(paths[0]); err != nil || os.WriteFile(copied, data, 0o644) != nil {
			t.Fatal(err)
		}
		_, err := Solve(ctx, photofile.All(append([]string{text, blank, copied}, paths[:4]...)), Options{Solved: day})
		if fault.Code(err) != "too_few_views" {
			t.Fatal(err)
		}
		for _, name := range []string{text, blank, "same photo"} {
			if !strings.Contains(err.Error(), name) {
				t.Errorf("%v does not name %s", err, name)
			}
		}

		zoomed := filepath.Join(dir, "zoomed.jpg")
		picture := mirrored(t, held) // any other picture; its Exif data count
		for _, tt := range []struct {
			code, word string
			change     func(*exifwrite.Tags)
		}{
			{"mixed_cameras", "camera", func(g *exifwrite.Tags) { g.Model = "S-2" }},
			{"mixed_cameras", "focal length", func(g *exifwrite.Tags) { g.FocalLengthMM = 9 }},
			{"mixed_cameras", "zoom", func(g *exifwrite.Tags) { g.FocalLength35MM = 54 }},
			{"cropped_photo", "cropped", func(g *exifwrite.Tags) { g.Width, g.Height = 2000, 1500 }},
		} {
			g := tags
			tt.change(&g)
			if err := write(zoomed, picture, g); err != nil {
				t.Fatal(err)
			}
			_, err := Solve(ctx, photofile.All(append([]string{paths[0], zoomed}, paths[1:]...)), Options{Solved: day})
			if fault.Code(err) != tt.code || !strings.Contains(err.Error(), tt.word) || !strings.Contains(err.Error(), zoomed) {
				t.Errorf("%s: %v", tt.word, err)
			}
		}
		stopped, stop := context.WithCancel(ctx)
		stop()
		if _, err := Solve(stopped, photofile.All(paths), Options{}); !errors.Is(err, context.Canceled) {
			t.Error(err)
		}
	})

	t.Run("output", func(t *testing.T) {
		data, err := json.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		var o struct {
			Record struct {
				Camera struct{ Model string }
				Lens   struct {
					F float64 `json:"f_px"`
				}
			}
			Views []struct {
				Tilt float64 `json:"tilt_deg"`
			}
		}
		if err := json.Unmarshal(data, &o); err != nil || o.Record.Camera.Model != "S-1" || o.Record.Lens.F != r.Record.Lens.F || len(o.Views) != len(paths) || o.Views[1].Tilt != r.Views[1].Tilt.Degrees() {
			t.Errorf("%v: %+v", err, o)
		}
		var b bytes.Buffer
		if err := r.WriteFigure(&b); err != nil {
			t.Fatal(err)
		}
		dots := 0
		for d := xml.NewDecoder(&b); ; {
			token, err := d.Token()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			if e, ok := token.(xml.StartElement); ok && e.Name.Local == "circle" {
				dots++
			}
		}
		if dots < 40*len(paths) || dots > 48*len(paths) {
			t.Errorf("%d dots for %d photos of 48 corners", dots, len(paths))
		}
	})
}

// mirrored returns the photo turned left to right, as front cameras do.
func mirrored(t *testing.T, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	g, err := vision.DecodeJPEG(data, 1)
	if err != nil {
		t.Fatal(err)
	}
	out := image.NewGray(image.Rect(0, 0, g.W, g.H))
	copy(out.Pix, g.Mirror().Pix)
	var b bytes.Buffer
	if err := jpeg.Encode(&b, out, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestSolveRefusesFrontalPhotos(t *testing.T) {
	c := actionCamera()
	c.Width, c.Height, c.Fx, c.Fy, c.Cx, c.Cy = 640, 480, 485, 485, 322, 238
	small := tags
	small.Width, small.Height = 640, 480
	flat := []pose{{0, 0, 0, 250, 0, 0}, {4, 0, 90, 250, 0, 0}, {3, 90, 180, 240, 10, 0}, {5, 180, 45, 260, 0, 5}, {2, 45, 30, 250, 0, -5}}
	_, err := Solve(context.Background(), photofile.All(shoot(t, t.TempDir(), c, flat, small)), Options{Solved: day})
	if fault.Code(err) != "views_all_frontal" {
		t.Error(err)
	}
	if _, err := Solve(context.Background(), nil, Options{}); fault.Code(err) != "too_few_views" {
		t.Error(err)
	}
}

// viewFrom is a view with nothing but its pose.
func viewFrom(tilt, dir, roll float64) *view {
	c := actionCamera()
	c.LookAt(sheet.Point{}, 300, angle.FromDegrees(tilt), angle.FromDegrees(dir), angle.FromDegrees(roll))
	var p calib.Plate
	for i, r := range c.R {
		p.Pose.R[i] = [3]float64{r.X, r.Y, r.Z}
	}
	return &view{plate: &vision.FoundSheet{Fit: &calib.Fit{Plate: p}}}
}

func TestTilts(t *testing.T) {
	for _, tt := range []struct {
		name  string
		views [][3]float64 // tilt, direction, roll
		code  string
		word  string
	}{
		{"all sides", [][3]float64{{0, 0, 0}, {30, 0, 0}, {30, 90, 0}, {30, 180, 0}, {30, 270, 0}}, "", ""},
		{"two sides", [][3]float64{{0, 0, 0}, {0, 0, 90}, {5, 0, 0}, {30, 0, 0}, {30, 90, 0}}, "", ""},
		{"one side, camera turned", [][3]float64{{0, 0, 0}, {30, 0, 0}, {30, 0, 90}, {30, 0, 180}, {3, 0, 0}}, "", ""},
		{"frontal", [][3]float64{{0, 0, 0}, {5, 0, 0}, {10, 90, 0}, {14, 180, 0}, {3, 270, 0}}, "views_all_frontal", "14"},
		{"one slanted", [][3]float64{{0, 0, 0}, {5, 0, 0}, {10, 90, 0}, {40, 180, 0}, {3, 270, 0}}, "views_all_frontal", "40"},
		// The camera stands to starboard, forward is up: the right edge is the nearer.
		{"one side", [][3]float64{{30, 90, 0}, {35, 90, 0}, {40, 100, 0}, {45, 80, 0}, {0, 0, 0}}, "views_one_side", "at the right of"},
		{"one side as the picture shows it", [][3]float64{{30, 0, 0}, {35, 90, 90}, {40, 180, 180}, {45, 0, 5}, {0, 0, 0}}, "views_one_side", "at the top of"},
	} {
		var views []*view
		for _, v := range tt.views {
			views = append(views, viewFrom(v[0], v[1], v[2]))
		}
		err := tilts(views)
		if fault.Code(err) != tt.code || err != nil && !strings.Contains(err.Error(), tt.word) {
			t.Errorf("%s: %v", tt.name, err)
		}
	}
}

func TestCoverage(t *testing.T) {
	at := func(points ...calib.Pixel) []*view {
		v := &view{}
		for _, p := range points {
			v.corners = append(v.corners, vision.SheetCorner{Seen: p})
		}
		return []*view{v}
	}
	c := camera.Camera{WidthPX: 800, HeightPX: 600} // half diagonal 500 px
	near := []calib.Pixel{{U: 99.5, V: 99.5}, {U: 699.5, V: 99.5}, {U: 699.5, V: 499.5}, {U: 99.5, V: 499.5}}
	cover4 := cover(at(near...), c)
	if err := cover4.check(); err != nil {
		t.Error(err)
	}
	for i, g := range cover4.Corners {
		if want := 100 * math.Sqrt2 / 500; math.Abs(g-want) > 1e-12 {
			t.Errorf("corner %d: %v, want %v", i, g, want)
		}
	}
	// Fields of 100 px: 8 by 6; a point on a border belongs to the next.
	if cover4.Columns != 8 || cover4.Rows != 6 || cover4.Counts[8+1] != 1 || cover4.Counts[8+7] != 1 || math.Abs(cover4.Covered-4./48) > 1e-12 {
		t.Errorf("%+v", cover4)
	}
	for i, name := range cornerNames {
		missing := append(append([]calib.Pixel(nil), near[:i]...), near[i+1:]...)
		err := cover(at(missing...), c).check()
		if fault.Code(err) != "corners_not_covered" || !strings.Contains(err.Error(), "the "+name+" corner of") {
			t.Errorf("without %s: %v", name, err)
		}
	}
	// A mirrored raster covers the other side of the stored one.
	m := at(near[0])
	m[0].mirrored = true
	if k := cover(m, c); k.Counts[8+7] != 1 || k.Corners[1] > 0.3 {
		t.Errorf("mirrored: %+v", k)
	}
}

func TestPrintWarnings(t *testing.T) {
	measured := Options{PrintScale: &[2]float64{1.003, 1}}
	for _, tt := range []struct {
		name           string
		stretch, sigma float64
		o              Options
		code           string
	}{
		{"true", 0.0002, 0.0001, Options{}, ""},
		{"sure but small", 0.0009, 0.0001, Options{}, ""},
		{"large but unsure", 0.002, 0.001, Options{}, ""},
		{"stretched", 0.002, 0.0005, Options{}, "print_stretched"},
		{"squeezed", -0.002, 0.0005, Options{}, "print_stretched"},
		{"as measured", 0.003, 0.0001, measured, ""},
		{"not as measured", 0, 0.0001, measured, "print_scale_doubtful"},
	} {
		w := Print{Stretch: tt.stretch, Sigma: tt.sigma}.Warnings(tt.o)
		code := ""
		if len(w) == 1 {
			code = w[0].Code
		}
		if len(w) > 1 || code != tt.code {
			t.Errorf("%s: %+v", tt.name, w)
		}
	}
}

func TestCurlHeight(t *testing.T) {
	for _, tt := range []struct {
		c    calib.Curl
		want float64
	}{
		{calib.Curl{}, 0},
		{calib.Curl{XX: 4e-5}, 0.4},
		{calib.Curl{YY: -4e-5}, -0.4},
		// z = k (x + y)^2 / 2, a cylinder along the diagonal.
		{calib.Curl{XX: 2e-5, XY: 4e-5, YY: 2e-5}, 0.4},
		{calib.Curl{XX: 3e-5, YY: -5e-5}, -0.5},
	} {
		if got := curlHeight(tt.c); math.Abs(got-tt.want) > 1e-9 {
			t.Errorf("%+v: %v mm, want %v", tt.c, got, tt.want)
		}
	}
}

func TestRoundDown(t *testing.T) {
	for _, tt := range [][2]float64{{1, 1}, {1.9, 1}, {2, 2}, {4.9, 2}, {7, 5}, {0.03, 0.02}, {350, 200}} {
		if got := roundDown(tt[0]); math.Abs(got-tt[1]) > 1e-12 {
			t.Errorf("roundDown(%v) = %v, want %v", tt[0], got, tt[1])
		}
	}
}

func record(model string, solved time.Time) camera.LensRecord {
	return camera.LensRecord{
		Camera: camera.Camera{Make: "Saltpan", Model: model, FocalLengthMM: 4.25, FocalLength35MM: 27, WidthPX: 4000, HeightPX: 3000},
		Lens:   calib.Lens{F: 3000, Cx: 2000, Cy: 1500},
		Sigma:  calib.LensSigma{F: 1, Cx: 1, Cy: 1, K1: 0.001, K2: 0.001, K3: 0.001, P1: 1e-4, P2: 1e-4},
		RMSPx:  0.1, Views: 8, Solved: solved,
	}
}

func TestFits(t *testing.T) {
	r := record("S-1", day)
	facts := photo.Facts{Make: "Saltpan", Model: "S-1", FocalLengthMM: 4.25, FocalLength35MM: 27, Width: 4000, Height: 3000}
	for _, tt := range []struct {
		name   string
		change func(*photo.Facts)
		ok     bool
	}{
		{"same", func(*photo.Facts) {}, true},
		{"says nothing", func(f *photo.Facts) { *f = photo.Facts{Width: 4000, Height: 3000} }, true},
		{"says nothing, other size", func(f *photo.Facts) { *f = photo.Facts{Width: 3000, Height: 4000} }, false},
		{"other model", func(f *photo.Facts) { f.Model = "S-2" }, false},
		{"zoomed", func(f *photo.Facts) { f.FocalLength35MM = 54 }, false},
		{"cropped to the size", func(f *photo.Facts) { f.ExifWidth, f.ExifHeight = 8000, 6000 }, false},
		{"turned", func(f *photo.Facts) { f.Format, f.Width, f.Height = photo.TIFF, 3000, 4000 }, false},
	} {
		f := facts
		tt.change(&f)
		err := Fits(r, f)
		if (err == nil) != tt.ok || err != nil && fault.Code(err) != "lens_mismatch" {
			t.Errorf("%s: %v", tt.name, err)
		}
		var refused *fault.Error
		if errors.As(err, &refused) && strings.Contains(refused.Hint, "may have been turned") != (tt.name == "turned") {
			t.Errorf("%s: hint %q", tt.name, refused.Hint)
		}
	}
}
