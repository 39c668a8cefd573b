package vision

import (
	"math"
	"math/rand/v2"
	"testing"
)

// alikeNoise is white noise summed over some neighbours, as interpolation does.
func alikeNoise(r *rand.Rand, rows, alike int) []float64 {
	white, ns := make([]float64, rows+alike), make([]float64, rows)
	for i := range white {
		white[i] = 0.01 * r.NormFloat64()
	}
	for i := range ns {
		for k := range alike {
			ns[i] += white[i+k]
		}
	}
	return ns
}

// The sigma of a line's slope holds for residuals that are alike over some rows, as interpolation
// makes them, on short lines as on long ones; the slopes' own scatter is what it is held against.
func TestSlopeSigmaOfAlikeRows(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	const lines = 1000
	for _, tt := range []struct{ rows, alike int }{{65, 1}, {300, 1}, {65, 3}, {130, 3}, {300, 6}} {
		square := 0.0
		ss := make([]float64, tt.rows)
		for i := range ss {
			ss[i] = 0.15 * float64(i)
		}
		for range lines {
			l := robustLine(ss, alikeNoise(r, tt.rows, tt.alike))
			square += l.b * l.b / l.varB / lines
		}
		if rms := math.Sqrt(square); rms < 0.9 || rms > 1.2 {
			t.Errorf("%d rows, %d alike: errors are %.2f sigma", tt.rows, tt.alike, rms)
		}
	}
}

// The axis of two edges, each with noise of its own, is seldom off by many of its sigmas: of a normal law's
// errors 0.27 % exceed three, of a short line's, whose noise it tells itself, some more.
func TestAxisSigmaOfAlikeRows(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	const lines = 2000
	for _, tt := range []struct{ rows, alike int }{{65, 2}, {130, 3}} {
		square, beyond := 0.0, 0
		for range lines {
			f := stripFit{rows: make([]profileRow, tt.rows)}
			left, right := alikeNoise(r, tt.rows, tt.alike), alikeNoise(r, tt.rows, tt.alike)
			for i := range f.rows {
				f.rows[i] = profileRow{s: 0.15 * float64(i), left: left[i] - 1, right: right[i] + 1, ok: true}
			}
			f.left = f.fitEdgeLine(func(r *profileRow) float64 { return r.left }, false)
			f.right = f.fitEdgeLine(func(r *profileRow) float64 { return r.right }, false)
			axis := f.axis()
			off := axis.b * axis.b / axis.varB
			if square += off / lines; off > 9 {
				beyond++
			}
		}
		if rms := math.Sqrt(square); rms < 0.9 || rms > 1.1 || beyond > lines/100 {
			t.Errorf("%d rows, %d alike: errors are %.2f sigma, %d of %d beyond three", tt.rows, tt.alike, rms, beyond, lines)
		}
	}
}
