package logbook

import (
	"context"
	"database/sql"
	"errors"
	"time"

	"shadowread/internal/fault"
)

// The order of a journey's entries is that of their places. An entry's is by the number of
// the one first written there, with room between two for those that were forgotten; one put
// in between has a place of its own in its content.
const (
	roomBits = 32
	inPlace  = "coalesce(json_extract(content, '$.place'), slot * 4294967296)" // 2^roomBits
)

// place is where the entry stands in its journey.
func (e *Entry) place() int64 {
	if e.Place != 0 {
		return e.Place
	}
	return int64(e.Slot) << roomBits
}

// lastBy returns the place of the last entry of a journey that is not after a time. It
// fails with code "before_departure".
func lastBy(ctx context.Context, q querier, journey int, at time.Time) (place int64, err error) {
	err = q.QueryRowContext(ctx, "SELECT "+inPlace+" FROM entries e WHERE journey = ? AND time_ns <= ? AND kind NOT IN ('withdrawal', 'settings') AND "+standing+
		" ORDER BY "+inPlace+" DESC LIMIT 1", journey, at.UnixNano()).Scan(&place)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, fault.New("before_departure", "check the time, or give the position", "%s is before the departure", at.Format(time.RFC3339))
	}
	return place, err
}

// placeBetween returns the place of a forgotten entry of a time; 0 where all of the journey
// is before it.
func placeBetween(ctx context.Context, q querier, journey int, at time.Time) (int64, error) {
	last, err := lastBy(ctx, q, journey, at)
	if err != nil {
		return 0, err
	}
	first := func(query string, args ...any) (n sql.NullInt64, err error) {
		err = q.QueryRowContext(ctx, query, append([]any{journey}, args...)...).Scan(&n)
		return n, err
	}
	// What is later than it.
	later, err := first("SELECT min("+inPlace+") FROM entries e WHERE journey = ? AND "+inPlace+" > ? AND kind NOT IN ('withdrawal', 'settings') AND "+standing, last)
	if err != nil || !later.Valid {
		return 0, err
	}
	// Settings stated by then hold for it.
	settings, err := first("SELECT max("+inPlace+") FROM entries e WHERE journey = ? AND "+inPlace+" > ? AND "+inPlace+" < ? AND kind = 'settings' AND time_ns <= ? AND "+standing,
		last, later.Int64, at.UnixNano())
	if err != nil {
		return 0, err
	}
	before := max(last, settings.Int64)
	next, err := first("SELECT min("+inPlace+") FROM entries e WHERE journey = ? AND "+inPlace+" > ?", before)
	if err != nil {
		return 0, err
	}
	place := before + (next.Int64-before)/2
	if place == before {
		return 0, fault.New("no_room", "withdraw the entries after it, and write all again in their order", "no more entries can be put in at this place")
	}
	return place, nil
}

// greatestJourney returns the number of the journey that was begun last, withdrawn or not.
func greatestJourney(ctx context.Context, q querier) (n int, err error) {
	err = q.QueryRowContext(ctx, "SELECT coalesce(max(journey), 0) FROM entries").Scan(&n)
	return n, err
}

// lastJourney returns the number of the last journey that stands, 0 if there is none.
func lastJourney(ctx context.Context, q querier) (n int, err error) {
	n, err = greatestJourney(ctx, q)
	for ; n > 0 && err == nil; n-- { // few are withdrawn, and each is found by its index
		if was, e := withdrawn(ctx, q, n); e != nil || !was {
			return n, e
		}
	}
	return n, err
}

// withdrawn tells whether a journey was begun by mistake.
func withdrawn(ctx context.Context, q querier, journey int) (was bool, err error) {
	err = q.QueryRowContext(ctx, "SELECT EXISTS (SELECT 1 FROM entries WHERE journey = ?1) AND NOT EXISTS (SELECT 1 FROM entries e WHERE journey = ?1 AND kind = 'departure' AND "+standing+")", journey).Scan(&was)
	return was, err
}

// alone fails with code "journey_has_entries" unless a journey has nothing but its departure.
func alone(ctx context.Context, q querier, departure *Entry) error {
	var others int
	err := q.QueryRowContext(ctx, "SELECT count(*) FROM entries e WHERE journey = ? AND slot <> ? AND kind <> 'withdrawal' AND "+standing, departure.Journey, departure.Slot).Scan(&others)
	if err == nil && others > 0 {
		err = bad("journey_has_entries", "withdraw those first, the last one before the others, or go on with another journey: --journey N",
			"more than its departure stands in journey %d, %d besides", departure.Journey, others)
	}
	return err
}
