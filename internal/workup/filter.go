package workup

import (
	"math"
	"slices"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
)

// Next carries the state over one entry, in time that does not depend on how many
// went before. The closing is nil if the entry has no fix; a fix that lies more
// than its rule allows from the estimate and is not confirmed is reported there as not
// used, and leaves the estimate as it was.
//
// It fails with code "bad_state", "time_backwards", "bad_heading", "bad_distance",
// "bad_altitude", "bad_position", "bad_fix", "no_heading", "near_pole" or
// "pole_passed"; the state given is never changed.
func (m Model) Next(s State, e Entry) (State, *Closing, error) {
	if err := m.Validate(); err != nil {
		return State{}, nil, err
	}
	if err := s.Validate(); err != nil {
		return State{}, nil, err
	}
	next, err := m.advance(&s, e, nil)
	if err != nil || e.Fix == nil {
		return next, nil, err
	}
	u, err := next.observe(e.Fix)
	if err != nil {
		return State{}, nil, err
	}
	return next, &u.closing, nil
}

// trail keeps the steps that errors went through; nil keeps none.
type trail []step

// carry takes the covariance through a step.
func (s *State) carry(kept *trail, f ...row) {
	s.P.carry(f)
	if kept != nil {
		*kept = append(*kept, slices.Clone(f))
	}
}

// advance carries the state to the time and end of an entry, before its fix. The
// shared errors age or begin anew; a new heading is made from them; the leg is run;
// the ground drifts. Each is a step linear in the errors.
func (m Model) advance(s *State, e Entry, kept *trail) (next State, err error) {
	dt := e.Time.Sub(s.Time)
	if dt < 0 {
		return State{}, fault.New("time_backwards", "correct the time of this entry or of the one before",
			"time %s is before that of the last entry, %s", e.Time.Format(time.RFC3339), s.Time.Format(time.RFC3339))
	}
	if e.Leg != nil {
		if err := e.Leg.validate(); err != nil {
			return State{}, err
		}
		if e.Leg.Continues && !s.Steered {
			return State{}, fault.New("no_heading", "give the heading of this leg", "no leg before this one whose heading could go on")
		}
	}
	next = *s
	next.Time = e.Time
	m.age(&next, e.Leg, dt.Hours(), kept)
	if e.Leg != nil {
		if !e.Leg.Continues {
			if err := m.head(&next, e.Leg, kept); err != nil {
				return State{}, err
			}
		}
		if err := next.displace(e.Leg, kept); err != nil {
			return State{}, err
		}
	}
	if m.Drift > 0 || m.DriftWalk > 0 {
		if err := m.drift(&next, s.Position, dt.Seconds(), kept); err != nil {
			return State{}, err
		}
	}
	return next, next.checkPole()
}

// age lets the shared errors walk for some hours, and begins anew those that a
// remount, a change of tyres or a fresh odometer reading replaces.
func (m Model) age(s *State, l *Leg, hours float64, kept *trail) {
	s.P[mount][mount] += float64(m.MountWalk*m.MountWalk) * hours
	s.P[leanX][leanX] += float64(m.LeanWalk*m.LeanWalk) * hours
	s.P[leanY][leanY] += float64(m.LeanWalk*m.LeanWalk) * hours
	s.P[scale][scale] += m.ScaleWalk * m.ScaleWalk * hours
	anew := func(i int, sigma float64) {
		s.carry(kept, row{i: i})
		s.Mean[i], s.P[i][i] = 0, sigma*sigma
	}
	if l == nil {
		return
	}
	if l.ByDial && !l.Continues && l.Mount != s.Mount {
		s.Mount = l.Mount
		anew(mount, m.Mount.Radians())
		anew(leanX, m.Lean.Radians())
		anew(leanY, m.Lean.Radians())
	}
	if l.Odometer && l.Tyres != s.Tyres {
		s.Tyres = l.Tyres
		anew(scale, m.Scale)
	}
	if l.Odometer && !s.Odometer {
		anew(reading, rounded(l.Resolution))
	}
}

// rounded is the sigma of what was rounded to a step: a value uniform over the step
// has the variance step^2/12.
func rounded(step geo.Metres) float64 { return float64(step) / math.Sqrt(12) }

// head makes the heading of a new leg.
func (m Model) head(s *State, l *Leg, kept *trail) error {
	of, correction, extra, err := s.newHeading(l)
	if err != nil {
		return err
	}
	s.Heading = (l.Heading + correction).Bearing()
	s.Steered = true
	s.carry(kept, row{heading, of})
	steering := m.Steering
	if l.Steering != nil {
		steering = *l.Steering
	}
	s.P[heading][heading] += float64(l.HeadingSigma*l.HeadingSigma+steering*steering) + extra
	return nil
}

// newHeading returns how the errors known so far act on a heading that was read,
// the correction their estimates make, and a variance where the body is unknown.
//
// With the rod's lean (x, y) from plumb, the body at altitude a and the shadow's
// plate direction p, the shadow turns clockwise by tan(a)(x cos p - y sin p); the
// heading is azimuth + 180 - p, so as much must be added to it (docs/workup.md).
//
// Azimuth A changes with the place it is computed for: with latitude phi by
// sin A tan a, with longitude by sin phi - cos phi cos A tan a (W. M. Smart,
// Textbook on Spherical Astronomy, differential formulae of the astronomical
// triangle; derived in docs/workup.md).
func (s *State) newHeading(l *Leg) (of vector, correction angle.Angle, variance float64, err error) {
	var seen Body // from the estimate
	var moved angle.Angle
	if l.Body != nil {
		seen = *l.Body
		if l.ComputedAt != nil {
			seen = l.Body.from(*l.ComputedAt, s.Position)
			if err := seen.validate(); err != nil {
				return vector{}, 0, 0, err
			}
			moved = (seen.Azimuth - l.Body.Azimuth).Signed()
			meridian, parallel := radii(s.Position.Lat)
			tan := seen.Altitude.Tan()
			of[north] = seen.Azimuth.Sin() * tan / meridian
			of[east] = (s.Position.Lat.Sin() - s.Position.Lat.Cos()*seen.Azimuth.Cos()*tan) / parallel
		}
	}
	switch {
	case l.ByDial && l.Body != nil:
		shadow := l.Body.Azimuth + 180*angle.Degree - l.Heading
		of[mount] = 1
		of[leanX] = seen.Altitude.Tan() * shadow.Cos()
		of[leanY] = -seen.Altitude.Tan() * shadow.Sin()
	case l.ByDial:
		const tan2 = 3 // of 60 degrees
		of[mount] = 1
		variance = tan2 * max(s.P[leanX][leanX], s.P[leanY][leanY])
	}
	// The means of north and east are 0: their rows correct nothing.
	return of, moved + angle.Angle(dot(&of, &s.Mean)), variance, nil
}

// from returns where a body far away that is seen from p stands for q: its
// direction, turned into the axes of the earth at p and out of them at q.
func (b Body) from(p, q geo.Position) Body {
	e, n, u := b.Altitude.Cos()*b.Azimuth.Sin(), b.Altitude.Cos()*b.Azimuth.Cos(), b.Altitude.Sin()
	// Along p's meridian: away from the earth's axis, and along it to the north.
	out, axis := u*p.Lat.Cos()-n*p.Lat.Sin(), u*p.Lat.Sin()+n*p.Lat.Cos()
	turn := q.Lon - p.Lon
	e, out = e*turn.Cos()-out*turn.Sin(), out*turn.Cos()+e*turn.Sin()
	n, u = axis*q.Lat.Cos()-out*q.Lat.Sin(), axis*q.Lat.Sin()+out*q.Lat.Cos()
	return Body{Azimuth: angle.Atan2(e, n).Bearing(), Altitude: angle.Asin(u)}
}

// displace runs a leg. Errors of the start go along, the eastward one stretched by
// the ratio of the parallels, since a heading holds against the local meridian; the
// derivatives are those of the rhumb line (geo.RhumbDirect).
//
// A course that errs by d makes good cos(d) of the distance, in the mean short by
// half the variance. The estimate stays on the rhumb line as logged, and weave, a
// shared error of one sigma, carries the shortening as uncertainty.
func (s *State) displace(l *Leg, kept *trail) error {
	run := float64(l.Distance)
	stretch := 1.0
	if l.Odometer {
		run += s.Mean[reading]
		stretch += s.Mean[scale]
	}
	variance := s.P[heading][heading]
	if variance > float64(maxHeadingSigma*maxHeadingSigma) {
		return fault.New("bad_heading", "read the heading anew, or log the leg's end as a fix",
			"the heading %v of the leg is uncertain by more than 30 degrees", s.Heading)
	}
	course := s.Heading
	sin, cos := course.Sin(), course.Cos()
	made := max(0, run*stretch*(1-s.Mean[weave]*variance/2))

	end, err := geo.RhumbDirect(s.Position, course, geo.Metres(made))
	if err != nil {
		return err
	}
	middle := (s.Position.Lat + end.Lat) / 2
	_, parallel1 := radii(s.Position.Lat)
	_, parallel := radii(middle)
	_, parallel2 := radii(end.Lat)
	turn := made * middle.Sin() / parallel // what the meridians converge by on a run due east

	n := vector{
		north:   1,
		heading: -made * sin,
		weave:   -run * stretch * variance / 2 * cos,
	}
	e := vector{
		east:    parallel2 / parallel1,
		north:   made * sin * middle.Sin() / parallel1,
		heading: made * parallel2 / parallel * (cos - sin*sin*turn/2),
		weave:   -run * stretch * variance / 2 * sin,
	}
	if l.Odometer {
		n[scale], e[scale] = run*cos, run*sin
		n[reading], e[reading] = stretch*cos, stretch*sin
		s.carry(kept, row{north, n}, row{east, e}, row{i: reading})
		s.Mean[reading] = 0
		step := rounded(l.Resolution)
		s.P.addOuter(vector{north: -stretch * cos, east: -stretch * sin, reading: 1}, step*step)
	} else {
		s.carry(kept, row{north, n}, row{east, e})
	}
	// About its mean, the shortening scatters by variance/sqrt(2) of the run.
	scatter := made * made * variance * variance / 2
	s.P.addOuter(vector{north: cos, east: sin}, float64(l.DistanceSigma*l.DistanceSigma)+scatter)
	s.Position = end
	s.Odometer = l.Odometer
	s.Run += l.Distance
	return nil
}

// drift moves the position with the ground. The velocity is that of a random walk,
// so that its noise q per second adds q t^3/3 to the position's variance and
// q t^2/2 to what the two have in common (Bar-Shalom, Li and Kirubarajan,
// Estimation with Applications to Tracking and Navigation, 2001, section 6.2.2).
// Being fixed to the ground it turns against the local meridian on the way from
// the last entry's position.
func (m Model) drift(s *State, from geo.Position, seconds float64, kept *trail) error {
	vn, ve := s.Mean[driftN], s.Mean[driftE]
	end, err := geo.RhumbDirect(s.Position, angle.Atan2(ve, vn), geo.Metres(math.Hypot(vn, ve)*seconds))
	if err != nil {
		return err
	}
	turn := (end.Lon - from.Lon).Signed() * angle.Angle(((end.Lat + from.Lat) / 2).Sin())
	turnN := vector{driftN: turn.Cos(), driftE: -turn.Sin()}
	turnE := vector{driftN: turn.Sin(), driftE: turn.Cos()}
	s.Mean[driftN], s.Mean[driftE] = dot(&turnN, &s.Mean), dot(&turnE, &s.Mean)
	s.carry(kept,
		row{north, vector{north: 1, driftN: seconds}},
		row{east, vector{east: 1, driftE: seconds}},
		row{driftN, turnN}, row{driftE, turnE})
	q := float64(m.DriftWalk*m.DriftWalk) / 3600 // per second, from per hour
	for _, axis := range [][2]int{{north, driftN}, {east, driftE}} {
		x, v := axis[0], axis[1]
		s.P[x][x] += q * seconds * seconds * seconds / 3
		s.P[x][v] += q * seconds * seconds / 2
		s.P[v][x] += q * seconds * seconds / 2
		s.P[v][v] += q * seconds
	}
	s.Position = end
	return nil
}
