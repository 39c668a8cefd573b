package main

import (
	"github.com/spf13/cobra"

	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/workup"
)

type whereOptions struct {
	log     logFlag
	journey quantity
	to      parsed[geo.Position]
}

func newLogWhere(s *streams) *cobra.Command {
	o := whereOptions{journey: newJourneyFlag(), to: parsed[geo.Position]{name: "LAT,LON", parse: geo.ParsePosition}}
	cmd := &cobra.Command{
		Use:   "where",
		Short: "tell where you are, how sure that is, and how to go on",
		Long: `Tell the estimated position after the last entry, with its 95 % ellipse, the
last fix, and what the fixes have taught of the instrument. With --to: course
and distance to go, as the rhumb line, which one true heading follows, and as
the shortest way, and how to turn.`,
		Example: `  shadowread log import --log pan.db --entries fixtures/journey/first-truck.csv
  shadowread log where --log pan.db
  shadowread log where --log pan.db --to -23.20,22.36`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return o.log.with(cmd.Context(), s, false, func(book *logbook.Log) error {
				w, err := book.Where(cmd.Context(), int(o.journey.value))
				if err != nil {
					return err
				}
				var way *workup.ToGo
				if o.to.set {
					g, err := workup.Courses(w.Estimate.Position, w.Estimate.Cov, o.to.value, w.Estimate.Heading)
					if err != nil {
						return err
					}
					way = &g
				}
				return printWhere(s, w, o.to.given(), way)
			})
		},
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.Var(&o.to, "to", "the destination, as -20.6142,25.4310 or \"20 36.852 S, 25 25.860 E\"")
	f.Var(&o.journey, "journey", journeyUsage)
	o.log.add(cmd)
	addJSON(cmd, s)
	completeStops(cmd, s, "to", &o.log)
	return cmd
}
