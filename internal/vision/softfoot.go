package vision

import (
	"math"

	"shadowread/internal/sheet"
)

// How soft a shadow may be by the foot.
const (
	// The blur of the nearest softRows of the strip's rows, leastRows at least, may be softInk times that of
	// the marks' edges, and softMost mm, and what the strip's own growth makes in softSure sigmas: softLeast
	// suns at least, and in air full of haze softGrowth at most. Of 50 drawn shadows none had more than
	// 1.05 times the marks'. Through cloud (throughCloud) most of the light is an aureole's, which blurs by no
	// one law: there it may be cloudInk times, cloudMost and what softGrowth suns would make.
	softRows              = 0.3
	softInk, softMost     = 1.2, 0.05
	softLeast, softGrowth = 2.0, 16.0
	softSure              = 3
	cloudInk, cloudMost   = 1.5, 0.1
	inkBlurPart           = 0.8 // quantile of the edges' blurs: a moving camera blurs some more
	inkBlurLeast          = 4 * edgesOfMark
	softTry               = 3 // looks for a blur, each within a factor of two
)

// softFoot reports whether the strip's edges are as soft by the foot as only those of a shadow are that
// is cast from elsewhere: the rod's own begins as sharp as the ink.
func (h *hearing) softFoot() bool {
	f := h.st.fit
	if f == nil || h.rod.Hangs {
		return false
	}
	ink, near := f.inkBlur(), f.goodRows()
	near = near[:max(min(len(near), leastRows), int(softRows*float64(len(near))))]
	if math.IsNaN(ink) || len(near) == 0 {
		return false
	}
	at := near[len(near)/2].s
	blur := f.sigma(at)
	for range softTry {
		blur = f.blurOf(near, blur)
	}
	sun := leastGrowth / sq(f.skyCos())
	growth := max(softLeast*sun, min(softGrowth*sun, h.st.Growth[1]+softSure*h.st.GrowthSigma))
	most := softInk*ink/f.pxAcross(at) + softMost
	if h.st.Depth < throughCloud {
		most, growth = cloudInk*ink/f.pxAcross(at)+cloudMost, softGrowth*sun
	}
	return blur > math.Hypot(most, math.Sqrt(growth)*at)
}

// inkBlur is one sigma of the marks' edges, px; NaN where too few are seen.
func (q *search) inkBlur() float64 {
	var blurs []float64
	for _, m := range q.sheet.Marks {
		corners := m.Corners()
		for i, c := range corners {
			n := corners[(i+1)%len(corners)]
			along := sheet.Point{X: (n.X - c.X) / m.Side, Y: (n.Y - c.Y) / m.Side}
			e := edgeProfile{at: sheet.Point{X: (c.X + n.X) / 2, Y: (c.Y + n.Y) / 2}, along: along, module: m.Side / markCells}
			if e.across(q.g, q.plate.ProjectDrawing) {
				steep := (e.light[e.peak+1] - e.light[e.peak-1]) / (2 * profileStep)
				blurs = append(blurs, (e.hi-e.lo)/(math.Sqrt(2*math.Pi)*steep))
			}
		}
	}
	if len(blurs) < inkBlurLeast {
		return math.NaN()
	}
	return quantile(blurs, inkBlurPart)
}
