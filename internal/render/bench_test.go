package render

import (
	"math/rand/v2"
	"testing"
)

// BenchmarkRender draws scenes of a soak run: 3 megapixels, one core.
func BenchmarkRender(b *testing.B) {
	for i := range b.N {
		s := RandomScene(rand.New(rand.NewPCG(uint64(i), 9)), RandomOptions{Troubles: true, MaxCurl: 0.4})
		s.Render()
	}
}
