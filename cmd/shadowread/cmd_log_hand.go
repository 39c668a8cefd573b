package main

import (
	"bytes"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/chart"
	"shadowread/internal/export"
	"shadowread/internal/fault"
	"shadowread/internal/instrument"
	"shadowread/internal/journey"
	"shadowread/internal/logbook"
	"shadowread/internal/openfile"
	"shadowread/internal/paper"
	"shadowread/internal/report"
	"shadowread/internal/wording"
)

// outputFlags is what verbs take that hand a journey over as a file.
type outputFlags struct {
	log     logFlag
	journey quantity
	output  string
	title   string
	force   bool
}

func newOutputFlags() outputFlags { return outputFlags{journey: newJourneyFlag()} }

func (o *outputFlags) add(cmd *cobra.Command, s *streams, fileUsage, titleUsage string) {
	f := cmd.Flags()
	f.SortFlags = false
	f.StringVarP(&o.output, "output", "o", "", fileUsage+"; required")
	f.StringVar(&o.title, "title", "", titleUsage)
	f.Var(&o.journey, "journey", journeyUsage)
	f.BoolVarP(&o.force, "force", "f", false, "replace a file that is there")
	o.log.add(cmd)
	addJSON(cmd, s)
}

// ending is that of the output, which says what is written.
func (o *outputFlags) ending(known ...string) (string, error) {
	ending := strings.ToLower(filepath.Ext(o.output))
	for _, k := range known {
		if ending == k {
			return ending, mayWrite(o.output, o.force)
		}
	}
	hint := "the ending says what is written: " + strings.Join(known, ", ")
	if o.output == "" {
		return "", fault.Usage("no_output", "give -o FILE; "+hint, "no file given")
	}
	return "", fault.Usage("bad_format", hint, "%s ends in no format", o.output)
}

// write composes the file before it makes it.
func (o *outputFlags) write(cmd *cobra.Command, s *streams, compose func(book *logbook.Log, w io.Writer) error) error {
	return o.log.with(cmd.Context(), s, false, func(book *logbook.Log) error {
		var b bytes.Buffer
		if err := compose(book, &b); err != nil {
			return err
		}
		if err := cmd.Context().Err(); err != nil {
			return err
		}
		return writeComposed(s, o.force, composed{o.output, &b})
	})
}

func newLogChart(s *streams) *cobra.Command {
	o := newOutputFlags()
	cmd := &cobra.Command{
		Use:   "chart -o FILE",
		Short: "draw the journey: track, ellipses, fixes, numbered legs",
		Long: `Draw a chart of the journey as SVG or PNG, by the file's ending: the track as
estimated and as adjusted by the fixes, 95 % ellipses, fixes, numbered legs,
graticule, scale and north arrow, in black on white. It uses no map.` + exits(exitOK, exitError, exitUsage),
		Example: `  shadowread log chart -o track.svg --title "Salt pan, invented"
  shadowread log chart -o track.png`,
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
				c, err := chart.Draw(journey.FromTrack(track), o.title)
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
	o.add(cmd, s, "the `FILE` to draw, ending in .svg or .png", "the chart's `TITLE`")
	return cmd
}

func newLogExport(s *streams) *cobra.Command {
	o := newOutputFlags()
	cmd := &cobra.Command{
		Use:   "export -o FILE",
		Short: "hand the journey over to other programs: GPX, GeoJSON, KML, CSV",
		Long: `Write the journey for other programs, by the file's ending: .gpx (GPX 1.1),
.geojson (RFC 7946), .kml (KML 2.2) or .csv. Positions are those adjusted by all
fixes; all but GPX hold those estimated on the way too.` + exits(exitOK, exitError, exitUsage),
		Example: `  shadowread log export -o track.gpx
  shadowread log export -o track.geojson --title "Salt pan, invented"`,
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
				name := o.title
				if name == "" {
					name = fmt.Sprintf("Journey %d", track.Journey)
				}
				return export.Write(w, format, journey.FromTrack(track), name)
			})
		},
	}
	o.add(cmd, s, "the `FILE` to write, ending in .gpx, .geojson, .kml or .csv", "what the journey is called in it, as `TITLE`")
	return cmd
}

func newLogCompare(s *streams) *cobra.Command {
	var (
		log    logFlag
		which  = newJourneyFlag()
		offset = newOffsetFlag()
		gap    time.Duration
	)
	cmd := &cobra.Command{
		Use:   "compare TRACK",
		Short: "compare the log, entry by entry, with a receiver's track",
		Long: `Compare the log with the track of a receiver that ran beside it, GPX or CSV
(columns time, latitude, longitude): by how much the estimate on the way, and
the position adjusted by the log's own fixes, was off at each entry, in metres
and in sigmas. The 95 % ellipse ends at 2.45 sigma. Nothing is written.` + exits(exitOK, exitError, exitUsage),
		Example: `  shadowread log compare fixtures/journey/receiver.gpx --log pan.db`,
		Args:    oneArg("track", "name a .gpx or .csv file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			track, err := readTrack(args[0], offset.given())
			if err != nil {
				return err
			}
			return log.with(cmd.Context(), s, false, func(book *logbook.Log) error {
				worked, err := book.WorkUp(cmd.Context(), int(which.value))
				if err != nil {
					return err
				}
				list, err := export.Compare(journey.FromTrack(worked), track, gap)
				if err != nil {
					return err
				}
				if track.Skipped > 0 {
					s.note("skipped", "%s without time or position passed over", wording.Count(track.Skipped, "point"))
				}
				return printDifferences(s, list)
			})
		},
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.DurationVar(&gap, "max-gap", 10*time.Minute, "the longest gap in the track to go between two points of it")
	f.Var(&offset, "utc-offset", "of times in a CSV file without one, as +02:00 or 2; east is positive")
	f.Var(&which, "journey", journeyUsage)
	log.add(cmd)
	addJSON(cmd, s)
	return cmd
}

func readTrack(path string, offset *time.Duration) (*export.Received, error) {
	f, err := openfile.Regular(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	switch strings.ToLower(filepath.Ext(path)) {
	case ".gpx":
		return export.ReadGPX(f, path)
	case ".csv":
		return export.ReadCSV(f, path, offset)
	}
	return nil, fault.Usage("bad_format", "a track ends in .gpx or .csv", "%s ends in no format", path)
}

type (
	differenceJSON struct {
		Entry     int       `json:"entry"`
		Leg       *int      `json:"leg"`
		Time      time.Time `json:"time_utc"`
		Receiver  *spotJSON `json:"receiver"`
		Estimated missJSON  `json:"estimated"`
		Adjusted  missJSON  `json:"adjusted"`
	}
	missJSON struct {
		Distance float64 `json:"distance_m"`
		Bearing  float64 `json:"bearing_deg"` // from the log to the receiver
		Sigmas   float64 `json:"sigmas"`
	}
)

func missOf(m export.Miss) missJSON {
	return missJSON{metres(m.Distance), wording.BearingDegrees(m.Bearing, 4), wording.Round(m.Sigmas, 3)}
}

func printDifferences(s *streams, list []export.Difference) error {
	t := table{s: s, columns: []column{
		{head: "entry", right: true}, {head: "time UTC", width: 19}, {head: "receiver", width: 21},
		{head: "estimate off by", right: true}, {head: "towards", right: true}, {head: "sigmas", right: true},
		{head: "adjusted off by", right: true}, {head: "towards", right: true}, {head: "sigmas", right: true},
	}}
	for _, d := range list {
		if s.json {
			spot := spotOf(d.Receiver, 0)
			spot.Sigma = nil
			if err := s.printJSON(differenceJSON{d.Entry, positive(d.Leg), d.Time.UTC(), spot, missOf(d.Estimated), missOf(d.Adjusted)}); err != nil {
				return err
			}
			continue
		}
		cells := []string{strconv.Itoa(d.Entry)}
		if s.outTTY {
			cells = append(cells, d.Time.UTC().Format(time.DateTime), d.Receiver.String())
		} else {
			cells = append(cells, d.Time.UTC().Format(time.RFC3339Nano), wording.Fixed(d.Receiver.Lat, 6)+","+wording.Fixed(d.Receiver.Lon, 6))
		}
		st := style("")
		for _, m := range []export.Miss{d.Estimated, d.Adjusted} {
			if s.outTTY {
				cells = append(cells, wording.Length(m.Distance), courseText(m.Bearing), fmt.Sprintf("%.1f", m.Sigmas))
				if m.Sigmas > 2.45 {
					st = yellow
				}
			} else {
				cells = append(cells, fmt.Sprintf("%.1f", float64(m.Distance)), wording.Bearing(m.Bearing, 2), fmt.Sprintf("%.3f", m.Sigmas))
			}
		}
		if err := t.row(st, cells...); err != nil {
			return err
		}
	}
	return nil
}

type reportOptions struct {
	outputFlags
	instrument, card string
	offset           parsed[time.Duration]
	paper            parsed[paper.Format]
}

func newLogReport(s *streams) *cobra.Command {
	o := reportOptions{
		outputFlags: newOutputFlags(), offset: newOffsetFlag(),
		paper: paperFlag(paper.Office),
	}
	cmd := &cobra.Command{
		Use:   "report -o FILE",
		Short: "write the journey down, day by day, as HTML or PDF",
		Long: `Write the journey down as one HTML file with everything in it, or as PDF, by the
file's ending: day by day the entries, what was corrected, the fixes with their
closing errors, a chart, what was found in the photos, the instrument and the
compass used, and what to beware of.` + exits(exitOK, exitError, exitUsage),
		Example: `  shadowread log report -o journey.html --utc-offset 2 --title "Salt pan, invented"
  shadowread log report -o journey.pdf --instrument fixtures/instrument/board.toml --deviation-card fixtures/compass/card.json`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runReport(cmd, s, &o) },
	}
	o.add(cmd, s, "the `FILE` to write, ending in .html or .pdf", "the report's `TITLE`")
	f := cmd.Flags()
	f.Var(&o.offset, "utc-offset", "the report's clock, as +02:00 or 2; east is positive (default UTC)")
	f.StringVar(&o.instrument, "instrument", "", "the record `FILE` of the instrument used, of shadowread align")
	f.StringVar(&o.card, "deviation-card", "", "the card `FILE` of the compass used, of shadowread swing")
	f.Var(&o.paper, "paper", "of a PDF: a4 or letter")
	words(cmd, "paper", "a4", "letter")
	return cmd
}

func runReport(cmd *cobra.Command, s *streams, o *reportOptions) error {
	ending, err := o.ending(".html", ".pdf")
	if err != nil {
		return err
	}
	if o.paper.set && ending != ".pdf" {
		return fault.Usage("paper_without_output", "give -o FILE.pdf", "--paper has no meaning without a PDF")
	}
	in := report.Input{Title: o.title, UTCOffset: o.offset.value}
	if o.instrument != "" {
		record, err := instrument.Load(o.instrument)
		if err != nil {
			return err
		}
		in.Instrument = &record
	}
	if o.card != "" {
		if in.Compass, err = loadCard(o.card); err != nil {
			return err
		}
	}
	return o.write(cmd, s, func(book *logbook.Log, w io.Writer) error {
		ctx := cmd.Context()
		now, err := book.Snapshot(ctx, int(o.journey.value))
		if err != nil {
			return err
		}
		in.Track, in.Entries, in.Where = now.Track, now.Entries, now.Where
		in.Overlay = func(entry int) ([]byte, error) {
			_, overlay, err := book.Evidence(ctx, entry)
			return overlay, err
		}
		if ending == ".pdf" {
			return report.WritePDF(w, in, o.paper.value)
		}
		return report.WriteHTML(w, in)
	})
}
