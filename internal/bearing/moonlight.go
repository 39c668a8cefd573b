package bearing

import (
	"math"

	"shadowread/internal/angle"
)

// BrightMoon is the lit fraction from which on the moon throws a shadow to read (common
// practice: from about half moon).
const BrightMoon = 0.5

// lightOffset says where the moon's light comes from, against its disc's centre.
type lightOffset struct {
	limb     vector      // unit vector square to the line of sight, towards the bright limb
	offset   angle.Angle // towards limb
	sigma    angle.Angle // of offset
	fraction float64     // lit fraction of the disc
}

// moonLight takes the vectors from the observer to the moon and to the sun (km, any
// axes) and the moon's semi-diameter.
//
// The shadow follows the centroid of the lit part. Its uncertainty is half the
// offset, and no less than the distance to the centroid of the light itself: near
// full moon the lit area is all but round while its bright side already leads.
func moonLight(moon, sun vector, semiDiameter angle.Angle) lightOffset {
	sight := moon.unit()
	toSun := sun.minus(moon).unit()
	phase := angle.Atan2(toSun.minus(sight.times(toSun.dot(sight))).length(), -toSun.dot(sight))
	across := toSun.minus(sight.times(toSun.dot(sight)))
	l := lightOffset{fraction: (1 + phase.Cos()) / 2}
	if across.length() == 0 {
		return l
	}
	area, photometric := areaCentroid(phase), photometricCentroid(phase)
	l.limb = across.unit()
	l.offset = semiDiameter * angle.Angle(area)
	l.sigma = semiDiameter * angle.Angle(max(area/2, math.Abs(photometric-area)))
	return l
}

// areaCentroid returns the distance of the lit part's centroid from the centre of the
// disc, in semi-diameters, at the given phase angle (sun - moon - observer).
//
// The lit part is half a disc on the sun's side, less (or plus) half an ellipse of
// semi-axes 1 and |cos i|. Its first moment is 2/3 (1 - cos² i), its area
// π/2 (1 + cos i); the quotient is 4/(3π) (1 - cos i), 0.424 at half phase.
func areaCentroid(phase angle.Angle) float64 { return 4 / (3 * math.Pi) * (1 - phase.Cos()) }

// photometricCentroid is the same for the light of a sphere with the Lommel-Seeliger
// law, the usual one for a dark rough surface such as the moon's: brightness as
// μ0/(μ0 + μ), the cosines of incidence and emission (B. Hapke, Theory of Reflectance
// and Emittance Spectroscopy, 2nd ed., 2012).
//
// With u the longitude on the moon along the line between the points below the sun
// and the observer, counted from their midpoint, latitude integrates out and
//
//	flux   = π/2 · ∫ (cos²u - sin²(i/2)) / (2 cos(i/2) cos u) du
//	moment = 4/3 · sin(i/2) · ∫ (cos²u - sin²(i/2)) / (2 cos(i/2)) du
//
// over |u| ≤ (π - i)/2.
func photometricCentroid(phase angle.Angle) float64 {
	i := min(phase.Radians(), 179*math.Pi/180) // a new moon lights nothing; here both integrals vanish
	s, c := math.Sincos(i / 2)
	flux := math.Pi / 2 * (1 - s*s/c*math.Log(1/math.Tan(max(i, 1e-12)/4)))
	moment := 4.0 / 3 * s / (2 * c) * ((math.Pi-i)/2*math.Cos(i) + math.Sin(i)/2)
	return moment / flux
}
