package onpage

import (
	"encoding/json"
	"testing"
	"time"
)

// bounded answers within a time that is far more than any answer takes, and never without
// an object.
func bounded(t *testing.T, name string, request, file []byte) {
	began := time.Now()
	answer, _ := program.Call(name, request, file, nil)
	if took := time.Since(began); took > 20*time.Second {
		t.Errorf("%s took %v: %.300s", name, took, request)
	}
	var out struct {
		Error *failure `json:"error"`
	}
	if err := json.Unmarshal(answer, &out); err != nil || out.Error != nil && (out.Error.Code == "" || out.Error.Code == "internal_error" || out.Error.Code == "error") {
		t.Fatalf("%s of %.300q: %s", name, request, answer)
	}
}

func seeds(f *testing.F, requests ...object) {
	for _, r := range requests {
		text, err := json.Marshal(r)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	f.Add([]byte("null"))
	f.Add([]byte("[]"))
}

var hand = object{"source": "hand", "latitude_deg": -22.9, "longitude_deg": 22.3, "sigma_km": 1}

func FuzzSettings(f *testing.F) {
	board, card := records(f)
	seeds(f, object{"settings": object{"rod_height_mm": 50, "instrument": board, "deviation_card": card, "lenses": []string{lensRecord}, "tilt": object{"forward_deg": 1}}},
		object{"settings": object{"stops": []object{{"name": "Well", "latitude_deg": 1, "longitude_deg": 2}}, "position_form": "degrees_minutes", "cameras": []object{{"camera": "a", "lens": lensRecord}}}})
	f.Fuzz(func(t *testing.T, request []byte) { bounded(t, "settings", request, nil) })
}

func FuzzOpenSettings(f *testing.F) {
	board, card := records(f)
	for _, text := range []string{board, card, lensRecord, `{"shadowread_settings":1,"rod_height_mm":50}`, "shadowread instrument"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		request, err := json.Marshal(object{"text": text})
		if err != nil {
			t.Skip()
		}
		bounded(t, "open_settings", request, nil)
	})
}

func FuzzNumber(f *testing.F) {
	seeds(f, withNow(object{"number_deg": 350, "place": hand, "settings": object{"course_deg": 58}}), withNow(object{"number_deg": 0, "stated_time": "08:12", "place": object{"source": "hand", "text": "22 54 S 22 18 E"}, "length_mm": 100, "settings": object{"rod_height_mm": 50}}))
	f.Fuzz(func(t *testing.T, request []byte) { bounded(t, "number", request, nil) })
}

func FuzzPlace(f *testing.F) {
	seeds(f, object{"place": hand}, object{"place": object{"source": "hand", "text": "22 54.0 S, 22 18.0 E"}, "settings": object{"position_form": "degrees_minutes"}})
	f.Fuzz(func(t *testing.T, request []byte) { bounded(t, "place", request, nil) })
}

func FuzzSteer(f *testing.F) {
	seeds(f, withNow(object{"course_deg": 58, "place": hand, "number_deg": 1}), withNow(object{"stop": "a", "place": hand, "settings": object{"stops": []object{{"name": "a"}}}}), withNow(object{"course_deg": 1, "place": object{"latitude_deg": 89.99}, "time_ms": 1}))
	f.Fuzz(func(t *testing.T, request []byte) { bounded(t, "steer", request, nil) })
}

func FuzzEntries(f *testing.F) {
	seeds(f, object{"as": "legs", "kept": []object{{"id": "a", "kind": "leg", "odometer": "1", "reading": object{"time_utc": "2026-08-29T06:12:31Z", "heading_true_deg": 1, "heading_sigma_deg": 1, "error_budget_deg": object{"level": 1}}}}})
	f.Fuzz(func(t *testing.T, request []byte) { bounded(t, "entries", request, nil) })
}

// The photo is what comes from outside; its pixels have fuzz targets of their own.
func FuzzRead(f *testing.F) {
	plain := readFile(f, "..", "photo", "testdata", "photos", "exif6.jpg")
	f.Add([]byte(`{"device_now_ms":1788000000000,"chosen":"album","file_modified_ms":1}`), plain)
	f.Add([]byte(`{"device_now_ms":1788000000000,"chosen":"camera","asked_ms":5,"file_modified_ms":1788000000000,"place":{"source":"device"},"overlay":true,"original":{"Width":1}}`), plain[:300])
	f.Fuzz(func(t *testing.T, request, file []byte) {
		bounded(t, "read", request, file)
		bounded(t, "facts", request, file)
	})
}
