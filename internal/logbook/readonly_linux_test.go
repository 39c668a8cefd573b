package logbook

import (
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"syscall"
	"testing"

	"shadowread/internal/fault"
)

// asNobody runs f without the right to write what modes forbid, which the superuser has.
func asNobody(t *testing.T, f func()) {
	t.Helper()
	if os.Geteuid() != 0 {
		f()
		return
	}
	// The file system's user is a thread's own in Linux: setfsuid(2).
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	if err := syscall.Setfsuid(65534); err != nil {
		t.Fatal(err)
	}
	defer syscall.Setfsuid(0)
	f()
}

// A log on a medium or in a folder that may not be written to can be read, of this
// version or an old one, and refuses an entry.
func TestALogThatMayNotBeWrittenToIsRead(t *testing.T) {
	for _, tt := range []struct {
		name         string
		file, folder os.FileMode
		anew         bool // brought up to date before
	}{
		{"old, in a read-only folder", 0o644, 0o555, false},
		{"old, all read-only", 0o444, 0o555, false},
		{"old, a read-only file", 0o444, 0o777, false},
		{"in a read-only folder", 0o644, 0o555, true},
		{"all read-only", 0o444, 0o555, true},
		{"a read-only file", 0o444, 0o777, true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			path := oldLog(t)
			if tt.anew {
				atOldPlaces(t, path)
			}
			if err := os.Chmod(path, tt.file); err != nil {
				t.Fatal(err)
			}
			if err := os.Chmod(filepath.Dir(path), tt.folder); err != nil {
				t.Fatal(err)
			}
			before, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			asNobody(t, func() {
				if f, err := os.OpenFile(path, os.O_WRONLY, 0); err == nil {
					f.Close()
					t.Fatal("the file may be written to: nothing is tried here")
				}
				atOldPlaces(t, path)
				l, err := Open(t.Context(), path, Options{})
				if err != nil {
					t.Fatal(err)
				}
				defer l.Close()
				if _, err := l.Note(t.Context(), At{Time: morning.AddDate(1, 0, 0), Note: "no"}); fault.Code(err) != "cannot_write" {
					t.Errorf("written: %v", err)
				}
			})
			if after, err := os.ReadFile(path); err != nil || string(after) != string(before) {
				t.Errorf("the file was changed (%v)", err)
			}
		})
	}
}

// Entries that stand in the file beside the log are not passed over.
func TestEntriesBesideALogAreNotPassedOver(t *testing.T) {
	path := oldLog(t)
	l := open(t, path)
	must(t)(l.Halt(t.Context(), At{Time: morning.AddDate(1, 0, 0)}, Halt{km("88195.0")}))
	dir := filepath.Join(filepath.Dir(path), "copy")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	for _, ending := range []string{"", "-wal"} {
		data, err := os.ReadFile(path + ending)
		if err != nil || len(data) == 0 {
			t.Fatalf("%d bytes, %v", len(data), err)
		}
		if err := os.WriteFile(filepath.Join(dir, "log.db"+ending), data, 0o444); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Chmod(dir, 0o555); err != nil {
		t.Fatal(err)
	}
	defer os.Chmod(dir, 0o755)
	if err := os.Chmod(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	asNobody(t, func() {
		c, err := Open(t.Context(), filepath.Join(dir, "log.db"), Options{})
		if err != nil {
			if fault.Code(err) != "cannot_open_log" {
				t.Errorf("refused: %v", err)
			}
			return
		}
		defer c.Close()
		if r, err := c.Check(t.Context()); err != nil || r.Entries != 13 {
			t.Errorf("%v: the last entry is not there: %+v", err, r)
		}
	})
}

// withoutRoom runs f while no file can grow, as on a full disk.
func withoutRoom(t *testing.T, f func()) {
	t.Helper()
	signal.Ignore(syscall.SIGXFSZ)
	defer signal.Reset(syscall.SIGXFSZ)
	var was syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_FSIZE, &was); err != nil {
		t.Fatal(err)
	}
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: 1, Max: was.Max}); err != nil {
		t.Fatal(err)
	}
	defer syscall.Setrlimit(syscall.RLIMIT_FSIZE, &was)
	f()
}

// Where one is can be told on a full disk too, with the entries that stand in the file beside the
// log, and an entry is refused there.
func TestALogIsReadOnAFullDisk(t *testing.T) {
	for _, beside := range []bool{false, true} {
		path := oldLog(t)
		atOldPlaces(t, path)
		entries := 12
		if beside { // a copy, taken while the log was open
			l := open(t, path)
			must(t)(l.Halt(t.Context(), At{Time: morning.AddDate(1, 0, 0)}, Halt{km("88195.0")}))
			entries++
			into := filepath.Join(t.TempDir(), "log.db")
			for _, ending := range []string{"", "-wal"} {
				data, err := os.ReadFile(path + ending)
				if err == nil {
					err = os.WriteFile(into+ending, data, 0o644)
				}
				if err != nil {
					t.Fatal(err)
				}
			}
			path = into
		}
		withoutRoom(t, func() {
			l, err := Open(t.Context(), path, Options{})
			if err != nil {
				t.Errorf("beside it %v: %v", beside, err)
				return
			}
			defer l.Close()
			if _, err := l.Where(t.Context(), 0); err != nil {
				t.Errorf("beside it %v: %v", beside, err)
			}
			if _, err := l.Note(t.Context(), At{Time: morning.AddDate(1, 0, 1), Note: "no"}); fault.Code(err) != "log_failed" && fault.Code(err) != "disk_full" {
				t.Errorf("beside it %v: written: %v", beside, err)
			}
		})
		l := open(t, path)
		if r, err := l.Check(t.Context()); err != nil || r.Entries != entries {
			t.Errorf("beside it %v: %v, %+v", beside, err, r)
		}
	}
}
