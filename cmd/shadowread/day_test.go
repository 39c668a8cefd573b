package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"shadowread/internal/logbook"
	"shadowread/internal/settingsfile"
)

// keeper is a passenger who keeps the log of an invented day: words typed at a time of its
// own, and photos that arrive in a folder.
type keeper struct {
	t   *testing.T
	log string
	in  string
	// strokes counts those of the last line, with that which ends it.
	strokes int
}

// types runs a line at a time of day, and returns the entry that it made.
func (k *keeper) types(clock, line string) addedJSON {
	k.t.Helper()
	return k.typesTo(exitOK, clock, line)
}

// typesTo is types for a line that ends with a status.
func (k *keeper) typesTo(want int, clock, line string) addedJSON {
	k.t.Helper()
	at, err := time.Parse(time.RFC3339, "2026-08-29T"+clock+"+02:00")
	if err != nil {
		k.t.Fatal(err)
	}
	timeNow = func() time.Time { return at }
	k.strokes = len(line) + 1
	var out, errs bytes.Buffer
	s := newStreams(&out, &errs, func(name string) string { return map[string]string{logVariable: k.log}[name] })
	// What is added only has the entry come as JSON.
	words := append(strings.Fields(line)[1:], "--json", "--quiet")
	if status := execute(context.Background(), words, s); status != want {
		k.t.Fatalf("%s: exit status %d\n%s", line, status, &errs)
	}
	var added addedJSON
	if err := json.Unmarshal(out.Bytes(), &added); err != nil {
		k.t.Fatal(err)
	}
	return added
}

// arrives copies a photo of the demo into the folder.
func (k *keeper) arrives(name, as string) {
	k.t.Helper()
	data, err := os.ReadFile(filepath.Join(fixtures, "journey", "29-august", name))
	if err != nil {
		k.t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(k.in, as), data, 0o600); err != nil {
		k.t.Fatal(err)
	}
}

// A day of six legs by photo, two halts, a detour and a slip of the odometer, which the fix
// in the evening shows and names: at most 30 strokes for a leg or a halt. The photos, and the
// positions of departure and fix, are of the invented journey of the demo; the detour, out and
// back, and the slip, 38 read for 28, are this test's.
func TestADayIsKeptInFewStrokes(t *testing.T) {
	dir := t.TempDir()
	k := &keeper{t: t, log: filepath.Join(dir, "day.db"), in: filepath.Join(dir, "in")}
	if err := os.Mkdir(k.in, 0o700); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { timeNow = time.Now })
	k.types("08:05:00", "shadowread log begin --position -22.90000,22.30000 --error 15 --odometer 45210.0 --unit km --utc-offset 2 --photos "+k.in)
	slip := 0
	for _, e := range []struct{ clock, photo, line string }{
		{"08:14:00", "01.jpg", "shadowread log leg 45210.0"},
		{"08:40:00", "", "shadowread log halt 45214.0"},
		{"08:57:00", "02.jpg", "shadowread log leg 45216.1"},
		{"09:50:00", "03.jpg", "shadowread log leg 45222.6"},
		{"12:36:00", "04.jpg", "shadowread log leg 45238.2"},
		{"15:22:00", "06.jpg", "shadowread log leg 45242.9"},
		{"15:58:00", "", "shadowread log detour 45246.0 --leg 28,300m --leg 208,300m --heading-sigma 5"},
		{"16:25:00", "07.jpg", "shadowread log leg 45251.1"},
		{"16:52:00", "", "shadowread log halt 45256.6"},
	} {
		if e.photo != "" {
			k.arrives(e.photo, "IMG_20"+e.photo)
		}
		a := k.types(e.clock, e.line)
		verb := strings.Fields(e.line)[2]
		if verb != "detour" && k.strokes > 30 {
			t.Errorf("%q takes %d strokes", e.line, k.strokes)
		}
		if string(a.Kind) != verb || e.photo != "" && (a.Photo == nil || a.Photo.Name != "IMG_20"+e.photo || a.Heading == nil) {
			t.Errorf("%q made %+v", e.line, a)
		}
		if e.line == "shadowread log leg 45238.2" {
			slip = a.Entry
		}
	}
	fix := k.typesTo(exitRefused, "17:44:00", "shadowread log fix 45266.3 --position -23.05072,22.65065 --error 5")
	if len(fix.Suspects) == 0 || fix.Suspects[0].Entry != slip || fix.Suspects[0].Slip != logbook.SlipOdometer10 || fix.Suspects[0].Instead != "45228.2 km" {
		t.Errorf("the slip is in entry %d; suspected: %+v; %+v", slip, fix.Suspects, fix.Closing)
	}
	// What holds goes to a phone as a file that its page reads.
	file := filepath.Join(dir, "set.json")
	var told bytes.Buffer
	to := newStreams(&told, &told, func(name string) string { return map[string]string{logVariable: k.log}[name] })
	if status := execute(context.Background(), []string{"log", "settings", "-o", file}, to); status != exitOK {
		t.Fatal(status, told.String())
	}
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if f, err := settingsfile.Parse(text); err != nil || f.UTCOffset != "+02:00" || f.DistanceUnit != settingsfile.Kilometres || f.Begun == nil || f.Position == nil {
		t.Errorf("%v, %+v", err, f)
	}
	// Put right, the day closes as the journey was drawn.
	k.types("17:46:00", "shadowread log correct leg "+strconv.Itoa(slip)+" --odometer 45228.2")
	var where whereJSON
	var out bytes.Buffer
	s := newStreams(&out, &bytes.Buffer{}, func(name string) string { return map[string]string{logVariable: k.log}[name] })
	if status := execute(context.Background(), []string{"log", "where", "--json"}, s); status != exitOK {
		t.Fatal(status)
	}
	if err := json.Unmarshal(out.Bytes(), &where); err != nil || where.Closing == nil || !where.Closing.Used || where.Closing.Sigmas > 2.5 {
		t.Errorf("%v, closes with %+v", err, where.Closing)
	}
}
