package overlay

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/image/draw"
	"golang.org/x/image/tiff"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/calib"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/photo"
	"shadowread/internal/photo/exifwrite"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
	"shadowread/internal/render"
	"shadowread/internal/sheet"
	"shadowread/internal/vision"
)

// The truth about where things stand is the renderer's, which shares no code with
// calib, carried to the overlay by the Exif standard's own words.

// rendered is a small photo of the sheet, made once: the working raster of the
// tests.
var rendered = sync.OnceValues(func() (*image.RGBA, *render.Scene) {
	s := &render.Scene{
		Plate: render.Attitude{Heading: 200 * angle.Degree},
		Rods:  []render.Rod{{Height: 50, Diameter: 3, Material: render.Black}},
		Light: render.Light{
			Body: render.Sun, Azimuth: 100 * angle.Degree, Altitude: 48 * angle.Degree, Disc: 0.533 * angle.Degree,
			ShadowRatio: 0.2, SunColour: [3]float64{1, 1, 1}, SkyColour: [3]float64{1, 1, 1}, Exposure: 0.6,
		},
		Finish: render.Finish{Defocus: 0.5},
	}
	c := render.Camera{Width: 800, Height: 600, Fx: 640, Fy: 640, Cx: 405.5, Cy: 296.25, Dist: [5]float64{-0.08, 0.02, 0, 0, 0}}
	c.LookAt(sheet.Point{X: 12, Y: -8}, 300, 22*angle.Degree, 250*angle.Degree, 35*angle.Degree)
	s.Camera = c
	img, _ := s.Render()
	return img, s
})

// footOffset is by how many mm the strip is said to pass the foot, so that the
// axis and the place of its number are two things.
const footOffset = 0.6

// seenBy is the reading of the rendered scene, from the scene and not from the
// picture.
func seenBy(s *render.Scene, factor int, mirrored bool) *reading.Result {
	c := s.Camera
	fit := &calib.Fit{Plate: calib.Plate{
		Lens: calib.Lens{F: c.Fx, Cx: c.Cx, Cy: c.Cy, K1: c.Dist[0], K2: c.Dist[1]},
		Pose: calib.Pose{T: [3]float64{c.T.X, c.T.Y, c.T.Z}},
	}}
	for i, row := range c.R {
		fit.Pose.R[i] = [3]float64{row.X, row.Y, row.Z}
	}
	r := &reading.Result{
		Plate: fit, Picture: reading.PictureSize{W: c.Width, H: c.Height, Factor: factor, Mirrored: mirrored},
		Instant: &photo.Instant{UTC: time.Date(2026, 9, 7, 13, 19, 19, 90e6, time.UTC)},
		Place:   &photo.Place{Position: geo.Position{Lat: -20 * angle.Degree}},
		Sky:     &bearing.Apparent{Body: bearing.Sun, Azimuth: s.Light.Azimuth, Altitude: s.Light.Altitude},
		Budget:  &reading.Budget{Level: 0.56 * angle.Degree, ShadowFit: 0.01 * angle.Degree},
	}
	for _, m := range sheet.Standard.Marks {
		r.Marks = append(r.Marks, m.ID)
	}
	dir := (s.Light.Azimuth - s.Plate.Heading + math.Pi).Bearing()
	number := (math.Pi - dir).Bearing()
	heading := s.Plate.Heading
	r.Number, r.Heading, r.Sigma = &number, &heading, r.Budget.Sigma()
	r.Shadow = &vision.Strip{Direction: dir, FootOffset: footOffset, Width: 3, From: 8, To: 40}
	for i, along := range []float64{8, 40} {
		for n, end := range map[float64]*[2]calib.Pixel{-1.5: &r.Shadow.Left, 0: &r.Shadow.Axis, 1.5: &r.Shadow.Right} {
			end[i] = pixelOf(s, polarPoint(along, dir, footOffset+n))
		}
	}
	return r
}

// polarPoint lies along mm from the foot in direction dir and across mm to its right.
func polarPoint(along float64, dir angle.Angle, across float64) sheet.Point {
	return sheet.Point{X: along*dir.Sin() + across*dir.Cos(), Y: along*dir.Cos() - across*dir.Sin()}
}

func pixelOf(s *render.Scene, p sheet.Point) calib.Pixel {
	u, v, _ := s.Camera.Project(render.Vec{X: p.X, Y: p.Y})
	return calib.Pixel{U: u, V: v}
}

// store returns the raster that a camera would have stored: every working pixel
// factor by factor times, mirrored or not.
func store(img *image.RGBA, factor int, mirrored bool) *image.RGBA {
	w, h := img.Rect.Dx(), img.Rect.Dy()
	out := image.NewRGBA(image.Rect(0, 0, w*factor, h*factor))
	for y := range h * factor {
		for x := range w * factor {
			u := x / factor
			if mirrored {
				u = w - 1 - u
			}
			out.SetRGBA(x, y, img.RGBAAt(u, y/factor))
		}
	}
	return out
}

func writeJPEG(t testing.TB, path string, img image.Image, tags *exifwrite.Tags) {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	data := b.Bytes()
	if tags != nil {
		var err error
		if data, err = exifwrite.Insert(data, *tags); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
}

// lay draws an overlay into a folder, as the command does.
func lay(path string, r *reading.Result, dir string) (string, error) {
	drawn, err := JPEG(photofile.At(path), r)
	if err != nil {
		return "", err
	}
	return photofile.SaveOverlay(path, dir, drawn)
}

func mustOverlay(t testing.TB, path string, r *reading.Result, dir string) (*image.RGBA, string) {
	t.Helper()
	written, err := lay(path, r, dir)
	if err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(written)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, err := jpeg.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	out := image.NewRGBA(img.Bounds())
	draw.Draw(out, out.Rect, img, img.Bounds().Min, draw.Src)
	return out, written
}

// offset looks along the normal n for what weight sees and returns how far its
// middle lies from at, px, within reach; ok is false where there is nothing.
func offset(img *image.RGBA, at, n spot, reach float64, weight func(color.RGBA) float64) (d float64, ok bool) {
	sum, first := 0.0, 0.0
	for t := -reach; t <= reach; t += 0.25 {
		p := at.add(n.times(t))
		w := weight(img.RGBAAt(int(math.Round(p.x)), int(math.Round(p.y))))
		sum, first = sum+w, first+w*t
	}
	return first / sum, sum > 40
}

func above(x, floor int) float64 { return float64(max(0, x-floor)) }

// printedEdge returns how far into a mark, px, the printed edge lies from at, half
// being the way from the edge to the middle of the black border: the area between
// the profile and the black says where the light ends.
func printedEdge(img *image.RGBA, at, half spot) float64 {
	light := func(t float64) float64 {
		p := at.add(half.times(t))
		return float64(img.RGBAAt(int(math.Round(p.x)), int(math.Round(p.y))).G)
	}
	white, black := light(-1.2), light(1.2)
	end := -1.2
	for t := -1.2; t < 1.2; t += 0.05 {
		end += 0.05 * (light(t) - black) / (white - black)
	}
	return end * half.length()
}

// The overlay's inks against a picture in shades of grey.
func blue(c color.RGBA) float64   { return above(int(c.B)-int(c.R), 40) }
func orange(c color.RGBA) float64 { return above(int(c.R)-int(c.B), 60) }

func TestOverlayGeometry(t *testing.T) {
	// 2 px, as was asked: a thousandth of a large overlay, about the width of a line
	// on a phone. The lines are 1 to 4 px wide and their colour is stored at half
	// the resolution.
	const tolerance = 2.0
	base, scene := rendered()
	w, h := float64(base.Rect.Dx()), float64(base.Rect.Dy())
	for _, tt := range []struct {
		name        string
		orientation int
		row0, col0  string // where they are seen: CIPA DC-008, tag Orientation
		mirrored    bool   // the stored raster is a mirror image
		factor      int
		turnedBack  bool // against what its orientation says
		size        image.Point
	}{
		{"upright", 1, "top", "left", false, 2, false, image.Pt(1600, 1200)},
		{"upside down", 3, "bottom", "right", false, 2, false, image.Pt(1600, 1200)},
		{"clockwise", 6, "right", "top", false, 2, false, image.Pt(1200, 1600)},
		{"counter-clockwise", 8, "left", "bottom", false, 2, false, image.Pt(1200, 1600)},
		{"mirrored", 2, "top", "right", true, 2, false, image.Pt(1600, 1200)},
		{"mirrored about a diagonal", 5, "left", "top", true, 2, false, image.Pt(1200, 1600)},
		{"mirrored about the other", 7, "right", "bottom", true, 2, false, image.Pt(1200, 1600)},
		{"mirrored downwards", 4, "bottom", "left", true, 2, false, image.Pt(1600, 1200)},
		{"mirrored and not tagged", 1, "top", "left", true, 2, true, image.Pt(1600, 1200)},
		{"enlarged", 6, "right", "top", false, 1, false, image.Pt(750, 1000)},
		{"reduced", 8, "left", "bottom", false, 4, false, image.Pt(1500, 2000)},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if testing.Short() && tt.name != "upright" {
				t.Skip("where goroutines share something all are alike")
			}
			// place takes a pixel of the working raster to the overlay.
			place := func(p calib.Pixel) spot {
				fromCol0, fromRow0 := (p.U+0.5)/w, (p.V+0.5)/h
				if tt.mirrored {
					fromCol0 = 1 - fromCol0
				}
				var x, y float64
				for _, s := range []struct {
					side string
					part float64
				}{{tt.row0, fromRow0}, {tt.col0, fromCol0}} {
					switch s.side {
					case "left":
						x = s.part
					case "right":
						x = 1 - s.part
					case "top":
						y = s.part
					case "bottom":
						y = 1 - s.part
					}
				}
				if tt.turnedBack {
					x = 1 - x
				}
				return spot{x*float64(tt.size.X) - 0.5, y*float64(tt.size.Y) - 0.5}
			}
			at := func(p sheet.Point) spot { return place(pixelOf(scene, p)) }
			// square is the unit normal in the overlay of the line from a to b.
			square := func(a, b sheet.Point) spot {
				d := at(b).sub(at(a))
				return spot{-d.y, d.x}.times(1 / d.length())
			}
			dir := t.TempDir()
			path := filepath.Join(dir, "photo.jpg")
			writeJPEG(t, path, store(base, tt.factor, tt.mirrored), &exifwrite.Tags{Orientation: tt.orientation})

			bare := seenBy(scene, tt.factor, tt.mirrored)
			bare.Marks, bare.Shadow = nil, nil
			plain, _ := mustOverlay(t, path, bare, dir)
			drawn, _ := mustOverlay(t, path, seenBy(scene, tt.factor, tt.mirrored), dir)
			if drawn.Rect.Dx() != tt.size.X || drawn.Rect.Dy() <= tt.size.Y {
				t.Fatalf("the overlay has %v, want %d across and a band below %d", drawn.Rect.Size(), tt.size.X, tt.size.Y)
			}
			worst := 0.0
			check := func(what string, img *image.RGBA, p spot, n spot, reach float64, weight func(color.RGBA) float64) {
				t.Helper()
				if d, ok := offset(img, p, n, reach, weight); !ok {
					t.Errorf("%s: not there", what)
				} else if math.Abs(d) > tolerance {
					t.Errorf("%s: %.2f px off", what, d)
				} else if math.Abs(d) > math.Abs(worst) {
					worst = d
				}
			}
			seen := 0
			for _, m := range sheet.Standard.Marks {
				k := m.Corners()
				// A sixth of the side is the black border: the line through its middle.
				inner := sheet.Mark{X: m.X, Y: m.Y, Side: m.Side * 5 / 6}.Corners()
				for i := range 4 {
					j := (i + 1) % 4
					middle := func(c [4]sheet.Point) sheet.Point {
						return sheet.Point{X: 0.3*c[i].X + 0.7*c[j].X, Y: 0.3*c[i].Y + 0.7*c[j].Y}
					}
					n := square(k[i], k[j])
					edge := at(middle(k))
					if edge.x < 10 || edge.y < 10 || edge.x > float64(tt.size.X-10) || edge.y > float64(tt.size.Y-10) {
						continue
					}
					seen++
					inward := at(middle(inner)).sub(edge)
					half := n.x*inward.x + n.y*inward.y // of the border's width, along n
					if off := printedEdge(plain, edge, n.times(half)); math.Abs(off) > tolerance {
						t.Errorf("mark %d, edge %d in the picture: %.1f px off", m.ID, i, off)
					}
					check(fmt.Sprintf("mark %d, edge %d", m.ID, i), drawn, edge, n, 6, blue)
				}
			}
			if seen < 40 {
				t.Errorf("only %d edges of marks in the picture", seen)
			}
			r := seenBy(scene, tt.factor, tt.mirrored)
			for deg := 5; deg < 360; deg += 10 { // between the ticks drawn
				a := angle.FromDegrees(float64(deg))
				if (a - r.Shadow.Direction).Signed().Abs() < 8*angle.Degree {
					continue // the shadow's own ink
				}
				check(fmt.Sprintf("ring at %d", deg), drawn, at(polarPoint(58, a, 0)), square(polarPoint(58, a-0.01, 0), polarPoint(58, a+0.01, 0)), 6, blue)
			}
			for _, y := range []float64{20, 40, 75} {
				check(fmt.Sprintf("forward axis at %g mm", y), drawn, at(sheet.Point{Y: y}), square(sheet.Point{Y: y - 1}, sheet.Point{Y: y + 1}), 6, blue)
			}
			d := r.Shadow.Direction
			for _, along := range []float64{12, 25, 38, 46, 52} {
				check(fmt.Sprintf("shadow's axis at %g mm", along), drawn, at(polarPoint(along, d, footOffset)), square(polarPoint(along-1, d, footOffset), polarPoint(along+1, d, footOffset)), 6, orange)
			}
			// The number is read where the scale says it: n stands at 180 - n.
			n := math.Pi - *r.Number
			check("number on the scale", drawn, at(polarPoint(58, n, 0)), square(polarPoint(57, n, 0), polarPoint(59, n, 0)), 14, orange)
			t.Logf("lines within %.2f px", math.Abs(worst))
			for _, across := range []float64{-1.5, 1.5} { // dashes: about half of it
				white, all := 0, 0
				for along := 10.0; along < 38; along += 0.2 {
					p := at(polarPoint(along, d, footOffset+across))
					if c := drawn.RGBAAt(int(math.Round(p.x)), int(math.Round(p.y))); min(c.R, c.G, c.B) > 225 {
						white++
					}
					all++
				}
				if part := float64(white) / float64(all); part < 0.3 || part > 0.7 {
					t.Errorf("edge %g mm off the axis: %.0f %% of it is white, want about half", across, 100*part)
				}
			}
		})
	}
}

// words joins what a band says.
func words(b *band) string {
	var out []string
	for _, r := range b.runs {
		out = append(out, strings.TrimSpace(r.s))
	}
	return strings.Join(out, " ")
}

func TestOverlayWords(t *testing.T) {
	_, scene := rendered()
	change := func(f func(*reading.Result)) *reading.Result {
		r := seenBy(scene, 1, false)
		f(r)
		return r
	}
	deg := func(d float64) *angle.Angle { a := angle.FromDegrees(d); return &a }
	for _, tt := range []struct {
		name string
		r    *reading.Result
		has  []string
		not  []string
	}{
		{"heading", change(func(r *reading.Result) {}), []string{
			"heading 200.0° true ± 1.1° (95 %)", "number 100.00 under the shadow", "time 2026-09-07 13:19:19 UTC",
			"sun azimuth 100.00°, altitude 48.00°", "± mostly level 1.1°"}, []string{"warning", "course", "no heading"}},
		{"full turn", change(func(r *reading.Result) { r.Heading, r.Number = deg(359.996), deg(359.9951) }), []string{"heading 000.0°", "number 0.00 under"}, []string{"360"}},
		{"no doubt is never nothing", change(func(r *reading.Result) {
			r.Sigma, r.Budget = 0.0062*angle.Degree, &reading.Budget{Body: 0.0062 * angle.Degree}
		}),
			[]string{"heading 200.00° true ± 0.01°"}, nil},
		{"great doubt", change(func(r *reading.Result) { r.Sigma = 2.34 * angle.Degree }), []string{"heading 200.0° true ± 4.6°"}, nil},
		{"turn right", change(func(r *reading.Result) { r.Course, r.Come = deg(212.3), deg(12.3) }), []string{"course 212.3°: turn right 12.3°"}, nil},
		{"turn left", change(func(r *reading.Result) { r.Course, r.Come = deg(190), deg(-10) }), []string{"course 190.0°: turn left 10.0°"}, nil},
		{"on course", change(func(r *reading.Result) { r.Course, r.Come = deg(200), deg(-0.001) }), []string{"on course"}, []string{"left"}},
		{"warning", change(func(r *reading.Result) {
			r.Warnings = []photo.Warning{{Code: "clock_check_failed", Message: "the shadow is too long for the time"}}
		}), []string{"warning the shadow is too long for the time"}, nil},
		{"refusal", change(func(r *reading.Result) {
			r.Heading, r.Budget, r.Shadow, r.Number = nil, nil, nil, nil
			r.Reason, r.Message = reading.NoShadow, "no shadow of the rod on the dial: wait for a clear sun, keep everything else from shading the dial, and take the photo from above"
		}), []string{"no heading: no shadow", "no shadow of the rod on the dial: wait for a clear sun, keep everything else from shading the dial, and take the photo from above",
			"time 2026-09-07", "sun azimuth"}, []string{"true", "±", "under the shadow"}},
		{"nothing known", &reading.Result{Reason: reading.TooFewMarks, Message: "take the whole sheet"}, []string{"no heading: too few marks take the whole sheet"}, []string{"time", "sun"}},
	} {
		for _, width := range []float64{400, 1500, 2000} {
			l := &lettering{width: width}
			b := bandOf(tt.r, l)
			if l.err != nil {
				t.Fatal(l.err)
			}
			said := words(b)
			for _, s := range tt.has {
				if !strings.Contains(said, s) {
					t.Errorf("%s: %q does not say %q", tt.name, said, s)
				}
			}
			for _, s := range tt.not {
				if strings.Contains(said, s) {
					t.Errorf("%s: %q says %q", tt.name, said, s)
				}
			}
			for _, r := range b.runs {
				if end := r.x + l.measure(r.s, r.em, r.bold); end > width {
					t.Errorf("%s at %g px: %q ends at %.0f px", tt.name, width, r.s, end)
				}
				if r.y < r.em/2 || r.y > b.height {
					t.Errorf("%s at %g px: %q stands at %.0f px in a band of %.0f", tt.name, width, r.s, r.y, b.height)
				}
				// The least that is asked for; an em is the height from line to line.
				if r.em < width/40 {
					t.Errorf("%s at %g px: %q is %.1f px high", tt.name, width, r.s, r.em)
				}
			}
		}
	}
}

func TestOverlayFiles(t *testing.T) {
	base, scene := rendered()
	dir := t.TempDir()
	r := seenBy(scene, 1, false)
	write := func(name string) string {
		path := filepath.Join(dir, name)
		writeJPEG(t, path, base, nil)
		return path
	}
	a, b, out := write("a/photo.jpg"), write("b/photo.jpg"), filepath.Join(dir, "new", "out")
	_, first := mustOverlay(t, a, r, out)
	if want := filepath.Join(out, "photo-overlay.jpg"); first != want {
		t.Errorf("%s, want %s", first, want)
	}
	_, second := mustOverlay(t, b, r, out)
	if second == first || !strings.HasSuffix(second, "-overlay.jpg") {
		t.Errorf("a photo of the same name from another folder went to %s", second)
	}
	for path, want := range map[string]string{a: first, b: second} {
		if _, got := mustOverlay(t, path, r, out); got != want {
			t.Errorf("again: %s, want %s", got, want)
		}
	}
	if left, _ := filepath.Glob(filepath.Join(out, "*")); len(left) != 2 {
		t.Errorf("left in the folder: %v", left)
	}
	if left, _ := filepath.Glob(filepath.Join(out, ".*")); len(left) != 0 {
		t.Errorf("left in the folder: %v", left)
	}

	// What is somebody else's stays, be it a photo to be read.
	mine := write("c/photo-overlay.jpg")
	before, _ := os.ReadFile(mine)
	_, third := mustOverlay(t, write("c/photo.jpg"), r, filepath.Join(dir, "c"))
	if after, _ := os.ReadFile(mine); third == mine || !bytes.Equal(before, after) {
		t.Error("a photo was written over")
	}

	// Photos of one name at the same time.
	var wg sync.WaitGroup
	names := make([]string, 4)
	for i := range names {
		path := write(fmt.Sprintf("%d/same.jpg", i))
		wg.Go(func() { names[i], _ = lay(path, r, filepath.Join(dir, "d")) })
	}
	wg.Wait()
	if left, _ := filepath.Glob(filepath.Join(dir, "d", "*-overlay.jpg")); len(left) != len(names) {
		t.Errorf("%d photos at once left %v", len(names), left)
	}
}

func TestOverlayTellsNoPlace(t *testing.T) {
	base, scene := rendered()
	path := filepath.Join(t.TempDir(), "photo.jpg")
	writeJPEG(t, path, base, &exifwrite.Tags{Make: "Lumora", GPS: &geo.Position{Lat: -20 * angle.Degree}, Orientation: 1})
	_, written := mustOverlay(t, path, seenBy(scene, 1, false), filepath.Dir(path))
	data, err := os.ReadFile(written)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range []string{"Exif", "Lumora", "GPS", filepath.Dir(path)} {
		if bytes.Contains(data, []byte(s)) {
			t.Errorf("the overlay contains %q", s)
		}
	}
}

func TestOverlayFormats(t *testing.T) {
	base, scene := rendered()
	dir := t.TempDir()
	for name, encode := range map[string]func(*os.File) error{
		"photo.png":  func(f *os.File) error { return png.Encode(f, base) },
		"photo.tiff": func(f *os.File) error { return tiff.Encode(f, base, nil) },
	} {
		path := filepath.Join(dir, name)
		f, err := os.Create(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := encode(f); err != nil {
			t.Fatal(err)
		}
		f.Close()
		if img, _ := mustOverlay(t, path, seenBy(scene, 1, false), dir); img.Rect.Dx() != overlayLeast {
			t.Errorf("%s: %v", name, img.Rect)
		}
	}
	if !photo.DecodesHEIC {
		t.Skip("NOT CHECKED: HEIC, for want of the build tag nodynamic")
	}
	// 96 x 64 and turned by the file itself: Exif must not turn it again.
	img, _ := mustOverlay(t, filepath.Join("..", "photo", "testdata", "photos", "irot.heic"), &reading.Result{Reason: reading.TooFewMarks}, dir)
	if img.Rect.Dx() != 667 || img.Rect.Dy() <= 1000 {
		t.Errorf("HEIC: %v, want 667 x 1000 and a band", img.Rect)
	}
}

func TestOverlayFails(t *testing.T) {
	base, scene := rendered()
	r := seenBy(scene, 1, false)
	dir := t.TempDir()
	good := filepath.Join(dir, "good.jpg")
	writeJPEG(t, good, base, nil)
	file := filepath.Join(dir, "file")
	text := filepath.Join(dir, "text.jpg")
	damaged := filepath.Join(dir, "damaged.png")
	var b bytes.Buffer
	if err := png.Encode(&b, base); err != nil {
		t.Fatal(err)
	}
	clear(b.Bytes()[2000:20000])
	for name, data := range map[string][]byte{file: []byte("x"), text: []byte("no photo"), damaged: b.Bytes()} {
		if err := os.WriteFile(name, data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for _, tt := range []struct{ name, path, dir, code string }{
		{"folder is a file", good, file, "overlay_not_written"},
		{"folder below a file", good, filepath.Join(file, "out"), "overlay_not_written"},
		{"folder of no name", good, filepath.Join(dir, "a\x00b"), "overlay_not_written"},
		{"text", text, filepath.Join(dir, "out"), "unreadable_file"},
		{"damaged", damaged, filepath.Join(dir, "out"), "unreadable_file"},
		{"missing", filepath.Join(dir, "missing.jpg"), filepath.Join(dir, "out"), "unreadable_file"},
	} {
		written, err := lay(tt.path, r, tt.dir)
		if fault.Code(err) != tt.code || written != "" {
			t.Errorf("%s: %q, %v, want %s", tt.name, written, err, tt.code)
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "out")); err == nil {
		t.Error("a folder was made for nothing")
	}
}

// A photo of 12 megapixels, file to file.
func BenchmarkOverlay(b *testing.B) {
	base, scene := rendered()
	dir := b.TempDir()
	path := filepath.Join(dir, "photo.jpg")
	writeJPEG(b, path, store(base, 5, false), nil)
	r := seenBy(scene, 5, false)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := lay(path, r, dir); err != nil {
			b.Fatal(err)
		}
	}
}
