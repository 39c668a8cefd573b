//go:build unix

package wholefile

import (
	"errors"
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

// The file's mode is what the user's mask leaves of 0666 (POSIX open), as of any file
// that a program makes.
func TestModeIsTheUsers(t *testing.T) {
	defer syscall.Umask(syscall.Umask(0o077))
	path := filepath.Join(t.TempDir(), "board.toml")
	if err := errors.Join(Write(path, writing("x", nil))); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v (%v), want 0600", info.Mode(), err)
	}
}
