package geo

import (
	"math"
	"math/rand/v2"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/testtable"
)

func at(lat, lon float64) Position {
	return Position{Lat: angle.FromDegrees(lat), Lon: angle.FromDegrees(lon).Signed()}
}

// apart is the distance on the ground between two places close together.
func apart(p, q Position) Metres {
	north, east := MetresPerDegree(p.Lat)
	return Metres(math.Hypot(
		float64(north)*(q.Lat-p.Lat).Degrees(),
		float64(east)*(q.Lon-p.Lon).Signed().Degrees()))
}

// testdata/rhumb.csv was computed with RhumbSolve of GeographicLib 2.1.2 (C. F. F.
// Karney); its printed digits are good to 0.06 micrometre and it was checked
// independently to 5 nanometres.
func TestRhumbAgainstGeographicLib(t *testing.T) {
	const tolerance = 1e-6 * Metre
	table := testtable.Read(t, "testdata/rhumb.csv")
	if len(table) != 64 {
		t.Fatalf("%d rows, want 64", len(table))
	}
	for _, row := range table {
		f := func(name string) float64 { return row.Number(t, name) }
		from, want := at(f("lat1_deg"), f("lon1_deg")), at(f("lat2_deg"), f("lon2_deg"))
		course, distance := angle.FromDegrees(f("azimuth_deg")), Metres(f("distance_m"))
		got, err := RhumbDirect(from, course, distance)
		if err != nil || apart(got, want) > tolerance {
			t.Errorf("%s: RhumbDirect(%v, %v, %v) = %v, %v: %v m off", row["id"], from, course, distance, got, err, apart(got, want))
		}
		if _, degree := MetresPerDegree(from.Lat); row["id"] == "rh052" {
			// 256 degrees along a parallel: the inverse takes the other way round.
			course, distance = 270*angle.Degree, 360*degree-distance
		}
		back, run, err := RhumbInverse(from, want)
		// The course is worth what 0.1 micrometre of printed digits is across it.
		across := run * Metres((back - course).Signed().Abs())
		if err != nil || (run-distance) > tolerance || (distance-run) > tolerance || across > tolerance {
			t.Errorf("%s: RhumbInverse(%v, %v) = %v, %v, %v, want %v, %v", row["id"], from, want, back, run, err, course, distance)
		}
	}
}

// The two worked examples of the RhumbSolve(1) manual page (GeographicLib 2.1.2):
// New York to Singapore, printed to a tenth of a second of arc and to a metre.
func TestRhumbManualPage(t *testing.T) {
	from, err := ParsePosition("40:38:23N 073:46:44W")
	if err != nil {
		t.Fatal(err)
	}
	to, err := ParsePosition("01:21:33N 103:59:22E")
	if err != nil {
		t.Fatal(err)
	}
	course, distance, err := RhumbInverse(from, to)
	want := angle.FromDegrees(103 + 34/60. + 58.2/3600)
	if err != nil || (course-want).Abs() > 0.05*angle.Arcsecond || math.Abs(float64(distance-18523563)) > 0.5 {
		t.Errorf("course %v, distance %v, %v, want %v, 18523563", course, distance, err, want)
	}
	waypoint, err := ParsePosition("36:24:30.3N 051:28:26.4W")
	if err != nil {
		t.Fatal(err)
	}
	got, err := RhumbDirect(from, want, 2000*Kilometre)
	// 0.05 second of arc is 1.5 m on a meridian; the course, printed to as much,
	// moves the end of 2000 km by 0.5 m.
	if err != nil || apart(got, waypoint) > 2.5 {
		t.Errorf("waypoint %v, %v, want %v: %v m off", got, err, waypoint, apart(got, waypoint))
	}
}

// Sailings of the handbooks: NGA Pub. 9 (Bowditch), The American Practical
// Navigator, Art. 910 of 2024 (Mercator examples, quoted second-hand) and The
// Sailings, 2002 ch. 24 and 2019 ch. 12 (mid-latitude and parallel examples, from
// memory), and E. G. Draper, Lectures in Navigation, 1918.
//
// They count a minute of latitude as a nautical mile. On WGS84 it is 1842.9 m at
// the equator and 1861.6 m at the poles: 0.5 % short to 0.5 % long. A minute of
// longitude on the equator is 1855.3 m, 0.2 % long. So distances agree to 0.6 %,
// positions to 0.6 % of the run, and courses to the angle 0.5 % across the line:
// 0.3 degree.
func TestRhumbAgainstHandbookSailings(t *testing.T) {
	const (
		mile   = 0.006
		course = 0.3 * angle.Degree
	)
	for _, tt := range []struct {
		name, from, to string
		course, miles  float64
	}{
		{"Mercator sailing 1", "32 14.7 N, 66 28.9 W", "36 58.7 N, 75 42.2 W", 301.8, 538.7},
		{"Mercator sailing 2", "75 31.7 N, 79 08.7 W", "71 32.9 N, 72 34.1 W", 155, 263.5},
		{"mid-latitude sailing 1", "15 17.0 N, 151 37.0 E", "22 25.6 N, 172 21.2 E", 70, 1253},
		{"mid-latitude sailing 2", "8 48.9 S, 89 53.3 W", "17 06.9 S, 104 51.6 W", 240.4, 1007.1},
		{"parallel sailing 1", "49 30 N, 10 0 W", "49 30 N, 6 30 W", 90, 136.4},
		{"parallel sailing 2", "38 15.0 S, 100 0.0 E", "38 15.0 S, 95 25.6 E", 270, 215.5},
		{"Draper 1918", "40 28 N, 73 50 W", "39 51 N, 72 45 W", 180 - (53 + 26/60.), 62.11},
	} {
		from, err := ParsePosition(tt.from)
		if err != nil {
			t.Fatal(err)
		}
		to, err := ParsePosition(tt.to)
		if err != nil {
			t.Fatal(err)
		}
		wantCourse, want := angle.FromDegrees(tt.course), Metres(tt.miles)*NauticalMile
		gotCourse, got, err := RhumbInverse(from, to)
		if err != nil || (gotCourse-wantCourse).Signed().Abs() > course || math.Abs(float64(got/want-1)) > mile {
			t.Errorf("%s: course %v, %.1f miles, %v, want %v, %v", tt.name, gotCourse, float64(got/NauticalMile), err, wantCourse, tt.miles)
		}
		reached, err := RhumbDirect(from, wantCourse, want)
		if err != nil || apart(reached, to) > mile*want {
			t.Errorf("%s: reached %v, %v, want %v", tt.name, reached, err, to)
		}
	}
}

// testdata/geodesic.csv is part of Karney's test set (GeodTest.dat, 2010), as
// GeographicLib's own unit tests use it.
func TestGeodesicAgainstKarney(t *testing.T) {
	const (
		length = 1e-7 * Metre // the table prints nanometres, the library claims 15
		course = 1e-12 * angle.Degree
	)
	for _, row := range testtable.Read(t, "testdata/geodesic.csv") {
		f := func(name string) float64 { return row.Number(t, name) }
		want := angle.FromDegrees(f("azi1_deg"))
		got, s, err := GeodesicInverse(at(f("lat1_deg"), f("lon1_deg")), at(f("lat2_deg"), f("lon2_deg")))
		if err != nil || math.Abs(float64(s-Metres(f("s12_m")))) > float64(length) || (got-want).Signed().Abs() > course {
			t.Errorf("%s: %v, %v, %v, want %v, %v", row["id"], got, s, err, want, row["s12_m"])
		}
	}
}

// Lengths of a degree on WGS84, as printed to a metre in handbooks of geodesy and
// encyclopaedias (NGA's length-of-a-degree table; from memory). A degree long arc
// and the radius at its middle differ by less than the metre printed.
func TestMetresPerDegree(t *testing.T) {
	const tolerance = 1 * Metre
	for _, tt := range []struct {
		lat         float64
		north, east Metres
	}{
		{0, 110574, 111320}, {15, 110649, 107550}, {30, 110852, 96486},
		{45, 111132, 78847}, {60, 111412, 55800}, {75, 111618, 28902}, {-90, 111694, 0},
	} {
		north, east := MetresPerDegree(angle.FromDegrees(tt.lat))
		if math.Abs(float64(north-tt.north)) > float64(tolerance) || math.Abs(float64(east-tt.east)) > float64(tolerance) {
			t.Errorf("%v: %v, %v, want %v, %v", tt.lat, north, east, tt.north, tt.east)
		}
	}
}

// What a rhumb line must do by definition, over the whole earth: the inverse
// undoes the direct, two halves make a whole, and no way is shorter than the
// geodesic.
func TestRhumbProperties(t *testing.T) {
	const tolerance = 1e-6 // metres, by rounding of angles of a few radians, more where the parallels are short
	r := rand.New(rand.NewPCG(4, 1))
	for range 20000 {
		from := at(89.9*(2*r.Float64()-1), 360*r.Float64())
		course := angle.FromDegrees(360 * r.Float64())
		switch r.IntN(4) {
		case 0: // next to due east or west
			course = angle.FromDegrees(90+180*float64(r.IntN(2))) + angle.Angle(math.Pow(10, -18*r.Float64()))*angle.Degree
		case 1: // due
			course = angle.FromDegrees(90 * float64(r.IntN(4)))
		}
		distance := Metres(math.Pow(10, 6*r.Float64()))
		to, err := RhumbDirect(from, course, distance)
		if err != nil {
			if fault.Code(err) != "pole_passed" {
				t.Fatalf("%v, %v, %v: %v", from, course, distance, err)
			}
			continue
		}
		half, err := RhumbDirect(from, course, distance/2)
		if err != nil {
			t.Fatal(err)
		}
		whole, err := RhumbDirect(half, course, distance/2)
		if err != nil || float64(apart(whole, to)) > tolerance {
			t.Fatalf("%v, %v, %v: by halves %v, at once %v, %v", from, course, distance, whole, to, err)
		}
		back, run, err := RhumbInverse(from, to)
		if err != nil {
			t.Fatal(err)
		}
		_, east := MetresPerDegree(from.Lat)
		if distance < 90*east { // certainly less than half way round
			// Rounding of the positions shows in a short run's course.
			again, err := RhumbDirect(from, back, run)
			if err != nil || float64(apart(again, to)) > tolerance || math.Abs(float64(run-distance)) > tolerance {
				t.Fatalf("%v, %v, %v: inverse %v, %v, %v", from, course, distance, back, run, err)
			}
		}
		_, shortest, err := GeodesicInverse(from, to)
		if err != nil || float64(shortest-run) > tolerance {
			t.Fatalf("%v to %v: geodesic %v, rhumb %v, %v", from, to, shortest, run, err)
		}
	}
}

func TestSailingsRefuse(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for _, tt := range []struct {
		from     Position
		course   angle.Angle
		distance Metres
		code     string
	}{
		{at(89.9, 0), 0, 20 * Kilometre, "pole_passed"},
		{at(-89.9, 0), 160 * angle.Degree, 20 * Kilometre, "pole_passed"},
		{at(90, 0), 180 * angle.Degree, 20 * Kilometre, "pole_passed"},
		{at(0, 0), 0, 20000 * Kilometre, "pole_passed"},
		{at(0, 0), 0, -1, "bad_distance"},
		{at(0, 0), 0, Metres(nan), "bad_distance"},
		{at(0, 0), 0, Metres(inf), "bad_distance"},
		{at(0, 0), angle.Angle(nan), 1, "bad_distance"},
		{at(0, 0), angle.Angle(inf), 1, "bad_distance"},
		{Position{Lat: angle.Angle(nan)}, 0, 1, "bad_position"},
		{Position{Lon: 200 * angle.Degree}, 0, 1, "bad_position"},
		{Position{Lat: -91 * angle.Degree}, 0, 1, "bad_position"},
	} {
		if got, err := RhumbDirect(tt.from, tt.course, tt.distance); fault.Code(err) != tt.code {
			t.Errorf("RhumbDirect(%v, %v, %v) = %v, %v, want %s", tt.from, tt.course, tt.distance, got, err, tt.code)
		}
	}
	bad := Position{Lat: angle.Angle(nan)}
	if _, _, err := RhumbInverse(at(0, 0), bad); fault.Code(err) != "bad_position" {
		t.Errorf("RhumbInverse: %v", err)
	}
	if _, _, err := GeodesicInverse(bad, at(0, 0)); fault.Code(err) != "bad_position" {
		t.Errorf("GeodesicInverse: %v", err)
	}
}

// By definition a pole is reached along a meridian; its quarter is 10 001 965.729 m
// on WGS84 (from memory, and the series above with a = 6378137, 1/f = 298.257223563).
func TestRhumbToAPole(t *testing.T) {
	const quarter = 10001965.729
	for _, tt := range []struct {
		from, to         Position
		course, distance float64
	}{
		{at(0, 20), at(90, -100), 0, quarter},
		{at(90, -100), at(0, 20), 180, quarter},
		{at(-90, 0), at(90, 0), 0, 2 * quarter},
		{at(0, 0), at(0, 0), 0, 0},
	} {
		course, distance, err := RhumbInverse(tt.from, tt.to)
		if err != nil || math.Abs(course.Degrees()-tt.course) > 1e-9 || math.Abs(float64(distance)-tt.distance) > 0.001 {
			t.Errorf("RhumbInverse(%v, %v) = %v, %v, %v, want %v, %v", tt.from, tt.to, course, distance, err, tt.course, tt.distance)
		}
	}
}

func BenchmarkRhumbDirect(b *testing.B) {
	from := at(-20.6, 25.4)
	for b.Loop() {
		if _, err := RhumbDirect(from, 112.5*angle.Degree, 5*Kilometre); err != nil {
			b.Fatal(err)
		}
	}
}
