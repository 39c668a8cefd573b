package main

import (
	"github.com/spf13/cobra"

	"shadowread/internal/align"
	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/telling"
)

// reversedFlags are those of an instrument reversed on a straight edge.
type reversedFlags struct {
	on                      bool
	centring, sides, ground quantity
}

func newReversedFlags() reversedFlags {
	known := align.DefaultReversal()
	degrees := func(a angle.Angle) quantity {
		return quantity{value: a.Degrees(), most: 20, unit: "deg", text: telling.Figures(a.Degrees())}
	}
	return reversedFlags{centring: degrees(known.Centring), sides: degrees(known.Sides), ground: degrees(known.Surface)}
}

func (r *reversedFlags) add(cmd *cobra.Command) {
	f := cmd.Flags()
	f.BoolVar(&r.on, "reversed", false, "the board lay against one straight edge and was turned end for end between the photos, or by quarters")
	f.Var(&r.centring, "centring-sigma", "one sigma of how well the bubble was centred, each time anew")
	f.Var(&r.sides, "sides-sigma", "one sigma of how square the board's sides are, for quarter turns")
	f.Var(&r.ground, "surface-sigma", "one sigma of the slope of what the board lay on, where it was not levelled by a bubble")
}

func (r *reversedFlags) check(cmd *cobra.Command) error {
	for _, name := range []string{"turned", "readings"} {
		if err := exclusive(cmd, "reversed", name); err != nil {
			return err
		}
	}
	for _, name := range []string{"centring-sigma", "sides-sigma", "surface-sigma"} {
		if cmd.Flags().Changed(name) && !r.on {
			return fault.Usage("flag_without_other", "give --reversed too", "--%s has no meaning without --reversed", name)
		}
	}
	return nil
}

// use has the readings solved as stands that are reversed. A bubble's own error is its
// plate's prior where none was given.
func (r *reversedFlags) use(p *align.Priors, plateGiven bool) {
	if !r.on {
		return
	}
	p.Reversal = &align.Reversal{Centring: r.centring.angle(), Sides: r.sides.angle(), Surface: r.ground.angle()}
	if !plateGiven {
		p.PlateSigma = align.BubbleSigma
	}
}
