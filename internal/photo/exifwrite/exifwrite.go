// Package exifwrite puts Exif data into a JPEG, for demonstration photos and for
// tests. It shares no code with the package that reads them.
package exifwrite

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
)

// Tags are the Exif data to write. A zero or nil field is left out.
type Tags struct {
	Make, Model, Software string
	Orientation           int // 1 to 8

	FocalLengthMM   float64
	FocalLength35MM int
	Width, Height   int // pixels

	// Clock is what the camera's clock reads, to the millisecond: the hours and
	// minutes are written as they stand in the time's own location.
	Clock       time.Time
	ClockOffset *time.Duration // of the clock from UTC

	GPSTime time.Time // any location
	GPS     *geo.Position
	// AltitudeMetres above sea level is written with a position only.
	AltitudeMetres float64
	GPSErrorMetres float64

	// ExposureSeconds (to a hundred-thousandth), FNumber and ISO are written together.
	ExposureSeconds, FNumber float64
	ISO                      int
	// Direction is where the camera points, written with its reference, "T" or "M".
	Direction    *angle.Angle
	DirectionRef string
}

var order = binary.LittleEndian

// TIFF types (TIFF 6.0).
const (
	typeByte     = 1
	typeASCII    = 2
	typeShort    = 3
	typeLong     = 4
	typeRational = 5

	typeUndefined = 7
)

// entry is one entry of an image file directory.
type entry struct {
	id, kind uint16
	count    uint32
	data     []byte
}

func short(id uint16, v int) entry {
	return entry{id, typeShort, 1, order.AppendUint16(nil, uint16(v))}
}

func long(id uint16, v int) entry {
	return entry{id, typeLong, 1, order.AppendUint32(nil, uint32(v))}
}

func ascii(id uint16, s string) entry {
	return entry{id, typeASCII, uint32(len(s) + 1), append([]byte(s), 0)}
}

// rationals writes values from 0 up to some four million to the thousandth.
func rationals(id uint16, values ...float64) entry {
	e := entry{id: id, kind: typeRational, count: uint32(len(values))}
	for _, v := range values {
		e.data = order.AppendUint32(e.data, uint32(math.Round(v*1000)))
		e.data = order.AppendUint32(e.data, 1000)
	}
	return e
}

// sexagesimal writes an angle's magnitude as degrees, minutes and seconds to the
// ten-thousandth (3 mm), in whole numbers so that no 60 appears.
func sexagesimal(id uint16, a angle.Angle) entry {
	const parts = 10000 // of a second
	n := uint64(math.Round(a.Abs().Degrees() * 3600 * parts))
	e := entry{id: id, kind: typeRational, count: 3}
	for _, v := range [6]uint64{n / (3600 * parts), 1, n / (60 * parts) % 60, 1, n % (60 * parts), parts} {
		e.data = order.AppendUint32(e.data, uint32(v))
	}
	return e
}

// Block returns the Exif data as a TIFF structure (CIPA DC-008, Exif 2.32).
// It is long by the number of tags.
func Block(t Tags) []byte {
	block := append([]byte("II*\x00"), 0, 0, 0, 0) // the place of the first directory comes last
	// What the standard asks of every JPEG with Exif data.
	first := []entry{rationals(0x011A, 72), rationals(0x011B, 72), short(0x0128, 2), short(0x0213, 1)}
	exif := []entry{
		{0x9000, typeUndefined, 4, []byte("0232")}, {0x9101, typeUndefined, 4, []byte{1, 2, 3, 0}},
		{0xA000, typeUndefined, 4, []byte("0100")}, short(0xA001, 1),
	}
	var gps []entry
	if t.Make != "" {
		first = append(first, ascii(0x010F, t.Make))
	}
	if t.Model != "" {
		first = append(first, ascii(0x0110, t.Model))
	}
	if t.Orientation != 0 {
		first = append(first, short(0x0112, t.Orientation))
	}
	if t.Software != "" {
		first = append(first, ascii(0x0131, t.Software))
	}

	if !t.Clock.IsZero() {
		exif = append(exif, ascii(0x9003, t.Clock.Format("2006:01:02 15:04:05")))
		if t.ClockOffset != nil {
			exif = append(exif, ascii(0x9011, geo.FormatOffset(*t.ClockOffset)))
		}
		exif = append(exif, ascii(0x9291, fmt.Sprintf("%03d", t.Clock.Nanosecond()/int(time.Millisecond))))
	}
	if t.FocalLengthMM != 0 {
		exif = append(exif, rationals(0x920A, t.FocalLengthMM))
	}
	if t.Width != 0 && t.Height != 0 {
		exif = append(exif, long(0xA002, t.Width), long(0xA003, t.Height))
	}
	if t.FocalLength35MM != 0 {
		exif = append(exif, short(0xA405, t.FocalLength35MM))
	}

	if t.ISO != 0 {
		seconds := entry{id: 0x829A, kind: typeRational, count: 1}
		seconds.data = order.AppendUint32(order.AppendUint32(nil, uint32(math.Round(t.ExposureSeconds*1e5))), 1e5)
		exif = append(exif, seconds, rationals(0x829D, t.FNumber), short(0x8827, t.ISO))
	}

	if t.Direction != nil {
		gps = append(gps, ascii(0x10, t.DirectionRef), rationals(0x11, t.Direction.Degrees()))
	}
	if t.GPS != nil {
		ns, ew, below := "N", "E", byte(0)
		if t.GPS.Lat < 0 {
			ns = "S"
		}
		if t.GPS.Lon < 0 {
			ew = "W"
		}
		if t.AltitudeMetres < 0 {
			below = 1
		}
		gps = append(gps,
			ascii(0x01, ns), sexagesimal(0x02, t.GPS.Lat), ascii(0x03, ew), sexagesimal(0x04, t.GPS.Lon),
			entry{0x05, typeByte, 1, []byte{below}}, rationals(0x06, math.Abs(t.AltitudeMetres)))
		if t.GPSErrorMetres != 0 {
			gps = append(gps, rationals(0x1F, t.GPSErrorMetres))
		}
	}
	if !t.GPSTime.IsZero() {
		utc := t.GPSTime.UTC()
		seconds := float64(utc.Second()) + float64(utc.Nanosecond())/1e9
		gps = append(gps, rationals(0x07, float64(utc.Hour()), float64(utc.Minute()), seconds),
			ascii(0x1D, utc.Format("2006:01:02")))
	}

	first = append(first, long(0x8769, len(block)))
	block = appendDirectory(block, exif)
	if gps != nil {
		first = append(first, long(0x8825, len(block)))
		block = appendDirectory(block, append(gps, entry{0x00, typeByte, 4, []byte{2, 3, 0, 0}}))
	}
	order.PutUint32(block[4:], uint32(len(block)))
	return appendDirectory(block, first)
}

// appendDirectory writes a directory at the end of block and the values that do
// not fit into it behind it, each on an even byte.
func appendDirectory(block []byte, entries []entry) []byte {
	slices.SortFunc(entries, func(a, b entry) int { return int(a.id) - int(b.id) })
	values := len(block) + 2 + 12*len(entries) + 4
	var tail []byte
	block = order.AppendUint16(block, uint16(len(entries)))
	for _, e := range entries {
		block = order.AppendUint16(block, e.id)
		block = order.AppendUint16(block, e.kind)
		block = order.AppendUint32(block, e.count)
		if len(e.data) <= 4 {
			block = append(block, append(e.data, make([]byte, 4-len(e.data))...)...)
			continue
		}
		block = order.AppendUint32(block, uint32(values+len(tail)))
		tail = append(tail, e.data...)
		if len(tail)%2 == 1 {
			tail = append(tail, 0)
		}
	}
	block = append(block, 0, 0, 0, 0) // no further directory
	return append(block, tail...)
}

// Insert returns a JPEG with the Exif data put in front. The JPEG must have none
// yet.
func Insert(jpeg []byte, t Tags) ([]byte, error) {
	id := []byte("Exif\x00\x00")
	if !bytes.HasPrefix(jpeg, []byte{0xFF, 0xD8, 0xFF}) {
		return nil, errors.New("not a JPEG")
	}
	if bytes.Contains(jpeg[:min(len(jpeg), 64<<10)], id) {
		return nil, errors.New("the JPEG has Exif data already")
	}
	block := Block(t)
	if 2+len(id)+len(block) > math.MaxUint16 {
		return nil, errors.New("the Exif data does not fit into a JPEG")
	}
	out := []byte{0xFF, 0xD8, 0xFF, 0xE1}
	out = binary.BigEndian.AppendUint16(out, uint16(2+len(id)+len(block)))
	out = append(out, id...)
	out = append(out, block...)
	return append(out, jpeg[2:]...), nil
}
