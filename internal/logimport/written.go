package logimport

import (
	"cmp"
	"fmt"
	"strconv"
	"strings"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/workup"
)

// The units that lengths and speeds may be given in. A word behind a number is its
// unit; a bare number is in that of its journey, or so many an hour.
var (
	lengthUnits = map[string]geo.Metres{"km": geo.Kilometre, "mi": geo.StatuteMile, "nmi": geo.NauticalMile, "m": geo.Metre}
	speedUnits  = map[string]workup.MetresPerSecond{"km/h": 1 / 3.6, "mph": workup.MetresPerSecond(geo.StatuteMile) / 3600, "kn": workup.MetresPerSecond(geo.NauticalMile) / 3600}
)

// ParseLength reads a length with its unit, "12.5 km", "8mi", "900m"; bare is that of a
// number without. It fails with code "bad_number".
func ParseLength(text string, bare logbook.Unit) (geo.Metres, error) {
	return measured(text, string(bare), lengthUnits, "give a length with its unit, km, mi, nmi or m, as 12.5km; without one it is in the journey's")
}

// ParseSpeed reads a speed with its unit, "20km/h", "12mph", "8kn"; that of a number without
// is bare an hour. It fails with code "bad_number".
func ParseSpeed(text string, bare logbook.Unit) (workup.MetresPerSecond, error) {
	return measured(text, bare.PerHour(), speedUnits, "give a speed with its unit, km/h, mph or kn, as 20km/h; without one it is in the journey's")
}

// ParseReading reads what an odometer shows, "45218.4", with km, mi or nmi behind it where
// it does not count in bare. It fails with code "bad_odometer".
func ParseReading(text string, bare logbook.Unit) (logbook.Odometer, error) {
	number, unit := splitUnit(text)
	return logbook.ParseOdometer(number, logbook.Unit(cmp.Or(unit, string(bare))))
}

// HasUnit tells whether a unit stands behind the number.
func HasUnit(text string) bool {
	_, unit := splitUnit(text)
	return unit != ""
}

// ParseShortLeg reads a leg of a detour: a true heading in degrees, and what the
// odometer read at its end, "140,@45219.9", or its length, "140,900m". sigma is the
// heading's unless its own stands behind it, "140+-3,900m+-50m"; bare is the unit of
// numbers without one. It fails with code "bad_leg".
func ParseShortLeg(text string, sigma angle.Angle, bare logbook.Unit) (logbook.ShortLeg, error) {
	wrong := func(why string) (logbook.ShortLeg, error) {
		return logbook.ShortLeg{}, fault.New("bad_leg", "give HEADING,@READING, as 140,@45219.9, or HEADING,LENGTH, as 140,0.8km", "leg %q: %s", text, why)
	}
	heading, way, ok := strings.Cut(text, ",")
	if !ok {
		return wrong("it has no length")
	}
	heading, own := splitSigma(heading)
	degrees, err := number(strings.TrimSuffix(heading, "°"), 360)
	if err != nil {
		return wrong(fmt.Sprintf("heading %q is none from 0 to 360", heading))
	}
	if own != "" {
		s, err := number(strings.TrimSuffix(own, "°"), 360)
		if err != nil {
			return wrong(fmt.Sprintf("%q is no sigma of a heading", own))
		}
		sigma = angle.FromDegrees(s)
	}
	leg := logbook.ShortLeg{Heading: logbook.Heading{Heading: angle.FromDegrees(degrees), Sigma: sigma}}
	way = strings.TrimSpace(way)
	if reading, ok := strings.CutPrefix(way, "@"); ok {
		reading, way, _ = strings.Cut(reading, " ")
		o, err := parseRolled(reading, bare)
		if err != nil {
			return wrong(err.Error())
		}
		leg.Run = logbook.ByOdometer(o)
		if way == "" {
			return leg, nil
		}
	}
	if leg.Run.Distance, err = parseDistance(way, bare); err != nil {
		return wrong(err.Error())
	}
	return leg, nil
}

// splitSigma parts "140+-3" or "140±3" into a figure and its sigma.
func splitSigma(text string) (figure, sigma string) {
	figure, sigma, _ = strings.Cut(strings.ReplaceAll(text, "±", plusMinus), plusMinus)
	return strings.TrimSpace(figure), strings.TrimSpace(sigma)
}

func parseDistance(text string, bare logbook.Unit) (d *logbook.Distance, err error) {
	length, sigma := splitSigma(text)
	d = &logbook.Distance{}
	if d.Length, err = ParseLength(length, bare); err == nil && sigma != "" {
		d.Sigma, err = ParseLength(sigma, bare)
	}
	return d, err
}

// parseRolled reads what an odometer shows, with the digits before its point in brackets
// where it has passed its last number: "12.3km(5)".
func parseRolled(text string, bare logbook.Unit) (logbook.Odometer, error) {
	text, digits, rolled := strings.Cut(strings.TrimSuffix(text, ")"), "(")
	o, err := ParseReading(text, bare)
	if err != nil || !rolled {
		return o, err
	}
	if o.RolledOver, err = strconv.Atoi(digits); err != nil || o.RolledOver < 1 {
		return o, fault.New("bad_odometer", "give the digits before the point, as many as the odometer shows", "%q is no count of digits", digits)
	}
	return o, o.Validate()
}

// splitUnit parts "12.5 km" into its number and unit.
func splitUnit(text string) (number, unit string) {
	text = strings.TrimSpace(text)
	number = strings.TrimRight(text, "abcdefghijklmnopqrstuvwxyz/")
	return strings.TrimSpace(number), text[len(number):]
}

// measured reads a number with one of units behind it, not negative and at most a
// million.
func measured[T ~float64](text, usual string, units map[string]T, hint string) (T, error) {
	value, unit := splitUnit(text)
	size, known := units[cmp.Or(unit, usual)]
	x, err := number(value, 1e6)
	if err != nil || !known {
		return 0, fault.New("bad_number", hint, "%q cannot be read", text)
	}
	return T(x) * size, nil
}

// number reads a number from 0 to most.
func number(text string, most float64) (float64, error) {
	x, err := strconv.ParseFloat(text, 64)
	if err == nil && !(x >= 0 && x <= most) { // NaN fails both
		err = strconv.ErrRange
	}
	return x, err
}
