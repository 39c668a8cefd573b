// Package geo holds positions on the earth and how people write them.
package geo

import "shadowread/internal/angle"

// Position is a geographic position on the WGS84 ellipsoid: geodetic latitude,
// north positive, and longitude, east positive in (-180, 180].
type Position struct {
	Lat, Lon angle.Angle
}
