package main

import (
	"context"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/logbook"
	"shadowread/internal/logreading"
	"shadowread/internal/reading"
	"shadowread/internal/steering"
)

type steerOptions struct {
	photo         photoFlags // of a number read by eye, as read --number has it
	course        quantity
	number        numberFlags
	declination   declinationFlags
	deviationCard string
	grid          bool
	instrument    string
	log           logFlag
	odometer      inUnit[logbook.Odometer]
	stood         bool
}

// clock is what time goes by; tests have their own.
type clock struct {
	now func() time.Time
	// sleep waits for a time to come; it fails where the work is to end before.
	sleep func(ctx context.Context, until time.Time) error
}

var wallClock = clock{time.Now, func(ctx context.Context, until time.Time) error {
	// A machine that slept wakes late: what is shown then goes at once.
	timer := time.NewTimer(time.Until(until))
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return nil
	}
}}

func newSteer(s *streams, c clock) *cobra.Command {
	o := steerOptions{
		photo: newPhotoFlags(), course: quantity{least: 0, most: 360, unit: "deg"}, number: newNumberFlags(),
		declination: newDeclinationFlags(), odometer: newOdometerFlag(),
	}
	cmd := &cobra.Command{
		Use:   "steer --course DEG",
		Short: "tell the number to hold under the shadow for a course",
		Long: `Tell the number to hold: while it lies under the middle of the shadow, the
heading is the true course. On a terminal it stands in large figures and counts
as the sun moves, until Ctrl-C; in a pipe, and with --json, there is a line a
minute. With --time, or with a --number read by eye, there is one answer and an
end.

Beside it stand the whole numbers to hold next with the times from which they
are the nearest, how long the shadow is usable (sun or moon between 2 and 80
degrees) and what casts the shadow: the sun, or the moon while the sun is down.
With --number: which way to turn and by how much. ± holds 95 %: the number is
taken to be held as well as one is read by eye (--number-sigma).

An instrument's record, a stretched print, declination and deviation card count
as in shadowread read; with a card the course by the compass on board is given.
Within 10 degrees of a pole, or with --grid, so is the course from grid north.
Without --position that of the log is taken, and asked for anew every minute.

The time is that of this machine: set its clock before you leave.

A passenger handles this, the driver does not. Never look at the sun. It is
never the sole means of navigation: check by another.`,
		Example: `  shadowread steer --course 58 --position -22.9,22.3 --time 2026-08-29T08:12:31+02:00
  shadowread steer --course 58 --position -22.9,22.3 --time 2026-08-29T08:12:31+02:00 --number 350
  shadowread steer --course 58 --position -22.9,22.3 --time 2026-08-29T08:12:31+02:00 --instrument fixtures/instrument/board.toml --deviation-card fixtures/compass/card.json
  shadowread steer --course 58 --position -22.9,22.3 --time 2026-08-29T08:12:31+02:00 --json`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runSteer(cmd, s, &o, c) },
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.Var(&o.course, "course", "the true course to steer; required")
	o.photo.when.add(f, "one answer, for this `TIME`, as 2026-03-14T09:26:53+02:00 (default now, and on)", "of --time and of the times shown, as +02:00 or 2; east is positive")
	o.photo.addSky(cmd, " (default from the log)")
	f.Var(&o.number.number, "number", "the number that lies under the shadow, read by eye: says how far to turn right or left")
	f.Var(&o.number.sigma, "number-sigma", "one sigma of the number, as it is held and as --number is read (default 0.5)")
	f.StringVar(&o.instrument, "instrument", "", "the instrument's record `FILE`, of shadowread align: corrects the number")
	f.StringVar(&o.deviationCard, "deviation-card", "", "a card `FILE` of shadowread swing: gives the course by the compass")
	o.declination.add(cmd)
	f.BoolVar(&o.grid, "grid", false, "give the course from polar grid north anywhere (within 10 degrees of a pole it is given unasked)")
	o.photo.addSetUp(cmd)
	f.StringVar(&o.log.file, "log", "", "the log `FILE` of the journey: its estimated position is taken where there is no other (default what "+logVariable+" names)")
	f.Var(&o.odometer, "odometer", "what the odometer reads at --time, to go on from the log's last entry")
	f.BoolVar(&o.stood, "stood", false, "nothing was run since the log's last entry, at --time")
	addJSON(cmd, s)
	inGroup(cmd, everyday, "course", "position", "time", "utc-offset", "number", "instrument", "deviation-card", "json")
	inGroup(cmd, withLog, "log", "odometer", "stood")
	inGroup(cmd, seldom)
	return cmd
}

func (o *steerOptions) check(cmd *cobra.Command, s *streams) error {
	if !o.course.set {
		return fault.Usage("no_course", "give --course, as 58", "no course given")
	}
	if err := exclusive(cmd, "odometer", "stood"); err != nil {
		return err
	}
	withLog := o.log.file != "" || s.log != ""
	for _, name := range []string{"odometer", "stood"} {
		switch {
		case !cmd.Flags().Changed(name):
		case !withLog:
			return fault.Usage("flag_without_other", "give --log too", "--%s has no meaning without --log", name)
		case o.photo.when.time == "":
			return fault.Usage("flag_without_other", "give --time too: it is true for one moment", "--%s has no meaning without --time", name)
		}
	}
	if !o.photo.place.set && !withLog {
		return fault.Usage("no_position", "give --position LAT,LON, as -20.6142,25.4310, or --log", "no position given")
	}
	return nil
}

// helm is what a run of the command goes by.
type helm struct {
	s       *streams
	options reading.Options
	course  angle.Angle
	sigma   angle.Angle // of a number by eye; 0: the reader's
	zone    *time.Location
	// estimate takes the log's position, anew where it is a minute old; nil where one is given.
	estimate func(context.Context, time.Time) error
}

func (o *steerOptions) helm(cmd *cobra.Command, s *streams) (*helm, error) {
	h := &helm{s: s, course: o.course.angle().Bearing(), zone: time.UTC}
	var err error
	if h.options, err = o.photo.options(cmd); err != nil {
		return nil, err
	}
	if h.options.Declination, err = o.declination.given(); err != nil {
		return nil, err
	}
	if o.deviationCard != "" {
		if h.options.Card, err = loadCard(o.deviationCard); err != nil {
			return nil, err
		}
	}
	h.options.Grid = o.grid
	if o.instrument != "" {
		if _, err := useInstrument(cmd, &h.options, o.instrument); err != nil {
			return nil, err
		}
	}
	if o.number.sigma.set {
		h.sigma = o.number.sigma.angle()
	}
	if offset := h.options.Time.UTCOffset; offset != nil && *offset != 0 {
		h.zone = time.FixedZone("", int(*offset/time.Second))
	}
	if !o.photo.place.set {
		quiet, asked := *s, time.Time{}
		h.estimate = func(ctx context.Context, t time.Time) error {
			if age := t.Sub(asked); age >= 0 && age < time.Minute {
				return nil
			}
			err := o.log.with(ctx, &quiet, false, func(book *logbook.Log) error {
				unit, err := unitIn(ctx, book)
				if err != nil {
					return err
				}
				e, err := book.EstimateAt(ctx, t, wayOn(o.odometer, o.stood, unit))
				h.options.Position.Estimate = logreading.Place(e)
				return err
			})
			quiet.quiet = true // the log is named once
			if err == nil {
				asked = t
			}
			return err
		}
	}
	return h, nil
}

// at is what to say at a time.
func (h *helm) at(ctx context.Context, t time.Time, given *angle.Angle) (*steering.Steer, error) {
	if h.estimate != nil {
		if err := h.estimate(ctx, t); err != nil {
			return nil, err
		}
	}
	return steering.New(t, h.course, h.sigma, given, h.options)
}

func runSteer(cmd *cobra.Command, s *streams, o *steerOptions, c clock) error {
	if err := o.check(cmd, s); err != nil {
		return err
	}
	h, err := o.helm(cmd, s)
	if err != nil {
		return err
	}
	at, once := c.now(), o.number.number.set
	if t := h.options.Time.At; t != nil {
		at, once = *t, true
	}
	var given *angle.Angle
	if o.number.number.set {
		given = new(o.number.number.angle())
	}
	first, err := h.at(cmd.Context(), at, given)
	if err != nil {
		return err
	}
	if p := first.Reading.Place; p != nil {
		s.note("position", "using %s", p.Position)
	}
	if !once && !s.json {
		for _, w := range first.Warnings {
			s.note(w.Code, "%s", w.Message)
		}
	}
	switch {
	case once:
		if err := h.print(first, &table{s: s, pipe: "steer"}); err != nil {
			return err
		}
		if !first.OK() {
			return errRefused
		}
		return nil
	case s.screen != nil && !s.json:
		return h.watch(cmd.Context(), c, first)
	}
	return h.everyMinute(cmd.Context(), c, first)
}
