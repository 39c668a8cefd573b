package main

import (
	"github.com/spf13/cobra"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/logbook"
	"shadowread/internal/logreading"
	"shadowread/internal/photo"
	"shadowread/internal/reading"
)

// numberFlags is a number read by eye, in place of a photo.
type numberFlags struct{ number, sigma, length quantity }

func newNumberFlags() numberFlags {
	return numberFlags{quantity{least: 0, most: 360, unit: "deg"}, quantity{least: 0.01, most: 45, unit: "deg"}, quantity{least: 1, most: 2000, unit: "mm"}}
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
	if err := readNow(&o); err != nil {
		return nil, err
	}
	if o.Position.Position == nil && o.Position.Estimate == nil {
		return nil, fault.Usage("number_alone", "give --position, or --time and --position where it was read at another time than now", "--number needs a position")
	}
	sigma := angle.Angle(0) // the reader's default
	if n.sigma.set {
		sigma = n.sigma.angle()
	}
	o.LengthMM = n.length.value
	return reading.ReadNumber(cmd.Context(), n.number.angle(), sigma, o), nil
}

// readAtEstimate reads the number at the log's estimate where no place is given.
func (n *numberFlags) readAtEstimate(cmd *cobra.Command, book *logbook.Log, o reading.Options, since *logbook.Run) (*reading.Result, error) {
	if err := readNow(&o); err != nil {
		return nil, err
	}
	return logreading.AtEstimate(cmd.Context(), book, o, photo.Facts{}, since, func(o reading.Options) (*reading.Result, error) {
		return n.read(cmd, o)
	})
}
