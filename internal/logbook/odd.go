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

	// Found by whoever knows clock and sky: At.Found.
	OddOffset Odd = "offset_not_local" // by a UTC offset that no clock has there
	OddMoon   Odd = "moon_taken"       // the sun is down, and nobody said that it was the moon

	// OddAnother is a departure in a log that has a journey.
	OddAnother Odd = "another_journey"

	// A fix of FarFix sigma or more is written, and is not used until it is confirmed.
	OddFix Odd = "fix_far"
)

// Odds are the codes.
var Odds = []Odd{OddAhead, OddGap, OddAgain, OddOffset, OddMoon, OddFix, OddAnother}

// Oddity is what is odd of an entry.
type Oddity struct {
	Code    Odd
	Message string
}

const (
	// The clocks of a camera and of a machine part by a minute or two (common practice).
	aheadBy = 5 * time.Minute
	// A journey is logged each day; a slip in the date is a day at least.
	gapOver = 24 * time.Hour
	// sameHeading is less than two readings of one shadow agree by, but for the sun's going
	// in a minute.
	sameHeading = 0.3 * angle.Degree
)

// odd refuses what is seldom meant; an entry that is not wary is told of it. A correction
// was looked at already, but for what the caller found.
func (at At) odd(ctx context.Context, tx *sql.Tx, e *Entry, a *Added) error {
	found := at.Found
	if at.Supersedes == 0 {
		own, err := oddOf(ctx, tx, e, a)
		if err != nil {
			return err
		}
		found = slices.Concat(found, own)         // a wrong offset is why a gap is there
		if e.Kind() == KindDeparture && at.Wary { // an import means it
			under, err := lastJourney(ctx, tx)
			if err != nil {
				return err
			}
			if under != 0 {
				found = append(found, Oddity{OddAnother, fmt.Sprintf("journey %d is under way in this log", under)})
			}
		}
	}
	if !at.Wary {
		a.Odd = found
		return nil
	}
	for _, o := range found {
		if !slices.Contains(at.Accept, o.Code) {
			return fault.New(string(o.Code), o.Code.check()+"; if it is right, say --accept "+string(o.Code), "%s", o.Message)
		}
	}
	return nil
}

// check says what to look at.
func (o Odd) check() string {
	switch o {
	case OddAgain:
		return "nothing is to be done if it is the same"
	case OddAnother:
		return "log what is new of it; to begin another say --another, and --journey with what goes on with the one before"
	}
	return "check date, hour and UTC offset"
}

// oddOf lists what is odd of a new entry by the entries before it.
func oddOf(ctx context.Context, tx *sql.Tx, e *Entry, a *Added) (found []Oddity, err error) {
	moves := e.Kind() != KindNote && e.Kind() != KindSettings // they are told of, no more
	if ahead := e.Time.Sub(e.Written); ahead > aheadBy && moves {
		found = append(found, Oddity{OddAhead, fmt.Sprintf("the entry is of a time that the clock of this machine reaches in %s only", wording.Elapsed(ahead))})
	}
	if a.Before.IsZero() {
		return found, nil
	}
	if gap := e.Time.Sub(a.Before); gap > gapOver && moves {
		found = append(found, Oddity{OddGap, fmt.Sprintf("the entry is %s after the one before it", wording.Elapsed(gap))})
	}
	if a.Ran > 0 {
		return found, nil
	}
	before, err := entryIn(ctx, tx, a.last)
	if err != nil {
		return nil, err
	}
	if e.Time.Sub(before.Time) < time.Minute && e.repeats(before) {
		found = append(found, Oddity{OddAgain, fmt.Sprintf("the entry says what entry %d says already", before.Number)})
	}
	return found, nil
}

// repeats tells whether an entry says what another of its minute does.
func (e *Entry) repeats(before *Entry) bool {
	if e.Kind() != before.Kind() || e.Note != before.Note {
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
