package reading_test

import (
	"bytes"
	"compress/zlib"
	"context"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"image"
	"image/jpeg"
	"image/png"
	"io"
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
// the largest JPEGs that are accepted, blank and full of grain, in which the sheet is
// looked for in vain, and with two of its marks in the grain; the largest PNG and TIFFs. It reports the
// time of each over that of a sound photo of its kind, which is its format and compression, and over that of the
// JPEG, and the most memory that the process has held so far.
func BenchmarkHostile(b *testing.B) {
	dir := b.TempDir()
	sound := soundKinds(b, dir)
	files := map[string]string{}
	found, _ := filepath.Glob("../../fixtures/damaged/*.*g")
	for _, path := range found {
		files[filepath.Base(path)] = path
	}
	for _, path := range append(hostileJPEGs(b, dir), hostilePlain(b, dir)...) {
		files[filepath.Base(path)] = path
	}
	debug.SetMemoryLimit(300 << 20) // as the command does
	debug.FreeOSMemory()
	os.WriteFile("/proc/self/clear_refs", []byte("5"), 0) // the peak is the readings', not that of drawing these
	o := reading.Defaults()
	look := func(path string) *reading.Result { return reading.Read(context.Background(), photofile.At(path), o) }
	for _, path := range sound {
		if r := look(path); r.Shadow == nil { // PNG and TIFF have no time here
			b.Fatal(path, r.Reason, r.Message)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(files)) {
		if drawn := strings.HasPrefix(files[name], dir); drawn && look(files[name]).Reason != reading.TooFewMarks {
			b.Fatal(name, look(files[name]).Message)
		}
		kind := sound[kindOf(name)]
		b.Run(name, func(b *testing.B) {
			var jpegs, kinds, hostile []time.Duration
			for b.Loop() {
				jpegs = append(jpegs, timed(func() { look(benchPhoto) }))
				if kind == benchPhoto {
					kinds = jpegs
				} else {
					kinds = append(kinds, timed(func() { look(kind) }))
				}
				hostile = append(hostile, timed(func() { look(files[name]) }))
			}
			b.ReportMetric(float64(median(hostile))/float64(median(kinds)), "hostile/kind")
			b.ReportMetric(float64(median(hostile))/float64(median(jpegs)), "hostile/jpeg")
			b.ReportMetric(peakMiB(b), "MiB")
		})
	}
}

// kindOf is the kind of a file by its name: its extension, after what says how a TIFF is compressed.
func kindOf(name string) string {
	ext := filepath.Ext(name)
	if strings.HasSuffix(name, deflated+ext) {
		return deflated + ext
	}
	return ext
}

const deflated = "-deflated"

// soundKinds is the photo in every kind.
func soundKinds(b *testing.B, dir string) map[string]string {
	f, err := os.Open(benchPhoto)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	img, err := jpeg.Decode(f)
	if err != nil {
		b.Fatal(err)
	}
	at := map[string]string{".jpg": benchPhoto}
	for kind, encode := range map[string]func(io.Writer, image.Image) error{
		".png": png.Encode,
		".tif": func(w io.Writer, m image.Image) error { return tiff.Encode(w, m, nil) },
		deflated + ".tif": func(w io.Writer, m image.Image) error {
			return tiff.Encode(w, m, &tiff.Options{Compression: tiff.Deflate, Predictor: true})
		},
	} {
		at[kind] = benchFile(b, dir, "sound"+kind, func(w io.Writer) error { return encode(w, img) })
	}
	return at
}

// benchFile is the path of a file that is written into a folder.
func benchFile(b *testing.B, dir, name string, write func(io.Writer) error) string {
	path := filepath.Join(dir, name)
	f, err := os.Create(path)
	if err != nil {
		b.Fatal(err)
	}
	if err := errors.Join(write(f), f.Close()); err != nil {
		b.Fatal(err)
	}
	return path
}

func hostileJPEGs(b *testing.B, dir string) (paths []string) {
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
		paths = append(paths, benchFile(b, dir, name, func(w io.Writer) error {
			return jpeg.Encode(w, img, &jpeg.Options{Quality: of.quality})
		}))
	}
	return paths
}

// hostilePlain are about the largest PNG and TIFFs that are read: in colour, of a grain of which
// every byte takes a code of three bits, and in sixteen bits in one strip.
func hostilePlain(b *testing.B, dir string) (paths []string) {
	random := rand.New(rand.NewPCG(1, 1))
	img := image.NewNRGBA(image.Rect(0, 0, 8000, 8000))
	for i := range len(img.Pix) / 8 {
		binary.LittleEndian.PutUint64(img.Pix[8*i:], 30*(random.Uint64()&0x0707070707070707))
	}
	paths = append(paths,
		benchFile(b, dir, "grain-49mp.png", func(w io.Writer) error { return foretoldPNG(w, 7000, img.Pix) }),
		benchFile(b, dir, "grain-64mp"+deflated+".tif", func(w io.Writer) error { return deflatedTIFF(w, img, 100) }))
	deep := image.NewNRGBA64(image.Rect(0, 0, 3200, 3200))
	for i := range deep.Pix {
		deep.Pix[i] = uint8(random.Uint32())
	}
	return append(paths, benchFile(b, dir, "grain-16bit.tif", func(w io.Writer) error { return tiff.Encode(w, deep, nil) }))
}

// foretoldPNG writes a square PNG in colour with what is transparent, whose bytes are what they are off
// the costliest guess from their neighbours (PNG third edition, 9.4), which the library's encoder seldom takes.
func foretoldPNG(w io.Writer, side int, off []byte) error {
	var data bytes.Buffer
	z, err := zlib.NewWriterLevel(&data, zlib.BestSpeed)
	if err != nil {
		return err
	}
	for v := range side {
		const paeth = 4
		if _, err := z.Write(append([]byte{paeth}, off[v*side*4:(v+1)*side*4]...)); err != nil {
			return err
		}
	}
	if err := z.Close(); err != nil {
		return err
	}
	order := binary.BigEndian
	head := order.AppendUint32(order.AppendUint32(nil, uint32(side)), uint32(side))
	out := []byte("\x89PNG\r\n\x1a\n")
	for _, chunk := range [][]byte{append([]byte("IHDR"), append(head, 8, 6, 0, 0, 0)...), append([]byte("IDAT"), data.Bytes()...), []byte("IEND")} {
		out = append(order.AppendUint32(out, uint32(len(chunk)-4)), chunk...)
		out = order.AppendUint32(out, crc32.ChecksumIEEE(chunk))
	}
	_, err = w.Write(out)
	return err
}

// deflatedTIFF writes a TIFF in strips of so many rows (TIFF 6.0, sections 2, 3 and 8; Deflate as of
// its Photoshop notes of 2002), which the library's encoder does not.
func deflatedTIFF(w io.Writer, img *image.NRGBA, rows int) error {
	order, high := binary.LittleEndian, img.Rect.Dy()
	out := bytes.NewBufferString("II*\x00\x00\x00\x00\x00")
	var at, sizes, bits []byte
	for v := 0; v < high; v += rows {
		from := out.Len()
		z, err := zlib.NewWriterLevel(out, zlib.BestSpeed)
		if err != nil {
			return err
		}
		if _, err := z.Write(img.Pix[v*img.Stride : min(v+rows, high)*img.Stride]); err != nil {
			return err
		}
		if err := z.Close(); err != nil {
			return err
		}
		out.Write(make([]byte, out.Len()%2))
		at, sizes = order.AppendUint32(at, uint32(from)), order.AppendUint32(sizes, uint32(out.Len()-from))
	}
	for range 4 {
		bits = order.AppendUint16(bits, 8)
	}
	put := func(p []byte) (from uint32) {
		from = uint32(out.Len())
		out.Write(p)
		return from
	}
	const short, long = 3, 4
	strips := uint32(len(at) / 4)
	tags := [][4]uint32{
		{256, long, 1, uint32(img.Rect.Dx())}, {257, long, 1, uint32(high)}, {258, short, 4, put(bits)},
		{259, short, 1, 8}, {262, short, 1, 2}, {273, long, strips, put(at)}, {277, short, 1, 4},
		{278, long, 1, uint32(rows)}, {279, long, strips, put(sizes)}, {338, short, 1, 2},
	}
	directory := order.AppendUint16(nil, uint16(len(tags)))
	for _, t := range tags {
		directory = order.AppendUint16(order.AppendUint16(directory, uint16(t[0])), uint16(t[1]))
		directory = order.AppendUint32(order.AppendUint32(directory, t[2]), t[3])
	}
	order.PutUint32(out.Bytes()[4:], put(order.AppendUint32(directory, 0)))
	_, err := out.WriteTo(w)
	return err
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
