package workup

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
)

// The journeys here are simulated: two trucks survey a salt pan that does not
// exist. Every error is drawn from the model's priors, and the truth is worked
// without the filter's formulas: the vehicle runs true rhumb lines, the shadow is
// the exact projection of a leaning rod, the odometer is a counter that is read by
// whole steps.

// sky gives a body's azimuth and altitude from its declination and Greenwich
// hour angle by the rotation from the equator to the horizon (J. Meeus,
// Astronomical Algorithms, 2nd ed. 1998, equations 13.5 and 13.6).
func sky(p geo.Position, declination, gha angle.Angle) Body {
	h := gha + p.Lon
	east := -declination.Cos() * h.Sin()
	north := declination.Sin()*p.Lat.Cos() - declination.Cos()*h.Cos()*p.Lat.Sin()
	up := declination.Sin()*p.Lat.Sin() + declination.Cos()*h.Cos()*p.Lat.Cos()
	return Body{Azimuth: angle.Atan2(east, north).Bearing(), Altitude: angle.Asin(up)}
}

// kind is a kind of country to travel.
type kind struct {
	name        string
	lat, spread float64 // degrees
	lon         float64
	model       Model
}

var kinds = []kind{
	{"middle latitudes", 0, 55, 25, Land()},
	{"date line", -20, 10, 179.97, Land()},
	{"far north", 84, 2, -40, Ice()},
	{"next to the pole", -88.8, 0.1, 100, Ice()},
	{"by eye on an old mount", 30, 10, 60, func() Model {
		m := Land()
		m.Mount, m.Lean, m.Scale, m.Steering = 4*angle.Degree, 2*angle.Degree, 0.05, 4*angle.Degree
		return m
	}()},
}

// outcome is the error of one worked-up position, with the covariance claimed.
type outcome struct {
	at     string
	missed Offset
	cov    Cov
}

// simulate draws a journey with two fixes, works it up and returns how well it did
// before, between and beyond them.
func simulate(t *testing.T, k kind, seed uint64) []outcome {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 2026))
	draw := func(sigma float64) float64 { return sigma * r.NormFloat64() }
	turn := func(sigma angle.Angle) angle.Angle { return angle.Angle(draw(float64(sigma))) }

	m := k.model
	mountBias := turn(m.Mount)
	leanX, leanY := turn(m.Lean), turn(m.Lean)
	scaleError := draw(m.Scale)
	driftNorth, driftEast := draw(float64(m.Drift)), draw(float64(m.Drift))

	// The season and hour that put the sun up, near the middle of the day.
	start := time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)
	declination := angle.FromDegrees(min(23, max(-23, 23*math.Copysign(1, k.lat)*r.Float64())))
	origin := geo.Position{
		Lat: angle.FromDegrees(k.lat + k.spread*(2*r.Float64()-1)),
		Lon: angle.FromDegrees(k.lon + 0.2*draw(1)).Signed(),
	}
	gha := func(at time.Time) angle.Angle {
		return angle.FromDegrees(15*at.Sub(start).Hours()-45) - origin.Lon
	}

	const departureSigma, fixSigma = 30, 20 // metres
	truth := shift(origin, Offset{geo.Metres(draw(departureSigma)), geo.Metres(draw(departureSigma))})
	d := Departure{Time: start, Position: origin, Cov: Circle(departureSigma)}
	s, err := m.Begin(d)
	if err != nil {
		t.Fatal(err)
	}
	resolution := []geo.Metres{100, 1000, 10}[r.IntN(3)]
	counter := geo.Metres(1e5 * r.Float64())
	read := func() geo.Metres { return resolution * geo.Metres(math.Round(float64(counter/resolution))) }
	lastReading := read()

	var entries []Entry
	var truths []geo.Position
	var course angle.Angle
	now := start
	mounting, tyres := 0, 0
	step := func(e Entry) {
		next, _, err := m.Next(s, e)
		if err != nil {
			t.Fatalf("%s, seed %d, entry %d: %v", k.name, seed, len(entries)+1, err)
		}
		s = next
		entries, truths = append(entries, e), append(truths, truth)
	}
	legs := func(n int) {
		for i := range n {
			hours := 0.1 + 0.4*r.Float64()
			if r.IntN(6) == 0 { // a halt; the ground may drift meanwhile
				hours *= 4
			}
			now = now.Add(time.Duration(hours * float64(time.Hour)))
			root := math.Sqrt(hours)
			mountBias += turn(m.MountWalk) * angle.Angle(root)
			leanX += turn(m.LeanWalk) * angle.Angle(root)
			leanY += turn(m.LeanWalk) * angle.Angle(root)
			scaleError += draw(m.ScaleWalk) * root
			if i == n/2 && r.IntN(3) == 0 {
				mounting++
				mountBias, leanX, leanY = turn(m.Mount), turn(m.Lean), turn(m.Lean)
			}
			if i == n/3 && r.IntN(4) == 0 {
				tyres++
				scaleError = draw(m.Scale)
			}
			l := &Leg{Tyres: tyres, Mount: mounting}

			// The heading.
			body := sky(truth, declination, gha(now))
			if r.IntN(5) == 0 && len(entries) > 0 {
				l.Continues = true
			} else {
				heading := angle.FromDegrees(360 * r.Float64()) // the vehicle's, in truth
				if r.IntN(2) == 0 {
					heading = angle.FromDegrees(70 + 20*r.Float64()) // where it wants to go
				}
				l.HeadingSigma = 0.5 * angle.Degree
				if body.Altitude > 5*angle.Degree && body.Altitude < 70*angle.Degree && r.IntN(8) > 0 {
					axis := heading - mountBias // the dial's forward axis
					cot := 1 / body.Altitude.Tan()
					toBody := body.Azimuth - axis
					shadow := angle.Clockwise(
						leanX.Tan()-cot*toBody.Sin(),
						leanY.Tan()-cot*toBody.Cos())
					there := s.Position
					seen := sky(there, declination, gha(now)) // as computed for the estimate
					l.ByDial, l.Body, l.ComputedAt = true, &seen, &there
					l.Heading = (seen.Azimuth + 180*angle.Degree - shadow + turn(l.HeadingSigma)).Bearing()
				} else {
					l.HeadingSigma = 3 * angle.Degree // by compass
					l.Heading = (heading + turn(l.HeadingSigma)).Bearing()
				}
				course = heading + turn(m.Steering)
			}

			// The distance.
			run := geo.Metres(1000 + 7000*r.Float64())
			if truth, err = geo.RhumbDirect(truth, course, run); err != nil {
				t.Fatal(err)
			}
			if r.IntN(10) == 0 { // estimated
				counter += run
				l.DistanceSigma = 300
				l.Distance = max(0, run+geo.Metres(draw(300)))
				lastReading = read()
			} else {
				counter += run / geo.Metres(1+scaleError)
				l.Odometer, l.Resolution = true, resolution
				l.Distance = read() - lastReading
				lastReading = read()
			}

			// The ground. A walk in small steps.
			const steps = 20
			for range steps {
				dt := hours * 3600 / steps
				kick := math.Sqrt(dt / 3600)
				driftNorth += draw(float64(m.DriftWalk)) * kick
				driftEast += draw(float64(m.DriftWalk)) * kick
				before := truth.Lon
				truth = shift(truth, Offset{geo.Metres(driftNorth * dt), geo.Metres(driftEast * dt)})
				// Its direction is kept in space, not against the meridian.
				g := (truth.Lon - before).Signed() * angle.Angle(truth.Lat.Sin())
				driftNorth, driftEast = driftNorth*g.Cos()-driftEast*g.Sin(), driftEast*g.Cos()+driftNorth*g.Sin()
			}
			step(Entry{Time: now, Leg: l})
		}
	}
	fix := func() {
		p := shift(truth, Offset{geo.Metres(draw(fixSigma)), geo.Metres(draw(fixSigma))})
		step(Entry{Time: now, Fix: &Fix{Position: p, Sigma: fixSigma}})
	}

	legs(8 + r.IntN(12))
	middle, before := len(entries)/2, len(entries)
	fix()
	legs(5 + r.IntN(10))
	end := len(entries)
	legs(4)
	fix()

	track, err := m.Run(d, entries)
	if err != nil {
		t.Fatalf("%s, seed %d: %v", k.name, seed, err)
	}
	estimated := func(at string, i int) outcome {
		p := track.Points[i]
		return outcome{at, offset(p.Estimated, truths[i-1]), p.Cov}
	}
	adjusted := func(at string, i int) outcome {
		p := track.Points[i]
		return outcome{at, offset(p.Adjusted, truths[i-1]), p.AdjustedCov}
	}
	return []outcome{
		estimated("before the fix", before),
		estimated("beyond the fix", end),
		adjusted("middle, adjusted", middle),
		adjusted("next to the fix, adjusted", before),
		adjusted("between fixes, adjusted", end),
	}
}

// The 95 % ellipse must hold the truth in 95 % of journeys, and the squared error in
// sigmas (NEES) average 2, the expectation of chi-square with two degrees of
// freedom (Bar-Shalom, Li and Kirubarajan, Estimation with Applications to Tracking
// and Navigation, 2001, section 5.4.2).
//
// With SHADOWREAD_SOAK=2000 that many journeys must keep within 93 to 97 % and 1.8
// to 2.2. Chance alone moves the share by sqrt(0.95 x 0.05 / n), 0.49 % there, and
// the mean by 2/sqrt(n), 0.045: the bars lie at 4.1 and 4.5 sigma. With fewer
// journeys the bars are those multiples of the greater scatter.
func TestEllipsesHoldTheTruth(t *testing.T) {
	n := 100
	if v, err := strconv.Atoi(os.Getenv("SHADOWREAD_SOAK")); err == nil {
		n = v
	}
	widen := max(1, math.Sqrt(2000/float64(n)))
	for i, k := range kinds {
		t.Run(k.name, func(t *testing.T) {
			t.Parallel()
			type sum struct {
				held int
				nees float64
			}
			sums := map[string]*sum{}
			var order []string
			for j := range n {
				for _, o := range simulate(t, k, uint64(1_000_000*i+j)) {
					if sums[o.at] == nil {
						sums[o.at] = &sum{}
						order = append(order, o.at)
					}
					d := o.cov.mahalanobis(o.missed)
					sums[o.at].nees += d * d
					if d*d <= chi2At95 {
						sums[o.at].held++
					}
				}
			}
			for _, at := range order {
				share := float64(sums[at].held) / float64(n)
				nees := sums[at].nees / float64(n)
				line := fmt.Sprintf("%s, %s: %d journeys, %.1f %% held, NEES %.3f", k.name, at, n, 100*share, nees)
				t.Log(line)
				if math.Abs(share-0.95) > 0.02*widen || math.Abs(nees-2) > 0.2*widen {
					t.Error(line)
				}
			}
		})
	}
}
