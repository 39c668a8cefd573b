package vision

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The sigma of a line's slope holds for residuals that are alike over some rows, as interpolation
// makes them, on short lines as on long ones; the slopes' own scatter is what it is held against.
func TestSlopeSigmaOfAlikeRows(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	const lines = 1000
	for _, tt := range []struct{ rows, alike int }{{65, 1}, {300, 1}, {65, 3}, {130, 3}, {300, 6}} {
		square := 0.0
		for range lines {
			noise := make([]float64, tt.rows+tt.alike)
			for i := range noise {
				noise[i] = 0.01 * r.NormFloat64()
			}
			ss, ns := make([]float64, tt.rows), make([]float64, tt.rows)
			for i := range ns {
				ss[i] = 0.15 * float64(i)
				for k := range tt.alike {
					ns[i] += noise[i+k]
				}
			}
			l := robustLine(ss, ns)
			square += l.b * l.b / l.varB / lines
		}
		if rms := math.Sqrt(square); rms < 0.9 || rms > 1.3 {
			t.Errorf("%d rows, %d alike: errors are %.2f sigma", tt.rows, tt.alike, rms)
		}
	}
}
