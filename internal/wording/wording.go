// Package wording says figures as people read them, and rounds those that are written down:
// one way for the command line, the overlay, papers and files.
package wording

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
)

// Bearing writes an angle of [0, 360); 359.996 to two places is 0.00.
func Bearing(a angle.Angle, places int) string {
	return strconv.FormatFloat(BearingDegrees(a, places), 'f', places, 64)
}

// ThreeFigures writes a bearing as spoken, in three figures before the point: 007.5°.
func ThreeFigures(a angle.Angle, places int) string {
	width := 3
	if places > 0 {
		width += 1 + places
	}
	return fmt.Sprintf("%0*.*f°", width, places, BearingDegrees(a, places))
}

// Places is the number of decimals that shows two figures of a sigma.
func Places(sigma angle.Angle) int {
	switch s := sigma.Degrees(); {
	case s < 0.0995:
		return 3
	case s < 0.995:
		return 2
	}
	return 1
}

// Come says how to turn onto a course.
func Come(come angle.Angle, places int) string {
	size := Fixed(come.Abs(), places)
	switch {
	case strings.Trim(size, "0.") == "":
		return "on course"
	case come > 0:
		return "come right " + size + "°"
	}
	return "come left " + size + "°"
}

// Fixed writes an angle's degrees, without their sign.
func Fixed(a angle.Angle, places int) string {
	return strconv.FormatFloat(a.Degrees(), 'f', places, 64)
}

// BearingWith writes a bearing with its sigma.
func BearingWith(a, sigma angle.Angle) string {
	n := Places(sigma)
	return fmt.Sprintf("%s° ± %s°", Bearing(a, n), Fixed(sigma, n))
}

// SignedWith writes an angle of either sign with its sigma.
func SignedWith(a, sigma angle.Angle) string {
	n := Places(sigma)
	return fmt.Sprintf("%s ± %s°", Signed(a, n), Fixed(sigma, n))
}

// Signed writes an angle of either sign, as "+1.5°"; what rounds to nothing has none.
func Signed(a angle.Angle, places int) string { return SignedNumber(a.Degrees(), places) + "°" }

// SignedNumber writes a number of either sign; what rounds to nothing has none.
func SignedNumber(x float64, places int) string {
	text := fmt.Sprintf("%+.*f", places, Round(x, places))
	if strings.Trim(text, "+-0.") == "" {
		return text[1:]
	}
	return text
}

// EastWest writes an angle with its sigma and what its sign means, east being positive.
func EastWest(a, sigma angle.Angle) string {
	text := SignedWith(a, sigma)
	number := Fixed(a.Abs(), Places(sigma))
	switch {
	case strings.HasPrefix(text, "+"):
		return text + " (" + number + "° E)"
	case strings.HasPrefix(text, "-"):
		return text + " (" + number + "° W)"
	}
	return text
}

// Length writes a length to what one reads off a map.
func Length(m geo.Metres) string {
	switch km := m.Kilometres(); {
	case m < 9.95:
		return fmt.Sprintf("%.1f m", float64(m))
	case m < 999.5:
		return fmt.Sprintf("%.0f m", float64(m))
	case km < 9.995:
		return fmt.Sprintf("%.2f km", km)
	case km < 999.95:
		return fmt.Sprintf("%.1f km", km)
	default:
		return fmt.Sprintf("%.0f km", km)
	}
}

// Count is "1 reading" or "3 readings".
func Count(n int, word string) string {
	if n != 1 {
		word += "s"
	}
	return fmt.Sprintf("%d %s", n, word)
}

// Round rounds to a number of decimals and never gives -0.
func Round(x float64, places int) float64 {
	unit := math.Pow10(places)
	return math.Round(x*unit)/unit + 0
}

// Known is Round for what may not be a number, for which JSON has nothing but null: nil
// stands for NaN and the infinities.
func Known(x float64, places int) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return new(Round(x, places))
}

// Degrees are an angle's, rounded to a number of decimals.
func Degrees(a angle.Angle, places int) float64 { return Round(a.Degrees(), places) }

// BearingDegrees are a bearing's in [0, 360): what rounds to 360 is 0.
func BearingDegrees(a angle.Angle, places int) float64 {
	return math.Mod(Degrees(a.Bearing(), places), 360)
}
