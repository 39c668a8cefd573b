//go:build !js

package onpage

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/logimport"
)

// An invented morning: two legs by photos, one by a number, one refused, a heading by the way.
func morning(t *testing.T) []object {
	t.Helper()
	var kept []object
	for i, name := range []string{"01-leaving-camp.jpg", "02-second-truck.jpg", "07-rod-hides-shadow.jpg"} {
		a, _ := call[answered](t, "read", withNow(object{"name": name, "chosen": "album", "settings": object{"rod_height_mm": 50}}), readFile(t, demo, name))
		kept = append(kept, object{"id": name, "kind": "leg", "photo": name, "photo_sha256": a.SHA256, "reading": a.Reading, "odometer": []string{"45210.0", "45231.5", "45400.0"}[i]})
	}
	at := time.Date(2026, 8, 29, 9, 0, 0, 0, time.UTC)
	a, _ := call[answered](t, "number", withNow(object{"device_now_ms": millis(at), "number_deg": 20, "place": object{"source": "hand", "latitude_deg": -22.9, "longitude_deg": 22.5}}), nil)
	kept = append(kept, object{"id": "n", "kind": "leg", "reading": a.Reading, "odometer": "45250.25", "odometer_unit": "km", "note": "by eye,\nin \"haste\""})
	b, _ := call[answered](t, "number", withNow(object{"device_now_ms": millis(at.Add(time.Hour)), "number_deg": 30, "place": object{"source": "hand", "latitude_deg": -22.9, "longitude_deg": 22.5}}), nil)
	return append(kept, object{"id": "h", "kind": "heading", "reading": b.Reading})
}

// entered is what an import added.
type entered struct {
	logimport.Imported
	Added []logbook.Added
}

func imported(t *testing.T, book *logbook.Log, text string) (done entered) {
	t.Helper()
	var err error
	done.Imported, err = logimport.Paper{CSV: strings.NewReader(text), Name: "readings.csv", Progress: func(a logbook.Added) { done.Added = append(done.Added, a) }}.Import(context.Background(), book)
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	return done
}

func begun(t *testing.T) *logbook.Log {
	t.Helper()
	ctx := context.Background()
	book, err := logbook.Open(ctx, filepath.Join(t.TempDir(), "log.db"), logbook.Options{Create: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { book.Close() })
	o, err := logbook.ParseOdometer("45200.0", logbook.Kilometres)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := book.Begin(ctx, logbook.At{Time: time.Date(2026, 8, 29, 5, 0, 0, 0, time.UTC)}, logbook.Departure{Position: geo.Position{Lat: -22.9 * angle.Degree, Lon: 22.3 * angle.Degree}, Sigma: 15, Odometer: &o}); err != nil {
		t.Fatal(err)
	}
	return book
}

// What the page hands over the log takes, once however often, and more when the file has grown.
func TestEntriesGoIntoTheLog(t *testing.T) {
	kept := morning(t)
	text := func(kept []object, as string) string {
		a, _ := call[answered](t, "entries", object{"kept": kept, "as": as}, nil)
		if a.Error != nil {
			t.Fatalf("%+v", a.Error)
		}
		return a.Text
	}
	book := begun(t)
	first, whole := text(kept[:2], "legs"), text(kept, "legs")
	if done := imported(t, book, first); len(done.Added) != 2 {
		t.Errorf("%d of 2 entered", len(done.Added))
	}
	if done := imported(t, book, first); len(done.Added) != 0 || done.Already != 2 {
		t.Errorf("a second time: %d entered, %d there already", len(done.Added), done.Already)
	}
	done := imported(t, book, whole)
	if len(done.Added) != 3 || done.Already != 2 || len(done.NeedHeading) != 1 {
		t.Errorf("grown: %d entered, %d there already, %d want a heading", len(done.Added), done.Already, len(done.NeedHeading))
	}
	if done := imported(t, book, whole); len(done.Added) != 0 || done.Already != 5 {
		t.Errorf("grown, a second time: %d entered", len(done.Added))
	}
	for _, a := range done.Added {
		if leg, ok := a.Entry.Content.(*logbook.Leg); ok && leg.Reading != nil {
			if got := leg.Reading.Heading.Degrees(); leg.How != logbook.ByNumber || leg.Reading.Body == nil || !(leg.Reading.Level > 0) || got <= 0 {
				t.Errorf("entered as %+v", leg)
			}
		}
	}
	// The same readings beside the way.
	notes := begun(t)
	as := text(kept, "headings")
	if done := imported(t, notes, as); len(done.Added) != 4 {
		t.Errorf("%d of 4 headings noted\n%s", len(done.Added), as)
	}
	if done := imported(t, notes, as); len(done.Added) != 0 {
		t.Errorf("a second time: %d noted", len(done.Added))
	}
}

// The leg that came by the page is the one that the log makes of the photo itself.
func TestEntryIsTheReading(t *testing.T) {
	kept := morning(t)[:1]
	a, _ := call[answered](t, "entries", object{"kept": kept, "as": "legs"}, nil)
	book := begun(t)
	done := imported(t, book, a.Text)
	leg := done.Added[0].Entry.Content.(*logbook.Leg)
	r := kept[0]["reading"].(object)
	near := func(a angle.Angle, key any) bool {
		return (a.Degrees()-key.(float64)) < 1e-6 && (key.(float64)-a.Degrees()) < 1e-6
	}
	budget := r["error_budget_deg"].(object)
	if leg.How != logbook.ByPhoto || leg.Photo == nil || leg.Photo.SHA256 != kept[0]["photo_sha256"] || !near(leg.Reading.Heading, r["heading_true_deg"]) || !near(leg.Reading.Sigma, r["heading_sigma_deg"]) ||
		!near(leg.Reading.Level, budget["level"]) || !near(leg.Reading.Position, budget["position"]) || !near(leg.Reading.Body.Azimuth, r["body_azimuth_deg"]) {
		out, _ := json.Marshal(leg)
		t.Errorf("%s\nof %v", out, r)
	}
}

func TestEntriesWantAnOdometer(t *testing.T) {
	kept := morning(t)
	for name, change := range map[string]object{
		"no_odometer": {"odometer": ""}, "bad_odometer": {"odometer": "about 45,000"}, "bad_kept": {"reading": object{"status": "ok", "time_utc": "noon", "heading_true_deg": 1, "heading_sigma_deg": 1}},
	} {
		one := object{}
		for k, v := range kept[0] {
			one[k] = v
		}
		for k, v := range change {
			one[k] = v
		}
		if a, _ := call[answered](t, "entries", object{"kept": []object{one}, "as": "legs"}, nil); a.Error == nil || a.Error.Code != name {
			t.Errorf("%s: %+v %s", name, a.Error, a.Text)
		}
	}
}

// A note is no formula to a spreadsheet (OWASP, "CSV Injection"), and in the log it is what was
// written.
func TestNotesAreNoFormulas(t *testing.T) {
	kept := morning(t)[:1]
	for _, note := range []string{"=1+1", "-5 by the tyres, \"soft\"", "@camp", "+three", "'=quoted", "plain, with a comma"} {
		kept[0]["note"] = note
		a, _ := call[answered](t, "entries", object{"kept": kept, "as": "legs"}, nil)
		rows, err := csv.NewReader(strings.NewReader(a.Text)).ReadAll()
		if err != nil || len(rows) != 2 {
			t.Fatal(err, a.Text)
		}
		for _, cell := range rows[1] {
			if cell != "" && strings.ContainsAny(cell[:1], "=+-@") {
				t.Errorf("%q goes out as %q", note, cell)
			}
		}
		if done := imported(t, begun(t), a.Text); len(done.Added) != 1 || done.Added[0].Entry.Note != note {
			t.Errorf("%q comes in as %q", note, done.Added[0].Entry.Note)
		}
	}
}
