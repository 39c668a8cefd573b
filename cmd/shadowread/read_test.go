package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/reading"
	"shadowread/internal/wording"
)

// quick returns streams as of a pipe and what was written to standard output.
func quick() (*streams, *bytes.Buffer) {
	var out bytes.Buffer
	return &streams{out: &out, err: io.Discard, quiet: true, width: 80}, &out
}

func refusal(path string) *reading.Result {
	return &reading.Result{Photo: path, Reason: reading.NoShadow}
}

// Later photos that are done first wait for their turn, and no more photos than jobs
// are held at once.
func TestPhotosArePrintedInOrder(t *testing.T) {
	const jobs, photos = 3, 40
	var paths []string
	for i := range photos {
		paths = append(paths, fmt.Sprintf("%02d.jpg", i))
	}
	var held, most atomic.Int32
	s, out := quick()
	err := readPhotos(context.Background(), s, paths, jobs, shown{}, func(_ context.Context, path string) (*reading.Result, error) {
		if n := held.Add(1); n > most.Load() {
			most.Store(n)
		}
		defer held.Add(-1)
		if path[1] == '0' { // the slow ones
			time.Sleep(5 * time.Millisecond)
		}
		return refusal(path), nil
	})
	if !errors.Is(err, errRefused) {
		t.Errorf("error %v, want errRefused", err)
	}
	var got []string
	for line := range strings.Lines(out.String()) {
		if !strings.HasPrefix(line, pipeLead) {
			got = append(got, strings.Split(line, "\t")[0])
		}
	}
	if !slices.Equal(got, paths) {
		t.Errorf("printed %q, want %q", got, paths)
	}
	if n := most.Load(); n > jobs {
		t.Errorf("%d photos were held at once, want at most %d", n, jobs)
	}
}

func TestInterruptEndsReading(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	s, out := quick()
	var running atomic.Int32
	err := readPhotos(ctx, s, []string{"a", "b", "c", "d"}, 2, shown{}, func(ctx context.Context, path string) (*reading.Result, error) {
		running.Add(1)
		defer running.Add(-1)
		if path != "a" {
			cancel()
			<-ctx.Done()
		}
		return refusal(path), nil
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want context.Canceled", err)
	}
	if strings.Contains(out.String(), "b") {
		t.Errorf("a cancelled reading was printed: %q", out)
	}
	if n := running.Load(); n != 0 {
		t.Errorf("%d readings still run", n)
	}

	s, out = quick()
	if got := execute(ctx, []string{"sheet", "-o", filepath.Join(t.TempDir(), "a.pdf")}, s); got != exitInterrupted {
		t.Errorf("exit status %d, want %d", got, exitInterrupted)
	}
	if out.Len() > 0 {
		t.Errorf("an interrupted command printed %q", out)
	}
}

type brokenPipe struct{}

func (brokenPipe) Write([]byte) (int, error) { return 0, io.ErrClosedPipe }

// A failed print must not leave workers behind, nor a full queue in their way.
func TestFailedPrintEndsReading(t *testing.T) {
	s, _ := quick()
	s.out = brokenPipe{}
	err := readPhotos(context.Background(), s, slices.Repeat([]string{"a"}, 50), 2, shown{}, func(_ context.Context, path string) (*reading.Result, error) {
		return refusal(path), nil
	})
	if !errors.Is(err, io.ErrClosedPipe) {
		t.Errorf("error %v, want io.ErrClosedPipe", err)
	}
}

// An overlay that cannot be written does not cost the other photos their headings.
func TestFailedOverlayIsReportedLast(t *testing.T) {
	s, out := quick()
	full := fault.New("overlay_not_written", "", "no space")
	err := readPhotos(context.Background(), s, []string{"a", "b"}, 1, shown{}, func(_ context.Context, path string) (*reading.Result, error) {
		return refusal(path), full
	})
	if !errors.Is(err, full) || strings.Count(out.String(), "no_shadow\n") != 2 {
		t.Errorf("error %v after %q, want both lines and the overlay's error", err, out)
	}
}

// Rounded bearings stay below 360; a sigma shows two figures.
func TestNumbersForPeople(t *testing.T) {
	for _, tt := range []struct {
		deg    float64
		places int
		want   string
	}{{359.994, 2, "359.99"}, {359.996, 2, "0.00"}, {359.96, 1, "0.0"}, {0, 2, "0.00"}, {7.125, 1, "7.1"}} {
		if got := wording.Bearing(angle.FromDegrees(tt.deg), tt.places); got != tt.want {
			t.Errorf("BearingText(%v, %d) = %s, want %s", tt.deg, tt.places, got, tt.want)
		}
	}
	for _, tt := range []struct {
		sigma float64
		want  string
	}{{0.0123, "0.012"}, {0.0994, "0.099"}, {0.0996, "0.10"}, {0.62, "0.62"}, {0.996, "1.0"}, {12.34, "12.3"}} {
		s := angle.FromDegrees(tt.sigma)
		if got := wording.Fixed(s, wording.Places(s)); got != tt.want {
			t.Errorf("sigma %v prints as %s, want %s", tt.sigma, got, tt.want)
		}
	}
	for _, tt := range []struct {
		deg  float64
		want string
	}{{12.3, "turn right 12.3°"}, {-12.3, "turn left 12.3°"}, {0.04, "on course"}, {-0.04, "on course"}, {180, "turn right 180.0°"}} {
		if got := wording.Turn(angle.FromDegrees(tt.deg), 1); got != tt.want {
			t.Errorf("Turn(%v) = %q, want %q", tt.deg, got, tt.want)
		}
	}
}

func TestQuantity(t *testing.T) {
	for _, tt := range []struct {
		in   string
		unit string
		want float64
		ok   bool
	}{
		{"0.5", "deg", 0.5, true}, {"0.5deg", "deg", 0.5, true}, {"0.5°", "deg", 0.5, true}, {" 5 mm ", "mm", 5, true},
		{"−3", "s", -3, true}, {"10", "km", 10, true}, {"-10", "km", -10, true},
		{"10.001", "km", 0, false}, {"", "km", 0, false}, {"NaN", "km", 0, false}, {"-inf", "km", 0, false},
		{"5 mm", "km", 0, false}, {"0,5", "deg", 0, false}, {"1e400", "km", 0, false},
	} {
		q := quantity{least: -10, most: 10, unit: tt.unit}
		err := q.Set(tt.in)
		if (err == nil) != tt.ok || q.set != tt.ok || (tt.ok && q.value != tt.want) {
			t.Errorf("%q in %s: value %v, error %v, want %v", tt.in, tt.unit, q.value, err, tt.want)
		}
	}
}

// A writer that fails half-way leaves the old file and nothing beside it.
func TestWriteFileIsWholeOrNotAtAll(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "sheet.pdf")
	write := func(text string, failure error) func(io.Writer) error {
		return func(w io.Writer) error {
			io.WriteString(w, text)
			return failure
		}
	}
	if err := writeFile(path, false, write("old", nil)); err != nil {
		t.Fatal(err)
	}
	if err := writeFile(path, true, write(strings.Repeat("new", 1<<20), io.ErrUnexpectedEOF)); !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Errorf("error %v, want the writer's", err)
	}
	if err := writeFile(path, false, write("new", nil)); fault.Code(err) != "file_exists" {
		t.Errorf("error %v, want file_exists", err)
	}
	if got, err := os.ReadFile(path); err != nil || string(got) != "old" {
		t.Errorf("the file holds %q (%v), want old", got, err)
	}
	if entries, err := os.ReadDir(dir); err != nil || len(entries) != 1 {
		t.Errorf("the folder holds %v (%v), want the file alone", entries, err)
	}
}

// The progress line is wiped before anything else is written.
func TestProgressIsWiped(t *testing.T) {
	var b bytes.Buffer
	p := progress{s: &streams{err: &b, errTTY: true}}
	p.show("reading %d", 1)
	p.wipe()
	p.wipe()
	if got, want := b.String(), "reading 1\r         \r"; got != want {
		t.Errorf("wrote %q, want %q", got, want)
	}
	b.Reset()
	p.s.quiet = true
	p.show("reading")
	if b.Len() > 0 {
		t.Errorf("wrote %q though quiet", b.String())
	}
}

func TestTextFromOutsideCannotDriveTheTerminal(t *testing.T) {
	if got, want := plain("a\x1b[2Jb\nc\u009bd°"), "a?[2Jb?c?d°"; got != want {
		t.Errorf("plain gives %q, want %q", got, want)
	}
}
