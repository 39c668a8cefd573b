package logreading

import (
	"context"
	"math"
	"path/filepath"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/photo"
	"shadowread/internal/reading"
)

// The journey is invented: an hour due east over a salt pan, at 30 km/h.
var (
	pan     = geo.Position{Lat: -20.6142 * angle.Degree, Lon: 25.431 * angle.Degree}
	morning = time.Date(2026, 3, 14, 6, 0, 0, 0, time.UTC)
)

func journey(t *testing.T) *logbook.Log {
	t.Helper()
	ctx := t.Context()
	l, err := logbook.Open(ctx, filepath.Join(t.TempDir(), "log.db"), logbook.Options{Create: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	km := func(text string) logbook.Run {
		return logbook.ByOdometer(logbook.Odometer{AsGiven: text, Unit: logbook.Kilometres})
	}
	east := logbook.Heading{Heading: 90 * angle.Degree, Sigma: angle.Degree}
	if _, err = l.Begin(ctx, logbook.At{Time: morning}, logbook.Departure{Position: pan, Sigma: 20, Odometer: km("0.0").Odometer}); err == nil {
		if _, err = l.LegByHand(ctx, logbook.At{Time: morning}, km("0.0"), east); err == nil {
			_, err = l.Halt(ctx, logbook.At{Time: morning.Add(time.Hour)}, logbook.Halt{Run: km("30.0")})
		}
	}
	if err != nil {
		t.Fatal(err)
	}
	return l
}

// reader reads what only the photo's clock, the options and the place tell the time of, and counts.
type reader struct {
	clock time.Time // the camera's, of no known offset; zero for none
	err   error     // without a place
	calls int
	last  *photo.Place
}

func (f *reader) facts() photo.Facts { return photo.Facts{Clock: f.clock} }

func (f *reader) read(o reading.Options) (*reading.Result, error) {
	f.calls++
	f.last = o.Position.Estimate
	if f.last == nil && o.Position.Position == nil && f.err != nil {
		return nil, f.err
	}
	r := &reading.Result{}
	if at, err := photo.ResolveTime(f.facts(), f.last, o.Time); err == nil {
		r.Instant = &at
	}
	return r, nil
}

func TestAtEstimate(t *testing.T) {
	book, stood := journey(t), &logbook.Run{Stood: true}
	evening := morning.Add(11 * time.Hour)
	half, late := morning.Add(30*time.Minute), morning.Add(90*time.Minute)
	alone := fault.New("number_alone", "", "")
	const zone = 2 * time.Hour // of the pan (time-zone data)
	for _, tt := range []struct {
		name   string
		book   *logbook.Log
		place  bool       // given
		at     *time.Time // given
		since  *logbook.Run
		reader reader
		calls  int
		east   float64 // km from the departure that it was read at; negative for no estimate
		warns  string
		code   string
	}{
		{"no log", nil, false, &half, nil, reader{}, 1, -1, "", ""},
		{"place given", book, true, &half, nil, reader{}, 1, -1, "", ""},
		{"on the way", book, false, &half, nil, reader{}, 1, 15, "", ""},
		{"where it stood", book, false, &late, stood, reader{}, 1, 30, "", ""},
		{"by a clock of no known offset, once", book, false, nil, nil, reader{clock: half.Add(zone)}, 1, 15, "", ""},
		{"by such a clock, where it stood", book, false, nil, stood, reader{clock: late.Add(zone)}, 1, 30, "", ""},
		{"by such a clock, too long after", book, false, nil, nil, reader{clock: evening.Add(zone)}, 1, -1, "estimate_stale", ""},
		{"no time found", book, false, nil, nil, reader{}, 1, 30, "", ""},
		{"before the journey", book, false, new(morning.Add(-time.Hour)), nil, reader{}, 1, -1, "before_departure", ""},
		{"too long after", book, false, &evening, nil, reader{}, 1, -1, "estimate_stale", ""},
		{"a number, too long after", book, false, &evening, nil, reader{err: alone}, 1, -1, "", "estimate_stale"},
		{"a way that cannot be", book, false, &late, &logbook.Run{Speed: &logbook.Speed{Mean: 1, For: 5 * time.Hour}}, reader{}, 0, -1, "", "bad_speed"},
	} {
		var o reading.Options
		o.Time.At = tt.at
		if tt.place {
			o.Position.Position = &pan
		}
		r, err := AtEstimate(t.Context(), tt.book, o, tt.reader.facts(), tt.since, tt.reader.read)
		if fault.Code(err) != tt.code || tt.reader.calls != tt.calls {
			t.Errorf("%s: %v after %d calls, want code %q after %d", tt.name, err, tt.reader.calls, tt.code, tt.calls)
			continue
		}
		switch here := tt.reader.last; {
		case (here == nil) != (tt.east < 0):
			t.Errorf("%s: read at %+v", tt.name, here)
		case here != nil:
			_, length, err := geo.GeodesicInverse(pan, here.Position)
			if err != nil || math.Abs(float64(length)-1000*tt.east) > 50 || here.Source != photo.PositionFromLog || !(here.SigmaKM > 0) {
				t.Errorf("%s: read %v m from the departure, %+v; want %v km", tt.name, length, here, tt.east)
			}
		}
		warned := ""
		if r != nil && len(r.Warnings) > 0 {
			warned = r.Warnings[0].Code
		}
		if warned != tt.warns {
			t.Errorf("%s: warns of %q, want %q", tt.name, warned, tt.warns)
		}
	}
}

// What the work-up treats by itself is told apart from the rest of the sigma.
func TestHeading(t *testing.T) {
	r := &reading.Result{
		Heading: new(90 * angle.Degree), Sigma: 2 * angle.Degree,
		Budget: &reading.Budget{Level: 1.5 * angle.Degree, Alignment: 0.5 * angle.Degree, Position: 0.1 * angle.Degree},
		Sky:    &bearing.Apparent{Azimuth: 1, Altitude: 0.5},
		Place:  &photo.Place{Position: pan, Source: photo.PositionFromOption},
	}
	got := Heading(r, false)
	if got.Heading != 90*angle.Degree || got.Sigma != r.Sigma || got.Level != 1.5*angle.Degree || got.Alignment != 0.5*angle.Degree || got.Position != 0.1*angle.Degree ||
		got.Body.Azimuth != 1 || got.Body.Altitude != 0.5 || got.ComputedAt != nil || got.SetUpAnew {
		t.Errorf("%+v", got)
	}
	r.Place.Source = photo.PositionFromLog
	r.LevelParts = &reading.LevelParts{Tilt: 1.4 * angle.Degree, Square: 0.5 * angle.Degree}
	if got = Heading(r, true); got.Level != 0.5*angle.Degree || got.ComputedAt == nil || *got.ComputedAt != pan || !got.SetUpAnew {
		t.Errorf("at the log's estimate, with the tilt measured: %+v", got)
	}
}

func TestEvidenceOfARefusal(t *testing.T) {
	p, err := Evidence(&reading.Result{Reason: reading.NoShadow, Message: "wait", Instant: &photo.Instant{UTC: morning}}, false)
	if err != nil || p.Reading != nil || p.Refused != "no_shadow" || p.Message != "wait" || !p.Time.Equal(morning) || len(p.Whole) == 0 {
		t.Errorf("%v, %+v", err, p)
	}
}

// A number is worked out at the log's estimate, with the error of a time that was noted to
// the minute: 17 s, and the sun goes 15 degrees an hour.
func TestNumberOfAPaperLog(t *testing.T) {
	here := &logbook.Estimate{Position: pan}
	m := Importer{Options: reading.Defaults()}
	numbers := map[bool]logbook.DialHeading{}
	for _, whole := range []bool{true, false} {
		at := morning
		if !whole {
			at = at.Add(time.Second)
		}
		read, err := m.Number(t.Context(), 120*angle.Degree, 0, at, nil, here)
		r := read.Heading
		if err != nil || len(read.Whole) == 0 || r.ComputedAt == nil || *r.ComputedAt != pan {
			t.Fatalf("%v, %+v", err, r)
		}
		numbers[whole] = r
	}
	if !(numbers[true].Sigma > numbers[false].Sigma) {
		t.Errorf("sigma %v to the minute, %v to the second", numbers[true].Sigma, numbers[false].Sigma)
	}
	_, err := m.Number(context.Background(), 120*angle.Degree, 0, morning.Add(-8*time.Hour), nil, here)
	if fault.Code(err) != "body_too_low" {
		t.Errorf("in the night: %v", err)
	}
}
