package compass

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
)

var swung = time.Date(2026, 3, 14, 7, 26, 0, 0, time.UTC)

// handbookCard is the card of the handbook's example.
func handbookCard(t testing.TB) Card {
	t.Helper()
	s := handbookSightings(t)
	c, err := analyse(t, s, Options{Shared: WhollyShared(s)}).Card("Invented: lead truck", swung)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// The equation's own values on the eight headings follow from the file: the handbook's
// deviation less the least-squares residual.
func TestCardGivesTheHandbooksDeviations(t *testing.T) {
	c := handbookCard(t)
	_, headings, deviations := handbookCSV(t, "deviation")
	_, _, residuals := handbookCSV(t, "least_squares_residual")
	for i, z := range headings {
		want := deviations[i] - residuals[i]
		const tolerance = 0.51e-3 // degrees; the residuals have three decimals
		if got, _ := c.DeviationAt(angle.FromDegrees(z)); math.Abs(got.Degrees()-want) > tolerance {
			t.Errorf("deviation on compass %v is %v, want %.4f°", z, got, want)
		}
		magnetic := angle.FromDegrees(z + want).Bearing()
		// The slope of the deviation, at most 0.43 here, stretches the tolerance.
		if got, _ := c.CompassFor(magnetic); math.Abs((got - angle.FromDegrees(z)).Signed().Degrees()) > 2*tolerance {
			t.Errorf("compass for magnetic %v is %v, want %v", magnetic, got, z)
		}
	}
}

// CompassFor is checked against bisection, which needs no slope, up to the steepest
// deviation that a card may have; and its sigma against the compass heading's change
// when the deviation is off by one sigma.
func TestCompassForSolvesTheEquation(t *testing.T) {
	for _, c := range []Coefficients{
		{},
		{A: 3 * angle.Degree, B: 12 * angle.Degree, C: 8 * angle.Degree, D: 5 * angle.Degree, E: 1.5 * angle.Degree},
		{B: maxSlope},
		{A: -170 * angle.Degree, D: maxSlope / 2},
	} {
		card := Card{Coefficients: c}
		for k := range count {
			card.covariance[k][k] = 1e-8
		}
		for deg := 0.0; deg < 360; deg += 7.5 {
			magnetic := angle.FromDegrees(deg)
			solve := func(offset angle.Angle) angle.Angle {
				low, high := magnetic-math.Pi*2, magnetic+math.Pi*2 // no deviation passes 2 pi
				for range 80 {
					middle := (low + high) / 2
					if middle+c.Deviation(middle)+offset > magnetic {
						high = middle
					} else {
						low = middle
					}
				}
				return low
			}
			compass, sigma := card.CompassFor(magnetic)
			const tolerance = 1e-9 // degrees: float rounding
			if d := (compass - solve(0)).Signed().Degrees(); math.Abs(d) > tolerance {
				t.Errorf("%v: compass for %v is off by %v°", c, deg, d)
			}
			_, deviationSigma := card.DeviationAt(compass)
			want := (solve(-deviationSigma) - solve(deviationSigma)).Abs() / 2
			if math.Abs(float64(sigma/want-1)) > 0.01 { // the slope's own change over one sigma
				t.Errorf("%v: sigma of the compass for %v is %v, want %v", c, deg, sigma, want)
			}
		}
	}
}

func TestTablesRunEvery15Degrees(t *testing.T) {
	c := handbookCard(t)
	byCompass, byMagnetic := c.ByCompass(), c.ByMagnetic()
	if len(byCompass) != 24 || len(byMagnetic) != 24 {
		t.Fatalf("%d and %d lines, want 24", len(byCompass), len(byMagnetic))
	}
	for i := range 24 {
		if want := float64(15 * i); math.Abs(byCompass[i].Compass.Degrees()-want) > 1e-9 || math.Abs(byMagnetic[i].Magnetic.Degrees()-want) > 1e-9 {
			t.Errorf("line %d: %+v, %+v", i, byCompass[i], byMagnetic[i])
		}
	}
	for _, l := range append(byCompass, byMagnetic...) {
		if d := (l.Magnetic - l.Compass - l.Deviation).Signed(); d.Abs() > 1e-9*angle.Degree || !(l.Sigma > 0) {
			t.Errorf("%+v: compass is not magnetic less deviation", l)
		}
	}
}

func TestCardFileReadsBack(t *testing.T) {
	c := handbookCard(t)
	c.Points[2].Outlier = true
	c.misfit = angle.Degree / 7
	c.Declination = &Declination{-13.907 * angle.Degree, 0.49 * angle.Degree, FromModel}
	var file bytes.Buffer
	if err := c.Write(&file); err != nil {
		t.Fatal(err)
	}
	got, err := ReadCard(&file, "f.json")
	if err != nil {
		t.Fatal(err)
	}
	if d, last := got.Declination, 1e-6*angle.Degree; d == nil || d.Source != FromModel ||
		(d.Value-c.Declination.Value).Abs() > last || (d.Sigma-c.Declination.Sigma).Abs() > last {
		t.Errorf("declination %+v, want %+v", d, c.Declination)
	}
	if got.Title != c.Title || !got.Swung.Equal(c.Swung) || len(got.Points) != len(c.Points) {
		t.Errorf("%+v, want %+v", got, c)
	}
	for i, p := range got.Points {
		if (p.Compass-c.Points[i].Compass).Abs() > 1e-6*angle.Degree || (p.Deviation-c.Points[i].Deviation).Abs() > 1e-6*angle.Degree || p.Outlier != c.Points[i].Outlier {
			t.Errorf("point %d: %+v, want %+v", i, p, c.Points[i])
		}
	}
	for deg := range 360 {
		a, aSigma := c.DeviationAt(angle.FromDegrees(float64(deg)))
		b, bSigma := got.DeviationAt(angle.FromDegrees(float64(deg)))
		const tolerance = 1e-5 * angle.Degree // six decimals in five coefficients
		if (a-b).Abs() > tolerance || (aSigma-bSigma).Abs() > tolerance {
			t.Errorf("compass %d: %v ± %v, read back %v ± %v", deg, a, aSigma, b, bSigma)
		}
	}
}

// edited is the card's file with one field changed.
func edited(t testing.TB, edit func(map[string]any)) string {
	t.Helper()
	var b bytes.Buffer
	if err := handbookCard(t).Write(&b); err != nil {
		t.Fatal(err)
	}
	var fields map[string]any
	if err := json.Unmarshal(b.Bytes(), &fields); err != nil {
		t.Fatal(err)
	}
	edit(fields)
	out, err := json.Marshal(fields)
	if err != nil {
		t.Fatal(err)
	}
	return string(out)
}

func TestReadCardRefuses(t *testing.T) {
	set := func(key string, value any) func(map[string]any) { return func(m map[string]any) { m[key] = value } }
	line := func(table, key string, by float64) func(map[string]any) {
		return func(m map[string]any) {
			row := m[table].([]any)[5].(map[string]any)
			row[key] = row[key].(float64) + by
		}
	}
	declined := func(value, sigma float64) func(map[string]any) {
		return func(m map[string]any) {
			m["declination_deg"], m["declination_sigma_deg"], m["declination_source"] = value, sigma, "option"
		}
	}
	for _, tt := range []struct{ name, file, code string }{
		{"untouched", edited(t, func(map[string]any) {}), ""},
		{"nothing", "", "bad_card"},
		{"no JSON", "compass,deviation\n", "bad_card"},
		{"other JSON", `{"format":"something"}`, "bad_card"},
		{"null", "null", "bad_card"},
		{"cut short", edited(t, func(map[string]any) {})[:500], "bad_card"},
		{"two cards", strings.Repeat(edited(t, func(map[string]any) {}), 2), "bad_card"},
		{"later version", edited(t, set("version", 2)), "card_version"},
		{"unknown field", edited(t, set("deviation", 1)), "bad_card"},
		{"no coefficients", edited(t, func(m map[string]any) { delete(m, "coefficients_a_to_e_deg") }), "bad_card"},
		{"changed coefficient", edited(t, set("coefficients_a_to_e_deg", []float64{1.1, 11.939697, 7.959798, 5, 1.5})), "bad_card"},
		{"steep", edited(t, set("coefficients_a_to_e_deg", []float64{1, 50, 7.959798, 5, 1.5})), "deviation_too_large"},
		{"no angle", edited(t, set("coefficients_a_to_e_deg", []float64{1e300, 0, 0, 0, 0})), "bad_card"},
		{"changed deviation", edited(t, line("by_compass", "deviation_deg", 0.1)), "bad_card"},
		{"changed compass course", edited(t, line("by_magnetic", "compass_deg", 0.1)), "bad_card"},
		{"changed sigma", edited(t, line("by_magnetic", "sigma_deg", -0.1)), "bad_card"},
		{"no tables", edited(t, set("by_magnetic", []any{})), "bad_card"},
		{"no covariance", edited(t, set("covariance_deg2", []any{})), "bad_card"},
		{"ragged covariance", edited(t, set("covariance_deg2", []any{[]any{1, 0, 0, 0, 0}, []any{}, []any{}, []any{}, []any{}})), "bad_card"},
		{"no uncertainty", edited(t, set("covariance_deg2", make([][5]float64, 5))), "bad_card"},
		{"impossible covariance", edited(t, set("covariance_deg2",
			[][]float64{{1, 2, 0, 0, 0}, {2, 1, 0, 0, 0}, {0, 0, 1, 0, 0}, {0, 0, 0, 1, 0}, {0, 0, 0, 0, 1}})), "bad_card"},
		{"no declination", edited(t, func(m map[string]any) { delete(m, "declination_source") }), "bad_card"},
		{"declination from nowhere", edited(t, set("declination_deg", -13.9)), "bad_card"},
		{"model without a declination", edited(t, set("declination_source", "wmm2025")), "bad_card"},
		{"declination of 400", edited(t, declined(400, 0.5)), "bad_card"},
		{"declination without a sigma", edited(t, declined(-13.9, 0)), "bad_card"},
		{"declination", edited(t, declined(-13.9, 0.5)), ""},
		{"negative misfit", edited(t, set("misfit_deg", -1)), "bad_card"},
		{"no date", edited(t, func(m map[string]any) { delete(m, "swung") }), "bad_card"},
		{"reading of 400", edited(t, set("readings", []any{map[string]any{"compass_deg": 400, "deviation_deg": 1}})), "bad_card"},
		{"long title", edited(t, set("title", strings.Repeat("x", maxTitle+1))), "bad_title"},
		{"title in two lines", edited(t, set("title", "a\nb")), "bad_title"},
		{"title beyond the font", edited(t, set("title", "沙漠")), "bad_title"},
		{"long file", strings.Repeat(" ", maxFile+1), "file_too_large"},
	} {
		if _, err := ReadCard(strings.NewReader(tt.file), "f.json"); fault.Code(err) != tt.code || err != nil && fault.Code(err) == "bad_card" && !strings.Contains(err.Error(), "f.json") {
			t.Errorf("%s: %v, want code %q", tt.name, err, tt.code)
		}
	}
	broken := errors.New("disk gone")
	if _, err := ReadCard(iotest.ErrReader(broken), "f.json"); fault.Code(err) != "unreadable_file" || !errors.Is(err, broken) {
		t.Errorf("broken reader: %v", err)
	}
}

// What can be read is written and read again as the same card.
func FuzzReadCard(f *testing.F) {
	f.Add(edited(f, func(map[string]any) {}))
	f.Add(edited(f, func(m map[string]any) { m["title"] = "" }))
	f.Add(`{"format":"shadowread deviation card","version":1}`)
	f.Add(`{"format":"shadowread deviation card","version":1,"covariance_deg2":[[],[],[],[],[]],"swung":"2026-03-14T07:26:00Z"}`)
	f.Fuzz(func(t *testing.T, file string) {
		c, err := ReadCard(strings.NewReader(file), "f.json")
		if err != nil {
			if fault.Code(err) == "error" {
				t.Fatalf("%q: %v", file, err)
			}
			return
		}
		var once, twice bytes.Buffer
		if err := c.Write(&once); err != nil {
			t.Fatalf("%q: %v", file, err)
		}
		again, err := ReadCard(bytes.NewReader(once.Bytes()), "f.json")
		if err != nil {
			t.Fatalf("%q is written as %s, which is refused: %v", file, &once, err)
		}
		if err := again.Write(&twice); err != nil || again.Title != c.Title || again.Coefficients.steepest()-c.Coefficients.steepest() > 1e-6 {
			t.Fatalf("%q is written as %s and then as %s", file, &once, &twice)
		}
	})
}

func BenchmarkCompassFor(b *testing.B) {
	c := handbookCard(b)
	for b.Loop() {
		c.CompassFor(angle.Degree)
	}
}

func BenchmarkReadCard(b *testing.B) {
	file := edited(b, func(map[string]any) {})
	for b.Loop() {
		if _, err := ReadCard(strings.NewReader(file), "f.json"); err != nil {
			b.Fatal(err)
		}
	}
}
