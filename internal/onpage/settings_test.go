package onpage

import (
	"encoding/json"
	"strings"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/photo"
)

func records(t testing.TB) (instrument, card string) {
	return string(readFile(t, "..", "..", "fixtures", "instrument", "board.toml")), string(readFile(t, "..", "..", "fixtures", "compass", "card.json"))
}

// lensRecord is of an invented camera.
const lensRecord = `schema = 1
[camera]
make = "Saltpan"
model = "S-1"
focal_length_mm = 4.25
focal_length_35mm = 26.0
width_px = 4000
height_px = 3000
[lens]
f_px = 3010.25
cx_px = 2010.5
cy_px = 1489.75
k1 = 0.05
k2 = -0.12
k3 = 0.055
p1 = 0.0004
p2 = -0.0007
[sigma]
f_px = 1.5
cx_px = 1.25
cy_px = 1.125
k1 = 0.001
k2 = 0.004
k3 = 0.005
p1 = 0.0001
p2 = 0.0002
[solution]
rms_px = 0.125
views = 8
solved = "2026-11-25"
`

// One fault costs no other field.
func TestFaultsOfSettings(t *testing.T) {
	board, card := records(t)
	a, _ := call[answered](t, "settings", object{"settings": object{
		"rod_height_mm": 5000, "course_deg": 58, "level_sigma_deg": 0.3, "utc_offset": "two", "print_scale": []float64{1, 2},
		"instrument": board, "deviation_card": card + "x", "lenses": []string{"?", lensRecord}, "tilt": object{"forward_deg": 90}, "horizon": object{},
		"stops": []object{{"name": "Well", "latitude_deg": -22.9, "longitude_deg": 22.3}}, "clock_error_s": 1e12, "position_form": "degrees_minutes",
	}}, nil)
	got := map[string]bool{}
	for _, f := range a.Faults {
		got[f.Field] = true
		if f.Code == "" || f.Message == "" || f.Hint == "" {
			t.Errorf("%+v", f)
		}
	}
	for _, field := range []string{"rod_height_mm", "utc_offset", "print_scale", "deviation_card", "lenses", "tilt", "clock_error_s"} {
		if !got[field] {
			t.Errorf("no fault of %s", field)
		}
		delete(got, field)
	}
	if len(got) > 0 {
		t.Errorf("faults of %v", got)
	}
	s := a.Set
	if s.RodHeightMM != 0 || s.CourseDeg == nil || *s.LevelSigmaDeg != 0.3 || s.UTCOffset != "" || s.PrintScale != nil || s.Instrument != board ||
		s.DeviationCard != "" || len(s.Lenses) != 1 || s.Tilt != nil || s.Horizon == nil || len(s.Stops) != 1 || s.ClockErrorS != nil {
		t.Errorf("understood as %+v", s)
	}
	shown := a.Shown
	if shown.Instrument == nil || !strings.Contains(*shown.Instrument, "proved 2026-") || len(shown.Lenses) != 1 || !strings.Contains(shown.Lenses[0], "Saltpan") || shown.Card != nil || shown.Stops[0].Shown != "22°54.0' S 022°18.0' E" {
		t.Errorf("shown %+v", shown)
	}
	// No heading comes of half of what was said.
	r, _ := call[answered](t, "number", withNow(object{"settings": object{"rod_height_mm": 5000}, "number_deg": 1, "place": object{"source": "hand"}}), nil)
	if r.Error == nil || r.Error.Code != "bad_settings" {
		t.Errorf("%+v", r)
	}
	// What was understood is understood again, without a fault.
	text, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	var again object
	if err := json.Unmarshal(text, &again); err != nil {
		t.Fatal(err)
	}
	if b, _ := call[answered](t, "settings", object{"settings": again}, nil); len(b.Faults) > 0 {
		t.Errorf("again: %+v", b.Faults)
	}
}

// Files are told by their content.
func TestOpenSettings(t *testing.T) {
	board, card := records(t)
	journey := `{"shadowread_settings": 1, "journey": "pan", "rod_height_mm": 50, "utc_offset": "+02:00", "level_sigma_deg": 0.5,
"cameras": [{"camera": "S-1", "clock_error_s": 12, "lens": ` + quote(lensRecord) + `}], "stops": [{"name": "Well", "latitude_deg": -22.9, "longitude_deg": 22.3}],
"position": {"latitude_deg": -22.8, "longitude_deg": 22.4, "sigma_km": 0.3, "time_utc": "2026-08-29T06:00:00Z"}}`
	kept := object{"course_deg": 58.0, "lenses": []string{strings.ReplaceAll(lensRecord, "3010.25", "3000.0")}}
	for name, text := range map[string]string{"instrument": board, "card": card, "lens": lensRecord, "journey": journey, "journey with a mark": "\ufeff" + journey} {
		a, _ := call[answered](t, "open_settings", object{"settings": kept, "text": text}, nil)
		if a.Error != nil || len(a.Faults) > 0 {
			t.Errorf("%s: %+v %+v", name, a.Error, a.Faults)
			continue
		}
		s, shown := a.Set, a.Shown
		if s.CourseDeg == nil || len(s.Lenses) != 1 {
			t.Errorf("%s: what was kept is lost: %+v", name, s)
		}
		ok := false
		switch name {
		case "instrument":
			ok = s.Instrument == board && shown.Instrument != nil
		case "card":
			ok = s.DeviationCard == card && shown.Card != nil
		case "lens":
			ok = s.Lenses[0] == lensRecord // in the place of the older one
		default:
			ok = s.Journey == "pan" && s.RodHeightMM == 50 && len(shown.Stops) == 1 && len(shown.Lenses) == 2 && shown.Position != nil && *shown.Journey == "pan"
		}
		if !ok {
			t.Errorf("%s: %+v, shown %+v", name, s, shown)
		}
	}
}

// A tilt was measured of one board, where it stood: with another instrument or journey it goes,
// with the horizon of those places.
func TestTiltOfAnother(t *testing.T) {
	board, _ := records(t)
	other := strings.Replace(board, "\n", "\n# another\n", 1)
	journey := func(name string) string { return `{"shadowread_settings": 1, "journey": "` + name + `"}` }
	for _, tt := range []struct {
		name, instrument, journey, opened string
		tilt, horizon                     bool // that stay
	}{
		{"the first instrument", "", "pan", board, true, true},
		{"the same instrument", board, "pan", board, true, true},
		{"another instrument", board, "pan", other, false, true},
		{"the first journey", board, "", journey("pan"), true, true},
		{"the same journey", board, "pan", journey("pan"), true, true},
		{"another journey", board, "pan", journey("tundra"), false, false},
	} {
		kept := object{"instrument": tt.instrument, "journey": tt.journey, "tilt": object{"forward_deg": 1, "starboard_deg": 0}, "horizon": object{}}
		a, _ := call[answered](t, "open_settings", object{"settings": kept, "text": tt.opened}, nil)
		if a.Error != nil || len(a.Faults) > 0 || (a.Set.Tilt != nil) != tt.tilt || (a.Set.Horizon != nil) != tt.horizon {
			t.Errorf("%s: %+v %+v, tilt %v, horizon %v", tt.name, a.Error, a.Faults, a.Set.Tilt, a.Set.Horizon)
		}
	}
}

func quote(s string) string { out, _ := json.Marshal(s); return string(out) }

// The clock of a journey's camera is told by its photos, this device's serves else.
func TestClockErrorOfACamera(t *testing.T) {
	var s Settings
	if err := json.Unmarshal([]byte(`{"clock_error_s": 3, "cameras": [{"camera": "Saltpan S-1", "clock_error_s": 12}, {"camera": "S-3", "clock_error_s": null}]}`), &s); err != nil {
		t.Fatal(err)
	}
	k := understand(s)
	// Of a camera of the journey that was held against no other clock nothing is known.
	if got := k.clockError(photo.Facts{Make: "Saltpan", Model: "S-3"}); got != nil {
		t.Errorf("a clock that nobody checked has the error %v", got)
	}
	for model, want := range map[string]float64{"S-1": 12, "S-2": 3, "": 3} {
		if got := k.clockError(photo.Facts{Make: "Saltpan", Model: model}); got == nil || got.Seconds() != want {
			t.Errorf("%q: %v, want %v s", model, got, want)
		}
	}
	if k := understand(Settings{}); k.clockError(photo.Facts{}) != nil {
		t.Error("a clock of which nothing is known has an error")
	}
}

// A record counts as with the command; what is said goes before it.
func TestInstrumentOfSettings(t *testing.T) {
	board, _ := records(t)
	k := understand(Settings{})
	if o := k.options(); !o.Unsaid || o.Instrument != nil || o.Lenses != nil {
		t.Errorf("nothing said: %+v", o)
	}
	var s Settings
	s.Instrument = board
	o := understand(s).options()
	if o.Instrument == nil || o.Rod.HeightMM != o.Instrument.HeightMM || !o.Unsaid {
		t.Errorf("the record: %+v", o)
	}
	level := 1.25
	s.LevelSigmaDeg, s.RodHeightMM = &level, 61
	o = understand(s).options()
	if o.Instrument.LevelSigma != angle.FromDegrees(1.25) || o.Rod.HeightMM != 61 || o.Unsaid {
		t.Errorf("said: %+v", o)
	}
}
