package logbook

import (
	"strings"
	"testing"
	"time"

	"shadowread/internal/fault"
	"shadowread/internal/geo"
)

func TestSettingsHoldFromTheirEntryOn(t *testing.T) {
	ctx := t.Context()
	l := newLog(t)
	miles, hours := StatuteMiles, 2*time.Hour
	d := Departure{Position: pan, Sigma: 15, Settings: &Settings{Unit: &miles, UTCOffset: &hours, RodHeight: new(geo.Metres(0.05))}}
	must(t)(l.Begin(ctx, at(0), d))
	must(t)(l.LegByHand(ctx, at(1), far(10), by(60, 1)))
	// Its clock is that of writing: what was done before may be logged after it.
	must(t)(l.Set(ctx, at(500), Settings{Instrument: NewRecord("board.toml", []byte("x")), Stops: &[]Stop{{"well", pan}}}))
	a := must(t)(l.Halt(ctx, at(20), Halt{far(10)}))
	if s := a.Settings; s.UnitOr() != StatuteMiles || *s.UTCOffset != hours || s.Instrument.Text != "x" || len(*s.Stops) != 1 {
		t.Errorf("%+v", s)
	}
	must(t)(l.Set(ctx, at(21), Settings{Forgotten: []string{"instrument", "rod_height"}, Stops: &[]Stop{}}))
	s, err := l.SettingsOf(ctx, 0)
	if err != nil || s.Instrument != nil || s.RodHeight != nil || s.UTCOffset == nil || len(*s.Stops) != 0 {
		t.Errorf("%v, %+v", err, s)
	}
	if r, err := l.Check(ctx); err != nil || !r.OK() {
		t.Errorf("%v, %+v", err, r)
	}
	track, err := l.WorkUp(ctx, 0)
	if err != nil || len(track.Points) != 5 || track.Points[2].At == nil {
		t.Errorf("%v, %+v", err, track)
	}
}

// A steering sigma that is changed on the way holds for the legs that begin after it, and
// adds to the variance across what a sum by hand says.
func TestSteeringIsThatOfItsLeg(t *testing.T) {
	ctx := t.Context()
	across := func(change bool) float64 {
		l := begun(t)
		must(t)(l.LegByHand(ctx, at(0), km("1000.0"), by(90, 1)))
		if change {
			must(t)(l.Set(ctx, at(1), Settings{Steering: new(6 * deg)}))
		}
		must(t)(l.LegByHand(ctx, at(30), km("1010.0"), by(90, 1)))
		a := must(t)(l.Halt(ctx, at(60), Halt{km("1030.0")}))
		return a.Estimate.Cov.NN
	}
	// 20 km with 2 degrees of steering, and with 6.
	grown := across(true) - across(false)
	want := 20000 * 20000 * float64(32*deg*deg)
	if grown < 0.99*want || grown > 1.01*want {
		t.Errorf("the variance across grew by %.0f m2, want %.0f", grown, want)
	}
}

func TestSettingsThatCannotBe(t *testing.T) {
	ctx := t.Context()
	l := begun(t)
	inch := Unit("in")
	for name, s := range map[string]Settings{
		"nothing":         {},
		"unit":            {Unit: &inch},
		"unit forgotten":  {Forgotten: []string{"distance_unit"}},
		"offset":          {UTCOffset: new(20 * time.Hour)},
		"rod":             {RodHeight: new(geo.Metres(50))},
		"name":            {Name: new("a\nb")},
		"record":          {Instrument: &Record{SHA256: "00", Text: "x"}},
		"large record":    {Instrument: NewRecord("x", []byte(strings.Repeat("x", maxRecord+1)))},
		"steering":        {Steering: new(31 * deg)},
		"stop twice":      {Stops: &[]Stop{{"a", pan}, {"A", pan}}},
		"camera unnamed":  {Cameras: &[]Camera{{}}},
		"clock":           {Cameras: &[]Camera{{Name: "a", ClockError: new(400 * 24 * time.Hour)}}},
		"form":            {PositionForm: new(PositionForm("dms"))},
		"print scale":     {PrintScale: &[2]float64{1, 2}},
		"stop off earth":  {Stops: &[]Stop{{"a", geo.Position{Lat: 91 * deg}}}},
		"folder too long": {Photos: new(strings.Repeat("x", 5000))},
	} {
		if _, err := l.Set(ctx, at(1), s); err == nil || fault.Code(err) == "" {
			t.Errorf("%s: %v", name, err)
		}
	}
}
