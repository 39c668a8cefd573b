package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"shadowread/internal/export"
	"shadowread/internal/journey"
	"shadowread/internal/logbook"
)

func newLogExport(s *streams) *cobra.Command {
	o := newOutputFlags()
	cmd := &cobra.Command{
		Use:   "export -o FILE",
		Short: "hand the journey over to other programs: GPX, GeoJSON, KML, CSV",
		Long: `Write the journey for other programs, by the file's ending: .gpx (GPX 1.1),
.geojson (RFC 7946), .kml (KML 2.2) or .csv. Positions are those adjusted by all
fixes; all but GPX hold those estimated on the way too. The CSV file holds what
the entries say as well: shadowread log import --entries makes the same journey
of it in another log.`,
		Example: `  shadowread log import --log pan.db --entries fixtures/journey/first-truck.csv
  shadowread log export --log pan.db -o track.gpx
  shadowread log export --log pan.db -o track.geojson --title "Salt pan, invented"
  shadowread log export --log pan.db -o journey.csv
  shadowread log import --log again.db --entries journey.csv`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			ending, err := o.ending(".gpx", ".geojson", ".kml", ".csv")
			if err != nil {
				return err
			}
			format, err := export.ParseFormat(ending)
			if err != nil {
				return err
			}
			return o.write(cmd, s, func(book *logbook.Log, w io.Writer) error {
				track, err := book.WorkUp(cmd.Context(), int(o.journey.value))
				if err != nil {
					return err
				}
				name, err := o.titleOf(cmd.Context(), book, track.Journey)
				if err != nil {
					return err
				}
				if name == "" {
					name = fmt.Sprintf("Journey %d", track.Journey)
				}
				j := journey.FromTrack(track)
				if format == export.CSV {
					for i := range j.Points {
						if j.Points[i].Reading, err = book.Reading(cmd.Context(), j.Points[i].Entry); err != nil {
							return err
						}
					}
				}
				return export.Write(w, format, j, name)
			})
		},
	}
	o.add(cmd, s, "the `FILE` to write, ending in .gpx, .geojson, .kml or .csv", "what the journey is called in it, as `TITLE` (default the journey's name)")
	return cmd
}
