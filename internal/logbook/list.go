package logbook

import (
	"context"
	"database/sql"
	"errors"
	"math"

	"shadowread/internal/fault"
)

// Entry returns one entry, superseded or not. It fails with code "no_entry".
func (l *Log) Entry(ctx context.Context, number int) (*Entry, error) {
	e, err := entryIn(ctx, l.db, number)
	return e, storeError(err)
}

func entryIn(ctx context.Context, q querier, number int) (*Entry, error) {
	var r row
	err := r.scanSaid(q.QueryRowContext(ctx, "SELECT "+said+" FROM entries WHERE number = ?", number))
	if errors.Is(err, sql.ErrNoRows) {
		return nil, bad("no_entry", "list the log for its entries", "there is no entry %d", number)
	}
	if err != nil {
		return nil, err
	}
	e, err := r.entry()
	if err != nil {
		return nil, damaged(err)
	}
	err = q.QueryRowContext(ctx, "SELECT coalesce((SELECT number FROM entries WHERE supersedes = ?), 0)", number).Scan(&e.SupersededBy)
	return e, err
}

func damaged(err error) error {
	return fault.Wrap(err, "log_damaged", "keep a copy of the file as it is, and check the log", "the log holds what this program did not write")
}

// Journey is a journey in the log.
type Journey struct {
	Number    int
	Departure *Entry // as it stands
	Entries   int    // that stand in it, the departure too
}

// Journeys returns the journeys of the log in the order in which they were begun, without
// those that were withdrawn.
func (l *Log) Journeys(ctx context.Context) ([]Journey, error) {
	var journeys []Journey
	err := l.read(ctx, func(tx *sql.Tx) error {
		last, err := greatestJourney(ctx, tx)
		if err != nil {
			return err
		}
		for n := 1; n <= last; n++ {
			if was, err := withdrawn(ctx, tx, n); was || err != nil {
				if err != nil {
					return err
				}
				continue
			}
			j := Journey{Number: n}
			var departure int
			err := tx.QueryRowContext(ctx, `SELECT count(*), coalesce((SELECT max(number) FROM entries
				WHERE journey = ?1 AND slot = (SELECT min(slot) FROM entries WHERE journey = ?1)), 0)
				FROM entries e WHERE journey = ?1 AND kind <> 'withdrawal' AND `+standing, n).Scan(&j.Entries, &departure)
			if err != nil {
				return err
			}
			if j.Departure, err = entryIn(ctx, tx, departure); err != nil {
				return err
			}
			journeys = append(journeys, j)
		}
		return nil
	})
	return journeys, err
}

// standing is what is not superseded.
const standing = "NOT EXISTS (SELECT 1 FROM entries s WHERE s.supersedes = e.number)"

// List returns the entries of a journey in the order of the log, each followed by
// nothing but later ones; journey 0 is the last. With superseded ones too, those of
// one place stand together, the oldest first. It fails with code "no_journey".
func (l *Log) List(ctx context.Context, journey int, superseded bool) ([]Entry, error) {
	var list []Entry
	err := l.read(ctx, func(tx *sql.Tx) (err error) {
		was, err := withdrawn(ctx, tx, journey)
		if err != nil {
			return err
		}
		if !was || !superseded { // what was withdrawn stays readable
			if journey, err = theJourney(ctx, tx, journey); err != nil {
				return err
			}
		}
		if !superseded {
			return eachStanding(ctx, tx, journey, 0, func(e *Entry) error {
				if e.Stands() {
					list = append(list, *e)
				}
				return nil
			})
		}
		list, err = allIn(ctx, tx, journey)
		return err
	})
	return list, err
}

// allIn returns all entries of a journey.
func allIn(ctx context.Context, q querier, journey int) (list []Entry, err error) {
	err = each(ctx, q, func(e *Entry) error {
		list = append(list, *e)
		return nil
	}, "SELECT "+said+" FROM entries e WHERE journey = ? ORDER BY "+inPlace+", number", journey)
	for i := range list {
		if i > 0 && list[i].Supersedes != 0 {
			list[i-1].SupersededBy = list[i].Number
		}
	}
	return list, err
}

// theJourney returns the number of a journey, 0 being the last.
func theJourney(ctx context.Context, q querier, journey int) (int, error) {
	last, err := lastJourney(ctx, q)
	was := false
	if err == nil && journey != 0 {
		was, err = withdrawn(ctx, q, journey)
	}
	switch {
	case err != nil:
		return 0, err
	case was:
		return 0, bad("no_journey", "give the number of another; without one it is the last", "journey %d was withdrawn", journey)
	case last == 0:
		return 0, bad("no_journey", "begin a journey at a position", "no journey was begun in this log")
	case journey < 0 || journey > last:
		return 0, bad("no_journey", "the journeys count from 1; without a number it is the last", "there is no journey %d, the last is %d", journey, last)
	case journey == 0:
		return last, nil
	}
	return journey, nil
}

// each calls f with the entries of a query for what they said.
func each(ctx context.Context, q querier, f func(*Entry) error, query string, args ...any) error {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var r row
		if err := r.scanSaid(rows); err != nil {
			return err
		}
		e, err := r.entry()
		if err != nil {
			return damaged(err)
		}
		if err := f(e); err != nil {
			return err
		}
	}
	return rows.Err()
}

// eachStanding calls f with what stands in a journey from a place on.
func eachStanding(ctx context.Context, q querier, journey int, from int64, f func(*Entry) error) error {
	return eachStandingBefore(ctx, q, journey, from, math.MaxInt64, f)
}

func eachStandingBefore(ctx context.Context, q querier, journey int, from, before int64, f func(*Entry) error) error {
	return each(ctx, q, f, "SELECT "+said+" FROM entries e WHERE journey = ? AND "+inPlace+" >= ? AND "+inPlace+" < ? AND "+standing+" ORDER BY "+inPlace,
		journey, from, before)
}

// Evidence returns what is kept beside an entry: the reading as JSON and the overlay
// as JPEG, each nil if there is none. It fails with code "no_entry".
func (l *Log) Evidence(ctx context.Context, number int) (reading, overlay []byte, err error) {
	if _, err := l.Entry(ctx, number); err != nil {
		return nil, nil, err
	}
	err = l.db.QueryRowContext(ctx, "SELECT reading, overlay FROM evidence WHERE entry = ?", number).Scan(&reading, &overlay)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil, nil
	}
	return reading, overlay, storeError(err)
}

// Reading returns what Evidence does, without the overlay.
func (l *Log) Reading(ctx context.Context, number int) (reading []byte, err error) {
	err = l.db.QueryRowContext(ctx, "SELECT reading FROM evidence WHERE entry = ?", number).Scan(&reading)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	return reading, storeError(err)
}

// LoggedPhoto returns the entry in which a photo, by the SHA-256 of its bytes, was
// first logged, withdrawn since or not; 0 if it never was.
func (l *Log) LoggedPhoto(ctx context.Context, sha256 [32]byte) (int, error) {
	var number int
	err := l.db.QueryRowContext(ctx, "SELECT coalesce(min(number), 0) FROM entries WHERE photo_sha256 = ?", sha256[:]).Scan(&number)
	return number, storeError(err)
}
