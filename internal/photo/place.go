package photo

import (
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
)

// Sources of a position.
const (
	PositionFromOption = "option"
	PositionFromGPS    = "exif_gps"
	PositionFromLog    = "log" // the journey's estimated position
)

// Default one-sigma uncertainties of a position, km in each direction. A
// kilometre moves the sun's azimuth by about 0.01 degree, more towards the zenith.
const (
	// SigmaPositionOptionKM is for a position read off a map. A position given
	// with few digits gets more: see PositionOptions.
	SigmaPositionOptionKM = 1.0
	// SigmaPositionGPSKM is for a fix without a stated error. It covers a fix
	// that is some minutes old on foot and an old national datum.
	SigmaPositionGPSKM = 0.5
)

// Place is where a photo was taken.
type Place struct {
	Position        geo.Position
	ElevationMetres float64 // above sea level; 0 where not known
	Source          string
	SigmaKM         float64 // one sigma, in each direction
}

// PositionOptions is what the user says about the position.
type PositionOptions struct {
	Position *geo.Position
	// Resolution is geo.Resolution of the text Position was read from. Rounding
	// to it spreads the position evenly, with a sigma of Resolution/sqrt(12).
	Resolution angle.Angle
	SigmaKM    *float64 // overrides the default
	// Estimate is where the log of the journey puts the photo, its sigma that of its
	// longest axis; it serves where neither user nor photo gives a position. May be nil.
	Estimate *Place
}

// ResolvePosition decides where a photo was taken: the user's position before the
// GPS fix in the photo before the log's estimate. It fails with code "no_position".
func ResolvePosition(f Facts, o PositionOptions) (Place, error) {
	var p Place
	switch {
	case o.Position != nil:
		rounding := o.Resolution.Degrees() * geo.KMPerDegree / math.Sqrt(12)
		p = Place{Position: *o.Position, Source: PositionFromOption, SigmaKM: math.Hypot(SigmaPositionOptionKM, rounding)}
	case f.GPS != nil:
		p = Place{Position: *f.GPS, ElevationMetres: f.AltitudeMetres, Source: PositionFromGPS, SigmaKM: SigmaPositionGPSKM}
		if f.GPSErrorMetres > 0 {
			p.SigmaKM = f.GPSErrorMetres / 1000
		}
	case o.Estimate != nil:
		p = *o.Estimate
	default:
		return Place{}, fault.New("no_position",
			"give --position LAT,LON; messaging programs strip the position from photos, and cameras record one only where location is switched on",
			"the photo does not say where it was taken")
	}
	if o.SigmaKM != nil {
		p.SigmaKM = *o.SigmaKM
	}
	return p, nil
}
