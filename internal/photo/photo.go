// Package photo reads what a photo file says about itself: its format and size,
// which way up it is, and when and where it was taken.
//
// The file comes from outside and is not trusted. Everything here looks at
// headers only, through reads of bounded size, and follows no pointer twice; no
// pixel is decoded except by DecodeHEIC and DecodePlain.
package photo

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
)

// Format is the kind of a photo file, known by its content and not by its name.
type Format string

// The formats that are read.
const (
	JPEG Format = "jpeg"
	PNG  Format = "png"
	TIFF Format = "tiff"
	HEIC Format = "heic"
)

// Limits. A photo above them is refused before any pixel is decoded.
const (
	// MaxPixels is the largest picture that is decoded.
	MaxPixels = 100_000_000
	// MaxFileBytes bounds a file, which stays in memory beside its picture: a TIFF of 42
	// megapixels that is not compressed.
	MaxFileBytes = 128 << 20
)

// mostBytes bounds the files of formats of which less is enough: what a decoder goes through
// costs time by the byte, and that of HEIC holds it several times.
var mostBytes = map[Format]int64{
	// Some 3 bits for each of MaxPixels: cameras of 45 to 60 megapixels write up to 35 MB (from
	// memory). Full of grain that takes nine times as long as a sound photo.
	JPEG: 36 << 20,
	HEIC: 16 << 20, // mostHEIC at one
}

// Warning is something the user should know about a result that stands.
type Warning struct {
	Code    string `json:"code"` // stable, snake_case
	Message string `json:"message"`
}

// Facts is what a photo file says about itself. A zero or nil field is not known.
type Facts struct {
	Format Format

	// Width and Height are the picture's pixels as the decoder delivers them: as
	// stored, but a HEIC that is mirrored, turned upright.
	Width, Height int

	// Orientation, 1 to 8, is the Exif orientation still to be applied to the
	// decoded pixels to see the picture upright: 1 upright, 3 upside down, 6 to
	// be turned 90 degrees clockwise, 8 counter-clockwise; 2, 4, 5 and 7 are
	// mirrored. For HEIC it is the file's own rotation, and 1 where that mirrors. The
	// others must be decoded without heed of orientation.
	Orientation int

	Make, Model, Software string

	FocalLengthMM   float64 // of the lens
	FocalLength35MM float64 // with the same angle of view on a 36 x 24 mm frame

	// ExifWidth and ExifHeight are the pixels of the picture as the camera
	// wrote it. They differ from Width and Height after cropping or scaling.
	ExifWidth, ExifHeight int

	// Clock is what the camera's clock read when the photo was taken
	// (DateTimeOriginal with SubSecTimeOriginal), in no zone: its hours and
	// minutes are those of the camera, and its location, UTC, means nothing.
	Clock time.Time
	// ClockOffset is how far the camera said its clock is ahead of UTC
	// (OffsetTimeOriginal).
	ClockOffset *time.Duration

	// GPSTime is the time of the position fix, in UTC. It can be older than
	// the photo.
	GPSTime time.Time
	// GPS is the position fix; GPSErrorMetres its stated horizontal error and
	// AltitudeMetres its height above sea level.
	GPS            *geo.Position
	GPSErrorMetres float64
	AltitudeMetres float64

	// EV100 is the exposure value at ISO 100 that the camera set.
	EV100 *float64
	// Direction is where the camera pointed (GPSImgDirection), from magnetic north
	// where DirectionMagnetic, else from true north.
	Direction         *angle.Angle
	DirectionMagnetic bool

	// Warnings says what in the file could not be used.
	Warnings []Warning
}

func (f *Facts) warn(code, message string) {
	f.Warnings = append(f.Warnings, Warning{code, message})
}

// unreadable returns the error for a file that is no whole photo.
func unreadable(hint, format string, args ...any) error {
	return fault.New("unreadable_file", hint, format, args...)
}

// Damaged is the error for a picture whose decoder finds fault with its data.
func Damaged() error {
	return unreadable(copyHint, "the picture's data is damaged")
}

// TooLarge is the error for a picture that would take too much time or memory.
func TooLarge(format string, args ...any) error {
	return fault.New("too_large", "take the photo at a lower resolution, or save it as an ordinary JPEG", format, args...)
}

const copyHint = "copy the original file again from the camera or phone"

// ReadFacts reads a photo's header. It holds at most a few megabytes in memory whatever the
// file's size.
//
// It fails with code "unreadable_file", or "too_large" for a file above
// MaxFileBytes or a picture above MaxPixels. Exif data that is damaged or absent
// is no failure: the fields stay empty and Warnings says so. After "too_large"
// the facts that are known are returned with the error.
func ReadFacts(file File) (facts Facts, err error) {
	err = file.open(func(c *io.SectionReader) (err error) {
		facts, err = readFacts(c)
		return err
	})
	return facts, err
}

// header is what a container tells without decoding pixels.
type header struct {
	width, height int
	exif          *io.SectionReader // a TIFF structure; nil if there is none
	// orientation goes before that of the Exif data; 0 where the container has none.
	orientation int
}

func readFacts(f *io.SectionReader) (Facts, error) {
	facts := Facts{Orientation: 1}
	format, err := sniff(f)
	if err != nil {
		return facts, err
	}
	facts.Format = format
	read := map[Format]func(*io.SectionReader) (header, error){
		JPEG: readJPEG, PNG: readPNG, TIFF: readTIFF, HEIC: readHEIC,
	}[format]
	h, err := read(f)
	if err != nil {
		return facts, err
	}
	if h.exif != nil {
		facts.readExif(h.exif)
	}
	if h.orientation != 0 {
		facts.Orientation = h.orientation
	}
	facts.Width, facts.Height = h.width, h.height
	if h.width <= 0 || h.height <= 0 {
		return facts, unreadable(copyHint, "the picture is %d x %d pixels", h.width, h.height)
	}
	if int64(h.width)*int64(h.height) > MaxPixels {
		return facts, fault.New("too_large", "take the photo at a lower resolution or scale it down",
			"the picture is %d x %d pixels, more than the %d megapixels that are read", h.width, h.height, MaxPixels/1_000_000)
	}
	if most := mostBytes[format]; most > 0 && f.Size() > most {
		return facts, TooLarge("the file has %d MB, more than the %d MB that are read of a %s", f.Size()>>20, most>>20, strings.ToUpper(string(format)))
	}
	return facts, nil
}

// sniff tells the format by the first bytes.
func sniff(f *io.SectionReader) (Format, error) {
	head := make([]byte, 64)
	n, err := f.ReadAt(head, 0)
	if err != nil && !errors.Is(err, io.EOF) {
		return "", fault.Wrap(err, "unreadable_file", "check that the disk or card can be read", "the file cannot be read")
	}
	head = head[:n]
	starts := func(magic string) bool { return bytes.HasPrefix(head, []byte(magic)) }
	switch {
	case starts("\xff\xd8\xff"):
		return JPEG, nil
	case starts("\x89PNG\r\n\x1a\n"):
		return PNG, nil
	case starts("II*\x00"), starts("MM\x00*"):
		return TIFF, nil
	case n >= 12 && string(head[4:8]) == "ftyp":
		return HEIC, nil // readHEIC looks at the brands
	}
	return "", unreadable("give a photo as JPEG, PNG, TIFF or HEIC", "the file is not a JPEG, PNG, TIFF or HEIC photo")
}

// Mirrored reports whether the picture as stored is to be turned left to right.
func (f Facts) Mirrored() bool { return Mirrored(f.Orientation) }

// Mirrored reports whether an Exif orientation turns a picture left to right.
func Mirrored(orientation int) bool {
	switch orientation {
	case 2, 4, 5, 7:
		return true
	}
	return false
}

// CopyOf returns the facts of an upright copy of an original's pixels, smaller perhaps: the
// pixels are its own, all else is the original's.
func (f Facts) CopyOf(original Facts) Facts {
	out := original
	out.Format, out.Width, out.Height, out.Orientation = f.Format, f.Width, f.Height, f.Orientation
	out.Warnings = append(append([]Warning(nil), f.Warnings...), original.Warnings...)
	// Whether the original was cropped shows in its own sizes. A copy's are the camera's,
	// scaled and perhaps turned, up to the rounding of a pixel.
	asTaken := original.ExifWidth == 0 || original.ExifHeight == 0 ||
		original.ExifWidth*original.Height == original.ExifHeight*original.Width ||
		original.ExifWidth*original.Width == original.ExifHeight*original.Height
	if asTaken {
		out.ExifWidth, out.ExifHeight = 0, 0
	}
	return out
}
