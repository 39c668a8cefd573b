package daycard

import (
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/tidwall/geodesic"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/testtable"
)

func at(lat, lon float64) Stop {
	return Stop{Position: geo.Position{Lat: angle.FromDegrees(lat), Lon: angle.FromDegrees(lon)}}
}

// options are those of a day at a place, course 045, all else as the user gets it unasked.
func options(lat, lon float64, year int, month time.Month, day int, utcOffset time.Duration) Options {
	return Options{
		First: Date{year, month, day}, Days: 1, UTCOffset: utcOffset,
		Stops: []Stop{at(lat, lon)}, Courses: []angle.Angle{45 * angle.Degree},
		Tolerance: DefaultTolerance, Lowest: DefaultLowest, Highest: DefaultHighest,
	}
}

func mustNew(t testing.TB, o Options) *Card {
	t.Helper()
	c, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// window returns the window that holds t, and whether there is one.
func (d Day) window(t time.Time) (Window, bool) {
	i := slices.IndexFunc(d.Windows, func(w Window) bool { return !t.Before(w.From) && t.Before(w.Until) })
	if i < 0 {
		return Window{}, false
	}
	return d.Windows[i], true
}

func apart(a, b float64) float64 { return math.Abs(math.Remainder(a-b, 360)) }

// The 120 reference suns (testdata/sun.csv: DE405 and IAU 2006/2000A; the southern
// hemisphere, the tropics, the zenith, both polar regions, the date line and leap days
// among them) must stand where the card of their day says, within the error that it owns
// up to.
func TestReferenceSunsStandWhereTheCardSays(t *testing.T) {
	// The card promises the azimuth of the program's sun, which has an error of its own.
	const ephemeris = 0.001 // degrees: 0.0002 (docs/sky.md) over cos 75°
	// Another pressure and temperature than the standard's, at 6° and at 75°.
	const air = 0.1 // degrees of altitude
	for _, mode := range []struct {
		name   string
		window time.Duration
	}{{"by tolerance", 0}, {"30 minutes", 30 * time.Minute}} {
		inside, fast := map[string]int{}, 0
		for _, row := range testtable.Read(t, "testdata/sun.csv") {
			utc, err := time.Parse(time.RFC3339, row["utc"])
			if err != nil {
				t.Fatal(err)
			}
			lon := row.Number(t, "lon_deg_east")
			offset := time.Duration(math.Round(lon/15)) * time.Hour
			local := utc.Add(offset)
			o := options(row.Number(t, "lat_deg"), lon, local.Year(), local.Month(), local.Day(), offset)
			o.ElevationMetres = row.Number(t, "height_m")
			o.Window = mode.window
			d := mustNew(t, o).Days[0]

			azimuth, altitude := row.Number(t, "az_ref_deg"), row.Number(t, "alt_refr_saemundsson_deg")
			w, ok := d.window(utc)
			switch {
			case ok && (altitude < 6-air || altitude > 75+air):
				t.Errorf("%s, %s: the shadow serves at altitude %g", mode.name, row["id"], altitude)
			case ok:
				inside[row["category"]]++
				if off := apart(azimuth, w.AzimuthDeg); off > w.GreatestErrDeg+ephemeris {
					t.Errorf("%s, %s: azimuth %g, the card says %g within %g", mode.name, row["id"], azimuth, w.AzimuthDeg, w.GreatestErrDeg)
				}
				if mode.window == 0 && w.GreatestErrDeg > 1 || w.GreatestErrDeg > 10 {
					t.Errorf("%s, %s: error %g", mode.name, row["id"], w.GreatestErrDeg)
				}
				if altitude < w.LowestDeg-air || altitude > w.HighestDeg+air {
					t.Errorf("%s, %s: altitude %g, the card says %g to %g", mode.name, row["id"], altitude, w.LowestDeg, w.HighestDeg)
				}
			case mode.window == 0 && altitude > 6+2*air && altitude < 75-air:
				i := slices.IndexFunc(d.Gaps, func(g Gap) bool { return !utc.Before(g.From) && utc.Before(g.Until) })
				if i < 0 || !slices.Contains(d.Gaps[i].Reasons, TooFast) {
					t.Errorf("%s, %s: the shadow does not serve at altitude %g", mode.name, row["id"], altitude)
				}
				fast++
			}
		}
		t.Logf("%s: %v in windows, %d where the azimuth turns too fast", mode.name, inside, fast)
		for _, category := range []string{"general", "leap_day", "midnight_sun", "polar", "date_line", "equinox_solstice", "near_meridian", "height"} {
			if inside[category] == 0 {
				t.Errorf("%s: no row of category %s was in a window", mode.name, category)
			}
		}
	}
}

// NREL/TP-560-34302, table A5.1: azimuth 194.34024° at 12:30:30, UTC-7. SPA_TESTER.C:
// sunrise 06:12:43; its sunset 17:20:19 is that of the UT day, the evening before.
func TestTheNRELExample(t *testing.T) {
	o := options(39.742476, -105.1786, 2003, time.October, 16, -7*time.Hour)
	o.Days, o.ElevationMetres = 2, 1830.14
	c := mustNew(t, o)
	w, ok := c.Days[1].window(time.Date(2003, 10, 17, 19, 30, 30, 0, time.UTC))
	if !ok || math.Abs(w.AzimuthDeg-194.34024) > 1 {
		t.Errorf("window %+v, %v", w, ok)
	}
	for _, x := range []struct {
		got  []time.Time
		want string
	}{{c.Days[0].Sun.Sets, "2003-10-16T17:20:19-07:00"}, {c.Days[1].Sun.Rises, "2003-10-17T06:12:43-07:00"}} {
		want, err := time.Parse(time.RFC3339, x.want)
		if err != nil {
			t.Fatal(err)
		}
		// It interpolates between days and states no accuracy: as in package bearing.
		if len(x.got) != 1 || x.got[0].Sub(want).Abs() > 5*time.Second {
			t.Errorf("%v, want %s", x.got, x.want)
		}
	}
}

// The U.S. Naval Observatory's tables (testdata/usno_rise_set.csv), polar day and night and
// days without a rise or a set among them.
func TestRiseAndSetAreTheNavalObservatorys(t *testing.T) {
	checked := map[State]int{}
	for _, row := range testtable.Read(t, "testdata/usno_rise_set.csv") {
		date, err := ParseDate(row["date"])
		if err != nil {
			t.Fatal(err)
		}
		zone := time.Duration(row.Number(t, "zone_h")) * time.Hour
		d := mustNew(t, options(row.Number(t, "lat_deg"), row.Number(t, "lon_deg_east"), date.Year, date.Month, date.Day, zone)).Days[0]
		p := d.Sun.Passage
		if row["body"] == "moon" {
			p = d.Moon.Passage
		}
		state := map[string]State{"up": UpAll, "down": DownAll}[row["rise"]]
		if state == "" {
			state = Crosses
		}
		if p.State != state {
			t.Errorf("%s %s: %s, want %s", row["body"], row["date"], p.State, state)
		}
		checked[state]++
		if state != Crosses {
			continue
		}
		for _, x := range []struct {
			got  []time.Time
			want string
		}{{p.Rises, row["rise"]}, {p.Sets, row["set"]}} {
			if x.want == "-" {
				if len(x.got) > 0 {
					t.Errorf("%s %s: %v, want none", row["body"], row["date"], x.got)
				}
				continue
			}
			if len(x.got) != 1 {
				t.Errorf("%s %s: %v, want %s", row["body"], row["date"], x.got, x.want)
				continue
			}
			hm := testtable.Number(t, x.want)
			want := d.midnight.Add(time.Duration(math.Floor(hm/100))*time.Hour + time.Duration(math.Mod(hm, 100))*time.Minute)
			// The Observatory rounds to the minute, and the radii; a limb that grazes
			// the horizon in the far north takes minutes over half an arcminute
			// (package bearing tests this with the rate of each row).
			if off := x.got[0].Sub(want).Abs(); off > 4*time.Minute {
				t.Errorf("%s %s: %v, want %s", row["body"], row["date"], x.got, x.want)
			}
		}
	}
	if checked[UpAll] == 0 || checked[DownAll] == 0 || checked[Crosses] == 0 {
		t.Errorf("states checked: %v", checked)
	}
}

// scenarios are days of every kind.
func scenarios() map[string]Options {
	timed := options(-20.6142, 25.4310, 2026, time.September, 7, 2*time.Hour)
	timed.Stops = []Stop{at(-20.6142, 25.4310), at(-20.4142, 25.8310), at(-20.1, 26.1)}
	for i, hour := range []int{8, 11, 16} {
		timed.Stops[i].Time = time.Date(2026, 9, 7, hour-2, 0, 0, 0, time.UTC)
	}
	route := options(-20.6142, 25.4310, 2026, time.September, 7, 2*time.Hour)
	route.Stops = []Stop{at(-20.6142, 25.4310), at(-20.4142, 25.8310)}
	dateLine := options(65, 179.8, 2024, time.July, 12, 12*time.Hour)
	dateLine.Stops = append(dateLine.Stops, at(65.1, -179.9))
	fine := options(52, 13, 2026, time.March, 20, time.Hour)
	fine.Tolerance = 0.25 * angle.Degree
	half := options(40, -105, 2026, time.June, 21, -7*time.Hour)
	half.Tolerance = 0.5 * angle.Degree
	coarse := options(-34, 151, 2026, time.December, 21, 10*time.Hour)
	coarse.Tolerance = 5 * angle.Degree
	quarter := options(-20.6142, 25.4310, 2026, time.September, 7, 2*time.Hour)
	quarter.Window = 15 * time.Minute
	halfHour := options(28.6, 77.2, 2026, time.June, 1, 5*time.Hour+30*time.Minute)
	halfHour.Window = 30 * time.Minute
	halfHourHigh := halfHour
	halfHourHigh.Highest = 90 * angle.Degree
	high := options(-20.6142, 25.4310, 2026, time.November, 25, 2*time.Hour)
	high.Highest = 90 * angle.Degree
	polarFixed := options(78.2232, 15.6469, 2026, time.June, 20, 2*time.Hour)
	polarFixed.Window = 30 * time.Minute
	return map[string]Options{
		"south":             options(-33.9, 18.4, 2026, time.June, 21, 2*time.Hour),
		"sun north of it":   options(5, 30, 2026, time.June, 21, 2*time.Hour),
		"sun south of it":   options(-10, 30, 2026, time.December, 21, 2*time.Hour),
		"through zenith":    options(-20.6142, 25.4310, 2026, time.November, 24, 2*time.Hour),
		"zenith, no limit":  high,
		"equator, equinox":  options(0, 0, 2026, time.March, 20, 0),
		"polar day":         options(78.2232, 15.6469, 2026, time.June, 20, 2*time.Hour),
		"polar day, fixed":  polarFixed,
		"polar night":       options(78.2232, 15.6469, 2026, time.December, 20, time.Hour),
		"north pole":        options(90, 0, 2026, time.May, 22, 0),
		"south pole":        options(-90, 0, 2027, time.November, 10, 12*time.Hour),
		"date line":         dateLine,
		"leap day":          options(-34.6037, -58.4, 2028, time.February, 29, -3*time.Hour),
		"route":             route,
		"timed route":       timed,
		"quarter of degree": fine,
		"half a degree":     half,
		"five degrees":      coarse,
		"15 minutes":        quarter,
		"30 minutes":        halfHour,
		"30 min, no limit":  halfHourHigh,
	}
}

// No moment of a window, and no place on the route, may be further off than the window says.
func TestNoMomentIsFurtherOffThanTheWindowSays(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for name, o := range scenarios() {
		d := mustNew(t, o).Days[0]
		if len(d.Windows) == 0 && name != "polar night" {
			t.Errorf("%s: no windows", name)
		}
		for _, w := range d.Windows {
			if o.Window == 0 && w.GreatestErrDeg > o.Tolerance.Degrees() || w.GreatestErrDeg > 10 {
				t.Errorf("%s: error %g at %v", name, w.GreatestErrDeg, w.From)
			}
			for range 40 {
				at := w.From.Add(time.Duration(random.Int64N(int64(w.Until.Sub(w.From)))))
				var p geo.Position
				switch {
				case name == "timed route":
					p = newRoute(o.Stops).planned(at)
				case len(o.Stops) > 1: // straight in latitude and longitude: within 100 m on these legs
					f := angle.Angle(random.Float64())
					a, b := o.Stops[0].Position, o.Stops[1].Position
					p = geo.Position{Lat: a.Lat + f*(b.Lat-a.Lat), Lon: (a.Lon + f*(b.Lon-a.Lon).Signed()).Signed()}
				default:
					p = o.Stops[0].Position
				}
				a, err := bearing.Observe(bearing.Sun, at, p, o.ElevationMetres)
				if err != nil {
					t.Fatal(err)
				}
				// 0.001°: 100 m off the leg at altitude 75°.
				if off := apart(a.Azimuth.Degrees(), w.AzimuthDeg); off > w.GreatestErrDeg+0.001 {
					t.Errorf("%s: off by %.4f at %v, the card says %g", name, off, at, w.GreatestErrDeg)
				}
				if alt := a.Altitude.Degrees(); alt < w.LowestDeg-0.02 || alt > w.HighestDeg+0.02 {
					t.Errorf("%s: altitude %.3f at %v, the card says %g to %g", name, alt, at, w.LowestDeg, w.HighestDeg)
				}
			}
		}
	}
}

// Windows and gaps make up the day, and everything that a window says agrees.
func TestADayIsWhole(t *testing.T) {
	for name, o := range scenarios() {
		o.Courses = []angle.Angle{0, 360 * angle.Degree, 67.25 * angle.Degree, 359.9 * angle.Degree}
		o.RodHeightMM, o.ScaleRadiusMM = 50, 58
		c := mustNew(t, o)
		d := c.Days[0]
		var spans []Span
		for _, w := range d.Windows {
			spans = append(spans, w.Span)
			for i, n := range w.NumbersDeg {
				if n < 0 || n >= 360 || w.AzimuthDeg < 0 || w.AzimuthDeg >= 360 || apart(w.AzimuthDeg+n, c.CoursesDeg[i]) > 1e-6 {
					t.Errorf("%s: azimuth %g and number %g for course %g", name, w.AzimuthDeg, n, c.CoursesDeg[i])
				}
			}
		}
		for _, g := range d.Gaps {
			spans = append(spans, g.Span)
			if len(g.Reasons) == 0 {
				t.Errorf("%s: a gap without a reason at %v", name, g.From)
			}
		}
		slices.SortFunc(spans, func(a, b Span) int { return a.From.Compare(b.From) })
		at := d.midnight
		for _, s := range spans {
			if !s.From.Equal(at) || !s.Until.After(s.From) {
				t.Errorf("%s: %v follows %v", name, s, at)
			}
			at = s.Until
		}
		if !at.Equal(d.midnight.Add(24 * time.Hour)) {
			t.Errorf("%s: the day ends at %v", name, at)
		}
	}
}

func TestWhatCannotServeIsSaid(t *testing.T) {
	for _, tt := range []struct {
		scenario string
		reason   Reason
	}{
		{"through zenith", TooHigh}, {"zenith, no limit", TooFast}, {"polar night", TooLow}, {"quarter of degree", TooLow}, {"30 minutes", TooHigh}, {"30 min, no limit", TooFast},
	} {
		d := mustNew(t, scenarios()[tt.scenario]).Days[0]
		if !slices.ContainsFunc(d.Gaps, func(g Gap) bool { return slices.Contains(g.Reasons, tt.reason) }) {
			t.Errorf("%s: no gap is %s: %v", tt.scenario, tt.reason, d.Gaps)
		}
	}
	// Along 400 km of a parallel the sun's azimuth differs by more than two degrees
	// whatever the hour (3.8° of longitude, sin 45° of it even with the sun low).
	o := options(45, 0, 2026, time.March, 20, 0)
	o.Stops = append(o.Stops, at(45, 5))
	d := mustNew(t, o).Days[0]
	if len(d.Windows) > 0 || !slices.ContainsFunc(d.Gaps, func(g Gap) bool { return slices.Contains(g.Reasons, TooApart) }) {
		t.Errorf("a route of 400 km: windows %v, gaps %v", d.Windows, d.Gaps)
	}
}

// Beside the zenith no window is shorter than two minutes, but for the last before the
// sun leaves the altitudes, and no run of windows shorter than a quarter of an hour.
func TestWindowsAreWorthALook(t *testing.T) {
	for name, o := range scenarios() {
		if o.Window != 0 {
			continue
		}
		d := mustNew(t, o).Days[0]
		for i, w := range d.Windows {
			if last := i+1 == len(d.Windows) || !d.Windows[i+1].From.Equal(w.Until); !last && w.Until.Sub(w.From) < 2*time.Minute {
				t.Errorf("%s: a window of %v at %v", name, w.Until.Sub(w.From), w.From)
			}
		}
		for _, s := range d.Serves {
			beside := slices.ContainsFunc(d.Gaps, func(g Gap) bool {
				return (g.From.Equal(s.Until) || g.Until.Equal(s.From)) && slices.Contains(g.Reasons, TooFast)
			})
			if beside && s.Until.Sub(s.From) < 15*time.Minute {
				t.Errorf("%s: a run of %v at %v", name, s.Until.Sub(s.From), s.From)
			}
		}
	}
}

// What a slip of the clock or of the place costs, by looking again a minute later and ten
// kilometres off.
func TestCosts(t *testing.T) {
	for _, name := range []string{"south", "through zenith", "half a degree", "timed route", "equator, equinox"} {
		o := scenarios()[name]
		d := mustNew(t, o).Days[0]
		minute, place := 0.0, 0.0
		for _, w := range d.Windows {
			p := newRoute(o.Stops).middle(w.Centre)
			look := func(at time.Time, p geo.Position) float64 {
				a, err := bearing.Observe(bearing.Sun, at, p, 0)
				if err != nil {
					t.Fatal(err)
				}
				return a.Azimuth.Degrees()
			}
			minute = max(minute, apart(look(w.Centre.Add(time.Minute), p), look(w.Centre, p)))
			// On the equator one window is hours long, and a place costs least in its middle.
			for _, at := range []time.Time{w.From, w.Centre, w.Until} {
				p := newRoute(o.Stops).middle(at)
				for i := range 24 {
					way := angle.FromDegrees(15 * float64(i))
					q := p
					q.Lat += angle.FromDegrees(10/geo.KMPerDegree) * angle.Angle(way.Cos())
					q.Lon += angle.FromDegrees(10/geo.KMPerDegree) * angle.Angle(way.Sin()/p.Lat.Cos())
					place = max(place, apart(look(at, q), look(at, p)))
				}
			}
		}
		// The card looks at every minute, not at the centres alone (up to a window's half
		// nearer noon): at most a tenth more. Both round to 0.01.
		if got := d.Costs; got.ClockMinuteDeg < minute-0.006 || got.ClockMinuteDeg > 1.1*minute+0.006 {
			t.Errorf("%s: a minute costs %.3f, the card says %g", name, minute, got.ClockMinuteDeg)
		}
		if got := d.Costs; math.Abs(got.TenKMDeg-place) > 0.05*place+0.006 {
			t.Errorf("%s: ten kilometres cost %.3f, the card says %g", name, place, got.TenKMDeg)
		}
	}
}

// What is known of the sun without any ephemeris.
func TestTheRuleOfFifteenDegrees(t *testing.T) {
	seven := 7 * time.Hour
	// At a pole the azimuth is the hour angle, which runs 15° an hour of mean sun: clockwise at
	// the north pole, counter-clockwise at the south pole. The equation of time changes by
	// less than 30 s a day (0.125°) and the figure is rounded to 0.1.
	for _, pole := range []string{"north pole", "south pole"} {
		o := scenarios()[pole]
		o.RuleAt = &seven
		d := mustNew(t, o).Days[0]
		ruled := 0
		for _, w := range d.Windows {
			if w.RuleErrorDeg == nil {
				if w.Until.After(*d.Rule.From) {
					t.Errorf("%s: no rule at %v", pole, w.From)
				}
				continue
			}
			ruled++
			if math.Abs(*w.RuleErrorDeg) > 0.2 {
				t.Errorf("%s: the rule is off by %g at %v", pole, *w.RuleErrorDeg, w.From)
			}
		}
		if ruled < 60 { // 17 h of 2° windows at 15° an hour
			t.Errorf("%s: only %d windows have a rule", pole, ruled)
		}
	}
	// On the equator at the equinox the sun climbs due east: from 07:00 to 10:30 the rule gains
	// the full 15° an hour, 52.5°. The sun's declination stays within 0.2° of the equator
	// (at altitude 68°, 0.5° of azimuth).
	o := scenarios()["equator, equinox"]
	o.RuleAt = &seven
	w, ok := mustNew(t, o).Days[0].window(time.Date(2026, 3, 20, 10, 30, 0, 0, time.UTC))
	if !ok || w.RuleErrorDeg == nil || *w.RuleErrorDeg < 52 {
		t.Errorf("equator: %+v", w)
	}
	// In the south the sun runs through north. At 33.9° S in June it rises north of east
	// and turns more slowly than 15° an hour at first (the rate is 15 (sin lat + ...) < 15):
	// the rule counter-clockwise runs ahead, to the left.
	d := mustNew(t, scenarios()["south"]).Days[0]
	if d.Rule.Sense != "counterclockwise" || *d.Windows[5].RuleErrorDeg >= 0 || *d.Windows[5].RuleErrorDeg < -15 {
		t.Errorf("south: %+v, %v", d.Rule, *d.Windows[5].RuleErrorDeg)
	}
	for name, want := range map[string]bool{
		"sun north of it": true, "sun south of it": true, "south": false, "half a degree": false, "five degrees": false, "north pole": false,
	} {
		d := mustNew(t, scenarios()[name]).Days[0]
		if got := slices.ContainsFunc(d.Warnings, func(w Warning) bool { return w.Code == "rule_runs_wrong_way" }); got != want {
			t.Errorf("%s: warned %v of the rule's sense", name, got)
		}
	}
	three := 3 * time.Hour
	o.RuleAt = &three
	d = mustNew(t, o).Days[0]
	if d.Rule.From != nil || d.Windows[0].RuleErrorDeg != nil || !slices.ContainsFunc(d.Warnings, func(w Warning) bool { return w.Code == "rule_not_started" }) {
		t.Errorf("a bearing by night: %+v", d)
	}
}

// The cost of a rod off plumb, by brute force: the shadow of a leaning rod's tip on level
// ground, over all ways to lean.
func TestLevelCostIsThatOfALeaningRod(t *testing.T) {
	for _, w := range mustNew(t, scenarios()["south"]).Days[0].Windows {
		h := w.HighestDeg * math.Pi / 180
		lean := 0.5 * math.Pi / 180
		worst := 0.0
		for i := range 720 {
			a := float64(i) * math.Pi / 360
			// The sun stands along +y; the tip's shadow falls from the tip along (0, -cos h, -sin h).
			x, y := math.Sin(lean)*math.Sin(a), math.Sin(lean)*math.Cos(a)-math.Cos(lean)/math.Tan(h)
			worst = max(worst, math.Abs(math.Atan2(x, -y))*180/math.Pi)
		}
		// Rounded to 0.01; second order 0.5° x 0.5° in radians is less.
		if math.Abs(worst-w.LevelCostDeg) > 0.011 {
			t.Errorf("altitude %g: %g, the card says %g", w.HighestDeg, worst, w.LevelCostDeg)
		}
	}
}

// Shadow = height / tan(altitude), the altitude as the window gives it.
func TestTheRodsShadow(t *testing.T) {
	o := scenarios()["south"]
	o.RodHeightMM, o.ScaleRadiusMM = 50, 58
	d := mustNew(t, o).Days[0]
	for _, w := range d.Windows {
		tan := func(deg float64) float64 { return math.Tan(deg * math.Pi / 180) }
		if mm := float64(*w.ShadowLengthMM); mm > 50/tan(w.LowestDeg)+1 || mm < 50/tan(w.HighestDeg)-1 {
			t.Errorf("%g mm at altitude %g to %g", mm, w.LowestDeg, w.HighestDeg)
		}
	}
	// At 33.9° S on 21 June the sun is highest at 90 - 33.9 - 23.4 = 32.7°: below atan(50/58) =
	// 40.8° all day, and 58 tan 32.7° = 37.2 mm of rod would do.
	if got := d.Rod; *got.ReachesBelow != 40.8 || len(got.ReachesScale) != len(d.Serves) || got.ReachesScale[0] != d.Serves[0] || *got.AllDayRodMM != 38 {
		t.Errorf("rod %+v, serves %v", got, d.Serves)
	}
	if math.Abs(d.Sun.Highest.AltitudeDeg-32.7) > 0.1 {
		t.Errorf("highest %g", d.Sun.Highest.AltitudeDeg)
	}
}

func TestTheMoon(t *testing.T) {
	// Meeus, Astronomical Algorithms, 2nd ed., example 48.a: k = 0.6786 at 1992 April 12, 0h TD,
	// seen from the earth's centre (from memory). It is noon at UTC-12, and the moon
	// stands overhead (right ascension 134.69°, declination 13.77°, example 47.a; sidereal time
	// 200.4°), so that the parallax does not count. The card rounds to 0.01.
	o := options(13.77, -65.7, 1992, time.April, 11, -12*time.Hour)
	if got := mustNew(t, o).Days[0].Moon.LitFraction; math.Abs(got-0.6786) > 0.0051 {
		t.Errorf("lit %g, want 0.68", got)
	}
	// Full moon on 3 March 2026, new moon on 19 March (almanac dates, from memory).
	for day, want := range map[int]bool{3: true, 19: false} {
		o := options(-20.6142, 25.4310, 2026, time.March, day, 2*time.Hour)
		m := mustNew(t, o).Days[0].Moon
		if (m.LitFraction > 0.98) != want || (m.LitFraction < 0.02) == want || (len(m.Serves) > 0) != want {
			t.Errorf("%d March: %+v", day, m)
		}
	}
	// Every minute of two weeks against the conditions as stated.
	o = options(-20.6142, 25.4310, 2026, time.March, 1, 2*time.Hour)
	o.Days = 14
	for _, d := range mustNew(t, o).Days {
		for i := 0; i < 24*60; i++ {
			at := d.midnight.Add(time.Duration(i)*time.Minute + 30*time.Second)
			sun, err := bearing.Observe(bearing.Sun, at, o.Stops[0].Position, 0)
			if err != nil {
				t.Fatal(err)
			}
			moon, err := bearing.Observe(bearing.Moon, at, o.Stops[0].Position, 0)
			if err != nil {
				t.Fatal(err)
			}
			edge := 0.3 // degrees: a minute of turning
			low, high := moon.Altitude.Degrees(), moon.Altitude.Degrees()
			dark := sun.Altitude.Degrees()
			got := slices.ContainsFunc(d.Moon.Serves, func(s Span) bool { return !at.Before(s.From) && at.Before(s.Until) })
			switch {
			case got && (dark > -12+edge || low < 15-edge || high > 75+edge || moon.LitFraction < 0.499):
				t.Errorf("%v: serves with the sun at %.1f, the moon at %.1f, %.2f lit", at, dark, low, moon.LitFraction)
			case !got && dark < -12-edge && low > 15+edge && high < 75-edge && moon.LitFraction > 0.501:
				t.Errorf("%v: does not serve with the sun at %.1f, the moon at %.1f, %.2f lit", at, dark, low, moon.LitFraction)
			}
		}
	}
}

func TestClockOffTheSun(t *testing.T) {
	for _, tt := range []struct {
		lon    float64
		offset time.Duration
		want   bool
	}{
		{25.4, 2 * time.Hour, false},
		{-25.4, 2 * time.Hour, true}, // sign of the longitude: 2 h and 1.7 h
		{-105, 7 * time.Hour, true},  // sign of the offset
		{105, -7 * time.Hour, true},
		{-157.4, 14 * time.Hour, false}, // beyond the date line
		{75, 8 * time.Hour, false},
	} {
		d := mustNew(t, options(10, tt.lon, 2026, time.May, 1, tt.offset)).Days[0]
		got := slices.ContainsFunc(d.Warnings, func(w Warning) bool { return w.Code == "clock_off_sun" })
		if got != tt.want {
			t.Errorf("longitude %g, %v: warned %v", tt.lon, tt.offset, got)
		}
	}
}

// Against Karney's geodesics (package geodesic): the vertical's angle is within 1 % of them.
func TestRouteLengths(t *testing.T) {
	for _, r := range [][2]Stop{{at(-20.6, 25.4), at(-20.4, 25.8)}, {at(65, 179.8), at(65.1, -179.9)}, {at(89, 0), at(89, 180)}, {at(0, 0), at(0, 4)}} {
		a, b := r[0].Position, r[1].Position
		var metres float64
		geodesic.WGS84.Inverse(a.Lat.Degrees(), a.Lon.Degrees(), b.Lat.Degrees(), b.Lon.Degrees(), &metres, nil, nil)
		if got := routeKM(r[:]); math.Abs(got-metres/1000) > metres/1000/100 {
			t.Errorf("%v: %.2f km, want %.2f", r, got, metres/1000)
		}
		half := between(a, b, 0.5)
		if d := apartKM(a, half) - apartKM(half, b); math.Abs(d) > 0.001 {
			t.Errorf("%v: the middle is %g km off", r, d)
		}
		for i, p := range newRoute(r[:]).places[1:] {
			if step := apartKM(newRoute(r[:]).places[i], p); step > 25.1 {
				t.Errorf("%v: a step of %g km", r, step)
			}
		}
	}
}

func TestAbsurdOptionsAreRefused(t *testing.T) {
	day := time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)
	timed := func(hours ...int) (stops []Stop) {
		for i, h := range hours {
			s := at(-20, 25+float64(i)/10)
			if h >= 0 {
				s.Time = day.Add(time.Duration(h) * time.Hour)
			}
			stops = append(stops, s)
		}
		return stops
	}
	d := func(v time.Duration) *time.Duration { return &v }
	for _, tt := range []struct {
		code   string
		change func(*Options)
	}{
		{"bad_title", func(o *Options) { o.Title = strings.Repeat("x", 61) }},
		{"bad_title", func(o *Options) { o.Title = "塩" }},
		{"bad_title", func(o *Options) { o.Title = "two\nlines" }},
		{"bad_title", func(o *Options) { o.Title = "\xff" }},
		{"bad_date", func(o *Options) { o.First = Date{2026, 2, 29} }},
		{"bad_date", func(o *Options) { o.First = Date{} }},
		{"bad_date", func(o *Options) { o.First = Date{1971, 12, 31} }},
		{"bad_date", func(o *Options) { o.First = Date{2100, 1, 1} }},
		{"time_out_of_range", func(o *Options) { o.First, o.Days = Date{2099, 12, 31}, 2 }},
		{"bad_days", func(o *Options) { o.Days = 0 }},
		{"bad_days", func(o *Options) { o.Days = 32 }},
		{"bad_utc_offset", func(o *Options) { o.UTCOffset = 15 * time.Hour }},
		{"bad_utc_offset", func(o *Options) { o.UTCOffset = 30 * time.Second }},
		{"bad_stops", func(o *Options) { o.Stops = nil }},
		{"bad_stops", func(o *Options) { o.Stops = slices.Repeat(o.Stops, 51) }},
		{"bad_stops", func(o *Options) { o.Stops[0].Position.Lat = angle.Angle(math.NaN()) }},
		{"bad_stops", func(o *Options) { o.Stops[0].Position.Lat = 91 * angle.Degree }},
		{"bad_stops", func(o *Options) { o.Stops = timed(1, -1) }},
		{"bad_stops", func(o *Options) { o.Stops = timed(-1, 1) }},
		{"bad_stops", func(o *Options) { o.Stops = timed(2, 1) }},
		{"bad_stops", func(o *Options) { o.Stops = timed(2, 2) }},
		{"bad_stops", func(o *Options) { o.Stops = timed(48, 49) }},
		{"route_too_long", func(o *Options) { o.Stops = append(o.Stops, at(-20, 31)) }},
		{"elevation_out_of_range", func(o *Options) { o.ElevationMetres = math.NaN() }},
		{"bad_courses", func(o *Options) { o.Courses = nil }},
		{"bad_courses", func(o *Options) { o.Courses = slices.Repeat(o.Courses, 7) }},
		{"bad_courses", func(o *Options) { o.Courses[0] = 400 * angle.Degree }},
		{"bad_courses", func(o *Options) { o.Courses[0] = -1 * angle.Degree }},
		{"bad_courses", func(o *Options) { o.Courses[0] = angle.Angle(math.NaN()) }},
		{"bad_tolerance", func(o *Options) { o.Tolerance = 0 }},
		{"bad_tolerance", func(o *Options) { o.Tolerance = 6 * angle.Degree }},
		{"bad_tolerance", func(o *Options) { o.Tolerance = angle.Angle(math.NaN()) }},
		{"bad_window", func(o *Options) { o.Window = 20 * time.Minute }},
		{"bad_altitudes", func(o *Options) { o.Lowest = 75 * angle.Degree }},
		{"bad_altitudes", func(o *Options) { o.Lowest = -1 * angle.Degree }},
		{"bad_altitudes", func(o *Options) { o.Highest = 91 * angle.Degree }},
		{"bad_altitudes", func(o *Options) { o.Highest = angle.Angle(math.NaN()) }},
		{"bad_rule_time", func(o *Options) { o.RuleAt = d(24 * time.Hour) }},
		{"bad_rule_time", func(o *Options) { o.RuleAt = d(-time.Minute) }},
		{"bad_rule_time", func(o *Options) { o.RuleAt = d(time.Second) }},
		{"bad_rod_height", func(o *Options) { o.RodHeightMM = -1 }},
		{"bad_rod_height", func(o *Options) { o.RodHeightMM = math.Inf(1) }},
		{"bad_rod_height", func(o *Options) { o.ScaleRadiusMM = 58 }},
		{"bad_scale_radius", func(o *Options) { o.RodHeightMM, o.ScaleRadiusMM = 50, math.NaN() }},
	} {
		o := options(-20.6142, 25.4310, 2026, time.March, 14, 2*time.Hour)
		tt.change(&o)
		c, err := New(o)
		var f *fault.Error
		if !errors.As(err, &f) || f.Code != tt.code || f.Hint == "" || c != nil {
			t.Errorf("error %v, card %v, want %s", err, c, tt.code)
		}
	}
}

func TestJSONNamesUnitsAndOffsets(t *testing.T) {
	for name, o := range scenarios() {
		o.RodHeightMM, o.ScaleRadiusMM = 50, 58
		data, err := json.Marshal(mustNew(t, o))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if s := string(data); strings.Contains(s, ":-0,") || strings.Contains(s, ":-0}") {
			t.Errorf("%s: minus zero", name)
		}
		var card struct {
			UTCOffset string `json:"utc_offset"`
			Days      []struct {
				Date    string
				Serves  []Span
				Gaps    []Gap
				Windows []struct {
					From    string    `json:"from"`
					Azimuth float64   `json:"azimuth_deg"`
					Numbers []float64 `json:"numbers_deg"`
					Rule    *float64  `json:"rule_error_deg"`
				}
			}
		}
		if err := json.Unmarshal(data, &card); err != nil {
			t.Fatal(err)
		}
		if card.Days[0].Date != o.First.String() || card.Days[0].Gaps == nil || card.Days[0].Serves == nil || card.Days[0].Windows == nil {
			t.Errorf("%s: %.300s", name, data)
		}
		for _, w := range card.Days[0].Windows {
			zone := card.UTCOffset
			if zone == "+00:00" {
				zone = "Z"
			}
			if !strings.HasSuffix(w.From, zone) || len(w.Numbers) != 1 {
				t.Errorf("%s: %+v", name, w)
			}
		}
	}
}

func FuzzParseDate(f *testing.F) {
	for _, s := range []string{"2026-03-14", "2028-02-29", "2027-02-29", "0000-01-01", "2026-3-14", "20260314", " 2026-03-14", "2026-03-14T00:00:00Z", "", "９999-01-01"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		d, err := ParseDate(s)
		if err != nil {
			if fault.Code(err) != "bad_date" {
				t.Errorf("%q: %v", s, err)
			}
			return
		}
		if d.String() != s {
			t.Errorf("%q reads as %v", s, d)
		}
	})
}

func BenchmarkNew(b *testing.B) {
	for _, name := range []string{"south", "route"} {
		b.Run(name, func(b *testing.B) {
			o := scenarios()[name]
			for b.Loop() {
				mustNew(b, o)
			}
		})
	}
}
