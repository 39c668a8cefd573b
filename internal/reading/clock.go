package reading

import (
	"fmt"
	"math"
	"slices"
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
	// statedHeight is one sigma of the rod's height over its stated value.
	statedHeight = 0.01
	// rodLean is one sigma of the rod's lean along the line of sight, for a height
	// read off its own image: it moves the tip as a higher rod would.
	rodLean = 1 * angle.Degree
	// vagueHeight is the relative sigma above which a height off the image says
	// nothing.
	vagueHeight = 0.2
	// leanMost is the most that a plate is taken to be out of level, a board laid on a
	// bonnet or a crate with a rod that leans on it: a greater difference is the clock's
	// or the position's.
	leanMost = 9 * angle.Degree
	// nodusSigma is one sigma of the height of a bead or a ring of tape over its stated
	// value, mm: its middle is measured by eye.
	nodusSigma = 0.5
	// paperRise is one sigma of how high the paper of a taped sheet stands 100 mm from the
	// foot, mm; it grows with the square (a curl), and lifts the shadow's end as a lower rod
	// would.
	paperRise = 0.25
	// eyeLength is one sigma of a shadow's length read by eye off a ruler, mm.
	eyeLength = 1.0
	// stampFresh is how near a GPS stamp must lie to vouch for the clock.
	stampFresh = 2 * time.Minute
)

// slips are the hours by which clocks and zones commonly err: summer time, a zone or two,
// noon for midnight.
var slips = []time.Duration{-time.Hour, time.Hour, -2 * time.Hour, 2 * time.Hour, -12 * time.Hour, 12 * time.Hour}

// feared is what the clock check leaves open of a heading.
type feared struct {
	lean  angle.Angle // across the shadow: as much as was seen along it
	clock angle.Angle // of the azimuth, by a slip of the clock that would fit as well
}

// cast is a place on the shadow whose height on the rod is known.
type cast struct {
	height, heightSigma float64 // mm
	length, lengthSigma float64 // mm from the rod's axis at the foot
}

func (c cast) altitude(ahead float64) angle.Angle { return angle.Atan2(c.height, c.length-ahead) }

// casts lists the places of the shadow that tell of the altitude; bound is a place that
// the shadow reaches at least, which bounds the altitude from above.
func (r *Result) casts(o Options) (list []cast, bound *cast) {
	if s := r.Shadow; s != nil {
		if h := o.Rod.NodusMM; h > 0 && s.Nodus > 0 {
			list = append(list, cast{h, math.Hypot(nodusSigma, rise(s.Nodus)), s.Nodus, s.NodusSigma})
		}
	}
	height, sigma := r.rodHeight(o)
	if height <= 0 {
		return list, nil
	}
	r.RodHeightMM, r.RodHeightSigmaMM = height, sigma
	switch s := r.Shadow; {
	case s == nil && o.LengthMM > 0:
		list = append(list, cast{height, sigma, o.LengthMM, eyeLength})
	case s == nil:
	case s.Length > 0:
		list = append(list, cast{height, math.Hypot(sigma, rise(s.Length)), s.Length, s.LengthSigma})
	case s.AtLeast > 0:
		bound = &cast{height, sigma, s.AtLeast, 0}
	}
	return list, bound
}

// rise is one sigma of the paper's height at a distance from the foot, mm.
func rise(length float64) float64 { return paperRise * min(4, sq(length/100)) }

// showAltitude joins what the casts show, each weighted by what is its own; the rod's
// place and the level are common to all. The altitude is against the sheet: where a
// sheet's tilt is known (by an instrument's record today), leanShown brings it to the
// horizon's.
func (r *Result) showAltitude(o Options, list []cast) (seen, sigma angle.Angle) {
	ahead, aside := o.footFrom(math.Pi - *r.Number)
	foot := footSigma
	if s := r.Shadow; s != nil {
		foot = math.Max(foot, math.Abs(s.FootOffset-aside))
	}
	sum, weights, own, common := 0.0, 0.0, 0.0, 0.0
	for _, c := range list {
		a := c.altitude(ahead)
		// d(altitude) = sin cos (dh/h) and sin^2 (dL/h).
		byHeight, byLength := a.Sin()*a.Cos()*c.heightSigma/c.height, a.Sin()*a.Sin()/c.height
		v := sq(byHeight) + sq(byLength*c.lengthSigma) + 1e-12
		w := 1 / v
		sum, weights, own, common = sum+w*float64(a), weights+w, own+w, common+w*byLength*foot
	}
	seen = angle.Angle(sum/weights) + r.leanShown(o)
	return seen, angle.Angle(math.Sqrt(sq(float64(r.levelAlong())) + own/sq(weights) + sq(common/weights)))
}

// checkClock fills the altitude from the shadow and the verdict, and returns what the
// check leaves open. Where the shadow's length shows a lean along the shadow, as much
// must be feared across.
func (r *Result) checkClock(o Options) (fear feared) {
	r.Clock = ClockNotPossible
	list, bound := r.casts(o)
	atMost := false
	if len(list) == 0 && bound != nil {
		list, atMost = []cast{*bound}, true
	}
	if len(list) == 0 {
		r.notChecked()
		return fear
	}
	seen, sigma := r.showAltitude(o, list)
	sigma = angle.RSS(sigma, r.skyAltitudeSigma())
	diff := (seen - r.Sky.Altitude).Signed()
	if atMost {
		if -diff <= 3*sigma { // no higher than the bound: it says nothing
			r.notChecked()
			return fear
		}
		r.AltitudeAtMost = true
	}
	r.AltitudeFromShadow, r.AltitudeSigma = &seen, sigma
	if diff.Abs() <= 3*sigma {
		r.Clock = ClockPassed
		if r.altitudeMoves(30*time.Minute) < 3*sigma {
			r.Clock = ClockWeak
		}
		if r.otherHours(seen, 3*sigma); len(r.OtherHours) > 0 {
			r.Clock = ClockWeak
			if !r.ClockProved {
				r.warn("clock_check_weak", fmt.Sprintf("the shadow's length cannot tell this hour from another: %s. Make sure of the clock and its zone", r.OtherHoursText()))
			}
		}
		return fear
	}
	r.Clock = ClockFailed
	shows := "shows an altitude of"
	if atMost {
		shows = "allows an altitude of at most"
	}
	message := fmt.Sprintf("the shadow's length %s %.1f°, time and place give %.1f°", shows, seen.Degrees(), r.Sky.Altitude.Degrees())
	var shifts []string
	if !atMost {
		shifts, fear.clock = r.shiftsThatFit(seen, 2*sigma)
	}
	causes := "likely causes: the camera's clock or its zone, the position or the sign of its latitude or longitude, the rod's height, the plate not level or the rod not plumb"
	if r.ClockProved {
		fear.clock = 0
		causes = "a GPS stamp vouches for the clock; likely causes: the plate not level or the rod not plumb, the rod's height, the position"
	} else if len(shifts) > 0 {
		message += "; a clock wrong by " + strings.Join(shifts, " or ") + " would fit"
	}
	if diff.Abs() > max(leanMost, 4*sigma) {
		r.refuse(ClockCheck, message+"; "+causes)
		return feared{}
	}
	r.warn("clock_check_failed", message+"; "+causes)
	fear.lean = diff.Abs()
	return fear
}

// notChecked warns of a clock that nothing vouches for.
func (r *Result) notChecked() {
	if !r.ClockProved {
		r.warn("clock_not_checked", "the clock is not checked, and a wrong hour turns the heading by 15°: "+r.WhyNotChecked())
	}
}

// WhyNotChecked says why the shadow's length does not check the clock, and what would.
func (r *Result) WhyNotChecked() string {
	switch s := r.Shadow; {
	case r.PlumbLine:
		return "a plumb line's shadow has no tip; compare the clock with a time signal"
	case s == nil:
		return "give the shadow's length (--length) and the rod's height (--rod-height)"
	case s.Length > 0 || s.AtLeast > 0 && r.RodHeightMM <= 0:
		return "the rod's height is not known; give --rod-height"
	}
	return "the shadow's tip is not seen; take a photo with the tip on the paper, or put a nodus on the rod (--nodus-height)"
}

// skyAltitudeSigma is what time and place leave open of the computed altitude.
func (r *Result) skyAltitudeSigma() angle.Angle {
	const earthKM = 6371.0
	return angle.Angle(math.Hypot(float64(r.Sky.AltitudeRate)*r.Instant.Sigma.Hours(), r.Place.SigmaKM/earthKM))
}

// otherHours lists the usual slips of a clock whose altitude fits what is seen.
func (r *Result) otherHours(seen, within angle.Angle) {
	for _, d := range slips {
		if a, err := r.skyAfter(d); err == nil && (a.Altitude-seen).Abs() < within {
			r.OtherHours = append(r.OtherHours, r.Instant.UTC.Add(d))
		}
	}
}

// OtherHoursText says which other hours the check does not rule out; "" for none.
func (r *Result) OtherHoursText() string {
	if len(r.OtherHours) == 0 {
		return ""
	}
	var list []string
	for _, t := range r.OtherHours {
		list = append(list, t.UTC().Format("15:04"))
	}
	if len(list) == 1 {
		return "other hour " + list[0] + " UTC fits as well"
	}
	return "other hours " + strings.Join(list, ", ") + " UTC fit as well"
}

// heightsDiffer is by how many sigmas heights must differ to be told of.
const heightsDiffer = 3

// rodHeight returns the rod's height with its sigma, mm, by what was stated and by its own
// image; 0 where neither tells it well enough.
func (r *Result) rodHeight(o Options) (height, sigma float64) {
	stated, t := o.Rod.HeightMM, r.rodTop
	if t == nil || r.stand == nil || r.PlumbLine {
		return stated, statedHeight * stated
	}
	alone := math.Hypot(t.HeightSigma, t.HeightMM*float64(rodLean)/t.Tangent)
	height, sigma = r.stand.HeightMM()
	if stated <= 0 {
		if sigma = max(sigma, alone); !(sigma < vagueHeight*height) {
			return 0, 0
		}
		return height, sigma
	}
	if apart := math.Abs(t.HeightMM - stated); apart > heightsDiffer*math.Hypot(alone, statedHeight*stated) {
		r.warn("rod_height_differs", fmt.Sprintf("the rod is stated to be %.1f mm high, its image shows %.1f ± %.1f mm: it is another rod, the record is another instrument's, or the rod leans", stated, t.HeightMM, alone))
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

func (r *Result) skyAfter(shift time.Duration) (bearing.Apparent, error) {
	return bearing.Observe(r.Sky.Body, r.Instant.UTC.Add(shift), r.Place.Position, r.Place.ElevationMetres)
}

func (r *Result) altitudeAt(shift time.Duration) (angle.Angle, bool) {
	a, err := r.skyAfter(shift)
	return a.Altitude, err == nil
}

// shiftsThatFit lists the half and whole hours, the smallest first, by which the
// clock would have to be wrong for the altitude to fit, and by how much the azimuth
// would be wrong with the first of them or, if more, with a usual slip.
func (r *Result) shiftsThatFit(seen, within angle.Angle) (out []string, turns angle.Angle) {
	for half := 1; half <= 28; half++ {
		for _, sign := range []int{1, -1} {
			d := time.Duration(sign*half) * 30 * time.Minute
			a, err := r.skyAfter(d)
			if err != nil || (a.Altitude-seen).Abs() >= within {
				continue
			}
			if len(out) == 0 || slices.Contains(slips, d) {
				turns = max(turns, (a.Azimuth - r.Sky.Azimuth).Signed().Abs())
			}
			if len(out) < 2 {
				// The true time is the stated one plus d: the clock is slow by d.
				word := "slow"
				if sign < 0 {
					word = "fast"
				}
				out = append(out, fmt.Sprintf("%g h (%s)", float64(half)/2, word))
			}
		}
	}
	return out, turns
}
