package align

import (
	"fmt"
	"math"
	"strings"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
	"shadowread/internal/wording"
)

// shimBase is the length for which a shim's height is given, mm.
const shimBase = 100.0

// Verdict says in plain words what is off, by how much, what to do, and what remains.
// A ± holds 95 %.
// It is one case after another of what can be said, and long by their number.
func (r *Result) Verdict() (lines []string) {
	say := func(format string, args ...any) { lines = append(lines, fmt.Sprintf(format, args...)) }
	if r.Code != "" {
		return []string{r.unbelieved() + ": nothing is determined", r.likely()}
	}
	for _, t := range r.Terms {
		if t.SetAside {
			say("%s was set aside: its shadow lies %.2f° from where the others put it; look at it for its time, for another shadow, or for a rod that was touched", t.Label, t.Residual.Abs().Degrees())
		}
	}
	if len(r.Suspects) > 0 {
		say("the readings do not agree, and nobody can say which is wrong: look at %s, and take more readings", r.names(r.Suspects))
	}
	if r.Widened > 1 {
		say("the readings scatter %.1f times as much as their sigmas say; all uncertainties here were raised by as much", r.Widened)
	}

	tilt, toward, sigma := r.Lean()
	if len(r.Slips) > 0 {
		say("the rod would lean by %.1f°, which is rare, and %s; look at what was noted before you go by what follows", tilt.Degrees(), saySlips(r.Slips))
	}
	if r.reversed {
		lines = append(lines, r.reversedVerdict()...)
	}
	if len(r.Stands) == 1 {
		h := r.Stands[0].Heading
		if h.Determined {
			say("the sheet's forward axis points to %06.2f° true, ± %.2g° (95 %%)%s", h.Value.Degrees(), within95(h.Sigma), rests(h.PriorShare, h.RestsOn))
		} else {
			say("the sheet's heading is not determined: about %03.0f°, ± %.1f° (95 %%)%s", h.Value.Degrees(), within95(h.Sigma), rests(h.PriorShare, h.RestsOn))
		}
	}

	share, on := r.LeanStarboard.PriorShare, r.LeanStarboard.RestsOn
	if r.LeanForward.PriorShare > share {
		share, on = r.LeanForward.PriorShare, r.LeanForward.RestsOn
	}
	switch {
	case !r.LeanDetermined():
		say("the rod's lean from plumb is not determined: it may be %.1f°, ± %.1f° to starboard and %.1f° forward (95 %%)%s",
			tilt.Degrees(), within95(r.LeanStarboard.Sigma), within95(r.LeanForward.Sigma), rests(share, on))
	case tilt < 2*sigma:
		say("the rod is plumb as far as these readings show: a lean of %.2f° is within its uncertainty of %.2g°%s", tilt.Degrees(), within95(sigma), rests(share, on))
	default:
		cure := ""
		if len(r.Slips) == 0 {
			cure = fmt.Sprintf(": raise that side of the board by %.1f mm for each %.0f mm of its width, or bend the rod back, then prove it again", shimBase*tilt.Tan(), shimBase)
		}
		say("the rod's top leans %.2f° from plumb, ± %.2g° (95 %%), towards %03.0f°, clockwise from forward (%s)%s%s",
			tilt.Degrees(), within95(sigma), whole(toward), side(toward), rests(share, on), cure)
	}

	s, f := r.FootStarboardMM, r.FootForwardMM
	if s.Determined && f.Determined {
		off, toward := math.Hypot(s.Value, f.Value), angle.Clockwise(s.Value, f.Value)
		radius := sheet.Standard.Dial.TickInnerRadius // of the scale that photos show
		if at := r.Terms[0].RadiusMM; at > 0 {
			radius = at
		}
		if off > 2*max(s.Sigma, f.Sigma) {
			say("the rod's foot stands %.2f mm from the dial's centre, ± %.2g mm (95 %%), towards %03.0f°, clockwise from forward (%s)%s: it turns a number read by eye on a scale of %.0f mm radius by up to %.2f°, and a photo's reading not at all",
				off, 2*max(s.Sigma, f.Sigma), whole(toward), side(toward), rests(max(s.PriorShare, f.PriorShare), s.RestsOn), radius, angle.Asin(off/radius).Degrees())
		}
	}

	if r.clockAsked {
		c := r.Clock
		word := "fast"
		if c.Value < 0 {
			word = "slow"
		}
		if c.Determined {
			say("the clock is %.0f s %s, ± %.0f s%s", math.Abs(c.Value.Seconds()), word, 2*c.Sigma.Seconds(), rests(c.PriorShare, c.RestsOn))
		} else {
			say("the clock's error is not determined, %.0f s ± %.0f s: a clock turns all headings almost alike; compare it with a time signal", c.Value.Seconds(), 2*c.Sigma.Seconds())
		}
	}

	if l := r.Lubber; l != nil {
		switch {
		case !l.Determined:
			say("the lubber line is not determined, since the sheet's heading is not")
		case l.Value.Abs() < 2*l.Sigma:
			say("the sheet is square to the vehicle as far as these readings show: %.2f° is within the uncertainty of %.2g°", l.Value.Abs().Degrees(), within95(l.Sigma))
		default:
			way := "clockwise"
			if l.Value < 0 {
				way = "counter-clockwise"
			}
			say("the vehicle's heading is the sheet's %+.2f°, ± %.2g° (95 %%; the lubber line): turn the sheet %.2f° %s on what it is fixed to, seen from above, or keep the correction", l.Value.Degrees(), within95(l.Sigma), l.Value.Abs().Degrees(), way)
		}
	}

	switch {
	case !r.LeanDetermined():
		return append(lines, r.advice())
	case len(r.Remains) == 0:
		say("so much lean cannot be corrected for: straighten the rod and level the board, then prove it again")
	}
	for _, m := range r.Remains {
		say("with the sun at %.0f° a heading read as if nothing were off is wrong by up to %.2f°; corrected, %.2g° remains (95 %%)", m.Altitude.Degrees(), m.Uncorrected.Degrees(), within95(m.Sigma))
	}
	if len(r.Stands) == 1 {
		lines = append(lines, r.advice())
	}
	return lines
}

// within95 is the ± that holds an angle in 95 of 100 cases, in degrees.
func within95(sigma angle.Angle) float64 { return wording.Within95(sigma).Degrees() }

// unbelieved says what cannot be of readings that are not believable.
func (r *Result) unbelieved() string {
	return "these readings are not believable, since " + strings.Join(r.why, " and ")
}

// likely says what may be behind it.
func (r *Result) likely() string {
	if len(r.Slips) > 0 {
		return saySlips(r.Slips) + "; look at what was noted, set it right and run this again"
	}
	return "no single slip in the hour, the UTC offset's sign, the hemisphere, the longitude's sign or the dial's sense explains them: " +
		"the rod or the board may have been moved during the series, a height or a sigma may be stated wrongly, or readings of two days, places or instruments may be mixed"
}

// side names the nearest of eight directions on the plate.
func side(a angle.Angle) string {
	names := [8]string{"forward", "forward and to starboard", "to starboard", "aft and to starboard",
		"aft", "aft and to port", "to port", "forward and to port"}
	return names[int(math.Round(a.Bearing().Degrees()/45))%8]
}

// advice says how to come to know more.
func (r *Result) advice() string {
	if len(r.Stands) > 1 {
		return "to tell rod and board apart on a quick turn, give the rod's height with shadows whose tip is seen, and the rod's slope from its own image or a rod known to stand square; or let the instrument stand for four hours about noon"
	}
	switch {
	case r.Enough == nil:
		return fmt.Sprintf("going on today does not bring the heading to %.2g°; four hours about noon serve best", r.Goal.Degrees())
	case *r.Enough == 0:
		return fmt.Sprintf("the series is long enough for a heading to %.2g°", r.Goal.Degrees())
	default:
		return fmt.Sprintf("go on for %s more to know the heading to %.2g°; four hours about noon serve best", hours(*r.Enough), r.Goal.Degrees())
	}
}

// rests marks a value half or more of whose uncertainty comes from a prior.
func rests(share float64, name string) string {
	if share < 0.5 {
		return ""
	}
	return fmt.Sprintf(" (%.0f %% of that uncertainty rests on what was stated of %s)", 100*min(1, share), name)
}

// whole rounds a direction to degrees, 360 being 0.
func whole(a angle.Angle) float64 { return math.Mod(math.Round(a.Bearing().Degrees()), 360) }

func hours(d time.Duration) string {
	if d < time.Hour {
		return fmt.Sprintf("%.0f min", d.Minutes())
	}
	return fmt.Sprintf("%.1f h", d.Hours())
}
