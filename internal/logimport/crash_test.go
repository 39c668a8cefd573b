package logimport

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"shadowread/internal/logbook"
)

// TestMain lets the test binary be the other process of the tests below.
func TestMain(m *testing.M) {
	path := os.Getenv("LOGIMPORT_CHILD")
	if path == "" {
		os.Exit(m.Run())
	}
	if err := importPaper(path); err != nil {
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
	cmd.Env = append(os.Environ(), "LOGIMPORT_CHILD="+path)
	return cmd
}

func acknowledge(a logbook.Added) { fmt.Println("ack", a.Entry.Number) }

// paper is a paper log of 200 entries: departure, legs, halts and fixes.
func paper() string {
	var b strings.Builder
	b.WriteString("entry,time,odometer_km,heading_deg,sigma_deg,position,error_m,note\n")
	b.WriteString("departure,2026-03-14T06:00:00Z,1000.0,,,\"20.6142 S, 25.4310 E\",20,an invented survey of a salt pan\n")
	for i := 1; i < 200; i++ {
		when := morning.Add(time.Duration(i) * 5 * time.Minute).Format(time.RFC3339)
		odometer := fmt.Sprintf("%.1f", 1000+float64(i)*1.5)
		switch {
		case i%50 == 0:
			fmt.Fprintf(&b, "fix,%s,%s,,,\"20.6142 S, 25.4310 E\",5000,\n", when, odometer)
		case i%3 == 0:
			fmt.Fprintf(&b, "halt,%s,%s,,,,,\n", when, odometer)
		default:
			fmt.Fprintf(&b, "leg,%s,%s,%d,2,,,\n", when, odometer, i*77%360)
		}
	}
	return b.String()
}

func importPaper(path string) error {
	l, err := logbook.Open(context.Background(), path, logbook.Options{Create: true, Now: func() time.Time { return morning }})
	if err != nil {
		return err
	}
	defer l.Close()
	_, err = Paper{CSV: strings.NewReader(paper()), Name: "paper.csv", Progress: acknowledge}.Import(context.Background(), l)
	return err
}

// Killed at random moments, again and again until it is done: each time the log
// opens and passes its check, no entry that was acknowledged is missing, and in the
// end the log is, hash for hash, that of an import that nobody killed.
func TestImportSurvivesBeingKilled(t *testing.T) {
	kills := 10
	if os.Getenv("SHADOWREAD_SOAK") != "" {
		kills = 100
	}
	ctx := t.Context()
	dir := t.TempDir()
	whole := filepath.Join(dir, "whole.db")
	began := time.Now()
	if out, err := command(t, whole).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	took := time.Since(began)
	w := open(t, whole)
	want, err := w.Check(ctx)
	if err != nil || !want.OK() || want.Entries != 200 {
		t.Fatalf("%v, %+v", err, want)
	}
	position, err := w.Where(ctx, 0)
	if err != nil {
		t.Fatal(err)
	}

	r := rand.New(rand.NewPCG(1, 2))
	partial := 0
	for killed, round := 0, 0; killed < kills; round++ {
		path := filepath.Join(dir, fmt.Sprintf("killed-%d.db", round))
		acknowledged := 0
		for finished := false; !finished; {
			cmd := command(t, path)
			out, err := cmd.StdoutPipe()
			if err != nil {
				t.Fatal(err)
			}
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			timer := time.AfterFunc(time.Duration(r.Float64()*float64(took)), func() { cmd.Process.Kill() })
			for s := bufio.NewScanner(out); s.Scan(); {
				fmt.Sscanf(s.Text(), "ack %d", &acknowledged)
			}
			finished = cmd.Wait() == nil
			timer.Stop()
			if !finished {
				killed++
			}
			if _, err := os.Stat(path); err != nil {
				continue // killed before it made the file
			}
			l := open(t, path)
			got, err := l.Check(ctx)
			if err != nil || !got.OK() {
				t.Fatalf("killed after %d acknowledged entries: %v, %+v", acknowledged, err, got)
			}
			if got.Entries < acknowledged {
				t.Fatalf("%d entries were acknowledged, %d are there", acknowledged, got.Entries)
			}
			if got.Entries > 0 && got.Entries < 200 {
				partial++
			}
			if finished {
				where, err := l.Where(ctx, 0)
				if err != nil || where.Estimate != position.Estimate || got.Head != want.Head || got.Entries != 200 {
					t.Fatalf("resumed, the log ends with %+v at %+v, %v; want %+v at %+v", got, where, err, want, position)
				}
			}
			l.Close()
		}
	}
	if partial < kills/4 {
		t.Errorf("only %d of %d kills came in the middle", partial, kills)
	}
}

// Two that find no log make one between them.
func TestTwoProcessesMakeALogAtOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "log.db")
	first, second := command(t, path), command(t, path)
	for _, cmd := range []*exec.Cmd{first, second} {
		cmd.Stderr = os.Stderr
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
	}
	for _, cmd := range []*exec.Cmd{first, second} {
		if err := cmd.Wait(); err != nil {
			t.Error(err)
		}
	}
	l := open(t, path)
	r, err := l.Check(t.Context())
	if err != nil || !r.OK() || r.Entries != 200 {
		t.Errorf("%v, %+v, want the 200 entries of the file, once", err, r)
	}
}
