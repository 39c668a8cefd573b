package photo

import (
	"math"
	"slices"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
)

func at(lat, lon float64) *Place {
	return &Place{Position: geo.Position{Lat: angle.FromDegrees(lat), Lon: angle.FromDegrees(lon)}, SigmaKM: SigmaPositionGPSKM}
}

func wall(s string) time.Time {
	t, err := time.Parse("2006-01-02 15:04:05.999", s)
	if err != nil {
		panic(err)
	}
	return t
}

func codes(warnings []Warning) (list []string) {
	for _, w := range warnings {
		list = append(list, w.Code)
	}
	return list
}

// The order of the sources. The pan is an invented camp in Botswana, which keeps
// UTC+2 all year (IANA time zone database).
func TestResolveTime(t *testing.T) {
	pan := at(-20.6142, 25.4310)
	noon := wall("2026-03-14 12:00:00.037")
	hours := func(h float64) *time.Duration { d := time.Duration(h * float64(time.Hour)); return &d }
	seconds := func(s float64) *time.Duration { d := time.Duration(s * float64(time.Second)); return &d }
	given := time.Date(2026, 3, 14, 9, 0, 0, 0, time.FixedZone("", 3600))
	stamp := func(s string) time.Time { return wall("2026-03-14 " + s) }

	for _, tt := range []struct {
		name     string
		facts    Facts
		place    *Place
		options  TimeOptions
		want     string // UTC
		source   string
		sigma    time.Duration
		warnings []string
	}{
		{"option before all", Facts{Clock: noon, ClockOffset: hours(2)}, pan, TimeOptions{At: &given, ClockError: seconds(60)},
			"2026-03-14 08:00:00", TimeFromOption, SigmaTimeOption, nil},
		{"option without a photo's time or place", Facts{}, nil, TimeOptions{At: &given, Sigma: seconds(1)},
			"2026-03-14 08:00:00", TimeFromOption, time.Second, nil},
		{"given offset", Facts{Clock: noon}, nil, TimeOptions{UTCOffset: hours(3)},
			"2026-03-14 09:00:00.037", TimeFromOptionOffset, SigmaClockUnchecked, nil},
		{"given offset that agrees", Facts{Clock: noon, ClockOffset: hours(2)}, pan, TimeOptions{UTCOffset: hours(2)},
			"2026-03-14 10:00:00.037", TimeFromOptionOffset, SigmaClockUnchecked, nil},
		{"given offset that differs", Facts{Clock: noon, ClockOffset: hours(2)}, pan, TimeOptions{UTCOffset: hours(3)},
			"2026-03-14 09:00:00.037", TimeFromOptionOffset, SigmaClockUnchecked, []string{"offset_conflict", "offset_not_local"}},
		{"Exif offset", Facts{Clock: noon, ClockOffset: hours(2)}, pan, TimeOptions{},
			"2026-03-14 10:00:00.037", TimeFromExifOffset, SigmaClockUnchecked, nil},
		{"Exif offset without a place", Facts{Clock: noon, ClockOffset: hours(2)}, nil, TimeOptions{},
			"2026-03-14 10:00:00.037", TimeFromExifOffset, SigmaClockUnchecked, nil},
		{"clock 90 s fast", Facts{Clock: noon, ClockOffset: hours(2)}, nil, TimeOptions{ClockError: seconds(90)},
			"2026-03-14 09:58:30.037", TimeFromExifOffset, SigmaClockChecked, nil},
		{"clock 90 s slow, with a sigma", Facts{Clock: noon, ClockOffset: hours(2)}, nil, TimeOptions{ClockError: seconds(-90), Sigma: seconds(7)},
			"2026-03-14 10:01:30.037", TimeFromExifOffset, 7 * time.Second, nil},
		{"offset by GPS", Facts{Clock: noon, GPSTime: stamp("09:59:58.037")}, pan, TimeOptions{},
			"2026-03-14 10:00:00.037", TimeFromGPSOffset, 2 * time.Second, nil},
		{"offset by GPS, an old stamp", Facts{Clock: noon, GPSTime: stamp("09:58:10.037")}, pan, TimeOptions{},
			"2026-03-14 10:00:00.037", TimeFromGPSOffset, 110 * time.Second, nil},
		{"an old stamp, but the clock is known", Facts{Clock: noon, GPSTime: stamp("09:58:10.037")}, pan, TimeOptions{ClockError: seconds(0)},
			"2026-03-14 10:00:00.037", TimeFromGPSOffset, SigmaClockChecked, nil},
		{"a later stamp, though the clock is said to be known", Facts{Clock: noon, GPSTime: stamp("10:00:20.037")}, pan, TimeOptions{ClockError: seconds(0)},
			"2026-03-14 10:00:00.037", TimeFromGPSOffset, 20 * time.Second, nil},
		{"offset by GPS, the clock 100 s slow", Facts{Clock: noon, GPSTime: stamp("10:01:40.037")}, pan, TimeOptions{},
			"2026-03-14 10:00:00.037", TimeFromGPSOffset, 100 * time.Second, []string{"gps_time_differs"}},
		{"offset by GPS after the clock error", Facts{Clock: noon, GPSTime: stamp("09:50:00.037")}, pan, TimeOptions{ClockError: seconds(600)},
			"2026-03-14 09:50:00.037", TimeFromGPSOffset, SigmaClockChecked, nil},
		{"clock left on winter time", Facts{Clock: wall("2024-07-01 12:00:00"), GPSTime: wall("2024-07-01 11:00:00")}, at(52.5, 13.4), TimeOptions{},
			"2024-07-01 11:00:00", TimeFromGPSOffset, SigmaClockChecked, []string{"clock_on_standard_time"}},
		// Southern summer time: Sydney's clocks are at UTC+11 in January.
		{"southern clock left on winter time", Facts{Clock: wall("2024-01-10 12:00:00"), GPSTime: wall("2024-01-10 02:00:00")}, at(-33.87, 151.2), TimeOptions{},
			"2024-01-10 02:00:00", TimeFromGPSOffset, SigmaClockChecked, []string{"clock_on_standard_time"}},
		{"zone map", Facts{Clock: noon}, pan, TimeOptions{},
			"2026-03-14 10:00:00.037", TimeFromZoneMap, SigmaClockUnchecked, []string{"zone_from_map"}},
		// The offset says UTC+1, the stamp UTC+2: summer time was forgotten, or the
		// stamp is an hour old by chance.
		{"Exif offset an hour from the stamp", Facts{Clock: noon, ClockOffset: hours(1), GPSTime: stamp("10:00:00.037")}, pan, TimeOptions{},
			"2026-03-14 11:00:00.037", TimeFromExifOffset, time.Hour, []string{"offset_not_local", "gps_time_differs"}},
		{"Exif offset, a stamp of 7 minutes ago", Facts{Clock: noon, ClockOffset: hours(2), GPSTime: stamp("09:53:00")}, pan, TimeOptions{},
			"2026-03-14 10:00:00.037", TimeFromExifOffset, SigmaClockUnchecked, []string{"gps_stamp_old"}},
	} {
		got, err := ResolveTime(tt.facts, tt.place, tt.options)
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		if !got.UTC.Equal(wall(tt.want)) || got.Source != tt.source || got.Sigma != tt.sigma || !slices.Equal(codes(got.Warnings), tt.warnings) {
			t.Errorf("%s: %v, %s, %v, %v, want %s, %s, %v, %v", tt.name,
				got.UTC, got.Source, got.Sigma, got.Warnings, tt.want, tt.source, tt.sigma, tt.warnings)
		}
	}
}

// The changes of summer time are those of Directive 2000/84/EC: the last Sundays
// of March and October at 01:00 UTC. The Spanish-Portuguese border near Elvas and
// Badajoz, an hour wide, follows the river Caia at 7.03 W (from memory).
func TestResolveTimeRefuses(t *testing.T) {
	clock := wall("2024-07-01 12:00:00")
	for _, tt := range []struct {
		name  string
		facts Facts
		place *Place
		code  string
	}{
		{"no time", Facts{}, at(52.5, 13.4), "no_time"},
		{"neither zone nor place", Facts{Clock: clock}, nil, "no_time_zone"},
		{"at sea", Facts{Clock: clock}, at(-30, 100), "no_time_zone"},
		{"on a border", Facts{Clock: clock}, at(38.885, -7.03), "no_time_zone"},
		{"within three sigma of a border", Facts{Clock: clock}, &Place{Position: at(38.88, -6.80).Position, SigmaKM: 10}, "no_time_zone"},
		{"the hour that is left out", Facts{Clock: wall("2024-03-31 02:30:00")}, at(52.5, 13.4), "no_time_zone"},
		{"the hour that repeats", Facts{Clock: wall("2024-10-27 02:30:00")}, at(52.5, 13.4), "no_time_zone"},
		{"stamp 7 minutes old", Facts{Clock: clock, GPSTime: wall("2024-07-01 09:53:00")}, at(52.5, 13.4), "time_conflict"},
		{"stamp 15 minutes old", Facts{Clock: clock, GPSTime: wall("2024-07-01 09:45:00")}, at(52.5, 13.4), "time_conflict"},
		{"stamp a day old", Facts{Clock: clock, GPSTime: wall("2024-06-30 10:00:00")}, at(52.5, 13.4), "time_conflict"},
		{"clock behind winter time", Facts{Clock: clock, GPSTime: wall("2024-07-01 12:00:00")}, at(52.5, 13.4), "time_conflict"},
		{"on summer time in winter", Facts{Clock: wall("2024-01-10 12:00:00"), GPSTime: wall("2024-01-10 10:00:00")}, at(52.5, 13.4), "time_conflict"},
		{"just over two minutes", Facts{Clock: clock, GPSTime: wall("2024-07-01 09:57:59")}, at(52.5, 13.4), "time_conflict"},
	} {
		got, err := ResolveTime(tt.facts, tt.place, TimeOptions{})
		if fault.Code(err) != tt.code {
			t.Errorf("%s: %v, %v, want %s", tt.name, got, err, tt.code)
		}
		if !got.UTC.IsZero() {
			t.Errorf("%s: a time, %v, with the error", tt.name, got.UTC)
		}
	}
	// The GPS stamp tells the two hours apart, and settles a border.
	for _, tt := range []struct {
		name        string
		clock, fix  string
		place       *Place
		wantedUTC   string
		wantedSigma time.Duration
	}{
		{"repeated hour, first", "2024-10-27 02:30:00", "2024-10-27 00:30:00", at(52.5, 13.4), "2024-10-27 00:30:00", SigmaClockChecked},
		{"repeated hour, second", "2024-10-27 02:30:00", "2024-10-27 01:29:55", at(52.5, 13.4), "2024-10-27 01:30:00", 5 * time.Second},
		{"border, west side", "2024-07-01 12:00:00", "2024-07-01 10:59:57", at(38.885, -7.03), "2024-07-01 11:00:00", 3 * time.Second},
	} {
		got, err := ResolveTime(Facts{Clock: wall(tt.clock), GPSTime: wall(tt.fix)}, tt.place, TimeOptions{})
		if err != nil || !got.UTC.Equal(wall(tt.wantedUTC)) || got.Sigma != tt.wantedSigma {
			t.Errorf("%s: %v, %v, %v, want %s, %v", tt.name, got.UTC, got.Sigma, err, tt.wantedUTC, tt.wantedSigma)
		}
	}
}

// Photos of real telephones and cameras, by their Exif blocks. What they show is
// checked against their own GPS stamp, which ExifTool reads as stated.
func TestResolveTimeOfRealPhotos(t *testing.T) {
	for _, tt := range []struct {
		name, source, stamp string // stamp as ExifTool prints it
		code                string
	}{
		{"2012-12-19-21-38-40.exif", TimeFromGPSOffset, "2012-12-20 04:38:40", ""}, // Salt Lake City, UTC-7
		{"gps.exif", TimeFromGPSOffset, "2018-04-29 01:22:57", ""},                 // Florida, UTC-4
		// 4 hours from its stamp in Germany in summer: a clock left on another zone.
		{"withPanasonicFaces.exif", "", "2010-06-24 10:17:21", "time_conflict"},
		// No UTC offset and a stamp without a date: Sweden by the map.
		{"has-lens-info.exif", TimeFromZoneMap, "2014-09-01 13:03:42.79", ""},
	} {
		f := blockFacts(t, tt.name)
		place, err := ResolvePosition(f, PositionOptions{})
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		got, err := ResolveTime(f, &place, TimeOptions{})
		if fault.Code(err) != tt.code {
			t.Errorf("%s: %v, want %q", tt.name, err, tt.code)
			continue
		}
		if err == nil && (got.Source != tt.source || got.UTC.Sub(wall(tt.stamp)).Abs() > 3*got.Sigma) {
			t.Errorf("%s: %v by %s with sigma %v, the stamp is %s", tt.name, got.UTC, got.Source, got.Sigma, tt.stamp)
		}
	}
}

// Offsets as the IANA time zone database has them for the place and season.
func TestCivilOffsets(t *testing.T) {
	for _, tt := range []struct {
		place    string
		lat, lon float64
		clock    string
		want     time.Duration
	}{
		{"Gaborone", -24.65, 25.91, "2026-07-01 12:00:00", 2 * time.Hour},
		{"Kathmandu", 27.70, 85.32, "2026-07-01 12:00:00", 5*time.Hour + 45*time.Minute},
		{"Delhi", 28.61, 77.21, "2026-07-01 12:00:00", 5*time.Hour + 30*time.Minute},
		{"Alice Springs", -23.70, 133.88, "2026-01-01 12:00:00", 9*time.Hour + 30*time.Minute},
		{"Lord Howe, summer", -31.55, 159.08, "2026-01-01 12:00:00", 11 * time.Hour},
		{"Lord Howe, winter", -31.55, 159.08, "2026-07-01 12:00:00", 10*time.Hour + 30*time.Minute},
		{"Chatham Islands, summer", -43.95, -176.55, "2026-01-01 12:00:00", 13*time.Hour + 45*time.Minute},
		{"Phoenix", 33.45, -112.07, "2026-07-01 12:00:00", -7 * time.Hour},
		{"Denver", 39.74, -104.99, "2026-07-01 12:00:00", -6 * time.Hour},
		{"St John's", 47.56, -52.71, "2026-01-01 12:00:00", -(3*time.Hour + 30*time.Minute)},
		{"Kiritimati", 1.87, -157.40, "2026-07-01 12:00:00", 14 * time.Hour},
		{"Novosibirsk before its change of 2016", 55.03, 82.92, "2015-07-01 12:00:00", 6 * time.Hour},
		{"Novosibirsk after it", 55.03, 82.92, "2017-07-01 12:00:00", 7 * time.Hour},
		{"the South Pole", -90, 0, "2026-07-01 12:00:00", 12 * time.Hour},
	} {
		p := at(tt.lat, tt.lon).Position
		got, err := civilOffsets(p, 0, wall(tt.clock))
		if err != nil || len(got) != 1 || got[0].offset != tt.want {
			t.Errorf("%s: %v, %v, want %v", tt.place, got, err, tt.want)
		}
	}
	// Anywhere, at the edges of the map too: an answer or an error, no panic.
	for lat := -90.0; lat <= 90; lat += 15 {
		for lon := -180.0; lon <= 180; lon += 30 {
			civils, _ := civilOffsets(at(lat, lon).Position, 1000, wall("2026-07-01 12:00:00"))
			for _, c := range civils {
				if c.offset < -12*time.Hour || c.offset > 14*time.Hour {
					t.Errorf("%v, %v: %v", lat, lon, c)
				}
			}
		}
	}
}

func TestResolvePosition(t *testing.T) {
	pan := at(-20.6142, 25.4310).Position
	camp := at(-20.5, 25.5).Position
	five := 5.0
	for _, tt := range []struct {
		name    string
		facts   Facts
		options PositionOptions
		want    geo.Position
		source  string
		sigmaKM float64
		height  float64
	}{
		{"option before GPS", Facts{GPS: &pan, AltitudeMetres: 900}, PositionOptions{Position: &camp},
			camp, PositionFromOption, SigmaPositionOptionKM, 0},
		// A whole degree: 111.2 / sqrt(12) = 32.1 km.
		{"option to the degree", Facts{}, PositionOptions{Position: &camp, Resolution: angle.Degree},
			camp, PositionFromOption, math.Hypot(1, 32.1), 0},
		{"option with a sigma", Facts{}, PositionOptions{Position: &camp, Resolution: angle.Degree, SigmaKM: &five},
			camp, PositionFromOption, 5, 0},
		{"GPS", Facts{GPS: &pan, AltitudeMetres: 900}, PositionOptions{},
			pan, PositionFromGPS, SigmaPositionGPSKM, 900},
		{"GPS with its error", Facts{GPS: &pan, GPSErrorMetres: 4.7}, PositionOptions{},
			pan, PositionFromGPS, 0.0047, 0},
		{"GPS with a sigma", Facts{GPS: &pan, GPSErrorMetres: 4.7}, PositionOptions{SigmaKM: &five},
			pan, PositionFromGPS, 5, 0},
	} {
		got, err := ResolvePosition(tt.facts, tt.options)
		if err != nil || got.Position != tt.want || got.Source != tt.source || got.ElevationMetres != tt.height ||
			math.Abs(got.SigmaKM-tt.sigmaKM) > 1e-4*tt.sigmaKM { // the digits of 32.1
			t.Errorf("%s: %+v, %v", tt.name, got, err)
		}
	}
	if got, err := ResolvePosition(Facts{}, PositionOptions{}); fault.Code(err) != "no_position" {
		t.Errorf("no position: %v, %v", got, err)
	}
}

func TestNotedAt(t *testing.T) {
	minute, second := time.Date(2026, 3, 14, 9, 26, 0, 0, time.UTC), time.Date(2026, 3, 14, 9, 26, 53, 0, time.UTC)
	ten := 10 * time.Second
	for _, tt := range []struct {
		at    time.Time
		given *time.Duration
		want  time.Duration // 0: the default's
	}{
		{minute, nil, time.Duration(60e9 / math.Sqrt(12))}, {second, nil, 0}, {minute, &ten, ten},
	} {
		got := TimeOptions{Sigma: tt.given}.NotedAt(tt.at)
		switch {
		case !got.At.Equal(tt.at):
			t.Errorf("%v became %v", tt.at, got.At)
		case tt.want == 0 && got.Sigma != nil, tt.want != 0 && (got.Sigma == nil || (*got.Sigma-tt.want).Abs() > time.Millisecond):
			t.Errorf("%v: sigma %v, want %v", tt.at, got.Sigma, tt.want)
		}
	}
}
