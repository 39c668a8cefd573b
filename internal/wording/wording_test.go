package wording

import (
	"math"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
)

const deg = angle.Degree

// What rounds to a full turn is north, what rounds to nothing has no sign, and two figures
// of a sigma are shown (JCGM 100:2008, 7.2.6).
func TestFigures(t *testing.T) {
	for want, got := range map[string]string{
		"0.00":                    Bearing(359.996*deg, 2),
		"359.99":                  Bearing(359.994*deg, 2),
		"007.5°":                  ThreeFigures(7.46*deg, 1),
		"000°":                    ThreeFigures(359.6*deg, 0),
		"12.35° ± 0.12°":          BearingWith(12.3456*deg, 0.123*deg),
		"12.346° ± 0.012°":        BearingWith(12.3456*deg, 0.0123*deg),
		"0.0°":                    Signed(-0.04*deg, 1),
		"+0.1°":                   Signed(0.06*deg, 1),
		"-2.0° ± 2.0° (2.0° W)":   EastWest(-2*deg, deg),
		"+13.9° ± 1.0° (13.9° E)": EastWest(13.86*deg, 0.49*deg),
		"turn left 3°":            Turn(-3*deg, 0),
		"turn right 3.1°":         Turn(3.1*deg, 1),
		"on course":               Turn(0.04*deg, 1),
		"057.0° ± 0.6°":           Steer(57.0333*deg, 0.32*deg),
		"063.25° ± 0.04°":         Steer(63.247*deg, 0.02*deg),
		"000° ± 12°":              Steer(359.6*deg, 6*deg),
		"000.0°":                  ThreeFigures(359.96*deg, 1),
		"031.0":                   Three(30.99*deg, 1),
		"29 m":                    Length(Length95(15)),
		"0 s":                     Span(0),
		"40 s":                    Span(40 * time.Second),
		"1 min":                   Span(59500 * time.Millisecond),
		"2 min 5 s":               Span(125 * time.Second),
		"10 min":                  Span(10 * time.Minute),
		"1 h":                     Span(time.Hour),
		"3 h 20 min":              Span(-200 * time.Minute),
		"19 h":                    Span(19*time.Hour + 10*time.Second),
		"220 days":                Span(5282*time.Hour + 18*time.Minute),
		"9.9 m":                   Length(9.94),
		"10 m":                    Length(9.96),
		"1.00 km":                 Length(999.6),
		"10.0 km":                 Length(9996),
		"1000 km":                 Length(geo.Metres(999960)),
		"1 leg":                   Count(1, "leg"),
		"lubber line":             Term("alignment"),
		"sun or moon":             Term("body"),
		"shadow fit":              Term("shadow_fit"),
		"2 legs":                  Count(2, "leg"),
	} {
		if got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	if x := Round(-0.0001, 2); x != 0 || 1/x < 0 {
		t.Errorf("-0.0001 rounds to %v", x)
	}
	if x := BearingDegrees(-0.001*deg, 2); x != 0 {
		t.Errorf("a hair west of north is %v", x)
	}
}

func TestElapsed(t *testing.T) {
	for d, want := range map[time.Duration]string{
		40 * time.Second:                "40 s",
		25 * time.Minute:                "25 min",
		19*time.Hour + 5*time.Minute:    "19 h 5 min",
		24 * time.Hour:                  "1 day",
		27*time.Hour + 20*time.Minute:   "1 day 3 h 20 min",
		220*24*time.Hour + 2*time.Hour:  "220 days 2 h",
		-(48*time.Hour + 3*time.Minute): "2 days 3 min",
	} {
		if got := Elapsed(d); got != want {
			t.Errorf("%v: %q, want %q", d, got, want)
		}
	}
}

func TestKnown(t *testing.T) {
	for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		if got := Known(x, 2); got != nil {
			t.Errorf("%v is %v", x, *got)
		}
	}
	if got := Known(-0.001, 2); got == nil || *got != 0 || math.Signbit(*got) {
		t.Errorf("-0.001 to two places is %v", got)
	}
}
