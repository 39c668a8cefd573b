package geo

import (
	"cmp"
	"math"

	"github.com/tidwall/geodesic"
	"gonum.org/v1/gonum/spatial/r3"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
)

// Metres is a length on the ground in metres.
type Metres float64

// Units of length. The nautical mile is the international one (1929), the
// statute mile that of the yard and pound agreement of 1959.
const (
	Metre        Metres = 1
	Kilometre           = 1000 * Metre
	NauticalMile        = 1852 * Metre
	StatuteMile         = 1609.344 * Metre
)

// Kilometres returns the length in kilometres.
func (m Metres) Kilometres() float64 { return float64(m / Kilometre) }

// The WGS84 ellipsoid: semi-major axis and flattening (NGA.STND.0036, table 3.1).
const (
	semiMajor       = 6378137 * Metre
	flattening      = 1 / 298.257223563
	eccentricity2   = flattening * (2 - flattening)
	thirdFlattening = flattening / (2 - flattening)
)

// GeodesicInverse returns the shortest way between two positions on WGS84: the
// course on which it sets out, in [0, 360), and its length. The course of a
// geodesic changes along the way; RhumbInverse gives the one that does not. For
// two positions at one place the length is 0 and the course means nothing.
//
// The method is C. F. F. Karney's ("Algorithms for geodesics", J. Geodesy 87,
// 2013), good to some 15 nm. It fails with code "bad_position".
func GeodesicInverse(from, to Position) (course angle.Angle, distance Metres, err error) {
	if err := cmp.Or(from.Validate(), to.Validate()); err != nil {
		return 0, 0, err
	}
	var s, azimuth float64
	geodesic.WGS84.Inverse(from.Lat.Degrees(), from.Lon.Degrees(), to.Lat.Degrees(), to.Lon.Degrees(), &s, &azimuth, nil)
	return angle.FromDegrees(azimuth).Bearing(), Metres(s), nil
}

// MetresPerDegree returns the length of a degree of latitude and of a degree of
// longitude at a latitude on WGS84, taken as the radii of curvature there times
// pi/180 (J. P. Snyder, Map Projections: A Working Manual, USGS Professional
// Paper 1395, 1987, equations 4-18 to 4-21). Small offsets in metres become
// offsets in degrees through it.
func MetresPerDegree(lat angle.Angle) (north, east Metres) {
	w2 := 1 - eccentricity2*lat.Sin()*lat.Sin()
	prime := semiMajor / Metres(math.Sqrt(w2)) // radius of curvature in the prime vertical
	north = prime * (1 - eccentricity2) / Metres(w2) * Metres(angle.Degree)
	east = prime * Metres(lat.Cos()) * Metres(angle.Degree)
	return north, east
}

// rounding is what the sum of a few roundings may add to an angle: 0.1 micrometre
// on the ground.
const rounding = 1e-12 * angle.Degree

// isPole reports whether a latitude is that of a pole, to rounding.
func isPole(lat angle.Angle) bool { return lat.Abs() >= 90*angle.Degree-rounding }

// Validate fails with code "bad_position" if p is no place on the earth.
func (p Position) Validate() error {
	if !(p.Lat.Abs() <= 90*angle.Degree+rounding) || !(p.Lon.Abs() <= 180*angle.Degree+rounding) {
		return fault.New("bad_position", positionHint, "position %v, %v is not on the earth", p.Lat, p.Lon)
	}
	return nil
}

// Geocentric returns the place of a point above the ellipsoid in the earth-fixed frame, m: X
// towards 0 N 0 E, Z towards the north pole (NGA.STND.0036, section 4.5).
func Geocentric(p Position, height Metres) r3.Vec {
	sLat, cLat := p.Lat.Sin(), p.Lat.Cos()
	n := float64(semiMajor) / math.Sqrt(1-eccentricity2*sLat*sLat) // prime vertical radius
	h := float64(height)
	return r3.Vec{X: (n + h) * cLat * p.Lon.Cos(), Y: (n + h) * cLat * p.Lon.Sin(), Z: (n*(1-eccentricity2) + h) * sLat}
}
