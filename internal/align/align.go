// Package align proves an instrument: from shadows seen over hours, or on several
// headings, it finds which way the sheet points, how the rod leans from plumb, where its
// foot stands and, on request, how wrong the clock is, with covariances; and it says what
// the readings leave open.
//
// It takes directions on the sheet, not photos, and needs no OpenCV. The plate frame and
// the exact projection are those of package instrument; docs/alignment.md derives what
// can be seen and what cannot.
//
// The model. The rod has a fixed slope against the sheet, and the plumb line a fixed
// slope in the plate frame: the plate is set up with the same bubble, or on the same
// mount. Where the instrument is turned, the ground (or table) under it adds a slope that
// stays with the ground. All readings share one clock, one position and one print.
package align

import (
	"math"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/fault"
	"shadowread/internal/instrument"
)

// Observation is one shadow. Sigmas are one standard deviation of what the observation
// shares with no other; what all share is in Priors.
type Observation struct {
	Label string           // names it to people: a photo, or a line of a file
	Sky   bearing.Apparent // the body at the stated time and place
	// Stand names the heading on which the instrument stood. It is the same for all of a
	// standing series, and different for each heading of a quick turn.
	Stand string

	// Direction is that of the shadow's axis on the sheet, clockwise from forward. With
	// RadiusMM it is where the shadow crosses a scale of that radius about the dial's
	// centre instead, as an eye reads it, so that a foot beside the centre counts.
	Direction, DirectionSigma angle.Angle
	RadiusMM                  float64

	// OffsetMM is how far the axis passes the dial's centre, to the right positive seen
	// along the shadow; not measured where OffsetSigmaMM is 0.
	OffsetMM, OffsetSigmaMM float64
	// LengthMM is from the foot of the perpendicular from the dial's centre on the axis
	// to the shadow of the rod's tip; not measured where LengthSigmaMM is 0.
	LengthMM, LengthSigmaMM float64
	// RodSlope is the rod's slope against the sheet towards RodToward (clockwise from
	// forward), as its own image shows it, mm per mm; not measured where RodSlopeSigma is 0.
	RodSlope, RodSlopeSigma float64
	RodToward               angle.Angle
	// Plumb is the plumb line's slope through the sheet, as the horizon in the picture shows
	// it, and PlumbSigma what is its own of either component; not measured where that is 0.
	Plumb      instrument.Slope
	PlumbSigma angle.Angle

	// Reversed is Direction if the numbers of the dial ran the other way round; nil where
	// the sheet's own marks told it.
	Reversed *angle.Angle
	// UTCOffset is that of the clock by which the time was stated, east positive; 0 where
	// it is not known or was UTC.
	UTCOffset time.Duration
}

// Same reports whether two observations are of one photo, whatever its name.
func (o Observation) Same(x Observation) bool {
	return o.Sky.Time.Equal(x.Sky.Time) && o.Direction == x.Direction
}

// Turned reports whether more than a quarter of the readings show another heading than
// most: a standing series may hold that many bad photos, and no more (Solve sets no more
// aside).
func Turned(obs []Observation) bool {
	const apart = 20 * angle.Degree // a lean that Solve takes up turns a heading by less
	heading := func(o Observation) angle.Angle { return o.Sky.Azimuth + math.Pi - o.Direction }
	fewest := len(obs)
	for _, a := range obs {
		other := 0
		for _, b := range obs {
			if (heading(a) - heading(b)).Signed().Abs() > apart {
				other++
			}
		}
		fewest = min(fewest, other)
	}
	return 4*fewest > len(obs)
}

// PhotoFloor and PhotoFloorMM are added in quadrature to what a photo's pixels and map say
// of the direction and the offset: with the truth known, good photos are off by so much
// beside their budgets (the eight photos of docs/alignment.md), and a series must not set
// one aside for a hundredth of a degree.
const (
	PhotoFloor   = 0.01 * angle.Degree
	PhotoFloorMM = 0.01 // that angle at the radius of the scale
)

// Priors is what is known before the readings. Sigmas are one standard deviation; 0 holds
// a quantity at its mean.
type Priors struct {
	// Rod is the rod's slope against the sheet as known beforehand, or zero, and RodSigma
	// its uncertainty in each component. A rod declared square has a small one.
	Rod      instrument.Slope
	RodSigma angle.Angle
	// PlateSigma is how far the sheet may be from level, each component.
	PlateSigma angle.Angle
	// GroundSigma is the same for the ground on which the instrument is turned.
	GroundSigma angle.Angle
	// FootSigmaMM is how far the rod's foot may be from the dial's centre, each component.
	FootSigmaMM float64
	// HeightMM is the rod's tip above the sheet and HeightSigma its uncertainty as a part
	// of it. With HeightMM 0 the height is solved for.
	HeightMM, HeightSigma float64
	// ClockSigma is one sigma of the clock's error. To solve for it, give a wide one.
	ClockSigma time.Duration
	// PositionSigmaKM is that of the position, north and east.
	PositionSigmaKM float64
	// StretchSigma is that of the print's scale athwart over fore-and-aft.
	StretchSigma float64
	// HorizonSigma is that of the ground's slope to the horizon, which all pictures share.
	HorizonSigma angle.Angle
	// Reversal is for an instrument reversed on a straight edge; nil for others.
	Reversal *Reversal
}

// DefaultPriors are for an instrument made with hand tools: a hole drilled square to two
// degrees, a board set by eye to three, a foot marked to half a millimetre, a rod
// measured to one per cent (common practice). The clock is a telephone's.
func DefaultPriors() Priors {
	return Priors{
		RodSigma: 2 * angle.Degree, PlateSigma: 3 * angle.Degree, GroundSigma: 2 * angle.Degree,
		FootSigmaMM: 0.5, HeightSigma: 0.01, ClockSigma: 2 * time.Second, StretchSigma: 0.002,
	}
}

// AskedClock is one sigma of a clock whose error is asked for: nobody's watch is off by
// half an hour unnoticed, and a wider one leaves the heading to the clock.
const AskedClock = 10 * time.Minute

const (
	// fewest leaves one check on heading and lean, which are three unknowns.
	fewest = 4
	// most bounds the work of one solution.
	most    = 2000
	lowest  = 3 * angle.Degree
	highest = 80 * angle.Degree
	// longest is how far readings of one series may be apart.
	longest = 48 * time.Hour
)

// check reports what cannot be solved.
func check(obs []Observation, p Priors) error {
	bad := func(o Observation, hint, format string, args ...any) error {
		return fault.New("bad_reading", hint, "%s: "+format, append([]any{o.Label}, args...)...)
	}
	switch {
	case p.Reversal != nil && len(obs) < 2:
		return fault.New("too_few_readings", "give a pair, or four by quarter turns", "an instrument is not reversed in one reading")
	case p.Reversal == nil && len(obs) < fewest:
		return fault.New("too_few_readings", "give at least four, better eight over four hours about noon", "an instrument is not proved by so few readings (%d)", len(obs))
	case len(obs) > most:
		return fault.New("too_many_readings", "give at most 2000", "%d readings are too many", len(obs))
	}
	tilt, _ := p.Rod.Tilt()
	if !(tilt < 45*angle.Degree) || !sound(float64(p.RodSigma), math.Pi/6) || !sound(float64(p.PlateSigma), math.Pi/6) ||
		!sound(float64(p.GroundSigma), math.Pi/6) || !sound(p.FootSigmaMM, 100) || !sound(p.HeightMM, 1e4) || !sound(p.HeightSigma, 1) ||
		!sound(p.ClockSigma.Hours(), 12) || !sound(p.PositionSigmaKM, 500) || !sound(p.StretchSigma, 0.1) || !sound(float64(p.HorizonSigma), math.Pi/6) ||
		p.Reversal != nil && (!sound(float64(p.Reversal.Centring), math.Pi/6) || !sound(float64(p.Reversal.Sides), math.Pi/6) || !sound(float64(p.Reversal.Surface), math.Pi/6)) {
		return fault.New("bad_prior", "sigmas are one standard deviation, 0 or more; lean at most 30 degrees, foot 100 mm, clock 12 h, position 500 km, print 0.1", "what is stated beforehand is out of range")
	}
	first, last := obs[0].Sky.Time, obs[0].Sky.Time
	for _, o := range obs {
		switch {
		case !(o.DirectionSigma > 0 && o.DirectionSigma <= 30*angle.Degree) || math.IsNaN(float64(o.Direction)) || math.IsInf(float64(o.Direction), 0):
			return bad(o, "give a direction with a sigma of up to 30 degrees", "the direction %v with sigma %v is none", o.Direction, o.DirectionSigma)
		case !sound(o.RadiusMM, 1e4) || !sound(o.OffsetSigmaMM, 1e3) || !sound(o.LengthSigmaMM, 1e4) || !sound(math.Abs(o.OffsetMM), 1e3) || !sound(o.LengthMM, 1e5):
			return bad(o, "give millimetres", "a length is out of range")
		case !sound(o.RodSlopeSigma, 1) || !sound(math.Abs(o.RodSlope), 1) || !sound(math.Abs(float64(o.RodToward)), 7):
			return bad(o, "give a slope of up to 1 mm per mm", "the rod's slope is out of range")
		case !sound(float64(o.PlumbSigma), 1) || !sound(math.Hypot(o.Plumb.Starboard, o.Plumb.Forward), 1):
			return bad(o, "give a tilt of up to 45 degrees", "the sheet's tilt is out of range")
		case o.LengthSigmaMM > 0 && o.LengthMM == 0:
			return bad(o, "leave the length and its sigma out", "a shadow has no length")
		}
		if o.Sky.Time.Before(first) {
			first = o.Sky.Time
		}
		if o.Sky.Time.After(last) {
			last = o.Sky.Time
		}
	}
	if last.Sub(first) > longest {
		return fault.New("series_too_long", "check the dates; prove one setting-up at a time", "the readings are spread over %.0f h", last.Sub(first).Hours())
	}
	return nil
}

// dark reports the first reading at whose stated time no shadow proves anything.
func dark(obs []Observation) error {
	for _, o := range obs {
		if !lit(o.Sky) {
			return fault.New("bad_reading", "leave it out; check time, offset and position if it was taken in good light",
				"%s: the %s stands at %.1f° then, where a shadow proves nothing", o.Label, o.Sky.Body, o.Sky.Altitude.Degrees())
		}
	}
	return nil
}

// sound tells whether x is a number from 0 to limit.
func sound(x, limit float64) bool { return x >= 0 && x <= limit }
