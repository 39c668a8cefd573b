package logbook

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
	"shadowread/internal/workup"
)

// A log of schema version 2 with fixes used at more than three sigma, confirmed and not used
// keeps its places: testdata/version-2-fixes.csv is what the program that wrote it said, to
// a hundredth of a metre in position.
func TestOldFixesCountAsTheyDid(t *testing.T) {
	ctx := t.Context()
	data, err := os.ReadFile("testdata/version-2-fixes.db")
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "log.db")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	l := open(t, path)
	said := oldSaid(t, "testdata/version-2-fixes.csv")
	seen := 0
	for journey := 1; journey <= 2; journey++ {
		track, err := l.WorkUp(ctx, journey)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range track.Points {
			was := said[p.Entry.Number]
			seen++
			for i, at := range []geo.Position{p.At.Estimated, p.At.Adjusted} {
				cov := []workup.Cov{p.At.Cov, p.At.AdjustedCov}[i]
				if d := apartMetres(t, at, geo.Position{Lat: angle.FromDegrees(was.number[3*i]), Lon: angle.FromDegrees(was.number[3*i+1])}); d > 0.03 {
					t.Errorf("entry %d is %.2f m from where it was", p.Entry.Number, d)
				}
				if major := float64(cov.Ellipse95().Major); major < was.number[3*i+2]-0.01 || major > was.number[3*i+2]+0.01 {
					t.Errorf("entry %d: ellipse %.2f m, was %.2f m", p.Entry.Number, major, was.number[3*i+2])
				}
			}
			if c := p.At.Closing; c != nil && strconv.FormatBool(c.Used) != was.used {
				t.Errorf("fix %d used %v, was %v", p.Entry.Number, c.Used, was.used)
			}
		}
	}
	if seen != len(said) {
		t.Errorf("%d entries, want %d", seen, len(said))
	}
}

type oldPoint struct {
	number [6]float64
	used   string
}

func oldSaid(t *testing.T, path string) map[int]oldPoint {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[int]oldPoint{}
	for _, row := range rows[1:] {
		entry, err := strconv.Atoi(row[1])
		p := oldPoint{used: row[8]}
		for i := range p.number {
			if err == nil {
				p.number[i], err = strconv.ParseFloat(row[2+i], 64)
			}
		}
		if err != nil {
			t.Fatal(err)
		}
		out[entry] = p
	}
	return out
}

// What is written now waits from three sigma on, and once it is confirmed the estimate
// starts there; a correction of an old fix is new.
func TestAFarFixWaitsAndThenStartsTheEstimate(t *testing.T) {
	ctx := t.Context()
	l := open(t, written(t))
	before, err := l.Where(ctx, 0)
	if err != nil {
		t.Fatal(err)
	}
	e := before.Estimate
	apart := 3.5 * geo.Metres(float64(e.Cov.Ellipse95().Major)/2.4477)
	off, err := geo.RhumbDirect(e.Position, e.Cov.Ellipse95().Bearing, apart)
	if err != nil {
		t.Fatal(err)
	}
	at := At{Time: e.Time}
	fix := must(t)(l.Fix(ctx, at, Fix{Run: Run{Stood: true}, Position: off, Sigma: 10}))
	if c := fix.Closing; c.Sigmas < 3 || c.Sigmas > 5 || c.Used {
		t.Fatalf("%+v", c)
	}
	if w, err := l.Where(ctx, 0); err != nil || w.Estimate.Position != e.Position || w.Shared != before.Shared {
		t.Errorf("%v: an unused fix moved the estimate or taught something", err)
	}
	added := must(t)(l.ConfirmFix(ctx, fix.Entry.Number, ""))
	if !added.Closing.Used || !added.Closing.Blunder {
		t.Errorf("%+v", added.Closing)
	}
	w, err := l.Where(ctx, 0)
	if err != nil {
		t.Fatal(err)
	}
	if d := apartMetres(t, w.Estimate.Position, off); d > 0.01 || w.Estimate.Cov != workup.Circle(10) {
		t.Errorf("the estimate is %.2f m from the fix, with %+v", d, w.Estimate.Cov)
	}
	if w.Shared != before.Shared {
		t.Errorf("the fix taught: %+v, before it %+v", w.Shared, before.Shared)
	}
}
