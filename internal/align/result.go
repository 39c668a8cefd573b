package align

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/instrument"
	"shadowread/internal/wording"
)

// Estimate is a fitted value with one sigma.
type Estimate[T angle.Angle | float64 | time.Duration] struct {
	Value, Sigma T
	// PriorShare is the part of Sigma squared that comes from what was stated beforehand,
	// 0 to 1, and RestsOn the statement with most of it.
	PriorShare float64
	RestsOn    string
	// Determined tells whether the readings say more than was known before them.
	Determined bool
}

// Stand is the heading of the sheet's forward axis on one stand, true.
type Stand struct {
	Name    string
	Heading Estimate[angle.Angle] // Determined: to two degrees
	Used    bool                  // false where its readings were set aside
}

// Term is one reading against the solution.
type Term struct {
	Observation
	Residual angle.Angle // direction seen less fitted
	// OffsetResidualMM and LengthResidualMM are 0 where these were not measured.
	OffsetResidualMM, LengthResidualMM float64
	Sigmas                             float64 // how far it lies from what the others say, all its parts together
	SetAside                           bool
}

// Remaining is the error of a heading at one altitude of the sun.
type Remaining struct {
	Altitude angle.Angle
	// Uncorrected is the most by which a heading is wrong that is read as if nothing were
	// off; Sigma is one sigma of it, and of a corrected heading, where it is greatest.
	Uncorrected, Sigma angle.Angle
}

// Step foretells the sigmas after going on for a time.
type Step struct {
	After    time.Duration
	Readings int // further ones; those with the body too low or too high are left out
	Heading  angle.Angle
	Lean     angle.Angle // the larger of the two components
}

// TrueHeading is the vehicle's heading from elsewhere: a landmark, a long baseline.
type TrueHeading struct{ Heading, Sigma angle.Angle }

// Options is what is asked of a solution beside the fit.
type Options struct {
	// True is the vehicle's true heading on the first stand; nil where not known.
	True *TrueHeading
	// Goal is the sigma of heading up to which Enough foretells; 0 means 0.1 degree.
	Goal angle.Angle
}

const defaultGoal = 0.1 * angle.Degree

// Result is an instrument proved.
type Result struct {
	Position geo.Position
	Used     int
	Span     time.Duration

	// Code is NotBelievable where no instrument such as was stated gave the readings. Then
	// nothing is determined: but for the terms, all that is said of the instrument is
	// empty. Slips are the single mistakes that would explain it, the likeliest first; without
	// a code those that would explain a lean as few rods have.
	Code  string
	Slips []Slip

	Stands                     []Stand
	LeanStarboard, LeanForward Estimate[angle.Angle] // the rod from plumb, which way its top goes
	RodStarboard, RodForward   Estimate[angle.Angle] // the rod from the sheet's normal
	FootStarboardMM            Estimate[float64]     // the rod's foot from the dial's centre
	FootForwardMM              Estimate[float64]
	HeightMM                   *Estimate[float64] // nil where no length was measured
	Clock                      Estimate[time.Duration]
	Lubber                     *Estimate[angle.Angle] // to add to the sheet's heading for the vehicle's; nil without a true heading

	Terms    []Term
	Suspects []int // indices of readings that do not agree where nobody can say which is wrong
	// Widened is the factor by which all sigmas were raised since the readings scatter by
	// more than theirs say; 1 where they do not.
	Widened float64

	Remains  []Remaining // empty where the rod leans too far for any correction
	Forecast []Step
	// Enough is how much longer to go on until the heading is known to Goal: 0 where it is
	// already, nil where the next ten hours do not bring it.
	Enough *time.Duration
	Goal   angle.Angle

	why        []string // it is not believable
	clockAsked bool
	reversed   bool
	proved     instrument.Proved
}

// Solve finds the instrument that explains the readings.
//
// The error's code is too_few_readings, too_many_readings, bad_prior, bad_reading,
// series_too_long, bad_true_heading, no_fit, or one of bearing.Observe's.
func Solve(obs []Observation, priors Priors, o Options) (*Result, error) {
	if err := check(obs, priors); err != nil {
		return nil, err
	}
	if t := o.True; t != nil && (math.IsNaN(float64(t.Heading)) || math.IsInf(float64(t.Heading), 0) || !sound(float64(t.Sigma), math.Pi)) {
		return nil, fault.New("bad_true_heading", "give a heading from 0 to 360 degrees with one sigma", "the true heading %v with sigma %v is none", t.Heading, t.Sigma)
	}
	if err := dark(obs); err != nil {
		return nil, WithSlips(err, obs, priors)
	}
	q := newProblem(obs, priors)
	s, suspects, err := q.solveWith(priors)
	if fault.Code(err) == "no_fit" {
		return nil, WithSlips(err, obs, priors)
	}
	if err != nil {
		return nil, err
	}
	r := &Result{Position: obs[0].Sky.Position, Suspects: suspects, Widened: s.widened, Goal: o.Goal, clockAsked: priors.ClockSigma > time.Minute, reversed: priors.Reversal != nil}
	if r.Goal == 0 {
		r.Goal = defaultGoal
	}
	q.estimate(r, s, priors)
	q.terms(r, s)
	believable := q.believable(s)
	if !believable || s.misfit() > 1 {
		if r.Slips = explain(obs, priors); !believable || len(r.Slips) > 0 {
			r.disbelieve(q, s)
			return r, nil
		}
	} else if _, lean := q.strain(s); lean > doubted {
		if r.Slips = explain(obs, priors); len(r.Slips) > 0 && leanOf(s) > instrument.MaxLean {
			r.leaveOpen()
		}
	}
	if t := o.True; t != nil {
		e := Estimate[angle.Angle]{Value: (t.Heading - r.Stands[0].Heading.Value).Signed(), Determined: r.Stands[0].Heading.Determined}
		e.Sigma = angle.RSS(t.Sigma, r.Stands[0].Heading.Sigma)
		r.Lubber = &e
	}
	q.prove(r, s, o.True)
	r.remain()
	if len(q.stands) == 1 {
		if err := q.foretell(r, s); err != nil {
			return nil, err
		}
	}
	return r, nil
}

// leaveOpen determines nothing and has the sigmas cover what any of the slips would make of the readings: of
// instruments such as were stated one in fifty leans so, and the readings do not tell it from a slip.
func (r *Result) leaveOpen() {
	tilt, _, _ := r.Lean()
	var turned, less angle.Angle
	for _, s := range r.Slips {
		turned = max(turned, (s.Heading - r.Stands[0].Heading.Value).Signed().Abs())
		less = max(less, (tilt - s.Lean).Abs())
	}
	wider := func(e *Estimate[angle.Angle], by angle.Angle) {
		e.Sigma, e.Determined, e.PriorShare, e.RestsOn = angle.RSS(e.Sigma, by), false, 0, ""
	}
	for i := range r.Stands {
		wider(&r.Stands[i].Heading, turned)
	}
	for _, e := range []*Estimate[angle.Angle]{&r.LeanStarboard, &r.LeanForward, &r.RodStarboard, &r.RodForward} {
		wider(e, less)
	}
	r.FootStarboardMM.Determined, r.FootForwardMM.Determined, r.Clock.Determined = false, false, false
}

// knows tells whether readings that leave sigma say more than was known before: sigma
// well below the prior's and owed to the readings, or so small that it does not matter
// to whom it is owed.
func knows(sigma, before, share float64) bool {
	return sigma < 0.5*before && share < 0.5 || sigma <= 0.2*before
}

// headingKnown is the most that a heading's sigma may be for it to be called determined:
// what a plate set level by eye gives without any series (common practice).
const headingKnown = 2 * angle.Degree

func (q *problem) estimate(r *Result, s *solution, priors Priors) {
	slope := func(k int, before angle.Angle) Estimate[angle.Angle] {
		share, name := q.share(s, k)
		per := angle.Angle(1 / (1 + s.x[k]*s.x[k])) // of the arc tangent
		e := Estimate[angle.Angle]{Value: angle.Atan2(s.x[k], 1), Sigma: angle.Angle(s.sigma(k)) * per, PriorShare: share, RestsOn: name}
		e.Determined = knows(float64(e.Sigma), float64(before), share)
		return e
	}
	number := func(k int, value, per, before float64) Estimate[float64] {
		e := Estimate[float64]{Value: value, Sigma: per * s.sigma(k)}
		if s.sigma(k) > 0 {
			e.PriorShare, e.RestsOn = q.share(s, k)
		}
		e.Determined = knows(e.Sigma, before, e.PriorShare)
		return e
	}
	lean := angle.RSS(priors.RodSigma, priors.PlateSigma)
	r.LeanStarboard, r.LeanForward = slope(pLeanS, lean), slope(pLeanF, lean)
	r.RodStarboard, r.RodForward = slope(pRodS, priors.RodSigma), slope(pRodF, priors.RodSigma)
	r.FootStarboardMM = number(pFootS, s.x[pFootS], 1, priors.FootSigmaMM)
	r.FootForwardMM = number(pFootF, s.x[pFootF], 1, priors.FootSigmaMM)
	if !q.held[pHeight] || priors.HeightMM > 0 {
		h := q.height * math.Exp(s.x[pHeight])
		before := priors.HeightSigma
		if priors.HeightMM == 0 {
			before = 0.1 // of itself: a guess
		}
		if h > 0 {
			e := number(pHeight, h, h, h*before)
			r.HeightMM = &e
		}
	}
	clock := number(pClock, s.x[pClock], 1, priors.ClockSigma.Seconds())
	seconds := func(x float64) time.Duration { return time.Duration(x * float64(time.Second)) }
	r.Clock = Estimate[time.Duration]{seconds(clock.Value), seconds(clock.Sigma), clock.PriorShare, clock.RestsOn, clock.Determined}
	for n, name := range q.stands {
		k := pStands + n
		st := Stand{Name: name, Used: s.sigma(k) > 0}
		if st.Used {
			h := &st.Heading
			h.Value = angle.Angle(s.x[k]).Bearing()
			h.PriorShare, h.RestsOn = q.share(s, k)
			// The body's own uncertainty is common to the readings of a day.
			h.Sigma = angle.Angle(math.Hypot(s.sigma(k), float64(q.bodySigma())))
			h.Determined = h.Sigma <= headingKnown
		}
		r.Stands = append(r.Stands, st)
	}
}

// bodySigma is the mean uncertainty of the computed azimuth.
func (q *problem) bodySigma() angle.Angle {
	sum := angle.Angle(0)
	for _, o := range q.obs {
		sum += o.Sky.AzimuthSigma
	}
	return sum / angle.Angle(len(q.obs))
}

func (q *problem) terms(r *Result, s *solution) {
	first, last := q.obs[0].Sky.Time, q.obs[0].Sky.Time
	for i, o := range q.obs {
		b := s.blocks[i].residuals
		t := Term{Observation: o, SetAside: !s.used[i], Residual: angle.Angle(b[0]) * o.DirectionSigma}
		n := 1
		if o.OffsetSigmaMM > 0 {
			t.OffsetResidualMM = b[n] * o.OffsetSigmaMM
			n++
		}
		if o.LengthSigmaMM > 0 {
			t.LengthResidualMM = b[n] * o.LengthSigmaMM
		}
		chi2, _ := s.apart(i)
		t.Sigmas = math.Sqrt(chi2)
		r.Terms = append(r.Terms, t)
		if s.used[i] {
			r.Used++
		}
		if o.Sky.Time.Before(first) {
			first = o.Sky.Time
		}
		if o.Sky.Time.After(last) {
			last = o.Sky.Time
		}
	}
	r.Span = last.Sub(first)
}

// prove fills what a record takes.
func (q *problem) prove(r *Result, s *solution, known *TrueHeading) {
	p := &r.proved
	p.Lean = instrument.Slope{Starboard: s.x[pLeanS], Forward: s.x[pLeanF]}
	p.Rod = instrument.Slope{Starboard: s.x[pRodS], Forward: s.x[pRodF]}
	at := [instrument.Components]int{
		instrument.Lubber: pStands, instrument.LeanStarboard: pLeanS, instrument.LeanForward: pLeanF,
		instrument.RodStarboard: pRodS, instrument.RodForward: pRodF,
	}
	for i, a := range at {
		for j, b := range at {
			v := s.covariance.At(a, b)
			// The correction is the true heading less the sheet's.
			if (i == instrument.Lubber) != (j == instrument.Lubber) {
				v = -v
			}
			if known == nil && (i == instrument.Lubber || j == instrument.Lubber) {
				v = 0
			}
			p.Covariance[i][j] = v
		}
	}
	if known != nil {
		p.Lubber = new(r.Lubber.Value)
		body := q.bodySigma()
		p.Covariance[instrument.Lubber][instrument.Lubber] += float64(known.Sigma*known.Sigma + body*body)
	}
}

// remain fills the errors at 30, 45 and 60 degrees, but for a rod that leans too far for
// any correction.
func (r *Result) remain() {
	rec := instrument.Record{Gnomon: instrument.Rod, Proved: r.proved}
	for _, altitude := range []angle.Angle{30 * angle.Degree, 45 * angle.Degree, 60 * angle.Degree} {
		m := Remaining{Altitude: altitude}
		for d := angle.Angle(0); d < 2*math.Pi; d += 5 * angle.Degree {
			turn, level, lubber, err := rec.Correction(0, altitude, d)
			if err != nil {
				r.Remains = nil
				return
			}
			m.Uncorrected = max(m.Uncorrected, turn.Abs())
			m.Sigma = max(m.Sigma, angle.RSS(level, lubber))
		}
		r.Remains = append(r.Remains, m)
	}
}

// Judgement is how an instrument stands to a tolerance.
type Judgement string

// The verdicts. Two sigmas decide.
const (
	Within    Judgement = "within"
	Outside   Judgement = "outside"
	NotProved Judgement = "not proved"
)

// Judge compares the greatest error of an uncorrected heading at 45 degrees of altitude,
// where lean counts once, with a tolerance.
func (r *Result) Judge(tolerance angle.Angle) Judgement {
	if len(r.Remains) == 0 && r.LeanDetermined() {
		return Outside
	}
	for _, m := range r.Remains {
		if m.Altitude != 45*angle.Degree {
			continue
		}
		switch {
		case !r.LeanDetermined():
		case m.Uncorrected+2*m.Sigma <= tolerance:
			return Within
		case m.Uncorrected-2*m.Sigma > tolerance:
			return Outside
		}
	}
	return NotProved
}

// LeanDetermined tells whether the readings determine both components of the lean.
func (r *Result) LeanDetermined() bool {
	return r.LeanStarboard.Determined && r.LeanForward.Determined
}

// Lean returns how far the rod's top leans from plumb, where on the plate it leans to,
// and the sigma of the lean in that direction.
func (r *Result) Lean() (tilt, toward, sigma angle.Angle) {
	l := r.proved.Lean
	tilt, toward = l.Tilt()
	c := r.proved.Covariance
	s, f := toward.Sin(), toward.Cos()
	v := s*s*c[instrument.LeanStarboard][instrument.LeanStarboard] + 2*s*f*c[instrument.LeanStarboard][instrument.LeanForward] + f*f*c[instrument.LeanForward][instrument.LeanForward]
	return tilt, toward, angle.Angle(math.Sqrt(max(0, v)))
}

// Leans reports whether the readings show the rod to lean, beyond three sigmas.
func (r *Result) Leans() bool {
	tilt, _, sigma := r.Lean()
	return tilt > 3*sigma
}

// Record returns base with what was proved, the rod's height too where it was not known. Its LevelSigma and AlignmentSigma, which no
// standing series shows, stay as they are.
//
// It fails with code not_determined where the readings leave the lean open, and with
// readings_disagree where nobody can say which of them is wrong, not_believable where
// Code says so, slip_likely where a slip would do without a rare lean.
func (r *Result) Record(base instrument.Record) (instrument.Record, error) {
	if r.Code != "" {
		return base, fault.New(r.Code, r.likely(), "%s", r.unbelieved())
	}
	if len(r.Slips) > 0 {
		tilt, _, _ := r.Lean()
		return base, fault.New("slip_likely", "look at what was noted, set it right and run this again; if nothing is wrong with it, state how far board and rod may be off (--board-sigma, --square-sigma)",
			"a rod seldom leans by %.1f°, and %s: nothing is recorded", tilt.Degrees(), saySlips(r.Slips))
	}
	if !r.LeanDetermined() && !r.reversed { // a pair's covariance says which component it knows
		return base, fault.New("not_determined", r.advice(), "the readings leave the rod's lean from plumb open, so there is nothing to record")
	}
	if len(r.Suspects) > 0 {
		return base, fault.New("readings_disagree", "take more readings, or leave the bad one out", "the readings do not agree, and nobody can say which is wrong: %s", r.names(r.Suspects))
	}
	base.Proved = r.proved
	if h := r.HeightMM; h != nil && base.HeightMM == 0 && h.Determined {
		base.HeightMM = wording.Round(h.Value, 2)
	}
	if r.FootStarboardMM.Determined && r.FootForwardMM.Determined {
		base.Foot = &instrument.Foot{StarboardMM: r.FootStarboardMM.Value, ForwardMM: r.FootForwardMM.Value, SigmaMM: max(r.FootStarboardMM.Sigma, r.FootForwardMM.Sigma)}
	}
	for _, t := range r.Terms {
		if t.Sky.Time.After(base.Found) {
			base.Found = t.Sky.Time.UTC().Truncate(time.Second)
		}
	}
	base.How = fmt.Sprintf("%d readings over %s", r.Used, hours(r.Span))
	if n := len(r.Stands); n > 1 {
		base.How += fmt.Sprintf(" on %d headings", n)
	}
	return base, base.Check()
}

func (r *Result) names(of []int) string {
	var names []string
	for _, i := range of {
		names = append(names, r.Terms[i].Label)
	}
	return strings.Join(names, ", ")
}

// MarshalJSON writes the result with units in the names: degrees, millimetres, seconds,
// hours, UTC. What is not known is null.
// It is as long as the object: a key a line.
func (r *Result) MarshalJSON() ([]byte, error) {
	type estimate struct {
		Value      *float64 `json:"value"`
		Sigma      *float64 `json:"sigma"`
		Determined bool     `json:"determined"`
		PriorShare *float64 `json:"prior_share"`
		RestsOn    string   `json:"rests_on,omitempty"` // where half or more comes from a prior
	}
	estimated := func(value, sigma, share float64, name string, determined bool) estimate {
		if r.Code != "" {
			return estimate{}
		}
		e := estimate{Value: wording.Known(value, 5), Sigma: wording.Known(sigma, 5), Determined: determined, PriorShare: wording.Known(share, 3)}
		if share >= 0.5 {
			e.RestsOn = name
		}
		return e
	}
	deg := func(e Estimate[angle.Angle]) estimate {
		return estimated(e.Value.Degrees(), e.Sigma.Degrees(), e.PriorShare, e.RestsOn, e.Determined)
	}
	mm := func(e Estimate[float64]) estimate {
		return estimated(e.Value, e.Sigma, e.PriorShare, e.RestsOn, e.Determined)
	}
	type stand struct {
		Name    string    `json:"name"`
		Heading *estimate `json:"heading_true_deg"`
	}
	type term struct {
		Label     string   `json:"label"`
		Time      string   `json:"time_utc"`
		Azimuth   *float64 `json:"body_azimuth_deg"`
		Altitude  *float64 `json:"body_altitude_deg"`
		Direction *float64 `json:"shadow_angle_deg"`
		Residual  *float64 `json:"residual_deg"`
		Sigma     *float64 `json:"sigma_deg"`
		Offset    *float64 `json:"offset_residual_mm"`
		Length    *float64 `json:"length_residual_mm"`
		Sigmas    *float64 `json:"sigmas"`
		SetAside  bool     `json:"set_aside"`
	}
	type remaining struct {
		Altitude    *float64 `json:"altitude_deg"`
		Uncorrected *float64 `json:"uncorrected_most_deg"`
		Sigma       *float64 `json:"corrected_sigma_deg"`
	}
	type ahead struct {
		After    float64  `json:"after_h"`
		Readings int      `json:"readings"`
		Heading  *float64 `json:"heading_sigma_deg"`
		Lean     *float64 `json:"lean_sigma_deg"`
	}
	type slip struct {
		Code    string   `json:"code"`
		Hours   *float64 `json:"add_h,omitempty"`
		Text    string   `json:"text"`
		Chi2    *float64 `json:"chi_squared"`
		Heading *float64 `json:"heading_then_deg,omitempty"`
		Lean    *float64 `json:"lean_then_deg"`
	}
	tilt, toward, tiltSigma := r.Lean()
	o := struct {
		Schema    int         `json:"schema_version"`
		Code      *string     `json:"code"` // null where the readings are believable
		Slips     []slip      `json:"slips"`
		Readings  int         `json:"readings"`
		Used      int         `json:"readings_used"`
		Span      *float64    `json:"span_h"`
		Stands    []stand     `json:"stands"`
		Lean      *float64    `json:"lean_deg"`
		Toward    *float64    `json:"lean_toward_deg"`
		LeanSigma *float64    `json:"lean_sigma_deg"`
		LeanS     estimate    `json:"lean_starboard_deg"`
		LeanF     estimate    `json:"lean_forward_deg"`
		RodS      estimate    `json:"rod_starboard_deg"`
		RodF      estimate    `json:"rod_forward_deg"`
		FootS     estimate    `json:"foot_starboard_mm"`
		FootF     estimate    `json:"foot_forward_mm"`
		Height    *estimate   `json:"rod_height_mm"`
		Clock     estimate    `json:"clock_error_s"`
		Lubber    *estimate   `json:"lubber_correction_deg"`
		Widened   *float64    `json:"sigma_factor"`
		Suspects  []string    `json:"suspects"`
		Remains   []remaining `json:"remains"`
		Forecast  []ahead     `json:"forecast"`
		Enough    *float64    `json:"go_on_h"`
		Goal      *float64    `json:"goal_deg"`
		Terms     []term      `json:"terms"`
		Verdict   []string    `json:"verdict"`
	}{
		Schema: 1, Readings: len(r.Terms), Used: r.Used, Span: wording.Known(r.Span.Hours(), 4),
		Lean: wording.Known(tilt.Degrees(), 4), Toward: roundBearing(toward), LeanSigma: wording.Known(tiltSigma.Degrees(), 5),
		LeanS: deg(r.LeanStarboard), LeanF: deg(r.LeanForward), RodS: deg(r.RodStarboard), RodF: deg(r.RodForward),
		FootS: mm(r.FootStarboardMM), FootF: mm(r.FootForwardMM),
		Clock:   estimated(r.Clock.Value.Seconds(), r.Clock.Sigma.Seconds(), r.Clock.PriorShare, r.Clock.RestsOn, r.Clock.Determined),
		Widened: wording.Known(r.Widened, 3), Goal: wording.Known(r.Goal.Degrees(), 4), Slips: []slip{}, Suspects: []string{}, Forecast: []ahead{}, Verdict: r.Verdict(),
	}
	if r.Code != "" {
		o.Code, o.Lean, o.Toward, o.LeanSigma = &r.Code, nil, nil, nil
	}
	for _, s := range r.Slips {
		j := slip{Code: s.Code, Text: s.Text, Chi2: wording.Known(s.ChiSquared, 1), Lean: wording.Known(s.Lean.Degrees(), 1)}
		if s.Add != 0 {
			j.Hours = wording.Known(s.Add.Hours(), 2)
		}
		if s.Stands == 1 {
			j.Heading = new(whole(s.Heading))
		}
		o.Slips = append(o.Slips, j)
	}
	for _, s := range r.Stands {
		st := stand{Name: s.Name}
		if s.Used {
			e := deg(s.Heading)
			e.Value = roundBearing(s.Heading.Value)
			st.Heading = &e
		}
		o.Stands = append(o.Stands, st)
	}
	if r.HeightMM != nil {
		e := mm(*r.HeightMM)
		o.Height = &e
	}
	if r.Lubber != nil {
		e := deg(*r.Lubber)
		o.Lubber = &e
	}
	for _, i := range r.Suspects {
		o.Suspects = append(o.Suspects, r.Terms[i].Label)
	}
	for _, m := range r.Remains {
		o.Remains = append(o.Remains, remaining{wording.Known(m.Altitude.Degrees(), 1), wording.Known(m.Uncorrected.Degrees(), 4), wording.Known(m.Sigma.Degrees(), 4)})
	}
	for _, f := range r.Forecast {
		o.Forecast = append(o.Forecast, ahead{f.After.Hours(), f.Readings, wording.Known(f.Heading.Degrees(), 5), wording.Known(f.Lean.Degrees(), 5)})
	}
	if r.Enough != nil {
		o.Enough = wording.Known(r.Enough.Hours(), 2)
	}
	for _, t := range r.Terms {
		j := term{Label: t.Label, Time: t.Sky.Time.UTC().Format(time.RFC3339Nano), Azimuth: roundBearing(t.Sky.Azimuth), Altitude: wording.Known(t.Sky.Altitude.Degrees(), 4),
			Direction: roundBearing(t.Direction), Residual: wording.Known(t.Residual.Degrees(), 5), Sigma: wording.Known(t.DirectionSigma.Degrees(), 5), Sigmas: wording.Known(t.Sigmas, 2), SetAside: t.SetAside}
		if t.OffsetSigmaMM > 0 {
			j.Offset = wording.Known(t.OffsetResidualMM, 4)
		}
		if t.LengthSigmaMM > 0 {
			j.Length = wording.Known(t.LengthResidualMM, 4)
		}
		o.Terms = append(o.Terms, j)
	}
	return json.Marshal(o)
}

// roundBearing keeps a rounded bearing below 360.
func roundBearing(a angle.Angle) *float64 {
	if math.IsNaN(float64(a)) {
		return nil
	}
	return new(wording.BearingDegrees(a, 4))
}
