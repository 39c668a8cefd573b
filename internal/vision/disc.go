package vision

import (
	"math"
	"slices"
)

// How the light's disc is told from the edges of a strip.
const (
	// surelyLies, maybeLies and maybeCast are the logarithms of how much likelier a stick, or a
	// shadow, must be: a picture's misfits are not all chance.
	surelyLies, maybeLies, maybeCast = 2.5, 1.0, 1.0
	// The camera's blur is sought in steps of blurStep, and then of its roots down to finestBlur.
	blurStep, finestBlur = 1.3, 1.05
	mostBlur             = 12.0 // px, to which it is sought where the greatest of them fits best
	// alikeSamples is over how many samples, half a pixel each, a misfit is the same. The end is
	// one place, whose shape is not all known: what it says against the edges counts endCounts.
	alikeSamples, endCounts = 4, 1.0 / 3
	// fitFloor is how far off any fit is, of 1 for white: levels are whole, of which a median over rows
	// keeps a third, and a tone curve is neither law's (on sound strips the least is 0.5 of a level).
	fitFloor = 0.5 / 255

	clips   = 253.0 / 255 // of white, from which on a median of what is clipped tells no level
	sunDisc = 0.0093      // radians, 0.533 degrees, the sun's and the moon's
	// hazeGrowth is the growth over the sun's above which more is tried only where the strip's own reaches it.
	hazeGrowth = 4

	// The strip is looked at in discBins parts along it, to discBeyond mm and discBeyondPx beyond
	// its edges, and its end over endReach mm to each side, endCore of the breadth about the
	// axis, short of the ring.
	discBins                 = 8
	discBeyond, discBeyondPx = 0.8, 6.0
	endReach, endCore        = 4.0, 0.16
	endShift, endShifts      = 0.12, 8
	endDepth                 = 0.05 // by which it is less deep, to learn how it looks then
	leastOfEnd               = 20   // samples of an end that tell anything

	shiftMost = 3.5 // px by which a second frame is displaced
	outMost   = 0.7 // px by which the edges are: a third by sharpening of 1.2 over two pixels, the most there is
)

// What is tried: growths of the blur over the sun's, of a stick and of a shadow, which haze
// makes greater; the camera's own blur, px; how far sharpening reaches, px, and how strong it is.
var (
	lyingGrowths, castGrowths = []float64{0, 0.1}, []float64{1, 0.7, 1.5, 2.5, 4, 7, 12}
	aureoles                  = []aureole{
		{0.3, 0.1, 0}, {0.15, 0.1, 0}, {0.3, 0.05, 0}, {0.15, 0.05, 0}, {0.5, 0.1, 0},
		{0.3, 0.2, 0}, {0.5, 0.2, 0}, {0.3, 0.4, 0}, {0.5, 0.4, 0},
	}
	// What lies keeps some of the sky's light from the paper beside it: as far as it is thick, all along.
	shades       = []aureole{{0.15, 0, 0.5}, {0.3, 0, 0.5}, {0.15, 0, 1}, {0.3, 0, 1}, {0.3, 0, 2}}
	cameraBlurs  = ratios(0.36, blurStep, 7)
	sharpenReach = []float64{1, 1.8, 3.2}
	sharpenings  = [11]float64{0, 0.2, 0.4, 0.6, 0.8, 1, 1.25, 1.5, 2, 2.5, 3}
)

func ratios(from, ratio float64, n int) (out []float64) {
	for i := range n {
		out = append(out, from*math.Pow(ratio, float64(i)))
	}
	return out
}

// profile is the encoded light across a part of the strip or along its end, every step mm.
type profile struct {
	v           []float64 // about the middle; NaN where unseen
	left, right float64   // the edges; of an end right alone counts
	far         float64   // mm of light's way that blur the edges
	px          float64   // scale, px/mm
	depth       float64
	paper       float64
	end         bool
	levels      int // of an end: light, and under a head its depth, too
}

// seen is how many of its samples are.
func (p *profile) seen() (n float64) {
	for _, x := range p.v {
		if !math.IsNaN(x) {
			n++
		}
	}
	return n
}

// discSays is the logarithm of how much likelier the strip's edges and its end are those of a
// thing that lies than those of a shadow; 0 where too little is seen of them.
func (f *stripFit) discSays(axis fitLine, st *Strip) (says float64) {
	sides := f.sideProfiles(axis)
	if sides == nil {
		return 0
	}
	end := f.endProfile(axis, st)
	d := f.fitOf(sides)
	lying, n := d.least(sides, end, lyingGrowths)
	cast := anything
	try := func(growth float64) (surely bool) {
		least, _ := d.least(sides, end, []float64{growth})
		cast[0], cast[1] = min(cast[0], least[0]), min(cast[1], least[1])
		alone, both := likelier(cast[0], lying[0], n[0]), likelier(cast[1], lying[1], n[1])
		if says = alone + endCounts*(both-alone); alone > 0 {
			says = max(says, both) // edges and end say the same
		}
		return says < -surelyLies // more would speak for a shadow, too
	}
	shaded := func() { // what local tones make about any strip looks the same
		for _, haze := range shades {
			d.through(haze, sides)
			least, _ := d.least(sides, end, lyingGrowths[:1])
			lying[0], lying[1] = min(lying[0], least[0]), min(lying[1], least[1])
		}
		d.through(aureole{}, sides)
	}
	faint := st.Growth[1] < tooSharp*leastGrowth
	if faint { // more likely than not blurred by no disc: what lies has its own shade from the first
		shaded()
	}
	for _, g := range castGrowths {
		if g > hazeGrowth && st.Growth[1]+growthSure*st.GrowthSigma < hazeGrowth*leastGrowth/sq(f.skyCos()) {
			break
		}
		if try(g) {
			return says
		}
	}
	if says < 0 {
		return says
	}
	if !faint {
		shaded()
	}
	for _, haze := range slices.Concat(shades, aureoles) {
		d.through(haze, sides)
		if try(castGrowths[0]); says < 0 {
			return 0 // broad half light is not sure to be haze's
		}
	}
	return says
}

// likelier is the logarithm of how much likelier the smaller of two sums of n squares is. Either law
// misses the light by fitFloor besides, with which both are as likely.
func likelier(cast, lying, n float64) float64 {
	return n / 2 / alikeSamples * math.Log((cast+n*sq(fitFloor))/(lying+n*sq(fitFloor)))
}

// sideProfiles are medians over parts of the strip; nil where it has too few rows.
func (f *stripFit) sideProfiles(axis fitLine) (list []*profile) {
	rows := f.goodRows()
	if len(rows) < leastRows*discBins/2 {
		return nil
	}
	cos := f.skyCos()
	for b := range discBins {
		part := rows[b*len(rows)/discBins : (b+1)*len(rows)/discBins]
		s := (part[0].s + part[len(part)-1].s) / 2
		p := &profile{left: f.left.at(s) - axis.at(s), right: f.right.at(s) - axis.at(s), far: s / cos, px: f.pxAcross(s), depth: f.depthAt(s)}
		p.paper = f.lit(f.frame.at(s, 0))
		half := int((p.right + max(discBeyond, discBeyondPx/p.px)) / f.step)
		columns, room := make([][]float64, 2*half+1), make([]float64, (2*half+1)*len(part))
		for j := range columns {
			columns[j] = room[j*len(part) : j*len(part) : (j+1)*len(part)]
		}
		for _, r := range part {
			for k, v := range r.light {
				j := int(math.Round((f.first+float64(k)*f.step-axis.at(r.s))/f.step)) + half
				if j >= 0 && j < len(columns) && !math.IsNaN(v) {
					columns[j] = append(columns[j], v)
				}
			}
		}
		for _, c := range columns {
			v := math.NaN()
			if 2*len(c) > len(part) {
				v = levelOf(quantile(c, 0.5) * p.paper)
			}
			p.v = append(p.v, v)
		}
		list = append(list, p)
	}
	return list
}

// levelOf is the encoded light; NaN where the picture may not have shown more, as of what sharpening brightens.
func levelOf(light float64) float64 {
	if v := linearToSRGB(light); v < clips {
		return v
	}
	return math.NaN()
}

// endProfile is the light along the strip's end; nil where that is not seen on plain paper.
func (f *stripFit) endProfile(axis fitLine, st *Strip) *profile {
	end := st.Length + st.Width/2
	if f.ghost.sure() || st.Length <= 0 || end > f.sheet.Dial.ClearZone[1]-shortOfRing {
		return nil
	}
	a, b := f.plate.Project(f.frame.at(end-1, axis.follow(end))), f.plate.Project(f.frame.at(end+1, axis.follow(end)))
	// The end's light comes slantingly: its blur is longer by 1/sin(altitude).
	cos := f.skyCos()
	p := &profile{far: end / cos / max(math.Sqrt(1-cos*cos), 0.05), px: math.Hypot(b.U-a.U, b.V-a.V) / 2, depth: f.depthAt(end), end: true, levels: 1}
	if st.Head > 0 {
		p.levels = 2
	}
	if cos == 1 {
		p.far = end
	}
	p.paper = f.lit(f.frame.at(end, 0))
	half, seen := int(endReach/f.step), 0
	for j := -half; j <= half; j++ {
		s, sum, n := end+float64(j)*f.step, 0.0, 0.0
		for k := -1.0; k <= 1; k += 0.5 {
			at := f.frame.at(s, axis.follow(s)+k*endCore*st.Width)
			if v := f.light(at); !math.IsNaN(v) && !f.hides(at) && s < f.sheet.Dial.ClearZone[1] {
				sum, n = sum+v, n+1
			}
		}
		v := math.NaN()
		if n == 5 {
			v = levelOf(sum / n * p.paper)
		}
		if !math.IsNaN(v) {
			seen++
		}
		p.v = append(p.v, v)
	}
	if seen < leastOfEnd {
		return nil
	}
	return p
}

// skyCos is the cosine of the altitude by the clock; 1 where that is not known.
func (f *stripFit) skyCos() float64 {
	if r := f.rod.ShadowRatio; r > 0 {
		return r / math.Hypot(1, r)
	}
	return 1
}
