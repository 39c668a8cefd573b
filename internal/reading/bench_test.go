package reading_test

import (
	"context"
	"errors"
	"image"
	"image/jpeg"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"golang.org/x/image/tiff"

	"shadowread/internal/photofile"
	"shadowread/internal/reading"
	"shadowread/internal/sheet"
)

// benchPhoto is the named 12-megapixel photo of the speed bar.
const benchPhoto = "../../fixtures/bench/bench-12mp.jpg"

func median(ds []time.Duration) time.Duration {
	slices.Sort(ds)
	return ds[len(ds)/2]
}

func timed(f func()) time.Duration {
	start := time.Now()
	f()
	return time.Since(start)
}

// BenchmarkReadingHEIC says how much longer a HEIC copy of the photo takes.
func BenchmarkReadingHEIC(b *testing.B) {
	enc, err := exec.LookPath("heif-enc")
	if err != nil {
		b.Skip("heif-enc is not installed: the HEIC ratio is not measured")
	}
	heic := filepath.Join(b.TempDir(), "bench.heic")
	if out, err := exec.Command(enc, benchPhoto, "-o", heic).CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, out)
	}
	o := reading.Defaults()
	reading.Read(context.Background(), photofile.At(heic), o) // the decoder's own start
	var jpegs, heics []time.Duration
	for b.Loop() {
		jpegs = append(jpegs, timed(func() { reading.Read(context.Background(), photofile.At(benchPhoto), o) }))
		heics = append(heics, timed(func() { reading.Read(context.Background(), photofile.At(heic), o) }))
	}
	b.ReportMetric(float64(median(heics))/float64(median(jpegs)), "heic/jpeg")
}

// BenchmarkManyPhotos reads 200 photos with a worker a processor, over the same
// with one worker, and reports the most memory that the process has held so far for
// each worker.
func BenchmarkManyPhotos(b *testing.B) {
	const photos = 200
	all := func(workers int) time.Duration {
		return timed(func() {
			var wg sync.WaitGroup
			next := make(chan struct{}, photos)
			for range photos {
				next <- struct{}{}
			}
			close(next)
			for range workers {
				wg.Go(func() {
					for range next {
						if r := reading.Read(context.Background(), photofile.At(benchPhoto), reading.Defaults()); !r.OK() {
							b.Error(r.Reason)
							return
						}
					}
				})
			}
			wg.Wait()
		})
	}
	for b.Loop() {
		workers := runtime.NumCPU()
		many := all(workers)
		peak := peakMiB(b)
		one := all(1)
		b.ReportMetric(float64(one)/float64(many), "speed-up")
		b.ReportMetric(float64(workers), "workers")
		b.ReportMetric(peak/float64(workers), "MiB/worker")
	}
}

// peakMiB is the largest resident size of the process so far.
func peakMiB(b *testing.B) float64 {
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		b.Skip("no /proc: memory is not measured")
	}
	for line := range strings.Lines(string(status)) {
		if rest, ok := strings.CutPrefix(line, "VmHWM:"); ok {
			kib, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(rest), "kB")), 64)
			if err == nil {
				return kib / 1024
			}
		}
	}
	return 0
}

// BenchmarkHostile reads files that are meant to cost much: those of fixtures/damaged,
// and the largest JPEGs and the largest TIFF that are accepted, blank and full of grain, in which the sheet is
// looked for in vain, and with two of its marks in the grain. It reports the time of each over that of the sound
// photo, and the most memory that the process has held so far.
func BenchmarkHostile(b *testing.B) {
	dir := b.TempDir()
	files := map[string]string{}
	found, _ := filepath.Glob("../../fixtures/damaged/*.*g")
	for _, path := range found {
		files[filepath.Base(path)] = path
	}
	random := rand.New(rand.NewPCG(1, 1))
	for name, of := range map[string]struct{ side, quality, marks int }{
		"blank-100mp.jpg": {10000, 60, 0},
		"grain-100mp.jpg": {10000, 37, 0}, // all the bytes that are read of a JPEG
		"marks-100mp.jpg": {10000, 37, 2},
		"marks-36mp.jpg":  {6000, 37, 2}, // is looked at twice
		"grain-12mp.jpg":  {3464, 60, 0},
	} {
		img := image.NewGray(image.Rect(0, 0, of.side, of.side))
		for i := range img.Pix {
			img.Pix[i] = 200
			if !strings.HasPrefix(name, "blank") {
				img.Pix[i] = uint8(random.Uint32())
			}
		}
		for _, m := range sheet.Standard.Marks[:of.marks] {
			drawMark(img, m, of.side/600)
		}
		files[name] = filepath.Join(dir, name)
		f, err := os.Create(files[name])
		if err != nil {
			b.Fatal(err)
		}
		if err := errors.Join(jpeg.Encode(f, img, &jpeg.Options{Quality: of.quality}), f.Close()); err != nil {
			b.Fatal(err)
		}
	}
	deep := image.NewNRGBA64(image.Rect(0, 0, 3200, 3200)) // about the largest strip that is read
	for i := range deep.Pix {
		deep.Pix[i] = uint8(random.Uint32())
	}
	files["grain-16bit.tif"] = filepath.Join(dir, "grain-16bit.tif")
	f, err := os.Create(files["grain-16bit.tif"])
	if err != nil {
		b.Fatal(err)
	}
	if err := errors.Join(tiff.Encode(f, deep, nil), f.Close()); err != nil {
		b.Fatal(err)
	}
	deep = nil
	debug.SetMemoryLimit(300 << 20) // as the command does
	debug.FreeOSMemory()
	os.WriteFile("/proc/self/clear_refs", []byte("5"), 0) // the peak is the readings', not that of drawing these
	o := reading.Defaults()
	for _, name := range []string{"grain-100mp.jpg", "marks-100mp.jpg", "marks-36mp.jpg"} {
		if r := reading.Read(context.Background(), photofile.At(files[name]), o); r.Reason != reading.TooFewMarks {
			b.Fatal(name, r.Reason, r.Message)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(files)) {
		b.Run(name, func(b *testing.B) {
			var sound, hostile []time.Duration
			for b.Loop() {
				sound = append(sound, timed(func() { reading.Read(context.Background(), photofile.At(benchPhoto), o) }))
				hostile = append(hostile, timed(func() { reading.Read(context.Background(), photofile.At(files[name]), o) }))
			}
			b.ReportMetric(float64(median(hostile))/float64(median(sound)), "hostile/sound")
			b.ReportMetric(peakMiB(b), "MiB")
		})
	}
}

// drawMark draws a mark of the sheet, seen straight on, the foot in the picture's middle.
func drawMark(img *image.Gray, m sheet.Mark, pxPerMM int) {
	bits, _ := sheet.ModuleBits(m.ID)
	module := int(m.Side) * pxPerMM / 6
	at := image.Pt(img.Rect.Dx()/2+int(m.X)*pxPerMM-3*module, img.Rect.Dy()/2-int(m.Y)*pxPerMM-3*module)
	paper := image.Rect(-module, -module, 7*module, 7*module).Add(at)
	for v := paper.Min.Y; v < paper.Max.Y; v++ {
		for u := paper.Min.X; u < paper.Max.X; u++ {
			p := image.Pt(u-paper.Min.X, v-paper.Min.Y).Div(module) // in modules, of the paper about it
			ink := image.Rect(1, 1, 7, 7)
			white := !p.In(ink) || p.In(ink.Inset(1)) && bits[p.Y-2][p.X-2]
			img.Pix[img.PixOffset(u, v)] = map[bool]uint8{true: 230, false: 20}[white]
		}
	}
}
