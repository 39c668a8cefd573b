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

// Pictures that were once refused, each for a cause of its own.
func TestReadAfterAll(t *testing.T) {
	for name, o := range map[string]SoakOptions{
		// Its height by the bar's far side would accuse a right hour.
		"a rod whose top is seen before a bar of shade ends there": {Seed: 60053},
		"few marks in the light, through a lens that bends":        {Seed: 110101},
		"folded paper, of whose rows many shifts fit alike":        {Seed: 310058, Phone: true},
		"a broad shadow, sharpened":                                {Seed: 210037, Phone: true},
		"a second frame in a thin shadow":                          {Seed: 210120, Phone: true},
		"a soft bar beyond the end of a wire's shadow":             {Seed: 1600064, Gnomons: true},
		"a white head before the beginning, seen from above":       {Seed: 1600088, Gnomons: true},
	} {
		o.Count, o.WidthPX, o.Workers = 1, 2000, 1
		err := Soak(context.Background(), o, func(o Outcome) {
			if !o.Readable || o.Reason != "" || o.Error.Abs() > 3*o.Sigma {
				t.Errorf("%s: readable %v, refused %q: %s; error %.3f°, sigma %.4f°", name, o.Readable, o.Reason, o.Message, o.Error.Degrees(), o.Sigma.Degrees())
			}
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}
