package main

import (
	"testing"
	"time"

	"shadowread/internal/logbook"
	"shadowread/internal/photo"
	"shadowread/internal/reading"
)

// Each telephone has its own clock; what a photo says of its offset, and what is given, goes
// before what holds for the journey.
func TestEachCameraHasItsClock(t *testing.T) {
	front, second, journeys := 30*time.Second, -2*time.Second, 2*time.Hour
	j := &journeySettings{set: &logbook.Settings{
		UTCOffset: &journeys,
		Cameras:   &[]logbook.Camera{{Name: "Invented Pocket telephone", ClockError: &front}, {Name: "Other", ClockError: &second}, {Name: "no clock"}},
	}}
	own := 3 * time.Hour
	clock := time.Date(2026, 8, 29, 8, 0, 0, 0, time.UTC)
	for name, c := range map[string]struct {
		facts  photo.Facts
		given  photo.TimeOptions
		error  *time.Duration
		offset *time.Duration
	}{
		"maker and model":      {photo.Facts{Make: "Invented", Model: "Pocket telephone", Clock: clock}, photo.TimeOptions{}, &front, &journeys},
		"model leads by maker": {photo.Facts{Make: "INVENTED", Model: "Invented Pocket telephone", Clock: clock}, photo.TimeOptions{}, &front, &journeys},
		"model":                {photo.Facts{Make: "Maker", Model: "other", Clock: clock}, photo.TimeOptions{}, &second, &journeys},
		"no clock error":       {photo.Facts{Model: "no clock", Clock: clock}, photo.TimeOptions{}, nil, &journeys},
		"unknown":              {photo.Facts{Model: "Third", Clock: clock}, photo.TimeOptions{}, nil, &journeys},
		"unnamed":              {photo.Facts{Clock: clock}, photo.TimeOptions{}, nil, &journeys},
		"its own offset":       {photo.Facts{Model: "Other", Clock: clock, ClockOffset: &own}, photo.TimeOptions{}, &second, nil},
		"a GPS stamp":          {photo.Facts{Model: "Other", Clock: clock, GPSTime: clock}, photo.TimeOptions{}, &second, nil},
		"given":                {photo.Facts{Model: "Other", Clock: clock}, photo.TimeOptions{UTCOffset: &own, ClockError: &front}, &front, &own},
		"a time given":         {photo.Facts{Model: "Other", Clock: clock}, photo.TimeOptions{At: &clock}, nil, nil},
	} {
		o := reading.Options{Time: c.given}
		j.useClock(&o, c.facts)
		for what, pair := range map[string][2]*time.Duration{"clock error": {o.Time.ClockError, c.error}, "offset": {o.Time.UTCOffset, c.offset}} {
			if is, want := pair[0], pair[1]; (is == nil) != (want == nil) || is != nil && *is != *want {
				t.Errorf("%s: the %s is %v, want %v", name, what, is, want)
			}
		}
	}
}
