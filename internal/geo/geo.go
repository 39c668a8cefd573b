// Package geo holds positions on the earth and times, and how people write them.
package geo

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
)

// Position is a geographic position on the WGS84 ellipsoid: geodetic latitude,
// north positive, and longitude, east positive in (-180, 180].
type Position struct {
	Lat, Lon angle.Angle
}

// KMPerDegree is the length of a degree of latitude. It runs from 110.6 km at
// the equator to 111.7 km at the poles; this mean serves for uncertainties.
const KMPerDegree = 111.2

// String returns the position rounded to 0.0001 degree (11 m of latitude) with
// hemisphere letters, as in "20.6142 S 25.4310 E". ParsePosition reads it back.
func (p Position) String() string {
	lat, ns := hemisphere(p.Lat, "N", "S")
	lon, ew := hemisphere(p.Lon, "E", "W")
	if lon == 180 {
		ew = "E"
	}
	return fmt.Sprintf("%.4f %s %.4f %s", lat, ns, lon, ew)
}

// DegreesMinutes returns the position rounded to 0.001 minute (2 m of latitude), as in
// "20 36.852 S 25 25.860 E". ParsePosition reads it back.
func (p Position) DegreesMinutes() string {
	side := func(a angle.Angle, width int, positive, negative string) string {
		thousandths := math.Round(math.Abs(a.Degrees()) * 60e3)
		if a < 0 && thousandths > 0 && !(negative == "W" && thousandths == 180*60e3) {
			positive = negative
		}
		return fmt.Sprintf("%0*d %06.3f %s", width, int(thousandths)/60e3, math.Mod(thousandths, 60e3)/1e3, positive)
	}
	return side(p.Lat, 2, "N", "S") + " " + side(p.Lon, 3, "E", "W")
}

// hemisphere rounds before it looks at the sign, so that -0.00001 degree is
// "0.0000 N" and reads back as what it prints.
func hemisphere(a angle.Angle, positive, negative string) (degrees float64, letter string) {
	d := math.Round(a.Degrees()*1e4) / 1e4
	if d < 0 {
		return -d, negative
	}
	return math.Abs(d), positive // Abs drops the sign of -0
}

// maxPositionText bounds what ParsePosition looks at; the longest sensible
// position is half as long.
const maxPositionText = 120

const positionHint = `write LAT,LON as -20.6142,25.4310 or "20 36.852 S, 25 25.860 E" or "20°36'51.1\"S 25°25'51.6\"E"`

// ParsePosition reads a latitude followed by a longitude. Each is decimal
// degrees, degrees and decimal minutes, or degrees, minutes and decimal seconds,
// with a sign or a hemisphere letter before or after it, but not both. The two
// are parted by a comma, or by white space if that leaves no doubt. Degree and
// prime signs, plain and typographic, and colons may part the numbers.
//
// It fails with code "bad_position".
func ParsePosition(s string) (Position, error) {
	p, _, err := parsePosition(s)
	return p, err
}

// Resolution returns the size of the last digit written in s, of latitude or longitude,
// whichever is coarser on the ground there, in degrees of latitude: 1 degree for "-20,25.4", 0.001 minute for
// "20 36.852 S, 25 25.860 E". Half of it is the most that rounding can have
// moved the position. It is 0 for what ParsePosition refuses.
func Resolution(s string) angle.Angle {
	_, step, _ := parsePosition(s)
	return step
}

// WithRounding returns the sigma of a position as it was written: half a step of its last
// digit is an error too, uniform over the step. Coarse says that it is the greater part.
func WithRounding(position string, sigma Metres) (good Metres, coarse bool) {
	step := Resolution(position).Degrees() * KMPerDegree * 1000
	good = Metres(math.Hypot(float64(sigma), step/math.Sqrt(12)))
	return good, good > 1.2*sigma
}

func parsePosition(s string) (p Position, step angle.Angle, err error) {
	lat, lon, err := splitPosition(s)
	if err != nil {
		return Position{}, 0, err
	}
	a, err := parseCoordinate(lat, "latitude", "NS", 90)
	if err != nil {
		return Position{}, 0, err
	}
	b, err := parseCoordinate(lon, "longitude", "EW", 180)
	if err != nil {
		return Position{}, 0, err
	}
	if a.letter != b.letter {
		return Position{}, 0, badPosition("position %q has a hemisphere letter on one side only", s)
	}
	// Not Signed, which would send the value through another rounding.
	if b.value == -180*angle.Degree {
		b.value = -b.value
	}
	return Position{Lat: a.value, Lon: b.value}, max(a.step, b.step*angle.Angle(a.value.Cos())), nil
}

func badPosition(format string, args ...any) error {
	return fault.New("bad_position", positionHint, format, args...)
}

// plainSigns folds the ways of typing degree, prime and minus signs into one.
var plainSigns = strings.NewReplacer(
	"º", "°", "˚", "°",
	"′", "'", "’", "'", "‘", "'", "ʹ", "'", "´", "'",
	"″", `"`, "”", `"`, "“", `"`, "ʺ", `"`,
	"−", "-", "–", "-",
	"\u00a0", " ", "\u202f", " ", "\u2009", " ",
)

// splitPosition returns the texts of latitude and longitude.
func splitPosition(s string) (lat, lon string, err error) {
	if len(s) > maxPositionText {
		return "", "", badPosition("position is longer than %d characters", maxPositionText)
	}
	t := strings.TrimSpace(strings.ReplaceAll(plainSigns.Replace(strings.ToUpper(s)), "''", `"`))
	if t == "" {
		return "", "", badPosition("position is empty")
	}
	switch strings.Count(t, ",") {
	case 1:
		lat, lon, _ = strings.Cut(t, ",")
		return lat, lon, nil
	case 0:
	default:
		return "", "", badPosition("position %q has more than one comma; the decimal sign is a point", s)
	}
	if ns := strings.IndexAny(t, "NS"); ns > 0 { // letter behind the number
		return t[:ns+1], t[ns+1:], nil
	}
	if ew := strings.IndexAny(t, "EW"); ew > 0 { // letter before the number
		return t[:ew], t[ew:], nil
	}
	// Without comma or letter only two plain numbers leave no doubt.
	if f := strings.Fields(t); len(f) == 2 {
		return f[0], f[1], nil
	}
	return "", "", badPosition("position %q cannot be split into latitude and longitude", s)
}

type coordinate struct {
	value  angle.Angle
	step   angle.Angle // of the last digit written
	letter bool        // hemisphere given by a letter
}

// coordinatePattern is degrees, then perhaps minutes, then perhaps seconds; each
// keeps its own sign, so that 36.852' alone is not taken for degrees.
var coordinatePattern = regexp.MustCompile(
	`^(\d{1,3}(?:\.\d+)?)(?:\s*°|(?:\s*[°:]\s*|\s+)` +
		`(\d{1,2}(?:\.\d+)?)(?:\s*'|(?:\s*[':]\s*|\s+)` +
		`(\d{1,2}(?:\.\d+)?)(?:\s*")?)?)?$`)

func parseCoordinate(s, name, letters string, limit float64) (coordinate, error) {
	s = strings.TrimSpace(s)
	t := strings.TrimLeft(s, "NSEW")
	letter := s[:len(s)-len(t)]
	t = strings.TrimSpace(t)
	u := strings.TrimRight(t, "NSEW")
	letter += t[len(u):]
	unsigned := strings.TrimLeft(u, "+-")
	sign := u[:len(u)-len(unsigned)]
	m := coordinatePattern.FindStringSubmatch(strings.TrimSpace(unsigned))
	switch {
	case m == nil || len(letter) > 1 || len(sign) > 1:
		return coordinate{}, badPosition("%s %q cannot be read", name, s)
	case letter != "" && !strings.Contains(letters, letter):
		return coordinate{}, badPosition("%s %q has the letter %s; latitude (N or S) comes first, then longitude (E or W)", name, s, letter)
	case letter != "" && sign != "":
		return coordinate{}, badPosition("%s %q has both a sign and a hemisphere letter", name, s)
	}

	var degrees float64
	step := 1.0
	numbers := m[1:]
	for i, n := range numbers {
		if n == "" {
			break
		}
		unit := []float64{1, 60, 3600}[i] // per degree
		_, decimals, hasPoint := strings.Cut(n, ".")
		if hasPoint && i < 2 && numbers[i+1] != "" {
			return coordinate{}, badPosition("%s %q: only the last number may have decimals", name, s)
		}
		v, err := strconv.ParseFloat(n, 64)
		if err != nil {
			return coordinate{}, badPosition("%s %q cannot be read", name, s)
		}
		if i > 0 && v >= 60 {
			return coordinate{}, badPosition("%s %q: minutes and seconds run to less than 60", name, s)
		}
		degrees += v / unit
		step = math.Pow10(-len(decimals)) / unit
	}
	if degrees > limit {
		return coordinate{}, badPosition("%s %q is beyond %g degrees", name, s, limit)
	}
	if sign == "-" || letter == "S" || letter == "W" {
		degrees = -degrees
	}
	return coordinate{angle.FromDegrees(degrees), angle.FromDegrees(step), letter != ""}, nil
}
