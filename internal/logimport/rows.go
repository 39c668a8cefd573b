package logimport

import (
	"strconv"
	"strings"
	"time"

	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/table"
)

// Limits of a CSV file: years of a log.
const (
	maxCSV     = 16 << 20 // bytes
	maxCSVRows = 200_000
)

// numberColumns hold figures. What legs and position hold is parted by commas itself.
var numberColumns = []string{"odometer_km", "odometer_mi", "odometer_nmi", "rolled_over_digits", "distance_km", "speed_kmh",
	"heading_deg", "number_deg", "sigma_deg", "error_m", "reads"}

// exactColumns hold figures of an exported journey.
var exactColumns = []string{"distance_sigma_km", "speed_sigma_kmh", "under_way_s", "level_sigma_deg", "lubber_sigma_deg", "position_sigma_deg",
	"body_azimuth_deg", "body_altitude_deg", "steering_deg", "lubber_shared_deg", "lubber_walk_deg", "lean_deg", "lean_walk_deg", "scale", "scale_walk",
	"drift_mps", "drift_walk_mps", "speed_limit_kmh"}

// wayRow is a row of either kind of file.
type wayRow struct{ table.Row }

// odometerColumns are one for each unit; a row fills at most one.
var (
	odometerNames   = []string{"odometer_km", "odometer_mi", "odometer_nmi"}
	odometerColumns = map[string]logbook.Unit{"odometer_km": logbook.Kilometres, "odometer_mi": logbook.StatuteMiles, "odometer_nmi": logbook.NauticalMiles}
)

// odometer returns the reading in a row, nil if there is none.
func (r wayRow) odometer() (*logbook.Odometer, error) {
	var found *logbook.Odometer
	for column, unit := range odometerColumns {
		text := r.Field(column)
		switch {
		case text == "":
			continue
		case found != nil:
			return nil, r.Bad("the odometer is read in two units")
		}
		found = &logbook.Odometer{AsGiven: withDecimals(text, r.Field("odometer_decimals")), Unit: unit}
	}
	digits := r.Field("rolled_over_digits")
	rolled := digits != ""
	switch {
	case found == nil && rolled:
		return nil, r.Bad("the odometer rolled over, but its reading is not given")
	case found == nil:
		return nil, nil
	case rolled:
		n, err := strconv.Atoi(digits)
		if err != nil || n < 1 {
			return nil, r.Bad("rolled_over_digits %q is no count of digits", digits)
		}
		found.RolledOver = n
	}
	return found, found.Validate()
}

// withDecimals gives a reading the zeros back that a spreadsheet has trimmed, which say
// how finely the odometer counts.
func withDecimals(text, decimals string) string {
	want, err := strconv.Atoi(decimals)
	_, fraction, point := strings.Cut(text, ".")
	missing := want - len(fraction)
	if err != nil || missing <= 0 || want > maxDecimals {
		return text
	}
	if !point {
		text += "."
	}
	return text + strings.Repeat("0", missing)
}

// maxDecimals is more than any odometer shows.
const maxDecimals = 9

// time reads the column time.
func (r wayRow) time(offset *time.Duration) (time.Time, error) {
	t, _, err := r.timeBy(offset)
	return t, err
}

// timeBy reads it with the UTC offset by which it was noted; nil where it is in UTC.
func (r wayRow) timeBy(offset *time.Duration) (t time.Time, by *time.Duration, err error) {
	text := r.Field("time")
	if text == "" {
		return time.Time{}, nil, nil
	}
	n, err := geo.ParseNoted(text, offset, time.Time{})
	if err != nil {
		return time.Time{}, nil, err
	}
	if n.Day {
		return time.Time{}, nil, fault.New("bad_time", "give the hour too", "%q has no hour", text)
	}
	if by = offset; n.Offset != nil {
		by = n.Offset
	}
	if strings.HasSuffix(strings.ToUpper(text), "Z") {
		by = nil
	}
	if own := r.Field("utc_offset"); own != "" { // of an exported journey, whose times are UTC
		d, err := geo.ParseOffset(own)
		if err != nil {
			return time.Time{}, nil, err
		}
		by = &d
	}
	return n.Time, by, logbook.Validate(logbook.At{Time: n.Time}, &logbook.Note{})
}
