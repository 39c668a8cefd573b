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

// standing joins what is known of how rod and sheet stand with what the picture shows of
// the rod's slope. A rod that leans by more than the level allows is warned of: what is
// seen of it, across the line of sight, is corrected for, and as much is feared along it.
func (r *Result) standing(o Options) {
	r.tilt(o)
	k := instrument.Known{Record: o.Instrument, Level: o.Level, Alignment: o.Alignment, Square: o.Square, Tilt: r.Tilt, PlumbLine: o.Rod.Hangs}
	s, err := instrument.StandOf(k)
	if err != nil {
		r.refuse(NoCorrection, say(err))
		return
	}
	r.stand = s
	if s.Contradicted {
		r.warn("stands_otherwise", "the sheet's measured tilt and the instrument's record exclude each other: the board stands otherwise than when it was proved. The measured tilt was taken; prove the instrument again if the rod was moved")
	}
	seen := r.RodSlope
	slopes := o.Same.others(r.Photo)
	if seen != nil {
		slopes = append(slopes, instrument.Seen(*seen))
	}
	s.SeeRod(slopes...)
	if seen == nil || o.Rod.Hangs {
		return
	}
	known, sigma, level := 0.0, 0.0, o.Level
	if i := o.Instrument; i != nil {
		known, sigma = i.Proved.RodTowards(seen.Toward)
		level = i.LevelSigma
	}
	off := angle.Atan2(math.Abs(seen.Slope-known), 1)
	if off < 2*max(level, DefaultLevel)+2*angle.Angle(math.Hypot(sigma, seen.Sigma)) {
		return
	}
	than := "square to the sheet"
	if o.Instrument != nil {
		than = "as it was proved"
	}
	r.warn("rod_leans", fmt.Sprintf("the rod does not stand %s: its image leans %.1f° from that, across the line of sight. That much is corrected for; what it leans along the line of sight is not seen, and the uncertainty is wider for it. Straighten it, or prove the instrument (align)", than, off.Degrees()))
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
