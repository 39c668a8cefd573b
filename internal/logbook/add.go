package logbook

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"

	"shadowread/internal/fault"
	"shadowread/internal/workup"
)

func (l *Log) add(ctx context.Context, at At, c Content, p proof) (Added, error) {
	if d, ok := c.(*Departure); ok {
		if d.Model == (workup.Model{}) {
			d.Model = workup.Land()
		}
		if d.SpeedLimit == 0 {
			d.SpeedLimit = DefaultSpeedLimit
		}
	}
	if err := p.validate(); err != nil {
		return Added{}, err
	}
	var added Added
	err := l.write(ctx, func(tx *sql.Tx) (err error) {
		added, err = l.addIn(ctx, tx, at, c, p)
		return err
	})
	if err != nil {
		return Added{}, err
	}
	return added, nil
}

// addIn writes an entry within a transaction.
func (l *Log) addIn(ctx context.Context, tx *sql.Tx, at At, c Content, p proof) (Added, error) {
	e := &Entry{Supersedes: at.Supersedes, Note: at.Note, Content: c, Written: fromNS(l.now().UnixNano())}
	r := row{kind: c.Kind(), note: at.Note, supersedes: at.Supersedes, importKey: p.importKey, previous: make([]byte, sha256.Size)}

	last, err := lastRow(ctx, tx)
	if err != nil {
		return Added{}, err
	}
	if last != nil {
		r.previous = last.hash
		e.Number = last.number
	}
	e.Number++

	said := c.run() != nil && c.run().given()
	if err := placeOf(ctx, tx, e, &at, c); err != nil {
		return Added{}, err
	}
	if leg, ok := c.(*Leg); ok && said {
		leg.Run.CountsOn = leg.Run.plain()
	}

	// What it says.
	normal(c)
	if r.timeNS, err = toNS(at.Time); err != nil {
		return Added{}, err
	}
	e.Time, e.Offset = fromNS(r.timeNS), at.Offset
	if err := validOffset(at.Offset); err != nil {
		return Added{}, err
	}
	if err := validText(at.Note); err != nil {
		return Added{}, err
	}
	if leg, ok := c.(*Leg); ok {
		if len(p.reading) > 0 {
			leg.ReadingSHA256 = hash(p.reading)
		}
		if len(p.overlay) > 0 {
			leg.OverlaySHA256 = hash(p.overlay)
		}
	}
	if err := c.validate(); err != nil {
		return Added{}, err
	}
	if leg, ok := c.(*Leg); ok && leg.Photo != nil {
		r.photo, _ = hex.DecodeString(leg.Photo.SHA256) // validated
		if err := notYet(ctx, tx, r.photo, e.Slot); err != nil {
			return Added{}, err
		}
	}

	// What follows of it.
	added, now, err := l.follow(ctx, tx, e)
	if err != nil {
		return Added{}, err
	}
	if err := at.odd(ctx, tx, e, &added); err != nil {
		return Added{}, err
	}
	if r.content, err = encode(c, e.Place); err != nil {
		return Added{}, err
	}
	r.content = withOffset(r.content, e.Offset)
	r.number, r.journey, r.slot, r.writtenNS = e.Number, e.Journey, e.Slot, e.Written.UnixNano()
	r.hash = r.digest()
	if err := r.insert(ctx, tx); err != nil {
		return Added{}, err
	}
	if len(p.reading) > 0 || len(p.overlay) > 0 {
		if _, err := tx.ExecContext(ctx, "INSERT INTO evidence (entry, reading, overlay) VALUES (?, ?, ?)",
			e.Number, sql.NullString{String: string(p.reading), Valid: len(p.reading) > 0}, p.overlay); err != nil {
			return Added{}, err
		}
	}
	added.Entry = *e
	if now == nil { // its journey was withdrawn
		return added, nil
	}
	l.remember(r.hash, e.Journey, now)
	added.Estimate, added.Lost, added.Settings = now.estimate(), now.lost(), now.Settings
	if leg, ok := c.(*Leg); ok {
		added.NeedsHeading = leg.NeedsHeading()
	}
	return added, nil
}

// placeOf finds the journey and the slot of an entry that is to say c. What a correction
// leaves unsaid of time and way is the old entry's.
func placeOf(ctx context.Context, tx *sql.Tx, e *Entry, at *At, c Content) (err error) {
	if at.Supersedes != 0 {
		old, err := superseded(ctx, tx, at.Supersedes, c)
		if err != nil {
			return err
		}
		e.Journey, e.Slot, e.Place = old.Journey, old.Slot, old.Place
		if _, begun := old.Content.(*Departure); begun && c.Kind() == KindWithdrawal {
			if err := alone(ctx, tx, old); err != nil {
				return err
			}
		}
		if at.Time.IsZero() {
			at.Time = old.Time
		}
		if at.Offset == nil {
			at.Offset = old.Offset
		}
		if run := c.run(); run != nil && !run.given() && old.Content.run() != nil {
			*run = *old.Content.run()
		}
		return nil
	}
	e.Slot = e.Number
	switch c.(type) {
	case *Departure:
		e.Journey, err = greatestJourney(ctx, tx)
		e.Journey++
		return err
	case *Withdrawal:
		return bad("bad_correction", "name the entry to withdraw", "there is nothing to withdraw")
	}
	if e.Journey, err = theJourney(ctx, tx, at.Journey); err == nil && at.InBetween {
		e.Place, err = placeBetween(ctx, tx, e.Journey, at.Time)
	}
	return err
}

func (r *row) insert(ctx context.Context, q querier) error {
	_, err := q.ExecContext(ctx, `INSERT INTO entries
		(number, journey, slot, supersedes, kind, time_ns, written_ns, photo_sha256, import_key, note, content, previous, hash)
		VALUES (?, ?, ?, nullif(?, 0), ?, ?, ?, ?, nullif(?, ''), ?, ?, ?, ?)`,
		r.number, r.journey, r.slot, r.supersedes, string(r.kind), r.timeNS, r.writtenNS, r.photo, r.importKey, r.note, r.content, r.previous, r.hash)
	return err
}

func lastRow(ctx context.Context, q querier) (*row, error) {
	var r row
	err := r.scan(q.QueryRowContext(ctx, "SELECT "+columns+" FROM entries ORDER BY number DESC LIMIT 1"))
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	return &r, err
}

// superseded returns the entry that a correction replaces.
func superseded(ctx context.Context, q querier, number int, by Content) (*Entry, error) {
	old, err := entryIn(ctx, q, number)
	switch {
	case err != nil:
		return nil, err
	case old.SupersededBy != 0:
		return nil, bad("already_corrected", fmt.Sprintf("correct entry %d, which stands in its place", old.SupersededBy),
			"entry %d was corrected by entry %d", number, old.SupersededBy)
	case (old.Kind() == KindDeparture) != (by.Kind() == KindDeparture) && by.Kind() != KindWithdrawal:
		return nil, bad("bad_correction", "correct a departure by a departure, and nothing else by one", "entry %d is a %s and cannot be replaced by a %s", number, old.Kind(), by.Kind())
	}
	return old, nil
}

// notYet refuses a photo that stands in another place of the log. From one that was
// withdrawn it may come back, as it must where entries are written again in order.
func notYet(ctx context.Context, q querier, photo []byte, slot int) error {
	var number int
	err := q.QueryRowContext(ctx, `SELECT coalesce(min(number), 0) FROM entries e WHERE photo_sha256 = ? AND slot <> ? AND
		(SELECT kind FROM entries s WHERE s.journey = e.journey AND s.slot = e.slot ORDER BY number DESC LIMIT 1) <> 'withdrawal'`, photo, slot).Scan(&number)
	if err != nil || number == 0 {
		return err
	}
	return bad("photo_already_logged", fmt.Sprintf("nothing was written; see entry %d, and correct that if it is wrong", number),
		"the photo is in the log already, as entry %d", number)
}

// follow works out the reckoning at the end of the journey with an entry that is
// about to be written.
func (l *Log) follow(ctx context.Context, tx *sql.Tx, e *Entry) (added Added, now *reckoning, err error) {
	if e.Supersedes == 0 && e.Place == 0 {
		if now, err = l.reckoned(ctx, tx, e.Journey); err != nil {
			return Added{}, nil, err
		}
		added, now, err = now.added(e)
		return added, now, err
	}
	if now, err = reckonedBefore(ctx, tx, e.Journey, e.place()); err != nil {
		return Added{}, nil, err
	}
	if added, now, err = now.added(e); err != nil || now == nil {
		return added, nil, err
	}
	apart := e.Supersedes == 0 && added.Ran > 0 // it takes its part of the way of the entry after it
	err = eachStanding(ctx, tx, e.Journey, e.place()+1, func(later *Entry) (err error) {
		if run := later.Content.run(); run != nil && apart {
			if apart = false; !run.plain() {
				return fault.New("way_not_parted", fmt.Sprintf("withdraw entry %d, put this one in, and log that again with what was run from here", later.Number),
					"the way to entry %d was not given by the odometer, and cannot be parted at this entry", later.Number)
			}
		}
		c, next, err := now.after(later)
		if err != nil {
			return then(e, later, err)
		}
		if now = next; c != nil {
			added.Later = c
		}
		return nil
	})
	return added, now, err
}

// then says that an entry is refused for what it makes of a later one.
func then(e, later *Entry, err error) error {
	var f *fault.Error
	if !errors.As(err, &f) {
		return err
	}
	if e.Supersedes == 0 {
		return fault.Wrap(err, f.Code, fmt.Sprintf("check time and odometer, or correct entry %d first", later.Number),
			"with this entry put in entry %d could not stand", later.Number)
	}
	return fault.Wrap(err, f.Code, fmt.Sprintf("correct entry %d first, or give the correction otherwise", later.Number),
		"with this correction entry %d could not stand", later.Number)
}

// added is after, with what is told of the entry.
func (now *reckoning) added(e *Entry) (a Added, next *reckoning, err error) {
	if now != nil {
		a.Before, a.last = now.Time, now.Last
	}
	if a.Closing, next, err = now.after(e); err == nil && next != nil {
		a.Ran, a.Disagrees, a.OtherInstrument, a.Unsteered = next.Ran, next.Disagrees, next.OtherInstrument, next.Unsteered
		if s, ok := e.Content.(*Settings); ok && s.Unit != nil && next.Thread != nil && next.Thread.From.Unit != *s.Unit {
			a.OtherUnit = &next.Thread.From
		}
	}
	return a, next, err
}

// after returns the reckoning after an entry; now is nil before a departure. That given
// may be half changed if it fails.
func (now *reckoning) after(e *Entry) (closing *workup.Closing, next *reckoning, err error) {
	if d, ok := e.Content.(*Departure); ok && now == nil {
		next, err = begin(e, d)
		return nil, next, err
	}
	if now == nil { // a journey that was withdrawn
		return nil, nil, nil
	}
	parts, err := now.take(e)
	if err != nil {
		return nil, nil, err
	}
	return now.carry(e, parts), now, nil
}

// reckonedBefore returns the reckoning before a place, nil before a departure: all entries
// before it worked up.
func reckonedBefore(ctx context.Context, q querier, journey int, place int64) (now *reckoning, err error) {
	err = eachStandingBefore(ctx, q, journey, 0, place, func(e *Entry) (err error) {
		_, now, err = now.after(e)
		return err
	})
	return now, err
}
