package logbook

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/wording"
)

// Odd is the code of what is no contradiction but seldom meant.
type Odd string

// What is odd of a new entry. A wary write of one fails with such a code until it is accepted.
const (
	OddAhead Odd = "time_ahead"       // of a time that has not come
	OddGap   Odd = "time_gap"         // more than a day after the entry before
	OddAgain Odd = "same_entry_again" // says what the entry before says
	// OddAnother is a departure in a log that has a journey.
	OddAnother Odd = "another_journey"
)

// Odds are the codes.
var Odds = []Odd{OddAhead, OddGap, OddAgain, OddAnother}

const (
	// The clocks of a camera and of a machine part by a minute or two (common practice).
	aheadBy = 5 * time.Minute
	// A journey is logged each day; a slip in the date is a day at least.
	gapOver = 24 * time.Hour
	// sameHeading is less than two readings of one shadow agree by, but for the sun's going
	// in a minute.
	sameHeading = 0.3 * angle.Degree
)

// odd refuses what is seldom meant.
func (at At) odd(ctx context.Context, tx *sql.Tx, e *Entry, a *Added) error {
	if !at.Wary || at.Supersedes != 0 {
		return nil
	}
	moves := e.Kind() != KindNote && e.Kind() != KindSettings // they are told of, no more
	refuse := func(code Odd, format string, args ...any) error {
		if slices.Contains(at.Accept, code) {
			return nil
		}
		return fault.New(string(code), "check date, hour and UTC offset; if it is right, say --accept "+string(code), format, args...)
	}
	if ahead := e.Time.Sub(e.Written); ahead > aheadBy && moves {
		if err := refuse(OddAhead, "the entry is of a time that the clock of this machine reaches in %s only", wording.Elapsed(ahead)); err != nil {
			return err
		}
	}
	if a.Before.IsZero() {
		under, err := lastJourney(ctx, tx)
		if err == nil && under != 0 && !slices.Contains(at.Accept, OddAnother) {
			err = fault.New(string(OddAnother), fmt.Sprintf("log what is new of it; to begin another, say --another, and of what goes on with the old one --journey %d", under),
				"journey %d is under way in this log", under)
		}
		return err
	}
	if gap := e.Time.Sub(a.Before); gap > gapOver && moves {
		if err := refuse(OddGap, "the entry is %s after the one before it", wording.Elapsed(gap)); err != nil {
			return err
		}
	}
	before, err := entryIn(ctx, tx, a.last)
	if err != nil {
		return err
	}
	if e.repeats(before) && a.Ran == 0 {
		return refuse(OddAgain, "the entry says what entry %d says already", before.Number)
	}
	return nil
}

// repeats tells whether an entry says within the minute what another does.
func (e *Entry) repeats(before *Entry) bool {
	if e.Kind() != before.Kind() || e.Note != before.Note || e.Time.Sub(before.Time) >= time.Minute {
		return false
	}
	switch c := e.Content.(type) {
	case *Leg:
		b := before.Content.(*Leg)
		h, was := c.heading(), b.heading()
		return c.How == b.How && h != nil && was != nil && (*h-*was).Signed().Abs() < sameHeading
	case *Fix:
		b := before.Content.(*Fix)
		_, apart, err := geo.GeodesicInverse(c.Position, b.Position)
		return err == nil && apart < geo.Metre
	case *Settings:
		is, _ := encode(c, 0)
		was, _ := encode(before.Content, 0)
		return is == was
	case *Detour:
		b := before.Content.(*Detour)
		return len(c.Legs) == len(b.Legs)
	}
	return true
}

// heading is what the leg holds; nil if it waits for one.
func (l *Leg) heading() *angle.Angle {
	switch {
	case l.Hand != nil:
		return &l.Hand.Heading
	case l.Reading != nil:
		return &l.Reading.Heading
	}
	return nil
}
