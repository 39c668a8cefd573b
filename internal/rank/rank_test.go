package rank_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"shadowread/internal/rank"
)

// Whatever is asked for is what sorting by the standard library puts there.
func TestSelectIsWhatSortingPutsThere(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	draws := []func(i, n int) float64{
		func(int, int) float64 { return r.NormFloat64() },
		func(int, int) float64 { return float64(r.IntN(4)) }, // many alike
		func(i, _ int) float64 { return float64(i) },
		func(i, n int) float64 { return float64(min(i, n-i)) }, // up and down
		func(int, int) float64 {
			return []float64{math.NaN(), math.Inf(1), math.Inf(-1), 0, 1, r.Float64()}[r.IntN(6)]
		},
	}
	for n := 1; n < 300; n = n*5/4 + 1 {
		for _, draw := range draws {
			xs := make([]float64, n)
			for i := range xs {
				xs[i] = draw(i, n)
			}
			sorted := slices.Sorted(slices.Values(xs))
			for k := range xs {
				got := rank.Select(slices.Clone(xs), k)
				if got != sorted[k] && !(math.IsNaN(got) && math.IsNaN(sorted[k])) {
					t.Fatalf("%d of %v: %v, want %v", k, xs, got, sorted[k])
				}
			}
		}
	}
}

func BenchmarkSelect(b *testing.B) {
	r := rand.New(rand.NewPCG(5, 6))
	xs, room := make([]float64, 1000), make([]float64, 1000)
	for i := range xs {
		xs[i] = r.NormFloat64()
	}
	for b.Loop() {
		copy(room, xs)
		rank.Select(room, len(room)/2)
	}
}
