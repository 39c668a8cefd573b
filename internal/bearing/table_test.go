package bearing

import (
	"encoding/json"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
)

func TestTable(t *testing.T) {
	from := instant(t, "2026-09-07T03:00:00+02:00")
	p := position(-20.6142, 25.431)
	keys := []string{"body", "time_utc", "azimuth_deg", "altitude_deg", "altitude_airless_deg",
		"azimuth_rate_deg_per_hour", "shadow_direction_deg", "shadow_length_mm"}
	for _, tt := range []struct {
		body Body
		rod  float64
		keys []string
	}{
		{Sun, 50, keys},
		{Sun, 0, keys},
		{Moon, 50, append(slices.Clone(keys), "light_azimuth_deg", "lit_fraction")},
	} {
		rows, err := Table(tt.body, from, from.Add(24*time.Hour), 30*time.Minute, p, 905, tt.rod)
		if err != nil {
			t.Fatal(err)
		}
		if len(rows) != 49 { // both ends of a day by half hours
			t.Fatalf("%d rows, want 49", len(rows))
		}
		up := 0
		for i, row := range rows {
			line, err := json.Marshal(row)
			if err != nil {
				t.Fatal(err)
			}
			var got map[string]any
			if err := json.Unmarshal(line, &got); err != nil {
				t.Fatal(err)
			}
			for _, key := range tt.keys {
				if _, ok := got[key]; !ok {
					t.Errorf("%s lacks %s", line, key)
				}
			}
			if len(got) != len(tt.keys) || got["body"] != tt.body.String() || strings.Contains(string(line), "-0,") {
				t.Errorf("row %s", line)
			}
			if want := from.Add(time.Duration(i) * 30 * time.Minute).UTC().Format(time.RFC3339); got["time_utc"] != want {
				t.Errorf("time %v, want %v", got["time_utc"], want)
			}
			a, err := Observe(tt.body, row.TimeUTC, p, 905)
			if err != nil {
				t.Fatal(err)
			}
			if a.Altitude > 0 {
				up++
			}
			if (row.ShadowLengthMM != nil) != (a.Altitude > 0 && tt.rod > 0) || (row.ShadowDirectionDeg != nil) != (a.Altitude > 0) {
				t.Errorf("shadow of a light at %v: %s", a.Altitude, line)
			}
			if row.ShadowLengthMM != nil {
				// Half the last digit.
				if want := tt.rod / a.Altitude.Tan(); math.Abs(*row.ShadowLengthMM-want) > 0.00051 {
					t.Errorf("shadow %v mm, want %v", *row.ShadowLengthMM, want)
				}
			}
			if (a.DiscAzimuth - angle.FromDegrees(row.AzimuthDeg)).Signed().Abs() > 0.51e-6*angle.Degree {
				t.Errorf("azimuth %v, want %v", row.AzimuthDeg, a.DiscAzimuth)
			}
		}
		if up < 20 || up > 29 { // about half of a day, whatever the body
			t.Errorf("%v up in %d of 49 rows", tt.body, up)
		}
	}
}

func TestTableRefusals(t *testing.T) {
	at := instant(t, "2026-09-07T00:00:00Z")
	for _, tt := range []struct {
		name     string
		from, to time.Time
		step     time.Duration
		rod      float64
		code     string
	}{
		{"one instant", at, at, time.Hour, 0, ""},
		{"a step past the end", at, at.Add(time.Minute), time.Hour, 0, ""},
		{"backwards", at, at.Add(-1), time.Hour, 0, "bad_span"},
		{"no step", at, at.Add(time.Hour), 0, 0, "bad_step"},
		{"a step back", at, at.Add(time.Hour), -time.Minute, 0, "bad_step"},
		{"too many", at, at.Add(MaxRows * time.Second), time.Second, 0, "too_many_rows"},
		{"ages", at, time.Unix(1<<40, 0), time.Nanosecond, 0, "too_many_rows"},
		{"out of the years", instant(t, "2099-12-31T23:00:00Z"), instant(t, "2100-01-01T00:00:00Z"), time.Minute, 0, "time_out_of_range"},
		{"negative rod", at, at, time.Hour, -1, "bad_rod_height"},
		{"endless rod", at, at, time.Hour, math.Inf(1), "bad_rod_height"},
		{"rod not a number", at, at, time.Hour, math.NaN(), "bad_rod_height"},
	} {
		rows, err := Table(Sun, tt.from, tt.to, tt.step, position(0, 0), 0, tt.rod)
		if fault.Code(err) != tt.code {
			t.Errorf("%s: %v, want code %q", tt.name, err, tt.code)
		}
		if tt.code == "" && len(rows) != 1 {
			t.Errorf("%s: %d rows, want 1", tt.name, len(rows))
		}
	}
}

func TestRoundedBearingsStayBelow360(t *testing.T) {
	for _, tt := range []struct{ in, want float64 }{{359.9999996, 0}, {359.9999994, 359.999999}, {0, 0}, {12.3456784, 12.345678}} {
		if got := bearingDeg(angle.FromDegrees(tt.in)); got != tt.want {
			t.Errorf("%v rounds to %v, want %v", tt.in, got, tt.want)
		}
	}
}
