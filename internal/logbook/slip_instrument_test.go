package logbook

import (
	"testing"

	"shadowread/internal/angle"
)

// A leg without the record that the legs about it have is tried with it, and the other way
// round; what a reading's JSON says of the record is taken from there.
func TestInstrumentSlips(t *testing.T) {
	with := Shown([]byte(`{"status":"ok","body":"sun","scale_reading_deg":9.8,"instrument":{"name":"board","gnomon":"rod","correction_deg":2.5}}`))
	without := Shown([]byte(`{"status":"ok","body":"sun","scale_reading_deg":9.8,"instrument":null}`))
	leg := func(heading, sigma, alignment float64) *Leg {
		d := angle.FromDegrees
		return &Leg{How: ByPhoto, Reading: &DialHeading{Heading: d(heading), Sigma: d(sigma), Level: d(0.1), Alignment: d(alignment)}}
	}
	proved, plain := dialLeg{leg(60, 0.25, 0.2), with}, dialLeg{leg(359, 0.5, 0), without}
	for _, c := range []struct {
		leg     dialLeg
		others  []dialLeg
		heading float64
		instead string
	}{
		{plain, []dialLeg{proved, proved}, 1.5, "001.5° by the record of board"},
		{proved, []dialLeg{plain}, 57.5, "057.5° without a record"},
		{proved, []dialLeg{proved}, 0, ""},
		{plain, nil, 0, ""},
	} {
		got := instrumentSlips(c.leg, c.others)
		if c.instead == "" {
			if len(got) != 0 {
				t.Errorf("%+v", got)
			}
			continue
		}
		if len(got) != 1 || got[0].slip != SlipInstrument || got[0].instead != c.instead {
			t.Fatalf("%+v, want %s", got, c.instead)
		}
		r := got[0].content.(*Leg).Reading
		if d := (r.Heading - angle.FromDegrees(c.heading)).Signed().Abs(); d > 1e-9 || r.Alignment != c.others[0].leg.Reading.Alignment || !(r.Sigma > r.Alignment) {
			t.Errorf("%+v", r)
		}
	}
	if c := plain.leg.Reading; c.Heading != angle.FromDegrees(359) {
		t.Errorf("the leg itself was changed: %v", c.Heading)
	}
}
