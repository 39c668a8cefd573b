package reading_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"hash/crc32"
	"image"
	"image/jpeg"
	"image/png"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/image/tiff"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/geo"
	"shadowread/internal/photo"
	"shadowread/internal/photo/exifwrite"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
	"shadowread/internal/render"
	"shadowread/internal/testpipe"
)

// plain is a photo without any trap, drawn once, with its scene and truth.
var plain = sync.OnceValue(func() (p struct {
	img   *image.RGBA
	scene *render.Scene
	truth *render.Truth
}) {
	p.scene = scene(48*deg, 18*deg, 200*deg)
	p.img, p.truth = p.scene.Render()
	return p
})

// tags are what a camera would write beside the plain scene: a clock at two hours from
// UTC and a fix a second old.
func tags(s *render.Scene, w, h int) exifwrite.Tags {
	offset := 2 * time.Hour
	return exifwrite.Tags{
		Make: "Invented", Orientation: 1, Width: w, Height: h,
		Clock: s.Time.Add(offset), ClockOffset: &offset, GPSTime: s.Time.Add(-time.Second),
		GPS: &geo.Position{Lat: s.Lat, Lon: s.Lon}, GPSErrorMetres: 5,
	}
}

func encodeJPEG(t *testing.T, img image.Image) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 95}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// photograph writes img as a JPEG with Exif data and returns its path.
func photograph(t *testing.T, img image.Image, x exifwrite.Tags) string {
	t.Helper()
	data, err := exifwrite.Insert(encodeJPEG(t, img), x)
	if err != nil {
		t.Fatal(err)
	}
	return file(t, "photo.jpg", data)
}

func file(t *testing.T, name string, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func read(path string, o reading.Options) *reading.Result {
	return reading.Read(context.Background(), photofile.At(path), o)
}

// stored returns the raster that a camera stores beside the given Exif orientation for
// what is seen upright as img: the tag names the sides of the scene on which the
// raster's row 0 and column 0 lie (CIPA DC-008, tag 0x0112).
func stored(img *image.RGBA, orientation int) *image.RGBA {
	w, h := img.Rect.Dx(), img.Rect.Dy()
	seen := map[int]func(x, y int) (int, int){
		1: func(x, y int) (int, int) { return x, y },                 // top, left
		2: func(x, y int) (int, int) { return w - 1 - x, y },         // top, right
		3: func(x, y int) (int, int) { return w - 1 - x, h - 1 - y }, // bottom, right
		4: func(x, y int) (int, int) { return x, h - 1 - y },         // bottom, left
		5: func(x, y int) (int, int) { return y, x },                 // left, top
		6: func(x, y int) (int, int) { return w - 1 - y, x },         // right, top
		7: func(x, y int) (int, int) { return w - 1 - y, h - 1 - x }, // right, bottom
		8: func(x, y int) (int, int) { return y, h - 1 - x },         // left, bottom
	}[orientation]
	size := image.Rect(0, 0, w, h)
	if orientation >= 5 {
		size = image.Rect(0, 0, h, w)
	}
	out := image.NewRGBA(size)
	for y := range size.Dy() {
		for x := range size.Dx() {
			u, v := seen(x, y)
			out.SetRGBA(x, y, img.RGBAAt(u, v))
		}
	}
	return out
}

// sameHeading is how far copies of one photo may differ: their compression differs, and
// so do the corners of the same marks, by some hundredths of a pixel.
const sameHeading = 0.02 * angle.Degree

// manyPictures leaves a test that draws dozens of them out of a short run, as the second one is that rests on
// the other way of pixels: the two are held to each other where they are.
func manyPictures(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("many pictures")
	}
}

func TestEveryOrientationGivesTheSameHeading(t *testing.T) {
	p := plain()
	for o := 1; o <= 8; o++ {
		raster := stored(p.img, o)
		x := tags(p.scene, raster.Rect.Dx(), raster.Rect.Dy())
		x.Orientation = o
		r := read(photograph(t, raster, x), reading.Defaults())
		if !r.OK() {
			t.Errorf("orientation %d: %s: %s", o, r.Reason, r.Message)
			continue
		}
		if e := (*r.Heading - angle.FromDegrees(*p.truth.StripReader)).Signed(); e.Abs() > sameHeading {
			t.Errorf("orientation %d: error %v", o, e)
		}
		for _, w := range r.Warnings {
			t.Errorf("orientation %d: warns %s", o, w.Code)
		}
	}
}

func TestPicturesTampered(t *testing.T) {
	p := plain()
	w, h := p.img.Rect.Dx(), p.img.Rect.Dy()
	mirrored := stored(p.img, 2)
	crop := func(r image.Rectangle) image.Image { return p.img.SubImage(r) }
	for _, tt := range []struct {
		name string
		img  image.Image
		exif exifwrite.Tags
		warn string
	}{
		{"mirrored by a front camera", mirrored, tags(p.scene, w, h), "picture_mirrored"},
		{"mirrored and turned", stored(mirrored, 8), tags(p.scene, h, w), "picture_mirrored"},
		{"turned, the tag lost", stored(p.img, 6), tags(p.scene, h, w), ""},
		{"cropped, whole size in the Exif", crop(image.Rect(250, 60, 1400, 1140)), tags(p.scene, w, h), ""},
		{"cropped, Exif rewritten", crop(image.Rect(250, 60, 1400, 1140)), tags(p.scene, 1150, 1080), ""},
		{"cropped far off the middle", crop(image.Rect(300, 0, 1600, 1010)), tags(p.scene, w, h), ""},
	} {
		r := read(photograph(t, tt.img, tt.exif), reading.Defaults())
		t.Run(tt.name, func(t *testing.T) { mustRead.check(t, r, p.truth) })
		found := slices.ContainsFunc(r.Warnings, func(x photo.Warning) bool { return x.Code == tt.warn })
		if tt.warn != "" && !found {
			t.Errorf("%s: no warning %s in %v", tt.name, tt.warn, r.Warnings)
		}
	}
}

// A print stretched by 0.5 % one way costs up to 0.14 degree; measured and told, it
// costs nothing.
func TestStretchedPrintIsSetRightByItsMeasuredScale(t *testing.T) {
	for _, tt := range []struct{ x, y float64 }{{1.005, 0.998}, {0.99, 1.002}} {
		s := scene(40*deg, 40*deg, 200*deg)
		s.Plate.Heading -= 25 * deg // towards the diagonal, where it costs most
		s.Paper.ScaleX, s.Paper.ScaleY = tt.x, tt.y
		o := exactly(s)
		o.PrintScale = &[2]float64{tt.x, tt.y}
		r, truth := readScene(t, s, o)
		mustRead.check(t, r, truth)
	}
}

// The same picture in every format gives the same heading. Only the JPEG carries Exif
// data here: time and place are given.
func TestEveryFormatGivesTheSameHeading(t *testing.T) {
	p := plain()
	var lossless, tiffed bytes.Buffer
	if err := png.Encode(&lossless, p.img); err != nil {
		t.Fatal(err)
	}
	if err := tiff.Encode(&tiffed, p.img, &tiff.Options{Compression: tiff.Deflate}); err != nil {
		t.Fatal(err)
	}
	files := map[string]string{
		"jpeg": photograph(t, p.img, tags(p.scene, 1600, 1200)),
		"png":  file(t, "photo.png", lossless.Bytes()),
		"tiff": file(t, "photo.tif", tiffed.Bytes()),
	}
	if tool, err := exec.LookPath("heif-enc"); err == nil && photo.DecodesHEIC {
		files["heic"] = filepath.Join(t.TempDir(), "photo.heic")
		if out, err := exec.Command(tool, "-q", "92", "-o", files["heic"], files["png"]).CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
	} else {
		t.Log("NOT CHECKED: HEIC, for want of heif-enc or of the build tag nodynamic")
	}
	for format, path := range files {
		r := read(path, exactly(p.scene))
		if !r.OK() {
			t.Errorf("%s: %s: %s", format, r.Reason, r.Message)
			continue
		}
		if e := (*r.Heading - angle.FromDegrees(*p.truth.StripReader)).Signed(); e.Abs() > sameHeading {
			t.Errorf("%s: error %v", format, e)
		}
	}
}

// pngHeader is a PNG of the given size that holds no pixel (PNG specification, 11.2.2).
func pngHeader(w, h int) []byte {
	b := []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\x0dIHDR")
	b = binary.BigEndian.AppendUint32(b, uint32(w))
	b = binary.BigEndian.AppendUint32(b, uint32(h))
	b = append(b, 8, 2, 0, 0, 0)
	b = binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[12:]))
	return append(b, "\x00\x00\x00\x00IDAT\x35\xaf\x06\x1e\x00\x00\x00\x00IEND\xae\x42\x60\x82"...)
}

// resized is a JPEG whose frame header claims another size (ITU-T T.81, B.2.2).
func resized(data []byte, w, h int) []byte {
	b := bytes.Clone(data)
	at := bytes.Index(b, []byte{0xff, 0xc0}) + 5
	binary.BigEndian.PutUint16(b[at:], uint16(h))
	binary.BigEndian.PutUint16(b[at+2:], uint16(w))
	return b
}

func TestBadFilesAreRefused(t *testing.T) {
	p := plain()
	x := tags(p.scene, 1600, 1200)
	good, err := exifwrite.Insert(encodeJPEG(t, p.img), x)
	if err != nil {
		t.Fatal(err)
	}
	var lossless, tiffed bytes.Buffer
	if err := png.Encode(&lossless, p.img); err != nil {
		t.Fatal(err)
	}
	if err := tiff.Encode(&tiffed, p.img, nil); err != nil {
		t.Fatal(err)
	}
	replaced := func(old, with string) []byte {
		if !bytes.Contains(good, []byte(old)) {
			t.Fatalf("no %q to replace", old)
		}
		return bytes.ReplaceAll(good, []byte(old), []byte(with))
	}
	date := x.Clock.Format("2006:01:02 15:04:05")
	for _, tt := range []struct {
		name, file string
		data       []byte
		reason     reading.Reason
		says       string // what to do
	}{
		{"zero bytes", "photo.jpg", nil, reading.UnreadableFile, "copy the original"},
		{"text", "photo.jpg", []byte("no photo, but the list of stores\n"), reading.UnreadableFile, "JPEG"},
		{"text, long", "photo.jpg", bytes.Repeat([]byte("stores, "), 1<<16), reading.UnreadableFile, "JPEG"},
		{"start of a JPEG", "photo.jpg", good[:2], reading.UnreadableFile, "JPEG"},
		{"a tenth of a JPEG", "photo.jpg", good[:len(good)/10], reading.UnreadableFile, "copy the original"},
		{"half a JPEG", "photo.jpg", good[:len(good)/2], reading.UnreadableFile, "copy the original"},
		{"most of a JPEG", "photo.jpg", good[:len(good)*95/100], reading.UnreadableFile, "copy the original"},
		{"a JPEG of 30000 x 30000", "photo.jpg", resized(good, 30000, 30000), reading.TooLarge, "lower resolution"},
		{"a PNG of 30000 x 30000", "photo.png", pngHeader(30000, 30000), reading.TooLarge, "lower resolution"},
		{"half a PNG", "photo.png", lossless.Bytes()[:lossless.Len()/2], reading.UnreadableFile, "copy the original"},
		{"half a TIFF", "photo.tif", tiffed.Bytes()[:tiffed.Len()/2], reading.UnreadableFile, "copy the original"},
		{"a PNG of no size", "photo.png", pngHeader(0, 1200), reading.UnreadableFile, "copy the original"},
		{"month 13", "photo.jpg", replaced(date, "2026:13:45 25:61:00"), reading.NoTime, "--time"},
		{"no date", "photo.jpg", replaced(date, "    :  :     :  :  "), reading.NoTime, "--time"},
		{"year 9999", "photo.jpg", replaced(date, "9999"+date[4:]), reading.TimeOutOfRange, ""},
		{"latitude 112", "photo.jpg", replaced(string(rational(22)), string(rational(112))), reading.NoPosition, "--position"},
		{"latitude over 0", "photo.jpg", replaced(string(rational(22)), string(make([]byte, 8))), reading.NoPosition, "--position"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r := read(file(t, tt.file, tt.data), reading.Defaults())
			if r.Reason != tt.reason || !strings.Contains(r.Message, tt.says) || r.Heading != nil {
				t.Errorf("%q %q, heading %v; want %s with %q", r.Reason, r.Message, r.Heading, tt.reason, tt.says)
			}
		})
	}
}

// rational is a whole number of degrees as the Exif writer puts it down.
func rational(v int) []byte {
	return binary.LittleEndian.AppendUint32(binary.LittleEndian.AppendUint32(nil, uint32(v)), 1)
}

func TestWhatIsNoFileIsRefused(t *testing.T) {
	dir := t.TempDir()
	pipe := filepath.Join(dir, "pipe.jpg")
	testpipe.Make(t, pipe)
	locked := file(t, "locked.jpg", encodeJPEG(t, plain().img))
	if err := os.Chmod(locked, 0); err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct{ name, path, says string }{
		{"a folder", dir, "name a photo"},
		{"a pipe", pipe, "name a photo"}, // would wait for ever when opened
		{"nothing", filepath.Join(dir, "none.jpg"), "check the name"},
		{"no permission", locked, "permission"},
	} {
		if tt.path == locked && os.Geteuid() == 0 {
			t.Log("NOT CHECKED: no permission, since the superuser may read everything")
			continue
		}
		if r := read(tt.path, reading.Defaults()); r.Reason != reading.UnreadableFile || !strings.Contains(r.Message, tt.says) {
			t.Errorf("%s: %q %q, want %q", tt.name, r.Reason, r.Message, tt.says)
		}
	}
}

// One wrong bit in a JPEG shifts or spoils all that follows in the picture: whatever
// comes of it must be a refusal or still be right.
func TestFlippedBitsNeverGiveAWrongHeading(t *testing.T) {
	p := plain()
	good := encodeJPEG(t, p.img)
	r := rand.New(rand.NewPCG(1, 2))
	path := file(t, "flipped.jpg", nil)
	for i := range 40 {
		bad := bytes.Clone(good)
		at := r.IntN(len(bad))
		if i%4 == 0 { // in the headers and tables
			at = r.IntN(620)
		}
		bad[at] ^= 1 << r.IntN(8)
		if err := os.WriteFile(path, bad, 0o600); err != nil {
			t.Fatal(err)
		}
		expect{read: true, refused: []reading.Reason{reading.UnreadableFile, reading.TooLarge, reading.TooFewMarks, reading.PoorMap,
			reading.NoShadow, reading.AmbiguousShadow, reading.RodHidesShadow, reading.ClockCheck}, hard: true}.check(t, read(path, exactly(p.scene)), p.truth)
		if t.Failed() {
			t.Fatalf("flip %d, at byte %d of %d", i, at, len(good))
		}
	}
}

// under puts the scene under the sun of another time and place, the shadow where it was
// on the plate.
func under(s *render.Scene, at time.Time, place geo.Position) {
	sun, err := bearing.Observe(bearing.Sun, at, place, 0)
	if err != nil {
		panic(err)
	}
	s.Time, s.Lat, s.Lon = at, place.Lat, place.Lon
	s.Light.Azimuth, s.Light.Altitude = sun.Azimuth, sun.Altitude
	s.Plate.Heading = (sun.Azimuth + 180*deg - shadowDir).Bearing()
}

func TestClockCheck(t *testing.T) {
	morning := scene(48*deg, 18*deg, 200*deg)
	noon := scene(48*deg, 18*deg, 200*deg)
	// Local noon in March, the sun 47 degrees high: 2 hours and 22 minutes east.
	under(noon, time.Date(2026, 3, 28, 9, 43, 0, 0, time.UTC), geo.Position{Lat: 46 * deg, Lon: 35.5 * deg})
	leaning := scene(48*deg, 18*deg, 200*deg)
	// Along the shadow, so that the heading is not touched.
	leaning.Plate.Pitch, leaning.Plate.Roll = 3*deg*angle.Angle(shadowDir.Cos()), 3*deg*angle.Angle(shadowDir.Sin())
	for _, tt := range []struct {
		name   string
		scene  *render.Scene
		change func(*reading.Options)
		want   reading.ClockVerdict
		says   []string
	}{
		{"right", morning, func(*reading.Options) {}, reading.ClockPassed, nil},
		{"a minute fast", morning, later(time.Minute), reading.ClockPassed, nil},
		{"an hour fast", morning, later(time.Hour), reading.ClockFailed, []string{"1 h (fast)", "clock", "zone", "position"}},
		{"an hour slow", morning, later(-time.Hour), reading.ClockFailed, []string{"1 h (slow)", "clock", "zone", "position"}},
		{"half an hour fast", morning, later(30 * time.Minute), reading.ClockFailed, []string{"0.5 h (fast)"}},
		{"wrong hemisphere", morning, func(o *reading.Options) { o.Position.Position.Lat *= -1 }, reading.ClockFailed, []string{"sign"}},
		{"noon", noon, func(*reading.Options) {}, reading.ClockWeak, nil},
		{"rod's height not given", morning, func(o *reading.Options) { o.Rod.HeightMM = 0 }, "", nil},
		{"plate pitched", leaning, func(*reading.Options) {}, reading.ClockFailed, []string{"not level"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			o := exactly(tt.scene)
			o.Rod.HeightMM = tt.scene.Rods[0].Height
			tt.change(&o)
			r, truth := readScene(t, tt.scene, o)
			if tt.want != "" && r.Clock != tt.want || r.Clock == "" {
				t.Errorf("verdict %q, want %q", r.Clock, tt.want)
			}
			said := r.Message
			for _, w := range r.Warnings {
				said += "; " + w.Message
			}
			for _, s := range tt.says {
				if !strings.Contains(said, s) {
					t.Errorf("nothing about %q in %q", s, said)
				}
			}
			if r.OK() { // what is wrong with the time must be in the sigma
				e := (*r.Heading - angle.FromDegrees(truth.Heading)).Signed()
				if e.Abs() > 4*r.Sigma {
					t.Errorf("WRONG: error %v, sigma %v", e, r.Sigma)
				}
			}
			if a := r.AltitudeFromShadow; o.Rod.HeightMM > 0 && a != nil {
				// 0.3 mm of 45 mm at the tip, where the penumbra is a third of a millimetre.
				want := angle.FromDegrees(*truth.BodyAbovePlate)
				if (*a - want).Abs() > 0.3*deg {
					t.Errorf("altitude from the shadow %v, want %v", *a, want)
				}
			}
		})
	}
}

// The rod's own image contradicts a stated height by a quarter: the reading says so, and a
// right hour is not accused for it.
func TestRodHeightDiffers(t *testing.T) {
	s := scene(48*deg, 30*deg, 200*deg)
	for stated, want := range map[float64]bool{50: false, 63: true, 38: true} {
		o := exactly(s)
		o.Rod.HeightMM = stated
		r, _ := readScene(t, s, o)
		if got := warned(r, "rod_height_differs"); got != want || !r.OK() || r.Clock == reading.ClockFailed {
			t.Errorf("stated %v mm: told %v, reason %q, clock %s", stated, got, r.Reason, r.Clock)
		}
	}
}

// A time that somebody gives is held against the photo's GPS stamp.
func TestGivenTimeAgainstGPSStamp(t *testing.T) {
	p := plain()
	path := photograph(t, p.img, tags(p.scene, 1600, 1200))
	for by, want := range map[time.Duration]bool{0: false, time.Hour: true, -time.Hour: true} {
		o := reading.Defaults()
		o.Time.At = new(p.scene.Time.Add(by))
		if r := read(path, o); warned(r, "gps_time_differs") != want {
			t.Errorf("%v off: warnings %v", by, r.Warnings)
		}
	}
}

// Exposure and the camera's direction come from the photo's Exif data: a photo exposed for
// the night (f/1.8, 1/10 s, ISO 3200: -0.3 by log2(N²/t) - log2(S/100), ISO 2720) is not
// read by the sun unasked, one exposed for the day (f/1.8, 1/2000 s, ISO 50: 13.7) is; and a
// camera that pointed the other way is told of.
func TestWhatExifSaysOfLightAndDirection(t *testing.T) {
	s := scene(48*deg, 40*deg, 160*deg)
	img, _ := s.Render()
	x := tags(s, 1600, 1200)
	x.FNumber, x.ExposureSeconds, x.ISO = 1.8, 1.0/2000, 50
	// The camera stands at 160 degrees on the sheet and looks back.
	x.Direction, x.DirectionRef = new((s.Plate.Heading + 340*deg).Bearing()), "T"
	if r := read(photograph(t, img, x), reading.Defaults()); !r.OK() || r.Facts.EV100 == nil || math.Abs(*r.Facts.EV100-13.66) > 0.05 || warned(r, "compass_disagrees") {
		t.Errorf("by day: reason %q, exposure %v, warnings %v", r.Reason, r.Facts.EV100, r.Warnings)
	}
	x.Direction = new((s.Plate.Heading + 160*deg).Bearing())
	if r := read(photograph(t, img, x), reading.Defaults()); !r.OK() || !warned(r, "compass_disagrees") {
		t.Errorf("compass half a circle off: reason %q, warnings %v", r.Reason, r.Warnings)
	}
	x.ExposureSeconds, x.ISO = 0.1, 3200
	if r := read(photograph(t, img, x), reading.Defaults()); r.Reason != reading.LightDisagrees {
		t.Errorf("by night: reason %q", r.Reason)
	}
	o, sun := reading.Defaults(), bearing.Sun
	o.Body = &sun
	if r := read(photograph(t, img, x), o); !r.OK() || !warned(r, "light_disagrees") {
		t.Errorf("by night, the sun said: reason %q, warnings %v", r.Reason, r.Warnings)
	}
}

// At night with the moon up, the shadow that a lamp casts must not pass for the moon's: a
// vehicle's light some metres off is broader than the moon, and blurs the edges more. The
// moon's own shadow from the same place is read. The renderer's light has no distance, only
// its breadth; where the lamp stands in the sky by chance as high as the moon, nothing else
// tells.
func TestLampAtNight(t *testing.T) {
	at := time.Date(2026, 8, 28, 19, 0, 0, 0, time.UTC) // full moon, some 3 hours after sunset
	moon, err := bearing.Observe(bearing.Moon, at, pan, 0)
	if err != nil || moon.Altitude < 20*deg || moon.LitFraction < 0.95 {
		t.Fatalf("no moon: %+v, %v", moon, err)
	}
	for _, tt := range []struct {
		name  string
		disc  angle.Angle
		turn  angle.Angle // of the light from the moon's azimuth
		wrong bool
	}{
		{"moon", 0.52 * deg, 0, false},
		{"vehicle's light, 4 m off", 2.6 * deg, 70 * deg, true},
		{"lantern of 60 mm, a metre off", 3.4 * deg, -40 * deg, true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := scene(30*deg, 20*deg, 200*deg)
			s.Time = at
			s.Light.Body, s.Light.Azimuth, s.Light.Altitude, s.Light.Disc = render.Moon, moon.Azimuth+tt.turn, moon.Altitude, tt.disc
			s.Plate.Heading = (s.Light.Azimuth + 180*deg - shadowDir).Bearing()
			r, _ := readScene(t, s, exactly(s))
			switch {
			case !tt.wrong && !r.OK():
				t.Errorf("refused as %s: %s", r.Reason, r.Message)
			case !tt.wrong && !warned(r, "moon_taken"):
				t.Error("the moon was taken in silence")
			case tt.wrong && r.OK():
				t.Errorf("CONFIDENT: %v ± %v", *r.Heading, r.Sigma)
			}
		})
	}
}

func later(d time.Duration) func(*reading.Options) {
	return func(o *reading.Options) {
		at := o.Time.At.Add(d)
		o.Time.At = &at
	}
}

// contract lists the keys that the output promises.
var contract = strings.Fields(`photo status reason message time_utc time_source latitude_deg longitude_deg
	position_source body body_azimuth_deg body_altitude_deg shadow_angle_deg scale_reading_deg heading_true_deg
	heading_sigma_deg error_budget_deg marks_found map_residual_px map_residual_mm foot_offset_mm shadow_length_mm
	altitude_from_shadow_deg altitude_from_shadow_sigma_deg altitude_from_shadow_is_bound body_altitude_sigma_deg shadow_at_least_mm
	nodus_shadow_mm clock_check clock_proved_by_gps clock_other_hours_utc exposure_ev100 come_deg lens_source lens_file print_stretch print_stretch_sigma instrument rod_slope warnings`)

// budget lists the terms of the error budget.
var budget = strings.Fields("shadow_fit sheet_map print level alignment time position body")

func object(t *testing.T, r *reading.Result) map[string]any {
	t.Helper()
	data, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	var o map[string]any
	if err := json.Unmarshal(data, &o); err != nil {
		t.Fatal(err)
	}
	return o
}

func TestJSONHoldsEveryKeyAndNullWhatIsUnknown(t *testing.T) {
	p := plain()
	x := tags(p.scene, 1600, 1200)
	blank := image.NewGray(image.Rect(0, 0, 1600, 1200))
	for i := range blank.Pix {
		blank.Pix[i] = 180
	}
	known := exactly(p.scene)
	known.Rod.HeightMM = 50
	course := 10 * deg
	known.Course = &course
	inSky := []string{"body", "body_azimuth_deg", "body_altitude_deg", "body_altitude_sigma_deg"}
	when := []string{"time_utc", "time_source"}
	where := []string{"latitude_deg", "longitude_deg", "position_source"}
	inPicture := []string{"lens_source", "print_stretch", "print_stretch_sigma", "shadow_angle_deg", "scale_reading_deg", "map_residual_px", "map_residual_mm", "foot_offset_mm", "shadow_length_mm"}
	always := []string{"status", "clock_check", "clock_proved_by_gps", "clock_other_hours_utc", "altitude_from_shadow_is_bound", "warnings"}
	refusal := []string{"reason", "message"}
	for _, tt := range []struct {
		name   string
		result *reading.Result
		reason any
		known  [][]string
	}{
		{"read", read(photograph(t, p.img, x), known), nil,
			[][]string{{"photo", "marks_found", "heading_true_deg", "heading_sigma_deg", "error_budget_deg", "altitude_from_shadow_deg", "altitude_from_shadow_sigma_deg", "come_deg", "rod_slope"}, inSky, when, where, inPicture}},
		{"read, rod's height and course not given", read(photograph(t, p.img, x), reading.Defaults()), nil,
			[][]string{{"photo", "marks_found", "heading_true_deg", "heading_sigma_deg", "error_budget_deg", "altitude_from_shadow_deg", "altitude_from_shadow_sigma_deg"}, inSky, when, where, inPicture}}, // by the rod's image
		{"no sheet", read(photograph(t, blank, x), known), "too_few_marks", [][]string{{"photo", "marks_found", "lens_source"}, refusal, inSky, when, where}},
		{"no time and place", read(photograph(t, p.img, exifwrite.Tags{Make: "Invented"}), reading.Defaults()), "no_time",
			[][]string{{"photo", "marks_found"}, refusal, inPicture}},
		{"no place", read(photograph(t, p.img, exifwrite.Tags{Clock: x.Clock, ClockOffset: x.ClockOffset}), reading.Defaults()), "no_position",
			[][]string{{"photo", "marks_found"}, refusal, when, inPicture}},
		{"no photo", read(file(t, "photo.jpg", nil), reading.Defaults()), "unreadable_file", [][]string{{"photo"}, refusal}},
		{"a number read by eye", reading.ReadNumber(context.Background(), 200*deg, 0, exactly(p.scene)), nil,
			[][]string{{"heading_true_deg", "heading_sigma_deg", "error_budget_deg", "shadow_angle_deg", "scale_reading_deg"}, inSky, when, where}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			o := object(t, tt.result)
			have := slices.Concat(append(tt.known, always)...)
			for _, k := range contract {
				v, ok := o[k]
				if !ok {
					t.Errorf("no key %s", k)
				}
				if want := slices.Contains(have, k); want != (v != nil) && k != "marks_found" {
					t.Errorf("%s = %v, known: %t", k, v, want)
				}
			}
			if o["reason"] != tt.reason || (o["status"] == "ok") != (tt.reason == nil) {
				t.Errorf("status %v, reason %v; want %v", o["status"], o["reason"], tt.reason)
			}
			if b, ok := o["error_budget_deg"].(map[string]any); ok {
				if got := slices.Sorted(maps.Keys(b)); !slices.Equal(got, slices.Sorted(slices.Values(budget))) {
					t.Errorf("budget %v, want %v", got, budget)
				}
			}
		})
	}
}

// The rules that bind the figures of one reading: the heading is the azimuth plus the
// number under the shadow and what is seen of the rod's lean; the sigma is the root sum of squares; to come is the course
// less the heading.
func TestFiguresOfAReadingAgree(t *testing.T) {
	p := plain()
	path := photograph(t, p.img, tags(p.scene, 1600, 1200))
	for _, c := range []float64{0, 90, 179.5, 270, 359.99} {
		o := reading.Defaults()
		course := angle.FromDegrees(c)
		o.Course, o.Alignment = &course, 0.3*deg
		r := object(t, read(path, o))
		n := func(k string) float64 {
			v, ok := r[k].(float64)
			if !ok {
				t.Fatalf("%s is %v", k, r[k])
			}
			return v
		}
		const rounding = 1.6e-4 // degrees: three figures of four places
		heading := n("heading_true_deg")
		if d := angle.FromDegrees(n("body_azimuth_deg") + n("scale_reading_deg") + n("correction_deg") - heading).Signed().Degrees(); math.Abs(d) > rounding {
			t.Errorf("azimuth %v + number %v + correction %v is not %v", r["body_azimuth_deg"], r["scale_reading_deg"], r["correction_deg"], heading)
		}
		// The numbers run counter-clockwise with 0 at the rear.
		if d := angle.FromDegrees(180 - n("shadow_angle_deg") - n("scale_reading_deg")).Signed().Degrees(); math.Abs(d) > rounding {
			t.Errorf("number %v under a shadow towards %v", r["scale_reading_deg"], r["shadow_angle_deg"])
		}
		if d := angle.FromDegrees(c - heading - n("come_deg")).Signed().Degrees(); math.Abs(d) > rounding {
			t.Errorf("course %v, heading %v: come %v", c, heading, r["come_deg"])
		}
		if come := n("come_deg"); heading < 0 || heading >= 360 || come <= -180 || come > 180 {
			t.Errorf("heading %v, come %v out of range", heading, come)
		}
		sum := 0.0
		for _, v := range r["error_budget_deg"].(map[string]any) {
			sum += v.(float64) * v.(float64)
		}
		if s := n("heading_sigma_deg"); math.Abs(math.Sqrt(sum)-s) > 4e-5 { // eight terms of five places
			t.Errorf("sigma %v, its terms come to %v", s, math.Sqrt(sum))
		}
	}
}

// What is printed must lie in its interval after rounding too.
func TestRoundingKeepsTheIntervals(t *testing.T) {
	for _, tt := range []struct {
		key  string
		in   float64
		want float64
	}{
		{"heading_true_deg", 359.99999, 0},
		{"heading_true_deg", 0, 0},
		{"heading_true_deg", 359.9999, 359.9999},
		{"scale_reading_deg", 359.99999, 0},
		{"come_deg", 180, 180},
		{"come_deg", -179.9999, -179.9999},
	} {
		a := angle.FromDegrees(tt.in)
		r := &reading.Result{}
		switch tt.key {
		case "heading_true_deg":
			r.Heading = &a
		case "scale_reading_deg":
			r.Number = &a
		case "come_deg":
			r.Come = &a
		}
		if got := object(t, r)[tt.key]; got != tt.want {
			t.Errorf("%s of %v = %v, want %v", tt.key, tt.in, got, tt.want)
		}
	}
}

// The sun of the worked example in Reda and Andreas, "Solar Position Algorithm for Solar
// Radiation Applications", NREL/TP-560-34302 (2008), table A5.1: 17 October 2003, 12:30:30
// at UTC - 7 h, 39.742476° N 105.1786° W: azimuth 194.34024°, zenith distance 50.11162°.
func TestReadNumber(t *testing.T) {
	const azimuth, altitude = 194.34024, 90 - 50.11162
	at := time.Date(2003, 10, 17, 19, 30, 30, 0, time.UTC)
	exact, near := time.Duration(0), 0.0
	o := reading.Defaults()
	o.Time.At, o.Time.Sigma = &at, &exact
	o.Position.Position = &geo.Position{Lat: angle.FromDegrees(39.742476), Lon: angle.FromDegrees(-105.1786)}
	o.Position.SigmaKM = &near
	for _, tt := range []struct {
		number, sigma float64 // degrees; sigma 0 for the default
		want          float64 // the rule: azimuth + number, less 360 if over
		fit           float64
	}{
		{0, 0, 194.34024, 0.5},
		{100, 0, 294.34024, 0.5},
		{165, 0.25, 359.34024, 0.25},
		{166, 0, 0.34024, 0.5},
		{200, 1, 34.34024, 1},
		{359, 0, 193.34024, 0.5},
	} {
		r := reading.ReadNumber(context.Background(), angle.FromDegrees(tt.number), angle.FromDegrees(tt.sigma), o)
		if !r.OK() {
			t.Errorf("number %v: %s: %s", tt.number, r.Reason, r.Message)
			continue
		}
		// The example is for 1830 m and a TT - UT1 of 67 s, where 64.5 s were true: 0.0001°.
		if e := (*r.Heading - angle.FromDegrees(tt.want)).Signed(); e.Abs() > 0.0003*deg {
			t.Errorf("number %v: heading %v, want %v°", tt.number, *r.Heading, tt.want)
		}
		// Half a degree from plumb times the tangent of the altitude; a print stretched by
		// a thousandth turns a direction by 0.0005 sin(2 direction).
		level := 0.5 * math.Tan(altitude*math.Pi/180)
		stretch := 0.0005 * math.Abs(math.Sin(2*(180-tt.number)*math.Pi/180)) * 180 / math.Pi
		want := math.Sqrt(tt.fit*tt.fit + level*level + stretch*stretch)
		if math.Abs(r.Sigma.Degrees()-want) > 0.0005 {
			t.Errorf("number %v: sigma %v, want %.4f°", tt.number, r.Sigma, want)
		}
	}
	for _, tt := range []struct {
		name   string
		change func(*reading.Options)
		want   reading.Reason
	}{
		{"no time", func(o *reading.Options) { o.Time.At = nil }, reading.NoTime},
		{"no place", func(o *reading.Options) { o.Position.Position = nil }, reading.NoPosition},
		{"night", func(o *reading.Options) { o.Time.At = ptr(at.Add(9 * time.Hour)); o.Body = ptr(bearing.Sun) }, reading.BodyTooLow},
		{"before the tables", func(o *reading.Options) { o.Time.At = ptr(at.AddDate(-60, 0, 0)) }, reading.TimeOutOfRange},
		{"under the zenith", func(o *reading.Options) {
			o.Time.At, o.Position.Position = ptr(time.Date(2003, 10, 17, 18, 46, 0, 0, time.UTC)), &geo.Position{Lat: -9.3 * deg, Lon: -105.1786 * deg}
		}, reading.BodyTooHigh},
	} {
		o := o
		tt.change(&o)
		if r := reading.ReadNumber(context.Background(), 100*deg, 0, o); r.Reason != tt.want || r.Message == "" || r.Heading != nil {
			t.Errorf("%s: %q %q, want %s", tt.name, r.Reason, r.Message, tt.want)
		}
	}
}

func ptr[T any](v T) *T { return &v }
