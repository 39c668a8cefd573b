package main

import (
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/export"
	"shadowread/internal/fault"
	"shadowread/internal/journey"
	"shadowread/internal/logbook"
	"shadowread/internal/openfile"
	"shadowread/internal/wording"
)

// farOff is as many sigmas as no log is off that is of the same vehicle, a judgement: the
// log doubts a fix from there on.
const farOff = 5

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
and in sigmas. The 95 % ellipse ends at 2.45 sigma. Nothing is written.`,
		Example: `  shadowread log import --log pan.db --entries fixtures/journey/first-truck.csv
  shadowread log compare --log pan.db fixtures/journey/receiver.gpx`,
		Args: oneArg("track", "name a .gpx or .csv file"),
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
				far := slices.DeleteFunc(slices.Clone(list), func(d export.Difference) bool { return d.Adjusted.Sigmas <= farOff })
				if len(far) > 0 {
					s.note("far_off", "%s of %d by more than %d sigmas off: another vehicle's track, a clock that is out, or a gap too long to bridge", entriesText(len(far)), len(list), farOff)
				}
				return printDifferences(s, list)
			})
		},
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.DurationVar(&gap, "max-gap", 10*time.Minute, "the longest gap in the track that is bridged, a `DURATION`")
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
	t := table{s: s, pipe: "compare", columns: []column{
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
