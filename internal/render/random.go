package render

import (
	"math"
	"math/rand/v2"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// Sky gives the sun's true azimuth and its altitude with refraction.
type Sky func(at time.Time, lat, lon angle.Angle) (azimuth, altitude angle.Angle)

// RandomOptions bounds what RandomScene draws.
type RandomOptions struct {
	Width int // px; pictures are 4 by 3. 0 means 2000
	// Sky places the sun for a random place and time. Without it azimuth and
	// altitude are drawn freely and the scene has no time or place.
	Sky Sky
	// MaxCurl is the largest curl of the paper, mm at 150 mm from the foot.
	MaxCurl float64
	// PrintSigma is one sigma of the print's stretch in each direction, relative.
	PrintSigma float64
	// Gnomons draws, for most scenes, rods as people make them: nails, nuts, clay, skewers,
	// corks, bent wires; paper in ripples; and at times a thing on the sheet.
	Gnomons bool
	// Phone draws, for most scenes, a telephone's own processing, and sheets that were used:
	// pencil lines, stains, grains, worn or gray ink, folds, glints; and at times another
	// sheet in the picture.
	Phone bool
	// Troubles adds, to some scenes, other shadows, fingers, dirt, creases and haze.
	Troubles bool
	// Country has the board stand up to 8 degrees out of level in flat country, seen to its
	// horizon; GroundSigma is one sigma of the ground's slope on two axes.
	Country     bool
	GroundSigma angle.Angle
}

// lenses are plausible distortions, by k1: phones about zero, action cameras at
// the barrel end, with the focal length over the picture's width that goes with
// each (common practice).
var lenses = []struct{ k1, k2, k3, focal float64 }{
	{-0.30, 0.100, -0.012, 0.56},
	{-0.15, 0.040, -0.004, 0.66},
	{0, 0, 0, 0.78},
	{0.05, -0.120, 0.055, 0.76},
	{0.10, -0.230, 0.110, 0.78},
}

// RandomScene draws a scene for property tests and soak runs: the camera 0 to 60
// degrees off the vertical at any roll, the face filling 40 to 95 % of the
// picture, the sun 8 to 70 degrees high, rods 30 to 70 mm high and 2 to 5 mm
// thick. The scene depends on the state of r and the options alone.
// What is drawn stands in one piece, since the order of the draws is what a seed means.
func RandomScene(r *rand.Rand, o RandomOptions) *Scene {
	uniform := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	turn := func() angle.Angle { return angle.FromDegrees(uniform(0, 360)) }
	chance := func(p float64) bool { return o.Troubles && r.Float64() < p }

	s := &Scene{Seed: r.Uint64(), Plate: Attitude{Heading: turn()}}
	s.Light = Light{
		Body: Sun, Disc: angle.FromDegrees(0.533), ShadowRatio: uniform(0.12, 0.35),
		SunColour: [3]float64{1, 0.96, 0.90}, SkyColour: [3]float64{0.8, 1.05, 1.5},
		Exposure: uniform(0.45, 0.95), Gradient: [2]float64{0.04 * r.NormFloat64(), 0.04 * r.NormFloat64()},
	}
	s.placeSun(r, o.Sky)

	s.Rods = []Rod{{
		Height: uniform(30, 70), Diameter: uniform(2, 5),
		Foot:     sheet.Point{X: 0.2 * r.NormFloat64(), Y: 0.2 * r.NormFloat64()},
		Material: []Material{Steel, Brass, Dowel, Black, White}[r.IntN(5)],
	}}
	if r.IntN(4) == 0 {
		s.Rods[0].Cap = s.Rods[0].Diameter * uniform(1.5, 3)
	}

	if o.MaxCurl > 0 && r.IntN(2) == 0 {
		s.Paper.Curl, s.Paper.CurlDir = uniform(0, o.MaxCurl), turn()
	}
	s.Paper.ScaleX, s.Paper.ScaleY = 1+o.PrintSigma*r.NormFloat64(), 1+o.PrintSigma*r.NormFloat64()
	s.aim(r, o.Width)

	iso := int(50 * math.Pow(2, uniform(0, 6)))
	s.Finish = Finish{
		Defocus: uniform(0.4, 1.3), Vignetting: uniform(0, 0.35), LateralColour: 0.0004 * r.Float64(),
		ISO: iso, Quality: 80 + r.IntN(16),
	}
	s.Finish.ReadNoise, s.Finish.ShotNoise = NoiseAtISO(iso)
	if r.IntN(4) == 0 {
		s.Finish.Motion, s.Finish.MotionDir = uniform(0.3, 2), turn()
	}

	if chance(0.25) {
		s.Light.HazeFraction, s.Light.HazeDisc = uniform(0.05, 0.35), angle.FromDegrees(uniform(2, 6))
	}
	if chance(0.3) {
		s.Paper.Dirt = uniform(0.05, 0.5)
	}
	if chance(0.2) {
		s.Paper.Creases = []Crease{{
			Offset: uniform(-60, 60), Dir: turn(), Width: uniform(0.3, 1), Strength: uniform(-0.12, 0.08),
		}}
	}
	if chance(0.25) {
		s.Shades = append(s.Shades, Shade{
			Offset: uniform(-90, 90), Dir: turn(), Width: uniform(4, 25), Penumbra: uniform(1, 20),
		})
	}
	if chance(0.06) {
		s.Shades = append(s.Shades, Shade{
			Offset: uniform(10, 90), Dir: turn(), Width: math.Inf(1), Penumbra: uniform(2, 30),
		})
	}
	if chance(0.1) {
		a := turn()
		s.Blobs = []Blob{{
			Centre: sheet.Point{X: 110 * a.Sin(), Y: 110 * a.Cos()},
			RX:     uniform(30, 70), RY: uniform(30, 70), Penumbra: uniform(5, 15),
		}}
	}
	if chance(0.12) {
		m, a := sheet.Standard.Marks[r.IntN(len(sheet.Standard.Marks))], turn()
		s.Occluders = []Occluder{{
			From: sheet.Point{X: m.X + uniform(-4, 4), Y: m.Y + uniform(-4, 4)},
			To:   sheet.Point{X: 3 * m.X * (1 + 0.2*a.Sin()), Y: 3 * m.Y * (1 + 0.2*a.Cos())}, Radius: uniform(6, 10),
		}}
	}
	if o.Gnomons {
		s.homeMade(r)
	}
	if o.Phone {
		s.phone(r)
	}
	if o.Country {
		s.outdoors(r, o.GroundSigma, o.Width)
	}
	if o.Gnomons || o.Phone {
		s.ripple()
	}
	s.air()
	return s
}

// ripple lays some sheets in waves as high as paper has them on a board, 0.3 to 0.8 mm from
// trough to crest (common practice). It draws by itself: what a seed means besides stays.
func (s *Scene) ripple() {
	r := rand.New(rand.NewPCG(s.Seed, 0x11FE))
	uniform := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	turn := func() angle.Angle { return angle.FromDegrees(uniform(0, 360)) }
	if r.IntN(10) == 0 {
		s.Paper.Waves = append(s.Paper.Waves, Wave{Amplitude: uniform(0.15, 0.4), Length: uniform(80, 200), Phase: turn(), Dir: turn()})
	}
}

// phone makes the picture a telephone's, of a sheet that was used.
func (s *Scene) phone(r *rand.Rand) {
	uniform := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	turn := func() angle.Angle { return angle.FromDegrees(uniform(0, 360)) }
	point := func() sheet.Point { return sheet.Point{X: uniform(-80, 80), Y: uniform(-80, 80)} }
	chance := func(p float64) bool { return r.Float64() < p }
	f := &s.Finish
	f.Defocus = uniform(0.3, 0.8)
	f.Phone = Phone{
		Mosaic: chance(0.7), Smooth: uniform(1, 4), Keep: uniform(0, 0.5),
		Shades: 1, Detail: 1, Contrast: uniform(0, 0.5), Halo: uniform(0.2, 1.2), HaloPX: uniform(0.8, 2.5),
	}
	if chance(0.6) {
		f.Phone.Shades, f.Phone.Detail, f.Phone.Radius = uniform(0.6, 0.95), uniform(0.9, 1.2), uniform(0.02, 0.08)
	}
	if chance(0.3) {
		f.Phone.Merge, f.Phone.MergeBelow = [2]float64{uniform(-2, 2), uniform(-2, 2)}, uniform(0.2, 0.6)*s.Light.Exposure
	}
	p := &s.Paper
	if chance(0.25) {
		for range 1 + r.IntN(3) {
			p.Pencil = append(p.Pencil, Pencil{point(), point()})
		}
	}
	if chance(0.25) {
		p.Stains = 1 + r.IntN(6)
	}
	if chance(0.25) {
		p.Grains = 5 + r.IntN(60)
	}
	if chance(0.3) {
		p.Ink, p.Toner = uniform(0.05, 0.22), uniform(0, 0.35)
	}
	if chance(0.15) {
		p.Gloss = uniform(0.3, 3)
	}
	if chance(0.15) {
		p.Folds = []Fold{{Offset: uniform(-50, 50), Dir: turn(), Height: uniform(0.1, 0.4), Reach: uniform(8, 25)}}
	}
	if chance(0.08) {
		a := turn()
		s.Another = &Another{Foot: sheet.Point{X: 290 * a.Sin(), Y: 330 * a.Cos()}, Turn: turn(), Scale: uniform(0.7, 1)}
	}
}

// homeMade makes the rod one as people make them.
func (s *Scene) homeMade(r *rand.Rand) {
	uniform := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	turn := func() angle.Angle { return angle.FromDegrees(uniform(0, 360)) }
	rod := &s.Rods[0]
	h := rod.Height
	rod.Cap = 0
	switch r.IntN(8) {
	case 0: // a nail
		rod.Diameter = uniform(2.5, 4)
		rod.Collars = []Collar{{h - uniform(1, 2.5), h, uniform(7, 10)}}
	case 1: // a screw or bolt in its nut and washer
		rod.Collars = []Collar{{0, 1, rod.Diameter * 3}, {1, uniform(4, 6), rod.Diameter * 1.9}}
	case 2: // clay
		rod.Collars = []Collar{{0, 3, uniform(11, 18)}, {3, 6, uniform(8, 11)}}
	case 3: // a skewer
		rod.Material, rod.Diameter, rod.Point = Dowel, uniform(2.5, 4), uniform(6, 15)
	case 4: // a cork
		rod.Collars = []Collar{{h - uniform(8, 18), h, uniform(8, 14)}}
	case 5: // a wire, more or less straight
		rod.Material, rod.Diameter = Steel, uniform(1.6, 2.4)
		rod.Bow, rod.BowDir = uniform(0, 0.8), turn()
	case 6: // thin cloud
		s.Light.HazeFraction, s.Light.HazeDisc, s.Light.ShadowRatio = uniform(0.2, 0.6), angle.FromDegrees(uniform(3, 6)), uniform(0.3, 0.5)
	case 7: // a dowel or a pencil, or a stick carved from one
		rod.Material, rod.Diameter = []Material{Dowel, White, Black}[r.IntN(3)], uniform(6, 10.5)
		if r.IntN(2) == 0 {
			rod.Diameter, rod.Taper = uniform(3, 7), uniform(0.2, 0.6)
		}
	}
	if r.IntN(6) == 0 {
		s.Paper.Waves = []Wave{{Amplitude: uniform(0.05, 0.3), Length: uniform(80, 200), Phase: turn(), Dir: turn()}}
	}
	if r.IntN(8) == 0 {
		a, out, along := turn(), uniform(25, 70), turn()
		from := sheet.Point{X: out * a.Sin(), Y: out * a.Cos()}
		long := uniform(20, 60)
		s.Things = []Thing{{
			From: from, To: sheet.Point{X: from.X + long*along.Sin(), Y: from.Y + long*along.Cos()},
			Diameter: uniform(1.5, 7), Material: []Material{Steel, Dowel, Black, White}[r.IntN(4)],
		}}
	}
}

// Altitudes of the sun that RandomScene draws.
const lowestSun, highestSun = 8 * angle.Degree, 70 * angle.Degree

// placeSun draws a place, a time and with them the sun.
func (s *Scene) placeSun(r *rand.Rand, sky Sky) {
	if sky == nil {
		s.Light.Azimuth = angle.FromDegrees(360 * r.Float64())
		s.Light.Altitude = lowestSun + (highestSun-lowestSun)*angle.Angle(r.Float64())
		return
	}
	first := time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)
	const span = 15 * 365 * 24 * time.Hour
	for {
		s.Time = first.Add(time.Duration(r.Int64N(int64(span)))).Truncate(10 * time.Millisecond)
		s.Lat = angle.Asin(2*r.Float64()-1) * 0.95 // spread evenly over the globe, less the poles
		s.Lon = angle.FromDegrees(360*r.Float64() - 180)
		s.Light.Azimuth, s.Light.Altitude = sky(s.Time, s.Lat, s.Lon)
		if s.Light.Altitude >= lowestSun && s.Light.Altitude <= highestSun {
			return
		}
	}
}

// aim draws a lens and a pose in which the sheet's face fills 40 to 95 % of the
// picture, some marks falling outside at times.
func (s *Scene) aim(r *rand.Rand, width int) {
	if width == 0 {
		width = 2000
	}
	w, h := float64(width), float64(width*3/4)
	u := r.Float64() * float64(len(lenses)-1)
	a, b := lenses[int(u)], lenses[int(u)+1]
	u -= math.Floor(u)
	mix := func(p, q float64) float64 { return p + (q-p)*u }
	focal := mix(a.focal, b.focal) * w * (1 + 0.03*r.NormFloat64())
	c := Camera{
		Width: width, Height: int(h), Fx: focal, Fy: focal,
		Cx: w/2 + 0.005*w*r.NormFloat64(), Cy: h/2 + 0.005*w*r.NormFloat64(),
		Dist: [5]float64{mix(a.k1, b.k1), mix(a.k2, b.k2), 0.0005 * r.NormFloat64(), 0.0005 * r.NormFloat64(), mix(a.k3, b.k3)},
	}
	target := sheet.Point{X: 8 * r.NormFloat64(), Y: 8 * r.NormFloat64()}
	tilt := 60 * angle.Degree * angle.Angle(r.Float64())
	dir, roll := angle.FromDegrees(360*r.Float64()), angle.FromDegrees(360*r.Float64())
	fill := 0.40 + 0.55*r.Float64()

	// The face's extent over the picture's shrinks with distance: bisect.
	near, far := 60.0, 3000.0
	for range 40 {
		mid := math.Sqrt(near * far)
		c.LookAt(target, mid, tilt, dir, roll)
		if c.faceExtent() > fill {
			near = mid
		} else {
			far = mid
		}
	}
	s.Camera = c
}

// faceExtent returns the larger of the face's width over the picture's and its
// height over the picture's; a face that is not all before the lens is huge.
func (c *Camera) faceExtent() float64 {
	const half = 88 // mm, to the outer edges of the corner marks
	x0, y0, x1, y1 := math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)
	for _, p := range []Vec{{-half, half, 0}, {half, half, 0}, {half, -half, 0}, {-half, -half, 0}} {
		x, y, ok := c.Project(p)
		if !ok {
			return math.Inf(1)
		}
		x0, y0, x1, y1 = min(x0, x), min(y0, y), max(x1, x), max(y1, y)
	}
	return max((x1-x0)/float64(c.Width), (y1-y0)/float64(c.Height))
}

// Air over the middle of red, green and blue light, whose wavelengths these are, micrometres:
// its own optical depth by Bucholtz, Applied Optics 34(15), 1995, a table's fit from memory.
var (
	wavelengths = [3]float64{0.60, 0.54, 0.46}
	airDepth    = func(l float64) float64 { return 0.00877 * math.Pow(l, -4.05) }
)

// air gives sun and sky the colours that they have through air as hazy as the shadow is pale: light
// scattered once, half of it down by air, most by haze, and a little of what stands around in
// the sun. Haze is of dust or cloud, which has no colour, to smoke, which is blue. It draws by
// itself: what a seed means besides stays.
func (s *Scene) air() {
	r := rand.New(rand.NewPCG(s.Seed, 0xA14))
	exponent, around := 1.6*r.Float64(), 0.04*r.Float64()
	tan := [3]float64{1.1, 0.95, 0.75}
	high := max(s.Light.Altitude.Sin(), 0.1)
	var sun, sky [3]float64
	with := func(haze float64) float64 {
		for c, l := range wavelengths {
			own, hazed := airDepth(l)/high, haze*math.Pow(l/wavelengths[1], -exponent)/high
			sun[c] = math.Exp(-own - hazed)
			sky[c] = (1-math.Exp(-own))/2 + 0.85*(1-math.Exp(-hazed))*math.Exp(-own/2)
			sky[c] += around * tan[c] * (sun[c] + sky[c])
		}
		return sky[1] / (sun[1] + sky[1])
	}
	lo, hi := 0.0, 5.0
	for range 40 {
		if mid := (lo + hi) / 2; with(mid) < s.Light.ShadowRatio {
			lo = mid
		} else {
			hi = mid
		}
	}
	with(lo)
	s.Light.SunColour, s.Light.SkyColour = sun, sky
}
