package main

import (
	"bytes"
	"path/filepath"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/compass"
	"shadowread/internal/fault"
	"shadowread/internal/paper"
	"shadowread/internal/reading"
	"shadowread/internal/wording"
)

type swingOptions struct {
	sightings   sightingFlags
	declination declinationFlags
	title       string
	card, pdf   string
	paper       parsed[paper.Format]
	force       bool
}

func newSwing(s *streams) *cobra.Command {
	o := swingOptions{
		sightings:   newSightingFlags(),
		declination: newDeclinationFlags(),
		paper:       paperFlag(paper.Office),
	}
	cmd := &cobra.Command{
		Use:   "swing --sightings FILE",
		Short: "find the compass's deviation and make its card",
		Long: `Find the deviation of a compass where it is mounted, from readings on eight or
more headings spread round the circle, and make the card to steer by.

East is positive. magnetic = true - declination; compass = magnetic - deviation;
deviation = A + B sin z + C cos z + D sin 2z + E cos 2z, z the compass heading.
A to E come from least squares, with their standard errors; the handbook's half
sums stand beside them where the eight main headings were read. A absorbs the
error of the declination and of the lubber line, the compass's and the sheet's:
swing and steer with the same declination. B and C absorb a rod out of plumb. A
coefficient that the headings do not determine is called meaningless, and there
is no card without all five.

--sightings takes a CSV file whose first line names the columns: compass_deg,
and one of true_deg, magnetic_deg and photo in each row; heading_sigma_deg and
compass_sigma_deg where they are not --heading-sigma and --compass-sigma; note.
Photos are looked for from the file's folder on. Lines with # are comments. True
headings need --declination, or the place and the time for the World Magnetic
Model 2025: the photos', or --position with --time or --date.

--card writes the card for read --deviation-card, --pdf a page to print. It is
good for this compass in its place, the vehicle loaded as it was, near the same
latitude. Where rules ask for a licensed compass adjuster, it does not stand in
for one.`,
		Example: `  shadowread swing --sightings fixtures/compass/swing.csv --position -22.9,22.3 --date 2026-08-29
  shadowread swing --sightings fixtures/compass/swing.csv --declination -13.9 --json
  shadowread swing --sightings fixtures/compass/swing.csv --position -22.9,22.3 --date 2026-08-29 --title "lead truck" --card lead.json --pdf lead.pdf`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runSwing(cmd, s, &o) },
	}
	f := cmd.Flags()
	f.SortFlags = false
	o.sightings.addReadings(cmd, "the readings, from this CSV `FILE`; required")
	o.declination.add(cmd)
	f.StringVar(&o.title, "title", "", "the card's `TITLE`: which compass in which vehicle")
	f.StringVar(&o.card, "card", "", "write the card into this `FILE`, as JSON")
	f.StringVar(&o.pdf, "pdf", "", "write the card into this `FILE`, as a page to print")
	f.Var(&o.paper, "paper", "of --pdf: a4 or letter")
	f.BoolVarP(&o.force, "force", "f", false, "replace files that are there")
	o.sightings.addPhotos(cmd, "the `TIME` of the swing, as 2026-03-14T09:26:53+02:00 (default the first photo's)")
	addJSON(cmd, s)
	words(cmd, "paper", "a4", "letter")
	return cmd
}

func runSwing(cmd *cobra.Command, s *streams, o *swingOptions) error {
	switch {
	case o.sightings.file == "":
		return fault.Usage("no_sightings", "give --sightings FILE", "no readings given")
	case o.card != "" && filepath.Clean(o.card) == filepath.Clean(o.pdf):
		return fault.Usage("contradicting_flags", "give two names", "--card and --pdf %s are one file", o.pdf)
	case o.pdf == "" && cmd.Flags().Changed("paper"):
		return fault.Usage("paper_without_output", "give --pdf FILE too", "--paper has no meaning without --pdf")
	}
	opts, flags, err := o.sightings.options(cmd)
	if err != nil {
		return err
	}
	var out swingResult
	if out.declination, err = o.declination.given(); err != nil {
		return err
	}
	if err := mayWriteAll(o.force, o.card, o.pdf); err != nil {
		return err
	}
	set, err := o.sightings.read(cmd.Context(), s, opts, compass.ReadSwing)
	if err != nil {
		return err
	}
	at, err := reading.SpotOf(flags, set.read)
	if err != nil {
		return err
	}
	if err := out.decline(s, set, at); err != nil {
		return err
	}
	wanted := compass.Options{Shared: compass.SharedOf(set.list)}
	if d := out.declination; d != nil {
		wanted.Declination = &compass.Declination{Value: d.Value, Sigma: d.Sigma, Source: d.Source()}
	}
	if out.analysis, err = compass.Analyse(set.list, wanted); err != nil {
		return err
	}
	files := o.card != "" || o.pdf != ""
	if files && at.Instant == nil {
		return fault.Usage("no_time", "give --time or --date: a card says when its compass was swung", "the time of the swing is not known")
	}
	var swung time.Time // not looked at unless the card is written
	if at.Instant != nil {
		swung = at.Instant.UTC
	}
	card, noCard := out.analysis.Card(o.title, swung)
	if noCard == nil {
		out.card = &card
	} else if files || fault.Code(noCard) == "bad_title" {
		return noCard
	}
	if files {
		if err := o.write(cmd, s, card); err != nil {
			return err
		}
	}
	if err := out.output(s); err != nil {
		return err
	}
	if noCard != nil {
		s.note(fault.Code(noCard), "%s", noCard)
	}
	return nil
}

// decline settles the declination: that of the flags, else the model's; nil where no
// heading is true. One of the flags that the model contradicts is noted.
func (r *swingResult) decline(s *streams, set *sightings, at reading.Spot) error {
	given := r.declination
	if !compass.AnyTrue(set.list) {
		if given != nil {
			s.note("declination_unused", "all headings are magnetic: --declination is not used")
		}
		r.declination = nil
		return nil
	}
	settled, model, err := reading.SettleDeclination(given, at)
	switch {
	case err != nil && slices.ContainsFunc(set.read, func(r *reading.Result) bool { return r != nil && r.Instant == at.Instant }):
		return err // a photo's time is no slip in the command line
	case err != nil:
		return asUsage(err)
	case settled == nil:
		return fault.Usage("no_declination", "give --declination, or --position with --time or --date for the model's",
			"true headings need the declination to become magnetic")
	}
	if model != nil {
		if text := reading.ZoneText(*model.Field); text != "" {
			s.note("magnetic_"+model.Field.Zone.String(), "%s", text)
		}
	}
	if given != nil && model != nil && given.Contradicts(*model) {
		s.note("declination_doubtful", "--declination %s is not the World Magnetic Model's %s: look at its sign, east is positive",
			wording.EastWest(given.Value, given.Sigma), wording.EastWest(model.Value, model.Sigma))
	}
	r.declination = settled
	return nil
}

// write composes all that is asked for before it writes any of it.
func (o *swingOptions) write(cmd *cobra.Command, s *streams, card compass.Card) error {
	var json, pdf bytes.Buffer
	if err := card.Write(&json); err != nil {
		return err
	}
	if err := card.WritePDF(&pdf, o.paper.value); err != nil {
		return err
	}
	if err := cmd.Context().Err(); err != nil {
		return err
	}
	return writeComposed(s, o.force, composed{o.card, &json}, composed{o.pdf, &pdf})
}
