package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"shadowread/internal/fault"
	"shadowread/internal/logbook"
	"shadowread/internal/logreading"
	"shadowread/internal/photo"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
	"shadowread/internal/wording"
)

const (
	// takenWithin is how far an entry's time and that of its photo may be apart.
	takenWithin = 30 * time.Minute
	// settled is how long a file has not changed that is there whole.
	settled = 300 * time.Millisecond
)

// arrived is a photo of the journey's folder.
type arrived struct {
	path string
	at   time.Time // zero where it does not tell
}

// newest finds the photo of a leg in the folder where the journey's photos arrive: the
// newest that is not logged and was taken about the time of the entry.
func (j *journeySettings) newest(ctx context.Context, book *logbook.Log, o reading.Options, at logbook.At) (string, error) {
	if j.set.Photos == nil {
		return "", fault.Usage("no_heading", "give a photo, --number, or --heading with --heading-sigma; or state once where photos arrive, shadowread log settings --photos FOLDER; where there is no new heading, log a halt",
			"the new heading is not given")
	}
	folder := *j.set.Photos
	when, err := orNow(timeOrNil(at.Time))
	if err != nil {
		return "", err
	}
	quiet := *j.s
	quiet.quiet = true
	paths, err := expand(&quiet, []string{folder})
	if err != nil {
		return "", err
	}
	if w, err := book.Where(ctx, at.Journey); err == nil {
		o.Position.Estimate = logreading.Place(&w.Estimate)
	}
	var photos []arrived
	damaged := 0
	for _, path := range paths {
		taken, err := j.takenAt(path, o)
		if err != nil {
			if damaged++; changedWithin(path, time.Minute) { // it may be the one that is meant
				return "", arriving(path)
			}
			continue
		}
		photos = append(photos, arrived{path, taken})
	}
	slices.SortStableFunc(photos, func(a, b arrived) int { return b.at.Compare(a.at) })
	logged, untimed := 0, 0
	var other *arrived
	for i, p := range photos {
		switch {
		case p.at.IsZero():
			untimed++
			continue
		case p.at.Sub(when).Abs() > takenWithin:
			if other == nil || p.at.Sub(when).Abs() < other.at.Sub(when).Abs() {
				other = &photos[i]
			}
			continue
		}
		if err := whole(ctx, p.path); err != nil {
			return "", err
		}
		sum, err := logbook.HashFile(p.path)
		if err != nil {
			return "", err
		}
		number, err := book.LoggedPhoto(ctx, sum)
		if err != nil {
			return "", err
		}
		if number == 0 {
			j.s.note("photo_taken", "the photo is %s, of %s", p.path, wording.LocalTime(p.at, j.set.UTCOffset))
			return p.path, nil
		}
		logged++
	}
	found := []string{wording.Count(len(paths), "photo") + " there"}
	if logged > 0 {
		found = append(found, fmt.Sprintf("%d of that time in the log already", logged))
	}
	if untimed > 0 {
		found = append(found, fmt.Sprintf("%d that do not tell their time", untimed))
	}
	if damaged > 0 {
		found = append(found, fmt.Sprintf("%d damaged or copied in part", damaged))
	}
	if other != nil {
		found = append(found, fmt.Sprintf("the nearest other, %s, of %s", filepath.Base(other.path), wording.LocalTime(other.at, j.set.UTCOffset)))
	}
	return "", fault.New("no_photo_to_take", "take one, or wait until it has arrived; name it if its time is wrong; or give --number, or --heading",
		"no photo in %s that is not logged was taken within 30 minutes of %s: %s", folder, wording.LocalTime(when, j.set.UTCOffset), strings.Join(found, ", "))
}

// takenAt is when a photo was taken by its own clock; zero where it does not tell. It fails
// for a file that is no whole photo.
func (j *journeySettings) takenAt(path string, o reading.Options) (time.Time, error) {
	f, err := photo.ReadFacts(photofile.At(path))
	if err != nil {
		return time.Time{}, err
	}
	j.useClock(&o, f)
	var place *photo.Place
	if p, err := photo.ResolvePosition(f, o.Position); err == nil {
		place = &p
	}
	at, err := photo.ResolveTime(f, place, o.Time)
	if err != nil {
		return time.Time{}, nil
	}
	return at.UTC, nil
}

func changedWithin(path string, span time.Duration) bool {
	info, err := os.Stat(path)
	return err == nil && time.Since(info.ModTime()).Abs() < span
}

func arriving(path string) error {
	return fault.New("photo_arriving", "wait a moment and say it again", "%s is still being copied, and nothing was logged", path)
}

// whole refuses a file that is still being copied.
func whole(ctx context.Context, path string) error {
	before, err := os.Stat(path)
	if err != nil {
		return thereIs(path)
	}
	if !changedWithin(path, time.Minute) { // nothing is written for so long
		return nil
	}
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-time.After(settled):
	}
	after, err := os.Stat(path)
	if err != nil || after.Size() != before.Size() || !after.ModTime().Equal(before.ModTime()) {
		return arriving(path)
	}
	return nil
}
