package logbook

import (
	"context"
	"database/sql"
	"slices"
	"strings"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/workup"
)

// Onward is how a journey goes on to a place: what log where tells and steer steers by.
type Onward struct {
	Stop string // the place's name; "" for one without
	To   geo.Position
	Way  workup.ToGo
	Pace workup.Pace
	// Steering is how Way's course is made good at the day's speed; nil where nothing was run
	// yet, or where the ground drifts faster than can be made good.
	Steering *workup.Steering
}

// TimeToGo is that of the way at the day's speed, with the drift; 0 if it is not known.
func (o *Onward) TimeToGo() time.Duration {
	if o.Steering == nil {
		return 0
	}
	return time.Duration(float64(o.Way.Distance) / float64(o.Steering.MadeGood) * float64(time.Second))
}

// Heading returns what to steer: the course, with the drift where that is known. It fails
// with code "drift_too_fast".
func (o *Onward) Heading(drift workup.Shared) (angle.Angle, error) {
	switch {
	case o.Steering != nil:
		return o.Steering.Heading, nil
	case o.Pace.Speed() > 0 && (drift.DriftN != 0 || drift.DriftE != 0):
		return 0, fault.New("drift_too_fast", "wait, or steer another course: --course", "the ground drifts faster than the day's speed can make good a course to there")
	}
	return o.Way.Course, nil
}

// Onward returns how a journey goes on from where it is to a place. It fails as Where does.
func (l *Log) Onward(ctx context.Context, w *Whereabouts, to Stop) (*Onward, error) {
	e := &w.Estimate
	way, err := workup.Courses(e.Position, e.Cov, to.Position, e.Heading)
	if err != nil {
		return nil, err
	}
	o := &Onward{Stop: to.Name, To: to.Position, Way: way}
	if o.Pace, err = l.DaysPace(ctx, w.Journey); err != nil {
		return nil, err
	}
	if s, ok := w.Shared.AllowFor(way.Course, way.CourseSigma, o.Pace.Speed()); ok {
		o.Steering = &s
	}
	return o, nil
}

// StopNamed returns a stop of a journey by its name; journey 0 is the last. It fails with
// code "no_journey" or "no_such_stop".
func (l *Log) StopNamed(ctx context.Context, journey int, name string) (Stop, error) {
	set, err := l.SettingsOf(ctx, journey)
	if err != nil {
		return Stop{}, err
	}
	var names []string
	if set.Stops != nil {
		for _, s := range *set.Stops {
			if strings.EqualFold(s.Name, strings.TrimSpace(name)) {
				return s, nil
			}
			names = append(names, s.Name)
		}
	}
	hint := "state it: shadowread log settings --stop NAME=LAT,LON"
	if len(names) > 0 {
		hint = "the stops are " + strings.Join(names, ", ")
	}
	return Stop{}, bad("no_such_stop", hint, "the journey has no stop %s", name)
}

// A stop is reached by an entry whose estimate is so near to it, or whose ellipse holds it,
// but not from further than nobody takes for being there (judgements).
const (
	reachedWithin = 500 * geo.Metre
	reachedAtMost = 2 * geo.Kilometre
)

// NextStop returns the first stop of a journey that none of its entries has reached, in
// their order; journey 0 is the last. A place where the vehicle was before it was stated as
// a stop is still gone to: the way back has the same places. It fails with code
// "no_journey", "no_stops" or "no_stop_left".
func (l *Log) NextStop(ctx context.Context, journey int) (Stop, error) {
	var stops []Stop
	reached := 0
	err := l.read(ctx, func(tx *sql.Tx) error {
		number, now, err := l.journeyNow(ctx, tx, journey)
		if err != nil {
			return err
		}
		if now.Settings.Stops == nil || len(*now.Settings.Stops) == 0 {
			return bad("no_stops", "state them, shadowread log settings --stop NAME=LAT,LON, or give --course or --to", "the journey has no stops")
		}
		stops = *now.Settings.Stops
		now = nil
		return eachStanding(ctx, tx, number, 0, func(e *Entry) (err error) {
			if _, now, err = now.after(e); err != nil || now == nil {
				return err
			}
			stated := now.statedOf(stops)
			reached = min(reached, stated) // what was forgotten and stated again is gone to again
			if e.Kind() == KindSettings {
				return nil
			}
			for reached < stated && now.isAt(stops[reached].Position) {
				reached++
			}
			return nil
		})
	})
	switch {
	case err != nil:
		return Stop{}, err
	case reached == len(stops):
		return Stop{}, bad("no_stop_left", "state the next, shadowread log settings --stop NAME=LAT,LON, or give --course or --to", "the last stop, %s, is reached", stops[reached-1].Name)
	}
	return stops[reached], nil
}

// statedOf returns how many of some stops, from the first on, are stated by now.
func (now *reckoning) statedOf(stops []Stop) int {
	if now.Settings.Stops == nil {
		return 0
	}
	for i, s := range stops {
		if !slices.Contains(*now.Settings.Stops, s) {
			return i
		}
	}
	return len(stops)
}

// isAt tells whether the journey is at a place.
func (now *reckoning) isAt(p geo.Position) bool {
	e := now.estimate()
	if e == nil {
		return false
	}
	_, apart, err := geo.GeodesicInverse(e.Position, p)
	return err == nil && apart <= min(max(reachedWithin, e.Cov.Ellipse95().Major), reachedAtMost)
}
