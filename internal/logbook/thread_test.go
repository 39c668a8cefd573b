package logbook

import (
	"math"
	"testing"

	"shadowread/internal/fault"
	"shadowread/internal/geo"
)

func far(length float64) Run { return Run{Distance: &Distance{Length: geo.Metres(length)}} }

// The odometer counts on through ways that were had without it: what it then says is the
// whole since its last reading, by plain addition.
func TestTheOdometersThreadIsNotLost(t *testing.T) {
	ctx := t.Context()
	l := begun(t) // at 1000.0
	must(t)(l.LegByHand(ctx, at(0), km("1000.0"), by(90, 1)))
	must(t)(l.LegByHand(ctx, at(20), km("1010.0"), by(90, 1)))
	must(t)(l.Halt(ctx, at(30), Halt{far(5000)})) // 0.5 km of sigma
	a := must(t)(l.LegByHand(ctx, at(50), km("1021.0"), by(90, 1)))
	if math.Abs(float64(a.Ran)-6000) > 1e-6 {
		t.Errorf("%v m since the halt at 1015, want 6000", float64(a.Ran))
	}
	// A detour by lengths, 2 km of it.
	d := Detour{Run: km("1024.0"), Legs: []ShortLeg{{by(40, 3), far(1000)}, {by(140, 3), far(1000)}}}
	must(t)(l.Detour(ctx, at(70), d))
	if a = must(t)(l.Halt(ctx, at(90), Halt{km("1030.0")})); math.Abs(float64(a.Ran)-4000) > 1e-6 {
		t.Errorf("%v m since the detour's end at 1026, want 4000", float64(a.Ran))
	}
	// Behind the total by less than its error: nothing was run, and by more: refused.
	must(t)(l.Halt(ctx, at(100), Halt{far(2000)}))
	if a = must(t)(l.Halt(ctx, at(110), Halt{km("1031.8")})); a.Ran != 0 {
		t.Errorf("%v m run", float64(a.Ran))
	}
	must(t)(l.Halt(ctx, at(120), Halt{far(2000)}))
	if _, err := l.Halt(ctx, at(130), Halt{km("1032.2")}); fault.Code(err) != "odometer_behind" {
		t.Errorf("1.6 km less than the total: %v", err)
	}
	if got := must(t)(l.Halt(ctx, at(140), Halt{km("1036.8")})); math.Abs(float64(got.Ran)-3000) > 1e-6 {
		t.Errorf("%v m run, want 3000", float64(got.Ran))
	}
}

// A way with both is held against itself.
func TestReadingAndDistanceAreCompared(t *testing.T) {
	ctx := t.Context()
	for _, c := range []struct {
		reading  string
		distance float64
		differ   bool
	}{{"1010.0", 10000, false}, {"1010.0", 8000, false}, {"1010.0", 7000, true}, {"1369.9", 8200, true}} {
		l := begun(t)
		must(t)(l.LegByHand(ctx, at(0), km("1000.0"), by(90, 1)))
		run := far(c.distance)
		run.Odometer = km(c.reading).Odometer
		a := must(t)(l.Halt(ctx, at(600), Halt{run}))
		if (a.Disagrees != nil) != c.differ || math.Abs(float64(a.Ran)-c.distance) > 1e-6 {
			t.Errorf("%s beside %v m: %+v, ran %v", c.reading, c.distance, a.Disagrees, float64(a.Ran))
		}
	}
}
