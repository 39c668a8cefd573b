package logbook

import (
	"fmt"

	"shadowread/internal/geo"
	"shadowread/internal/wording"
)

// How lengths and positions of a journey are shown, on a screen as in a report.

// Text is a length in the unit, as wording.Length has it in kilometres.
func (u Unit) Text(m geo.Metres) string {
	if u == Kilometres {
		return wording.Length(m)
	}
	n := float64(m / u.Length())
	switch {
	case n < 10:
		return fmt.Sprintf("%.2f %s", n, u)
	case n < 1000:
		return fmt.Sprintf("%.1f %s", n, u)
	}
	return fmt.Sprintf("%.0f %s", n, u)
}

// Near is how far something may be off or lies off: in metres, as errors are given, below
// a kilometre, then in the unit.
func (u Unit) Near(m geo.Metres) string {
	if m < 999.5 {
		return wording.Length(m)
	}
	return u.Text(m)
}

// PerHour is how the speed of a unit an hour is written.
func (u Unit) PerHour() string {
	switch u {
	case StatuteMiles:
		return "mph"
	case NauticalMiles:
		return "kn"
	}
	return "km/h"
}

// Place is a position in the journey's form; nil settings show degrees.
func (s *Settings) Place(p geo.Position) string {
	if s != nil && s.PositionForm != nil && *s.PositionForm == DegreesMinutes {
		return p.DegreesMinutes()
	}
	return p.String()
}
