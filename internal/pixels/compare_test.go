//go:build cgo && !noopencv

package pixels

import (
	"bytes"
	"fmt"
	"image"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"gocv.io/x/gocv"
)

// randomPicture is noise that was smoothed a little, so that it has patches of many sizes,
// and here and there flat.
func randomPicture(r *rand.Rand, w, h int) Gray {
	g := Gray{w, h, make([]uint8, w*h)}
	p, slow := float64(r.IntN(256)), 20+200*r.Float64()
	for i := range g.Pix {
		p += slow * (r.Float64() - 0.5)
		if r.IntN(50) == 0 {
			p = float64(r.IntN(256))
		}
		p = min(max(p, 0), 255)
		g.Pix[i] = uint8(p)
		if i >= w && r.IntN(3) > 0 {
			g.Pix[i] = g.Pix[i-w]
		}
	}
	return g
}

func randomSize(r *rand.Rand) (w, h int) { return 1 + r.IntN(90), 1 + r.IntN(70) }

func different(a, b Gray) string {
	if a.W != b.W || a.H != b.H || len(a.Pix) != len(b.Pix) {
		return fmt.Sprintf("%d x %d (%d bytes) and %d x %d (%d bytes)", a.W, a.H, len(a.Pix), b.W, b.H, len(b.Pix))
	}
	n, first, most := 0, -1, 0
	for i := range a.Pix {
		if d := int(a.Pix[i]) - int(b.Pix[i]); d != 0 {
			n++
			most = max(most, d, -d)
			if first < 0 {
				first = i
			}
		}
	}
	if n == 0 {
		return ""
	}
	return fmt.Sprintf("%d of %d pixels differ, first %d, %d, by up to %d", n, len(a.Pix), first%a.W, first/a.W, most)
}

func TestShrinkIsThatOfOpenCV(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for range 2000 {
		w, h := randomSize(r)
		g := randomPicture(r, w, h)
		s := 1 + r.IntN(min(w, h, 9))
		if d := different(opencv{}.shrink(g, s), plain{}.shrink(g, s)); d != "" {
			t.Fatalf("%d x %d by %d: %s", w, h, s, d)
		}
	}
}

func TestInkIsThatOfOpenCV(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 2000 {
		w, h := randomSize(r)
		g := randomPicture(r, w, h)
		window, below := []int{3, 5, 15, 15, 15}[r.IntN(5)], r.IntN(30)
		if d := different(opencv{}.threshold(g, window, below), plain{}.threshold(g, window, below)); d != "" {
			t.Fatalf("%d x %d, window %d, %d below: %s", w, h, window, below, d)
		}
	}
}

// outlinesOfOpenCV are in the order in which plain Go finds them, which is the other way
// round.
func outlinesOfOpenCV(ink Gray) [][]image.Point {
	m := matOf(ink)
	defer m.Close()
	outlines := gocv.FindContours(m, gocv.RetrievalList, gocv.ChainApproxNone)
	defer outlines.Close()
	all := outlines.ToPoints()
	slices.Reverse(all)
	return all
}

// quadsOfOpenCV are those of outlines of least to most points.
func quadsOfOpenCV(ink Gray, least, most int, part float64) (found [][4]image.Point) {
	m := matOf(ink)
	defer m.Close()
	outlines := gocv.FindContours(m, gocv.RetrievalList, gocv.ChainApproxNone)
	defer outlines.Close()
	for i := range outlines.Size() {
		outline := outlines.At(i) // its memory is that of all
		if n := outline.Size(); n < least || n > most {
			continue
		}
		corners := gocv.ApproxPolyDP(outline, part*float64(outline.Size()), true)
		if corners.Size() == 4 {
			found = append(found, [4]image.Point(corners.ToPoints()))
		}
		corners.Close()
	}
	return found
}

func outlinesInGo(ink Gray) (all [][]image.Point) {
	trace(own(ink), func(p []image.Point) { all = append(all, slices.Clone(p)) })
	return all
}

func TestOutlinesAreThoseOfOpenCV(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 3))
	for range 2000 {
		w, h := randomSize(r)
		ink := plain{}.threshold(randomPicture(r, w, h), 15, r.IntN(12))
		want, got := outlinesOfOpenCV(ink), outlinesInGo(ink)
		if len(want) != len(got) {
			t.Fatalf("%d x %d: %d outlines, OpenCV finds %d", w, h, len(got), len(want))
		}
		for i := range want {
			if !slices.Equal(want[i], got[i]) {
				t.Fatalf("%d x %d, outline %d of %d:\n%v\n%v", w, h, i, len(got), want[i], got[i])
			}
		}
	}
}

func TestCornersAreThoseOfOpenCV(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 4))
	quads := 0
	for range 2000 {
		w, h := randomSize(r)
		ink := plain{}.threshold(randomPicture(r, w, h), 15, r.IntN(12))
		for _, outline := range outlinesInGo(ink) {
			limit := 0.2 * r.Float64() * float64(len(outline))
			v := gocv.NewPointVectorFromPoints(outline)
			c := gocv.ApproxPolyDP(v, limit, true)
			want, got := c.ToPoints(), simplify(outline, limit)
			c.Close()
			v.Close()
			if !slices.Equal(want, got) {
				t.Fatalf("%v within %.3f:\n%v\n%v", outline, limit, want, got)
			}
		}
		want, got := quadsOfOpenCV(ink, 8, 1000, 0.05), Quads(own(ink), 8, 1000, 0.05)
		if !slices.Equal(want, got) {
			t.Fatalf("quads %v\n%v", want, got)
		}
		quads += len(got)
	}
	if quads < 500 {
		t.Errorf("only %d quadrilaterals", quads)
	}
}

// jpegs are one picture written in many ways.
func jpegs(t *testing.T, r *rand.Rand) (files [][]byte) {
	w, h := randomSize(r)
	kind := gocv.MatTypeCV8UC3
	pix := make([]uint8, 3*w*h)
	for c := range 3 {
		for i, p := range randomPicture(r, w, h).Pix {
			pix[3*i+c] = p
		}
	}
	if r.IntN(4) == 0 {
		kind, pix = gocv.MatTypeCV8U, pix[:w*h]
	}
	m, err := gocv.NewMatFromBytes(h, w, kind, pix)
	if err != nil {
		t.Fatal(err)
	}
	defer m.Close()
	const progressive, optimize, restart = 2, 3, 4 // cv::ImwriteFlags
	for _, params := range [][]int{{}, {progressive, 1}, {restart, 1 + r.IntN(5)}, {progressive, 1, restart, 1 + r.IntN(5)}, {optimize, 1}} {
		params = append(params, gocv.IMWriteJpegQuality, 5+r.IntN(96))
		b, err := gocv.IMEncodeWithParams(gocv.JPEGFileExt, m, params)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, bytes.Clone(b.GetBytes()))
		b.Close()
	}
	return files
}

// sampled has a JPEG of three components with 4:2:0 read as of another sampling that has as
// many blocks in its units, 4:1:1.
func sampled(file []byte, luma uint8) []byte {
	file = bytes.Clone(file)
	if at := bytes.Index(file, []byte{0x22, 0, 2, 0x11}); at > 0 {
		file[at] = luma
	}
	return file
}

func TestJPEGIsThatOfTheLibrary(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 5))
	read := 0
	for i := range 400 {
		for k, file := range jpegs(t, r) {
			if progressive := k == 1 || k == 3; i%4 == 3 && !progressive {
				file = sampled(file, 0x41)
			}
			for _, factor := range []int{1, 2, 4, 8} {
				want, errWant := opencv{}.decodeJPEG(file, factor)
				got, err := plain{}.decodeJPEG(file, factor)
				if errWant != err {
					t.Fatalf("%d, kind %d by %d: %v; the library says %v", i, k, factor, err, errWant)
				}
				if err != nil {
					continue
				}
				read++
				if d := different(want, got); d != "" {
					t.Fatalf("%d, kind %d, %d x %d by %d: %s", i, k, want.W, want.H, factor, d)
				}
			}
		}
	}
	if read < 7000 {
		t.Errorf("only %d read", read)
	}
}

// photos are all JPEG photos of the fixtures.
func photos(t *testing.T) (paths []string) {
	err := filepath.WalkDir("../../fixtures", func(path string, _ fs.DirEntry, err error) error {
		if strings.HasSuffix(path, ".jpg") {
			paths = append(paths, path)
		}
		return err
	})
	if err != nil || len(paths) < 20 {
		t.Fatalf("%d photos, %v", len(paths), err)
	}
	return paths
}

func TestPhotosAreThoseOfTheLibrary(t *testing.T) {
	for _, path := range photos(t) {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, factor := range []int{1, 2, 4, 8} {
			want, errWant := opencv{}.decodeJPEG(data, factor)
			got, err := plain{}.decodeJPEG(data, factor)
			if errWant != err {
				t.Errorf("%s by %d: %v; the library says %v", path, factor, err, errWant)
			}
			if d := different(want, got); d != "" {
				t.Errorf("%s by %d: %s", path, factor, d)
			}
			if factor != 2 || err != nil {
				continue
			}
			ink := Ink(got, 15, 7)
			if a, b := quadsOfOpenCV(ink, 40, 2*(got.W+got.H), 0.05), Quads(own(ink), 40, 2*(got.W+got.H), 0.05); !slices.Equal(a, b) {
				t.Errorf("%s: %d quadrilaterals, OpenCV finds %d", path, len(b), len(a))
			}
		}
	}
}

// What the library refuses, plain Go refuses; it may refuse more, never a sound file.
func TestDamageIsHeardAsByTheLibrary(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 6))
	files, heard, more, unlike := 0, 0, 0, 0
	for range 400 {
		for _, file := range jpegs(t, r) {
			for range 10 {
				bad := damaged(r, file)
				want, errWant := opencv{}.decodeJPEG(bad, 4)
				got, err := plain{}.decodeJPEG(bad, 4)
				files++
				switch {
				case errWant != nil && err == nil:
					t.Fatalf("file %d: the library says %v, plain Go nothing", files, errWant)
				case errWant != nil:
					heard++
				case err != nil:
					more++
				case different(want, got) != "":
					unlike++
				}
			}
		}
	}
	t.Logf("%d files, %d refused by both, %d by plain Go alone, %d of the others unlike", files, heard, more, unlike)
	if files-heard-more < files/10 {
		t.Error("hardly a file is read")
	}
}

// Both read the same photo in turn.
func BenchmarkDecode(b *testing.B) {
	data, err := os.ReadFile("../../fixtures/bench/bench-12mp.jpg")
	if err != nil {
		b.Fatal(err)
	}
	for _, factor := range []int{1, 2, 4, 8} {
		for _, e := range engines {
			b.Run(fmt.Sprintf("%s/%d", e.name(), factor), func(b *testing.B) {
				for b.Loop() {
					if _, err := e.decodeJPEG(data, factor); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}

func BenchmarkSearch(b *testing.B) {
	data, err := os.ReadFile("../../fixtures/bench/bench-12mp.jpg")
	if err != nil {
		b.Fatal(err)
	}
	g, err := DecodeJPEG(data, 2)
	if err != nil {
		b.Fatal(err)
	}
	for _, e := range engines {
		b.Run(e.name()+"/shrink", func(b *testing.B) {
			for b.Loop() {
				e.shrink(g, 2)
			}
		})
		b.Run(e.name()+"/ink", func(b *testing.B) {
			for b.Loop() {
				e.threshold(g, 15, 7)
			}
		})
	}
	ink := Ink(g, 15, 7)
	for name, quads := range map[string]func(Gray, int, int, float64) [][4]image.Point{"of OpenCV": quadsOfOpenCV, "ours": Quads} {
		b.Run("quads/"+name, func(b *testing.B) {
			for b.Loop() {
				quads(own(ink), 40, 2*(g.W+g.H), 0.05)
			}
		})
	}
}
