//go:build unix

// Package testpipe makes named pipes, for tests of what opens a user's files.
package testpipe

import (
	"syscall"
	"testing"
)

// Make makes a named pipe; where there are none among files it skips the test.
func Make(t testing.TB, path string) {
	t.Helper()
	if err := syscall.Mkfifo(path, 0o600); err != nil {
		t.Fatal(err)
	}
}
