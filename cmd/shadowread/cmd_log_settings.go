package main

import (
	"bytes"
	"context"

	"github.com/spf13/cobra"

	"shadowread/internal/fault"
	"shadowread/internal/logbook"
)

func newLogSettings(s *streams) *cobra.Command {
	var e entryFlags
	settings := newSettingsFlags()
	output, force := "", false
	cmd := &cobra.Command{
		Use:   "settings",
		Short: "tell or change what holds for all entries of a journey",
		Long: `Tell what holds for the journey: unit, UTC offset, instrument, rod, cameras with
their clocks and lenses, stops, where photos arrive. With flags it is changed by
an entry of its own: what was logged before stays as it was. Records are kept in
the log by their text, so that a file that changes or is lost changes nothing.

With -o all of it, and where the log puts you, is written as a file that the
page on a phone takes.`,
		Example: `  shadowread log import --log set.db --entries fixtures/journey/first-truck.csv
  shadowread log settings --log set.db --rod-height 50 --instrument fixtures/instrument/board.toml --utc-offset 2 --stop well=-22.81,22.45
  shadowread log settings --log set.db --camera fixtures/journey/29-august/01.jpg --clock-error -3
  shadowread log settings --log set.db
  shadowread log settings --log set.db -o journey-settings.json`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if output != "" {
				if err := mayWrite(output, force); err != nil {
					return err
				}
			} else if force {
				return fault.Usage("flag_without_other", "give -o FILE too", "--force has no meaning without --output")
			}
			if settings.changes(cmd) {
				err := e.write(cmd, s, false, func(ctx context.Context, w writing) (logbook.Added, error) {
					change, err := settings.change(cmd, s, &e.when, w.set)
					if err != nil {
						return logbook.Added{}, err
					}
					if change == nil { // an empty name of a record
						return logbook.Added{}, fault.Usage("empty_value", "name a file; --forget has a setting hold no longer", "nothing is stated")
					}
					return w.book.Set(ctx, w.at, *change)
				})
				if err != nil || output == "" {
					return err
				}
			}
			return e.log.with(cmd.Context(), s, false, func(book *logbook.Log) error {
				v, err := settingsOf(cmd.Context(), book, int(e.journey.value))
				if err != nil {
					return err
				}
				if output == "" {
					return v.print(s)
				}
				text, err := v.file.Encode()
				if err != nil {
					return err
				}
				return writeComposed(s, force, composed{output, bytes.NewBuffer(text)})
			})
		},
	}
	cmd.Flags().SortFlags = false
	settings.add(cmd)
	settings.addChanges(cmd)
	e.when.add(cmd.Flags(), "the `TIME` of the entry, as 2026-03-14T09:26:53+02:00 (default now)", "of the journey's clocks, as +02:00 or 2; east is positive")
	e.addRest(cmd, s)
	e.addJourney(cmd)
	cmd.Flags().StringVarP(&output, "output", "o", "", "write what holds, and the estimated position, into this `FILE` for the page on a phone")
	cmd.Flags().BoolVarP(&force, "force", "f", false, "replace a file that is there")
	inGroup(cmd, everyday, "unit", "utc-offset", "instrument", "rod-height", "photos", "stop", "forget-stop", "camera", "clock-error", "lens", "output", "force", "log", "json")
	inGroup(cmd, seldom)
	return cmd
}

// changes tells whether anything is to be set.
func (f *settingsFlags) changes(cmd *cobra.Command) bool {
	for _, name := range append([]string{"utc-offset", "steering-sigma", "forget", "forget-stop", "forget-camera"}, settingNames...) {
		if cmd.Flags().Changed(name) {
			return true
		}
	}
	return false
}
