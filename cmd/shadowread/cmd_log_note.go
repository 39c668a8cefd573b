package main

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	"shadowread/internal/fault"
	"shadowread/internal/logbook"
)

func newLogNote(s *streams) *cobra.Command {
	var e entryFlags
	cmd := &cobra.Command{
		Use:   "note TEXT",
		Short: "log a text",
		Long:  `Log a text, with its time.`,
		Example: `  shadowread log import --log note.db --entries fixtures/journey/first-truck.csv
  shadowread log note --log note.db --time 2026-08-30T13:00:00+02:00 "wheel tracks cross from the north"`,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				if err := exclusiveArg(cmd, "note", "the text"); err != nil {
					return err
				}
				e.note = strings.Join(args, " ")
			}
			if strings.TrimSpace(e.note) == "" {
				return fault.Usage("no_note", `give a text, as shadowread log note "tracks cross"`, "no text given")
			}
			return e.write(cmd, s, false, func(ctx context.Context, w writing) (logbook.Added, error) {
				return w.book.Note(ctx, w.at)
			})
		},
	}
	cmd.Flags().SortFlags = false
	e.add(cmd, s)
	return cmd
}

// exclusiveArg refuses a flag beside an argument that says the same.
func exclusiveArg(cmd *cobra.Command, flag, arg string) error {
	if cmd.Flags().Changed(flag) {
		return fault.Usage("contradicting_flags", "give one of the two", "--%s and %s contradict each other", flag, arg)
	}
	return nil
}
