package photo

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image/color"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
	"time"

	"shadowread/internal/fault"
)

func section(data []byte) *io.SectionReader {
	return io.NewSectionReader(bytes.NewReader(data), 0, int64(len(data)))
}

// onDisk is a file that is opened anew each time, as photofile's.
func onDisk(path string) File {
	return File{path, func() (Content, error) {
		f, err := os.Open(path)
		if err != nil {
			return nil, err
		}
		info, err := f.Stat()
		return opened{f, info.Size()}, err
	}}
}

type opened struct {
	*os.File
	size int64
}

func (f opened) Size() int64 { return f.size }

func readFile(t testing.TB, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// The photos carry the same Exif data in every container, written by ImageMagick,
// libheif and ExifTool with the values given in testdata/photos.sh. What is left
// to turn is the Exif orientation, except in HEIC, where the decoder turns.
func TestReadFactsInEveryContainer(t *testing.T) {
	for _, tt := range []struct {
		name          string
		format        Format
		width, height int
		orientation   int
	}{
		{"plain.jpg", JPEG, 96, 64, 1},
		{"exif6.jpg", JPEG, 96, 64, 6},
		{"plain.png", PNG, 96, 64, 1},
		{"intel.tif", TIFF, 96, 64, 1},
		{"motorola.tif", TIFF, 96, 64, 1},
		{"exif6.tif", TIFF, 96, 64, 6},
		{"plain.heic", HEIC, 96, 64, 1},
		{"exif6.heic", HEIC, 96, 64, 1},
		{"irot.heic", HEIC, 96, 64, 6},
	} {
		f, err := ReadFacts(onDisk(filepath.Join("testdata", "photos", tt.name)))
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		if f.Format != tt.format || f.Width != tt.width || f.Height != tt.height || f.Orientation != tt.orientation {
			t.Errorf("%s: %s, %d x %d, orientation %d, want %s, %d x %d, orientation %d", tt.name,
				f.Format, f.Width, f.Height, f.Orientation, tt.format, tt.width, tt.height, tt.orientation)
		}
		if f.ClockOffset == nil || f.GPS == nil {
			t.Errorf("%s: offset %v, position %v, warnings %v", tt.name, f.ClockOffset, f.GPS, f.Warnings)
			continue
		}
		if want := time.Date(2026, 3, 14, 9, 26, 53, 37e6, time.UTC); !f.Clock.Equal(want) || *f.ClockOffset != 2*time.Hour {
			t.Errorf("%s: clock %v at %v, want %v at 2h", tt.name, f.Clock, *f.ClockOffset, want)
		}
		if want := time.Date(2026, 3, 14, 7, 26, 51, 500e6, time.UTC); !f.GPSTime.Equal(want) {
			t.Errorf("%s: GPS time %v, want %v", tt.name, f.GPSTime, want)
		}
		if got, want := f.GPS.String(), "20.6142 S 25.4310 E"; got != want || f.AltitudeMetres != 912 || f.GPSErrorMetres != 4.7 {
			t.Errorf("%s: %s, %v m, error %v m, want %s, 912 m, 4.7 m", tt.name, got, f.AltitudeMetres, f.GPSErrorMetres, want)
		}
		if f.Make != "Invented" || f.Model != "Phone" || f.FocalLengthMM != 4.25 || f.FocalLength35MM != 26 {
			t.Errorf("%s: %q %q, %v mm, %v mm", tt.name, f.Make, f.Model, f.FocalLengthMM, f.FocalLength35MM)
		}
		if len(f.Warnings) > 0 {
			t.Errorf("%s: warnings %v", tt.name, f.Warnings)
		}
	}
}

// The black quarter of the stored picture is at the left, whatever the file says of its
// rotation. libheif's heif-convert shows irot.heic with it at the top: what a quarter turn
// clockwise (orientation 6, as TestReadFactsInEveryContainer has it) makes of the stored
// picture.
func TestDecodeHEICAsStored(t *testing.T) {
	needsHEIC(t)
	for _, tt := range []struct {
		name          string
		width, height int
		top, left     bool // where it is black
	}{
		{"plain.heic", 96, 64, false, true},
		{"exif6.heic", 96, 64, false, true},
		{"irot.heic", 96, 64, false, true},
	} {
		img, err := DecodeHEIC(onDisk(filepath.Join("testdata", "photos", tt.name)))
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		b := img.Bounds()
		if b.Dx() != tt.width || b.Dy() != tt.height {
			t.Errorf("%s: %d x %d, want %d x %d", tt.name, b.Dx(), b.Dy(), tt.width, tt.height)
		}
		black := func(x, y int) bool { return color.GrayModel.Convert(img.At(x, y)).(color.Gray).Y < 128 }
		if got := black(b.Dx()/2, 8); got != tt.top {
			t.Errorf("%s: black at the top: %v, want %v", tt.name, got, tt.top)
		}
		if got := black(8, b.Dy()/2); got != tt.left {
			t.Errorf("%s: black at the left: %v, want %v", tt.name, got, tt.left)
		}
	}
}

// Sizes of real telephones' and cameras' HEIC files by ExifTool 12.57 (ImageSize; 4.heic's
// Rotation is 270). Only the first kilobytes are kept;
// zeros stand for the rest.
func TestHEICSizeOfRealPhotos(t *testing.T) {
	for _, tt := range []struct {
		name          string
		width, height int
		orientation   int
	}{
		{"1.heic", 3992, 2992, 1},
		{"3.heic", 3648, 5472, 1},
		{"4.heic", 4032, 3024, 6},
		{"5.heic", 6016, 6016, 1},
		{"12.heic", 4032, 3024, 1},
	} {
		head := readFile(t, filepath.Join("testdata", "heads", tt.name))
		if _, err := readFacts(section(head)); fault.Code(err) != "unreadable_file" {
			t.Errorf("%s without its pixels: %v, want unreadable_file", tt.name, err)
		}
		// So much padding is too large, and what is known is filled in all the same.
		f, err := readFacts(io.NewSectionReader(padded(head), 0, 64<<20))
		if fault.Code(err) != "too_large" || f.Width != tt.width || f.Height != tt.height || f.Orientation != tt.orientation {
			t.Errorf("%s: %d x %d, orientation %d, %v, want %d x %d, %d", tt.name, f.Width, f.Height, f.Orientation, err, tt.width, tt.height, tt.orientation)
		}
	}
	avif := readFile(t, filepath.Join("testdata", "heads", "avif.avif"))
	if _, err := readFacts(section(avif)); fault.Code(err) != "unreadable_file" {
		t.Errorf("AVIF: %v, want unreadable_file", err)
	}
}

// padded reads as its bytes and zeros behind them.
type padded []byte

func (p padded) ReadAt(b []byte, at int64) (int, error) {
	clear(b)
	if at < int64(len(p)) {
		copy(b, p[at:])
	}
	return len(b), nil
}

func TestUnreadableFiles(t *testing.T) {
	// A PNG's last chunk behind the first: whole, but for the picture.
	png := readFile(t, "testdata/photos/plain.png")
	bare := slices.Concat(png[:8+25], png[len(png)-12:])
	for name, data := range map[string][]byte{
		"no pixels":  bare,
		"empty":      nil,
		"text":       []byte("The photo is in the other envelope.\n"),
		"one byte":   {0xFF},
		"zeros":      make([]byte, 5000),
		"no picture": {0xFF, 0xD8, 0xFF, 0xD9, 0, 0},
		"raw Exif":   readFile(t, "testdata/exif/simple.exif"),
	} {
		_, err := ReadFacts(InMemory(name, data))
		if fault.Code(err) != "unreadable_file" {
			t.Errorf("%s: %v, want unreadable_file", name, err)
		}
		if _, err := DecodeHEIC(InMemory(name, data)); fault.Code(err) != "unreadable_file" {
			t.Errorf("%s, decoded: %v, want unreadable_file", name, err)
		}
	}
}

// Bytes in memory and a file on the disk are one photo.
func TestBytesOfAFile(t *testing.T) {
	path := filepath.Join("testdata", "photos", "exif6.jpg")
	want := readFile(t, path)
	for _, file := range []File{onDisk(path), InMemory(path, want)} {
		got, err := file.Bytes()
		facts, factsErr := ReadFacts(file)
		if err != nil || factsErr != nil || !bytes.Equal(got, want) || facts.Orientation != 6 {
			t.Errorf("%v %v: %d bytes, %+v", err, factsErr, len(got), facts)
		}
	}
	if _, err := InMemory("empty", nil).Bytes(); fault.Code(err) != "unreadable_file" {
		t.Error(err)
	}
}

// A photo that is cut short anywhere is refused, whatever its container.
func TestTruncatedPhotos(t *testing.T) {
	for _, name := range []string{"plain.jpg", "plain.png", "plain.heic", "intel.tif", "motorola.tif"} {
		data := readFile(t, filepath.Join("testdata", "photos", name))
		for n := range data {
			if _, err := readFacts(section(data[:n])); fault.Code(err) != "unreadable_file" {
				t.Errorf("%s cut to %d of %d bytes: %v", name, n, len(data), err)
				break
			}
		}
	}
}

func TestTooLarge(t *testing.T) {
	jpg := readFile(t, "testdata/photos/plain.jpg")
	sof := bytes.Index(jpg, []byte{0xFF, 0xC0})
	png := readFile(t, "testdata/photos/plain.png")
	heif := readFile(t, "testdata/photos/plain.heic")
	ispe := bytes.Index(heif, []byte("ispe"))
	tif := readFile(t, "testdata/photos/motorola.tif")
	offset := int(binary.BigEndian.Uint32(tif[4:]))
	const side = 30000
	for _, tt := range []struct {
		name string
		data []byte
		put  func([]byte)
	}{
		{"JPEG", jpg, func(b []byte) {
			binary.BigEndian.PutUint16(b[sof+5:], side)
			binary.BigEndian.PutUint16(b[sof+7:], side)
		}},
		{"PNG", png, func(b []byte) {
			binary.BigEndian.PutUint32(b[16:], side)
			binary.BigEndian.PutUint32(b[20:], side)
			binary.BigEndian.PutUint32(b[29:], crc32.ChecksumIEEE(b[12:29]))
		}},
		{"HEIC", heif, func(b []byte) {
			binary.BigEndian.PutUint32(b[ispe+8:], side)
			binary.BigEndian.PutUint32(b[ispe+12:], side)
		}},
		{"TIFF", tif, func(b []byte) {
			for at := offset + 2; at < len(b)-12; at += 12 {
				if tag := binary.BigEndian.Uint16(b[at:]); tag == tagWidth || tag == tagHeight {
					binary.BigEndian.PutUint16(b[at+8:], side)
				}
			}
		}},
	} {
		data := bytes.Clone(tt.data)
		tt.put(data)
		f, err := readFacts(section(data))
		if fault.Code(err) != "too_large" || f.Width != side || f.Height != side {
			t.Errorf("%s of %d x %d: %v, want too_large", tt.name, f.Width, f.Height, err)
		}
		// What is known is filled in for a refusal too.
		if f.Clock.IsZero() || f.GPS == nil {
			t.Errorf("%s: no time or place with too_large", tt.name)
		}
	}

	heic, err := os.ReadFile(filepath.Join("testdata", "photos", "plain.heic"))
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		name string
		data []byte
		most int64
	}{{"big.jpg", jpg, mostBytes[JPEG]}, {"big.heic", heic, mostBytes[HEIC]}, {"any.jpg", jpg, MaxFileBytes}} {
		big := filepath.Join(t.TempDir(), tt.name)
		if err := os.WriteFile(big, tt.data, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Truncate(big, tt.most+1); err != nil { // a hole, no blocks on disk
			t.Fatal(err)
		}
		if f, err := ReadFacts(onDisk(big)); fault.Code(err) != "too_large" || tt.most < MaxFileBytes && f.Width == 0 {
			t.Errorf("%s of %d bytes: %+v %v, want too_large", tt.name, tt.most+1, f, err)
		}
	}
}

// allocated returns the bytes that f allocates.
func allocated(f func()) uint64 {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	f()
	runtime.ReadMemStats(&after)
	return after.TotalAlloc - before.TotalAlloc
}

// maxAllocated bounds what reading one small file may allocate: two dozen values of
// 64 KB, which goexif turns into some 200 KB each, and the entries of a directory.
const maxAllocated = 8 << 20

// The size in bytes of 0x20000001 values of eight bytes is 8 in 32 bits. goexif
// computes it so, takes the value for sound and allocates slices for all of them,
// 90 GB together.
func TestValueCountThatWraps(t *testing.T) {
	for _, tt := range []struct {
		kind  uint16
		count uint32
	}{
		{5, 0x20000001}, {10, 0x20000001}, {12, 0x20000001}, {4, 0x40000001}, {3, 0x80000001}, {3, 0xFFFFFFFF}, {1, 0xFFFFFFFF}, {2, 0x7FFFFFFF},
	} {
		le := binary.LittleEndian
		data := append([]byte("II*\x00"), 8, 0, 0, 0, 1, 0)
		data = le.AppendUint16(data, tagMake)
		data = le.AppendUint16(data, tt.kind)
		data = le.AppendUint32(data, tt.count)
		data = le.AppendUint32(data, 26)
		data = append(data, make([]byte, 940)...)
		var f Facts
		if n := allocated(func() { f.readExif(section(data)) }); n > maxAllocated {
			t.Errorf("type %d, count %#x: %d MB allocated", tt.kind, tt.count, n>>20)
		}
		if f.Make != "" {
			t.Errorf("type %d, count %#x: make %q", tt.kind, tt.count, f.Make)
		}
	}
}

// Five thousand entries that share one value of 64 KB fit into a JPEG. Decoded,
// they are a gigabyte.
func TestEntriesThatShareAValue(t *testing.T) {
	le := binary.LittleEndian
	const n = 5000
	data := le.AppendUint16(append([]byte("II*\x00"), 8, 0, 0, 0), n)
	for i := range n {
		data = le.AppendUint16(data, uint16(0x0100+i))
		data = le.AppendUint16(data, 4)
		data = le.AppendUint32(data, 15000)
		data = le.AppendUint32(data, 0)
	}
	data = append(data, make([]byte, 4)...)
	var f Facts
	if n := allocated(func() { f.readExif(section(data)) }); n > maxAllocated {
		t.Errorf("%d MB allocated", n>>20)
	}
}

// A HEIC file of a megabyte whose items each have 65535 pieces that take no room.
func TestHEICPiecesWithoutSize(t *testing.T) {
	iloc := []byte{0, 0, 0, 0, 0, 0, 0xFF, 0xFF}
	for range 1 << 16 {
		iloc = append(iloc, 0, 1, 0, 0, 0xFF, 0xFF)
	}
	if items := itemLocations(iloc); items != nil {
		t.Errorf("%d items", len(items))
	}
}

// A directory whose Exif and GPS pointers lead back to itself is read three times
// and no more.
func TestDirectoryLoop(t *testing.T) {
	le := binary.LittleEndian
	data := append([]byte("II*\x00"), 8, 0, 0, 0, 2, 0)
	for _, tag := range []uint16{tagExifIFD, tagGPSIFD} {
		data = le.AppendUint16(data, tag)
		data = le.AppendUint16(data, 4)
		data = le.AppendUint32(data, 1)
		data = le.AppendUint32(data, 8)
	}
	data = le.AppendUint32(data, 8) // the next directory is this one
	var f Facts
	if n := allocated(func() { f.readExif(section(data)) }); n > 64<<10 {
		t.Errorf("%d KB allocated", n>>10)
	}
}

// Every sample, damaged: neither a panic nor much memory, and no figure out of its
// range. A loop would run into the time limit of go test.
func TestDamagedSamples(t *testing.T) {
	samples, _ := filepath.Glob("testdata/exif/*")
	photos, _ := filepath.Glob("testdata/photos/*")
	heads, _ := filepath.Glob("testdata/heads/*")
	if len(samples) < 90 || len(photos) < 8 || len(heads) < 5 {
		t.Fatalf("%d, %d, %d samples", len(samples), len(photos), len(heads))
	}
	random := rand.New(rand.NewPCG(1, 2))
	for _, path := range slices.Concat(samples, photos, heads) {
		original := readFile(t, path)
		read := func(data []byte) {
			f := Facts{Orientation: 1}
			if filepath.Ext(path) == ".exif" {
				f.readExif(section(data))
			} else {
				f, _ = readFacts(section(data))
			}
			checkFacts(t, f)
		}
		n := allocated(func() {
			for range 60 {
				data := bytes.Clone(original)
				for range 1 + random.IntN(8) {
					// Most damage belongs where the structure is.
					at := random.IntN(len(data))
					if random.IntN(2) == 0 {
						at = random.IntN(min(len(data), 600))
					}
					data[at] ^= 1 << random.IntN(8)
				}
				read(data)
				read(original[:random.IntN(len(original))])
			}
		})
		if n/120 > maxAllocated {
			t.Errorf("%s: %d MB allocated for one reading", path, n/120>>20)
		}
	}
}

// checkFacts checks what must hold of any file.
func checkFacts(t *testing.T, f Facts) {
	t.Helper()
	switch {
	case f.Orientation < 1 || f.Orientation > 8:
		t.Fatalf("orientation %d", f.Orientation)
	case f.GPS != nil && !(math.Abs(f.GPS.Lat.Degrees()) <= 90+1e-9 && math.Abs(f.GPS.Lon.Degrees()) <= 180+1e-9):
		t.Fatalf("position %v", f.GPS)
	case f.ClockOffset != nil && f.ClockOffset.Abs() > 14*time.Hour:
		t.Fatalf("offset %v", *f.ClockOffset)
	case !f.Clock.IsZero() && (f.Clock.Year() < 0 || f.Clock.Year() > 9999):
		t.Fatalf("clock %v", f.Clock)
	}
	for _, v := range []float64{f.FocalLengthMM, f.FocalLength35MM, f.GPSErrorMetres} {
		if !(v >= 0) || math.IsInf(v, 0) {
			t.Fatalf("figure %v", v)
		}
	}
	if math.IsNaN(f.AltitudeMetres) || math.IsInf(f.AltitudeMetres, 0) {
		t.Fatalf("altitude %v", f.AltitudeMetres)
	}
}

func FuzzExif(f *testing.F) {
	for _, pattern := range []string{"testdata/photos/*", "testdata/heads/*", "testdata/exif/f*", "testdata/exif/[gh]*"} {
		paths, _ := filepath.Glob(pattern)
		for _, path := range paths {
			data := readFile(f, path)
			if filepath.Ext(path) == ".exif" { // as the only segment of a JPEG
				head := binary.BigEndian.AppendUint16([]byte{0xFF, 0xD8, 0xFF, 0xE1}, uint16(len(data)+8))
				data = slices.Concat(head, []byte("Exif\x00\x00"), data)
			}
			f.Add(data)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 1<<20 {
			return
		}
		facts := Facts{Orientation: 1}
		n := allocated(func() {
			read, err := readFacts(section(data))
			if c := fault.Code(err); c != "" && c != "unreadable_file" && c != "too_large" {
				t.Fatalf("error %v", err)
			}
			if err == nil && (read.Width <= 0 || read.Height <= 0 || read.Width*read.Height > MaxPixels) {
				t.Fatalf("%d x %d accepted", read.Width, read.Height)
			}
			if read.Format != "" {
				facts = read
			}
		})
		checkFacts(t, facts)
		if n > maxAllocated+uint64(len(data))*64 {
			t.Fatalf("%d MB allocated for %d bytes", n>>20, len(data))
		}
	})
}

func BenchmarkReadFacts(b *testing.B) {
	for _, name := range []string{"plain.jpg", "plain.png", "intel.tif", "plain.heic"} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := ReadFacts(onDisk(filepath.Join("testdata", "photos", name))); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// needsHEIC skips where the build has no decoder; make test has it.
func needsHEIC(t testing.TB) {
	t.Helper()
	if !DecodesHEIC {
		t.Skip("NOT CHECKED: HEIC, for want of the build tag nodynamic")
	}
}
