package vision

import (
	"math"
	"math/rand/v2"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/calib"
	"shadowread/internal/sheet"
)

// layer is what part of the paper's light is seen at a place: 1 where it changes nothing.
type layer func(p sheet.Point) float64

// onEachOther is what shadows of one light are where they fall on each other.
func onEachOther(layers ...layer) layer {
	return func(p sheet.Point) float64 {
		light := 1.0
		for _, l := range layers {
			light = min(light, l(p))
		}
		return light
	}
}

const (
	deg         = angle.Degree
	pictureSide = 640 // px
	shadowDir   = 70 * deg
	rodDir      = 160 * deg // of the rod's image, where a camera at 340 degrees puts it
)

// slantPlate is a camera 400 mm from the foot at tilt off the vertical, above the place
// in direction dir, that shows one millimetre near the foot as scale pixels.
func slantPlate(tilt, dir angle.Angle, scale float64) *calib.Plate {
	const distance = 400.0
	c := [3]float64{distance * tilt.Sin() * dir.Sin(), distance * tilt.Sin() * dir.Cos(), distance * tilt.Cos()}
	right := [3]float64{-dir.Cos(), dir.Sin(), 0}
	ahead := [3]float64{-c[0] / distance, -c[1] / distance, -c[2] / distance}
	down := [3]float64{
		ahead[1]*right[2] - ahead[2]*right[1], ahead[2]*right[0] - ahead[0]*right[2], ahead[0]*right[1] - ahead[1]*right[0],
	}
	p := &calib.Plate{
		Lens: calib.Lens{F: scale * distance, Cx: (pictureSide - 1) / 2.0, Cy: (pictureSide - 1) / 2.0},
		Pose: calib.Pose{R: [3][3]float64{right, down, ahead}},
	}
	for i, r := range p.Pose.R {
		p.Pose.T[i] = -(r[0]*c[0] + r[1]*c[1] + r[2]*c[2])
	}
	return p
}

// canvas is a picture to be drawn: white paper all over, seen from rodDir's back 35 degrees
// off the vertical, with what the layers make of it.
type canvas struct {
	tilt, view angle.Angle
	noise      float64 // levels
	scale      float64 // px/mm; 0 means 4
	sharpened  float64 // by this much of what a blur of two pixels takes from the levels
	rod        Rod
	layers     []layer
}

func pictureOf(layers ...layer) canvas {
	return canvas{tilt: 35 * deg, view: rodDir + 180*deg, noise: 0.7, layers: layers}
}

func (c canvas) with(layers ...layer) canvas {
	c.layers = append(append([]layer{}, c.layers...), layers...)
	return c
}

func (c canvas) plate() *calib.Plate {
	if c.scale == 0 {
		c.scale = 4
	}
	return slantPlate(c.tilt, c.view, c.scale)
}

// search draws the picture and looks at its dial.
func (c canvas) search(t *testing.T) *search {
	t.Helper()
	const side = pictureSide
	p := c.plate()
	r := rand.New(rand.NewPCG(3, 4))
	g := &Gray{W: side, H: side, Factor: 1, Pix: make([]uint8, side*side)}
	levels := make([]float64, side*side)
	for v := range side {
		for u := range side {
			q := onPaper(p, float64(u), float64(v))
			light := 0.7
			for _, l := range c.layers {
				light *= l(q)
			}
			levels[v*side+u] = 255*linearToSRGB(light) + c.noise*r.NormFloat64()
		}
	}
	if c.sharpened > 0 {
		for i, soft := range softened(levels, side, 2) {
			levels[i] += c.sharpened * (levels[i] - soft)
		}
	}
	for i, level := range levels {
		g.Pix[i] = uint8(max(0, min(255, math.Round(level))))
	}
	s := newSearch(g, p, ghostOfMarks(g, p), sheet.Standard, c.rod)
	if !s.lookAtDial(s.img.hides) {
		t.Fatal("nothing of the dial is seen")
	}
	return s
}

// softened is a square picture blurred by a normal law, one sigma in px.
func softened(levels []float64, side int, sigma float64) []float64 {
	reach := int(math.Ceil(3.5 * sigma))
	from := levels
	for _, step := range [2]int{1, side} {
		to := make([]float64, len(levels))
		for i := range to {
			at, sum := i/step%side, 0.0
			for k := max(-reach, -at); k <= min(reach, side-1-at); k++ {
				w := math.Exp(-sq(float64(k)/sigma) / 2)
				to[i], sum = to[i]+w*from[i+k*step], sum+w
			}
			to[i] /= sum
		}
		from = to
	}
	return from
}

// ghostOfMarks measures the edges of all marks for it.
func ghostOfMarks(g *Gray, p *calib.Plate) ghost {
	var edges []edgeProfile
	for _, m := range sheet.Standard.Marks {
		edges = edgesOf(edges, g, m, p.ProjectDrawing, perEdge)
	}
	return ghostOf(g, edges, p.ProjectDrawing)
}

// onPaper is where the ray of a pixel meets flat paper, for a lens without distortion.
func onPaper(p *calib.Plate, u, v float64) sheet.Point {
	a, b, r, c := (u-p.Lens.Cx)/p.Lens.F, (v-p.Lens.Cy)/p.Lens.F, &p.Pose.R, p.Pose.Centre()
	k := -c[2] / (r[0][2]*a + r[1][2]*b + r[2][2])
	return sheet.Point{X: c[0] + k*(r[0][0]*a+r[1][0]*b+r[2][0]), Y: c[1] + k*(r[0][1]*a+r[1][1]*b+r[2][1])}
}

// measured draws the picture and measures the line that runs in a direction.
func (c canvas) measured(t *testing.T, dir angle.Angle) (*search, *Strip, error) {
	t.Helper()
	return c.search(t).withRays(t, dir)
}

// withRays measures the line that runs in a direction.
func (s *search) withRays(t *testing.T, dir angle.Angle) (*search, *Strip, error) {
	t.Helper()
	s.rays = s.dial.rays(s.rod.DiameterMM, offsetMost)
	for _, r := range s.rays {
		if (r.dir - dir).Signed().Abs() < 8*deg {
			st, err := s.measureStrip(r)
			return s, st, err
		}
	}
	t.Fatalf("no line in direction %v", dir)
	return nil, nil, nil
}

// must is measured of a line that passes for a strip.
func (c canvas) must(t *testing.T, dir angle.Angle) (*search, *Strip) {
	t.Helper()
	s, st, err := c.measured(t, dir)
	if err != nil {
		t.Fatal(err)
	}
	return s, st
}

// casting is a strip of shadow: blur is one sigma of its edges at the foot, mm, and opens what
// that grows by each mm, or shrinks by where it is negative.
type casting struct {
	dir           angle.Angle
	offset, width float64
	depth         float64
	from, to      float64
	blur, opens   float64
	taper, bow    float64 // mm of half width lost, and of the axis aside, at 50 mm
	wave, every   float64 // mm that the axis swings aside, and from one swing to the next
	sides         float64 // part of the depth by which the left is lighter and the right darker
}

// sunCast is the shadow of a rod of 3 mm under a sun half way up.
func sunCast() casting {
	return casting{dir: shadowDir, width: 3, depth: 0.7, to: 90, blur: 0.15, opens: 0.0033}
}

// normal is the normal law, which is 0 or 1 far off.
func normal(x float64) float64 {
	if math.Abs(x) > 6 {
		return (1 + math.Copysign(1, x)) / 2
	}
	return 0.5 * math.Erfc(-x/math.Sqrt2)
}

func (k casting) layer() layer {
	f := newFrame(k.dir, k.offset)
	return func(p sheet.Point) float64 {
		s, n := f.place(p)
		n -= k.bow * s * s / 2500
		if k.every > 0 {
			n -= k.wave * math.Sin(2*math.Pi*s/k.every)
		}
		sd := math.Sqrt(k.blur*k.blur + k.opens*math.Abs(k.opens)*sq(max(0, min(s, 60))))
		half := k.width/2 - k.taper*s/50
		in := normal((n+half)/sd) * normal((half-n)/sd) * normal((s-k.from)/0.3) * normal((k.to-s)/0.3)
		depth := k.depth * (1 + k.sides*math.Tanh(4*n/k.width))
		return 1 - depth*in
	}
}

// rodLayer is the image of a round rod of a diameter and height on the foot, as seen from
// the camera of c: dark along its sides, light of the paper's between.
func (c canvas) rodLayer(diameter, height float64) layer {
	return c.rodAt(sheet.Point{}, diameter, height)
}

// rodAt is that of one that stands elsewhere.
func (c canvas) rodAt(foot sheet.Point, diameter, height float64) layer {
	img := newRodImage(c.plate(), sheet.Standard, Rod{})
	img.camera[0] -= foot.X
	img.camera[1] -= foot.Y
	f := newFrame(img.direction(), 0)
	return func(p sheet.Point) float64 {
		d, n := f.place(sheet.Point{X: p.X - foot.X, Y: p.Y - foot.Y})
		half := diameter / 2 * img.grown(d)
		if d < 0 || img.heightBefore(d) > height || math.Abs(n) > half {
			return 1
		}
		x := n / half
		return 0.25 + 0.5*(1-x*x)
	}
}

// shade is a half plane of shadow to the right of a line.
func shade(dir angle.Angle, offset, light float64) layer {
	f := newFrame(dir, offset)
	return func(p sheet.Point) float64 {
		_, n := f.place(p)
		return 1 - (1-light)*normal(n/0.4)
	}
}
