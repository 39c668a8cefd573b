package main

import (
	"context"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/logbook"
	"shadowread/internal/reading"
	"shadowread/internal/steering"
	"shadowread/internal/telling"
)

type steerOptions struct {
	photo         photoFlags // of a number read by eye, as read --number has it
	course        quantity
	to            parsed[logbook.Stop]
	journey       quantity
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
		declination: newDeclinationFlags(), odometer: newOdometerFlag(), journey: newJourneyFlag(), to: newDestinationFlag(),
	}
	cmd := &cobra.Command{
		Use:   "steer [--course DEG]",
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

Without --course it steers to the next stop of the log's journey, or to --to, on
the heading that allows for the drift found (see shadowread log where). Position
and course are those of the log, asked for anew every minute, and what holds for
the journey, instrument, card, UTC offset, holds here.

An instrument's record, a stretched print, declination and deviation card count
as in shadowread read; with a card the course by the compass on board is given.
Within 10 degrees of a pole, or with --grid, so is the course from grid north.

The time is that of this machine: set its clock before you leave.

A passenger handles this, the driver does not. Never look at the sun. It is
never the sole means of navigation: check by another.`,
		Example: `  shadowread steer --course 58 --position -22.9,22.3 --time 2026-08-29T08:12:31+02:00
  shadowread steer --course 58 --position -22.9,22.3 --time 2026-08-29T08:12:31+02:00 --number 350
  shadowread steer --course 58 --position -22.9,22.3 --time 2026-08-29T08:12:31+02:00 --instrument fixtures/instrument/board.toml --deviation-card fixtures/compass/card.json
  shadowread steer --course 58 --position -22.9,22.3 --time 2026-08-29T08:12:31+02:00 --json
  shadowread log import --log pan.db --entries fixtures/journey/first-truck.csv
  shadowread log settings --log pan.db --utc-offset 2 --stop camp=-23.20,22.36
  shadowread steer --log pan.db --stood --time 2026-08-30T12:30`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runSteer(cmd, s, &o, c) },
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.Var(&o.course, "course", "the true course to steer (default to the next stop of the log)")
	f.Var(&o.to, "to", destinationUsage)
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
	f.Var(&o.journey, "journey", journeyUsage)
	addJSON(cmd, s)
	inGroup(cmd, everyday, "course", "to", "position", "time", "utc-offset", "number", "instrument", "deviation-card", "json")
	inGroup(cmd, withLog, "log", "journey", "odometer", "stood")
	inGroup(cmd, seldom)
	completeStops(cmd, s, "to", &o.log)
	return cmd
}

// withLog tells whether a log has a say: where it is named, and where there is no course.
func (o *steerOptions) withLog(s *streams) bool {
	return o.log.file != "" || s.log != "" || !o.course.set
}

func (o *steerOptions) check(cmd *cobra.Command, s *streams) error {
	for _, pair := range [][2]string{{"course", "to"}, {"odometer", "stood"}} {
		if err := exclusive(cmd, pair[0], pair[1]); err != nil {
			return err
		}
	}
	withLog := o.withLog(s)
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
	zone    telling.Zone
	// estimate takes the log's position and course, anew where they are a minute old; nil
	// where both are given.
	estimate func(context.Context, time.Time) error
	onward   *logbook.Onward   // to where it steers; nil for a course that was given
	set      *logbook.Settings // of the journey; nil without a log
}

func (o *steerOptions) helm(cmd *cobra.Command, s *streams) (*helm, error) {
	h := &helm{s: s, course: o.course.angle().Bearing(), zone: telling.Zone{Location: time.UTC}}
	err := o.settings(cmd, h)
	if err != nil {
		return nil, err
	}
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
	known := knownFlags{instrument: o.instrument}
	if o.instrument != "" {
		if _, err := useInstrument(cmd, &h.options, o.instrument); err != nil {
			return nil, err
		}
	}
	if h.set != nil {
		if err := h.useSettings(cmd, &known); err != nil {
			return nil, err
		}
	}
	if o.number.sigma.set {
		h.sigma = o.number.sigma.angle()
	}
	if offset := o.photo.when.shown(); offset != nil && *offset != 0 {
		h.zone.Location = time.FixedZone("", int(*offset/time.Second))
	}
	if !o.photo.place.set || !o.course.set {
		h.estimate = o.follow(h)
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
	} else if err := clockGoes(at); err != nil {
		return err
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
		s.note("position", "using %s", h.set.Place(p.Position))
	}
	if !once && !s.json {
		for _, w := range first.Warnings {
			s.note(w.Code, "%s", w.Message)
		}
	}
	h.sayWhereTo()
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
