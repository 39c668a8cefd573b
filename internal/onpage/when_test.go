package onpage

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/photo"
	"shadowread/internal/reading"
)

// An invented morning on a pan, at +02:00.
var (
	now   = time.Date(2026, 8, 29, 6, 15, 0, 0, time.UTC)
	taken = time.Date(2026, 8, 29, 6, 12, 31, 0, time.UTC)
	zone  = 2 * time.Hour
)

// clockAt is what a camera's clock at an offset shows at a time.
func clockAt(t time.Time, offset time.Duration) time.Time { return t.Add(offset) }

func millis(t time.Time) float64 { return float64(t.UnixMilli()) }

func TestTimeRules(t *testing.T) {
	own := photo.Facts{Clock: clockAt(taken, zone), ClockOffset: &zone}
	bare := photo.Facts{Clock: clockAt(taken, zone)}
	nothing := photo.Facts{}
	stamped := photo.Facts{Clock: clockAt(taken, zone), GPSTime: taken.Add(-20 * time.Second)}
	other := photo.Facts{Clock: clockAt(taken, 3*time.Hour)}
	three := 3 * time.Hour
	fast := 40 * time.Second
	stated := func(s string) *string { return &s }
	for _, tt := range []struct {
		name    string
		facts   photo.Facts
		timing  timing
		change  func(*clocks)
		utc     time.Time     // zero: none
		sigma   time.Duration // of what the reader makes of it
		refused string        // a code
		warns   string
		fresh   bool
	}{
		// By the camera's clock.
		{"its own offset", own, timing{Chosen: byAlbum}, nil, taken, 30 * time.Second, "", "", false},
		{"taken for the page", own, timing{Chosen: byCamera}, nil, taken, 30 * time.Second, "", "", true},
		{"of last week, its own offset", own, timing{Chosen: byAlbum}, func(c *clocks) { c.now = now.AddDate(0, 0, 7) }, taken, 30 * time.Second, "", "", false},
		{"taken for the page, they say, and of last week", own, timing{Chosen: byCamera}, func(c *clocks) { c.now = now.AddDate(0, 0, 7) }, taken, 30 * time.Second, "", "photo_not_new", false},
		{"a clock that is known to be fast", own, timing{Chosen: byAlbum}, func(c *clocks) { c.clockError = &fast }, taken.Add(-fast), 2 * time.Second, "", "", false},
		{"no offset: the device's", bare, timing{Chosen: byAlbum}, nil, taken, 30 * time.Second, "no_time", "", false},
		{"no offset: the device's, that somebody knows", bare, timing{Chosen: byAlbum, TrustOffset: true}, nil, taken, 30 * time.Second, "", "offset_taken", false},
		{"no offset: the settings' before the device's", bare, timing{Chosen: byAlbum}, func(c *clocks) { c.stated, c.offset = &zone, three }, taken, 30 * time.Second, "", "offset_differs offset_taken", false},
		{"no offset: the file bears it out", bare, timing{Chosen: byAlbum, FileMS: millis(taken.Add(3 * time.Second))}, nil, taken, 30 * time.Second, "", "", false},
		{"no offset: the satellites bear it out", stamped, timing{Chosen: byAlbum}, nil, taken, 20 * time.Second, "", "", false},
		{"no offset: the satellites bear out the device's, not the settings'", stamped, timing{Chosen: byAlbum}, func(c *clocks) { c.stated = &three }, taken, 20 * time.Second, "", "", false},
		{"no offset: copied some time later", bare, timing{Chosen: byAlbum, FileMS: millis(taken.Add(44 * time.Minute))}, func(c *clocks) { c.now = now.Add(time.Hour) }, taken, 30 * time.Second, "no_time", "", false},
		{"no offset: the file shows another zone", other, timing{Chosen: byAlbum, FileMS: millis(taken)}, func(c *clocks) { c.now = now.Add(2 * time.Hour) }, taken.Add(time.Hour), 30 * time.Second, "time_conflict", "", false},
		{"no offset: summer time has ended since", bare, timing{Chosen: byAlbum, FileMS: millis(taken.Add(time.Hour))}, func(c *clocks) { c.now = now.Add(3 * time.Hour) }, taken, 30 * time.Second, "time_conflict", "", false},
		{"no offset: the file is older than the photo", bare, timing{Chosen: byAlbum, FileMS: millis(taken.Add(-41 * time.Minute))}, nil, taken, 30 * time.Second, "time_conflict", "", false},
		{"its own offset: the file is older", own, timing{Chosen: byAlbum, FileMS: millis(taken.Add(-41 * time.Minute))}, nil, taken, 30 * time.Second, "", "file_time_differs", false},
		{"of the future", own, timing{Chosen: byAlbum}, func(c *clocks) { c.now = taken.Add(-time.Hour) }, taken, 30 * time.Second, "time_conflict", "", false},
		{"of the future by the device's zone", other, timing{Chosen: byCamera}, nil, taken.Add(time.Hour), 30 * time.Second, "time_conflict", "", true},
		// By the file's time.
		{"nothing but the file, just taken", nothing, timing{Chosen: byCamera, FileMS: millis(taken), AskedMS: millis(taken.Add(-10 * time.Second))}, nil, taken, 42426 * time.Millisecond, "", "", true},
		{"the same, the clock's error known", nothing, timing{Chosen: byCamera, FileMS: millis(taken)}, func(c *clocks) { c.clockError = &fast }, taken.Add(-fast), 30066 * time.Millisecond, "", "", true},
		{"a file older than the camera was asked for", nothing, timing{Chosen: byCamera, FileMS: millis(taken), AskedMS: millis(taken.Add(10 * time.Second))}, nil, taken, 42426 * time.Millisecond, "time_conflict", "", false},
		{"an old file", nothing, timing{Chosen: byCamera, FileMS: millis(taken)}, func(c *clocks) { c.now = now.Add(time.Hour) }, taken, 42426 * time.Millisecond, "time_conflict", "", false},
		{"a file of the album", nothing, timing{Chosen: byAlbum, FileMS: millis(taken)}, nil, taken, 42426 * time.Millisecond, "no_time", "", false},
		{"a file of the album that somebody knows", nothing, timing{Chosen: byAlbum, FileMS: millis(taken), TrustFile: true}, nil, taken, 42426 * time.Millisecond, "", "", false},
		{"a file of the future", nothing, timing{Chosen: byAlbum, FileMS: millis(now.Add(time.Hour)), TrustFile: true}, nil, now.Add(time.Hour), 42426 * time.Millisecond, "time_conflict", "", false},
		{"nothing at all", nothing, timing{Chosen: byAlbum}, nil, time.Time{}, 0, "", "", false},
		// Stated.
		{"stated", nothing, timing{Chosen: byAlbum, Stated: stated("2026-08-29T08:12:31")}, nil, taken, 5 * time.Second, "", "", false},
		{"stated with another offset", nothing, timing{Chosen: byAlbum, Stated: stated("2026-08-29T09:12:31+03:00")}, nil, taken, 5 * time.Second, "", "", false},
		{"today's hour", nothing, timing{Chosen: byAlbum, Stated: stated("08:12:31")}, nil, taken, 5 * time.Second, "", "", false},
		{"to the minute", nothing, timing{Chosen: byAlbum, Stated: stated("08:12")}, nil, taken.Truncate(time.Minute), 17320 * time.Millisecond, "", "", false},
		{"stated against the photo", own, timing{Chosen: byAlbum, Stated: stated("07:12:31")}, nil, taken.Add(-time.Hour), 5 * time.Second, "", "time_differs", false},
		{"stated of the future", nothing, timing{Chosen: byAlbum, Stated: stated("09:12:31")}, nil, taken.Add(time.Hour), 5 * time.Second, "", "time_in_future", false},
	} {
		c := clocks{now: now, offset: zone}
		if tt.change != nil {
			tt.change(&c)
		}
		m, err := tt.timing.of(tt.facts, c)
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		var warns []string
		for _, w := range m.warnings {
			warns = append(warns, w.Code)
		}
		code := ""
		if m.refused != nil {
			code = fault.Code(m.refused)
			if fault.Hint(m.refused) == "" {
				t.Errorf("%s: %v has no hint", tt.name, m.refused)
			}
		}
		if !m.utc.Equal(tt.utc) || code != tt.refused || strings.Join(warns, " ") != tt.warns || m.fresh != tt.fresh {
			t.Errorf("%s: %v refused %q warns %v fresh %v, want %v %q %q %v", tt.name, m.utc, code, warns, m.fresh, tt.utc, tt.refused, tt.warns, tt.fresh)
		}
		if tt.utc.IsZero() {
			continue
		}
		// The reader comes to the same time.
		at, err := photo.ResolveTime(tt.facts, nil, m.options)
		if err != nil || !at.UTC.Equal(tt.utc) || (at.Sigma-tt.sigma).Abs() > time.Millisecond {
			t.Errorf("%s: the reader has %v ± %v (%v), want %v ± %v", tt.name, at.UTC, at.Sigma, err, tt.utc, tt.sigma)
		}
	}
}

func TestPlaceRules(t *testing.T) {
	own := photo.Facts{GPS: position(-22.9, 22.3), GPSErrorMetres: 10}
	none := photo.Facts{}
	just := moment{utc: now.Add(-time.Minute), fresh: true}
	yesterday := moment{utc: now.Add(-24 * time.Hour)}
	anHour := moment{utc: now.Add(-time.Hour)}
	here := place{Source: fromDevice, LatitudeDeg: -22.9001, LongitudeDeg: 22.3, SigmaKM: 0.015}
	far := place{Source: fromDevice, LatitudeDeg: -21.9, LongitudeDeg: 22.3, SigmaKM: 0.015}
	with := func(p place, change func(*place)) *place { change(&p); return &p }
	for _, tt := range []struct {
		name    string
		facts   photo.Facts
		place   *place
		moment  moment
		source  string  // "given", "photo" or ""
		sigma   float64 // km, of a given one
		refused string
		warns   string
	}{
		{"none", none, nil, just, "", 0, "", ""},
		{"the photo's", own, nil, just, "photo", 0, "", ""},
		{"the device's", none, &here, just, "given", 0.02, "", ""},
		{"the device's, that says nothing of its error", none, with(here, func(p *place) { p.SigmaKM = 0 }), just, "given", 0.5, "", ""},
		{"the photo's, which the device bears out", own, &here, just, "photo", 0, "", ""},
		{"by hand, to a minute of arc", none, &place{Source: fromHand, Text: "22 54 S, 22 18 E"}, just, "given", 1.135, "", ""},
		{"by hand, where nothing else is", none, &place{Source: fromHand, LatitudeDeg: -22.9, LongitudeDeg: 22.3}, yesterday, "given", 1, "", "place_given_since"},
		{"by hand, of a photo of five minutes before", none, &place{Source: fromHand, LatitudeDeg: -22.9, LongitudeDeg: 22.3}, moment{utc: now.Add(-5 * time.Minute)}, "given", 1, "", ""},
		{"by hand, against the photo", own, with(far, func(p *place) { p.Source = fromHand }), just, "given", 0.015, "position_conflict", ""},
		{"by hand, against the photo, confirmed", own, with(far, func(p *place) { p.Source, p.Confirmed = fromHand, true }), just, "given", 0.015, "", "place_differs"},
		{"the device's, against the photo just taken", own, &far, just, "given", 0.02, "position_conflict", ""},
		// 120 km/h for an hour in any direction: 120/sqrt(3) km on each axis.
		{"the device's, of a photo an hour old", none, &here, anHour, "given", 69.28, "", ""},
		{"the device's, against an old photo", own, &far, anHour, "photo", 0, "", ""},
		{"the device's, of a photo of yesterday", none, &here, yesterday, "given", 1662.8, "no_position", ""},
		{"the device's, far from a photo of yesterday", photo.Facts{GPS: position(40, 22.3)}, with(here, func(p *place) { p.AgeS = 0 }), anHour, "photo", 0, "", "place_by_photo"},
		{"the last used, of half an hour ago", none, with(here, func(p *place) { p.Source, p.AgeS = fromLast, 1800 }), just, "given", 34.64, "", ""},
		{"the log's, of this morning", none, with(here, func(p *place) { p.Source, p.AgeS = fromSettings, 7*3600 }), just, "given", 484.97, "", ""},
	} {
		s, err := tt.place.of(tt.facts, now, tt.moment)
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		var warns []string
		for _, w := range s.warnings {
			warns = append(warns, w.Code)
		}
		source := ""
		switch {
		case s.options.Position != nil:
			source = "given"
		case tt.facts.GPS != nil:
			source = "photo"
		}
		code := ""
		if s.refused != nil {
			code = fault.Code(s.refused)
		}
		if source != tt.source || code != tt.refused || strings.Join(warns, " ") != tt.warns {
			t.Errorf("%s: %q refused %q warns %v, want %q %q %q", tt.name, source, code, warns, tt.source, tt.refused, tt.warns)
		}
		if p, err := photo.ResolvePosition(tt.facts, s.options); source == "given" && (err != nil || p.SigmaKM < 0.999*tt.sigma || p.SigmaKM > 1.001*tt.sigma) {
			t.Errorf("%s: %+v (%v), want a sigma of %v km", tt.name, p, err, tt.sigma)
		}
	}
}

// What contradicts itself is refused where the heading would be wrong, and no figure is left.
func TestContradictionLeavesNoHeading(t *testing.T) {
	data := readFile(t, demo, "01-leaving-camp.jpg")
	for name, more := range map[string]object{
		"time_conflict":     {"device_now_ms": millis(taken.AddDate(0, 0, -3))},
		"position_conflict": {"device_now_ms": millis(taken.Add(time.Minute)), "chosen": "camera", "place": object{"source": "device", "latitude_deg": 10, "longitude_deg": 22.3, "sigma_km": 0.01}},
	} {
		a, _ := call[answered](t, "read", withNow(more), data)
		if a.Reading["reason"] != name || a.Reading["heading_true_deg"] != nil || a.Reading["heading_sigma_deg"] != nil || a.Reading["heading_magnetic_deg"] != nil || a.Say["heading"] != nil || a.Say["refused"] == nil {
			t.Errorf("%s: %v, said %v", name, a.Reading, a.Say)
		}
	}
	// A better reason comes first.
	text, _ := call[answered](t, "read", withNow(object{"device_now_ms": millis(taken.AddDate(0, 0, -3))}), readFile(t, demo, "07-rod-hides-shadow.jpg"))
	if text.Reading["reason"] != string(reading.RodHidesShadow) {
		t.Errorf("reason %v", text.Reading["reason"])
	}
}

// A position in degrees and minutes is to 0.1 minute.
func TestPositionForms(t *testing.T) {
	p := geo.Position{Lat: position(-22.99999, 0).Lat, Lon: position(0, 5.0083).Lon}
	k := kept{}
	if got := k.position(p); got != "23.0000 S 5.0083 E" {
		t.Error(got)
	}
	k.settings.PositionForm = "degrees_minutes"
	if got := k.position(p); got != "23°00.0' S 005°00.5' E" {
		t.Error(got)
	}
}

// A time by hand without an offset is by the device's, and it is told where no place near by has
// such a one.
func TestOffsetOfStatedTime(t *testing.T) {
	for offset, want := range map[float64]bool{120: false, -360: true} {
		a, _ := call[answered](t, "number", withNow(object{"device_utc_offset_min": offset, "number_deg": 347.7, "stated_time": "2026-08-28T08:12:31",
			"place": object{"source": "hand", "latitude_deg": -22.9, "longitude_deg": 22.3}}), nil)
		text, _ := json.Marshal(a.Say)
		if got := strings.Contains(string(text), "offset_not_local"); got != want {
			t.Errorf("at %v minutes from UTC: told %v\n%s", offset, got, text)
		}
	}
}
