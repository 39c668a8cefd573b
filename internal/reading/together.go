package reading

import (
	"math"
	"time"

	"shadowread/internal/align"
	"shadowread/internal/angle"
	"shadowread/internal/compass"
	"shadowread/internal/geo"
	"shadowread/internal/photo"
	"shadowread/internal/vision"
)

// Shared is the part of the sum that headings by one instrument have in common, read on
// one day on whatever headings: the sheet, the clock, the place and the print are the same
// for all, and a rod out of plumb leans the same way on every heading.
func (b Budget) Shared() compass.Shared {
	return compass.Shared{Constant: angle.RSS(b.Alignment, b.Time, b.Position, b.Body, b.Print), Lean: b.Level}
}

// Spot is where and when readings were made; nil where not known.
type Spot struct {
	Place   *photo.Place
	Instant *photo.Instant
}

// SpotOf is that of a set of readings, as given, else that of the first; nil stands for a
// reading without a photo. Readings from places far apart make the place less sure.
func SpotOf(given Spot, set []*Result) (Spot, error) {
	out := given
	for _, r := range set {
		if r == nil {
			continue
		}
		if out.Instant == nil {
			out.Instant = r.Instant
		}
		if given.Place != nil {
			continue
		}
		if out.Place == nil {
			out.Place = new(*r.Place)
		}
		_, apart, err := geo.GeodesicInverse(out.Place.Position, r.Place.Position)
		if err != nil {
			return out, err
		}
		out.Place.SigmaKM = max(out.Place.SigmaKM, r.Place.SigmaKM, apart.Kilometres())
	}
	return out, nil
}

// SharePriors puts what readings of one instrument share into what is known before it is
// proved by them: the worst clock, place and print among them.
func SharePriors(p *align.Priors, set []*Result) error {
	p.ClockSigma, p.PositionSigmaKM, p.StretchSigma = 0, 0, 0
	for _, r := range set {
		p.ClockSigma = max(p.ClockSigma, r.Instant.Sigma)
		if r.Plate != nil { // a number by eye has none
			p.StretchSigma = max(p.StretchSigma, r.Plate.StretchSigma())
		}
	}
	spot, err := SpotOf(Spot{}, set)
	if err == nil && spot.Place != nil {
		p.PositionSigmaKM = spot.Place.SigmaKM
	}
	return err
}

// HangingFootMM is one sigma of where a thread that hangs passes the paper: it need not
// pass the dial's centre.
const HangingFootMM = vision.HangMost / 2

// Observation is what a photo that was read tells of its instrument, which stood on the
// heading of this name. clockError is what the camera's clock was said to be fast by.
func (r *Result) Observation(stand string, clockError time.Duration) align.Observation {
	sh, b := r.Shadow, r.Budget
	out := align.Observation{
		Label: r.Photo, Sky: *r.Sky, Stand: stand, Direction: sh.Direction,
		DirectionSigma: angle.RSS(b.ShadowFit, b.SheetMap, align.PhotoFloor),
		OffsetMM:       sh.FootOffset, OffsetSigmaMM: math.Hypot(sh.FootSigma, align.PhotoFloorMM),
	}
	if c := r.Facts.Clock; !c.IsZero() {
		out.UTCOffset = c.Add(-clockError).Sub(r.Instant.UTC).Round(time.Minute)
	}
	if sh.Length > 0 {
		out.LengthMM, out.LengthSigmaMM = sh.Length, sh.LengthSigma
	}
	if t := r.Tilt; t != nil {
		out.Plumb, out.PlumbSigma = t.Plumb(), r.TiltOwn
	}
	if l := r.RodSlope; l != nil {
		out.RodSlope, out.RodSlopeSigma, out.RodToward = l.Slope, l.Sigma, l.Toward
	}
	return out
}
