package main

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"shadowread/internal/geo"
	"shadowread/internal/logbook"
)

// fromLog completes with what the log holds. A log that is not there completes to nothing.
func fromLog(s *streams, log *logFlag, list func(context.Context, *logbook.Log) ([]cobra.Completion, error)) ([]cobra.Completion, cobra.ShellCompDirective) {
	s.quiet = true
	var found []cobra.Completion
	// A shell has no place for an error.
	_ = log.with(context.Background(), s, false, func(book *logbook.Log) (err error) {
		found, err = list(context.Background(), book)
		return err
	})
	return found, cobra.ShellCompDirectiveNoFileComp | cobra.ShellCompDirectiveKeepOrder
}

// completeEntries completes the first word to an entry's number, the latest first, of one
// of these kinds or of any; what comes after it to files.
func completeEntries(s *streams, log *logFlag, kinds ...logbook.Kind) cobra.CompletionFunc {
	return func(_ *cobra.Command, args []string, _ string) ([]cobra.Completion, cobra.ShellCompDirective) {
		if len(args) > 0 {
			return nil, cobra.ShellCompDirectiveDefault
		}
		return fromLog(s, log, func(ctx context.Context, book *logbook.Log) (numbers []cobra.Completion, err error) {
			entries, err := book.List(ctx, 0, false)
			for _, e := range slices.Backward(entries) {
				if len(kinds) > 0 && !slices.Contains(kinds, e.Kind()) {
					continue
				}
				about := strings.TrimSpace(fmt.Sprintf("%s %s %s", e.Kind(), e.Time.Format("2006-01-02 15:04"), plain(e.Note)))
				if leg, ok := e.Content.(*logbook.Leg); ok && leg.NeedsHeading() {
					about += ", needs a heading"
				}
				numbers = append(numbers, cobra.CompletionWithDesc(strconv.Itoa(e.Number), about))
			}
			return numbers, err
		})
	}
}

// completeStops completes a flag to the places that the log knows: the stops, departure and
// fixes, the latest first.
func completeStops(cmd *cobra.Command, s *streams, flag string, log *logFlag) {
	err := cmd.RegisterFlagCompletionFunc(flag, func(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
		return fromLog(s, log, func(ctx context.Context, book *logbook.Log) (places []cobra.Completion, err error) {
			if set, err := book.SettingsOf(ctx, 0); err == nil && set.Stops != nil && flag == "to" {
				for _, stop := range *set.Stops {
					places = append(places, cobra.CompletionWithDesc(stop.Name, "stop "+stop.Position.String()))
				}
			}
			entries, err := book.List(ctx, 0, false)
			for _, e := range slices.Backward(entries) {
				spot := positionOf(e.Content)
				if spot == nil {
					continue
				}
				about := strings.TrimSpace(fmt.Sprintf("%s %s %s", e.Kind(), e.Time.Format("2006-01-02 15:04"), plain(e.Note)))
				places = append(places, cobra.CompletionWithDesc(fmt.Sprintf("%.5f,%.5f", spot.Lat.Degrees(), spot.Lon.Degrees()), about))
			}
			return places, err
		})
	})
	if err != nil { // a slip of ours that any run shows
		panic(err)
	}
}

// positionOf is where an entry says that the vehicle was; nil if it does not.
func positionOf(c logbook.Content) *geo.Position {
	switch c := c.(type) {
	case *logbook.Departure:
		return &c.Position
	case *logbook.Fix:
		return &c.Position
	}
	return nil
}
