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
	// 1.05 times the marks'. What has more is asked for what casts it.
	softRows              = 0.3
	softInk, softMost     = 1.2, 0.05
	softLeast, softGrowth = 2.0, 16.0
	softSure              = 3
	inkBlurPart           = 0.8 // quantile of the edges' blurs: a moving camera blurs some more
	inkBlurLeast          = 4 * edgesOfMark
	softTry               = 3 // looks for a blur, each within a factor of two
	sharpensSure          = 2 // sigmas of a growth below none
)

// What is tried of such a strip: the sun and its aureoles, and how far the light may have come to the foot, mm, and farther
// outward; or, below 0, less far there, as of a pole whose top's shadow falls on the foot.
var (
	softSuns     = []float64{1}
	softAureoles = []aureole{{}, {0.2, 0.1, 0}, {0.5, 0.1, 0}, {0.3, 0.2, 0}, {0.5, 0.2, 0}, {0.5, 0.4, 0}}
	elsewheres   = []float64{60, 150, 400, 1000, -60, -100, -150, -250, -400, -1000}
)

// softFoot reports whether the strip's edges are as soft by the foot as only those of a shadow are that
// is cast from elsewhere: the rod's own begins as sharp as the ink. Or they are surely sharper farther out,
// where the shadow of a pole begins whose top's falls on the foot.
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
	switch elsewhere := func() float64 { return f.castElsewhere(f.axis(), most*f.pxAcross(at)) }; {
	case blur > math.Hypot(most, math.Sqrt(growth)*at):
		return elsewhere() > -maybeCast
	case h.st.Growth[1]+sharpensSure*h.st.GrowthSigma < 0:
		return elsewhere() > surelyLies
	}
	return false
}

// castElsewhere is the logarithm of how much likelier the strip's edges are those of a shadow whose light comes from
// elsewhere than of one that is cast from above the foot. An aureole broader than the strip blurs it near the foot, and farther
// on makes it paler instead, so that no growth tells of it: the edges are held against disc and aureole together,
// through a camera that blurs by blurMost px at most.
func (f *stripFit) castElsewhere(axis fitLine, blurMost float64) float64 {
	sides := f.sideProfiles(axis)
	if sides == nil {
		return 0
	}
	d := f.fitOf(sides)
	d.most = blurMost
	var n [2]float64
	best := func(beyond float64) float64 {
		d.beyond = beyond
		least := math.Inf(1)
		for _, haze := range softAureoles {
			d.through(haze, sides)
			var sum [2]float64
			sum, n = d.least(sides, nil, softSuns)
			least = min(least, sum[0])
		}
		return least
	}
	foot, elsewhere := best(0), math.Inf(1)
	for _, beyond := range elsewheres {
		elsewhere = min(elsewhere, best(beyond))
	}
	return likelier(foot, elsewhere, n[0])
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
