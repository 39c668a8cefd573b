package main

import (
	"context"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/geo"
	"shadowread/internal/logbook"
)

// entryFlags is what every verb that writes an entry takes.
type entryFlags struct {
	log  logFlag
	when when
	note string
	// accept are the codes of what is odd and meant.
	accept []string
	// clock is where the time comes from with verbs that have it by other flags.
	clock *when
	// spot is where an entry is that says so itself.
	spot *spotFlags
}

func (e *entryFlags) add(cmd *cobra.Command, s *streams) {
	e.when.add(cmd.Flags(), "the `TIME` of the entry, as 2026-03-14T09:26:53+02:00 (default now)", "of --time, as +02:00 or 2; east is positive")
	e.addRest(cmd, s)
	e.addAccept(cmd)
}

// addAccept is for verbs that write what is new: a correction is not asked about.
func (e *entryFlags) addAccept(cmd *cobra.Command) {
	cmd.Flags().StringSliceVar(&e.accept, "accept", nil, "the `CODE` of what is odd and meant: "+oddCodes())
	words(cmd, "accept", strings.Split(oddCodes(), ", ")...)
}

// addRest leaves out the time, for verbs that have it by other flags.
func (e *entryFlags) addRest(cmd *cobra.Command, s *streams) {
	cmd.Flags().StringVar(&e.note, "note", "", "a `TEXT` to keep with the entry")
	e.log.add(cmd)
	addJSON(cmd, s)
}

// orNow is the machine's clock where no time was given, whole seconds of it.
func orNow(given *time.Time) time.Time {
	if given == nil {
		return time.Now().UTC().Truncate(time.Second)
	}
	return *given
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

// write opens the log, writes one entry of the given time, by default now, and prints
// what became of it.
func (e *entryFlags) write(cmd *cobra.Command, s *streams, create bool, add func(context.Context, *logbook.Log, logbook.At) (logbook.Added, error)) error {
	given, err := e.given(s)
	if err != nil {
		return err
	}
	return e.writeUntimed(cmd, s, create, func(ctx context.Context, l *logbook.Log) (logbook.Added, error) {
		at := logbook.At{Time: orNow(given), Offset: e.when.stated(), Note: e.note}
		var where *geo.Position
		if e.spot != nil {
			where = e.spot.place.given()
		}
		at.Found = e.when.oddClock(ctx, l, at.Time, where)
		return e.sure(s, at, func(at logbook.At) (logbook.Added, error) { return add(ctx, l, at) })
	})
}

// writeUntimed is the same for verbs that have the time another way.
func (e *entryFlags) writeUntimed(cmd *cobra.Command, s *streams, create bool, add func(context.Context, *logbook.Log) (logbook.Added, error)) error {
	return e.log.with(cmd.Context(), s, create, func(l *logbook.Log) error {
		added, err := add(cmd.Context(), l)
		if err != nil {
			return err
		}
		shown, err := shownOf(cmd.Context(), l, &added.Entry)
		if err != nil {
			return err
		}
		offset, err := e.shownBy(cmd.Context(), l, &added.Entry)
		if err != nil {
			return err
		}
		suspects, err := suspectsOf(cmd.Context(), l, &added)
		if err != nil {
			return err
		}
		a := acknowledged{added, shown, offset, suspects, e.spot}
		if waits(&added) {
			return e.farFix(cmd.Context(), s, l, a)
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
	return book.Offset(ctx, entry.Journey)
}
