package main

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/compass"
	"shadowread/internal/fault"
)

// runJSON runs a command that must succeed and decodes what it printed.
func runJSON(t *testing.T, out any, args ...string) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	if got := execute(context.Background(), append(args, "--json"), &streams{out: &stdout, err: &stderr}); got != exitOK {
		t.Fatalf("exit status %d: %s", got, &stderr)
	}
	if err := json.Unmarshal(stdout.Bytes(), out); err != nil {
		t.Fatal(err)
	}
}

// The invented readings, by what they were drawn from: the values and sigmas stand in
// the files' own comments, and were drawn by another program. Each lies within two of
// its sigmas; one in twenty would not, by chance, and these are kept as they came.
func TestInventedReadingsGiveWhatTheyWereDrawnFrom(t *testing.T) {
	var swung swingJSON
	runJSON(t, &swung, "swing", "--sightings", filepath.Join(fixtures, "compass", "swing.csv"), "--declination", "-13.6", "--declination-sigma", "0.01")
	for k, want := range []float64{0.6, 5.8, -3.4, 1.6, -0.5} {
		c := swung.Coefficients[k]
		if c.Meaningless || math.Abs(*c.Value-want) > 2**c.Sigma || *c.Sigma > 0.5 {
			t.Errorf("%s is %v ± %v, drawn from %v", c.Name, *c.Value, *c.Sigma, want)
		}
	}

	// Without the reading beside the truck, which is named, the rest give the 13.6 W.
	var observed declinationJSON
	runJSON(t, &observed, "declination", "--sightings", filepath.Join(fixtures, "compass", "sightings.csv"))
	var kept []compass.Sighting
	for _, r := range observed.Readings {
		if r.Outlier != (*r.Line == 14) {
			t.Errorf("line %d: outlier %v", *r.Line, r.Outlier)
		}
		if !r.Outlier {
			kept = append(kept, compass.Sighting{Compass: angle.FromDegrees(r.Compass), CompassSigma: angle.FromDegrees(r.CompassSigma),
				Heading: angle.FromDegrees(r.True), HeadingSigma: angle.FromDegrees(r.TrueSigma)})
		}
	}
	o, err := compass.ObserveDeclination(kept, compass.WhollyShared(kept))
	if err != nil {
		t.Fatal(err)
	}
	if off := (o.Declination + 13.6*angle.Degree).Abs(); off > 2*o.Sigma || o.Sigma > 0.5*angle.Degree {
		t.Errorf("declination %v ± %v, drawn from 13.6 W", o.Declination, o.Sigma)
	}
}

func TestParseStop(t *testing.T) {
	offset := 2 * time.Hour
	utc := time.Date(2026, 8, 29, 4, 30, 0, 0, time.UTC)
	for _, tt := range []struct {
		in     string
		offset *time.Duration
		at     time.Time
		code   string
	}{
		{"-22.9,22.3", nil, time.Time{}, ""},
		{"22.9 S, 22.3 E@2026-08-29T06:30:00", &offset, utc, ""},
		{"22.9 S, 22.3 E@2026-08-29T06:30:00+02:00", &offset, utc, ""},
		{"22.9 S, 22.3 E@2026-08-29T04:30:00Z", &offset, utc, ""}, // another clock than the card's
		{"-22.9,22.3@2026-08-29T06:30:00", nil, time.Time{}, "no_utc_offset"},
		{"-22.9,22.3@", &offset, time.Time{}, "bad_time"},
		{"-22.9,22.3@noon@noon", &offset, time.Time{}, "bad_time"},
		{"@2026-08-29T04:30:00Z", nil, time.Time{}, "bad_position"},
	} {
		got, err := parseStop(tt.in, tt.offset)
		if fault.Code(err) != tt.code {
			t.Errorf("parseStop(%q): %v, want code %q", tt.in, err, tt.code)
		}
		if err == nil && (!got.Time.Equal(tt.at) || math.Abs(got.Position.Lat.Degrees()+22.9) > 1e-9) {
			t.Errorf("parseStop(%q) = %v", tt.in, got)
		}
	}
}

// Whatever a stop or a clock is, it lies on the earth and within the day.
func FuzzStopAndClock(f *testing.F) {
	for _, s := range []string{"-22.9,22.3", "22.9 S, 22.3 E@2026-08-29T06:30:00+02:00", "90,0@2026-08-29T06:30:00Z", "07:30", "24:00", "@", "1,2@x"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if stop, err := parseStop(s, nil); err == nil && stop.Position.Validate() != nil {
			t.Errorf("%q gives %v", s, stop)
		}
		if d, err := parseClock(s); err == nil && (d < 0 || d >= 24*time.Hour || !strings.Contains(s, ":")) {
			t.Errorf("%q gives %v", s, d)
		}
	})
}
