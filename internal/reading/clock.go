package reading

import (
	"fmt"
	"math"
	"strings"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
)

// The clock check compares the altitude that the shadow's length shows with the
// computed one. A plate or rod out of plumb along the shadow shifts it by as much as
// it leans, so the check sees blunders of the clock, not seconds.
const (
	// footSigma is one sigma of the rod's place along the shadow, mm: the strip
	// shows only how far it stands off across.
	footSigma = 0.5
	// heightSigma is one sigma of the rod's height over its stated value.
	heightSigma = 0.01
	// leanMost is the most that a plate is taken to be out of level: a greater
	// difference is the clock's or the position's.
	leanMost = 5 * angle.Degree
)

// checkClock fills the altitude from the shadow and the verdict. It returns the
// sigma of the rod from plumb: where the shadow's length shows a lean along the
// shadow, as much must be feared across it.
func (r *Result) checkClock(o Options) (level angle.Angle) {
	level = o.Level
	r.Clock = ClockNotPossible
	height, s := o.Rod.HeightMM, r.Shadow
	if height <= 0 || s.Length <= 0 {
		return level
	}
	seen := angle.Atan2(height, s.Length)
	r.AltitudeFromShadow = &seen
	// d(altitude) = sin cos (dh/h) and sin^2 (dL/h).
	along := math.Hypot(s.LengthSigma, math.Max(footSigma, math.Abs(s.FootOffset)))
	sigma := angle.Angle(math.Sqrt(sq(float64(max(level, DefaultLevel))) +
		sq(seen.Sin()*seen.Cos()*heightSigma) + sq(seen.Sin()*seen.Sin()*along/height)))
	diff := (seen - r.Sky.Altitude).Signed()
	if diff.Abs() <= 3*sigma {
		r.Clock = ClockPassed
		if r.altitudeMoves(30*time.Minute) < 3*sigma {
			r.Clock = ClockWeak
		}
		return level
	}
	r.Clock = ClockFailed
	message := fmt.Sprintf("the shadow's length shows an altitude of %.1f°, time and place give %.1f°", seen.Degrees(), r.Sky.Altitude.Degrees())
	shifts := r.shiftsThatFit(seen, 2*sigma)
	causes := "likely causes: the camera's clock or its zone, the position or the sign of its latitude or longitude, the rod's height, the plate not level or the rod not plumb"
	if len(shifts) > 0 {
		message += "; a clock wrong by " + strings.Join(shifts, " or ") + " would fit"
	}
	if diff.Abs() > leanMost {
		r.refuse(ClockCheck, message+"; "+causes)
		return level
	}
	r.warn("clock_check_failed", message+"; "+causes)
	return max(level, diff.Abs())
}

func sq(x float64) float64 { return x * x }

// altitudeMoves is the least change of altitude that a clock wrong by d either way
// would make.
func (r *Result) altitudeMoves(d time.Duration) angle.Angle {
	least := angle.Angle(math.Inf(1))
	for _, s := range []time.Duration{-d, d} {
		if a, ok := r.altitudeAt(s); ok {
			least = min(least, (a - r.Sky.Altitude).Abs())
		}
	}
	return least
}

func (r *Result) altitudeAt(shift time.Duration) (angle.Angle, bool) {
	a, err := bearing.Observe(r.Sky.Body, r.Instant.UTC.Add(shift), r.Place.Position, r.Place.ElevationMetres)
	return a.Altitude, err == nil
}

// shiftsThatFit lists the half and whole hours, the smallest first, by which the
// clock would have to be wrong for the altitude to fit.
func (r *Result) shiftsThatFit(seen, within angle.Angle) (out []string) {
	for half := 1; half <= 28 && len(out) < 2; half++ {
		for _, sign := range []int{1, -1} {
			d := time.Duration(sign*half) * 30 * time.Minute
			if a, ok := r.altitudeAt(d); ok && (a-seen).Abs() < within {
				// The true time is the stated one plus d: the clock is slow by d.
				word := "slow"
				if sign < 0 {
					word = "fast"
				}
				out = append(out, fmt.Sprintf("%g h (%s)", float64(half)/2, word))
			}
		}
	}
	return out
}
