package vision

import (
	"math"

	"shadowread/internal/calib"
	"shadowread/internal/sheet"
)

// projector maps a point of the drawing to its pixel.
type projector func(sheet.Point) calib.Pixel

const (
	// edgeFrom is the part of a side left out at each corner, where blur mixes in
	// the other side.
	edgeFrom = 0.12
	// perEdge bounds the samples along one side: with 16 on each of 48 edges the
	// map's own error is below a thousandth of a degree, and more cost time.
	perEdge = 16
	// leastPerEdge and pxPerSample give what a shorter side has; one under leastSidePx px has none.
	leastPerEdge, pxPerSample = 6, 2.5
	leastSidePx               = 8
	edgesOfMark               = 4 // that number an edge's group

	// A profile runs across the edge to each side by a module, but by profileMost px at most,
	// in steps of profileStep: more meets the mark's cells. Each sample is the mean of three
	// places profileSpread px apart along the edge, against the noise.
	profileMost   = 14.0
	profileStep   = 0.5
	profileSpread = 0.8
	// leastModule px, at least, must a module have for its ink to reach black.
	leastModule = 1.3
	alongTo     = 0.5 // mm along an edge to a second place, which tells how it runs
	// The levels are means from levelNear to levelFar of the profile's reach from the steepest
	// rise: nearer is blur, farther the next cell. Paper must have inkGap more light than ink,
	// of full scale, and inkRatio times as much.
	levelNear, levelFar = 0.35, 0.65
	inkGap, inkRatio    = 0.01, 1.6
)

// profileRoom is the room for the longest profile.
const profileRoom = 60

// edgeSamples measures the four outer edges of a mark near where project puts
// them. A sample is the 50 % crossing of the light between the ink of the border
// (one module wide) and the paper outside; the levels are taken beside it, so
// shadows across the mark do not matter. group numbers the first edge.
func edgeSamples(g *Gray, m sheet.Mark, project projector, group int) []calib.Sample {
	corners := m.Corners()
	module := m.Side / markCells
	var out []calib.Sample
	for i := range 4 {
		a, b := corners[i], corners[(i+1)%4]
		pa, pb := project(a), project(b)
		long := math.Hypot(pb.U-pa.U, pb.V-pa.V)
		if !(long >= leastSidePx) {
			continue
		}
		// Clockwise corners keep the ink on the right of the way.
		along := sheet.Point{X: (b.X - a.X) / m.Side, Y: (b.Y - a.Y) / m.Side}
		outward := sheet.Point{X: -along.Y, Y: along.X}
		n := max(leastPerEdge, min(perEdge, int(long/pxPerSample)))
		for j := range n {
			f := edgeFrom + (1-2*edgeFrom)*(float64(j)+0.5)/float64(n)
			at := sheet.Point{X: a.X + f*(b.X-a.X), Y: a.Y + f*(b.Y-a.Y)}
			if seen, ok := crossing(g, at, along, outward, module, project); ok {
				out = append(out, calib.Sample{At: at, Along: along, Seen: seen, Ink: 1, Group: group + i})
			}
		}
	}
	return out
}

// crossing finds where the light rises half way from ink to paper along the normal
// of a printed edge.
func crossing(g *Gray, at, along, outward sheet.Point, module float64, project projector) (calib.Pixel, bool) {
	q := project(at)
	t := project(sheet.Point{X: at.X + along.X*alongTo, Y: at.Y + along.Y*alongTo})
	o := project(sheet.Point{X: at.X + outward.X*module, Y: at.Y + outward.Y*module})
	tu, tv := t.U-q.U, t.V-q.V
	l := math.Hypot(tu, tv)
	tu, tv = tu/l, tv/l
	nu, nv := tv, -tu                                     // outward, v down
	mod := (o.U-q.U)*nu + (o.V-q.V)*nv                    // px across one module
	reach := min(mod, profileMost)                        // how far the profile runs each way
	if !(mod >= leastModule) || !g.contains(q, reach+2) { // NaN fails too
		return q, false
	}
	const step = profileStep
	half := int(reach / step)
	var buf [profileRoom]float64
	profile := buf[:2*half+1]
	for k := range profile {
		d := float64(k-half) * step
		u, v := q.U+d*nu, q.V+d*nv
		profile[k] = (g.light(u-profileSpread*tu, v-profileSpread*tv) + g.light(u, v) + g.light(u+profileSpread*tu, v+profileSpread*tv)) / 3
	}
	// The steepest rise outward, over about a pixel and a half.
	peak, rise := -1, 0.0
	for k := 2; k+2 < len(profile); k++ {
		if d := profile[k+1] - profile[k-1] + 0.5*(profile[k+2]-profile[k-2]); d > rise {
			peak, rise = k, d
		}
	}
	if peak < 0 {
		return q, false
	}
	// Levels from the middle of the border and as far outside.
	near, far := int(levelNear*reach/step), int(levelFar*reach/step)
	near, far = max(near, 1), max(far, near+1)
	lo, ok1 := mean(profile, peak-far, peak-near)
	hi, ok2 := mean(profile, peak+near, peak+far)
	if !ok1 || !ok2 || hi-lo < inkGap || hi < inkRatio*lo {
		return q, false
	}
	mid := (lo + hi) / 2
	best, found := 0.0, false
	for k := max(1, peak-near-1); k <= min(len(profile)-1, peak+near+1); k++ {
		if a, b := profile[k-1], profile[k]; a < mid && b >= mid {
			x := (float64(k-1-half) + (mid-a)/(b-a)) * step
			if !found || math.Abs(x-float64(peak-half)*step) < math.Abs(best-float64(peak-half)*step) {
				best, found = x, true
			}
		}
	}
	return calib.Pixel{U: q.U + best*nu, V: q.V + best*nv}, found
}

// mean averages profile[from..to], cut to the profile; ok is false when less than
// half of the span is there.
func mean(profile []float64, from, to int) (float64, bool) {
	a, b := max(from, 0), min(to, len(profile)-1)
	if 2*(b-a+1) < to-from+1 || b < a {
		return 0, false
	}
	s := 0.0
	for _, p := range profile[a : b+1] {
		s += p
	}
	return s / float64(b-a+1), true
}
