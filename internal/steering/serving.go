package steering

import (
	"slices"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/geo"
	"shadowread/internal/reading"
)

// Serving is the spans in which the dial can be read after an instant.
type Serving struct {
	Until *time.Time // when it ceases to, what is taken now; nil: not within LookAhead, or it does not now
	End   End        // why it does then
	From  *time.Time // when it can be read again, by sun or moon; nil: not within LookAhead
	Body  bearing.Body
}

// LookAhead is how far the end is looked for: a day, after which the sun stands as before.
const LookAhead = 24 * time.Hour

// End says why the dial ceases to serve.
type End string

// The ends.
const (
	TooLow  End = "too_low"
	TooHigh End = "too_high"
	SunUp   End = "sun_up" // the moon's shadow goes
	// NoNumber is where sheet and rod stand off level and plumb by so much that the light no
	// longer gives a number for the course.
	NoNumber End = "no_number"
)

// ServingAt looks ahead from t at a place: how long what is taken now, nil for neither, can be
// read, and when the sun or the moon can again. only is the body that was asked for; where it
// is nil the moon is taken while the sun is down, as the reader does.
//
// The error's code is one of bearing.Observe's.
func ServingAt(t time.Time, p geo.Position, elevationMetres float64, now, only *bearing.Body) (Serving, error) {
	until := t.Add(LookAhead)
	var spans []span
	for _, b := range []bearing.Body{bearing.Sun, bearing.Moon} {
		if only != nil && *only != b {
			continue
		}
		windows, err := bearing.AltitudeWindows(b, t, until, p, elevationMetres, reading.LowestAltitude, reading.HighestAltitude)
		if err != nil {
			return Serving{}, err
		}
		for _, w := range windows {
			spans = append(spans, span{w.From, w.Until, b, false})
		}
	}
	if only == nil {
		down, err := bearing.AltitudeWindows(bearing.Sun, t, until, p, elevationMetres, -90*angle.Degree, -sunEdge)
		if err != nil {
			return Serving{}, err
		}
		spans = inTheDark(spans, down)
	}
	slices.SortStableFunc(spans, func(a, b span) int { return a.from.Compare(b.from) })
	var s Serving
	for _, x := range spans {
		switch {
		case now != nil && x.body == *now && s.Until == nil && !x.from.After(t):
			if x.until.Before(until) {
				s.Until = new(x.until)
				s.End = endOf(x, p, elevationMetres)
			}
		case s.From == nil && x.from.After(t):
			s.From, s.Body = new(x.from), x.body
		}
	}
	return s, nil
}

// sunEdge is the sun's semi-diameter, good to 0.005 degree: it is down below that.
const sunEdge = 0.267 * angle.Degree

// span is one in which a shadow by a body is usable.
type span struct {
	from, until time.Time
	body        bearing.Body
	pales       bool // it ends with the sun's rising
}

// inTheDark cuts the moon's spans to those in which the sun is down.
func inTheDark(spans []span, down []bearing.Window) (out []span) {
	for _, s := range spans {
		if s.body == bearing.Sun {
			out = append(out, s)
			continue
		}
		for _, d := range down {
			cut := s
			if d.From.After(cut.from) {
				cut.from = d.From
			}
			if d.Until.Before(cut.until) {
				cut.until, cut.pales = d.Until, true
			}
			if cut.from.Before(cut.until) {
				out = append(out, cut)
			}
		}
	}
	return out
}

func endOf(s span, p geo.Position, elevationMetres float64) End {
	if s.pales {
		return SunUp
	}
	sky, err := bearing.Observe(s.body, s.until, p, elevationMetres)
	if err == nil && sky.Altitude > (reading.LowestAltitude+reading.HighestAltitude)/2 {
		return TooHigh
	}
	return TooLow
}
