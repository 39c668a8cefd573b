package main

import (
	"github.com/spf13/cobra"

	"shadowread/internal/angle"
	"shadowread/internal/logbook"
	"shadowread/internal/workup"
)

// departureFlags is what a departure says beside its position.
type departureFlags struct {
	odometer              inUnit[logbook.Odometer]
	ice                   bool
	steering, mount, lean quantity
	scale                 quantity
	limit                 inUnit[workup.MetresPerSecond]
}

func newDepartureFlags() departureFlags {
	return departureFlags{
		odometer: newOdometerFlag(),
		steering: quantity{least: 0, most: 30, unit: "deg"}, mount: quantity{least: 0, most: 30, unit: "deg"}, lean: quantity{least: 0, most: 10, unit: "deg"},
		scale: quantity{least: 0, most: 30, unit: "percent"}, limit: newSpeedFlag(),
	}
}

func (d *departureFlags) add(cmd *cobra.Command) {
	f := cmd.Flags()
	f.BoolVar(&d.ice, "on-ice", false, "the ground drifts, as sea ice does")
	f.Var(&d.steering, "steering-sigma", "one sigma of the mean course over a leg against its heading (default 2)")
	f.Var(&d.mount, "lubber-shared-sigma", "the lubber line: one sigma of what all headings by the dial share until it is taken off (default 1)")
	f.Var(&d.lean, "lean-sigma", "one sigma of the rod from plumb, on each axis of the board (default 0.5)")
	f.Var(&d.scale, "scale-sigma", "one sigma of the odometer's scale (default 2)")
	f.Var(&d.limit, "speed-limit", "the greatest speed made good that is believed (default 120km/h)")
}

var modelNames = []string{"on-ice", "steering-sigma", "lubber-shared-sigma", "lean-sigma", "scale-sigma", "speed-limit"}

// apply changes a departure to what was given, bare numbers in a unit.
func (d *departureFlags) apply(to *logbook.Departure, unit logbook.Unit) {
	if d.ice {
		to.Model = workup.Ice()
	}
	for _, x := range []struct {
		q  *quantity
		to *angle.Angle
	}{{&d.steering, &to.Model.Steering}, {&d.mount, &to.Model.Mount}, {&d.lean, &to.Model.Lean}} {
		if x.q.set {
			*x.to = x.q.angle()
		}
	}
	if d.scale.set {
		to.Model.Scale = d.scale.value / 100
	}
	if d.limit.set {
		to.SpeedLimit = d.limit.in(unit)
	}
}
