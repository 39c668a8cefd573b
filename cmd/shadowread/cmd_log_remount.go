package main

import (
	"context"

	"github.com/spf13/cobra"

	"shadowread/internal/logbook"
)

func newLogRemount(s *streams) *cobra.Command {
	var e entryFlags
	cmd := &cobra.Command{
		Use:   "remount",
		Short: "log that the instrument was taken off and put on again",
		Long: `Log that the instrument was taken off and put on again: what was learnt of its
lubber line and of the rod's lean does not hold for the readings after it.`,
		Example: `  shadowread log import --log remount.db --entries fixtures/journey/first-truck.csv
  shadowread log remount --log remount.db --time 2026-08-30T13:00:00+02:00 --note "board knocked by a branch"`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return e.write(cmd, s, false, func(ctx context.Context, w writing) (logbook.Added, error) {
				return w.book.Remount(ctx, w.at)
			})
		},
	}
	cmd.Flags().SortFlags = false
	e.add(cmd, s)
	return cmd
}
