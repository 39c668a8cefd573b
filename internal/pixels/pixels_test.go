package pixels

import (
	"bytes"
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"math/rand/v2"
	"slices"
	"testing"
)

// each runs a test with all that this build has.
func each(t *testing.T, test func(*testing.T, engine)) {
	for _, e := range engines {
		t.Run(e.name(), func(t *testing.T) { test(t, e) })
	}
}

func TestShrinkTakesWholeBlocks(t *testing.T) {
	g := Gray{5, 4, []uint8{
		0, 1, 10, 20, 99,
		1, 1, 30, 40, 99,
		9, 9, 7, 7, 99,
		9, 9, 7, 7, 99,
	}}
	each(t, func(t *testing.T, e engine) {
		got := e.shrink(g, 2)
		if got.W != 2 || got.H != 2 || !slices.Equal(got.Pix, []uint8{1, 25, 9, 7}) {
			t.Errorf("%+v", got)
		}
		if got = e.shrink(g, 3); got.W != 1 || got.H != 1 || got.Pix[0] != 8 { // 68/9 = 7.6
			t.Errorf("%+v", got)
		}
	})
}

// own is ink that may be written over.
func own(ink Gray) Gray { return Gray{ink.W, ink.H, slices.Clone(ink.Pix)} }

// A dark square in light: ink inside its rim and within, until the window sees no light.
func TestSquareIsFound(t *testing.T) {
	g := Gray{60, 50, slices.Repeat([]uint8{200}, 60*50)}
	for v := 10; v < 30; v++ {
		for u := 20; u < 40; u++ {
			g.Pix[v*60+u] = 30
		}
	}
	each(t, func(t *testing.T, e engine) {
		ink := e.threshold(g, 15, 7)
		if ink.Pix[10*60+20] != 255 || ink.Pix[9*60+20] != 0 || ink.Pix[20*60+30] != 0 {
			t.Errorf("corner %d, beside it %d, middle %d", ink.Pix[10*60+20], ink.Pix[9*60+20], ink.Pix[20*60+30])
		}
		got := Quads(own(ink), 40, 200, 0.05)
		want := [4]image.Point{{X: 20, Y: 10}, {X: 20, Y: 29}, {X: 39, Y: 29}, {X: 39, Y: 10}}
		if !slices.Contains(got, want) {
			t.Errorf("%v, want %v among them", got, want)
		}
		if Quads(ink, 40, 70, 0.05) != nil { // 76 points
			t.Error("longer outlines than asked for")
		}
	})
}

// written is a JPEG of random colours by the standard library.
func written(t testing.TB, r *rand.Rand, w, h, quality int) (file []byte, luma []uint8) {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for v := range h {
		for u := range w {
			img.SetRGBA(u, v, color.RGBA{uint8(u * 5), uint8(v * 3), uint8(r.IntN(256)), 255})
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: quality}); err != nil {
		t.Fatal(err)
	}
	back, err := jpeg.Decode(bytes.NewReader(b.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	y := back.(*image.YCbCr)
	for v := range h {
		luma = append(luma, y.Y[v*y.YStride:][:w]...)
	}
	return b.Bytes(), luma
}

// The standard library is a third decoder. Two sound ones are a level apart at most
// (ITU-T T.83 bounds what theirs may be to a reference).
func TestJPEGIsThatOfTheStandardLibrary(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	each(t, func(t *testing.T, e engine) {
		for range 60 {
			w, h := 1+r.IntN(70), 1+r.IntN(70)
			file, luma := written(t, r, w, h, 1+r.IntN(100))
			g, err := e.decodeJPEG(file, 1)
			if err != nil || g.W != w || g.H != h {
				t.Fatalf("%d x %d: %d x %d %v", w, h, g.W, g.H, err)
			}
			for i, p := range g.Pix {
				if d := int(p) - int(luma[i]); d < -1 || d > 1 {
					t.Fatalf("%d x %d, pixel %d: %d and %d", w, h, i, p, luma[i])
				}
			}
		}
	})
}

// The colours, too, are the standard library's within a level; a gray file has none.
func TestColoursAreThoseOfTheStandardLibrary(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 9))
	for range 30 {
		img := image.NewRGBA(image.Rect(0, 0, 1+r.IntN(70), 1+r.IntN(70)))
		for i := range img.Pix {
			img.Pix[i] = uint8(r.IntN(256))
		}
		var b bytes.Buffer
		if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 1 + r.IntN(100)}); err != nil {
			t.Fatal(err)
		}
		decoded, err := jpeg.Decode(bytes.NewReader(b.Bytes()))
		if err != nil {
			t.Fatal(err)
		}
		want := decoded.(*image.YCbCr)
		got, err := DecodeColours(b.Bytes(), 1)
		if err != nil || got.Rect != want.Rect || got.SubsampleRatio != want.SubsampleRatio {
			t.Fatalf("%v, %v", err, want.Rect)
		}
		for y := range want.Rect.Dy() {
			for x := range want.Rect.Dx() {
				a, b := got.YCbCrAt(x, y), want.YCbCrAt(x, y)
				for _, d := range [3]int{int(a.Y) - int(b.Y), int(a.Cb) - int(b.Cb), int(a.Cr) - int(b.Cr)} {
					if d < -1 || d > 1 {
						t.Fatalf("%v at %d, %d: %v and %v", want.Rect, x, y, a, b)
					}
				}
			}
		}
		for _, factor := range []int{2, 4, 8} {
			small, err := DecodeColours(b.Bytes(), factor)
			if g, _ := DecodeJPEG(b.Bytes(), factor); err != nil || small.Rect != image.Rect(0, 0, g.W, g.H) {
				t.Fatalf("%v by %d: %v", want.Rect, factor, err)
			}
			small.YCbCrAt(small.Rect.Dx()-1, small.Rect.Dy()-1)
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 20, 20)), nil); err != nil {
		t.Fatal(err)
	}
	if img, err := DecodeColours(b.Bytes(), 1); img != nil || err != nil {
		t.Errorf("gray: %v %v", img, err)
	}
}

func TestTruncatedIsRefused(t *testing.T) {
	file, _ := written(t, rand.New(rand.NewPCG(1, 2)), 40, 30, 80)
	each(t, func(t *testing.T, e engine) {
		for n := range len(file) {
			if _, err := e.decodeJPEG(file[:n], 1); !errors.Is(err, ErrDamaged) {
				t.Errorf("%d of %d bytes: %v", n, len(file), err)
			}
		}
		if _, err := e.decodeJPEG(append(slices.Clone(file), "and more"...), 1); err != nil {
			t.Errorf("with something after its end: %v", err)
		}
	})
}

// Bytes between the picture's data and the next marker are data that nothing was made of.
func TestBytesLeftOverAreDamage(t *testing.T) {
	file, _ := written(t, rand.New(rand.NewPCG(1, 3)), 40, 30, 80)
	for _, more := range [][]byte{{0}, {0x12, 0x34}, make([]byte, 100)} {
		bad := slices.Concat(file[:len(file)-2], more, file[len(file)-2:])
		if _, err := (plain{}).decodeJPEG(bad, 1); !errors.Is(err, ErrDamaged) {
			t.Errorf("%d bytes: %v", len(more), err)
		}
	}
}

func TestManyScansAreRefused(t *testing.T) {
	// 8 x 8 px, gray, progressive: a DC table of one code of one bit, for no difference.
	head := []byte{
		0xFF, 0xD8, 0xFF, 0xDB, 0, 67, 0,
	}
	head = append(head, slices.Repeat([]byte{1}, 64)...)
	head = append(head, 0xFF, 0xC2, 0, 11, 8, 0, 8, 0, 8, 1, 1, 0x11, 0,
		0xFF, 0xC4, 0, 20, 0, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0)
	scan := func(high, low uint8) []byte {
		return []byte{0xFF, 0xDA, 0, 8, 1, 1, 0, 0, 0, high<<4 | low, 0x7F}
	}
	sound := slices.Concat(head, scan(0, 1), scan(1, 0))
	again := slices.Clone(sound)
	for range 200 {
		again = append(again, scan(0, 0)...)
	}
	each(t, func(t *testing.T, e engine) {
		if _, err := e.decodeJPEG(append(again, 0xFF, 0xD9), 1); !errors.Is(err, ErrScans) {
			t.Errorf("repeated: %v", err)
		}
		// What was sent to the last bit cannot be made finer.
		bad := slices.Concat(sound, scan(1, 0), []byte{0xFF, 0xD9})
		if _, err := e.decodeJPEG(bad, 1); !errors.Is(err, ErrDamaged) {
			t.Errorf("made finer: %v", err)
		}
	})
	// The coarse coefficients never came.
	if _, err := (plain{}).decodeJPEG(append(sound, 0xFF, 0xD9), 1); !errors.Is(err, ErrDamaged) {
		t.Errorf("incomplete: %v", err)
	}
}

// damaged is a file as disks and cables leave it.
func damaged(r *rand.Rand, file []byte) []byte {
	file = bytes.Clone(file)
	at := r.IntN(len(file))
	end := min(len(file), at+1<<r.IntN(8))
	switch r.IntN(5) {
	case 0:
		file[at] ^= 1 << r.IntN(8)
	case 1:
		for k := at; k < end; k++ {
			file[k] = byte(r.Uint32())
		}
	case 2:
		file = file[:at]
	case 3:
		file = append(file[:at], file[end:]...)
	case 4:
		clear(file[at:end])
	}
	return file
}

// Whatever comes: an error or a picture of the size that its file states, and what one
// decoder refuses plain Go does not read.
func FuzzJPEG(f *testing.F) {
	r := rand.New(rand.NewPCG(1, 4))
	for range 4 {
		file, _ := written(f, r, 1+r.IntN(40), 1+r.IntN(40), 60)
		f.Add(file, uint8(1))
	}
	f.Fuzz(func(t *testing.T, file []byte, shift uint8) {
		if len(file) > 1<<16 {
			return
		}
		factor := 1 << (shift & 3)
		got, err := plain{}.decodeJPEG(file, factor)
		if err != nil {
			return
		}
		if got.W < 1 || got.H < 1 || len(got.Pix) != got.W*got.H {
			t.Fatalf("%d x %d, %d bytes", got.W, got.H, len(got.Pix))
		}
		for _, e := range engines {
			if g, err := e.decodeJPEG(file, factor); err != nil || g.W != got.W || g.H != got.H {
				t.Errorf("%s: %d x %d, %v", e.name(), g.W, g.H, err)
			}
		}
	})
}
