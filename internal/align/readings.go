package align

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/table"
)

// EyeNumber is a number read by eye under the shadow.
type EyeNumber struct {
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
func (d Dial) Observations(readings []EyeNumber, body bearing.Body, p geo.Position, elevationMetres float64) ([]Observation, error) {
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

const maxReadingsBytes = 1 << 20

var readingsForm = table.Form{
	Columns: []string{"time", "number", "heading", "note"}, Numbers: []string{"number"},
	Needed:   [][]string{{"time"}, {"number"}},
	Names:    "time and number, and if the dial was turned, heading; a time carries its offset, as 2026-03-14T09:26:53+02:00",
	MaxBytes: maxReadingsBytes, MaxRows: maxReadingsBytes,
}

// ReadReadings reads numbers from a CSV file (package table). The columns, in any order:
// time, RFC 3339 with its offset; number, degrees from 0 to 360 on the dial's own scale;
// heading, any name for the heading on which the dial stood, if it was turned; note, which
// is not read. name stands for the file in errors.
//
// The error's code is one of table.Form.Read's, no_readings, too_many_readings, bad_time,
// no_utc_offset or bad_number.
func ReadReadings(r io.Reader, name string) ([]EyeNumber, error) {
	var readings []EyeNumber
	err := readingsForm.Read(r, name, func(r table.Row) error {
		out, err := readReading(r)
		if err != nil {
			return err
		}
		if len(readings) == most {
			return fault.New("too_many_readings", "split the file", "there are more than %d readings", most)
		}
		readings = append(readings, out)
		return nil
	})
	if err != nil {
		return nil, err
	}
	if len(readings) == 0 {
		return nil, fault.New("no_readings", readingsForm.Hint(), "%s has no readings below its first line", name)
	}
	return readings, nil
}

func readReading(r table.Row) (EyeNumber, error) {
	out := EyeNumber{Stand: r.Field("heading"), Line: r.Line}
	var err error
	when := r.Field("time")
	if out.Time, err = geo.ParseTime(when, nil); err != nil {
		// geo's hint names a flag of the command line, which a file has not.
		return EyeNumber{}, fault.New(fault.Code(err), readingsForm.Hint(), "%v", err)
	}
	// The time was good, so what follows its hour is its offset.
	if at := strings.LastIndexAny(when, "+-−Zz"); at > 10 {
		if out.Offset, err = geo.ParseOffset(when[at:]); err != nil {
			return EyeNumber{}, err
		}
	}
	number, filled, err := r.Number("number")
	if err != nil || !filled || !(number >= 0 && number <= 360) {
		return EyeNumber{}, fault.New("bad_number", "write the number under the shadow in degrees from 0 to 360, such as 92.5",
			"number %q is not on the dial", r.Field("number"))
	}
	out.Number = angle.FromDegrees(number)
	return out, nil
}
