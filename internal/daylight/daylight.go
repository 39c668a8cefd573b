// Package daylight looks ahead from a place: how long the sun stays up, and when the dial
// can be read, by sun or moon.
package daylight

import (
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/daycard"
	"shadowread/internal/geo"
)

// The first look takes in a day and the next, and is enough but near the poles. There the
// search goes on by months, over the longest night.
const (
	firstLook = 48 * time.Hour
	nextLook  = 30 * 24 * time.Hour
	farthest  = 210 * 24 * time.Hour
)

// Span is a time in which the dial can be read. A zero Until is beyond what was searched.
type Span struct {
	Body        bearing.Body
	From, Until time.Time
}

// Outlook is what is ahead at a place.
type Outlook struct {
	SunUp bool
	// Turn is when it sets, if it is up, or else rises; zero where it does not within half
	// a year.
	Turn time.Time
	// Now is the span that is open, nil if none is; Next is the next to open, nil if none
	// does within half a year.
	Now, Next *Span
}

// Ahead looks ahead from a time, at a place that is not left. It fails as bearing.Observe
// does.
func Ahead(at time.Time, p geo.Position) (Outlook, error) {
	var o Outlook
	for span := firstLook; span <= farthest && (o.Turn.IsZero() || o.Next == nil); span += nextLook {
		until := at.Add(span)
		if o.Turn.IsZero() {
			turns, up, err := bearing.RiseSet(bearing.Sun, at, until, p, 0)
			if err != nil {
				return o, err
			}
			o.SunUp = up
			if len(turns) > 0 {
				o.Turn = turns[0].Time
			}
		}
		if o.Next == nil {
			spans, err := usable(at, until, p)
			if err != nil {
				return o, err
			}
			o.take(at, spans)
		}
	}
	return o, nil
}

// take chooses the span that is open and the one after.
func (o *Outlook) take(at time.Time, spans []Span) {
	o.Now = nil
	for i := range spans {
		s := &spans[i]
		switch {
		case !s.From.After(at) && o.Now == nil:
			o.Now = s
		case s.From.After(at) && (o.Next == nil || s.From.Before(o.Next.From)):
			o.Next = s
		}
	}
}

// usable returns the spans in which the dial can be read, the sun's first.
func usable(from, until time.Time, p geo.Position) (spans []Span, err error) {
	sun, err := bearing.AltitudeWindows(bearing.Sun, from, until, p, 0, daycard.DefaultLowest, daycard.DefaultHighest)
	if err != nil {
		return nil, err
	}
	moon, err := bearing.AltitudeWindows(bearing.Moon, from, until, p, 0, daycard.MoonLowest, daycard.DefaultHighest)
	if err != nil {
		return nil, err
	}
	dark, err := bearing.AltitudeWindows(bearing.Sun, from, until, p, 0, -90*angle.Degree, daycard.MoonSunBelow)
	if err != nil {
		return nil, err
	}
	add := func(b bearing.Body, w bearing.Window) {
		s := Span{Body: b, From: w.From, Until: w.Until}
		if !w.Until.Before(until) {
			s.Until = time.Time{}
		}
		spans = append(spans, s)
	}
	for _, w := range sun {
		add(bearing.Sun, w)
	}
	for _, w := range moon {
		for _, d := range dark {
			both := bearing.Window{From: later(w.From, d.From), Until: earlier(w.Until, d.Until)}
			if both.Until.Sub(both.From) < daycard.MinRun {
				continue
			}
			seen, err := bearing.Observe(bearing.Moon, both.From, p, 0)
			if err != nil {
				return nil, err
			}
			if seen.LitFraction >= daycard.MoonLitFraction {
				add(bearing.Moon, both)
			}
		}
	}
	return spans, nil
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}
