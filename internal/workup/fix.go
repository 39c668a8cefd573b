package workup

import (
	"fmt"
	"slices"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
)

// FixRule is how far off a fix may lie, and what becomes of it once it is confirmed. Logs
// keep it with each fix, so that old ones give the same positions.
type FixRule int

// The rules.
const (
	// BeyondFive has a fix wait if it lies more than five sigma of estimate and fix together
	// away. Were all errors as the model says, one in 270,000 would (exp(-5*5/2)). Confirmed,
	// it is weighed against the estimate.
	BeyondFive FixRule = iota
	// FromThree has it wait from three sigma on, one in 90 of good days: a slip must not go
	// into what is learnt of instruments and drift unasked. Confirmed, it is where the
	// estimate starts anew, since that is then known to be wrong.
	FromThree
)

// far tells whether a fix so many sigma away has to wait.
func (r FixRule) far(sigmas float64) bool {
	if r == FromThree {
		return sigmas >= 3
	}
	return sigmas > 5
}

// Closing is what a fix shows of the work-up before it.
type Closing struct {
	Estimate geo.Position // before the fix
	Fix      geo.Position
	// Distance and Bearing run from the estimate to the fix.
	Distance geo.Metres
	Bearing  angle.Angle
	// PerCent is the distance in per cent of Run, what was logged since the last
	// fix used or the departure; 0 if nothing was run.
	PerCent float64
	Run     geo.Metres
	// Sigmas is the distance in sigmas of estimate and fix together (Mahalanobis).
	Sigmas float64
	// Spread is the covariance of estimate and fix together.
	Spread Cov
	// Used is false if the fix lies so far off that it has to be confirmed, and was not.
	Used bool
	// Blunder says that the fix lies so far off and was confirmed.
	// Something is then wrong that the model does not know of, so the shared
	// errors are carried on as they were before it.
	Blunder bool
	// Shared is what is known of the shared errors after the fix.
	Shared Shared
}

// update is a fix as the smoother needs it: f takes the errors before it to those
// after it, but for the fix's own error, and information and pull are S^-1 and S^-1
// nu of the filter, nu being the way from estimate to fix and S its covariance.
type update struct {
	closing     Closing
	f           step
	information [2][2]float64
	pull        [2]float64
}

// observe uses a fix, if it may be used: the measurement update of a Kalman filter,
// which is weighted least squares over the state, with the covariance in Joseph's
// form (Bierman, Factorization Methods for Discrete Sequential Estimation, 1977,
// chapter II).
func (s *State) observe(fix *Fix) (update, error) {
	if err := fix.Position.Validate(); err != nil {
		return update{}, err
	}
	if !(fix.Sigma > 0) || !finite(float64(fix.Sigma)) {
		return update{}, fault.New("bad_fix", "give the fix's error in metres, one sigma per axis, more than 0",
			"the sigma of %v m of a fix cannot be worked with", float64(fix.Sigma))
	}
	course, distance, err := geo.RhumbInverse(s.Position, fix.Position)
	if err != nil {
		return update{}, err
	}
	r := float64(fix.Sigma * fix.Sigma)
	c := s.Cov()
	c.NN += r
	c.EE += r
	o := offset(s.Position, fix.Position)
	u := update{closing: Closing{
		Estimate: s.Position, Fix: fix.Position, Distance: distance, Bearing: course,
		Run: s.Run, Sigmas: c.mahalanobis(o), Spread: c,
	}}
	if s.Run > 0 {
		u.closing.PerCent = 100 * float64(distance/s.Run)
	}
	far := fix.Rule.far(u.closing.Sigmas)
	u.closing.Used = !far || fix.Confirmed
	u.closing.Blunder = far && fix.Confirmed
	if !u.closing.Used {
		u.closing.Shared = s.Shared()
		return u, nil
	}

	det := c.NN*c.EE - c.NE*c.NE
	u.information = [2][2]float64{{c.EE / det, -c.NE / det}, {-c.NE / det, c.NN / det}}
	for j, v := range u.information {
		u.pull[j] = v[north]*float64(o.North) + v[east]*float64(o.East)
	}
	var gain [2]vector
	var moved vector
	for i, p := range s.P {
		f := row{i: i}
		f.of[i] = 1
		for j, v := range u.information {
			gain[j][i] = p[north]*v[north] + p[east]*v[east]
			f.of[j] -= gain[j][i]
		}
		moved[i] = p[north]*u.pull[north] + p[east]*u.pull[east]
		u.f = append(u.f, f)
	}
	before := *s
	s.P.carry(u.f)
	s.P.addOuter(gain[north], r)
	s.P.addOuter(gain[east], r)
	s.Position = shift(s.Position, Offset{North: geo.Metres(moved[north]), East: geo.Metres(moved[east])})
	if u.closing.Blunder {
		// Only the position is taken from the fix.
		if fix.Rule == FromThree {
			s.startAt(fix, &u)
		}
		for i := east + 1; i < size; i++ {
			u.f[i].of = vector{}
			for j := range size {
				s.P[i][j], s.P[j][i] = before.P[i][j], before.P[j][i]
			}
			for j := range 2 {
				s.P[i][j], s.P[j][i] = 0, 0
			}
		}
	} else {
		s.Heading = (s.Heading + angle.Angle(moved[heading])).Bearing()
		for i := east + 1; i < size; i++ {
			if i != heading {
				s.Mean[i] += moved[i]
			}
		}
	}
	s.Run, s.Since = 0, s.Time
	u.closing.Shared = s.Shared()
	return u, s.checkPole()
}

// startAt has the estimate start anew at a fix: nothing of its error before is left.
func (s *State) startAt(fix *Fix, u *update) {
	s.Position = fix.Position
	r := float64(fix.Sigma * fix.Sigma)
	for _, i := range []int{north, east} {
		u.f[i].of = vector{}
		s.P[i] = vector{}
		s.P[i][i] = r
	}
}

// CompassRule returns the correction of each leg of a traverse that should have
// ended closing further on: closing shared out by the legs' lengths (common
// practice; also called the Bowditch rule). If nothing was run nothing is
// corrected.
func CompassRule(lengths []geo.Metres, closing Offset) []Offset {
	var total geo.Metres
	for _, l := range lengths {
		total += l
	}
	corrections := make([]Offset, len(lengths))
	if total == 0 {
		return corrections
	}
	for i, l := range lengths {
		corrections[i] = Offset{North: closing.North * (l / total), East: closing.East * (l / total)}
	}
	return corrections
}

// Point is an entry as worked up.
type Point struct {
	// Estimated is where the entry seemed to be when it was made, before its own
	// fix, with its covariance.
	Estimated geo.Position
	Cov       Cov
	// Adjusted is where it is by all fixes of the log, with its covariance.
	Adjusted    geo.Position
	AdjustedCov Cov
	// Proportional is where the compass rule puts it: the closing error of the next
	// fix used, shared out by distance run. Without such a fix it is Estimated.
	Proportional geo.Position
	// Closing is nil if the entry has no fix.
	Closing *Closing
}

// Track is a log as worked up.
type Track struct {
	Points []Point // the departure, then one for each entry
	State  State   // after the last entry, to carry on with Next
}

// record is what the smoother needs of an entry.
type record struct {
	steps    trail
	update   *update   // nil if no fix was used
	after    [2]vector // rows of the covariance after the entry
	position geo.Position
}

// Run works up a whole log in time linear in its entries. It runs Next's filter
// forward and, if a fix was used, the modified Bryson-Frazier smoother back (Bierman,
// "Fixed interval smoothing with discrete measurements", Int. J. Control 18, 1973),
// which gives the weighted least-squares positions and their covariances and,
// unlike others, needs no inverse of a covariance: errors that are 0 do no harm.
//
// It fails as Begin and Next do; the message then names the entry, counted from 1.
func (m Model) Run(d Departure, entries []Entry) (*Track, error) {
	s, err := m.Begin(d)
	if err != nil {
		return nil, err
	}
	t := &Track{Points: make([]Point, 0, len(entries)+1)}
	point := func() Point {
		return Point{
			Estimated: s.Position, Cov: s.Cov(), Adjusted: s.Position, AdjustedCov: s.Cov(), Proportional: s.Position,
		}
	}
	t.Points = append(t.Points, point())
	hasFix := slices.ContainsFunc(entries, func(e Entry) bool { return e.Fix != nil })
	var records []record
	if hasFix {
		records = make([]record, len(entries)+1)
		records[0] = record{position: s.Position, after: [2]vector{s.P[north], s.P[east]}}
	}
	lastFix := 0 // the last used
	for i, e := range entries {
		var kept *trail
		if hasFix {
			kept = &records[i+1].steps
		}
		next, err := m.advance(&s, e, kept)
		if err != nil {
			return nil, entryError(i, err)
		}
		s = next
		p := point()
		if e.Fix != nil {
			u, err := s.observe(e.Fix)
			if err != nil {
				return nil, entryError(i, err)
			}
			p.Closing = &u.closing
			if u.closing.Used {
				records[i+1].update = &u
			}
		}
		t.Points = append(t.Points, p)
		if hasFix {
			records[i+1].position = s.Position
			records[i+1].after = [2]vector{s.P[north], s.P[east]}
		}
		if p.Closing != nil && p.Closing.Used {
			shareOut(t.Points[lastFix:i+2], entries[lastFix:i+1])
			lastFix = i + 1
		}
	}
	t.State = s
	if lastFix > 0 {
		smooth(t.Points[:lastFix+1], records)
	}
	return t, nil
}

// shareOut applies the compass rule to the points from the last fix used, or the
// departure, to the next.
func shareOut(points []Point, entries []Entry) {
	lengths := make([]geo.Metres, len(entries))
	for i, e := range entries {
		if e.Leg != nil {
			lengths[i] = e.Leg.Distance
		}
	}
	closing := points[len(points)-1].Closing
	var sum Offset
	for i, c := range CompassRule(lengths, offset(closing.Estimate, closing.Fix)) {
		sum.North += c.North
		sum.East += c.East
		points[i+1].Proportional = shift(points[i+1].Estimated, sum)
	}
}

// smooth adjusts points up to the last fix used. lambda and information are the
// adjoint of the errors and its covariance, carried back from fix to fix.
func smooth(points []Point, records []record) {
	var lambda vector
	var information matrix
	for i := len(points) - 1; i >= 0; i-- {
		p, r := &points[i], &records[i]
		var o [2]float64
		var c [2][2]float64
		for j := range 2 {
			o[j] = -dot(&r.after[j], &lambda)
			for k := range 2 {
				c[j][k] = r.after[j][k]
				for l := range size {
					c[j][k] -= r.after[j][l] * dot(&information[l], &r.after[k])
				}
			}
		}
		p.Adjusted = shift(r.position, Offset{North: geo.Metres(o[north]), East: geo.Metres(o[east])})
		p.AdjustedCov = Cov{NN: c[north][north], NE: c[north][east], EE: c[east][east]}
		if u := r.update; u != nil {
			lambda.carryBack(u.f)
			information.carryBack(u.f)
			for j := range 2 {
				lambda[j] -= u.pull[j]
				for k := range 2 {
					information[j][k] += u.information[j][k]
				}
			}
		}
		for _, f := range slices.Backward(r.steps) {
			lambda.carryBack(f)
			information.carryBack(f)
		}
	}
}

func entryError(i int, err error) error { return fmt.Errorf("entry %d: %w", i+1, err) }
