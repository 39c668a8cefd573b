package proof

import (
	"context"
	"testing"
)

// Traps that were once read, each for a cause of its own.
func TestTrapsOnceRead(t *testing.T) {
	for name, tt := range map[string]struct {
		set  func(context.Context, SoakOptions) (*LyingReport, error)
		seed uint64
	}{
		"a black stick whose own shade was taken for the disc's":     {Lying, 1510019},
		"a black stick, the rod's shadow lost in haze":               {Sunlit, 1510051},
		"a bar's shadow through the foot, behind a rod of its light": {Sunlit, 1610152},
	} {
		rep, err := tt.set(context.Background(), SoakOptions{Count: 1, Seed: tt.seed, WidthPX: 2000, Workers: 1})
		if err != nil {
			t.Fatal(err)
		}
		for _, wrong := range rep.Wrong {
			t.Errorf("%s: %s", name, wrong)
		}
	}
}
