package logbook

import (
	"os"
	"path/filepath"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
)

// oldLog returns a copy of a log that the program wrote while it kept what the work-up
// had in hand (schema version 1), from fixtures/journey/paper.csv with a leg, a halt and
// a correction after it.
func oldLog(t *testing.T) string {
	t.Helper()
	data, err := os.ReadFile("testdata/version-1.db")
	if err != nil {
		t.Fatal(err)
	}
	dir, err := os.MkdirTemp("", "old-log-") // may be opened to others, as t.TempDir may not
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.Chmod(dir, 0o755); os.RemoveAll(dir) })
	path := filepath.Join(dir, "log.db")
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// atOldPlaces holds a log against what the program that wrote it said of it ("log where"
// and "log list"), to the last digit printed, a tenth of a metre.
func atOldPlaces(t *testing.T, path string) {
	t.Helper()
	ctx := t.Context()
	l, err := Open(ctx, path, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	place := func(lat, lon float64) geo.Position {
		return geo.Position{Lat: angle.FromDegrees(lat), Lon: angle.FromDegrees(lon)}
	}
	w, err := l.Where(ctx, 0)
	if err != nil {
		t.Fatal(err)
	}
	if d := apartMetres(t, w.Estimate.Position, place(-23.172762, 22.600045)); d > 0.1 || w.Estimate.Time.Format("15:04") != "07:30" {
		t.Errorf("the log is %.1f m from where it was, at %v", d, w.Estimate.Time)
	}
	track, err := l.WorkUp(ctx, 0)
	if err != nil {
		t.Fatal(err)
	}
	want := []geo.Position{place(-22.9, 22.3), place(-22.9, 22.3), place(-22.842189, 22.399868), place(-22.842189, 22.399868),
		place(-22.814216, 22.447546), place(-22.814216, 22.447546), place(-22.881707, 22.570644), place(-22.915320, 22.635109),
		place(-23.050700, 22.650700), place(-23.050700, 22.650700), place(-23.172762, 22.600045)}
	if len(track.Points) != len(want) {
		t.Fatalf("%d entries, want %d", len(track.Points), len(want))
	}
	for i, p := range track.Points {
		if d := apartMetres(t, p.At.Adjusted, want[i]); d > 0.1 {
			t.Errorf("entry %d is %.1f m from where it was", p.Entry.Number, d)
		}
	}
	r, err := l.Check(ctx)
	if err != nil || !r.OK() || r.Entries != 12 {
		t.Errorf("%v, %+v", err, r)
	}
}

func TestAnOldLogGivesTheSamePlaces(t *testing.T) {
	path := oldLog(t)
	atOldPlaces(t, path)
	l := open(t, path)
	r, err := l.Check(t.Context())
	if err != nil || r.Schema != 3 {
		t.Errorf("%v, the log is of version %d", err, r.Schema)
	}
	must(t)(l.Halt(t.Context(), At{Time: morning.AddDate(1, 0, 0)}, Halt{km("88195.0")}))
}

// What an old log kept for speed was believed, altered or emptied: it put the journey at
// 0 N 0 E in the year 1.
func TestWhatAnOldLogKeptIsNotBelieved(t *testing.T) {
	for _, meddle := range []string{
		"UPDATE states SET state = '{}'",
		"UPDATE states SET state = replace(state, ':-0.4', ':-0.3')",
		"DELETE FROM states",
	} {
		path := oldLog(t)
		if err := raw(t, path, meddle); err != nil {
			t.Fatal(err)
		}
		atOldPlaces(t, path)
	}
}

func TestALogOfANewerVersionSaysSo(t *testing.T) {
	path := written(t)
	if err := raw(t, path, "PRAGMA user_version = 99"); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), path, Options{}); fault.Code(err) != "log_too_new" {
		t.Errorf("opened: %v", err)
	}
}
