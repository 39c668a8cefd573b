package bearing

import (
	"math"
	"testing"

	"shadowread/internal/angle"
)

// discCentroid sums a brightness over the sphere's visible disc, square by square:
// the definition, against which the closed forms stand. The sun is towards +x.
func discCentroid(phase angle.Angle, brightness func(incidence, emission float64) float64) float64 {
	const n = 1000
	var flux, moment float64
	for i := range n {
		x := (2*float64(i)+1)/n - 1
		for j := range n {
			y := (2*float64(j)+1)/n - 1
			if x*x+y*y >= 1 {
				continue
			}
			mu := math.Sqrt(1 - x*x - y*y)
			mu0 := x*phase.Sin() + mu*phase.Cos()
			if mu0 <= 0 {
				continue
			}
			b := brightness(mu0, mu)
			flux += b
			moment += b * x
		}
	}
	return moment / flux
}

func TestCentroidsOfTheLitPart(t *testing.T) {
	even := func(_, _ float64) float64 { return 1 }
	lommelSeeliger := func(mu0, mu float64) float64 { return mu0 / (mu0 + mu) }
	// Squares of 1/500 of the radius leave a ragged edge: 0.002 semi-diameters, or
	// 0.0005°, and more where only a thin crescent is left.
	for _, tt := range []struct{ phaseDeg, tol float64 }{
		{5, 0.002}, {30, 0.002}, {60, 0.002}, {90, 0.002}, {120, 0.002}, {150, 0.003}, {165, 0.004},
	} {
		phase := angle.FromDegrees(tt.phaseDeg)
		if got, want := areaCentroid(phase), discCentroid(phase, even); math.Abs(got-want) > tt.tol {
			t.Errorf("area at %v°: %.4f, summed %.4f", tt.phaseDeg, got, want)
		}
		if got, want := photometricCentroid(phase), discCentroid(phase, lommelSeeliger); math.Abs(got-want) > tt.tol {
			t.Errorf("light at %v°: %.4f, summed %.4f", tt.phaseDeg, got, want)
		}
	}
	// A thin crescent is a half circle whose brightness falls with the cosine from
	// its middle: both centroids stand at 8/(3π).
	for _, phaseDeg := range []float64{178, 178.99, 179.5, 180} {
		phase := angle.FromDegrees(phaseDeg)
		for _, got := range []float64{areaCentroid(phase), photometricCentroid(phase)} {
			if want := 8 / (3 * math.Pi); math.Abs(got-want) > 0.01 {
				t.Errorf("crescent at %v°: %.4f, want %.4f", phaseDeg, got, want)
			}
		}
	}
	if a, p := areaCentroid(0), photometricCentroid(0); a != 0 || math.Abs(p) > 1e-9 {
		t.Errorf("full moon: %v, %v, want the disc's centre", a, p)
	}
}

// The brightness of a matt (Lambert) sphere is the other end of what a moon could be.
// One sigma holds the Lommel-Seeliger light by construction; two hold Lambert's.
func TestSigmaCoversOtherMoons(t *testing.T) {
	lambert := func(mu0, _ float64) float64 { return mu0 }
	for phaseDeg := 2.0; phaseDeg <= 170; phaseDeg += 12 {
		phase := angle.FromDegrees(phaseDeg)
		sun := vector{phase.Sin(), 0, 1 - phase.Cos()}.times(1e9) // far behind the observer at phase 0
		sun[2] = -phase.Cos() * 1e9
		lit := moonLight(vector{0, 0, 384400}, sun, angle.Degree)
		off := angle.Angle(discCentroid(phase, lambert))*angle.Degree - lit.offset
		if off.Abs() > 2*lit.sigma {
			t.Errorf("at %v°: Lambert's light lies %v from ours, sigma %v", phaseDeg, off, lit.sigma)
		}
		if lit.sigma < lit.offset/2 {
			t.Errorf("at %v°: sigma %v of an offset of %v", phaseDeg, lit.sigma, lit.offset)
		}
	}
}

// 2024 April 15, 19:13 UT: first quarter (Astronomical Almanac, phases of the moon).
// Half a disc's centroid stands 4/(3π) of the semi-diameter, 0.11°, towards the sun.
func TestHalfMoon(t *testing.T) {
	at, p := instant(t, "2024-04-15T19:13:00Z"), position(-35, 0)
	moon, err := Observe(Moon, at, p, 0)
	if err != nil {
		t.Fatal(err)
	}
	sun, err := Observe(Sun, at, p, 0)
	if err != nil {
		t.Fatal(err)
	}
	// The quarter is reckoned in ecliptic longitude from the earth's centre: the
	// moon's latitude (5°) and parallax (1°) make up to 1 % of the fraction.
	if math.Abs(moon.LitFraction-0.5) > 0.02 {
		t.Errorf("lit fraction %.4f, want 0.5", moon.LitFraction)
	}
	east := func(az, alt angle.Angle) vector {
		return vector{alt.Cos() * az.Sin(), alt.Cos() * az.Cos(), alt.Sin()}
	}
	light, disc := east(moon.Azimuth, moon.AltitudeAirless), east(moon.DiscAzimuth, moon.DiscAltitudeAirless)
	shift := light.minus(disc)
	if got, want := angle.Angle(shift.length()), 0.424*moon.SemiDiameter; (got - want).Abs() > 0.05*want {
		t.Errorf("light %v from the disc's centre, want %v", got, want)
	}
	if got := angle.Angle(shift.length()).Degrees(); math.Abs(got-0.11) > 0.01 {
		t.Errorf("light %.4f° from the disc's centre, want 0.11", got)
	}
	toSun := east(sun.Azimuth, sun.AltitudeAirless)
	toSun = toSun.minus(disc.times(toSun.dot(disc))).unit()
	if c := shift.unit().dot(toSun); c < 0.9999 {
		t.Errorf("light leaves the disc's centre %v from the sun's direction", angle.Acos(c))
	}
	// Half the correction is its uncertainty.
	turned := (moon.Azimuth - moon.DiscAzimuth).Signed().Abs()
	if got := moon.AzimuthSigma; got < 0.49*turned || got > turned/2+0.006*angle.Degree {
		t.Errorf("sigma %v for a correction of %v", got, turned)
	}
}
