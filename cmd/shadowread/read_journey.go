package main

import (
	"context"

	"github.com/spf13/cobra"

	"shadowread/internal/fault"
	"shadowread/internal/logbook"
	"shadowread/internal/reading"
)

// settings takes what holds for the journey of a log, and says so: of one that comes by a
// variable one may not think.
func (o *readOptions) settings(cmd *cobra.Command, s *streams, book *logbook.Log, opts *reading.Options) (*journeySettings, error) {
	j := &journeySettings{cmd: cmd, s: s, set: &logbook.Settings{}}
	if book == nil {
		return j, nil
	}
	set, err := book.SettingsOf(cmd.Context(), 0)
	if fault.Code(err) == "no_journey" {
		return j, nil
	}
	if err != nil {
		return nil, err
	}
	j.set = &set
	if err := j.use(opts, &o.known); err != nil {
		return nil, err
	}
	if set.Instrument != nil && o.known.instrument == "" {
		s.note("journeys_instrument", "corrected by the journey's instrument, %s", set.Instrument.File)
	}
	return j, nil
}

// wayOn is what an odometer reads, or that nothing was run; nil if neither is said.
func wayOn(odometer inUnit[logbook.Odometer], stood bool, unit logbook.Unit) *logbook.Run {
	switch {
	case odometer.set:
		return new(logbook.ByOdometer(odometer.in(unit)))
	case stood:
		return &logbook.Run{Stood: true}
	}
	return nil
}

// unitIn is what the last journey of a log counts in; book may be nil.
func unitIn(ctx context.Context, book *logbook.Log) (logbook.Unit, error) {
	if book == nil {
		return logbook.Kilometres, nil
	}
	set, err := book.SettingsOf(ctx, 0)
	if fault.Code(err) == "no_journey" {
		err = nil
	}
	return set.UnitOr(), err
}
