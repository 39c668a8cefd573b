// Package logreading joins the log and the reader: photos and numbers are read at the
// log's estimated position where no other is known, and headings go into the log as its
// work-up wants them.
package logreading

import (
	"context"
	"encoding/json"
	"slices"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/logbook"
	"shadowread/internal/photo"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
	"shadowread/internal/workup"
)

// Place is the log's estimate as the place of a reading; nil for none.
func Place(e *logbook.Estimate) *photo.Place {
	if e == nil {
		return nil
	}
	return &photo.Place{Position: e.Position, Source: photo.PositionFromLog, SigmaKM: e.Sigma().Kilometres()}
}

// Photo reads a photo; where neither it nor the options tell the place, at the log's
// estimate for the time that it turns out to be of. The log may be nil. since is the way
// since its last entry, nil if it is not known. It fails if that cannot have been run; that
// there is no estimate is for the reading to say.
func Photo(ctx context.Context, book *logbook.Log, path string, o reading.Options, since *logbook.Run) (*reading.Result, error) {
	facts, _ := photo.ReadFacts(photofile.At(path)) // what is wrong with it the reading says
	return AtEstimate(ctx, book, o, facts, since, func(o reading.Options) (*reading.Result, error) {
		return reading.Read(ctx, photofile.At(path), o), ctx.Err()
	})
}

// AtEstimate is Photo for whatever reads: it calls read with options that have the log's
// estimate, as often as it takes to settle; with none where the place is known without it.
// Where the log gives none and read fails without a place, with code number_alone, it fails
// with why the log gives none.
func AtEstimate(ctx context.Context, book *logbook.Log, o reading.Options, facts photo.Facts, since *logbook.Run, read func(reading.Options) (*reading.Result, error)) (*reading.Result, error) {
	if _, err := photo.ResolvePosition(facts, o.Position); err == nil || book == nil {
		return read(o)
	}
	var r *reading.Result
	var guess time.Time
	at, why := photo.ResolveTime(facts, nil, o.Time)
	if guess = at.UTC; why != nil {
		// The map of time zones needs a place to begin with.
		var w *logbook.Whereabouts
		if w, why = book.Where(ctx, 0); why == nil {
			o.Position.Estimate = Place(&w.Estimate)
			if at, err := photo.ResolveTime(facts, o.Position.Estimate, o.Time); err == nil {
				guess = at.UTC
			} else { // of no time, and the way since is for whoever writes it
				return read(o)
			}
		}
	}
	if why == nil {
		_, why = book.ReadHere(ctx, guess, since, func(_ context.Context, here *logbook.Estimate) (at time.Time, err error) {
			o.Position.Estimate = Place(here)
			if r, err = read(o); err == nil && r.Instant != nil {
				at = r.Instant.UTC
			}
			return at, err
		})
	}
	if why == nil {
		return r, nil
	}
	if !slices.Contains([]string{"position_lost", "estimate_stale", "estimate_unsettled", "before_departure", "no_journey"}, fault.Code(why)) {
		return nil, why
	}
	o.Position.Estimate = nil
	r, err := read(o)
	switch {
	case fault.Code(err) == "number_alone":
		return nil, why
	case err == nil:
		r.Warnings = append(r.Warnings, photo.Warning{Code: fault.Code(why), Message: "the log gives no position: " + why.Error()})
	}
	return r, err
}

// Heading is a reading as the work-up wants it. setUpAnew says that the instrument was put
// down and levelled for it alone.
func Heading(r *reading.Result, setUpAnew bool) logbook.DialHeading {
	out := logbook.DialHeading{
		Heading: *r.Heading, Sigma: r.Sigma, Level: sharedLevel(r), Alignment: r.Budget.Alignment, Position: r.Budget.Position,
		Body: &workup.Body{Azimuth: r.Sky.Azimuth, Altitude: r.Sky.Altitude}, SetUpAnew: setUpAnew,
	}
	if r.Place.Source == photo.PositionFromLog {
		out.ComputedAt = new(r.Place.Position)
	}
	return out
}

// sharedLevel is what a leg's level shares with those of the same instrument: of a tilt that
// was measured at each stand only the rod against its sheet.
func sharedLevel(r *reading.Result) angle.Angle {
	if p := r.LevelParts; p != nil {
		return p.Square
	}
	return r.Budget.Level
}

// Evidence is a photo, read or refused, as the log keeps it, without name, hash and
// overlay.
func Evidence(r *reading.Result, setUpAnew bool) (p logbook.PhotoReading, err error) {
	if r.Instant != nil {
		p.Time, p.Offset = r.Instant.UTC, r.Instant.Offset
	}
	if p.Whole, err = json.Marshal(r); err != nil {
		return p, err
	}
	p.Found = Odd(r)
	if !r.OK() {
		p.Refused, p.Message = string(r.Reason), r.Message
		return p, nil
	}
	p.Reading = new(Heading(r, setUpAnew))
	return p, nil
}
