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
)

// numberReader works out the heading of a number in a paper log.
type numberReader = func(ctx context.Context, number, sigma angle.Angle, at time.Time, offset *time.Duration, here *logbook.Estimate) (logbook.NumberReading, error)

// held is what an import reads with: what was given, and what holds for the journey.
type held struct {
	o       *importOptions
	cmd     *cobra.Command
	s       *streams
	book    *logbook.Log
	options reading.Options // as given
	set     logbook.Settings
	told    bool // where what was given differs from what holds
}

// reader reads photos and numbers as what holds by now has it.
func (h *held) reader(ctx context.Context) (*logreading.Importer, error) {
	var err error
	if h.set, err = h.book.SettingsOf(ctx, 0); err != nil && fault.Code(err) != "no_journey" {
		return nil, err
	}
	known, options := h.o.known, h.options
	j := &journeySettings{cmd: h.cmd, s: h.s, set: &h.set}
	if err := j.use(&options, &known); err != nil {
		return nil, err
	}
	if !h.told {
		j.tell(&h.o.photo, &known, "")
		h.told = true
	}
	quiet := *h.s
	quiet.quiet = true // of each photo twice
	camera := &journeySettings{cmd: h.cmd, s: &quiet, set: &h.set}
	return &logreading.Importer{
		Options: options, SetUpAnew: h.o.anew, Overlay: smallOverlay, Instrument: known.kept(&h.set),
		For: func(path string, o *reading.Options) error { return camera.usePhoto(o, path) },
	}, nil
}

// number reads with what holds where the row stands: the file may begin journeys, and state
// what holds for them.
func (h *held) number(ctx context.Context, number, sigma angle.Angle, at time.Time, offset *time.Duration, here *logbook.Estimate) (logbook.NumberReading, error) {
	reader, err := h.reader(ctx)
	if err != nil {
		return logbook.NumberReading{}, err
	}
	return reader.Number(ctx, number, sigma, at, offset, here)
}
