package main

import (
	"context"

	"github.com/spf13/cobra"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/logbook"
	"shadowread/internal/logimport"
)

func newLogDetour(s *streams) *cobra.Command {
	var e entryFlags
	way := newWayFlags()
	sigma := newHeadingSigma()
	var legs []string
	cmd := &cobra.Command{
		Use:   "detour [READING] --leg HEADING,@READING...",
		Short: "log a way round an obstacle by its own short legs",
		Long: `Log a way round an obstacle, after it. The odometer, or what is given in its
place, is that where the current leg was left; each --leg then is a true heading
with what the odometer read at its end, behind an @, or with a length. The
current leg goes on after them, with its heading.

After lengths the odometer counts on: the next reading is that of all since the
last one, less what the detour took.`,
		Example: `  shadowread log import --log detour.db --entries fixtures/journey/first-truck.csv
  shadowread log detour --log detour.db --time 2026-08-30T13:00:00+02:00 --odometer 45299.0 --leg 140,@45299.9 --leg 58,@45301.1 --leg 330,@45301.9 --heading-sigma 5
  shadowread log detour --log detour.db --time 2026-08-30T14:00:00+02:00 --odometer 45306.1 --leg 140,900m --leg 330,900m --heading-sigma 5`,
		Args: cobra.ArbitraryArgs, // a reading alone
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := way.bareAlone(args); err != nil {
				return err
			}
			if len(legs) == 0 {
				return fault.Usage("no_legs", "give --leg HEADING,@READING for each, as --leg 140,@45219.9", "the detour has no legs")
			}
			if !sigma.set {
				return noHeadingSigma()
			}
			if err := way.check(cmd); err != nil {
				return err
			}
			if _, err := shortLegs(legs, sigma.angle(), logbook.Kilometres); err != nil { // is so in any unit
				return err
			}
			return e.write(cmd, s, false, func(ctx context.Context, w writing) (logbook.Added, error) {
				unit := w.set.UnitOr()
				short, err := shortLegs(legs, sigma.angle(), unit)
				if err != nil {
					return logbook.Added{}, err
				}
				return w.book.Detour(ctx, w.at, logbook.Detour{Run: way.run(unit), Legs: short})
			})
		},
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.StringArrayVar(&legs, "leg", nil, "one leg of it, as `HEADING,@READING` of the odometer at its end, 140,@45219.9, or with a length: 140,0.8km")
	f.Var(&sigma, "heading-sigma", "one sigma of these headings; required")
	way.add(cmd)
	e.add(cmd, s)
	inGroup(cmd, everyday, "leg", "heading-sigma", "odometer", "time", "utc-offset", "note", "log")
	way.group(cmd)
	return cmd
}

func shortLegs(texts []string, sigma angle.Angle, unit logbook.Unit) (legs []logbook.ShortLeg, err error) {
	for _, text := range texts {
		leg, err := logimport.ParseShortLeg(text, sigma, unit)
		if err != nil {
			return nil, fault.Usage(fault.Code(err), fault.Hint(err), "--%s", err)
		}
		legs = append(legs, leg)
	}
	return legs, nil
}
