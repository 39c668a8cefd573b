package geo

import (
	"math"

	"shadowread/internal/angle"
)

// NearPole tells where the program shows grid headings unasked: within ten degrees of a
// pole, where ten kilometres east or west turn the meridian by half a degree and more.
func NearPole(p Position) bool { return p.Lat.Abs() >= 80*angle.Degree }

// GridHeading returns the polar grid heading for a true heading at p. Grid north is
// the direction of the Greenwich meridian: north along it, on over the pole. This is
// the polar stereographic grid of the World Magnetic Model and of UPS (NGA.STND.0036):
//
//	grid = true - longitude   on the northern hemisphere and the equator
//	grid = true + longitude   on the southern
//
// The model applies it poleward of 55 degrees; it is defined everywhere.
func GridHeading(heading angle.Angle, p Position) angle.Angle {
	return (heading - PolarConvergence(p)).Bearing()
}

// Convergence returns the direction of grid north, clockwise from true north, on the
// map grid in common use at p: grid heading = true heading - convergence. North of 84
// and south of 80 degrees that is the polar grid (see GridHeading), else UTM, by the
// formula for the sphere, within 0.01° of the ellipsoid's (Snyder, Map Projections,
// USGS PP 1395, 1987, section 8). The wider zones of Norway and Svalbard are left out.
func Convergence(p Position) angle.Angle {
	if p.Lat >= 84*angle.Degree || p.Lat < -80*angle.Degree {
		return PolarConvergence(p)
	}
	zone := math.Floor(p.Lon.Degrees() / 6)
	fromMiddle := p.Lon - angle.FromDegrees(6*zone+3)
	return angle.Atan2(fromMiddle.Tan()*p.Lat.Sin(), 1)
}

// PolarConvergence returns the direction of polar grid north: grid = true - convergence.
func PolarConvergence(p Position) angle.Angle {
	if p.Lat < 0 {
		return -p.Lon
	}
	return p.Lon
}
