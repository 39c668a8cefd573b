package vision

import (
	"math"

	"shadowread/internal/calib"
	"shadowread/internal/rank"
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
	// By the paper on from there to levelEnd, where the levels begin slopeFrom px off or more, beyond all
	// blur, its light's slope is known, the mean over slopesAlong of an edge to each side of a
	// place: slopesLeast must be told, and none be above slopeMost, a part for each px, as in a sharp
	// rim, whose light runs along no line. It is believed where it stands out from that of leastAlike
	// places of the picture whose levels are as far off within alikeFar samples, which sharpening
	// makes, by slopeSure sigmas, and by slopeSlight: less moves no edge by 0.03 px.
	levelEnd, slopeFrom      = 0.95, 3.0
	slopesAlong, slopesLeast = 0.25, 3
	slopeSure                = 5
	slopeSlight, slopeMost   = 0.003, 0.03
	leastAlike, alikeFar     = 6 * perEdge, 1
)

// profileRoom is the room for the longest profile.
const profileRoom = 60

// edgesOf measures the light across the four outer edges of a mark near where project puts
// them, at most places of each, and appends it.
func edgesOf(all []edgeProfile, g *Gray, m sheet.Mark, project projector, most int) []edgeProfile {
	corners := m.Corners()
	module := m.Side / markCells
	for i := range edgesOfMark {
		a, b := corners[i], corners[(i+1)%4]
		pa, pb := project(a), project(b)
		long := math.Hypot(pb.U-pa.U, pb.V-pa.V)
		if !(long >= leastSidePx) {
			continue
		}
		// Clockwise corners keep the ink on the right of the way.
		along := sheet.Point{X: (b.X - a.X) / m.Side, Y: (b.Y - a.Y) / m.Side}
		n := max(leastPerEdge, min(most, int(long/pxPerSample)))
		first := len(all)
		for j := range n {
			f := edgeFrom + (1-2*edgeFrom)*(float64(j)+0.5)/float64(n)
			at := sheet.Point{X: a.X + f*(b.X-a.X), Y: a.Y + f*(b.Y-a.Y)}
			all = append(all, edgeProfile{at: at, along: along, part: f, group: edgesOfMark*m.ID + i, module: module})
			if !all[len(all)-1].across(g, project) {
				all = all[:len(all)-1]
			}
		}
		steadySlopes(all[first:])
	}
	return all
}

// steadySlopes puts for each slope of one edge the mean of those about it.
func steadySlopes(edge []edgeProfile) {
	steady := make([]float64, len(edge))
	for i := range edge {
		sum, n, most := 0.0, 0, 0.0
		for k := range edge {
			if e := &edge[k]; math.Abs(e.part-edge[i].part) < slopesAlong && !math.IsNaN(e.slope) {
				sum, n, most = sum+e.slope, n+1, max(most, math.Abs(e.slope))
			}
		}
		if steady[i] = sum / float64(n); n < slopesLeast || most > slopeMost {
			steady[i] = math.NaN()
		}
	}
	for i, slope := range steady {
		edge[i].slope = slope
	}
}

// samplesOf makes samples of a picture's edges. A sample is the 50 % crossing of the light between
// the ink of the border (one module wide) and the paper outside; the levels are taken beside
// it, so shadows across the mark do not matter, but for their rims' slope.
func samplesOf(edges []edgeProfile) []calib.Sample {
	var usual [profileRoom]slopeKind
	var known [profileRoom]bool
	out := make([]calib.Sample, 0, len(edges))
	for i := range edges {
		e := &edges[i]
		if !known[e.far] {
			usual[e.far], known[e.far] = kindOf(edges, e.far), true
		}
		if seen, ok := e.crossing(usual[e.far].beyond(e.slope)); ok {
			out = append(out, calib.Sample{At: e.at, Along: e.along, Seen: seen, Ink: 1, Group: e.group})
		}
	}
	return out
}

// slopeKind is the usual slope of edges whose levels are taken as far off, where blur and sharpening
// do the same, and by how much one surely differs.
type slopeKind struct{ usual, sure float64 }

func kindOf(edges []edgeProfile, far int) slopeKind {
	slopes := make([]float64, 0, len(edges))
	for i := range edges {
		if e := &edges[i]; max(e.far-far, far-e.far) <= alikeFar && !math.IsNaN(e.slope) {
			slopes = append(slopes, e.slope)
		}
	}
	if len(slopes) < leastAlike {
		return slopeKind{0, math.Inf(1)}
	}
	usual := quantile(slopes, 0.5)
	return slopeKind{usual, max(slopeSlight, slopeSure*rank.MadSigma*quantile(apart(slopes, usual), 0.5))}
}

// beyond is what a slope has beyond the usual, none where that is not sure.
func (k slopeKind) beyond(slope float64) float64 {
	if d := slope - k.usual; math.Abs(d) > k.sure {
		return d
	}
	return 0
}

// edgeProfile is the light across a printed edge, outward.
type edgeProfile struct {
	at, along sheet.Point
	part      float64 // of the edge's length
	group     int
	module    float64 // mm, of the mark
	q         calib.Pixel
	nu, nv    float64 // outward
	light     [profileRoom]float64
	n, half   int // samples, and those on the ink's side of q
	peak      int // the steepest rise
	near, far int // samples from there to the levels
	lo, hi    float64
	slope     float64 // part by which the paper grows lighter, for each px outward; NaN if not told
}

// across samples the light along the normal of a printed edge at a place along it, and finds where
// it rises.
func (e *edgeProfile) across(g *Gray, project projector) bool {
	at, along := e.at, e.along
	q := project(at)
	t := project(sheet.Point{X: at.X + along.X*alongTo, Y: at.Y + along.Y*alongTo})
	o := project(sheet.Point{X: at.X - along.Y*e.module, Y: at.Y + along.X*e.module})
	tu, tv := t.U-q.U, t.V-q.V
	l := math.Hypot(tu, tv)
	tu, tv = tu/l, tv/l
	nu, nv := tv, -tu                                     // outward, v down
	mod := (o.U-q.U)*nu + (o.V-q.V)*nv                    // px across one module
	reach := min(mod, profileMost)                        // how far the profile runs each way
	if !(mod >= leastModule) || !g.contains(q, reach+2) { // NaN fails too
		return false
	}
	const step = profileStep
	e.q, e.nu, e.nv, e.half = q, nu, nv, int(reach/step)
	e.n = 2*e.half + 1
	profile := e.light[:e.n]
	for k := range profile {
		d := float64(k-e.half) * step
		u, v := q.U+d*nu, q.V+d*nv
		profile[k] = (g.light(u-profileSpread*tu, v-profileSpread*tv) + g.light(u, v) + g.light(u+profileSpread*tu, v+profileSpread*tv)) / 3
	}
	// The steepest rise outward, over about a pixel and a half.
	rise := 0.0
	e.peak = -1
	for k := 2; k+2 < len(profile); k++ {
		if d := profile[k+1] - profile[k-1] + 0.5*(profile[k+2]-profile[k-2]); d > rise {
			e.peak, rise = k, d
		}
	}
	if e.peak < 0 {
		return false
	}
	// Levels from the middle of the border and as far outside.
	e.near = max(int(levelNear*reach/step), 1)
	e.far = max(int(levelFar*reach/step), e.near+1)
	var ok1, ok2 bool
	e.lo, ok1 = mean(profile, e.peak-e.far, e.peak-e.near)
	e.hi, ok2 = mean(profile, e.peak+e.near, e.peak+e.far)
	if !ok1 || !ok2 || e.hi-e.lo < inkGap || e.hi < inkRatio*e.lo {
		return false
	}
	e.slope = math.NaN()
	if end := int(levelEnd * reach / step); end > e.far && step*float64(e.near) >= slopeFrom {
		if beyond, ok := mean(profile, e.peak+e.far, e.peak+end); ok {
			e.slope = math.Log(beyond/e.hi) / (step * float64(end-e.near) / 2)
		}
	}
	return true
}

// crossing finds where the light rises half way from ink to paper, where it grows by a part slope for
// each px outward.
//
// In a shade's rim or beside a stain the paper's level as far outside is not that at the edge, nor the
// ink's as far within: taken as they are they moved the edge by a tenth of a pixel. Blur mixes
// more of the lighter paper in than of the darker ink, by slope (hi - lo) blur / sqrt(2 pi).
func (e *edgeProfile) crossing(slope float64) (calib.Pixel, bool) {
	const step = profileStep
	profile := e.light[:e.n]
	off := slope * step * float64(e.near+e.far) / 2
	lo, hi := e.lo*math.Exp(off), e.hi*math.Exp(-off)
	steep := (profile[e.peak+1] - profile[e.peak-1]) / (2 * step)
	mid := (lo+hi)/2 + slope*sq(hi-lo)/(2*math.Pi*steep)
	best, found := 0.0, false
	for k := max(1, e.peak-e.near-1); k <= min(len(profile)-1, e.peak+e.near+1); k++ {
		if a, b := profile[k-1], profile[k]; a < mid && b >= mid {
			x := (float64(k-1-e.half) + (mid-a)/(b-a)) * step
			if !found || math.Abs(x-float64(e.peak-e.half)*step) < math.Abs(best-float64(e.peak-e.half)*step) {
				best, found = x, true
			}
		}
	}
	return calib.Pixel{U: e.q.U + best*e.nu, V: e.q.V + best*e.nv}, found
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
