package vision

import (
	"math"
	"sync"
)

// An even disc's edge is no normal law's: a tenth of its breadth from its rims it lacks two hundredths of
// the light. What the camera makes of it is tabled by the disc's share of the variance.
const discShares, discChords = 16, 48

var discTables = sync.OnceValue(func() *[discShares + 1]normalLaw {
	var t [discShares + 1]normalLaw
	for i := range t {
		share := float64(i) / discShares
		radius, camera := 2*math.Sqrt(share), max(math.Sqrt(1-share), 1e-3)
		for k := 1; k <= discChords; k++ { // Gauss's rule for a disc's chords: Chebyshev's second kind
			sin, cos := math.Sincos(math.Pi * float64(k) / (discChords + 1))
			for j := range t[i] {
				t[i][j] += 2 * sin * sin / (discChords + 1) * cdf((float64(j)/normalSteps-normalReach-radius*cos)/camera)
			}
		}
	}
	return &t
})

// discLaw is what camera and disc together blur an edge by.
type discLaw struct {
	less, more *normalLaw
	part       float64 // of more
	sigma      float64
}

// lawOf is that of a camera's blur and a disc's, one sigma each, whose variance grows by growth: what is
// above 1 is haze, whose light has no rim.
func lawOf(camera, disc, growth float64) discLaw {
	own, haze := disc*disc*min(growth, 1), disc*disc*max(growth-1, 0)
	variance := camera*camera + own + haze
	x := own / variance * discShares
	i := min(int(x), discShares-1)
	t := discTables()
	return discLaw{&t[i], &t[i+1], x - float64(i), math.Sqrt(variance)}
}

func (l *discLaw) cdf(x float64) float64 {
	x /= l.sigma
	a := tabled(l.less, x)
	return a + l.part*(tabled(l.more, x)-a)
}

func sized(x []float64, n int) []float64 {
	if cap(x) < n {
		return make([]float64, n)
	}
	return x[:n]
}

// soften is the middle of what a normal law blurs, sigma in samples. It returns room for the
// next time.
func soften(from, to, room []float64, sigma float64) []float64 {
	reach, pad := int(3*sigma), (len(from)-len(to))/2
	w := sized(room, reach+1)
	sum := 0.0
	for i := range w {
		w[i] = math.Exp(-float64(i*i) / (2 * sigma * sigma))
		sum += w[i] * float64(1+min(i, 1))
	}
	for j := range to {
		near := from[j+pad-reach : j+pad+reach+1]
		t := w[0] * near[reach]
		for i := 1; i <= reach; i++ {
			t += w[i] * (near[reach-i] + near[reach+i])
		}
		to[j] = t / sum
	}
	return w
}

const encodedSteps = 1024

var encodedTable = func() (t [encodedSteps + 2]float64) {
	for i := range t {
		t[i] = linearToSRGB(sq(float64(i) / encodedSteps))
	}
	return t
}()

// encodedFast is linearToSRGB from a table over the light's root, within 0 and 1.
func encodedFast(x float64) float64 {
	y := math.Sqrt(max(0, min(1, x))) * encodedSteps
	i := int(y)
	return encodedTable[i] + (y-float64(i))*(encodedTable[i+1]-encodedTable[i])
}
