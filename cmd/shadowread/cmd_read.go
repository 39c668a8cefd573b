package main

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/fault"
	"shadowread/internal/logbook"
	"shadowread/internal/logreading"
	"shadowread/internal/photo"
	"shadowread/internal/reading"
	"shadowread/internal/wording"
)

type readOptions struct {
	photo         photoFlags
	stance        stanceFlags
	course        quantity
	number        numberFlags
	declination   declinationFlags
	deviationCard string
	grid          bool
	known         knownFlags
	log           logFlag
	odometer      inUnit[logbook.Odometer]
	stood         bool
	overlay       string
	sameStand     bool
	allTerms      bool
	timing        bool
	jobs          quantity
}

const readHelp = `Read the true heading of the sheet's forward axis from each photo, with its
uncertainty (95 %) and what makes that up (one sigma). Photos are JPEG, PNG,
TIFF or HEIC. Of a folder its photos are read in the order of their names, not
those of folders in it.

Time and place come from the photo where it carries them (see shadowread help
time); messaging programs strip them, so send photos as files. A photo that
cannot be trusted is refused with a reason and what to do about it.

With --number no photo is needed: read by eye the number under the middle of the
shadow and give it with --position, and with --time unless it is now.

A lens solved by shadowread lens is used by itself for the photos of its camera,
or named by --lens; it also shows a stretched print. With the record of an
instrument that was proved (--instrument, see shadowread align) the heading is
corrected for what was found, and only what remains of it is in the uncertainty.

The magnetic heading goes beside the true one: magnetic = true - declination,
from the World Magnetic Model 2025 or --declination, east positive. With a
deviation card (see shadowread swing) so do the heading of the compass on board,
compass = magnetic - deviation, and what it must show to steer --course. Within
10 degrees of a pole, or with --grid, the grid heading is given, from the
direction of the Greenwich meridian: true - longitude in the north, true +
longitude in the south.

With the log of a journey (--log, or ` + logVariable + `) a photo or number
without a place is read at the log's estimated position for its time, whose
error is in the uncertainty; nothing is written to the log (see shadowread log
leg). After the log's last entry, say by --odometer or --stood how far you have
come since: if not, you may be anywhere that 120 km/h lead.`

func newRead(s *streams) *cobra.Command {
	o := readOptions{
		photo:       newPhotoFlags(),
		stance:      newStanceFlags(),
		course:      quantity{least: 0, most: 360, unit: "deg"},
		number:      newNumberFlags(),
		declination: newDeclinationFlags(),
		odometer:    newOdometerFlag(),
		jobs:        jobsFlag(),
	}
	cmd := &cobra.Command{
		Use:   "read PHOTO|FOLDER...",
		Short: "read true headings from photos",
		Long:  readHelp,
		Example: `  shadowread read fixtures/demo/01-leaving-camp.jpg
  shadowread read --rod-height 50 --course 60 fixtures/demo/02-second-truck.jpg
  shadowread read --time 2026-08-29T08:12:31+02:00 --position -22.9,22.3 fixtures/journey/29-august/01.jpg
  shadowread read --overlay out fixtures/instrument/series
  shadowread read --course 60 --deviation-card fixtures/compass/card.json fixtures/demo/02-second-truck.jpg
  shadowread read --instrument fixtures/instrument/board.toml fixtures/instrument/series
  shadowread read --json fixtures/instrument/series > headings.jsonl
  shadowread read --number 55.2 --time 2026-03-14T09:26:53+02:00 --position "20 36.852 S, 25 25.860 E"
  shadowread log import --log pan.db --entries fixtures/journey/first-truck.csv
  shadowread read --log pan.db fixtures/journey/30-august/12.jpg`,
		RunE: func(cmd *cobra.Command, args []string) error { return runRead(cmd, s, &o, args) },
	}
	f := cmd.Flags()
	f.SortFlags = false // grouped by what they are about
	o.photo.add(cmd, "the `TIME` of one photo, as 2026-03-14T09:26:53+02:00")
	o.stance.add(cmd)
	f.Var(&o.course, "course", "the true course to steer: says how far to turn right or left")
	o.number.add(cmd)
	o.declination.add(cmd)
	f.StringVar(&o.deviationCard, "deviation-card", "", "a card `FILE` of shadowread swing: gives the compass's heading")
	f.BoolVar(&o.grid, "grid", false, "give the polar grid heading anywhere (within 10 degrees of a pole it is given unasked)")
	o.known.add(cmd)
	f.StringVar(&o.log.file, "log", "", "the log `FILE` of the journey: its estimated position is taken where there is no other (default what "+logVariable+" names)")
	f.Var(&o.odometer, "odometer", "what the odometer reads, to go on from the log's last entry")
	f.BoolVar(&o.stood, "stood", false, "nothing was run since the log's last entry")
	f.StringVar(&o.overlay, "overlay", "", "write a copy of each photo, with what was found drawn in, into this `DIR`")
	f.BoolVar(&o.sameStand, "same-stand", false, "all photos show one standing board from different sides: rod's lean, tilt and heading are common")
	f.Var(&o.jobs, "jobs", "photos read at once (default the number of processors)")
	f.BoolVar(&o.allTerms, "all-terms", false, "list all that makes up the uncertainty, the terms below 5 % of it too")
	f.BoolVar(&o.timing, "timing", false, "tell, on standard error, how long the stages of each reading took")
	addJSON(cmd, s)
	inGroup(cmd, everyday, "rod-height", "course", "time", "utc-offset", "position", "instrument", "deviation-card", "overlay", "json")
	inGroup(cmd, byEye, "number", "number-sigma", "length")
	inGroup(cmd, withLog, "log", "odometer", "stood")
	inGroup(cmd, photosOnly, slices.Concat(photoNames, []string{"same-stand", "jobs", "timing"})...)
	inGroup(cmd, seldom)
	return cmd
}

func (o *readOptions) options(cmd *cobra.Command) (reading.Options, error) {
	r, err := o.photo.options(cmd)
	if err != nil {
		return r, err
	}
	if o.course.set {
		r.Course = new(o.course.angle().Bearing())
	}
	if r.Declination, err = o.declination.given(); err != nil {
		return r, err
	}
	if o.deviationCard != "" {
		if r.Card, err = loadCard(o.deviationCard); err != nil {
			return r, err
		}
	}
	r.Grid = o.grid
	return r, o.known.use(cmd, &r)
}

func runRead(cmd *cobra.Command, s *streams, o *readOptions, args []string) error {
	opts, err := o.options(cmd)
	if err != nil {
		return err
	}
	if err := exclusive(cmd, "odometer", "stood"); err != nil {
		return err
	}
	if o.log.file == "" && s.log == "" {
		for _, name := range []string{"odometer", "stood"} {
			if cmd.Flags().Changed(name) {
				return fault.Usage("flag_without_other", "give --log too", "--%s has no meaning without --log", name)
			}
		}
		return readWith(cmd, s, o, opts, nil, args)
	}
	err = o.log.with(cmd.Context(), s, false, func(book *logbook.Log) error {
		return readWith(cmd, s, o, opts, book, args)
	})
	if o.log.file == "" && fault.Code(err) == "no_log" {
		return readWith(cmd, s, o, opts, nil, args) // the variable speaks of a log to come
	}
	return err
}

// since is the way since the log's last entry; nil if it is not known.
func (o *readOptions) since(unit logbook.Unit) *logbook.Run { return wayOn(o.odometer, o.stood, unit) }

// readWith reads with a log to take positions from; nil for none.
func readWith(cmd *cobra.Command, s *streams, o *readOptions, opts reading.Options, book *logbook.Log, args []string) error {
	show := shown{course: o.course.set, norths: o.grid || opts.Declination != nil || opts.Card != nil, terms: o.allTerms, timing: o.timing}
	unit, err := unitIn(cmd.Context(), book)
	if err != nil {
		return err
	}
	j, err := o.settings(cmd, s, book, &opts)
	if err != nil {
		return err
	}
	if o.number.number.set {
		return runNumber(cmd, s, o, opts, book, show, args)
	}
	if o.number.sigma.set {
		return fault.Usage("sigma_without_number", "give --number too", "--number-sigma has no meaning without --number")
	}
	if o.number.length.set {
		return fault.Usage("length_without_number", "give --number too", "--length has no meaning without --number")
	}
	if len(args) == 0 {
		return fault.Usage("no_photo", "name photos or folders of photos, or give --number", "no photo given")
	}
	photos, err := expand(s, args)
	if err != nil {
		return err
	}
	if opts.Time.At != nil && len(photos) > 1 {
		return timeWithManyPhotos(len(photos))
	}
	if err := o.stance.use(cmd, &opts, len(photos)); err != nil {
		return err
	}
	if o.photo.place.set {
		s.note("position", "using %s", o.photo.place.value)
	}
	if at := opts.Time.At; at != nil {
		s.note("time", "using %s", at.UTC().Format("2006-01-02T15:04:05.999Z07:00"))
	}
	if o.sameStand {
		return readSameStand(cmd.Context(), s, o, opts, photos, show)
	}
	quiet := *s
	quiet.quiet = true // several are read at once
	camera := &journeySettings{cmd: cmd, s: &quiet, set: j.set}
	return readPhotos(cmd.Context(), s, photos, int(o.jobs.value), show, func(ctx context.Context, path string) (*reading.Result, error) {
		if err := thereIs(path); err != nil {
			return nil, err
		}
		opts := opts
		if err := camera.usePhoto(&opts, path); err != nil {
			return nil, err
		}
		r, err := logreading.Photo(ctx, book, path, opts, o.since(unit))
		warnAhead(r, timeNow())
		if err != nil || o.overlay == "" || ctx.Err() != nil {
			return r, err
		}
		err = writeOverlay(path, r, o.overlay)
		if !r.OK() && fault.Code(err) != "overlay_not_written" {
			return r, nil // a file that shows no picture has no overlay; the refusal says why
		}
		return r, err
	})
}

func runNumber(cmd *cobra.Command, s *streams, o *readOptions, opts reading.Options, book *logbook.Log, show shown, args []string) error {
	if len(args) > 0 {
		return fault.Usage("number_with_photo", "give one of the two", "--number and the photo %s contradict each other", args[0])
	}
	for _, name := range []string{"overlay", "jobs"} {
		if err := exclusive(cmd, "number", name); err != nil {
			return err
		}
	}
	if err := o.stance.use(cmd, &opts, 1); err != nil {
		return err
	}
	now := opts.Time.At == nil
	if err := readNow(&opts); err != nil {
		return err
	}
	unit, err := unitIn(cmd.Context(), book)
	if err != nil {
		return err
	}
	r, err := o.number.readAtEstimate(cmd, book, opts, o.since(unit))
	if err != nil {
		return err
	}
	warnAhead(r, time.Now())
	if now {
		s.note("time", "using now, %s", opts.Time.At.Format(time.RFC3339))
	}
	if r.Place != nil {
		s.note("position", "using %s", r.Place.Position)
	}
	if err := newPrinter(s, nil, show).output(r); err != nil {
		return err
	}
	if !r.OK() {
		return errRefused
	}
	return nil
}

// warnAhead warns of a reading of a time that has not come: a date or an offset is wrong, or
// this machine's clock.
func warnAhead(r *reading.Result, now time.Time) {
	if r == nil || r.Instant == nil {
		return
	}
	if ahead := r.Instant.UTC.Sub(now); ahead > aheadBy {
		r.Warnings = append(r.Warnings, photo.Warning{Code: string(logbook.OddAhead),
			Message: fmt.Sprintf("the time is one that the clock of this machine reaches in %s only: check date, hour and UTC offset", wording.Elapsed(ahead))})
	}
}

// aheadBy is by how much the clocks of a camera and of a machine part (common practice).
const aheadBy = 5 * time.Minute
