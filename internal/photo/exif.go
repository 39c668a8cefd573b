package photo

import (
	"encoding/binary"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"github.com/rwcarlsen/goexif/tiff"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
)

// Exif tags (CIPA DC-008, Exif 2.32) and, in the first directory, TIFF 6.0 tags.
const (
	tagSubfileType  = 0x00FE
	tagWidth        = 0x0100
	tagHeight       = 0x0101
	tagSampleBits   = 0x0102
	tagMake         = 0x010F
	tagModel        = 0x0110
	tagStripOffsets = 0x0111
	tagOrientation  = 0x0112
	tagStripRows    = 0x0116
	tagStripCounts  = 0x0117
	tagTileWidth    = 0x0142
	tagTileHeight   = 0x0143
	tagSoftware     = 0x0131
	tagTileOffsets  = 0x0144
	tagTileCounts   = 0x0145
	tagExifIFD      = 0x8769
	tagGPSIFD       = 0x8825

	tagDateTimeOriginal   = 0x9003
	tagOffsetTimeOriginal = 0x9011 // 0x9010 is for the file's change time: not used
	tagSubSecTimeOriginal = 0x9291
	tagFocalLength        = 0x920A
	tagExposureTime       = 0x829A
	tagFNumber            = 0x829D
	tagSensitivity        = 0x8827
	tagShutterSpeed       = 0x9201 // APEX
	tagAperture           = 0x9202 // APEX
	tagPixelXDimension    = 0xA002
	tagPixelYDimension    = 0xA003
	tagFocalLength35      = 0xA405

	tagGPSLatitudeRef  = 0x01
	tagGPSLatitude     = 0x02
	tagGPSLongitudeRef = 0x03
	tagGPSLongitude    = 0x04
	tagGPSAltitudeRef  = 0x05
	tagGPSAltitude     = 0x06
	tagGPSTimeStamp    = 0x07
	tagGPSStatus       = 0x09
	tagGPSDirectionRef = 0x10
	tagGPSDirection    = 0x11
	tagGPSDateStamp    = 0x1D
	tagGPSHError       = 0x1F
)

// The tags that are read in each directory.
var (
	tiffTags = []uint16{tagSubfileType, tagWidth, tagHeight, tagStripOffsets, tagStripCounts, tagTileOffsets, tagTileCounts}
	// blockTags are what tells how large a strip or a tile is.
	blockTags = []uint16{tagSampleBits, tagStripRows, tagTileWidth, tagTileHeight}
	firstTags = []uint16{tagMake, tagModel, tagSoftware, tagOrientation, tagExifIFD, tagGPSIFD}
	exifTags  = []uint16{
		tagDateTimeOriginal, tagOffsetTimeOriginal, tagSubSecTimeOriginal,
		tagFocalLength, tagFocalLength35, tagPixelXDimension, tagPixelYDimension,
		tagExposureTime, tagFNumber, tagSensitivity, tagShutterSpeed, tagAperture,
	}
	gpsTags = []uint16{
		tagGPSLatitudeRef, tagGPSLatitude, tagGPSLongitudeRef, tagGPSLongitude, tagGPSAltitudeRef, tagGPSAltitude,
		tagGPSTimeStamp, tagGPSStatus, tagGPSDirectionRef, tagGPSDirection, tagGPSDateStamp, tagGPSHError,
	}
)

// maxValueBytes bounds one value. It is what a JPEG's Exif segment can hold.
const maxValueBytes = 64 << 10

// typeBytes is the size of one value by TIFF 6.0 type, 0 for no such type.
var typeBytes = [13]uint64{0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8}

// directory holds the readable entries of one image file directory by tag. All
// its methods take absent and odd entries for "not known".
type directory map[uint16]*tiff.Tag

// tiffOrder reads the eight bytes that open a TIFF structure.
func tiffOrder(f *io.SectionReader) (order binary.ByteOrder, first uint32, ok bool) {
	var head [8]byte
	if _, err := f.ReadAt(head[:], 0); err != nil {
		return nil, 0, false
	}
	switch string(head[:4]) {
	case "II*\x00":
		order = binary.LittleEndian
	case "MM\x00*":
		order = binary.BigEndian
	default:
		return nil, 0, false
	}
	return order, order.Uint32(head[4:]), true
}

// readDirectory reads the image file directory at offset. It is the check that
// stands before goexif, which computes the size of a value in 32 bits and then
// allocates by the count: it is given single entries, each of which has been
// found to be of a known type, of bearable size and wholly inside the block.
// Nothing here follows a pointer, so there is no loop to fall into, and only the
// wanted tags are decoded: a few kilobytes of entries that share one large value
// would otherwise grow to gigabytes.
func readDirectory(f *io.SectionReader, order binary.ByteOrder, offset uint32, wanted []uint16) (directory, bool) {
	size := uint64(f.Size())
	start := int64(offset)
	var n [2]byte
	if _, err := f.ReadAt(n[:], start); err != nil {
		return nil, false
	}
	entries := make([]byte, 12*int(order.Uint16(n[:]))) // at most 768 KB
	if _, err := f.ReadAt(entries, start+2); err != nil {
		return nil, false
	}
	dir := make(directory)
	for i := 0; i < len(entries); i += 12 {
		e := entries[i : i+12]
		id, kind, count := order.Uint16(e), order.Uint16(e[2:]), order.Uint32(e[4:])
		if int(kind) >= len(typeBytes) || dir[id] != nil || !slices.Contains(wanted, id) {
			continue
		}
		length := uint64(count) * typeBytes[kind]
		if length == 0 || length > maxValueBytes {
			continue
		}
		if length > 4 && uint64(order.Uint32(e[8:]))+length > size {
			continue
		}
		if _, err := f.Seek(start+2+int64(i), io.SeekStart); err != nil {
			return nil, false
		}
		if tag, err := tiff.DecodeTag(f, order); err == nil {
			dir[id] = tag
		}
	}
	return dir, true
}

// text returns a tag's text without padding and without control characters,
// which a hostile file might aim at the terminal.
func (d directory) text(id uint16) string {
	tag := d[id]
	if tag == nil || tag.Format() != tiff.StringVal {
		return ""
	}
	s, err := tag.StringVal()
	if err != nil {
		return ""
	}
	s = strings.Map(func(r rune) rune {
		if r == unicode.ReplacementChar || !unicode.IsPrint(r) {
			return -1
		}
		return r
	}, s)
	return strings.TrimSpace(s)
}

// count returns how many values a tag has.
func (d directory) count(id uint16) int {
	if d[id] == nil {
		return 0
	}
	return int(d[id].Count) // at most maxValueBytes
}

// number returns value i of a numeric tag. A fraction with denominator 0, which
// is how Exif writes "unknown", is not known.
func (d directory) number(id uint16, i int) (float64, bool) {
	if i >= d.count(id) {
		return 0, false
	}
	tag := d[id]
	switch tag.Format() {
	case tiff.IntVal:
		v, err := tag.Int64(i)
		return float64(v), err == nil
	case tiff.RatVal:
		num, den, err := tag.Rat2(i)
		return float64(num) / float64(den), err == nil && den != 0
	case tiff.FloatVal:
		v, err := tag.Float(i)
		return v, err == nil && !math.IsNaN(v) && !math.IsInf(v, 0)
	}
	return 0, false
}

// triple returns the three values of a GPS angle or time.
func (d directory) triple(id uint16) (v [3]float64, ok bool) {
	for i := range v {
		if v[i], ok = d.number(id, i); !ok {
			return v, false
		}
	}
	return v, true
}

// positive returns the first value of a tag, 0 unless it is above 0.
func (d directory) positive(id uint16) float64 {
	if v, ok := d.number(id, 0); ok && v > 0 {
		return v
	}
	return 0
}

// subdirectory reads the directory that a pointer tag names.
func (d directory) subdirectory(f *io.SectionReader, order binary.ByteOrder, pointer uint16, wanted []uint16) directory {
	offset, ok := d.number(pointer, 0)
	if !ok || offset < 0 || offset > math.MaxUint32 {
		return nil
	}
	sub, _ := readDirectory(f, order, uint32(offset), wanted)
	return sub
}

// readExif fills the facts from a TIFF structure that carries Exif data. It reads
// three directories, each once: the first, and the Exif and GPS directories that
// it points to. Directories chained behind the first hold thumbnails.
func (f *Facts) readExif(block *io.SectionReader) {
	order, offset, ok := tiffOrder(block)
	var first directory
	if ok {
		first, ok = readDirectory(block, order, offset, firstTags)
	}
	if !ok {
		f.warn("exif_unreadable", "the photo's Exif data is damaged and was not used")
		return
	}
	f.Make, f.Model, f.Software = first.text(tagMake), first.text(tagModel), first.text(tagSoftware)
	if v, ok := first.number(tagOrientation, 0); ok && v >= 1 && v <= 8 {
		f.Orientation = int(v)
	}

	exif := first.subdirectory(block, order, tagExifIFD, exifTags)
	f.FocalLengthMM = exif.positive(tagFocalLength)
	f.FocalLength35MM = exif.positive(tagFocalLength35)
	f.ExifWidth = int(exif.positive(tagPixelXDimension))
	f.ExifHeight = int(exif.positive(tagPixelYDimension))
	f.EV100 = exif.exposureValue()
	f.readClock(exif)

	f.readGPS(first.subdirectory(block, order, tagGPSIFD, gpsTags))
}

// exposureValue returns the exposure value at ISO 100, log2(N²/t) - log2(S/100) (ISO 2720);
// nil where aperture, time or sensitivity is not known or is none that a camera has.
func (d directory) exposureValue() *float64 {
	seconds, aperture, iso := d.positive(tagExposureTime), d.positive(tagFNumber), d.positive(tagSensitivity)
	if v, ok := d.number(tagShutterSpeed, 0); ok && seconds == 0 {
		seconds = math.Exp2(-v)
	}
	if v, ok := d.number(tagAperture, 0); ok && aperture == 0 {
		aperture = math.Exp2(v / 2)
	}
	plausible := seconds > 1e-6 && seconds < 4000 && aperture > 0.5 && aperture < 100 && iso >= 1 && iso < 1e7
	if !plausible || iso == math.MaxUint16 { // 65535: Exif's word for more than fits
		return nil
	}
	return new(math.Log2(aperture*aperture/seconds) - math.Log2(iso/100))
}

// blankStamp matches an Exif time that says "unknown": blanks or zeros where the
// digits should be.
var blankStamp = regexp.MustCompile(`^[ 0:]*$`)

func (f *Facts) readClock(exif directory) {
	stamp := exif.text(tagDateTimeOriginal)
	if blankStamp.MatchString(stamp) {
		return
	}
	clock, err := time.Parse("2006:01:02 15:04:05", stamp)
	if err != nil || len(stamp) != len("2006:01:02 15:04:05") {
		f.warn("exif_time_unreadable", "the photo's time "+strconv.Quote(stamp)+" cannot be read and was not used")
		return
	}
	f.Clock = clock.Add(fraction(exif.text(tagSubSecTimeOriginal)))

	if s := exif.text(tagOffsetTimeOriginal); strings.Trim(s, " :") != "" {
		offset, err := geo.ParseOffset(s)
		if err != nil || !strings.Contains(s, ":") {
			f.warn("exif_offset_unreadable", "the photo's UTC offset "+strconv.Quote(s)+" cannot be read and was not used")
			return
		}
		f.ClockOffset = &offset
	}
}

// fraction returns the decimal fraction of a second with the given digits: "037"
// is 0.037 s. Anything but digits is no fraction.
func fraction(digits string) time.Duration {
	digits = digits[:min(len(digits), 9)] // to the nanosecond
	n, err := strconv.ParseUint(digits, 10, 32)
	if err != nil {
		return 0
	}
	return time.Duration(n) * time.Duration(math.Pow10(9-len(digits)))
}

func (f *Facts) readGPS(gps directory) {
	if date, err := time.Parse("2006:01:02", gps.text(tagGPSDateStamp)); err == nil {
		t, ok := gps.triple(tagGPSTimeStamp)
		if ok && t[0] >= 0 && t[0] < 24 && t[1] >= 0 && t[1] < 60 && t[2] >= 0 && t[2] < 61 {
			f.GPSTime = date.Add(time.Duration((t[0]*3600 + t[1]*60 + t[2]) * float64(time.Second)))
		}
	}

	if v, ok := gps.number(tagGPSDirection, 0); ok && v >= 0 && v <= 360 {
		switch ref := gps.text(tagGPSDirectionRef); ref {
		case "T", "M":
			f.Direction, f.DirectionMagnetic = new(angle.FromDegrees(v).Bearing()), ref == "M"
		}
	}
	if gps[tagGPSLatitude] == nil && gps[tagGPSLongitude] == nil {
		return
	}
	lat, okLat := gps.degrees(tagGPSLatitude, tagGPSLatitudeRef, "N", "S", 90)
	lon, okLon := gps.degrees(tagGPSLongitude, tagGPSLongitudeRef, "E", "W", 180)
	switch {
	case gps.text(tagGPSStatus) == "V", okLat && okLon && lat == 0 && lon == 0:
		// A receiver without a fix says so, or leaves zeros; nobody stands at
		// 0 N 0 E by accident.
		f.warn("gps_void", "the photo's GPS position says that there was no fix and was not used")
		return
	case !okLat || !okLon:
		f.warn("gps_unreadable", "the photo's GPS position cannot be read and was not used")
		return
	}
	if lon == -180 {
		lon = 180
	}
	f.GPS = &geo.Position{Lat: angle.FromDegrees(lat), Lon: angle.FromDegrees(lon)}
	f.GPSErrorMetres = gps.positive(tagGPSHError)
	if v, ok := gps.number(tagGPSAltitude, 0); ok {
		// References 1 and 3 mean below (sea level, ellipsoid).
		if ref, _ := gps.number(tagGPSAltitudeRef, 0); ref == 1 || ref == 3 {
			v = -v
		}
		f.AltitudeMetres = v
	}
}

// degrees returns a signed latitude or longitude. Degrees, minutes and seconds
// may each have a fraction; writers that round let minutes and seconds reach 60.
func (d directory) degrees(value, ref uint16, positive, negative string, limit float64) (float64, bool) {
	v, ok := d.triple(value)
	if !ok || v[0] < 0 || v[1] < 0 || v[1] > 60 || v[2] < 0 || v[2] > 60 {
		return 0, false
	}
	deg := v[0] + v[1]/60 + v[2]/3600
	if deg > limit {
		return 0, false
	}
	switch d.text(ref) {
	case positive:
		return deg, true
	case negative:
		return -deg, true
	}
	return deg, false
}
