package main

import (
	"bytes"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/angle"
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
for one.` +
			exits(exitOK, exitError, exitUsage, exitRefused, exitInterrupted),
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
	if err := out.print(s); err != nil {
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

// swingResult is what a swing says.
type swingResult struct {
	analysis    compass.Analysis
	declination *reading.Declination // nil where all headings are magnetic
	card        *compass.Card        // nil where there is none
}

var coefficientNames = [...]string{compass.A: "A", compass.B: "B", compass.C: "C", compass.D: "D", compass.E: "E"}

// The JSON object of shadowread swing.
type (
	swingJSON struct {
		Signs             string            `json:"signs"`
		Declination       *float64          `json:"declination_deg"`
		DeclinationSigma  *float64          `json:"declination_sigma_deg"`
		DeclinationSource *string           `json:"declination_source"`
		Coefficients      []coefficientJSON `json:"coefficients"`
		Correlation       [][]float64       `json:"correlation"`
		Freedom           int               `json:"degrees_of_freedom"`
		RMS               *float64          `json:"residual_rms_deg"` // null where nothing checks the fit
		Scatter           *float64          `json:"scatter"`
		Remarks           []string          `json:"remarks"`
		Readings          []swingEntry      `json:"readings"`
		ByMagnetic        []cardLine        `json:"by_magnetic"` // null without a card
		ByCompass         []cardLine        `json:"by_compass"`
	}
	coefficientJSON struct {
		Name        string   `json:"name"`
		Value       *float64 `json:"value_deg"` // null where meaningless
		Sigma       *float64 `json:"sigma_deg"`
		Meaningless bool     `json:"meaningless"`
		Handbook    *float64 `json:"handbook_deg"` // null unless the eight main headings were read
	}
	swingEntry struct {
		Line         *int     `json:"line"`
		Photo        *string  `json:"photo"`
		Compass      float64  `json:"compass_deg"`
		CompassSigma float64  `json:"compass_sigma_deg"`
		True         *float64 `json:"true_deg"` // null for a magnetic heading
		Magnetic     float64  `json:"magnetic_deg"`
		HeadingSigma float64  `json:"heading_sigma_deg"`
		Deviation    float64  `json:"deviation_deg"`
		Residual     float64  `json:"residual_deg"`
		Apart        float64  `json:"apart_deg"`
		Outlier      bool     `json:"outlier"`
	}
	cardLine struct {
		Magnetic  float64 `json:"magnetic_deg"`
		Compass   float64 `json:"compass_deg"`
		Deviation float64 `json:"deviation_deg"`
		Sigma     float64 `json:"sigma_deg"`
	}
)

func (r *swingResult) json() swingJSON {
	a := r.analysis
	out := swingJSON{Signs: compass.Signs, Freedom: a.Freedom, Remarks: append([]string{}, a.Remarks...)}
	if d := r.declination; d != nil {
		out.Declination, out.DeclinationSigma, out.DeclinationSource = new(wording.Degrees(d.Value, 4)), new(wording.Degrees(d.Sigma, 4)), new(d.Source())
	}
	if a.Freedom > 0 {
		out.RMS, out.Scatter = new(wording.Degrees(a.ResidualRMS, 4)), new(wording.Round(a.Scatter, 4))
	}
	for k, name := range coefficientNames {
		c := coefficientJSON{Name: name, Meaningless: a.Meaningless[k]}
		if !c.Meaningless {
			c.Value, c.Sigma = new(wording.Degrees(a.Coefficients[k], 4)), new(wording.Degrees(a.Sigmas[k], 4))
		}
		if a.Handbook != nil {
			c.Handbook = new(wording.Degrees(a.Handbook[k], 4))
		}
		out.Coefficients = append(out.Coefficients, c)
		var row []float64
		for _, v := range a.Correlation[k] {
			row = append(row, wording.Round(v, 4))
		}
		out.Correlation = append(out.Correlation, row)
	}
	for _, x := range a.Readings {
		e := swingEntry{lineOf(x.Sighting), photoOf(x.Sighting), wording.BearingDegrees(x.Compass, 4), wording.Degrees(x.CompassSigma, 4), nil, wording.BearingDegrees(x.Magnetic, 4),
			wording.Degrees(x.HeadingSigma, 4), wording.Degrees(x.Deviation, 4), wording.Degrees(x.Residual, 4), wording.Degrees(x.Apart, 4), x.Outlier}
		if x.Reference == compass.FromTrueNorth {
			e.True = new(wording.BearingDegrees(x.Heading, 4))
		}
		out.Readings = append(out.Readings, e)
	}
	if r.card != nil {
		out.ByMagnetic, out.ByCompass = cardLines(r.card.ByMagnetic()), cardLines(r.card.ByCompass())
	}
	return out
}

func cardLines(lines []compass.Line) (out []cardLine) {
	for _, l := range lines {
		out = append(out, cardLine{wording.BearingDegrees(l.Magnetic, 4), wording.BearingDegrees(l.Compass, 4), wording.Degrees(l.Deviation, 4), wording.Degrees(l.Sigma, 4)})
	}
	return out
}

func (r *swingResult) print(s *streams) error {
	switch {
	case s.json:
		return s.printJSON(r.json())
	case !s.outTTY:
		return r.pipe(s)
	}
	return r.forPeople(s)
}

// pipe prints records of several kinds; the first cell names it. What limits the swing
// is noted.
func (r *swingResult) pipe(s *streams) error {
	for _, remark := range r.analysis.Remarks {
		s.note("swing_remark", "%s", remark)
	}
	t := &table{s: s}
	j := r.json()
	yes := func(b bool, text string) string {
		if b {
			return text
		}
		return ""
	}
	var rows [][]string
	for _, c := range j.Coefficients {
		rows = append(rows, []string{"coefficient", c.Name, decimal(c.Value, 4), decimal(c.Sigma, 4), decimal(c.Handbook, 4), yes(c.Meaningless, "meaningless")})
	}
	for _, x := range r.analysis.Readings {
		rows = append(rows, []string{"reading", strconv.Itoa(x.Line), wording.Bearing(x.Compass, 4), wording.Bearing(x.Magnetic, 4), wording.Fixed(x.Deviation, 4), wording.Fixed(x.Residual, 4), yes(x.Outlier, "outlier")})
	}
	if r.card != nil {
		for _, l := range r.card.ByMagnetic() {
			rows = append(rows, []string{"steer", wording.Bearing(l.Magnetic, 4), wording.Bearing(l.Compass, 4), wording.Fixed(l.Deviation, 4), wording.Fixed(l.Sigma, 4)})
		}
		for _, l := range r.card.ByCompass() {
			rows = append(rows, []string{"read", wording.Bearing(l.Compass, 4), wording.Bearing(l.Magnetic, 4), wording.Fixed(l.Deviation, 4), wording.Fixed(l.Sigma, 4)})
		}
	}
	for _, row := range rows {
		if err := t.row("", row...); err != nil {
			return err
		}
	}
	return nil
}

func (r *swingResult) forPeople(s *streams) error {
	a := r.analysis
	fmt.Fprintf(s.out, "%s\n\n", s.paint(dim, s.wrap(0, compass.Signs)))
	if d := r.declination; d != nil {
		fmt.Fprintf(s.out, "declination  %s (%s)\n\n", wording.SignedWith(d.Value, d.Sigma), declinationSource(*d))
	}
	t := table{s: s, columns: []column{{head: "coefficient"}, {head: "degrees", right: true}, {head: "± 1 sigma", right: true}, {head: "handbook's half sums", right: true}, {head: "notes"}}}
	for k, name := range coefficientNames {
		cells := []string{name, wording.SignedNumber(a.Coefficients[k].Degrees(), 2), wording.Fixed(a.Sigmas[k], 2), "-", ""}
		st := style("")
		if a.Meaningless[k] {
			st, cells[1], cells[2], cells[4] = red, "-", "-", "meaningless: the headings do not determine it"
		}
		if a.Handbook != nil {
			cells[3] = wording.SignedNumber(a.Handbook[k].Degrees(), 2)
		}
		if err := t.row(st, cells...); err != nil {
			return err
		}
	}
	fmt.Fprintln(s.out)
	if a.Freedom > 0 {
		fmt.Fprintf(s.out, "residuals: %s rms over %s of freedom, %.1f times what the sigmas say\n", wording.Fixed(a.ResidualRMS, 2)+"°", wording.Count(a.Freedom, "degree"), a.Scatter)
	} else {
		fmt.Fprintln(s.out, "no more readings than coefficients: nothing checks the equation")
	}
	for _, remark := range a.Remarks {
		fmt.Fprintln(s.out, s.paint(yellow, s.wrap(0, remark)))
	}
	fmt.Fprintln(s.out)

	t = table{s: s, columns: []column{{head: "line", right: true}, {head: "compass°", right: true}, {head: "magnetic°", right: true}, {head: "deviation°", right: true}, {head: "residual°", right: true}, {head: "notes"}}}
	for _, x := range a.Readings {
		st, notes := style(""), plain(x.Photo)
		if x.Outlier {
			st, notes = red, outlierNote(notes)
		}
		if err := t.row(st, strconv.Itoa(x.Line), wording.Bearing(x.Compass, 1), wording.Bearing(x.Magnetic, 1), wording.SignedNumber(x.Deviation.Degrees(), 1), wording.SignedNumber(x.Residual.Degrees(), 1), notes); err != nil {
			return err
		}
	}
	if r.card == nil {
		return nil
	}
	fmt.Fprintf(s.out, "\n%s\n", s.paint(bold, "steer a magnetic heading              read a compass heading"))
	t = table{s: s, columns: []column{
		{head: "magnetic", right: true}, {head: "deviation", right: true}, {head: "compass", right: true}, {head: "±", right: true, width: 3},
		{head: "   compass", right: true}, {head: "deviation", right: true}, {head: "magnetic", right: true}, {head: "±", right: true, width: 3},
	}}
	byCompass := r.card.ByCompass()
	for i, l := range r.card.ByMagnetic() {
		m := byCompass[i]
		err := t.row("", cardBearing(l.Magnetic), wording.SignedNumber(l.Deviation.Degrees(), 1), cardBearing(l.Compass), wording.Fixed(l.Sigma, 1),
			cardBearing(m.Compass), wording.SignedNumber(m.Deviation.Degrees(), 1), cardBearing(m.Magnetic), wording.Fixed(m.Sigma, 1))
		if err != nil {
			return err
		}
	}
	_, err := fmt.Fprintln(s.out, s.paint(dim, "± is one sigma, without that of reading the compass under way"))
	return err
}

// cardBearing prints a bearing as cards do: 005.0.
func cardBearing(a angle.Angle) string {
	text := wording.Bearing(a, 1)
	return strings.Repeat("0", max(0, len("000.0")-len(text))) + text
}
