package main

import (
	"context"
	"fmt"
	"runtime"
	"sync"

	"github.com/spf13/cobra"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/fault"
	"shadowread/internal/photo"
	"shadowread/internal/reading"
	"shadowread/internal/vision"
)

type readOptions struct {
	when                     when
	clockError               quantity
	timeSigma, positionSigma quantity
	place                    place
	body                     parsed[*bearing.Body]
	rodHeight, rodDiameter   quantity
	printScale               parsed[[2]float64]
	level, alignment         quantity
	course                   quantity
	number, numberSigma      quantity
	overlay                  string
	jobs                     quantity
}

const maxJobs = 256

func newRead(s *streams) *cobra.Command {
	o := readOptions{
		clockError:    quantity{min: -366 * 86400, max: 366 * 86400, unit: "s"},
		timeSigma:     quantity{min: 0, max: 43200, unit: "s"}, // half a day: beyond it any azimuth will do
		positionSigma: quantity{min: 0, max: 1000, unit: "km"},
		body:          newBodyFlag(),
		rodHeight:     rodHeightFlag(),
		rodDiameter:   rodDiameterFlag(),
		printScale:    parsed[[2]float64]{name: "X,Y", parse: parsePrintScale},
		level:         quantity{value: reading.DefaultLevel.Degrees(), min: 0, max: 20, unit: "deg", text: "0.5"},
		alignment:     quantity{min: 0, max: 45, unit: "deg", text: "0"},
		course:        quantity{min: 0, max: 360, unit: "deg"},
		number:        quantity{min: 0, max: 360, unit: "deg"},
		numberSigma:   quantity{min: 0.01, max: 45, unit: "deg"},
		jobs:          quantity{min: 1, max: maxJobs},
	}
	cmd := &cobra.Command{
		Use:   "read PHOTO|FOLDER...",
		Short: "read true headings from photos",
		Long: `Read the true heading of the sheet's forward axis from each photo, with its
uncertainty (one sigma) and what makes it up. Photos are JPEG, PNG, TIFF or HEIC. Of
a folder its photos are read in the order of their names, not those of folders in it.

Time and place come from the photo where it carries them (see shadowread help time);
messaging programs strip them, so send photos as files. A photo that cannot be
trusted is refused with a reason and what to do about it.

With --number no photo is needed: read by eye the number under the middle of the
shadow and give it with --time and --position.` +
			exits(exitOK, exitError, exitUsage, exitRefused, exitInterrupted),
		Example: `  shadowread read photo.jpg
  shadowread read --rod-height 50 --course 275 photo.jpg
  shadowread read --time 2026-03-14T09:26:53+02:00 --position -20.6142,25.4310 photo.jpg
  shadowread read --overlay out photos
  shadowread read --json photos > headings.jsonl
  shadowread read --number 55.2 --time 2026-03-14T09:26:53+02:00 --position "20 36.852 S, 25 25.860 E"`,
		RunE: func(cmd *cobra.Command, args []string) error { return runRead(cmd, s, &o, args) },
	}
	f := cmd.Flags()
	f.SortFlags = false // grouped by what they are about
	o.when.add(f, "the `TIME` of one photo, as 2026-03-14T09:26:53+02:00", "of the camera's clock or of --time, as +02:00 or 2; east is positive")
	f.Var(&o.clockError, "clock-error", "how much the camera's clock is fast")
	f.Var(&o.timeSigma, "time-sigma", "one sigma of the time (default by its source, see help time)")
	o.place.add(f, "where, as -20.6142,25.4310 or \"20 36.852 S, 25 25.860 E\" (default from the photo)")
	f.Var(&o.positionSigma, "position-sigma", fmt.Sprintf("one sigma of the position in each direction (default %g for --position, %g for a GPS fix)", photo.SigmaPositionOptionKM, photo.SigmaPositionGPSKM))
	f.Var(&o.body, "body", "sun, moon, or auto: the sun if it is up, else the moon")
	f.Var(&o.rodHeight, "rod-height", "rod above the sheet; lets the shadow's length check the clock")
	f.Var(&o.rodDiameter, "rod-diameter", "of the rod; helps to tell its shadow from others")
	f.Var(&o.printScale, "print-scale", "printed over nominal, athwart and fore-and-aft, as 1.000,0.995")
	f.Var(&o.level, "level-sigma", "one sigma of the rod from plumb across the shadow: 0.5 with a bubble, 2 by eye")
	f.Var(&o.alignment, "alignment-sigma", "one sigma of the sheet's forward axis against the vehicle's (default 0: the heading is the sheet's)")
	f.Var(&o.course, "course", "the true course to steer: says how far to come right or left")
	f.Var(&o.number, "number", "heading for this number under the shadow, read by eye, without a photo")
	f.Var(&o.numberSigma, "number-sigma", "one sigma of --number (default 0.5)")
	f.StringVar(&o.overlay, "overlay", "", "write a copy of each photo, with what was found drawn in, into this `DIR`")
	f.Var(&o.jobs, "jobs", "photos read at once (default the number of processors)")
	addJSON(cmd, s)
	words(cmd, "body", "auto", "sun", "moon")
	return cmd
}

// options checks what was given and returns it as the reader wants it.
func (o *readOptions) options() (reading.Options, error) {
	r := reading.Options{
		Time:       photo.TimeOptions{UTCOffset: o.when.offset.given()},
		Position:   positionOptions(&o.place, &o.positionSigma),
		Body:       o.body.value,
		Rod:        vision.Rod{HeightMM: o.rodHeight.value, DiameterMM: o.rodDiameter.value},
		PrintScale: o.printScale.given(),
		Level:      o.level.angle(),
		Alignment:  o.alignment.angle(),
	}
	var err error
	if r.Time.At, err = o.when.at(); err != nil {
		return r, err
	}
	if o.clockError.set {
		r.Time.ClockError = new(o.clockError.duration())
	}
	if o.timeSigma.set {
		r.Time.Sigma = new(o.timeSigma.duration())
	}
	if o.course.set {
		r.Course = new(o.course.angle().Bearing())
	}
	return r, nil
}

func runRead(cmd *cobra.Command, s *streams, o *readOptions, args []string) error {
	if err := exclusive(cmd, "time", "clock-error"); err != nil {
		return err
	}
	opts, err := o.options()
	if err != nil {
		return err
	}
	if o.number.set {
		return runNumber(cmd, s, o, opts, args)
	}
	if o.numberSigma.set {
		return fault.Usage("sigma_without_number", "give --number too", "--number-sigma has no meaning without --number")
	}
	if len(args) == 0 {
		return fault.Usage("no_photo", "name photos or folders of photos, or give --number", "no photo given")
	}
	photos, err := expand(s, args)
	if err != nil {
		return err
	}
	if opts.Time.At != nil && len(photos) > 1 {
		return fault.Usage("time_with_many_photos", "read them one by one, or give --utc-offset and --clock-error for the camera's clock",
			"--time is the time of one photo, and there are %d", len(photos))
	}
	if o.place.set {
		s.note("position", "using %s", o.place.value)
	}
	if at := opts.Time.At; at != nil {
		s.note("time", "using %s", at.UTC().Format("2006-01-02T15:04:05.999Z07:00"))
	}
	jobs := runtime.GOMAXPROCS(0)
	if o.jobs.set {
		jobs = int(o.jobs.value)
	}
	return readPhotos(cmd.Context(), s, photos, jobs, o.course.set, func(ctx context.Context, path string) (*reading.Result, error) {
		r := reading.Read(ctx, path, opts)
		if o.overlay == "" || ctx.Err() != nil {
			return r, nil
		}
		_, err := reading.WriteOverlay(path, r, o.overlay)
		if !r.OK() && fault.Code(err) != "overlay_not_written" {
			return r, nil // a file that shows no picture has no overlay; the refusal says why
		}
		return r, err
	})
}

func runNumber(cmd *cobra.Command, s *streams, o *readOptions, opts reading.Options, args []string) error {
	if len(args) > 0 {
		return fault.Usage("number_with_photo", "give one of the two", "--number and the photo %s contradict each other", args[0])
	}
	for _, name := range []string{"clock-error", "overlay", "jobs", "rod-diameter", "rod-height"} {
		if err := exclusive(cmd, "number", name); err != nil {
			return err
		}
	}
	if opts.Time.At == nil || !o.place.set {
		return fault.Usage("number_alone", "give --time and --position too", "--number needs a time and a position")
	}
	s.note("position", "using %s", o.place.value)
	sigma := angle.Angle(0) // the reader's default
	if o.numberSigma.set {
		sigma = o.numberSigma.angle()
	}
	r := reading.ReadNumber(cmd.Context(), o.number.angle(), sigma, opts)
	p := newPrinter(s, nil, false)
	if err := p.print(r); err != nil {
		return err
	}
	if !r.OK() {
		return errRefused
	}
	return nil
}

// waiting bounds the results that wait for a slower photo before them, for each job.
const waiting = 4

// readPhotos reads up to jobs photos at once and prints the results in the order of
// paths. It holds no more than jobs photos and waiting*jobs results.
func readPhotos(ctx context.Context, s *streams, paths []string, jobs int, course bool, read func(context.Context, string) (*reading.Result, error)) error {
	// A failed print ends the workers too.
	ctx, cancel := context.WithCancel(ctx)
	var running sync.WaitGroup
	defer running.Wait() // an overlay that is being written is finished
	defer cancel()

	type outcome struct {
		result *reading.Result
		err    error
	}
	queue := make(chan chan outcome, waiting*jobs)
	free := make(chan struct{}, jobs)
	running.Go(func() {
		defer close(queue)
		for _, path := range paths {
			done := make(chan outcome, 1)
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
				r, err := read(ctx, path)
				done <- outcome{r, err}
			})
		}
	})

	p := newPrinter(s, paths, course)
	bar := progress{s: s}
	defer bar.wipe()
	refused := 0
	var failed error // the first; the headings of the other photos are worth having
	for i := range paths {
		bar.show("reading %d of %d: %s", i+1, len(paths), paths[i])
		var got outcome
		select {
		case done := <-queue: // nil, for ever empty, once the queue is given up
			select {
			case got = <-done:
			case <-ctx.Done():
			}
		case <-ctx.Done():
		}
		if err := ctx.Err(); err != nil { // what a cancelled reading returns is not printed
			return err
		}
		bar.wipe()
		if err := p.print(got.result); err != nil {
			return err
		}
		if failed == nil {
			failed = got.err
		}
		if !got.result.OK() {
			refused++
		}
	}
	p.footer()
	if failed != nil {
		return failed
	}
	if refused > 0 {
		if len(paths) > 1 {
			s.note("refused", "%d of %d photos refused", refused, len(paths))
		}
		return errRefused
	}
	return nil
}
