package geo

import (
	"regexp"
	"strings"
	"time"

	"shadowread/internal/fault"
)

// Noted is a time as people note it.
type Noted struct {
	Time   time.Time      // UTC
	Offset *time.Duration // its own UTC offset; nil without one
	// Minutes says that no seconds were noted, Day that no hour was: Time is then noon. Today
	// says that no date was.
	Minutes, Day, Today bool
}

// notedPattern is a date, an hour, or both, with an offset of their own or none.
var notedPattern = regexp.MustCompile(`^(?:(\d{4}-\d{2}-\d{2})(?:[Tt ]+|$))?(?:(\d{1,2}:\d{2})(:\d{2}(?:\.\d{1,9})?)?([Zz]|[+-]\d{2}:\d{2})?)?$`)

const notedHint = "write the time as 2026-03-14T09:26:53+02:00, the seconds if they are known, or without the offset and give --utc-offset; today's hour alone is 09:26"

// ParseNoted reads what ParseTime does, and times without seconds, a date alone and, where
// now is not zero, an hour alone, which is that of now's day at the offset.
//
// It fails as ParseTime does.
func ParseNoted(s string, offset *time.Duration, now time.Time) (Noted, error) {
	var n Noted
	if len(s) > 64 {
		return n, fault.New("bad_time", notedHint, "time is too long")
	}
	m := notedPattern.FindStringSubmatch(strings.ReplaceAll(strings.TrimSpace(s), "−", "-"))
	if m == nil || m[1] == "" && m[2] == "" || m[1] == "" && now.IsZero() || m[2] == "" && m[4] != "" {
		return n, fault.New("bad_time", notedHint, "time %q cannot be read", s)
	}
	date, clock, seconds, own := m[1], m[2], m[3], m[4]
	if own != "" {
		d, err := ParseOffset(own)
		if err != nil {
			return n, err
		}
		n.Offset = &d
	}
	at := n.Offset
	if at == nil {
		at = offset
	}
	switch {
	case clock == "":
		n.Day, clock, seconds = true, "12:00", ":00"
	case seconds == "":
		n.Minutes, seconds = true, ":00"
	}
	if len(clock) < len("09:26") {
		clock = "0" + clock
	}
	if date == "" {
		if at == nil {
			return n, fault.New("no_utc_offset", notedHint, "time %q has no UTC offset", s)
		}
		n.Today = true
		date = now.UTC().Add(*at).Format(time.DateOnly)
	}
	whole := date + "T" + clock + seconds + own
	t, err := ParseTime(whole, offset)
	if err != nil { // which names what was written
		return n, fault.New(fault.Code(err), notedHint, "%s", strings.ReplaceAll(err.Error(), whole, s))
	}
	n.Time = t
	return n, nil
}
