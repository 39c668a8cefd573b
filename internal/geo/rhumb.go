package geo

import (
	"cmp"
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
)

// A rhumb line crosses every meridian at the same course. Along it the
// rectifying latitude mu grows with the distance and, the course not being due
// east or west, the longitude with the isometric latitude psi:
//
//	mu2 - mu1     = s cos(course) / A
//	lon2 - lon1   = tan(course) (psi2 - psi1)
//	              = s sin(course) / A * (psi2 - psi1)/(mu2 - mu1)
//
// with A the radius of the circle as long as the meridian. The last form holds
// due east and west too, where the quotient tends to the derivative
// A / (radius of the parallel). Both differences are worked out from the
// difference of the latitudes, never by subtracting two large values, so that
// the quotient keeps its digits however close to east or west the course lies.
//
// Source: C. F. F. Karney, "On auxiliary latitudes", Survey Review 56 (2024),
// 165-180; the series are Helmert's (1880) in the third flattening to its sixth
// power, which leaves less than a nanometre on WGS84.

// toRectifying and fromRectifying hold the coefficients of sin(2j lat) in
// mu - lat and of sin(2j mu) in lat - mu, j from 1.
var toRectifying, fromRectifying = func() (to, from [6]float64) {
	const (
		n  = thirdFlattening
		n2 = n * n
		n3 = n2 * n
		n4 = n3 * n
		n5 = n4 * n
		n6 = n5 * n
	)
	return [6]float64{
			-3./2*n + 9./16*n3 - 3./32*n5,
			15./16*n2 - 15./32*n4 + 135./2048*n6,
			-35./48*n3 + 105./256*n5,
			315./512*n4 - 189./512*n6,
			-693. / 1280 * n5,
			1001. / 2048 * n6,
		}, [6]float64{
			3./2*n - 27./32*n3 + 269./512*n5,
			21./16*n2 - 55./32*n4 + 6759./4096*n6,
			151./96*n3 - 417./128*n5,
			1097./512*n4 - 15543./2560*n6,
			8011. / 2560 * n5,
			293393. / 61440 * n6,
		}
}()

// rectifyingRadius is A: 2 pi A is the length of the meridian.
const rectifyingRadius = semiMajor / (1 + thirdFlattening) * (1 +
	thirdFlattening*thirdFlattening/4 +
	thirdFlattening*thirdFlattening*thirdFlattening*thirdFlattening/64)

// seriesDifference returns x2 - x1 plus the difference of the series between x2
// and x1, without cancellation, for x2 = x1 + d.
func seriesDifference(c *[6]float64, x1, d float64) float64 {
	sum := d
	for j := range c {
		k := float64(j + 1)
		sum += 2 * c[j] * math.Cos(k*(2*x1+d)) * math.Sin(k*d)
	}
	return sum
}

// isometricDifference returns psi2 - psi1 for the latitudes x1 and x1 + d in
// radians, without cancellation.
func isometricDifference(x1, d float64) float64 {
	x2 := x1 + d
	e := math.Sqrt(eccentricity2)
	sines := 2 * math.Cos(x1+d/2) * math.Sin(d/2) // sin x2 - sin x1
	return math.Asinh(sines/(math.Cos(x1)*math.Cos(x2))) -
		e*math.Atanh(e*sines/(1-eccentricity2*math.Sin(x1)*math.Sin(x2)))
}

// isometricPerRectifying returns (psi2 - psi1)/(mu2 - mu1) for latitudes x1 and
// x1 + d in radians, mu = mu2 - mu1.
func isometricPerRectifying(x1, d, mu float64) float64 {
	if d == 0 {
		_, east := MetresPerDegree(angle.Angle(x1))
		return float64(rectifyingRadius * Metres(angle.Degree) / east)
	}
	return isometricDifference(x1, d) / mu
}

// RhumbDirect returns the position reached on WGS84 by going a distance, not
// negative, on a constant true course. On a parallel it follows the parallel.
//
// It fails with code "bad_position", "bad_distance" where course or distance is
// no usable number, and "pole_passed" where the way starts at a pole, which has no
// courses, or reaches one.
func RhumbDirect(from Position, course angle.Angle, distance Metres) (Position, error) {
	if err := from.Validate(); err != nil {
		return Position{}, err
	}
	if !(distance >= 0) || math.IsInf(float64(distance), 0) || math.IsNaN(course.Sin()) {
		return Position{}, fault.New("bad_distance", "give the course in degrees and the distance, not negative",
			"course %v and distance %v m cannot be run", course, float64(distance))
	}
	lat1 := from.Lat.Radians()
	mu1 := seriesDifference(&toRectifying, 0, lat1)
	mu := float64(distance/rectifyingRadius) * course.Cos()
	if isPole(from.Lat) || math.Abs(mu1+mu) >= math.Pi/2 {
		return Position{}, fault.New("pole_passed", "end the leg short of the pole, and work near it from a position by receiver",
			"a course of %v for %.3f km from %v meets the pole", course, distance.Kilometres(), from)
	}
	d := seriesDifference(&fromRectifying, mu1, mu)
	lon := float64(distance/rectifyingRadius) * course.Sin() * isometricPerRectifying(lat1, d, mu)
	return Position{
		Lat: angle.Angle(lat1 + d),
		Lon: (from.Lon + angle.Angle(lon)).Signed(),
	}, nil
}

// RhumbInverse returns the constant true course, in [0, 360), and the distance
// between two positions on WGS84, the shorter way round; where both ways are
// equal, eastwards. A pole is reached and left along the other position's
// meridian. For two positions at one place the distance is 0 and the course means
// nothing.
//
// It fails with code "bad_position".
func RhumbInverse(from, to Position) (course angle.Angle, distance Metres, err error) {
	if err := cmp.Or(from.Validate(), to.Validate()); err != nil {
		return 0, 0, err
	}
	lat1 := from.Lat.Radians()
	d := (to.Lat - from.Lat).Radians()
	mu := seriesDifference(&toRectifying, lat1, d)
	if isPole(from.Lat) || isPole(to.Lat) {
		return angle.Atan2(0, mu).Bearing(), rectifyingRadius * Metres(math.Abs(mu)), nil
	}
	lon := (to.Lon - from.Lon).Signed().Radians()
	// The difference of longitude in the measure of mu, so that the two are the
	// sides of a right-angled triangle.
	east := lon / isometricPerRectifying(lat1, d, mu)
	return angle.Atan2(east, mu).Bearing(), rectifyingRadius * Metres(math.Hypot(mu, east)), nil
}
