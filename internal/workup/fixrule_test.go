package workup

import (
	"math"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
)

// By the new rule a fix of three sigma waits, and once it is confirmed the estimate is the
// fix, with the fix's own error and none in common with what the legs share. By the old one
// it is weighed, which the covariance form of least squares gives: P - P S^-1 P.
func TestFixRules(t *testing.T) {
	m := Land()
	start := time.Date(2026, 3, 14, 6, 0, 0, 0, time.UTC)
	p := geo.Position{Lat: angle.FromDegrees(-20.6), Lon: angle.FromDegrees(25.4)}
	run := func(fix Fix) *Track {
		t.Helper()
		legs := []Entry{
			{Time: start.Add(time.Hour), Leg: &Leg{Heading: 40 * angle.Degree, HeadingSigma: angle.Degree, ByDial: true, Distance: 20 * geo.Kilometre, Odometer: true, Resolution: 100}},
			{Time: start.Add(time.Hour), Fix: &fix},
			{Time: start.Add(2 * time.Hour), Leg: &Leg{Heading: 90 * angle.Degree, HeadingSigma: angle.Degree, ByDial: true, Distance: 10 * geo.Kilometre, Odometer: true, Resolution: 100}},
		}
		track, err := m.Run(Departure{Time: start, Position: p, Cov: Circle(15)}, legs)
		if err != nil {
			t.Fatal(err)
		}
		return track
	}
	unfixed, err := m.Run(Departure{Time: start, Position: p, Cov: Circle(15)}, []Entry{
		{Time: start.Add(time.Hour), Leg: &Leg{Heading: 40 * angle.Degree, HeadingSigma: angle.Degree, ByDial: true, Distance: 20 * geo.Kilometre, Odometer: true, Resolution: 100}}})
	if err != nil {
		t.Fatal(err)
	}
	end := unfixed.State
	ellipse := end.Cov().Ellipse95()
	for _, c := range []struct {
		sigmas                   float64
		rule                     FixRule
		confirmed, used, blunder bool
	}{
		{2.8, FromThree, false, true, false},
		{2.8, FromThree, true, true, false},
		{3.2, FromThree, false, false, false},
		{3.2, FromThree, true, true, true},
		{8, FromThree, true, true, true},
		{3.2, BeyondFive, false, true, false},
		{5.2, BeyondFive, false, false, false},
		{8, BeyondFive, true, true, true},
	} {
		major := float64(ellipse.Major) / math.Sqrt(5.991464547)
		at, err := geo.RhumbDirect(end.Position, ellipse.Bearing, geo.Metres(c.sigmas*math.Hypot(major, 10)))
		if err != nil {
			t.Fatal(err)
		}
		track := run(Fix{Position: at, Sigma: 10, Confirmed: c.confirmed, Rule: c.rule})
		closing := track.Points[2].Closing
		if closing.Used != c.used || closing.Blunder != c.blunder || math.Abs(closing.Sigmas-c.sigmas) > 0.05 {
			t.Errorf("%+v: %.2f sigma, used %v, blunder %v", c, closing.Sigmas, closing.Used, closing.Blunder)
		}
		here := track.Points[2]
		_, d, err := geo.GeodesicInverse(here.Adjusted, at)
		if err != nil {
			t.Fatal(err)
		}
		starts := c.rule == FromThree && c.blunder
		if starts && (d > 1e-3 || here.AdjustedCov != Circle(10)) {
			t.Errorf("%+v: the estimate is %.4f m from the fix, with %+v", c, float64(d), here.AdjustedCov)
		}
		if !starts && c.used && (d < 1e-3 || here.AdjustedCov.NN > 100) {
			t.Errorf("%+v: the fix was not weighed: %.4f m, %+v", c, float64(d), here.AdjustedCov)
		}
		// What was run before it ends at the fix, and its position is of no further use after.
		if starts && track.State.Mean != (vector{}) {
			t.Errorf("%+v: it taught %v", c, track.State.Mean)
		}
	}
}
