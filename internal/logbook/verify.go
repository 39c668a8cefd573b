package logbook

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"shadowread/internal/fault"
)

// Problem is something wrong with a log.
type Problem struct {
	Code    string `json:"code"`  // stable, snake_case
	Entry   int    `json:"entry"` // 0 if it is of no one entry
	Message string `json:"message"`
}

// Report is what a check of the whole log found.
type Report struct {
	Entries  int
	Journeys int
	Schema   int // version
	// Head is the hash of the last entry, in hexadecimal. The chain shows entries
	// that were changed, removed or put in, but not the loss of the last ones, for
	// which one must have noted the head.
	Head     string
	Problems []Problem
}

// OK reports whether nothing is wrong.
func (r *Report) OK() bool { return len(r.Problems) == 0 }

func (r *Report) problem(code string, entry int, format string, args ...any) {
	r.Problems = append(r.Problems, Problem{code, entry, fmt.Sprintf(format, args...)})
}

// maxProblems is where a check stops counting; past it a log is beyond reading.
const maxProblems = 1000

// Check checks the whole log: SQLite's own integrity, the schema, the hash of every
// entry and its tie to the one before, what is kept beside entries, and that every
// entry can be read and follows from those before. What it finds is in the report; it
// fails only if the log cannot be read at all.
func (l *Log) Check(ctx context.Context) (*Report, error) {
	r := &Report{}
	err := l.read(ctx, func(tx *sql.Tx) error {
		for _, check := range []func(context.Context, querier) error{r.database, r.schema, r.chain, r.evidence, r.reckoning} {
			if err := check(ctx, tx); err != nil {
				return err
			}
			if len(r.Problems) >= maxProblems {
				return nil
			}
		}
		return nil
	})
	return r, err
}

// Changed returns the standing entries of a journey, 0 for the last, that are not what was written,
// as a damaged file or another hand leaves them: what is worked up from them is wrong. Those that
// were corrected since count no more. Check tells more, and takes longer.
func (l *Log) Changed(ctx context.Context, journey int) (numbers []int, err error) {
	err = l.read(ctx, func(tx *sql.Tx) error {
		journey, err := theJourney(ctx, tx, journey)
		if err != nil {
			if fault.Code(err) == "no_journey" { // for whoever asks more to say
				return nil
			}
			return err
		}
		rows, err := tx.QueryContext(ctx, "SELECT "+columns+" FROM entries AS e WHERE journey = ? AND NOT EXISTS (SELECT 1 FROM entries AS s WHERE s.supersedes = e.number)", journey)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var w row
			if err := w.scan(rows); err != nil {
				return err
			}
			if !bytes.Equal(w.hash, w.digest()) {
				numbers = append(numbers, w.number)
			}
		}
		return rows.Err()
	})
	return numbers, err
}

// lines runs f with the first column of a query's rows.
func lines(ctx context.Context, q querier, query string, f func(string)) error {
	rows, err := q.QueryContext(ctx, query)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		var s string
		if err := rows.Scan(&s); err != nil {
			return err
		}
		f(s)
	}
	return rows.Err()
}

func (r *Report) database(ctx context.Context, q querier) error {
	err := lines(ctx, q, "SELECT integrity_check FROM pragma_integrity_check", func(s string) {
		if s != "ok" {
			r.problem("database_damaged", 0, "%s", s)
		}
	})
	if err != nil {
		return err
	}
	return lines(ctx, q, `SELECT "table" || ' row ' || rowid FROM pragma_foreign_key_check`, func(s string) {
		r.problem("dangling_reference", 0, "%s refers to an entry that is not there", s)
	})
}

const schemaQuery = "SELECT type || ' ' || name || ': ' || coalesce(sql, '') FROM sqlite_schema WHERE name NOT LIKE 'sqlite_%' ORDER BY type, name"

// schema compares tables, indexes and triggers with those of a log made new; an old
// log that may not be written to, with those of its version.
func (r *Report) schema(ctx context.Context, q querier) (err error) {
	if _, r.Schema, _, err = identify(ctx, q); err != nil {
		return err
	}
	steps, err := steps()
	if err != nil {
		return err
	}
	fresh, err := inMemory(ctx, steps[:min(r.Schema, len(steps))])
	if err != nil {
		return err
	}
	defer fresh.Close()
	var want, got []string
	if err := lines(ctx, fresh, schemaQuery, func(s string) { want = append(want, s) }); err != nil {
		return err
	}
	if err := lines(ctx, q, schemaQuery, func(s string) { got = append(got, s) }); err != nil {
		return err
	}
	name := func(s string) string { n, _, _ := bytes.Cut([]byte(s), []byte(":")); return string(n) }
	for _, s := range want {
		if !slices.Contains(got, s) {
			r.problem("schema_changed", 0, "the %s is missing or was changed", name(s))
		}
	}
	for _, s := range got {
		if !slices.ContainsFunc(want, func(w string) bool { return name(w) == name(s) }) {
			r.problem("schema_changed", 0, "the %s is none of this program's", name(s))
		}
	}
	return nil
}

// chain checks every row by itself and against the one before.
func (r *Report) chain(ctx context.Context, q querier) error {
	rows, err := q.QueryContext(ctx, "SELECT "+columns+" FROM entries ORDER BY number")
	if err != nil {
		return err
	}
	defer rows.Close()
	type place struct{ journey, last int } // of a slot: its journey and the entry that stands in it
	slots := map[int]place{}
	previous := make([]byte, sha256.Size)
	for rows.Next() && len(r.Problems) < maxProblems {
		var w row
		if err := w.scan(rows); err != nil {
			return err
		}
		r.Entries++
		if w.number != r.Entries {
			r.problem("entry_missing", w.number, "entries %d to %d are missing", r.Entries, w.number-1)
			r.Entries = w.number
		}
		if !bytes.Equal(w.hash, w.digest()) {
			r.problem("entry_changed", w.number, "the entry is not what was written: its hash differs")
		}
		if !bytes.Equal(w.previous, previous) {
			r.problem("chain_broken", w.number, "the entry does not follow the one before it")
		}
		previous = w.hash

		p, known := slots[w.slot]
		switch {
		case w.supersedes == 0 && w.slot != w.number,
			w.supersedes != 0 && (!known || p.last != w.supersedes || p.journey != w.journey):
			r.problem("correction_astray", w.number, "the entry is not in the place of the one it supersedes")
		case w.supersedes == 0 && w.kind == KindDeparture && w.journey != r.Journeys+1,
			w.supersedes == 0 && w.kind != KindDeparture && (w.journey < 1 || w.journey > r.Journeys):
			r.problem("journey_astray", w.number, "the entry is of no journey that was begun before it")
		}
		slots[w.slot] = place{w.journey, w.number}
		r.Journeys = max(r.Journeys, w.journey)

		e, err := w.entry()
		if err != nil {
			r.problem("entry_unreadable", w.number, "%v", err)
			continue
		}
		if text, err := encode(e.Content, e.Place); err != nil || withOffset(text, e.Offset) != w.content {
			r.problem("entry_unreadable", w.number, "the entry holds more or other than this program writes")
		}
		if leg, ok := e.Content.(*Leg); ok && (leg.Photo != nil) != (w.photo != nil) ||
			ok && leg.Photo != nil && leg.Photo.SHA256 != hex.EncodeToString(w.photo) {
			r.problem("entry_unreadable", w.number, "the photo's hash stands there in two ways")
		}
	}
	r.Head = hex.EncodeToString(previous)
	return rows.Err()
}

// evidence checks what is kept beside entries by the hashes in them.
func (r *Report) evidence(ctx context.Context, q querier) error {
	return each(ctx, q, func(e *Entry) error {
		leg, ok := e.Content.(*Leg)
		if !ok {
			leg = &Leg{} // nothing is kept beside other entries
		}
		var reading, overlay []byte
		err := q.QueryRowContext(ctx, "SELECT reading, overlay FROM evidence WHERE entry = ?", e.Number).Scan(&reading, &overlay)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		for _, x := range []struct {
			what string
			want string
			data []byte
		}{{"reading", leg.ReadingSHA256, reading}, {"overlay", leg.OverlaySHA256, overlay}} {
			switch {
			case x.want == "" && x.data == nil:
			case x.want == "" || x.data == nil || hash(x.data) != x.want:
				r.problem("evidence_changed", e.Number, "the %s kept with the entry is not what was written", x.what)
			}
		}
		return nil
	}, "SELECT "+said+" FROM entries WHERE kind = 'leg' OR number IN (SELECT entry FROM evidence) ORDER BY number")
}

// reckoning takes all entries anew.
func (r *Report) reckoning(ctx context.Context, q querier) error {
	if !r.OK() {
		return nil // what does not hold together cannot be worked up
	}
	for journey := 1; journey <= r.Journeys; journey++ {
		var now *reckoning
		stop := errors.New("stop")
		err := eachStanding(ctx, q, journey, 0, func(e *Entry) (err error) {
			if _, now, err = now.after(e); err != nil {
				r.problem("entry_astray", e.Number, "the entry could not have been written after the one before it: %v", err)
				return stop
			}
			return nil
		})
		if err != nil && !errors.Is(err, stop) {
			return err
		}
	}
	return nil
}

// CopyTo writes a copy of the log to one file, while others may be writing it. The
// copy is whole or not there. It fails with code "file_exists" or "cannot_write".
func (l *Log) CopyTo(ctx context.Context, path string) (err error) {
	exists := fault.New("file_exists", "name a new file, or move that one away", "%s is there already", path)
	if _, err := os.Lstat(path); err == nil {
		return exists
	}
	cannot := func(err error) error {
		return fault.Wrap(err, "cannot_write", "choose a folder that may be written to, with room for the log", "the copy %s cannot be written", path)
	}
	folder := filepath.Dir(path)
	f, err := os.CreateTemp(folder, ".log-copy-*")
	if err != nil {
		return cannot(err)
	}
	defer os.Remove(f.Name()) // fails once it has its name
	defer f.Close()
	if _, err := l.db.ExecContext(ctx, "VACUUM INTO ?", f.Name()); err != nil { // takes an empty file
		return storeError(err)
	}
	if err := f.Sync(); err != nil {
		return cannot(err)
	}
	if err := f.Close(); err != nil {
		return cannot(err)
	}
	// A hard link does not replace a file that came meanwhile; file systems without
	// links get a rename.
	if err := os.Link(f.Name(), path); errors.Is(err, fs.ErrExist) {
		return exists
	} else if err != nil {
		if err := os.Rename(f.Name(), path); err != nil {
			return cannot(err)
		}
	}
	if err := syncFolder(folder); err != nil {
		return cannot(err)
	}
	return nil
}
