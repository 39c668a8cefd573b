package reading

import (
	"fmt"
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/calib"
	"shadowread/internal/instrument"
	"shadowread/internal/vision"
	"shadowread/internal/wording"
)

// RodSlope is what one photo shows of the rod's slope against the sheet: its component
// towards a direction on the sheet, across the line of sight, with one sigma, mm per mm
// out of the sheet.
type RodSlope struct {
	Toward       angle.Angle
	Slope, Sigma float64
}

// Lean returns the slope as an angle from square, positive, the direction on the sheet
// towards which the rod's top goes, and one sigma of the angle.
func (s RodSlope) Lean() (off, toward, sigma angle.Angle) {
	toward = s.Toward
	if s.Slope < 0 {
		toward += math.Pi
	}
	return angle.Atan2(math.Abs(s.Slope), 1), toward.Bearing(), angle.Atan2(s.Sigma, 1)
}

// slopeSeen is what the JSON object says of it, in degrees.
type slopeSeen struct {
	Off    *float64 `json:"from_square_deg"`
	Sigma  *float64 `json:"sigma_deg"`
	Toward *float64 `json:"toward_deg"`
}

func (s RodSlope) seen() *slopeSeen {
	off, toward, sigma := s.Lean()
	return &slopeSeen{wording.Known(off.Degrees(), 3), wording.Known(sigma.Degrees(), 3), degrees(&toward, 2)}
}

// rodSlope returns what the image of the rod's axis shows through a fitted map, nil
// where there is none.
func rodSlope(fit *calib.Fit, axis *vision.RodAxis) *RodSlope {
	if axis == nil {
		return nil
	}
	toward, slope, ok := fit.SlopeAcross(axis.Ends[0], axis.Ends[1])
	if !ok {
		return nil
	}
	a, b := fit.Spread(func(p *calib.Plate) float64 {
		_, s, _ := p.SlopeAcross(axis.Ends[0], axis.Ends[1])
		return s
	})
	return &RodSlope{toward, slope, math.Sqrt(a*a + b*b + sq(axis.SlopeSigma))}
}

// rodTop returns what a pixel where the rod's axis ends, good to sigma mm on the paper along
// the rod's image, shows through a fitted map; nil where there is none.
func rodTop(fit *calib.Fit, top *calib.Pixel, sigma float64) *instrument.Top {
	const least = 5.0 // mm
	if top == nil {
		return nil
	}
	sight, ok := fit.Sight(*top)
	if !ok || sight.HeightMM < least {
		return nil
	}
	a, b := fit.Spread(func(p *calib.Plate) float64 {
		s, _ := p.Sight(*top)
		return s.HeightMM
	})
	return &instrument.Top{Toward: sight.Away, HeightMM: sight.HeightMM, Tangent: sight.Tangent,
		HeightSigma: math.Sqrt(a*a + b*b + sq(sigma/sight.Tangent))}
}

// standing joins what is known of how rod and sheet stand with what the picture shows of
// the rod's slope and its top. A rod that leans by more than the level allows is warned of:
// what is seen of it is corrected for, and as much is feared where it is not seen.
func (r *Result) standing(o Options) {
	r.tilt(o)
	r.unsaid = o.Unsaid && r.Shadow != nil
	k := instrument.Known{Record: o.Instrument, Level: o.Level, Alignment: o.Alignment, Square: o.Square, Tilt: r.Tilt, PlumbLine: o.Rod.Hangs,
		HeightMM: o.Rod.HeightMM, HeightSigmaMM: statedHeight * o.Rod.HeightMM, Unsaid: r.unsaid}
	s, err := instrument.StandOf(k)
	if err != nil {
		r.refuse(NoCorrection, say(err))
		return
	}
	r.stand = s
	if s.Contradicted {
		r.warn("stands_otherwise", "the sheet's measured tilt and the instrument's record exclude each other: the board stands otherwise than when it was proved. The measured tilt was taken; prove the instrument again if the rod was moved")
	}
	slopes, tops := o.Same.others(r.Photo)
	if r.RodSlope != nil {
		slopes = append(slopes, instrument.Seen(*r.RodSlope))
	}
	if r.rodTop != nil {
		tops = append(tops, *r.rodTop)
	}
	for i := range tops {
		r.overFoot(o, &tops[i])
	}
	s.See(slopes, tops)
}

// overFoot has a rod's top stand over the rod's own foot. The strip passes that; along the
// strip it is where it was proved to be, or within footSigma of the printed foot.
func (r *Result) overFoot(o Options, t *instrument.Top) {
	if r.Shadow == nil {
		return
	}
	along := (t.Toward - r.Shadow.Direction).Cos()
	ahead, aside := o.footFrom(r.Shadow.Direction)
	off := ahead*along + r.Shadow.FootOffset*(t.Toward-r.Shadow.Direction).Sin()
	t.HeightMM -= off / t.Tangent
	t.HeightSigma = math.Hypot(t.HeightSigma, along*max(footSigma, math.Abs(r.Shadow.FootOffset-aside))/t.Tangent)
}

// seeShadow joins the length of the shadow with what is known of the stand, once the clock
// is held against it.
func (r *Result) seeShadow(o Options) {
	s := r.Shadow
	if r.stand == nil || s == nil || s.Length <= 0 || r.Clock == ClockFailed || r.Clock == ClockNotPossible {
		return
	}
	ahead, _ := o.footFrom(s.Direction)
	height, _ := r.stand.HeightMM()
	r.stand.SeeShadow(instrument.Shadow{
		Azimuth: r.Sky.Azimuth, Altitude: r.Sky.Altitude, AltitudeSigma: r.skyAltitudeSigma(), Direction: s.Direction,
		LengthMM: s.Length - ahead, SigmaMM: math.Sqrt(sq(s.LengthSigma) + sq(footSigma) + sq(rise(s.Length)*s.Length/height)),
	})
}

// RodInDoubt tells that nothing was said of how the rod was set and that the photo does not
// show its lean across the shadow, which counts.
func (r *Result) RodInDoubt() bool {
	const across = 0.7 // the sine of the angle between the shadow and what the image shows
	if !r.unsaid || r.PlumbLine || r.Instrument != nil {
		return false
	}
	seen := r.RodSlope
	return seen == nil || math.Abs((seen.Toward-r.Shadow.Direction).Sin()) < across
}

// warnOfLean tells of a rod that leans by more than the level allows for.
func (r *Result) warnOfLean(o Options) {
	if r.stand == nil || o.Rod.Hangs || r.Shadow == nil {
		return
	}
	level, than := o.Level, "square to the sheet"
	var proved instrument.Proved
	if i := o.Instrument; i != nil {
		level, than, proved = i.LevelSigma, "as it was proved", i.Proved
	}
	allowed := 2 * max(level, DefaultLevel)
	if seen := r.RodSlope; seen != nil {
		known, sigma := proved.RodTowards(seen.Toward)
		off := angle.Atan2(math.Abs(seen.Slope-known), 1)
		if off >= allowed+2*angle.Angle(math.Hypot(seen.Sigma, sigma)) {
			r.warn("rod_leans", fmt.Sprintf("the rod does not stand %s: its image leans %.1f° from that, across the line of sight. That much is corrected for; what it leans along the line of sight is seen less well or not at all, and the uncertainty is wider for it. Straighten it, or prove the instrument (align)", than, off.Degrees()))
			return
		}
	}
	_, rod := r.stand.Slopes()
	off, toward := rod.Minus(proved.Rod).Tilt()
	if off >= allowed+2*r.stand.RodSigma(toward) {
		r.warn("rod_leans", fmt.Sprintf("the rod does not stand %s: its height, its top's image and its shadow's length show it to lean %.1f° from that. That much is corrected for. Straighten it, or prove the instrument (align)", than, off.Degrees()))
	}
}

// levelAlong is one sigma of what the altitude by the shadow's length errs by the level.
func (r *Result) levelAlong() angle.Angle {
	if r.stand == nil {
		return DefaultLevel
	}
	sigma := r.stand.LeanSigma(r.direction())
	if r.Tilt == nil {
		sigma = max(sigma, DefaultLevel)
	}
	return sigma
}
