package reading

import (
	"fmt"
	"math"
	"strings"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/calib"
)

// The clock check compares the altitude that the shadow's length shows with the
// computed one. A plate or rod out of plumb along the shadow shifts it by as much as
// it leans, so the check sees blunders of the clock, not seconds.
const (
	// footSigma is one sigma of the rod's place along the shadow, mm: the strip
	// shows only how far it stands off across.
	footSigma = 0.5
	// statedHeight is one sigma of the rod's height over its stated value.
	statedHeight = 0.01
	// rodLean is one sigma of the rod's lean along the line of sight, for a height
	// read off its own image: it moves the tip as a higher rod would.
	rodLean = 1 * angle.Degree
	// tipSigma is one sigma of the place of the tip's image on the paper, mm.
	tipSigma = 0.5
	// vagueHeight is the relative sigma above which a height off the image says
	// nothing.
	vagueHeight = 0.12
	// leanMost is the most that a plate is taken to be out of level: a greater
	// difference is the clock's or the position's.
	leanMost = 5 * angle.Degree
)

// checkClock fills the altitude from the shadow and the verdict. Where the shadow's
// length shows a lean along the shadow, it returns that: as much must be feared across.
func (r *Result) checkClock(o Options) (feared angle.Angle) {
	r.Clock = ClockNotPossible
	s := r.Shadow
	height, heightSigma := r.rodHeight(o)
	if height <= 0 || s.Length <= 0 {
		return 0
	}
	r.RodHeightMM = height
	ahead, right := o.footFrom(s.Direction)
	seen := angle.Atan2(height, s.Length-ahead) + r.leanShown(o)
	r.AltitudeFromShadow = &seen
	// d(altitude) = sin cos (dh/h) and sin^2 (dL/h).
	along := math.Hypot(s.LengthSigma, math.Max(footSigma, math.Abs(s.FootOffset-right)))
	sigma := angle.Angle(math.Sqrt(sq(float64(max(o.level(), DefaultLevel))) +
		sq(seen.Sin()*seen.Cos()*heightSigma/height) + sq(seen.Sin()*seen.Sin()*along/height)))
	diff := (seen - r.Sky.Altitude).Signed()
	if diff.Abs() <= 3*sigma {
		r.Clock = ClockPassed
		if r.altitudeMoves(30*time.Minute) < 3*sigma {
			r.Clock = ClockWeak
		}
		return 0
	}
	r.Clock = ClockFailed
	message := fmt.Sprintf("the shadow's length shows an altitude of %.1f°, time and place give %.1f°", seen.Degrees(), r.Sky.Altitude.Degrees())
	shifts := r.shiftsThatFit(seen, 2*sigma)
	causes := "likely causes: the camera's clock or its zone, the position or the sign of its latitude or longitude, the rod's height, the plate not level or the rod not plumb"
	if len(shifts) > 0 {
		message += "; a clock wrong by " + strings.Join(shifts, " or ") + " would fit"
	}
	if diff.Abs() > max(leanMost, 4*sigma) {
		r.refuse(ClockCheck, message+"; "+causes)
		return 0
	}
	r.warn("clock_check_failed", message+"; "+causes)
	return diff.Abs()
}

// rodHeight returns the stated height, or the one that the rod's own image shows, with
// its sigma, mm; 0 where neither is known well enough.
func (r *Result) rodHeight(o Options) (height, sigma float64) {
	if h := o.Rod.HeightMM; h > 0 {
		return h, statedHeight * h
	}
	tip := r.Shadow.RodTop
	if tip == nil || r.Plate == nil {
		return 0, 0
	}
	height, tangent, ok := r.Plate.HeightOver(*tip)
	if !ok || height < 5 {
		return 0, 0
	}
	a, b := r.Plate.Spread(func(p *calib.Plate) float64 {
		h, _, _ := p.HeightOver(*tip)
		return h
	})
	sigma = math.Sqrt(a*a + b*b + sq(height*float64(rodLean)/tangent) + sq(tipSigma/tangent))
	if !(sigma < vagueHeight*height) {
		return 0, 0
	}
	return height, sigma
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
