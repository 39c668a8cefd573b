package main

import (
	"context"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/daylight"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/workup"
)

type whereOptions struct {
	log      logFlag
	journey  quantity
	to       parsed[logbook.Stop]
	odometer inUnit[logbook.Odometer]
	stood    bool
	when     when
}

func newLogWhere(s *streams) *cobra.Command {
	o := whereOptions{journey: newJourneyFlag(), to: newDestinationFlag(), odometer: newOdometerFlag()}
	cmd := &cobra.Command{
		Use:   "where",
		Short: "tell where you are, how sure that is, and how to go on",
		Long: `Tell the estimated position after the last entry, with its 95 % ellipse, the
last fix, what the fixes have taught of the instrument, how much daylight is
left, and when the dial can be read. To the next stop of the journey, or --to:
course and distance to go, as the rhumb line, which one true heading follows,
and as the shortest way, how to turn, what to steer where the ground drifts, and
the time to go at the speed under way of the log's last 24 hours.

With --odometer, --stood or --time the estimate is carried on from the last
entry, to now or to --time. Nothing is written to the log.`,
		Example: `  shadowread log import --log pan.db --entries fixtures/journey/first-truck.csv
  shadowread log where --log pan.db
  shadowread log where --log pan.db --to -23.20,22.36
  shadowread log where --log pan.db --odometer 45303.0 --time 2026-08-30T13:20:00+02:00`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := exclusive(cmd, "odometer", "stood"); err != nil {
				return err
			}
			return o.log.withSound(cmd.Context(), s, int(o.journey.value), func(book *logbook.Log) error {
				set, err := book.SettingsOf(cmd.Context(), int(o.journey.value))
				if err != nil {
					return err
				}
				o.when.journeys = set.UTCOffset
				at, err := o.when.at()
				if err != nil {
					return err
				}
				v, err := o.look(cmd.Context(), book, at)
				if err != nil {
					return err
				}
				if v.offset, v.set = o.when.shown(), &set; v.offset == nil {
					if v.offset, err = book.Offset(cmd.Context(), int(o.journey.value)); err != nil {
						return err
					}
				}
				return printWhere(s, v)
			})
		},
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.Var(&o.to, "to", destinationUsage)
	f.Var(&o.odometer, "odometer", "what the odometer reads, to go on from the log's last entry")
	f.BoolVar(&o.stood, "stood", false, "nothing was run since the log's last entry")
	o.when.add(f, "the `TIME` to tell it for, as 2026-03-14T09:26:53+02:00 (default the last entry's; with --odometer or --stood now)", "of --time and of what is shown, as +02:00 or 2; east is positive")
	f.Var(&o.journey, "journey", journeyUsage)
	o.log.add(cmd)
	addJSON(cmd, s)
	completeStops(cmd, s, "to", &o.log)
	return cmd
}

// view is what log where tells.
type view struct {
	where   *logbook.Whereabouts
	pace    workup.Pace
	onward  *logbook.Onward // nil where there is no destination
	outlook *daylight.Outlook
	by      *string        // sun or moon, of the current leg's heading; nil for another
	offset  *time.Duration // from UTC, of the times shown; nil: UTC
	set     *logbook.Settings
}

// look works all of it out.
func (o *whereOptions) look(ctx context.Context, book *logbook.Log, at *time.Time) (v view, err error) {
	if v.where, err = o.where(ctx, book, at); err != nil {
		return v, err
	}
	e := &v.where.Estimate
	if v.where.Leg != 0 {
		leg, err := book.Entry(ctx, v.where.Leg)
		if err != nil {
			return v, err
		}
		shown, err := shownOf(ctx, book, leg)
		if err != nil {
			return v, err
		}
		if shown.Body != "" {
			v.by = &shown.Body
		}
	}
	if v.pace, err = book.DaysPace(ctx, v.where.Journey); err != nil {
		return v, err
	}
	ahead, err := daylight.Ahead(e.Time, e.Position)
	switch {
	case err == nil:
		v.outlook = &ahead
	case fault.Code(err) != "time_out_of_range": // of what is known of the sky
		return v, err
	}
	to, err := destination(ctx, book, v.where.Journey, &o.to)
	if code := fault.Code(err); !o.to.set && (code == "no_stops" || code == "no_stop_left") {
		return v, nil
	}
	if err != nil {
		return v, err
	}
	v.onward, err = book.Onward(ctx, v.where, to)
	return v, err
}

const destinationUsage = "the destination, as -20.6142,25.4310 or \"20 36.852 S, 25 25.860 E\", or the name of a stop (default the journey's next)"

// newDestinationFlag is --to: a position, or a stop's name alone until the log is open.
func newDestinationFlag() parsed[logbook.Stop] {
	return parsed[logbook.Stop]{name: "LAT,LON|STOP", parse: func(text string) (logbook.Stop, error) {
		p, err := geo.ParsePosition(text)
		if err == nil {
			return logbook.Stop{Position: p}, nil
		}
		name := strings.TrimSpace(text)
		if name == "" || strings.ContainsAny(name[:1], "+-0123456789") { // a slip in a position
			return logbook.Stop{}, err
		}
		return logbook.Stop{Name: name}, nil
	}}
}

// destination is where it is gone to: what was given, or the journey's next stop.
func destination(ctx context.Context, book *logbook.Log, journey int, to *parsed[logbook.Stop]) (logbook.Stop, error) {
	switch {
	case !to.set:
		return book.NextStop(ctx, journey)
	case to.value.Name != "":
		return book.StopNamed(ctx, journey, to.value.Name)
	}
	return to.value, nil
}

func (o *whereOptions) where(ctx context.Context, book *logbook.Log, at *time.Time) (*logbook.Whereabouts, error) {
	journey := int(o.journey.value)
	var run *logbook.Run
	set, err := book.SettingsOf(ctx, journey)
	if err != nil {
		return nil, err
	}
	unit := set.UnitOr()
	switch {
	case o.odometer.set:
		run = new(logbook.ByOdometer(o.odometer.in(unit)))
	case o.stood:
		run = &logbook.Run{Stood: true}
	case at == nil:
		return book.Where(ctx, journey)
	}
	then, err := orNow(at)
	if err != nil {
		return nil, err
	}
	return book.WhereAt(ctx, journey, then, run)
}
