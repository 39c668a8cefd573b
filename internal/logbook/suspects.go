package logbook

import (
	"context"
	"database/sql"
	"errors"
	"math"
	"slices"

	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/workup"
)

// FarFix is from how many sigmas on a fix is held against the entries: of good days 1 in 90
// has one so far off (exp(-3*3/2)).
const FarFix = 3

// suspectReach bounds the entries that are looked at, the last before the fix, and with them
// the time: each slip of each entry is worked up to the fix.
const suspectReach = 120

// Suspect is a single slip that would close a fix.
type Suspect struct {
	Entry int
	Slip  Slip
	// Instead is what would have been right, as it is written: 8431.7 km, 047.0°.
	Instead string
	// Left is the distance that would be left to the fix, and Sigmas the same in sigmas.
	Left   geo.Metres
	Sigmas float64
}

// Suspects returns the single slips in the entries since the last fix used, or the departure,
// each of which would close the fix of an entry, the likeliest first; none if it is closed
// as it stands. It writes nothing. It fails with code "no_entry", or "bad_correction" for an
// entry that is no fix.
func (l *Log) Suspects(ctx context.Context, number int) ([]Suspect, error) {
	var found []Suspect
	err := l.read(ctx, func(tx *sql.Tx) error {
		fix, err := entryIn(ctx, tx, number)
		if err != nil {
			return err
		}
		if fix.Kind() != KindFix {
			return bad("bad_correction", "name the fix", "entry %d is a %s, not a fix", number, fix.Kind())
		}
		shown := func(e *Entry) (DialReading, error) { return shownIn(ctx, tx, e.Number) }
		d, err := sinceFix(ctx, tx, fix, shown)
		if err != nil || d == nil {
			return err
		}
		found, err = d.suspects(shown)
		return err
	})
	return found, err
}

// shownIn returns what the dial showed at an entry.
func shownIn(ctx context.Context, tx *sql.Tx, number int) (DialReading, error) {
	var reading []byte
	err := tx.QueryRowContext(ctx, "SELECT reading FROM evidence WHERE entry = ?", number).Scan(&reading)
	if errors.Is(err, sql.ErrNoRows) {
		return DialReading{}, nil
	}
	return Shown(reading), err
}

// closingRun is the entries from a known place to a fix, which is the last of them.
type closingRun struct {
	base    *reckoning // before the first
	begun   *Entry     // the departure, if that is the place and its odometer can be wrong too
	entries []Entry
	last    *dialLeg // before them; nil for none
}

// sinceFix gathers the entries that a fix closes; nil if the position was lost.
func sinceFix(ctx context.Context, tx *sql.Tx, fix *Entry, shown func(*Entry) (DialReading, error)) (*closingRun, error) {
	var now *reckoning
	var d closingRun
	var before *Entry
	err := eachStandingBefore(ctx, tx, fix.Journey, 0, fix.place()+1, func(e *Entry) (err error) {
		var closing *workup.Closing
		if closing, now, err = now.after(e); err != nil {
			return err
		}
		kept := *e
		switch {
		case e.Slot == fix.Slot:
			d.entries = append(d.entries, kept)
		case e.Kind() == KindDeparture:
			d = closingRun{base: now.clone(), begun: &kept}
		case closing != nil && closing.Used || now.Begun.Entry == e.Number:
			for i := range d.entries {
				if l, ok := d.entries[i].Content.(*Leg); ok && l.Reading != nil && l.Hand == nil {
					before = &d.entries[i]
				}
			}
			d = closingRun{base: now.clone()}
		default:
			d.entries = append(d.entries, kept)
		}
		return nil
	})
	if err != nil || len(d.entries) == 0 {
		return nil, err
	}
	if before != nil {
		dial, err := shown(before)
		if err != nil {
			return nil, err
		}
		d.last = &dialLeg{before.Content.(*Leg), dial}
	}
	return &d, nil
}

// closeRun works entries up to the fix that is their last. ok is false where that cannot be: a
// way that is too long for its time, or that leads backwards, was not run.
func closeRun(before *reckoning, entries []Entry) (c *workup.Closing, ok bool) {
	now := before.clone()
	for i := range entries {
		e := entries[i]
		if f, is := e.Content.(*Fix); is && i == len(entries)-1 {
			f := *f
			f.Confirmed = false
			e.Content = &f
		}
		var err error
		if c, now, err = now.after(&e); err != nil {
			return nil, false
		}
	}
	return c, c != nil
}

// suspects tries the slips of each entry.
func (d *closingRun) suspects(shown func(*Entry) (DialReading, error)) ([]Suspect, error) {
	as, ok := closeRun(d.base, d.entries)
	if !ok || as.Sigmas < FarFix {
		return nil, nil
	}
	type ranked struct {
		Suspect
		cost float64
	}
	var found []ranked
	try := func(number int, s slipped, before *reckoning, entries []Entry) {
		c, ok := closeRun(before, entries)
		// A slip closes a fix if that would then be an ordinary one; what only makes the
		// estimate vaguer brings it no nearer.
		if ok && c.Sigmas < FarFix && c.Distance < as.Distance*2/3 {
			found = append(found, ranked{Suspect{number, s.slip, s.instead, c.Distance, c.Sigmas}, misfit(c) + s.slip.cost()})
		}
	}
	if d.begun != nil && len(d.entries) <= suspectReach {
		for _, s := range odometerSlips(d.base.Odometer) {
			before := d.base.clone()
			before.reads(s.odometer)
			try(d.begun.Number, s, before, d.entries)
		}
	}
	dials := make([]DialReading, len(d.entries))
	for i := max(0, len(d.entries)-suspectReach); i < len(dials); i++ {
		var err error
		if dials[i], err = shown(&d.entries[i]); err != nil {
			return nil, err
		}
	}
	before := d.base.clone()
	for i := range d.entries {
		e := &d.entries[i]
		if len(d.entries)-i <= suspectReach {
			slips := slipsOf(e, dials[i], before)
			if l, ok := e.Content.(*Leg); ok {
				slips = append(slips, instrumentSlips(dialLeg{l, dials[i]}, d.around(dials, i))...)
			}
			for _, s := range slips {
				if s.slip == SlipCarried && !readsOn(d.entries[i+1:]) { // the same as once
					continue
				}
				try(e.Number, s, before, s.taken(d.entries[i:]))
			}
		}
		var err error
		if _, before, err = before.clone().after(e); err != nil {
			return nil, fault.Wrap(err, fault.Code(err), fault.Hint(err), "entry %d cannot be worked up", e.Number)
		}
	}
	slices.SortStableFunc(found, func(a, b ranked) int {
		switch {
		case a.cost < b.cost:
			return -1
		case a.cost > b.cost:
			return 1
		}
		return 0
	})
	out := make([]Suspect, min(len(found), maxSuspects))
	for i := range out {
		out[i] = found[i].Suspect
	}
	return out, nil
}

// readsOn tells whether the odometer is read in entries.
func readsOn(entries []Entry) bool {
	return slices.ContainsFunc(entries, func(e Entry) bool {
		run := e.Content.run()
		return run != nil && run.Odometer != nil
	})
}

// misfit is -2 ln of the likelihood of a fix, but for a constant.
func misfit(c *workup.Closing) float64 {
	return c.Sigmas*c.Sigmas + math.Log(c.Spread.NN*c.Spread.EE-c.Spread.NE*c.Spread.NE)
}

// maxSuspects is more than anybody checks.
const maxSuspects = 8

// cost is how much less likely a slip is than the likeliest, as -2 ln of the ratio (a
// judgement): a wrong figure of ten is seen less than one of a hundred, and a
// turned pair less often made than a wrong figure.
func (s Slip) cost() float64 {
	share := map[Slip]float64{
		SlipOdometer10: 1, SlipOdometer1: 0.7, SlipOdometer100: 0.7, SlipHeading10: 1, SlipHour: 0.7,
		SlipUnit: 0.5, SlipInstrument: 0.5, SlipCarried: 0.1, SlipDigits: 0.3, SlipHeading1: 0.3, SlipSense: 0.3,
	}[s]
	return -2 * math.Log(share)
}
