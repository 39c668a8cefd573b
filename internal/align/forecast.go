package align

import (
	"math"
	"time"

	"gonum.org/v1/gonum/mat"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
)

const (
	forecastSpan = 10 * time.Hour
	forecastStep = 30 * time.Minute
	// Readings are foretold where a photo is read without remarks.
	servesFrom = 6 * angle.Degree
	servesTo   = 75 * angle.Degree
)

// foretell fills Forecast and Enough: the covariance after the readings have gone on at
// the same pace and with the same sigmas, of the body on its way.
func (q *problem) foretell(r *Result, s *solution) error {
	heading := r.Stands[0].Heading.Sigma
	if heading <= r.Goal {
		r.Enough = new(time.Duration(0))
	}
	// The pattern of a further reading is the last one used; its sigma the rms of all.
	var last int
	sum, n := 0.0, 0.0
	for i, o := range q.obs {
		if s.used[i] {
			sum, n = sum+float64(o.DirectionSigma*o.DirectionSigma), n+1
			if !s.used[last] || o.Sky.Time.After(q.obs[last].Sky.Time) {
				last = i
			}
		}
	}
	pattern := q.obs[last]
	pattern.DirectionSigma = angle.Angle(math.Sqrt(sum / n))
	pace := min(max(r.Span/time.Duration(max(1, len(q.obs)-1)), 5*time.Minute), time.Hour)

	more := *q
	used := append([]bool(nil), s.used...)
	blocks := append([]block(nil), s.blocks...)
	free := q.free(s.used)
	next := pattern.Sky.Time.Add(pace)
	for after := forecastStep; after <= forecastSpan; after += forecastStep {
		for ; next.Sub(pattern.Sky.Time) <= after; next = next.Add(pace) {
			sky, err := bearing.Observe(pattern.Sky.Body, next, pattern.Sky.Position, pattern.Sky.ElevationMetres)
			if err != nil {
				return err
			}
			if sky.Altitude < servesFrom || sky.Altitude > servesTo {
				continue
			}
			o := pattern
			o.Sky = sky
			i := len(more.obs)
			more.obs = append(more.obs[:i:i], o)
			more.stand = append(more.stand[:i:i], q.stand[last])
			p, ok := more.predict(i, s.x, sky.Azimuth, sky.Altitude)
			if !ok {
				more.obs, more.stand = more.obs[:i], more.stand[:i]
				continue
			}
			f := &more.obs[i]
			f.Direction, f.OffsetMM, f.LengthMM, f.RodSlope = p.direction, p.offsetMM, p.length, p.rodSlope
			b, err := more.block(i, s.x)
			if err != nil {
				return err
			}
			used, blocks = append(used, true), append(blocks, b)
		}
		normal, _ := more.information(s.x, free, blocks, used, false)
		c, scale, ok := factorize(normal, 0)
		if !ok {
			return errNoFit()
		}
		var inverse mat.SymDense
		if err := c.InverseTo(&inverse); err != nil {
			return errNoFit()
		}
		var variance [pStands + 1]float64
		for a, k := range free {
			variance[k] = inverse.At(a, a) * scale[a] * scale[a] * s.widened * s.widened
		}
		step := Step{
			After: after, Readings: len(more.obs) - len(q.obs),
			Heading: angle.Angle(math.Hypot(math.Sqrt(variance[pStands]), float64(q.bodySigma()))),
			Lean:    angle.Angle(math.Sqrt(max(variance[pLeanS], variance[pLeanF]))),
		}
		if step.Heading <= r.Goal && r.Enough == nil {
			r.Enough = new(after)
		}
		switch after {
		case time.Hour, 2 * time.Hour, 3 * time.Hour, 4 * time.Hour, 6 * time.Hour, 8 * time.Hour:
			r.Forecast = append(r.Forecast, step)
		}
	}
	return nil
}
