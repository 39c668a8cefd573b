package main

import (
	"github.com/spf13/cobra"

	"shadowread/internal/logbook"
)

func newLogCopy(s *streams) *cobra.Command {
	var log logFlag
	cmd := &cobra.Command{
		Use:   "copy FILE",
		Short: "copy the log to one file, while it may be in use",
		Long: `Copy the log to one file, as it stands at this moment, while others may be
writing to it. The copy is whole or not there. A plain copy of the file may miss
its last entries, which can stand in another file beside it.`,
		Example: `  shadowread log import --log pan.db --entries fixtures/journey/first-truck.csv
  shadowread log copy --log pan.db evening.db`,
		Args: oneArg("file", "name the file to write, as shadowread log copy evening.db"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return log.with(cmd.Context(), s, false, func(book *logbook.Log) error {
				if err := book.CopyTo(cmd.Context(), args[0]); err != nil {
					return err
				}
				s.note("wrote", "wrote %s", args[0])
				return nil
			})
		},
	}
	cmd.Flags().SortFlags = false
	log.add(cmd)
	addJSON(cmd, s)
	return cmd
}
