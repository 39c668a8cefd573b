package logbook

import (
	"bytes"
	"database/sql"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"shadowread/internal/fault"
	"shadowread/internal/workup"
)

// written returns the path of a closed log with a few entries of every sort.
func written(t testing.TB) string {
	t.Helper()
	ctx := t.Context()
	l := begun(t)
	reading := DialHeading{Heading: 90 * deg, Sigma: 1 * deg, Body: &workup.Body{Azimuth: 60 * deg, Altitude: 30 * deg}}
	must(t)(l.LegFromPhoto(ctx, at(0), km("1000.0"), photo(1, &reading)))
	must(t)(l.Halt(ctx, at(60), Halt{km("1030.0")}))
	must(t)(l.LegFromPhoto(ctx, at(70), km("1030.0"), photo(2, nil)))
	must(t)(l.LegByHand(ctx, At{Supersedes: 4}, Run{}, by(180, 2)))
	must(t)(l.Halt(ctx, at(130), Halt{km("1060.0")}))
	l.Close()
	return l.Path()
}

// raw runs statements on a log's file past the program, as a meddler would.
func raw(t testing.TB, path string, statements ...string) error {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	for _, s := range statements {
		if _, err := db.Exec(s); err != nil {
			return err
		}
	}
	return nil
}

func TestTheTableRefusesChanges(t *testing.T) {
	path := written(t)
	for _, s := range []string{
		"UPDATE entries SET time_ns = 0 WHERE number = 2",
		"DELETE FROM entries WHERE number = 6",
		"DELETE FROM entries",
		"UPDATE evidence SET overlay = NULL",
		"DELETE FROM evidence",
		"PRAGMA recursive_triggers = 1; INSERT OR REPLACE INTO entries SELECT * FROM entries WHERE number = 6",
		"INSERT INTO entries SELECT 9, journey, 9, supersedes, kind, time_ns, written_ns, NULL, NULL, note, content, hash, hash FROM entries WHERE number = 6",
		"INSERT INTO entries SELECT 7, journey, 7, supersedes, kind, time_ns, written_ns, NULL, NULL, note, content, previous, hash FROM entries WHERE number = 6",
	} {
		if err := raw(t, path, s); err == nil {
			t.Errorf("%s: taken", s)
		}
	}
	l := open(t, path)
	if r, err := l.Check(t.Context()); err != nil || !r.OK() || r.Entries != 6 || r.Journeys != 1 {
		t.Errorf("%v, %+v", err, r)
	}
}

func TestCheckFindsMeddling(t *testing.T) {
	const drop = "DROP TRIGGER entries_keep; DROP TRIGGER entries_stay; DROP TRIGGER entries_follow; DROP TRIGGER evidence_keep; DROP TRIGGER evidence_stay;"
	schema, err := migrations.ReadFile("migrations/0001.sql")
	if err != nil {
		t.Fatal(err)
	}
	var restore strings.Builder // the triggers, so that only the rows give the meddler away
	for s := range strings.SplitSeq(string(schema), "\n\n") {
		if strings.HasPrefix(s, "CREATE TRIGGER") {
			restore.WriteString(s + "\n")
		}
	}
	for _, tt := range []struct{ name, meddle, code string }{
		{"nothing", "", ""},
		{"a time", "UPDATE entries SET time_ns = time_ns + 1 WHERE number = 3", "entry_changed"},
		{"a content", "UPDATE entries SET content = replace(content, '1030.0', '1031.0') WHERE number = 3", "entry_changed"},
		{"when it was written", "UPDATE entries SET written_ns = 0 WHERE number = 1", "entry_changed"},
		{"a correction undone", "UPDATE entries SET supersedes = NULL, slot = 5, photo_sha256 = NULL WHERE number = 5", "entry_changed"},
		{"an entry taken out", "PRAGMA foreign_keys = 0; DELETE FROM entries WHERE number = 3", "entry_missing"},
		{"the first taken out", "PRAGMA foreign_keys = 0; DELETE FROM entries WHERE number = 1", "chain_broken"},
		{"a hash", "UPDATE entries SET hash = zeroblob(32) WHERE number = 4", "chain_broken"},
		{"an overlay", "UPDATE evidence SET overlay = x'00' WHERE entry = 2", "evidence_changed"},
		{"a reading taken out", "DELETE FROM evidence WHERE entry = 4", "evidence_changed"},
		{"a reading put in", "INSERT INTO evidence (entry, reading) VALUES (6, '{}')", "evidence_changed"},
		{"a table put in", "CREATE TABLE extra (x)", "schema_changed"},
		{"an index taken out", "DROP INDEX entries_by_photo", "schema_changed"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			path := written(t)
			if err := raw(t, path, "PRAGMA foreign_keys = 0", drop+tt.meddle+";"+restore.String()); err != nil {
				t.Fatal(err)
			}
			l := open(t, path)
			r, err := l.Check(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			if tt.code == "" && !r.OK() || tt.code != "" && !slices.ContainsFunc(r.Problems, func(p Problem) bool { return p.Code == tt.code }) {
				t.Errorf("found %+v, want %q", r.Problems, tt.code)
			}
		})
	}
}

// A log whose file was overwritten in the middle is found out, without a panic.
func TestCheckFindsADamagedFile(t *testing.T) {
	path := written(t)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for offset := 4096; offset+512 < len(data); offset += 4096 {
		broken := slices.Clone(data)
		copy(broken[offset:], bytes.Repeat([]byte{0xa5}, 512)) // the head of a page
		p := filepath.Join(t.TempDir(), "broken.db")
		if err := os.WriteFile(p, broken, 0o644); err != nil {
			t.Fatal(err)
		}
		l, err := Open(t.Context(), p, Options{})
		if err != nil {
			continue
		}
		if r, err := l.Check(t.Context()); err == nil && r.OK() {
			t.Errorf("page %d was overwritten and the log passes for whole", offset/4096+1)
		}
		l.Close()
	}
}

// The hash of an entry as docs/log.md says it is made, worked out here with other
// tools: printf and sha256sum. FIPS 180-4 is the standard of both.
//
//	f() { printf "%016x" "$(printf "$1" | wc -c)" | xxd -r -p; printf "$1"; }
//	{ f 1; f 1; f 1; f ""; f note; f 1773468000000000000; f 1773554400000000000; f "";
//	  f ""; f salt; f "{}"; printf "%016x" 32 | xxd -r -p; head -c 32 /dev/zero; } | sha256sum
func TestDigest(t *testing.T) {
	r := row{number: 1, journey: 1, slot: 1, kind: KindNote, timeNS: 1773468000000000000, writtenNS: 1773554400000000000,
		note: "salt", content: "{}", previous: make([]byte, 32)}
	const want = "8c9d9f9c70fd902207f2d338051606d2d5cbcc962d1fc8f10b946fef63da227a"
	if got := hex.EncodeToString(r.digest()); got != want {
		t.Errorf("digest is %s, want %s", got, want)
	}
}

func TestCopyWhileWriting(t *testing.T) {
	ctx := t.Context()
	l := begun(t)
	must(t)(l.LegByHand(ctx, at(0), km("1000.0"), by(90, 2)))
	dir := t.TempDir()
	done := make(chan error)
	go func() {
		other, err := Open(ctx, l.Path(), Options{})
		if err == nil {
			defer other.Close()
			for i := range 40 {
				if _, err = other.Halt(ctx, at(float64(i+1)), Halt{km(fmt.Sprintf("%d.0", 1001+i))}); err != nil {
					break
				}
			}
		}
		done <- err
	}()
	for i := range 5 {
		path := filepath.Join(dir, fmt.Sprintf("copy-%d.db", i))
		if err := l.CopyTo(ctx, path); err != nil {
			t.Fatal(err)
		}
		c := open(t, path)
		r, err := c.Check(ctx)
		if err != nil || !r.OK() || r.Entries < 2 {
			t.Errorf("copy %d: %v, %+v", i, err, r)
		}
		c.Close()
		if err := l.CopyTo(ctx, path); fault.Code(err) != "file_exists" {
			t.Errorf("copying over a file: %v", err)
		}
		time.Sleep(5 * time.Millisecond)
	}
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	if err := l.CopyTo(ctx, filepath.Join(dir, "none", "copy.db")); fault.Code(err) != "cannot_write" {
		t.Errorf("copying into no folder: %v", err)
	}
	left, err := filepath.Glob(filepath.Join(dir, ".log-copy-*"))
	if err != nil || len(left) > 0 {
		t.Errorf("%v, left over: %v", err, left)
	}
}
