package workup

import (
	"encoding/json"
	"math"
	"reflect"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/testtable"
)

var (
	noon  = time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	pan   = geo.Position{Lat: -20.6 * angle.Degree, Lon: 25.4 * angle.Degree}
	start = Departure{Time: noon, Position: pan, Cov: Circle(20)}
)

func after(minutes int) time.Time { return noon.Add(time.Duration(minutes) * time.Minute) }

// The worked example of J. Mahun, Open Access Surveying Library, Traverse
// Computations, Traverse Adjustment, problem (2), compass (Bowditch) rule, in feet,
// printed to a thousandth: the corrections of latitude and departure.
func TestCompassRule(t *testing.T) {
	legs := testtable.Read(t, "testdata/traverse_adjustment.csv")
	value := func(i int, name string) geo.Metres { return geo.Metres(legs[i].Number(t, name)) }
	var lengths []geo.Metres
	var closing Offset // the traverse should have ended where it began
	for i := range legs {
		lengths = append(lengths, value(i, "length"))
		closing.North -= value(i, "latitude")
		closing.East -= value(i, "departure")
	}
	// Two roundings of half a thousandth, of the given and of the adjusted value.
	const tolerance = 0.001 + 1e-9
	for i, c := range CompassRule(lengths, closing) {
		north, east := value(i, "latitude")+c.North, value(i, "departure")+c.East
		if math.Abs(float64(north-value(i, "adj_latitude"))) > tolerance || math.Abs(float64(east-value(i, "adj_departure"))) > tolerance {
			t.Errorf("%s: %.4f, %.4f, want %v, %v", legs[i]["leg"], north, east, value(i, "adj_latitude"), value(i, "adj_departure"))
		}
	}
	if got := CompassRule([]geo.Metres{0, 0}, Offset{1, 1}); got[0] != (Offset{}) || got[1] != (Offset{}) {
		t.Errorf("without distance: %v", got)
	}
}

// By definition: an ellipse of the given axes and bearing has the covariance
// R diag(a^2, b^2) R' / 5.991, where 5.991 is the 95 % point of chi-square with two
// degrees of freedom (NIST/SEMATECH e-Handbook, 1.3.6.7.4).
func TestEllipse(t *testing.T) {
	for _, tt := range []struct{ major, minor, bearing float64 }{
		{300, 100, 0}, {300, 100, 30}, {300, 100, 90}, {300, 100, 135}, {300, 0, 179}, {50, 50, 0},
	} {
		a, b := tt.major*tt.major/5.991, tt.minor*tt.minor/5.991
		s, c := math.Sincos(tt.bearing * math.Pi / 180)
		got := Cov{NN: a*c*c + b*s*s, NE: (a - b) * s * c, EE: a*s*s + b*c*c}.Ellipse95()
		// 5.991 is printed to 1 in 12,000; an axis of 0 is the root of a rounding.
		if math.Abs(float64(got.Major)-tt.major) > 0.03 || math.Abs(float64(got.Minor)-tt.minor) > 0.03 ||
			tt.major != tt.minor && angle.Asin((got.Bearing-angle.FromDegrees(tt.bearing)).Sin()).Abs() > 1e-6*angle.Degree ||
			got.Bearing < 0 || got.Bearing >= 180*angle.Degree {
			t.Errorf("%v: got %v", tt, got)
		}
	}
}

// The traverse sailing example of NGA Pub. 9 (Bowditch), The Sailings (2002 ch. 24,
// 2019 ch. 12; from memory): 65.8 miles south, 14.4 west, course 192.3, distance
// 67.3, with 1 minute of latitude a mile. WGS84 differs by up to 0.6 % along each
// leg; the legs add up to 144.7 miles, so the sums may differ by 0.9 mile, which is
// 0.8 degree at that distance. It is sailed about the equator, where the plane holds
// best.
func TestTraverseSailing(t *testing.T) {
	var entries []Entry
	for i, l := range []struct{ course, miles float64 }{{158, 15.5}, {135, 33.7}, {259, 16.1}, {293, 39.0}, {169, 40.4}} {
		entries = append(entries, Entry{Time: after(60 * (i + 1)), Leg: &Leg{
			Heading: angle.FromDegrees(l.course), Distance: geo.Metres(l.miles) * geo.NauticalMile,
		}})
	}
	track, err := Model{}.Run(Departure{Time: noon, Cov: Circle(1)}, entries)
	if err != nil {
		t.Fatal(err)
	}
	course, distance, err := geo.RhumbInverse(geo.Position{}, track.State.Position)
	if err != nil || (course-192.3*angle.Degree).Abs() > 0.8*angle.Degree || math.Abs(float64(distance/geo.NauticalMile)-67.3) > 0.9 {
		t.Errorf("course %v, distance %.2f miles, %v, want 192.3, 67.3", course, float64(distance/geo.NauticalMile), err)
	}
}

// A leg run in pieces on one reading, the odometer read to a whole step at each
// piece, is as uncertain as the leg run at once: neither the heading's error nor the
// odometer's rounding is new.
func TestALegInPieces(t *testing.T) {
	m := Land()
	m.MountWalk, m.LeanWalk, m.ScaleWalk = 0, 0, 0
	leg := func(continues bool, km geo.Metres) *Leg {
		return &Leg{
			Heading: 70 * angle.Degree, HeadingSigma: angle.Degree, Continues: continues, ByDial: true,
			Body:     &Body{Azimuth: 20 * angle.Degree, Altitude: 40 * angle.Degree},
			Distance: km * geo.Kilometre, Odometer: true, Resolution: geo.Kilometre,
		}
	}
	one, err := m.Run(start, []Entry{{Time: after(60), Leg: leg(false, 20)}})
	if err != nil {
		t.Fatal(err)
	}
	var pieces []Entry
	for i := range 20 {
		pieces = append(pieces, Entry{Time: after(3 * (i + 1)), Leg: leg(i > 0, 1)})
	}
	many, err := m.Run(start, pieces)
	if err != nil {
		t.Fatal(err)
	}
	a, b := one.State.Cov(), many.State.Cov()
	// What a course that errs scatters along the leg is counted piece by piece:
	// 20 km x (2.5 degrees)^2 / sqrt 2 = 27 m at most, of 500.
	const bar = 30 * 30
	if math.Abs(a.NN-b.NN) > bar || math.Abs(a.EE-b.EE) > bar || math.Abs(a.NE-b.NE) > bar {
		t.Errorf("at once %v, in pieces %v", a, b)
	}
	if o := offset(one.State.Position, many.State.Position); math.Hypot(float64(o.North), float64(o.East)) > 1e-3 {
		t.Errorf("positions differ by %v", o)
	}
}

// How errors go through a leg, against differences of rhumb lines with the start, the
// course or the distance a little off. Up to 88 degrees and 60 km, so that the
// parallels differ.
func TestErrorsGoAlongTheRhumbLine(t *testing.T) {
	for _, lat := range []float64{0, -35, 70, 85, -88} {
		for _, course := range []float64{0, 37, 90, 135, 180, 270, 300} {
			from := geo.Position{Lat: angle.FromDegrees(lat), Lon: 179.9 * angle.Degree}
			bearing, run := angle.FromDegrees(course), 60*geo.Kilometre
			s := State{Position: from, Heading: bearing}
			var kept trail
			if err := s.displace(&Leg{Distance: run, Odometer: true}, &kept); err != nil {
				t.Fatal(err)
			}
			for _, tt := range []struct {
				name string
				i    int
				step float64 // metres, radians or 1
				tol  float64 // share of the leg or, for a start, of its error
				end  func(x float64) (geo.Position, error)
			}{
				// The meridian's own curve changes by 60 km / earth's radius = 0.01 of
				// 0.7 % along the leg.
				{"start north", north, 10, 2e-4, func(x float64) (geo.Position, error) {
					return geo.RhumbDirect(shift(from, Offset{North: geo.Metres(x)}), bearing, run)
				}},
				{"start east", east, 10, 1e-6, func(x float64) (geo.Position, error) {
					return geo.RhumbDirect(shift(from, Offset{East: geo.Metres(x)}), bearing, run)
				}},
				// The series in the convergence of the leg, 0.27 at 88 degrees, stops at
				// its first power: a third of its square is left.
				{"course", heading, 1e-5, 0.03, func(x float64) (geo.Position, error) {
					return geo.RhumbDirect(from, bearing+angle.Angle(x), run)
				}},
				{"scale", scale, 1e-5, 1e-6, func(x float64) (geo.Position, error) {
					return geo.RhumbDirect(from, bearing, run*geo.Metres(1+x))
				}},
			} {
				a, err := tt.end(tt.step)
				if err != nil {
					t.Fatal(err)
				}
				b, err := tt.end(-tt.step)
				if err != nil {
					t.Fatal(err)
				}
				p, q := offset(s.Position, a), offset(s.Position, b)
				n, e := float64(p.North-q.North)/(2*tt.step), float64(p.East-q.East)/(2*tt.step)
				bar := tt.tol
				if tt.i == heading || tt.i == scale {
					bar *= float64(run)
				}
				if math.Abs(lat) < 80 && tt.i == heading {
					bar /= 300 // convergence below 0.03
				}
				if gn, ge := kept[0][0].of[tt.i], kept[0][1].of[tt.i]; math.Abs(gn-n) > bar || math.Abs(ge-e) > bar {
					t.Errorf("%v, course %v, %s: %v, %v, by differences %v, %v", lat, course, tt.name, gn, ge, n, e)
				}
			}
		}
	}
}

// Half a day on the ice at once or by the minute: the same uncertainty, since a
// random walk has no steps of its own. By its definition the position's variance is
// q T^3/3 with q the velocity's variance per second.
func TestDriftOverAHalt(t *testing.T) {
	m := Model{DriftWalk: 0.02}
	ice := Departure{Time: noon, Position: geo.Position{Lat: 82 * angle.Degree}}
	for _, pieces := range []int{1, 720} {
		var entries []Entry
		for i := range pieces {
			entries = append(entries, Entry{Time: noon.Add(time.Duration(i+1) * 12 * time.Hour / time.Duration(pieces))})
		}
		track, err := m.Run(ice, entries)
		if err != nil {
			t.Fatal(err)
		}
		const T = 12 * 3600.
		want := 0.02 * 0.02 / 3600 * T * T * T / 3
		if c := track.State.Cov(); math.Abs(c.NN/want-1) > 1e-9 || math.Abs(c.EE/want-1) > 1e-9 {
			t.Errorf("in %d pieces %v, want %v", pieces, c, want)
		}
		if s := track.State.Shared(); math.Abs(float64(s.DriftNSigma)-0.02*math.Sqrt(12)) > 1e-12 {
			t.Errorf("in %d pieces the drift's sigma is %v", pieces, s.DriftNSigma)
		}
	}
}

// The sense of the lean, by thought: the sun ahead at 45 degrees throws the shadow
// aft; a rod that leans to starboard throws it aft and a little to starboard, which
// on the plate is less than 180, so that azimuth + 180 - shadow reads too much. With
// the sun to starboard (shadow to port, 270) a rod that leans forward throws it
// forward of 270, which is more: the reading is too small.
func TestTheSenseOfTheLean(t *testing.T) {
	for _, tt := range []struct {
		name     string
		body     float64 // azimuth; the heading is 60
		index    int
		want     float64 // correction per degree of lean
		altitude float64
	}{
		{"sun ahead, lean to starboard", 60, leanX, -1, 45},
		{"sun ahead, lean forward", 60, leanY, 0, 45},
		{"sun to starboard, lean forward", 150, leanY, 1, 45},
		{"sun to starboard, lean to starboard", 150, leanX, 0, 45},
		{"sun astern, lean to starboard", 240, leanX, 1, 45},
		{"sun to starboard, high", 150, leanY, math.Sqrt(3), 60},
	} {
		s, err := Land().Begin(start)
		if err != nil {
			t.Fatal(err)
		}
		s.Mean[tt.index] = angle.Degree.Radians()
		l := &Leg{Heading: 60 * angle.Degree, ByDial: true, Body: &Body{Azimuth: angle.FromDegrees(tt.body), Altitude: angle.FromDegrees(tt.altitude)}}
		_, correction, _, err := s.newHeading(l)
		if err != nil || math.Abs(correction.Degrees()-tt.want) > 1e-9 {
			t.Errorf("%s: correction %v, %v, want %v", tt.name, correction, err, tt.want)
		}
	}
}

// A body seen from elsewhere, against Meeus's rotation from the equator to the
// horizon (sky in journey_test.go), and the rates of its azimuth against differences.
func TestBodyFromElsewhere(t *testing.T) {
	for _, p := range []geo.Position{pan, {Lat: 84 * angle.Degree, Lon: 179 * angle.Degree}, {Lat: -55 * angle.Degree, Lon: -70 * angle.Degree}} {
		for _, d := range []Offset{{0, 0}, {3000, 0}, {0, 3000}, {-200000, 150000}} {
			q := shift(p, d)
			declination, gha := 10*angle.Degree, 40*angle.Degree-p.Lon
			want := sky(q, declination, gha)
			got := sky(p, declination, gha).from(p, q)
			if (got.Azimuth-want.Azimuth).Signed().Abs() > 1e-9*angle.Degree || (got.Altitude-want.Altitude).Abs() > 1e-9*angle.Degree {
				t.Errorf("from %v for %v: %v, want %v", p, q, got, want)
			}
		}
		s := State{Position: p}
		there := p
		seen := sky(p, 10*angle.Degree, 40*angle.Degree-p.Lon)
		row, _, _, err := s.newHeading(&Leg{ByDial: true, Body: &seen, ComputedAt: &there})
		if err != nil {
			t.Fatal(err)
		}
		const step = 10 // metres; the azimuth's curvature over them is below 1e-9 a metre
		for i, d := range []Offset{{step, 0}, {0, step}} {
			a := seen.from(p, shift(p, d)).Azimuth
			b := seen.from(p, shift(p, Offset{-d.North, -d.East})).Azimuth
			if rate := (a - b).Signed().Radians() / (2 * step); math.Abs(rate-row[i]) > 1e-12 {
				t.Errorf("%v: rate %v, by differences %v", p, row[i], rate)
			}
		}
	}
}

// Twenty kilometres east by a model that knows only an uncertain start; the fix lies
// 200 m north of the estimate: 1 per cent of the run (common practice for a good
// day). With equal variances estimate and fix meet half way.
func TestClosing(t *testing.T) {
	m := Model{}
	end, err := geo.RhumbDirect(pan, 90*angle.Degree, 20*geo.Kilometre)
	if err != nil {
		t.Fatal(err)
	}
	fix := shift(end, Offset{North: 200})
	d := start
	d.Cov = Circle(100)
	track, err := m.Run(d, []Entry{
		{Time: after(30), Leg: &Leg{Heading: 90 * angle.Degree, Distance: 5 * geo.Kilometre}},
		{Time: after(60), Leg: &Leg{Heading: 90 * angle.Degree, Distance: 15 * geo.Kilometre}},
		{Time: after(60), Fix: &Fix{Position: fix, Sigma: 100}},
		{Time: after(90), Leg: &Leg{Heading: 90 * angle.Degree, Distance: 5 * geo.Kilometre}},
	})
	if err != nil {
		t.Fatal(err)
	}
	c := track.Points[3].Closing
	if c == nil || !c.Used || c.Blunder || math.Abs(float64(c.Distance)-200) > 0.01 || c.Bearing.Signed().Abs() > 1e-6*angle.Degree ||
		math.Abs(c.PerCent-1) > 1e-4 || math.Abs(c.Sigmas-200/math.Sqrt(2*100*100)) > 1e-6 {
		t.Fatalf("closing %+v", c)
	}
	north := func(from, to geo.Position) float64 { return float64(offset(from, to).North) }
	for i, want := range []struct{ adjusted, proportional float64 }{{100, 0}, {100, 50}, {100, 200}, {100, 200}, {0, 0}} {
		p := track.Points[i]
		// A leg of 20 km due east sets a displaced start 3 mm/m off; centimetres.
		if math.Abs(north(p.Estimated, p.Adjusted)-want.adjusted) > 0.02 || math.Abs(north(p.Estimated, p.Proportional)-want.proportional) > 0.02 {
			t.Errorf("entry %d: adjusted by %v, proportionally by %v, want %v", i, north(p.Estimated, p.Adjusted), north(p.Estimated, p.Proportional), want)
		}
	}
	if track.State.Run != 5*geo.Kilometre || !track.State.Since.Equal(after(60)) {
		t.Errorf("run %v since %v", track.State.Run, track.State.Since)
	}
}

func TestAFixFarAwayWaitsForAConfirmation(t *testing.T) {
	m := Land()
	leg := Entry{Time: after(60), Leg: &Leg{
		Heading: 90 * angle.Degree, HeadingSigma: 0.5 * angle.Degree, ByDial: true,
		Body: &Body{Azimuth: 10 * angle.Degree, Altitude: 45 * angle.Degree}, Distance: 20 * geo.Kilometre, Odometer: true, Resolution: 100,
	}}
	s, err := m.Begin(start)
	if err != nil {
		t.Fatal(err)
	}
	s, c, err := m.Next(s, leg)
	if err != nil || c != nil {
		t.Fatal(c, err)
	}
	far := shift(s.Position, Offset{North: 6 * s.Cov().Along(0)})
	for _, confirmed := range []bool{false, true} {
		fix := Entry{Time: after(60), Fix: &Fix{Position: far, Sigma: 10, Confirmed: confirmed}}
		got, c, err := m.Next(s, fix)
		if err != nil || c == nil {
			t.Fatal(c, err)
		}
		if c.Sigmas < 5 || c.Used != confirmed || c.Blunder != confirmed {
			t.Errorf("confirmed %v: %+v", confirmed, c)
		}
		if !confirmed {
			if !reflect.DeepEqual(got, s) {
				t.Errorf("a fix that was not used changed the state")
			}
			continue
		}
		if o := offset(got.Position, far); math.Hypot(float64(o.North), float64(o.East)) > 10 {
			t.Errorf("the position lies %v from a fix of 10 m", o)
		}
		if got.Shared() != s.Shared() {
			t.Errorf("a blunder taught %+v, before %+v", got.Shared(), s.Shared())
		}
		for i := east + 1; i < size; i++ {
			if got.P[i][north] != 0 || got.P[east][i] != 0 {
				t.Errorf("error %d hangs together with the position", i)
			}
		}
	}
}

// In a whole log, a fix that waits for a confirmation changes nothing but what is
// said of it.
func TestAFixNotUsedLeavesTheTrack(t *testing.T) {
	m := Land()
	d, entries := longLog(60)
	entries[59].Fix = &Fix{Position: shift(pan, Offset{North: 150}), Sigma: 50}
	want, err := m.Run(d, entries)
	if err != nil || !want.Points[60].Closing.Used {
		t.Fatal(want, err)
	}
	entries[30].Fix = &Fix{Position: shift(pan, Offset{East: 90000}), Sigma: 50}
	got, err := m.Run(d, entries)
	if err != nil || got.Points[31].Closing.Used {
		t.Fatal(got, err)
	}
	got.Points[31].Closing = nil
	if !reflect.DeepEqual(got, want) {
		t.Error("a fix that was not used moved the track")
	}
}

func TestWhatIsReplacedBeginsAnew(t *testing.T) {
	m := Land()
	body := &Body{Azimuth: 10 * angle.Degree, Altitude: 45 * angle.Degree}
	entries := []Entry{
		{Time: after(60), Leg: &Leg{Heading: 90 * angle.Degree, ByDial: true, Body: body, Distance: 20 * geo.Kilometre, Odometer: true, Resolution: 100}},
		{Time: after(60), Fix: &Fix{Sigma: 10}},
		{Time: after(60), Leg: &Leg{Heading: 90 * angle.Degree, ByDial: true, Body: body, Distance: 1, Mount: 1, Odometer: true, Resolution: 100, Tyres: 1}},
	}
	end, err := geo.RhumbDirect(pan, 91*angle.Degree, 20.3*geo.Kilometre)
	if err != nil {
		t.Fatal(err)
	}
	entries[1].Fix.Position = end
	learnt, err := m.Run(start, entries[:2])
	if err != nil {
		t.Fatal(err)
	}
	if s := learnt.State.Shared(); s.Mount == 0 || s.Scale == 0 || s.ScaleSigma > 0.9*m.Scale {
		t.Errorf("a fix taught too little: %+v", s)
	}
	anew, err := m.Run(start, entries)
	if err != nil {
		t.Fatal(err)
	}
	s := anew.State.Shared()
	if s.Mount != 0 || s.MountSigma != m.Mount || s.LeanX != 0 || s.LeanYSigma != m.Lean || s.Scale != 0 || s.ScaleSigma != m.Scale {
		t.Errorf("after a remount and new tyres: %+v", s)
	}
}

// What a log stores must carry on as if it had never been put away, and entry by
// entry must come to what the whole log comes to.
func TestStateIsAllThatIsNeeded(t *testing.T) {
	m := Ice()
	d, entries := longLog(200)
	entries[120].Fix = &Fix{Position: pan, Sigma: 500, Confirmed: true}
	track, err := m.Run(d, entries)
	if err != nil {
		t.Fatal(err)
	}
	s, err := m.Begin(d)
	if err != nil {
		t.Fatal(err)
	}
	for i, e := range entries {
		stored, err := json.Marshal(s)
		if err != nil {
			t.Fatal(err)
		}
		var back State
		if err := json.Unmarshal(stored, &back); err != nil {
			t.Fatal(err)
		}
		if s, _, err = m.Next(back, e); err != nil {
			t.Fatalf("entry %d: %v", i+1, err)
		}
	}
	if !reflect.DeepEqual(s, track.State) {
		t.Errorf("entry by entry %+v, at once %+v", s, track.State)
	}
}

// longLog is a log of n legs round and round an invented salt pan.
func longLog(n int) (Departure, []Entry) {
	entries := make([]Entry, n)
	for i := range entries {
		at := pan
		entries[i] = Entry{Time: noon.Add(time.Duration(i+1) * 10 * time.Second), Leg: &Leg{
			Heading: angle.FromDegrees(float64(i * 67 % 360)), HeadingSigma: 0.5 * angle.Degree,
			ByDial: true, Body: &Body{Azimuth: angle.FromDegrees(float64(60 - i%120)).Bearing(), Altitude: 40 * angle.Degree}, ComputedAt: &at,
			Distance: 100, Odometer: true, Resolution: 10,
		}}
	}
	return start, entries
}

// The way to go, against the RhumbSolve(1) manual page of GeographicLib 2.1.2 (New
// York to Singapore) and line 13 of Karney's GeodTest set.
func TestCourses(t *testing.T) {
	from, err := geo.ParsePosition("40:38:23N 073:46:44W")
	if err != nil {
		t.Fatal(err)
	}
	to, err := geo.ParsePosition("01:21:33N 103:59:22E")
	if err != nil {
		t.Fatal(err)
	}
	g, err := Courses(from, Circle(1000), to, 350*angle.Degree)
	if err != nil {
		t.Fatal(err)
	}
	course := angle.FromDegrees(103 + 34/60. + 58.2/3600)
	if (g.Course-course).Abs() > 0.1*angle.Arcsecond || math.Abs(float64(g.Distance)-18523563) > 0.5 || g.Within {
		t.Errorf("rhumb line %+v", g)
	}
	if want := course + 10*angle.Degree; (g.Turn - want).Abs() > 0.1*angle.Arcsecond {
		t.Errorf("turn %v, want %v to the right", g.Turn, want)
	}
	from = geo.Position{Lat: -19.79938 * angle.Degree, Lon: -174.48484 * angle.Degree}
	from.Lon = -174.47484 * angle.Degree
	to = geo.Position{Lat: -11.99349 * angle.Degree, Lon: -154.35109 * angle.Degree}
	g, err = Courses(from, Circle(1000), to, 90*angle.Degree)
	if err != nil || (g.GeodesicCourse-71.16727578017154*angle.Degree).Abs() > 1e-9*angle.Degree || math.Abs(float64(g.GeodesicDistance)-2319004.860116939) > 1e-3 {
		t.Errorf("geodesic %+v, %v", g, err)
	}
	if g.Turn >= 0 {
		t.Errorf("turn %v, want to the left", g.Turn)
	}
	// 10 km off with 1 km across: atan(0.1). 2 km off lies within 2.45 sigma.
	for _, tt := range []struct {
		metres geo.Metres
		sigma  float64
		within bool
	}{{10000, math.Atan(0.1), false}, {2000, math.Atan(0.5), true}, {0, math.Pi, true}} {
		g, err := Courses(pan, Circle(1000), shift(pan, Offset{North: tt.metres}), 0)
		if err != nil || math.Abs(g.CourseSigma.Radians()-tt.sigma) > 1e-4 || g.Within != tt.within {
			t.Errorf("%v m to go: %+v, %v", float64(tt.metres), g, err)
		}
	}
}

func TestRefusals(t *testing.T) {
	nan := math.NaN()
	high := &Body{Altitude: 88 * angle.Degree}
	for _, tt := range []struct {
		name  string
		entry Entry
		code  string
	}{
		{"time runs back", Entry{Time: after(-1)}, "time_backwards"},
		{"no number for a heading", Entry{Leg: &Leg{Heading: angle.Angle(nan)}}, "bad_heading"},
		{"negative sigma", Entry{Leg: &Leg{HeadingSigma: -1}}, "bad_heading"},
		{"heading hardly known", Entry{Leg: &Leg{HeadingSigma: 40 * angle.Degree}}, "bad_heading"},
		{"distance runs back", Entry{Leg: &Leg{Distance: -1}}, "bad_distance"},
		{"no number for a distance", Entry{Leg: &Leg{Distance: geo.Metres(nan)}}, "bad_distance"},
		{"distance too long", Entry{Leg: &Leg{Distance: 1001 * geo.Kilometre}}, "bad_distance"},
		{"resolution", Entry{Leg: &Leg{Odometer: true, Resolution: geo.Metres(nan)}}, "bad_distance"},
		{"sun in the zenith", Entry{Leg: &Leg{ByDial: true, Body: high}}, "bad_altitude"},
		{"computed nowhere", Entry{Leg: &Leg{ByDial: true, ComputedAt: &geo.Position{Lat: 2}}}, "bad_position"},
		{"computed where the sun is down", Entry{Leg: &Leg{ByDial: true, Body: &Body{Altitude: 5 * angle.Degree, Azimuth: 90 * angle.Degree},
			ComputedAt: &geo.Position{Lat: pan.Lat, Lon: pan.Lon + 90*angle.Degree}}}, "bad_altitude"},
		{"nothing to go on with", Entry{Leg: &Leg{Continues: true}}, "no_heading"},
		{"fix without error", Entry{Fix: &Fix{Position: pan}}, "bad_fix"},
		{"fix nowhere", Entry{Fix: &Fix{Position: geo.Position{Lat: 3}, Sigma: 1}}, "bad_position"},
		{"fix at a pole", Entry{Fix: &Fix{Position: geo.Position{Lat: 90 * angle.Degree}, Sigma: 1, Confirmed: true}}, "near_pole"},
	} {
		if tt.entry.Time.IsZero() {
			tt.entry.Time = after(1)
		}
		if _, err := Land().Run(start, []Entry{tt.entry}); fault.Code(err) != tt.code {
			t.Errorf("%s: %v, want %s", tt.name, err, tt.code)
		}
	}
	for _, tt := range []struct {
		name string
		m    Model
		d    Departure
		code string
	}{
		{"model", Model{Scale: -1}, start, "bad_model"},
		{"model without number", Model{Mount: angle.Angle(nan)}, start, "bad_model"},
		{"departure nowhere", Land(), Departure{Position: geo.Position{Lat: angle.Angle(nan)}}, "bad_position"},
		{"no covariance", Land(), Departure{Cov: Cov{NN: 1, EE: 1, NE: 2}}, "bad_departure"},
		{"next to the pole", Land(), Departure{Position: geo.Position{Lat: 89.6 * angle.Degree}}, "near_pole"},
		{"too little known for where it is", Land(), Departure{Position: geo.Position{Lat: 89 * angle.Degree}, Cov: Circle(15000)}, "near_pole"},
	} {
		if _, err := tt.m.Begin(tt.d); fault.Code(err) != tt.code {
			t.Errorf("%s: %v, want %s", tt.name, err, tt.code)
		}
	}
	s, err := Land().Begin(start)
	if err != nil {
		t.Fatal(err)
	}
	s.P[3][2] = nan
	if _, _, err := Land().Next(s, Entry{Time: after(1)}); fault.Code(err) != "bad_state" {
		t.Errorf("damaged state: %v", err)
	}
}

func FuzzNext(f *testing.F) {
	f.Add(-20.6, 25.4, 90.0, 0.5, 10.0, 40.0, 5000.0, 100.0, 10.0, 600.0, byte(7))
	f.Add(89.2, 179.9, 359.9, 20.0, 180.0, 84.9, 900000.0, 0.0, 1e-9, 0.0, byte(63))
	f.Add(math.NaN(), math.Inf(1), -1e300, 0.0, 1e18, 0.0, 1e-300, 5e-324, 1e300, 1e9, byte(255))
	f.Add(0.0, -180.0, 270.0, 0.0, 270.0, 0.0, 0.0, 1e6, 1e-3, 1e5, byte(15))
	f.Fuzz(func(t *testing.T, lat, lon, heading, sigma, azimuth, altitude, metres, resolution, fixSigma, seconds float64, bits byte) {
		p := geo.Position{Lat: angle.FromDegrees(lat), Lon: angle.FromDegrees(lon)}
		d := Departure{Time: noon, Position: p, Cov: Circle(geo.Metres(resolution))}
		m := Land()
		if bits&32 != 0 {
			m = Ice()
		}
		leg := &Leg{
			Heading: angle.FromDegrees(heading), HeadingSigma: angle.FromDegrees(sigma), ByDial: bits&1 != 0,
			Body: &Body{angle.FromDegrees(azimuth), angle.FromDegrees(altitude)}, Distance: geo.Metres(metres),
			Odometer: bits&2 != 0, Resolution: geo.Metres(resolution), Mount: int(bits & 16),
		}
		if bits&4 != 0 {
			leg.ComputedAt = &p
		}
		dt := time.Duration(max(-1e15, min(1e15, seconds*1e9)))
		fix := &Fix{Position: geo.Position{Lat: p.Lat + 0.001, Lon: p.Lon}, Sigma: geo.Metres(fixSigma), Confirmed: bits&8 != 0}
		track, err := m.Run(d, []Entry{
			{Time: noon.Add(dt), Leg: leg}, {Time: noon.Add(2 * dt), Leg: leg}, {Time: noon.Add(2 * dt), Fix: fix},
			{Time: noon.Add(3 * dt)},
		})
		if err != nil {
			if code := fault.Code(err); code == "error" {
				t.Fatalf("an error without code: %v", err)
			}
			return
		}
		if err := track.State.Validate(); err != nil {
			t.Fatalf("%+v: %v", track.State, err)
		}
		for i, p := range track.Points {
			for _, q := range []geo.Position{p.Estimated, p.Adjusted, p.Proportional} {
				if err := q.Validate(); err != nil {
					t.Fatalf("entry %d: %v", i, err)
				}
			}
			if e := p.Cov.Ellipse95(); !finite(float64(e.Major), float64(e.Minor), float64(e.Bearing)) {
				t.Fatalf("entry %d: ellipse %v of %v", i, e, p.Cov)
			}
		}
	})
}

func BenchmarkRun(b *testing.B) {
	for _, bench := range []struct {
		name string
		fix  bool
	}{{"100000 legs", false}, {"100000 legs and a fix", true}} {
		b.Run(bench.name, func(b *testing.B) {
			d, entries := longLog(100_000)
			if bench.fix {
				entries[len(entries)-1].Fix = &Fix{Position: pan, Sigma: 10, Confirmed: true}
			}
			for b.Loop() {
				if _, err := Land().Run(d, entries); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkNext(b *testing.B) {
	m := Land()
	d, entries := longLog(1)
	s, err := m.Begin(d)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, _, err := m.Next(s, entries[0]); err != nil {
			b.Fatal(err)
		}
	}
}
