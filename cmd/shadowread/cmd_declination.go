package main

import (
	"time"

	"github.com/spf13/cobra"

	"shadowread/internal/compass"
	"shadowread/internal/fault"
	"shadowread/internal/photo"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
)

type declinationOptions struct {
	sightings   sightingFlags
	compass     quantity
	trueHeading quantity
	number      numberFlags
}

func newDeclination(s *streams) *cobra.Command {
	o := declinationOptions{
		sightings:   newSightingFlags(),
		compass:     quantity{least: 0, most: 360, unit: "deg"},
		trueHeading: quantity{least: 0, most: 360, unit: "deg"},
		number:      newNumberFlags(),
	}
	cmd := &cobra.Command{
		Use:   "declination [PHOTO]",
		Short: "observe the magnetic declination, beside the world model's",
		Long: `Observe the magnetic declination: read the compass along an axis whose true
heading is known, from a photo of the sheet on that axis, from --true-heading or
from --number. declination = true - compass, east positive. Many readings come
in a file; see below.

Beside it stands the World Magnetic Model 2025 at that place, height and time,
good for 2025 to 2030, with its published uncertainty, and by how many sigmas
the two differ, with the likely causes. Without a reading the model alone is
asked.

Keep iron away: what is observed holds the compass's deviation, its lubber line
and the sheet's. In a vehicle read on headings evenly round, or use shadowread
swing.

--sightings takes a CSV file whose first line names the columns: compass_deg,
and one of true_deg and photo in each row; heading_sigma_deg and
compass_sigma_deg where they are not --heading-sigma and --compass-sigma; note.
Photos are looked for from the file's folder on. Lines with # are comments. What
the photos' headings share (rod out of plumb, clock, sheet askew) does not
average out, and is taken from their budgets; of headings without a photo, all
of the sigma is taken as shared.`,
		Example: `  shadowread declination --position -22.9,22.3 --date 2026-08-29
  shadowread declination --sightings fixtures/compass/sightings.csv --position -22.9,22.3 --date 2026-08-29
  shadowread declination --compass 71.2 fixtures/demo/02-second-truck.jpg
  shadowread declination --compass 128.5 --true-heading 115 --position -22.9,22.3 --date 2026-08-29 --json`,
		RunE: func(cmd *cobra.Command, args []string) error { return runDeclination(cmd, s, &o, args, time.Now) },
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.Var(&o.compass, "compass", "one reading: what the compass shows along the axis")
	f.Var(&o.trueHeading, "true-heading", "the axis's true heading, if no photo gives it")
	o.number.add(cmd)
	o.sightings.addReadings(cmd, "many readings, from this CSV `FILE`")
	o.sightings.addPhotos(cmd, "the `TIME`, as 2026-03-14T09:26:53+02:00 (default the photo's, else now)")
	addJSON(cmd, s)
	return cmd
}

func runDeclination(cmd *cobra.Command, s *streams, o *declinationOptions, args []string, now func() time.Time) error {
	opts, flags, err := o.sightings.options(cmd)
	if err != nil {
		return err
	}
	set, err := o.observe(cmd, s, opts, args)
	if err != nil {
		return err
	}
	at, err := reading.SpotOf(flags, set.read)
	if err != nil {
		return err
	}
	var out declinationResult
	if len(set.list) > 0 {
		if out.observed, err = observed(set, o.sightings.file); err != nil {
			return err
		}
		out.shared = compass.SharedOf(set.list)
		out.nameOutliers(s, o.sightings.file)
	} else if at.Place == nil {
		return fault.Usage("no_position", "give --position LAT,LON, as -20.6142,25.4310", "no position given")
	}
	if at.Place != nil {
		if at.Instant == nil {
			t := now().UTC().Truncate(time.Second)
			at.Instant = &photo.Instant{UTC: t}
			s.note("time", "no time given: the model's declination is that of now, %s", t.Format(time.RFC3339))
		}
		model, err := reading.ModelDeclination(*at.Instant, *at.Place)
		switch {
		case err == nil:
			out.model = &model
		case out.observed == nil:
			return asUsage(err)
		default: // what was observed stands without the model
			s.note("no_model", "nothing to compare with: %s", err)
		}
	} else {
		s.note("no_model", "nothing to compare with: give --position LAT,LON for the model's declination")
	}
	out.compare()
	return out.output(s)
}

// observe returns the readings: those of a file, one, or none.
func (o *declinationOptions) observe(cmd *cobra.Command, s *streams, opts reading.Options, args []string) (*sightings, error) {
	var given []string
	for _, name := range []string{"sightings", "true-heading", "number"} {
		if cmd.Flags().Changed(name) {
			given = append(given, "--"+name)
		}
	}
	for _, path := range args {
		given = append(given, "the photo "+path)
	}
	switch {
	case len(given) > 1:
		return nil, fault.Usage("contradicting_flags", "one reading is one photo, --true-heading or --number; many are --sightings", "%s and %s contradict each other", given[0], given[1])
	case o.sightings.file != "" && o.compass.set:
		return nil, fault.Usage("contradicting_flags", "the file holds the compass readings", "--sightings and --compass contradict each other")
	case o.sightings.file != "":
		return o.sightings.read(cmd.Context(), s, opts, compass.ReadSightings)
	case len(given) == 0 && o.compass.set:
		return nil, fault.Usage("no_heading", "give a photo, --true-heading or --number", "the compass reading has no true heading beside it")
	case len(given) == 1 && !o.compass.set:
		return nil, fault.Usage("no_compass", "give --compass, what the compass shows along the same axis", "%s has no compass reading beside it", given[0])
	case len(given) == 0:
		return &sightings{}, nil
	}
	x := compass.Sighting{Compass: o.compass.angle().Bearing(), CompassSigma: o.sightings.compassSigma.angle()}
	set := &sightings{[]compass.Sighting{x}, make([]*reading.Result, 1)}
	var r *reading.Result
	switch {
	case o.trueHeading.set:
		set.list[0].Heading, set.list[0].HeadingSigma = o.trueHeading.angle().Bearing(), o.sightings.headingSigma.angle()
		return set, nil
	case o.number.number.set:
		var err error
		if r, err = o.number.read(cmd, opts); err != nil {
			return nil, err
		}
	default:
		r = reading.Read(cmd.Context(), photofile.At(args[0]), opts)
		if err := cmd.Context().Err(); err != nil {
			return nil, err
		}
	}
	return set, set.take(s, 0, r, "")
}

// observed names the file and the line that is not usable.
func observed(set *sightings, file string) (*compass.ObservedDeclination, error) {
	for _, x := range set.list {
		if x.Reference == compass.FromMagneticNorth {
			return nil, fault.New("heading_not_true", "give true_deg or photo: a magnetic heading says nothing of the declination",
				"%s line %d: no true heading", file, x.Line)
		}
	}
	got, err := compass.ObserveDeclination(set.list, compass.SharedOf(set.list))
	return &got, err
}
