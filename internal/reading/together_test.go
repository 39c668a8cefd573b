package reading

import (
	"math"
	"testing"
	"time"

	"shadowread/internal/align"
	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/geo"
	"shadowread/internal/instrument"
	"shadowread/internal/photo"
	"shadowread/internal/vision"
)

// What photos share, by their budgets: terms that are the same on every heading add up
// to the constant, the level is the lean, and the shadow's own error is shared by none.
// The numbers are the sides of right-angled triangles.
func TestSharedPartOfABudget(t *testing.T) {
	got := Budget{
		Alignment: 3 * angle.Degree, Time: 4 * angle.Degree, Position: 12 * angle.Degree, // 13
		Body:  84 * angle.Degree,  // 85
		Print: 132 * angle.Degree, // 157
		Level: 2 * angle.Degree, ShadowFit: 50 * angle.Degree, SheetMap: 60 * angle.Degree,
	}.Shared()
	if math.Abs(got.Constant.Degrees()-157) > 1e-9 || got.Lean != 2*angle.Degree {
		t.Errorf("%v and %v, want 157° and 2°", got.Constant, got.Lean)
	}
}

func placed(lat, sigmaKM float64, second int) *Result {
	return &Result{
		Place:   &photo.Place{Position: geo.Position{Lat: angle.FromDegrees(lat)}, SigmaKM: sigmaKM},
		Instant: &photo.Instant{UTC: time.Date(2026, 8, 29, 8, 0, second, 0, time.UTC), Sigma: time.Duration(second) * time.Second},
	}
}

// A set is where its first reading was, as sure as the least sure of them and as far as
// they are apart: a degree of latitude on the equator is 110.6 km (WGS84).
func TestSpotOfASet(t *testing.T) {
	given := Spot{Place: &photo.Place{SigmaKM: 7}, Instant: &photo.Instant{}}
	for _, tt := range []struct {
		name    string
		given   Spot
		set     []*Result
		sigma   float64 // km; negative for no place
		instant int     // the second, -1 where it is the given one, -2 for none
	}{
		{"nothing", Spot{}, nil, -1, -2},
		{"no photo", Spot{}, []*Result{nil}, -1, -2},
		{"one", Spot{}, []*Result{nil, placed(0, 0.5, 3)}, 0.5, 3},
		{"near", Spot{}, []*Result{placed(0, 0.5, 3), placed(0, 2, 4)}, 2, 3},
		{"far", Spot{}, []*Result{placed(0, 0.5, 3), placed(1, 0.5, 4)}, 110.6, 3},
		{"given", given, []*Result{placed(0, 0.5, 3), placed(1, 0.5, 4)}, 7, -1},
	} {
		got, err := SpotOf(tt.given, tt.set)
		switch {
		case err != nil:
			t.Errorf("%s: %v", tt.name, err)
		case (got.Place == nil) != (tt.sigma < 0) || got.Place != nil && math.Abs(got.Place.SigmaKM-tt.sigma) > 0.1:
			t.Errorf("%s: place %+v, want %v km", tt.name, got.Place, tt.sigma)
		case tt.instant == -2 && got.Instant != nil, tt.instant == -1 && got.Instant != given.Instant, tt.instant >= 0 && got.Instant.UTC.Second() != tt.instant:
			t.Errorf("%s: instant %+v", tt.name, got.Instant)
		}
	}
	first := placed(0, 0.5, 3)
	if _, err := SpotOf(Spot{}, []*Result{first, placed(1, 0.5, 4)}); err != nil || first.Place.SigmaKM != 0.5 {
		t.Error("a reading's own place was changed")
	}
}

func TestSharePriors(t *testing.T) {
	p := align.DefaultPriors()
	if err := SharePriors(&p, []*Result{placed(0, 0.5, 3), placed(0, 0.1, 9), placed(0, 0.2, 5)}); err != nil {
		t.Fatal(err)
	}
	if p.ClockSigma != 9*time.Second || p.PositionSigmaKM != 0.5 || p.RodSigma != align.DefaultPriors().RodSigma {
		t.Errorf("%+v", p)
	}
}

// What a photo tells of its instrument, and what it does not.
func TestObservation(t *testing.T) {
	r := placed(0, 0.5, 3)
	r.Photo, r.Sky, r.Facts = "a.jpg", &bearing.Apparent{Azimuth: 1}, &photo.Facts{}
	r.Shadow = &vision.Strip{Direction: 2, FootOffset: 0.4, FootSigma: 0.3}
	r.Budget = &Budget{ShadowFit: 0.1 * angle.Degree, SheetMap: 0.2 * angle.Degree, Level: 5 * angle.Degree}
	o := r.Observation("north", 0)
	if o.Label != "a.jpg" || o.Stand != "north" || o.Direction != 2 || o.OffsetMM != 0.4 || o.LengthSigmaMM != 0 || o.PlumbSigma != 0 || o.RodSlopeSigma != 0 || o.UTCOffset != 0 {
		t.Errorf("%+v", o)
	}
	if want := angle.RSS(0.1*angle.Degree, 0.2*angle.Degree, align.PhotoFloor); (o.DirectionSigma - want).Abs() > 1e-12 {
		t.Errorf("direction sigma %v, want %v: the level is what is looked for", o.DirectionSigma, want)
	}
	// A camera two hours east of Greenwich whose clock is 40 s fast.
	r.Facts.Clock = r.Instant.UTC.Add(2*time.Hour + 40*time.Second)
	r.Shadow.Length, r.Shadow.LengthSigma = 80, 0.5
	r.Tilt, r.TiltOwn = &instrument.Tilt{Forward: angle.Degree, Sigma: angle.Degree}, 0.05*angle.Degree
	r.RodSlope = &RodSlope{Slope: 0.02, Sigma: 0.01, Toward: 3}
	o = r.Observation("", 40*time.Second)
	if o.UTCOffset != 2*time.Hour || o.LengthMM != 80 || o.LengthSigmaMM != 0.5 || o.Plumb != r.Tilt.Plumb() || o.PlumbSigma != r.TiltOwn ||
		o.RodSlope != 0.02 || o.RodSlopeSigma != 0.01 || o.RodToward != 3 {
		t.Errorf("%+v", o)
	}
}

func TestSettleDeclination(t *testing.T) {
	at := func(year int) Spot {
		s := Spot{Place: &photo.Place{Position: geo.Position{Lat: -22.9 * angle.Degree, Lon: 22.3 * angle.Degree}}, Instant: &photo.Instant{}}
		s.Instant.UTC = time.Date(year, 8, 29, 12, 0, 0, 0, time.UTC)
		return s
	}
	given := &Declination{Value: -14 * angle.Degree, Sigma: angle.Degree / 2}
	for _, tt := range []struct {
		name    string
		given   *Declination
		at      Spot
		settled string // given, model or none
		asked   bool   // the model stands beside it
		fails   bool
	}{
		{"neither", nil, Spot{}, "none", false, false},
		{"given alone", given, Spot{}, "given", false, false},
		{"model", nil, at(2026), "model", true, false},
		{"both", given, at(2026), "given", true, false},
		{"years after the model", nil, at(2040), "none", false, true},
		{"given, years after the model", given, at(2040), "given", false, false},
	} {
		settled, model, err := SettleDeclination(tt.given, tt.at)
		is := "model"
		switch settled {
		case nil:
			is = "none"
		case given:
			is = "given"
		}
		if is != tt.settled || (model != nil) != tt.asked || (err != nil) != tt.fails {
			t.Errorf("%s: %s, model %v, %v", tt.name, is, model, err)
		}
	}
	_, model, err := SettleDeclination(given, at(2026))
	if err != nil {
		t.Fatal(err)
	}
	if given.Contradicts(*model) || !(Declination{Value: -given.Value, Sigma: given.Sigma}).Contradicts(*model) {
		t.Errorf("14° W and its opposite are not told apart by the model's %v", model.Value)
	}
}
