package photo

import (
	"slices"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
)

// Offsets by the laws that the IANA time zone database collects: the zone's name stands
// beside each. "Far" are those that a flipped digit or sign makes of a sound one.
func TestOffsetNotLocal(t *testing.T) {
	for _, tt := range []struct {
		name     string
		lat, lon float64
		clock    string // what the camera's clock read
		offset   string
		stated   bool
		far      bool
	}{
		{"Africa/Gaborone", -20.6142, 25.4310, "2026-03-14T09:26:53", "+02:00", false, false},
		{"its sign flipped", -20.6142, 25.4310, "2026-03-14T09:26:53", "-02:00", false, true},
		{"its digit flipped", -20.6142, 25.4310, "2026-03-14T09:26:53", "+06:00", false, true},
		{"by an hour", -20.6142, 25.4310, "2026-03-14T09:26:53", "+03:00", false, true},
		{"said with the wrong sign", -20.6142, 25.4310, "2026-03-14T09:26:53", "-02:00", true, true},
		{"UTC, said", -20.6142, 25.4310, "2026-03-14T09:26:53", "+00:00", true, false},
		{"Asia/Kathmandu", 27.7, 85.3, "2026-03-14T09:26:53", "+05:45", false, false},
		{"its neighbour Asia/Kolkata", 27.7, 85.3, "2026-03-14T09:26:53", "+05:30", false, false},
		{"Asia/Shanghai in the west", 39.5, 76.0, "2026-03-14T09:26:53", "+08:00", false, false},
		{"Asia/Urumqi beside it", 43.8, 87.6, "2026-03-14T09:26:53", "+06:00", false, false},
		{"Europe/Berlin in summer", 52.5, 13.4, "2026-07-14T09:26:53", "+02:00", false, false},
		{"the same, left on standard time", 52.5, 13.4, "2026-07-14T09:26:53", "+01:00", false, false},
		{"the same in winter", 52.5, 13.4, "2026-01-14T09:26:53", "+01:00", false, false},
		{"Europe/London is not near it", 52.5, 13.4, "2026-01-14T09:26:53", "+00:00", false, true},
		{"Australia/Darwin", -23.7, 133.9, "2026-03-14T09:26:53", "+09:30", false, false},
		{"its sign flipped too", -23.7, 133.9, "2026-03-14T09:26:53", "-09:30", true, true},
		{"Etc/GMT+2, open sea", 25, -35, "2026-03-14T09:26:53", "-02:00", false, false},
		{"the strip beside it", 25, -35, "2026-03-14T09:26:53", "-03:00", false, false},
		{"far over the sea", 25, -35, "2026-03-14T09:26:53", "+02:00", false, true},
		{"Pacific/Kiritimati", 1.87, -157.4, "2026-03-14T09:26:53", "+14:00", false, false},
		{"near the pole", 88, 40, "2026-07-14T09:26:53", "-07:00", false, false},
		{"a station in the south", -77.8, 166.7, "2026-01-14T09:26:53", "-04:00", false, false},
	} {
		clock, err := time.Parse("2006-01-02T15:04:05", tt.clock)
		if err != nil {
			t.Fatal(err)
		}
		offset, err := geo.ParseOffset(tt.offset)
		if err != nil {
			t.Fatal(err)
		}
		place := &Place{Position: geo.Position{Lat: angle.FromDegrees(tt.lat), Lon: angle.FromDegrees(tt.lon)}, SigmaKM: 1}
		far := func(in Instant, err error) bool {
			if err != nil {
				t.Fatalf("%s: %v", tt.name, err)
			}
			return slices.ContainsFunc(in.Warnings, func(w Warning) bool { return w.Code == "offset_not_local" })
		}
		facts := Facts{Clock: clock, ClockOffset: &offset}
		var o TimeOptions
		if tt.stated {
			facts.ClockOffset, o.UTCOffset = nil, &offset
			at := clock.Add(-offset)
			if far(ResolveTime(Facts{}, place, TimeOptions{At: &at, UTCOffset: &offset})) != tt.far {
				t.Errorf("%s: as a time, warns: %v", tt.name, !tt.far)
			}
		}
		if far(ResolveTime(facts, place, o)) != tt.far {
			t.Errorf("%s: warns: %v", tt.name, !tt.far)
		}
		if far(ResolveTime(facts, nil, o)) {
			t.Errorf("%s: warns of it without a place", tt.name)
		}
	}
}

// The coarse map passes what is sound, so that a photo need not wait for the whole one.
func BenchmarkKeptNearby(b *testing.B) {
	for b.Loop() {
		if !keptNearby(geo.Position{Lat: -0.36, Lon: 0.444}, time.Date(2026, 3, 14, 9, 0, 0, 0, time.UTC), 2*time.Hour) {
			b.Fatal("not kept")
		}
	}
}

// Civil times far from the sun's (from memory) pass, a flipped sign does not.
func TestNearTheSun(t *testing.T) {
	for _, tt := range []struct {
		lat, lon, hours float64
		want            bool
	}{
		{-22.9, 22.3, 2, true}, {-22.9, 22.3, -2, false}, {39.5, 74, 8, true}, {42.2, -8.8, 2, true}, {1.9, -157.4, 14, true}, {-44, -176.6, 13.75, true},
		{48, 66.8, 5, true}, {48, 66.8, -5, false}, {64, -22, 0, true}, {-33, -70, -3, true}, {-33, -70, 4, false}, {65, -168, -8, true},
	} {
		p := geo.Position{Lat: angle.FromDegrees(tt.lat), Lon: angle.FromDegrees(tt.lon)}
		if got := nearTheSun(p, time.Duration(tt.hours*float64(time.Hour))); got != tt.want {
			t.Errorf("%v at %+g h: %v", p, tt.hours, got)
		}
	}
}
