package logbook

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/wording"
	"shadowread/internal/workup"
)

// reckoning is where a journey stands after an entry: all that the next one is checked
// and worked up against.
type reckoning struct {
	Time       time.Time
	Model      workup.Model
	SpeedLimit workup.MetresPerSecond

	// Filter is the work-up's state; while the position is lost, the last there was.
	Filter workup.State
	Astray bool   // the position is lost
	Losses []Lost // all that there were
	Begun  start  // of the filter

	Ran geo.Metres // with the last entry, as logged

	Course *course // current heading; nil if it is not known
	// Standing says that the entry was a halt, or that the journey has not left.
	Standing bool

	Odometer     *Odometer // last reading; nil if there is none to go on from
	Thread       *thread   // from that reading or an earlier one; nil before the first
	Mount, Tyres int
	Settings     Settings // that hold
	// Instrument is the hash of the record by which the mounted instrument's last reading was
	// corrected, "" for none proved; nil where that is not known.
	Instrument *string

	Last            int           // number of the entry
	Disagrees       *Disagreement // of the entry
	OtherInstrument bool          // of the entry
	Unsteered       bool          // of the entry

	NeedHeading, NeedConfirmation []int // numbers of entries that wait for it
	Closing                       *workup.Closing
}

// clone returns a copy that can be carried on by itself. What else it points to is
// replaced, never changed.
func (now *reckoning) clone() *reckoning {
	c := *now
	if now.Course != nil {
		c.Course = new(*now.Course)
	}
	return &c
}

// Lost says where and why the work-up stopped. A fix starts it again.
type Lost struct {
	Entry               int
	Code, Message, Hint string
}

func (l *Lost) Error() string { return fmt.Sprintf("entry %d: %s", l.Entry, l.Message) }

// fault returns what the user is told where an estimate is asked for.
func (l *Lost) fault() error {
	return fault.New("position_lost", "log a fix, or correct the entry: "+l.Hint, "there is no estimated position since %s", l.Error())
}

// start is where the filter began.
type start struct {
	Entry     int
	Departure workup.Departure
}

// lost returns the loss of the position, nil if there is a position.
func (now *reckoning) lost() *Lost {
	if n := len(now.Losses); n > 0 && now.Astray {
		return &now.Losses[n-1]
	}
	return nil
}

// course is the heading of the current leg.
type course struct {
	Leg workup.Leg // heading part only
	Run geo.Metres // run on it so far
	// Entry is the leg's number.
	Entry int
	// Left says that a detour has left it since, so that the filter no longer knows
	// its error.
	Left bool
}

// minute is what times noted on paper are rounded to (common practice); so much
// longer a leg may have taken than its times say.
const minute = time.Minute

// begin returns the reckoning at a departure.
func begin(e *Entry, d *Departure) (*reckoning, error) {
	now := &reckoning{Time: e.Time, Model: d.Model, SpeedLimit: d.SpeedLimit, Standing: true, Last: e.Number, Settings: Settings{}.With(d.Settings)}
	now.reads(d.Odometer)
	return now, now.start(e, d.Position, d.Sigma)
}

// take carries the reckoning over an entry and returns the entry as the work-up sees it, in
// parts of which the last may carry a fix. On an error it is left half carried:
// the entry is refused.
func (now *reckoning) take(e *Entry) (parts []workup.Entry, err error) {
	if e.Kind() == KindWithdrawal {
		return nil, nil
	}
	now.Last, now.Disagrees, now.OtherInstrument, now.Unsteered = e.Number, nil, false, false
	if c, ok := e.Content.(*Settings); ok { // they move nothing, and no clock
		now.Ran, now.Settings = 0, now.Settings.With(c)
		return []workup.Entry{{Time: now.Time}}, nil
	}
	if e.Time.Before(now.Time) {
		return nil, fault.New("time_before_last",
			"check date, time and UTC offset; to change what the log says, correct the entry in question",
			"%s is before the entry before it, %s", wording.LocalTime(e.Time, e.Offset), wording.LocalTime(now.Time, e.Offset))
	}
	elapsed := e.Time.Sub(now.Time)
	now.Time, now.Ran = e.Time, 0
	var length geo.Metres
	if run := e.Content.run(); run != nil {
		_, begins := e.Content.(*Leg)
		if parts, length, err = now.goOn(*run, elapsed, begins); err != nil {
			return nil, err
		}
		now.Ran = length
	}
	switch c := e.Content.(type) {
	case *Departure:
		return nil, fault.New("bad_correction", "correct a departure by a departure", "a departure cannot stand within a journey")
	case *Leg:
		now.Course, now.Standing = now.courseOf(c), false
		now.readBy(c)
		if now.Course != nil {
			now.Course.Entry = e.Number
		}
	case *Detour:
		around, further, err := now.around(c)
		if err != nil {
			return nil, err
		}
		if err := now.fast(length+further, elapsed); err != nil {
			return nil, err
		}
		parts = append(parts, around...)
		now.Ran += further
		if now.Course != nil {
			now.Course.Left = true
		}
		now.Standing = false
	case *Halt:
		now.Standing = true
	case *Fix:
		parts = append(parts, workup.Entry{Fix: &workup.Fix{Position: c.Position, Sigma: c.Sigma, Confirmed: c.Confirmed, Rule: c.Rule}})
	case *Remount:
		now.Mount++
		now.Instrument = nil
	case *Tyres:
		now.Tyres++
	case *OdometerSet:
		now.reads(&c.After)
	}
	if len(parts) == 0 {
		parts = []workup.Entry{{}}
	}
	for i := range parts {
		parts[i].Time = e.Time
	}
	return parts, nil
}

// way is a distance run.
type way struct {
	length, sigma geo.Metres
	odometer      *Odometer // nil: had some other way
}

// measure returns the distance of a run. Where a leg begins, at a departure or halt,
// an odometer not read before begins to count.
func (now *reckoning) measure(r Run, elapsed time.Duration, begins bool) (way, error) {
	var w way
	switch {
	case r.Speed != nil:
		under := r.Speed.For
		if under == 0 {
			under = elapsed
		}
		if under > elapsed+minute {
			return way{}, fault.New("bad_speed", "check the times", "%s under way are more than the %s since the entry before", wording.Span(under), wording.Span(elapsed))
		}
		w.length = geo.Metres(float64(r.Speed.Mean) * under.Seconds())
		w.sigma = geo.Metres(float64(r.Speed.Sigma) * under.Seconds())
	case r.Distance != nil:
		w.length, w.sigma = r.Distance.Length, r.Distance.Sigma
	}
	if w.sigma == 0 {
		w.sigma = guessed * w.length
	}
	if o := r.Odometer; o != nil {
		run, err := since(now.Odometer, *o)
		if err != nil {
			return way{}, err
		}
		other := r.Speed != nil || r.Distance != nil || r.Stood
		switch {
		case r.Stood && run > o.Resolution():
			return way{}, noDistance("nothing was run, yet the odometer went from %s to %s", now.Odometer, o)
		case other:
			now.compare(*o, w)
		case now.Odometer == nil && begins && (!r.CountsOn || now.Thread == nil):
		case now.Odometer == nil && now.Thread == nil:
			return way{}, noDistance("the log has no odometer reading to count from")
		case now.Odometer == nil:
			if w, err = now.Thread.way(*o); err != nil {
				return way{}, err
			}
		default:
			w = way{length: run, odometer: o}
		}
		now.reads(o)
	} else if w.length > 0 {
		now.Odometer = nil // it has moved on, unread
		now.Thread = now.Thread.with(w)
	}
	return w, now.fast(w.length, elapsed)
}

// since returns the distance from an odometer's last reading, 0 if there is none.
func since(last *Odometer, o Odometer) (geo.Metres, error) {
	if last == nil {
		return 0, nil
	}
	run := o.Metres() - last.Metres()
	if o.RolledOver > 0 {
		if o.Unit != last.Unit || last.number() >= math.Pow10(o.RolledOver) {
			return 0, fault.New("bad_odometer", "give the digits before the point, as many as the odometer shows, and the unit of the reading before",
				"an odometer of %d digits cannot have gone from %s to %s", o.RolledOver, last, o)
		}
		run += geo.Metres(math.Pow10(o.RolledOver)) * o.Unit.Length()
	}
	// Two readings of the same in two units need not agree to the last digit.
	if run < 0 && (o.Unit == last.Unit || -run > o.Resolution()+last.Resolution()) {
		return 0, fault.New("odometer_backwards",
			"check the reading; if the odometer passed its last number, say that it rolled over and how many digits it has before the point; if it was set anew, log that first",
			"the odometer runs backwards from %s to %s", last, o)
	}
	return max(0, run), nil
}

// fast refuses a distance that its time does not allow.
func (now *reckoning) fast(length geo.Metres, elapsed time.Duration) error {
	most := geo.Metres(float64(now.SpeedLimit) * (elapsed + minute).Seconds())
	if length > most {
		return fault.New("leg_too_long",
			fmt.Sprintf("check reading, unit and time; if the vehicle is that fast, raise the journey's speed limit of %.0f km/h by correcting its departure", float64(now.SpeedLimit)*3.6),
			"%.1f %s in %s is faster than believed", float64(length/now.Settings.UnitOr().Length()), now.Settings.UnitOr(), wording.Span(elapsed))
	}
	return nil
}

// goOn runs on along the current leg.
func (now *reckoning) goOn(r Run, elapsed time.Duration, begins bool) (parts []workup.Entry, length geo.Metres, err error) {
	w, err := now.measure(r, elapsed, begins && now.Standing)
	if err != nil || w.length == 0 {
		return nil, 0, err
	}
	c := now.Course
	if c == nil {
		now.Unsteered = true
		return astray(w.length), w.length, nil
	}
	leg := c.Leg
	now.put(&leg, w)
	if c.Left {
		// The reading's error is the one it made before the detour, but the filter
		// has let go of it. With d run on it before and s now, the error across has
		// the variance r^2 (d+s)^2; as a new reading the leg brings r^2 s^2. The
		// mixed term 2 r^2 d s goes in as a way across with an error in its length.
		steering := now.Model.Steering
		if leg.Steering != nil {
			steering = *leg.Steering
		}
		variance := float64(leg.HeadingSigma*leg.HeadingSigma + steering*steering)
		parts = append(parts, workup.Entry{Leg: &workup.Leg{
			Heading:       leg.Heading + 90*angle.Degree,
			DistanceSigma: geo.Metres(math.Sqrt(2 * variance * float64(c.Run) * float64(w.length))),
		}})
	} else {
		leg.Continues = c.Run > 0
	}
	c.Run += w.length
	return append(parts, workup.Entry{Leg: &leg}), w.length, nil
}

// put enters a distance in a leg.
func (now *reckoning) put(l *workup.Leg, w way) {
	l.Distance, l.DistanceSigma, l.Tyres = w.length, w.sigma, now.Tyres
	if w.odometer != nil {
		l.Odometer, l.Resolution = true, w.odometer.Resolution()
	}
}

// astray runs a distance nobody knows where to. Its end lies somewhere on a circle:
// the estimate stays, and takes the variance d^2/2 in each of two axes, as two legs
// of no length but with an error in it.
func astray(d geo.Metres) []workup.Entry {
	sigma := d / math.Sqrt2
	return []workup.Entry{
		{Leg: &workup.Leg{Heading: 0, DistanceSigma: sigma}},
		{Leg: &workup.Leg{Heading: 90 * angle.Degree, DistanceSigma: sigma}},
	}
}

// around runs the short legs of a detour.
func (now *reckoning) around(d *Detour) (parts []workup.Entry, length geo.Metres, err error) {
	for i, l := range d.Legs {
		// The time of the whole is checked by the caller.
		w, err := now.measure(l.Run, math.MaxInt64-minute, false)
		if err != nil {
			return nil, 0, fmt.Errorf("short leg %d: %w", i+1, err)
		}
		leg := workup.Leg{Heading: l.Heading.Heading, HeadingSigma: l.Heading.Sigma, Steering: now.Settings.Steering}
		now.put(&leg, w)
		parts = append(parts, workup.Entry{Leg: &leg})
		length += w.length
	}
	return parts, length, nil
}

// courseOf makes a course of a change of leg, nil if it needs a heading.
//
// The terms of the budget that many legs share are left to the work-up, which
// brings them in as the shared lubber line and the rod's lean, and by ComputedAt; with
// them in the sigma too they would count twice, and as if each leg had its own.
func (now *reckoning) courseOf(l *Leg) *course {
	switch {
	case l.Hand != nil:
		return &course{Leg: workup.Leg{Heading: l.Hand.Heading, HeadingSigma: l.Hand.Sigma, Steering: now.Settings.Steering}}
	case l.Reading == nil:
		return nil
	}
	r := l.Reading
	variance := float64(r.Sigma * r.Sigma)
	leg := workup.Leg{Heading: r.Heading, Body: r.Body, ComputedAt: r.ComputedAt, Mount: now.Mount, Steering: now.Settings.Steering}
	if r.ComputedAt != nil && r.Body != nil {
		variance -= float64(r.Position * r.Position)
	}
	if r.SetUpAnew {
		if r.Alignment == 0 { // not stated is not perfect
			variance += float64(now.Model.Mount * now.Model.Mount)
		}
	} else {
		// What the journey's model brings in as lean and lubber line is taken out, no more: an
		// instrument that a reading trusts less than the model does stays so.
		leg.ByDial = true
		altitude := 60 * angle.Degree // as package workup has it
		if r.Body != nil {
			altitude = r.Body.Altitude
		}
		level := min(r.Level, angle.Angle(float64(now.Model.Lean)*math.Abs(altitude.Tan())))
		lubber := min(r.Alignment, now.Model.Mount)
		variance -= float64(level*level + lubber*lubber)
	}
	leg.HeadingSigma = angle.Angle(math.Sqrt(max(0, variance)))
	return &course{Leg: leg}
}

// carry takes the filter over the parts of an entry. Where it cannot, the entry
// stands none the less, and the position is lost until the next fix.
func (now *reckoning) carry(e *Entry, parts []workup.Entry) (closing *workup.Closing) {
	if !now.Astray {
		for _, p := range parts {
			next, c, err := now.Model.Next(now.Filter, p)
			if err != nil {
				now.lose(e, err)
				break
			}
			now.Filter = next
			if c != nil {
				closing = c
			}
		}
	}
	if fix, ok := e.Content.(*Fix); ok && now.Astray {
		if err := now.start(e, fix.Position, fix.Sigma); err != nil {
			now.lose(e, err)
		} else if now.Course != nil {
			now.Course.Left = true // the new filter knows nothing of it
		}
	}
	now.keepWatch(e, closing)
	return closing
}

// start begins the filter at a position.
func (now *reckoning) start(e *Entry, p geo.Position, sigma geo.Metres) error {
	d := workup.Departure{Time: e.Time, Position: p, Cov: workup.Circle(sigma)}
	filter, err := now.Model.Begin(d)
	if err != nil {
		return err
	}
	now.Filter, now.Begun, now.Astray = filter, start{e.Number, d}, false
	return nil
}

func (now *reckoning) lose(e *Entry, err error) {
	lost := Lost{Entry: e.Number, Code: fault.Code(err), Message: err.Error()}
	var f *fault.Error
	if errors.As(err, &f) {
		lost.Hint = f.Hint
	}
	now.Losses, now.Astray = append(slices.Clip(now.Losses), lost), true
}

// keepWatch notes what waits for the user.
func (now *reckoning) keepWatch(e *Entry, closing *workup.Closing) {
	if l, ok := e.Content.(*Leg); ok && l.NeedsHeading() {
		now.NeedHeading = append(slices.Clip(now.NeedHeading), e.Number)
	}
	if closing != nil && !closing.Used {
		now.NeedConfirmation = append(slices.Clip(now.NeedConfirmation), e.Number)
	}
	if closing != nil {
		now.Closing = closing
	}
}
