package main

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/logbook"
	"shadowread/internal/logimport"
	"shadowread/internal/workup"
)

// departureFlags is what a departure says beside its position.
type departureFlags struct {
	odometer              parsed[logbook.Odometer]
	ice                   bool
	steering, mount, lean quantity
	scale                 quantity
	limit                 parsed[workup.MetresPerSecond]
}

func newDepartureFlags() departureFlags {
	return departureFlags{
		odometer: newOdometerFlag(),
		steering: quantity{min: 0, max: 30, unit: "deg"}, mount: quantity{min: 0, max: 30, unit: "deg"}, lean: quantity{min: 0, max: 10, unit: "deg"},
		scale: quantity{min: 0, max: 30, unit: "percent"}, limit: newSpeedFlag(),
	}
}

func (d *departureFlags) add(cmd *cobra.Command) {
	f := cmd.Flags()
	f.BoolVar(&d.ice, "on-ice", false, "the ground drifts, as sea ice does")
	f.Var(&d.steering, "steering-sigma", "one sigma of the mean course over a leg against its heading (default 2)")
	f.Var(&d.mount, "mount-sigma", "one sigma of the dial's forward axis against the vehicle's (default 1)")
	f.Var(&d.lean, "lean-sigma", "one sigma of the rod from plumb, on each axis of the plate (default 0.5)")
	f.Var(&d.scale, "scale-sigma", "one sigma of the odometer's scale (default 2)")
	f.Var(&d.limit, "speed-limit", "the greatest speed made good that is believed (default 120km/h)")
}

var modelNames = []string{"on-ice", "steering-sigma", "mount-sigma", "lean-sigma", "scale-sigma", "speed-limit"}

// apply changes a departure to what was given.
func (d *departureFlags) apply(to *logbook.Departure) {
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
		to.SpeedLimit = d.limit.value
	}
}

func newLogBegin(s *streams) *cobra.Command {
	var e entryFlags
	spot, departure := newSpotFlags(), newDepartureFlags()
	cmd := &cobra.Command{
		Use:   "begin --position LAT,LON --error METRES",
		Short: "begin a journey at a departure position",
		Long: `Begin a journey at a position with its error. A log that is not there is made;
one that is gets another journey, and verbs go on with that.

How wrong steering, instrument and odometer may be stays with the journey. The
defaults are argued in docs/workup.md; give what was proved, as by shadowread
align.` + exits(exitOK, exitError, exitUsage),
		Example: `  shadowread log begin --position -20.6142,25.4310 --error 15 --odometer 45210.0
  shadowread log begin --position "20 36.852 S, 25 25.860 E" --error 50 --source map --odometer 28101.5mi --steering-sigma 3`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			d := logbook.Departure{Source: spot.source, Odometer: departure.odometer.given(), Model: workup.Land()}
			departure.apply(&d)
			var err error
			if d.Position, d.Sigma, err = spot.given(s); err != nil {
				return err
			}
			return e.write(cmd, s, true, func(ctx context.Context, l *logbook.Log, at logbook.At) (logbook.Added, error) {
				return l.Begin(ctx, at, d)
			})
		},
	}
	cmd.Flags().SortFlags = false
	spot.add(cmd)
	cmd.Flags().Var(&departure.odometer, "odometer", odometerUsage)
	departure.add(cmd)
	e.add(cmd, s)
	return cmd
}

func newLogHalt(s *streams) *cobra.Command {
	return wayVerb(s, "halt", "log a stop, or a mere reading of odometer and clock",
		`Log a stop, or a mere reading of odometer and clock. The heading in hand goes on
after it.`,
		`  shadowread log halt --odometer 45222.7
  shadowread log halt --speed 20km/h --under-way 25m --note "reeds ahead"`,
		func(ctx context.Context, l *logbook.Log, at logbook.At, run logbook.Run) (logbook.Added, error) {
			return l.Halt(ctx, at, logbook.Halt{Run: run})
		})
}

func newLogTyres(s *streams) *cobra.Command {
	return wayVerb(s, "tyres", "log that tyres were changed, or their pressure",
		`Log that tyres were changed, or their pressure: what was learnt of the
odometer's scale does not hold from there on.`,
		`  shadowread log tyres --odometer 45222.7 --note "let down for the sand"`,
		func(ctx context.Context, l *logbook.Log, at logbook.At, run logbook.Run) (logbook.Added, error) {
			return l.Tyres(ctx, at, logbook.Tyres{Run: run})
		})
}

// wayVerb is a verb that says nothing but the way since the entry before.
func wayVerb(s *streams, name, short, long, example string, add func(context.Context, *logbook.Log, logbook.At, logbook.Run) (logbook.Added, error)) *cobra.Command {
	var e entryFlags
	way := newWayFlags()
	cmd := &cobra.Command{
		Use: name, Short: short, Long: long + exits(exitOK, exitError, exitUsage), Example: example,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			run, err := way.run(cmd)
			if err != nil {
				return err
			}
			return e.write(cmd, s, false, func(ctx context.Context, l *logbook.Log, at logbook.At) (logbook.Added, error) {
				return add(ctx, l, at, run)
			})
		},
	}
	cmd.Flags().SortFlags = false
	way.add(cmd)
	e.add(cmd, s)
	return cmd
}

func newLogNewOdometer(s *streams) *cobra.Command {
	var e entryFlags
	way, after := newWayFlags(), newOdometerFlag()
	cmd := &cobra.Command{
		Use:   "new-odometer --reads READING",
		Short: "log that the odometer was set to another number, or replaced",
		Long: `Log that the odometer was set to another number, as a trip counter is, or was
replaced. The way up to then is given as with other entries.` + exits(exitOK, exitError, exitUsage),
		Example: `  shadowread log new-odometer --odometer 45222.7 --reads 0.0`,
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if !after.set {
				return fault.Usage("no_reading", "give --reads READING", "what the odometer reads from now on is not given")
			}
			run, err := way.run(cmd)
			if err != nil {
				return err
			}
			return e.write(cmd, s, false, func(ctx context.Context, l *logbook.Log, at logbook.At) (logbook.Added, error) {
				return l.SetOdometer(ctx, at, logbook.OdometerSet{Run: run, After: after.value})
			})
		},
	}
	cmd.Flags().SortFlags = false
	cmd.Flags().Var(&after, "reads", "what it reads from now on; required")
	way.add(cmd)
	e.add(cmd, s)
	return cmd
}

func newLogRemount(s *streams) *cobra.Command {
	var e entryFlags
	cmd := &cobra.Command{
		Use:   "remount",
		Short: "log that the instrument was taken off and put on again",
		Long: `Log that the instrument was taken off and put on again: what was learnt of its
mount and of the rod's lean does not hold for the readings after it.` + exits(exitOK, exitError, exitUsage),
		Example: `  shadowread log remount --note "board knocked by a branch"`,
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return e.write(cmd, s, false, func(ctx context.Context, l *logbook.Log, at logbook.At) (logbook.Added, error) {
				return l.Remount(ctx, at)
			})
		},
	}
	cmd.Flags().SortFlags = false
	e.add(cmd, s)
	return cmd
}

func newLogNote(s *streams) *cobra.Command {
	var e entryFlags
	cmd := &cobra.Command{
		Use:     "note TEXT",
		Short:   "log a text",
		Long:    `Log a text, with its time.` + exits(exitOK, exitError, exitUsage),
		Example: `  shadowread log note "wheel tracks cross from the north"`,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				if err := exclusiveArg(cmd, "note", "the text"); err != nil {
					return err
				}
				e.note = strings.Join(args, " ")
			}
			if strings.TrimSpace(e.note) == "" {
				return fault.Usage("no_note", `give a text, as shadowread log note "tracks cross"`, "no text given")
			}
			return e.write(cmd, s, false, func(ctx context.Context, l *logbook.Log, at logbook.At) (logbook.Added, error) {
				return l.Note(ctx, at)
			})
		},
	}
	cmd.Flags().SortFlags = false
	e.add(cmd, s)
	return cmd
}

// exclusiveArg refuses a flag beside an argument that says the same.
func exclusiveArg(cmd *cobra.Command, flag, arg string) error {
	if cmd.Flags().Changed(flag) {
		return fault.Usage("contradicting_flags", "give one of the two", "--%s and %s contradict each other", flag, arg)
	}
	return nil
}

func newLogFix(s *streams) *cobra.Command {
	var e entryFlags
	spot, way := newSpotFlags(), newWayFlags()
	confirm := quantity{min: 1, max: 1e9}
	cmd := &cobra.Command{
		Use:   "fix --position LAT,LON --error METRES",
		Short: "log a position had from outside, which closes the reckoning",
		Long: `Log a position had from outside: a receiver, a beacon, a feature on the map. It
shows by how much the estimate was out, and adjusts what was logged before it;
what it teaches of mount, lean and odometer goes on.

A fix more than five sigma from the estimate is kept and not used: check both,
correct the entry that is wrong, or have it count with --confirm and its number.
Log one of several fixes taken within minutes: the others know no more.` + exits(exitOK, exitError, exitUsage),
		Example: `  shadowread log fix --position -20.5890,25.4930 --error 10 --source receiver --odometer 45222.7`,
		Args:    noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if confirm.set {
				for _, name := range append(append([]string{"time", "utc-offset"}, spotNames...), wayNames...) {
					if err := exclusive(cmd, "confirm", name); err != nil {
						return err
					}
				}
				return e.writeUntimed(cmd, s, false, func(ctx context.Context, l *logbook.Log) (logbook.Added, error) {
					return l.ConfirmFix(ctx, int(confirm.value), e.note)
				})
			}
			p, sigma, err := spot.given(s)
			if err != nil {
				return err
			}
			run, err := way.run(cmd)
			if err != nil {
				return err
			}
			return e.write(cmd, s, false, func(ctx context.Context, l *logbook.Log, at logbook.At) (logbook.Added, error) {
				return l.Fix(ctx, at, logbook.Fix{Run: run, Position: p, Sigma: sigma, Source: spot.source})
			})
		},
	}
	cmd.Flags().SortFlags = false
	spot.add(cmd)
	way.add(cmd)
	cmd.Flags().Var(&confirm, "confirm", "have the fix of this entry count, though it is more than five sigma away")
	e.add(cmd, s)
	return cmd
}

func newLogDetour(s *streams) *cobra.Command {
	var e entryFlags
	way := newWayFlags()
	sigma := newHandSigma()
	var legs []string
	cmd := &cobra.Command{
		Use:   "detour --leg HEADING,@READING...",
		Short: "log a way round an obstacle by its own short legs",
		Long: `Log a way round an obstacle, after it. The odometer, or another way flag, is
that where the leg in hand was left; each --leg then is a true heading with what
the odometer read at its end, behind an @, or with a length. The leg in hand
goes on after them, with its heading.

After lengths the log has no odometer reading to count from: the next entry
needs --distance or --speed, and may have --odometer beside it, which counts
from there.` + exits(exitOK, exitError, exitUsage),
		Example: `  shadowread log detour --odometer 45219.1 --leg 140,@45219.9 --leg 58,@45221.1 --leg 330,@45221.9 --heading-sigma 5
  shadowread log detour --odometer 45219.1 --leg 140,900m --leg 330,900m --heading-sigma 5`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if len(legs) == 0 {
				return fault.Usage("no_legs", "give --leg HEADING,@READING for each, as --leg 140,@45219.9", "the detour has no legs")
			}
			if !sigma.set {
				return noHandSigma()
			}
			d := logbook.Detour{}
			for _, text := range legs {
				leg, err := logimport.ParseShortLeg(text, sigma.angle())
				if err != nil {
					return fault.Usage(fault.Code(err), fault.Hint(err), "--%s", err)
				}
				d.Legs = append(d.Legs, leg)
			}
			var err error
			if d.Run, err = way.run(cmd); err != nil {
				return err
			}
			return e.write(cmd, s, false, func(ctx context.Context, l *logbook.Log, at logbook.At) (logbook.Added, error) {
				return l.Detour(ctx, at, d)
			})
		},
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.StringArrayVar(&legs, "leg", nil, "one leg of it, as `HEADING,@READING` of the odometer at its end, 140,@45219.9, or with a length: 140,0.8km")
	f.Var(&sigma, "heading-sigma", "one sigma of these headings; required")
	way.add(cmd)
	e.add(cmd, s)
	return cmd
}

func newHandSigma() quantity { return quantity{min: 0.01, max: 30, unit: "deg"} }

func noHandSigma() error {
	return fault.Usage("no_heading_sigma", "give --heading-sigma DEG: some 2 for a compass with its card, 5 or more by eye", "how well the heading is known is not given")
}
