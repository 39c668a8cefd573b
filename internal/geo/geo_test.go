package geo

import (
	"math"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
)

// 27.5916 N 86.5640 E, 40 N 075 W and 50 40 46 N 95 48 26 W are the sample points
// of ISO 6709 (from memory); the rest follows from the definition of the minute
// and second of arc, 1/60 and 1/3600 degree, worked by hand.
func TestParsePosition(t *testing.T) {
	const tolerance = 1e-9 // degrees: 0.1 mm on the ground, far above float rounding
	for _, tt := range []struct {
		in       string
		lat, lon float64 // degrees
		echo     string
	}{
		{"-20.6142,25.4310", -20.6142, 25.4310, "20.6142 S 25.4310 E"},
		{" -20.6142 , 25.4310 ", -20.6142, 25.4310, "20.6142 S 25.4310 E"},
		{"-20.6142 25.4310", -20.6142, 25.4310, "20.6142 S 25.4310 E"},
		{"20.6142 S 25.4310 E", -20.6142, 25.4310, "20.6142 S 25.4310 E"},
		{"20.6142S,25.4310E", -20.6142, 25.4310, "20.6142 S 25.4310 E"},
		{"S20.6142 E25.4310", -20.6142, 25.4310, "20.6142 S 25.4310 E"},
		{"s 20.6142, e 25.4310", -20.6142, 25.4310, "20.6142 S 25.4310 E"},
		{"20 36.852 S, 25 25.86 E", -20.6142, 25.4310, "20.6142 S 25.4310 E"},
		{"20°36.852′S 25°25.860′E", -20.6142, 25.4310, "20.6142 S 25.4310 E"},
		{"-20 36.852, 25 25.86", -20.6142, 25.4310, "20.6142 S 25.4310 E"},
		{`20°36'51.12"S 25°25'51.6"E`, -20.6142, 25.4310, "20.6142 S 25.4310 E"},
		{"20º 36’ 51.12” S, 25º 25’ 51.6’’ E", -20.6142, 25.4310, "20.6142 S 25.4310 E"},
		{"20:36:51.12S 25:25:51.6E", -20.6142, 25.4310, "20.6142 S 25.4310 E"},
		{"−20 36 51.12,+25 25 51.6", -20.6142, 25.4310, "20.6142 S 25.4310 E"},
		{`50°40'46"N 95°48'26"W`, 50 + 40.0/60 + 46.0/3600, -(95 + 48.0/60 + 26.0/3600), "50.6794 N 95.8072 W"},
		{"40 N 075 W", 40, -75, "40.0000 N 75.0000 W"},
		{"27.5916,86.5640", 27.5916, 86.5640, "27.5916 N 86.5640 E"},
		{"-0 30,0 15 0", -0.5, 0.25, "0.5000 S 0.2500 E"},
		{"0,-180", 0, 180, "0.0000 N 180.0000 E"},
		{"-90,180", -90, 180, "90.0000 S 180.0000 E"},
		{"-0.00001,-179.99999", -0.00001, -179.99999, "0.0000 N 180.0000 E"},
	} {
		p, err := ParsePosition(tt.in)
		if err != nil {
			t.Errorf("ParsePosition(%q): %v", tt.in, err)
			continue
		}
		if math.Abs(p.Lat.Degrees()-tt.lat) > tolerance || math.Abs(p.Lon.Degrees()-tt.lon) > tolerance {
			t.Errorf("ParsePosition(%q) = %v, %v, want %v, %v", tt.in, p.Lat, p.Lon, tt.lat, tt.lon)
		}
		if got := p.String(); got != tt.echo {
			t.Errorf("ParsePosition(%q) echoes %q, want %q", tt.in, got, tt.echo)
		}
	}
}

func TestParsePositionRefuses(t *testing.T) {
	for _, in := range []string{
		"", " ", ",", "20", "20,", "20.5,30.5,1", "20,5 30,5", // comma as decimal sign
		"NaN,0", "Inf,0", "0,-inf", "1e1,2", "0x10,2", "1_0,2",
		"91,0", "-90.0001,0", "0,180.0001", "0,-181", "0,340",
		"-20.6 S,25 E", "+20.6N,25E", "-S20,E25", // sign and letter
		"20 N,25 N", "25 E,20 S", "20NS,25E", "N20N,25E", // letters astray
		"20 S,25", "20,25 E", // letter on one side only
		"20 60,0", "20 0 60,0", "20.5 30,0", "20 30.5 10,0", // minutes and decimals
		"20',30'", `20",30"`, "20°30,x", "20 36 25 25", "20 30 S", "--20,25", "+-20,25",
		"20 S 30 E 40", "1234,5", "1 2 3 4,5",
	} {
		p, err := ParsePosition(in)
		if fault.Code(err) != "bad_position" {
			t.Errorf("ParsePosition(%q) = %v, %v, want bad_position", in, p, err)
		}
	}
}

// A degree of longitude is as long as one of latitude times the cosine of the latitude.
func TestResolution(t *testing.T) {
	parallel := func(step angle.Angle, latitude float64) angle.Angle {
		return step * angle.Angle(angle.FromDegrees(latitude).Cos())
	}
	for _, tt := range []struct {
		in   string
		want angle.Angle
	}{
		{"-20,25.4", angle.Degree},
		{"-20.6142,25.4310", angle.Degree / 10000},
		{"-20.6142,25.4", parallel(angle.Degree/10, 20.6142)},
		{"89.99000,0", parallel(angle.Degree, 89.99)},
		{"20 36.852 S, 25 25.9 E", parallel(angle.Arcminute/10, 20+36.852/60)},
		{"20 36 51 S, 25 25 52 E", angle.Arcsecond},
		{"nowhere", 0},
	} {
		if got := Resolution(tt.in); math.Abs(float64(got/tt.want-1)) > 1e-12 && got != tt.want {
			t.Errorf("Resolution(%q) = %v, want %v", tt.in, got, tt.want)
		}
	}
}

// The forms are those of RFC 3339 section 5.6 and of the IANA time zone database.
func TestParseOffset(t *testing.T) {
	for _, tt := range []struct {
		in   string
		want time.Duration
	}{
		{"Z", 0}, {"z", 0}, {"0", 0}, {"+00:00", 0}, {"-00:00", 0},
		{"+02:00", 2 * time.Hour}, {"2", 2 * time.Hour}, {"02:00", 2 * time.Hour}, {" 2 ", 2 * time.Hour},
		{"-03:30", -210 * time.Minute}, {"-3.5", -210 * time.Minute}, {"−3:30", -210 * time.Minute},
		{"5.75", 345 * time.Minute}, {"+05:45", 345 * time.Minute}, // Kathmandu
		{"+14", 14 * time.Hour}, {"-12", -12 * time.Hour}, {"-0.5", -30 * time.Minute}, {"-00:30", -30 * time.Minute},
	} {
		got, err := ParseOffset(tt.in)
		if err != nil || got != tt.want {
			t.Errorf("ParseOffset(%q) = %v, %v, want %v", tt.in, got, err, tt.want)
		}
	}
	for _, in := range []string{"", "+", "x", "5.3", "+15:00", "-12:15", "+0200", "2:60", "2h", "1e1", "NaN", "--2", "+2:0", "0x2"} {
		if got, err := ParseOffset(in); fault.Code(err) != "bad_utc_offset" {
			t.Errorf("ParseOffset(%q) = %v, %v, want bad_utc_offset", in, got, err)
		}
	}
}

// The first five rows are the examples of RFC 3339 section 5.8 with the UTC that
// its text gives, except the leap second, which neither Go's clock nor any camera
// can show.
func TestParseTime(t *testing.T) {
	two := 2 * time.Hour
	for _, tt := range []struct {
		in     string
		offset *time.Duration
		want   string
	}{
		{"1985-04-12T23:20:50.52Z", nil, "1985-04-12T23:20:50.52Z"},
		{"1996-12-19T16:39:57-08:00", nil, "1996-12-20T00:39:57Z"},
		{"1937-01-01T12:00:27.87+00:20", nil, "1937-01-01T11:40:27.87Z"},
		{"1985-04-12t23:20:50.52z", nil, "1985-04-12T23:20:50.52Z"},
		{"1985-04-12 23:20:50.52Z", nil, "1985-04-12T23:20:50.52Z"},
		{"2026-03-14T09:26:53", &two, "2026-03-14T07:26:53Z"},
		{"2026-03-14T09:26:53+02:00", &two, "2026-03-14T07:26:53Z"},
		{"2024-02-29T00:00:00+14:00", nil, "2024-02-28T10:00:00Z"},
	} {
		got, err := ParseTime(tt.in, tt.offset)
		if err != nil || got.Format(time.RFC3339Nano) != tt.want {
			t.Errorf("ParseTime(%q) = %v, %v, want %s", tt.in, got, err, tt.want)
		}
	}
	for _, tt := range []struct {
		in     string
		offset *time.Duration
		code   string
	}{
		{"2026-03-14T09:26:53", nil, "no_utc_offset"},
		{"2026-03-14T09:26:53+03:00", &two, "offset_conflict"},
		{"", nil, "bad_time"},
		{"now", nil, "bad_time"},
		{"2026-02-29T00:00:00Z", nil, "bad_time"},
		{"2026-03-14T24:00:00Z", nil, "bad_time"},
		{"2026-03-14T09:26Z", nil, "bad_time"},
		{"2026-03-14T9:26:53Z", nil, "bad_time"},
		{"2026-03-14T09:26:53,5Z", nil, "bad_time"},
		{"14.03.2026 09:26:53", nil, "bad_time"},
		{"2026-03-14T09:26:53+99:00", nil, "bad_utc_offset"},
	} {
		if got, err := ParseTime(tt.in, tt.offset); fault.Code(err) != tt.code {
			t.Errorf("ParseTime(%q) = %v, %v, want %s", tt.in, got, err, tt.code)
		}
	}
}

func FuzzPosition(f *testing.F) {
	for _, s := range []string{
		"-20.6142,25.4310", "20°36.852′S 25°25.860′E", `20°36'51.12"S 25°25'51.6"E`, "S20 36.8 E25 25.9",
		"0,-180", "-0.00001,-179.99999", "NaN,Inf", "1e309,0", "20,5 30,5", "\xff,\x00", "90,180", "-S20,E25",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		p, err := ParsePosition(s)
		if err != nil {
			if fault.Code(err) != "bad_position" {
				t.Fatalf("%q: %v", s, err)
			}
			return
		}
		lat, lon := p.Lat.Degrees(), p.Lon.Degrees()
		if !(math.Abs(lat) <= 90+1e-12) || !(lon > -180-1e-12 && lon <= 180+1e-12) {
			t.Fatalf("%q is out of range: %v, %v", s, lat, lon)
		}
		if r := Resolution(s); !(r > 0) || r > angle.Degree {
			t.Fatalf("%q has resolution %v", s, r)
		}
		echo := p.String()
		q, err := ParsePosition(echo)
		if err != nil {
			t.Fatalf("%q echoes %q, which is refused: %v", s, echo, err)
		}
		const half = 0.5e-4 + 1e-9 // degrees: the echo's rounding
		if math.Abs(q.Lat.Degrees()-lat) > half || math.Abs((q.Lon-p.Lon).Signed().Degrees()) > half {
			t.Fatalf("%q = %v, but its echo %q = %v", s, p, echo, q)
		}
		if again := q.String(); again != echo {
			t.Fatalf("echo %q echoes %q", echo, again)
		}
	})
}

func FuzzTime(f *testing.F) {
	for _, s := range []string{
		"1985-04-12T23:20:50.52Z", "1996-12-19T16:39:57-08:00", "2026-03-14T09:26:53", "2026-03-14 09:26:53.000000001+05:45",
		"0000-01-01T00:00:00+14:00", "9999-12-31T23:59:59-12:00", "2026-02-29T00:00:00Z", "+02:00", "-3.5", "Z", "5.3", "\xff",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if d, err := ParseOffset(s); err == nil {
			if d < minOffset || d > maxOffset {
				t.Fatalf("offset %q = %v", s, d)
			}
			if again, err := ParseOffset(FormatOffset(d)); err != nil || again != d {
				t.Fatalf("offset %q = %v prints %q, which reads as %v, %v", s, d, FormatOffset(d), again, err)
			}
		}
		zero := time.Duration(0)
		at, err := ParseTime(s, &zero)
		if err != nil {
			return
		}
		if y := at.Year(); y < 0 || y > 9999 {
			return // an offset at either end of the calendar; RFC 3339 cannot print it
		}
		printed := at.Format(time.RFC3339Nano)
		if again, err := ParseTime(printed, nil); err != nil || !again.Equal(at) {
			t.Fatalf("time %q prints %q, which reads as %v, %v", s, printed, again, err)
		}
	})
}

// Half a step of the last digit is uniform over the step: its sigma is the step over the
// root of 12. A thousandth of a minute is 1.852 m, a hundredth of a degree 1111 m.
func TestWithRounding(t *testing.T) {
	for _, tt := range []struct {
		position string
		sigma    Metres
		want     float64
		coarse   bool
	}{
		{"20 36.852 S, 25 25.860 E", 20, 20.007, false},
		{"-20.61,25.43", 20, 321.9, true},
		{"-20.61,25.43", 1000, 1050.2, false},
	} {
		got, coarse := WithRounding(tt.position, tt.sigma)
		if math.Abs(float64(got)-tt.want) > tt.want/1000 || coarse != tt.coarse {
			t.Errorf("%s to %v m: %v m, %v; want %v m, %v", tt.position, float64(tt.sigma), float64(got), coarse, tt.want, tt.coarse)
		}
	}
}
