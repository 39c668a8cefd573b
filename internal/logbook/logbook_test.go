package logbook

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/testtable"
	"shadowread/internal/workup"
)

// The scenario is invented: two trucks survey a salt pan that does not exist.
var (
	pan     = geo.Position{Lat: -20.6142 * angle.Degree, Lon: 25.431 * angle.Degree}
	morning = time.Date(2026, 3, 14, 6, 0, 0, 0, time.UTC)
)

const deg = angle.Degree

// open opens a log that is closed with the test. Its clock stands still.
func open(t testing.TB, path string) *Log {
	t.Helper()
	l, err := Open(t.Context(), path, Options{Create: true, Now: func() time.Time { return morning.Add(24 * time.Hour) }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	return l
}

func newLog(t testing.TB) *Log { return open(t, filepath.Join(t.TempDir(), "log.db")) }

// at is a time on the first day, in minutes after the departure.
func at(minutes float64) At {
	return At{Time: morning.Add(time.Duration(minutes * float64(time.Minute)))}
}

func km(text string) Run { return ByOdometer(Odometer{AsGiven: text, Unit: Kilometres}) }

func by(heading, sigma float64) Heading {
	return Heading{angle.FromDegrees(heading), angle.FromDegrees(sigma)}
}

// must passes what an entry that has to be taken returns.
func must(t testing.TB) func(a Added, err error) Added {
	return func(a Added, err error) Added {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return a
	}
}

// begun returns a log with a departure, odometer at 1000.0 km.
func begun(t testing.TB) *Log {
	l := newLog(t)
	must(t)(l.Begin(t.Context(), at(0), Departure{Position: pan, Sigma: 20, Odometer: km("1000.0").Odometer}))
	return l
}

func apartMetres(t testing.TB, a, b geo.Position) float64 {
	t.Helper()
	_, d, err := geo.GeodesicInverse(a, b)
	if err != nil {
		t.Fatal(err)
	}
	return float64(d)
}

// photo is a photo as a reader hands it over; n tells one from another.
func photo(n byte, reading *DialHeading) PhotoReading {
	p := PhotoReading{Name: fmt.Sprintf("pan-%d.jpg", n), SHA256: [32]byte{n}, Reading: reading,
		Whole: fmt.Appendf(nil, `{"schema_version":1,"photo":"pan-%d.jpg"}`, n), Overlay: []byte{0xff, 0xd8, n}}
	if reading == nil {
		p.Refused, p.Message = "no_shadow", "no shadow of the rod on the dial"
	}
	return p
}

// The expected positions are those of RhumbSolve (rhumb.csv of package geo names version
// and conventions). A journey is one leg of each line, in one of the odometer's
// units; the definitions of the units are those of NIST SP 811 (2008), appendix B:
// the mile is 1609.344 m, the nautical mile 1852 m.
func TestALegIsTheRhumbLineOfItsHeadingAndOdometer(t *testing.T) {
	l := newLog(t)
	ran := 0
	for _, row := range testtable.Read(t, "../geo/testdata/rhumb.csv") {
		var v [6]float64
		for i, column := range []string{"lat1_deg", "lon1_deg", "azimuth_deg", "distance_m", "lat2_deg", "lon2_deg"} {
			v[i] = row.Number(t, column)
		}
		if max(math.Abs(v[0]), math.Abs(v[4])) > 85 || v[3] < 1000 { // the work-up has its own tests next to the poles
			continue
		}
		ran++
		from := geo.Position{Lat: angle.FromDegrees(v[0]), Lon: angle.FromDegrees(v[1])}
		to := geo.Position{Lat: angle.FromDegrees(v[4]), Lon: angle.FromDegrees(v[5])}
		unit := []struct {
			unit   Unit
			metres float64
		}{{Kilometres, 1000}, {StatuteMiles, 1609.344}, {NauticalMiles, 1852}}[ran%3]
		o := func(metres float64) Run {
			return ByOdometer(Odometer{AsGiven: fmt.Sprintf("%.6f", metres/unit.metres), Unit: unit.unit})
		}
		start := o(0)
		must(t)(l.Begin(t.Context(), at(0), Departure{Position: from, Sigma: 20, Odometer: start.Odometer}))
		must(t)(l.LegByHand(t.Context(), at(0), o(0), by(v[2], 1)))
		a := must(t)(l.Halt(t.Context(), at(24*60), Halt{o(v[3])}))
		if a.Lost != nil {
			t.Fatalf("%s: %v", row["id"], a.Lost)
		}
		// The reading has six decimals: 2 mm in a nautical mile.
		if d := apartMetres(t, a.Estimate.Position, to); d > 0.003 {
			t.Errorf("%s: %v after %v, want %v: %.4f m off", row["id"], a.Estimate.Position, o(v[3]).Odometer, to, d)
		}
	}
	if ran < 20 {
		t.Fatalf("only %d lines were run", ran)
	}
}

func TestALegWithoutAHeadingLeadsNowhereKnown(t *testing.T) {
	ctx := t.Context()
	l := begun(t)
	a := must(t)(l.LegFromPhoto(ctx, at(0), km("1000.0"), photo(1, nil)))
	if !a.NeedsHeading {
		t.Fatal("a leg by a refused photo does not ask for a heading")
	}
	leg := a.Entry.Number
	must(t)(l.Halt(ctx, at(60), Halt{km("1010.0")}))
	w, err := l.Where(ctx, 0)
	if err != nil {
		t.Fatal(err)
	}
	// A point on a circle of 10 km radius has the variance r^2/2 on each axis, the
	// mean of the squared cosine being 1/2; to it comes the departure's 20 m.
	want := math.Hypot(10_000/math.Sqrt2, 20)
	for _, bearing := range []float64{0, 45, 90} {
		if got := float64(w.Estimate.Cov.Along(angle.FromDegrees(bearing))); math.Abs(got-want) > 10 { // metres; weaving and odometer are left out
			t.Errorf("sigma towards %v is %.1f m, want %.1f", bearing, got, want)
		}
	}
	if float64(w.Ellipse.Minor) < 10_000 || apartMetres(t, w.Estimate.Position, pan) > 0.01 {
		t.Errorf("the ellipse %+v about %v does not hold the circle of 10 km", w.Ellipse, w.Estimate.Position)
	}
	if !reflect.DeepEqual(w.NeedHeading, []int{leg}) || w.Estimate.Steered {
		t.Errorf("entries that need a heading are %v, want %d", w.NeedHeading, leg)
	}

	b := must(t)(l.LegByHand(ctx, At{Note: "by the mark on the shore", Supersedes: leg}, Run{}, by(90, 2)))
	if w, err = l.Where(ctx, 0); err != nil {
		t.Fatal(err)
	}
	east, err := geo.RhumbDirect(pan, 90*deg, 10_000)
	if err != nil {
		t.Fatal(err)
	}
	if d := apartMetres(t, w.Estimate.Position, east); d > 0.01 || len(w.NeedHeading) > 0 {
		t.Errorf("with its heading the leg ends %.2f m from where it should, and %v need one", d, w.NeedHeading)
	}
	if b.Entry.Slot != leg || b.Entry.Content.(*Leg).Photo.Refused != "no_shadow" {
		t.Errorf("the correction %+v has lost its photo", b.Entry)
	}
}

// A reading that goes on after a detour errs as before it: across, 10 km before and
// 5 km after are out by 15 km times the error, whatever lies between.
func TestADetourDoesNotMakeAReadingBetter(t *testing.T) {
	ctx := t.Context()
	for _, detour := range []bool{false, true} {
		l := newLog(t)
		// Scale is there for the model to be valid; all that acts across the leg is
		// the reading's 3 degrees.
		must(t)(l.Begin(ctx, at(0), Departure{Position: pan, Sigma: 1, Odometer: km("0.000").Odometer, Model: workup.Model{Scale: 1e-6}}))
		must(t)(l.LegByHand(ctx, at(0), km("0.000"), by(0, 3)))
		must(t)(l.Halt(ctx, at(30), Halt{km("6.000")}))
		if detour {
			must(t)(l.Detour(ctx, at(40), Detour{km("10.000"), []ShortLeg{{by(45, 1), km("10.010")}, {by(315, 1), km("10.020")}}}))
			must(t)(l.SetOdometer(ctx, at(40), OdometerSet{km("10.020"), *km("10.000").Odometer}))
		}
		must(t)(l.Halt(ctx, at(60), Halt{km("12.000")}))
		a := must(t)(l.Halt(ctx, at(70), Halt{km("15.000")}))
		got, want := float64(a.Estimate.Cov.Along(90*deg)), 15_000*(3*deg).Radians()
		if math.Abs(got-want) > 0.005*want {
			t.Errorf("detour %v: sigma across is %.1f m, want %.1f", detour, got, want)
		}
		if h := a.Estimate.Heading.Signed().Abs(); h > 1e-9 {
			t.Errorf("detour %v: the leg goes on with %v, want 0", detour, a.Estimate.Heading)
		}
	}
}

// The terms of a photo's budget that the work-up brings in by itself must not count
// twice, nor be lost where it brings in less. Across a single leg, at 45 degrees of
// altitude, errors add up as the root of the sum of their squares, in degrees:
// 0.64^2 + 0.6^2 + 0.48^2 = 1.
func TestSharedTermsOfABudgetCountOnce(t *testing.T) {
	body := workup.Body{Azimuth: 60 * deg, Altitude: 45 * deg}
	whole := DialHeading{Heading: 0, Sigma: 1 * deg, Level: 0.6 * deg, Alignment: 0.48 * deg, Body: &body}
	computed := whole
	computed.Level, computed.Position, computed.ComputedAt = 0, 0.6*deg, &pan
	anew := whole
	anew.SetUpAnew = true
	for _, tt := range []struct {
		name        string
		reading     DialHeading
		mount, lean angle.Angle // of the model
		want        float64     // degrees
	}{
		{"as the model has it", whole, 0.48 * deg, 0.6 * deg, 1},
		{"the model brings in nothing", whole, 0, 0, 1},
		{"the model brings in less", whole, 0.3 * deg, 0.2 * deg, 1},
		{"the model brings in more", whole, 1 * deg, 0.6 * deg, math.Sqrt(0.64*0.64 + 1 + 0.6*0.6)},
		{"computed at the estimate", computed, 0.48 * deg, 0, 0.8},
		{"set up anew", anew, 0.48 * deg, 0.6 * deg, 1},
	} {
		l := newLog(t)
		must(t)(l.Begin(t.Context(), at(0), Departure{Position: pan, Sigma: 0.01, Odometer: km("0.000").Odometer,
			Model: workup.Model{Scale: 1e-6, Mount: tt.mount, Lean: tt.lean}}))
		must(t)(l.LegFromPhoto(t.Context(), at(0), km("0.000"), photo(1, &tt.reading)))
		a := must(t)(l.Halt(t.Context(), at(60), Halt{km("10.000")}))
		got := float64(a.Estimate.Cov.Along(90*deg)) / 10_000 / float64(deg)
		if math.Abs(got-tt.want) > 0.001 { // degrees: 0.2 m across
			t.Errorf("%s: sigma across is %.4f degrees, want %.4f", tt.name, got, tt.want)
		}
	}
}

// The two photos of an instrument that is remounted between them have a bias each.
func TestARemountBeginsTheBiasAnew(t *testing.T) {
	reading := DialHeading{Heading: 0, Sigma: 0.001 * deg, Body: &workup.Body{Azimuth: 60 * deg, Altitude: 1 * deg}}
	for _, tt := range []struct {
		remount bool
		want    float64 // metres across: 10 and 10 km at 1 degree, together or not
	}{{false, 20_000 * deg.Radians()}, {true, math.Sqrt2 * 10_000 * deg.Radians()}} {
		l := newLog(t)
		must(t)(l.Begin(t.Context(), at(0), Departure{Position: pan, Sigma: 0.01, Odometer: km("0.000").Odometer, Model: workup.Model{Mount: 1 * deg}}))
		must(t)(l.LegFromPhoto(t.Context(), at(0), km("0.000"), photo(1, &reading)))
		if tt.remount {
			must(t)(l.Remount(t.Context(), at(50)))
		}
		must(t)(l.LegFromPhoto(t.Context(), at(60), km("10.000"), photo(2, &reading)))
		a := must(t)(l.Halt(t.Context(), at(120), Halt{km("20.000")}))
		if got := float64(a.Estimate.Cov.Along(90 * deg)); math.Abs(got-tt.want) > 1 {
			t.Errorf("remounted %v: sigma across is %.1f m, want %.1f", tt.remount, got, tt.want)
		}
	}
}

func TestNewTyresBeginTheScaleAnew(t *testing.T) {
	for _, tt := range []struct {
		changed bool
		want    float64 // metres along: 10 and 10 km at 2 per cent, together or not
	}{{false, 400}, {true, math.Sqrt2 * 200}} {
		l := newLog(t)
		must(t)(l.Begin(t.Context(), at(0), Departure{Position: pan, Sigma: 0.01, Odometer: km("0.000").Odometer, Model: workup.Model{Scale: 0.02}}))
		must(t)(l.LegByHand(t.Context(), at(0), km("0.000"), by(0, 0.001)))
		if tt.changed {
			must(t)(l.Tyres(t.Context(), at(60), Tyres{km("10.000")}))
		} else {
			must(t)(l.Halt(t.Context(), at(60), Halt{km("10.000")}))
		}
		a := must(t)(l.Halt(t.Context(), at(120), Halt{km("20.000")}))
		if got := float64(a.Estimate.Cov.Along(0)); math.Abs(got-tt.want) > 1 {
			t.Errorf("changed %v: sigma along is %.1f m, want %.1f", tt.changed, got, tt.want)
		}
	}
}

func TestSpeedAndTime(t *testing.T) {
	ctx := t.Context()
	l := newLog(t)
	must(t)(l.Begin(ctx, at(0), Departure{Position: pan, Sigma: 1}))
	must(t)(l.LegByHand(ctx, at(0), Run{Stood: true}, by(180, 1)))
	// 36 km/h for half an hour are 18 km, a tenth of which is the sigma.
	a := must(t)(l.Halt(ctx, at(30), Halt{Run{Speed: &Speed{Mean: 10}}}))
	if got := float64(a.Estimate.Run); got != 18_000 {
		t.Errorf("ran %v m, want 18000", got)
	}
	if got := float64(a.Estimate.Cov.Along(0)); math.Abs(got-1800) > 10 {
		t.Errorf("sigma along is %.1f m, want 1800", got)
	}
	// A rest in it: 10 minutes under way of 20.
	a = must(t)(l.Halt(ctx, at(50), Halt{Run{Speed: &Speed{Mean: 10, Sigma: 1, For: 10 * time.Minute}}}))
	if got := float64(a.Estimate.Run); got != 24_000 {
		t.Errorf("ran %v m, want 24000", got)
	}
}

func TestRefusals(t *testing.T) {
	ctx := t.Context()
	rolled := func(text string, digits int) Run {
		return ByOdometer(Odometer{AsGiven: text, Unit: Kilometres, RolledOver: digits})
	}
	near := Fix{Run: km("1030.0"), Position: pan, Sigma: 10}
	// Before each: departure at 0 min, 1000.0 km; photo 1 there; halt at 60 min, 1030.0 km.
	for _, tt := range []struct {
		name string
		add  func(l *Log) (Added, error)
		code string // "" is taken
	}{
		{"a time before", func(l *Log) (Added, error) { return l.Halt(ctx, at(59), Halt{km("1031.0")}) }, "time_before_last"},
		{"the same time", func(l *Log) (Added, error) { return l.Halt(ctx, at(60), Halt{km("1030.0")}) }, ""},
		{"a note before", func(l *Log) (Added, error) { return l.Note(ctx, at(59)) }, "time_before_last"},
		{"no time", func(l *Log) (Added, error) { return l.Note(ctx, At{}) }, "bad_time"},
		{"backwards", func(l *Log) (Added, error) { return l.Halt(ctx, at(70), Halt{km("1029.9")}) }, "odometer_backwards"},
		{"backwards in miles", func(l *Log) (Added, error) {
			return l.Halt(ctx, at(70), Halt{ByOdometer(Odometer{AsGiven: "639.0", Unit: StatuteMiles})})
		}, "odometer_backwards"},
		{"the same in miles", func(l *Log) (Added, error) {
			return l.Halt(ctx, at(70), Halt{ByOdometer(Odometer{AsGiven: "640.0", Unit: StatuteMiles})}) // 1029.98 km
		}, ""},
		{"rolled over, unconfirmed", func(l *Log) (Added, error) { return l.Halt(ctx, at(70), Halt{km("2.0")}) }, "odometer_backwards"},
		{"rolled over a further 8,970 km in 10 minutes", func(l *Log) (Added, error) { return l.Halt(ctx, at(70), Halt{rolled("2.0", 4)}) }, "leg_too_long"},
		{"rolled over with too few digits", func(l *Log) (Added, error) { return l.Halt(ctx, at(70), Halt{rolled("2.0", 3)}) }, "bad_odometer"},
		{"set anew", func(l *Log) (Added, error) {
			return l.SetOdometer(ctx, at(70), OdometerSet{km("1031.0"), *km("0.0").Odometer})
		}, ""},
		{"no number", func(l *Log) (Added, error) { return l.Halt(ctx, at(70), Halt{km("1 031.0")}) }, "bad_odometer"},
		{"no unit", func(l *Log) (Added, error) {
			return l.Halt(ctx, at(70), Halt{ByOdometer(Odometer{AsGiven: "1031.0", Unit: "leagues"})})
		}, "bad_odometer"},
		{"no distance", func(l *Log) (Added, error) { return l.LegByHand(ctx, at(70), Run{}, by(1, 1)) }, "no_distance"},
		{"stood and ran", func(l *Log) (Added, error) {
			r := km("1040.0")
			r.Stood = true
			return l.LegByHand(ctx, at(70), r, by(1, 1))
		}, "no_distance"},
		{"too fast", func(l *Log) (Added, error) { return l.Halt(ctx, at(70), Halt{km("1052.1")}) }, "leg_too_long"}, // 120 km/h for 11 minutes are 22 km
		{"fast", func(l *Log) (Added, error) { return l.Halt(ctx, at(70), Halt{km("1051.9")}) }, ""},
		{"a detour too fast", func(l *Log) (Added, error) {
			return l.Detour(ctx, at(70), Detour{km("1040.0"), []ShortLeg{{by(0, 5), km("1053.0")}}})
		}, "leg_too_long"},
		{"a detour backwards", func(l *Log) (Added, error) {
			return l.Detour(ctx, at(70), Detour{km("1040.0"), []ShortLeg{{by(0, 5), km("1039.0")}}})
		}, "odometer_backwards"},
		{"a detour of nothing", func(l *Log) (Added, error) { return l.Detour(ctx, at(70), Detour{Run: km("1040.0")}) }, "bad_detour"},
		{"speed for longer than there was", func(l *Log) (Added, error) {
			return l.Halt(ctx, at(70), Halt{Run{Speed: &Speed{Mean: 5, For: 12 * time.Minute}}})
		}, "bad_speed"},
		{"heading without sigma", func(l *Log) (Added, error) { return l.LegByHand(ctx, at(70), km("1031.0"), by(1, 0)) }, "bad_heading"},
		{"heading unknown", func(l *Log) (Added, error) { return l.LegByHand(ctx, at(70), km("1031.0"), by(1, 31)) }, "bad_heading"},
		{"the photo again", func(l *Log) (Added, error) { return l.LegFromPhoto(ctx, at(70), km("1031.0"), photo(1, nil)) }, "photo_already_logged"},
		{"another photo", func(l *Log) (Added, error) { return l.LegFromPhoto(ctx, at(70), km("1031.0"), photo(2, nil)) }, ""},
		{"a fix without an error", func(l *Log) (Added, error) {
			f := near
			f.Sigma = 0
			return l.Fix(ctx, at(70), f)
		}, "bad_position_sigma"},
		{"a fix off the earth", func(l *Log) (Added, error) {
			f := near
			f.Position.Lat = 91 * deg
			return l.Fix(ctx, at(70), f)
		}, "bad_position"},
		{"a note in no alphabet", func(l *Log) (Added, error) {
			a := at(70)
			a.Note = "\xff"
			return l.Note(ctx, a)
		}, "bad_text"},
		{"correcting what is not there", func(l *Log) (Added, error) { return l.Withdraw(ctx, 99, "") }, "no_entry"},
		{"withdrawing the departure", func(l *Log) (Added, error) { return l.Withdraw(ctx, 1, "") }, "journey_has_entries"},
		{"a departure in the middle", func(l *Log) (Added, error) {
			return l.Begin(ctx, At{Supersedes: 2}, Departure{Position: pan, Sigma: 1})
		}, "bad_correction"},
		{"confirming a halt", func(l *Log) (Added, error) { return l.ConfirmFix(ctx, 3, "") }, "bad_correction"},
		{"a correction that a later entry cannot follow", func(l *Log) (Added, error) {
			return l.LegByHand(ctx, At{Supersedes: 2}, km("1031.0"), by(90, 1))
		}, "leg_too_long"}, // 31 km in no time, before the later entry even
		{"a correction after a later entry", func(l *Log) (Added, error) {
			a := at(61)
			a.Supersedes = 2
			return l.LegByHand(ctx, a, km("1000.0"), by(90, 1))
		}, "time_before_last"},
		{"a correction past a later entry", func(l *Log) (Added, error) {
			a := at(30)
			a.Supersedes = 2
			return l.LegByHand(ctx, a, km("1030.1"), by(90, 1))
		}, "odometer_backwards"},
		{"a correction", func(l *Log) (Added, error) { return l.LegByHand(ctx, At{Supersedes: 2}, Run{}, by(90, 1)) }, ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			l := begun(t)
			must(t)(l.LegFromPhoto(ctx, at(0), km("1000.0"), photo(1, nil)))
			must(t)(l.Halt(ctx, at(60), Halt{km("1030.0")}))
			_, err := tt.add(l)
			if fault.Code(err) != tt.code {
				t.Fatalf("%v, want code %q", err, tt.code)
			}
			var f *fault.Error
			if err != nil && (!errors.As(err, &f) || f.Hint == "") {
				t.Errorf("%v does not say what to do", err)
			}
			r, err := l.Check(ctx)
			if err != nil || !r.OK() {
				t.Fatalf("%v, %+v", err, r)
			}
			want := 3
			if tt.code == "" {
				want = 4
			}
			if r.Entries != want {
				t.Errorf("the log has %d entries, want %d", r.Entries, want)
			}
		})
	}
}

// A five-digit odometer that passes 99999.9 has run on, when that is confirmed.
func TestRollOver(t *testing.T) {
	ctx := t.Context()
	l := newLog(t)
	must(t)(l.Begin(ctx, at(0), Departure{Position: pan, Sigma: 1, Odometer: km("99990.5").Odometer}))
	must(t)(l.LegByHand(ctx, at(0), km("99990.5"), by(0, 1)))
	a := must(t)(l.Halt(ctx, at(60), Halt{ByOdometer(Odometer{AsGiven: "3.5", Unit: Kilometres, RolledOver: 5})}))
	if got := float64(a.Estimate.Run); math.Abs(got-13_000) > 1e-6 {
		t.Errorf("ran %v m, want 13000", got)
	}
}

func TestCorrectionsSupersedeAndStayReadable(t *testing.T) {
	ctx := t.Context()
	l := begun(t)
	leg := must(t)(l.LegByHand(ctx, at(0), km("1000.0"), by(80, 2))).Entry.Number
	halt := must(t)(l.Halt(ctx, at(60), Halt{km("1030.0")})).Entry.Number
	first := must(t)(l.LegByHand(ctx, At{Supersedes: leg, Note: "misread"}, Run{}, by(90, 2)))
	second := must(t)(l.LegByHand(ctx, At{Supersedes: first.Entry.Number}, Run{}, by(100, 2)))

	if _, err := l.LegByHand(ctx, At{Supersedes: leg}, Run{}, by(1, 2)); fault.Code(err) != "already_corrected" {
		t.Errorf("correcting what was corrected: %v", err)
	}
	for _, tt := range []struct {
		number, supersededBy int
		heading              float64
	}{{leg, first.Entry.Number, 80}, {first.Entry.Number, second.Entry.Number, 90}, {second.Entry.Number, 0, 100}} {
		e, err := l.Entry(ctx, tt.number)
		if err != nil {
			t.Fatal(err)
		}
		if h := e.Content.(*Leg).Hand.Heading.Degrees(); math.Abs(h-tt.heading) > 1e-9 || e.SupersededBy != tt.supersededBy || e.Slot != leg || !e.Time.Equal(morning) {
			t.Errorf("entry %d is %+v with heading %v, want %v superseded by %d", tt.number, e, h, tt.heading, tt.supersededBy)
		}
	}
	numbers := func(superseded bool) (out []int) {
		list, err := l.List(ctx, 0, superseded)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range list {
			out = append(out, e.Number)
		}
		return out
	}
	if got, want := numbers(false), []int{1, second.Entry.Number, halt}; !reflect.DeepEqual(got, want) {
		t.Errorf("what stands is %v, want %v", got, want)
	}
	if got, want := numbers(true), []int{1, leg, first.Entry.Number, second.Entry.Number, halt}; !reflect.DeepEqual(got, want) {
		t.Errorf("all are %v, want %v", got, want)
	}
	want, err := geo.RhumbDirect(pan, 100*deg, 30_000)
	if err != nil {
		t.Fatal(err)
	}
	if d := apartMetres(t, second.Estimate.Position, want); d > 0.01 {
		t.Errorf("corrected, the leg ends %.2f m from where it should", d)
	}
	// Withdrawn, it leaves 30 km to nowhere.
	gone := must(t)(l.Withdraw(ctx, second.Entry.Number, "never steered"))
	if d := apartMetres(t, gone.Estimate.Position, pan); d > 0.01 || gone.Estimate.Steered {
		t.Errorf("with the leg withdrawn the estimate is %.0f m from the departure", d)
	}
	if r, err := l.Check(ctx); err != nil || !r.OK() {
		t.Errorf("%v, %+v", err, r)
	}
}

func TestAFarFixWaitsForItsConfirmation(t *testing.T) {
	ctx := t.Context()
	l := begun(t)
	must(t)(l.LegByHand(ctx, at(0), km("1000.0"), by(90, 2)))
	before := must(t)(l.Halt(ctx, at(60), Halt{km("1030.0")}))
	far, err := geo.RhumbDirect(before.Estimate.Position, 0, 15_000) // its sigma is some 1.5 km
	if err != nil {
		t.Fatal(err)
	}
	fix := must(t)(l.Fix(ctx, at(60), Fix{Run: Run{Stood: true}, Position: far, Sigma: 10, Source: "receiver"}))
	if fix.Closing == nil || fix.Closing.Used || fix.Closing.Sigmas < 5 || *fix.Estimate != *before.Estimate {
		t.Fatalf("a fix 15 km off was used: %+v", fix.Closing)
	}
	w, err := l.Where(ctx, 0)
	if err != nil || !reflect.DeepEqual(w.NeedConfirmation, []int{fix.Entry.Number}) {
		t.Fatalf("%v, waiting are %v, want entry %d", err, w.NeedConfirmation, fix.Entry.Number)
	}
	sure := must(t)(l.ConfirmFix(ctx, fix.Entry.Number, "the receiver is right"))
	if sure.Closing == nil || !sure.Closing.Used || apartMetres(t, sure.Estimate.Position, far) > 10 {
		t.Errorf("confirmed, it leads to %v, want %v", sure.Estimate.Position, far)
	}
	if w, err = l.Where(ctx, 0); err != nil || len(w.NeedConfirmation) > 0 {
		t.Errorf("%v, still waiting are %v", err, w.NeedConfirmation)
	}
}

// Next to the pole the work-up gives up; the log goes on, and a fix finds it again.
func TestALostPositionIsFoundByAFix(t *testing.T) {
	ctx := t.Context()
	l := newLog(t)
	polar := geo.Position{Lat: 89.3 * deg, Lon: 10 * deg}
	must(t)(l.Begin(ctx, at(0), Departure{Position: polar, Sigma: 20, Odometer: km("0.0").Odometer}))
	must(t)(l.LegByHand(ctx, at(0), km("0.0"), by(0, 1)))
	a := must(t)(l.Halt(ctx, at(60), Halt{km("40.0")})) // 89.66 degrees
	if a.Estimate != nil || a.Lost == nil || a.Lost.Code != "near_pole" || a.Lost.Entry != a.Entry.Number {
		t.Fatalf("estimate %+v, lost %+v", a.Estimate, a.Lost)
	}
	must(t)(l.Halt(ctx, at(90), Halt{km("50.0")}))
	if _, err := l.Where(ctx, 0); fault.Code(err) != "position_lost" {
		t.Errorf("%v, want position_lost", err)
	}
	if _, err := l.EstimateAt(ctx, at(91).Time, nil); fault.Code(err) != "position_lost" {
		t.Errorf("%v, want position_lost", err)
	}
	found := geo.Position{Lat: 89.4 * deg, Lon: -170 * deg}
	must(t)(l.Fix(ctx, at(120), Fix{Run: km("90.0"), Position: found, Sigma: 30}))
	last := must(t)(l.Halt(ctx, at(150), Halt{km("93.0")}))
	if last.Estimate == nil || last.Lost != nil {
		t.Fatalf("not found by the fix: %+v", last.Lost)
	}
	track, err := l.WorkUp(ctx, 0)
	if err != nil {
		t.Fatal(err)
	}
	for i, known := range []bool{true, true, false, false, true, true} {
		if (track.Points[i].At != nil) != known {
			t.Errorf("point %d: known %v, want %v", i, !known, known)
		}
	}
	if d := apartMetres(t, track.Points[5].At.Adjusted, last.Estimate.Position); d > 0.001 || len(track.Lost) != 1 {
		t.Errorf("worked up as a whole the end is %.3f m off; lost: %+v", d, track.Lost)
	}
	if r, err := l.Check(ctx); err != nil || !r.OK() {
		t.Errorf("%v, %+v", err, r)
	}
}

func TestEstimateAt(t *testing.T) {
	ctx := t.Context()
	l := begun(t)
	must(t)(l.LegByHand(ctx, at(0), km("1000.0"), by(90, 2)))
	must(t)(l.LegByHand(ctx, at(60), km("1030.0"), by(180, 2)))
	east := func(metres geo.Metres) geo.Position {
		p, err := geo.RhumbDirect(pan, 90*deg, metres)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	corner := east(30_000)
	south, err := geo.RhumbDirect(corner, 180*deg, 10_000)
	if err != nil {
		t.Fatal(err)
	}
	run := km("1040.0")
	wrong := km("1020.0")
	for _, tt := range []struct {
		name  string
		at    At
		run   *Run
		where geo.Position
		slack float64 // least sigma, metres
		code  string
	}{
		{"at the departure", at(0), nil, pan, 0, ""},
		{"half way", at(30), nil, east(15_000), 15_000, ""}, // it may have run all or nothing
		{"at the last entry", at(60), nil, corner, 0, ""},
		// 2 km a minute: somewhere within 60 km, at a third of the square
		{"half an hour on", at(90), nil, corner, 60_000 / math.Sqrt(3), ""},
		{"half an hour on, by odometer", at(90), &run, south, 0, ""},
		{"half an hour on, by a wrong reading", at(90), &wrong, pan, 0, "odometer_backwards"},
		{"before the departure", at(-1), nil, pan, 0, "before_departure"},
		{"a day on", at(24 * 60), nil, pan, 0, "estimate_stale"},
	} {
		e, err := l.EstimateAt(ctx, tt.at.Time, tt.run)
		if fault.Code(err) != tt.code {
			t.Errorf("%s: %v, want code %q", tt.name, err, tt.code)
		}
		if err != nil {
			continue
		}
		if d := apartMetres(t, e.Position, tt.where); d > 1 || float64(e.Sigma()) < tt.slack || !e.Time.Equal(tt.at.Time) {
			t.Errorf("%s: %v with sigma %.0f m at %v, %.1f m off", tt.name, e.Position, float64(e.Sigma()), e.Time, d)
		}
	}
	// It may have left a halt again, unless somebody says that it stood.
	must(t)(l.Halt(ctx, at(70), Halt{km("1040.0")}))
	if e, err := l.EstimateAt(ctx, at(100).Time, nil); err != nil || float64(e.Sigma()) < 60_000/math.Sqrt(3) {
		t.Errorf("halted, half an hour on: %v, %+v", err, e)
	}
	if e, err := l.EstimateAt(ctx, at(24*60).Time, nil); fault.Code(err) != "estimate_stale" {
		t.Errorf("halted, a day on: %v, %+v", err, e)
	}
	if e, err := l.EstimateAt(ctx, at(24*60).Time, &Run{Stood: true}); err != nil || float64(e.Sigma()) > 3000 || apartMetres(t, e.Position, south) > 1 {
		t.Errorf("stood, a day on: %v, %+v", err, e)
	}
}

// A photo that turns out to be of another time than guessed is read again where the
// log then was.
func TestReadHereReadsAgainWhereTheTimeLeadsElsewhere(t *testing.T) {
	ctx := t.Context()
	l := begun(t)
	must(t)(l.LegByHand(ctx, at(0), km("1000.0"), by(90, 2)))
	must(t)(l.Halt(ctx, at(60), Halt{km("1030.0")}))
	var seen []geo.Position
	here, err := l.ReadHere(ctx, at(60).Time, nil, func(_ context.Context, e *Estimate) (time.Time, error) {
		seen = append(seen, e.Position)
		return at(20).Time, nil
	})
	if err != nil || len(seen) != 2 || !here.Time.Equal(at(20).Time) || apartMetres(t, seen[0], seen[1]) < 15_000 {
		t.Errorf("%v, read at %v, settled on %+v", err, seen, here)
	}
	// Half an hour after the last entry the place is the same for want of a better
	// one, but far less sure.
	must(t)(l.LegByHand(ctx, at(60), km("1030.0"), by(90, 2)))
	here, err = l.ReadHere(ctx, at(60).Time, nil, func(context.Context, *Estimate) (time.Time, error) { return at(90).Time, nil })
	if err != nil || here.Sigma() < 30_000 {
		t.Errorf("%v, settled on %+v", err, here)
	}
	n := 0
	_, err = l.ReadHere(ctx, at(60).Time, nil, func(_ context.Context, e *Estimate) (time.Time, error) {
		n++
		return at(float64(n % 2 * 30)).Time, nil
	})
	if fault.Code(err) != "estimate_unsettled" {
		t.Errorf("%v, want estimate_unsettled", err)
	}
}

// A leg that was forgotten comes in by withdrawing what came after it and writing all
// again.
func TestAPhotoComesBackFromAWithdrawnEntry(t *testing.T) {
	ctx := t.Context()
	l := begun(t)
	must(t)(l.LegByHand(ctx, at(0), km("1000.0"), by(0, 2)))
	leg := must(t)(l.LegFromPhoto(ctx, at(60), km("1030.0"), photo(1, nil))).Entry
	if _, err := l.LegByHand(ctx, at(30), km("1015.0"), by(90, 2)); fault.Code(err) != "time_before_last" {
		t.Fatalf("%v, want time_before_last", err)
	}
	must(t)(l.Withdraw(ctx, leg.Number, "a leg was forgotten before it"))
	must(t)(l.LegByHand(ctx, at(30), km("1015.0"), by(90, 2)))
	again := must(t)(l.LegFromPhoto(ctx, at(60), km("1030.0"), photo(1, nil)))
	north, err := geo.RhumbDirect(pan, 0, 15_000)
	if err != nil {
		t.Fatal(err)
	}
	want, err := geo.RhumbDirect(north, 90*deg, 15_000)
	if err != nil {
		t.Fatal(err)
	}
	if d := apartMetres(t, again.Estimate.Position, want); d > 0.01 {
		t.Errorf("the legs end %.2f m from where they should", d)
	}
	if _, err := l.LegFromPhoto(ctx, at(61), km("1030.0"), photo(1, nil)); fault.Code(err) != "photo_already_logged" {
		t.Errorf("%v, want photo_already_logged", err)
	}
}

func TestEvidenceIsKeptWhole(t *testing.T) {
	ctx := t.Context()
	l := begun(t)
	p := photo(7, nil)
	a := must(t)(l.LegFromPhoto(ctx, at(0), km("1000.0"), p))
	reading, overlay, err := l.Evidence(ctx, a.Entry.Number)
	if err != nil || !bytes.Equal(reading, p.Whole) || !bytes.Equal(overlay, p.Overlay) {
		t.Errorf("%v, %q, %x", err, reading, overlay)
	}
	if n, err := l.LoggedPhoto(ctx, p.SHA256); err != nil || n != a.Entry.Number {
		t.Errorf("the photo is in entry %d, %v", n, err)
	}
	p.Whole = []byte("{")
	p.SHA256[5] = 1
	if _, err := l.LegFromPhoto(ctx, at(1), km("1000.0"), p); fault.Code(err) != "bad_reading" {
		t.Errorf("%v, want bad_reading", err)
	}
	// A heading no better than a guess is none, but the leg is logged.
	p = photo(8, &DialHeading{Heading: 10 * deg, Sigma: 40 * deg})
	if a := must(t)(l.LegFromPhoto(ctx, at(1), km("1000.0"), p)); !a.NeedsHeading || a.Entry.Content.(*Leg).Photo.Refused != "too_uncertain" {
		t.Errorf("%+v", a.Entry.Content)
	}
}

func TestJourneys(t *testing.T) {
	ctx := t.Context()
	l := newLog(t)
	if _, err := l.Halt(ctx, at(0), Halt{km("1.0")}); fault.Code(err) != "no_journey" {
		t.Errorf("%v, want no_journey", err)
	}
	if _, err := l.Where(ctx, 0); fault.Code(err) != "no_journey" {
		t.Errorf("%v, want no_journey", err)
	}
	must(t)(l.Begin(ctx, at(0), Departure{Position: pan, Sigma: 20}))
	must(t)(l.Note(ctx, at(5)))
	must(t)(l.Begin(ctx, at(-60), Departure{Position: pan, Sigma: 20})) // copied in later
	moved := pan
	moved.Lat = 0
	must(t)(l.Begin(ctx, At{Supersedes: 3}, Departure{Position: moved, Sigma: 20}))
	journeys, err := l.Journeys(ctx)
	if err != nil || len(journeys) != 2 || journeys[0].Entries != 2 || journeys[1].Entries != 1 {
		t.Fatalf("%v, %+v", err, journeys)
	}
	if p := journeys[1].Departure.Content.(*Departure).Position; p != moved {
		t.Errorf("the corrected departure is %v, want %v", p, moved)
	}
	if w, err := l.Where(ctx, 0); err != nil || w.Journey != 2 || w.Estimate.Position != moved {
		t.Errorf("%v, %+v", err, w)
	}
	if _, err := l.List(ctx, 3, false); fault.Code(err) != "no_journey" {
		t.Errorf("%v, want no_journey", err)
	}
}

func TestOpen(t *testing.T) {
	ctx := t.Context()
	dir := t.TempDir()
	text := filepath.Join(dir, "notes.txt")
	if err := os.WriteFile(text, bytes.Repeat([]byte("two trucks on a salt pan\n"), 100), 0o644); err != nil {
		t.Fatal(err)
	}
	other := filepath.Join(dir, "other.db")
	db, err := sql.Open("sqlite", other)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec("CREATE TABLE t (x); INSERT INTO t VALUES (1)"); err != nil {
		t.Fatal(err)
	}
	db.Close()
	newer := filepath.Join(dir, "newer.db")
	l := open(t, newer)
	must(t)(l.Begin(ctx, at(0), Departure{Position: pan, Sigma: 15}))
	if _, err := l.db.Exec("PRAGMA user_version = 999"); err != nil {
		t.Fatal(err)
	}
	l.Close()
	whole, err := os.ReadFile(written(t))
	if err != nil {
		t.Fatal(err)
	}
	empty, short := filepath.Join(dir, "empty.db"), filepath.Join(dir, "short.db")
	for path, data := range map[string][]byte{empty: nil, short: whole[:len(whole)/2]} {
		if err := os.WriteFile(path, data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for _, tt := range []struct {
		path, code string
	}{
		{filepath.Join(dir, "none.db"), "no_log"},
		{empty, "no_log"},
		{short, "log_damaged"},
		{text, "not_a_log"},
		{other, "not_a_log"},
		{newer, "log_too_new"},
		{dir, "not_a_file"},
	} {
		before, _ := os.ReadFile(tt.path)
		l, err := Open(ctx, tt.path, Options{})
		if fault.Code(err) != tt.code {
			t.Errorf("%s: %v, want code %s", tt.path, err, tt.code)
		}
		if l != nil {
			l.Close()
		}
		if after, _ := os.ReadFile(tt.path); !bytes.Equal(before, after) {
			t.Errorf("%s was changed", tt.path)
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "none.db")); err == nil {
		t.Error("a log was made unasked")
	}
}

// A first entry that is refused leaves neither file nor folder, and one that is taken
// afterwards makes both.
func TestARefusedBeginningLeavesNoFile(t *testing.T) {
	ctx := t.Context()
	root := t.TempDir()
	path := filepath.Join(root, "new", "log.db")
	l := open(t, path)
	for _, tt := range []struct {
		name string
		do   func() error
		code string
	}{
		{"position", func() error { _, err := l.Begin(ctx, at(0), Departure{Position: pan}); return err }, "bad_position_sigma"},
		{"time", func() error {
			_, err := l.Begin(ctx, At{Time: time.Date(1500, 1, 1, 0, 0, 0, 0, time.UTC)}, Departure{Position: pan, Sigma: 15})
			return err
		}, "bad_time"},
		{"no departure", func() error { _, err := l.Note(ctx, at(0)); return err }, "no_journey"},
		{"row of a paper log without one", func() error {
			if is, err := l.HasCopied(ctx, "row"); is || err != nil {
				return err
			}
			_, _, err := l.AddCopied(ctx, at(30), &Note{}, Copied{Key: "row"})
			return err
		}, "no_journey"},
		{"looking for one", func() error { _, err := l.Where(ctx, 0); return err }, "no_journey"},
	} {
		if err := tt.do(); fault.Code(err) != tt.code {
			t.Errorf("%s: %v, want code %s", tt.name, err, tt.code)
		}
		if files, err := os.ReadDir(root); err != nil || len(files) > 0 {
			t.Errorf("%s: %v, %v is there", tt.name, err, files)
		}
	}
	must(t)(l.Begin(ctx, at(0), Departure{Position: pan, Sigma: 15}))
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	l = open(t, path)
	if r, err := l.Check(ctx); err != nil || !r.OK() || r.Entries != 1 {
		t.Errorf("%v, %+v, want one entry", err, r)
	}
}

// A leg corrected by hand stays the leg of its photo, with what was kept of it, and so
// do corrections of its way.
func TestACorrectionByHandKeepsThePhoto(t *testing.T) {
	ctx := t.Context()
	l := begun(t)
	must(t)(l.LegFromPhoto(ctx, at(10), km("1000.0"), photo(1, nil)))
	reading, overlay, err := l.Evidence(ctx, 2)
	if err != nil || len(reading) == 0 || len(overlay) == 0 {
		t.Fatalf("%v, %d and %d bytes are kept", err, len(reading), len(overlay))
	}
	for number := 2; number < 4; number++ {
		a := must(t)(l.LegByHand(ctx, At{Supersedes: number}, km(fmt.Sprintf("1000.%d", number)), by(180, 2)))
		leg := a.Entry.Content.(*Leg)
		if leg.Photo == nil || leg.Photo.Name != photo(1, nil).Name || leg.NeedsHeading() || leg.Run.Odometer.AsGiven != fmt.Sprintf("1000.%d", number) {
			t.Errorf("the correction of entry %d is %+v", number, leg)
		}
		r, o, err := l.Evidence(ctx, a.Entry.Number)
		if err != nil || !bytes.Equal(r, reading) || !bytes.Equal(o, overlay) {
			t.Errorf("%v: what was kept of the photo is not beside entry %d", err, a.Entry.Number)
		}
	}
	if r, err := l.Check(ctx); err != nil || !r.OK() {
		t.Errorf("%v, %+v", err, r)
	}
}

// Via holds what a detour passed, and nothing that is but a step of the reckoning, as
// where the way on an unknown heading is taken as two of no length.
func TestOnlyADetourPassesPlaces(t *testing.T) {
	ctx := t.Context()
	l := begun(t)
	short := func(heading float64, reading string) ShortLeg { return ShortLeg{by(heading, 5), km(reading)} }
	must(t)(l.LegByHand(ctx, at(0), km("1000.0"), by(90, 2)))
	must(t)(l.Detour(ctx, at(30), Detour{km("1010.0"), []ShortLeg{short(180, "1011.0"), short(90, "1012.0"), short(0, "1013.0")}}))
	must(t)(l.Halt(ctx, at(60), Halt{km("1020.0")})) // on the leg that was left
	must(t)(l.LegFromPhoto(ctx, at(70), km("1020.0"), photo(1, nil)))
	must(t)(l.Halt(ctx, at(100), Halt{km("1030.0")})) // on no heading known
	track, err := l.WorkUp(ctx, 0)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []int{0, 0, 3, 0, 0, 0} { // where it left, and two corners
		if got := len(track.Points[i].Via); got != want {
			t.Errorf("entry %d passes %d places, want %d", i+1, got, want)
		}
	}
	at10, err := geo.RhumbDirect(pan, 90*deg, 10_000)
	if err != nil {
		t.Fatal(err)
	}
	if d := apartMetres(t, track.Points[2].Via[0].Adjusted, at10); d > 0.01 {
		t.Errorf("the detour begins %.2f m from where the leg was left", d)
	}
}

// Whatever is entered reads back as it was, however the file was left, and what is
// worked up entry by entry is what is worked up in one go.
func TestAnyLogReadsBackAndWorksUpAlike(t *testing.T) {
	ctx := t.Context()
	dir := t.TempDir()
	n := 0
	rapid.Check(t, func(r *rapid.T) {
		n++
		path := filepath.Join(dir, fmt.Sprintf("%d.db", n))
		l := open(t, path)
		defer func() { l.Close() }()
		odometer, minutes := 0, 0.0
		run := func() Run {
			odometer += rapid.IntRange(0, 200).Draw(r, "tenths of a km")
			return km(fmt.Sprintf("%d.%d", odometer/10, odometer%10))
		}
		position := func() geo.Position {
			return geo.Position{
				Lat: angle.FromDegrees(rapid.Float64Range(-70, 70).Draw(r, "lat")),
				Lon: angle.FromDegrees(rapid.Float64Range(-179.9, 180).Draw(r, "lon")),
			}
		}
		heading := func() Heading {
			return by(rapid.Float64Range(0, 359).Draw(r, "heading"), rapid.Float64Range(0.1, 10).Draw(r, "sigma"))
		}
		departure := Departure{Position: position(), Sigma: 20, Odometer: km("0.0").Odometer}
		written := []Entry{must(t)(l.Begin(ctx, at(0), departure)).Entry}
		for range rapid.IntRange(1, 12).Draw(r, "entries") {
			minutes += rapid.Float64Range(15, 100).Draw(r, "minutes")
			when := at(minutes)
			when.Note = rapid.StringN(-1, 20, 60).Filter(func(s string) bool { return validText(s) == nil }).Draw(r, "note")
			var a Added
			var err error
			switch rapid.IntRange(0, 8).Draw(r, "kind") {
			case 0:
				a, err = l.LegByHand(ctx, when, run(), heading())
			case 1:
				h := heading()
				p := photo(byte(len(written)), &DialHeading{Heading: h.Heading, Sigma: h.Sigma, Level: h.Sigma / 2,
					Body: &workup.Body{Azimuth: h.Heading, Altitude: angle.FromDegrees(rapid.Float64Range(5, 70).Draw(r, "altitude"))}})
				a, err = l.LegFromPhoto(ctx, when, run(), p)
			case 2:
				a, err = l.LegFromPhoto(ctx, when, run(), photo(byte(len(written)), nil))
			case 3:
				a, err = l.Halt(ctx, when, Halt{run()})
			case 4:
				a, err = l.Fix(ctx, when, Fix{Run: run(), Position: position(), Sigma: 10, Confirmed: rapid.Bool().Draw(r, "confirmed")})
			case 5:
				a, err = l.Detour(ctx, when, Detour{run(), []ShortLeg{{heading(), run()}, {heading(), run()}}})
			case 6:
				a, err = l.Note(ctx, when)
			case 7:
				a, err = l.Tyres(ctx, when, Tyres{run()})
			case 8: // correct any that stands, keeping time and run
				old := written[rapid.IntRange(0, len(written)-1).Draw(r, "corrects")]
				when = At{Supersedes: old.Number, Note: when.Note}
				switch old.Content.(type) {
				case *Leg:
					a, err = l.LegByHand(ctx, At{Note: when.Note, Supersedes: old.Number}, Run{}, heading())
				case *Note:
					a, err = l.Withdraw(ctx, old.Number, when.Note)
				default:
					continue
				}
				if fault.Code(err) == "already_corrected" || fault.Code(err) == "bad_correction" {
					continue
				}
			}
			if code := fault.Code(err); code == "leg_too_long" {
				odometer = lastOdometer(t, l)
				minutes += 60
				continue
			}
			if err != nil {
				r.Fatal(err)
			}
			written = append(written, a.Entry)
		}
		where, errWhere := l.Where(ctx, 0)
		l.Close()
		l = open(t, path)
		for _, want := range written {
			got, err := l.Entry(ctx, want.Number)
			if err != nil {
				r.Fatal(err)
			}
			got.SupersededBy = 0
			if !reflect.DeepEqual(*got, want) {
				r.Fatalf("entry %d reads back as\n%+v %+v, written was\n%+v %+v", want.Number, got, got.Content, want, want.Content)
			}
		}
		report, err := l.Check(ctx)
		if err != nil || !report.OK() {
			r.Fatalf("%v, %+v", err, report.Problems)
		}
		track, err := l.WorkUp(ctx, 0)
		if err != nil {
			r.Fatal(err)
		}
		if errWhere != nil {
			return
		}
		end := track.Points[len(track.Points)-1].At
		// After a fix the last point is the adjusted one, which is the filter's.
		if d := apartMetres(t, end.Adjusted, where.Estimate.Position); d > 0.001 {
			r.Fatalf("worked up in one go the end is %.4f m from %v", d, where.Estimate.Position)
		}
	})
}

// lastOdometer returns the last reading in tenths of a km.
func lastOdometer(t *testing.T, l *Log) int {
	t.Helper()
	list, err := l.List(t.Context(), 0, false)
	if err != nil {
		t.Fatal(err)
	}
	last := 0
	for _, e := range list {
		runs := []*Run{e.Content.run()}
		if d, ok := e.Content.(*Detour); ok {
			for i := range d.Legs {
				runs = append(runs, &d.Legs[i].Run)
			}
		}
		for _, r := range runs {
			if r != nil && r.Odometer != nil {
				last = max(last, int(math.Round(r.Odometer.number()*10)))
			}
		}
	}
	return last
}

// The reckoning is kept while a log is open, and must not outlive what another program
// writes meanwhile.
func TestTheReckoningFollowsOtherWriters(t *testing.T) {
	ctx := t.Context()
	l := begun(t)
	leg := must(t)(l.LegByHand(ctx, at(0), km("1000.0"), by(90, 2)))
	must(t)(l.Halt(ctx, at(60), Halt{km("1030.0")}))
	other := open(t, l.Path())
	must(t)(other.LegByHand(ctx, At{Supersedes: leg.Entry.Number}, Run{}, by(180, 2)))
	must(t)(other.Halt(ctx, at(90), Halt{km("1040.0")}))
	want, err := geo.RhumbDirect(pan, 180*deg, 40_000)
	if err != nil {
		t.Fatal(err)
	}
	for range 2 {
		w, err := l.Where(ctx, 0)
		if err != nil {
			t.Fatal(err)
		}
		if d := apartMetres(t, w.Estimate.Position, want); d > 0.01 {
			t.Errorf("%.2f m from what the other wrote", d)
		}
		// A look ahead carries the reckoning on, and must leave it as it is.
		if _, err := l.EstimateAt(ctx, at(120).Time, new(km("1050.0"))); err != nil {
			t.Fatal(err)
		}
	}
}

// A snapshot is of one moment: what stands, the track and the place agree while another
// program writes.
func TestASnapshotIsOfOneMoment(t *testing.T) {
	ctx := t.Context()
	l := begun(t)
	must(t)(l.LegByHand(ctx, at(0), km("1000.0"), by(90, 2)))
	other := open(t, l.Path())
	stop, done := make(chan struct{}), make(chan error)
	go func() {
		var err error
		for i := 1; err == nil; i++ {
			select {
			case <-stop:
				done <- nil
				return
			default:
				_, err = other.Halt(ctx, at(float64(i)), Halt{km(fmt.Sprintf("%.1f", 1000+float64(i)/10))})
			}
		}
		done <- err
	}()
	grew := map[int]bool{}
	// On a busy machine the other writer may not come to its turn in 50.
	for i := 0; i < 50 || len(grew) < 5 && i < 5000; i++ {
		s, err := l.Snapshot(ctx, 0)
		if err != nil {
			t.Fatal(err)
		}
		n := len(s.Entries)
		last := s.Track.Points[len(s.Track.Points)-1]
		if len(s.Track.Points) != n || s.Entries[n-1].Number != last.Entry.Number || !s.Where.Estimate.Time.Equal(last.Entry.Time) {
			t.Fatalf("%d entries to %d, %d points to %d, where at %v", n, s.Entries[n-1].Number, len(s.Track.Points), last.Entry.Number, s.Where.Estimate.Time)
		}
		grew[n] = true
	}
	close(stop)
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	if len(grew) < 5 {
		t.Errorf("the log grew %d times only: nothing is tried", len(grew))
	}
}

// A leg of which only the odometer was misread keeps its heading, however it was had, and
// what is kept beside it.
func TestKeepHeading(t *testing.T) {
	ctx := t.Context()
	reading := func() *DialHeading { return &DialHeading{Heading: 90 * deg, Sigma: 1 * deg} }
	for name, leg := range map[string]func(l *Log) (Added, error){
		"photo":   func(l *Log) (Added, error) { return l.LegFromPhoto(ctx, at(10), km("1001.0"), photo(1, reading())) },
		"refused": func(l *Log) (Added, error) { return l.LegFromPhoto(ctx, at(10), km("1001.0"), photo(1, nil)) },
		"number": func(l *Log) (Added, error) {
			return l.LegFromNumber(ctx, at(10), km("1001.0"), *reading(), []byte(`{"number":1}`))
		},
		"hand": func(l *Log) (Added, error) { return l.LegByHand(ctx, at(10), km("1001.0"), by(90, 1)) },
		"refused, then by hand": func(l *Log) (Added, error) {
			a := must(t)(l.LegFromPhoto(ctx, at(10), km("1001.0"), photo(1, nil)))
			return l.LegByHand(ctx, At{Supersedes: a.Entry.Number}, Run{}, by(90, 1))
		},
	} {
		l := begun(t)
		number := must(t)(leg(l)).Entry.Number
		before, err := l.Entry(ctx, number)
		if err != nil {
			t.Fatal(err)
		}
		was, wasOverlay, err := l.Evidence(ctx, number)
		if err != nil {
			t.Fatal(err)
		}
		a := must(t)(l.KeepHeading(ctx, At{Supersedes: number, Note: "misread"}, km("1002.0")))
		is, isOverlay, err := l.Evidence(ctx, a.Entry.Number)
		if err != nil || !bytes.Equal(is, was) || !bytes.Equal(isOverlay, wasOverlay) {
			t.Errorf("%s: %v, kept %q and %q, had %q and %q", name, err, is, isOverlay, was, wasOverlay)
		}
		want := *before.Content.(*Leg)
		want.Run = km("1002.0")
		want.Run.CountsOn = true
		if got := a.Entry.Content.(*Leg); !reflect.DeepEqual(*got, want) || !a.Entry.Time.Equal(before.Time) {
			t.Errorf("%s: %+v, want %+v", name, *got, want)
		}
	}
	l := begun(t)
	if _, err := l.KeepHeading(ctx, At{Supersedes: 1}, km("1002.0")); fault.Code(err) != "bad_correction" {
		t.Errorf("of a departure: %v", err)
	}
}
