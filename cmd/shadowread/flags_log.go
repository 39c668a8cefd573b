package main

import (
	"cmp"
	"context"

	"github.com/spf13/cobra"

	"shadowread/internal/logbook"
)

// logVariable names a log where --log does not.
const logVariable = "SHADOWREAD_LOG"

// logFlag is --log.
type logFlag struct{ file string }

func (l *logFlag) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&l.file, "log", "", "the log's `FILE` (default what "+logVariable+" names, else shadowread/log.db in the user's data folder)")
}

// with opens the log and calls f with it. Only to begin a journey may it be made.
func (l *logFlag) with(ctx context.Context, s *streams, create bool, f func(*logbook.Log) error) error {
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
