// Package instrument holds what has been proved of one instrument: how its gnomon
// stands against the sheet and against plumb, how the sheet stands in its vehicle, and
// what uncertainty that leaves. A record is a text file that a person can read.
//
// The plate frame is the sheet's: x to starboard, y forward, z out of the sheet,
// directions clockwise from forward seen from above. docs/alignment.md derives the
// formulas.
package instrument

import (
	"math"

	"shadowread/internal/angle"
)

// Slope is the direction of a line through the sheet: how far it goes to starboard and
// forward for each millimetre out of the sheet, mm/mm. The rod has one, and so has the
// plumb line.
type Slope struct{ Starboard, Forward float64 }

// SlopeOf returns the slope of a line that stands off the sheet's normal by the two
// angles, to starboard and forward.
func SlopeOf(starboard, forward angle.Angle) Slope { return Slope{starboard.Tan(), forward.Tan()} }

// Angles returns the angles whose tangents are the two components.
func (s Slope) Angles() (starboard, forward angle.Angle) {
	return angle.Atan2(s.Starboard, 1), angle.Atan2(s.Forward, 1)
}

// Tilt returns the angle between the line and the sheet's normal, and where on the
// plate the line leans to.
func (s Slope) Tilt() (tilt, toward angle.Angle) {
	return angle.Atan2(math.Hypot(s.Starboard, s.Forward), 1), angle.Clockwise(s.Starboard, s.Forward)
}

// Towards returns the slope's component towards a direction on the sheet.
func (s Slope) Towards(direction angle.Angle) float64 {
	return s.Starboard*direction.Sin() + s.Forward*direction.Cos()
}

// Plus and Minus add and subtract slopes component by component.
func (s Slope) Plus(o Slope) Slope { return Slope{s.Starboard + o.Starboard, s.Forward + o.Forward} }

// Minus returns s - o.
func (s Slope) Minus(o Slope) Slope { return Slope{s.Starboard - o.Starboard, s.Forward - o.Forward} }

// ShadowOn returns the direction on the sheet of the shadow of a rod, and its length for
// each millimetre that the rod's tip stands above the sheet. It is the exact projection
// along the light: the shadow lies along rod - S_xy/S_z with S the unit vector to the
// light. The heading is the azimuth of the forward axis's horizontal projection. It is
// not ok where the light does not fall on the sheet from above, or along the rod.
func ShadowOn(heading angle.Angle, plumb, rod Slope, azimuth, altitude angle.Angle) (direction angle.Angle, perMM float64, ok bool) {
	// The vertical, and the horizontal lines forward and to starboard, in the plate frame.
	n := math.Sqrt(1 + plumb.Starboard*plumb.Starboard + plumb.Forward*plumb.Forward)
	up := [3]float64{plumb.Starboard / n, plumb.Forward / n, 1 / n}
	c := math.Sqrt(1 - up[1]*up[1])
	fore := [3]float64{-up[1] * up[0] / c, c, -up[1] * up[2] / c}
	right := [3]float64{fore[1]*up[2] - fore[2]*up[1], fore[2]*up[0] - fore[0]*up[2], fore[0]*up[1] - fore[1]*up[0]}

	relative := azimuth - heading
	f, r, u := altitude.Cos()*relative.Cos(), altitude.Cos()*relative.Sin(), altitude.Sin()
	var s [3]float64
	for i := range s {
		s[i] = f*fore[i] + r*right[i] + u*up[i]
	}
	if !(s[2] > 1e-6) {
		return 0, 0, false
	}
	x, y := rod.Starboard-s[0]/s[2], rod.Forward-s[1]/s[2]
	perMM = math.Hypot(x, y)
	return angle.Clockwise(x, y), perMM, perMM > 1e-6
}
