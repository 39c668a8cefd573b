package vision

import (
	"math"
	"slices"

	"shadowread/internal/angle"
)

// How the rod is looked for along its image.
const (
	// mustBeSeen and mayBeSeen are the heights, mm, below which a rod of unknown height must be
	// seen and may be; ofKnown the part of a known one for both, below its head.
	mustBeSeen, mayBeSeen = 28.0, 75.0
	ofKnown               = 0.85
	lookStep, lookBeside  = 0.5, 0.3 // mm along and across the image
	shadowGap             = 2.6      // mm from the strip's edge within which the strip may pass for the rod
	// The run of odd places that is the rod starts within lookOff, mm, of the axis; it is
	// runLeast steps broad, with holes of less than runHole. One that fills the view but for
	// fillMost, mm, without a structure is a shadow.
	lookOff           = 2.2
	runLeast, runHole = 2, 3
	fillMost          = 1.0
	// lookLeast looks, or widths, tell of a rod at all, and from lookSure widths on of how thick
	// it is: a shorter piece may be the cap alone. That is the width of one in thinOne.
	lookLeast, lookSure = 6, 16
	thinOne             = 10
	lowerTenths         = 6 // of the widths, below what may be a point
	// The edge of a run is sought over lookEdge places, a millimetre: to its plateau.
	lookEdge = 4
	// A rod as bright as the paper may differ from it by faintLeast on the mean of faintLooks
	// looks or more, in each half of them, less what differs faintBeside places to both sides,
	// within faintOff of the axis, mm.
	faintLeast, faintLooks = 0.03, 10
	faintBeside, faintOff  = 10, 2.0
	// lookAside is how far to each side the rod is looked for, mm on the paper: a cork of
	// 14 mm, seen nearer to the camera, has 10 and paper beside it.
	lookAside  = 12.0
	lookPlaces = 40 // lookAside over lookBeside
	// Within besideUnlit of towards the camera a strip is mostOfRod times as broad as what is seen of the rod at most, be
	// its lit part as bright as the paper. Of 17 drawn shadows none had more than 1.15 even without that.
	besideUnlit = 75 * angle.Degree
	mostOfRod   = 1.25
)

// rodSeen is what a look at the rod's image tells. told is false where too little of it lies on
// plain paper, as seen from above; seen whether something other than paper stands there; thick its
// width over the lower samples, the lowest tenth, mm at the rod, 0 where too short a piece is seen to
// tell. A bright rod may differ from the paper on its shaded side only, so thick is a lower bound; and
// an upper one only where bare tells that some of it is seen lower down than a head may reach. usual is the median of
// the lower samples.
// inShade tells that it stands in a shade, and thick is how far apart its sharp edges are.
type rodSeen struct {
	thick, usual              float64
	inShade, bare, seen, told bool
}

// look searches for the rod where the camera's place puts it.
func (h *hearing) look() rodSeen {
	must, top := mustBeSeen, mayBeSeen
	st, r := h.st, h.img
	if r.known {
		must, top = ofKnown*r.height, ofKnown*r.height
	}
	f := newFrame(r.direction(), 0)
	high := r.camera[2]
	differs := max(differsLeast, differsNoise*st.Noise)
	var widths []float64
	var shown []acrossRod
	var faint [][]float64 // looks that show nothing
	samples, missed, below := 0, 0, 0
	for d := clearOfFoot; d < r.plain; d += lookStep {
		z := r.heightBefore(d)
		if z > top {
			break
		}
		p := f.at(d, 0)
		if along, across := h.line.place(p); along > 0 && math.Abs(across) < st.Width/2+shadowGap {
			continue // the shadow itself lies there
		}
		vs, ok := h.lookAcross(f, d)
		if !ok {
			continue
		}
		lo, hi, found := rodAcross(vs, differs)
		if z <= must {
			samples++
			if !found {
				missed++
				faint = append(faint, vs)
			}
		}
		if found {
			widths = append(widths, (hi-lo)*(high-z)/high)
			shown = append(shown, acrossRod{vs, high / (high - z)})
			if z <= must {
				below++
			}
		}
	}
	switch {
	case samples >= lookLeast && 2*missed > samples:
		return rodSeen{seen: faintRod(faint, st.Noise), told: true}
	case len(widths) < lookLeast:
		return rodSeen{}
	}
	if len(widths) < lookSure {
		return rodSeen{seen: true, told: true}
	}
	lower := widths[:len(widths)*lowerTenths/10]
	slices.Sort(lower)
	out := rodSeen{thick: lower[len(lower)/thinOne], usual: quantile(lower, 0.5), bare: below >= lookLeast, seen: true, told: true}
	if out.usual > thickest {
		if sharp := betweenSharp(shown, differs); 2*len(sharp) > len(lower) {
			out.thick, out.inShade = quantile(sharp[:len(sharp)*lowerTenths/10], 0.5), true
		}
	}
	return out
}

// tooBroad reports whether the strip is broader than the rod can be. Of a rod whose shadow comes towards the camera
// the sun is behind: its unlit side is seen, darker than the paper however it is painted, since the sky and the paper
// light but half of it each and a mirror takes some, and beside it as much of the lit one as the shadow is turned away,
// which may be as bright as the paper.
func (h *hearing) tooBroad(look rodSeen) bool {
	if !look.told || !look.bare || look.usual == 0 || h.st.asBroadAs(h.rod) {
		return false
	}
	towards := (h.st.Direction + math.Pi - h.img.direction()).Signed()
	unlit := (1 + towards.Cos()) / 2
	return towards.Abs() < besideUnlit && h.st.Width*unlit > mostOfRod*look.usual
}

// acrossRod is a look that shows something, so many times larger than it is.
type acrossRod struct {
	vs     []float64
	larger float64
}

// betweenSharp is how far apart, mm at the rod, the sharp edges are in those looks that show two.
func betweenSharp(looks []acrossRod, differs float64) (sharp []float64) {
	for _, l := range looks {
		if w := betweenEdges(l.vs, l.larger, differs); w > 0 {
			sharp = append(sharp, w/l.larger)
		}
	}
	return sharp
}

// betweenEdges is how far apart the two sharp edges by the axis are between which there is another light than to
// both sides, be that paper in the sun or in a shade: a shade's own rims are soft, or farther apart than a rod no
// thicker than thickest is seen broad, so many times larger than it is. 0 where there are none.
func betweenEdges(vs []float64, larger, differs float64) (width float64) {
	steep := make([]float64, len(vs))
	for k := 1; k+1 < len(vs); k++ {
		steep[k] = math.Abs(vs[k+1] - vs[k-1])
	}
	type edge struct{ at, steep, rise float64 }
	var edges []edge
	for k := 2; k+2 < len(vs); k++ {
		if a, b, c := steep[k-1], steep[k], steep[k+1]; b > differs && b >= a && b > c {
			edges = append(edges, edge{lookBeside * (float64(k-lookPlaces) + vertex(a, b, c)), b, vs[k+1] - vs[k-1]})
		}
	}
	steepest := 0.0
	for i, lo := range edges {
		for _, hi := range edges[i+1:] {
			least := min(lo.steep, hi.steep)
			if lo.rise*hi.rise < 0 && least > steepest && hi.at-lo.at < thickest*larger && max(lo.at, -hi.at) < lookOff {
				steepest, width = least, hi.at-lo.at
			}
		}
	}
	return width
}

// lookAcross is what a look at the rod's image differs from the paper by, every lookBeside from
// lookAside to the left; NaN outside the picture, of which ok tells that there is little.
func (h *hearing) lookAcross(f frame, d float64) (vs []float64, ok bool) {
	for k := -lookPlaces; k <= lookPlaces; k++ {
		v := h.light(f.at(d, lookBeside*float64(k))) - 1
		if math.IsNaN(v) && 2*max(k, -k) < lookPlaces {
			return nil, false
		}
		vs = append(vs, v)
	}
	return vs, true
}

// rodAcross returns the edges of the run of differing places that lies nearest to the axis, mm,
// at half of what differs beside each.
func rodAcross(vs []float64, differs float64) (lo, hi float64, found bool) {
	least, most := math.Inf(1), math.Inf(-1)
	var odd []int
	for i, v := range vs {
		if !math.IsNaN(v) {
			least, most = min(least, v), max(most, v)
		}
		if math.Abs(v) > differs {
			odd = append(odd, i)
		}
	}
	nearest := lookOff
	for i := 0; i < len(odd); {
		j := i
		for j+1 < len(odd) && odd[j+1]-odd[j] < runHole {
			j++
		}
		from, to := lookBeside*float64(odd[i]-lookPlaces), lookBeside*float64(odd[j]-lookPlaces)
		// A dark that fills the view without a structure is a shadow, not a rod.
		flat := to-from > 2*lookAside-fillMost && most-least < differs
		if gap := max(from, -to, 0); gap < nearest && odd[j]-odd[i] >= runLeast && !flat {
			nearest, found = gap, true
			lo, hi = edgeAcross(vs, odd[i], 1), edgeAcross(vs, odd[j], -1)
		}
		i = j + 1
	}
	return lo, hi, found
}

// edgeAcross is where, from the outermost place of a run inwards, the light differs half as much
// as it does at most within lookEdge places, mm: what is farther out is blur.
func edgeAcross(vs []float64, from, way int) float64 {
	most := 0.0
	for k := 0; k <= lookEdge && from+way*k >= 0 && from+way*k < len(vs); k++ {
		most = max(most, math.Abs(vs[from+way*k]))
	}
	at, last := from, math.Abs(vs[from])
	for last < most/2 {
		v := math.Abs(vs[at+way])
		if v >= most/2 {
			return lookBeside * (float64(at-lookPlaces) + float64(way)*(most/2-last)/(v-last))
		}
		at, last = at+way, v
	}
	return lookBeside * (float64(at-lookPlaces) - float64(way)*0.5)
}

// faintRod reports whether looks that show nothing each show a rod together, as bright as the
// paper but for its edges: in their nearer and their farther half something differs at one
// place beside the axis.
func faintRod(looks [][]float64, noise float64) bool {
	half := len(looks) / 2
	if half < faintLooks {
		return false
	}
	near, far := meanLook(looks[:half]), meanLook(looks[half:])
	differs := max(faintLeast, differsNoise*noise/math.Sqrt(float64(half)))
	run := 0
	for k, v := range near {
		if w := far[k]; math.Abs(lookBeside*float64(k-lookPlaces)) < faintOff && v*w > 0 && min(math.Abs(v), math.Abs(w)) > differs {
			if run++; run >= runLeast {
				return true
			}
			continue
		}
		run = 0
	}
	return false
}

// meanLook averages looks, less what differs at both of their sides: dirt and shades are broader.
func meanLook(looks [][]float64) []float64 {
	mean := make([]float64, len(looks[0]))
	for _, vs := range looks {
		for k, v := range vs {
			mean[k] += v / float64(len(looks))
		}
	}
	out := make([]float64, len(mean))
	for k := range mean {
		out[k] = math.NaN()
		if a, b := k-faintBeside, k+faintBeside; a >= 0 && b < len(mean) {
			out[k] = mean[k] - (mean[a]+mean[b])/2
		}
	}
	return out
}
