package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/reading"
	"shadowread/internal/steering"
	"shadowread/internal/telling"
)

// fakeClock steps from one waking to the next, and interrupts after so many.
type fakeClock struct {
	now    time.Time
	left   int
	cancel context.CancelFunc
	late   time.Duration // by how much it oversleeps
}

func (c *fakeClock) clock() clock {
	return clock{func() time.Time { return c.now }, func(ctx context.Context, until time.Time) error {
		c.now = until.Add(c.late)
		if c.left--; c.left == 0 {
			c.cancel()
		}
		return ctx.Err()
	}}
}

// steerWith runs the command on a clock of its own, and returns the exit status.
func steerWith(t *testing.T, s *streams, c *fakeClock, line string) int {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	c.cancel = cancel
	cmd := newSteer(s, c.clock())
	cmd.SilenceErrors, cmd.SilenceUsage = true, true
	cmd.SetArgs(strings.Fields(line))
	return s.report(cmd, cmd.ExecuteContext(ctx))
}

var steerTime = time.Date(2026, 8, 29, 6, 12, 31, 400e6, time.UTC)

// rowsOf are those of a frame as they stand on the screen.
func rowsOf(frame string) []string {
	frame = strings.NewReplacer(restOfRow, "", restBelow, "", screenOff, "", screenOn, "").Replace(frame)
	return strings.Split(strings.TrimRight(frame, "\r\n"), "\r\n")
}

// Each second the whole screen is drawn anew with the number of that second, within the
// window whatever its size; an interrupt gives back what was there before.
func TestSteerFillsATerminal(t *testing.T) {
	for _, size := range []struct{ columns, rows, figures int }{{80, 24, 15}, {40, 12, 5}, {140, 40, 30}, {12, 3, 0}} {
		t.Run(fmt.Sprintf("%dx%d", size.columns, size.rows), func(t *testing.T) {
			var out, errs bytes.Buffer
			s := &streams{out: &out, err: &errs, outTTY: true, screen: &out, size: func() (int, int, bool) { return size.columns, size.rows, true }}
			c := &fakeClock{now: steerTime, left: 90}
			status := steerWith(t, s, c, "--course 58 --position -22.9,22.3 --deviation-card "+fixtures+"/compass/card.json --grid")
			if status != exitInterrupted {
				t.Fatalf("exit status %d: %s", status, &errs)
			}
			if !strings.HasPrefix(out.String(), screenOn) || !strings.HasSuffix(out.String(), screenOff) {
				t.Error("the screen is not given back")
			}
			frames := strings.Split(out.String(), toTop)[1:]
			if len(frames) != 90 {
				t.Fatalf("%d frames", len(frames))
			}
			at, seen := steerTime, map[string]bool{}
			for _, frame := range frames {
				checkFrame(t, frame, at, size.columns, size.rows, size.figures)
				figures, _, _ := strings.Cut(frame, "then")
				seen[figures] = true
				at = at.Truncate(time.Second).Add(time.Second)
			}
			if size.figures == 15 && len(seen) < 3 { // 0.13 degree a minute
				t.Error("the number does not count")
			}
		})
	}
}

func checkFrame(t *testing.T, frame string, at time.Time, columns, rows, figures int) {
	t.Helper()
	lines := rowsOf(frame)
	if len(lines) > rows {
		t.Fatalf("%d rows:\n%s", len(lines), frame)
	}
	drawn := 0
	for _, line := range lines {
		if utf8.RuneCountInString(line) > columns {
			t.Fatalf("too long: %q", line)
		}
		if strings.Contains(line, "█") {
			drawn++
		}
	}
	text := strings.Join(lines, "\n")
	o := reading.Defaults()
	here, err := geo.ParsePosition("-22.9,22.3")
	if err != nil {
		t.Fatal(err)
	}
	o.Position.Position = &here
	hold := steering.At(at, 58*angle.Degree, 0, o)
	number := fmt.Sprintf("%05.1f", hold.Number.Degrees())
	if figures == 0 {
		if !strings.Contains(text, number) {
			t.Fatalf("no %s in\n%s", number, text)
		}
		return
	}
	// The point leaves rows without a mark to none of the figures.
	if drawn != figures {
		t.Fatalf("%d rows of figures:\n%s", drawn, text)
	}
	if want := strings.Join(blocks(number, columns-2, figures), "\n"); !strings.Contains(text, want) {
		t.Fatalf("not %s:\n%s", number, text)
	}
	for _, want := range []string{"course 058.0°", "then 348 from", "compass ", "grid ", "usable until 16:08:30", "at ", at.Format(time.TimeOnly) + " UTC", "never look at the sun", "for a passenger", "navigation"} {
		if !strings.Contains(text, want) {
			t.Fatalf("no %q in\n%s", want, text)
		}
	}
}

// A machine that slept, or a sun that set meanwhile, leaves no old number on the screen.
func TestSteerShowsNothingStale(t *testing.T) {
	var out, errs bytes.Buffer
	s := &streams{out: &out, err: &errs, outTTY: true, screen: &out, width: 80}
	c := &fakeClock{now: steerTime, left: 4, late: 4 * time.Hour}
	if status := steerWith(t, s, c, "--course 58 --position -22.9,22.3 --body sun"); status != exitInterrupted {
		t.Fatalf("exit status %d: %s", status, &errs)
	}
	frames := strings.Split(out.String(), toTop)[1:]
	if len(frames) != 4 {
		t.Fatalf("%d frames", len(frames))
	}
	last := strings.Join(rowsOf(frames[3]), "\n")
	for _, want := range []string{"no number to hold: the sun stands at", "usable from 30 August 04:", "at 2026-08-29 18:12:34 UTC"} {
		if !strings.Contains(last, want) {
			t.Errorf("no %q in\n%s", want, last)
		}
	}
	if strings.Contains(last, "█") || strings.Contains(last, "hold for") {
		t.Errorf("an old number:\n%s", last)
	}
}

// A log that gives no position any more leaves no number either, until it gives one again.
func TestSteerShowsNoNumberWithoutAPosition(t *testing.T) {
	var out, errs bytes.Buffer
	s := &streams{out: &out, err: &errs, outTTY: true, screen: &out, width: 80}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	c := &fakeClock{now: steerTime, left: 130, cancel: cancel}
	h := &helm{s: s, course: 58 * angle.Degree, zone: telling.Zone{Location: time.UTC}, options: reading.Defaults()}
	here, err := geo.ParsePosition("-22.9,22.3")
	if err != nil {
		t.Fatal(err)
	}
	h.options.Position.Position = &here
	h.estimate = func(_ context.Context, at time.Time) error {
		if at.Minute() == 13 {
			return fault.New("position_lost", "log a fix", "there is no estimated position")
		}
		return nil
	}
	first, err := h.at(ctx, steerTime, nil)
	if err != nil {
		t.Fatal(err)
	}
	// What was said a minute ago is asked for again; that is when the position is missed.
	if err := h.watch(ctx, c.clock(), first); !errors.Is(err, context.Canceled) {
		t.Fatal(err)
	}
	lost, found := 0, 0
	for _, frame := range strings.Split(out.String(), toTop)[1:] {
		text := strings.Join(rowsOf(frame), "\n")
		switch missing := strings.Contains(text, "no number to hold: there is no estimated position"); {
		case missing == strings.Contains(text, "█"):
			t.Fatalf("both or neither:\n%s", text)
		case missing:
			lost++
		case lost > 0:
			found++
		}
	}
	if lost == 0 || found == 0 {
		t.Errorf("%d frames without a position, %d after them", lost, found)
	}
}

// In a pipe a line comes at once and then at each full minute.
func TestSteerTellsAPipeEachMinute(t *testing.T) {
	for _, line := range []string{"", " --json"} {
		var out, errs bytes.Buffer
		s := &streams{out: &out, err: &errs}
		c := &fakeClock{now: steerTime, left: 3}
		if status := steerWith(t, s, c, "--course 58 --position -22.9,22.3"+line); status != exitInterrupted {
			t.Fatalf("exit status %d: %s", status, &errs)
		}
		times := []string{"06:12:31.4Z", "06:13:00Z", "06:14:00Z"}
		var records []string
		for text := range strings.Lines(out.String()) {
			if !strings.HasPrefix(text, pipeLead) {
				records = append(records, text)
			}
		}
		if len(records) != len(times) {
			t.Fatalf("%d lines:\n%s", len(records), &out)
		}
		for i, want := range times {
			if !strings.Contains(records[i], "2026-08-29T"+want) {
				t.Errorf("no %s in %s", want, records[i])
			}
		}
	}
}

// Figures differ from each other, and fill what they are given.
func TestBlockDigits(t *testing.T) {
	shapes := map[[5]string]rune{}
	for c, shape := range blockDigits {
		if other, twice := shapes[shape]; twice {
			t.Errorf("%c is drawn as %c", c, other)
		}
		shapes[shape] = c
		for _, row := range shape {
			if len(row) != len(shape[0]) {
				t.Errorf("%c has rows of two lengths", c)
			}
		}
	}
	if blocks("347.3", 16, 24) != nil || blocks("347.3", 80, 4) != nil {
		t.Error("figures where there is no room")
	}
	if got := len(blocks("347.3", 17, 5)); got != 5 {
		t.Errorf("%d rows", got)
	}
}
