package main

import (
	"fmt"
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/compass"
	"shadowread/internal/fault"
	"shadowread/internal/geomag"
	"shadowread/internal/photo"
	"shadowread/internal/reading"
	"shadowread/internal/wording"
)

type declinationOptions struct {
	sightings   sightingFlags
	compass     quantity
	trueHeading quantity
	number      numberFlags
}

func newDeclination(s *streams) *cobra.Command {
	o := declinationOptions{
		sightings:   newSightingFlags(),
		compass:     quantity{min: 0, max: 360, unit: "deg"},
		trueHeading: quantity{min: 0, max: 360, unit: "deg"},
		number:      newNumberFlags(),
	}
	cmd := &cobra.Command{
		Use:   "declination [PHOTO]",
		Short: "observe the magnetic declination, beside the world model's",
		Long: `Observe the magnetic declination: read the compass along an axis whose true
heading is known, from a photo of the sheet on that axis, from --true-heading or
from --number. declination = true - compass, east positive. Many readings come
in a file; see below.

Beside it stands the World Magnetic Model 2025 at that place, height and time,
good for 2025 to 2030, with its published uncertainty, and by how many sigmas
the two differ, with the likely causes. Without a reading the model alone is
asked.

Keep iron away: what is observed holds the compass's deviation, its lubber line
and the sheet's. In a vehicle read on headings evenly round, or use shadowread
swing.

--sightings takes a CSV file whose first line names the columns: compass_deg,
and one of true_deg and photo in each row; heading_sigma_deg and
compass_sigma_deg where they are not --heading-sigma and --compass-sigma; note.
Photos are looked for from the file's folder on. Lines with # are comments. What
the photos' headings share (rod out of plumb, clock, sheet askew) does not
average out, and is taken from their budgets; of headings without a photo, all
of the sigma is taken as shared.` +
			exits(exitOK, exitError, exitUsage, exitRefused, exitInterrupted),
		Example: `  shadowread declination --position -22.9,22.3 --date 2026-08-29
  shadowread declination --sightings fixtures/compass/sightings.csv --position -22.9,22.3 --date 2026-08-29
  shadowread declination --compass 128.5 photo.jpg
  shadowread declination --compass 128.5 --true-heading 120 --position -20.6142,25.4310 --json`,
		RunE: func(cmd *cobra.Command, args []string) error { return runDeclination(cmd, s, &o, args, time.Now) },
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.Var(&o.compass, "compass", "one reading: what the compass shows along the axis")
	f.Var(&o.trueHeading, "true-heading", "the axis's true heading, if no photo gives it")
	o.number.add(cmd)
	o.sightings.addReadings(cmd, "many readings, from this CSV `FILE`")
	o.sightings.addPhotos(cmd, "the `TIME`, as 2026-03-14T09:26:53+02:00 (default the photo's, else now)")
	addJSON(cmd, s)
	return cmd
}

func runDeclination(cmd *cobra.Command, s *streams, o *declinationOptions, args []string, now func() time.Time) error {
	opts, flags, err := o.sightings.options(cmd)
	if err != nil {
		return err
	}
	set, err := o.observe(cmd, s, opts, args)
	if err != nil {
		return err
	}
	at, err := reading.SpotOf(flags, set.read)
	if err != nil {
		return err
	}
	var out declinationResult
	if len(set.list) > 0 {
		if out.observed, err = observed(set, o.sightings.file); err != nil {
			return err
		}
		out.shared = compass.SharedOf(set.list)
		out.nameOutliers(s, o.sightings.file)
	} else if at.Place == nil {
		return fault.Usage("no_position", "give --position LAT,LON, as -20.6142,25.4310", "no position given")
	}
	if at.Place != nil {
		if at.Instant == nil {
			t := now().UTC().Truncate(time.Second)
			at.Instant = &photo.Instant{UTC: t}
			s.note("time", "no time given: the model's declination is that of now, %s", t.Format(time.RFC3339))
		}
		model, err := reading.ModelDeclination(*at.Instant, *at.Place)
		switch {
		case err == nil:
			out.model = &model
		case out.observed == nil:
			return asUsage(err)
		default: // what was observed stands without the model
			s.note("no_model", "nothing to compare with: %s", err)
		}
	} else {
		s.note("no_model", "nothing to compare with: give --position LAT,LON for the model's declination")
	}
	out.compare()
	return out.print(s)
}

// observe returns the readings: those of a file, one, or none.
func (o *declinationOptions) observe(cmd *cobra.Command, s *streams, opts reading.Options, args []string) (*sightings, error) {
	var given []string
	for _, name := range []string{"sightings", "true-heading", "number"} {
		if cmd.Flags().Changed(name) {
			given = append(given, "--"+name)
		}
	}
	for _, path := range args {
		given = append(given, "the photo "+path)
	}
	switch {
	case len(given) > 1:
		return nil, fault.Usage("contradicting_flags", "one reading is one photo, --true-heading or --number; many are --sightings", "%s and %s contradict each other", given[0], given[1])
	case o.sightings.file != "" && o.compass.set:
		return nil, fault.Usage("contradicting_flags", "the file holds the compass readings", "--sightings and --compass contradict each other")
	case o.sightings.file != "":
		return o.sightings.read(cmd.Context(), s, opts, compass.ReadSightings)
	case len(given) == 0 && o.compass.set:
		return nil, fault.Usage("no_heading", "give a photo, --true-heading or --number", "the compass reading has no true heading beside it")
	case len(given) == 1 && !o.compass.set:
		return nil, fault.Usage("no_compass", "give --compass, what the compass shows along the same axis", "%s has no compass reading beside it", given[0])
	case len(given) == 0:
		return &sightings{}, nil
	}
	x := compass.Sighting{Compass: o.compass.angle().Bearing(), CompassSigma: o.sightings.compassSigma.angle()}
	set := &sightings{[]compass.Sighting{x}, make([]*reading.Result, 1)}
	var r *reading.Result
	switch {
	case o.trueHeading.set:
		set.list[0].Heading, set.list[0].HeadingSigma = o.trueHeading.angle().Bearing(), o.sightings.headingSigma.angle()
		return set, nil
	case o.number.number.set:
		var err error
		if r, err = o.number.read(cmd, opts); err != nil {
			return nil, err
		}
	default:
		r = reading.Read(cmd.Context(), args[0], opts)
		if err := cmd.Context().Err(); err != nil {
			return nil, err
		}
	}
	return set, set.take(s, 0, r, "")
}

// observed names the file and the line that cannot serve.
func observed(set *sightings, file string) (*compass.ObservedDeclination, error) {
	for _, x := range set.list {
		if x.Reference == compass.FromMagneticNorth {
			return nil, fault.New("heading_not_true", "give true_deg or photo: a magnetic heading says nothing of the declination",
				"%s line %d: no true heading", file, x.Line)
		}
	}
	got, err := compass.ObserveDeclination(set.list, compass.SharedOf(set.list))
	return &got, err
}

// declinationResult is what was observed and what the model gives; nil where not known.
type declinationResult struct {
	observed   *compass.ObservedDeclination
	shared     compass.Shared
	model      *reading.Declination
	comparison *compass.Comparison
}

// nameOutliers says which readings the others contradict.
func (d *declinationResult) nameOutliers(s *streams, file string) {
	for _, t := range d.observed.Terms {
		if t.Outlier {
			s.note("outlier", "%s line %d is out of line with the others by %s: read it again or leave it out; until then its scatter is in the sigma",
				file, t.Line, wording.Signed(t.Apart, 1))
		}
	}
}

func (d *declinationResult) compare() {
	if d.observed == nil || d.model == nil {
		return
	}
	f := *d.model.Field
	f.DeclinationSigma = d.model.Sigma // with the position's share
	d.comparison = new(d.observed.Compare(f))
}

// The JSON object of shadowread declination.
type (
	declinationJSON struct {
		Signs      string             `json:"signs"`
		Observed   *observedJSON      `json:"observed"`
		Model      *modelJSON         `json:"model"`
		Comparison *comparisonJSON    `json:"comparison"`
		Readings   []declinationEntry `json:"readings"`
	}
	observedJSON struct {
		Declination float64 `json:"declination_deg"`
		Sigma       float64 `json:"declination_sigma_deg"`
		Readings    int     `json:"readings"`
		Scatter     float64 `json:"scatter"`
		OneSided    float64 `json:"one_sided"`
		Constant    float64 `json:"shared_constant_deg"`
		Lean        float64 `json:"shared_lean_deg"`
	}
	modelJSON struct {
		Name        string      `json:"name"`
		Time        string      `json:"time_utc"`
		Latitude    float64     `json:"latitude_deg"`
		Longitude   float64     `json:"longitude_deg"`
		Elevation   float64     `json:"elevation_m"`
		Declination float64     `json:"declination_deg"`
		Sigma       float64     `json:"declination_sigma_deg"`
		Published   float64     `json:"published_sigma_deg"`
		Change      float64     `json:"change_deg_per_year"`
		Inclination float64     `json:"inclination_deg"`
		Horizontal  float64     `json:"horizontal_nt"`
		Total       float64     `json:"total_nt"`
		Zone        geomag.Zone `json:"zone"`
	}
	comparisonJSON struct {
		Difference float64         `json:"difference_deg"`
		Sigma      float64         `json:"difference_sigma_deg"`
		Sigmas     float64         `json:"sigmas"`
		Agree      bool            `json:"agree"`
		Causes     []compass.Cause `json:"causes"`
	}
	declinationEntry struct {
		Line         *int    `json:"line"`
		Photo        *string `json:"photo"`
		True         float64 `json:"true_deg"`
		TrueSigma    float64 `json:"true_sigma_deg"`
		Compass      float64 `json:"compass_deg"`
		CompassSigma float64 `json:"compass_sigma_deg"`
		Declination  float64 `json:"declination_deg"`
		Apart        float64 `json:"apart_deg"`
		Outlier      bool    `json:"outlier"`
	}
)

func (d *declinationResult) json() declinationJSON {
	out := declinationJSON{Signs: "east positive; declination = true - compass; magnetic = true - declination", Readings: []declinationEntry{}}
	if o := d.observed; o != nil {
		out.Observed = &observedJSON{wording.Degrees(o.Declination, 4), wording.Degrees(o.Sigma, 4), len(o.Terms), wording.Round(o.Scatter, 4), wording.Round(o.OneSided, 4), wording.Degrees(d.shared.Constant, 4), wording.Degrees(d.shared.Lean, 4)}
		for _, t := range o.Terms {
			out.Readings = append(out.Readings, declinationEntry{lineOf(t.Sighting), photoOf(t.Sighting), wording.BearingDegrees(t.Heading, 4), wording.Degrees(t.HeadingSigma, 4),
				wording.BearingDegrees(t.Compass, 4), wording.Degrees(t.CompassSigma, 4), wording.Degrees(t.Declination, 4), wording.Degrees(t.Apart, 4), t.Outlier})
		}
	}
	if m := d.model; m != nil {
		f := m.Field
		out.Model = &modelJSON{"World Magnetic Model 2025", f.Time.Format(time.RFC3339Nano), wording.Round(f.Position.Lat.Degrees(), 7), wording.Round(f.Position.Lon.Degrees(), 7), f.HeightMetres,
			wording.Degrees(m.Value, 4), wording.Degrees(m.Sigma, 4), wording.Degrees(f.DeclinationSigma, 4), wording.Degrees(f.DeclinationChange, 4), wording.Degrees(f.Inclination, 4), wording.Round(float64(f.Horizontal), 1), wording.Round(float64(f.Total), 1), f.Zone}
	}
	if c := d.comparison; c != nil {
		out.Comparison = &comparisonJSON{wording.Degrees(c.Difference, 4), wording.Degrees(c.Sigma, 4), wording.Round(c.Sigmas, 2), c.Agree, append([]compass.Cause{}, c.Causes...)}
	}
	return out
}

// pipe is one record of values.
func (d *declinationResult) pipe() []string {
	cells := make([]string, 9)
	if o := d.observed; o != nil {
		cells[0], cells[1], cells[2] = wording.Fixed(o.Declination, 4), wording.Fixed(o.Sigma, 4), strconv.Itoa(len(o.Terms))
	}
	if m := d.model; m != nil {
		cells[3], cells[4], cells[5], cells[6] = wording.Fixed(m.Value, 4), wording.Fixed(m.Sigma, 4), wording.Fixed(m.Field.DeclinationChange, 4), m.Field.Zone.String()
	}
	if c := d.comparison; c != nil {
		cells[7], cells[8] = wording.Fixed(c.Difference, 4), strconv.FormatFloat(c.Sigmas, 'f', 2, 64)
	}
	return cells
}

func (d *declinationResult) print(s *streams) error {
	switch {
	case s.json:
		return s.printJSON(d.json())
	case !s.outTTY:
		return (&table{s: s}).row("", d.pipe()...)
	}
	line := func(label, format string, args ...any) {
		fmt.Fprintf(s.out, "%-12s %s\n", label, fmt.Sprintf(format, args...))
	}
	fmt.Fprintln(s.out, s.paint(dim, "east positive; declination = true − compass; magnetic = true − declination"))
	if o := d.observed; o != nil {
		line("observed", "%s, from %s", s.paint(bold, wording.EastWest(o.Declination, o.Sigma)), wording.Count(len(o.Terms), "reading"))
	}
	if m := d.model; m != nil {
		f := m.Field
		line("model", "%s, World Magnetic Model 2025", wording.EastWest(m.Value, m.Sigma))
		line("", "at %s, %g m, %s; it changes by %s a year", f.Position, f.HeightMetres, f.Time.Format("2006-01-02 15:04 UTC"), wording.Signed(f.DeclinationChange, 2))
		line("", "horizontal field %.0f nT, inclination %s", float64(f.Horizontal), wording.Signed(f.Inclination, 1))
		if text := reading.ZoneText(*f); text != "" {
			fmt.Fprintf(s.out, "%s\n%s\n", s.paint(yellow, "warning magnetic_"+f.Zone.String()), s.wrap(2, text))
		}
	}
	if c := d.comparison; c != nil {
		verdict := "they agree"
		if !c.Agree {
			verdict = s.paint(red, "they do not agree")
		}
		line("difference", "%s, %.1f sigmas: %s", wording.SignedWith(c.Difference, c.Sigma), c.Sigmas, verdict)
		for i, cause := range c.Causes {
			if i == 0 {
				fmt.Fprintln(s.out, "likely causes, the most telling first:")
			}
			fmt.Fprintln(s.out, s.wrap(2, cause.Text))
		}
	}
	if d.observed == nil || len(d.observed.Terms) < 2 {
		return nil
	}
	return readingsTable(s, d.observed.Terms)
}

// readingsTable lists what each reading says.
func readingsTable(s *streams, terms []compass.DeclinationTerm) error {
	fmt.Fprintln(s.out)
	t := table{s: s, columns: []column{
		{head: "line", right: true}, {head: "true°", right: true, width: 6}, {head: "compass°", right: true}, {head: "declination°", right: true}, {head: "apart°", right: true}, {head: "notes"},
	}}
	for _, x := range terms {
		st, notes := style(""), plain(x.Photo)
		if x.Outlier {
			st, notes = red, outlierNote(notes)
		}
		err := t.row(st, strconv.Itoa(x.Line), wording.Bearing(x.Heading, 1), wording.Bearing(x.Compass, 1), wording.SignedNumber(x.Declination.Degrees(), 1), wording.SignedNumber(x.Apart.Degrees(), 1), notes)
		if err != nil {
			return err
		}
	}
	return nil
}
