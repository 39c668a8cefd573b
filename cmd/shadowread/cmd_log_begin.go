package main

import (
	"context"

	"github.com/spf13/cobra"

	"shadowread/internal/logbook"
	"shadowread/internal/workup"
)

func newLogBegin(s *streams) *cobra.Command {
	var e entryFlags
	spot, departure := newSpotFlags(), newDepartureFlags()
	cmd := &cobra.Command{
		Use:   "begin --position LAT,LON --error METRES",
		Short: "begin a journey at a departure position",
		Long: `Begin a journey at a position with its error. A log that is not there is made;
one that is gets another journey, and verbs go on with that.

How wrong steering, instrument and odometer may be stays with the journey. The
defaults are argued in docs/workup.md; give what was proved, as by shadowread
align.`,
		Example: `  shadowread log begin --log begin.db --position -22.90000,22.30000 --error 15 --odometer 45210.0
  shadowread log begin --log begun.db --position "22 54.000 S, 22 18.000 E" --error 50 --source map --odometer 28101.5mi --steering-sigma 3`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			d := logbook.Departure{Source: spot.source, Odometer: departure.odometer.given(), Model: workup.Land()}
			departure.apply(&d)
			var err error
			if d.Position, d.Sigma, err = spot.given(s); err != nil {
				return err
			}
			return e.write(cmd, s, true, func(ctx context.Context, l *logbook.Log, at logbook.At) (logbook.Added, error) {
				return l.Begin(ctx, at, d)
			})
		},
	}
	cmd.Flags().SortFlags = false
	spot.add(cmd)
	e.spot = &spot
	cmd.Flags().Var(&departure.odometer, "odometer", odometerUsage)
	departure.add(cmd)
	e.add(cmd, s)
	inGroup(cmd, everyday, "position", "error", "source", "odometer", "time", "utc-offset", "note", "log", "json")
	inGroup(cmd, "How wrong the instruments may be, and how fast the vehicle is", modelNames...)
	return cmd
}
