package main

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"strings"

	"shadowread/internal/angle"
	"shadowread/internal/compass"
	"shadowread/internal/daycard"
	"shadowread/internal/fault"
	"shadowread/internal/openfile"
	"shadowread/internal/photo"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
)

// sightings is compass readings, each beside the heading of the same axis.
type sightings struct {
	list []compass.Sighting
	read []*reading.Result // beside list: what the photo gave; nil for a heading without one
}

// sightingFlags is what commands take that read compass readings and photos.
type sightingFlags struct {
	file                       string
	compassSigma, headingSigma quantity
	date                       parsed[daycard.Date]
	elevation                  quantity
	photo                      photoFlags
	known                      knownFlags
	jobs                       quantity
}

func newSightingFlags() sightingFlags {
	sigma := func(a angle.Angle) quantity {
		return quantity{value: a.Degrees(), least: 0.01, most: 90, unit: "deg", text: fmt.Sprintf("%g", a.Degrees())}
	}
	return sightingFlags{
		compassSigma: sigma(compass.ReadingSigmas.CompassSigma),
		headingSigma: sigma(compass.ReadingSigmas.HeadingSigma),
		date:         newDateFlag(),
		elevation:    elevationFlag(),
		photo:        newPhotoFlags(),
		jobs:         jobsFlag(),
	}
}

func (f *sightingFlags) addReadings(cmd *cobra.Command, fileUsage string) {
	cmd.Flags().StringVar(&f.file, "sightings", "", fileUsage)
	cmd.Flags().Var(&f.compassSigma, "compass-sigma", "one sigma of a compass reading")
	cmd.Flags().Var(&f.headingSigma, "heading-sigma", "one sigma of a heading without a photo")
}

func (f *sightingFlags) addPhotos(cmd *cobra.Command, timeUsage string) {
	f.photo.add(cmd, timeUsage)
	cmd.Flags().Var(&f.date, "date", "the day, as 2026-03-14, in place of --time")
	cmd.Flags().Var(&f.elevation, "elevation", "above sea level, with --position (default 0)")
	f.known.add(cmd)
	cmd.Flags().Var(&f.jobs, "jobs", "photos read at once (default the number of processors)")
}

// options is how photos are read, and where and when the flags say that it was.
func (f *sightingFlags) options(cmd *cobra.Command) (o reading.Options, at reading.Spot, err error) {
	if err = exclusive(cmd, "time", "date"); err != nil {
		return o, at, err
	}
	if o, err = f.photo.options(cmd); err != nil {
		return o, at, err
	}
	switch {
	case o.Time.At != nil:
		at.Instant = &photo.Instant{UTC: *o.Time.At}
	case f.date.set: // noon: a day more or less is nothing to the earth's field
		at.Instant = &photo.Instant{UTC: midnight(f.date.value).Add(12 * time.Hour)}
	}
	if f.photo.place.set {
		place, err := photo.ResolvePosition(photo.Facts{}, o.Position)
		if err != nil {
			return o, at, err
		}
		place.ElevationMetres = f.elevation.value
		at.Place = &place
	} else if f.elevation.set {
		return o, at, fault.Usage("elevation_without_position", "give --position too", "--elevation has no meaning without --position")
	}
	return o, at, f.known.use(cmd, &o)
}

// read reads a file of compass readings, and the photos that it names, from
// its own folder on. A photo that is refused is an error: without it the set is
// another one, and only the observer knows whether that will do.
func (f *sightingFlags) read(ctx context.Context, s *streams, o reading.Options, parse func(io.Reader, string, compass.SightingDefaults) ([]compass.Sighting, error)) (*sightings, error) {
	path := f.file
	r, err := openfile.Regular(path)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	list, err := parse(r, path, compass.SightingDefaults{HeadingSigma: f.headingSigma.angle(), CompassSigma: f.compassSigma.angle()})
	if err != nil {
		return nil, err
	}
	set := &sightings{list, make([]*reading.Result, len(list))}
	var photos []int
	for i, x := range list {
		if x.Reference == compass.ByPhoto {
			photos = append(photos, i)
		}
	}
	if len(photos) > 1 && o.Time.At != nil {
		return nil, timeWithManyPhotos(len(photos))
	}
	bar := progress{s: s}
	defer bar.wipe()
	// The others are read all the same: all that is wrong is known at once.
	var refused []error
	err = inOrder(ctx, len(photos), int(f.jobs.value), func(ctx context.Context, i int) *reading.Result {
		name := list[photos[i]].Photo
		if !filepath.IsAbs(name) {
			name = filepath.Join(filepath.Dir(path), name)
		}
		return reading.Read(ctx, photofile.At(name), o)
	}, func(i int, r *reading.Result) error {
		bar.wipe()
		at := &list[photos[i]]
		if err := set.take(s, photos[i], r, fmt.Sprintf("%s line %d: ", path, at.Line)); err != nil {
			refused = append(refused, err)
		}
		bar.show("read %d of %d photos", i+1, len(photos))
		return nil
	})
	if err != nil || len(refused) == 0 {
		return set, err
	}
	bar.wipe()
	last := len(refused) - 1
	for _, err := range refused[:last] {
		s.say(message{Level: "error", Code: fault.Code(err), Message: err.Error(), Hint: fault.Hint(err)})
	}
	return set, refused[last]
}

func timeWithManyPhotos(n int) error {
	return fault.Usage("time_with_many_photos", "read them one by one, or give --utc-offset and --clock-error for the camera's clock",
		"--time is the time of one photo, and there are %d", n)
}

// take gives sighting i the heading of its photo.
func (x *sightings) take(s *streams, i int, r *reading.Result, where string) error {
	if err := thereIs(r.Photo); r.Photo != "" && err != nil {
		return err
	}
	if !r.OK() {
		return photoRefused{fault.New("photo_refused", r.Message, "%s%s gives no heading (%s)", where, r.Photo, r.Reason)}
	}
	for _, w := range r.Warnings {
		s.note(w.Code, "%s%s", where, w.Message)
	}
	at := &x.list[i]
	at.Heading, at.HeadingSigma, at.Reference, at.Share = *r.Heading, r.Sigma, compass.FromTrueNorth, new(r.Budget.Shared())
	x.read[i] = r
	return nil
}

// photoRefused ends a command that cannot go on without a photo's heading, or with a fix that
// was refused.
type photoRefused struct{ cause *fault.Error }

func (e photoRefused) Error() string { return e.cause.Error() }
func (e photoRefused) Unwrap() error { return e.cause }

// lineOf and photoOf are null in JSON where a reading has none.
func lineOf(x compass.Sighting) *int {
	if x.Line == 0 {
		return nil
	}
	return &x.Line
}

func photoOf(x compass.Sighting) *string {
	if x.Photo == "" {
		return nil
	}
	return &x.Photo
}

// outlierNote adds to the notes of a reading that the others contradict.
func outlierNote(notes string) string {
	return strings.TrimPrefix(notes+", out of line with the others", ", ")
}
