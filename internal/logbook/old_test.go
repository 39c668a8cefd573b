package logbook

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
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
	if err != nil || r.Schema != 2 {
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

// What is in hand is kept while a log is open, and must not outlive what another program
// writes meanwhile.
func TestWhatIsInHandFollowsOtherWriters(t *testing.T) {
	ctx := t.Context()
	l := begun(t)
	leg := must(t)(l.LegByHand(ctx, at(0), km("1000.0"), by(90, 2)))
	must(t)(l.Halt(ctx, at(60), Halt{km("1030.0")}))
	other := open(t, l.Path())
	must(t)(other.LegByHand(ctx, At{Supersedes: leg.Entry.Number}, Run{}, by(180, 2)))
	must(t)(other.Halt(ctx, at(90), Halt{km("1040.0")}))
	want, err := geo.RhumbDirect(pan, 180*deg, 40_000)
	if err != nil {
		t.Fatal(err)
	}
	for range 2 {
		w, err := l.Where(ctx, 0)
		if err != nil {
			t.Fatal(err)
		}
		if d := apartMetres(t, w.Estimate.Position, want); d > 0.01 {
			t.Errorf("%.2f m from what the other wrote", d)
		}
		// A look ahead carries what is in hand on, and must leave it as it is.
		if _, err := l.EstimateAt(ctx, at(120).Time, new(km("1050.0"))); err != nil {
			t.Fatal(err)
		}
	}
}

// A snapshot is of one moment: what stands, the track and the place agree while another
// program writes.
func TestASnapshotIsOfOneMoment(t *testing.T) {
	ctx := t.Context()
	l := begun(t)
	must(t)(l.LegByHand(ctx, at(0), km("1000.0"), by(90, 2)))
	other := open(t, l.Path())
	stop, done := make(chan struct{}), make(chan error)
	go func() {
		var err error
		for i := 1; err == nil; i++ {
			select {
			case <-stop:
				done <- nil
				return
			default:
				_, err = other.Halt(ctx, at(float64(i)), Halt{km(fmt.Sprintf("%.1f", 1000+float64(i)/10))})
			}
		}
		done <- err
	}()
	grew := map[int]bool{}
	for range 50 {
		s, err := l.Snapshot(ctx, 0)
		if err != nil {
			t.Fatal(err)
		}
		n := len(s.Entries)
		last := s.Track.Points[len(s.Track.Points)-1]
		if len(s.Track.Points) != n || s.Entries[n-1].Number != last.Entry.Number || !s.Where.Estimate.Time.Equal(last.Entry.Time) {
			t.Fatalf("%d entries to %d, %d points to %d, where at %v", n, s.Entries[n-1].Number, len(s.Track.Points), last.Entry.Number, s.Where.Estimate.Time)
		}
		grew[n] = true
	}
	close(stop)
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	if len(grew) < 5 {
		t.Errorf("the log grew %d times only: nothing is tried", len(grew))
	}
}

// Cells that a spreadsheet would work out are kept from it, and come back as they were.
func FuzzCells(f *testing.F) {
	for _, text := range []string{"", "reeds", "=HYPERLINK(\"x\")", "+1+1", "-2+3", "@SUM(1)", "\t=1", "-5", "+2.5", "'=1", "''-", "'tis", "-", "-0x1", "-inf"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		cell := SafeCell(text)
		if BareCell(cell) != text {
			t.Errorf("%q became %q and came back as %q", text, cell, BareCell(cell))
		}
		if cell != "" && strings.ContainsAny(cell[:1], "=@\t\r\n") {
			t.Errorf("%q is a formula", cell)
		}
		if _, err := strconv.ParseFloat(cell, 64); cell != "" && strings.ContainsAny(cell[:1], "+-") && err != nil {
			t.Errorf("%q is a formula", cell)
		}
	})
}
