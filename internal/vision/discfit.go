package vision

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
)

// discFit is the room for a fit.
type discFit struct {
	step      float64
	edge, own []float64 // the strip as the camera blurs it, and blurred once more
	second    frameTwo
	clear     frameTwo // in clear air
	haze      aureole
	beyond    float64   // mm of light's way from what casts the strip to the foot; below 0 it grows shorter outward
	most      float64   // px of the camera's blur, where that is known; else 0
	seen, by  []float64 // the profile, and weights of a blur
	flat      [4][]float64
	room      []float64
}

// fitOf is the room to fit a strip's sides in, with the second frame that the marks show.
func (f *stripFit) fitOf(sides []*profile) discFit {
	d := discFit{step: f.step}
	if f.ghost.sure() {
		d.seek(sides, firstFrames, frameSteps)
	} else {
		d.seek(sides, []frameTwo{{}}, outSteps)
	}
	d.clear = d.second
	return d
}

// aureole is the light about the disc that haze scatters: its part of all, and its breadth, radians; or, with one
// sigma over the strip's breadth, what takes the sky's light beside a thing. No law alone blurs edges as both do.
type aureole struct{ part, breadth, thick float64 }

// frameTwo is a telephone's second frame: what takes more than part of the strip's depth of the light is
// the mean of two places shift px apart across the strip, and the edges lie farther out, px, than where
// they were found without it.
type frameTwo struct{ shift, part, left, right float64 }

// firstFrames are where a search for that begins, frameSteps by how much each is changed in it, and outSteps by
// how much where there is one frame.
var (
	firstFrames = []frameTwo{{shift: -2, part: 0.5}, {shift: -1, part: 0.5}, {shift: 1, part: 0.5}, {shift: 2, part: 0.5}}
	frameSteps  = []frameTwo{{shift: 0.25}, {part: 0.1}, {left: 0.25}, {right: 0.25}, outSteps[0]}
	outSteps    = []frameTwo{{left: 0.1, right: 0.1}}
)

func (a frameTwo) plus(b frameTwo, by float64) frameTwo {
	return frameTwo{a.shift + by*b.shift, max(0, min(1, a.part+by*b.part)), a.left + by*b.left, a.right + by*b.right}
}

// through has the light come through haze, by which half of it shows elsewhere, too.
func (d *discFit) through(haze aureole, sides []*profile) {
	d.haze, d.second = haze, d.clear
	if haze.part > 0 {
		d.seek(sides, []frameTwo{d.clear}, outSteps)
	}
}

// within reports whether the second frame and the edges are no farther off than is sought.
func (a frameTwo) within() bool {
	return math.Abs(a.shift) < shiftMost && math.Abs(a.left+a.right) < 2*outMost+math.Abs(a.shift)
}

// seek finds how far out the edges lie of where they were found, and how a second frame is displaced, by what
// leaves least of the nearest and the farthest part of the strip, halfway between a stick's and a shadow's. An edge
// is found where half of the light shows, and a telephone sharpens what it has encoded, by which that place moves.
func (d *discFit) seek(sides []*profile, starts, steps []frameTwo) {
	few := []*profile{sides[0], sides[len(sides)-1]}
	least, best := math.Inf(1), frameTwo{}
	for _, f := range starts {
		for _, blur := range cameraBlurs {
			v := d.misfit(few, f, blur)
			for better := true; better; {
				f, v, better = d.downhill(few, f, v, blur, steps)
			}
			if v < least {
				least, best = v, f
			}
		}
	}
	d.second = best
}

// downhill takes each of some steps as often as it leaves less, and tells whether any did.
func (d *discFit) downhill(few []*profile, f frameTwo, v, blur float64, steps []frameTwo) (at frameTwo, least float64, better bool) {
	for _, step := range steps {
		for _, by := range [2]float64{1, -1} {
			for next := f.plus(step, by); next.within(); next = f.plus(step, by) {
				w := d.misfit(few, next, blur)
				if w >= v {
					break
				}
				f, v, better = next, w, true
			}
		}
	}
	return f, v, better
}

// misfit is what a second frame and the edges' places leave, halfway between a stick and a shadow.
func (d *discFit) misfit(few []*profile, f frameTwo, blur float64) float64 {
	d.second = f
	return d.sums(few, nil, blur, sharpenReach[1], castGrowths[0]/2, anything)[0]
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
