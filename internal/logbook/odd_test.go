package logbook

import (
	"testing"

	"shadowread/internal/fault"
)

func TestOddEntriesAreRefusedUntilAccepted(t *testing.T) {
	l, ctx := begun(t), t.Context() // whose clock stands a day after the departure
	wary := func(minutes float64, accept ...Odd) At {
		a := at(minutes)
		a.Wary, a.Accept = true, accept
		return a
	}
	must(t)(l.LegByHand(ctx, wary(5), km("1000.0"), by(58, 2)))
	for _, tt := range []struct {
		name string
		code Odd
		add  func(accept ...Odd) (Added, error)
	}{
		{"the leg again", OddAgain, func(a ...Odd) (Added, error) {
			return l.LegByHand(ctx, wary(5.5, a...), km("1000.0"), by(58.1, 2))
		}},
		{"ten minutes ahead of the clock", OddAhead, func(a ...Odd) (Added, error) {
			return l.Halt(ctx, wary(24*60+10, append(a, OddGap)...), Halt{Run: km("1010.0")})
		}},
		{"a day and a half on", OddGap, func(a ...Odd) (Added, error) {
			return l.Halt(ctx, wary(60*60, append(a, OddAhead)...), Halt{Run: km("1020.0")})
		}},
	} {
		if _, err := tt.add(); fault.Code(err) != string(tt.code) || fault.Hint(err) == "" {
			t.Errorf("%s: %v, want code %s", tt.name, err, tt.code)
		}
		before, err := l.List(ctx, 0, true)
		if err != nil {
			t.Fatal(err)
		}
		if a := must(t)(tt.add(tt.code)); a.Entry.Number != len(before)+1 {
			t.Errorf("%s: what was refused left a trace before entry %d", tt.name, a.Entry.Number)
		}
	}
	// Neither is asked of what moves nothing, nor where nobody asked to be warned.
	must(t)(l.Note(ctx, func() At { a := wary(120 * 60); a.Note = "far ahead"; return a }()))
	must(t)(l.Halt(ctx, at(200*60), Halt{Run: Run{Stood: true}}))
	// Half a minute later the heading is another: another leg.
	must(t)(l.LegByHand(ctx, wary(200*60+1, OddAhead), km("1020.0"), by(58, 2)))
	must(t)(l.LegByHand(ctx, wary(200*60+1.5, OddAhead), km("1020.0"), by(60, 2)))
}
