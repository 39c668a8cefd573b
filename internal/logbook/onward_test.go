package logbook

import (
	"math"
	"testing"

	"shadowread/internal/fault"
	"shadowread/internal/geo"
)

// off is a place some metres off the departure.
func off(north, east float64) geo.Position {
	p, err := geo.RhumbDirect(pan, deg*90, geo.Metres(east))
	if err == nil {
		p, err = geo.RhumbDirect(p, 0, geo.Metres(north))
	}
	if err != nil {
		panic(err)
	}
	return p
}

// Stops are gone to in their order: one that lies on the way to another, or that was passed
// before its turn, is not taken for reached.
func TestTheNextStop(t *testing.T) {
	ctx := t.Context()
	l := newLog(t)
	must(t)(l.Begin(ctx, at(0), Departure{Position: pan, Sigma: 15, Odometer: km("1000.0").Odometer}))
	next := func() string {
		t.Helper()
		s, err := l.NextStop(ctx, 0)
		if err != nil {
			return fault.Code(err)
		}
		return s.Name
	}
	if got := next(); got != "no_stops" {
		t.Error(got)
	}
	must(t)(l.Set(ctx, at(0), Settings{Stops: &[]Stop{{"east", off(0, 20000)}, {"camp", pan}}}))
	must(t)(l.LegByHand(ctx, at(1), km("1000.0"), by(90, 1)))
	must(t)(l.Halt(ctx, at(30), Halt{km("1010.0")}))
	if got := next(); got != "east" {
		t.Error(got)
	}
	must(t)(l.LegByHand(ctx, at(60), km("1019.7"), by(270, 1))) // 300 m short of it
	if got := next(); got != "camp" {
		t.Error(got)
	}
	must(t)(l.Halt(ctx, at(90), Halt{km("1034.0")})) // 5.4 km before it, and its ellipse is smaller
	if got := next(); got != "camp" {
		t.Error(got)
	}
	must(t)(l.Halt(ctx, at(120), Halt{km("1039.4")}))
	if got := next(); got != "no_stop_left" {
		t.Error(got)
	}
	if s, err := l.StopNamed(ctx, 0, "East"); err != nil || s.Name != "east" {
		t.Error(s, err)
	}
	if _, err := l.StopNamed(ctx, 0, "west"); fault.Code(err) != "no_such_stop" {
		t.Error(err)
	}
}

// A place where the vehicle was already is gone to again when it is stated as a stop from
// then on: the way back leads past the same places.
func TestTheNextStopOnTheWayBack(t *testing.T) {
	ctx := t.Context()
	l := newLog(t)
	next := func(want string) {
		t.Helper()
		if s, err := l.NextStop(ctx, 0); s.Name != want && fault.Code(err) != want {
			t.Errorf("%q, %v, want %s", s.Name, err, want)
		}
	}
	well, camp := Stop{"well", off(0, 10000)}, Stop{"camp", pan}
	must(t)(l.Begin(ctx, at(0), Departure{Position: pan, Sigma: 15, Odometer: km("1000.0").Odometer}))
	must(t)(l.LegByHand(ctx, at(1), km("1000.0"), by(90, 1)))
	must(t)(l.Halt(ctx, at(30), Halt{km("1010.0")}))
	must(t)(l.Halt(ctx, at(50), Halt{km("1020.0")}))
	must(t)(l.Set(ctx, at(50), Settings{Stops: &[]Stop{well, camp}}))
	next("well")
	must(t)(l.LegByHand(ctx, at(60), km("1020.0"), by(270, 1)))
	must(t)(l.Halt(ctx, at(80), Halt{km("1030.0")}))
	next("camp")
	must(t)(l.Halt(ctx, at(100), Halt{km("1040.0")}))
	next("no_stop_left")
	must(t)(l.Set(ctx, at(100), Settings{Stops: &[]Stop{}}))
	next("no_stops")
	must(t)(l.LegByHand(ctx, at(101), km("1040.0"), by(90, 1)))
	must(t)(l.Set(ctx, at(101), Settings{Stops: &[]Stop{camp}}))
	next("camp")
}

// On ground that drifts at half a metre a second across the way, what is steered is off by
// asin(drift / speed), by hand.
func TestOnwardAllowsForTheDrift(t *testing.T) {
	ctx := t.Context()
	l := begun(t)
	must(t)(l.LegByHand(ctx, at(0), km("1000.0"), by(90, 1)))
	must(t)(l.Halt(ctx, at(60), Halt{km("1018.0")})) // 5 m/s
	w, err := l.Where(ctx, 0)
	if err != nil {
		t.Fatal(err)
	}
	w.Shared.DriftN = 0.5
	to, err := geo.RhumbDirect(w.Estimate.Position, 90*deg, 30000)
	if err != nil {
		t.Fatal(err)
	}
	o, err := l.Onward(ctx, w, Stop{Name: "east", Position: to})
	if err != nil {
		t.Fatal(err)
	}
	heading, err := o.Heading(w.Shared)
	want := 90 + math.Asin(0.1)*180/math.Pi // scale is not learnt: the speed is 5 m/s
	if err != nil || math.Abs(heading.Degrees()-want) > 1e-6 {
		t.Errorf("%v, steers %v, want %v", err, heading.Degrees(), want)
	}
	if made := 30000 / (5 * math.Sqrt(1-0.01)); math.Abs(o.TimeToGo().Seconds()-made) > 1 {
		t.Errorf("%v to go, want %.0f s", o.TimeToGo(), made)
	}
	w.Shared.DriftN = 6
	if o, err = l.Onward(ctx, w, Stop{Position: to}); err != nil {
		t.Fatal(err)
	}
	if _, err := o.Heading(w.Shared); fault.Code(err) != "drift_too_fast" {
		t.Errorf("6 m/s across: %v", err)
	}
}
