package main

import (
	"context"

	"github.com/spf13/cobra"

	"shadowread/internal/fault"
	"shadowread/internal/logbook"
)

func newLogNewOdometer(s *streams) *cobra.Command {
	var e entryFlags
	way, after := newWayFlags(), newOdometerFlag()
	cmd := &cobra.Command{
		Use:   "new-odometer --reads READING",
		Short: "log that the odometer was set to another number, or replaced",
		Long: `Log that the odometer was set to another number, as a trip counter is, or was
replaced. The distance run up to then is given as with other entries.`,
		Example: `  shadowread log import --log odometer.db --entries fixtures/journey/first-truck.csv
  shadowread log new-odometer --log odometer.db --time 2026-08-30T13:00:00+02:00 --odometer 45302.2 --reads 0.0`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if !after.set {
				return fault.Usage("no_reading", "give --reads READING", "what the odometer reads from now on is not given")
			}
			if err := way.check(cmd); err != nil {
				return err
			}
			return e.write(cmd, s, false, func(ctx context.Context, w writing) (logbook.Added, error) {
				unit := w.set.UnitOr()
				return w.book.SetOdometer(ctx, w.at, logbook.OdometerSet{Run: way.run(unit), After: after.in(unit)})
			})
		},
	}
	cmd.Flags().SortFlags = false
	cmd.Flags().Var(&after, "reads", "what it reads from now on; required")
	way.add(cmd)
	e.add(cmd, s)
	inGroup(cmd, everyday, "reads", "odometer", "time", "utc-offset", "note", "log")
	way.group(cmd)
	return cmd
}
