package reading

import (
	"fmt"
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/calib"
	"shadowread/internal/vision"
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
	return &slopeSeen{number(off.Degrees(), 3), number(sigma.Degrees(), 3), degrees(&toward, 2)}
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

// checkRod compares the rod's slope against the sheet as its image shows it with what is
// known of it: square, or as the instrument's record has it. Where they differ by more
// than the level allows, it warns and returns the slope, which must be feared across the
// shadow as well: on a level sheet it is the rod's lean from plumb.
func (r *Result) checkRod(o Options) (feared angle.Angle) {
	s := r.RodSlope
	if s == nil || o.Rod.Hangs {
		return 0
	}
	known, variance := 0.0, s.Sigma*s.Sigma
	if o.Instrument != nil {
		was, sigma := o.Instrument.Proved.RodTowards(s.Toward)
		known, variance = was, variance+sigma*sigma
	}
	off := angle.Atan2(math.Abs(s.Slope-known), 1)
	if off < 2*max(o.level(), DefaultLevel)+2*angle.Angle(math.Sqrt(variance)) {
		return 0
	}
	than := "square to the sheet"
	if o.Instrument != nil {
		than = "as it was proved"
	}
	r.warn("rod_leans", fmt.Sprintf("the rod does not stand %s: its image leans %.1f° from that, across the line of sight; the uncertainty is widened by as much. Straighten it, or prove the instrument (align)", than, off.Degrees()))
	return off
}
