// Package workup turns a log of headings, distances and fixes into estimated
// positions with the uncertainty they deserve.
//
// It is a pure estimator: entries go in, positions, covariances and closing errors
// come out. Begin gives the state at the departure, Next carries it over one entry
// in constant time, and Run works up a whole log and adjusts every entry by the
// fixes that came after it. docs/workup.md derives what is used here.
//
// Conventions: positions err in metres north and east of the estimate, along its
// own meridian and parallel. The plate's axes are x to starboard and y forward.
// A stated plus-or-minus is one sigma.
package workup

import (
	"math"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
)

// MetresPerSecond is a speed over the ground.
type MetresPerSecond float64

// Model holds how wrong the instruments may be: one-sigma priors of the errors
// that many legs share, and what each adds with time. All may be 0, but for an
// error that is 0 for good no fix will ever learn otherwise.
type Model struct {
	// Steering is the error of the mean course over a leg against the heading
	// meant: independent from leg to leg. It mostly rules the error across a
	// journey of few legs.
	Steering angle.Angle

	// Mount is what must be added to every heading by the dial, since the dial's
	// forward axis is not the vehicle's. MountWalk is what it moves by in an
	// hour, growing with the square root of time. Both begin anew when the
	// instrument is remounted.
	Mount, MountWalk angle.Angle

	// Lean is how far the rod leans from plumb, in each of the plate's two axes,
	// and LeanWalk how far it moves in an hour. It turns a heading by up to its
	// amount times tan(altitude).
	Lean, LeanWalk angle.Angle

	// Scale is the odometer's: true distance = odometer x (1 + scale). It begins
	// anew when tyres are changed. ScaleWalk is per square root of an hour.
	Scale, ScaleWalk float64

	// Drift is the speed of the ground itself, that of sea ice, in each axis, and
	// DriftWalk what it changes by in an hour. 0 and 0 on land.
	Drift, DriftWalk MetresPerSecond
}

// Land returns the defaults for a vehicle on land. Each figure is argued in
// docs/workup.md.
func Land() Model {
	return Model{
		Steering:  2 * angle.Degree,
		Mount:     1 * angle.Degree,
		MountWalk: 0.1 * angle.Degree,
		Lean:      0.5 * angle.Degree,
		LeanWalk:  0.1 * angle.Degree,
		Scale:     0.02,
		ScaleWalk: 0.001,
	}
}

// Ice returns the defaults on drifting ice.
func Ice() Model {
	m := Land()
	m.Drift = 0.1
	m.DriftWalk = 0.02
	return m
}

// Bounds up to which the linear model was tried.
const (
	maxHeadingSigma = 30 * angle.Degree
	maxLean         = 10 * angle.Degree
	maxScale        = 0.3
	maxDrift        = 2 // m/s
)

// Validate fails with code "bad_model" if a sigma is negative, no number or beyond
// what the linear model bears: 30 degrees of heading, 10 of lean, 30 per cent of
// scale, 2 m/s of drift.
func (m Model) Validate() error {
	for _, v := range []struct {
		name        string
		value, most float64
	}{
		{"steering error", float64(m.Steering), float64(maxHeadingSigma)},
		{"lubber line shared by headings", float64(m.Mount), float64(maxHeadingSigma)},
		{"lubber line's walk", float64(m.MountWalk), float64(maxHeadingSigma)},
		{"lean", float64(m.Lean), float64(maxLean)},
		{"lean walk", float64(m.LeanWalk), float64(maxLean)},
		{"scale", m.Scale, maxScale},
		{"scale walk", m.ScaleWalk, maxScale},
		{"drift", float64(m.Drift), maxDrift},
		{"drift walk", float64(m.DriftWalk), maxDrift},
	} {
		if !(v.value >= 0 && v.value <= v.most) {
			return fault.New("bad_model", "give one sigma: at most 30 degrees of heading, 10 of lean, 30 per cent of scale, 2 m/s of drift",
				"the sigma of the %s is out of range", v.name)
		}
	}
	return nil
}

// Departure is where and when a journey begins.
type Departure struct {
	Time     time.Time
	Position geo.Position
	Cov      Cov
}

// Entry is one line of the log: a leg that ends at its time, a fix taken then, or
// both, the leg first. With neither it is a halt: only time passes.
type Entry struct {
	Time time.Time
	Leg  *Leg
	Fix  *Fix
}

// Leg is a run on one heading from the entry before.
type Leg struct {
	// Heading is the true heading as read, not corrected by anything learnt here.
	Heading angle.Angle
	// HeadingSigma is the independent error of this reading, without the lubber
	// line and the rod's fixed lean, which ByDial brings in.
	HeadingSigma angle.Angle
	// Continues says that the leg goes on with the reading of the leg before it,
	// so that its error, reading and steering, is the same one. The other
	// particulars of the heading are then not looked at.
	Continues bool
	// ByDial says that the heading was read with the mounted instrument.
	ByDial bool
	// Mount tells one mounting of the instrument from the next: a change of number
	// begins its bias and lean anew.
	Mount int
	// Steering goes before the model's; nil leaves it.
	Steering *angle.Angle
	// Body is where the sun or moon stood at the reading by dial; nil if that was
	// not kept. The lean then counts as an independent error, at 60 degrees of
	// altitude.
	Body *Body
	// ComputedAt is the position that the body's azimuth was computed for, if that
	// was an estimate of the work-up: an error of the estimate then turns the
	// heading too, and is allowed for. Nil if a receiver gave the position.
	ComputedAt *geo.Position

	// Distance is the difference of two odometer readings, or a distance had some
	// other way. DistanceSigma is an independent error; it may be 0.
	Distance, DistanceSigma geo.Metres
	// Odometer says that the distance comes from the odometer. Its readings are
	// rounded to Resolution; the reading that ends one leg begins the next, so
	// what one leg is too long by the next is too short by.
	Odometer   bool
	Resolution geo.Metres
	// Tyres tells one set of tyres from the next, as Mount does.
	Tyres int
}

// Body is a direction in the sky.
type Body struct {
	Azimuth  angle.Angle // clockwise from true north
	Altitude angle.Angle
}

// Fix is a position had from outside. Sigma is per axis.
type Fix struct {
	Position geo.Position
	Sigma    geo.Metres
	// Confirmed makes the fix count however far it lies from the estimate.
	Confirmed bool
	Rule      FixRule
}

// maxAltitude is where tan(altitude) makes of a lean something no longer small;
// minAltitude leaves room for refraction at the horizon.
const (
	minAltitude = -1 * angle.Degree
	maxAltitude = 85 * angle.Degree
)

// finite reports whether all values are numbers.
func finite(values ...float64) bool {
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

func (l *Leg) validate() error {
	switch {
	case !finite(float64(l.Heading)) || !(l.HeadingSigma >= 0 && l.HeadingSigma <= maxHeadingSigma):
		return fault.New("bad_heading", "give the true heading and its sigma in degrees, at most 30; for less than that, log the leg's end as a fix",
			"heading %v with sigma %v cannot be worked up", l.Heading, l.HeadingSigma)
	case !finite(float64(l.Distance)) || !(l.Distance >= 0) || l.Distance > maxLeg:
		return fault.New("bad_distance", "give a distance from 0 to 1000 km, or split the leg",
			"a leg of %.3f km cannot be worked up", l.Distance.Kilometres())
	case !(l.DistanceSigma >= 0 && l.DistanceSigma <= maxLeg) || !(l.Resolution >= 0 && l.Resolution <= maxLeg):
		return fault.New("bad_distance", "give the sigma and the odometer's resolution as lengths, not negative",
			"distance sigma %v m or resolution %v m is out of range", float64(l.DistanceSigma), float64(l.Resolution))
	case l.Steering != nil && !(*l.Steering >= 0 && *l.Steering <= maxHeadingSigma):
		return fault.New("bad_heading", "give the steering's sigma in degrees, at most 30", "a steering sigma of %v cannot be worked up", *l.Steering)
	case l.ComputedAt != nil && l.ComputedAt.Validate() != nil:
		return l.ComputedAt.Validate()
	case l.Body != nil:
		return l.Body.validate()
	}
	return nil
}

func (b Body) validate() error {
	if !finite(float64(b.Azimuth)) || !(b.Altitude >= minAltitude && b.Altitude <= maxAltitude) {
		return fault.New("bad_altitude", "give the azimuth and altitude of the body whose shadow was read, at most 85 degrees high; log the heading by hand if it was not up",
			"a body at azimuth %v, altitude %v gives no usable shadow", b.Azimuth, b.Altitude)
	}
	return nil
}

// maxLeg is the longest leg whose linear error model was tried.
const maxLeg = 1000 * geo.Kilometre
