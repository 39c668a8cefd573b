package settingsfile

import (
	"bytes"
	"reflect"
	"strings"
	"testing"
	"time"

	"shadowread/internal/fault"
)

// full is the settings of an invented journey with all that a file can hold.
func full() File {
	begun := time.Date(2026, 8, 29, 6, 5, 0, 0, time.UTC)
	return File{
		Version: Version, Journey: "two trucks over the pan", Begun: &begun,
		RodHeightMM: 50, UTCOffset: "+02:00", DistanceUnit: Kilometres, PositionForm: DegreesMinutes,
		SteeringSigmaDeg: 2, LevelSigmaDeg: new(0.5), LubberSigmaDeg: new(0.0), PrintScale: []float64{1, 0.995},
		Instrument:    "format = \"shadowread instrument\"\n",
		Cameras:       []Camera{{Camera: "front", ClockErrorS: new(-3.5), Lens: "format = \"shadowread lens\"\n"}, {Camera: "second phone", ClockErrorS: new(41.0)}},
		DeviationCard: "{}",
		Stops:         []Stop{{"well", -22.81, 22.45}, {"camp <north> & gate", -23.2, 22.36}},
		Position:      &Position{LatitudeDeg: -22.9, LongitudeDeg: 22.3, SigmaKM: 0.015, Time: begun},
	}
}

func TestThereAndBack(t *testing.T) {
	for _, f := range []File{full(), {Version: Version}} {
		text, err := f.Encode()
		if err != nil {
			t.Fatal(err)
		}
		if !Is(text) {
			t.Error("its own file is not known")
		}
		got, err := Parse(text)
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(*got, f) {
			t.Errorf("there %+v, back %+v", f, *got)
		}
	}
	if strings.Contains(string(must(t, full())), `\u003c`) {
		t.Error("a name is written as for a page of HTML")
	}
}

func must(t *testing.T, f File) []byte {
	t.Helper()
	text, err := f.Encode()
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func TestParseRefuses(t *testing.T) {
	for _, c := range []struct{ text, code, says string }{
		{"", "bad_settings", ""},
		{"format = \"shadowread instrument\"", "bad_settings", ""},
		{`{}`, "bad_settings", "shadowread_settings"},
		{`[]`, "bad_settings", ""},
		{`{"shadowread_settings": 2}`, "settings_version", "version 2"},
		{`{"shadowread_settings": 1} {}`, "bad_settings", ""},
		{`{"shadowread_settings": 1, "rod_hight_mm": 50}`, "bad_settings", "rod_hight_mm"},
		{`{"shadowread_settings": 1, "rod_height_mm": "50"}`, "bad_settings", "rod_height_mm"},
		{`{"shadowread_settings": 1, "rod_height_mm": -1}`, "bad_settings", "rod_height_mm"},
		{`{"shadowread_settings": 1, "utc_offset": "2"}`, "bad_settings", "utc_offset"},
		{`{"shadowread_settings": 1, "utc_offset": "+15:00"}`, "bad_settings", "utc_offset"},
		{`{"shadowread_settings": 1, "distance_unit": "m"}`, "bad_settings", "distance_unit"},
		{`{"shadowread_settings": 1, "position_form": "dms"}`, "bad_settings", "position_form"},
		{`{"shadowread_settings": 1, "print_scale": [1]}`, "bad_settings", "print_scale"},
		{`{"shadowread_settings": 1, "print_scale": [1, 1, 1]}`, "bad_settings", "print_scale"},
		{`{"shadowread_settings": 1, "print_scale": [1, 2]}`, "bad_settings", "print_scale"},
		{`{"shadowread_settings": 1, "stops": [{"name": "", "latitude_deg": 0, "longitude_deg": 0}]}`, "bad_settings", "stop 1"},
		{`{"shadowread_settings": 1, "stops": [{"name": "well", "latitude_deg": 91, "longitude_deg": 0}]}`, "bad_settings", "not on earth"},
		{`{"shadowread_settings": 1, "stops": [{"name": "a"}, {"name": "A"}]}`, "bad_settings", "twice"},
		{`{"shadowread_settings": 1, "cameras": [{"camera": "a", "clock_error_s": 1e9}]}`, "bad_settings", "clock_error_s"},
		{`{"shadowread_settings": 1, "journey": "a\nb"}`, "bad_settings", "name"},
		{`{"shadowread_settings": 1, "journey": "` + strings.Repeat("a", MaxName+1) + `"}`, "bad_settings", "name"},
		{`{"shadowread_settings": 1, "instrument": "` + strings.Repeat("a", MaxRecord+1) + `"}`, "bad_settings", "record"},
		{`{"shadowread_settings": 1, "begun_utc": "0001-01-01T00:00:00Z"}`, "bad_settings", "year"},
		{`{"shadowread_settings": 1, "position": {"latitude_deg": 1, "longitude_deg": 1, "sigma_km": 1}}`, "bad_settings", "year"},
		{"{\"shadowread_settings\": 1, \"journey\": \"\xff\"}", "bad_settings", "UTF-8"},
		{strings.Repeat(" ", MaxFile+1), "file_too_large", ""},
	} {
		_, err := Parse([]byte(c.text))
		if fault.Code(err) != c.code || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%.60q: %v (%s), want %s with %q", c.text, err, fault.Code(err), c.code, c.says)
		}
	}
}

// What is read can be written, and is then read as the same.
func FuzzParse(f *testing.F) {
	f.Add([]byte(`{"shadowread_settings": 1}`))
	text, err := full().Encode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Fuzz(func(t *testing.T, text []byte) {
		got, err := Parse(text)
		if err != nil {
			if fault.Code(err) == "" || fault.Hint(err) == "" {
				t.Fatalf("no code or hint: %v", err)
			}
			return
		}
		again, err := got.Encode()
		if err != nil {
			t.Fatalf("read and not written: %v", err)
		}
		back, err := Parse(again)
		if err != nil || !reflect.DeepEqual(got, back) {
			t.Fatalf("%v: %+v, then %+v", err, got, back)
		}
		twice, err := back.Encode()
		if err != nil || !bytes.Equal(again, twice) {
			t.Fatalf("%v: %s, then %s", err, again, twice)
		}
	})
}
