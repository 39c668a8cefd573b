package align

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/geo"
	"shadowread/internal/instrument"
)

// A standing series under one horizon tells the rod's slope against its sheet from the
// sheet's tilt, to about what the ground is flat to: the photos share its error.
func TestHorizonSeparatesRodAndSheet(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	var square float64
	const n = 60
	for range n {
		p := DefaultPriors()
		p.HorizonSigma = 0.1 * deg
		rod := instrument.SlopeOf(angle.Angle(r.NormFloat64())*deg, angle.Angle(r.NormFloat64())*deg)
		plumb := instrument.SlopeOf(angle.Angle(r.NormFloat64())*2*deg, angle.Angle(r.NormFloat64())*2*deg)
		heading := angle.FromDegrees(360 * r.Float64())
		east, north := (angle.Angle(r.NormFloat64()) * p.HorizonSigma).Tan(), (angle.Angle(r.NormFloat64()) * p.HorizonSigma).Tan()
		s, c := heading.Sin(), heading.Cos()
		seen := plumb.Plus(instrument.Slope{Starboard: east*c - north*s, Forward: east*s + north*c})
		var obs []Observation
		for i := range 8 {
			sky, err := bearing.Observe(bearing.Sun, time.Date(2026, 8, 28, 8+i/2, 30*(i%2), 0, 0, time.UTC), geo.Position{Lat: -22 * angle.Degree, Lon: 22 * angle.Degree}, 0)
			if err != nil {
				t.Fatal(err)
			}
			d, _, _ := instrument.ShadowOn(heading, plumb, rod, sky.Azimuth, sky.Altitude)
			const fit, own = 0.02 * deg, 0.04 * deg
			obs = append(obs, Observation{Label: strconv.Itoa(i), Sky: sky, Direction: d + angle.Angle(r.NormFloat64())*fit, DirectionSigma: fit,
				Plumb:      seen.Plus(instrument.SlopeOf(angle.Angle(r.NormFloat64())*own, angle.Angle(r.NormFloat64())*own)),
				PlumbSigma: own})
		}
		got, err := Solve(obs, p, Options{})
		if err != nil {
			t.Fatal(err)
		}
		want, _ := rod.Angles()
		e := got.RodStarboard
		if e.Sigma > 0.2*deg || !e.Determined {
			t.Fatalf("the rod's slope is known to %v, determined %v", e.Sigma, e.Determined)
		}
		square += math.Pow(float64((e.Value-want)/e.Sigma), 2)
	}
	if z := math.Sqrt(square / n); z < 0.75 || z > 1.25 {
		t.Errorf("errors over sigma are %.2f RMS", z)
	}
}
