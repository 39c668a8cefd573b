package bearing

import (
	"math"
	"time"

	"github.com/soniakeys/meeus/v3/moonposition"
	"github.com/soniakeys/meeus/v3/nutation"
	"github.com/soniakeys/meeus/v3/sidereal"
	"gonum.org/v1/gonum/spatial/r3"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
)

const (
	kmPerAU     = 149597870.7              // IAU 2012, resolution B2
	lightKMS    = 299792.458               // km/s
	earthSpin   = 7.292115e-5              // rad/s, WGS84 (NIMA TR8350.2)
	earthA      = 6378.137                 // km, WGS84 equatorial radius
	earthE2     = 0.0066943799901413165    // WGS84 first eccentricity squared
	moonRadius  = 1737.4                   // km, IAU WGCCRE 2015
	sunAtOneAU  = 959.63 * angle.Arcsecond // Meeus, Astronomical Algorithms, 2nd ed., ch. 55
	dayPerMille = 365250.0                 // days in a Julian millennium
	j2000       = 2451545.0
)

type vector [3]float64

func (v vector) plus(w vector) vector   { return vector{v[0] + w[0], v[1] + w[1], v[2] + w[2]} }
func (v vector) minus(w vector) vector  { return vector{v[0] - w[0], v[1] - w[1], v[2] - w[2]} }
func (v vector) times(k float64) vector { return vector{k * v[0], k * v[1], k * v[2]} }
func (v vector) dot(w vector) float64   { return v[0]*w[0] + v[1]*w[1] + v[2]*w[2] }
func (v vector) length() float64        { return math.Sqrt(v.dot(v)) }
func (v vector) unit() vector           { return v.times(1 / v.length()) }

// azimuth and altitude are those of a vector (east, north, up).
func (v vector) azimuth() angle.Angle  { return angle.Clockwise(v[0], v[1]) }
func (v vector) altitude() angle.Angle { return angle.Atan2(v[2], math.Hypot(v[0], v[1])) }

// spherical returns the vector of the given length, longitude and latitude.
func spherical(length float64, lon, lat angle.Angle) vector {
	return vector{lat.Cos() * lon.Cos(), lat.Cos() * lon.Sin(), lat.Sin()}.times(length)
}

// sumSeries evaluates a VSOP87 series, t in Julian millennia of TT from J2000.0.
func sumSeries(series [][]term, t float64) float64 {
	var sum float64
	for power := len(series) - 1; power >= 0; power-- {
		var s float64
		for _, k := range series[power] {
			s += k.A * math.Cos(k.B+k.C*t)
		}
		sum = sum*t + s
	}
	return sum
}

// earth returns the heliocentric longitude, latitude and distance (AU) of the earth
// on the mean ecliptic and equinox of date. The cut series stands within 2e-6 rad
// (0.4″) of the full VSOP87D from 1972 to 2100.
func earth(jdTT float64) (lon, lat angle.Angle, au float64) {
	t := (jdTT - j2000) / dayPerMille
	return angle.Angle(sumSeries(earthLongitude, t)), angle.Angle(sumSeries(earthLatitude, t)), sumSeries(earthRadius, t)
}

// sunEcliptic returns the sun's geocentric place, true equinox of date but for
// nutation: VSOP87D, turned to the FK5 (Meeus, 25.9), with aberration (25.10).
func sunEcliptic(jdTT float64) (lon, lat angle.Angle, au float64) {
	l, b, au := earth(jdTT)
	lon = l + 180*angle.Degree
	t := (jdTT - j2000) / 36525
	fk5 := lon - angle.FromDegrees(1.397*t+0.00031*t*t)
	lat = -b + angle.Angle(0.03916*(fk5.Cos()-fk5.Sin()))*angle.Arcsecond
	lon -= 0.09033 * angle.Arcsecond
	lon -= angle.Angle(20.4898/au) * angle.Arcsecond
	return lon, lat, au
}

// moonEcliptic returns the moon's geocentric place, mean equinox of date (Meeus, ch.
// 47, light time included; package moonposition), and its distance.
func moonEcliptic(jdTT float64) (lon, lat angle.Angle, km float64) {
	l, b, km := moonposition.Position(jdTT)
	return angle.Angle(l), angle.Angle(b), km
}

// orientation turns ecliptic places of one instant into the earth-fixed frame.
type orientation struct {
	nutationLon angle.Angle
	obliquity   angle.Angle // true
	gast        angle.Angle // Greenwich apparent sidereal time
}

// orient uses the nutation of 1980 and the sidereal time of 1982 (Meeus, ch. 22 and
// 12; packages nutation and sidereal).
func orient(jdUT1, jdTT float64) orientation {
	dpsi, deps := nutation.Nutation(jdTT)
	o := orientation{
		nutationLon: angle.Angle(dpsi),
		obliquity:   angle.Angle(nutation.MeanObliquity(jdTT) + deps),
	}
	o.gast = angle.Angle(sidereal.Mean(jdUT1).Rad()) + angle.Angle(float64(o.nutationLon)*o.obliquity.Cos())
	return o
}

// equatorial returns the vector on the true equator and equinox of date.
func (o orientation) equatorial(lon, lat angle.Angle, length float64) vector {
	v := spherical(length, lon+o.nutationLon, lat)
	s, c := o.obliquity.Sin(), o.obliquity.Cos()
	return vector{v[0], c*v[1] - s*v[2], s*v[1] + c*v[2]}
}

// earthFixed turns a vector of the true equator by the sidereal time.
func (o orientation) earthFixed(v vector) vector {
	s, c := o.gast.Sin(), o.gast.Cos()
	return vector{c*v[0] + s*v[1], c*v[1] - s*v[0], v[2]}
}

// geocentric returns the apparent place of b in the earth-fixed frame, km.
func geocentric(b Body, jdTT float64, o orientation) vector {
	if b == Sun {
		lon, lat, au := sunEcliptic(jdTT)
		return o.earthFixed(o.equatorial(lon, lat, au*kmPerAU))
	}
	lon, lat, km := moonEcliptic(jdTT)
	return o.earthFixed(o.equatorial(lon, lat, km))
}

// observer is a place on the ellipsoid with its horizon.
type observer struct {
	place           vector // earth-fixed, km
	east, north, up vector
	elevationMetres float64
}

func newObserver(p geo.Position, elevationMetres float64) observer {
	sLat, cLat := p.Lat.Sin(), p.Lat.Cos()
	sLon, cLon := p.Lon.Sin(), p.Lon.Cos()
	place := r3.Scale(0.001, geo.Geocentric(p, geo.Metres(elevationMetres)))
	return observer{
		place:           vector{place.X, place.Y, place.Z},
		east:            vector{-sLon, cLon, 0},
		north:           vector{-sLat * cLon, -sLat * sLon, cLat},
		up:              vector{cLat * cLon, cLat * sLon, sLat},
		elevationMetres: elevationMetres,
	}
}

// horizon returns an earth-fixed vector from the observer as (east, north, up).
func (o observer) horizon(v vector) vector { return vector{v.dot(o.east), v.dot(o.north), v.dot(o.up)} }

// moved returns the position (north, east) kilometres away. The vertical turns by the
// distance over the ellipsoid's radius in that direction, which holds across a pole.
func moved(p geo.Position, northKM, eastKM float64) geo.Position {
	o := newObserver(p, 0)
	w2 := 1 - earthE2*p.Lat.Sin()*p.Lat.Sin()
	north := northKM / (earthA * (1 - earthE2) / math.Pow(w2, 1.5))
	east := eastKM / (earthA / math.Sqrt(w2))
	turn := math.Hypot(north, east)
	if turn == 0 {
		return p
	}
	toward := o.north.times(north / turn).plus(o.east.times(east / turn))
	turn = min(turn, math.Pi/2) // a position known no better than that is not known
	up := o.up.times(math.Cos(turn)).plus(toward.times(math.Sin(turn)))
	return geo.Position{Lat: angle.Asin(up[2]), Lon: angle.Atan2(up[1], up[0])}
}

// sight is a body in the observer's horizon frame: unit vectors (east, north, up),
// without refraction.
type sight struct {
	disc         vector // the disc's centre
	light        vector // the centre of the light
	limb         vector // square to disc, towards the bright limb; zero for the sun
	limbSigma    angle.Angle
	semiDiameter angle.Angle
	litFraction  float64
}

// see looks at b at instant t, with parallax and diurnal aberration.
func (o observer) see(b Body, t time.Time) sight {
	jdUT1 := julianDay(t)
	return o.seeAt(b, jdUT1, jdUT1+ttMinusUTC(t).Hours()/24)
}

func (o observer) seeAt(b Body, jdUT1, jdTT float64) sight {
	turned := orient(jdUT1, jdTT)
	fromHere := geocentric(b, jdTT, turned).minus(o.place)
	s := sight{disc: o.horizon(o.aberrate(fromHere.unit())), litFraction: 1}
	if b == Sun {
		s.light = s.disc
		s.semiDiameter = sunAtOneAU * angle.Angle(kmPerAU/fromHere.length())
		return s
	}
	s.semiDiameter = angle.Asin(moonRadius / fromHere.length())
	sun := geocentric(Sun, jdTT, turned).minus(o.place)
	lit := moonLight(o.horizon(fromHere), o.horizon(sun), s.semiDiameter)
	s.light = s.disc.plus(lit.limb.times(lit.offset.Tan())).unit()
	s.limb, s.limbSigma, s.litFraction = lit.limb, lit.sigma, lit.fraction
	return s
}

// aberrate adds the observer's motion with the turning earth, 0.3″ at the most, to
// an earth-fixed unit vector (Explanatory Supplement to the Astronomical Almanac,
// 1992, 3.253, first order).
func (o observer) aberrate(v vector) vector {
	motion := vector{-o.place[1], o.place[0], 0}.times(earthSpin / lightKMS)
	return v.plus(motion).unit()
}
