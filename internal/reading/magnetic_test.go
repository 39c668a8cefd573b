package reading

import (
	"context"
	"math"
	"slices"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/compass"
	"shadowread/internal/geo"
	"shadowread/internal/photo"
)

// numberAt is a number read by eye then and there, which needs no picture.
func numberAt(t time.Time, lat, lon float64, o Options) *Result {
	o.Time.At = &t
	o.Position.Position = &geo.Position{Lat: angle.FromDegrees(lat), Lon: angle.FromDegrees(lon)}
	return ReadNumber(context.Background(), 100*angle.Degree, 0, o)
}

// NOAA NCEI / British Geological Survey, The US/UK World Magnetic Model for 2025-2030,
// 2024, table of test values, at sea level: declination D and grid variation GV, which
// is what grid north lies west of magnetic north, to 0.01 degree. The rows are those in
// daylight. 2027.5 is noon of 2 July, UTC.
func TestPublishedDeclinationTurnsHeadings(t *testing.T) {
	const printed = 0.0051 // degrees; half the last digit, and what output rounds
	for _, tt := range []struct {
		at       time.Time
		lat, lon float64
		d, gv    float64 // degrees; gv NaN where not given
	}{
		{time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC), 0, 120, -0.16, math.NaN()},
		{time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC), -80, -120, 68.78, -51.22},
		{time.Date(2027, 7, 2, 12, 0, 0, 0, time.UTC), 80, 0, 2.59, 2.59},
		{time.Date(2027, 7, 2, 12, 0, 0, 0, time.UTC), 0, 120, -0.24, math.NaN()},
	} {
		o := Defaults()
		o.Body = new(bearing.Sun)
		r := numberAt(tt.at, tt.lat, tt.lon, o)
		if tt.at.Year() == 2027 && tt.lon == 120 {
			if r.OK() || r.Compass.Magnetic != nil {
				t.Errorf("a magnetic heading without a heading, by a sun that is down")
			}
			continue
		}
		if !r.OK() || r.Compass.Magnetic == nil {
			t.Errorf("%v: no magnetic heading: %s %s", tt.at, r.Reason, r.Message)
			continue
		}
		near := func(what string, got angle.Angle, want float64) {
			if math.Abs((got - angle.FromDegrees(want)).Signed().Degrees()) > printed {
				t.Errorf("%s at %v, %v: %v, want %v", what, tt.lat, tt.lon, got, want)
			}
		}
		near("true less magnetic", *r.Heading-r.Compass.Magnetic.Value, tt.d)
		if least := math.Hypot(float64(r.Sigma), 0.26*float64(angle.Degree)); float64(r.Compass.Magnetic.Sigma) < least {
			t.Errorf("the magnetic heading is sure to %v, which the heading and the model are not", r.Compass.Magnetic.Sigma)
		}
		if math.IsNaN(tt.gv) {
			if r.Compass.Grid != nil {
				t.Errorf("a grid heading at %v that nobody asked for", tt.lat)
			}
			continue
		}
		if r.Compass.Grid == nil {
			t.Errorf("no grid heading at latitude %v", tt.lat)
			continue
		}
		near("grid less magnetic", r.Compass.Grid.Value-r.Compass.Magnetic.Value, tt.gv)
	}
}

// NGA, Handbook of Magnetic Compass Adjustment, 2004, chapter V, fig. 501: deviations
// on the eight compass headings from north.
func handbookCard(t *testing.T) compass.Card {
	var s []compass.Sighting
	for i, d := range [8]float64{10.5, 20.0, 11.5, -1.2, -5.5, -8.0, -12.5, -6.8} {
		z := angle.FromDegrees(45 * float64(i))
		s = append(s, compass.Sighting{Compass: z, CompassSigma: 0.1 * angle.Degree, Heading: (z + angle.FromDegrees(d)).Bearing(), Reference: compass.FromMagneticNorth})
	}
	a, err := compass.Analyse(s, compass.Options{})
	if err != nil {
		t.Fatal(err)
	}
	c, err := a.Card("handbook", time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestCompassShowsTheHandbooksHeadings(t *testing.T) {
	// The largest residual of the fit, 0.071 degree, over 1 + slope, where the slope is
	// -0.43 at the least (docs/magnetics.md).
	const residual = 0.071 / (1 - 0.43)
	card := handbookCard(t)
	d := Declination{Value: -8.5 * angle.Degree, Sigma: 0.4 * angle.Degree}
	for i, deviation := range [8]float64{10.5, 20.0, 11.5, -1.2, -5.5, -8.0, -12.5, -6.8} {
		compass := 45 * float64(i)
		o := Defaults()
		o.Declination, o.Card = &d, &card
		o.Course = new(angle.FromDegrees(compass + deviation - 8.5).Bearing())
		r := numberAt(time.Date(2026, 3, 14, 7, 26, 53, 0, time.UTC), -20.6142, 25.431, o)
		if !r.OK() {
			t.Fatal(r.Message)
		}
		steer := r.Compass.Steer
		if got := (steer.Value - angle.FromDegrees(compass)).Signed().Degrees(); math.Abs(got) > residual {
			t.Errorf("the course on compass %v°: %v", compass, steer.Value)
		}
		// A change of the magnetic heading shrinks by 1 + slope, 1.43 at the most.
		if steer.Sigma < d.Sigma/1.43 {
			t.Errorf("compass %v°: sigma %v is less than the declination's", compass, steer.Sigma)
		}
		// The heading itself, by the card's other table.
		back, _ := card.MagneticFor(r.Compass.Deviated.Value)
		if off := (back - r.Compass.Magnetic.Value).Signed().Abs(); off > angle.Arcsecond {
			t.Errorf("compass %v stands for magnetic %v, not %v", r.Compass.Deviated.Value, back, r.Compass.Magnetic.Value)
		}
		if r.Compass.Deviated.Sigma < r.Compass.Magnetic.Sigma/1.43 {
			t.Errorf("the compass heading is surer (%v) than the magnetic one (%v)", r.Compass.Deviated.Sigma, r.Compass.Magnetic.Sigma)
		}
	}
}

// A card swung with a declination of the wrong sign is told where the model knows better;
// one whose declination fits, or that comes from the same source, is not.
func TestCardSwungWithAnotherDeclination(t *testing.T) {
	for _, tt := range []struct {
		was   *compass.Declination
		warns bool
	}{
		{nil, false},
		{&compass.Declination{Value: -8 * angle.Degree, Sigma: 0.5 * angle.Degree, Source: compass.AsGiven}, false},
		{&compass.Declination{Value: 8 * angle.Degree, Sigma: 0.5 * angle.Degree, Source: compass.AsGiven}, true},
		{&compass.Declination{Value: 8 * angle.Degree, Sigma: 0.4 * angle.Degree, Source: compass.FromModel}, false},
	} {
		card := handbookCard(t)
		card.Declination = tt.was
		o := Defaults()
		o.Card = &card
		r := numberAt(time.Date(2026, 3, 14, 7, 26, 53, 0, time.UTC), -20.6142, 25.431, o)
		got := slices.ContainsFunc(r.Warnings, func(w photo.Warning) bool { return w.Code == "card_declination" })
		if !r.OK() || got != tt.warns {
			t.Errorf("%+v: %s, warns %t, the model has %v", tt.was, r.Reason, got, r.Compass.Declination.Value)
		}
	}
}

// The model ends; the sky does not. NREL/TP-560-34302, table A5.1: azimuth 194.34024
// in 2003, so that the number 100 makes 294.34024; 0.0005 degree as for the sun.
func TestOutsideTheModelsYearsTheTrueHeadingStands(t *testing.T) {
	at := time.Date(2003, 10, 17, 19, 30, 30, 0, time.UTC)
	r := numberAt(at, 39.742476, -105.1786, Defaults())
	if !r.OK() || math.Abs(r.Heading.Degrees()-294.34024) > 0.0005 {
		t.Fatalf("heading %v, want 294.34024; %s", r.Heading, r.Message)
	}
	c := r.Compass
	if c.Declination != nil || c.Magnetic != nil || !slices.ContainsFunc(r.Warnings, func(w photo.Warning) bool { return w.Code == "no_declination" }) {
		t.Errorf("declination %v, magnetic %v, warnings %v", c.Declination, c.Magnetic, r.Warnings)
	}
	o := Defaults()
	o.Declination = &Declination{Value: 10 * angle.Degree, Sigma: angle.Degree}
	if r = numberAt(at, 39.742476, -105.1786, o); has(r, "no_declination") || math.Abs(r.Compass.Magnetic.Value.Degrees()-284.34024) > 0.0005 {
		t.Errorf("with a declination of 10° east: magnetic %v, warnings %v", r.Compass.Magnetic, r.Warnings)
	}
}

// The bounds are the issuer's: 2000 and 6000 nT of horizontal field. At 89 N 121 W the
// published table gives 1504.298146 nT, at 80 N 96 W 2164.285547 nT.
func TestZonesAreAnnounced(t *testing.T) {
	for _, tt := range []struct {
		lat, lon float64
		code     string
	}{{89, -121, "magnetic_blackout"}, {80, -96, "magnetic_caution"}} {
		r := numberAt(time.Date(2025, 6, 21, 20, 0, 0, 0, time.UTC), tt.lat, tt.lon, Defaults())
		if !r.OK() || !slices.ContainsFunc(r.Warnings, func(w photo.Warning) bool { return w.Code == tt.code }) {
			t.Errorf("%v N: warnings %v, want %s; %s", tt.lat, r.Warnings, tt.code, r.Message)
		}
	}
}

// A place known to a hundred kilometres does not know its declination either.
func TestPositionsSigmaReachesTheDeclination(t *testing.T) {
	i := photo.Instant{UTC: time.Date(2026, 3, 14, 0, 0, 0, 0, time.UTC)}
	p := photo.Place{Position: geo.Position{Lat: 80 * angle.Degree, Lon: -96 * angle.Degree}, SigmaKM: 1}
	sure, err := ModelDeclination(i, p)
	if err != nil {
		t.Fatal(err)
	}
	p.SigmaKM = 100
	open, err := ModelDeclination(i, p)
	if err != nil {
		t.Fatal(err)
	}
	// North by a sigma, by the model itself, is a part of it.
	p.Position.Lat += angle.FromDegrees(100 / geo.KMPerDegree)
	north, err := ModelDeclination(i, p)
	if err != nil {
		t.Fatal(err)
	}
	moved := (north.Value - sure.Value).Abs()
	if least := angle.Angle(math.Hypot(float64(sure.Sigma), 0.99*float64(moved))); open.Sigma < least || moved < angle.Degree {
		t.Errorf("sigma %v with 1 km, %v with 100 km; north by that much the declination differs by %v", sure.Sigma, open.Sigma, moved)
	}
}
