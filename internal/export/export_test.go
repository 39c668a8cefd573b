package export

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/geojson"
	"github.com/paulmach/orb/planar"
	"github.com/twpayne/go-gpx"

	"shadowread/internal/angle"
	"shadowread/internal/chart/charttest"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/journey"
	"shadowread/internal/logbook"
	"shadowread/internal/workup"
)

// made are the journeys, which the tests only read: a log takes a while to write.
var made map[string]*journey.Journey

// journeys are invented ones: two days, fixes used and not; over the date line; lost on
// the way; and one that stands on the 180th meridian.
func journeys(t testing.TB) map[string]*journey.Journey {
	t.Helper()
	if made == nil {
		pan := charttest.SaltPan(t).Work()
		lost := journey.FromTrack(pan)
		lost.Points[3].At, lost.Points[4].At, lost.Points[5].Begins = nil, nil, true
		made = map[string]*journey.Journey{
			"salt pan":  journey.FromTrack(pan),
			"date line": journey.FromTrack(charttest.DateLine(t).Work()),
			"lost":      lost,
			"on 180":    journey.FromTrack(charttest.New(t, charttest.At(-17, 180), 30, workup.Land()).Work()),
		}
	}
	return made
}

func write(t testing.TB, f Format, j *journey.Journey, name string) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, f, j, name); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// A note cannot drive the terminal that a file of any format is shown on: controls of ECMA-48 in 7
// and 8 bits are escaped in JSON, and replaced elsewhere.
func TestControlsInNotes(t *testing.T) {
	pan := *journeys(t)["salt pan"]
	pan.Points = slices.Clone(pan.Points)
	pan.Points[1].Note = "reeds\x1b[2J\x07\u009b1m\x7f,\nthen water"
	for f := range writers {
		out := string(write(t, f, &pan, "pan\x1b]0;x\u009c"))
		if !strings.Contains(out, "reeds") || !strings.Contains(out, "then water") {
			t.Errorf("%s has no such note", f)
		}
		if i := strings.IndexFunc(out, func(r rune) bool { return unicode.IsControl(r) && r != '\n' && r != '\t' }); i >= 0 {
			t.Errorf("%s has a control: %q", f, out[i-min(i, 20):i+10])
		}
	}
	if out := string(write(t, GeoJSON, &pan, "")); !strings.Contains(out, `reeds\u001b[2J\u0007\u009b1m\u007f,\nthen`) {
		t.Error("GeoJSON does not give the note back")
	}
}

func TestSameBytesEachTime(t *testing.T) {
	for name, j := range journeys(t) {
		for f := range writers {
			if !bytes.Equal(write(t, f, j, name), write(t, f, j, name)) {
				t.Errorf("%s, %s: two runs differ", name, f)
			}
		}
	}
}

// validGPX holds a file to GPX 1.1: to its schema (testdata/gpx11.xsd), by xmllint, and
// all times to UTC, which the schema says in words only.
func validGPX(t *testing.T, data []byte) error {
	t.Helper()
	path := filepath.Join(t.TempDir(), "track.gpx")
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("xmllint", "--noout", "--nonet", "--schema", filepath.Join("testdata", "gpx11.xsd"), path).CombinedOutput(); err != nil {
		return fmt.Errorf("%w: %s", err, out)
	}
	for _, m := range regexp.MustCompile("<time>([^<]*)</time>").FindAllSubmatch(data, -1) {
		if !bytes.HasSuffix(m[1], []byte("Z")) {
			return fmt.Errorf("the time %s is not in UTC", m[1])
		}
	}
	return nil
}

func TestGPXKeepsToItsSchema(t *testing.T) {
	if _, err := exec.LookPath("xmllint"); err != nil { // of libxml2-utils
		t.Skip("no xmllint: GPX is not held to its schema")
	}
	for name, j := range journeys(t) {
		if err := validGPX(t, write(t, GPX, j, `<"&'>`+"\x01"+name)); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	// The check itself must see what is wrong.
	good := string(write(t, GPX, journeys(t)["salt pan"], "x"))
	for _, broken := range [][2]string{
		{`version="1.1"`, `version="1.0"`},
		{`lon="25.`, `lon="185.`},
		{"<trkseg>", "<trkseg><name>x</name>"},
		{"Z</time>", "+02:00</time>"},
		{"<name>leg 1</name>", "<desc>x</desc><name>leg 1</name>"},
	} {
		bad := strings.Replace(good, broken[0], broken[1], 1)
		if bad == good || validGPX(t, []byte(bad)) == nil {
			t.Errorf("%q passes for GPX", broken[1])
		}
	}
}

func TestGPXRoundTrip(t *testing.T) {
	for name, j := range journeys(t) {
		t.Run(name, func(t *testing.T) {
			data := write(t, GPX, j, name)
			got, err := ReadGPX(bytes.NewReader(data), "x.gpx")
			if err != nil {
				t.Fatal(err)
			}
			i, via := 0, 0
			for _, p := range j.Points {
				if p.At == nil {
					continue
				}
				via += len(p.Via)
				if i >= len(got.Points) {
					t.Fatalf("only %d points", len(got.Points))
				}
				q := got.Points[i]
				i++
				if !q.Time.Equal(p.Time) {
					t.Errorf("entry %d: time %v, want %v", p.Entry, q.Time, p.Time)
				}
				// Seven decimals are 0.6 cm at the most of each coordinate.
				if d := charttest.Apart(t, q.Position, p.At.Adjusted); d > 0.01 {
					t.Errorf("entry %d: %v m off", p.Entry, d)
				}
			}
			if i != len(got.Points) || got.Skipped != via {
				t.Errorf("%d points and %d skipped, want %d and %d", len(got.Points), got.Skipped, i, via)
			}
			// The library's reader sees the same track.
			g, err := gpx.Read(bytes.NewReader(data))
			if err != nil {
				t.Fatal(err)
			}
			n := 0
			for _, s := range g.Trk[0].TrkSeg {
				n += len(s.TrkPt)
			}
			if n != i+via {
				t.Errorf("the library reads %d points, want %d", n, i+via)
			}
		})
	}
}

// The example of RFC 7946, 3.1.9.
func TestLinesAreCutAsInTheStandard(t *testing.T) {
	tests := []struct {
		name  string
		track []geo.Position
		want  orb.Geometry
	}{
		{"the standard's example", []geo.Position{charttest.At(45, 170), charttest.At(45, -170)},
			orb.MultiLineString{{{170, 45}, {180, 45}}, {{-180, 45}, {-170, 45}}}},
		{"westwards", []geo.Position{charttest.At(0, -170), charttest.At(10, 170)},
			orb.MultiLineString{{{180, 5}, {170, 10}}, {{-170, 0}, {-180, 5}}}},
		{"not across", []geo.Position{charttest.At(0, 10), charttest.At(1, -10)}, orb.LineString{{10, 0}, {-10, 1}}},
		{"up to it and back", []geo.Position{charttest.At(0, 179), charttest.At(1, 180), charttest.At(2, 179)}, orb.LineString{{179, 0}, {180, 1}, {179, 2}}},
		{"from it eastwards", []geo.Position{charttest.At(0, 180), charttest.At(1, -179)}, orb.LineString{{-180, 0}, {-179, 1}}},
		{"nowhere", []geo.Position{charttest.At(0, 180)}, nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := lines(tt.track)
			if m, ok := got.(orb.MultiLineString); ok {
				slices.SortFunc(m, func(a, b orb.LineString) int {
					return strings.Compare(fmt.Sprint(b[0][0] > 0), fmt.Sprint(a[0][0] > 0))
				})
			}
			if !reflect.DeepEqual(got, tt.want) {
				t.Errorf("got %v, want %v", got, tt.want)
			}
		})
	}
}

// An ellipse across the 180th meridian covers in two parts what the same ellipse covers in
// one elsewhere on its parallel.
func TestEllipsesAreCutWithoutLoss(t *testing.T) {
	e := workup.Ellipse{Major: 5000, Minor: 1500, Bearing: 70 * angle.Degree}
	for _, lat := range []float64{0, -45, 84} {
		whole, ok := area(charttest.At(lat, 20), e).(orb.Polygon)
		if !ok {
			t.Fatalf("latitude %v: cut where there is nothing to cut", lat)
		}
		for _, lon := range []float64{179.99, 180, -179.985} {
			parts, ok := area(charttest.At(lat, lon), e).(orb.MultiPolygon)
			if !ok || len(parts) != 2 {
				t.Fatalf("latitude %v, longitude %v: not cut", lat, lon)
			}
			for _, p := range parts {
				if b := p.Bound(); b.Min[0] < -180 || b.Max[0] > 180 || b.Max[0]-b.Min[0] > 5 {
					t.Errorf("latitude %v, longitude %v: a part goes from %v to %v", lat, lon, b.Min[0], b.Max[0])
				}
				if p[0].Orientation() != orb.CCW || p[0][0] != p[0][len(p[0])-1] {
					t.Errorf("latitude %v, longitude %v: a ring is not closed counterclockwise (RFC 7946, 3.1.6)", lat, lon)
				}
			}
			// Coordinates are rounded to 1e-7 degree.
			if got, want := planar.Area(parts), planar.Area(whole); math.Abs(got-want) > 1e-4*want {
				t.Errorf("latitude %v, longitude %v: area %v, want %v", lat, lon, got, want)
			}
		}
	}
}

func TestGeoJSONKeepsToTheStandard(t *testing.T) {
	for name, j := range journeys(t) {
		t.Run(name, func(t *testing.T) {
			c, err := geojson.UnmarshalFeatureCollection(write(t, GeoJSON, j, name))
			if err != nil {
				t.Fatal(err)
			}
			count := map[string]int{}
			for _, f := range c.Features {
				kind, _ := f.Properties["kind"].(string)
				count[kind]++
				b := f.Geometry.Bound()
				if b.Min[0] < -180 || b.Max[0] > 180 || b.Min[1] < -90 || b.Max[1] > 90 {
					t.Errorf("%s outside the earth: %v", kind, b)
				}
				if kind == "track" {
					eachLine(f.Geometry, func(l orb.LineString) {
						for i := 1; i < len(l); i++ {
							if math.Abs(l[i][0]-l[i-1][0]) > 180 {
								t.Errorf("a track jumps from %v to %v", l[i-1], l[i])
							}
						}
					})
				}
			}
			known := 0
			for _, p := range j.Points {
				if p.At != nil {
					known++
				}
			}
			if count["entry"] != known || count["fix"] != j.Fixes {
				t.Errorf("features: %v, want %d entries and %d fixes", count, known, j.Fixes)
			}
			var root map[string]any
			if err := json.Unmarshal(write(t, GeoJSON, j, name), &root); err != nil || root["crs"] != nil || root["type"] != "FeatureCollection" {
				t.Errorf("%v, %v", err, root["type"]) // RFC 7946, 4: no crs
			}
		})
	}
}

func eachLine(g orb.Geometry, do func(orb.LineString)) {
	switch g := g.(type) {
	case orb.LineString:
		do(g)
	case orb.MultiLineString:
		for _, l := range g {
			do(l)
		}
	}
}

// Elements of KML 2.2 in the order of OGC 07-147r2's schema, as far as they are used.
func TestKMLElementsStandInOrder(t *testing.T) {
	order := map[string]string{
		"Document":  "name description Style Folder",
		"Folder":    "name Placemark",
		"Placemark": "name description TimeStamp styleUrl Point LineString Polygon MultiGeometry",
		"Style":     "LineStyle PolyStyle", "LineString": "tessellate coordinates", "Polygon": "tessellate outerBoundaryIs",
	}
	for name, j := range journeys(t) {
		d := xml.NewDecoder(bytes.NewReader(write(t, KML, j, "<&>\x02"+name)))
		type open struct {
			name string
			at   int
		}
		var stack []open
		placemarks := 0
		for {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
			switch e := token.(type) {
			case xml.EndElement:
				stack = stack[:len(stack)-1]
			case xml.StartElement:
				if e.Name.Space != "http://www.opengis.net/kml/2.2" {
					t.Fatalf("<%s> is in the namespace %q", e.Name.Local, e.Name.Space)
				}
				if e.Name.Local == "Placemark" {
					placemarks++
				}
				if n := len(stack); n > 0 && order[stack[n-1].name] != "" {
					at := slices.Index(strings.Fields(order[stack[n-1].name]), e.Name.Local)
					if at < stack[n-1].at || at < 0 {
						t.Errorf("%s: <%s> in <%s> is out of place", name, e.Name.Local, stack[n-1].name)
					}
					stack[n-1].at = at
				}
				stack = append(stack, open{e.Name.Local, 0})
			}
		}
		if placemarks < len(j.Points) {
			t.Errorf("%s: %d placemarks for %d points", name, placemarks, len(j.Points))
		}
	}
}

func TestCSVRoundTrip(t *testing.T) {
	for name, j := range journeys(t) {
		data := write(t, CSV, j, name)
		rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll() // RFC 4180: as many fields in each
		if err != nil {
			t.Fatal(err)
		}
		if len(rows) != len(j.Points)+1 {
			t.Errorf("%s: %d rows for %d points", name, len(rows), len(j.Points))
		}
		got, err := ReadCSV(bytes.NewReader(data), "x.csv", nil)
		if err != nil {
			t.Fatal(err)
		}
		i := 0
		for k, p := range j.Points {
			if note := rows[k+1][len(rows[0])-1]; note != p.Note {
				t.Errorf("%s: note %q, want %q", name, note, p.Note)
			}
			if p.At == nil {
				continue
			}
			if q := got.Points[i]; !q.Time.Equal(p.Time) || charttest.Apart(t, q.Position, p.At.Adjusted) > 0.01 { // m, 7 decimals
				t.Errorf("%s, entry %d: %v", name, p.Entry, q)
			}
			i++
		}
		if got.Skipped != len(j.Points)-i {
			t.Errorf("%s: %d skipped, want %d", name, got.Skipped, len(j.Points)-i)
		}
	}
}

func TestNothingToWrite(t *testing.T) {
	j := &journey.Journey{Points: []journey.Point{{Entry: 1, Kind: logbook.KindDeparture}}}
	for f := range writers {
		if err := Write(io.Discard, f, j, ""); fault.Code(err) != "nothing_to_write" {
			t.Errorf("%s: %v", f, err)
		}
	}
	if err := Write(io.Discard, "shp", j, ""); fault.Code(err) != "bad_format" {
		t.Error(err)
	}
	if f, err := ParseFormat(".GeoJSON"); f != GeoJSON || err != nil {
		t.Error(f, err)
	}
}
