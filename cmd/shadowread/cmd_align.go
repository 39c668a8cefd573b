package main

import (
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"shadowread/internal/align"
	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/reading"
	"shadowread/internal/telling"
)

type alignOptions struct {
	photo    photoFlags
	readings string
	turned   bool
	reversed reversedFlags
	stance   stanceFlags
	// What is taken of the instrument before the readings.
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

	leftOut []string // why, of each photo that gave no heading
}

const alignHelp = `Find what is off in a sun compass, from shadows: which way its rod leans from
plumb, where the rod's foot stands, which way the sheet points, and with
--true-heading how far the sheet's axis is from the vehicle's, the lubber line.
What the readings do not determine is said, and so is how much longer to go on.

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
stood still: --level-sigma and --lubber-sigma go into the record.

With --tolerance the exit status is 4 unless the greatest error of an
uncorrected heading with the sun at 45 degrees is within it by two sigmas.`

func newAlign(s *streams) *cobra.Command {
	known, dial := align.DefaultPriors(), align.SheetDial()
	degrees := func(a angle.Angle, least, most float64) quantity {
		return quantity{value: a.Degrees(), least: least, most: most, unit: "deg", text: telling.Figures(a.Degrees())}
	}
	o := alignOptions{
		photo:       newPhotoFlags(),
		square:      degrees(known.RodSigma, 0, 20),
		plate:       degrees(known.PlateSigma, 0, 20),
		foot:        quantity{value: known.FootSigmaMM, least: 0, most: 50, unit: "mm", text: telling.Figures(known.FootSigmaMM)},
		trueHeading: parsed[align.TrueHeading]{name: "D[,SIGMA]", parse: parseTrueHeading},
		goal:        degrees(0.1*angle.Degree, 0.01, 10),
		zeroAt:      quantity{value: dial.ZeroAt.Degrees(), least: 0, most: 360, unit: "deg", text: "180"},
		step:        degrees(dial.Step, 0, 30),
		eye:         degrees(dial.Sigma, 0.01, 20),
		radius:      quantity{value: dial.RadiusMM, least: 5, most: 5000, unit: "mm", text: telling.Figures(dial.RadiusMM)},
		elevation:   elevationFlag(),
		tolerance:   quantity{least: 0.01, most: 45, unit: "deg"},
		jobs:        jobsFlag(),
		reversed:    newReversedFlags(),
		stance:      newStanceFlags(),
	}
	cmd := &cobra.Command{
		Use:   "align PHOTO|FOLDER...|--readings FILE",
		Short: "prove a sun compass: its rod, its lubber line, its clock",
		Long:  alignHelp,
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
	f.Var(&o.plate, "board-sigma", "one sigma of the board from level while it is proved: 3 by eye, 0.5 with a bubble")
	f.Var(&o.foot, "foot-sigma", "one sigma of the rod's foot from the dial's centre")
	f.Var(&o.zeroAt, "zero-at", "where the dial's 0 stands, clockwise from forward")
	f.BoolVar(&o.clockwise, "clockwise", false, "the dial's numbers run clockwise, seen from above")
	f.Var(&o.step, "step", "what the dial is read to")
	f.Var(&o.eye, "eye-sigma", "one sigma of a number read by eye, beside the rounding to --step")
	f.Var(&o.radius, "radius", "of the dial's scale, where the shadow is read")
	f.Var(&o.elevation, "elevation", "above sea level, with --readings (default 0)")
	o.photo.add(cmd, "of no use here: a series has many `TIME`s")
	for name, usage := range map[string]string{
		"level-sigma":  "for the record: what a new setting-up changes of the rod from plumb; 0.5 with a bubble, 2 by eye, 0 if never moved",
		"lubber-sigma": "for the record: the same of the sheet's forward axis against the vehicle's",
		"rod-height":   "rod above the sheet; lets the shadow's length tell of the lean",
	} {
		f.Lookup(name).Usage = usage
	}
	f.Lookup("time").Hidden = true
	f.Var(&o.jobs, "jobs", "photos read at once (default the number of processors)")
	addJSON(cmd, s)
	inGroup(cmd, everyday, "rod-height", "turned", "reversed", "true-heading", "save", "name", "tolerance", "utc-offset", "position", "json")
	inGroup(cmd, "Numbers read by eye, in place of photos", "readings", "zero-at", "clockwise", "step", "eye-sigma", "radius", "elevation")
	inGroup(cmd, "With --reversed", "centring-sigma", "sides-sigma", "surface-sigma")
	inGroup(cmd, photosOnly, slices.Concat(photoNames, []string{"print-scale", "jobs"})...)
	inGroup(cmd, seldom)
	return cmd
}

func parseTrueHeading(s string) (align.TrueHeading, error) {
	out := align.TrueHeading{Sigma: 0.5 * angle.Degree} // a landmark taken off a map (common practice)
	heading, sigma, both := strings.Cut(s, ",")
	h, err := strconv.ParseFloat(strings.TrimSpace(heading), 64)
	if err != nil || !(h >= 0 && h <= 360) {
		return out, fault.Usage("bad_true_heading", "give degrees from 0 to 360 and, after a comma, one sigma, as 64.0,0.2", "%.40q is no heading", heading)
	}
	out.Heading = angle.FromDegrees(h).Bearing()
	if both {
		x, err := strconv.ParseFloat(strings.TrimSpace(sigma), 64)
		if err != nil || !(x >= 0 && x <= 45) {
			return out, fault.Usage("bad_true_heading", "give degrees from 0 to 360 and, after a comma, one sigma, as 64.0,0.2", "%.40q is no sigma from 0 to 45 degrees", sigma)
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
		priors.FootSigmaMM = reading.HangingFootMM
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
		return o.withLeftOut(err)
	}
	if err := cmd.Context().Err(); err != nil {
		return err
	}
	out := alignResult{Result: r}
	if r.Code != "" { // nothing is determined, and nothing kept
		if o.save != "" || o.figure != "" {
			s.note("nothing_written", "no file is written: the readings are not believable")
		}
		if err := out.output(s); err != nil {
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
	if err := out.output(s); err != nil {
		return err
	}
	if j := out.Judged; j != nil && *j != align.Within {
		return errOutside
	}
	return nil
}
