package reading_test

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/geo"
	"shadowread/internal/photofile"
	"shadowread/internal/proof"
	"shadowread/internal/reading"
	"shadowread/internal/render"
	"shadowread/internal/sheet"
)

// The traps: pictures that lead a hasty reader to a wrong heading. Each is rendered
// with known truth by a package that shares nothing with the reader but the sheet's
// geometry. What must hold for all: a heading that is given is right within four of
// its own sigmas; otherwise the photo is refused for a fitting reason.

// pan is where and when the pictures are taken: an invented place on a salt pan, on a
// day on which the sun passes 3 degrees from the zenith.
var (
	pan     = geo.Position{Lat: -22.9 * angle.Degree, Lon: 22.3 * angle.Degree}
	sunrise = time.Date(2026, 11, 20, 3, 30, 0, 0, time.UTC)
)

// sunAt returns the first minute of the day at which the sun stands at the altitude.
func sunAt(altitude angle.Angle) (time.Time, bearing.Apparent) {
	for at := sunrise; ; at = at.Add(time.Minute) {
		a, err := bearing.Observe(bearing.Sun, at, pan, 0)
		if err != nil || at.Sub(sunrise) > 8*time.Hour {
			panic("the sun does not stand so high")
		}
		if a.Altitude >= altitude {
			return at, a
		}
	}
}

const shadowDir = 70 * angle.Degree // of the shadow on the plate

// scene is a clear morning with the sun at the altitude, the shadow at shadowDir and
// the camera a third of a metre away at dir, tilt off the vertical.
func scene(altitude, tilt, dir angle.Angle) *render.Scene {
	at, sun := sunAt(altitude)
	s := &render.Scene{
		Name: "trap", Time: at, Lat: pan.Lat, Lon: pan.Lon, Seed: 7,
		Plate: render.Attitude{Heading: (sun.Azimuth + 180*angle.Degree - shadowDir).Bearing()},
		Rods:  []render.Rod{{Height: 50, Diameter: 3, Material: render.Steel}},
		Light: render.Light{
			Body: render.Sun, Azimuth: sun.Azimuth, Altitude: sun.Altitude, Disc: 0.533 * angle.Degree, ShadowRatio: 0.2,
			Exposure: 0.75, SunColour: [3]float64{1, 0.96, 0.9}, SkyColour: [3]float64{0.8, 1.05, 1.5},
		},
		Camera: render.Camera{Width: 1600, Height: 1200, Fx: 1250, Fy: 1250, Cx: 802, Cy: 597, Dist: [5]float64{0.03, -0.07, 0.0002, -0.0003, 0.03}},
		Finish: render.Finish{Defocus: 0.6, Vignetting: 0.1, ISO: 100, Quality: 90},
	}
	s.Finish.ReadNoise, s.Finish.ShotNoise = render.NoiseAtISO(100)
	s.Camera.LookAt(sheet.Point{}, 330, tilt, dir, 10*angle.Degree)
	return s
}

// exactly says time and place without doubt, so that the sigma is the picture's.
func exactly(s *render.Scene) reading.Options {
	o := reading.Defaults()
	exact, near := time.Duration(0), 0.0
	o.Time.At, o.Time.Sigma = &s.Time, &exact
	o.Position.Position, o.Position.SigmaKM = &geo.Position{Lat: s.Lat, Lon: s.Lon}, &near
	return o
}

func readScene(t *testing.T, s *render.Scene, o reading.Options) (*reading.Result, *render.Truth) {
	t.Helper()
	path, truth := drawScene(t, s)
	return reading.Read(context.Background(), photofile.At(path), o), truth
}

func drawScene(t *testing.T, s *render.Scene) (path string, truth *render.Truth) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "trap.jpg")
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	if truth, err = s.WriteJPEG(f); err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	return path, truth
}

// expect is what may come of a trap. What render.Scene.Readable calls readable, five
// whole marks and 15 mm of strip clear of other shadows among it, must be read.
type expect struct {
	read    bool             // a heading may be given
	refused []reading.Reason // the reasons that fit; none: it must be read
	hard    bool             // a refusal is no failure, however readable by the letter
}

var (
	mustRead    = expect{read: true}
	noShadow    = expect{refused: []reading.Reason{reading.NoShadow}}
	refused     = expect{refused: []reading.Reason{reading.NoShadow, reading.AmbiguousShadow, reading.RodHidesShadow}}
	lies        = expect{refused: []reading.Reason{reading.NoShadow, reading.AmbiguousShadow, reading.ClockCheck}}
	readOrNot   = expect{read: true, refused: refused.refused}
	hard        = expect{read: true, refused: refused.refused, hard: true}
	unseen      = expect{read: true, refused: append(refused.refused, reading.NotHanging), hard: true} // of a thread, too little
	notHung     = expect{refused: unseen.refused}                                                      // where a rod stands beside the thread
	hidden      = expect{refused: []reading.Reason{reading.RodHidesShadow, reading.NoShadow}}
	dim         = expect{refused: []reading.Reason{reading.NoShadow, reading.TooFewMarks, reading.PoorMap}}
	dimOrNot    = expect{read: true, refused: dim.refused}
	otherSheet  = expect{refused: []reading.Reason{reading.MoreSheets}}
	hiddenOrNot = expect{read: true, refused: hidden.refused}
)

// check holds a reading against the truth and says how it came out.
func (e expect) check(t *testing.T, r *reading.Result, truth *render.Truth) {
	t.Helper()
	if !r.OK() {
		t.Logf("refused: %s", r.Reason)
		if !slices.Contains(e.refused, r.Reason) || r.Message == "" {
			t.Errorf("refused as %s (%s), want %v or a heading: %t", r.Reason, r.Message, e.refused, e.read)
		}
		if e.read && truth.Readable && !e.hard {
			t.Errorf("refused as %s though readable", r.Reason)
		}
		return
	}
	if truth.StripReader == nil {
		t.Errorf("CONFIDENT: heading %v ± %v where there is none", *r.Heading, r.Sigma)
		return
	}
	err := (*r.Heading - r.Correction - angle.FromDegrees(*truth.StripReader)).Signed()
	sigma := proof.WithoutLevel(*r.Budget)
	t.Logf("read: error %+.4f°, sigma %.4f° (%+.1f)", err.Degrees(), sigma.Degrees(), float64(err/sigma))
	if err.Abs() > 4*sigma || err.Abs() > 1*angle.Degree {
		t.Errorf("WRONG: error %v, sigma %v, %.1f sigmas", err, sigma, float64(err/sigma))
	}
	if !e.read {
		t.Errorf("read, want a refusal as one of %v", e.refused)
	}
}

const deg = angle.Degree

// bar is the shadow of a straight bar far above the sheet.
func bar(offset float64, dir angle.Angle, width, penumbra float64) render.Shade {
	return render.Shade{Offset: offset, Dir: dir, Width: width, Penumbra: penumbra}
}

var inf = math.Inf(1)

var traps = []struct {
	name     string
	altitude angle.Angle
	tilt     angle.Angle // of the camera
	dir      angle.Angle // in which it stands
	want     expect
	set      func(*render.Scene)
	rod      bool // whether height and diameter of the first rod are given
}{
	// The image of the rod runs from the foot away from the camera, as a shadow
	// would. 250 degrees is on the line behind the foot.
	{name: "rod image/on the line", altitude: 25 * deg, tilt: 45 * deg, dir: 250 * deg, want: hidden},
	{name: "rod image/2 off", altitude: 25 * deg, tilt: 45 * deg, dir: 252 * deg, want: hiddenOrNot},
	{name: "rod image/4 off", altitude: 25 * deg, tilt: 45 * deg, dir: 246 * deg, want: hiddenOrNot},
	{name: "rod image/7 off", altitude: 25 * deg, tilt: 45 * deg, dir: 257 * deg, want: hiddenOrNot},
	{name: "rod image/10 off", altitude: 25 * deg, tilt: 45 * deg, dir: 239 * deg, want: mustRead, rod: true},
	{name: "rod image/13 off", altitude: 25 * deg, tilt: 45 * deg, dir: 264 * deg, want: mustRead},
	{name: "rod image/on the line, steep", altitude: 30 * deg, tilt: 15 * deg, dir: 250 * deg, want: mustRead},
	{name: "rod image/opposite", altitude: 30 * deg, tilt: 45 * deg, dir: 70 * deg, want: mustRead},
	{name: "rod image/square", altitude: 30 * deg, tilt: 58 * deg, dir: 160 * deg, want: mustRead},
	{name: "rod image/on the line, black", altitude: 40 * deg, tilt: 55 * deg, dir: 250 * deg, want: hidden, set: black},

	{name: "rod image/opposite, unlit, under a head", altitude: 25 * deg, tilt: 27 * deg, dir: 70 * deg, want: mustRead, set: func(s *render.Scene) {
		s.Rods[0].Diameter, s.Rods[0].Material = 2.6, render.Dowel
		s.Rods[0].Collars = []render.Collar{{From: 48.5, To: 50, Diameter: 8.4}}
	}},
	{name: "rod image/opposite, white, in clay", altitude: 23 * deg, tilt: 54 * deg, dir: 72 * deg, want: mustRead, set: func(s *render.Scene) {
		s.Rods[0].Diameter, s.Rods[0].Material = 3.7, render.White
		s.Rods[0].Collars = []render.Collar{{From: 0, To: 3, Diameter: 12}, {From: 3, To: 6, Diameter: 8.7}}
	}},

	// No shadow at all: the rod's image is the only line.
	{name: "overcast/steel", altitude: 35 * deg, tilt: 30 * deg, dir: 200 * deg, want: noShadow, set: overcast},
	{name: "overcast/black", altitude: 35 * deg, tilt: 45 * deg, dir: 200 * deg, want: refused, set: func(s *render.Scene) { overcast(s); black(s) }},
	{name: "overcast/black, known", altitude: 35 * deg, tilt: 45 * deg, dir: 200 * deg, want: refused, set: func(s *render.Scene) { overcast(s); black(s) }, rod: true},
	{name: "overcast/black, leaning 4", altitude: 35 * deg, tilt: 40 * deg, dir: 200 * deg, want: refused, set: func(s *render.Scene) { overcast(s); black(s); lean(s, 4*deg, 110*deg) }},
	{name: "overcast/black, 110 mm high", altitude: 35 * deg, tilt: 35 * deg, dir: 200 * deg, want: refused, set: func(s *render.Scene) { overcast(s); black(s); s.Rods[0].Height = 110 }},
	{name: "overcast/black, 7 mm thick", altitude: 35 * deg, tilt: 35 * deg, dir: 200 * deg, want: refused, set: func(s *render.Scene) { overcast(s); black(s); s.Rods[0].Diameter = 7 }},
	{name: "overcast/black, 2 mm off the foot", altitude: 35 * deg, tilt: 45 * deg, dir: 200 * deg, want: refused, set: func(s *render.Scene) { overcast(s); black(s); s.Rods[0].Foot = sheet.Point{X: 2} }},
	{name: "overcast/black, from above", altitude: 35 * deg, tilt: 2 * deg, dir: 200 * deg, want: refused, set: func(s *render.Scene) { overcast(s); black(s) }},
	{name: "no rod", altitude: 35 * deg, tilt: 30 * deg, dir: 200 * deg, want: noShadow, set: noRod},

	// The rod stands on a smaller sheet beside the one whose marks are read, and its shadow
	// falls over that one's foot: the heading would be the wrong sheet's.
	{name: "two sheets/the rod on one less than half as large", altitude: 12 * deg, tilt: 25 * deg, dir: 200 * deg, want: otherSheet, set: onSmallSheet(0.4)},
	{name: "two sheets/the rod on one whose marks are too small", altitude: 12 * deg, tilt: 25 * deg, dir: 200 * deg, want: refused, set: onSmallSheet(0.15)},

	// Other shadows.
	{name: "bar/crossing at 90", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: mustRead, set: shade(bar(30, 160*deg, 6, 3))},
	{name: "bar/crossing at 45", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: readOrNot, set: shade(bar(22, 115*deg, 5, 2))},
	{name: "bar/crossing at 20", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: readOrNot, set: shade(bar(12, 90*deg, 4, 1.5))},
	{name: "bar/crossing at 10", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: readOrNot, set: shade(bar(6, 80*deg, 3, 1))},
	{name: "bar/broad, crossing at 60", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: readOrNot, set: shade(bar(30, 130*deg, 22, 8))},
	{name: "bar/wire crossing near the foot", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: readOrNot, set: shade(bar(4, 150*deg, 1.5, 1))},
	{name: "bar/crossing over the foot", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: readOrNot, set: shade(bar(0, 150*deg, 3, 0.6))},
	{name: "bar/crossing over the foot at 30", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: hard, set: shade(bar(0.5, 100*deg, 3, 0.6))},
	{name: "bar/parallel, 2.5 mm", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: readOrNot, set: shade(bar(2.5, shadowDir, 3, 0.8))},
	{name: "bar/parallel, 4 mm", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: hard, set: shade(bar(4, shadowDir, 3, 0.8))},
	{name: "bar/parallel, 7 mm", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: hard, set: shade(bar(-7, shadowDir, 3, 0.8))},
	{name: "bar/parallel, 20 mm", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: mustRead, set: shade(bar(20, shadowDir, 3, 0.8))},
	{name: "bar/nearly parallel over the strip", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: readOrNot, set: shade(bar(1, shadowDir+1*deg, 3, 0.8))},
	{name: "bar/edge of a roof along the strip", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: readOrNot, set: shade(bar(1.5, shadowDir, inf, 1))},
	{name: "bar/edge of a roof over the foot", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: readOrNot, set: shade(bar(0, 30*deg, inf, 2))},
	{name: "bar/through the foot, no rod", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: refused, set: func(s *render.Scene) { noRod(s); s.Shades = []render.Shade{bar(0, 40*deg, 3, 0.6)} }},
	{name: "bar/1.5 mm off the foot, no rod", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: refused, set: func(s *render.Scene) { noRod(s); s.Shades = []render.Shade{bar(1.5, 40*deg, 3, 0.6)} }},

	// A wire's shadow or a crease along the rod's image, which hides where it goes on
	// behind the foot, and for which it may be taken.
	{name: "bar/along the rod's image, no rod", altitude: 25 * deg, tilt: 45 * deg, dir: 138 * deg, want: refused, set: func(s *render.Scene) { noRod(s); s.Shades = []render.Shade{bar(-0.6, 145*deg, 2.8, 1.1)} }},
	{name: "bar/along the rod's image, broader than the rod", altitude: 40 * deg, tilt: 18 * deg, dir: 356 * deg, want: expect{read: true, refused: append(lies.refused, reading.RodHidesShadow), hard: true}, set: func(s *render.Scene) {
		s.Rods[0].Height, s.Rods[0].Diameter, s.Rods[0].Material = 30, 1.3, render.White
		s.Shades = []render.Shade{bar(-0.8, 176*deg, 4.3, 4.1)}
	}},
	{name: "bar/along the rod's image and shadow", altitude: 34 * deg, tilt: 41 * deg, dir: 247 * deg, want: readOrNot, set: func(s *render.Scene) {
		s.Rods[0].Height, s.Rods[0].Diameter, s.Rods[0].Material = 71, 2.3, render.Black
		s.Shades = []render.Shade{bar(1.1, shadowDir, 4.8, 0.5)}
	}},
	{name: "bar/along the rod's image, beyond its tip", altitude: 52 * deg, tilt: 31 * deg, dir: 65 * deg, want: readOrNot, set: func(s *render.Scene) {
		black(s)
		s.Rods[0].Height = 36
		s.Shades = []render.Shade{bar(-0.8, 239*deg, 2, 1.3)}
	}},
	// The rod's image covers its shadow, and a wire's as broad runs along both and on to the camera.
	{name: "bar/along the rod's image and shadow, as broad", altitude: 25 * deg, tilt: 45 * deg, dir: 250 * deg, want: hidden, set: shade(bar(0, shadowDir, 3, 0.6))},
	{name: "bar/along the rod's image and shadow, as broad and soft", altitude: 25 * deg, tilt: 50 * deg, dir: 250 * deg, want: hidden, set: shade(bar(0.3, shadowDir+2*deg, 3, 2))},
	{name: "bar/along the rod's image and shadow, as broad, of brass", altitude: 30 * deg, tilt: 55 * deg, dir: 250 * deg, want: hidden, set: func(s *render.Scene) {
		s.Rods[0].Material = render.Brass
		s.Shades = []render.Shade{bar(-0.3, shadowDir-1*deg, 3, 1)}
	}},
	{name: "crease/along the rod's image, overcast", altitude: 25 * deg, tilt: 54 * deg, dir: 64 * deg, want: refused, set: func(s *render.Scene) { overcast(s); black(s); crease(-2.4, 256*deg, 1, -0.53)(s) }},
	{name: "crease/of the rod's width, the foot in a larger shadow", altitude: 34 * deg, tilt: 31 * deg, dir: 187 * deg, want: readOrNot, rod: true, set: func(s *render.Scene) {
		s.Rods[0].Height, s.Rods[0].Diameter, s.Rods[0].Material = 56, 2.4, render.Brass
		s.Shades = []render.Shade{bar(-6.5, 7*deg, inf, 0.7)}
		crease(-0.1, 66*deg, 0.9, -0.36)(s)
	}},
	{name: "bar/through the foot along the shadow", altitude: 45 * deg, tilt: 56 * deg, dir: 162 * deg, want: readOrNot, set: func(s *render.Scene) {
		moonlight(3200, 0.4)(s)
		s.Rods[0].Height, s.Rods[0].Diameter, s.Rods[0].Material = 33, 4.1, render.Dowel
		s.Shades = []render.Shade{bar(4.4, -16*deg, 4, 0.2), bar(-0.8, shadowDir-1*deg, 1.8, 1.6)}
	}},
	{name: "bar/runs into the strip from 2.4 mm off", altitude: 10 * deg, tilt: 26 * deg, dir: 159 * deg, want: readOrNot, set: func(s *render.Scene) {
		s.Rods[0].Height, s.Rods[0].Material = 120, render.White
		s.Shades = []render.Shade{bar(2.4, shadowDir-4*deg, 1.7, 3)}
	}},
	// As long as a shadow that a board out of level would explain, and no penumbra.
	// Seen from above no rod is told from its foot, and sharpening hides how edges blur.
	{name: "rod/from above, sharpened", altitude: 17 * deg, tilt: 2 * deg, dir: 200 * deg, want: mustRead, set: sharpened},
	{name: "stick/lying over the page's edge, from above, sharpened", altitude: 17 * deg, tilt: 2 * deg, dir: 200 * deg, want: refused, set: fallen(180, shadowDir, sharpened)},
	{name: "stick/lying over the page's edge, from above, sharpened, overcast", altitude: 17 * deg, tilt: 2 * deg, dir: 200 * deg, want: refused, set: fallen(180, 72*deg, sharpened, overcast)},
	{name: "stick/lying over a mark, from above, sharpened, overcast", altitude: 17 * deg, tilt: 2 * deg, dir: 200 * deg, want: refused, set: fallen(125, 135*deg, sharpened, overcast)},
	{name: "stick/lying over the page's edge, in another's shade, sharpened", altitude: 17 * deg, tilt: 2 * deg, dir: 200 * deg, want: refused, set: fallen(180, 250*deg, sharpened, overcast, func(s *render.Scene) {
		s.Shades = []render.Shade{bar(60, 250*deg, inf, 0.7)}
	})},
	{name: "stick/lying from the rod's foot, overcast", altitude: 30 * deg, tilt: 28 * deg, dir: 200 * deg, want: lies, set: lying(57, 140*deg)},
	{name: "stick/lying from the rod's foot, overcast, longer", altitude: 30 * deg, tilt: 28 * deg, dir: 200 * deg, want: lies, set: lying(100, 300*deg)},
	// Poles that stand elsewhere and lean cast a shadow through the foot, the rod's own being behind its image.
	{name: "pole/leaning, its shadow through the foot", altitude: 33 * deg, tilt: 25 * deg, dir: 250 * deg, want: refused, set: leaningPole(-48, 43, 142, 3.3, 238*deg)},
	{name: "pole/leaning, its shadow through the foot, steeper", altitude: 43 * deg, tilt: 20 * deg, dir: 250 * deg, want: refused, set: leaningPole(-87, 71, 130, 2.7, 241*deg)},
	{name: "pole/leaning, its shadow ends at the foot", altitude: 48 * deg, tilt: 35 * deg, dir: 250 * deg, want: refused, set: leaningPole(134, -1, 140, 3.0, 261*deg)},
	{name: "pole/leaning, its shadow ends at the foot, seen obliquely", altitude: 49 * deg, tilt: 49 * deg, dir: 250 * deg, want: refused, set: leaningPole(146, 0, 128, 2.9, 240*deg)},
	{name: "pole/leaning, its shadow ends at the foot, the rod's own in sight", altitude: 39 * deg, tilt: 18 * deg, dir: 250 * deg, want: readOrNot, set: leaningPole(86, -4, 104, 2.9, 262*deg)},
	// Just as long as the sun's shadow would be, so that the clock cannot tell.
	{name: "stick/lying as a shadow would, to beyond the ring", altitude: 30 * deg, tilt: 28 * deg, dir: 200 * deg, want: lies, set: lying(70, 140*deg)},
	{name: "stick/lying as a shadow would, over the page's edge", altitude: 20 * deg, tilt: 28 * deg, dir: 200 * deg, want: lies, set: lying(110, 80*deg)},
	{name: "stick/lying as a shadow would, short", altitude: 55 * deg, tilt: 28 * deg, dir: 200 * deg, want: lies, set: lying(28, 250*deg)},
	{name: "stick/lying as a shadow would, short, sharpened", altitude: 55 * deg, tilt: 28 * deg, dir: 200 * deg, want: lies, set: func(s *render.Scene) { lying(35, 250*deg)(s); sharpened(s) }},
	{name: "stick/lying as a shadow would, brass, 6 mm off the foot", altitude: 50 * deg, tilt: 28 * deg, dir: 200 * deg, want: lies, set: stick(42, 300*deg, 6, 3, render.Brass)},
	{name: "stick/lying as a shadow would, steel, at the foot", altitude: 36 * deg, tilt: 20 * deg, dir: 20 * deg, want: lies, set: stick(69, 110*deg, 1.6, 3, render.Steel)},
	{name: "stick/lying as a shadow would, black, at the foot", altitude: 40 * deg, tilt: 20 * deg, dir: 120 * deg, want: lies, set: stick(59, 10*deg, 1.6, 2.5, render.Black)},
	{name: "stick/lying as a shadow would, dark, no rod, from above", altitude: 50 * deg, tilt: 2 * deg, dir: 200 * deg, want: lies, set: func(s *render.Scene) { stick(42, 300*deg, 0, 3, render.Black)(s); noRod(s) }},
	{name: "stick/lying as a shadow would, short, of wood", altitude: 49 * deg, tilt: 30 * deg, dir: 200 * deg, want: lies, set: stick(43, 125*deg, 0, 3, render.Dowel)},
	{name: "stick/lying as a shadow would, short, black", altitude: 52 * deg, tilt: 35 * deg, dir: 300 * deg, want: lies, set: stick(39, 33*deg, 0, 3, render.Black)},
	{name: "stick/lying as a shadow would, short, steel", altitude: 60 * deg, tilt: 25 * deg, dir: 20 * deg, want: lies, set: stick(29, 150*deg, 0, 3, render.Steel)},
	{name: "stick/lying beside the shadow, in the sun", altitude: 40 * deg, tilt: 28 * deg, dir: 200 * deg, want: readOrNot, set: func(s *render.Scene) {
		body := s.Light.Body
		stick(59, 150*deg, 1.6, 3, render.Dowel)(s)
		s.Light.Body = body
	}},
	{name: "stick/lying on the paper, the rod's place in a shadow", altitude: 36 * deg, tilt: 39 * deg, dir: 313 * deg, want: refused, set: func(s *render.Scene) {
		noRod(s)
		s.Shades = []render.Shade{bar(6.4, 56*deg, inf, 0.8)}
		s.Occluders = []render.Occluder{{From: sheet.Point{X: 0.7, Y: 0.4}, To: sheet.Point{X: -27, Y: -11}, Radius: 0.5}}
	}},
	{name: "photographer/head beside the strip", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: mustRead, set: blob(-60, -40, 45, 10)},
	{name: "photographer/head over the strip's end", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: readOrNot, set: blob(75, 20, 40, 8)},
	{name: "photographer/edge along the strip", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: hard, set: blob(35, -38, 45, 10)},
	{name: "photographer/head over the foot", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: hard, set: blob(-10, 0, 40, 8)},
	{name: "photographer/head over all", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: refused, set: blob(0, 0, 130, 12)},

	// Creases, dirt.
	{name: "crease/through the foot", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: mustRead, set: crease(0, 10*deg, 0.6, -0.12)},
	{name: "crease/through the foot, deep", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: readOrNot, set: crease(0, 10*deg, 0.8, -0.45)},
	{name: "crease/through the foot, near the strip", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: readOrNot, set: crease(0, shadowDir+4*deg, 0.6, -0.15)},
	{name: "crease/along the strip's edge", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: readOrNot, set: crease(1.8, shadowDir, 0.5, -0.15)},
	{name: "crease/along the strip's edge, light", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: readOrNot, set: crease(1.8, shadowDir+1*deg, 0.5, 0.12)},
	{name: "crease/through the foot, no rod", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: refused, set: func(s *render.Scene) { noRod(s); crease(0, 110*deg, 0.8, -0.4)(s) }},
	{name: "crease/through the foot, overcast", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: refused, set: func(s *render.Scene) { overcast(s); crease(0.2, 115*deg, 0.8, -0.3)(s) }},
	{name: "dirt", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: mustRead, set: func(s *render.Scene) { s.Paper.Dirt = 0.6 }},
	{name: "dirt/filthy", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: readOrNot, set: func(s *render.Scene) { s.Paper.Dirt = 1 }},

	// Two rods.
	{name: "two rods/8 mm beside", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: readOrNot, set: second(-4, 7)},
	{name: "two rods/3 mm beside", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: readOrNot, set: second(-1, 3)},
	{name: "two rods/25 mm off", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: readOrNot, set: second(-15, 20)},
	{name: "two rods/elsewhere", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: mustRead, set: second(-50, -60)},
	{name: "two rods/behind, on the line", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: readOrNot, set: second(-28.19, -10.26)},
	{name: "two rods/behind, the shadows overlap", altitude: 68 * deg, tilt: 2 * deg, dir: 200 * deg, want: readOrNot, set: func(s *render.Scene) {
		s.Rods[0].Height = 81
		second(-22, -6)(s)
		s.Rods[1].Height = 90
	}},
	{name: "two rods/none on the foot", altitude: 30 * deg, tilt: 20 * deg, dir: 200 * deg, want: refused, set: func(s *render.Scene) { s.Rods[0].Foot = sheet.Point{X: -20, Y: 25} }},

	// Short and long shadows.
	{name: "sun at 70", altitude: 70 * deg, tilt: 15 * deg, dir: 200 * deg, want: readOrNot},
	{name: "sun at 72", altitude: 72 * deg, tilt: 15 * deg, dir: 200 * deg, want: readOrNot},
	{name: "sun at 75", altitude: 75 * deg, tilt: 15 * deg, dir: 200 * deg, want: readOrNot},
	{name: "sun at 78", altitude: 78 * deg, tilt: 15 * deg, dir: 200 * deg, want: readOrNot},
	{name: "sun at 78, tall rod", altitude: 78 * deg, tilt: 5 * deg, dir: 200 * deg, want: readOrNot, set: func(s *render.Scene) { s.Rods[0].Height = 120 }, rod: true},
	{name: "sun at 75, black, oblique", altitude: 75 * deg, tilt: 45 * deg, dir: 200 * deg, want: readOrNot, set: black},
	{name: "sun at 10", altitude: 10 * deg, tilt: 15 * deg, dir: 200 * deg, want: mustRead},
	{name: "sun at 4", altitude: 4 * deg, tilt: 15 * deg, dir: 200 * deg, want: readOrNot},

	// Light.
	{name: "haze", altitude: 35 * deg, tilt: 20 * deg, dir: 200 * deg, want: mustRead, set: func(s *render.Scene) {
		s.Light.HazeFraction, s.Light.HazeDisc, s.Light.ShadowRatio = 0.35, 5*deg, 0.4
	}},
	{name: "haze/thick", altitude: 35 * deg, tilt: 20 * deg, dir: 200 * deg, want: readOrNot, set: func(s *render.Scene) {
		s.Light.HazeFraction, s.Light.HazeDisc, s.Light.ShadowRatio = 0.7, 8*deg, 0.7
	}},
	{name: "over-exposed/by 1.3", altitude: 35 * deg, tilt: 20 * deg, dir: 200 * deg, want: mustRead, set: func(s *render.Scene) { s.Light.Exposure = 1.3 }},
	{name: "over-exposed/by 2", altitude: 35 * deg, tilt: 20 * deg, dir: 200 * deg, want: readOrNot, set: func(s *render.Scene) { s.Light.Exposure = 2 }},
	{name: "over-exposed/by 4", altitude: 35 * deg, tilt: 20 * deg, dir: 200 * deg, want: dimOrNot, set: func(s *render.Scene) { s.Light.Exposure = 4 }},
	{name: "over-exposed/by 6, overcast", altitude: 35 * deg, tilt: 20 * deg, dir: 200 * deg, want: dim, set: func(s *render.Scene) { overcast(s); s.Light.Exposure = 6 }},
	{name: "moonlight/ISO 3200", altitude: 35 * deg, tilt: 20 * deg, dir: 200 * deg, want: mustRead, set: moonlight(3200, 0.4)},
	{name: "moonlight/ISO 6400", altitude: 35 * deg, tilt: 20 * deg, dir: 200 * deg, want: dimOrNot, set: moonlight(6400, 0.5)},
	{name: "moonlight/ISO 12800, faint", altitude: 35 * deg, tilt: 20 * deg, dir: 200 * deg, want: dimOrNot, set: moonlight(12800, 0.8)},
	{name: "moonlight/ISO 6400, no shadow", altitude: 35 * deg, tilt: 20 * deg, dir: 200 * deg, want: dim, set: func(s *render.Scene) { moonlight(6400, 0.5)(s); overcast(s) }},

	// Rods.
	{name: "rod/brass", altitude: 40 * deg, tilt: 40 * deg, dir: 200 * deg, want: mustRead, set: func(s *render.Scene) { s.Rods[0].Material = render.Brass }},
	{name: "rod/white", altitude: 40 * deg, tilt: 40 * deg, dir: 200 * deg, want: mustRead, set: func(s *render.Scene) { s.Rods[0].Material = render.White }},
	{name: "rod/black", altitude: 40 * deg, tilt: 40 * deg, dir: 200 * deg, want: mustRead, set: black},
	{name: "rod/dowel", altitude: 40 * deg, tilt: 40 * deg, dir: 200 * deg, want: mustRead, set: func(s *render.Scene) { s.Rods[0].Material = render.Dowel }},
	{name: "rod/capped", altitude: 45 * deg, tilt: 30 * deg, dir: 200 * deg, want: mustRead, set: func(s *render.Scene) { s.Rods[0].Cap = 8 }},
	{name: "rod/leaning 2", altitude: 40 * deg, tilt: 30 * deg, dir: 200 * deg, want: mustRead, set: func(s *render.Scene) { lean(s, 2*deg, 160*deg) }},
	{name: "rod/leaning 6", altitude: 40 * deg, tilt: 30 * deg, dir: 200 * deg, want: mustRead, set: func(s *render.Scene) { lean(s, 6*deg, 340*deg) }},
	{name: "rod/1 mm off the foot", altitude: 40 * deg, tilt: 30 * deg, dir: 200 * deg, want: mustRead, set: func(s *render.Scene) { s.Rods[0].Foot = sheet.Point{X: -0.3, Y: 0.95} }},
	{name: "rod/2 mm off the foot", altitude: 40 * deg, tilt: 30 * deg, dir: 200 * deg, want: mustRead, set: func(s *render.Scene) { s.Rods[0].Foot = sheet.Point{X: 0.6, Y: -1.9} }},
	{name: "rod/6 mm off the foot", altitude: 40 * deg, tilt: 30 * deg, dir: 200 * deg, want: refused, set: func(s *render.Scene) { s.Rods[0].Foot = sheet.Point{X: 2, Y: -5.7} }},
	{name: "rod/2 mm thick", altitude: 40 * deg, tilt: 30 * deg, dir: 200 * deg, want: mustRead, set: func(s *render.Scene) { s.Rods[0].Diameter = 2 }},
	{name: "rod/5 mm thick", altitude: 40 * deg, tilt: 30 * deg, dir: 200 * deg, want: mustRead, set: func(s *render.Scene) { s.Rods[0].Diameter = 5 }},
	{name: "rod/9 mm thick", altitude: 40 * deg, tilt: 30 * deg, dir: 200 * deg, want: hard, set: func(s *render.Scene) { s.Rods[0].Diameter = 9 }},
	{name: "rod/1 mm thick", altitude: 40 * deg, tilt: 30 * deg, dir: 200 * deg, want: readOrNot, set: func(s *render.Scene) { s.Rods[0].Diameter = 1 }},
	{name: "rod/110 mm high, black, oblique", altitude: 50 * deg, tilt: 35 * deg, dir: 200 * deg, want: readOrNot, set: func(s *render.Scene) { black(s); s.Rods[0].Height = 110 }},

	// Paper.
	{name: "curled", altitude: 40 * deg, tilt: 30 * deg, dir: 200 * deg, want: mustRead, set: func(s *render.Scene) { s.Paper.Curl, s.Paper.CurlDir = 1, 30*deg }},
	{name: "finger on a mark", altitude: 40 * deg, tilt: 30 * deg, dir: 200 * deg, want: mustRead, set: func(s *render.Scene) {
		s.Occluders = []render.Occluder{{From: sheet.Point{X: 78, Y: 78}, To: sheet.Point{X: 200, Y: 180}, Radius: 9}}
	}},
	{name: "finger along the strip", altitude: 40 * deg, tilt: 30 * deg, dir: 200 * deg, want: hard, set: func(s *render.Scene) {
		s.Occluders = []render.Occluder{{From: sheet.Point{X: 20, Y: -3}, To: sheet.Point{X: 200, Y: 55}, Radius: 9}}
	}},
	{name: "finger from the foot, no rod", altitude: 40 * deg, tilt: 30 * deg, dir: 200 * deg, want: refused, set: func(s *render.Scene) {
		noRod(s)
		s.Occluders = []render.Occluder{{From: sheet.Point{X: 3, Y: -2}, To: sheet.Point{X: 200, Y: -100}, Radius: 4}}
	}},
}

func black(s *render.Scene) { s.Rods[0].Material = render.Black }
func lying(length float64, dir angle.Angle) func(*render.Scene) {
	return func(s *render.Scene) {
		overcast(s)
		s.Occluders = []render.Occluder{{From: sheet.Point{}, To: sheet.Point{X: length * dir.Sin(), Y: length * dir.Cos()}, Radius: 1.25}}
	}
}

// stick is a round one that lies under clouds, from so far off the foot.
func stick(length float64, dir angle.Angle, from, thick float64, look render.Material) func(*render.Scene) {
	return func(s *render.Scene) {
		overcast(s)
		at := func(d float64) sheet.Point { return sheet.Point{X: d * dir.Sin(), Y: d * dir.Cos()} }
		s.Things = []render.Thing{{From: at(from), To: at(length), Diameter: thick, Material: look}}
	}
}

// leaningPole stands on the line through the foot in a direction and has its tip's shadow fall on it, so far
// along it each.
func leaningPole(from, to, high, thick float64, dir angle.Angle) func(*render.Scene) {
	return func(s *render.Scene) {
		s.Rods[0].Material = render.White
		at := func(d float64) sheet.Point { return sheet.Point{X: d * dir.Sin(), Y: d * dir.Cos()} }
		cast := high / s.Light.Altitude.Tan()
		foot, tip := at(from), at(to)
		x, y := tip.X-cast*shadowDir.Sin()-foot.X, tip.Y-cast*shadowDir.Cos()-foot.Y
		s.Rods = append(s.Rods, render.Rod{
			Foot: foot, Height: high, Diameter: thick, Material: render.White,
			Lean: angle.Atan2(math.Hypot(x, y), high), LeanDir: angle.Clockwise(x, y),
		})
	}
}

// fallen is a thing that lies from the foot, where no rod stands.
func fallen(length float64, dir angle.Angle, more ...func(*render.Scene)) func(*render.Scene) {
	return func(s *render.Scene) {
		noRod(s)
		for _, set := range more {
			set(s)
		}
		s.Occluders = []render.Occluder{{From: sheet.Point{}, To: sheet.Point{X: length * dir.Sin(), Y: length * dir.Cos()}, Radius: 1.25}}
	}
}
func sharpened(s *render.Scene) { s.Finish.Phone = render.Phone{Halo: 1.5, HaloPX: 1.6} }
func overcast(s *render.Scene)  { s.Light.Body = render.NoBody }
func noRod(s *render.Scene)     { s.Rods = nil }
func lean(s *render.Scene, by, dir angle.Angle) {
	s.Rods[0].Lean, s.Rods[0].LeanDir = by, dir
}

func shade(b render.Shade) func(*render.Scene) {
	return func(s *render.Scene) { s.Shades = append(s.Shades, b) }
}

func blob(x, y, radius, penumbra float64) func(*render.Scene) {
	return func(s *render.Scene) {
		s.Blobs = []render.Blob{{Centre: sheet.Point{X: x, Y: y}, RX: radius, RY: radius, Penumbra: penumbra}}
	}
}

func crease(offset float64, dir angle.Angle, width, strength float64) func(*render.Scene) {
	return func(s *render.Scene) {
		s.Paper.Creases = []render.Crease{{Offset: offset, Dir: dir, Width: width, Strength: strength}}
	}
}

func second(x, y float64) func(*render.Scene) {
	return func(s *render.Scene) {
		r := s.Rods[0]
		r.Foot = sheet.Point{X: x, Y: y}
		s.Rods = append(s.Rods, r)
	}
}

// onSmallSheet stands the rod on a sheet of a scale that lies where the shadow comes from.
func onSmallSheet(scale float64) func(*render.Scene) {
	return func(s *render.Scene) {
		const away = 190 // mm, beside the board
		s.Rods[0].Foot = sheet.Point{X: -away * shadowDir.Sin(), Y: -away * shadowDir.Cos()}
		s.Another = &render.Another{Foot: s.Rods[0].Foot, Turn: 40 * deg, Scale: scale}
		s.Camera.LookAt(sheet.Point{X: s.Rods[0].Foot.X / 2, Y: s.Rods[0].Foot.Y / 2}, 480, 25*deg, 200*deg, 10*deg)
	}
}

func moonlight(iso int, ratio float64) func(*render.Scene) {
	return func(s *render.Scene) {
		s.Light.ShadowRatio, s.Light.Exposure, s.Finish.ISO = ratio, 0.35, iso
		s.Finish.ReadNoise, s.Finish.ShotNoise = render.NoiseAtISO(iso)
	}
}

func TestTraps(t *testing.T) {
	manyPictures(t)
	for _, tt := range traps {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			s := scene(tt.altitude, tt.tilt, tt.dir)
			if tt.set != nil {
				tt.set(s)
			}
			o := exactly(s)
			if tt.rod {
				o.Rod.HeightMM, o.Rod.DiameterMM = s.Rods[0].Height, s.Rods[0].Diameter
			}
			r, truth := readScene(t, s, o)
			tt.want.check(t, r, truth)
		})
	}
}
