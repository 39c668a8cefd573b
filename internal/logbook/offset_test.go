package logbook

import (
	"path/filepath"
	"testing"
	"time"
)

// The UTC offset by which a time was said stays with the entry and with its correction, and
// what has none is shown by that of its neighbours.
func TestOffsetsStay(t *testing.T) {
	ctx := t.Context()
	path := filepath.Join(t.TempDir(), "log.db")
	l, err := Open(ctx, path, Options{Create: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	hours := func(h float64) *time.Duration { return new(time.Duration(h * float64(time.Hour))) }
	must(t)(l.Begin(ctx, At{Time: morning}, Departure{Position: pan, Sigma: 15}))
	must(t)(l.Note(ctx, At{Time: morning, Offset: hours(9.5), Note: "{}"}))
	must(t)(l.Halt(ctx, At{Time: morning.Add(time.Minute)}, Halt{Run{Stood: true}}))
	must(t)(l.Remount(ctx, At{Time: morning.Add(2 * time.Minute), Offset: hours(-3)}))
	must(t)(l.Remount(ctx, At{Supersedes: 4, Note: "again"}))
	entries, err := l.List(ctx, 0, true)
	if err != nil {
		t.Fatal(err)
	}
	own := []*time.Duration{nil, hours(9.5), nil, hours(-3), hours(-3)}
	shown := []*time.Duration{hours(9.5), hours(9.5), hours(9.5), hours(-3), hours(-3)}
	for i, got := range Offsets(entries) {
		if e := entries[i].Offset; (e == nil) != (own[i] == nil) || e != nil && *e != *own[i] {
			t.Errorf("entry %d has the offset %v, want %v", entries[i].Number, e, own[i])
		}
		if got == nil || *got != *shown[i] {
			t.Errorf("entry %d is shown by %v, want %v", entries[i].Number, got, *shown[i])
		}
	}
	if last, err := l.Offset(ctx, 0); err != nil || last == nil || *last != -3*time.Hour {
		t.Errorf("%v, last %v", err, last)
	}
	if r, err := l.Check(ctx); err != nil || !r.OK() {
		t.Errorf("%v, %+v", err, r)
	}
	if _, err := l.Note(ctx, At{Time: morning.Add(time.Hour), Offset: hours(25)}); err == nil {
		t.Error("an offset of 25 hours is taken")
	}
}
