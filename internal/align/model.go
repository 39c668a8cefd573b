package align

import (
	"math"
	"slices"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/geo"
	"shadowread/internal/instrument"
)

// Parameters, in the order of the vectors and the covariance. The heading of each stand
// follows the last.
const (
	pLeanS   = iota // slope of the rod less that of the plumb line, starboard
	pLeanF          // and forward
	pRodS           // slope of the rod against the sheet
	pRodF           //
	pEast           // slope of the vertical against the ground's normal, where it is turned
	pNorth          //
	pFootS          // mm
	pFootF          // mm
	pHeight         // ln of the rod's height over its stated one
	pClock          // s, fast positive
	pMoveN          // km, from the stated position
	pMoveE          // km
	pStretch        // of the print
	pSkyE           // slope of the ground to the horizon
	pSkyN           //
	pStands
)

// steps are the increments of the numerical derivatives: large beside rounding, small
// beside the scale on which the model bends.
var steps = [pStands + 1]float64{1e-5, 1e-5, 1e-5, 1e-5, 1e-5, 1e-5, 1e-3, 1e-3, 1e-5, 2, 0.1, 0.1, 1e-5, 1e-5, 1e-5, 1e-5}

func step(k int) float64 { return steps[min(k, pStands)] }

// prior is one row of what was known beforehand, in sigmas: x[k] / sigma = mean, or the
// same of x[k] - x[less] with less at 0 or above.
type prior struct {
	name     string
	k, less  int
	perSigma float64
	mean     float64
}

// gradient is the derivative by parameter k.
func (p prior) gradient(k int) float64 {
	switch k {
	case p.k:
		return p.perSigma
	case p.less:
		return -p.perSigma
	}
	return 0
}

// residual is mean less value, in sigmas.
func (p prior) residual(x []float64) float64 {
	v := x[p.k]
	if p.less >= 0 {
		v -= x[p.less]
	}
	return p.mean - p.perSigma*v
}

// problem is a set of readings with what is known beforehand.
type problem struct {
	obs    []Observation
	stand  []int // of each observation
	stands []string
	priors []prior
	held   []bool // parameters that are not solved for
	tilts  int    // of the first stand's own tilt, to starboard; 0 where stands have none
	height float64
}

func newProblem(obs []Observation, p Priors) *problem {
	q := &problem{obs: obs, height: p.HeightMM}
	lengths := false
	var ratios []float64
	for _, o := range obs {
		k := slices.Index(q.stands, o.Stand)
		if k < 0 {
			k = len(q.stands)
			q.stands = append(q.stands, o.Stand)
		}
		q.stand = append(q.stand, k)
		if o.LengthSigmaMM > 0 {
			lengths = true
			ratios = append(ratios, o.LengthMM*o.Sky.Altitude.Tan())
		}
	}
	q.held = make([]bool, pStands+len(q.stands))
	know := func(name string, k int, mean, sigma float64) {
		if sigma == 0 {
			q.held[k] = true
			return
		}
		q.priors = append(q.priors, prior{name, k, -1, 1 / sigma, mean / sigma})
	}
	know("the rod's squareness to the sheet", pRodS, p.Rod.Starboard, p.RodSigma.Tan())
	know("the rod's squareness to the sheet", pRodF, p.Rod.Forward, p.RodSigma.Tan())
	// The plate's slope is that of the rod less the lean. 1e-9 rad stands for 0: the
	// lean is then the rod's own.
	plate := 1 / max(1e-9, p.PlateSigma.Tan())
	q.priors = append(q.priors, prior{"the level of the plate", pRodS, pLeanS, plate, 0}, prior{"the level of the plate", pRodF, pLeanF, plate, 0})
	ground := p.GroundSigma.Tan()
	if p.Reversal != nil {
		ground = p.Reversal.Surface.Tan()
	}
	if len(q.stands) == 1 {
		ground = 0 // it cannot be told from the plate's slope, and is in it
	}
	know("the level of the ground", pEast, 0, ground)
	know("the level of the ground", pNorth, 0, ground)
	know("the rod's foot in the dial's centre", pFootS, 0, p.FootSigmaMM)
	know("the rod's foot in the dial's centre", pFootF, 0, p.FootSigmaMM)
	switch {
	case !lengths:
		q.held[pHeight] = true
	case q.height == 0: // solved for: no prior
		slices.Sort(ratios)
		q.height = ratios[len(ratios)/2]
	default:
		know("the rod's height", pHeight, 0, p.HeightSigma)
	}
	know("the clock", pClock, 0, p.ClockSigma.Seconds())
	know("the position", pMoveN, 0, p.PositionSigmaKM)
	know("the position", pMoveE, 0, p.PositionSigmaKM)
	know("the print", pStretch, 0, p.StretchSigma)
	know("the ground to the horizon", pSkyE, 0, p.HorizonSigma.Tan())
	know("the ground to the horizon", pSkyN, 0, p.HorizonSigma.Tan())
	return q
}

// start returns the parameters of a plumb rod on a level sheet. Each stand's heading is
// the one that the others of the stand lie nearest to, so that a bad one does not count.
func (q *problem) start() []float64 {
	x := make([]float64, len(q.held))
	for _, p := range q.priors {
		if p.less < 0 {
			x[p.k] = p.mean / p.perSigma
		}
	}
	for s := range q.stands {
		least := math.Inf(1)
		for i := range q.obs {
			if q.stand[i] != s {
				continue
			}
			plain := q.obs[i].plainHeading()
			sum := 0.0
			for j := range q.obs {
				if q.stand[j] == s {
					sum += math.Abs(float64((q.obs[j].plainHeading() - plain).Signed()))
				}
			}
			if sum < least {
				least, x[pStands+s] = sum, float64(plain)
			}
		}
	}
	return x
}

// plainHeading is the heading for a plumb rod on a level sheet.
func (o *Observation) plainHeading() angle.Angle {
	return (o.Sky.Azimuth + math.Pi - o.Direction).Bearing()
}

// sky returns where the light stands if clock and position are off by x.
func (o *Observation) sky(x []float64) (azimuth, altitude angle.Angle, err error) {
	if x[pClock] == 0 && x[pMoveN] == 0 && x[pMoveE] == 0 {
		return o.Sky.Azimuth, o.Sky.Altitude, nil
	}
	p := o.Sky.Position
	perKM := angle.Degree / geo.KMPerDegree
	east := perKM * angle.Angle(x[pMoveE]/max(0.01, p.Lat.Cos()))
	p = geo.Position{
		Lat: max(-math.Pi/2, min(math.Pi/2, p.Lat+perKM*angle.Angle(x[pMoveN]))),
		Lon: (p.Lon + east).Signed(),
	}
	at := o.Sky.Time.Add(-time.Duration(x[pClock] * float64(time.Second)))
	a, err := bearing.Observe(o.Sky.Body, at, p, o.Sky.ElevationMetres)
	return a.Azimuth, a.Altitude, err
}

// prediction is what one observation should show.
type prediction struct {
	direction                  angle.Angle
	offsetMM, length, rodSlope float64
	plumb                      instrument.Slope // as the horizon shows it
}

// predict returns what the observation should show under x, with the light where sky
// put it.
func (q *problem) predict(i int, x []float64, azimuth, altitude angle.Angle) (prediction, bool) {
	o := &q.obs[i]
	heading := angle.Angle(x[pStands+q.stand[i]])
	rod := instrument.Slope{Starboard: x[pRodS], Forward: x[pRodF]}
	plumb := rod.Minus(instrument.Slope{Starboard: x[pLeanS], Forward: x[pLeanF]})
	s, c := heading.Sin(), heading.Cos()
	plumb = plumb.Plus(instrument.Slope{Starboard: x[pEast]*c - x[pNorth]*s, Forward: x[pEast]*s + x[pNorth]*c})
	if q.tilts > 0 {
		k := q.tilts + 2*q.stand[i]
		plumb = plumb.Plus(instrument.Slope{Starboard: x[k], Forward: x[k+1]})
	}
	d, perMM, ok := instrument.ShadowOn(heading, plumb, rod, azimuth, altitude)
	if !ok {
		return prediction{}, false
	}
	s, c = d.Sin(), d.Cos()
	p := prediction{
		direction: d,
		offsetMM:  x[pFootS]*c - x[pFootF]*s,
		length:    q.height*math.Exp(x[pHeight])*perMM + x[pFootS]*s + x[pFootF]*c,
		rodSlope:  x[pRodS]*o.RodToward.Sin() + x[pRodF]*o.RodToward.Cos(),
	}
	s, c = heading.Sin(), heading.Cos()
	p.plumb = plumb.Plus(instrument.Slope{Starboard: x[pSkyE]*c - x[pSkyN]*s, Forward: x[pSkyE]*s + x[pSkyN]*c})
	if o.RadiusMM > 0 {
		p.direction += angle.Asin(p.offsetMM / o.RadiusMM)
	}
	// A print stretched by e turns a direction by e/2 sin 2d.
	p.direction += angle.Angle(x[pStretch] / 2 * (2 * d).Sin())
	return p, true
}

// rows returns observation i's residuals in sigmas: direction, then offset, length, the
// rod's slope and the plumb line's where they were measured.
func (q *problem) rows(i int, x []float64, azimuth, altitude angle.Angle) ([]float64, bool) {
	o := &q.obs[i]
	p, ok := q.predict(i, x, azimuth, altitude)
	if !ok {
		return nil, false
	}
	r := []float64{float64((o.Direction - p.direction).Signed() / o.DirectionSigma)}
	if o.OffsetSigmaMM > 0 {
		r = append(r, (o.OffsetMM-p.offsetMM)/o.OffsetSigmaMM)
	}
	if o.LengthSigmaMM > 0 {
		r = append(r, (o.LengthMM-p.length)/o.LengthSigmaMM)
	}
	if o.RodSlopeSigma > 0 {
		r = append(r, (o.RodSlope-p.rodSlope)/o.RodSlopeSigma)
	}
	if o.PlumbSigma > 0 {
		sigma := o.PlumbSigma.Tan()
		r = append(r, (o.Plumb.Starboard-p.plumb.Starboard)/sigma, (o.Plumb.Forward-p.plumb.Forward)/sigma)
	}
	return r, true
}
