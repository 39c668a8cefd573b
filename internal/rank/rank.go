// Package rank picks numbers by their rank without sorting them all: medians are taken by the
// thousand in a reading.
package rank

import (
	"math"
	"slices"
)

const (
	few       = 12 // that are sorted outright
	mostTurns = 64 // after which the rest is sorted: numbers that are made to cost much
)

// MadSigma makes one sigma of a normal law of the median of what is off its middle: 1 over
// its 3/4 quantile.
const MadSigma = 1.4826

// Select returns the number that slices.Sort would put at place k, from 0. It puts the others into
// another order.
func Select(xs []float64, k int) float64 {
	lo := 0
	for i, x := range xs { // what is no number comes first
		if math.IsNaN(x) {
			xs[i], xs[lo] = xs[lo], x
			lo++
		}
	}
	if k < lo {
		return math.NaN()
	}
	hi := len(xs) - 1
	for turn := 0; hi-lo >= few; turn++ {
		if turn == mostTurns {
			slices.Sort(xs[lo : hi+1])
			return xs[k]
		}
		middle := between(xs[lo], xs[lo+(hi-lo)/2], xs[hi])
		i, j := lo, hi
		for i <= j {
			for xs[i] < middle {
				i++
			}
			for xs[j] > middle {
				j--
			}
			if i <= j {
				xs[i], xs[j] = xs[j], xs[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			hi = j
		case k >= i:
			lo = i
		default:
			return xs[k]
		}
	}
	for i := lo + 1; i <= hi; i++ {
		x, j := xs[i], i
		for ; j > lo && xs[j-1] > x; j-- {
			xs[j] = xs[j-1]
		}
		xs[j] = x
	}
	return xs[k]
}

// between is the middle one of three.
func between(a, b, c float64) float64 { return max(min(a, b), min(max(a, b), c)) }
