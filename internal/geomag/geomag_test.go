package geomag

import (
	"math"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/testtable"
)

// wmm2025_coefficients.csv is the issuer's WMM.COF; its head names the copy.
func TestModelCoefficientsAreTheIssuers(t *testing.T) {
	rows := testtable.Read(t, "testdata/wmm2025_coefficients.csv")
	if len(rows) != 90 {
		t.Fatalf("%d rows, want 90", len(rows))
	}
	got := coefficients()
	for _, row := range rows {
		n, m := int(row.Number(t, "n")), int(row.Number(t, "m"))
		want := gauss{row.Number(t, "g_nT"), row.Number(t, "h_nT"), row.Number(t, "gdot_nT_per_yr"), row.Number(t, "hdot_nT_per_yr")}
		if got[n][m] != want {
			t.Errorf("degree %d order %d: %v, want %v", n, m, got[n][m], want)
		}
	}
}

// decimalYear is the instant a test row means: the year's days, counted evenly.
func decimalYear(year float64) time.Time {
	whole := int(year)
	start := time.Date(whole, 1, 1, 0, 0, 0, 0, time.UTC)
	end := time.Date(whole+1, 1, 1, 0, 0, 0, 0, time.UTC)
	return start.Add(time.Duration((year - float64(whole)) * float64(end.Sub(start))))
}

// wmm2025_test_values.csv holds the issuer's two published tables; its head names
// them. All columns repeat to the last digit printed, but for the north component of
// the six-decimal table and the two lengths that follow from it: that stands up to
// 0.0007 nT off the potential's slope (see the next test), hence 0.001 nT.
func TestMagneticAgreesWithAllPublishedValues(t *testing.T) {
	rows := testtable.Read(t, "testdata/wmm2025_test_values.csv")
	if len(rows) != 112 {
		t.Fatalf("%d rows, want 112", len(rows))
	}
	for _, row := range rows {
		p := position(row.Number(t, "lat_deg"), row.Number(t, "lon_deg"))
		p.Lon = p.Lon.Signed()
		at := decimalYear(row.Number(t, "decimal_year"))
		height := row.Number(t, "height_km") * 1000
		f, err := Magnetic(at, p, height)
		if err != nil {
			t.Fatalf("%v: %v", row, err)
		}
		_, rate := modelField(yearsSinceEpoch(at), p, height)
		got := map[string]float64{
			"X_nT": float64(f.North), "Y_nT": float64(f.East), "Z_nT": float64(f.Down),
			"H_nT": float64(f.Horizontal), "F_nT": float64(f.Total),
			"I_deg": f.Inclination.Degrees(), "D_deg": f.Declination.Degrees(),
			"GV_deg":         (f.Declination - geo.PolarConvergence(p)).Signed().Degrees(),
			"Xdot_nT_per_yr": rate.X, "Ydot_nT_per_yr": rate.Y, "Zdot_nT_per_yr": rate.Z,
			"Ddot_deg_per_yr": f.DeclinationChange.Degrees(),
		}
		compared := 0
		for column, value := range got {
			printed := row[column]
			if printed == "" || printed == "NaN" { // no grid variation equatorward of 55 degrees
				continue
			}
			compared++
			_, decimals, _ := strings.Cut(printed, ".")
			tolerance := 0.5*math.Pow10(-len(decimals)) + 1e-9 // half the last digit printed
			if strings.Contains(column, "_nT") {
				tolerance += 2e-6 // nT: float rounding in sums of 6e4 nT, here and there
			}
			if column == "X_nT" || column == "H_nT" || column == "F_nT" {
				tolerance = max(tolerance, 0.001) // nT
			}
			if want := testtable.Number(t, printed); !(math.Abs(value-want) <= tolerance) {
				t.Errorf("%s, %s N, %s E, %s km: %s = %.7f, want %s", row["decimal_year"], row["lat_deg"], row["lon_deg"], row["height_km"],
					column, value, printed)
			}
		}
		if compared < 11 {
			t.Errorf("%v: only %d columns compared", row, compared)
		}
	}
}

// The field is the slope of the potential (the definition in the model's report), here written out
// with the closed sum of the associated Legendre functions and differenced, so that it
// shares nothing with the program but the coefficients and the ellipsoid.
func TestFieldIsThePotentialsSlope(t *testing.T) {
	legendre := func(n, m int, x float64) float64 {
		factorial := func(k int) float64 { return math.Gamma(float64(k) + 1) }
		sum := 0.0
		for k := 0; 2*k <= n-m; k++ {
			sum += math.Pow(-1, float64(k)) * factorial(2*n-2*k) / (factorial(k) * factorial(n-k) * factorial(n-m-2*k)) * math.Pow(x, float64(n-m-2*k))
		}
		sum *= math.Pow(1-x*x, float64(m)/2) / math.Pow(2, float64(n))
		if m > 0 { // Schmidt semi-normalised
			sum *= math.Sqrt(2 * factorial(n-m) / factorial(n+m))
		}
		return sum
	}
	table := coefficients()
	potential := func(r, colatitude, lon float64) float64 { // nT km
		v := 0.0
		for n := 1; n <= modelDegree; n++ {
			for m := range n + 1 {
				sin, cos := math.Sincos(float64(m) * lon)
				v += modelRadiusKM * math.Pow(modelRadiusKM/r, float64(n+1)) * (table[n][m].g*cos + table[n][m].h*sin) * legendre(n, m, math.Cos(colatitude))
			}
		}
		return v
	}
	const step = 1e-3                                // the sixth-order difference is then good to 1e-9 of the field
	slope := func(f func(float64) float64) float64 { // per unit of f's argument
		return (45*(f(step)-f(-step)) - 9*(f(2*step)-f(-2*step)) + (f(3*step) - f(-3*step))) / (60 * step)
	}
	for _, tt := range []struct{ lat, lon, heightKM float64 }{{43, 93, 65}, {-59, -8, 39}, {-50, -103, 3}, {12, 171, 0}} {
		p := position(tt.lat, tt.lon)
		at := r3.Scale(0.001, geo.Geocentric(p, geo.Metres(tt.heightKM*1000)))
		r, colatitude, lon := r3.Norm(at), math.Atan2(math.Hypot(at.X, at.Y), at.Z), p.Lon.Radians()
		north := slope(func(d float64) float64 { return potential(r, colatitude+d, lon) }) / r
		east := -slope(func(d float64) float64 { return potential(r, colatitude, lon+d) }) / (r * math.Sin(colatitude))
		down := slope(func(d float64) float64 { return potential(r+1000*d, colatitude, lon) }) / 1000
		sin, cos := math.Sincos(math.Pi/2 - colatitude - p.Lat.Radians())
		want := r3.Vec{X: north*cos - down*sin, Y: east, Z: north*sin + down*cos}
		got, _ := modelField(0, p, tt.heightKM*1000)
		const tolerance = 1e-5 // nT, the difference's own error
		if d := r3.Norm(r3.Sub(got, want)); !(d < tolerance) {
			t.Errorf("%+v: field %v, slope of the potential %v", tt, got, want)
		}
	}
}

// A field has one vector at a pole, whichever meridian its components count from. A
// formula that divides by the sine of the colatitude, or that slips in the limit,
// breaks this or the step off the pole.
func TestFieldHoldsAtThePoles(t *testing.T) {
	at := decimalYear(2026.25)
	for _, lat := range []float64{90, -90} {
		sign := math.Copysign(1, lat)
		// A frame that does not turn with the meridian.
		fixed := func(p geo.Position) r3.Vec {
			f, err := Magnetic(at, p, 0)
			if err != nil {
				t.Fatal(err)
			}
			x, y := float64(f.North), float64(f.East)
			sin, cos := math.Sincos(sign * p.Lon.Radians())
			return r3.Vec{X: x*cos + y*sin, Y: y*cos - x*sin, Z: float64(f.Down)}
		}
		pole := fixed(position(lat, 0))
		for _, lon := range []float64{0, 37, 90, 180, -121.5} {
			const tolerance = 1e-6 // nT: float rounding in sums of 6e4 nT
			if d := r3.Norm(r3.Sub(fixed(position(lat, lon)), pole)); !(d < tolerance) {
				t.Errorf("lat %v: the meridian of %v sees a field that differs by %g nT", lat, lon, d)
			}
			// 11 m away: the field bends by less than 0.1 nT/m, all degrees together.
			if d := r3.Norm(r3.Sub(fixed(position(lat-sign*1e-4, lon)), pole)); !(d < 1) {
				t.Errorf("lat %v: 11 m down the meridian of %v the field differs by %g nT", lat, lon, d)
			}
		}
	}
}

func TestDeclinationSigmaAndZones(t *testing.T) {
	// The formula and the zones' bounds are those of the issuer's code; the
	// places are rows of the published tables, whose H (1504.298, 39677.9 and 2302.427
	// nT) gives the sigma by hand.
	for _, tt := range []struct {
		lat, lon, heightKM float64
		zone               string
		sigmaDeg           float64
	}{
		{89, -121, 28, "blackout", 3.6104},
		{0, 120, 0, "none", 0.29366},
		{82, 87, 54, "caution", 2.36706},
	} {
		f, err := Magnetic(modelEpoch, position(tt.lat, tt.lon), tt.heightKM*1000)
		if err != nil {
			t.Fatal(err)
		}
		if f.Zone.String() != tt.zone {
			t.Errorf("%v, %v: H %.0f nT in zone %v, want %s", tt.lat, tt.lon, f.Horizontal, f.Zone, tt.zone)
		}
		if math.Abs(f.DeclinationSigma.Degrees()-tt.sigmaDeg) > 1e-4*tt.sigmaDeg {
			t.Errorf("%v, %v: H %.1f nT has sigma %.5f°, want %v°", tt.lat, tt.lon, f.Horizontal, f.DeclinationSigma.Degrees(), tt.sigmaDeg)
		}
	}
	for _, tt := range []struct {
		h    Nanotesla
		want Zone
	}{{0, Blackout}, {2000, Blackout}, {2000.1, Caution}, {6000, Caution}, {6000.1, Clear}} {
		if got := zone(tt.h); got != tt.want {
			t.Errorf("H %v nT is in zone %v, want %v", tt.h, got, tt.want)
		}
	}
}

// The model counts height from the ellipsoid. The geoid lies 107 m below it at most
// (EGM96, south of India); Magnetic's comment promises less than 0.003 degree for it.
func TestHeightAboveTheSeaWillDo(t *testing.T) {
	worst := 0.0
	for lat := -89.0; lat < 90; lat += 2 {
		for lon := -179.0; lon < 180; lon += 2 {
			a, errA := Magnetic(modelEpoch, position(lat, lon), 0)
			b, errB := Magnetic(modelEpoch, position(lat, lon), 107)
			if errA != nil || errB != nil {
				t.Fatal(errA, errB)
			}
			if a.Zone == Clear {
				worst = max(worst, (a.Declination - b.Declination).Signed().Abs().Degrees())
			}
		}
	}
	t.Logf("107 m move the declination by at most %.5f°", worst)
	if !(worst < 0.003) {
		t.Errorf("107 m move the declination by %.5f°", worst)
	}
}

func TestMagneticRefuses(t *testing.T) {
	here := position(-20.6, 25.4)
	for _, tt := range []struct {
		name   string
		at     time.Time
		p      geo.Position
		metres float64
		code   string
	}{
		{"before the epoch", modelEpoch.Add(-time.Second), here, 0, "time_out_of_range"},
		{"at the epoch", modelEpoch, here, 0, ""},
		{"at the end", modelEnd, here, 0, ""},
		{"after the end", modelEnd.Add(time.Second), here, 0, "time_out_of_range"},
		{"no time", time.Time{}, here, 0, "time_out_of_range"},
		{"beyond the pole", modelEpoch, position(90.1, 0), 0, "position_out_of_range"},
		{"no latitude", modelEpoch, position(math.NaN(), 0), 0, "position_out_of_range"},
		{"no longitude", modelEpoch, position(0, math.Inf(1)), 0, "position_out_of_range"},
		{"lowest", modelEpoch, here, -1000, ""},
		{"below the lowest", modelEpoch, here, -1001, "elevation_out_of_range"},
		{"above the highest", modelEpoch, here, 850001, "elevation_out_of_range"},
		{"no height", modelEpoch, here, math.NaN(), "elevation_out_of_range"},
	} {
		_, err := Magnetic(tt.at, tt.p, tt.metres)
		if got := fault.Code(err); got != tt.code {
			t.Errorf("%s: %v, want code %q", tt.name, err, tt.code)
		}
	}
}

// Worked by hand from the grid's definition: beyond the pole, on the 180th meridian,
// true north and grid north are opposite; a quarter turn east of Greenwich, north is
// the grid's west on the northern cap and its east on the southern. The published grid
// variations check the same rule on the model (see above).
func TestGridHeading(t *testing.T) {
	for _, tt := range []struct{ lat, lon, heading, grid float64 }{
		{85, 0, 30, 30}, {85, 180, 0, 180}, {85, 90, 0, 270}, {85, -90, 0, 90}, {90, 90, 180, 90},
		{-85, 0, 30, 30}, {-85, 180, 0, 180}, {-85, 90, 0, 90}, {-85, -90, 0, 270}, {-90, -120, 10, 250},
	} {
		got := geo.GridHeading(angle.FromDegrees(tt.heading), position(tt.lat, tt.lon)).Degrees()
		if math.Abs(got-tt.grid) > 1e-9 {
			t.Errorf("true %v at %v, %v is grid %v, want %v", tt.heading, tt.lat, tt.lon, got, tt.grid)
		}
	}
}

func FuzzMagnetic(f *testing.F) {
	f.Add(int64(1767225600), -20.6, 25.4, 900.0)
	f.Add(int64(1735689600), 90.0, 180.0, 0.0)
	f.Add(int64(1893456000), -90.0, -180.0, 850000.0)
	f.Add(int64(1800000000), math.NaN(), math.Inf(-1), -1000.0)
	f.Fuzz(func(t *testing.T, unix int64, lat, lon, metres float64) {
		b, err := Magnetic(time.Unix(unix, 0), position(lat, lon), metres)
		if err != nil {
			if fault.Code(err) == "error" {
				t.Fatalf("no code: %v", err)
			}
			return
		}
		// The field's bounds on and above the ground: 20 to 70 µT at sea level, less above.
		if !(b.Total > 5000 && b.Total < 80000) || !(b.Horizontal >= 0 && b.Horizontal <= b.Total) {
			t.Fatalf("%v", b)
		}
		if !(b.Declination.Abs() <= 180*angle.Degree) || !(b.DeclinationSigma > 0) || math.IsNaN(b.DeclinationChange.Radians()) {
			t.Fatalf("%v", b)
		}
	})
}

func BenchmarkMagnetic(b *testing.B) {
	p := position(-20.6, 25.4)
	for b.Loop() {
		if _, err := Magnetic(modelEpoch, p, 900); err != nil {
			b.Fatal(err)
		}
	}
}

func position(latDeg, lonDeg float64) geo.Position {
	return geo.Position{Lat: angle.FromDegrees(latDeg), Lon: angle.FromDegrees(lonDeg)}
}
