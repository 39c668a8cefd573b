package workup

import (
	"math"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
)

// The errors that the filter follows, in the order of its vectors. Angles are in
// radians.
const (
	north   = iota // of the position, metres
	east           //
	mount          // add to a heading by the dial
	leanX          // rod's lean to starboard
	leanY          // rod's lean forward
	scale          // of the odometer
	weave          // share of the shortening by a course that is not held; see displace
	reading        // rounding of the last odometer reading, metres
	heading        // of the current leg
	driftN         // metres a second
	driftE         //
	size
)

type (
	vector [size]float64
	matrix [size]vector
)

// row says what an error becomes in a step: of times the errors before it.
type row struct {
	i  int
	of vector
}

// A step is a linear map of the errors, given by the rows that differ from those of
// the identity. Few do, and the filter's time goes into them.
type step []row

// carry makes of p, a covariance, that of the errors after a step f: f p f'.
func (p *matrix) carry(f step) {
	var fresh matrix // the changed rows of f p
	for a, r := range f {
		for k, v := range r.of {
			if v == 0 {
				continue
			}
			for j, w := range p[k] {
				fresh[a][j] += v * w
			}
		}
	}
	for a, r := range f {
		for j, v := range fresh[a] {
			p[r.i][j], p[j][r.i] = v, v
		}
	}
	for a, r := range f {
		for _, q := range f[:a+1] {
			v := dot(&fresh[a], &q.of)
			p[r.i][q.i], p[q.i][r.i] = v, v
		}
	}
}

// carryBack makes of p, an information, that about the errors before a step f:
// f' p f. It uses f = 1 + sum of e d', where e picks a changed row and d is what
// changed in it.
func (p *matrix) carryBack(f step) {
	var column [size]vector // of p, where rows change
	for a, r := range f {
		for i := range p {
			column[a][i] = p[i][r.i]
		}
	}
	for a, r := range f {
		r.of[r.i]--
		for j, d := range r.of {
			if d == 0 {
				continue
			}
			for i := range p {
				p[i][j] += column[a][i] * d
			}
		}
	}
	for a, r := range f {
		column[a] = p[r.i]
	}
	for a, r := range f {
		r.of[r.i]--
		for i, d := range r.of {
			if d == 0 {
				continue
			}
			for j, v := range column[a] {
				p[i][j] += d * v
			}
		}
	}
}

// carryBack makes of x, the adjoint of the errors after a step f, that before it:
// f' x.
func (x *vector) carryBack(f step) {
	before := *x
	for _, r := range f {
		r.of[r.i]--
		for i, d := range r.of {
			x[i] += d * before[r.i]
		}
	}
}

// addOuter adds variance v along g.
func (p *matrix) addOuter(g vector, v float64) {
	for i, a := range g {
		if a == 0 {
			continue
		}
		for j, b := range g {
			p[i][j] += v * (a * b) // so bracketed, symmetric to the last digit
		}
	}
}

func dot(a, b *vector) (sum float64) {
	for i, v := range a {
		sum += v * b[i]
	}
	return sum
}

// State is all that must be kept of the log so far to carry on with it: the
// estimate at one entry. It goes through encoding/json unharmed, so that a log can
// store it beside the entry.
type State struct {
	Time     time.Time
	Position geo.Position
	// Heading is the best true heading of the current leg, once there is one.
	Heading angle.Angle
	Steered bool // there is a current leg
	// Odometer says that the last leg ended with a reading, which begins the next.
	Odometer     bool
	Mount, Tyres int
	// Run is the distance as logged since Since, the last fix used or the departure.
	Run   geo.Metres
	Since time.Time
	// Mean and P are the filter's estimate and covariance of the errors, in its
	// own order and units. The means of position and heading are 0: they are in
	// Position and Heading.
	Mean vector
	P    matrix
}

// Begin returns the state at the departure.
//
// It fails with code "bad_model", "bad_position" or "bad_departure".
func (m Model) Begin(d Departure) (State, error) {
	if err := m.Validate(); err != nil {
		return State{}, err
	}
	if err := d.Position.Validate(); err != nil {
		return State{}, err
	}
	if !d.Cov.valid() {
		return State{}, fault.New("bad_departure", "give the uncertainty of the departure in metres, one sigma",
			"the covariance %v of the departure is none", d.Cov)
	}
	s := State{Time: d.Time, Position: d.Position, Since: d.Time}
	s.P[north][north], s.P[north][east] = d.Cov.NN, d.Cov.NE
	s.P[east][north], s.P[east][east] = d.Cov.NE, d.Cov.EE
	priors := vector{ // of the shared errors, one sigma
		mount: m.Mount.Radians(),
		leanX: m.Lean.Radians(), leanY: m.Lean.Radians(),
		scale:  m.Scale,
		weave:  1,
		driftN: float64(m.Drift), driftE: float64(m.Drift),
	}
	for i, sigma := range priors {
		s.P[i][i] += sigma * sigma
	}
	return s, s.checkPole()
}

// Cov returns the covariance of the position.
func (s *State) Cov() Cov {
	return Cov{NN: s.P[north][north], NE: s.P[north][east], EE: s.P[east][east]}
}

// Validate fails with code "bad_state" if a stored state cannot be one.
func (s *State) Validate() error {
	ok := s.Position.Validate() == nil && s.Cov().valid() && finite(s.Mean[:]...) && finite(float64(s.Run), float64(s.Heading))
	for i := range s.P {
		ok = ok && finite(s.P[i][:]...) && s.P[i][i] >= 0
		for j := range i {
			ok = ok && s.P[i][j] == s.P[j][i]
		}
	}
	if !ok {
		return fault.New("bad_state", "work the log up from its departure", "the stored state of the work-up is damaged")
	}
	return nil
}

// Near a pole north and east lose their meaning within the ellipse itself. The
// filter was tried up to 89 degrees; it stops where the 95 % ellipse's major
// semi-axis exceeds a fifth of the distance from the earth's axis.
const (
	maxLatitude  = 89.5 * angle.Degree
	maxPoleShare = 0.2
)

func (s *State) checkPole() error {
	_, parallel := radii(s.Position.Lat)
	ellipse := s.Cov().Ellipse95()
	if s.Position.Lat.Abs() > maxLatitude || float64(ellipse.Major) > maxPoleShare*parallel {
		return fault.New("near_pole", "log a fix, not within half a degree of a pole, and carry on from there",
			"the estimated position %v, good to %.1f km, is too uncertain for its distance from the pole", s.Position, ellipse.Major.Kilometres())
	}
	return nil
}

// Shared is what has been learnt of the errors that legs share.
type Shared struct {
	Mount, MountSigma angle.Angle // add to headings by the dial
	// The rod's lean from plumb, to starboard and forward.
	LeanX, LeanXSigma, LeanY, LeanYSigma angle.Angle
	Scale, ScaleSigma                    float64 // true = odometer x (1 + scale)
	DriftN, DriftNSigma                  MetresPerSecond
	DriftE, DriftESigma                  MetresPerSecond
}

// Shared returns the estimates of the shared errors with their sigmas.
func (s *State) Shared() Shared {
	sigma := func(i int) float64 { return math.Sqrt(s.P[i][i]) }
	return Shared{
		Mount: angle.Angle(s.Mean[mount]), MountSigma: angle.Angle(sigma(mount)),
		LeanX: angle.Angle(s.Mean[leanX]), LeanXSigma: angle.Angle(sigma(leanX)),
		LeanY: angle.Angle(s.Mean[leanY]), LeanYSigma: angle.Angle(sigma(leanY)),
		Scale: s.Mean[scale], ScaleSigma: sigma(scale),
		DriftN: MetresPerSecond(s.Mean[driftN]), DriftNSigma: MetresPerSecond(sigma(driftN)),
		DriftE: MetresPerSecond(s.Mean[driftE]), DriftESigma: MetresPerSecond(sigma(driftE)),
	}
}
