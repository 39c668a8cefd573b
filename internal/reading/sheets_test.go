package reading_test

import (
	"context"
	"image"
	"image/color"
	"image/jpeg"
	"os"
	"path/filepath"
	"testing"
	"time"

	"golang.org/x/image/draw"

	"shadowread/internal/photofile"
	"shadowread/internal/reading"
)

// Pictures put together of two demo photos: whichever of the sheets was read, the
// heading would be one of two, and nobody was asked which.
func TestTwoSheetsAreRefused(t *testing.T) {
	a, b := demoPicture(t, "01-leaving-camp.jpg"), demoPicture(t, "04-haze.jpg")
	half := func(m image.Image, n, d int) image.Image {
		out := image.NewRGBA(image.Rect(0, 0, m.Bounds().Dx()*n/d, m.Bounds().Dy()*n/d))
		draw.CatmullRom.Scale(out, out.Rect, m, m.Bounds(), draw.Src, nil)
		return out
	}
	for name, img := range map[string]image.Image{
		"side by side":             beside(a, b),
		"the other way round":      beside(b, a),
		"the same twice":           beside(a, a),
		"the second half as large": beside(a, half(b, 1, 2)),
		"a third as large":         beside(b, half(a, 1, 3)),
	} {
		r := reading.Read(context.Background(), photofile.At(written(t, img)), statedPlace())
		if r.Reason != reading.MoreSheets || r.Message == "" {
			t.Errorf("%s: %q (%s), want more_than_one_sheet", name, r.Reason, r.Message)
		}
	}
}

// A wall of sheets costs no more than a reading may.
func BenchmarkManySheets(b *testing.B) {
	a := demoPicture(b, "01-leaving-camp.jpg")
	wall := image.NewRGBA(image.Rect(0, 0, 4000, 3000))
	for i := range 64 {
		x, y := i%8*500, i/8*375
		draw.ApproxBiLinear.Scale(wall, image.Rect(x, y, x+500, y+375), a, a.Bounds(), draw.Src, nil)
	}
	path := written(b, wall)
	var walls, sounds []time.Duration
	for b.Loop() {
		walls = append(walls, timed(func() { reading.Read(context.Background(), photofile.At(path), statedPlace()) }))
		sounds = append(sounds, timed(func() { reading.Read(context.Background(), photofile.At(benchPhoto), reading.Defaults()) }))
	}
	b.ReportMetric(float64(median(walls))/float64(median(sounds)), "wall/sound")
}

func demoPicture(t testing.TB, name string) image.Image {
	t.Helper()
	f, err := os.Open(filepath.Join("../../fixtures/demo", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, err := jpeg.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	return img
}

// beside puts b at the right of a, on gray.
func beside(a, b image.Image) image.Image {
	w, h := a.Bounds().Dx(), max(a.Bounds().Dy(), b.Bounds().Dy())
	out := image.NewRGBA(image.Rect(0, 0, w+b.Bounds().Dx(), h))
	draw.Draw(out, out.Rect, image.NewUniform(color.Gray{Y: 120}), image.Point{}, draw.Src)
	draw.Draw(out, a.Bounds(), a, a.Bounds().Min, draw.Src)
	draw.Draw(out, image.Rect(w, 0, w+b.Bounds().Dx(), b.Bounds().Dy()), b, b.Bounds().Min, draw.Src)
	return out
}

func written(t testing.TB, img image.Image) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "made.jpg")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := jpeg.Encode(f, img, &jpeg.Options{Quality: 92}); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

// statedPlace says when and where, for pictures without Exif.
func statedPlace() reading.Options {
	o := reading.Defaults()
	at, _ := sunAt(0.6)
	o.Time.At, o.Position.Position = &at, &pan
	return o
}
