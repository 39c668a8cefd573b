package render

import (
	"bytes"
	"encoding/json"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// plain is a scene with nothing wrong: a level plate, a sun, a flat sheet, the
// camera square above it with a lens free of distortion.
func plain(width int, distance float64) *Scene {
	s := &Scene{
		Camera: Camera{Width: width, Height: width * 3 / 4, Fx: float64(width), Fy: float64(width)},
		Light: Light{
			Body: Sun, Azimuth: 200 * angle.Degree, Altitude: 40 * angle.Degree, Disc: 0.533 * angle.Degree,
			ShadowRatio: 0.2, Exposure: 0.75,
		},
	}
	s.Camera.Cx, s.Camera.Cy = float64(width)/2-0.5, float64(width*3/4)/2-0.5
	s.Camera.LookAt(sheet.Point{}, distance, 0, 0, 0)
	return s
}

func TestRaysInvertProjection(t *testing.T) {
	for seed := range uint64(60) {
		c := RandomScene(rand.New(rand.NewPCG(seed, 1)), RandomOptions{}).Camera
		w, h := float64(c.Width), float64(c.Height)
		for _, p := range [][2]float64{{-0.5, -0.5}, {w - 0.5, -0.5}, {w - 0.5, h - 0.5}, {-0.5, h - 0.5}, {0.3 * w, 0.7 * h}} {
			seen := c.undistort(p[0], p[1], (p[0]-c.Cx)/c.Fx, (p[1]-c.Cy)/c.Fy)
			dir := c.unrotate(seen.x, seen.y, 1).unit()
			if !seen.ok {
				t.Errorf("scene %d: no ray at %v", seed, p)
				continue
			}
			x, y, ok := c.Project(c.Centre().add(dir.mul(500)))
			// A thousandth of a pixel is far below what is claimed for any picture.
			if !ok || math.Hypot(x-p[0], y-p[1]) > 0.001 {
				t.Errorf("scene %d: ray through %v projects to (%v, %v), ok %v", seed, p, x, y, ok)
			}
		}
		row := make([]lensPoint, c.Width)
		c.undistortRow(row, c.Height-1)
		for x, p := range row { // interpolated between knots
			d := c.distort(p.x, p.y)
			if dx, dy := c.Fx*d.x+c.Cx-float64(x), c.Fy*d.y+c.Cy-h+1; !p.ok || math.Hypot(dx, dy) > 0.001 {
				t.Fatalf("scene %d: pixel %d of the last row is (%v, %v) px off, ok %v", seed, x, dx, dy, p.ok)
			}
		}
	}
}

func TestProjectRefusesWhatTheLensCannotSee(t *testing.T) {
	s := plain(1000, 300)
	if _, _, ok := s.Camera.Project(Vec{0, 0, 301}); ok {
		t.Error("a point behind the camera was projected")
	}
	// r (1 - 0.3 r²) turns back at r = 1/sqrt(0.9).
	s.Camera.Dist[0] = -0.3
	for _, tt := range []struct {
		r  float64
		ok bool
	}{{1 / math.Sqrt(0.9) * 0.999, true}, {1 / math.Sqrt(0.9) * 1.05, false}} {
		if _, _, ok := s.Camera.Project(Vec{300 * tt.r, 0, 0}); ok != tt.ok {
			t.Errorf("radius %v: ok %v, want %v", tt.r, ok, tt.ok)
		}
	}
}

func TestLookAtTurnsAsItSays(t *testing.T) {
	var c Camera
	c.Width, c.Height, c.Fx, c.Fy, c.Cx, c.Cy = 1000, 800, 900, 900, 500, 400
	target := sheet.Point{X: 10, Y: -20}
	for _, tt := range []struct {
		tilt, dir, roll float64
		x, y            float64 // sign of where a point forward of the target appears
	}{
		{0, 0, 0, 0, -1},
		{0, 0, 90, -1, 0},   // camera turned clockwise: its picture turns the other way
		{50, 180, 0, 0, -1}, // the camera stands behind the target
		{50, 0, 0, 0, -1},
		{30, 90, 180, 0, 1},
	} {
		d := angle.FromDegrees
		c.LookAt(target, 400, d(tt.tilt), d(tt.dir), d(tt.roll))
		x, y, _ := c.Project(Vec{target.X, target.Y, 0})
		if math.Hypot(x-500, y-400) > 1e-9 {
			t.Errorf("%+v: target at (%v, %v)", tt, x, y)
		}
		centre := c.Centre()
		want := Vec{400*d(tt.tilt).Sin()*d(tt.dir).Sin() + 10, 400*d(tt.tilt).Sin()*d(tt.dir).Cos() - 20, 400 * d(tt.tilt).Cos()}
		if centre.sub(want).norm() > 1e-9 {
			t.Errorf("%+v: camera at %v, want %v", tt, centre, want)
		}
		x, y, _ = c.Project(Vec{target.X, target.Y + 5, 0})
		if sign(x-500) != tt.x || sign(y-400) != tt.y {
			t.Errorf("%+v: forward appears towards (%v, %v)", tt, x-500, y-400)
		}
	}
}

func sign(v float64) float64 {
	switch {
	case v > 1e-6:
		return 1
	case v < -1e-6:
		return -1
	}
	return 0
}

// An edge of a mark lies where the geometry says, in pixels whose centres have
// whole coordinates. Summed along a row, box pixels hold exactly the length of
// black in the strip they cover, which is its length in the row's middle.
func TestEdgeLiesWhereTheGeometrySays(t *testing.T) {
	for _, roll := range []float64{0, 2, 17, 45, 90, 163} {
		for _, shift := range []float64{0, 0.17, 0.5, 0.83} {
			s := plain(800, 125)
			s.Light.Body = NoBody
			s.Camera.LookAt(sheet.Point{X: -77, Y: 77}, 125, 0, 0, angle.FromDegrees(roll)) // mark 4
			s.Camera.Cx += shift
			p := s.radiance()

			c := sheet.Standard.Marks[0].Corners()
			y := int(s.Camera.Cy)
			edge := math.Inf(1) // the leftmost crossing of the row with the mark's outline
			for i, a := range c {
				b := c[(i+1)%4]
				ax, ay, _ := s.Camera.Project(Vec{a.X, a.Y, 0})
				bx, by, _ := s.Camera.Project(Vec{b.X, b.Y, 0})
				if u := (float64(y) - ay) / (by - ay); u > 0 && u < 1 {
					edge = min(edge, ax+u*(bx-ax))
				}
			}
			row := p.c[1][y*p.w:]
			const reach = 8 // px, within the white around the mark and its black border
			at := int(edge)
			white, black := float64(row[at-reach]), float64(row[at+reach])
			got := float64(at+reach) + 0.5
			for x := at - reach; x <= at+reach; x++ {
				got -= (white - float64(row[x])) / (white - black)
			}
			if black > 0.1*white || math.Abs(got-edge) > 0.01 {
				t.Errorf("roll %v shift %v: edge at %.4f, want %.4f (white %.3f, black %.3f)", roll, shift, got, edge, white, black)
			}
		}
	}
}

// Everything at once: through distorted lenses, slanting and curled, each side of
// each mark is crossed in the picture where Project says. Drawing goes from the
// pixel to the sheet and Project from the sheet to the pixel.
func TestPictureAgreesWithTruth(t *testing.T) {
	sum, n := 0.0, 0
	for seed := range uint64(8) {
		s := RandomScene(rand.New(rand.NewPCG(seed, 3)), RandomOptions{Width: 1200, MaxCurl: 3, PrintSigma: 0.003})
		s.Light.Body, s.Rods = NoBody, nil
		p := s.radiance()
		for _, m := range sheet.Standard.Marks {
			c := m.Corners()
			for i, a := range c {
				b := c[(i+1)%4]
				mid := sheet.Point{X: (a.X + b.X) / 2, Y: (a.Y + b.Y) / 2}
				x, y, ok := s.Camera.Project(s.Paper.point(mid))
				ax, ay, _ := s.Camera.Project(s.Paper.point(a))
				bx, by, _ := s.Camera.Project(s.Paper.point(b))
				side := math.Hypot(bx-ax, by-ay)
				nx, ny := -(by-ay)/side, (bx-ax)/side // into the mark
				const reach = 2.0
				if !ok || side < 36 || x < 5 || y < 5 || x > float64(p.w-6) || y > float64(p.h-6) {
					continue // modules under six pixels: the border's other side comes into reach
				}
				white, black := p.at(x-reach*nx, y-reach*ny), p.at(x+reach*nx, y+reach*ny)
				// Half-way between the two levels, by bisection along the normal.
				lo, hi := -reach, reach
				for range 40 {
					u := (lo + hi) / 2
					if p.at(x+u*nx, y+u*ny) > (white+black)/2 {
						lo = u
					} else {
						hi = u
					}
				}
				// Linear interpolation between box pixels moves a crossing by up to
				// 3/2 - sqrt 2 = 0.086 px, as the edge falls between their centres.
				if math.Abs(lo) > 0.09 {
					t.Errorf("scene %d mark %d side %d: edge is %.3f px off", seed, m.ID, i, lo)
				}
				sum += lo
				n++
			}
		}
	}
	// Those errors are as often inwards as outwards; a wrong pixel centre or a wrong
	// edge would stay. 0.005 px is three sigma of the mean of some 150 edges.
	if mean := sum / float64(n); n < 100 || math.Abs(mean) > 0.005 {
		t.Errorf("mean of %d edges is %.4f px inside the mark", n, mean)
	}
}

// at returns the green light between pixels, by linear interpolation.
func (p *planes) at(x, y float64) float64 {
	i, j := int(x), int(y)
	u, v := x-float64(i), y-float64(j)
	g := func(i, j int) float64 { return float64(p.c[1][j*p.w+i]) }
	return (g(i, j)*(1-u)+g(i+1, j)*u)*(1-v) + (g(i, j+1)*(1-u)+g(i+1, j+1)*u)*v
}

// The penumbra of an edge at distance d from the screen is d times the angular
// diameter of the source: here d = r / cos(altitude), and the half-lit lines are
// those of a point source, the rod's radius either side of the axis. (Plane
// geometry; the sun's 0.533 degrees are 0.0093 rad.)
func TestPenumbraIsAsWideAsTheDisc(t *testing.T) {
	for _, tt := range []struct{ altitude, r float64 }{{12, 30}, {40, 20}, {40, 50}, {65, 15}} {
		s := plain(400, 300)
		s.Light.Altitude = angle.FromDegrees(tt.altitude)
		s.Rods = []Rod{{Height: 60, Diameter: 3, Material: Black}}
		sun := s.newSun()
		dir, _ := s.body()
		along := Vec{-dir.X, -dir.Y, 0}.unit()
		side := Vec{along.Y, -along.X, 0}
		crossing := func(level float64) float64 { // where the light reaches the level
			lo, hi := 0.0, 4.0
			for range 50 {
				mid := (lo + hi) / 2
				if light, _ := sun.byRods(along.mul(tt.r).add(side.mul(mid))); light < level {
					lo = mid
				} else {
					hi = mid
				}
			}
			return lo
		}
		const mm = 0.003 // the disc's chords vanish at its limb: the last part in 1e6 of the light is cut
		want := 0.533 * math.Pi / 180 * tt.r / math.Cos(tt.altitude*math.Pi/180)
		if got := crossing(1-1e-6) - crossing(1e-6); math.Abs(got-want) > mm {
			t.Errorf("altitude %v: penumbra at %v mm is %.4f mm wide, want %.4f", tt.altitude, tt.r, got, want)
		}
		if got := crossing(0.5); math.Abs(got-1.5) > mm {
			t.Errorf("altitude %v: half light %.4f mm from the axis at %v mm, want 1.5", tt.altitude, got, tt.r)
		}
	}
}

// A rod too thin to hide the disc hides a band of it: in the middle the part
// 2/pi (asin k + k sqrt(1-k²)), k the rod's half-width over the disc's radius (area
// of the band between two chords, any handbook of mensuration).
func TestThinRodHidesABandOfTheDisc(t *testing.T) {
	s := plain(400, 300)
	s.Light.Altitude = 8 * angle.Degree
	s.Rods = []Rod{{Height: 60, Diameter: 1, Material: Black}}
	dir, _ := s.body()
	along := Vec{-dir.X, -dir.Y, 0}.unit()
	const r = 300
	k := 0.5 / (r / math.Cos(8*math.Pi/180) * math.Tan(0.2665*math.Pi/180))
	want := 1 - 2/math.Pi*(math.Asin(k)+k*math.Sqrt(1-k*k))
	if got, _ := s.newSun().byRods(along.mul(r)); math.Abs(got-want) > 0.001 {
		t.Errorf("light in the middle is %.4f, want %.4f", got, want)
	}
}

// The closed forms against plain counting: rays to random places on the disc, each
// tried against the solid rod.
func TestHiddenLightAgreesWithCountedRays(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	const rays = 40000
	partly := 0
	for range 400 {
		s := plain(400, 300)
		s.Light.Altitude = angle.FromDegrees(8 + 70*r.Float64())
		s.Light.Disc = angle.FromDegrees(0.533 + 3*float64(r.IntN(2)))
		rod := Rod{
			Height: 30 + 30*r.Float64(), Diameter: 2 + 3*r.Float64(), Material: Black,
			Lean: angle.FromDegrees(6 * r.Float64()), LeanDir: angle.FromDegrees(360 * r.Float64()),
		}
		if r.IntN(2) == 0 {
			rod.Cap = rod.Diameter * (1.2 + 2*r.Float64())
		}
		s.Rods = []Rod{rod}
		dir, _ := s.body()
		tip := s.castTip(dir)
		u := 1.0 // along the shadow; mostly about its end
		if r.IntN(3) == 0 {
			u = 0.1 + 0.9*r.Float64()
		}
		p := tip.mul(u).add(Vec{3 * r.NormFloat64(), 3 * r.NormFloat64(), 0})
		got, _ := s.newSun().byRods(p)
		if got > 0 && got < 1 {
			partly++
		}
		e := dir.cross(Vec{0, 0, 1}).unit()
		f := dir.cross(e)
		axis, _ := rod.axis()
		if p.sub(axis.mul(p.dot(axis))).norm() < rod.Diameter/2 {
			continue // under the rod
		}
		tube := newTube(&rod.bodies()[0], p)
		free := 0
		for range rays {
			a, b := r.Float64()*2*math.Pi, math.Sqrt(r.Float64())*s.Light.Disc.Radians()/2
			if _, _, hit := tube.meet(dir.add(e.mul(b * math.Cos(a))).add(f.mul(b * math.Sin(a)))); !hit {
				free++
			}
		}
		want := float64(free) / rays
		// Four sigma of the count, and a hundredth for the disc's being taken as flat
		// and cut into strips.
		if tolerance := 4*math.Sqrt(want*(1-want)/rays) + 0.01; math.Abs(got-want) > tolerance {
			t.Errorf("altitude %.1f disc %.2f rod %+v at %.1f of the shadow: %.4f of the light, counted %.4f",
				s.Light.Altitude.Degrees(), s.Light.Disc.Degrees(), rod, u, got, want)
		}
	}
	if partly < 100 {
		t.Errorf("only %d of 400 points lie in the penumbra", partly)
	}
}

// In the umbra the paper keeps the asked part of its light, as seen in the picture.
func TestShadowKeepsItsRatio(t *testing.T) {
	s := plain(1600, 300)
	s.Rods = []Rod{{Height: 60, Diameter: 4, Material: Black}}
	p := s.radiance()
	dir, _ := s.body()
	along := Vec{-dir.X, -dir.Y, 0}.unit()
	x, y, _ := s.Camera.Project(along.mul(30))
	side := Vec{along.Y, -along.X, 0}
	lx, ly, _ := s.Camera.Project(along.mul(30).add(side.mul(8)))
	if got := p.at(x, y) / p.at(lx, ly); math.Abs(got-0.2) > 1e-4 {
		t.Errorf("shadow over light is %.5f, want 0.2", got)
	}
	// A white surface is at the exposure, so that paper is at 0.9 of it.
	if got := p.at(lx, ly); math.Abs(got-0.9*0.75) > 1e-4 {
		t.Errorf("lit paper is at %.5f, want 0.675", got)
	}
}

// The rod's image is as wide as a pinhole makes it: diameter times focal length
// over distance.
func TestRodImageHasItsWidth(t *testing.T) {
	s := plain(1600, 300)
	s.Light.Body = NoBody
	s.Rods = []Rod{{Height: 50, Diameter: 4}} // no albedo: black
	s.Camera.LookAt(sheet.Point{X: 0, Y: 30}, 300, 40*angle.Degree, 180*angle.Degree, 0)
	p := s.radiance()
	for _, z := range []float64{12, 25, 38} {
		at := Vec{0, 0, z}
		_, y, _ := s.Camera.Project(at)
		x, _, _ := s.Camera.Project(at)
		row := p.c[1][int(math.Round(y))*p.w:]
		dark := 0.0
		white := float64(row[int(x)-60])
		for i := int(x) - 60; i < int(x)+60; i++ {
			dark += 1 - float64(row[i])/white
		}
		want := 4 * s.Camera.Fx / at.sub(s.Camera.Centre()).dot(s.Camera.R[2])
		if math.Abs(dark-want) > 0.2 { // four samples a pixel on each of two sides
			t.Errorf("rod at %v mm is %.2f px wide, want %.2f", z, dark, want)
		}
	}
}

// The sensor's noise comes out as asked. On the upper branch of IEC 61966-2-1 the
// 8-bit value changes by 255 * 1.055/2.4 * v^(1/2.4-1) per unit of linear light.
func TestNoiseIsAsAsked(t *testing.T) {
	s := plain(600, 250)
	s.Light.Body = NoBody
	s.Finish = Finish{ReadNoise: 0.004, ShotNoise: 0.02}
	v := 0.9 * 0.75
	slope := 255 * 1.055 / 2.4 * math.Pow(v, 1/2.4-1)
	want := math.Sqrt(slope*slope*(0.004*0.004+0.02*0.02*v) + 1.0/12) // and rounding
	s.Seed = 1
	p := s.radiance()
	a := s.finish(p)
	s.Seed = 2
	b := s.finish(p)
	var sum, squares, n float64
	for y := 100; y < 200; y++ {
		for x := 230; x < 330; x++ { // blank paper inside the dial
			i := a.PixOffset(x, y)
			if p.c[1][y*p.w+x] < float32(v)-1e-4 {
				continue
			}
			for c := range 3 {
				d := float64(a.Pix[i+c]) - float64(b.Pix[i+c])
				sum, squares, n = sum+d, squares+d*d, n+1
			}
		}
	}
	got := math.Sqrt(squares / n / 2)
	// 3 %: four sigma of a standard deviation from over 20,000 differences is 2 %.
	if n < 20000 || math.Abs(got/want-1) > 0.03 || math.Abs(sum/n) > 0.1 {
		t.Errorf("noise is %.3f levels over %v values, want %.3f; mean difference %.3f", got, n, want, sum/n)
	}
}

func TestToneCurveIsSRGB(t *testing.T) {
	// IEC 61966-2-1; the 8-bit values of these linear levels are widely tabulated
	// (0.2140 is the middle of the encoded scale).
	for _, tt := range []struct {
		linear float32
		want   uint8
	}{{-1, 0}, {0, 0}, {0.0031308, 10}, {0.2140, 127}, {0.2159, 128}, {0.5, 188}, {1, 255}, {7, 255}, {float32(math.NaN()), 0}} {
		if got := level(tt.linear); got != tt.want {
			t.Errorf("level(%v) = %d, want %d", tt.linear, got, tt.want)
		}
	}
	for i := range 100000 {
		v := float64(i) / 100000
		if got, want := float64(level(float32(v))), 255*sRGB(v); math.Abs(got-want) > 0.52 {
			t.Fatalf("level(%v) = %v, the curve is at %.3f", v, got, want)
		}
	}
}

// Blur and motion keep the light and spread it by their second moments.
func TestBlurSpreadsLightAsAsked(t *testing.T) {
	const w, h = 61, 41
	moments := func(c []float32) (total, xx, yy, xy float64) {
		for y := range h {
			for x := range w {
				v, dx, dy := float64(c[y*w+x]), float64(x-30), float64(y-20)
				total, xx, yy, xy = total+v, xx+v*dx*dx, yy+v*dy*dy, xy+v*dx*dy
			}
		}
		return total, xx, yy, xy
	}
	point := func() []float32 {
		c := make([]float32, w*h)
		c[20*w+30] = 1
		return c
	}
	for _, sigma := range []float64{0.6, 1, 2.2} {
		c := point()
		blur(c, w, h, gaussian(sigma))
		total, xx, yy, xy := moments(c)
		want := sigma*sigma + 1.0/12 // the Gaussian over a pixel's width
		if math.Abs(total-1) > 1e-5 || math.Abs(xx-want) > 0.02*want || math.Abs(yy-want) > 0.02*want || math.Abs(xy) > 1e-6 {
			t.Errorf("sigma %v: light %v, moments %.4f %.4f %.4f, want %.4f", sigma, total, xx, yy, xy, want)
		}
	}
	a := 35 * angle.Degree
	total, xx, _, xy := moments(convolve(point(), w, h, smear(6, a.Cos(), a.Sin())))
	// A line of length L has variance L²/12; splitting between pixels adds up to 1/4.
	if want := 3 * a.Cos() * a.Cos(); math.Abs(total-1) > 1e-4 || xx < want || xx > want+0.25 || math.Abs(xy-3*a.Cos()*a.Sin()) > 0.05 {
		t.Errorf("motion: light %v, xx %.3f, xy %.3f", total, xx, xy)
	}
	for i, v := range convolve(constant(w*h), w, h, smear(6, 0, 1)) {
		if math.Abs(float64(v)-1) > 1e-4 {
			t.Fatalf("motion changes an even picture at %d to %v", i, v)
		}
	}
	even := constant(w * h)
	blur(even, w, h, gaussian(1.5))
	for i, v := range even {
		if math.Abs(float64(v)-1) > 1e-4 {
			t.Fatalf("blur changes an even picture at %d to %v", i, v)
		}
	}
}

func constant(n int) []float32 {
	c := make([]float32, n)
	for i := range c {
		c[i] = 1
	}
	return c
}

func TestRandomScenesKeepTheirBounds(t *testing.T) {
	readable := 0
	const n = 300
	for seed := range uint64(n) {
		s := RandomScene(rand.New(rand.NewPCG(seed, 7)), RandomOptions{Width: 2000, Troubles: true})
		if e := s.Camera.faceExtent(); e < 0.39 || e > 0.96 {
			t.Errorf("scene %d: the face fills %.2f of the picture", seed, e)
		}
		truth := s.Truth()
		if truth.Camera.Tilt > 60.001 || *truth.BodyAltitude < 8 || *truth.BodyAltitude > 70 {
			t.Errorf("scene %d: tilt %v, altitude %v", seed, truth.Camera.Tilt, *truth.BodyAltitude)
		}
		if truth.Readable {
			readable++
		}
		if _, err := json.Marshal(truth); err != nil {
			t.Errorf("scene %d: %v", seed, err)
		}
	}
	// A soak needs pictures of both sorts, most of them readable.
	if readable < n/2 || readable > n*95/100 {
		t.Errorf("%d of %d scenes are readable", readable, n)
	}
}

func TestReadableFollowsItsDefinition(t *testing.T) {
	good := func() *Scene {
		s := plain(2000, 320)
		s.Rods = []Rod{{Height: 50, Diameter: 3, Material: Black}}
		s.Camera.LookAt(sheet.Point{}, 320, 20*angle.Degree, 70*angle.Degree, 0)
		s.Finish.ReadNoise, s.Finish.ShotNoise = NoiseAtISO(100)
		return s
	}
	for _, tt := range []struct {
		name   string
		change func(*Scene)
		want   bool
	}{
		{"good", func(*Scene) {}, true},
		{"no rod", func(s *Scene) { s.Rods = nil }, false},
		{"two rods", func(s *Scene) { s.Rods = append(s.Rods, s.Rods[0]) }, false},
		{"overcast", func(s *Scene) { s.Light.Body = NoBody }, false},
		{"body below the plate", func(s *Scene) { s.Light.Altitude = -3 * angle.Degree }, false},
		{"far off", func(s *Scene) { s.Camera.LookAt(sheet.Point{}, 3000, 0, 0, 0) }, false},
		{"aside", func(s *Scene) { s.Camera.LookAt(sheet.Point{X: 220}, 320, 0, 0, 0) }, false},
		{"noise", func(s *Scene) { s.Finish.ReadNoise = 0.3 }, false},
		{"over-exposed", func(s *Scene) { s.Light.Exposure = 8 }, false},
		{"hazy to nothing", func(s *Scene) { s.Light.ShadowRatio = 0.999 }, false},
		{"short shadow", func(s *Scene) { s.Light.Altitude = 69 * angle.Degree }, false},
		{"under a large shadow", func(s *Scene) { s.Shades = []Shade{{Offset: -200, Width: math.Inf(1)}} }, false},
		{"a bar across", func(s *Scene) { s.Shades = []Shade{{Dir: 110 * angle.Degree, Offset: 30, Width: 10}} }, true},
		{"finger on the shadow", func(s *Scene) {
			s.Occluders = []Occluder{{From: sheet.Point{}, To: sheet.Point{X: 0, Y: 100}, Radius: 40}}
		}, false},
		// The sun at azimuth 200 casts the shadow towards 20, as does the rod's image
		// seen from 200.
		{"behind the rod", func(s *Scene) {
			s.Camera.LookAt(sheet.Point{}, 320, 30*angle.Degree, 200*angle.Degree, 0)
		}, false},
		{"9 degrees from the rod", func(s *Scene) {
			s.Camera.LookAt(sheet.Point{}, 320, 45*angle.Degree, 209*angle.Degree, 0)
		}, false},
		{"11 degrees from the rod", func(s *Scene) {
			s.Camera.LookAt(sheet.Point{}, 320, 45*angle.Degree, 211*angle.Degree, 0)
		}, true},
	} {
		s := good()
		tt.change(s)
		if truth := s.Truth(); truth.Readable != tt.want || truth.Readable == (truth.WhyNot != "") {
			t.Errorf("%s: readable %v (%s)", tt.name, truth.Readable, truth.WhyNot)
		}
	}
}

func TestPictureDependsOnTheSceneAlone(t *testing.T) {
	draw := func(seed uint64) []byte {
		var file bytes.Buffer
		s := RandomScene(rand.New(rand.NewPCG(seed, 11)), RandomOptions{Width: 320, Troubles: true, MaxCurl: 0.5})
		if _, err := s.WriteJPEG(&file); err != nil {
			t.Fatal(err)
		}
		img, err := jpeg.Decode(bytes.NewReader(file.Bytes()))
		if err != nil || img.Bounds().Dx() != 320 || img.Bounds().Dy() != 240 {
			t.Fatalf("%v, %v", img.Bounds(), err)
		}
		return file.Bytes()
	}
	for seed := range uint64(10) {
		if !bytes.Equal(draw(seed), draw(seed)) {
			t.Errorf("scene %d: two pictures of it differ", seed)
		}
	}
	if bytes.Equal(draw(1), draw(2)) {
		t.Error("two scenes give the same picture")
	}
}

// FuzzScene draws small pictures of extreme scenes: no panic, no hang.
func FuzzScene(f *testing.F) {
	f.Add(20.0, 10.0, 0.0, 40.0, -0.1, 0.5)
	f.Add(89.0, 180.0, 45.0, 1.0, 0.4, -20.0)
	f.Add(75.0, 300.0, 200.0, 89.9, -0.9, 30.0)
	f.Fuzz(func(t *testing.T, tilt, dir, roll, altitude, k1, curl float64) {
		for _, v := range []float64{tilt, dir, roll, altitude, k1, curl} {
			if math.IsNaN(v) || math.Abs(v) > 400 {
				t.Skip()
			}
		}
		s := plain(64, 250)
		s.Camera.Dist[0] = k1
		s.Camera.LookAt(sheet.Point{}, 250, angle.FromDegrees(math.Mod(tilt, 90)), angle.FromDegrees(dir), angle.FromDegrees(roll))
		s.Light.Altitude = angle.FromDegrees(math.Mod(altitude, 90))
		s.Paper.Curl = curl
		s.Rods = []Rod{{Height: 50, Diameter: 3, Cap: 8, Material: Steel}}
		_, truth := s.Render()
		if _, err := json.Marshal(truth); err != nil {
			t.Error(err)
		}
	})
}
