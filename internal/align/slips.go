package align

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
)

// NotBelievable is the code of a result whose readings fit no instrument such as was
// stated beforehand.
const NotBelievable = "not_believable"

// Codes of slips.
const (
	SlipHour          = "hour"
	SlipOffsetSign    = "utc_offset_sign"
	SlipHemisphere    = "hemisphere"
	SlipLongitudeSign = "longitude_sign"
	SlipDialSense     = "dial_sense"
)

// Slip is one mistake in what goes with the readings, with which they would make sense.
type Slip struct {
	Code string
	// Add is what would have to be added to the stated times; 0 for slips not of time.
	Add time.Duration
	// Text says the mistake in words.
	Text string
	// ChiSquared is that of readings and priors together without the slip.
	ChiSquared float64
	// Heading is where the sheet of a standing series would point then; Lean is the rod's.
	// They tell slips apart for one who knows roughly, and are no result.
	Heading, Lean angle.Angle
	Stands        int

	change func(Observation) (o Observation, ok bool)
}

// believed is the part of clean series that each of two tests lets pass: 99.9 % pass both.
const believed = 0.9995

// scattered is the factor of scatter beyond which sigmas are not raised any more: readings
// so far apart belong to no one instrument.
const scattered = 3

// strain tests the estimate against its priors, all together and the lean for itself, in
// which every slip of time and place ends. It returns both chi-squared over their limits.
//
// With V = 1 - G C G^T, G being the priors' gradients in their sigmas and C the
// covariance, the residuals r of the priors have the covariance V, and r V^-1 r is what
// chi-squared would fall by without any priors. Combinations of which the readings tell
// next to nothing stay where the priors put them and do not count.
func (q *problem) strain(s *solution) (all, lean float64) {
	n := len(q.priors)
	r := make([]float64, n)
	v := mat.NewSymDense(n, nil)
	for a, p := range q.priors {
		r[a] = p.residual(s.x)
		for b, o := range q.priors[:a+1] {
			v.SetSym(a, b, -q.joint(s, p, o))
		}
		v.SetSym(a, a, v.At(a, a)+1)
	}
	all = overLimit(v, r)

	var off [2]float64
	w := mat.NewSymDense(2, nil)
	for a, k := range []int{pLeanS, pLeanF} {
		mean, before := 0.0, 0.0
		for _, p := range q.priors {
			switch k {
			case p.less: // the plate's slope is the rod's less the lean
				before += 1 / (p.perSigma * p.perSigma)
				if !q.held[p.k] {
					rod := q.rodPrior(p.k)
					mean, before = mean+rod.mean/rod.perSigma, before+1/(rod.perSigma*rod.perSigma)
				} else {
					mean += s.x[p.k]
				}
			}
		}
		before = math.Sqrt(before)
		off[a] = (s.x[k] - mean) / before
		for b, m := range []int{pLeanS, pLeanF}[:a+1] {
			w.SetSym(a, b, -s.covariance.At(k, m)/(s.widened*s.widened*before*before))
		}
		w.SetSym(a, a, w.At(a, a)+1)
	}
	return all, overLimit(w, off[:])
}

// rodPrior is the prior of the rod's slope k against the sheet.
func (q *problem) rodPrior(k int) prior {
	for _, p := range q.priors {
		if p.k == k && p.less < 0 {
			return p
		}
	}
	panic("align: a slope that is neither held nor has a prior")
}

// joint is g C h^T for two priors' gradients, without the factor for scatter.
func (q *problem) joint(s *solution, g, h prior) float64 {
	sum := 0.0
	for _, a := range []int{g.k, g.less} {
		for _, b := range []int{h.k, h.less} {
			if a >= 0 && b >= 0 {
				sum += g.gradient(a) * h.gradient(b) * s.covariance.At(a, b)
			}
		}
	}
	return sum / (s.widened * s.widened)
}

// overLimit is r V^-1 r over the limit of a clean set, with the directions of V that
// count.
func overLimit(v *mat.SymDense, r []float64) float64 {
	// A direction of which the readings tell less than this is the priors' own.
	const told = 0.05
	var eigen mat.EigenSym
	if !eigen.Factorize(v, true) {
		return math.Inf(1)
	}
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	t, k := 0.0, 0
	for c, value := range eigen.Values(nil) {
		if value < told {
			continue
		}
		along := mat.Dot(vectors.ColView(c), mat.NewVecDense(len(r), r))
		t += along * along / value
		k++
	}
	if k == 0 {
		return 0
	}
	return t / distuv.ChiSquared{K: float64(k)}.Quantile(believed)
}

// misfit is chi-squared of readings and priors together over the limit of a clean set.
func (s *solution) misfit() float64 {
	if s.freedom <= 0 {
		return 0
	}
	return s.chi2 / distuv.ChiSquared{K: float64(s.freedom)}.Quantile(believed)
}

// doubted is chi-squared of a lean over its limit beyond which a slip is looked for that would
// do without it, though the lean may be: a clean series lies there once in twenty.
const doubted = 0.39

// believable tells whether an instrument such as was stated beforehand may have given the
// readings, some scatter beyond their sigmas allowed.
func (q *problem) believable(s *solution) bool {
	all, lean := q.strain(s)
	return all <= 1 && lean <= 1 && s.widened <= scattered
}

// score is chi-squared of a solution. A reading that was set aside counts with what it
// took to be.
func (q *problem) score(s *solution) float64 {
	sum := s.chi2
	for i, used := range s.used {
		if !used {
			sum += limit(len(s.blocks[i].residuals), len(q.obs))
		}
	}
	return sum
}

// slips are the single mistakes that are tried.
func slips(obs []Observation) (list []Slip) {
	again := func(o Observation, at time.Time, mirror func(*Observation)) (Observation, bool) {
		if mirror != nil {
			mirror(&o)
		}
		sky, err := bearing.Observe(o.Sky.Body, at, o.Sky.Position, o.Sky.ElevationMetres)
		o.Sky = sky
		return o, err == nil && lit(sky)
	}
	first := obs[0]
	later := func(by time.Duration) string {
		if by < 0 {
			return fmt.Sprintf("%s earlier", clockHours(-by))
		}
		return fmt.Sprintf("%s later", clockHours(by))
	}
	offset := false
	for _, o := range obs {
		offset = offset || o.UTCOffset != 0
	}
	if offset {
		list = append(list, Slip{Code: SlipOffsetSign, Add: 2 * first.UTCOffset,
			Text: "the UTC offset has the other sign, " + geo.FormatOffset(-first.UTCOffset) + ", so that it was " + later(2*first.UTCOffset),
			change: func(o Observation) (Observation, bool) {
				return again(o, o.Sky.Time.Add(2*o.UTCOffset), nil)
			}})
	}
	if lat := first.Sky.Position.Lat; lat != 0 {
		side := "south"
		if lat < 0 {
			side = "north"
		}
		list = append(list, Slip{Code: SlipHemisphere, Text: "the latitude has the other sign, " + side,
			change: func(o Observation) (Observation, bool) {
				return again(o, o.Sky.Time, func(o *Observation) { o.Sky.Position.Lat = -o.Sky.Position.Lat })
			}})
	}
	if lon := first.Sky.Position.Lon; lon != 0 {
		side := "west"
		if lon < 0 {
			side = "east"
		}
		list = append(list, Slip{Code: SlipLongitudeSign, Text: "the longitude has the other sign, " + side,
			change: func(o Observation) (Observation, bool) {
				return again(o, o.Sky.Time, func(o *Observation) { o.Sky.Position.Lon = -o.Sky.Position.Lon })
			}})
	}
	if first.Reversed != nil {
		list = append(list, Slip{Code: SlipDialSense, Text: "the dial's numbers run the other way round",
			change: func(o Observation) (Observation, bool) {
				o.Direction = *o.Reversed
				return o, true
			}})
	}
	for half := 1; half <= 24; half++ {
		for _, by := range []time.Duration{time.Duration(half) * 30 * time.Minute, -time.Duration(half) * 30 * time.Minute} {
			list = append(list, Slip{Code: SlipHour, Add: by, Text: "the hour is wrong, it was " + later(by),
				change: func(o Observation) (Observation, bool) { return again(o, o.Sky.Time.Add(by), nil) }})
		}
	}
	return list
}

// lit tells whether the body stands where a shadow proves something.
func lit(a bearing.Apparent) bool { return a.Altitude >= lowest && a.Altitude <= highest }

func clockHours(d time.Duration) string {
	if d == time.Hour {
		return "1 hour"
	}
	return fmt.Sprintf("%g hours", d.Hours())
}

// thinned are the readings on which slips are tried: of many, some from all of the series.
const thinned = 40

func thin(obs []Observation) []Observation {
	if len(obs) <= thinned {
		return obs
	}
	out := make([]Observation, 0, thinned)
	for i := range thinned {
		out = append(out, obs[i*(len(obs)-1)/(thinned-1)])
	}
	return out
}

// explain returns the single slips without which the readings would be believable and fit
// better than as stated by far, the best first: all that fit equally well, which is within
// tellApart of the best.
func explain(obs []Observation, priors Priors) []Slip {
	obs = thin(obs)
	asStated := math.Inf(1)
	if !slices.ContainsFunc(obs, func(o Observation) bool { return !lit(o.Sky) }) {
		q := newProblem(obs, priors)
		if s, _, err := q.solveWith(priors); err == nil {
			asStated = q.score(s)
		}
	}
	// A quick look first, the sky held still: most of them are far off.
	quick := priors
	if quick.ClockSigma <= time.Minute {
		quick.ClockSigma = 0
	}
	if quick.PositionSigmaKM <= 20 {
		quick.PositionSigmaKM = 0
	}
	type trial struct {
		Slip
		obs   []Observation
		quick float64
	}
	var trials []trial
	least := math.Inf(1)
next:
	for _, slip := range slips(obs) {
		t := trial{Slip: slip}
		for _, o := range obs {
			changed, ok := slip.change(o)
			if !ok {
				continue next
			}
			t.obs = append(t.obs, changed)
		}
		q := newProblem(t.obs, quick)
		x := q.start()
		used, out := q.plausible(x)
		s, err := q.fit(x, used, true)
		if err != nil {
			continue
		}
		t.quick = s.chi2 + float64(out)*limit(1, len(t.obs))
		least = min(least, t.quick)
		trials = append(trials, t)
	}
	var found []Slip
	for _, t := range trials {
		const worthwhile = 50 // in chi-squared: what the quick look may have overlooked
		if t.quick > 2*least+worthwhile {
			continue
		}
		q := newProblem(t.obs, priors)
		s, _, err := q.solveWith(priors)
		if err != nil || !q.believable(s) {
			continue
		}
		if t.ChiSquared = q.score(s); t.ChiSquared > asStated-tellApart {
			continue
		}
		t.Stands = len(q.stands)
		t.Heading = angle.Angle(s.x[pStands]).Bearing()
		t.Lean = leanOf(s)
		found = append(found, t.Slip)
	}
	slices.SortStableFunc(found, func(a, b Slip) int { return cmp.Compare(a.ChiSquared, b.ChiSquared) })
	for i := range found {
		if found[i].ChiSquared > found[0].ChiSquared+tellApart {
			return found[:i]
		}
	}
	return found
}

// disbelieve makes r a result that determines nothing and says why.
func (r *Result) disbelieve(q *problem, s *solution) {
	kept := Result{Position: r.Position, Used: r.Used, Span: r.Span, Terms: r.Terms, Suspects: r.Suspects, Widened: r.Widened, Goal: r.Goal, Slips: r.Slips, Code: NotBelievable}
	for _, name := range q.stands {
		kept.Stands = append(kept.Stands, Stand{Name: name})
	}
	all, lean := q.strain(s)
	if lean > 1 {
		kept.why = append(kept.why, fmt.Sprintf("the rod would have to lean %.1f° from plumb", leanOf(s).Degrees()))
	} else if all > 1 {
		off := map[string]float64{}
		most := ""
		for _, p := range q.priors {
			off[p.name] = math.Hypot(off[p.name], p.residual(s.x))
			if off[p.name] > off[most] {
				most = p.name
			}
		}
		kept.why = append(kept.why, fmt.Sprintf("they need %.1f sigmas of what was stated of %s", off[most], most))
	}
	if s.misfit() > 1 && s.widened > 1 {
		kept.why = append(kept.why, fmt.Sprintf("they scatter %.1f times as much as their sigmas say", s.widened))
	}
	*r = kept
}

// leanOf is the rod's lean from plumb.
func leanOf(s *solution) angle.Angle {
	return angle.Atan2(math.Hypot(s.x[pLeanS], s.x[pLeanF]), 1)
}

// WithSlips adds to an error that a slip may be behind which slip that is.
func WithSlips(err error, obs []Observation, priors Priors) error {
	var f *fault.Error
	if !errors.As(err, &f) {
		return err
	}
	found := explain(obs, priors)
	if len(found) == 0 {
		return err
	}
	return fault.New(f.Code, saySlips(found)+"; if not that: "+f.Hint, "%s", f.Message)
}

// saySlips says in one sentence which slips would explain the readings.
func saySlips(found []Slip) string {
	var texts []string
	for _, s := range found {
		text := s.Text
		if s.Stands == 1 {
			text += fmt.Sprintf(" (the sheet would point to about %03.0f°, the rod lean %.1f°)", whole(s.Heading), s.Lean.Degrees())
		}
		texts = append(texts, text)
	}
	if len(texts) == 1 {
		return "one slip would explain the readings: " + texts[0]
	}
	return "one of these slips would explain the readings, which do not tell them apart: " + strings.Join(texts, "; or ")
}
