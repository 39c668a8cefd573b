package steering

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"pgregory.net/rapid"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/daycard"
	"shadowread/internal/geo"
	"shadowread/internal/instrument"
	"shadowread/internal/photo"
	"shadowread/internal/reading"
	"shadowread/internal/recordfile"
	"shadowread/internal/testtable"
)

func spot(lat, lon float64) geo.Position {
	return geo.Position{Lat: angle.FromDegrees(lat), Lon: angle.FromDegrees(lon)}
}

// options are those of a user who gives a position.
func options(p geo.Position) reading.Options {
	o := reading.Defaults()
	o.Position = photo.PositionOptions{Position: &p}
	return o
}

func mustParse(t testing.TB, text string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339Nano, text)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// off is by how much the reader's heading of the number to hold misses the course, degrees.
func off(h *Hold, o reading.Options) float64 {
	r := Read(h.Time, *h.Number, 0, o)
	if !r.OK() {
		return math.Inf(1)
	}
	return math.Abs((*r.Heading - h.Course).Signed().Degrees())
}

func record(t testing.TB) *instrument.Record {
	t.Helper()
	r, err := recordfile.Instrument(filepath.Join("..", "..", "fixtures", "instrument", "board.toml"))
	if err != nil {
		t.Fatal(err)
	}
	return &r
}

// The number to hold, read by eye in its turn, gives the course: at the time and place of every
// picture whose truth is known, on all courses, with what is proved of an instrument and a
// stretched print and without.
func TestNumberInvertsTheReaderOnAllFixtures(t *testing.T) {
	checked := 0
	for _, folder := range []string{"demo", "independent", "skyline"} {
		data, err := os.ReadFile(filepath.Join("..", "..", "fixtures", folder, "truth.json"))
		if err != nil {
			t.Fatal(err)
		}
		var pictures []struct {
			File    string
			UTC     string
			Lat     float64
			Lon     float64
			Heading float64 `json:"heading_deg"`
		}
		if err := json.Unmarshal(data, &pictures); err != nil {
			t.Fatal(err)
		}
		for _, p := range pictures {
			o := options(spot(p.Lat, p.Lon))
			for variant := range 3 {
				switch variant {
				case 1:
					o.Instrument = record(t)
				case 2:
					o.PrintScale = &[2]float64{1.004, 0.993}
				}
				courses := []float64{p.Heading}
				for c := 0.0; c < 360; c += 15 {
					courses = append(courses, c)
				}
				for _, c := range courses {
					h := At(mustParse(t, p.UTC), angle.FromDegrees(c), 0, o)
					if !h.OK() {
						t.Fatalf("%s, course %v: %s", p.File, c, h.Reading.Message)
					}
					if miss := off(h, o); miss > 0.001 {
						t.Errorf("%s, course %v: %v off by %.5f°", p.File, c, *h.Number, miss)
					}
					checked++
				}
			}
		}
	}
	if checked < 900 {
		t.Errorf("only %d numbers checked", checked)
	}
}

// The reference suns of bearing (JPL DE405 with IAU 2006/2000A): on a plumb rod and a level
// sheet the number to hold is the course less their azimuth, as everywhere in the trade.
func TestNumberStandsByReferenceSuns(t *testing.T) {
	usable := 0
	for _, row := range testtable.Read(t, filepath.Join("..", "bearing", "testdata", "sun.csv")) {
		p := spot(row.Number(t, "lat_deg"), row.Number(t, "lon_deg_east"))
		o := options(p)
		o.Body = new(bearing.Sun)
		h := At(mustParse(t, row["utc"]), 58*angle.Degree, 0, o)
		altitude := row.Number(t, "alt_refr_saemundsson_deg")
		if h.OK() != (altitude > 2 && altitude < 80) && math.Abs(altitude-2) > 0.5 && math.Abs(altitude-80) > 0.1 {
			t.Errorf("%s: sun at %.1f°, number %v: %s", row["utc"], altitude, h.Number, h.Reading.Message)
		}
		if !h.OK() {
			continue
		}
		usable++
		want := angle.FromDegrees(58 - row.Number(t, "az_ref_deg"))
		// bearing stays within 0.0001 degree on the sky; at 80 degrees that is 0.0006 of azimuth.
		// The table's heights move the sun by less than 0.0002.
		if miss := (*h.Number - want).Signed().Abs().Degrees(); miss > 0.001 {
			t.Errorf("%s: number %v, by the reference %v", row["utc"], *h.Number, want.Bearing())
		}
	}
	if usable < 50 {
		t.Errorf("only %d suns", usable)
	}
}

// The day card's table of the same place, day and course: in each of its windows the number to
// hold is the card's within the error that the card owns up to.
func TestNumbersAreThoseOfTheDayCard(t *testing.T) {
	windows := 0
	for _, at := range []geo.Position{spot(-22.9, 22.3), spot(51.5, 7.2), spot(3, 101), spot(-77, 166)} {
		for _, day := range []daycard.Date{{Year: 2026, Month: 8, Day: 29}, {Year: 2026, Month: 12, Day: 21}} {
			card, err := daycard.New(daycard.Options{
				First: day, Days: 1, Stops: []daycard.Stop{{Position: at}}, Courses: []angle.Angle{58 * angle.Degree, 121 * angle.Degree},
				Tolerance: daycard.DefaultTolerance, Lowest: daycard.DefaultLowest, Highest: daycard.DefaultHighest,
			})
			if err != nil {
				t.Fatal(err)
			}
			o := options(at)
			for _, w := range card.Days[0].Windows {
				for _, moment := range []time.Time{w.From, w.Centre, w.Until} {
					for i, c := range card.CoursesDeg {
						h := At(moment, angle.FromDegrees(c), 0, o)
						if !h.OK() {
							t.Fatalf("%v: %s", moment, h.Reading.Message)
						}
						if miss := (*h.Number - angle.FromDegrees(w.NumbersDeg[i])).Signed().Abs().Degrees(); miss > w.GreatestErrDeg+1e-9 {
							t.Errorf("%v, course %v: number %v, the card's is %v within %v", moment, c, *h.Number, w.NumbersDeg[i], w.GreatestErrDeg)
						}
					}
				}
				windows++
			}
		}
	}
	if windows < 50 {
		t.Errorf("only %d windows", windows)
	}
}

// The number runs against the sun's azimuth: as fast as bearing's published tests say it runs.
func TestNumberRunsAsTheSunDoes(t *testing.T) {
	p := spot(-22.9, 22.3)
	o := options(p)
	for hour := 6; hour < 15; hour++ {
		at := time.Date(2026, 8, 29, hour, 0, 0, 0, time.UTC)
		sky, err := bearing.Observe(bearing.Sun, at, p, 0)
		if err != nil {
			t.Fatal(err)
		}
		before, after := At(at.Add(-time.Minute), 58*angle.Degree, 0, o), At(at.Add(time.Minute), 58*angle.Degree, 0, o)
		rate := (*after.Number - *before.Number).Signed().Degrees() * 30
		// The rate's own central difference is good to some parts in a million.
		if miss := math.Abs(rate + sky.AzimuthRate.Degrees()); miss > 1e-4*math.Abs(rate) {
			t.Errorf("%v: %.5f° an hour, the sun %.5f", at, rate, sky.AzimuthRate.Degrees())
		}
	}
}

// At any time and place, with any instrument that a proof lets pass, the number inverts the
// reader, or both refuse.
func TestNumberInvertsTheReaderAnywhere(t *testing.T) {
	known := record(t)
	held := 0
	rapid.Check(t, func(t *rapid.T) {
		degrees := func(name string, low, high float64) angle.Angle {
			return angle.FromDegrees(rapid.Float64Range(low, high).Draw(t, name))
		}
		at := time.Unix(rapid.Int64Range(1735689600, 1893455999).Draw(t, "time"), 0).UTC() // 2025 to 2029
		o := options(geo.Position{Lat: degrees("latitude", -90, 90), Lon: degrees("longitude", -180, 180)})
		if rapid.Bool().Draw(t, "proved") {
			r := *known
			r.Foot = &instrument.Foot{StarboardMM: rapid.Float64Range(-5, 5).Draw(t, "foot starboard"), ForwardMM: rapid.Float64Range(-5, 5).Draw(t, "foot forward"), SigmaMM: 0.1}
			r.Proved.Lubber = new(degrees("lubber line", -180, 180))
			r.Proved.Lean = instrument.SlopeOf(degrees("lean starboard", -4, 4), degrees("lean forward", -4, 4))
			r.Proved.Rod = instrument.SlopeOf(degrees("rod starboard", -4, 4), degrees("rod forward", -4, 4))
			o.Instrument = &r
		}
		if rapid.Bool().Draw(t, "stretched") {
			o.PrintScale = &[2]float64{rapid.Float64Range(0.95, 1.05).Draw(t, "athwart"), rapid.Float64Range(0.95, 1.05).Draw(t, "fore-and-aft")}
		}
		h := At(at, degrees("course", 0, 360), 0, o)
		if h.OK() {
			held++
			if miss := off(h, o); miss > 0.001 {
				t.Fatalf("%v: off by %v", *h.Number, miss)
			}
			return
		}
		if h.Reading.OK() || h.Reading.Message == "" {
			t.Fatalf("no number and no reason: %+v", h.Reading)
		}
		// The sheet stands off level by up to 11.4 degrees here, and a lower sun may shine on its
		// underside; a rod off plumb by 5.7 is too much only for one that is high.
		if sky := h.Reading.Sky; sky != nil && sky.Altitude > 12*angle.Degree && sky.Altitude < 70*angle.Degree {
			t.Fatalf("%s at %v: %s", sky.Body, sky.Altitude, h.Reading.Message)
		}
	})
	if held == 0 {
		t.Error("no number at all")
	}
}

// Changes come when the nearest whole number changes, one degree at a time, and none is left
// out.
func TestChangesAreWhereTheWholeNumberChanges(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	total := 0
	for range 25 {
		o := options(spot(math.Asin(2*random.Float64()-1)*180/math.Pi, random.Float64()*360-180))
		if random.IntN(2) == 0 {
			o.Instrument = record(t)
		}
		from := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(random.Float64() * float64(365*24*time.Hour)))
		s, err := New(from, angle.FromDegrees(random.Float64()*360), 0, nil, o)
		if err != nil {
			t.Fatal(err)
		}
		if !s.OK() {
			continue
		}
		now := whole(*s.Number)
		for _, c := range s.Changes {
			total++
			before, after := At(c.Time.Add(-time.Second), s.Course, 0, o), At(c.Time.Add(time.Second), s.Course, 0, o)
			if !before.OK() || !after.OK() || whole(*before.Number) != now || whole(*after.Number) != c.Number {
				t.Errorf("%v: from %d to %d, held %v then %v", c.Time, now, c.Number, before.Number, after.Number)
			}
			if step := (c.Number - now + 540) % 360; step != 179 && step != 181 {
				t.Errorf("%v: from %d to %d", c.Time, now, c.Number)
			}
			now = c.Number
		}
	}
	if total < 20 {
		t.Errorf("only %d changes", total)
	}
}

// The end is when the reader begins to refuse, and the next beginning when it ceases to.
func TestServingEndsWhereTheReaderRefuses(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	ends, begins := map[End]int{}, 0
	for range 150 {
		o := options(spot(random.Float64()*150-75, random.Float64()*360-180))
		if random.IntN(4) == 0 {
			o.Body = new(bearing.Moon)
		}
		at := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(random.Float64() * float64(365*24*time.Hour)))
		s, err := New(at, 0, 0, nil, o)
		if err != nil {
			t.Fatal(err)
		}
		// The sun's edge is good to 0.005 degree, which takes it two seconds or, aslant, ten.
		const slack = 10 * time.Second
		serves := func(t time.Time, b bearing.Body) bool {
			h := At(t, 0, 0, o)
			return h.OK() && h.Reading.Sky.Body == b
		}
		if u := s.Serving.Until; u != nil {
			ends[s.Serving.End]++
			if b := s.Reading.Sky.Body; !serves(u.Add(-slack), b) && u.Sub(at) > slack || serves(u.Add(slack), b) {
				t.Errorf("%v: the %s does not end at %v", at, b, u)
			}
		}
		if f := s.Serving.From; f != nil {
			begins++
			if b := s.Serving.Body; serves(f.Add(-slack), b) && f.Sub(at) > slack || !serves(f.Add(slack), b) {
				t.Errorf("%v: the %s does not begin at %v", at, b, f)
			}
		}
	}
	if ends[TooLow] < 20 || ends[TooHigh] == 0 || begins < 50 {
		t.Errorf("too few: %v, %d beginnings", ends, begins)
	}
}

// A sheet that stands steeply leaves the low sun before the reader does: on a course towards its
// high edge the light comes from behind.
func TestServingEndsWithTheLastNumber(t *testing.T) {
	o := options(spot(-22.9, 22.3))
	o.Instrument = record(t)
	o.Instrument.Proved.Rod = instrument.Slope{}
	o.Instrument.Proved.Lean = instrument.SlopeOf(0, 8*angle.Degree)
	cut := 0
	for c := 0.0; c < 360; c += 30 {
		s, err := New(mustParse(t, "2026-08-29T14:00:00Z"), angle.FromDegrees(c), 0, nil, o)
		if err != nil || !s.OK() {
			t.Fatal(err, s.Reading.Message)
		}
		if s.Serving.End == NoNumber {
			cut++
		}
		u := *s.Serving.Until
		if !At(u.Add(-time.Second), s.Course, 0, o).OK() || At(u.Add(time.Second), s.Course, 0, o).OK() {
			t.Errorf("course %v does not end at %v", c, u)
		}
	}
	if cut == 0 || cut == 12 {
		t.Errorf("%d courses are cut short", cut)
	}
}

// A number read by eye is turned from as the reader says, near a pole the course is given from
// grid north, and all of JSON holds.
func TestSteerSaysWhatTheReaderSays(t *testing.T) {
	at := mustParse(t, "2026-08-29T06:12:31Z")
	o := options(spot(-22.9, 22.3))
	given := 350 * angle.Degree
	s, err := New(at, 58*angle.Degree, 0, &given, o)
	if err != nil {
		t.Fatal(err)
	}
	if want := (*s.Number - given).Signed(); (*s.Given.Come - want).Abs() > 1e-9 {
		t.Errorf("turn %v, want %v", *s.Given.Come, want)
	}
	if s.Grid() != nil {
		t.Error("a grid course far from the poles")
	}
	if !s.Lasts(at.Add(time.Second)) || s.Lasts(s.Changes[0].Time) || s.Lasts(at.Add(-time.Second)) {
		t.Error("lasts too long or not at all")
	}
	next := s.Again(at.Add(time.Second), 0, o)
	if !next.Lasts(at.Add(59*time.Second)) || next.Lasts(at.Add(60*time.Second)) {
		t.Error("what lies ahead is not looked at each minute")
	}
	if (*next.Number-*s.Number).Abs() > 0.01*angle.Degree || *next.Number == *s.Number {
		t.Errorf("%v after %v", *next.Number, *s.Number)
	}
	polar, err := New(mustParse(t, "2026-06-21T06:00:00Z"), 58*angle.Degree, 0, nil, options(spot(86, 100)))
	if err != nil {
		t.Fatal(err)
	}
	// On the northern hemisphere grid = true - longitude (NGA.STND.0036).
	if g := polar.Grid(); g == nil || (g.Value-318*angle.Degree).Abs() > 1e-9 || g.Sigma >= polar.Reading.Sigma {
		t.Errorf("grid %v", polar.Grid())
	}
	for _, x := range []*Steer{s, polar} {
		var back map[string]any
		data, err := json.Marshal(x)
		if err == nil {
			err = json.Unmarshal(data, &back)
		}
		if err != nil || back["status"] != "ok" || back["course_deg"] != 58.0 || back["number_deg"] == nil {
			t.Errorf("%v\n%s", err, data)
		}
	}
}

func BenchmarkSteer(b *testing.B) {
	o := options(spot(-22.9, 22.3))
	for b.Loop() {
		if _, err := New(time.Date(2026, 8, 29, 6, 12, 31, 0, time.UTC), 1, 0, nil, o); err != nil {
			b.Fatal(err)
		}
	}
}
