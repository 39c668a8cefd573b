package logbook

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"sync"
	"testing"
)

// TestMain lets the test binary be the other process of the test below.
func TestMain(m *testing.M) {
	path := os.Getenv("LOGBOOK_CHILD")
	if path == "" {
		os.Exit(m.Run())
	}
	if err := writeNotes(path); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

// command returns a child process; it says "ack N" for each entry that it was told
// is in the log.
func command(t testing.TB, path string) *exec.Cmd {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(exe)
	cmd.Env = append(os.Environ(), "LOGBOOK_CHILD="+path)
	return cmd
}

func acknowledge(a Added) { fmt.Println("ack", a.Entry.Number) }

const notesEach = 50

// writeNotes writes notes of one time, in as many transactions.
func writeNotes(path string) error {
	ctx := context.Background()
	l, err := Open(ctx, path, Options{Create: true})
	if err != nil {
		return err
	}
	defer l.Close()
	for range notesEach {
		a, err := l.Note(ctx, at(0))
		if err != nil {
			return err
		}
		acknowledge(a)
	}
	return nil
}

func TestTwoProcessesWriteAtOnce(t *testing.T) {
	l := begun(t)
	var all sync.Map
	var wait sync.WaitGroup
	for range 2 {
		cmd := command(t, l.Path())
		cmd.Stderr = os.Stderr
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		wait.Go(func() {
			for s := bufio.NewScanner(out); s.Scan(); {
				var n int
				fmt.Sscanf(s.Text(), "ack %d", &n)
				if _, twice := all.LoadOrStore(n, true); twice || n == 0 {
					t.Errorf("entry %d was acknowledged twice", n)
				}
			}
			if err := cmd.Wait(); err != nil {
				t.Error(err)
			}
		})
	}
	wait.Wait()
	r, err := l.Check(t.Context())
	if err != nil || !r.OK() || r.Entries != 1+2*notesEach {
		t.Errorf("%v, %+v, want %d entries", err, r, 1+2*notesEach)
	}
}
