package logbook

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"slices"

	"shadowread/internal/angle"
	"shadowread/internal/workup"
)

// The verbs. Each writes one entry, on the disk when it returns, and fails without
// having written anything. Beside what each one names, all fail with
//
//   - "no_journey" if none was begun,
//   - "time_before_last" for a time before the entry before,
//   - "no_distance", "bad_odometer", "odometer_backwards", "leg_too_long",
//     "bad_speed" or "bad_distance" for a way that cannot have been run,
//   - "bad_time" or "bad_text",
//   - for a correction, "no_entry", "already_corrected", "bad_correction", or the
//     code of what a later entry would then be refused for,
//   - and as Open does: "log_busy", "disk_full", "cannot_write", "log_damaged".

// Begin begins a journey. A Model left empty stands for workup.Land(). It fails with
// code "bad_position", "bad_position_sigma" or "bad_model" too.
func (l *Log) Begin(ctx context.Context, at At, d Departure) (Added, error) {
	return l.add(ctx, at, &d, proof{})
}

// LegFromPhoto changes leg by a photo, read or refused: a refused one makes an entry
// that needs a heading, so that the change of leg is not lost. At.Time may be zero
// if the photo has a time.
//
// A photo that is in the log already is refused with code "photo_already_logged",
// which names the entry.
func (l *Log) LegFromPhoto(ctx context.Context, at At, run Run, p PhotoReading) (Added, error) {
	at, leg, proof := p.leg(at, run)
	return l.add(ctx, at, leg, proof)
}

func (p PhotoReading) leg(at At, run Run) (At, *Leg, proof) {
	if at.Time.IsZero() {
		at.Time = p.Time
	}
	if at.Offset == nil {
		at.Offset = p.Offset
	}
	at.Found = slices.Concat(at.Found, p.Found)
	photo := &Photo{Name: p.Name, SHA256: hex.EncodeToString(p.SHA256[:]), Refused: p.Refused, Message: p.Message}
	reading := p.Reading
	if reading != nil && !(reading.Sigma <= maxHeadingSigma) { // no use, but the leg was changed
		photo.Refused = "too_uncertain"
		photo.Message = fmt.Sprintf("the heading is known to no better than %v", reading.Sigma)
		reading = nil
	}
	return at, &Leg{Run: run, How: ByPhoto, Reading: reading, Photo: photo}, proof{reading: p.Whole, overlay: p.Overlay}
}

// LegFromNumber changes leg by a number read by eye on the dial. Whole is the
// reading as JSON, kept as it is; it may be nil. It fails with code "bad_heading"
// or "bad_altitude" too.
func (l *Log) LegFromNumber(ctx context.Context, at At, run Run, r DialHeading, whole []byte) (Added, error) {
	return l.add(ctx, at, &Leg{Run: run, How: ByNumber, Reading: &r}, proof{reading: whole})
}

// LegByHand changes leg by a true heading had in another way. In place of a leg with a
// photo, such as one that was refused, it stays the leg of that photo, and what was
// kept of it stays beside it. It fails with code "bad_heading" too.
func (l *Log) LegByHand(ctx context.Context, at At, run Run, h Heading) (Added, error) {
	leg, p := &Leg{Run: run, How: ByHand, Hand: &h}, proof{}
	if at.Supersedes != 0 {
		old, err := l.Entry(ctx, at.Supersedes)
		if err != nil {
			return Added{}, err
		}
		if was, ok := old.Content.(*Leg); ok && was.Photo != nil {
			leg.Photo = was.Photo
			if p.reading, p.overlay, err = l.Evidence(ctx, at.Supersedes); err != nil {
				return Added{}, err
			}
		}
	}
	return l.add(ctx, at, leg, p)
}

// KeepHeading corrects time, way or note of the leg that at.Supersedes names; its heading
// stays, and what is kept beside it.
func (l *Log) KeepHeading(ctx context.Context, at At, run Run) (Added, error) {
	old, err := l.Entry(ctx, at.Supersedes)
	if err != nil {
		return Added{}, err
	}
	was, ok := old.Content.(*Leg)
	if !ok {
		return Added{}, bad("bad_correction", "name a leg", "entry %d is a %s, not a leg", old.Number, old.Kind())
	}
	leg, p := *was, proof{}
	leg.Run = run
	if p.reading, p.overlay, err = l.Evidence(ctx, at.Supersedes); err != nil {
		return Added{}, err
	}
	return l.add(ctx, at, &leg, p)
}

// Detour goes round an obstacle. It fails with code "bad_detour" or "bad_heading"
// too.
func (l *Log) Detour(ctx context.Context, at At, d Detour) (Added, error) {
	return l.add(ctx, at, &d, proof{})
}

// Halt stops, or merely notes odometer and clock; the heading goes on.
func (l *Log) Halt(ctx context.Context, at At, h Halt) (Added, error) {
	return l.add(ctx, at, &h, proof{})
}

// Fix enters a position had from outside. One of FarFix sigma or more from the
// estimate is kept and not used until ConfirmFix; Added.Closing says so. It fails
// with code "bad_position" or "bad_position_sigma" too.
func (l *Log) Fix(ctx context.Context, at At, f Fix) (Added, error) {
	f.Rule = workup.FromThree
	return l.add(ctx, at, &f, proof{})
}

// ConfirmFix makes a fix count however far it lies from the estimate, which then starts
// there.
func (l *Log) ConfirmFix(ctx context.Context, number int, note string) (Added, error) {
	old, err := l.Entry(ctx, number)
	if err != nil {
		return Added{}, err
	}
	fix, ok := old.Content.(*Fix)
	if !ok {
		return Added{}, bad("bad_correction", "name the fix", "entry %d is a %s, not a fix", number, old.Kind())
	}
	fix.Confirmed, fix.Rule = true, workup.FromThree
	return l.add(ctx, At{Note: note, Supersedes: number}, fix, proof{})
}

// Note enters At.Note alone.
func (l *Log) Note(ctx context.Context, at At) (Added, error) {
	return l.add(ctx, at, &Note{}, proof{})
}

// Remount notes that the instrument was taken off and put on again.
func (l *Log) Remount(ctx context.Context, at At) (Added, error) {
	return l.add(ctx, at, &Remount{}, proof{})
}

// Tyres notes that tyres or their pressure were changed.
func (l *Log) Tyres(ctx context.Context, at At, t Tyres) (Added, error) {
	return l.add(ctx, at, &t, proof{})
}

// SetOdometer notes that the odometer was set to another number, or replaced.
func (l *Log) SetOdometer(ctx context.Context, at At, o OdometerSet) (Added, error) {
	return l.add(ctx, at, &o, proof{})
}

// Withdraw takes an entry out of the reckoning; the note says why. A departure
// cannot be withdrawn: code "bad_correction".
func (l *Log) Withdraw(ctx context.Context, number int, note string) (Added, error) {
	return l.add(ctx, At{Note: note, Supersedes: number}, &Withdrawal{}, proof{})
}

// proof is kept beside an entry.
type proof struct {
	reading, overlay []byte
	importKey        string
}

func (p proof) validate() error {
	switch {
	case len(p.reading) > maxWhole || len(p.overlay) > maxOverlay:
		return bad("evidence_too_large", "keep a smaller overlay", "a reading of %d bytes and an overlay of %d are more than the log keeps", len(p.reading), len(p.overlay))
	case len(p.reading) > 0 && !json.Valid(p.reading):
		return bad("bad_reading", "give the reading as JSON", "the reading is no JSON")
	}
	return nil
}

// normal brings headings into their interval, in copies of what the caller gave.
func normal(c Content) {
	switch c := c.(type) {
	case *Leg:
		if c.Reading != nil {
			r := *c.Reading
			r.Heading = inCircle(r.Heading)
			c.Reading = &r
		}
		if c.Hand != nil {
			c.Hand = &Heading{inCircle(c.Hand.Heading), c.Hand.Sigma}
		}
	case *Detour:
		c.Legs = slices.Clone(c.Legs)
		for i := range c.Legs {
			c.Legs[i].Heading.Heading = inCircle(c.Legs[i].Heading.Heading)
		}
	}
}

// inCircle leaves a heading that is one untouched by rounding.
func inCircle(a angle.Angle) angle.Angle {
	if a >= 0 && a < 360*angle.Degree {
		return a
	}
	return a.Bearing()
}
