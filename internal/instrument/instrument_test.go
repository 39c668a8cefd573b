package instrument

import (
	"errors"
	"math"
	"math/rand/v2"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/testtable"
)

const deg = angle.Degree

// The reference is an independent ray-tracing renderer (testdata/projection.csv).
func TestShadowsOfARenderer(t *testing.T) {
	rows := testtable.Read(t, "testdata/projection.csv")
	if len(rows) != 8 {
		t.Fatalf("%d rows, want 8", len(rows))
	}
	for _, row := range rows {
		d := func(column string) angle.Angle { return angle.FromDegrees(row.Number(t, column)) }
		direction, length, ok := ShadowOn(d("heading"), slopeOfPlumb(d("pitch"), d("roll")), Slope{}, d("azimuth"), d("altitude"))
		if !ok {
			t.Errorf("%s: no shadow", row["photo"])
			continue
		}
		// Both are double precision.
		if e := (direction - d("direction")).Signed().Abs(); e > 1e-7*deg {
			t.Errorf("%s: direction %v, the renderer has %v", row["photo"], direction, d("direction"))
		}
		if want := row.Number(t, "length_per_height"); math.Abs(length/want-1) > 1e-9 {
			t.Errorf("%s: length %v, the renderer has %v", row["photo"], length, want)
		}
	}
}

// slopeOfPlumb is the slope of the vertical in a plate with its forward edge up by pitch
// and its starboard edge down by roll about the forward axis.
func slopeOfPlumb(pitch, roll angle.Angle) Slope {
	return Slope{Starboard: -roll.Tan(), Forward: pitch.Tan() / roll.Cos()}
}

// Rods that lean on tilted sheets: the ray from the rod's tip against the light is run on
// in the horizon's frame, by gonum's rotations, until it meets the plate.
func TestRaysThroughTheTip(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for range 500 {
		heading := angle.Angle(2 * math.Pi * r.Float64())
		pitch, roll := 8*deg*angle.Angle(r.NormFloat64()/2), 8*deg*angle.Angle(r.NormFloat64()/2)
		rod := Slope{0.1 * r.NormFloat64(), 0.1 * r.NormFloat64()}
		azimuth, altitude := angle.Angle(2*math.Pi*r.Float64()), 15*deg+55*deg*angle.Angle(r.Float64())

		// x east, y north, z up. Roll about north, then pitch about east, then heading.
		turn := func(v r3.Vec) r3.Vec {
			v = r3.NewRotation(float64(roll), r3.Vec{Y: 1}).Rotate(v)
			v = r3.NewRotation(float64(pitch), r3.Vec{X: 1}).Rotate(v)
			return r3.NewRotation(-float64(heading), r3.Vec{Z: 1}).Rotate(v)
		}
		starboard, forward, normal := turn(r3.Vec{X: 1}), turn(r3.Vec{Y: 1}), turn(r3.Vec{Z: 1})
		tip := turn(r3.Vec{X: rod.Starboard, Y: rod.Forward, Z: 1})
		sun := r3.Vec{X: altitude.Cos() * azimuth.Sin(), Y: altitude.Cos() * azimuth.Cos(), Z: altitude.Sin()}
		if r3.Dot(sun, normal) < 0.05 {
			continue
		}
		end := r3.Sub(tip, r3.Scale(r3.Dot(tip, normal)/r3.Dot(sun, normal), sun))
		x, y := r3.Dot(end, starboard), r3.Dot(end, forward)

		got, length, ok := ShadowOn(heading, slopeOfPlumb(pitch, roll), rod, azimuth, altitude)
		if e := (got - angle.Clockwise(x, y)).Signed().Abs(); !ok || e > 1e-6*deg || math.Abs(length-math.Hypot(x, y)) > 1e-9*(1+length) {
			t.Fatalf("pitch %v roll %v rod %v: %v %v, the ray meets the plate at %v %v", pitch, roll, rod, got, length, angle.Clockwise(x, y), math.Hypot(x, y))
		}
	}
	if _, _, ok := ShadowOn(0, Slope{}, Slope{}, 0, -5*deg); ok {
		t.Error("a sun below the sheet casts a shadow")
	}
	if _, _, ok := ShadowOn(0, Slope{}, Slope{0, 1}, 0, 45*deg); ok {
		t.Error("a rod along the light has a shadow with a direction")
	}
}

func example() Record {
	r := Record{
		Name: `lead truck, board "2" (invented)`, Found: time.Date(2026, 9, 11, 11, 31, 9, 0, time.UTC), How: "8 readings over 6.0 h",
		Gnomon: Rod, HeightMM: 50, DiameterMM: 3, Foot: &Foot{0.53, -0.58, 0.03},
		LevelSigma: 0.3 * deg, AlignmentSigma: 0.1 * deg, Lens: `lens\one.toml`,
	}
	r.Proved.Lubber = new(2.2 * deg)
	r.Proved.Lean = SlopeOf(-1.62*deg, -1.35*deg)
	r.Proved.Rod = SlopeOf(0.2*deg, 0.1*deg)
	sigma := [Components]angle.Angle{0.08 * deg, 0.03 * deg, 0.03 * deg, 0.5 * deg, 0.5 * deg}
	for i, s := range sigma {
		r.Proved.Covariance[i][i] = float64(s * s)
	}
	r.Proved.Covariance[0][1], r.Proved.Covariance[1][0] = float64(-0.0012*deg*deg), float64(-0.0012*deg*deg)
	return r
}

// A correction must take a reading back to the heading it was made from, under any sun.
func TestCorrectionFindsTheHeading(t *testing.T) {
	rec := example()
	rec.Proved.Lubber = nil
	rec.Proved.Covariance[0] = [Components]float64{}
	for i := range rec.Proved.Covariance {
		rec.Proved.Covariance[i][0] = 0
	}
	plumb := rec.Proved.Rod.Minus(rec.Proved.Lean)
	for _, altitude := range []angle.Angle{10 * deg, 30 * deg, 45 * deg, 60 * deg, 75 * deg} {
		for heading := angle.Angle(0); heading < 360*deg; heading += 37 * deg {
			const azimuth = 70 * deg
			d, _, _ := ShadowOn(heading, plumb, rec.Proved.Rod, azimuth, altitude)
			turn, level, alignment, err := rec.Correction(azimuth, altitude, d)
			if err != nil {
				t.Fatal(err)
			}
			if e := (azimuth + math.Pi - d + turn - heading).Signed().Abs(); e > 1e-6*deg {
				t.Errorf("altitude %v heading %v: off by %v", altitude, heading, e)
			}
			// What a new setting-up changes stays, with what covariance adds; it is
			// never less than was proved.
			if level < 0.3*deg*angle.Angle(altitude.Tan()) || alignment != 0.1*deg {
				t.Errorf("altitude %v: level %v alignment %v", altitude, level, alignment)
			}
		}
	}
}

// The sigmas are compared with the scatter of 20,000 instruments drawn from the record.
// A standard deviation of so many is good to 0.5 %; the sigma is of first order, which at
// 60 degrees and half a degree is good to 2 %.
func TestCorrectionSigmaIsTheScatter(t *testing.T) {
	rec := example()
	rec.LevelSigma, rec.AlignmentSigma = 0, 0
	const azimuth, altitude, direction = 70 * deg, 60 * deg, 200 * deg
	mean, level, alignment, err := rec.Correction(azimuth, altitude, direction)
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(2, 2))
	sum := 0.0
	const n = 20_000
	for range n {
		one := rec
		one.Proved.Covariance = [Components][Components]float64{}
		// Lubber and lean to starboard are correlated; the others are not.
		a, b := r.NormFloat64(), r.NormFloat64()
		s0, s1 := 0.08*deg, 0.03*deg
		rho := -0.0012 / (0.08 * 0.03)
		one.Proved.Lubber = new(*rec.Proved.Lubber + s0*angle.Angle(a))
		one.Proved.Lean.Starboard += float64(s1) * (rho*a + math.Sqrt(1-rho*rho)*b)
		one.Proved.Lean.Forward += float64(0.03*deg) * r.NormFloat64()
		one.Proved.Rod.Starboard += float64(0.5*deg) * r.NormFloat64()
		one.Proved.Rod.Forward += float64(0.5*deg) * r.NormFloat64()
		turn, _, _, err := one.Correction(azimuth, altitude, direction)
		if err != nil {
			t.Fatal(err)
		}
		sum += math.Pow(float64((turn - mean).Signed()), 2)
	}
	want, got := math.Sqrt(sum/n), math.Hypot(float64(level), float64(alignment))
	if math.Abs(got/want-1) > 0.025 {
		t.Errorf("sigma %v, scatter %v", angle.Angle(got), angle.Angle(want))
	}
}

// A thread hangs along the vertical whatever the sheet does: what is left of a tilt of two
// degrees stays within the tilt squared.
func TestPlumbLineHasNoFirstOrderLevelError(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	const tilt, azimuth, altitude = 2 * deg, 70 * deg, 60 * deg
	rec := Record{Gnomon: PlumbLine, LevelSigma: tilt}
	sum, n := 0.0, 2000.0
	for range int(n) {
		plumb := Slope{tilt.Tan() * r.NormFloat64(), tilt.Tan() * r.NormFloat64()}
		heading := angle.Angle(2 * math.Pi * r.Float64())
		d, _, _ := ShadowOn(heading, plumb, plumb, azimuth, altitude)
		sum += math.Pow(float64((azimuth + math.Pi - d - heading).Signed()), 2)
	}
	rms := angle.Angle(math.Sqrt(sum / n))
	_, level, _, err := rec.Correction(azimuth, altitude, 0)
	if err != nil || rms > level || level > 0.1*deg {
		t.Errorf("rms %v, budget %v, %v", rms, level, err)
	}
}

func TestRecordsRoundTrip(t *testing.T) {
	plumb := Record{Gnomon: PlumbLine, HeightMM: 60, LevelSigma: 2 * deg}
	for _, want := range []Record{example(), plumb, {Gnomon: Rod, LevelSigma: deg / 2}, {Gnomon: Rod, NodusMM: 20, LevelSigma: deg / 2}} {
		var a, b strings.Builder
		if err := want.Write(&a); err != nil {
			t.Fatal(err)
		}
		got, err := Decode([]byte(a.String()), "i.toml")
		if err != nil {
			t.Fatal(err)
		}
		if err := got.Write(&b); err != nil || a.String() != b.String() {
			t.Errorf("%v: written\n%s\nread back\n%s", err, a.String(), b.String())
		}
		if got.Name != want.Name || got.NodusMM != want.NodusMM || got.Lens != want.Lens || !got.Found.Equal(want.Found) || (got.Foot == nil) != (want.Foot == nil) || (got.Proved.Lubber == nil) != (want.Proved.Lubber == nil) {
			t.Errorf("read back %+v, want %+v", got, want)
		}
	}
}

func TestBadRecordsAreRefused(t *testing.T) {
	var b strings.Builder
	if err := example().Write(&b); err != nil {
		t.Fatal(err)
	}
	good := b.String()
	for _, tt := range []struct{ name, old, with, code, says string }{
		{"unknown key", "diameter_mm =", "diametre_mm =", "bad_instrument", "line 12: unknown key gnomon.diametre_mm"},
		{"unknown table", "[lens]", "[lense]", "bad_instrument", "unknown key"},
		{"not TOML", "[gnomon]", "[gnomon", "bad_instrument", "line 10"},
		{"version", "version = 1", "version = 9", "instrument_version", "version 9"},
		{"another file", "shadowread instrument", "deviation card", "bad_instrument", "line 3"},
		{"gnomon", `kind = "rod"`, `kind = "rope"`, "bad_instrument", "line 10"},
		{"leaning plumb line", `kind = "rod"`, `kind = "plumb line"`, "bad_instrument", "does not lean"},
		{"height", "height_mm = 50.0", "height_mm = -50.0", "bad_instrument", "line 11"},
		{"not a number", "height_mm = 50.0", "height_mm = nan", "bad_instrument", "line 11"},
		{"lean", "lean_forward_deg = -1.35", "lean_forward_deg = -135.0", "bad_instrument", "lean_forward_deg"},
		{"too much lean", "lean_forward_deg = -1.35", "lean_forward_deg = -13.5", "bad_instrument", "too large"},
		{"half a foot", "foot_sigma_mm = 0.03\n", "", "bad_instrument", "foot"},
		{"no level", "level_sigma_deg = 0.3", "", "bad_instrument", "level_sigma_deg is missing"},
		{"lubber without its correction", "lubber_correction_deg = 2.2", "", "bad_instrument", "lubber"},
		{"covariance", "0.0064", "-0.0064", "bad_instrument", "covariance"},
		{"wrong type", "height_mm = 50.0", `height_mm = "50"`, "bad_instrument", "height_mm"},
	} {
		text := strings.Replace(good, tt.old, tt.with, 1)
		if text == good {
			t.Fatalf("%s: %q is not in the record:\n%s", tt.name, tt.old, good)
		}
		_, err := Decode([]byte(text), "i.toml")
		if fault.Code(err) != tt.code || !strings.Contains(err.Error(), tt.says) || !strings.Contains(err.Error(), "i.toml") {
			t.Errorf("%s: %v (%s), want %s that says %q", tt.name, err, fault.Code(err), tt.code, tt.says)
		}
	}
	if _, err := Decode([]byte(strings.Repeat("#", MaxFile+1)), "i.toml"); fault.Code(err) != "file_too_large" {
		t.Error(err)
	}
	for _, altitude := range []angle.Angle{-deg, 0, 81 * deg, angle.Angle(math.NaN())} {
		if _, _, _, err := example().Correction(0, altitude, 0); fault.Code(err) != "no_correction" {
			t.Errorf("altitude %v: %v", altitude, err)
		}
	}
}

// Whatever is read can be written, read again and applied.
func FuzzDecode(f *testing.F) {
	for _, r := range []Record{example(), {Gnomon: PlumbLine, LevelSigma: deg}} {
		var b strings.Builder
		if err := r.Write(&b); err != nil {
			f.Fatal(err)
		}
		f.Add(b.String())
	}
	f.Add(strings.Repeat("a.", 3000) + "a = 1")
	f.Add("[proved]\ncovariance_deg2 = " + strings.Repeat("[", 3000))
	f.Fuzz(func(t *testing.T, text string) {
		r, err := Decode([]byte(text), "i.toml")
		if err != nil {
			var e *fault.Error
			if !errors.As(err, &e) || e.Hint == "" {
				t.Fatalf("an error without a hint: %v", err)
			}
			return
		}
		var a, b strings.Builder
		if err := r.Write(&a); err != nil {
			t.Fatal(err)
		}
		again, err := Decode([]byte(a.String()), "i.toml")
		if err != nil {
			t.Fatalf("%v in\n%s", err, a.String())
		}
		if err := again.Write(&b); err != nil || a.String() != b.String() {
			t.Fatalf("%v: written\n%s\nthen\n%s", err, a.String(), b.String())
		}
		if _, level, alignment, err := r.Correction(deg, 45*deg, deg); err == nil && !(level >= 0 && alignment >= 0) {
			t.Fatalf("sigmas %v %v", level, alignment)
		}
	})
}

// A thread that was proved as if it were a rod does not lean; what is known of the lubber
// stays as well known as it was.
func TestHung(t *testing.T) {
	rod := Record{Gnomon: Rod, Proved: Proved{Lubber: new(2 * angle.Degree), Lean: Slope{Starboard: 0.01, Forward: -0.02}}}
	for i := range Components {
		rod.Proved.Covariance[i][i] = float64(i+1) * 1e-6
	}
	rod.Proved.Covariance[Lubber][LeanForward] = 1e-7
	rod.Proved.Covariance[LeanForward][Lubber] = 1e-7
	hung := rod.Hung()
	want := Proved{Lubber: rod.Proved.Lubber}
	want.Covariance[Lubber][Lubber] = 1e-6
	if hung.Gnomon != PlumbLine || !reflect.DeepEqual(hung.Proved, want) {
		t.Errorf("%+v, want %+v", hung, want)
	}
	if err := hung.Check(); err != nil {
		t.Error(err)
	}
	if rod.Gnomon != Rod || rod.Proved.Lean == (Slope{}) {
		t.Error("the rod's own record changed")
	}
}

// A lens record is named from the instrument's folder, wherever the program runs.
func TestLensFile(t *testing.T) {
	for _, tt := range []struct{ file, lens, named, found string }{
		{"board.toml", "camera.toml", "camera.toml", "camera.toml"},
		{"apart/board.toml", "lenses/camera.toml", "../lenses/camera.toml", "lenses/camera.toml"},
		{"apart/board.toml", "/lenses/camera.toml", "", "/lenses/camera.toml"},
	} {
		var r Record
		r.NameLens(filepath.FromSlash(tt.file), filepath.FromSlash(tt.lens))
		if tt.named != "" && r.Lens != tt.named {
			t.Errorf("%s names %s as %s, want %s", tt.file, tt.lens, r.Lens, tt.named)
		}
		got, errA := filepath.Abs(r.LensFile(filepath.FromSlash(tt.file)))
		want, errB := filepath.Abs(filepath.FromSlash(tt.found))
		if errA != nil || errB != nil || got != want {
			t.Errorf("%s finds %s, want %s", tt.file, got, want)
		}
	}
	if got := (&Record{}).LensFile("board.toml"); got != "" {
		t.Errorf("no lens is in %s", got)
	}
}
