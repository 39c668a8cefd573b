package export

import (
	"bytes"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"shadowread/internal/chart/charttest"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/journey"
	"shadowread/internal/workup"
)

const gpxHead = `<?xml version="1.0"?>
<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="invented">
`

func TestReadGPX(t *testing.T) {
	in := gpxHead + `<wpt lat="1" lon="2"><time>2026-03-14T06:00:00Z</time></wpt>
<trk><trkseg>
<trkpt lat="-20.5" lon="25.25"><ele>900</ele><time>2026-03-14T08:10:00+02:00</time><name> b </name></trkpt>
<trkpt lat="-20.6" lon="-180"><extensions><x:y xmlns:x="x"><time>1999</time></x:y></extensions><time>2026-03-14T06:00:00.5</time></trkpt>
<trkpt lat="-20.7" lon="25.4"></trkpt>
</trkseg></trk></gpx>`
	got, err := ReadGPX(strings.NewReader(in), "t.gpx")
	if err != nil {
		t.Fatal(err)
	}
	want := []ReceivedPoint{
		{time.Date(2026, 3, 14, 6, 0, 0, 5e8, time.UTC), charttest.At(-20.6, 180), "", 6},
		{time.Date(2026, 3, 14, 6, 10, 0, 0, time.UTC), charttest.At(-20.5, 25.25), "b", 5},
	}
	if !slices.Equal(got.Points, want) || got.Skipped != 1 {
		t.Errorf("got %+v, want %+v and 1 skipped", got, want)
	}
	only := gpxHead + `<wpt lat="1" lon="2"><time>2026-03-14T06:00:00Z</time></wpt></gpx>`
	if got, err := ReadGPX(strings.NewReader(only), "t.gpx"); err != nil || len(got.Points) != 1 {
		t.Errorf("waypoints alone: %+v, %v", got, err)
	}
}

func TestTrackErrorsSayWhere(t *testing.T) {
	point := func(attributes, inner string) string {
		return gpxHead + "<trk><trkseg>\n<trkpt " + attributes + ">" + inner + "</trkpt></trkseg></trk></gpx>"
	}
	const when = "<time>2026-03-14T06:00:00Z</time>"
	tests := []struct{ name, in, code, says string }{
		{"not XML", "hello", "no_track", "has no track"},
		{"another root", "<kml></kml>", "bad_gpx", "t line 1: this is no GPX: it begins with <kml>"},
		{"cut off", gpxHead + "<trk><trkseg>\n<trkpt lat='1' lon='2'>", "bad_gpx", "t line 4:"},
		{"latitude", point(`lat="91" lon="2"`, when), "bad_position", "t line 4: latitude"},
		{"longitude", point(`lat="1" lon="NaN"`, when), "bad_position", "t line 4:"},
		{"no longitude", point(`lat="1"`, when), "bad_position", "t line 4:"},
		{"time", point(`lat="1" lon="2"`, "<time>yesterday</time>"), "bad_time", "t line 4:"},
		{"no time", point(`lat="1" lon="2"`, ""), "no_track", "only 1 without"},
		{"empty", gpxHead + "</gpx>", "no_track", "has no track"},
	}
	for _, tt := range tests {
		t.Run("gpx "+tt.name, func(t *testing.T) {
			_, err := ReadGPX(strings.NewReader(tt.in), "t")
			checkRefusal(t, err, tt.code, tt.says)
		})
	}
	tests = []struct{ name, in, code, says string }{
		{"empty", "", "missing_column", "t line 1: the file is empty"},
		{"no rows", "time,lat,lon\n", "no_track", "has no track"},
		{"column missing", "time,latitude\n", "missing_column", "t line 1: column longitude is missing"},
		{"column twice", "time,lat,lon,latitude\n", "bad_csv", "t line 1: column latitude stands there twice"},
		{"fields", "time,lat,lon\n2026-03-14T06:00:00Z,1\n", "bad_csv", "t line 2:"},
		{"latitude", "time,lat,lon\n\n2026-03-14T06:00:00Z,x,1\n", "bad_position", "t line 3:"},
		{"no offset", "time,lat,lon\n2026-03-14T06:00:00,1,1\n", "no_utc_offset", "t line 2:"},
		{"no position", "time,lat,lon\n2026-03-14T06:00:00Z,,\n", "no_track", "only 1 without"},
	}
	for _, tt := range tests {
		t.Run("csv "+tt.name, func(t *testing.T) {
			_, err := ReadCSV(strings.NewReader(tt.in), "t", nil)
			checkRefusal(t, err, tt.code, tt.says)
		})
	}
}

func checkRefusal(t *testing.T, err error, code, says string) {
	t.Helper()
	var f *fault.Error
	if !errors.As(err, &f) || f.Code != code || !strings.Contains(err.Error(), says) || f.Hint == "" || strings.Count(err.Error(), "\n") > 0 {
		t.Errorf("got %q (%s), want %s that says %q and what to do", err, fault.Code(err), code, says)
	}
}

func TestReadCSV(t *testing.T) {
	two := 2 * time.Hour
	in := "\xef\xbb\xbf# a receiver, invented\nName, Time ,LAT,lon,speed\nx,2026-03-14T08:00:00,-1.5,2.25,7\n,2026-03-14T05:00:00Z,0,0,\n"
	got, err := ReadCSV(strings.NewReader(in), "t.csv", &two)
	if err != nil {
		t.Fatal(err)
	}
	want := []ReceivedPoint{
		{time.Date(2026, 3, 14, 5, 0, 0, 0, time.UTC), charttest.At(0, 0), "", 4},
		{time.Date(2026, 3, 14, 6, 0, 0, 0, time.UTC), charttest.At(-1.5, 2.25), "x", 3},
	}
	if !slices.Equal(got.Points, want) {
		t.Errorf("got %+v, want %+v", got.Points, want)
	}
	in = "# a receiver, invented\n\nName; Time ;LAT;lon;speed\nx;2026-03-14T08:00:00;-1,5;2,25;7\n;;;;\n;2026-03-14T05:00:00Z;0;0;\n"
	if got, err = ReadCSV(strings.NewReader(in), "t.csv", &two); err != nil {
		t.Fatal(err)
	}
	want[0].Line, want[1].Line = 6, 4
	if !slices.Equal(got.Points, want) || got.Skipped != 0 {
		t.Errorf("by semicolons %+v, want %+v", got, want)
	}
}

func TestReceiverBetweenItsPoints(t *testing.T) {
	at := func(minutes int) time.Time { return charttest.Departure.Add(time.Duration(minutes) * time.Minute) }
	r := &Received{Points: []ReceivedPoint{{Time: at(0), Position: charttest.At(0, 179.9)}, {Time: at(10), Position: charttest.At(0, -179.9)}, {Time: at(60), Position: charttest.At(1, -179)}}}
	tests := []struct {
		minutes int
		want    geo.Position
		ok      bool
	}{
		{-1, geo.Position{}, false}, {0, charttest.At(0, 179.9), true}, {5, charttest.At(0, 180), true}, {10, charttest.At(0, -179.9), true},
		{30, geo.Position{}, false}, {61, geo.Position{}, false},
	}
	for _, tt := range tests {
		got, ok := r.At(at(tt.minutes), 15*time.Minute)
		if ok != tt.ok || ok && charttest.Apart(t, got, tt.want) > 0.01 { // m
			t.Errorf("minute %d: %v, %v", tt.minutes, got, ok)
		}
	}
}

// A receiver that was 300 m north and 400 m east of the estimate: 500 m on 053.1 degrees,
// and with a sigma of 200 m per axis 2.5 sigmas.
func TestCompare(t *testing.T) {
	from := charttest.At(-20.6, 25.4)
	there := journey.Offset(from, workup.Offset{North: 300, East: 400})
	j := &journey.Journey{Points: []journey.Point{
		{Entry: 1, Time: charttest.Departure},
		{Entry: 2, Leg: 1, Time: charttest.Departure.Add(time.Hour), At: &workup.Point{Estimated: from, Adjusted: there, Cov: workup.Circle(200), AdjustedCov: workup.Circle(10)}},
	}}
	r := &Received{Points: []ReceivedPoint{{Time: charttest.Departure.Add(time.Hour), Position: there}}}
	got, err := Compare(j, r, time.Minute)
	if err != nil || len(got) != 1 {
		t.Fatal(got, err)
	}
	e := got[0].Estimated
	if math.Abs(float64(e.Distance)-500) > 0.01 || math.Abs(e.Bearing.Degrees()-53.130) > 0.01 || math.Abs(e.Sigmas-2.5) > 1e-4 || got[0].Adjusted.Distance > 0.01 {
		t.Errorf("got %+v", got[0])
	}
	if _, err := Compare(j, &Received{Points: []ReceivedPoint{{Time: charttest.Departure, Position: there}}}, time.Minute); fault.Code(err) != "no_common_time" {
		t.Error(err)
	}
}

func FuzzReadGPX(f *testing.F) {
	f.Add([]byte(gpxHead + `<trk><trkseg><trkpt lat="1" lon="2"><time>2026-03-14T06:00:00Z</time></trkpt></trkseg></trk></gpx>`))
	f.Add([]byte(gpxHead + `<wpt lat="1e2" lon=""/></gpx>`))
	f.Add([]byte(`<?xml version="1.0" encoding="latin1"?><gpx><trkpt lat="1" lon="2"><trkpt/></trkpt></gpx>`))
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := ReadGPX(bytes.NewReader(data), "f.gpx")
		checkReceived(t, r, err)
	})
}

func FuzzReadCSV(f *testing.F) {
	f.Add([]byte("time,lat,lon\n2026-03-14T06:00:00Z,1,2\n"))
	f.Add([]byte("time,latitude,longitude,name\n\"2026-03-14T06:00:00Z\",-90,-180,\"a\n\"\n,,,\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := ReadCSV(bytes.NewReader(data), "f.csv", nil)
		checkReceived(t, r, err)
	})
}

// checkReceived: one clear error, or positions on the earth in the order of time.
func checkReceived(t *testing.T, r *Received, err error) {
	if err != nil {
		var f *fault.Error
		if !errors.As(err, &f) || f.Hint == "" {
			t.Fatalf("unclear error %v", err)
		}
		return
	}
	for i, p := range r.Points {
		if err := p.Position.Validate(); err != nil || p.Line < 1 || i > 0 && p.Time.Before(r.Points[i-1].Time) {
			t.Fatalf("point %d: %+v, %v", i, p, err)
		}
	}
}
