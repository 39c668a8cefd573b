package geo

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"shadowread/internal/fault"
)

// Civil offsets from UTC run from -12:00 to +14:00 (IANA time zone database).
const (
	minOffset = -12 * time.Hour
	maxOffset = 14 * time.Hour
)

const offsetHint = "write the UTC offset as +02:00, -03:30, Z or in decimal hours to the quarter, as 2 or -3.5; east of Greenwich is positive"

var (
	clockOffset  = regexp.MustCompile(`^([+-]?)(\d{1,2}):(\d{2})$`)
	decimalHours = regexp.MustCompile(`^[+-]?\d{1,2}(\.\d{1,4})?$`)
)

// ParseOffset reads a UTC offset, east positive: "+02:00", "-3:30", "Z", or
// decimal hours to the quarter ("2", "-3.5"). Decimal hours that are no quarter
// hours are refused, since 5.3 is more often a slip for 5:30 than meant as 5:18.
//
// It fails with code "bad_utc_offset".
func ParseOffset(s string) (time.Duration, error) {
	bad := func(format string, args ...any) (time.Duration, error) {
		return 0, fault.New("bad_utc_offset", offsetHint, format, args...)
	}
	if len(s) > 16 {
		return bad("UTC offset is too long")
	}
	t := strings.ReplaceAll(strings.TrimSpace(s), "−", "-")
	if strings.EqualFold(t, "Z") {
		return 0, nil
	}
	var offset time.Duration
	if m := clockOffset.FindStringSubmatch(t); m != nil {
		hours, _ := strconv.Atoi(m[2]) // digits by the pattern
		minutes, _ := strconv.Atoi(m[3])
		if minutes > 59 {
			return bad("UTC offset %q has more than 59 minutes", s)
		}
		offset = time.Duration(hours)*time.Hour + time.Duration(minutes)*time.Minute
		if m[1] == "-" {
			offset = -offset
		}
	} else if decimalHours.MatchString(t) {
		hours, err := strconv.ParseFloat(t, 64)
		if err != nil {
			return bad("UTC offset %q cannot be read", s)
		}
		offset = time.Duration(hours * float64(time.Hour))
		if offset%(15*time.Minute) != 0 {
			return bad("UTC offset %q is not a whole number of quarter hours", s)
		}
	} else {
		return bad("UTC offset %q cannot be read", s)
	}
	if offset < minOffset || offset > maxOffset {
		return bad("UTC offset %q is outside -12:00 to +14:00", s)
	}
	return offset, nil
}

// FormatOffset prints a UTC offset to the minute, as in "+02:00".
func FormatOffset(d time.Duration) string {
	sign := '+'
	if d < 0 {
		sign, d = '-', -d
	}
	return fmt.Sprintf("%c%02d:%02d", sign, int(d/time.Hour), int(d%time.Hour/time.Minute))
}

const timeHint = "write the time as 2026-03-14T09:26:53+02:00 (RFC 3339), or without the offset and give --utc-offset"

// timePattern is RFC 3339 section 5.6, the offset made optional. A space may
// stand for the T, as the note there allows.
var timePattern = regexp.MustCompile(`^\d{4}-\d{2}-\d{2}[Tt ](\d{2}:\d{2}:\d{2}(?:\.\d{1,9})?)([Zz]|[+-]\d{2}:\d{2})?$`)

// ParseTime reads an RFC 3339 time and returns it in UTC. A time without an
// offset takes the one given; one that has its own must not contradict it.
//
// It fails with code "bad_time", "no_utc_offset" or, where the two offsets
// differ, "offset_conflict".
func ParseTime(s string, offset *time.Duration) (time.Time, error) {
	if len(s) > 64 {
		return time.Time{}, fault.New("bad_time", timeHint, "time is too long")
	}
	t := strings.ReplaceAll(strings.TrimSpace(s), "−", "-")
	m := timePattern.FindStringSubmatch(t)
	if m == nil {
		return time.Time{}, fault.New("bad_time", timeHint, "time %q is not an RFC 3339 time", s)
	}
	clock, err := time.Parse("2006-01-02 15:04:05", t[:10]+" "+m[1])
	if err != nil { // no such day, hour, minute or second
		return time.Time{}, fault.New("bad_time", timeHint, "time %q does not exist", s)
	}
	own := m[2]
	if own == "" {
		if offset == nil {
			return time.Time{}, fault.New("no_utc_offset", timeHint, "time %q has no UTC offset", s)
		}
		return clock.Add(-*offset), nil
	}
	d, err := ParseOffset(own)
	if err != nil {
		return time.Time{}, err
	}
	if offset != nil && *offset != d {
		return time.Time{}, fault.New("offset_conflict", "give one of the two",
			"time %q and the UTC offset %s contradict each other", s, FormatOffset(*offset))
	}
	return clock.Add(-d), nil
}
