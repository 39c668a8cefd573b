package logbook

import (
	"context"
	"database/sql"
	"fmt"
	"path/filepath"
	"testing"
	"time"
)

// longLog returns a log of so many legs by hand, 1 km and 10 minutes each. They wander
// east and west, so that the position stays where the work-up can follow it. All but
// the first are written as rows, which is faster; the check says that they are
// entries none the less.
func longLog(b *testing.B, legs int) *Log {
	b.Helper()
	ctx := b.Context()
	l := open(b, filepath.Join(b.TempDir(), "log.db"))
	must(b)(l.Begin(ctx, at(0), Departure{Position: pan, Sigma: 20, Odometer: km("0.0").Odometer}))
	err := l.write(ctx, func(tx *sql.Tx) error {
		last, err := lastRow(ctx, tx)
		if err != nil {
			return err
		}
		r := *last
		r.kind = KindLeg
		for i := 1; i <= legs; i++ {
			when, leg := legAt(i)
			r.number, r.slot, r.timeNS, r.previous = i+1, i+1, when.Time.UnixNano(), r.hash
			if r.content, err = encode(leg, 0); err != nil {
				return err
			}
			r.hash = r.digest()
			if err := r.insert(ctx, tx); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		b.Fatal(err)
	}
	if r, err := l.Check(ctx); err != nil || !r.OK() || r.Entries != legs+1 {
		b.Fatal(err, r)
	}
	return l
}

// legAt returns the leg that begins at kilometre i.
func legAt(i int) (At, *Leg) {
	h := by(float64(90+180*(i/50%2)), 2)
	return At{Time: morning.Add(time.Duration(i) * 10 * time.Minute)}, &Leg{Run: km(fmt.Sprintf("%d.0", i)), How: ByHand, Hand: &h}
}

func (l *Log) addLeg(ctx context.Context, tx *sql.Tx, i int) error {
	when, leg := legAt(i)
	_, err := l.addIn(ctx, tx, when, leg, proof{})
	return err
}

// BenchmarkAddLeg adds legs to logs of two lengths. "on disk" is what a user waits
// for, with the sync of each commit; "opened" forgets the reckoning as a program
// does that is started for one leg, and works the journey up again. Without the sync
// the times show what the length of the log costs an import: nothing, beyond the deeper
// index.
func BenchmarkAddLeg(b *testing.B) {
	for _, legs := range []int{100, 10_000} {
		l := longLog(b, legs)
		n := legs
		add := func(forget bool) func(b *testing.B) {
			return func(b *testing.B) {
				for b.Loop() {
					n++
					if forget {
						l.memo = memo{}
					}
					if err := l.write(b.Context(), func(tx *sql.Tx) error { return l.addLeg(b.Context(), tx, n) }); err != nil {
						b.Fatal(err)
					}
				}
			}
		}
		b.Run(fmt.Sprintf("opened/%d", legs), add(true))
		b.Run(fmt.Sprintf("on disk/%d", legs), add(false))
		b.Run(fmt.Sprintf("without sync/%d", legs), func(b *testing.B) {
			err := l.write(b.Context(), func(tx *sql.Tx) error {
				for b.Loop() {
					n++
					if err := l.addLeg(b.Context(), tx, n); err != nil {
						return err
					}
				}
				return nil
			})
			if err != nil {
				b.Fatal(err)
			}
		})
		l.Close()
	}
}

// BenchmarkWorkUp reports what a log costs over the reading of its rows from SQLite
// alone: the current position, as every verb works it up, of 10,000 legs; and the whole
// journey adjusted, of 100,000, over reading them as entries too.
func BenchmarkWorkUp(b *testing.B) {
	ctx := b.Context()
	// The best of the rounds: what else the machine does only ever adds.
	timed := func(best *time.Duration, f func() error) {
		began := time.Now()
		if err := f(); err != nil {
			b.Fatal(err)
		}
		*best = min(*best, time.Since(began))
	}
	readRows := func(l *Log) error {
		all, err := l.db.QueryContext(ctx, "SELECT "+columns+" FROM entries e WHERE journey = 1 AND "+standing+" ORDER BY slot")
		if err != nil {
			return err
		}
		defer all.Close()
		for all.Next() {
			var r row
			if err := r.scan(all); err != nil {
				return err
			}
		}
		return all.Err()
	}
	b.Run("reckoning/10000", func(b *testing.B) {
		l := longLog(b, 10_000)
		rows, worked := time.Hour, time.Hour
		for b.Loop() {
			timed(&rows, func() error { return readRows(l) })
			l.memo = memo{}
			timed(&worked, func() error { _, err := l.Where(ctx, 1); return err })
		}
		b.ReportMetric(float64(worked)/float64(rows), "workup/rows")
		b.ReportMetric(worked.Seconds(), "s/workup")
		b.ReportMetric(rows.Seconds(), "s/rows")
	})
	b.Run("adjusted/100000", func(b *testing.B) {
		l := longLog(b, 100_000)
		rows, entries, workup := time.Hour, time.Hour, time.Hour
		for b.Loop() {
			timed(&rows, func() error { return readRows(l) })
			timed(&entries, func() error { _, err := l.List(ctx, 1, false); return err })
			timed(&workup, func() error { _, err := l.WorkUp(ctx, 1); return err })
		}
		b.ReportMetric(float64(workup)/float64(rows), "workup/rows")
		b.ReportMetric(float64(workup)/float64(entries), "workup/entries")
		b.ReportMetric(workup.Seconds(), "s/workup")
		b.ReportMetric(rows.Seconds(), "s/rows")
	})
}
