package main

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	"shadowread/internal/fault"
	"shadowread/internal/logbook"
	"shadowread/internal/logimport"
	"shadowread/internal/workup"
)

func newLogBegin(s *streams) *cobra.Command {
	var e entryFlags
	spot, departure, settings := newSpotFlags(), newDepartureFlags(), newSettingsFlags()
	another := false
	cmd := &cobra.Command{
		Use:   "begin --position LAT,LON --error METRES",
		Short: "begin a journey at a departure position",
		Long: `Begin a journey at a position with its error. A log that is not there is made.
In one that has a journey, another is begun with --another; entries go on with
that from then on, unless their --journey says which.

The unit of odometer, distances and speeds is said once, by --unit or behind the
odometer's reading, and bare numbers are in it from then on. So is what all
legs are read with: instrument, rod, cameras, UTC offset, where photos arrive.
Each is changed later by shadowread log settings.

How wrong steering, instrument and odometer may be stays with the journey. The
defaults are argued in docs/workup.md; give what was proved, as by shadowread
align.`,
		Example: `  shadowread log begin --log begin.db --position -22.90000,22.30000 --error 15 --odometer 45210.0km
  shadowread log begin --log begun.db --position "22 54.000 S, 22 18.000 E" --error 50 --source map --odometer 28101.5mi --steering-sigma 3
  shadowread log begin --log stated.db --position -22.90000,22.30000 --error 15 --odometer 45210.0 --unit km --utc-offset 2 --instrument fixtures/instrument/board.toml --photos fixtures/journey/29-august --stop well=-22.81,22.45`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			d := logbook.Departure{Source: spot.source, Model: workup.Land()}
			var err error
			if d.Position, d.Sigma, err = spot.given(s); err != nil {
				return err
			}
			if d.Settings, err = settings.change(cmd, s, &e.when, logbook.Settings{}); err != nil {
				return err
			}
			if d.Settings == nil {
				d.Settings = &logbook.Settings{}
			}
			if d.Settings.Unit, err = settings.unitOf(s, departure.odometer); err != nil {
				return err
			}
			unit := *d.Settings.Unit
			if departure.odometer.set {
				d.Odometer = new(departure.odometer.in(unit))
			}
			departure.apply(&d, unit)
			if another {
				e.accept = append(e.accept, string(logbook.OddAnother))
			}
			return e.write(cmd, s, true, func(ctx context.Context, w writing) (logbook.Added, error) { return w.book.Begin(ctx, w.at, d) })
		},
	}
	cmd.Flags().SortFlags = false
	spot.add(cmd)
	e.spot = &spot
	cmd.Flags().Var(&departure.odometer, "odometer", odometerUsage)
	settings.add(cmd)
	departure.add(cmd)
	e.when.add(cmd.Flags(), "the `TIME` of the entry, as 2026-03-14T09:26:53+02:00 (default now)", "of the journey's clocks, and of --time, as +02:00 or 2; east is positive")
	e.addRest(cmd, s)
	e.addAccept(cmd)
	cmd.Flags().BoolVar(&another, "another", false, "begin another journey in a log that has one")
	inGroup(cmd, everyday, "position", "error", "source", "odometer", "unit", "another", "time", "utc-offset", "note", "log", "json")
	inGroup(cmd, "What holds for the journey", settingNames[1:]...)
	inGroup(cmd, "How wrong the instruments may be, and how fast the vehicle is", modelNames...)
	return cmd
}

// unitOf is what the journey's bare numbers are in: as stated, as it stands behind the
// odometer's reading, or as a person on the terminal answers.
func (f *settingsFlags) unitOf(s *streams, odometer inUnit[logbook.Odometer]) (*logbook.Unit, error) {
	if f.unit.set {
		return f.unit.given(), nil
	}
	if odometer.set && logimport.HasUnit(odometer.text) {
		return new(odometer.in(logbook.Kilometres).Unit), nil
	}
	answer, asked, err := s.ask("What does the odometer count: km, mi (statute miles) or nmi (nautical miles)?")
	if err != nil {
		return nil, err
	}
	if asked {
		unit, err := f.unit.parse(strings.TrimSpace(answer))
		return &unit, err
	}
	return nil, fault.Usage("no_unit", unitHint+", as --unit km, or behind the reading, as 45210.0km", "what unit the journey counts in is not given")
}
