package main

import (
	"context"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/reading"
)

// entryFlags is what every verb that writes an entry takes.
type entryFlags struct {
	log     logFlag
	when    when
	note    string
	journey quantity
	// inBetween puts the entry in by its time, before later ones; for verbs that have it.
	inBetween bool
	// accept are the codes of what is odd and meant.
	accept []string
	// clock is where the time comes from with verbs that have it by other flags.
	clock *when
	// spot is where an entry is that says so itself.
	spot *spotFlags
}

func (e *entryFlags) add(cmd *cobra.Command, s *streams) {
	e.when.add(cmd.Flags(), "the `TIME` of the entry, as 2026-03-14T09:26:53+02:00, or today's hour alone (default now)", "of --time and of the times shown, as +02:00 or 2; east is positive (default the journey's)")
	e.addRest(cmd, s)
	e.addAccept(cmd)
	e.addJourney(cmd)
}

// addAccept is for verbs that write what is new: a correction is not asked about.
func (e *entryFlags) addAccept(cmd *cobra.Command) {
	cmd.Flags().StringSliceVar(&e.accept, "accept", nil, "the `CODE` of what is odd and meant: "+oddCodes())
	words(cmd, "accept", strings.Split(oddCodes(), ", ")...)
}

// addJourney is for verbs that write what is new: a correction stays in its journey.
func (e *entryFlags) addJourney(cmd *cobra.Command) {
	e.journey = newJourneyFlag()
	cmd.Flags().Var(&e.journey, "journey", "the number of the journey to go on with (default the last)")
}

func (e *entryFlags) addInBetween(cmd *cobra.Command) {
	cmd.Flags().BoolVar(&e.inBetween, "in-between", false, "put in what was forgotten, by its time, between the entries that are there; what comes after it is worked up anew")
}

// addRest leaves out the time, for verbs that have it by other flags.
func (e *entryFlags) addRest(cmd *cobra.Command, s *streams) {
	cmd.Flags().StringVar(&e.note, "note", "", "a `TEXT` to keep with the entry")
	e.log.add(cmd)
	addJSON(cmd, s)
}

// at is what the entry has beside what it says, but for its time.
func (e *entryFlags) at() logbook.At {
	return logbook.At{Note: e.note, Journey: int(e.journey.value), InBetween: e.inBetween}
}

// timeNow is the machine's clock; tests set it.
var timeNow = time.Now

// noClockBefore is when this program was not made yet: a clock before it has lost its battery.
var noClockBefore = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

// clockGoes refuses a machine's clock that says a time long past. It fails with code "clock_behind".
func clockGoes(now time.Time) error {
	if now.Before(noClockBefore) {
		return fault.New("clock_behind", "set the clock; or give --time, in the log with --accept time_ahead", "the clock of this machine says %s, when this program was not made yet", now.UTC().Format(time.RFC3339))
	}
	return nil
}

// orNow is the machine's clock where no time was given, whole seconds of it. It fails as clockGoes.
func orNow(given *time.Time) (time.Time, error) {
	if given != nil {
		return *given, nil
	}
	now := timeNow()
	return now.UTC().Truncate(time.Second), clockGoes(now)
}

// readNow has a number that is read by eye be read as it is typed, where no time was given. It fails as orNow.
func readNow(o *reading.Options) error {
	at, err := orNow(o.Time.At)
	if err == nil {
		o.Time.At = &at
	}
	return err
}

// given is the time given, nil for none. What has no heading by the dial may be noted by
// its day alone.
func (e *entryFlags) given(s *streams) (*time.Time, error) {
	n, err := e.when.noted()
	if err != nil || n == nil {
		return nil, err
	}
	if n.Day {
		s.note("noon_taken", "the time has no hour: noon is taken")
	}
	return &n.Time, nil
}

// writing is what a verb writes its entry with: the log, when, and the journey's settings.
type writing struct {
	book *logbook.Log
	at   logbook.At
	set  logbook.Settings
}

// write opens the log, writes one entry of the given time, by default now, and prints
// what became of it.
func (e *entryFlags) write(cmd *cobra.Command, s *streams, create bool, add func(context.Context, writing) (logbook.Added, error)) error {
	if create { // there is no journey to tell the offset
		if _, err := e.when.noted(); err != nil {
			return err
		}
	}
	return e.writeUntimed(cmd, s, create, func(ctx context.Context, w writing) (logbook.Added, error) {
		given, err := e.given(s)
		if err != nil {
			return logbook.Added{}, err
		}
		w.at.Offset = e.when.shown()
		if w.at.Time, err = orNow(given); err != nil {
			return logbook.Added{}, err
		}
		var where *geo.Position
		if e.spot != nil {
			where = e.spot.place.given()
		}
		w.at.Found = e.when.oddClock(ctx, w.book, w.at.Time, where)
		return e.sure(s, w.at, func(at logbook.At) (logbook.Added, error) {
			w.at = at
			return add(ctx, w)
		})
	})
}

// writeUntimed is the same for verbs that have the time another way.
func (e *entryFlags) writeUntimed(cmd *cobra.Command, s *streams, create bool, add func(context.Context, writing) (logbook.Added, error)) error {
	return e.log.with(cmd.Context(), s, create, func(l *logbook.Log) error {
		ctx := cmd.Context()
		w := writing{book: l, at: e.at()}
		l.GoOnWith(w.at.Journey)
		clock := &e.when
		if e.clock != nil {
			clock = e.clock
		}
		if !create {
			var err error
			if w.set, err = l.SettingsOf(ctx, w.at.Journey); err != nil {
				return err
			}
			clock.journeys = w.set.UTCOffset
		}
		added, err := add(ctx, w)
		if err != nil {
			return err
		}
		shown, err := shownOf(ctx, l, &added.Entry)
		if err != nil {
			return err
		}
		offset, err := e.shownBy(ctx, l, &added.Entry)
		if err != nil {
			return err
		}
		suspects, err := suspectsOf(ctx, l, &added)
		if err != nil {
			return err
		}
		a := acknowledged{added, shown, offset, suspects, e.spot}
		if waits(&added) {
			return e.farFix(ctx, s, l, a)
		}
		return printAdded(s, a)
	})
}

// shownBy is the UTC offset by which an entry's time is shown: as it was said now, or in the
// log.
func (e *entryFlags) shownBy(ctx context.Context, book *logbook.Log, entry *logbook.Entry) (*time.Duration, error) {
	clock := &e.when
	if e.clock != nil {
		clock = e.clock
	}
	if offset := clock.stated(); offset != nil {
		return offset, nil
	}
	if entry.Offset != nil {
		return entry.Offset, nil
	}
	offset, err := book.Offset(ctx, entry.Journey)
	if fault.Code(err) == "no_journey" { // it was withdrawn
		err = nil
	}
	return offset, err
}
