package logbook

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
)

// memo is the reckoning at the end of a journey, for as long as the log is open and
// its last entry is the one with this hash. Without it an import would work the
// journey up from the departure for each of its rows, 10,000 rows in a quarter of an
// hour. It is never stored.
type memo struct {
	head      []byte
	journey   int
	reckoning *reckoning
}

// remember keeps the reckoning once the entry with this hash is the last.
func (l *Log) remember(head []byte, journey int, now *reckoning) {
	l.memo = memo{head: head, journey: journey, reckoning: now.clone()}
}

// journeyNow returns the number of a journey, 0 being the last, and its reckoning at the end. It
// fails with code "no_journey".
func (l *Log) journeyNow(ctx context.Context, tx *sql.Tx, journey int) (number int, now *reckoning, err error) {
	if number, err = theJourney(ctx, tx, journey); err != nil {
		return 0, nil, err
	}
	if now, err = l.reckoned(ctx, tx, number); err != nil {
		return 0, nil, err
	}
	if now == nil {
		return 0, nil, damaged(fmt.Errorf("journey %d has no departure", number))
	}
	return number, now, nil
}

// reckoned returns the reckoning at the end of a journey, nil if it has no entry.
func (l *Log) reckoned(ctx context.Context, tx *sql.Tx, journey int) (*reckoning, error) {
	var head []byte
	err := tx.QueryRowContext(ctx, "SELECT hash FROM entries ORDER BY number DESC LIMIT 1").Scan(&head)
	if err != nil && !errors.Is(err, sql.ErrNoRows) {
		return nil, err
	}
	if l.memo.reckoning != nil && l.memo.journey == journey && bytes.Equal(l.memo.head, head) {
		return l.memo.reckoning.clone(), nil
	}
	now, err := reckonedBefore(ctx, tx, journey, math.MaxInt64)
	if err == nil && now != nil {
		l.remember(head, journey, now)
	}
	return now, err
}
