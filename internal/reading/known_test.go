package reading_test

import (
	"context"
	"math"
	"slices"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/calib"
	"shadowread/internal/camera"
	"shadowread/internal/instrument"
	"shadowread/internal/photo"
	"shadowread/internal/reading"
	"shadowread/internal/render"
	"shadowread/internal/sheet"
	"shadowread/internal/vision"
)

// lensOf is a record of the renderer's camera, as well known as eight photos make it.
func lensOf(c *render.Camera) *camera.Match {
	return &camera.Match{Path: "camera.toml", Record: camera.LensRecord{
		Camera: camera.Camera{WidthPX: c.Width, HeightPX: c.Height},
		Lens:   calib.Lens{F: c.Fx, Cx: c.Cx, Cy: c.Cy, K1: c.Dist[0], K2: c.Dist[1], P1: c.Dist[2], P2: c.Dist[3], K3: c.Dist[4]},
		Sigma:  calib.LensSigma{F: 0.2, Cx: 0.2, Cy: 0.2, K1: 5e-4, K2: 2e-3, K3: 2e-3, P1: 3e-5, P2: 3e-5},
	}}
}

func warned(r *reading.Result, code string) bool {
	return slices.ContainsFunc(r.Warnings, func(w photo.Warning) bool { return w.Code == code })
}

// Through a known lens a photo shows its print's stretch (the renderer's, within three
// sigmas), and the heading's sigma covers what is left of it: the shadow lies on the
// diagonal, where 0.6 % cost 0.17 degree. A photo from above must warn; a slanted one
// may be less sure of it.
func TestKnownLensShowsAStretchedPrint(t *testing.T) {
	for _, tt := range []struct {
		x, y      float64
		tilt, dir angle.Angle
		warns     bool
	}{
		{1, 1, 8 * deg, 200 * deg, false},
		{1, 1, 38 * deg, 180 * deg, false},
		{1.006, 1, 8 * deg, 200 * deg, true},
		{1, 1.006, 38 * deg, 340 * deg, true},
		{1.006, 1, 38 * deg, 130 * deg, true},
	} {
		s := scene(40*deg, tt.tilt, tt.dir)
		s.Plate.Heading += 25 * deg
		s.Paper.ScaleX, s.Paper.ScaleY = tt.x, tt.y
		o := exactly(s)
		o.Lens = lensOf(&s.Camera)
		r, truth := readScene(t, s, o)
		if !r.OK() {
			t.Errorf("%+v: %s: %s", tt, r.Reason, r.Message)
			continue
		}
		if got := warned(r, "print_stretched"); got != tt.warns && (got || tt.tilt < 15*deg) {
			t.Errorf("%+v: warns of a stretched print: %t", tt, got)
		}
		b := r.Budget
		sigma := angle.Angle(math.Sqrt(float64(b.ShadowFit*b.ShadowFit + b.SheetMap*b.SheetMap + b.Print*b.Print)))
		e := (*r.Heading - angle.FromDegrees(*truth.StripReader)).Signed()
		t.Logf("%+v: stretch %.5f ± %.5f, heading off by %v, sigma %v", tt, r.Plate.Stretch, r.Plate.StretchSigma(), e, sigma)
		if off := math.Abs(r.Plate.Stretch - (tt.x/tt.y - 1)); off > 3*r.Plate.StretchSigma() {
			t.Errorf("%+v: stretch %.5f ± %.5f", tt, r.Plate.Stretch, r.Plate.StretchSigma())
		}
		if e.Abs() > 3*sigma {
			t.Errorf("%+v: heading off by %v, sigma %v", tt, e, sigma)
		}
	}
}

func TestLensOfAnotherCameraIsRefused(t *testing.T) {
	s := scene(40*deg, 20*deg, 200*deg)
	o := exactly(s)
	o.Lens = lensOf(&s.Camera)
	o.Lens.Record.Camera.WidthPX++
	if r, _ := readScene(t, s, o); r.Reason != reading.LensMismatch || r.Heading != nil || r.Message == "" {
		t.Errorf("%q %q", r.Reason, r.Message)
	}
}

// The renderer's instruments, their faults told by a record without doubt: the heading
// is the vehicle's. The bar is a photo's own error, 0.02 degree, and as much for pitch
// and roll taken for slopes.
func TestInstrumentRecordCorrects(t *testing.T) {
	const bar = 0.04 * angle.Degree
	lubber := 1.7 * deg
	for _, tt := range []struct {
		name        string
		pitch, roll angle.Angle
		rod         [2]angle.Angle // off the sheet's normal, to starboard and forward
		foot        sheet.Point
		gnomon      instrument.Gnomon
		lubber      *angle.Angle
	}{
		{"board on a slope", 1.4 * deg, -1.1 * deg, [2]angle.Angle{}, sheet.Point{}, instrument.Rod, nil},
		{"rod leaning in its sheet", 0, 0, [2]angle.Angle{1.8 * deg, -1.2 * deg}, sheet.Point{}, instrument.Rod, nil},
		{"all at once", -0.8 * deg, 0.9 * deg, [2]angle.Angle{-1.1 * deg, 0.7 * deg}, sheet.Point{X: 1.2, Y: -0.9}, instrument.Rod, &lubber},
		{"plumb line beside the centre", 0.7 * deg, -0.8 * deg, [2]angle.Angle{0.8 * deg, 0.7 * deg}, sheet.Point{X: 1.2, Y: -0.9}, instrument.PlumbLine, &lubber},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := scene(48*deg, 25*deg, 200*deg)
			s.Plate.Pitch, s.Plate.Roll = tt.pitch, tt.roll
			rod := instrument.SlopeOf(tt.rod[0], tt.rod[1])
			s.Rods[0].Foot = tt.foot
			s.Rods[0].Lean, s.Rods[0].LeanDir = rod.Tilt()
			// A sheet pitched up and rolled to starboard: the vertical leans forward and to
			// port on it (signs of the series of internal/proof).
			plumb := instrument.SlopeOf(-tt.roll, tt.pitch)
			record := &instrument.Record{Gnomon: tt.gnomon, LevelSigma: 0.1 * deg, AlignmentSigma: 0.2 * deg}
			record.Proved.Lubber = tt.lubber
			if tt.gnomon == instrument.Rod {
				record.Proved.Rod, record.Proved.Lean = rod, rod.Minus(plumb)
				record.Foot = &instrument.Foot{StarboardMM: tt.foot.X, ForwardMM: tt.foot.Y}
			}
			o := exactly(s)
			o.Rod.HeightMM = 50
			if tt.gnomon == instrument.PlumbLine { // measured alike with and without the record
				o.Rod = vision.Rod{Hangs: true}
				s.Rods[0].Height, s.Rods[0].Diameter = 110, 1.6
			}
			plainly, _ := readScene(t, s, o)
			o.Instrument = record
			r, _ := readScene(t, s, o)
			if !r.OK() || !plainly.OK() {
				t.Fatalf("%s: %s", r.Reason, r.Message)
			}
			want := s.Plate.Heading
			if tt.lubber != nil {
				want += *tt.lubber
			}
			e := (*r.Heading - want).Signed()
			t.Logf("off by %v, uncorrected by %v, warnings %v", e, (*plainly.Heading - want).Signed(), r.Warnings)
			if e.Abs() > bar {
				t.Errorf("heading %v is off by %v", *r.Heading, e)
			}
			if d := (*r.Heading - r.Correction - *plainly.Heading + plainly.Correction).Signed().Abs(); d > 1e-9 {
				t.Errorf("the correction %v is not what the heading changed by", r.Correction)
			}
			if warned(r, "shadow_off_foot") || warned(r, "clock_check_failed") {
				t.Errorf("warns of what the record explains: %v", r.Warnings)
			}
			level := 0.1 * r.Sky.Altitude.Tan()
			if tt.gnomon == instrument.PlumbLine {
				level = 0.1 * (0.1 * deg).Tan() // the tilt squared
			}
			if math.Abs(r.Budget.Level.Degrees()-level) > 1e-6 || math.Abs(r.Budget.Alignment.Degrees()-0.2) > 1e-9 {
				t.Errorf("budget: level %v, want %.6f°; alignment %v, want 0.2°", r.Budget.Level, level, r.Budget.Alignment)
			}
		})
	}
}

// A number read by eye is turned by the foot: asin(offset / 58 mm), the radius of the
// scale (sheet/standard-sheet.json). The shadow of number 0 lies aft, where a foot 1 mm
// to starboard is to the left: it reads asin(1/58) = 0.98786 degree too high.
func TestInstrumentRecordCorrectsANumber(t *testing.T) {
	s := scene(48*deg, 25*deg, 200*deg)
	o := exactly(s)
	plainly := reading.ReadNumber(context.Background(), 0, 0, o)
	o.Instrument = &instrument.Record{Gnomon: instrument.Rod, Foot: &instrument.Foot{StarboardMM: 1, SigmaMM: 0.2}}
	r := reading.ReadNumber(context.Background(), 0, 0, o)
	if !r.OK() || !plainly.OK() {
		t.Fatal(r.Message, plainly.Message)
	}
	if d := (*plainly.Heading - *r.Heading).Signed().Degrees(); math.Abs(d-0.98786) > 0.0005 {
		t.Errorf("turned by %.5f°", d)
	}
	want := math.Hypot(0.5, 0.2/58*180/math.Pi)
	if math.Abs(r.Budget.ShadowFit.Degrees()-want) > 1e-6 {
		t.Errorf("sigma %v, want %.6f°", r.Budget.ShadowFit, want)
	}
}

// A shadow drawn on the paper of a stretched print, from the rod's foot: where it meets
// the printed scale, an ellipse of 58 mm times the two scales, the number of the drawing
// is read there. The heading must be that of the shadow's true direction, whatever the
// print. Plane geometry, the other way round than the program goes.
func TestStretchedPrintByEye(t *testing.T) {
	s := scene(48*deg, 25*deg, 200*deg)
	for _, scale := range [][2]float64{{1, 1}, {1, 0.98}, {1.03, 0.99}, {0.95, 1.05}} {
		for _, foot := range [][2]float64{{0, 0}, {2, -3}, {-6, 4}} {
			for direction := 0.0; direction < 360; direction += 15 {
				sin, cos := math.Sincos(direction * math.Pi / 180)
				// |(foot + k (sin, cos)) / scale| = 58
				a := square(sin/scale[0]) + square(cos/scale[1])
				b := foot[0]*sin/square(scale[0]) + foot[1]*cos/square(scale[1])
				c := square(foot[0]/scale[0]) + square(foot[1]/scale[1]) - 58*58
				k := (-b + math.Sqrt(b*b-a*c)) / a
				drawn := math.Atan2((foot[0]+k*sin)/scale[0], (foot[1]+k*cos)/scale[1]) * 180 / math.Pi
				number := angle.FromDegrees(180 - drawn).Bearing()

				o := exactly(s)
				o.PrintScale = &scale
				o.Instrument = &instrument.Record{Gnomon: instrument.Rod, Foot: &instrument.Foot{StarboardMM: foot[0], ForwardMM: foot[1], SigmaMM: 0.1}}
				r := reading.ReadNumber(context.Background(), number, 0, o)
				if !r.OK() {
					t.Fatal(r.Message)
				}
				want := r.Sky.Azimuth + angle.FromDegrees(180-direction)
				if e := (*r.Heading - want).Signed(); e.Abs() > 1e-9 {
					t.Errorf("print %v, foot %v, shadow %v: heading %v is off by %v", scale, foot, direction, *r.Heading, e)
				}
				// What was measured of the stretch is known to 0.08 % (docs/method.md).
				if most := 0.0008 / 2 * 180 / math.Pi; r.Budget.Print.Degrees() > 1.0001*most {
					t.Errorf("print %v: its term is %v", scale, r.Budget.Print)
				}
				if *r.Number != number {
					t.Errorf("the number %v was read, not %v", number, *r.Number)
				}
			}
		}
	}
}

func square(x float64) float64 { return x * x }
