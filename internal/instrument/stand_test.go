package instrument

import (
	"math"
	"math/rand/v2"
	"testing"

	"shadowread/internal/angle"
)

// What is known of a stand is held against stands drawn from it: a rod square to a sigma, a
// tilt measured to another, an image of the rod, and the exact projection (ShadowOn, which
// internal/render's tracer is held against in internal/reading). Errors over sigma are one
// RMS, and without the tilt an image of the rod improves the heading.
func TestStandsAreHonest(t *testing.T) {
	for _, tt := range []struct {
		name             string
		square, tilt     angle.Angle // sigmas
		level            angle.Angle // where the tilt is not measured
		image            bool
		record, anew     bool
		altitude, leanBy angle.Angle
	}{
		{"tilt measured", 0.5 * deg, 0.1 * deg, 0, false, false, false, 45 * deg, 0},
		{"tilt and image", 0.5 * deg, 0.1 * deg, 0, true, false, false, 60 * deg, 0},
		{"level and image", 0, 0, 0.5 * deg, true, false, false, 50 * deg, 0},
		{"tilt and record", 0.05 * deg, 0.1 * deg, 0, true, true, false, 60 * deg, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(3, 9))
			var square float64
			const n = 4000
			for range n {
				slope := func(sigma angle.Angle) Slope {
					return SlopeOf(angle.Angle(r.NormFloat64())*sigma, angle.Angle(r.NormFloat64())*sigma)
				}
				k := Known{Level: tt.level, Square: tt.square}
				board := Tilt{angle.Angle(r.NormFloat64()) * 3 * deg, angle.Angle(r.NormFloat64()) * 3 * deg, 0}
				rod := slope(tt.square)
				if tt.tilt > 0 {
					k.Tilt = &Tilt{board.Forward + angle.Angle(r.NormFloat64())*tt.tilt, board.Starboard + angle.Angle(r.NormFloat64())*tt.tilt, tt.tilt}
				} else {
					half := angle.Angle(float64(tt.level) / math.Sqrt2)
					board = Tilt{angle.Angle(r.NormFloat64()) * half, angle.Angle(r.NormFloat64()) * half, 0}
					rod = slope(half)
				}
				if tt.record {
					rec := &Record{Gnomon: Rod, LevelSigma: 5 * deg}
					known := rod
					rod = rod.Plus(SlopeOf(1.5*deg, -0.8*deg))
					rec.Proved.Rod = rod.Minus(known)
					for _, c := range []int{RodStarboard, RodForward} {
						rec.Proved.Covariance[c][c] = float64(tt.square * tt.square)
					}
					k.Record, k.Square = rec, 0.5*deg
				}
				s, err := StandOf(k)
				if err != nil {
					t.Fatal(err)
				}
				const azimuth, heading = 70 * deg, 200 * deg
				d, _, _ := ShadowOn(heading, board.Plumb(), rod, azimuth, tt.altitude)
				if tt.image {
					toward := angle.FromDegrees(360 * r.Float64())
					const sigma = 0.002
					s.See([]Seen{{toward, rod.Towards(toward) + sigma*r.NormFloat64(), sigma}}, nil)
				}
				got, err := s.Turn(azimuth, tt.altitude, d)
				if err != nil {
					t.Fatal(err)
				}
				e := float64((azimuth + math.Pi - d + got.Turn - heading).Signed()) / float64(got.Level)
				square += e * e
			}
			if rms := math.Sqrt(square / n); rms < 0.93 || rms > 1.07 {
				t.Errorf("errors over sigma are %.3f RMS", rms)
			}
		})
	}
}

// A sheet that stands otherwise than its record says is told of, and the measured tilt
// gives the heading.
func TestMeasuredTiltWins(t *testing.T) {
	rec := &Record{Gnomon: Rod, LevelSigma: 0.2 * deg}
	rec.Proved.Lean = SlopeOf(0.1*deg, 0.1*deg)
	tilt := Tilt{4 * deg, -3 * deg, 0.1 * deg}
	s, err := StandOf(Known{Record: rec, Square: 0.5 * deg, Tilt: &tilt})
	if err != nil {
		t.Fatal(err)
	}
	const azimuth, altitude, heading = 310 * deg, 40 * deg, 20 * deg
	d, _, _ := ShadowOn(heading, tilt.Plumb(), Slope{}, azimuth, altitude)
	got, err := s.Turn(azimuth, altitude, d)
	if err != nil {
		t.Fatal(err)
	}
	if e := (azimuth + math.Pi - d + got.Turn - heading).Signed(); !s.Contradicted || e.Abs() > deg/1000 {
		t.Errorf("contradicted %v, off by %v", s.Contradicted, e)
	}
}

// A plumb line over a sheet of known tilt: the shadow of the thread on the tilted sheet.
func TestPlumbLineOverATiltedSheet(t *testing.T) {
	tilt := Tilt{-6 * deg, 4 * deg, 0.1 * deg}
	s, err := StandOf(Known{PlumbLine: true, Level: 0.5 * deg, Tilt: &tilt})
	if err != nil {
		t.Fatal(err)
	}
	const azimuth, altitude, heading = 110 * deg, 50 * deg, 260 * deg
	d, _, _ := ShadowOn(heading, tilt.Plumb(), tilt.Plumb(), azimuth, altitude)
	got, err := s.Turn(azimuth, altitude, d)
	if err != nil {
		t.Fatal(err)
	}
	if e := (azimuth + math.Pi - d + got.Turn - heading).Signed(); e.Abs() > deg/1000 || got.Level > deg/20 {
		t.Errorf("off by %v, level %v", e, got.Level)
	}
}

// Two measurements of one tilt are weighted, and beyond three sigma the result is as
// uncertain as they are apart (JCGM 100:2008, for the weighted mean).
func TestTiltsJoined(t *testing.T) {
	a, b := Tilt{1 * deg, 0, 0.3 * deg}, Tilt{1.4 * deg, 0, 0.1 * deg}
	j, apart := a.With(b)
	if math.Abs(float64(j.Forward-1.36*deg)) > 1e-6 || math.Abs(j.Sigma.Degrees()-0.3*0.1/math.Hypot(0.3, 0.1)) > 1e-9 || apart > 3 {
		t.Errorf("%+v, %.2f apart", j, apart)
	}
	b.Forward = 4 * deg
	if j, apart = a.With(b); apart < 3 || j.Sigma < 1.4*deg {
		t.Errorf("%+v, %.2f apart", j, apart)
	}
}

// Rods of which nobody says how they were set, some by eye: what pictures show of them, the
// slope across the line of sight, the top and the length of the shadow, must leave errors
// over sigma of one RMS, few beyond three, and rods that were set with care where a plumb
// rod would be.
func TestRodsOfWhichNothingIsSaid(t *testing.T) {
	for _, tt := range []struct {
		name                string
		side, top, tip      bool
		stated              bool
		heightOff           float64 // of the stated height
		least, most, beyond float64
	}{
		{"nothing seen", false, false, false, true, 0, 0.9, 1.1, 0.02},
		{"side seen", true, false, false, false, 0, 0.85, 1.1, 0.02},
		{"top seen, height stated", false, true, false, true, 0, 0.85, 1.1, 0.02},
		{"top and tip seen", true, true, true, false, 0, 0.8, 1.1, 0.02},
		{"all seen", true, true, true, true, 0, 0.75, 1.1, 0.02},
		{"all seen, another rod's height", true, true, true, true, 0.06, 0.75, 1.3, 0.03},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r := rand.New(rand.NewPCG(8, 2))
			const n = 3000
			const azimuth, altitude, heading = 250 * deg, 45 * deg, 130 * deg
			square, beyond, moved := 0.0, 0.0, 0.0
			for range n {
				rodSigma, boardSigma := angle.Angle(0.5*deg/math.Sqrt2), angle.Angle(0.5*deg/math.Sqrt2)
				care := r.Float64() > oneByEye
				if !care {
					rodSigma, boardSigma = angle.RSS(rodSigma, byEye), angle.RSS(boardSigma, byEyeBoard)
				}
				draw := func(sigma angle.Angle) angle.Angle { return angle.Angle(r.NormFloat64()) * sigma }
				rod, plumb := SlopeOf(draw(rodSigma), draw(rodSigma)), SlopeOf(draw(boardSigma), draw(boardSigma))
				const high = 50.0
				k := Known{Level: 0.5 * deg, Unsaid: true}
				if tt.stated {
					k.HeightMM, k.HeightSigmaMM = high*(1+tt.heightOff)*(1+0.01*r.NormFloat64()), 0.01*high
				}
				s, err := StandOf(k)
				if err != nil {
					t.Fatal(err)
				}
				d, perMM, _ := ShadowOn(heading, plumb, rod, azimuth, altitude)
				away := angle.FromDegrees(360 * r.Float64())
				var sides []Seen
				var tops []Top
				if tt.side {
					toward := away + math.Pi/2
					sides = []Seen{{toward, rod.Towards(toward) + 0.002*r.NormFloat64(), 0.002}}
				}
				if tt.top {
					const tangent, sigma = 0.8, 0.7
					tops = []Top{{away, high*(1+rod.Towards(away)/tangent) + sigma*r.NormFloat64(), sigma, tangent}}
				}
				s.See(sides, tops)
				if tt.tip {
					const sigma = 0.6
					s.SeeShadow(Shadow{azimuth, altitude, 0.01 * deg, d, perMM*high + sigma*r.NormFloat64(), sigma})
				}
				got, err := s.Turn(azimuth, altitude, d)
				if err != nil {
					t.Fatal(err)
				}
				e := float64((azimuth + math.Pi - d + got.Turn - heading).Signed()) / float64(got.Level)
				square += e * e / n
				if math.Abs(e) > 3 {
					beyond += 1.0 / n
				}
				if care && !tt.side && got.Turn.Abs() > deg/1000 {
					moved += 1 / (n * (1 - oneByEye))
				}
			}
			t.Logf("%.2f RMS, %.1f %% beyond three sigma, %.1f %% of the careful turned", math.Sqrt(square), 100*beyond, 100*moved)
			if z := math.Sqrt(square); z < tt.least || z > tt.most || beyond > tt.beyond {
				t.Errorf("errors over sigma are %.2f RMS, %.1f %% beyond three", z, 100*beyond)
			}
			if moved > 0.1 {
				t.Errorf("%.0f %% of the rods set with care are turned", 100*moved)
			}
		})
	}
}
