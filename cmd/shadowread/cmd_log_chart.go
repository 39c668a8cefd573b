package main

import (
	"io"

	"github.com/spf13/cobra"

	"shadowread/internal/chart"
	"shadowread/internal/journey"
	"shadowread/internal/logbook"
)

func newLogChart(s *streams) *cobra.Command {
	o := newOutputFlags()
	cmd := &cobra.Command{
		Use:   "chart -o FILE",
		Short: "draw the journey: track, ellipses, fixes, numbered legs",
		Long: `Draw a chart of the journey as SVG or PNG, by the file's ending: the track as
estimated and as adjusted by the fixes, 95 % ellipses, fixes, numbered legs,
graticule, scale and north arrow, in black on white. It uses no map.`,
		Example: `  shadowread log import --log pan.db --entries fixtures/journey/first-truck.csv
  shadowread log chart --log pan.db -o track.svg --title "Salt pan, invented"
  shadowread log chart --log pan.db -o track.png`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			ending, err := o.ending(".svg", ".png")
			if err != nil {
				return err
			}
			return o.write(cmd, s, func(book *logbook.Log, w io.Writer) error {
				track, err := book.WorkUp(cmd.Context(), int(o.journey.value))
				if err != nil {
					return err
				}
				title, err := o.titleOf(cmd.Context(), book, track.Journey)
				if err != nil {
					return err
				}
				c, err := chart.Draw(journey.FromTrack(track), title)
				if err != nil {
					return err
				}
				if ending == ".png" {
					return c.WritePNG(w, chart.DefaultDotsPerMM)
				}
				return c.WriteSVG(w)
			})
		},
	}
	o.add(cmd, s, "the `FILE` to draw, ending in .svg or .png", "the chart's `TITLE` (default the journey's name)")
	return cmd
}
