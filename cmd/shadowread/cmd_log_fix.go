package main

import (
	"context"

	"github.com/spf13/cobra"

	"shadowread/internal/logbook"
)

func newLogFix(s *streams) *cobra.Command {
	var e entryFlags
	spot, way := newSpotFlags(), newWayFlags()
	confirm := quantity{least: 1, most: 1e9}
	cmd := &cobra.Command{
		Use:   "fix [READING] --position LAT,LON --error METRES",
		Short: "log a position had from outside, which closes the reckoning",
		Long: `Log a position had from outside: a receiver, a beacon, a feature on the map. It
shows by how much the estimate was out, and adjusts what was logged before it;
what it teaches of lubber line, lean and odometer goes on.

A fix of three sigma or more from the estimate is kept and not used until you
say so, the exit status is 3, and the slips that would close it are named:
correct the entry that is wrong, and the fix counts by itself. If it is right,
and no slip is found, have it count with --confirm and its number, or at once
with --accept fix_far: the estimate then starts at the fix, and nothing is
learnt from it of instruments and drift.
Log one of several fixes taken within minutes: the others know no more.`,
		Example: `  shadowread log import --log fix.db --entries fixtures/journey/first-truck.csv
  shadowread log fix --log fix.db --time 2026-08-30T13:00:00+02:00 --odometer 45302.2 --position -23.09010,22.30120 --error 10 --source receiver`,
		Args: cobra.ArbitraryArgs, // a reading alone
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := way.bareAlone(args); err != nil {
				return err
			}
			if confirm.set {
				for _, name := range append(append([]string{"time", "utc-offset", "in-between", "journey"}, spotNames...), wayNames...) {
					if err := exclusive(cmd, "confirm", name); err != nil {
						return err
					}
				}
				return e.writeUntimed(cmd, s, false, func(ctx context.Context, w writing) (logbook.Added, error) {
					return w.book.ConfirmFix(ctx, int(confirm.value), e.note)
				})
			}
			p, sigma, err := spot.given(s)
			if err != nil {
				return err
			}
			if err := way.check(cmd); err != nil {
				return err
			}
			return e.write(cmd, s, false, func(ctx context.Context, w writing) (logbook.Added, error) {
				return w.book.Fix(ctx, w.at, logbook.Fix{Run: way.run(w.set.UnitOr()), Position: p, Sigma: sigma, Source: spot.source})
			})
		},
	}
	cmd.Flags().SortFlags = false
	spot.add(cmd)
	e.spot = &spot
	way.add(cmd)
	cmd.Flags().Var(&confirm, "confirm", "have the fix of this entry count, though it is three sigma or more away")
	e.add(cmd, s)
	e.addInBetween(cmd)
	inGroup(cmd, everyday, "position", "error", "source", "odometer", "time", "utc-offset", "note", "confirm", "log")
	way.group(cmd)
	return cmd
}
