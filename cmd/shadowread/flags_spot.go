package main

import (
	"github.com/spf13/cobra"

	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/wording"
)

// spotFlags is a position with its error, of a departure or a fix.
type spotFlags struct {
	place  place
	sigma  quantity
	source string
}

func newSpotFlags() spotFlags { return spotFlags{sigma: quantity{least: 0.1, most: 1e6, unit: "m"}} }

func (p *spotFlags) add(cmd *cobra.Command) {
	p.place.add(cmd.Flags(), "where, as -20.6142,25.4310 or \"20 36.852 S, 25 25.860 E\"")
	cmd.Flags().Var(&p.sigma, "error", "of the position, one sigma on each axis")
	cmd.Flags().StringVar(&p.source, "source", "", "where the position is from, as `TEXT`: receiver, map")
}

var spotNames = []string{"position", "error", "source"}

// given returns the position and its sigma.
func (p *spotFlags) given(s *streams) (geo.Position, geo.Metres, error) {
	switch {
	case !p.place.set:
		return geo.Position{}, 0, fault.Usage("no_position", "give --position LAT,LON, as -20.6142,25.4310", "no position given")
	case !p.sigma.set:
		return geo.Position{}, 0, fault.Usage("no_error", "give --error METRES, one sigma on each axis: some 5 for a receiver, a millimetre of a map on its ground", "how far the position may be out is not given")
	}
	return p.place.value, p.within(s, geo.Metres(p.sigma.value)), nil
}

// within returns the sigma of the position with that of how it was written, and tells where
// that is the greater part; s may be nil.
func (p *spotFlags) within(s *streams, sigma geo.Metres) geo.Metres {
	sigma, coarse := geo.WithRounding(p.place.text, sigma)
	if coarse && s != nil {
		s.note("position_rounded", "with its last digit the position is good to %s only; give more digits if you know them", wording.Length(sigma))
	}
	return sigma
}
