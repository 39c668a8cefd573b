// Package wording says figures as people read them, and rounds those that are written down:
// one way for the command line, the overlay, papers and files.
package wording

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

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

// Three is ThreeFigures without the degree sign.
func Three(a angle.Angle, places int) string {
	return strings.TrimSuffix(ThreeFigures(a, places), "°")
}

// normal95 is how many sigmas hold 95 % of a normal error (the quantile 0.975).
const normal95 = 1.959964

// Within95 is the ± that holds an angle in 95 of 100 cases: what is steered by has it.
func Within95(sigma angle.Angle) angle.Angle { return normal95 * sigma }

// Length95 is the same of a length.
func Length95(sigma geo.Metres) geo.Metres { return normal95 * sigma }

// SteerPlaces is the number of decimals of a heading that fits its uncertainty. Nobody
// steers by hundredths of a degree, and hardly by tenths where ten degrees are open.
func SteerPlaces(sigma angle.Angle) int {
	switch u := Within95(sigma).Degrees(); {
	case u < 0.00995: // no doubt is never nothing
		return 3
	case u < 0.0995:
		return 2
	case u < 9.95:
		return 1
	}
	return 0
}

// Steer writes a heading with the ± that holds it in 95 of 100 cases: 057.0° ± 0.6°.
func Steer(heading, sigma angle.Angle) string {
	n := SteerPlaces(sigma)
	return ThreeFigures(heading, n) + " ± " + Fixed(Within95(sigma), n) + "°"
}

// Span writes a time that passes as people say it: 40 s, 25 min, 3 h 20 min, 12 days.
func Span(d time.Duration) string {
	d = d.Abs().Round(time.Second)
	switch {
	case d < time.Minute:
		return fmt.Sprintf("%d s", d/time.Second)
	case d < time.Hour:
		return inTwo(d, time.Minute, "min", time.Second, "s")
	case d < 48*time.Hour:
		return inTwo(d.Round(time.Minute), time.Hour, "h", time.Minute, "min")
	}
	return strconv.FormatFloat(d.Hours()/24, 'f', 0, 64) + " days"
}

// Elapsed is Span with days, hours and minutes: a span that is a day out shows.
func Elapsed(d time.Duration) string {
	d = d.Abs().Round(time.Second)
	if d < 24*time.Hour {
		return Span(d)
	}
	d = d.Round(time.Minute)
	days := Count(int(d/(24*time.Hour)), "day")
	if rest := d % (24 * time.Hour); rest > 0 {
		return days + " " + Span(rest)
	}
	return days
}

// inTwo writes a span in two units, of which the smaller may be missing.
func inTwo(d, large time.Duration, unit string, small time.Duration, smaller string) string {
	text := fmt.Sprintf("%d %s", d/large, unit)
	if rest := d % large / small; rest > 0 {
		text += fmt.Sprintf(" %d %s", rest, smaller)
	}
	return text
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

// Turn says how to turn onto a course.
func Turn(turn angle.Angle, places int) string {
	size := Fixed(turn.Abs(), places)
	switch {
	case strings.Trim(size, "0.") == "":
		return "on course"
	case turn > 0:
		return "turn right " + size + "°"
	}
	return "turn left " + size + "°"
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

// EastWest writes a declination with the ± that holds it in 95 of 100 cases and what its
// sign means, east being positive: -13.9° ± 1.0° (13.9° W).
func EastWest(a, sigma angle.Angle) string {
	n := SteerPlaces(sigma)
	text := Signed(a, n) + " ± " + Fixed(Within95(sigma), n) + "°"
	number := Fixed(a.Abs(), n)
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

// Term names a part of a heading's uncertainty for people; JSON keeps its key.
func Term(key string) string {
	switch key {
	case "alignment":
		return "lubber line"
	case "body":
		return "sun or moon"
	}
	return strings.ReplaceAll(key, "_", " ")
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

// LocalTime is a time on the clock of a UTC offset, in UTC where none is known.
func LocalTime(t time.Time, offset *time.Duration) string {
	if offset == nil || *offset == 0 {
		return t.UTC().Format(time.DateTime) + " UTC"
	}
	return t.In(time.FixedZone("", int(*offset/time.Second))).Format(time.DateTime) + " " + geo.FormatOffset(*offset)
}

// GridBeside says a heading from polar grid north, where the true one turns with every step;
// "" away from the poles.
func GridBeside(heading angle.Angle, p geo.Position) string {
	if !geo.NearPole(p) {
		return ""
	}
	return ", grid " + ThreeFigures(geo.GridHeading(heading, p), 1)
}
