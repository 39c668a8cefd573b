// Package logbook keeps the log of a journey in one SQLite file, and works it up.
//
// An entry, once written, is never changed: a correction is a new entry that
// supersedes the old one, which stays readable. Every entry carries a hash of
// itself and of the one before. Each is written in a transaction of its own that is
// on the disk when the call returns.
//
// The heading of an entry holds from its odometer reading to the next. Positions,
// bearings and sigmas are those of package workup: true bearings, one sigma.
// docs/log.md says what is kept and how; docs/workup.md how positions come of it.
package logbook

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"time"

	"shadowread/internal/fault"
	"shadowread/internal/userdir"
)

// Log is an open log. Its methods may be called from several goroutines, those of a
// new log once it has an entry, and several processes may have one log open: whoever
// comes second waits.
type Log struct {
	db   *sql.DB
	path string
	now  func() time.Time
	// unmade says that there is no file yet. The first entry is tried on a log in
	// memory, so that one that is refused leaves no file behind.
	unmade bool
	// journey is that of readings; 0 is the last.
	journey int
	// memo is touched within transactions alone, of which the one connection of a log
	// allows one at a time.
	memo memo
}

// Options of opening a log.
type Options struct {
	// Create makes a new log, with its first entry, where there is no file or an empty
	// one; without it that is an error, so that a slip in the name does not pass for
	// an empty log.
	Create bool
	// Now is the clock; nil stands for time.Now.
	Now func() time.Time
}

// DefaultPath returns the log in the user's data folder: shadowread/log.db.
// It fails with code "no_home".
func DefaultPath() (string, error) { return userdir.Data("the log", "log.db") }

const (
	applicationID = 0x53685264 // "ShRd"; file(1) and others tell SQLite files apart by it
	busyTimeout   = 20 * time.Second
)

// Open opens a log. It fails with code "no_log", "not_a_log", "not_a_file", "log_too_new",
// "log_busy", "log_damaged", "disk_full" or "cannot_open_log"; for a new log the first
// entry does.
func Open(ctx context.Context, path string, o Options) (*Log, error) {
	l := &Log{path: path, now: o.Now}
	if l.now == nil {
		l.now = time.Now
	}
	info, err := os.Stat(path)
	switch isNew := errors.Is(err, fs.ErrNotExist); {
	case isNew && !o.Create:
		return nil, noLog(path)
	case isNew:
		l.unmade = true
		steps, err := steps()
		if err == nil {
			l.db, err = inMemory(ctx, steps)
		}
		if err != nil {
			return nil, openError(err, path)
		}
	case err != nil:
		return nil, fault.Wrap(err, "cannot_open_log", "check that the file may be read", "the log cannot be opened")
	case info.IsDir():
		return nil, fault.New("not_a_file", "give the name of a file", "%s is a folder", path)
	case !info.Mode().IsRegular(): // a named pipe would keep SQLite waiting
		return nil, fault.New("not_a_file", "give the name of a file", "%s is no regular file", path)
	default:
		if l.db, err = openFile(ctx, path, o.Create); err != nil {
			return nil, err
		}
	}
	return l, nil
}

func noLog(path string) error {
	return fault.New("no_log", "begin a journey, which makes a log, or check the name", "there is no log at %s", path)
}

// openFile opens the database in a file, or makes one. A log that may be read but not
// written to is opened to be read, and so is one on a disk without room for the files beside it.
func openFile(ctx context.Context, path string, create bool) (*sql.DB, error) {
	db, err := openAs(ctx, path, create, nil)
	switch {
	case create:
	case cannotWrite(err):
		db, err = openToRead(ctx, path, err)
	case noRoom(err):
		if alone, e := openAs(ctx, path, false, url.Values{"_pragma": append([]string{"locking_mode(EXCLUSIVE)"}, pragmas...)}); e == nil {
			db, err = alone, nil
		}
	}
	if err != nil {
		return nil, openError(err, path)
	}
	return db, nil
}

func openAs(ctx context.Context, path string, create bool, how url.Values) (*sql.DB, error) {
	db, err := sql.Open("sqlite", dsn(path, how))
	if err != nil {
		return nil, err
	}
	// SQLite has one writer at a time; so has a process, and then none of its own
	// waits can time out against each other.
	db.SetMaxOpenConns(1)
	if err := prepare(ctx, db, path, create); err != nil {
		db.Close()
		return nil, err
	}
	return db, nil
}

func cannotWrite(err error) bool {
	return slices.Contains([]int{codeReadOnly, codeNoPermission, codeCannotOpen}, sqliteCode(err))
}

// noRoom tells whether SQLite may have failed for want of room for what ties readers and writers
// together. Who has the log alone needs no such file (sqlite.org/wal.html, section 8).
func noRoom(err error) bool {
	return slices.Contains([]int{codeIO, codeFull}, sqliteCode(err))
}

// openToRead opens a log whose folder may not be written to, where SQLite cannot make
// the files that tie readers and writers together. Then nobody writes by that path, and
// the file may be taken to stand still; but only where no entry waits in a file beside it,
// which SQLite would pass over.
func openToRead(ctx context.Context, path string, why error) (*sql.DB, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, why
	}
	f.Close()
	if db, err := openAs(ctx, path, false, url.Values{"mode": {"ro"}}); err == nil {
		return db, nil
	}
	switch info, err := os.Stat(path + "-wal"); {
	case err == nil && info.Size() > 0:
		return nil, fault.New("cannot_open_log", "copy the log, with all files beside it whose names begin with its own, to a folder that may be written to",
			"the last entries of %s are in a file beside it, and cannot be read where nothing may be written", path)
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return nil, why
	}
	return openAs(ctx, path, false, url.Values{"immutable": {"1"}})
}

// create puts a log that was in memory into its file.
func (l *Log) create(ctx context.Context) error {
	folder := filepath.Dir(l.path)
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return fault.Wrap(err, "cannot_open_log", "choose a folder that may be written to", "the folder of the log cannot be made")
	}
	db, err := openFile(ctx, l.path, true)
	if err != nil {
		return err
	}
	if err := syncFolder(folder); err != nil {
		db.Close()
		return openError(err, l.path)
	}
	l.db.Close() // held nothing that counts
	l.db, l.unmade = db, false
	return nil
}

// inMemory returns the database of a new log without a file.
func inMemory(ctx context.Context, steps []string) (*sql.DB, error) {
	db, err := sql.Open("sqlite", ":memory:")
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1) // each connection to memory has a database of its own
	for _, step := range steps {
		if _, err := db.ExecContext(ctx, step); err != nil {
			db.Close()
			return nil, err
		}
	}
	return db, nil
}

var pragmas = []string{"recursive_triggers(1)", "fullfsync(1)"}

// dsn names the database with what must hold for every connection.
//
//   - synchronous FULL: with a write-ahead log, NORMAL may lose the last commits
//     when the power fails. An entry cannot be made again, and a commit costs
//     milliseconds.
//   - fullfsync: macOS leaves in the drive's cache what is merely synced (fsync(2) there).
//     Heeded by no other system.
//   - recursive_triggers: else INSERT OR REPLACE would delete rows past the triggers.
//   - immediate transactions: two that read first and write later could each wait
//     for the other.
func dsn(path string, how url.Values) string {
	abs, err := filepath.Abs(path)
	if err != nil { // no working folder; SQLite will say so
		abs = path
	}
	query := url.Values{
		"_busy_timeout": {fmt.Sprint(busyTimeout.Milliseconds())},
		"_foreign_keys": {"1"},
		"_synchronous":  {"FULL"},
		"_txlock":       {"immediate"},
		"_dqs":          {"0"},
		"_defensive":    {"1"},
		"_pragma":       pragmas,
	}
	maps.Copy(query, how)
	return fileURL(filepath.ToSlash(abs), query)
}

// fileURL names a file for SQLite. A drive's letter takes a slash before it, which SQLite takes
// off again: directly behind the two slashes it would be a host (sqlite.org/uri.html, 3.1).
func fileURL(path string, query url.Values) string {
	if len(path) > 1 && path[1] == ':' {
		path = "/" + path
	}
	return (&url.URL{Scheme: "file", Path: path, RawQuery: query.Encode()}).String()
}

//go:embed migrations/*.sql
var migrations embed.FS

// steps returns the migrations in order; a log's user_version counts those it has.
func steps() ([]string, error) {
	names, err := fs.Glob(migrations, "migrations/*.sql") // sorted
	if err != nil {
		return nil, err
	}
	var out []string
	for _, name := range names {
		text, err := migrations.ReadFile(name)
		if err != nil {
			return nil, err
		}
		out = append(out, string(text))
	}
	return out, nil
}

// prepare brings an old log up to date, or makes a new one of an empty file. An old one
// that may not be written to is read as it is: what newer versions hold beside the
// entries is not needed to read them.
func prepare(ctx context.Context, db *sql.DB, path string, create bool) error {
	steps, err := steps()
	if err != nil {
		return err
	}
	id, version, tables, err := identify(ctx, db)
	switch {
	case err != nil:
		return err
	case id != applicationID && (id != 0 || tables > 0):
		return fault.New("not_a_log", "name another file", "%s is no log of this program", path)
	case tables == 0 && !create:
		return noLog(path)
	case version > len(steps):
		return fault.New("log_too_new", "use the newer program", "the log was written by a newer version of this program")
	}
	toRead, err := readOnly(ctx, db)
	if err != nil || toRead && tables > 0 {
		return err
	}
	if err := useWAL(ctx, db); err != nil {
		return err
	}
	for version < len(steps) {
		if version, err = migrate(ctx, db, steps); err != nil {
			return err
		}
	}
	return nil
}

// readOnly tells whether SQLite could open the file only to read it.
func readOnly(ctx context.Context, db *sql.DB) (is bool, err error) {
	conn, err := db.Conn(ctx)
	if err != nil {
		return false, err
	}
	defer conn.Close()
	err = conn.Raw(func(c any) (err error) {
		is, err = c.(interface{ IsReadOnly(string) (bool, error) }).IsReadOnly("main")
		return err
	})
	return is, err
}

// querier is what sql.DB and sql.Tx have in common.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
}

func identify(ctx context.Context, q querier) (id, version, tables int, err error) {
	err = q.QueryRowContext(ctx, `SELECT
		(SELECT application_id FROM pragma_application_id),
		(SELECT user_version FROM pragma_user_version),
		(SELECT count(*) FROM sqlite_schema)`).Scan(&id, &version, &tables)
	return id, version, tables, err
}

// useWAL sets the write-ahead log, which the file then keeps. SQLite does not wait
// for another process while it changes this.
func useWAL(ctx context.Context, db *sql.DB) error {
	for deadline := time.Now().Add(busyTimeout); ; {
		var mode string
		err := db.QueryRowContext(ctx, "PRAGMA journal_mode = WAL").Scan(&mode)
		switch {
		case err == nil && mode == "wal":
			return nil
		case err == nil:
			return fault.New("cannot_open_log", "keep the log on a disk of this machine", "the file system of the log is not usable: no write-ahead log there")
		case !isBusy(err) || time.Now().After(deadline):
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(10 * time.Millisecond):
		}
	}
}

// migrate takes the next step, unless another process has, and returns the version.
func migrate(ctx context.Context, db *sql.DB, steps []string) (version int, err error) {
	err = writeIn(ctx, db, func(tx *sql.Tx) error {
		_, version, _, err = identify(ctx, tx)
		if err != nil || version >= len(steps) {
			return err
		}
		version++
		_, err = tx.ExecContext(ctx, steps[version-1]+fmt.Sprintf(
			"; PRAGMA application_id = %d; PRAGMA user_version = %d;", applicationID, version))
		return err
	})
	return version, err
}

// write runs f in a transaction, which is on the disk when write returns nil. For the
// first entry of a new log it runs f twice.
func (l *Log) write(ctx context.Context, f func(tx *sql.Tx) error) error {
	if l.unmade {
		if err := writeIn(ctx, l.db, f); err != nil {
			return err
		}
		if err := l.create(ctx); err != nil {
			return err
		}
	}
	return writeIn(ctx, l.db, f)
}

func writeIn(ctx context.Context, db *sql.DB, f func(tx *sql.Tx) error) error {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return storeError(err)
	}
	defer tx.Rollback() // does nothing after Commit
	if err := f(tx); err != nil {
		return storeError(err)
	}
	return storeError(tx.Commit())
}

// read runs f on one state of the log, whatever others write meanwhile.
func (l *Log) read(ctx context.Context, f func(tx *sql.Tx) error) error {
	tx, err := l.db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return storeError(err)
	}
	defer tx.Rollback()
	return storeError(f(tx))
}

// GoOnWith has readings be made where a journey is, and not the last, which 0 stands for.
func (l *Log) GoOnWith(journey int) { l.journey = journey }

// Meant returns what GoOnWith said, 0 for the last.
func (l *Log) Meant() int { return l.journey }

// Close closes the log.
func (l *Log) Close() error { return storeError(l.db.Close()) }

// Path returns the log's file as it was named.
func (l *Log) Path() string { return l.path }

func isBusy(err error) bool {
	return slices.Contains([]int{codeBusy, codeLocked}, sqliteCode(err))
}

// storeError gives an error of the database a code and a sentence; others pass.
func storeError(err error) error {
	switch code := sqliteCode(err); code {
	case 0:
		return err
	case codeInterrupt: // by a context that has ended
		return context.Canceled
	case codeBusy, codeLocked:
		return fault.Wrap(err, "log_busy", "nothing was written: try again when the other program is done", "another program is writing the log")
	case codeFull:
		return fault.Wrap(err, "disk_full", "nothing was written: make room on the disk", "the log cannot be written")
	case codeReadOnly, codeNoPermission, codeCannotOpen:
		return fault.Wrap(err, "cannot_write", "nothing was written: check that the file and its folder may be written to", "the log cannot be written")
	case codeCorrupt, codeNoDatabase:
		return fault.Wrap(err, "log_damaged", "keep a copy of the file as it is, and check the log", "the log's file is damaged")
	case codeIO: // a disk without room for the files beside the log, too
		return fault.Wrap(err, "log_failed", "nothing was written: make room on the disk, or take the log to another that can be read and written", "the disk fails the log")
	default:
		return fault.Wrap(err, "log_failed", "nothing was written: check the log", "the log's database reports an error")
	}
}

func openError(err error, path string) error {
	if errors.Is(err, context.Canceled) {
		return err
	}
	switch sqliteCode(err) {
	case codeInterrupt:
		return context.Canceled
	case codeNoDatabase:
		return fault.Wrap(err, "not_a_log", "name another file", "%s is no log of this program", path)
	case codeCorrupt:
		return fault.Wrap(err, "log_damaged", "keep the file as it is, and go on with a copy of the log, or begin a new one at the last position that was noted",
			"%s is damaged or cut short", path)
	}
	var f *fault.Error
	if errors.As(err, &f) {
		return err
	}
	if isBusy(err) || sqliteCode(err) == codeFull {
		return storeError(err)
	}
	return fault.Wrap(err, "cannot_open_log", "check that the file and its folder may be read and written, and that the disk has room", "the log %s cannot be opened", path)
}

// syncFolder makes a new file's name last through a power cut. Windows denies it for a folder
// that is opened to be read (FlushFileBuffers), and keeps a journal of names itself (NTFS).
func syncFolder(path string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	defer d.Close()
	return d.Sync()
}
