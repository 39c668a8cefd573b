package vision

import (
	"math"

	"shadowread/internal/calib"
	"shadowread/internal/rank"
	"shadowread/internal/sheet"
)

const (
	// tickScale is the least scale, px/mm, at which the degree ticks, 1 mm apart,
	// are told from one another.
	tickScale = 3.5
	// tickRadius is where all ticks are crossed, mm: beyond the ring's blur, short
	// of the end of the shortest.
	tickRadius = 59.8
	// ticksPerGroup ticks side by side are one witness in the fit.
	ticksPerGroup = 10
	tickGroups    = 1000 // first group number, above those of the marks' edges
	leastTicks    = 3    // groups of ticks, below which they say nothing
	tickReach     = 0.5  // mm to each side: half the way to the neighbours
	tickMargin    = 2    // px from the picture's border
	tickHalf      = 8    // samples to each side
	// The paper to both sides must have tickEven of each other's light, and the tick be
	// tickDark darker and stand within tickOff of the reach.
	tickEven, tickDark, tickOff = 0.8, 0.12, 0.5
)

// tickSamples measures where the degree ticks cross a circle, as refinement of the
// map next to where the shadow is read. A tick is narrower than a pixel's blur, so
// its place is the centroid of its darkness between the paper on both sides. Ticks
// under the rod, a shadow's edge or dirt stand off the map and lose their weight in
// the fit.
func tickSamples(g *Gray, s *sheet.Sheet, fit *calib.Fit) []calib.Sample {
	least, _ := fit.Scale(sheet.Point{})
	if least < tickScale {
		return nil
	}
	var out []calib.Sample
	var off []float64
	for d := range 360 {
		sin, cos := math.Sincos(float64(d) * math.Pi / 180)
		at := sheet.Point{X: tickRadius * sin, Y: tickRadius * cos}
		along := sheet.Point{X: sin, Y: cos}
		seen, miss, ok := darkness(g, at, along, fit.ProjectDrawing)
		if !ok {
			continue
		}
		off = append(off, math.Abs(miss))
		out = append(out, calib.Sample{At: at, Along: along, Seen: seen, Group: tickGroups + d/ticksPerGroup})
	}
	if len(out) < leastTicks*ticksPerGroup {
		return nil
	}
	spread := max(1, rank.MadSigma*quantile(off, 0.5)/fit.SigmaPx)
	for i := range out {
		out[i].Spread = spread
	}
	return out
}

// darkness returns the centroid of what is missing from the paper's light across a
// thin line, and its distance in px from where the map has it.
func darkness(g *Gray, at, along sheet.Point, project projector) (seen calib.Pixel, miss float64, ok bool) {
	right := sheet.Point{X: along.Y, Y: -along.X}
	a := project(sheet.Point{X: at.X - tickReach*right.X, Y: at.Y - tickReach*right.Y})
	b := project(sheet.Point{X: at.X + tickReach*right.X, Y: at.Y + tickReach*right.Y})
	q := project(at)
	if !g.contains(a, tickMargin) || !g.contains(b, tickMargin) || !g.contains(q, tickMargin) {
		return q, 0, false
	}
	du, dv := (b.U-a.U)/2, (b.V-a.V)/2
	const n = tickHalf
	var light [2*n + 1]float64
	for k := range light {
		t := float64(k-n) / n
		light[k] = g.light(q.U+t*du, q.V+t*dv)
	}
	// The window's ends lie between ticks: the paper's light there, a slope allowed.
	lo, hi := (light[0]+light[1])/2, (light[2*n]+light[2*n-1])/2
	if lo < tickEven*hi || hi < tickEven*lo {
		return q, 0, false
	}
	var sum, moment, deepest float64
	for k := 1; k < 2*n; k++ {
		t := float64(k-n) / n
		dark := max(0, 1-light[k]/(lo+(hi-lo)*(t+1)/2))
		sum += dark
		moment += dark * t
		deepest = max(deepest, dark)
	}
	if deepest < tickDark {
		return q, 0, false
	}
	t := moment / sum
	if math.Abs(t) > tickOff {
		return q, 0, false
	}
	return calib.Pixel{U: q.U + t*du, V: q.V + t*dv}, t * math.Hypot(du, dv), true
}
