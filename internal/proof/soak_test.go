package proof

import (
	"context"
	"os"
	"runtime"
	"testing"
)

// Sixty random pictures of 3 megapixels from a fixed seed. The bars are those of the
// long run (make soak): at most 1 % of the readable refused, none beyond four sigma or
// one degree, 60 to 77 % within one sigma and 92 to 99 % within two; with some 55
// readable pictures they are widened by two binomial sigmas (12 % and 6 %), and two
// may be refused.
func TestSoak(t *testing.T) {
	if testing.Short() {
		t.Skip("sixty pictures are drawn and read")
	}
	var rep Report
	err := Soak(context.Background(), SoakOptions{Count: 60, Seed: 20000, WidthPX: 2000, Workers: runtime.NumCPU()}, func(o Outcome) {
		rep.Add(o)
		if o.Readable && o.Reason != "" {
			t.Logf("seed %d refused: %s", o.Seed, o.Reason)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	rep.Print(os.Stderr)
	for _, o := range rep.Wild {
		t.Errorf("seed %d: error %.3f°, sigma %.4f°", o.Seed, o.Error.Degrees(), o.Sigma.Degrees())
	}
	n := float64(rep.Read)
	switch one, two := float64(rep.WithinOne)/n, float64(rep.WithinTwo)/n; {
	case rep.Readable < 40:
		t.Errorf("only %d readable pictures", rep.Readable)
	case len(rep.Refused) > 2:
		t.Errorf("%d of %d readable pictures refused", len(rep.Refused), rep.Readable)
	case one < 0.48 || one > 0.89:
		t.Errorf("%.2f within one sigma", one)
	case two < 0.86:
		t.Errorf("%.2f within two sigma", two)
	}
}

// A rod whose top is seen before a bar of shade ends there, and not at the bar's far side,
// whose height would accuse a right hour.
func TestRodEndsInShade(t *testing.T) {
	err := Soak(context.Background(), SoakOptions{Count: 1, Seed: 60053, WidthPX: 2000, Workers: 1}, func(o Outcome) {
		if !o.Readable || o.Reason != "" {
			t.Errorf("readable %v, refused %q: %s", o.Readable, o.Reason, o.Message)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
}
