package logbook

import (
	"slices"
	"testing"

	"shadowread/internal/fault"
)

// What was forgotten and put in later gives the places, and the list, of a log that was
// written in order; its chain shows when it came.
func TestAForgottenEntryIsPutIn(t *testing.T) {
	ctx := t.Context()
	in := func(minutes float64) At { a := at(minutes); a.InBetween = true; return a }
	straight := begun(t)
	for i, h := range []float64{60, 90, 120, 150} {
		must(t)(straight.LegByHand(ctx, at(float64(10*i)), km([]string{"1000.0", "1004.0", "1008.0", "1012.0"}[i]), by(h, 1)))
	}
	must(t)(straight.Halt(ctx, at(60), Halt{km("1020.0")}))

	late := begun(t)
	must(t)(late.LegByHand(ctx, at(0), km("1000.0"), by(60, 1)))
	must(t)(late.LegByHand(ctx, at(30), km("1012.0"), by(150, 1)))
	must(t)(late.Halt(ctx, at(60), Halt{km("1020.0")}))
	third := must(t)(late.LegByHand(ctx, in(20), km("1008.0"), by(120, 1)))
	second := must(t)(late.LegByHand(ctx, in(10), km("1004.0"), by(85, 1)))
	must(t)(late.LegByHand(ctx, At{Supersedes: second.Entry.Number}, Run{}, by(90, 1))) // stays in its place
	gone := must(t)(late.Halt(ctx, in(40), Halt{km("1014.0")}))
	must(t)(late.Withdraw(ctx, gone.Entry.Number, ""))

	want, err := straight.WorkUp(ctx, 0)
	if err != nil {
		t.Fatal(err)
	}
	got, err := late.WorkUp(ctx, 0)
	if err != nil {
		t.Fatal(err)
	}
	if len(got.Points) != len(want.Points) {
		t.Fatalf("%d points, want %d", len(got.Points), len(want.Points))
	}
	for i, p := range got.Points {
		if d := apartMetres(t, p.At.Adjusted, want.Points[i].At.Adjusted); d > 1e-3 || !p.Entry.Time.Equal(want.Points[i].Entry.Time) {
			t.Errorf("point %d, entry %d, is %.3f m off", i, p.Entry.Number, d)
		}
	}
	if third.Entry.Number != 5 || third.Entry.Slot != 5 {
		t.Errorf("%+v", third.Entry)
	}
	w, err := late.Where(ctx, 0)
	if err != nil {
		t.Fatal(err)
	}
	x, err := straight.Where(ctx, 0)
	if err != nil || apartMetres(t, w.Estimate.Position, x.Estimate.Position) > 1e-3 {
		t.Errorf("%v, %+v", err, w)
	}
	r, err := late.Check(ctx)
	if err != nil || !r.OK() || r.Entries != 9 {
		t.Errorf("%v, %+v", err, r)
	}
	all, err := late.List(ctx, 0, true)
	if err != nil || len(all) != 9 || all[2].Number != 6 || all[2].SupersededBy != 7 || all[3].Number != 7 {
		t.Errorf("%v, %+v", err, all)
	}
	// Its place is under the hash.
	if err := raw(t, late.path, "DROP TRIGGER entries_keep; UPDATE entries SET content = replace(content, '\"place\":', '\"place\":1') WHERE number = 5"); err != nil {
		t.Fatal(err)
	}
	if r, err = late.Check(ctx); err != nil || !slices.ContainsFunc(r.Problems, func(p Problem) bool { return p.Code == "entry_changed" && p.Entry == 5 }) {
		t.Errorf("%v, a changed place passes the check: %+v", err, r)
	}
}

func TestWhatCannotBePutIn(t *testing.T) {
	ctx := t.Context()
	in := func(minutes float64) At { a := at(minutes); a.InBetween = true; return a }
	l := begun(t)
	must(t)(l.LegByHand(ctx, at(0), km("1000.0"), by(60, 1)))
	must(t)(l.LegByHand(ctx, at(30), km("1012.0"), by(150, 1)))
	must(t)(l.Halt(ctx, at(60), Halt{far(5000)}))
	must(t)(l.Halt(ctx, at(90), Halt{Run{Stood: true}}))
	for _, c := range []struct {
		minutes float64
		run     Run
		code    string
	}{
		{-10, km("1000.0"), "before_departure"},
		{20, km("1013.0"), "odometer_backwards"}, // past the entry after it
		{20, km("999.0"), "odometer_backwards"},
		{40, km("1014.0"), "way_not_parted"},
		{70, far(100), "way_not_parted"},
		{40, Run{Stood: true}, ""},
		{20, km("1006.0"), ""},
		{100, far(100), ""}, // after the last it is an entry like any
	} {
		if _, err := l.Halt(ctx, in(c.minutes), Halt{c.run}); fault.Code(err) != c.code {
			t.Errorf("at %v min: %v, want %q", c.minutes, err, c.code)
		}
	}
	// There is room for many, and an end to it.
	code := ""
	for i := range 60 {
		_, err := l.Note(ctx, At{Time: at(float64(20)).Time.Add(0), InBetween: true, Note: "x"})
		if code = fault.Code(err); code != "" {
			if i < 20 || code != "no_room" {
				t.Errorf("after %d: %v", i, err)
			}
			break
		}
	}
	if r, err := l.Check(ctx); err != nil || !r.OK() {
		t.Errorf("%v, %+v", err, r)
	}
}

func TestJourneysAreGoneOnWithAndWithdrawn(t *testing.T) {
	ctx := t.Context()
	l := begun(t)
	must(t)(l.LegByHand(ctx, at(0), km("1000.0"), by(60, 1)))
	wary := at(20)
	wary.Wary = true
	d := Departure{Position: pan, Sigma: 10}
	if _, err := l.Begin(ctx, wary, d); fault.Code(err) != string(OddAnother) {
		t.Fatalf("a second departure: %v", err)
	}
	wary.Accept = []Odd{OddAnother}
	begin := must(t)(l.Begin(ctx, wary, d))
	on := at(30)
	on.Journey = 1
	a := must(t)(l.Halt(ctx, on, Halt{km("1010.0")}))
	if a.Entry.Journey != 1 || a.Ran != 10000 {
		t.Errorf("%+v", a)
	}
	mistaken := must(t)(l.Halt(ctx, at(40), Halt{Run{Stood: true}}))
	if _, err := l.Withdraw(ctx, begin.Entry.Number, ""); fault.Code(err) != "journey_has_entries" {
		t.Errorf("%v", err)
	}
	must(t)(l.Withdraw(ctx, mistaken.Entry.Number, ""))
	must(t)(l.Withdraw(ctx, begin.Entry.Number, ""))
	if a = must(t)(l.Halt(ctx, at(50), Halt{km("1012.0")})); a.Entry.Journey != 1 {
		t.Errorf("goes on with journey %d", a.Entry.Journey)
	}
	if _, err := l.Where(ctx, 2); fault.Code(err) != "no_journey" {
		t.Errorf("%v", err)
	}
	if list, err := l.Journeys(ctx); err != nil || len(list) != 1 {
		t.Errorf("%v, %+v", err, list)
	}
	if all, err := l.List(ctx, 2, true); err != nil || len(all) != 4 {
		t.Errorf("%v, %+v", err, all)
	}
	if r, err := l.Check(ctx); err != nil || !r.OK() {
		t.Errorf("%v, %+v", err, r)
	}
	if a = must(t)(l.Begin(ctx, at(60), d)); a.Entry.Journey != 3 {
		t.Errorf("the next is journey %d", a.Entry.Journey)
	}
}
