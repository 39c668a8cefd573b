package logbook

import (
	"math"

	"shadowread/internal/fault"
	"shadowread/internal/geo"
)

// thread is the odometer's: what it must read by now, from its last reading on, whatever was
// run since without it.
type thread struct {
	From     Odometer
	Run      geo.Metres // since, as logged
	Variance float64    // of Run, in square metres
}

// with is the thread after a way that was had without the odometer.
func (t *thread) with(w way) *thread {
	if t == nil {
		return nil
	}
	return &thread{t.From, t.Run + w.length, t.Variance + float64(w.sigma*w.sigma)}
}

// three is how many sigma two lengths may be apart before that is told or refused: a fix's
// FarFix, of one axis.
const three = 3

// way is what was run since the entry before, by a reading that counts the whole since From:
// the total less what is logged of it already, whose error it then has too.
func (t *thread) way(o Odometer) (way, error) {
	total, err := since(&t.From, o)
	if err != nil {
		return way{}, err
	}
	left := total - t.Run
	if -left > t.slack(o, 0) {
		return way{}, fault.New("odometer_behind",
			"check the reading; if it is right, correct the entries since then whose distance was given in another way",
			"the odometer has gone %s since %s, and %s are logged without it since then", o.Unit.Text(total), t.From, o.Unit.Text(t.Run))
	}
	return way{length: max(0, left), sigma: geo.Metres(math.Sqrt(t.Variance)), odometer: &o}, nil
}

// slack is how far reading and length may be apart.
func (t *thread) slack(o Odometer, sigma geo.Metres) geo.Metres {
	return three*geo.Metres(math.Sqrt(t.Variance+float64(sigma*sigma))) + o.Resolution() + t.From.Resolution()
}

// Disagreement is an odometer's reading beside a distance or speed that it contradicts.
type Disagreement struct {
	Odometer, Given geo.Metres // what was run by the one, and by the other
}

// compare holds a reading against the way that was given beside it.
func (now *reckoning) compare(o Odometer, w way) {
	t := now.Thread
	if t == nil {
		return
	}
	total, err := since(&t.From, o)
	if err != nil { // it was set back meanwhile: the way given is all that is known
		now.Disagrees = &Disagreement{Given: w.length}
		return
	}
	by := max(0, total-t.Run)
	if geo.Metres(math.Abs(float64(total-t.Run-w.length))) > t.slack(o, w.sigma) {
		now.Disagrees = &Disagreement{Odometer: by, Given: w.length}
	}
}

// reads takes a reading to go on from; nil if there is none.
func (now *reckoning) reads(o *Odometer) {
	now.Odometer, now.Thread = o, nil
	if o != nil {
		now.Thread = &thread{From: *o}
	}
}

// readBy notes which instrument a leg was read with, and whether that is another than the
// mounted one of the legs before.
func (now *reckoning) readBy(l *Leg) {
	r := l.Reading
	if r == nil || r.SetUpAnew || r.Instrument == nil {
		return
	}
	now.OtherInstrument = now.Instrument != nil && *now.Instrument != r.Instrument.SHA256
	now.Instrument = new(r.Instrument.SHA256)
}
