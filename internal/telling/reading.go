// Package telling puts readings, and what there is to steer, into the sentences that people
// read: one way for the command and for a page.
package telling

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/instrument"
	"shadowread/internal/reading"
	"shadowread/internal/wording"
)

// HeadingName says whether what was proved of the instrument is in the heading.
func HeadingName(r *reading.Result) string {
	if r.Instrument != nil {
		return "corrected heading"
	}
	return "heading"
}

// meanings says what the terms of the budget are.
var meanings = map[string]string{
	"level":      "rod from plumb across the shadow",
	"shadow_fit": "direction of the shadow's strip",
	"sheet_map":  "sheet to picture: lens, camera, flatness",
	"print":      "stretch of the print",
	"alignment":  "sheet's forward axis against the vehicle's",
	"time":       "clock",
	"position":   "place",
	"body":       "computed azimuth",
}

// Meaning says what a term of a reading's budget is.
func Meaning(r *reading.Result, term string) string {
	switch p := r.LevelParts; {
	case p != nil && term == "level":
		return fmt.Sprintf("board's tilt %s°, rod square to it %s°", wording.Fixed(p.Tilt, 3), wording.Fixed(p.Square, 3))
	case r.Instrument != nil && (term == "level" || term == "alignment"):
		return "what the instrument's record leaves open"
	case r.PlumbLine && term == "level":
		return "sheet from level, squared"
	}
	return meanings[term]
}

// SetBy names what a user says of a term, as the command line calls it; "" where nothing sets it.
func SetBy(r *reading.Result, term string) string {
	switch term {
	case "level":
		switch {
		case r.LevelParts != nil:
			return "square-sigma"
		case r.Instrument != nil:
			return ""
		}
		return "level-sigma"
	case "alignment":
		if r.Instrument != nil {
			return ""
		}
		return "lubber-sigma"
	case "print":
		return "print-scale"
	case "time":
		return "time-sigma"
	case "position":
		return "position-sigma"
	}
	return ""
}

// Doubts says what of a heading's uncertainty rests on nothing that was said or seen.
func Doubts(r *reading.Result) (texts []string) {
	if r.RodInDoubt() {
		texts = append(texts, "nothing was said of how the rod was set (--level-sigma), and this photo does not show it: take it along the shadow from its far end")
	}
	if r.Budget.Alignment == 0 && r.Instrument == nil {
		texts = append(texts, "the heading is the sheet's: nothing was said of how it lies in the vehicle")
	}
	return texts
}

// Instrument says what a record did to a heading.
func Instrument(i *instrument.Record, correction angle.Angle) string {
	text := "the " + string(i.Gnomon)
	if i.Name != "" {
		text = i.Name + ", a " + string(i.Gnomon)
	}
	text += ": corrected by " + wording.Signed(correction, 2)
	if i.Proved.Lubber == nil {
		return text + ", to the sheet's forward axis"
	}
	return text + ", to the vehicle"
}

// Sigma prints a sigma of a time as people say it: 30 s, 2.5 min, 1 h, 3 days.
func Sigma(d time.Duration) string {
	x, unit := d.Seconds(), "s"
	switch {
	case d >= 48*time.Hour:
		x, unit = x/86400, "days"
	case d >= time.Hour:
		x, unit = x/3600, "h"
	case d >= 2*time.Minute:
		x, unit = x/60, "min"
	}
	if x >= 1000 { // three digits would be written as a power of ten
		return strconv.FormatFloat(x, 'f', 0, 64) + " " + unit
	}
	return Figures(x) + " " + unit
}

// Clock says how far the clock is checked, first of all by the shadow; "" where there
// is nothing to check.
func Clock(r *reading.Result) string {
	a := r.AltitudeFromShadow
	if r.Sky == nil || r.Number == nil {
		return ""
	}
	if a == nil {
		if r.ClockProved {
			return "clock checked by the photo's GPS stamp, not by the shadow: " + r.WhyNotChecked()
		}
		return "clock not checked: " + r.WhyNotChecked()
	}
	most := ""
	if r.AltitudeAtMost {
		most = "at most "
	}
	text := fmt.Sprintf("%s %s%s° ± %s° by its length, %s° by the clock", r.Sky.Body, most, wording.Fixed(*a, 1), wording.Fixed(wording.Within95(r.AltitudeSigma), 1), wording.Fixed(r.Sky.Altitude, 1))
	switch r.Clock {
	case reading.ClockFailed:
		return "clock contradicted by the shadow: " + text
	case reading.ClockWeak:
		text = "clock hardly checked by the shadow: " + text
		if other := r.OtherHoursText(); other != "" {
			return text + "; " + other
		}
		return text + "; the altitude hardly changes about this time"
	}
	return "clock checked by the shadow: " + text
}

// Board says how the sheet stands and which edges to raise.
func Board(r *reading.Result) string {
	t := r.Tilt
	edge := func(a angle.Angle, high, low string) (stands, raise string) {
		name, other := high, low
		if a < 0 {
			name, other = low, high
		}
		return fmt.Sprintf("%s edge %.2f° high", name, a.Abs().Degrees()), fmt.Sprintf("%s edge %.1f mm", other, 100*a.Abs().Tan())
	}
	f, raiseF := edge(t.Forward, "forward", "aft")
	s, raiseS := edge(t.Starboard, "starboard", "port")
	return fmt.Sprintf("%s, %s, ± %.2f° (%s); to level it raise the %s and the %s on 100 mm",
		f, s, wording.Within95(t.Sigma).Degrees(), strings.Join(r.TiltSources, " and "), raiseF, raiseS)
}

// With prints a bearing that is steered by, with its uncertainty.
func With(u reading.Uncertain) string {
	return wording.Steer(u.Value, u.Sigma)
}

// Figures prints a sigma that may be a tenth or some thousands.
func Figures(x float64) string { return strconv.FormatFloat(x, 'g', 3, 64) }
