package logbook

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
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

// A log of schema version 2 with all kinds of ways, among them those by which the odometer's
// thread was lost: a leg that set out from a halt by distance began to count at its reading.
func TestALogOfTheVersionBeforeGivesTheSamePlaces(t *testing.T) {
	data, err := os.ReadFile("testdata/version-2.db")
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "log.db")
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	l := open(t, path)
	said, err := os.ReadFile("testdata/version-2.txt")
	if err != nil {
		t.Fatal(err)
	}
	tracks, n := map[int]*Track{}, 0
	for line := range strings.Lines(string(said)) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		var journey, entry int
		var lat, lon, adjustedLat, adjustedLon, major float64
		if _, err := fmt.Sscan(line, &journey, &entry, &lat, &lon, &adjustedLat, &adjustedLon, &major); err != nil {
			t.Fatal(line, err)
		}
		if tracks[journey] == nil {
			if tracks[journey], err = l.WorkUp(t.Context(), journey); err != nil {
				t.Fatal(err)
			}
		}
		i := slices.IndexFunc(tracks[journey].Points, func(p Point) bool { return p.Entry.Number == entry })
		if i < 0 {
			t.Fatalf("entry %d of journey %d is gone", entry, journey)
		}
		p := tracks[journey].Points[i].At
		n++
		for _, x := range []struct {
			is       geo.Position
			lat, lon float64
		}{{p.Estimated, lat, lon}, {p.Adjusted, adjustedLat, adjustedLon}} {
			if d := apartMetres(t, x.is, geo.Position{Lat: angle.FromDegrees(x.lat), Lon: angle.FromDegrees(x.lon)}); d > 0.02 {
				t.Errorf("entry %d is %.2f m from where it was", entry, d)
			}
		}
		if is := float64(p.Cov.Ellipse95().Major); math.Abs(is-major) > 0.011 {
			t.Errorf("entry %d has an ellipse of %.2f m, it was %.2f", entry, is, major)
		}
	}
	if n != len(tracks[1].Points)+len(tracks[2].Points) {
		t.Errorf("%d entries looked at", n)
	}
	r, err := l.Check(t.Context())
	if err != nil || !r.OK() {
		t.Errorf("%v, %+v", err, r)
	}
	if s, err := l.SettingsOf(t.Context(), 2); err != nil || s.UnitOr() != Kilometres {
		t.Errorf("%v, an old journey counts in %s", err, s.UnitOr())
	}
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
