package compass

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"gonum.org/v1/gonum/stat"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/geomag"
)

func sightings(declinationDeg float64, compassDeg ...float64) []Sighting {
	var s []Sighting
	for _, c := range compassDeg {
		s = append(s, Sighting{
			Compass: angle.FromDegrees(c), CompassSigma: angle.Degree / 2,
			Heading: angle.FromDegrees(c + declinationDeg).Bearing(), HeadingSigma: angle.Degree / 5,
		})
	}
	return s
}

// The reference is gonum's weighted mean and weighted second moment.
func TestObservedDeclinationIsTheWeightedMean(t *testing.T) {
	for _, shift := range []float64{0, 100, 174, -181} { // near 180 the readings straddle the turn
		s := sightings(0, 10, 100, 190, 280, 55)
		own := []float64{0.5, 1, 0.25, 0.5, 2}
		seen := []float64{4.1, 6.5, 5.2, 5.9, 9.3}
		var weights []float64
		for i := range s {
			s[i].Heading = (s[i].Compass + angle.FromDegrees(seen[i]+shift)).Bearing()
			s[i].CompassSigma, s[i].HeadingSigma = angle.FromDegrees(own[i]), 0
			weights = append(weights, 1/(own[i]*own[i]))
		}
		got, err := ObserveDeclination(s, Shared{})
		if err != nil {
			t.Fatal(err)
		}
		mean := stat.Mean(seen, weights)
		scatter := math.Sqrt(stat.MomentAbout(2, seen, mean, weights) / float64(len(s)-1))
		var sum float64
		for _, w := range weights {
			sum += w
		}
		scatter *= math.Sqrt(sum)
		const tolerance = 1e-9 // degrees: float rounding
		if d := (got.Declination - angle.FromDegrees(mean+shift)).Signed().Degrees(); math.Abs(d) > tolerance {
			t.Errorf("shifted by %v: declination %v, want %v", shift, got.Declination, mean+shift)
		}
		if math.Abs(got.Scatter-scatter) > tolerance {
			t.Errorf("shifted by %v: scatter %v, want %v", shift, got.Scatter, scatter)
		}
		if want := max(1, scatter) / math.Sqrt(sum); math.Abs(got.Sigma.Degrees()-want) > tolerance {
			t.Errorf("shifted by %v: sigma %v, want %v", shift, got.Sigma, want)
		}
	}
}

// Sighting sets drawn from the error model itself: the error must stay within two
// sigmas in 95.4 % (normal distribution), a little more because Sigma grows with the
// scatter but never shrinks. 2,000 sets have a binomial sigma of 0.5 %.
func TestObservedDeclinationSigmaHolds(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for _, tt := range []struct {
		name    string
		compass []float64
	}{
		{"headings round", []float64{0, 45, 90, 135, 180, 225, 270, 315}},
		{"one axis", []float64{80, 80, 80, 80, 80, 80}},
		{"a quarter", []float64{10, 40, 70, 95}},
		{"one reading", []float64{200}},
	} {
		shared := Shared{Constant: angle.Degree * 3 / 10, Lean: angle.Degree * 4 / 10}
		const own = 0.5 // degrees
		within, suspected := 0, 0
		const sets = 2000
		for range sets {
			constant := random.NormFloat64() * shared.Constant.Degrees()
			leanSin, leanCos := random.NormFloat64()*shared.Lean.Degrees(), random.NormFloat64()*shared.Lean.Degrees()
			s := sightings(0, tt.compass...)
			for i := range s {
				sin, cos := math.Sincos(s[i].Compass.Radians())
				s[i].Heading = (s[i].Heading + angle.FromDegrees(-7+constant+leanSin*sin+leanCos*cos+own*random.NormFloat64())).Bearing()
				s[i].HeadingSigma = angle.FromDegrees(math.Hypot(shared.Constant.Degrees(), shared.Lean.Degrees()))
			}
			o, err := ObserveDeclination(s, shared)
			if err != nil {
				t.Fatal(err)
			}
			if (o.Declination + 7*angle.Degree).Signed().Abs() <= 2*o.Sigma {
				within++
			}
			for _, term := range o.Terms {
				if term.Outlier {
					suspected++
					break
				}
			}
		}
		t.Logf("%s: %.1f %% within two sigmas, %.1f %% with a suspect", tt.name, 100*float64(within)/sets, 100*float64(suspected)/sets)
		if f := float64(within) / sets; f < 0.94 || f > 0.985 {
			t.Errorf("%s: %.1f %% within two sigmas, want 94 to 98.5 %%", tt.name, 100*f)
		}
		// OutlierLimit promises one clean set in twenty, less what the lean, which it
		// does not know of, adds to or takes from the readings' own scatter.
		if f := float64(suspected) / sets; f > 0.12 {
			t.Errorf("%s: %.1f %% of clean sets have a suspect", tt.name, 100*f)
		}
	}
}

func TestDeclinationOutliersAreNamed(t *testing.T) {
	for _, tt := range []struct {
		name    string
		blunder map[int]float64 // degrees
	}{
		{"none", nil},
		{"one", map[int]float64{3: 10}},
		{"two the same way", map[int]float64{1: 12, 6: 9}},
		{"two either way", map[int]float64{0: 12, 5: -15}},
	} {
		s := sightings(-7.3, 0, 45, 90, 135, 180, 225, 270, 315)
		noise := []float64{0.2, -0.3, 0.1, 0.4, -0.5, 0.3, -0.1, -0.2} // degrees, invented
		for i := range s {
			s[i].Heading = (s[i].Heading + angle.FromDegrees(noise[i]+tt.blunder[i])).Bearing()
		}
		o, err := ObserveDeclination(s, WhollyShared(s))
		if err != nil {
			t.Fatal(err)
		}
		for i, term := range o.Terms {
			if _, want := tt.blunder[i]; term.Outlier != want {
				t.Errorf("%s: sighting %d is an outlier: %v, want %v", tt.name, i, term.Outlier, want)
			}
			if d := math.Abs(term.Apart.Degrees() - tt.blunder[i]); d > 1 { // the noise's range
				t.Errorf("%s: sighting %d stands %v apart, want %v", tt.name, i, term.Apart, tt.blunder[i])
			}
		}
		if o.Sigma < (o.Declination+angle.FromDegrees(7.3)).Abs()/2 {
			t.Errorf("%s: %v with sigma %v is more than two sigmas off", tt.name, o.Declination, o.Sigma)
		}
	}
}

// The convergence comes from GeographicLib 2.1.2 (GeoConvert -c), which gives the
// direction of grid north, clockwise from true north, on UTM or UPS.
func TestConvergence(t *testing.T) {
	for _, tt := range []struct{ lat, lon, want float64 }{
		{-20.6142, 25.4310, 0.552526669},
		{60, 1.5, -1.299112674},
		{45, -123.9, -0.636422540},
		{-33.87, 151.2, 1.003389542},
		{1.3, 103.8, -0.027228860},
		{85, 40, 40},
		{-86, -120, 120},
	} {
		const tolerance = 0.01 // degrees, what the comment promises for the sphere
		if got := geo.Convergence(position(tt.lat, tt.lon)).Degrees(); math.Abs(got-tt.want) > tolerance {
			t.Errorf("convergence at %v, %v is %.4f°, want %.4f°", tt.lat, tt.lon, got, tt.want)
		}
	}
}

// Readings are made from the model's declination with one known slip each; the slip must
// come first among the causes. The grid slip is GeoConvert's convergence to 0.01 degree.
func TestCompareNamesTheCause(t *testing.T) {
	round := []float64{0, 45, 90, 135, 180, 225, 270, 315}
	for _, tt := range []struct {
		name      string
		lat, lon  float64
		off, sign float64 // what is read: sign times the model's plus off, degrees
		scatter   float64
		compass   []float64
		agree     bool
		first     string
	}{
		{"as the model", -20.6, 25.4, 0, 1, 0, round, true, ""},
		{"within the sigmas", -20.6, 25.4, 0.9, 1, 0, round, true, ""},
		{"sign exchanged", -20.6, 25.4, 0, -1, 0, round, false, "wrong_sign"},
		{"grid for true", 60, 11.9, -2.511, 1, 0, round, false, "grid_for_true"}, // 2.9° tan, sin 60°
		{"grid the other way", 60, 11.9, 2.511, 1, 0, round, false, "iron"},
		{"scatter", -20.6, 25.4, 12, 1, 3, round, false, "scatter"},
		{"one axis", -33.87, 151.2, 4, 1, 0, []float64{90, 92, 94}, false, "deviation"},
		{"all round", -33.87, 151.2, 4, 1, 0, round, false, "iron"},
	} {
		f, err := geomag.Magnetic(time.Date(2026, 7, 2, 12, 0, 0, 0, time.UTC), position(tt.lat, tt.lon), 0)
		if err != nil {
			t.Fatal(err)
		}
		s := sightings(tt.sign*f.Declination.Degrees()+tt.off, tt.compass...)
		for i := range s {
			swing := []float64{1, -1}[i%2] * tt.scatter
			s[i].Heading = (s[i].Heading + angle.FromDegrees(swing)).Bearing()
		}
		o, err := ObserveDeclination(s, WhollyShared(s))
		if err != nil {
			t.Fatal(err)
		}
		c := o.Compare(f)
		if c.Agree != tt.agree || c.Agree != (len(c.Causes) == 0) {
			t.Errorf("%s: agree %v at %.1f sigmas with causes %v", tt.name, c.Agree, c.Sigmas, c.Causes)
		} else if !c.Agree && c.Causes[0].Code != tt.first {
			t.Errorf("%s: %.1f sigmas, %v apart, first cause %q, want %q", tt.name, c.Sigmas, c.Difference, c.Causes[0].Code, tt.first)
		}
	}
}

func TestObserveDeclinationRefuses(t *testing.T) {
	good := sightings(3, 10)[0]
	for _, tt := range []struct {
		name string
		edit func(*Sighting)
		code string
	}{
		{"nothing wrong", func(*Sighting) {}, ""},
		{"magnetic heading", func(s *Sighting) { s.Reference = FromMagneticNorth }, "heading_not_true"},
		{"photo not read", func(s *Sighting) { s.Reference = ByPhoto }, "heading_not_true"},
		{"no compass sigma", func(s *Sighting) { s.CompassSigma = 0 }, "bad_sigma"},
		{"not a sigma", func(s *Sighting) { s.HeadingSigma = angle.Angle(math.NaN()) }, "bad_sigma"},
		{"endless sigma", func(s *Sighting) { s.CompassSigma = angle.Angle(math.Inf(1)) }, "bad_sigma"},
	} {
		s := good
		tt.edit(&s)
		if _, err := ObserveDeclination([]Sighting{good, s}, Shared{}); fault.Code(err) != tt.code {
			t.Errorf("%s: %v, want code %q", tt.name, err, tt.code)
		}
	}
	if _, err := ObserveDeclination(nil, Shared{}); fault.Code(err) != "no_sightings" {
		t.Errorf("no sightings: %v", err)
	}
}

func TestReadSightings(t *testing.T) {
	const file = "\ufeff# invented: a two-truck survey on a salt pan\r\n" +
		"compass_deg, true_deg,magnetic_deg,photo,heading_sigma_deg,note\r\n" +
		"092.5,80,,,0.2,lead truck\r\n" +
		"360,,1.25,,,\r\n" +
		"\r\n" +
		"10,,,\"pan, north.jpg\",,\"by\nphoto\"\r\n"
	const semicolons = "# invented\r\n" +
		"Compass_deg; True_deg;Magnetic_deg;Photo;Heading_sigma_deg;Note\r\n" +
		"092,5;80;;;0,2;lead truck\r\n" +
		"360;;1,25;;;\r\n" +
		";;;;;\r\n" +
		"10;;;pan, north.jpg;;\r\n"
	for _, text := range []string{file, semicolons} {
		testReadSightings(t, text)
	}
}

func testReadSightings(t *testing.T, file string) {
	t.Helper()
	got, err := ReadSightings(strings.NewReader(file), "swing.csv", ReadingSigmas)
	if err != nil {
		t.Fatal(err)
	}
	d := angle.Degree
	want := []Sighting{
		{Compass: 92.5 * d, CompassSigma: d / 2, Heading: 80 * d, HeadingSigma: 0.2 * d, Reference: FromTrueNorth, Line: 3},
		{Compass: 0, CompassSigma: d / 2, Heading: 1.25 * d, HeadingSigma: d / 2, Reference: FromMagneticNorth, Line: 4},
		{Compass: 10 * d, CompassSigma: d / 2, Reference: ByPhoto, Photo: "pan, north.jpg", Line: 6},
	}
	if len(got) != len(want) {
		t.Fatalf("%d sightings, want %d", len(got), len(want))
	}
	for i, g := range got {
		w := want[i]
		near := func(a, b angle.Angle) bool { return (a - b).Abs() < 1e-12 }
		if !near(g.Compass, w.Compass) || !near(g.Heading, w.Heading) || !near(g.HeadingSigma, w.HeadingSigma) || !near(g.CompassSigma, w.CompassSigma) ||
			g.Reference != w.Reference || g.Photo != w.Photo || g.Line != w.Line {
			t.Errorf("row %d: %+v, want %+v", i, g, w)
		}
	}
}

func TestReadSightingsNamesFileAndLine(t *testing.T) {
	for _, tt := range []struct{ file, code, where string }{
		{"", "missing_column", "f.csv line 1: the file is empty"},
		{"# nothing\n", "missing_column", "f.csv line 1: the file is empty"},
		{"true_deg\n10\n", "missing_column", "f.csv line 1: column compass_deg"},
		{"compass_deg;true_deg\n1,0;20,5;\n", "bad_csv", "f.csv line 2"},
		{"compass_deg;true_deg\n10,0;400,5\n", "bad_heading", `f.csv line 2: true_deg "400.5"`},
		{"compass_deg,note\n10,20\n", "missing_column", "f.csv line 1: none"},
		{"# head\ncompass_deg,true_deg,sigma\n1,2,3\n", "unknown_column", "f.csv line 2"},
		{"compass_deg,true_deg,true_deg\n1,2,3\n", "bad_csv", "f.csv line 1"},
		{"compass_deg,true_deg\n", "no_sightings", "f.csv"},
		{"compass_deg,true_deg\n1,2\n400,3\n", "bad_heading", `f.csv line 3: compass_deg "400"`},
		{"compass_deg,true_deg\n1,2\n3,-1\n", "bad_heading", `f.csv line 3: true_deg "-1"`},
		{"compass_deg,true_deg\n,2\n", "bad_heading", "f.csv line 2"},
		{"compass_deg,true_deg\n1e1,2\n", "bad_heading", "f.csv line 2"},
		{"compass_deg,true_deg\nNaN,2\n", "bad_heading", "f.csv line 2"},
		{"compass_deg,true_deg\n1.2.3,2\n", "bad_heading", "f.csv line 2"},
		{"compass_deg,true_deg\n1\n", "bad_csv", "f.csv line 2"},
		{"compass_deg,true_deg\n1,2,3\n", "bad_csv", "f.csv line 2"},
		{"compass_deg,true_deg\n1,\"2\n", "bad_csv", "f.csv line"},
		{"compass_deg,true_deg,photo\n1,2,a.jpg\n", "bad_row", "f.csv line 2: the row has 2 headings"},
		{"compass_deg,true_deg,photo\n1,,\n", "bad_row", "f.csv line 2: the row has 0 headings"},
		{"compass_deg,photo,heading_sigma_deg\n1,a.jpg,1\n", "bad_row", "f.csv line 2"},
		{"compass_deg,photo\n1,a.jpg\n\n2,b.jpg\n3,a.jpg\n", "duplicate_photo", "f.csv line 5: photo \"a.jpg\" stands in line 2"},
		{"compass_deg,true_deg,heading_sigma_deg\n1,2,0\n", "bad_sigma", "f.csv line 2"},
		{"compass_deg,true_deg,compass_sigma_deg\n1,2,91\n", "bad_sigma", "f.csv line 2"},
		{"compass_deg,true_deg\n" + strings.Repeat("1,2\n", MaxSightings+1), "too_many_sightings", "f.csv line 502"},
		{"compass_deg,true_deg\n" + strings.Repeat("1,2\n", maxSightingsBytes/4), "file_too_large", "f.csv"},
	} {
		got, err := ReadSightings(strings.NewReader(tt.file), "f.csv", ReadingSigmas)
		if fault.Code(err) != tt.code || !strings.Contains(err.Error(), tt.where) || got != nil {
			t.Errorf("%.60q: %v, %v, want code %s naming %q", tt.file, got, err, tt.code, tt.where)
		}
	}
	broken := errors.New("disk gone")
	if _, err := ReadSightings(iotest.ErrReader(broken), "f.csv", ReadingSigmas); fault.Code(err) != "unreadable_file" || !errors.Is(err, broken) {
		t.Errorf("broken reader: %v", err)
	}
}

func FuzzReadSightings(f *testing.F) {
	for _, s := range []string{
		"compass_deg,true_deg\n1,2\n", "compass_deg,photo,note\n1,a.jpg,x\n", "compass_deg,magnetic_deg,heading_sigma_deg,compass_sigma_deg\n360,0,1,90\n",
		"\ufeff#x\r\ncompass_deg,true_deg\r\n1,\"2\"\r\n", "compass_deg,true_deg\n400,2\n", "\"", "\x00,\xff\n", ",,,\n,,,\n",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, err := ReadSightings(strings.NewReader(s), "f.csv", ReadingSigmas)
		if err != nil {
			if fault.Code(err) == "error" || got != nil {
				t.Fatalf("%q: %v, %v", s, got, err)
			}
			return
		}
		for _, o := range got {
			if !(o.Compass >= 0 && o.Compass < 2*math.Pi) || !(o.Heading >= 0 && o.Heading < 2*math.Pi) || !(o.CompassSigma > 0) ||
				(o.Reference == ByPhoto) != (o.Photo != "") || (o.Reference != ByPhoto) != (o.HeadingSigma > 0) || o.Line < 2 {
				t.Fatalf("%q reads as %+v", s, o)
			}
		}
	})
}

// The largest file that ReadSightings takes must not keep anyone waiting.
func BenchmarkObserveDeclinationLargest(b *testing.B) {
	var compass []float64
	for i := range MaxSightings {
		compass = append(compass, float64(i%360))
	}
	s := sightings(0, compass...)
	for i := range s {
		s[i].Heading = (s[i].Heading + angle.FromDegrees(float64(i*i%61))).Bearing()
	}
	for b.Loop() {
		if _, err := ObserveDeclination(s, WhollyShared(s)); err != nil {
			b.Fatal(err)
		}
	}
}

func position(latDeg, lonDeg float64) geo.Position {
	return geo.Position{Lat: angle.FromDegrees(latDeg), Lon: angle.FromDegrees(lonDeg)}
}

// What headings share is the most that any of them says; one that does not say, all of it.
func TestSharedOf(t *testing.T) {
	d := angle.Degree
	plain, said := Sighting{HeadingSigma: 5 * d}, Sighting{HeadingSigma: 200 * d, Share: &Shared{157 * d, 2 * d}}
	for _, tt := range []struct {
		name string
		list []Sighting
		want Shared
	}{
		{"none", nil, Shared{}},
		{"said", []Sighting{said, said}, Shared{157 * d, 2 * d}},
		{"not said", []Sighting{plain, plain}, Shared{5 * d, 5 * d}},
		{"both", []Sighting{plain, said}, Shared{157 * d, 5 * d}},
		{"one, not said", []Sighting{plain}, Shared{5 * d, 0}},
		{"one, said", []Sighting{said}, Shared{157 * d, 2 * d}},
	} {
		if got := SharedOf(tt.list); got != tt.want {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
	}
}

func TestAnyTrue(t *testing.T) {
	magnetic, photo, fromTrue := Sighting{Reference: FromMagneticNorth}, Sighting{Reference: ByPhoto}, Sighting{Reference: FromTrueNorth}
	if AnyTrue(nil) || AnyTrue([]Sighting{magnetic, photo}) || !AnyTrue([]Sighting{magnetic, fromTrue}) {
		t.Error("true headings are not told from others")
	}
}
