package vision

import (
	"math"
	"slices"
	"sync"

	"gonum.org/v1/gonum/floats"
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

	sunDisc = 0.0093 // radians, 0.533 degrees, the sun's and the moon's
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
	firstShifts  = []float64{-2, -1, 1, 2}
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
// thing that lies than those of a shadow.
func (f *stripFit) discSays(axis fitLine, st *Strip) (says float64, ok bool) {
	sides := f.sideProfiles(axis)
	if sides == nil {
		return 0, false
	}
	end := f.endProfile(axis, st)
	var d discFit
	d.step = f.step
	if f.ghost.sure() {
		d.seekGhost(sides)
	}
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
	for _, g := range castGrowths {
		if g > hazeGrowth && st.Growth[1]+growthSure*st.GrowthSigma < hazeGrowth*leastGrowth/sq(f.skyCos()) {
			break
		}
		if try(g) {
			return says, true
		}
	}
	if says < 0 {
		return says, true
	}
	for _, d.haze = range shades { // what local tones make about any strip looks the same
		least, _ := d.least(sides, end, lyingGrowths[:1])
		lying[0], lying[1] = min(lying[0], least[0]), min(lying[1], least[1])
	}
	for _, d.haze = range slices.Concat(shades, aureoles) {
		if try(castGrowths[0]); says < 0 {
			return 0, true // broad half light is not sure to be haze's
		}
	}
	return says, true
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
				v = linearToSRGB(quantile(c, 0.5) * p.paper)
			}
			p.v = append(p.v, v)
		}
		list = append(list, p)
	}
	return list
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
			v = linearToSRGB(sum / n * p.paper)
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

// discFit is the room for a fit.
type discFit struct {
	step      float64
	edge, own []float64 // the strip as the camera blurs it, and blurred once more
	second    frameTwo
	haze      aureole
	beyond    float64   // mm of light's way from what casts the strip to the foot; below 0 it grows shorter outward
	most      float64   // px of the camera's blur, where that is known; else 0
	seen, by  []float64 // the profile, and weights of a blur
	flat      [4][]float64
	room      []float64
}

// aureole is the light about the disc that haze scatters: its part of all, and its breadth, radians; or, with one
// sigma over the strip's breadth, what takes the sky's light beside a thing. No law alone blurs edges as both do.
type aureole struct{ part, breadth, thick float64 }

// frameTwo is a telephone's second frame: what takes more than part of the strip's depth of the light is
// the mean of two places shift px apart across the strip, and the edges lie farther out, px, than where
// they were found without it.
type frameTwo struct{ shift, part, left, right float64 }

// frameSteps are by how much each of that is changed in a search.
var frameSteps = [...]frameTwo{{shift: 0.25}, {part: 0.1}, {left: 0.25}, {right: 0.25}}

func (a frameTwo) plus(b frameTwo, by float64) frameTwo {
	return frameTwo{a.shift + by*b.shift, max(0, min(1, a.part+by*b.part)), a.left + by*b.left, a.right + by*b.right}
}

// seekGhost finds how the second frame is displaced by what leaves least of the nearest and the farthest
// part of the strip, halfway between a stick's and a shadow's.
func (d *discFit) seekGhost(sides []*profile) {
	few := []*profile{sides[0], sides[len(sides)-1]}
	blur, reach := cameraBlurs[1], sharpenReach[1]
	misfit := func(f frameTwo) float64 {
		d.second = f
		return d.sums(few, nil, blur, reach, castGrowths[0]/2, anything)[0]
	}
	least, best := math.Inf(1), frameTwo{}
	for _, shift := range firstShifts {
		f := frameTwo{shift: shift, part: 0.5}
		v := misfit(f)
		for better := true; better; {
			better = false
			for _, step := range frameSteps {
				for _, by := range [2]float64{1, -1} {
					for next := f.plus(step, by); misfit(next) < v && math.Abs(next.shift) < shiftMost; next = f.plus(step, by) {
						f, v, better = next, misfit(next), true
					}
				}
			}
		}
		if v < least {
			least, best = v, f
		}
	}
	d.second = best
}

// merge has a profile's light, every step mm, be that of two frames.
func (d *discFit) merge(light []float64, p *profile) {
	by := d.second.shift / (p.px * d.step)
	if by == 0 {
		return
	}
	d.room = append(d.room[:0], light...)
	below := p.paper * (1 - p.depth*d.second.part)
	for j, v := range d.room {
		at := max(0, min(float64(len(light)-2), float64(j)-by))
		i := int(at)
		if v < below {
			light[j] = (v + d.room[i] + (at-float64(i))*(d.room[i+1]-d.room[i])) / 2
		}
	}
}

// least returns the least squares of the sides alone, and with the end, over some growths, and
// how many samples took part.
func (d *discFit) least(sides []*profile, end *profile, growths []float64) (sum, n [2]float64) {
	sum = anything
	for _, p := range sides {
		n[0] += p.seen()
	}
	n[1] = n[0]
	if end != nil {
		n[1] += end.seen()
	}
	for _, g := range growths {
		for _, reach := range sharpenReach {
			var at [2]float64
			least := anything
			try := func(blur float64) {
				if d.most > 0 && blur > max(d.most, cameraBlurs[0]) {
					return
				}
				for k, v := range d.sums(sides, end, blur, reach, g, least) {
					if v < least[k] {
						least[k], at[k] = v, blur
					}
				}
			}
			for _, blur := range cameraBlurs {
				try(blur)
			}
			for blur := cameraBlurs[len(cameraBlurs)-1]; at[0] == blur && blur < mostBlur; {
				blur *= blurStep // neither law may win for want of blur
				try(blur)
			}
			for step := math.Sqrt(blurStep); step > finestBlur; step = math.Sqrt(step) {
				best := at
				try(best[0] * step)
				try(best[0] / step)
				if best[1] != best[0] {
					try(best[1] * step)
					try(best[1] / step)
				}
			}
			for k, v := range least {
				sum[k] = min(sum[k], v)
			}
		}
	}
	return sum, n
}

// anything is no bound to what a fit may leave.
var anything = [2]float64{math.Inf(1), math.Inf(1)}

// sums are the squares of the sides alone and with the end, at the strength of sharpening that
// leaves least of each; of what leaves more than a bound no more than shows that, since each part
// only adds to it.
func (d *discFit) sums(sides []*profile, end *profile, blur, reach, growth float64, most [2]float64) [2]float64 {
	var room [len(sharpenings)]float64
	total, alone := room[:], 0.0
	for _, p := range sides {
		d.add(total, p, blur, reach, growth, 0)
		if alone = slices.Min(total); alone > max(most[0], most[1]) {
			return [2]float64{alone, alone}
		}
	}
	if end == nil || alone > most[1] {
		return [2]float64{alone, alone}
	}
	d.addEnd(total, end, blur, reach, growth)
	return [2]float64{alone, slices.Min(total)}
}

// addEnd adds what an end leaves where it fits best, sought downhill from where it was found.
func (d *discFit) addEnd(total []float64, p *profile, blur, reach, growth float64) {
	at := func(shift int) (one [len(sharpenings)]float64) {
		d.add(one[:], p, blur, reach, growth, endShift*float64(shift))
		return one
	}
	best, place := at(0), 0
	for _, way := range [2]int{1, -1} {
		for from := place; place-from < endShifts && from-place < endShifts; place += way {
			next := at(place + way)
			if slices.Min(next[:]) >= slices.Min(best[:]) {
				break
			}
			best = next
		}
		if place != 0 {
			break
		}
	}
	for k, v := range best {
		total[k] += v
	}
}

// add adds the squares that a profile leaves, for each strength of sharpening: of the strip as
// camera and disc blur it, with what sharpening adds, and freely a light, its slope and, as of a
// round stick, more light in the middle or to a side; of an end a light and, under a head, its depth,
// since that takes more of the sky.
func (d *discFit) add(total []float64, p *profile, blur, reach, growth, shift float64) {
	half := len(p.v) / 2
	pad := int(3*reach/(p.px*d.step)) + 1
	size := 2*(half+pad) + 1
	d.edge = sized(d.edge, size)
	for i := range d.flat {
		d.flat[i] = sized(d.flat[i], len(p.v))
	}
	left, right := p.left-d.second.left/p.px, p.right+d.second.right/p.px
	far := math.Abs(p.far + d.beyond)
	law := lawOf(blur/p.px, sunDisc/4*far, growth)
	var wide discLaw
	if d.haze.part > 0 {
		wide = lawOf(blur/p.px, d.haze.breadth/4*far+d.haze.thick*(right-left), 1)
	}
	for j := range d.edge {
		x := float64(j-half-pad)*d.step - shift
		inside := law.cdf(right - x)
		if !p.end {
			inside *= law.cdf(x - left)
		}
		if d.haze.part > 0 {
			broad := wide.cdf(right - x)
			if !p.end {
				broad = max(0, broad+wide.cdf(x-left)-1)
			}
			inside += d.haze.part * (broad - inside)
		}
		d.edge[j] = p.paper * (1 - p.depth*inside)
		if k := j - pad; k >= 0 && k < len(p.v) {
			u := x / p.right
			d.flat[0][k], d.flat[1][k], d.flat[2][k], d.flat[3][k] = 1, x, inside*u, inside*(1-u*u)
			if p.end {
				d.flat[1][k] = encodedFast(d.edge[j]) - encodedFast(p.paper*(1-(p.depth-endDepth)*inside))
			}
		}
	}
	d.merge(d.edge, p)
	for j, v := range d.edge {
		d.edge[j] = encodedFast(v)
	}
	d.own = sized(d.own, len(p.v))
	d.by = soften(d.edge, d.own, d.by, reach/(p.px*d.step))
	e, s, v := d.edge[pad:pad+len(p.v)], d.own, p.v
	for k := range s {
		s[k] = e[k] - s[k] // what an unsharp mask adds
	}
	d.seen = sized(d.seen, len(v))
	w, dot := d.seen, floats.Dot
	for k, x := range v {
		if w[k] = x; math.IsNaN(x) { // takes no part
			w[k], e[k], s[k] = 0, 0, 0
			for _, a := range d.flat {
				a[k] = 0
			}
		}
	}
	free := d.flat[:]
	if p.end {
		free = d.flat[:p.levels]
	}
	for i, a := range free {
		for _, b := range free[:i] {
			floats.AddScaled(a, -dot(a, b), b)
		}
		floats.Scale(1/math.Sqrt(dot(a, a)), a)
		for _, b := range [3][]float64{e, s, w} {
			floats.AddScaled(b, -dot(a, b), a)
		}
	}
	ee, es, ss, ev, sv, vv := dot(e, e), dot(e, s), dot(s, s), dot(e, w), dot(s, w), dot(w, w)
	for k, a := range sharpenings {
		total[k] += vv - sq(ev+a*sv)/(ee+2*a*es+a*a*ss)
	}
}

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
