// Package bearing computes where the sun and the moon stand, seen from a place on
// the earth, and which way a rod's shadow points.
//
// Conventions: azimuths run clockwise from true north and count from the meridian
// of the position, at a pole too (the limit along that meridian). Altitudes count
// from the plane square to the ellipsoid's normal; unrefracted means without
// refraction. Times are UTC. Inside the package, vectors are kilometres in an
// earth-fixed frame (x to Greenwich on the equator, z to the pole) or in the
// horizon's frame (east, north, up).
//
// Left out: polar motion (0.0001°); the deflection of the plumb line from the
// ellipsoid's normal (0.002° as a rule, 0.02° in high mountains, times the tangent of
// the altitude); the moon's maria, which move the centre of its light by a few
// thousandths of a degree. UT1 - UTC is not known to the program; its bound is part
// of the uncertainty. docs/sky.md gives the method, its sources and its accuracy.
package bearing

import (
	"math"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
)

// Body is what casts the shadow.
type Body int

// The bodies that cast a usable shadow.
const (
	Sun Body = iota
	Moon
)

var bodyNames = [...]string{Sun: "sun", Moon: "moon"}

// String returns "sun" or "moon".
func (b Body) String() string {
	if b.valid() {
		return bodyNames[b]
	}
	return "unknown body"
}

// MarshalText writes the body's name.
func (b Body) MarshalText() ([]byte, error) { return []byte(b.String()), nil }

func (b Body) valid() bool { return b == Sun || b == Moon }

// ParseBody reads "sun" or "moon"; the error's code is unknown_body.
func ParseBody(s string) (Body, error) {
	for b, name := range bodyNames {
		if s == name {
			return Body(b), nil
		}
	}
	return 0, fault.New("unknown_body", `write "sun" or "moon"`, "unknown body %q", s)
}

// Apparent is what an observer sees of a body at one instant. Where the moon is not
// full its light comes from beside the centre of its disc: the shadow follows the
// light, an almanac gives the disc. For the sun both are the same.
type Apparent struct {
	Body            Body
	Time            time.Time // UTC
	Position        geo.Position
	ElevationMetres float64

	Azimuth angle.Angle // of the light's centre, in [0, 360) degrees
	// AzimuthSigma is one sigma of Azimuth from the ephemeris, from UT1 - UTC and,
	// for the moon, from the light's centre; at most 180°, which means nothing is
	// known (the body stands in the zenith).
	AzimuthSigma    angle.Angle
	Altitude        angle.Angle // of the light's centre, with refraction
	AltitudeAirless angle.Angle // of the light's centre

	DiscAzimuth         angle.Angle // of the disc's centre
	DiscAltitude        angle.Angle // of the disc's centre, with refraction
	DiscAltitudeAirless angle.Angle // of the disc's centre

	AzimuthRate  angle.Angle // of the light's centre, an hour
	AltitudeRate angle.Angle // of the light's centre, unrefracted, an hour
	SemiDiameter angle.Angle // of the disc
	LitFraction  float64     // of the disc's area, 0 to 1; 1 for the sun
}

// ephemerisSigma is one sigma of a body's direction on the sky, by body: the largest
// difference from the reference places in testdata, halved (see docs/sky.md).
var ephemerisSigma = [...]angle.Angle{Sun: 0.0001 * angle.Degree, Moon: 0.0012 * angle.Degree}

// rateStep is half the span of the central difference behind the rates. The hour
// angle turns by 0.0044 rad in it, so the third-order error is 3 parts in a million.
const rateStep = time.Minute

// nothingKnown caps the uncertainty of a direction.
const nothingKnown = 180 * angle.Degree

// Observe returns the place of body b at t, seen from p at elevationMetres above the
// ellipsoid (sea level will do: 100 m moves the moon by less than 0.001°).
//
// The error's code is time_out_of_range (see FirstYear), position_out_of_range,
// elevation_out_of_range or unknown_body.
func Observe(b Body, t time.Time, p geo.Position, elevationMetres float64) (Apparent, error) {
	if err := check(b, t, p, elevationMetres); err != nil {
		return Apparent{}, err
	}
	o := newObserver(p, elevationMetres)
	now := o.see(b, t)
	light := now.light
	altitude := light.altitude()

	// The rates follow from the motion of the unit vector, which stays smooth where
	// the azimuth does not: near the zenith.
	velocity := o.see(b, t.Add(rateStep)).light.minus(o.see(b, t.Add(-rateStep)).light).times(1 / (2 * rateStep.Hours()))
	cosAltitude := math.Hypot(light[0], light[1])
	azimuthRate := angle.Angle((light[1]*velocity[0] - light[0]*velocity[1]) / (cosAltitude * cosAltitude))
	altitudeRate := angle.Angle(velocity[2] / cosAltitude)
	if cosAltitude == 0 { // in the zenith itself
		azimuthRate, altitudeRate = 0, 0
	}

	return Apparent{
		Body: b, Time: t.UTC(), Position: p, ElevationMetres: elevationMetres,
		Azimuth: light.azimuth(), AzimuthSigma: azimuthSigma(b, t, now, azimuthRate),
		Altitude: o.refract(altitude), AltitudeAirless: altitude,
		DiscAzimuth: now.disc.azimuth(), DiscAltitude: o.refract(now.disc.altitude()), DiscAltitudeAirless: now.disc.altitude(),
		AzimuthRate: azimuthRate, AltitudeRate: altitudeRate,
		SemiDiameter: now.semiDiameter, LitFraction: now.litFraction,
	}, nil
}

// azimuthSigma adds the ephemeris, UT1 and the centre of the moon's light.
func azimuthSigma(b Body, t time.Time, s sight, azimuthRate angle.Angle) angle.Angle {
	cosAltitude := math.Hypot(s.light[0], s.light[1])
	if cosAltitude == 0 {
		return nothingKnown
	}
	// Only the part of the light's offset that lies across the altitude circle
	// turns the shadow.
	across := math.Abs(s.light[1]*s.limb[0]-s.light[0]*s.limb[1]) / cosAltitude
	sky := math.Hypot(ephemerisSigma[b].Radians(), s.limbSigma.Radians()*across) / cosAltitude
	ut1 := azimuthRate.Radians() * ut1Sigma(t).Hours()
	return min(nothingKnown, angle.Angle(math.Hypot(sky, ut1)))
}

// ShadowDirection returns the direction of a vertical rod's shadow from its foot,
// clockwise from true north, in [0, 360) degrees.
func (a Apparent) ShadowDirection() angle.Angle { return (a.Azimuth + 180*angle.Degree).Bearing() }

// ShadowLength returns the length of the shadow, on level ground, of a vertical rod
// under a light at the given altitude (with refraction). It is not ok where there is
// no shadow (the light at or below the horizon) or no rod.
func ShadowLength(rodHeightMM float64, altitude angle.Angle) (mm float64, ok bool) {
	if !(rodHeightMM > 0 && altitude > 0 && altitude <= 90*angle.Degree) {
		return 0, false
	}
	mm = rodHeightMM / altitude.Tan()
	return mm, !math.IsInf(mm, 0)
}

// AzimuthSigmaFor returns what one sigma of the time and of the position (on each of
// two axes, kilometres) do to the azimuth.
func (a Apparent) AzimuthSigmaFor(timeSigma time.Duration, posSigmaKM float64) (byTime, byPosition angle.Angle) {
	v := posSigmaKM * posSigmaKM
	return a.azimuthSigmaForTime(timeSigma), a.AzimuthSigmaForCovariance(v, 0, v)
}

// azimuthSigmaForTime takes the larger of the rate's answer and what the azimuth
// really does within one sigma: near the zenith the one or the other is too small.
func (a Apparent) azimuthSigmaForTime(sigma time.Duration) angle.Angle {
	sigma = sigma.Abs()
	o := newObserver(a.Position, a.ElevationMetres)
	return min(nothingKnown, max(
		a.AzimuthRate.Abs()*angle.Angle(sigma.Hours()),
		a.turn(o.see(a.Body, a.Time.Add(sigma))),
		a.turn(o.see(a.Body, a.Time.Add(-sigma)))))
}

// AzimuthSigmaForCovariance returns what a position uncertain by the covariance (km²,
// on axes north and east) does to the azimuth. Each step is a whole sigma, so that a
// bend within it counts: at a pole or with the body near the zenith.
func (a Apparent) AzimuthSigmaForCovariance(northNorth, northEast, eastEast float64) angle.Angle {
	// The columns of the covariance's Cholesky factor are two independent steps;
	// with a Jacobian J their answers add up to J C Jᵀ.
	n := math.Sqrt(max(0, northNorth))
	var e1, e2 float64
	if n > 0 {
		e1 = northEast / n
	}
	e2 = math.Sqrt(max(0, eastEast-e1*e1))
	return min(nothingKnown, angle.Angle(math.Hypot(a.turnForMove(n, e1, noNorth), a.turnForMove(0, e2, noNorth))))
}

// GridSigmaForPosition returns what one sigma of the position (on each of two axes,
// kilometres) does to the azimuth from polar grid north: near a pole much less than to the
// true one, since the meridian's turn drops out.
func (a Apparent) GridSigmaForPosition(posSigmaKM float64) angle.Angle {
	return min(nothingKnown, angle.Angle(math.Hypot(
		a.turnForMove(posSigmaKM, 0, geo.PolarConvergence), a.turnForMove(0, posSigmaKM, geo.PolarConvergence))))
}

// noNorth leaves azimuths true.
func noNorth(geo.Position) angle.Angle { return 0 }

// turnForMove returns the larger change of azimuth, in radians, for an observer moved
// by (north, east) kilometres or by as much the other way. The azimuth counts from a
// north that stands off the true one by what north gives.
func (a Apparent) turnForMove(northKM, eastKM float64, north func(geo.Position) angle.Angle) float64 {
	if northKM == 0 && eastKM == 0 {
		return 0
	}
	var most angle.Angle
	for _, sign := range []float64{1, -1} {
		p := moved(a.Position, sign*northKM, sign*eastKM)
		to := newObserver(p, a.ElevationMetres).see(a.Body, a.Time).light.azimuth() - north(p)
		most = max(most, (to - a.Azimuth + north(a.Position)).Signed().Abs())
	}
	return most.Radians()
}

// turn returns how far s stands from a in azimuth.
func (a Apparent) turn(s sight) angle.Angle {
	return (s.light.azimuth() - a.Azimuth).Signed().Abs()
}

// Limits of what Observe accepts.
const (
	MinElevationMetres = -500
	MaxElevationMetres = 11000 // the standard atmosphere's formula ends here
)

func check(b Body, t time.Time, p geo.Position, elevationMetres float64) error {
	switch {
	case !b.valid():
		return fault.New("unknown_body", "take the sun or the moon", "unknown body %d", int(b))
	case t.Before(firstTime) || !t.Before(endTime):
		return fault.New("time_out_of_range", "check the clock or the date",
			"the sun's and moon's places are good for %d to %d, not for %s", FirstYear, LastYear, t.UTC().Format(time.RFC3339))
	case !(p.Lat.Abs() <= 90*angle.Degree) || !(p.Lon.Abs() <= 180*angle.Degree):
		return fault.New("position_out_of_range", "latitude runs from -90 to 90, longitude from -180 to 180 degrees",
			"position %v, %v is not on the earth", p.Lat, p.Lon)
	case !(elevationMetres >= MinElevationMetres && elevationMetres <= MaxElevationMetres):
		return fault.New("elevation_out_of_range", "give metres above the sea, or 0",
			"elevation %g m is outside %d to %d m", elevationMetres, MinElevationMetres, MaxElevationMetres)
	}
	return nil
}
