package logbook

import (
	"math"
	"testing"

	"shadowread/internal/fault"
)

// Worked on from the last entry, the journey is where an entry of the same way puts it, and
// nothing is written.
func TestWhereAtIsWhereTheNextEntryWouldBe(t *testing.T) {
	l, ctx := begun(t), t.Context()
	must(t)(l.LegByHand(ctx, at(5), km("1000.0"), by(58, 2)))
	must(t)(l.Halt(ctx, at(35), Halt{Run: km("1010.0")}))
	w, err := l.WhereAt(ctx, 0, at(65).Time, new(km("1020.0")))
	if err != nil {
		t.Fatal(err)
	}
	before, err := l.Where(ctx, 0)
	if err != nil || !before.Estimate.Time.Equal(at(35).Time) {
		t.Fatalf("asking moved the log to %v (%v)", before.Estimate.Time, err)
	}
	if _, err := l.WhereAt(ctx, 0, at(20).Time, &Run{Stood: true}); fault.Code(err) != "time_before_last" {
		t.Errorf("a way that ends before the last entry: %v", err)
	}
	a := must(t)(l.Halt(ctx, at(65), Halt{Run: km("1020.0")}))
	if a.Entry.Number != 4 || apartMetres(t, a.Estimate.Position, w.Estimate.Position) > 0.01 || a.Estimate.Cov != w.Estimate.Cov {
		t.Errorf("entry %d at %+v, foreseen at %+v", a.Entry.Number, a.Estimate, w.Estimate)
	}
}

func TestDaysPaceLeavesOutWhatStood(t *testing.T) {
	l, ctx := begun(t), t.Context()
	if p, err := l.DaysPace(ctx, 0); err != nil || p.Speed() != 0 {
		t.Fatalf("before the first leg: %+v %v", p, err)
	}
	must(t)(l.LegByHand(ctx, at(0), km("1000.0"), by(58, 2)))
	must(t)(l.Halt(ctx, at(60), Halt{Run: km("1060.0")}))
	// The next day: 20 km in an hour, an hour's rest, and 10 km in half an hour by the clock.
	must(t)(l.Halt(ctx, at(25*60), Halt{Run: Run{Stood: true}}))
	must(t)(l.Halt(ctx, at(26*60), Halt{Run: km("1080.0")}))
	must(t)(l.Halt(ctx, at(27*60), Halt{Run: Run{Stood: true}}))
	must(t)(l.Halt(ctx, at(27*60+30), Halt{Run: km("1090.0")}))
	p, err := l.DaysPace(ctx, 0)
	if err != nil || math.Abs(float64(p.Speed())*3.6-20) > 0.1 {
		t.Errorf("%+v: %.2f km/h, want 20 (%v)", p, float64(p.Speed())*3.6, err)
	}
}
