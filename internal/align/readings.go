package align

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
)

// Reading is a number read by eye under the shadow.
type Reading struct {
	Time   time.Time     // UTC
	Offset time.Duration // from UTC, as the time was written
	Number angle.Angle
	Stand  string // names the heading the dial stood on; "" for a dial that is not turned
	Line   int    // in the file it was read from
}

// Dial is a scale read by eye, of any make.
type Dial struct {
	// ZeroAt is where the scale's 0 stands, clockwise from forward. Where nobody knows,
	// 0 makes the scale's own zero the forward axis.
	ZeroAt angle.Angle
	// CounterClockwise tells which way the numbers run, seen from above.
	CounterClockwise bool
	// Step is what a number is read to: readings are rounded to it.
	Step angle.Angle
	// Sigma is what a reading errs by beside the rounding.
	Sigma angle.Angle
	// RadiusMM is the scale's, at which the shadow's middle is read.
	RadiusMM float64
}

// SheetDial is the standard sheet's own scale, read to a degree by eye with half a degree
// of error (common practice): numbers run counter-clockwise from 0 at the rear.
func SheetDial() Dial {
	return Dial{ZeroAt: math.Pi, CounterClockwise: true, Step: angle.Degree, Sigma: angle.Degree / 2, RadiusMM: 58}
}

// Observations returns readings as observations of the body from a place. A number
// rounded to a step errs evenly within half of it to both sides, which is a sigma of the
// step over the root of twelve (JCGM 100:2008, Guide to the expression of uncertainty in
// measurement, 4.3.7).
//
// The error's code is bad_dial, or one of bearing.Observe's.
func (d Dial) Observations(readings []Reading, body bearing.Body, p geo.Position, elevationMetres float64) ([]Observation, error) {
	if !sound(float64(d.Step), math.Pi/4) || !sound(float64(d.Sigma), math.Pi/6) || d.Step+d.Sigma == 0 || !(d.RadiusMM > 0 && d.RadiusMM <= 1e4) || math.IsNaN(float64(d.ZeroAt)) || math.IsInf(float64(d.ZeroAt), 0) {
		return nil, fault.New("bad_dial", "give the step in degrees, at most 45, and the radius of the scale in mm", "a dial with step %v, sigma %v and radius %g mm cannot be", d.Step, d.Sigma, d.RadiusMM)
	}
	var obs []Observation
	for _, r := range readings {
		sky, err := bearing.Observe(body, r.Time, p, elevationMetres)
		if err != nil {
			return nil, err
		}
		n := r.Number
		if d.CounterClockwise {
			n = -n
		}
		obs = append(obs, Observation{
			Label: fmt.Sprintf("line %d", r.Line), Sky: sky, Stand: r.Stand,
			Direction: (d.ZeroAt + n).Bearing(),
			Reversed:  new((d.ZeroAt - n).Bearing()), UTCOffset: r.Offset,
			DirectionSigma: angle.Angle(math.Hypot(float64(d.Sigma), float64(d.Step)/math.Sqrt(12))),
			RadiusMM:       d.RadiusMM,
		})
	}
	return obs, nil
}

const (
	maxReadingsBytes = 1 << 20
	readingsHint     = "the first line names the columns, parted by commas: time and number, and if the dial was turned, heading; " +
		"a time carries its offset, as 2026-03-14T09:26:53+02:00; the decimal sign is a point"
)

var readingColumns = []string{"time", "number", "heading", "note"}

// ReadReadings reads numbers from a CSV file (RFC 4180; lines that start with # are
// comments). The columns, in any order: time, RFC 3339 with its offset; number, degrees
// from 0 to 360 on the dial's own scale; heading, any name for the heading on which the
// dial stood, if it was turned; note, which is not read. name stands for the file in
// errors, which name the line too.
//
// The error's code is unreadable_file, file_too_large, bad_csv, missing_column,
// unknown_column, no_readings, too_many_readings, bad_time, no_utc_offset or bad_number.
func ReadReadings(r io.Reader, name string) ([]Reading, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxReadingsBytes+1))
	switch {
	case err != nil:
		return nil, fault.Wrap(err, "unreadable_file", "check the file", "cannot read %s", name)
	case len(data) > maxReadingsBytes:
		return nil, fault.New("file_too_large", "check that it is a file of readings", "%s is larger than %d bytes", name, maxReadingsBytes)
	}
	rows := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(data, []byte("\ufeff"))))
	rows.Comment = '#'
	rows.TrimLeadingSpace = true
	next := func() ([]string, int, error) {
		fields, err := rows.Read()
		var p *csv.ParseError
		switch {
		case err == nil:
			line, _ := rows.FieldPos(0)
			return fields, line, nil
		case errors.As(err, &p):
			return nil, 0, fault.Wrap(p.Err, "bad_csv", readingsHint, "%s line %d", name, p.Line)
		}
		return nil, 0, err
	}

	header, line, err := next()
	if err == io.EOF {
		return nil, fault.New("missing_column", readingsHint, "%s is empty", name)
	}
	if err != nil {
		return nil, err
	}
	at := map[string]int{}
	for i, column := range header {
		column = strings.TrimSpace(column)
		if _, twice := at[column]; twice || !slices.Contains(readingColumns, column) {
			return nil, fault.New("unknown_column", readingsHint, "%s line %d: column %q is not known, or stands twice", name, line, column)
		}
		at[column] = i
	}
	for _, column := range []string{"time", "number"} {
		if _, ok := at[column]; !ok {
			return nil, fault.New("missing_column", readingsHint, "%s line %d: column %s is missing", name, line, column)
		}
	}

	var readings []Reading
	for {
		fields, line, err := next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, err
		}
		field := func(column string) string {
			if i, ok := at[column]; ok {
				return strings.TrimSpace(fields[i])
			}
			return ""
		}
		out := Reading{Stand: field("heading"), Line: line}
		if out.Time, err = geo.ParseTime(field("time"), nil); err != nil {
			var f *fault.Error
			if errors.As(err, &f) {
				return nil, fault.New(f.Code, readingsHint, "%s line %d: %s", name, line, f.Message)
			}
			return nil, err
		}
		// The time was good, so what follows its hour is its offset.
		if at := strings.LastIndexAny(field("time"), "+-−Zz"); at > 10 {
			if out.Offset, err = geo.ParseOffset(field("time")[at:]); err != nil {
				return nil, err
			}
		}
		number, err := strconv.ParseFloat(field("number"), 64)
		if err != nil || !(number >= 0 && number <= 360) {
			return nil, fault.New("bad_number", "write the number under the shadow in degrees from 0 to 360, such as 92.5",
				"%s line %d: number %q is not on the dial", name, line, field("number"))
		}
		out.Number = angle.FromDegrees(number)
		if readings = append(readings, out); len(readings) > most {
			return nil, fault.New("too_many_readings", "give at most 2000", "%s has too many readings", name)
		}
	}
	if len(readings) == 0 {
		return nil, fault.New("no_readings", readingsHint, "%s has no readings below its first line", name)
	}
	return readings, nil
}
