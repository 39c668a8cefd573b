package logbook

import (
	"context"
	"database/sql"
	"math"
	"time"

	"shadowread/internal/geo"
	"shadowread/internal/workup"
)

// WhereAt is Where at a time after the last entry, with the way since; nil if that is not
// known, as in EstimateAt. Nothing is written. It fails as Where and EstimateAt do.
func (l *Log) WhereAt(ctx context.Context, journey int, at time.Time, run *Run) (*Whereabouts, error) {
	ns, err := toNS(at)
	if err != nil {
		return nil, err
	}
	at = fromNS(ns)
	var w *Whereabouts
	err = l.read(ctx, func(tx *sql.Tx) error {
		journey, err := theJourney(ctx, tx, journey)
		if err != nil {
			return err
		}
		if w, err = l.whereIn(ctx, tx, journey); err != nil {
			return err
		}
		now, err := l.reckoned(ctx, tx, journey)
		if err != nil {
			return err
		}
		var e *Estimate
		if run == nil && at.Before(now.Time) {
			e, err = between(ctx, tx, journey, at)
		} else {
			now = now.clone() // ahead changes it
			e, err = now.ahead(at, run)
			w.Shared = now.Filter.Shared()
		}
		if err != nil {
			return err
		}
		w.Estimate, w.Ellipse = *e, e.Cov.Ellipse95()
		return nil
	})
	return w, err
}

// paceOver is what "the day" is in the day's speed, back from the last entry: offsets from
// UTC are not the log's to know.
const paceOver = 24 * time.Hour

// DaysPace returns what was run on the journey's last day, from entry to entry; journey 0
// is the last. Stretches without a way count as stood. It fails as Where does.
func (l *Log) DaysPace(ctx context.Context, journey int) (workup.Pace, error) {
	var pace workup.Pace
	err := l.read(ctx, func(tx *sql.Tx) error {
		journey, last, err := l.journeyNow(ctx, tx, journey)
		if err != nil {
			return err
		}
		from, scale := last.Time.Add(-paceOver), last.Filter.Shared().Scale
		var now *reckoning
		return eachStandingBefore(ctx, tx, journey, 0, math.MaxInt64, func(e *Entry) error {
			if now == nil {
				_, now, err = now.after(e)
				return err
			}
			before := now.Time
			parts, err := now.take(e)
			if err != nil {
				return err
			}
			now.carry(e, parts)
			if before.Before(from) {
				return nil
			}
			run := workup.Pace{UnderWay: e.Time.Sub(before).Seconds()}
			if r := e.Content.run(); r != nil && r.Speed != nil && r.Speed.For > 0 {
				run.UnderWay = r.Speed.For.Seconds()
			}
			for _, p := range parts {
				switch {
				case p.Leg == nil:
				case p.Leg.Odometer: // with what was learnt of it
					run.Run += p.Leg.Distance * geo.Metres(1+scale)
				default:
					run.Run += p.Leg.Distance
				}
			}
			if run.Run > 0 {
				pace.Run += run.Run
				pace.UnderWay += run.UnderWay
			}
			return nil
		})
	})
	return pace, err
}
