package main

import (
	"context"

	"github.com/spf13/cobra"

	"shadowread/internal/logbook"
)

func newLogTyres(s *streams) *cobra.Command {
	return wayVerb(s, "tyres", "log that tyres were changed, or their pressure",
		`Log that tyres were changed, or their pressure: what was learnt of the
odometer's scale does not hold from there on.`,
		`  shadowread log import --log tyres.db --entries fixtures/journey/first-truck.csv
  shadowread log tyres --log tyres.db --time 2026-08-30T13:00:00+02:00 --odometer 45302.2 --note "let down for the sand"`,
		func(ctx context.Context, l *logbook.Log, at logbook.At, run logbook.Run) (logbook.Added, error) {
			return l.Tyres(ctx, at, logbook.Tyres{Run: run})
		})
}
