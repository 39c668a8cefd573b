package compass

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/testtable"
)

// handbookCSV returns the rows of compass_swing.csv of one kind: the heading or the
// coefficient's name, and the value in degrees.
func handbookCSV(t testing.TB, kind string) (items []string, headings, values []float64) {
	t.Helper()
	for _, row := range testtable.Read(t, "testdata/compass_swing.csv") {
		if row["kind"] != kind {
			continue
		}
		heading := 0.0
		if row["heading_deg"] != "" {
			heading = row.Number(t, "heading_deg")
		}
		items, headings, values = append(items, row["item"]), append(headings, heading), append(values, row.Number(t, "value_deg"))
	}
	return items, headings, values
}

// sighting is a reading of half a degree on a compass heading that deviates.
func sighting(compassDeg, deviationDeg float64) Sighting {
	return Sighting{
		Compass: angle.FromDegrees(compassDeg), CompassSigma: angle.Degree / 2,
		Heading: angle.FromDegrees(compassDeg + deviationDeg).Bearing(), HeadingSigma: angle.Degree / 5,
		Reference: FromMagneticNorth,
	}
}

func handbookSightings(t testing.TB) []Sighting {
	_, headings, deviations := handbookCSV(t, "deviation")
	if len(headings) != 8 {
		t.Fatalf("%d headings, want 8", len(headings))
	}
	var s []Sighting
	for i, z := range headings {
		s = append(s, sighting(z, deviations[i]))
	}
	return s
}

func analyse(t testing.TB, s []Sighting, o Options) Analysis {
	t.Helper()
	a, err := Analyse(s, o)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// compass_swing.csv holds the handbook's deviations on eight headings (NGA, Handbook
// of Magnetic Compass Adjustment, 2004, chapter V, figure 501), its coefficients by
// half sums (+1, +12, +8, +5, +1.5) and those of least squares, computed elsewhere
// (B 11.940, C 7.960, the others equal). The half sums differ in B and C because they
// hear only the cardinal headings.
func TestHandbookExample(t *testing.T) {
	a := analyse(t, handbookSightings(t), Options{})
	if a.Handbook == nil {
		t.Fatal("the handbook's rule does not apply to its own example")
	}
	for _, tt := range []struct {
		kind      string
		got       Coefficients
		tolerance float64 // degrees
	}{
		{"approximate_coefficient", *a.Handbook, 1e-9},         // exact decimals
		{"least_squares_coefficient", a.Coefficients, 0.51e-6}, // six decimals
	} {
		items, _, values := handbookCSV(t, tt.kind)
		if len(items) != count {
			t.Fatalf("%d rows of %s", len(items), tt.kind)
		}
		for i, item := range items {
			k := slices.Index(names[:], item[:1])
			if got := tt.got[k].Degrees(); math.Abs(got-values[i]) > tt.tolerance {
				t.Errorf("%s %s = %.7f°, want %v°", tt.kind, names[k], got, values[i])
			}
		}
	}
	_, headings, residuals := handbookCSV(t, "least_squares_residual")
	for i, r := range a.Readings {
		if r.Compass.Degrees() != headings[i] || math.Abs(r.Residual.Degrees()-residuals[i]) > 0.51e-3 { // three decimals
			t.Errorf("residual on %v is %.4f°, want %v° on %v", r.Compass, r.Residual.Degrees(), residuals[i], headings[i])
		}
	}
	_, _, rms := handbookCSV(t, "least_squares_rms")
	if got := a.ResidualRMS.Degrees(); math.Abs(got-rms[0]) > 0.51e-4 { // four decimals
		t.Errorf("residual rms %.5f°, want %v°", got, rms[0])
	}
	if a.Freedom != 3 || len(a.Remarks) != 0 {
		t.Errorf("freedom %d, remarks %q", a.Freedom, a.Remarks)
	}
}

// The reference is gonum's QR solution of the weighted equations, and its inverse for
// the covariance, for headings that are neither even nor equally good.
func TestFitAgreesWithQR(t *testing.T) {
	own := []float64{0.5, 0.3, 1, 0.5, 0.8, 0.4, 2, 0.5, 0.6}
	z := []float64{3, 31, 77, 124, 160, 211, 248, 301, 344}
	noise := []float64{0.9, -0.4, 1.7, -1.1, 0.6, -0.5, 3, 0.8, -1.2} // degrees, invented
	truth := Coefficients{A: 2 * angle.Degree, B: -9 * angle.Degree, C: 5 * angle.Degree, D: 3 * angle.Degree, E: -1 * angle.Degree}
	var s []Sighting
	x, y := mat.NewDense(len(z), count, nil), mat.NewVecDense(len(z), nil)
	for i := range z {
		o := sighting(z[i], truth.Deviation(angle.FromDegrees(z[i])).Degrees()+noise[i])
		o.CompassSigma, o.HeadingSigma = angle.FromDegrees(own[i]), 0
		s = append(s, o)
		sin, cos := math.Sincos(o.Compass.Radians())
		for k, v := range []float64{1, sin, cos, 2 * sin * cos, cos*cos - sin*sin} {
			x.Set(i, k, v/own[i])
		}
		y.SetVec(i, (o.Heading-o.Compass).Signed().Degrees()/own[i])
	}
	var qr mat.QR
	qr.Factorize(x)
	var want, residual mat.VecDense
	if err := qr.SolveVecTo(&want, false, y); err != nil {
		t.Fatal(err)
	}
	residual.MulVec(x, &want)
	residual.SubVec(y, &residual)
	scatter := math.Sqrt(mat.Dot(&residual, &residual) / float64(len(z)-count))
	var normal, inverse mat.Dense
	normal.Mul(x.T(), x)
	if err := inverse.Inverse(&normal); err != nil {
		t.Fatal(err)
	}

	o := Options{Shared: Shared{Constant: 0.3 * angle.Degree, Lean: 0.4 * angle.Degree}}
	a := analyse(t, s, o)
	const tolerance = 1e-9 // degrees: float rounding
	if math.Abs(a.Scatter-scatter) > tolerance || !(scatter > 1) {
		t.Errorf("scatter %v, want %v, above 1", a.Scatter, scatter)
	}
	shared := []float64{0.3 * 0.3, 0.4 * 0.4, 0.4 * 0.4, 0, 0}
	covariance := func(j, k int) float64 {
		v := inverse.At(j, k) * scatter * scatter
		if j == k {
			v += shared[j]
		}
		return v
	}
	for k := range count {
		if d := a.Coefficients[k].Degrees() - want.AtVec(k); math.Abs(d) > tolerance {
			t.Errorf("%s = %v, want %v°", names[k], a.Coefficients[k], want.AtVec(k))
		}
		if d := a.Sigmas[k].Degrees() - math.Sqrt(covariance(k, k)); math.Abs(d) > tolerance {
			t.Errorf("sigma of %s = %v, want %v°", names[k], a.Sigmas[k], math.Sqrt(covariance(k, k)))
		}
		for j := range count {
			if d := a.Correlation[j][k] - covariance(j, k)/math.Sqrt(covariance(j, j)*covariance(k, k)); math.Abs(d) > tolerance {
				t.Errorf("correlation of %s and %s is off by %v", names[j], names[k], d)
			}
		}
	}
}

// Which coefficients a set of headings leaves open follows by hand from the five
// functions' values on them: on the cardinal headings sin 2z vanishes, on the quarter
// headings cos 2z; on three headings evenly round 2z runs as -z.
func TestMeaninglessCoefficients(t *testing.T) {
	for _, tt := range []struct {
		name, unknown string
		headings      []float64
		next          float64 // a heading within the gap the remark names
	}{
		{"eight", "", []float64{0, 45, 90, 135, 180, 225, 270, 315}, 0},
		{"five evenly", "", []float64{10, 82, 154, 226, 298}, 0},
		{"cardinal", "D", []float64{0, 90, 180, 270}, 45},
		{"cardinal, twice", "D", []float64{0, 90, 180, 270, 0, 90, 180, 270}, 45},
		{"quarter", "E", []float64{45, 135, 225, 315}, 90},
		{"three evenly", "B, C, D and E", []float64{0, 120, 240}, 60},
		{"there and back", "A, B, D and E", []float64{0, 180}, 90},
		{"one", "A, B, C, D and E", []float64{77}, 200},
		{"identical", "A, B, C, D and E", []float64{77, 77, 77, 77, 77, 77}, 200},
		{"bunched", "A, B, C, D and E", []float64{40, 50, 60, 70, 80, 90, 100, 110}, 200},
	} {
		truth := Coefficients{A: angle.Degree, B: 8 * angle.Degree, C: -4 * angle.Degree, D: 2 * angle.Degree, E: -1 * angle.Degree}
		var s []Sighting
		for _, z := range tt.headings {
			s = append(s, sighting(z, truth.Deviation(angle.FromDegrees(z)).Degrees()))
		}
		a := analyse(t, s, Options{})
		if got := a.unknown(); got != tt.unknown {
			t.Errorf("%s: %q are meaningless, want %q", tt.name, got, tt.unknown)
		}
		for k := range count {
			const tolerance = 1e-9 // degrees: the readings are exact
			if !a.Meaningless[k] && math.Abs((a.Coefficients[k]-truth[k]).Degrees()) > tolerance {
				t.Errorf("%s: %s is said to be known, but is %v, not %v", tt.name, names[k], a.Coefficients[k], truth[k])
			}
		}
		_, err := a.Card("", swung)
		if want := map[bool]string{true: "swing_incomplete"}[tt.unknown != ""]; fault.Code(err) != want {
			t.Errorf("%s: card %v, want code %q", tt.name, err, want)
		}
		if tt.unknown != "" {
			from, to := a.widestGap()
			if next := angle.FromDegrees(tt.next); (next-from).Bearing() >= (to-from).Bearing() && from != to || !strings.Contains(a.Remarks[0], tt.unknown) {
				t.Errorf("%s: %q should ask for %v", tt.name, a.Remarks[0], tt.next)
			}
		}
	}
}

// Swings drawn from the error model itself: the compass heading to steer must stay
// within two sigmas of the truth in 95.4 % (normal distribution), a little more because
// the sigmas grow with the scatter but never shrink. 1,000 swings of one heading each
// have a binomial sigma of 0.66 %.
func TestCardSigmaHolds(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	for _, tt := range []struct {
		name     string
		headings []float64
	}{
		{"eight", []float64{0, 45, 90, 135, 180, 225, 270, 315}},
		{"five", []float64{0, 72, 144, 216, 288}},
		{"uneven", []float64{0, 20, 50, 80, 130, 200, 280}},
		{"sixteen", []float64{0, 22, 45, 67, 90, 112, 135, 157, 180, 202, 225, 247, 270, 292, 315, 337}},
	} {
		o := Options{
			Declination: &Declination{-9 * angle.Degree, 0.4 * angle.Degree, AsGiven},
			Shared:      Shared{Constant: 0.3 * angle.Degree, Lean: 0.5 * angle.Degree},
		}
		const swings, own, headingOwn = 1000, 0.5, 0.2 // degrees
		normal := func(sigma angle.Angle) angle.Angle { return angle.Angle(random.NormFloat64()) * sigma }
		within, suspected := 0, 0
		for range swings {
			truth := Coefficients{A: normal(angle.Degree), B: normal(6 * angle.Degree), C: normal(6 * angle.Degree), D: normal(2 * angle.Degree), E: normal(angle.Degree)}
			declination := o.Declination.Value + normal(o.Declination.Sigma)
			constant, sinLean, cosLean := normal(o.Shared.Constant), normal(o.Shared.Lean), normal(o.Shared.Lean)
			var s []Sighting
			for _, z := range tt.headings {
				compass := angle.FromDegrees(z)
				heading := compass + truth.Deviation(compass) + declination +
					constant + sinLean*angle.Angle(compass.Sin()) + cosLean*angle.Angle(compass.Cos()) + normal(headingOwn*angle.Degree)
				s = append(s, Sighting{
					// The reading's own error is drawn small enough beside the deviation's
					// slope to count as one of the deviation.
					Compass: compass, CompassSigma: own * angle.Degree, Heading: (heading + normal(own*angle.Degree)).Bearing(),
					HeadingSigma: angle.FromDegrees(math.Sqrt(headingOwn*headingOwn + 0.3*0.3 + 0.5*0.5)),
				})
			}
			a := analyse(t, s, o)
			c, err := a.Card("", swung)
			if err != nil {
				t.Fatal(err)
			}
			z := angle.Angle(random.Float64()) * 360 * angle.Degree
			compass, sigma := c.CompassFor((z + truth.Deviation(z)).Bearing())
			if (compass - z).Signed().Abs() <= 2*sigma {
				within++
			}
			if slices.ContainsFunc(a.Readings, func(r Fitted) bool { return r.Outlier }) {
				suspected++
			}
		}
		t.Logf("%s: %.1f %% within two sigmas, %.1f %% with a suspect", tt.name, 100*float64(within)/swings, 100*float64(suspected)/swings)
		if f := float64(within) / swings; f < 0.935 || f > 0.985 {
			t.Errorf("%s: %.1f %% within two sigmas, want 93.5 to 98.5 %%", tt.name, 100*f)
		}
		if f := float64(suspected) / swings; f > 0.08 { // promised: 5 %, plus three binomial sigmas
			t.Errorf("%s: %.1f %% of clean swings have a suspect", tt.name, 100*f)
		}
	}
}

func TestOutliersAreNamed(t *testing.T) {
	eight := []float64{0, 45, 90, 135, 180, 225, 270, 315}
	sixteen := append(slices.Clone(eight), 22, 67, 112, 157, 202, 247, 292, 337)
	for _, tt := range []struct {
		name     string
		headings []float64
		blunder  map[int]float64 // degrees
	}{
		{"none", eight, nil},
		{"one of eight", eight, map[int]float64{3: 8}},
		{"one of sixteen", sixteen, map[int]float64{12: -5}},
		{"two of sixteen, side by side", sixteen, map[int]float64{2: 8, 9: 7}},
		{"two of sixteen, opposed", sixteen, map[int]float64{2: 8, 6: -7}},
	} {
		noise := []float64{0.2, -0.3, 0.1, 0.4, -0.5, 0.3, -0.1, -0.2} // degrees, invented
		var s []Sighting
		for i, z := range tt.headings {
			truth := Coefficients{B: 6 * angle.Degree, C: -3 * angle.Degree}.Deviation(angle.FromDegrees(z)).Degrees()
			s = append(s, sighting(z, truth+noise[i%8]+tt.blunder[i]))
		}
		a := analyse(t, s, Options{Shared: WhollyShared(s)})
		for i, r := range a.Readings {
			if _, want := tt.blunder[i]; r.Outlier != want {
				t.Errorf("%s: reading %d is an outlier: %v, want %v", tt.name, i, r.Outlier, want)
			}
			if want := tt.blunder[i]; want != 0 && math.Abs(r.Apart.Degrees()-want) > 1.5 { // the noise, as the other readings carry it over
				t.Errorf("%s: reading %d stands %v apart, want %v°", tt.name, i, r.Apart, want)
			}
		}
		if named := len(a.Remarks) > 0 && strings.Contains(a.Remarks[0], "out of line"); named != (tt.blunder != nil) {
			t.Errorf("%s: remarks %q", tt.name, a.Remarks)
		}
	}
}

// compass = magnetic - deviation and magnetic = true - declination, by hand: true 100,
// declination 10 west, so magnetic 110; compass 104, so deviation 6 east.
func TestSigns(t *testing.T) {
	s := sighting(104, 0)
	s.Heading, s.Reference = 100*angle.Degree, FromTrueNorth
	a := analyse(t, []Sighting{s}, Options{Declination: &Declination{-10 * angle.Degree, angle.Degree, AsGiven}})
	r := a.Readings[0]
	if math.Abs(r.Magnetic.Degrees()-110) > 1e-9 || math.Abs(r.Deviation.Degrees()-6) > 1e-9 {
		t.Errorf("magnetic %v, deviation %v, want 110 and 6", r.Magnetic, r.Deviation)
	}
}

func TestAnalyseRefuses(t *testing.T) {
	for _, tt := range []struct {
		name string
		edit func(*Sighting, *Options)
		code string
	}{
		{"nothing wrong", func(*Sighting, *Options) {}, ""},
		{"true heading without declination", func(s *Sighting, _ *Options) { s.Reference = FromTrueNorth }, "no_declination"},
		{"declination without a sigma", func(s *Sighting, o *Options) {
			s.Reference, o.Declination = FromTrueNorth, &Declination{Source: AsGiven}
		}, "no_declination"},
		{"true heading", func(s *Sighting, o *Options) {
			s.Reference, o.Declination = FromTrueNorth, &Declination{0, angle.Degree, AsGiven}
		}, ""},
		{"photo not read", func(s *Sighting, _ *Options) { s.Reference = ByPhoto }, "photo_not_read"},
		{"no compass sigma", func(s *Sighting, _ *Options) { s.CompassSigma = 0 }, "bad_sigma"},
		{"not a sigma", func(s *Sighting, _ *Options) { s.CompassSigma = angle.Angle(math.NaN()) }, "bad_sigma"},
		{"endless heading sigma", func(s *Sighting, _ *Options) { s.HeadingSigma = angle.Angle(math.Inf(1)) }, "bad_sigma"},
	} {
		s, o := handbookSightings(t), Options{}
		tt.edit(&s[4], &o)
		if _, err := Analyse(s, o); fault.Code(err) != tt.code {
			t.Errorf("%s: %v, want code %q", tt.name, err, tt.code)
		}
	}
	if _, err := Analyse(nil, Options{}); fault.Code(err) != "no_sightings" {
		t.Errorf("no sightings: %v", err)
	}
}

// The handbook's example as true headings, at a declination of 13.9 W (invented) that is
// put in as 13.9 E: each deviation comes out 27.8 too small and A with them, +1 - 27.8.
// B to E stay; A is remarked upon, and so it is where headings that were magnetic already
// are given as true ones, A then being +1 + 13.9. With the right sign, or with magnetic
// headings, it is not.
func TestWrongDeclinationIsRemarkedUpon(t *testing.T) {
	const declination = -13.9 * angle.Degree
	for _, tt := range []struct {
		name        string
		declination angle.Angle
		magnetic    bool    // the headings are so already
		a           float64 // degrees
		remark      string
	}{
		{"right", declination, false, 1, ""},
		{"wrong sign", -declination, false, 1 - 27.8, "a declination of the wrong sign"},
		{"taken off twice", declination, true, 1 + 13.9, "a declination that was taken off twice"},
		{"off by 10", declination + 10*angle.Degree, false, 1 - 10, "a wrong declination"},
	} {
		s := handbookSightings(t)
		for i := range s {
			if s[i].Reference = FromTrueNorth; !tt.magnetic {
				s[i].Heading = (s[i].Heading + declination).Bearing()
			}
		}
		a := analyse(t, s, Options{Declination: &Declination{tt.declination, angle.Degree / 2, AsGiven}, Shared: WhollyShared(s)})
		const tolerance = 1e-9 // degrees: float rounding
		if got := a.Coefficients[A].Degrees(); math.Abs(got-tt.a) > tolerance {
			t.Errorf("%s: A is %v, want %v", tt.name, got, tt.a)
		}
		said := strings.Join(a.Remarks, "\n")
		if tt.remark == "" && strings.Contains(said, "declination") || !strings.Contains(said, tt.remark) {
			t.Errorf("%s: remarks %q, want %q", tt.name, a.Remarks, tt.remark)
		}
	}
	if a := analyse(t, handbookSightings(t), Options{}); strings.Contains(strings.Join(a.Remarks, "\n"), "declination") {
		t.Errorf("magnetic headings: %q", a.Remarks)
	}
}

func TestHandbookRuleNeedsItsHeadings(t *testing.T) {
	s := handbookSightings(t)
	s[3].Compass += 0.6 * angle.Degree
	if a := analyse(t, s, Options{}); a.Handbook != nil {
		t.Error("the half sums took a heading 0.6 degrees off")
	}
	s[3].Compass -= 0.2 * angle.Degree
	if a := analyse(t, s, Options{}); a.Handbook == nil {
		t.Error("the half sums refused a heading 0.4 degrees off")
	}
}

func TestReadSightingsRefusesTheSameHeadingTwice(t *testing.T) {
	for _, tt := range []struct{ file, code, where string }{
		{"compass_deg,magnetic_deg\n0,1\n45,46\n", "", ""},
		{"compass_deg,magnetic_deg\n0,1\n45,46\n045.0,47\n", "duplicate_heading", "f.csv line 4: compass heading 45.00° stands in line 3"},
		{"compass_deg,magnetic_deg\n0,1\n360,2\n", "duplicate_heading", "f.csv line 3"},
		{"compass_deg,magnetic_deg\n400,1\n", "bad_heading", "f.csv line 2"},
	} {
		got, err := ReadSwing(strings.NewReader(tt.file), "f.csv", ReadingSigmas)
		if fault.Code(err) != tt.code || err != nil && (!strings.Contains(err.Error(), tt.where) || got != nil) {
			t.Errorf("%q: %v, %v, want code %q naming %q", tt.file, got, err, tt.code, tt.where)
		}
	}
}

// Whatever file can be read can be analysed, and either gives a card that holds to its
// own equation or is refused with a code.
func FuzzSwing(f *testing.F) {
	for _, s := range []string{
		"compass_deg,magnetic_deg\n0,1\n45,46\n90,91\n135,136\n180,181\n225,226\n270,271\n315,316\n",
		"compass_deg,true_deg\n0,180\n90,270\n180,0\n270,90\n45,200\n",
		"compass_deg,magnetic_deg,compass_sigma_deg\n0,1,0.000001\n45,46,90\n90,91,1\n135,136,1\n180,181,1\n",
		"compass_deg,photo\n1,a.jpg\n", "\xff", "compass_deg,magnetic_deg\n1,2\n1,2\n",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, file string) {
		s, err := ReadSwing(strings.NewReader(file), "f.csv", ReadingSigmas)
		if err == nil && len(s) > 40 {
			return // the fuzzer's time goes further on short files
		}
		var a Analysis
		if err == nil {
			a, err = Analyse(s, Options{Declination: &Declination{0, angle.Degree, AsGiven}, Shared: WhollyShared(s)})
		}
		var c Card
		if err == nil {
			c, err = a.Card("", swung)
		}
		if err != nil {
			if fault.Code(err) == "error" {
				t.Fatalf("%q: %v", file, err)
			}
			return
		}
		for _, l := range c.ByMagnetic() {
			magnetic, _ := c.MagneticFor(l.Compass)
			if !((magnetic - l.Magnetic).Signed().Abs() < angle.Arcsecond) || !(l.Sigma > 0) {
				t.Fatalf("%q: %+v", file, l)
			}
		}
	})
}

// The largest file that ReadSightings takes must not keep anyone waiting.
func BenchmarkAnalyseLargest(b *testing.B) {
	var s []Sighting
	for i := range MaxSightings {
		s = append(s, sighting(360*float64(i)/MaxSightings, float64(i%17)))
	}
	for b.Loop() {
		analyse(b, s, Options{})
	}
}

func BenchmarkAnalyse(b *testing.B) {
	s := handbookSightings(b)
	for b.Loop() {
		analyse(b, s, Options{})
	}
}
