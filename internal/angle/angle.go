// Package angle gives angles a type that carries its unit.
//
// Conventions, stated once for the whole program:
//
//   - Bearings, azimuths and headings run clockwise from true north (or, on the
//     plate, clockwise from its forward axis seen from above) and lie in
//     [0, 360): 0 is included, 360 is not.
//   - Signed differences lie in (-180, 180]; positive is clockwise, to the right.
//   - Longitude and declination are east positive, latitude north positive.
//
// An Angle is a float64 in radians, so that call sites read 45 * angle.Degree.
package angle

import (
	"fmt"
	"math"
)

// Angle is a plane angle in radians.
type Angle float64

// Units of angle.
const (
	Radian    Angle = 1
	Degree          = math.Pi / 180 * Radian
	Arcminute       = Degree / 60
	Arcsecond       = Degree / 3600
)

// FromDegrees returns the angle of d degrees.
func FromDegrees(d float64) Angle { return Angle(d) * Degree }

// Degrees returns the angle in degrees.
func (a Angle) Degrees() float64 { return float64(a / Degree) }

// Radians returns the angle in radians.
func (a Angle) Radians() float64 { return float64(a) }

// Sin, Cos and Tan are the trigonometric functions of a.
func (a Angle) Sin() float64 { return math.Sin(float64(a)) }

// Cos returns the cosine of a.
func (a Angle) Cos() float64 { return math.Cos(float64(a)) }

// Tan returns the tangent of a.
func (a Angle) Tan() float64 { return math.Tan(float64(a)) }

// Abs returns the magnitude of a.
func (a Angle) Abs() Angle { return Angle(math.Abs(float64(a))) }

// Bearing returns a reduced to [0, 360) degrees.
func (a Angle) Bearing() Angle {
	d := math.Mod(a.Degrees(), 360)
	if d < 0 {
		d += 360
	}
	if d >= 360 { // a tiny negative input rounds up to a full turn
		d = 0
	}
	return FromDegrees(d)
}

// Signed returns a reduced to (-180, 180] degrees.
func (a Angle) Signed() Angle {
	d := math.Mod(a.Degrees(), 360)
	switch {
	case d > 180:
		d -= 360
	case d <= -180:
		d += 360
	}
	return FromDegrees(d)
}

// String prints the angle in degrees.
func (a Angle) String() string { return fmt.Sprintf("%.4f°", a.Degrees()) }

// Clockwise returns the plate direction of the vector (x, y), x to starboard and
// y forward: clockwise from forward, in [0, 360).
func Clockwise(x, y float64) Angle { return Angle(math.Atan2(x, y)).Bearing() }

// Atan2, Asin and Acos are the inverse functions with a typed result.
func Atan2(y, x float64) Angle { return Angle(math.Atan2(y, x)) }

// Asin returns the angle whose sine is x, x clamped to [-1, 1].
func Asin(x float64) Angle { return Angle(math.Asin(max(-1, min(1, x)))) }

// Acos returns the angle whose cosine is x, x clamped to [-1, 1].
func Acos(x float64) Angle { return Angle(math.Acos(max(-1, min(1, x)))) }

// RSS is the root of the sum of squares: independent sigmas together.
func RSS(parts ...Angle) Angle {
	var sum float64
	for _, p := range parts {
		sum += float64(p) * float64(p)
	}
	return Angle(math.Sqrt(sum))
}
