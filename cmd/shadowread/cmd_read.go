package main

import (
	"cmp"
	"context"
	"fmt"
	"runtime"
	"sync"

	"github.com/spf13/cobra"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/fault"
	"shadowread/internal/logbook"
	"shadowread/internal/logreading"
	"shadowread/internal/overlay"
	"shadowread/internal/photo"
	"shadowread/internal/reading"
	"shadowread/internal/vision"
)

// photoFlags is what a user may know beside a photo.
type photoFlags struct {
	when                     when
	clockError               quantity
	timeSigma, positionSigma quantity
	place                    place
	body                     parsed[*bearing.Body]
	rodHeight, rodDiameter   quantity
	nodusHeight              quantity
	plumbLine                bool
	printScale               parsed[[2]float64]
	level, alignment         quantity
}

func newPhotoFlags() photoFlags {
	return photoFlags{
		clockError:    quantity{min: -366 * 86400, max: 366 * 86400, unit: "s"},
		timeSigma:     quantity{min: 0, max: 43200, unit: "s"}, // half a day: beyond it any azimuth will do
		positionSigma: quantity{min: 0, max: 1000, unit: "km"},
		body:          newBodyFlag(),
		rodHeight:     rodHeightFlag(),
		rodDiameter:   rodDiameterFlag(),
		nodusHeight:   quantity{min: 3, max: 400, unit: "mm"},
		printScale:    parsed[[2]float64]{name: "X,Y", parse: parsePrintScale},
		level:         quantity{value: reading.DefaultLevel.Degrees(), min: 0, max: 20, unit: "deg", text: "0.5"},
		alignment:     quantity{min: 0, max: 45, unit: "deg", text: "0"},
	}
}

func (p *photoFlags) add(cmd *cobra.Command, timeUsage string) {
	f := cmd.Flags()
	p.when.add(f, timeUsage, "of the camera's clock or of --time, as +02:00 or 2; east is positive")
	f.Var(&p.clockError, "clock-error", "how much the camera's clock is fast")
	f.Var(&p.timeSigma, "time-sigma", "one sigma of the time (default by its source, see help time)")
	p.place.add(f, "where, as -20.6142,25.4310 or \"20 36.852 S, 25 25.860 E\" (default from the photo)")
	f.Var(&p.positionSigma, "position-sigma", fmt.Sprintf("one sigma of the position in each direction (default %g for --position, %g for a GPS fix)", photo.SigmaPositionOptionKM, photo.SigmaPositionGPSKM))
	f.Var(&p.body, "body", "sun, moon, or auto: the sun if it is up, else the moon")
	f.Var(&p.rodHeight, "rod-height", "rod above the sheet; lets the shadow's length check the clock")
	f.Var(&p.nodusHeight, "nodus-height", "of the middle of a bead or ring of tape on the rod, 20 mm say: checks the clock where the tip's shadow is off the sheet")
	f.Var(&p.rodDiameter, "rod-diameter", "of the rod; helps to tell its shadow from others")
	f.BoolVar(&p.plumbLine, "plumb-line", false, "the gnomon is a thread with a weight, within 10 mm of the printed foot (see docs/alignment.md)")
	f.Var(&p.printScale, "print-scale", "printed over nominal, athwart and fore-and-aft, as 1.000,0.995")
	f.Var(&p.level, "level-sigma", "one sigma of the rod from plumb across the shadow: 0.5 with a bubble, 2 by eye")
	f.Var(&p.alignment, "alignment-sigma", "one sigma of the sheet's forward axis against the vehicle's (default 0: the heading is the sheet's)")
	words(cmd, "body", "auto", "sun", "moon")
}

// options checks what was given and returns it as the reader wants it.
func (p *photoFlags) options(cmd *cobra.Command) (reading.Options, error) {
	r := reading.Options{
		Position:   positionOptions(&p.place, &p.positionSigma),
		Body:       p.body.value,
		Rod:        vision.Rod{HeightMM: p.rodHeight.value, NodusMM: p.nodusHeight.value, DiameterMM: p.rodDiameter.value, Hangs: p.plumbLine},
		PrintScale: p.printScale.given(),
		Level:      p.level.angle(),
		Alignment:  p.alignment.angle(),
	}
	if err := exclusive(cmd, "time", "clock-error"); err != nil {
		return r, err
	}
	var err error
	if r.Time.At, err = p.when.at(); err != nil {
		return r, err
	}
	r.Time.UTCOffset = p.when.stated()
	if p.clockError.set {
		r.Time.ClockError = new(p.clockError.duration())
	}
	if p.timeSigma.set {
		r.Time.Sigma = new(p.timeSigma.duration())
	}
	return r, nil
}

// numberFlags is a number read by eye, in place of a photo.
type numberFlags struct{ number, sigma, length quantity }

func newNumberFlags() numberFlags {
	return numberFlags{quantity{min: 0, max: 360, unit: "deg"}, quantity{min: 0.01, max: 45, unit: "deg"}, quantity{min: 1, max: 2000, unit: "mm"}}
}

func (n *numberFlags) add(cmd *cobra.Command) {
	cmd.Flags().Var(&n.number, "number", "heading for this number under the shadow, read by eye, without a photo")
	cmd.Flags().Var(&n.sigma, "number-sigma", "one sigma of --number (default 0.5)")
	cmd.Flags().Var(&n.length, "length", "of the shadow from foot to tip, read by eye beside --number; checks the clock with --rod-height")
}

// read returns the heading that the number gives.
func (n *numberFlags) read(cmd *cobra.Command, o reading.Options) (*reading.Result, error) {
	for _, name := range []string{"clock-error", "rod-diameter", "nodus-height"} {
		if err := exclusive(cmd, "number", name); err != nil {
			return nil, err
		}
	}
	switch {
	case n.length.set && o.Rod.HeightMM <= 0:
		return nil, fault.Usage("length_without_height", "give --rod-height too", "--length has no meaning without --rod-height")
	case !n.length.set && cmd.Flags().Changed("rod-height"):
		return nil, fault.Usage("contradicting_flags", "give --length too, the shadow's length, or leave --rod-height out", "--number and --rod-height contradict each other without --length")
	}
	if o.Time.At == nil || o.Position.Position == nil && o.Position.Estimate == nil {
		return nil, fault.Usage("number_alone", "give --time and --position too", "--number needs a time and a position")
	}
	sigma := angle.Angle(0) // the reader's default
	if n.sigma.set {
		sigma = n.sigma.angle()
	}
	o.LengthMM = n.length.value
	return reading.ReadNumber(cmd.Context(), n.number.angle(), sigma, o), nil
}

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
	odometer      parsed[logbook.Odometer]
	stood         bool
	overlay       string
	sameStand     bool
	jobs          quantity
}

const maxJobs = 256

func newRead(s *streams) *cobra.Command {
	o := readOptions{
		photo:       newPhotoFlags(),
		stance:      newStanceFlags(),
		course:      quantity{min: 0, max: 360, unit: "deg"},
		number:      newNumberFlags(),
		declination: newDeclinationFlags(),
		odometer:    newOdometerFlag(),
		jobs:        jobsFlag(),
	}
	cmd := &cobra.Command{
		Use:   "read PHOTO|FOLDER...",
		Short: "read true headings from photos",
		Long: `Read the true heading of the sheet's forward axis from each photo, with its
uncertainty (one sigma) and what makes it up. Photos are JPEG, PNG, TIFF or
HEIC. Of a folder its photos are read in the order of their names, not those of
folders in it.

Time and place come from the photo where it carries them (see shadowread help
time); messaging programs strip them, so send photos as files. A photo that
cannot be trusted is refused with a reason and what to do about it.

With --number no photo is needed: read by eye the number under the middle of the
shadow and give it with --time and --position.

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
come since: if not, you may be anywhere that 120 km/h lead.` +
			exits(exitOK, exitError, exitUsage, exitRefused, exitInterrupted),
		Example: `  shadowread read photo.jpg
  shadowread read --rod-height 50 --course 275 photo.jpg
  shadowread read --time 2026-03-14T09:26:53+02:00 --position -20.6142,25.4310 photo.jpg
  shadowread read --overlay out photos
  shadowread read --course 275 --deviation-card fixtures/compass/card.json photo.jpg
  shadowread read --instrument fixtures/instrument/board.toml fixtures/instrument/series
  shadowread read --json photos > headings.jsonl
  shadowread read --log day.db photo.jpg
  shadowread read --number 55.2 --time 2026-03-14T09:26:53+02:00 --position "20 36.852 S, 25 25.860 E"`,
		RunE: func(cmd *cobra.Command, args []string) error { return runRead(cmd, s, &o, args) },
	}
	f := cmd.Flags()
	f.SortFlags = false // grouped by what they are about
	o.photo.add(cmd, "the `TIME` of one photo, as 2026-03-14T09:26:53+02:00")
	o.stance.add(cmd)
	f.Var(&o.course, "course", "the true course to steer: says how far to come right or left")
	o.number.add(cmd)
	o.declination.add(cmd)
	f.StringVar(&o.deviationCard, "deviation-card", "", "a card `FILE` of shadowread swing: gives the compass's heading")
	f.BoolVar(&o.grid, "grid", false, "give the polar grid heading anywhere (within 10 degrees of a pole it is given unasked)")
	o.known.add(cmd)
	f.StringVar(&o.log.file, "log", "", "the log `FILE` of the journey: its estimated position serves where there is no other (default what "+logVariable+" names)")
	f.Var(&o.odometer, "odometer", "what the odometer reads, to go on from the log's last entry")
	f.BoolVar(&o.stood, "stood", false, "nothing was run since the log's last entry")
	f.StringVar(&o.overlay, "overlay", "", "write a copy of each photo, with what was found drawn in, into this `DIR`")
	f.BoolVar(&o.sameStand, "same-stand", false, "all photos show one standing board from different sides: rod's lean, tilt and heading are common")
	f.Var(&o.jobs, "jobs", "photos read at once (default the number of processors)")
	addJSON(cmd, s)
	return cmd
}

func jobsFlag() quantity {
	return quantity{value: float64(runtime.GOMAXPROCS(0)), min: 1, max: maxJobs}
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
func (o *readOptions) since() *logbook.Run {
	if o.odometer.set {
		return new(logbook.ByOdometer(o.odometer.value))
	}
	if o.stood {
		return &logbook.Run{Stood: true}
	}
	return nil
}

// readWith reads with a log to take positions from; nil for none.
func readWith(cmd *cobra.Command, s *streams, o *readOptions, opts reading.Options, book *logbook.Log, args []string) error {
	show := shown{course: o.course.set, norths: o.grid || opts.Declination != nil || opts.Card != nil}
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
	return readPhotos(cmd.Context(), s, photos, int(o.jobs.value), show, func(ctx context.Context, path string) (*reading.Result, error) {
		if err := thereIs(path); err != nil {
			return nil, err
		}
		r, err := logreading.Photo(ctx, book, path, opts, o.since())
		if err != nil || o.overlay == "" || ctx.Err() != nil {
			return r, err
		}
		_, err = overlay.Write(path, r, o.overlay)
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
	r, err := o.number.readAtEstimate(cmd, book, opts, o.since())
	if err != nil {
		return err
	}
	if r.Place != nil {
		s.note("position", "using %s", r.Place.Position)
	}
	if err := newPrinter(s, nil, show).print(r); err != nil {
		return err
	}
	if !r.OK() {
		return errRefused
	}
	return nil
}

// waiting bounds the results that wait for a slower one before them, for each job.
const waiting = 4

// inOrder does up to jobs of n things at once and hands their results on in order. It
// holds no more than jobs things and waiting*jobs results. What take returns ends it.
func inOrder[T any](ctx context.Context, n, jobs int, do func(ctx context.Context, i int) T, take func(i int, result T) error) error {
	// A failed take ends the workers too.
	ctx, cancel := context.WithCancel(ctx)
	var running sync.WaitGroup
	defer running.Wait() // a file that is being written is finished
	defer cancel()

	queue := make(chan chan T, waiting*jobs)
	free := make(chan struct{}, jobs)
	running.Go(func() {
		defer close(queue)
		for i := range n {
			done := make(chan T, 1)
			select {
			case queue <- done:
			case <-ctx.Done():
				return
			}
			select {
			case free <- struct{}{}:
			case <-ctx.Done():
				return
			}
			running.Go(func() {
				defer func() { <-free }()
				done <- do(ctx, i)
			})
		}
	})
	for i := range n {
		var got T
		select {
		case done := <-queue: // nil, for ever empty, once the queue is given up
			select {
			case got = <-done:
			case <-ctx.Done():
			}
		case <-ctx.Done():
		}
		if err := ctx.Err(); err != nil { // what a cancelled thing returns is not handed on
			return err
		}
		if err := take(i, got); err != nil {
			return err
		}
	}
	return nil
}

// readPhotos reads up to jobs photos at once and prints the results in the order of
// paths.
func readPhotos(ctx context.Context, s *streams, paths []string, jobs int, show shown, read func(context.Context, string) (*reading.Result, error)) error {
	type outcome struct {
		result *reading.Result
		err    error
	}
	p := newPrinter(s, paths, show)
	bar := progress{s: s}
	defer bar.wipe()
	tell := func(i int) {
		if i < len(paths) {
			bar.show("reading %d of %d: %s", i+1, len(paths), paths[i])
		}
	}
	refused := 0
	var failed, said error // the first, and that others were said; other headings are worth having
	tell(0)
	err := inOrder(ctx, len(paths), jobs, func(ctx context.Context, i int) outcome {
		r, err := read(ctx, paths[i])
		return outcome{r, err}
	}, func(i int, got outcome) error {
		bar.wipe()
		defer tell(i + 1)
		if got.result != nil {
			if err := p.print(got.result); err != nil {
				return err
			}
			if !got.result.OK() {
				refused++
			}
		}
		switch {
		case got.err == nil:
		case got.result == nil && len(paths) > 1: // this photo has no line of its own
			s.say(message{Level: "error", Code: fault.Code(got.err), Message: got.err.Error(), Hint: fault.Hint(got.err)})
			said = errSaid
		case failed == nil:
			failed = got.err
		}
		return nil
	})
	if err != nil {
		return err
	}
	p.footer()
	if err := cmp.Or(failed, said); err != nil {
		return err
	}
	if refused > 0 {
		if len(paths) > 1 {
			s.note("refused", "%d of %d photos refused", refused, len(paths))
		}
		return errRefused
	}
	return nil
}
