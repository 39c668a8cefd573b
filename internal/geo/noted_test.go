package geo

import (
	"testing"
	"time"

	"shadowread/internal/fault"
)

func TestParseNoted(t *testing.T) {
	two := 2 * time.Hour
	now := time.Date(2026, 3, 13, 22, 30, 0, 0, time.UTC) // 00:30 on the 14th at +02:00
	for _, tt := range []struct {
		in           string
		offset       *time.Duration
		want         string
		minutes, day bool
	}{
		{"2026-03-14T09:26:53+02:00", nil, "2026-03-14T07:26:53Z", false, false},
		{"2026-03-14T09:26+02:00", nil, "2026-03-14T07:26:00Z", true, false},
		{"2026-03-14 9:26", &two, "2026-03-14T07:26:00Z", true, false},
		{"2026-03-14T09:26Z", nil, "2026-03-14T09:26:00Z", true, false},
		{"2026-03-14", &two, "2026-03-14T10:00:00Z", false, true},
		{"09:26", &two, "2026-03-14T07:26:00Z", true, false},
		{"9:26:53", &two, "2026-03-14T07:26:53Z", false, false},
		{"23:10Z", nil, "2026-03-13T23:10:00Z", true, false},
		{"09:26+02:00", &two, "2026-03-14T07:26:00Z", true, false},
	} {
		got, err := ParseNoted(tt.in, tt.offset, now)
		if err != nil || got.Time.Format(time.RFC3339Nano) != tt.want || got.Minutes != tt.minutes || got.Day != tt.day {
			t.Errorf("ParseNoted(%q) = %+v, %v, want %s", tt.in, got, err, tt.want)
		}
	}
	for _, tt := range []struct {
		in     string
		offset *time.Duration
		now    time.Time
		code   string
	}{
		{"09:26", &two, time.Time{}, "bad_time"}, // in a file there is no today
		{"09:26", nil, now, "no_utc_offset"},
		{"2026-03-14", nil, now, "no_utc_offset"},
		{"2026-03-14T09:26", nil, now, "no_utc_offset"},
		{"2026-03-14T09:26+03:00", &two, now, "offset_conflict"},
		{"2026-02-29", &two, now, "bad_time"},
		{"25:00", &two, now, "bad_time"},
		{"9.26", &two, now, "bad_time"},
		{"2026-03-14+02:00", nil, now, "bad_time"},
		{"", &two, now, "bad_time"},
		{"noon", &two, now, "bad_time"},
	} {
		if got, err := ParseNoted(tt.in, tt.offset, tt.now); fault.Code(err) != tt.code {
			t.Errorf("ParseNoted(%q) = %+v, %v, want %s", tt.in, got, err, tt.code)
		}
	}
}

// What ParseTime reads is read alike.
func FuzzNoted(f *testing.F) {
	for _, s := range []string{"2026-03-14T09:26:53+02:00", "2026-03-14 09:26", "9:26Z", "2026-03-14"} {
		f.Add(s)
	}
	zero := time.Duration(0)
	f.Fuzz(func(t *testing.T, s string) {
		strict, err := ParseTime(s, &zero)
		noted, also := ParseNoted(s, &zero, time.Date(2026, 3, 14, 0, 0, 0, 0, time.UTC))
		if err == nil && (also != nil || !noted.Time.Equal(strict)) {
			t.Fatalf("%q is %v, and noted %+v (%v)", s, strict, noted, also)
		}
	})
}
