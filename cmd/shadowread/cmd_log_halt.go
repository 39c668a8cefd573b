package main

import (
	"context"

	"github.com/spf13/cobra"

	"shadowread/internal/logbook"
)

func newLogHalt(s *streams) *cobra.Command {
	return wayVerb(s, "halt", "log a stop, or a mere reading of odometer and clock",
		`Log a stop, or a mere reading of odometer and clock. The current leg goes on
after it. The odometer's reading may stand without its flag.`,
		`  shadowread log import --log halt.db --entries fixtures/journey/first-truck.csv
  shadowread log halt 45302.2 --log halt.db --time 2026-08-30T13:00:00+02:00
  shadowread log halt --log halt.db --time 2026-08-30T13:40:00+02:00 --speed 20km/h --under-way 25m --note "reeds ahead"`,
		func(ctx context.Context, l *logbook.Log, at logbook.At, run logbook.Run) (logbook.Added, error) {
			return l.Halt(ctx, at, logbook.Halt{Run: run})
		})
}

// wayVerb is a verb that says nothing but the way since the entry before.
func wayVerb(s *streams, name, short, long, example string, add func(context.Context, *logbook.Log, logbook.At, logbook.Run) (logbook.Added, error)) *cobra.Command {
	var e entryFlags
	way := newWayFlags()
	cmd := &cobra.Command{
		Use: name + " [READING]", Short: short, Long: long, Example: example,
		Args: cobra.ArbitraryArgs, // told apart once the flags are known
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := way.bareAlone(args); err != nil {
				return err
			}
			if err := way.check(cmd); err != nil {
				return err
			}
			return e.write(cmd, s, false, func(ctx context.Context, w writing) (logbook.Added, error) {
				return add(ctx, w.book, w.at, way.run(w.set.UnitOr()))
			})
		},
	}
	cmd.Flags().SortFlags = false
	way.add(cmd)
	e.add(cmd, s)
	if name == "halt" {
		e.addInBetween(cmd)
	}
	inGroup(cmd, everyday, "odometer", "time", "utc-offset", "note", "log")
	way.group(cmd)
	return cmd
}
