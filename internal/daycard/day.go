package daycard

import (
	"fmt"
	"math"
	"slices"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/geo"
)

// sampleStep divides the minute, to which windows by tolerance are cut, and the 7.5
// minutes to either side of a fixed window's centre.
const (
	sampleStep = 30 * time.Second
	perMinute  = int(time.Minute / sampleStep)
	perDay     = int(24 * time.Hour / sampleStep)
)

// sample is the sun at one instant, seen from every place where one may be. Azimuths
// run on through north, without a step from 360 to 0.
type sample struct {
	left, right float64 // least and greatest azimuth, degrees
	low, high   float64 // least and greatest altitude, degrees
	reason      Reason  // why the shadow is not usable, "" where it is or where nothing is known against it
}

func (s sample) middle() float64 { return (s.left + s.right) / 2 }

// served tells whether the altitude is usable.
func (s sample) served() bool { return s.reason != TooLow && s.reason != TooHigh }

// dayMaker gathers what a day's windows are cut from.
type dayMaker struct {
	o        Options
	courses  []float64
	midnight time.Time
	samples  []sample // perDay + 1, both midnights among them
}

func newDay(o Options, c *Card, r route, i int) (Day, error) {
	m := dayMaker{o: o, courses: c.CoursesDeg, midnight: o.midnight(i)}
	place := r.middle(m.midnight.Add(12 * time.Hour))
	d := Day{
		Date:         Date{m.midnight.Year(), m.midnight.Month(), m.midnight.Day()},
		LatitudeDeg:  round(place.Lat.Degrees(), 1e6),
		LongitudeDeg: round(place.Lon.Degrees(), 1e6),
		Warnings:     []Warning{},
		midnight:     m.midnight,
	}
	if geo.NearPole(place) {
		for _, k := range c.CoursesDeg {
			d.GridDeg = append(d.GridDeg, degrees(geo.GridHeading(angle.FromDegrees(k), place).Degrees()))
		}
	}
	if err := m.look(r); err != nil {
		return Day{}, err
	}
	if o.Window == 0 {
		d.Windows = m.byTolerance()
	} else {
		d.Windows = m.fixed()
	}
	d.Serves = []Span{}
	for _, w := range d.Windows {
		if n := len(d.Serves); n > 0 && d.Serves[n-1].Until.Equal(w.From) {
			d.Serves[n-1].Until = w.Until
		} else {
			d.Serves = append(d.Serves, w.Span)
		}
	}
	d.Gaps = m.gaps(d.Serves)
	d.Rule = m.rule(place, d.Serves)
	m.addRuleErrors(d.Rule, d.Windows)
	if err := m.addCosts(&d, r); err != nil {
		return Day{}, err
	}
	m.addRod(&d)
	if err := m.addSun(&d, place); err != nil {
		return Day{}, err
	}
	if err := m.addMoon(&d, place); err != nil {
		return Day{}, err
	}
	m.warn(&d, place)
	return d, nil
}

func (m *dayMaker) time(i int) time.Time { return m.midnight.Add(time.Duration(i) * sampleStep) }

func (m *dayMaker) index(t time.Time) int { return int(t.Sub(m.midnight) / sampleStep) }

func (m *dayMaker) span(i, j int) Span { return Span{m.time(i), m.time(j)} }

// farDown is an altitude in degrees that the sun climbs from in steps of at most
// stepClimb, its 15.04° an hour and some refraction.
const (
	farDown   = -2
	stepClimb = 0.127
)

// look takes the samples. While the sun is so far down that it cannot come up to
// farDown before the next ones, they are passed over.
func (m *dayMaker) look(r route) error {
	down := sample{left: math.NaN(), right: math.NaN(), low: -90, high: -90, reason: TooLow}
	m.samples = slices.Repeat([]sample{down}, perDay+1)
	var azimuth angle.Angle // of the first place, running on
	first := true
	for i := 0; i <= perDay; i++ {
		t := m.time(i)
		s := sample{left: math.Inf(1), right: math.Inf(-1), low: math.Inf(1), high: math.Inf(-1)}
		for k, p := range r.at(t) {
			a, err := bearing.Observe(bearing.Sun, t, p, m.o.ElevationMetres)
			if err != nil {
				return err
			}
			if first {
				azimuth, first = a.Azimuth, false
			}
			here := azimuth + (a.Azimuth - azimuth).Signed()
			if k == 0 {
				azimuth = here
			}
			s.left, s.right = min(s.left, here.Degrees()), max(s.right, here.Degrees())
			s.low, s.high = min(s.low, a.Altitude.Degrees()), max(s.high, a.Altitude.Degrees())
		}
		switch {
		case s.low < m.o.Lowest.Degrees():
			s.reason = TooLow
		case s.high > m.o.Highest.Degrees():
			s.reason = TooHigh
		}
		m.samples[i] = s
		if s.high < farDown {
			i += int((farDown - s.high) / stepClimb)
		}
	}
	return nil
}

// setting is the step in degrees to which azimuths are given: whole degrees are the
// easiest to set and to add to, but a step above half the tolerance shortens the windows
// by more than a quarter.
func (m *dayMaker) setting() float64 {
	switch {
	case m.o.Window != 0:
		return 0.5 // as fine as a dial is set by hand
	case m.o.Tolerance >= 2*angle.Degree:
		return 1
	case m.o.Tolerance >= 1*angle.Degree:
		return 0.5
	}
	return 0.1
}

// reach is the range of azimuth over some samples.
type reach struct{ left, right float64 }

func (r reach) with(s sample) reach {
	return reach{min(r.left, s.left), max(r.right, s.right)}
}

// hidden is by how much, in degrees, the azimuth may turn and come back between two
// samples: where it turns back at altitude h, up to (15°/h)² (15 s)² / 2 tan h, which
// passes this only above 88°.
const hidden = 0.001

// off returns how far the azimuth strays from value, rounded up to a hundredth.
func (r reach) off(value float64) float64 {
	return math.Ceil((max(r.right-value, value-r.left)+hidden)*100) / 100
}

var nothing = reach{math.Inf(1), math.Inf(-1)}

// byTolerance cuts windows of whole minutes, each as long as the tolerance lets it be.
// Taking the longest from the left gives the fewest.
func (m *dayMaker) byTolerance() []Window {
	windows := []Window{}
	step, tolerance := m.setting(), m.o.Tolerance.Degrees()
	for i := 0; i < perDay; {
		seen, end, value, off := nothing.with(m.samples[i]), i, 0.0, 0.0
		full := false // ended by the tolerance, not by the altitude or the day
		for end < perDay && m.servedMinute(end) {
			for _, s := range m.samples[end+1 : end+perMinute+1] {
				seen = seen.with(s)
			}
			v := math.Round((seen.left+seen.right)/2/step) * step
			if e := seen.off(v); e > tolerance {
				full = true
				break
			}
			end, value = end+perMinute, v
			off = seen.off(v)
		}
		if end == i || full && m.time(end).Sub(m.time(i)) < MinWindow {
			if full {
				m.refuse(i, i+perMinute, tolerance)
			}
			i += perMinute
			continue
		}
		windows = append(windows, m.window(i, end, (i+end)/2, value, off))
		i = end
	}
	return m.withoutFlickers(windows, tolerance)
}

// withoutFlickers drops the short runs of windows beside a span in which the azimuth
// turns too fast: there rounding to minutes and degrees decides what fits.
func (m *dayMaker) withoutFlickers(windows []Window, tolerance float64) []Window {
	fast := func(i int) bool {
		return i >= 0 && i <= perDay && (m.samples[i].reason == TooFast || m.samples[i].reason == TooApart)
	}
	kept := []Window{}
	for len(windows) > 0 {
		n := 1
		for n < len(windows) && windows[n].From.Equal(windows[n-1].Until) {
			n++
		}
		i, j := m.index(windows[0].From), m.index(windows[n-1].Until)
		if m.time(j).Sub(m.time(i)) < MinRun && (fast(i-1) || fast(j+1)) {
			m.refuse(i, j, tolerance)
		} else {
			kept = append(kept, windows[:n]...)
		}
		windows = windows[n:]
	}
	return kept
}

func (m *dayMaker) servedMinute(i int) bool {
	return !slices.ContainsFunc(m.samples[i:i+perMinute+1], func(s sample) bool { return !s.served() })
}

// refuse notes why the samples strictly between i and j make no window, those at the
// ends belonging to their neighbours as well.
func (m *dayMaker) refuse(i, j int, tolerance float64) {
	for k := i + 1; k < j; k++ {
		if s := &m.samples[k]; s.right-s.left > tolerance {
			s.reason = TooApart
		} else {
			s.reason = TooFast
		}
	}
}

// fixed cuts windows about the multiples of their length, where the shadow is usable then;
// so much of each as is.
func (m *dayMaker) fixed() []Window {
	windows := []Window{}
	half := int(m.o.Window / sampleStep / 2)
	for c := 0; c <= perDay; c += 2 * half {
		if !m.samples[c].served() {
			continue
		}
		i, j := c, c
		for i > max(0, c-half) && m.samples[i-1].served() {
			i--
		}
		for j < min(perDay, c+half) && m.samples[j+1].served() {
			j++
		}
		if i == j {
			continue
		}
		seen := nothing
		for _, s := range m.samples[i : j+1] {
			seen = seen.with(s)
		}
		value := math.Round(m.samples[c].middle()/m.setting()) * m.setting()
		off := seen.off(value)
		if off > MaxFixedError.Degrees() {
			m.refuse(i, j, MaxFixedError.Degrees())
			continue
		}
		windows = append(windows, m.window(i, j, c, value, off))
	}
	return windows
}

func (m *dayMaker) window(i, j, centre int, value, off float64) Window {
	w := Window{
		Span: m.span(i, j), Centre: m.time(centre),
		AzimuthDeg: degrees(value), GreatestErrDeg: off,
		LowestDeg: math.Inf(1), HighestDeg: math.Inf(-1),
	}
	for _, c := range m.courses {
		w.NumbersDeg = append(w.NumbersDeg, degrees(c-value))
	}
	for _, s := range m.samples[i : j+1] {
		w.LowestDeg, w.HighestDeg = min(w.LowestDeg, s.low), max(w.HighestDeg, s.high)
	}
	w.LevelCostDeg = round(LevelError.Degrees()*angle.FromDegrees(w.HighestDeg).Tan(), 100)
	w.LowestDeg, w.HighestDeg = round(w.LowestDeg, 100), round(w.HighestDeg, 100)
	s := m.samples[centre]
	if mm, ok := bearing.ShadowLength(m.o.RodHeightMM, angle.FromDegrees((s.low+s.high)/2)); ok {
		w.ShadowLengthMM = new(int(math.Round(mm)))
	}
	return w
}

// degrees reduces to [0, 360) and rounds to a tenth.
func degrees(v float64) float64 {
	v = math.Mod(round(v, 10), 360)
	if v < 0 {
		v += 360
	}
	return math.Mod(round(v, 10), 360)
}

// gaps returns what the spans leave of the day.
func (m *dayMaker) gaps(serves []Span) []Gap {
	gaps := []Gap{}
	gap := func(i, j int) {
		if i == j {
			return
		}
		g := Gap{Span: m.span(i, j), Reasons: []Reason{}}
		for _, s := range m.samples[i : j+1] {
			if s.reason != "" && !slices.Contains(g.Reasons, s.reason) {
				g.Reasons = append(g.Reasons, s.reason)
			}
		}
		gaps = append(gaps, g)
	}
	at := 0
	for _, s := range serves {
		gap(at, m.index(s.From))
		at = m.index(s.Until)
	}
	gap(at, perDay)
	return gaps
}

func (m *dayMaker) rule(place geo.Position, serves []Span) Rule {
	r := Rule{Sense: "clockwise"}
	if place.Lat < 0 {
		r.Sense = "counterclockwise"
	}
	switch {
	case m.o.RuleAt != nil:
		at := m.midnight.Add(*m.o.RuleAt)
		if !slices.ContainsFunc(serves, func(s Span) bool { return !at.Before(s.From) && !at.After(s.Until) }) {
			return r
		}
		r.From = &at
	case len(serves) > 0:
		r.From = &serves[0].From
	default:
		return r
	}
	r.AzimuthDeg = new(degrees(m.samples[m.index(*r.From)].middle()))
	return r
}

// addRuleErrors runs the rule on from the true azimuth of its start.
func (m *dayMaker) addRuleErrors(r Rule, windows []Window) {
	if r.From == nil {
		return
	}
	start := m.index(*r.From)
	rate := 15 * sampleStep.Hours()
	if r.Sense == "counterclockwise" {
		rate = -rate
	}
	for k, w := range windows {
		worst := 0.0
		i, j := max(start, m.index(w.From)), m.index(w.Until)
		if i >= j {
			continue
		}
		for n, s := range m.samples[i : j+1] {
			ruled := m.samples[start].middle() + rate*float64(i+n-start)
			if off := angle.FromDegrees(ruled - s.middle()).Signed().Degrees(); math.Abs(off) > math.Abs(worst) {
				worst = off
			}
		}
		windows[k].RuleErrorDeg = new(round(worst, 10))
	}
}

func (m *dayMaker) addCosts(d *Day, r route) error {
	for _, w := range d.Windows {
		if d.Costs == nil {
			d.Costs = &Costs{}
		}
		for i := m.index(w.From); i+perMinute <= m.index(w.Until); i++ {
			turn := math.Abs(m.samples[i+perMinute].middle() - m.samples[i].middle())
			d.Costs.ClockMinuteDeg = max(d.Costs.ClockMinuteDeg, turn)
		}
		// A window may be hours long, and what a place costs grows towards either end.
		const step = 10 * time.Minute
		for t := w.From; ; t = t.Add(step) {
			if t.After(w.Until) {
				t = w.Until
			}
			a, err := bearing.Observe(bearing.Sun, t, r.middle(t), m.o.ElevationMetres)
			if err != nil {
				return err
			}
			// A sigma of 10 km on either axis turns by as much as 10 km the worst way.
			_, turn := a.AzimuthSigmaFor(0, 10)
			d.Costs.TenKMDeg = max(d.Costs.TenKMDeg, turn.Degrees())
			if !t.Before(w.Until) {
				break
			}
		}
	}
	if d.Costs != nil {
		*d.Costs = Costs{round(d.Costs.ClockMinuteDeg, 100), round(d.Costs.TenKMDeg, 100)}
	}
	return nil
}

func (m *dayMaker) addRod(d *Day) {
	if m.o.RodHeightMM == 0 || len(d.Windows) == 0 {
		return
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, w := range d.Windows {
		low, high = min(low, w.LowestDeg), max(high, w.HighestDeg)
	}
	rod := &Rod{}
	for _, x := range []struct {
		altitude float64
		to       *int
	}{{low, &rod.LongestMM}, {high, &rod.ShortestMM}} {
		mm := m.o.RodHeightMM / angle.FromDegrees(max(x.altitude, 0.1)).Tan()
		*x.to = int(math.Round(mm))
	}
	if m.o.ScaleRadiusMM > 0 {
		below := angle.Atan2(m.o.RodHeightMM, m.o.ScaleRadiusMM).Degrees()
		rod.ReachesBelow = new(round(below, 10))
		rod.AllDayRodMM = new(int(math.Ceil(m.o.ScaleRadiusMM * angle.FromDegrees(high).Tan())))
		for _, s := range d.Serves {
			rod.ReachesScale = append(rod.ReachesScale,
				m.spans(m.index(s.From), m.index(s.Until), 1, func(i int) bool { return m.samples[i].high <= below })...)
		}
	}
	d.Rod = rod
}

// spans returns the runs of instants from i to j, step samples apart, at which ok
// holds; one instant alone is no span.
func (m *dayMaker) spans(i, j, step int, ok func(int) bool) []Span {
	spans := []Span{}
	for k := i; k+step <= j; k += step {
		if !ok(k) || !ok(k+step) {
			continue
		}
		if n := len(spans); n > 0 && spans[n-1].Until.Equal(m.time(k)) {
			spans[n-1].Until = m.time(k + step)
		} else {
			spans = append(spans, m.span(k, k+step))
		}
	}
	return spans
}

func (m *dayMaker) passage(b bearing.Body, place geo.Position) (Passage, error) {
	crossings, up, err := bearing.RiseSet(b, m.time(0), m.time(perDay), place, m.o.ElevationMetres)
	if err != nil {
		return Passage{}, err
	}
	p := Passage{State: DownAll, Rises: []time.Time{}, Sets: []time.Time{}}
	if up {
		p.State = UpAll
	}
	for _, c := range crossings {
		p.State = Crosses
		at := c.Time.In(m.midnight.Location()).Round(time.Second)
		if c.Rising {
			p.Rises = append(p.Rises, at)
		} else {
			p.Sets = append(p.Sets, at)
		}
	}
	return p, nil
}

func (m *dayMaker) addSun(d *Day, place geo.Position) error {
	p, err := m.passage(bearing.Sun, place)
	if err != nil {
		return err
	}
	d.Sun = Sun{Passage: p}
	if p.State == DownAll {
		return nil
	}
	highest := 0
	for i, s := range m.samples {
		if s.high > m.samples[highest].high {
			highest = i
		}
	}
	a, err := bearing.Observe(bearing.Sun, m.time(highest), place, m.o.ElevationMetres)
	if err != nil {
		return err
	}
	d.Sun.Highest = &Highest{m.time(highest), round(a.Altitude.Degrees(), 100), degrees(a.Azimuth.Degrees())}
	return nil
}

func (m *dayMaker) addMoon(d *Day, place geo.Position) error {
	p, err := m.passage(bearing.Moon, place)
	if err != nil {
		return err
	}
	noon, err := bearing.Observe(bearing.Moon, m.time(perDay/2), place, m.o.ElevationMetres)
	if err != nil {
		return err
	}
	from, until := m.time(0), m.time(perDay)
	dark, err := bearing.AltitudeWindows(bearing.Sun, from, until, place, m.o.ElevationMetres, -90*angle.Degree, MoonSunBelow)
	if err != nil {
		return err
	}
	up, err := bearing.AltitudeWindows(bearing.Moon, from, until, place, m.o.ElevationMetres, m.o.moonLowest(), max(m.o.moonLowest(), m.o.Highest))
	if err != nil {
		return err
	}
	serves := make([]bool, perDay+1)
	for i := 0; i <= perDay; i += perMinute {
		t := m.time(i)
		holds := func(w bearing.Window) bool { return !t.Before(w.From) && !t.After(w.Until) }
		if !slices.ContainsFunc(dark, holds) || !slices.ContainsFunc(up, holds) {
			continue
		}
		moon, err := bearing.Observe(bearing.Moon, t, place, m.o.ElevationMetres)
		if err != nil {
			return err
		}
		serves[i] = moon.LitFraction >= MoonLitFraction
	}
	d.Moon = Moon{p, round(noon.LitFraction, 100), m.spans(0, perDay, perMinute, func(i int) bool { return serves[i] })}
	return nil
}

// clockOffSun is by how much a civil clock may stand off the sun: three hours and some
// minutes in the far west of the widest zones, with an hour of summer time.
const clockOffSun = 3.5

func (m *dayMaker) warn(d *Day, place geo.Position) {
	warn := func(code, format string, args ...any) {
		d.Warnings = append(d.Warnings, Warning{code, fmt.Sprintf(format, args...)})
	}
	// By the day as well: on either side of the date line clocks differ by 24 hours.
	if off := math.Remainder(m.o.UTCOffset.Hours()-place.Lon.Degrees()/15, 24); math.Abs(off) > clockOffSun && math.Abs(d.LatitudeDeg) < 80 {
		warn("clock_off_sun", "the clock UTC%s stands %.1f hours off the sun at this longitude; check the offset and the sign of the longitude",
			geo.FormatOffset(m.o.UTCOffset), math.Abs(off))
	}
	// Beyond the tropics the sun keeps to the equator's side.
	if h := d.Sun.Highest; h != nil && math.Abs(d.LatitudeDeg) < 24 {
		side, runs := "south", "clockwise"
		north := math.Abs(math.Remainder(h.AzimuthDeg, 360)) < 90
		if north {
			side, runs = "north", "counterclockwise"
		}
		if north == (d.LatitudeDeg >= 0) {
			warn("rule_runs_wrong_way", "at noon the sun stands %s of the zenith and its azimuth runs %s, against the rule of 15 degrees an hour", side, runs)
		}
	}
	if m.o.RuleAt != nil && d.Rule.From == nil {
		warn("rule_not_started", "the shadow is not usable at %s, when the rule's bearing would be taken", d.clock(m.midnight.Add(*m.o.RuleAt)))
	}
}
