package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/wording"
	"shadowread/internal/workup"
)

// estimate returns the current position, nil if it is lost.
func (now *reckoning) estimate() *Estimate {
	if now.lost() != nil {
		return nil
	}
	f := &now.Filter
	e := &Estimate{Time: f.Time, Position: f.Position, Cov: f.Cov(), Since: f.Since, Run: f.Run}
	if c := now.Course; c != nil {
		e.Heading, e.Steered = c.Leg.Heading, true
		if c.Run > 0 && !c.Left {
			e.Heading = f.Heading // with what was learnt of the instrument
		} else if _, corrected, err := now.steer(); err == nil {
			e.Heading = corrected
		}
	}
	return e
}

// steer returns the filter once it has taken up the current leg, and its
// heading with what was learnt of the instrument.
func (now *reckoning) steer() (workup.State, angle.Angle, error) {
	leg := now.Course.Leg
	next, _, err := now.Model.Next(now.Filter, workup.Entry{Time: now.Filter.Time, Leg: &leg})
	return next, next.Heading, err
}

// Whereabouts is where the journey is now.
type Whereabouts struct {
	Journey  int
	Estimate Estimate
	Ellipse  workup.Ellipse
	Shared   workup.Shared // what was learnt of the instruments
	// Closing is the last fix's; nil if there was none.
	Closing *workup.Closing
	// Leg is the entry of the current leg, 0 if it has no heading or there is none.
	Leg int
	// Entries that wait for the user: legs that need a heading, fixes that were not
	// used. Legs without a heading are run on in no direction known, and the ellipse
	// holds all of them.
	NeedHeading, NeedConfirmation []int
}

// Where returns where a journey is after its last entry; journey 0 is the last. It
// fails with code "no_journey", or "position_lost" if the work-up came to an end
// that only a fix or a correction helps.
func (l *Log) Where(ctx context.Context, journey int) (*Whereabouts, error) {
	var w *Whereabouts
	err := l.read(ctx, func(tx *sql.Tx) error {
		journey, err := theJourney(ctx, tx, journey)
		if err != nil {
			return err
		}
		w, err = l.whereIn(ctx, tx, journey)
		return err
	})
	return w, err
}

func (l *Log) whereIn(ctx context.Context, tx *sql.Tx, journey int) (*Whereabouts, error) {
	now, err := l.reckoned(ctx, tx, journey)
	if err != nil {
		return nil, err
	}
	if now.lost() != nil {
		return nil, now.lost().fault()
	}
	w := &Whereabouts{
		Journey: journey, Estimate: *now.estimate(), Shared: now.Filter.Shared(), Closing: now.Closing,
		NeedHeading: now.NeedHeading, NeedConfirmation: now.NeedConfirmation,
	}
	w.Ellipse = w.Estimate.Cov.Ellipse95()
	if now.Course != nil {
		w.Leg = now.Course.Entry
	}
	return w, nil
}

// Snapshot is a journey at one moment, whatever others write meanwhile.
type Snapshot struct {
	Track   *Track
	Entries []Entry      // all, superseded ones too, as List has them
	Where   *Whereabouts // nil while the position is lost
}

// Snapshot returns a journey as a whole; journey 0 is the last. It fails with code
// "no_journey".
func (l *Log) Snapshot(ctx context.Context, journey int) (*Snapshot, error) {
	s := &Snapshot{Track: &Track{}}
	var standing []Entry
	err := l.read(ctx, func(tx *sql.Tx) (err error) {
		if s.Track.Journey, err = theJourney(ctx, tx, journey); err != nil {
			return err
		}
		if standing, err = standingIn(ctx, tx, s.Track.Journey); err != nil {
			return err
		}
		if s.Entries, err = allIn(ctx, tx, s.Track.Journey); err != nil {
			return err
		}
		if s.Where, err = l.whereIn(ctx, tx, s.Track.Journey); fault.Code(err) == "position_lost" {
			err = nil
		}
		return err
	})
	if err != nil {
		return nil, err
	}
	return s, s.Track.work(standing)
}

// EstimateAt returns the estimated position of the last journey, or that of GoOnWith, at a
// time, for a reading without a receiver.
//
// After the last entry, run is the way since; nil if it is not known: then the
// vehicle, halted or not, may have gone anywhere since at the journey's speed limit,
// and the covariance says so. Before the last entry, it is interpolated by time
// between two, run not looked at, and the covariance holds any speed between.
//
// It fails with code "no_journey", "position_lost", "before_departure",
// "estimate_stale" if the vehicle may be more than 500 km off, or as the verbs do
// for a run that cannot be.
func (l *Log) EstimateAt(ctx context.Context, at time.Time, run *Run) (*Estimate, error) {
	ns, err := toNS(at)
	if err != nil {
		return nil, err
	}
	at = fromNS(ns)
	var e *Estimate
	err = l.read(ctx, func(tx *sql.Tx) error {
		journey, now, err := l.journeyNow(ctx, tx, l.journey)
		if err != nil {
			return err
		}
		if at.Before(now.Time) {
			e, err = between(ctx, tx, journey, at)
		} else {
			e, err = now.ahead(at, run)
		}
		return err
	})
	return e, err
}

// staleAfter is the uncertainty at which an estimate serves no reading: 500 km turn
// the azimuth by some 5 degrees.
const staleAfter = 500 * geo.Kilometre

// ahead returns the estimate after the last entry. It changes the reckoning.
func (now *reckoning) ahead(at time.Time, run *Run) (*Estimate, error) {
	if now.lost() != nil {
		return nil, now.lost().fault()
	}
	if run != nil {
		// As if a leg began there: an odometer not read before may begin to count.
		leg := &Leg{Run: *run}
		leg.Run.CountsOn = run.plain()
		e := &Entry{Time: at, Content: leg}
		if err := run.validate(); err != nil {
			return nil, err
		}
		course := now.Course
		parts, err := now.take(e)
		if err != nil {
			return nil, err
		}
		now.Course = course // no leg did begin
		steered := now.Filter
		for _, p := range parts {
			if steered, _, err = now.Model.Next(steered, p); err != nil {
				return nil, err
			}
		}
		now.Filter = steered
		return now.estimate(), nil
	}
	e := now.estimate()
	elapsed := at.Sub(now.Time)
	// Nobody logs that a halt is over: what comes after it is as unknown as after any
	// other entry. A distance uniform from 0 to the most has the mean square most^2/3,
	// all of which may lie on one axis.
	most := float64(now.SpeedLimit) * elapsed.Seconds()
	e.Cov.NN += most * most / 3
	e.Cov.EE += most * most / 3
	if e.Sigma() > staleAfter {
		return nil, fault.New("estimate_stale", "log where the vehicle has gone since or that it stood, or give the position",
			"the last entry of the log is %s old, and the vehicle may be anywhere by now", wording.Span(elapsed))
	}
	e.Time = at
	return e, nil
}

// between returns the estimate at a time from the departure to the last entry.
func between(ctx context.Context, tx *sql.Tx, journey int, at time.Time) (*Estimate, error) {
	place, err := lastBy(ctx, tx, journey, at)
	if err != nil {
		return nil, err
	}
	now, err := reckonedBefore(ctx, tx, journey, place+1)
	if err != nil {
		return nil, err
	}
	if now.lost() != nil {
		return nil, now.lost().fault()
	}
	before := now.estimate()
	// The next that takes time, which the caller knows there is.
	var next *reckoning
	err = eachStanding(ctx, tx, journey, place+1, func(e *Entry) (err error) {
		if _, now, err = now.after(e); err != nil {
			return err
		}
		if now.Time.After(at) {
			next = now
			return errEnough
		}
		return nil
	})
	if err != nil && !errors.Is(err, errEnough) {
		return nil, err
	}
	if next == nil || next.lost() != nil {
		return nil, fault.New("position_lost", "give the position", "there is no estimated position after %s", before.Time.Format(time.RFC3339))
	}
	after := next.estimate()
	share := float64(at.Sub(before.Time)) / float64(after.Time.Sub(before.Time))
	course, length, err := geo.RhumbInverse(before.Position, after.Position)
	if err != nil {
		return nil, err
	}
	p, err := geo.RhumbDirect(before.Position, course, length*geo.Metres(share))
	if err != nil {
		return nil, err
	}
	// Where on the way is known no better than that it lies on it; a way that was no
	// straight line strays by no more than it is long.
	e := *before
	e.Time, e.Position = at, p
	e.Cov = workup.Cov{
		NN: max(before.Cov.NN, after.Cov.NN), NE: 0,
		EE: max(before.Cov.EE, after.Cov.EE),
	}
	way := max(float64(length), float64(after.Run-before.Run))
	e.Cov.NN += way*way/3 + math.Abs(after.Cov.NE)
	e.Cov.EE += way*way/3 + math.Abs(after.Cov.NE)
	return &e, nil
}

var errEnough = errors.New("enough")

// ReadHere reads a photo, or a number, with the log's estimate as its position. The
// estimate is that of the time that the reading finds; if another estimate was used
// and the two are more than 50 m apart, it is read again. 50 m turn the azimuth by
// 0.0005 degree, with the sun at 80 degrees' altitude by some 0.003.
//
// guess is the time to begin with; read gets the estimate and returns the time of
// its reading, or the zero time if it found none. ReadHere fails as EstimateAt and
// read do, and with code "estimate_unsettled".
func (l *Log) ReadHere(ctx context.Context, guess time.Time, run *Run, read func(context.Context, *Estimate) (time.Time, error)) (*Estimate, error) {
	here, err := l.EstimateAt(ctx, guess, run)
	if err != nil {
		return nil, err
	}
	for range 5 {
		at, err := read(ctx, here)
		if err != nil || at.IsZero() || at.Equal(here.Time) {
			return here, err
		}
		there, err := l.EstimateAt(ctx, at, run)
		if err != nil {
			return nil, err
		}
		_, moved, err := geo.GeodesicInverse(here.Position, there.Position)
		if err != nil {
			return nil, err
		}
		if moved <= 50*geo.Metre && there.Sigma() <= here.Sigma()+50*geo.Metre {
			return here, nil
		}
		here = there
	}
	return nil, fault.New("estimate_unsettled", "give the time or the position", "the time of the reading and the log's position at it do not settle")
}

// Track is a journey as worked up.
type Track struct {
	Journey int
	Points  []Point // one for each standing entry, the departure first
	// Lost says where the work-up came to an end; points from there to the next fix
	// have no position.
	Lost []Lost
}

// Point is an entry as worked up. The heading of a leg holds from its point to the
// next.
type Point struct {
	Entry Entry
	// At is where the entry was made; nil while the position is lost. A fix stands
	// in At.Closing.
	At *workup.Point
	// Via is what a detour passes between the entry before and At: where it left the
	// leg, and the ends of its short legs but the last.
	Via []workup.Point
}

// WorkUp works a journey up, every entry adjusted by all its fixes, in time linear
// in its entries; journey 0 is the last. It fails with code "no_journey".
func (l *Log) WorkUp(ctx context.Context, journey int) (*Track, error) {
	t := &Track{}
	var entries []Entry
	err := l.read(ctx, func(tx *sql.Tx) (err error) {
		if t.Journey, err = theJourney(ctx, tx, journey); err != nil {
			return err
		}
		entries, err = standingIn(ctx, tx, t.Journey)
		return err
	})
	if err != nil {
		return nil, err
	}
	return t, t.work(entries)
}

// standingIn returns what stands in the places of a journey, withdrawals too.
func standingIn(ctx context.Context, tx *sql.Tx, journey int) ([]Entry, error) {
	var most int
	if err := tx.QueryRowContext(ctx, "SELECT count(*) FROM entries WHERE journey = ?", journey).Scan(&most); err != nil {
		return nil, err
	}
	entries := make([]Entry, 0, most)
	err := eachStanding(ctx, tx, journey, 0, func(e *Entry) error {
		entries = append(entries, *e)
		return nil
	})
	return entries, err
}

// stretch is what the work-up takes in one go: from a departure, or a fix after the
// position was lost, to the end or where it is lost.
type stretch struct {
	departure workup.Departure
	first     int // the point it begins at
	parts     []workup.Entry
	owner     []int // of each part, the index of its point
}

// work takes all entries in one go, and only where that fails one by one, which
// shows where stretches begin and end and costs half as much again.
func (t *Track) work(entries []Entry) error {
	for _, singly := range []bool{false, true} {
		points, stretches, now, err := split(entries, singly)
		if err != nil {
			return err
		}
		t.Points, t.Lost = points, now.Losses
		for _, s := range stretches {
			var track *workup.Track
			if track, err = now.Model.Run(s.departure, s.parts); err != nil {
				break
			}
			t.enter(s, track)
		}
		if err == nil {
			return nil
		}
		if singly {
			return err
		}
	}
	return nil
}

// split translates entries and parts them into stretches. Unless they are worked up
// singly there is but one.
func split(entries []Entry, singly bool) (points []Point, stretches []stretch, now *reckoning, err error) {
	points = make([]Point, 0, len(entries))
	for i := range entries {
		e := &entries[i]
		if !e.Stands() {
			continue
		}
		var parts []workup.Entry
		losses := 0
		if now == nil {
			d, ok := e.Content.(*Departure)
			if !ok {
				return nil, nil, nil, damaged(fmt.Errorf("entry %d begins its journey and is no departure", e.Number))
			}
			now, err = begin(e, d)
		} else {
			losses = len(now.Losses)
			parts, err = now.take(e)
			if err == nil && singly {
				now.carry(e, parts)
			}
		}
		if err != nil {
			return nil, nil, nil, damaged(fmt.Errorf("entry %d: %w", e.Number, err))
		}
		switch {
		case now.Begun.Entry == e.Number:
			stretches = append(stretches, stretch{departure: now.Begun.Departure, first: len(points)})
		case !now.Astray && len(now.Losses) == losses:
			s := &stretches[len(stretches)-1]
			for range parts {
				s.owner = append(s.owner, len(points))
			}
			s.parts = append(s.parts, parts...)
		}
		points = append(points, Point{Entry: *e})
	}
	return points, stretches, now, nil
}

// enter puts a stretch, worked up, into the points.
func (t *Track) enter(s stretch, track *workup.Track) {
	t.Points[s.first].At = &track.Points[0]
	for i, o := range s.owner {
		p := &t.Points[o]
		// Parts of other entries are how the work-up reckons, not where the vehicle went.
		if p.At != nil {
			if d, ok := p.Entry.Content.(*Detour); ok {
				p.Via = append(p.Via, *p.At)
				p.Via = p.Via[max(0, len(p.Via)-len(d.Legs)):] // from where it left the leg
			}
		}
		p.At = &track.Points[i+1]
	}
}
