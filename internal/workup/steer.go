package workup

import (
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
)

// Pace is the speed of a stretch of the log, over the ground that is driven on: what was
// run, and the time that it took without the time stood.
type Pace struct {
	Run      geo.Metres
	UnderWay float64 // seconds
}

// Speed returns the mean speed under way; 0 where nothing was run.
func (p Pace) Speed() MetresPerSecond {
	if p.UnderWay <= 0 {
		return 0
	}
	return MetresPerSecond(float64(p.Run) / p.UnderWay)
}

// Steering is how to make good a course on ground that drifts.
type Steering struct {
	Heading, Sigma angle.Angle     // to steer, by drift and course
	MadeGood       MetresPerSecond // along the course
}

// AllowFor returns how a course is made good at a speed over ground that drifts as has been
// learnt. courseSigma is that of the course itself. ok is false where the drift sets off
// faster than the vehicle runs, so that it cannot be made good.
func (sh Shared) AllowFor(course, courseSigma angle.Angle, speed MetresPerSecond) (s Steering, ok bool) {
	n, e := float64(sh.DriftN), float64(sh.DriftE)
	along := n*course.Cos() + e*course.Sin()
	across := e*course.Cos() - n*course.Sin() // to the right
	v := float64(speed)
	if !(v > math.Abs(across)) {
		return Steering{}, false
	}
	allow := angle.Asin(-across / v)
	made := v*allow.Cos() + along
	if made <= 0 {
		return Steering{}, false
	}
	sigma := math.Hypot(float64(sh.DriftNSigma)*course.Sin(), float64(sh.DriftESigma)*course.Cos()) / (v * allow.Cos())
	return Steering{
		Heading: (course + allow).Bearing(), Sigma: angle.Angle(math.Hypot(sigma, float64(courseSigma))),
		MadeGood: MetresPerSecond(made),
	}, true
}
