package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/align"
	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/fault"
	"shadowread/internal/instrument"
	"shadowread/internal/openfile"
	"shadowread/internal/photo"
	"shadowread/internal/reading"
	"shadowread/internal/vision"
	"shadowread/internal/wording"
)

type alignOptions struct {
	photo    photoFlags
	readings string
	turned   bool
	reversed reversedFlags
	stance   stanceFlags
	// What is known of the instrument before the readings.
	square, plate, foot quantity
	clock               bool
	trueHeading         parsed[align.TrueHeading]
	goal                quantity
	// The dial that was read by eye.
	zeroAt    quantity
	clockwise bool
	step, eye quantity
	radius    quantity
	elevation quantity

	tolerance    quantity
	name         string
	lens         string
	save, figure string
	force        bool
	jobs         quantity
}

func newAlign(s *streams) *cobra.Command {
	known, dial := align.DefaultPriors(), align.SheetDial()
	degrees := func(a angle.Angle, least, most float64) quantity {
		return quantity{value: a.Degrees(), min: least, max: most, unit: "deg", text: compact(a.Degrees())}
	}
	o := alignOptions{
		photo:       newPhotoFlags(),
		square:      degrees(known.RodSigma, 0, 20),
		plate:       degrees(known.PlateSigma, 0, 20),
		foot:        quantity{value: known.FootSigmaMM, min: 0, max: 50, unit: "mm", text: compact(known.FootSigmaMM)},
		trueHeading: parsed[align.TrueHeading]{name: "D[,SIGMA]", parse: parseTrueHeading},
		goal:        degrees(0.1*angle.Degree, 0.01, 10),
		zeroAt:      quantity{value: dial.ZeroAt.Degrees(), min: 0, max: 360, unit: "deg", text: "180"},
		step:        degrees(dial.Step, 0, 30),
		eye:         degrees(dial.Sigma, 0.01, 20),
		radius:      quantity{value: dial.RadiusMM, min: 5, max: 5000, unit: "mm", text: compact(dial.RadiusMM)},
		elevation:   elevationFlag(),
		tolerance:   quantity{min: 0.01, max: 45, unit: "deg"},
		jobs:        jobsFlag(),
		reversed:    newReversedFlags(),
		stance:      newStanceFlags(),
	}
	cmd := &cobra.Command{
		Use:   "align PHOTO|FOLDER...|--readings FILE",
		Short: "prove an instrument: its rod, its mount, its clock",
		Long: `Find what is off in an instrument, from shadows: which way its rod leans from
plumb, where the rod's foot stands, which way the sheet points, and with
--true-heading how far the sheet is from square to the vehicle. What the
readings do not determine is said, and so is how much longer to go on.

A standing series: leave the instrument where it is and take eight photos over
four hours about noon. One bad photo is set aside, one that is refused is left
out.

A quick turn (--turned): four or more photos within minutes, the instrument on
another heading in each, and --rod-height. It shows the lean where the rod's own
image is seen in photos from two sides at least, or with a rod that is known to
stand square to its sheet (--square-sigma 0.2).

Reversed (--reversed), as one proves a spirit level: the board's side against
one straight edge, levelled by its own bubble, one photo; turned end for end
against the same edge, levelled again, another. Rod's lean and bubble's error
cancel in their mean. A pair proves the lean across the sun; a second pair two
hours later, or quarter turns with each side against the edge, the other.

By eye (--readings FILE): no camera. The first line of the CSV file names the
columns: time with its offset, number, and heading (any name) if the dial was
turned; note. Any dial will do: --zero-at, --clockwise, --step, --radius.

The result can be kept (--save FILE) as an instrument record, a text file, for
read --instrument. It corrects headings for the lean and, with --true-heading,
to the vehicle's. What a new setting-up changes is not proved by a series that
stood still: --level-sigma and --alignment-sigma go into the record.

With --tolerance the exit status is 4 unless the greatest error of an
uncorrected heading with the sun at 45 degrees is within it by two sigmas.` +
			exits(exitOK, exitError, exitUsage, exitOutside, exitInterrupted),
		Example: `  shadowread align --rod-height 50 fixtures/instrument/series
  shadowread align --rod-height 50 --true-heading 64.0,0.2 --save board.toml --figure board.svg fixtures/instrument/series
  shadowread align --reversed --rod-height 50 fixtures/instrument/reversed
  shadowread align --readings fixtures/instrument/by-eye.csv --position -22.9,22.3`,
		RunE: func(cmd *cobra.Command, args []string) error { return runAlign(cmd, s, &o, args) },
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.StringVar(&o.readings, "readings", "", "numbers read by eye, from this CSV `FILE`, in place of photos")
	f.BoolVar(&o.turned, "turned", false, "the instrument stood on another heading in each photo")
	o.reversed.add(cmd)
	o.stance.addHorizon(f)
	f.Var(&o.trueHeading, "true-heading", "the vehicle's true heading from elsewhere and its sigma (default 0.5), on the first reading")
	f.BoolVar(&o.clock, "clock", false, "solve for the clock's error too; a clock turns all headings almost alike")
	f.Var(&o.tolerance, "tolerance", "exit status 4 unless a heading is proved to be right within this")
	f.Var(&o.goal, "goal", "the sigma of heading for which to say how much longer to go on")
	f.StringVar(&o.save, "save", "", "write an instrument record into this `FILE`")
	f.StringVar(&o.name, "name", "", "the instrument's `NAME` in its record")
	f.StringVar(&o.lens, "lens", "", "the camera's lens record `FILE`, which goes into the instrument's")
	f.StringVar(&o.figure, "figure", "", "draw the residuals into this `FILE`, as SVG")
	f.BoolVarP(&o.force, "force", "f", false, "replace files that are there")
	f.Var(&o.square, "square-sigma", "one sigma of the rod from square to its sheet: 2 drilled by hand, 0.2 with a jig")
	f.Var(&o.plate, "plate-sigma", "one sigma of the sheet from level while it is proved: 3 by eye, 0.5 with a bubble")
	f.Var(&o.foot, "foot-sigma", "one sigma of the rod's foot from the dial's centre")
	f.Var(&o.zeroAt, "zero-at", "where the dial's 0 stands, clockwise from forward")
	f.BoolVar(&o.clockwise, "clockwise", false, "the dial's numbers run clockwise, seen from above")
	f.Var(&o.step, "step", "what the dial is read to")
	f.Var(&o.eye, "eye-sigma", "one sigma of a number read by eye, beside the rounding to --step")
	f.Var(&o.radius, "radius", "of the dial's scale, where the shadow is read")
	f.Var(&o.elevation, "elevation", "above sea level, with --readings (default 0)")
	o.photo.add(cmd, "of no use here: a series has many `TIME`s")
	for name, usage := range map[string]string{
		"level-sigma":     "for the record: what a new setting-up changes of the rod from plumb; 0.5 with a bubble, 2 by eye, 0 if never moved",
		"alignment-sigma": "for the record: the same of the sheet's forward axis against the vehicle's",
		"rod-height":      "rod above the sheet; lets the shadow's length tell of the lean",
	} {
		f.Lookup(name).Usage = usage
	}
	f.Lookup("time").Hidden = true
	f.Var(&o.jobs, "jobs", "photos read at once (default the number of processors)")
	addJSON(cmd, s)
	return cmd
}

func parseTrueHeading(s string) (align.TrueHeading, error) {
	out := align.TrueHeading{Sigma: 0.5 * angle.Degree} // a landmark taken off a map (common practice)
	heading, sigma, both := strings.Cut(s, ",")
	h, err := strconv.ParseFloat(strings.TrimSpace(heading), 64)
	if err != nil || !(h >= 0 && h <= 360) {
		return out, fault.Usage("bad_true_heading", "give degrees from 0 to 360 and, after a comma, one sigma, as 64.0,0.2", "%q is no heading", heading)
	}
	out.Heading = angle.FromDegrees(h).Bearing()
	if both {
		x, err := strconv.ParseFloat(strings.TrimSpace(sigma), 64)
		if err != nil || !(x >= 0 && x <= 45) {
			return out, fault.Usage("bad_true_heading", "give degrees from 0 to 360 and, after a comma, one sigma, as 64.0,0.2", "%q is no sigma from 0 to 45 degrees", sigma)
		}
		out.Sigma = angle.FromDegrees(x)
	}
	return out, nil
}

// check refuses flags that do not go together.
func (o *alignOptions) check(cmd *cobra.Command, args []string) error {
	given := cmd.Flags().Changed
	switch {
	case given("time"):
		return fault.Usage("time_with_many_photos", "give --utc-offset and --clock-error for the camera's clock, or --readings", "--time is the time of one photo, and a series has many")
	case o.readings == "" && len(args) == 0:
		return fault.Usage("no_readings", "name photos or folders of photos, or give --readings FILE", "no readings given")
	case o.readings != "" && len(args) > 0:
		return fault.Usage("readings_with_photo", "give one of the two", "--readings and the photo %s contradict each other", args[0])
	case o.readings != "" && !o.photo.place.set:
		return fault.Usage("no_position", "give --position", "--readings needs the position")
	case o.save != "" && filepath.Clean(o.save) == filepath.Clean(o.figure):
		return fault.Usage("contradicting_flags", "give two names", "--save and --figure %s are one file", o.figure)
	}
	if given("name") && o.save == "" {
		return fault.Usage("record_not_saved", "give --save FILE too", "--name has no meaning without --save")
	}
	for _, name := range []string{"turned", "lens", "utc-offset", "rod-diameter", "print-scale", "jobs", "horizon"} {
		if err := exclusive(cmd, "readings", name); err != nil {
			return err
		}
	}
	for _, name := range []string{"zero-at", "clockwise", "step", "eye-sigma", "radius", "elevation"} {
		if given(name) && o.readings == "" {
			return fault.Usage("dial_without_readings", "give --readings FILE too", "--%s has no meaning without --readings", name)
		}
	}
	if err := o.reversed.check(cmd); err != nil {
		return err
	}
	if err := o.stance.checkHorizon(cmd); err != nil {
		return err
	}
	if err := onlySVG(o.figure); err != nil {
		return err
	}
	return mayWriteAll(o.force, o.save, o.figure)
}

func runAlign(cmd *cobra.Command, s *streams, o *alignOptions, args []string) error {
	if err := o.check(cmd, args); err != nil {
		return err
	}
	opts, err := o.photo.options(cmd)
	if err != nil {
		return err
	}
	priors := align.DefaultPriors()
	priors.RodSigma, priors.PlateSigma, priors.FootSigmaMM = o.square.angle(), o.plate.angle(), o.foot.value
	priors.HeightMM = o.photo.rodHeight.value
	o.reversed.use(&priors, o.plate.set)
	if o.photo.plumbLine && !o.foot.set {
		priors.FootSigmaMM = vision.HangMost / 2 // a thread need not pass the centre
	}
	var obs []align.Observation
	if o.readings != "" {
		obs, err = o.byEye(opts, &priors)
	} else {
		if err := useLenses(&opts, o.lens); err != nil {
			return err
		}
		if opts.Horizon = o.stance.country(); opts.Horizon != nil {
			priors.HorizonSigma = opts.Horizon.Sigma
		}
		obs, err = o.byPhoto(cmd.Context(), s, opts, args, &priors)
	}
	if err != nil {
		return err
	}
	if o.clock {
		priors.ClockSigma = align.AskedClock
	}
	r, err := align.Solve(obs, priors, align.Options{True: o.trueHeading.given(), Goal: o.goal.angle()})
	if err != nil {
		return err
	}
	if err := cmd.Context().Err(); err != nil {
		return err
	}
	out := alignResult{Result: r}
	if r.Code != "" { // nothing is determined, and nothing kept
		if o.save != "" || o.figure != "" {
			s.note("nothing_written", "no file is written: the readings are not believable")
		}
		if err := out.print(s); err != nil {
			return err
		}
		return errOutside
	}
	if err := o.write(s, r); err != nil {
		return err
	}
	if o.tolerance.set {
		out.Tolerance, out.Judged = new(o.tolerance.value), new(r.Judge(o.tolerance.angle()))
	}
	if err := out.print(s); err != nil {
		return err
	}
	if j := out.Judged; j != nil && *j != align.Within {
		return errOutside
	}
	return nil
}

// byEye reads the file of numbers.
func (o *alignOptions) byEye(opts reading.Options, priors *align.Priors) ([]align.Observation, error) {
	f, err := openfile.Regular(o.readings)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	list, err := align.ReadReadings(f, o.readings)
	if err != nil {
		return nil, err
	}
	place, err := photo.ResolvePosition(photo.Facts{}, opts.Position)
	if err != nil {
		return nil, asUsage(err)
	}
	for i := range list { // the watch's error, as that of a camera's clock
		list[i].Time = list[i].Time.Add(-o.photo.clockError.duration())
	}
	priors.PositionSigmaKM = place.SigmaKM
	if opts.Time.Sigma != nil {
		priors.ClockSigma = *opts.Time.Sigma
	} else {
		priors.ClockSigma = photo.SigmaTimeOption
	}
	body := bearing.Sun
	if opts.Body != nil {
		body = *opts.Body
	}
	dial := align.Dial{ZeroAt: o.zeroAt.angle(), CounterClockwise: !o.clockwise, Step: o.step.angle(), Sigma: o.eye.angle(), RadiusMM: o.radius.value}
	return dial.Observations(list, body, place.Position, o.elevation.value)
}

// byPhoto reads the photos. One that gives no heading takes no part.
func (o *alignOptions) byPhoto(ctx context.Context, s *streams, opts reading.Options, args []string, priors *align.Priors) ([]align.Observation, error) {
	paths, err := expand(s, args)
	if err == nil {
		err = thereAre(paths)
	}
	if err != nil {
		return nil, err
	}
	bar := progress{s: s}
	defer bar.wipe()
	bar.show("reading %s", wording.Count(len(paths), "photo"))
	var obs []align.Observation
	var set []*reading.Result
	err = inOrder(ctx, len(paths), int(o.jobs.value), func(ctx context.Context, i int) *reading.Result {
		return reading.Read(ctx, paths[i], opts)
	}, func(i int, r *reading.Result) error {
		bar.wipe()
		if !r.OK() {
			s.note("photo_refused", "%s is left out (%s): %s", r.Photo, r.Reason, r.Message)
			return nil
		}
		defer bar.show("read %d of %d photos", i+1, len(paths))
		set = append(set, r)
		stand := ""
		if o.turned || o.reversed.on {
			stand = r.Photo
		}
		one := r.Observation(stand, o.photo.clockError.duration())
		if i := slices.IndexFunc(obs, one.Same); i >= 0 {
			s.note("same_photo", "%s is left out: the same photo as %s", r.Photo, obs[i].Label)
			return nil
		}
		obs = append(obs, one)
		return nil
	})
	if err != nil {
		return nil, err
	}
	if err := reading.SharePriors(priors, set); err != nil {
		return nil, err
	}
	if !o.turned && !o.reversed.on && align.Turned(obs) {
		return nil, fault.New("instrument_turned", "give --turned, or only photos between which it was not touched",
			"the photos show the sheet on different headings")
	}
	return obs, nil
}

// write writes the figure and the record. Both are composed before either is written.
func (o *alignOptions) write(s *streams, r *align.Result) error {
	var figure, record bytes.Buffer
	if o.figure != "" {
		if err := r.WriteSVG(&figure); err != nil {
			return err
		}
	}
	if o.save != "" {
		if err := o.record(s, r, &record); err != nil {
			return err
		}
	}
	return writeComposed(s, o.force, composed{o.figure, &figure}, composed{o.save, &record})
}

func (o *alignOptions) record(s *streams, r *align.Result, w io.Writer) error {
	base := instrument.Record{
		Name: o.name, Gnomon: instrument.Rod,
		HeightMM: o.photo.rodHeight.value, DiameterMM: o.photo.rodDiameter.value, NodusMM: o.photo.nodusHeight.value,
		LevelSigma: o.photo.level.angle(), AlignmentSigma: o.photo.alignment.angle(),
	}
	if o.lens != "" {
		base.Lens = lensFrom(o.save, o.lens)
	}
	record, err := r.Record(base)
	if err != nil {
		return err
	}
	if o.photo.plumbLine {
		if r.Leans() {
			tilt, _, sigma := r.Lean()
			s.note("plumb_line_leans", "the readings show a lean of %.2f° ± %.2g°, which a plumb line cannot have: it touches something, or the wind stood on it", tilt.Degrees(), sigma.Degrees())
		}
		record = record.Hung()
	}
	return record.Write(w)
}

// lensFrom names the lens record as seen from the folder of the instrument's, so that
// the two can be moved together.
func lensFrom(record, lens string) string {
	from, errA := filepath.Abs(filepath.Dir(record))
	to, errB := filepath.Abs(lens)
	if errors.Join(errA, errB) != nil {
		return lens
	}
	if rel, err := filepath.Rel(from, to); err == nil {
		return filepath.ToSlash(rel)
	}
	return to
}

// alignResult is what align says.
type alignResult struct {
	*align.Result
	Tolerance *float64   // degrees; nil where none was asked for
	Judged    *align.Fit // against it
}

// MarshalJSON adds the tolerance to the object of package align.
func (r alignResult) MarshalJSON() ([]byte, error) {
	object, err := r.Result.MarshalJSON()
	if err != nil {
		return nil, err
	}
	tail := "}"
	if r.Judged != nil {
		tail = fmt.Sprintf(`,"tolerance_deg":%g,"judged":%q}`, *r.Tolerance, *r.Judged)
	}
	return append(bytes.TrimSuffix(object, []byte("}")), tail...), nil
}

// alignValue is a line of the result: name, value, sigma, unit.
type alignValue struct {
	name, value, sigma, unit string
	determined               bool
	rests                    string
}

func (r alignResult) values(places func(angle.Angle) int) (out []alignValue) {
	if r.Code != "" {
		return nil // zeros would pass for estimates
	}
	rests := func(share float64, on string) string {
		if share < 0.5 {
			return ""
		}
		return on
	}
	deg := func(name string, e align.Estimate[angle.Angle], bearing bool) {
		n := places(e.Sigma)
		value := wording.SignedNumber(e.Value.Degrees(), n)
		if bearing {
			value = wording.Bearing(e.Value, n)
		}
		out = append(out, alignValue{name, value, wording.Fixed(e.Sigma, n), "deg", e.Determined, rests(e.PriorShare, e.RestsOn)})
	}
	mm := func(name string, e align.Estimate[float64]) {
		out = append(out, alignValue{name, strconv.FormatFloat(e.Value, 'f', 3, 64), strconv.FormatFloat(e.Sigma, 'f', 3, 64), "mm", e.Determined, rests(e.PriorShare, e.RestsOn)})
	}
	for _, st := range r.Stands {
		if st.Used {
			deg(strings.TrimSpace("heading "+plain(st.Name)), st.Heading, true)
		}
	}
	if l := r.Lubber; l != nil {
		deg("lubber correction", *l, false)
	}
	deg("lean to starboard", r.LeanStarboard, false)
	deg("lean forward", r.LeanForward, false)
	mm("foot to starboard", r.FootStarboardMM)
	mm("foot forward", r.FootForwardMM)
	if h := r.HeightMM; h != nil {
		mm("rod height", *h)
	}
	c := r.Clock
	out = append(out, alignValue{"clock fast by", strconv.FormatFloat(c.Value.Seconds(), 'f', 1, 64), strconv.FormatFloat(c.Sigma.Seconds(), 'f', 1, 64), "s", c.Determined, rests(c.PriorShare, c.RestsOn)})
	return out
}

func (r alignResult) print(s *streams) error {
	switch {
	case s.json:
		return s.printJSON(r)
	case s.outTTY:
		return r.forPeople(s)
	}
	t := &table{s: s}
	var rows [][]string
	for _, v := range r.values(func(angle.Angle) int { return 5 }) {
		state := "open"
		if v.determined {
			state = "determined"
		}
		rows = append(rows, []string{"value", v.name, strings.TrimPrefix(v.value, "+"), v.sigma, v.unit, state, v.rests})
	}
	for _, x := range r.Terms {
		aside := ""
		if x.SetAside {
			aside = "set aside"
		}
		rows = append(rows, []string{"reading", plain(x.Label), x.Sky.Time.UTC().Format(time.RFC3339Nano), wording.Fixed(x.Residual, 5), wording.Fixed(x.DirectionSigma, 5), aside})
	}
	for _, line := range r.verdict() {
		rows = append(rows, []string{"verdict", plain(line)})
	}
	for _, row := range rows {
		if err := t.row("", row...); err != nil {
			return err
		}
	}
	return nil
}

// verdict is align's, with the word on the tolerance before it.
func (r alignResult) verdict() []string {
	lines := r.Verdict()
	if r.Judged == nil {
		return lines
	}
	text := map[align.Fit]string{
		align.Within:    "within tolerance: with the sun at 45° a heading read as if nothing were off is right within %g°",
		align.Outside:   "outside tolerance: with the sun at 45° a heading read as if nothing were off is wrong by more than %g°",
		align.NotProved: "not proved: the readings leave open whether a heading with the sun at 45° is right within %g°",
	}[*r.Judged]
	return slices.Insert(lines, 0, fmt.Sprintf(text, *r.Tolerance))
}

func (r alignResult) forPeople(s *streams) error {
	for i, line := range r.verdict() {
		line = s.wrap(2, plain(line))[1:]
		if i == 0 && r.Judged != nil {
			st := bold
			if *r.Judged != align.Within {
				st = red
			}
			line = s.paint(st, line)
		}
		fmt.Fprintf(s.out, "-%s\n", line)
	}
	values := r.values(wording.Places)
	if len(values) > 0 {
		fmt.Fprintln(s.out)
	}
	width := 0
	for _, v := range values {
		width = max(width, len([]rune(v.name)))
	}
	t := table{s: s, columns: []column{{head: "", width: width}, {head: "value", right: true, width: 8}, {head: "± 1 sigma", right: true}, {head: "unit"}, {head: "notes"}}}
	for _, v := range values {
		var notes []string
		if !v.determined {
			notes = append(notes, "not determined")
		}
		if v.rests != "" {
			notes = append(notes, "rests on "+v.rests)
		}
		st := style("")
		if !v.determined {
			st = dim
		}
		if err := t.row(st, v.name, v.value, v.sigma, v.unit, strings.Join(notes, ", ")); err != nil {
			return err
		}
	}
	fmt.Fprintln(s.out)
	names, width := newPrinter(s, labelsOf(r.Result), shown{}), 0
	for _, x := range r.Terms {
		width = max(width, len([]rune(names.label(x.Label))))
	}
	t = table{s: s, columns: []column{{head: "reading", width: width}, {head: "time UTC", width: 19}, {head: "azimuth", right: true}, {head: "altitude", right: true}, {head: "residual", right: true}, {head: "± 1 sigma", right: true}, {head: "notes"}}}
	for _, x := range r.Terms {
		st, note := style(""), ""
		if x.SetAside {
			st, note = red, "set aside"
		}
		n := wording.Places(x.DirectionSigma)
		if err := t.row(st, plain(names.label(x.Label)), x.Sky.Time.UTC().Format(time.DateTime), wording.Bearing(x.Sky.Azimuth, 1)+"°", wording.Fixed(x.Sky.Altitude, 1)+"°",
			wording.Signed(x.Residual, n), wording.Fixed(x.DirectionSigma, n)+"°", note); err != nil {
			return err
		}
	}
	return nil
}

func labelsOf(r *align.Result) (labels []string) {
	for _, x := range r.Terms {
		labels = append(labels, x.Label)
	}
	return labels
}
