package main

import (
	"strconv"
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/daycard"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/wording"
)

// skyHelp is what differs between the commands sun and moon.
type skyHelp struct {
	body                 bearing.Body
	short, long, example string
}

var (
	sunHelp = skyHelp{bearing.Sun, "tell where the sun stands, now or through a day",
		`Tell where the sun stands at a time, or through a day at a step: azimuth
(clockwise from true north), altitude, how fast the azimuth runs, and which way
a vertical rod's shadow points and how long it is.`,
		`  shadowread sun --position -20.6142,25.4310
  shadowread sun --position "20 36.852 S, 25 25.860 E" --time 2026-03-14T09:26:53+02:00
  shadowread sun --position -20.6142,25.4310 --date 2026-03-14 --utc-offset 2 --step 30m --rod-height 50
  shadowread sun --position -20.6142,25.4310 --date 2026-03-14 --json`}
	moonHelp = skyHelp{bearing.Moon, "tell where the moon stands, now or through a day",
		`Tell where the moon stands at a time, or through a day at a step: azimuth
(clockwise from true north) and altitude of the disc's centre, how fast the
azimuth runs, and which way a vertical rod's shadow points and how long it is.
The shadow follows the centre of the lit part, which at half moon stands 0.1
degree from the disc's.`,
		`  shadowread moon --position -20.6142,25.4310
  shadowread moon --position 20.6142S,25.4310E --time 2026-03-01T20:00:00Z
  shadowread moon --position -20.6142,25.4310 --date 2026-03-01 --utc-offset +02:00 --step 1h --json`}
)

type skyOptions struct {
	body      bearing.Body
	when      when
	date      parsed[daycard.Date]
	step      time.Duration
	place     place
	rod       quantity
	elevation quantity
}

func newSky(s *streams, h skyHelp) *cobra.Command {
	o := skyOptions{
		body:      h.body,
		date:      newDateFlag(),
		rod:       rodHeightFlag(),
		elevation: elevationFlag(),
	}
	cmd := &cobra.Command{
		Use:   h.body.String(),
		Short: h.short,
		Long: h.long + `

Altitudes are given with the air's refraction and without ("unrefracted"). A day
runs from midnight to midnight of --utc-offset, both included.`,
		Example: h.example,
		Args:    noArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return runSky(cmd, s, &o, time.Now) },
	}
	f := cmd.Flags()
	o.place.add(f, "where, as -20.6142,25.4310 or \"20 36.852 S, 25 25.860 E\"; required")
	o.when.add(f, "the `TIME`, as 2026-03-14T09:26:53+02:00 (default now)", "of --time and --date, as +02:00 or 2; east is positive")
	f.Var(&o.date, "date", "a whole day, as 2026-03-14")
	f.DurationVar(&o.step, "step", 10*time.Minute, "of the table of a day, a `DURATION` as 30m or 1h")
	f.Var(&o.rod, "rod-height", "rod above the sheet, for the shadow's length")
	f.Var(&o.elevation, "elevation", "above sea level (default 0)")
	addJSON(cmd, s)
	return cmd
}

// midnight is that of UTC.
func midnight(d daycard.Date) time.Time {
	return time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, time.UTC)
}

func newDateFlag() parsed[daycard.Date] {
	return parsed[daycard.Date]{name: "DAY", parse: daycard.ParseDate}
}

func elevationFlag() quantity {
	return quantity{least: bearing.MinElevationMetres, most: bearing.MaxElevationMetres, unit: "m", text: "0"}
}

func rodHeightFlag() quantity   { return quantity{least: 5, most: 500, unit: "mm"} }
func rodDiameterFlag() quantity { return quantity{least: 0.2, most: 30, unit: "mm"} }

func runSky(cmd *cobra.Command, s *streams, o *skyOptions, now func() time.Time) error {
	if err := exclusive(cmd, "time", "date"); err != nil {
		return err
	}
	if !o.place.set {
		return fault.Usage("no_position", "give --position LAT,LON, as -20.6142,25.4310", "no position given")
	}
	if !o.date.set && cmd.Flags().Changed("step") {
		return fault.Usage("step_without_date", "give --date for a day's table", "--step has no meaning without --date")
	}
	from, to, err := o.span(now())
	if err != nil {
		return err
	}
	rows, err := bearing.Table(o.body, from, to, o.step, o.place.value, o.elevation.value, o.rod.value)
	if err != nil {
		return asUsage(err)
	}
	s.note("position", "the %s from %s", o.body, o.place.value)
	for _, odd := range o.when.oddClock(cmd.Context(), nil, from, &o.place.value) {
		s.note(string(odd.Code), "%s", odd.Message)
	}
	zone := time.UTC
	if offset := o.when.stated(); offset != nil && *offset != 0 {
		zone = time.FixedZone("", int(*offset/time.Second))
	}
	return printSky(cmd, s, rows, zone)
}

// span returns the first and the last instant of the table.
func (o *skyOptions) span(now time.Time) (from, to time.Time, err error) {
	if o.date.set {
		from = midnight(o.date.value).Add(-o.when.offset.value)
		return from, from.Add(24 * time.Hour), nil
	}
	at, err := o.when.at()
	if err != nil {
		return from, to, err
	}
	if at == nil {
		at = new(now.UTC().Truncate(time.Second))
		if err := clockGoes(now); err != nil {
			return from, to, err
		}
	}
	return *at, *at, nil
}

func printSky(cmd *cobra.Command, s *streams, rows []bearing.Row, zone *time.Location) error {
	if s.json {
		for _, r := range rows {
			if err := s.printJSON(r); err != nil {
				return err
			}
		}
		return nil
	}
	clock := "time UTC"
	if zone != time.UTC {
		_, seconds := rows[0].TimeUTC.In(zone).Zone()
		clock = "time " + geo.FormatOffset(time.Duration(seconds)*time.Second)
	}
	t := table{s: s, pipe: "sky", columns: []column{
		{head: clock, width: 19}, {head: "azimuth°", right: true}, {head: "altitude°", right: true}, {head: "unrefracted°", right: true},
		{head: "azimuth°/h", right: true}, {head: "shadow to°", right: true}, {head: "length mm", right: true},
	}}
	for _, r := range rows {
		if err := cmd.Context().Err(); err != nil {
			return err
		}
		cells := []string{
			r.TimeUTC.Format(time.RFC3339Nano), decimal(&r.AzimuthDeg, 6), decimal(&r.AltitudeDeg, 6), decimal(&r.AltitudeAirlessDeg, 6),
			decimal(&r.AzimuthRateDegPerHour, 6), decimal(r.ShadowDirectionDeg, 6), decimal(r.ShadowLengthMM, 3),
		}
		st := style("")
		if s.outTTY {
			cells = []string{
				r.TimeUTC.In(zone).Format(time.DateTime), wording.Three(angle.FromDegrees(r.AzimuthDeg), 2), decimal(&r.AltitudeDeg, 2), decimal(&r.AltitudeAirlessDeg, 2),
				decimal(&r.AzimuthRateDegPerHour, 2), dash(bearingPtr(r.ShadowDirectionDeg, 2)), dash(decimal(r.ShadowLengthMM, 1)),
			}
			if r.AltitudeDeg < 0 {
				st = dim
			}
		}
		if err := t.row(st, cells...); err != nil {
			return err
		}
	}
	return nil
}

// decimal prints a number; "" where there is none.
func decimal(x *float64, places int) string {
	if x == nil {
		return ""
	}
	return strconv.FormatFloat(*x, 'f', places, 64)
}

func dash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

func bearingPtr(deg *float64, places int) string {
	if deg == nil {
		return ""
	}
	return wording.Three(angle.FromDegrees(*deg), places)
}
