package logbook

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"shadowread/internal/fault"
)

// An interrupt while a log is opened or made is no fault of its file.
func TestInterruptedWhileOpened(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	old, empty := oldLog(t), filepath.Join(t.TempDir(), "empty.db")
	if err := os.WriteFile(empty, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{old, empty, filepath.Join(t.TempDir(), "new.db")} {
		l, err := Open(ctx, path, Options{Create: true})
		if err == nil {
			_, err = l.Begin(ctx, At{Time: morning}, Departure{})
			l.Close()
		}
		if !errors.Is(err, context.Canceled) || fault.Code(err) != "error" { // none of ours, which would be said in its place
			t.Errorf("%s: %v", path, err)
		}
	}
}
