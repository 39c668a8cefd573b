package vision

import (
	"image"
	"math"

	"shadowread/internal/calib"
	"shadowread/internal/rank"
)

// A shadow on paper is lit by the sky alone, the paper beside it by the sky and the sun. The air
// scatters blue best, so that the sky is never redder than the sun, nor a shadow than its
// paper, and the deeper a shadow is, the clearer the sky and the bluer it is. The paper's own colour and the
// camera's balance of white are the same in both and cancel. Nor is it greener, beside the blue. A
// stick has a colour of its own: wood, rust, skin and most that is painted is redder than paper,
// and leaves are greener; what is gray has the paper's.
//
// Not so where something else than the sky lights the shadow: a red tent, a rock wall in the sun.
// Then a shadow is refused. By moonlight, with lamps on the sky, colours are not asked.
const (
	// The hue is taken over hueCore of the breadth, and of the paper over huePaper mm to both sides from
	// hueClear sigmas of the blur and hueClearPx beyond the edges on: colours are stored half as
	// fine as light. A row has huePlaces to each.
	hueCore, huePaper    = 0.5, 2.0
	hueClear, hueClearPx = 2.5, 3.0
	huePlaces            = 7
	// leastHues rows tell a hue; over alikeHues rows noise is the same. Unevenness of the lens's
	// and the sensor's colours leaves hueFloor, and of the paper's own hue the part that lies within
	// huePx of an edge may have run in.
	leastHues, alikeHues = 8, 6
	hueFloor, huePx      = 0.01, 2.0
	// A picture in which hues differ by less than leastSpread between the middle eight tenths of hueGrid x hueGrid
	// places has no colours, whatever its file says.
	leastSpread, hueGrid = 0.04, 24
	// Levels below darkHue and above brightHue tell no hue: noise, a sensor that clips.
	darkHue, brightHue = 12, 250
	// What is redder, or greener, than paper by redder, hueSure sigmas off, casts no shadow.
	redder, hueSure = 0.08, 3
	// What is bluer than bluest casts none either: where air alone scatters, red over blue is 1.1 less in its
	// light than in the sun's (below), and 0.4 less beside a low sun, of which it has taken the blue.
	bluest = 1.6
	// askHue is how much likelier a shadow may be by the disc and still be asked for its hue.
	askHue = 6.0

	// The optical depth of the air itself in the middle of green, red and blue (Bucholtz, Applied
	// Optics 34(15), 1995: 0.00877 times the wavelength in micrometres to the power -4.05),
	// half of which comes down; haze goes as the wavelength to the power -1 (Angstrom's exponent of
	// middling air is 1.3, of dust 0.2, of cloud 0; common practice).
	airGreen, airRed, airBlue = 0.106, 0.069, 0.204
	hazeRed, hazeBlue         = 0.90, 1.17
	// Cameras make of the hue hueKept of it, with a sigma of its logarithm: their curves, their
	// saturation, and air that is hazier or clearer.
	hueKept, hueSpread, hueStep = 0.7, 0.6, 0.25
	// grayPart of all sticks are gray, within graySpread; the others' hues lie anywhere over hueRange. oddHue
	// is the part of shadows that have any hue for another reason.
	grayPart, graySpread, hueRange = 0.6, 0.06, 3.0
	oddHue                         = 0.05
)

// hueSays is the logarithm of how much likelier the strip's colour is that of a thing than of a
// shadow, 0 where the picture does not tell; own says that it is a thing's for sure.
func (f *stripFit) hueSays(axis fitLine, depth float64) (says float64, own bool) {
	hues, ok := f.hues(axis)
	if !ok {
		return 0, false
	}
	for _, h := range hues {
		if h.of-hueSure*h.sigma > redder {
			return 0, true
		}
	}
	hue, sigma := hues[redLight].of, hues[redLight].sigma
	if hue+hueSure*sigma < -bluest {
		return 0, true
	}
	high := math.Sqrt(1 - sq(f.skyCos()))
	if high == 0 { // not known: overhead, where the air is least
		high = 1
	}
	whole := f.skyHue(depth, high)
	odd := oddHue / hueRange
	thing := grayPart*bell(hue, math.Hypot(graySpread, sigma)) + (1-grayPart)/hueRange
	cast, weights := 0.0, 0.0
	for z := -3.0; z <= 3; z += hueStep {
		w, at := math.Exp(-z*z/2), whole*hueKept*math.Exp(hueSpread*z)
		weights += w
		cast += w * bell(hue-at, math.Hypot(sigma, at*hueSpread*hueStep))
	}
	return math.Log((thing + odd) / ((1-oddHue)*cast/weights + odd)), false
}

// skyHue is the hue of a shadow of some depth in clear or hazy air, at an altitude's sine.
func (f *stripFit) skyHue(depth, high float64) float64 {
	// Skylight over sunlight: what air alone does not make up is haze.
	green := (1 - depth) / depth
	air := min(green, airGreen/2/high)
	part := func(own, haze float64) float64 {
		x := air*own/airGreen + (green-air)*haze
		return x / (1 + x)
	}
	return math.Log(part(airRed, hazeRed) / part(airBlue, hazeBlue))
}

// hue is the logarithm of red, or green, over blue light in a strip's core, over that of the paper
// to both sides of it, with a sigma.
type hue struct{ of, sigma float64 }

// hues are those of the strip's red and green light; ok is false where the file has no colours, or
// too little is seen.
func (f *stripFit) hues(axis fitLine) (out [blueLight]hue, ok bool) {
	if f.g.Colours == nil {
		return out, false
	}
	c := colours{g: f.g}
	if c.img, c.factor = f.g.Colours(); c.img == nil || c.alike() {
		return out, false
	}
	var cores, papers [blueLight][]float64
	for i := range f.rows {
		r := &f.rows[i]
		if !r.ok {
			continue
		}
		mid, half := axis.at(r.s), (f.right.at(r.s)-f.left.at(r.s))/2
		beyond := half + hueClear*f.sigma(r.s) + hueClearPx/f.pxAcross(r.s)
		core := f.huesOver(&c, r.s, mid-hueCore*half, mid+hueCore*half)
		a := f.huesOver(&c, r.s, mid-beyond-huePaper, mid-beyond)
		b := f.huesOver(&c, r.s, mid+beyond, mid+beyond+huePaper)
		for k := range out {
			paper := (a[k] + b[k]) / 2
			switch { // the rod's image may hide one side
			case math.IsNaN(a[k]):
				paper = b[k]
			case math.IsNaN(b[k]):
				paper = a[k]
			}
			if !math.IsNaN(core[k] - paper) {
				cores[k], papers[k] = append(cores[k], core[k]-paper), append(papers[k], paper)
			}
		}
	}
	width := (f.right.at(axis.mid) - f.left.at(axis.mid)) * f.pxAcross(axis.mid)
	for k, hues := range cores {
		if len(hues) < leastHues {
			return out, false
		}
		h := quantile(hues, 0.5)
		sigma := rank.MadSigma * quantile(apart(hues, h), 0.5) * math.Sqrt(alikeHues/float64(len(hues)))
		run := quantile(papers[k], 0.5) * min(1, huePx/width)
		out[k] = hue{h, math.Hypot(math.Hypot(sigma, hueFloor), run)}
	}
	return out, true
}

// huesOver are the logarithms of red and green over blue light on a row from one place across to
// another; NaN where most of it is not seen.
func (f *stripFit) huesOver(c *colours, s, from, to float64) (logs [blueLight]float64) {
	var sum [blueLight + 1]float64
	n, step := 0, (to-from)/huePlaces
	for x := from + step/2; x < to; x += step {
		p := f.frame.at(s, x)
		if f.hides(p) {
			continue
		}
		if light, seen := c.at(f.plate.Project(p)); seen {
			n++
			for k, v := range light {
				sum[k] += v
			}
		}
	}
	for k := range logs {
		logs[k] = math.NaN()
		if 2*n > huePlaces {
			logs[k] = math.Log(sum[k] / sum[blueLight])
		}
	}
	return logs
}

// Lights of a picture in colour.
const (
	redLight = iota
	greenLight
	blueLight
)

// colours are those of a picture.
type colours struct {
	g      *Gray
	img    image.Image
	factor int
}

// at is the light at a place of the gray picture; seen is false beyond the picture and where a
// level is too low or too high to tell.
func (c *colours) at(p calib.Pixel) (light [blueLight + 1]float64, seen bool) {
	if c.g.Mirrored {
		p.U = float64(c.g.W-1) - p.U
	}
	from, to := float64(c.g.Factor), float64(c.factor)
	scaled := func(x float64) int { return int(math.Round((x*from + (from-to)/2) / to)) }
	b := c.img.Bounds()
	at := image.Pt(scaled(p.U), scaled(p.V)).Add(b.Min)
	if !at.In(b) {
		return light, false
	}
	r, v, l, _ := c.img.At(at.X, at.Y).RGBA()
	for i, level := range [...]uint32{r >> 8, v >> 8, l >> 8} {
		if level < darkHue || level > brightHue {
			return light, false
		}
		light[i] = float64(linear[level])
	}
	return light, true
}

// alike reports whether the whole picture has one hue.
func (c *colours) alike() bool {
	var hues []float64
	for v := range hueGrid {
		for u := range hueGrid {
			p := calib.Pixel{U: (float64(u) + 0.5) / hueGrid * float64(c.g.W), V: (float64(v) + 0.5) / hueGrid * float64(c.g.H)}
			if light, seen := c.at(p); seen {
				hues = append(hues, math.Log(light[redLight]/light[blueLight]))
			}
		}
	}
	return len(hues) < hueGrid || quantile(hues, 0.9)-quantile(hues, 0.1) < leastSpread
}
