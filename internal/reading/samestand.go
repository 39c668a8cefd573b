package reading

import (
	"maps"
	"math"
	"slices"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/instrument"
)

// SameStand is what the photos of one standing board show together: the rod's slope from
// more than one side, and a horizon in some of them.
type SameStand struct {
	slopes map[string]RodSlope // by photo
	tops   map[string]instrument.Top
	tilt   *instrument.Tilt
}

// StandOf gathers what readings of one standing board show. It fails with code
// not_same_stand where their headings are not one.
func StandOf(results []*Result) (*SameStand, error) {
	const apart = 15 * angle.Degree // leans of three degrees under a high sun, both ways
	s := &SameStand{slopes: map[string]RodSlope{}, tops: map[string]instrument.Top{}}
	var first *Result
	for _, r := range results {
		if !r.OK() {
			continue
		}
		if first == nil {
			first = r
		}
		plain := func(r *Result) angle.Angle { return *r.Heading - r.Correction }
		if (plain(r) - plain(first)).Signed().Abs() > apart {
			return nil, fault.New("not_same_stand", "give only photos between which the board was not touched", "%s and %s show the sheet on different headings", first.Photo, r.Photo)
		}
		if r.RodSlope != nil {
			s.slopes[r.Photo] = *r.RodSlope
		}
		if r.rodTop != nil {
			s.tops[r.Photo] = *r.rodTop
		}
		if t := r.horizonTilt; t != nil && (s.tilt == nil || t.Sigma < s.tilt.Sigma) {
			s.tilt = t // the ground's slope is common to all: the best of them
		}
	}
	return s, nil
}

// others lists what other photos show of the rod.
func (s *SameStand) others(photo string) (slopes []instrument.Seen, tops []instrument.Top) {
	if s == nil {
		return nil, nil
	}
	for _, name := range slices.Sorted(maps.Keys(s.slopes)) {
		if name != photo {
			slopes = append(slopes, instrument.Seen(s.slopes[name]))
		}
	}
	for _, name := range slices.Sorted(maps.Keys(s.tops)) {
		if name != photo {
			tops = append(tops, s.tops[name])
		}
	}
	return slopes, tops
}

// Joined is the heading of one stand by all its photos, with one sigma: they share level,
// lubber line, place and print, and each has its own shadow, map and time. ok is false where
// none gives a heading.
func Joined(results []*Result) (heading, sigma angle.Angle, ok bool) {
	var sin, cos, weights float64
	var common angle.Angle
	for _, r := range results {
		if !r.OK() {
			continue
		}
		b := r.Budget
		v := float64(b.ShadowFit*b.ShadowFit+b.SheetMap*b.SheetMap) + sq(float64(angle.Degree/100))
		w := 1 / v
		sin, cos = sin+w*r.Heading.Sin(), cos+w*r.Heading.Cos()
		weights += w
		common = max(common, angle.RSS(b.Level, b.Alignment, b.Position, b.Print, b.Time, b.Body))
	}
	if weights == 0 {
		return 0, 0, false
	}
	return angle.Atan2(sin, cos).Bearing(), angle.RSS(common, angle.Angle(math.Sqrt(1/weights))), true
}
