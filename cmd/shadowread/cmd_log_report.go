package main

import (
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/compass"
	"shadowread/internal/fault"
	"shadowread/internal/instrument"
	"shadowread/internal/logbook"
	"shadowread/internal/paper"
	"shadowread/internal/recordfile"
	"shadowread/internal/report"
)

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
compass used, and what to beware of.`,
		Example: `  shadowread log import --log pan.db --entries fixtures/journey/first-truck.csv
  shadowread log report --log pan.db -o journey.html --utc-offset 2 --title "Salt pan, invented"
  shadowread log report --log pan.db -o journey.pdf --instrument fixtures/instrument/board.toml --deviation-card fixtures/compass/card.json`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runReport(cmd, s, &o) },
	}
	o.add(cmd, s, "the `FILE` to write, ending in .html or .pdf", "the report's `TITLE` (default the journey's name)")
	f := cmd.Flags()
	f.Var(&o.offset, "utc-offset", "the report's clock, as +02:00 or 2; east is positive (default the journey's, else that by which the times were said last)")
	f.StringVar(&o.instrument, "instrument", "", "the record `FILE` of the instrument used, of shadowread align (default the journey's)")
	f.StringVar(&o.card, "deviation-card", "", "the card `FILE` of the compass used, of shadowread swing (default the journey's)")
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
		record, err := recordfile.Instrument(o.instrument)
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
		if in.Title, err = o.titleOf(ctx, book, now.Track.Journey); err != nil {
			return err
		}
		set, err := book.SettingsOf(ctx, now.Track.Journey)
		if err != nil {
			return err
		}
		in.Settings = set
		if err := reportSettings(&in, &set); err != nil {
			return err
		}
		switch offsets := logbook.Offsets(now.Entries); {
		case o.offset.set:
		case set.UTCOffset != nil:
			in.UTCOffset = *set.UTCOffset
		case offsets[len(offsets)-1] != nil:
			in.UTCOffset = *offsets[len(offsets)-1]
		}
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

// reportSettings puts what holds for the journey where the command line says nothing.
func reportSettings(in *report.Input, set *logbook.Settings) error {
	if set.Instrument != nil && in.Instrument == nil {
		record, err := instrument.Decode([]byte(set.Instrument.Text), set.Instrument.File)
		if err != nil {
			return err
		}
		in.Instrument = &record
	}
	if set.Card != nil && in.Compass == nil {
		card, err := compass.ReadCard(strings.NewReader(set.Card.Text), set.Card.File)
		if err != nil {
			return err
		}
		in.Compass = &card
	}
	return nil
}
