package logreading

import (
	"context"
	"encoding/json"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/logbook"
	"shadowread/internal/photo"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
)

// Importer reads what package logimport takes into the log.
type Importer struct {
	Options   reading.Options
	SetUpAnew bool
	// Now is where the journey is when the import begins; may be nil.
	Now *photo.Place
	// For, if not nil, sets what is known of the camera that took a photo.
	For func(path string, o *reading.Options) error
	// Instrument is the record that Options corrects by, as the log keeps it.
	Instrument *logbook.Record
	// Overlay returns a small picture of what was found in a photo, nil for none.
	Overlay func(path string, r *reading.Result) []byte

	dated map[string]bool // photos that tell their time
}

// TimeOf returns when a photo was taken, or the zero time if it does not say. Where neither
// photo nor option tells the place, the map of time zones is asked for where the journey is
// now; Read then sees whether that was right.
func (m *Importer) TimeOf(_ context.Context, path string) (time.Time, error) {
	facts, err := photo.ReadFacts(photofile.At(path))
	if err != nil {
		return time.Time{}, nil // the row may have a time; the reading will say what is wrong
	}
	own := m.Options
	if m.For != nil {
		if err := m.For(path, &own); err != nil {
			return time.Time{}, err
		}
	}
	where := own.Position
	where.Estimate = m.Now
	var at *photo.Place
	if p, err := photo.ResolvePosition(facts, where); err == nil {
		at = &p
	}
	instant, err := photo.ResolveTime(facts, at, own.Time)
	if err != nil {
		return time.Time{}, nil
	}
	if m.dated == nil {
		m.dated = map[string]bool{}
	}
	m.dated[path] = true
	return instant.UTC, nil
}

// Read reads a photo of a time that TimeOf said, or else its row, at the log's estimate.
// It fails with code "time_mismatch".
func (m *Importer) Read(ctx context.Context, path string, at time.Time, here *logbook.Estimate) (logbook.PhotoReading, error) {
	own := m.Options
	if m.For != nil {
		if err := m.For(path, &own); err != nil {
			return logbook.PhotoReading{}, err
		}
	}
	own.Position.Estimate = Place(here)
	if !m.dated[path] {
		own.Time = own.Time.NotedAt(at)
	}
	r := reading.Read(ctx, photofile.At(path), own)
	if err := ctx.Err(); err != nil {
		return logbook.PhotoReading{}, err
	}
	if r.Instant != nil && r.Instant.UTC.Sub(at).Abs() > time.Second {
		return logbook.PhotoReading{}, fault.New("time_mismatch", "give --utc-offset, or the photos' times in the file",
			"%s is of %s by the time zone here, and of %s by that of the log's last position", path, r.Instant.UTC.Format(time.RFC3339), at.UTC().Format(time.RFC3339))
	}
	p, err := Evidence(r, m.SetUpAnew)
	if p.Reading != nil {
		p.Reading.Instrument = m.Instrument
	}
	if err == nil && m.Overlay != nil {
		p.Overlay = m.Overlay(path, r)
	}
	return p, err
}

// Number works out the heading of a number read by eye, at a time that was noted by a UTC
// offset, if that is known.
func (m *Importer) Number(ctx context.Context, number, sigma angle.Angle, at time.Time, offset *time.Duration, here *logbook.Estimate) (logbook.NumberReading, error) {
	own := m.Options
	own.Time = own.Time.NotedAt(at)
	if offset != nil {
		own.Time.UTCOffset = offset
	}
	own.Position.Estimate = Place(here)
	r := reading.ReadNumber(ctx, number, sigma, own)
	if !r.OK() {
		return logbook.NumberReading{}, fault.New(string(r.Reason), r.Message, "the number gives no heading")
	}
	whole, err := json.Marshal(r)
	h := Heading(r, m.SetUpAnew)
	h.Instrument = m.Instrument
	return logbook.NumberReading{Heading: h, Whole: whole, Found: Odd(r)}, err
}
