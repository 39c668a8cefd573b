package main

import (
	"cmp"
	"context"

	"github.com/spf13/cobra"

	"shadowread/internal/fault"
	"shadowread/internal/logbook"
)

// logVariable names a log where --log does not.
const logVariable = "SHADOWREAD_LOG"

// logFlag is --log.
type logFlag struct{ file string }

func (l *logFlag) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&l.file, "log", "", "the log's `FILE` (default what "+logVariable+" names, else shadowread/log.db in the user's data folder)")
}

// with opens the log and calls f with it, and says of entries that are not what was written. Only to
// begin a journey may it be made.
func (l *logFlag) with(ctx context.Context, s *streams, create bool, f func(*logbook.Log) error) error {
	return l.opened(ctx, s, create, func(book *logbook.Log) error {
		if err := unchanged(ctx, book, 0); fault.Code(err) == "entry_changed" {
			s.note("entry_changed", "%s: %s", err, fault.Hint(err))
		} else if err != nil {
			return err
		}
		return f(book)
	})
}

// withSound is with for what a journey's position is told by to go on from: it fails with code
// "entry_changed" where an entry is not what was written.
func (l *logFlag) withSound(ctx context.Context, s *streams, journey int, f func(*logbook.Log) error) error {
	return l.opened(ctx, s, false, func(book *logbook.Log) error {
		if err := unchanged(ctx, book, journey); err != nil {
			return err
		}
		return f(book)
	})
}

func unchanged(ctx context.Context, book *logbook.Log, journey int) error {
	numbers, err := book.Changed(ctx, journey)
	switch {
	case err != nil:
		return err
	case len(numbers) == 0:
		return nil
	case len(numbers) == 1:
		return fault.New("entry_changed", changedHint, "entry %d is not what was written, since the file was damaged or changed, and positions may be wrong by any amount", numbers[0])
	}
	return fault.New("entry_changed", changedHint, "%d entries, the first of them %d, are not what was written, since the file was damaged or changed, and positions may be wrong by any amount", len(numbers), numbers[0])
}

const changedHint = "shadowread log check tells which; say them again by shadowread log correct, or take them out by log correct withdraw"

func (l *logFlag) opened(ctx context.Context, s *streams, create bool, f func(*logbook.Log) error) error {
	path := cmp.Or(l.file, s.log)
	if path == "" {
		var err error
		if path, err = logbook.DefaultPath(); err != nil {
			return err
		}
	}
	book, err := logbook.Open(ctx, path, logbook.Options{Create: create, Now: timeNow})
	if err != nil {
		return err
	}
	s.note("log", "the log is %s", path)
	err = f(book)
	if e := book.Close(); err == nil {
		err = e
	}
	return err
}

// newJourneyFlag is --journey.
func newJourneyFlag() quantity { return quantity{least: 1, most: 1e9} }

const journeyUsage = "the number of the journey (default the last)"
