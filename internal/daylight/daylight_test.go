package daylight_test

import (
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/daycard"
	"shadowread/internal/daylight"
	"shadowread/internal/geo"
)

func at(lat, lon float64) geo.Position {
	return geo.Position{Lat: angle.FromDegrees(lat), Lon: angle.FromDegrees(lon)}
}

// What is said of an instant is so an instant before and after, by the sky itself.
func TestAheadAgreesWithTheSky(t *testing.T) {
	for _, c := range []struct {
		name string
		time string
		from geo.Position
		up   bool
		now  bool
	}{
		{"a forenoon", "2026-08-30T08:00:00Z", at(-23, 22), true, true},
		{"before sunrise", "2026-08-30T03:00:00Z", at(-23, 22), false, true}, // by the moon, two days past full
		{"the sun overhead", "2026-12-21T10:30:00Z", at(-23, 22), true, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			start, err := time.Parse(time.RFC3339, c.time)
			if err != nil {
				t.Fatal(err)
			}
			o, err := daylight.Ahead(start, c.from)
			if err != nil {
				t.Fatal(err)
			}
			if o.SunUp != c.up || (o.Now != nil) != c.now || o.Next == nil || o.Turn.IsZero() {
				t.Fatalf("%+v", o)
			}
			high := func(b bearing.Body, when time.Time) angle.Angle {
				seen, err := bearing.Observe(b, when, c.from, 0)
				if err != nil {
					t.Fatal(err)
				}
				return seen.Altitude
			}
			if h := high(bearing.Sun, o.Turn); h < -1*angle.Degree || h > 0.5*angle.Degree {
				t.Errorf("at its turn the sun stands at %v", h)
			}
			if o.Next.Body == bearing.Sun {
				h := high(bearing.Sun, o.Next.From)
				if (h-daycard.DefaultLowest).Abs() > 0.05*angle.Degree && (h-daycard.DefaultHighest).Abs() > 0.05*angle.Degree {
					t.Errorf("the next span begins with the sun at %v", h)
				}
			}
		})
	}
}

// Where the sun stays down for weeks, its rise is found, and the moon serves before it.
func TestPolarNight(t *testing.T) {
	start := time.Date(2026, 12, 1, 12, 0, 0, 0, time.UTC)
	o, err := daylight.Ahead(start, at(75, 20))
	if err != nil {
		t.Fatal(err)
	}
	if o.SunUp || o.Turn.Sub(start) < 50*24*time.Hour || o.Turn.Sub(start) > 80*24*time.Hour {
		t.Errorf("the sun: %+v", o)
	}
	if o.Next == nil || o.Next.Body != bearing.Moon || o.Next.From.Sub(start) > 30*24*time.Hour {
		t.Errorf("the dial: %+v", o.Next)
	}
}
