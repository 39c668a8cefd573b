package logbook

import (
	"database/sql"
	"net/url"
	"testing"
)

// Paths as they are on Linux and macOS, on Windows, and there on another machine. The first two
// are examples of sqlite.org/uri.html, from memory.
func TestFileURL(t *testing.T) {
	for path, want := range map[string]string{
		"/home/fred/data.db":                             "file:///home/fred/data.db?mode=ro",
		"C:/Documents and Settings/fred/Desktop/data.db": "file:///C:/Documents%20and%20Settings/fred/Desktop/data.db?mode=ro",
		"//machine/share/a?b#c%.db":                      "file:////machine/share/a%3Fb%23c%25.db?mode=ro",
	} {
		got := fileURL(path, url.Values{"mode": {"ro"}})
		if got != want {
			t.Errorf("%s: %s, want %s", path, got, want)
		}
		// SQLite takes it for a file, which is not there, and for no host.
		db, err := sql.Open("sqlite", got)
		if err != nil {
			t.Fatal(err)
		}
		if err := db.Ping(); sqliteCode(err) != codeCannotOpen {
			t.Errorf("%s: %v, want that there is no such file", got, err)
		}
		db.Close()
	}
}

// What must hold for every connection does: an entry outlasts a power cut, on macOS too
// (sqlite.org/pragma.html, fullfsync), and no row is replaced past the triggers.
func TestConnectionsAreSetUp(t *testing.T) {
	l := begun(t)
	for pragma, want := range map[string]int{"synchronous": 2, "fullfsync": 1, "recursive_triggers": 1, "foreign_keys": 1} {
		var got int
		if err := l.db.QueryRow("PRAGMA " + pragma).Scan(&got); err != nil || got != want {
			t.Errorf("%s is %d (%v), want %d", pragma, got, err, want)
		}
	}
}
