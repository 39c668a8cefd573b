package chart

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"image/png"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/chart/charttest"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/journey"
	"shadowread/internal/logbook"
	"shadowread/internal/workup"
)

// The defining property of the azimuthal equidistant projection (Snyder, USGS
// Professional Paper 1395, chapter 25). A meridian is both a rhumb line and a geodesic,
// so that package geo's rhumb lines, checked elsewhere against RhumbSolve, say where a
// way along it ends.
func TestProjectionKeepsDistanceAndDirectionFromTheMiddle(t *testing.T) {
	tests := []struct {
		name     string
		middle   geo.Position
		course   float64 // along the meridian
		distance geo.Metres
	}{
		{"middle latitude, north", charttest.At(-20.6, 25.4), 0, 300_000},
		{"middle latitude, south", charttest.At(-20.6, 25.4), 180, 300_000},
		{"next to the pole", charttest.At(88.5, 179.9), 0, 100_000},
		{"on the date line", charttest.At(66, 180), 180, 50_000},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			to, err := geo.RhumbDirect(tt.middle, angle.FromDegrees(tt.course), tt.distance)
			if err != nil {
				t.Fatal(err)
			}
			p := projection{tt.middle}
			got := p.project(to)
			want := plane{0, float64(tt.distance) * math.Cos(tt.course*math.Pi/180)}
			// A centimetre: both are exact to less.
			if math.Hypot(got.east-want.east, got.north-want.north) > 0.01 {
				t.Errorf("%v is at %+v, want %+v", to, got, want)
			}
			back := p.position(got)
			if d := charttest.Apart(t, back, to); d > 0.01 {
				t.Errorf("back is %v m off", d)
			}
		})
	}
}

// journey is a journey of positions that are known as given, one entry each.
func straight(cov workup.Cov, positions ...geo.Position) *journey.Journey {
	j := &journey.Journey{Number: 1}
	for i, p := range positions {
		j.Points = append(j.Points, journey.Point{
			Entry: i + 1, Kind: logbook.KindHalt, Begins: i == 0,
			At: &workup.Point{Estimated: p, Adjusted: p, Proportional: p, Cov: cov, AdjustedCov: cov},
		})
	}
	return j
}

// The ellipse's axes by hand: 95 % of a bivariate normal lie within sqrt(5.991) sigma
// (NIST/SEMATECH e-Handbook, 1.3.6.7.4); along 30 degrees with 3000 m and across with
// 1000 m. On the chart they are that many metres over the scale.
func TestEllipseHoldsItsSemiAxesInChartUnits(t *testing.T) {
	const along, across, bearing = 3000.0, 1000.0, 30 * angle.Degree
	s, c := bearing.Sin(), bearing.Cos()
	cov := workup.Cov{
		NN: along*along*c*c + across*across*s*s,
		NE: (along*along - across*across) * s * c,
		EE: along*along*s*s + across*across*c*c,
	}
	for _, p := range []geo.Position{charttest.At(-20.6, 25.4), charttest.At(84, 179.99), charttest.At(89, -120), charttest.At(0, 180)} {
		t.Run(p.String(), func(t *testing.T) {
			drawn, err := Draw(straight(cov, p), "")
			if err != nil {
				t.Fatal(err)
			}
			var ellipse []XY
			for _, item := range drawn.Items {
				if s, ok := item.(Stroke); ok && s.WidthMM == ellipseLine && len(s.Points) > 60 {
					ellipse = s.Points
					break
				}
			}
			if ellipse == nil {
				t.Fatal("no ellipse")
			}
			middle := XY{(drawn.frame.left + drawn.frame.right) / 2, (drawn.frame.top + drawn.frame.bottom) / 2}
			longest, shortest := 0.0, math.Inf(1)
			var end XY
			for _, q := range ellipse {
				d := distance(q, middle)
				if d > longest {
					longest, end = d, q
				}
				shortest = min(shortest, d)
			}
			k := math.Sqrt(5.991) * 1000 / drawn.ScaleDenominator // mm per metre of sigma
			// 0.05 mm, half a hairline. The corners of a polygon of 72 lie on the ellipse.
			const tolerance = 0.05
			if math.Abs(longest-along*k) > tolerance || math.Abs(shortest-across*k) > tolerance {
				t.Errorf("semi-axes %.3f and %.3f mm, want %.3f and %.3f", longest, shortest, along*k, across*k)
			}
			// Half a degree: 0.1 mm at the end of the axis.
			if d := angle.Asin((angle.Atan2(end.X-middle.X, middle.Y-end.Y) - bearing).Sin()); d.Abs() > 0.5*angle.Degree {
				t.Errorf("the long axis is turned by %v", d)
			}
		})
	}
}

// What is 10 km apart is 10 km apart on the chart, by its scale, whichever way and
// wherever: the 180th meridian between them, or next to a pole.
func TestScaleAndFrame(t *testing.T) {
	for _, from := range []geo.Position{charttest.At(-20, 25), charttest.At(65, 179.95), charttest.At(88.9, -179.9), charttest.At(-0.01, 0)} {
		to, err := geo.RhumbDirect(from, 90*angle.Degree, 10*geo.Kilometre)
		if err != nil {
			t.Fatal(err)
		}
		c, err := Draw(straight(workup.Circle(50), from, to), "")
		if err != nil {
			t.Fatal(err)
		}
		d := drawing{Chart: c, perMM: c.ScaleDenominator / 1000}
		a, b := d.on(from), d.on(to)
		// The chord of the parallel, not its arc, and the stretch across the radius: 1 m.
		if got, want := distance(a, b)*c.ScaleDenominator/1000, float64(charttest.Apart(t, from, to)); math.Abs(got-want) > 1 {
			t.Errorf("%v: %.1f m on the chart, %.1f on the ground", from, got, want)
		}
		if !c.frame.has(a) || !c.frame.has(b) {
			t.Errorf("%v: the track leaves the frame", from)
		}
		for _, item := range c.Items {
			w, ok := item.(Words)
			if !ok {
				continue
			}
			length := w.SizeMM * widthOf(w.Text)
			if left := w.At.X - w.Align*length; left < 0 || left+length > c.WidthMM || w.At.Y < w.SizeMM || w.At.Y > c.HeightMM {
				t.Errorf("%v: %q stands outside the page", from, w.Text)
			}
		}
	}
}

// A line of the graticule that is labelled must go where its label says.
func TestGraticuleLabels(t *testing.T) {
	for _, middle := range []geo.Position{charttest.At(-20.55, 25.5), charttest.At(84.2, 179.8), charttest.At(0.01, -0.01), charttest.At(89.4, 30)} {
		j := straight(workup.Circle(2000), middle)
		c, err := Draw(j, "")
		if err != nil {
			t.Fatal(err)
		}
		d := drawing{Chart: c, perMM: c.ScaleDenominator / 1000}
		seen := 0
		for _, item := range c.Items {
			w, ok := item.(Words)
			if !ok || !strings.Contains(w.Text, "°") || strings.Contains(w.Text, "WGS84") {
				continue
			}
			seen++
			// The label stands a little off the frame: take the nearest point on it.
			q := XY{min(max(w.At.X, c.frame.left), c.frame.right), min(max(w.At.Y-0.36*small, c.frame.top), c.frame.bottom)}
			p := d.projection.position(d.offChart(q))
			value, isLat := parseLabel(t, w.Text)
			got := p.Lon
			perDegree := math.Cos(p.Lat.Radians()) * 111_320
			if isLat {
				got, perDegree = p.Lat, 111_320
			}
			// A label without a letter, 0 or 180, may be either; look at both.
			off := math.Abs((got - angle.FromDegrees(value)).Signed().Degrees()) * perDegree / d.perMM
			if !strings.ContainsAny(w.Text, "NSEW") {
				off = min(off, math.Abs(p.Lat.Degrees()-value)*111_320/d.perMM)
			}
			if off > 0.7 { // mm; rounding to the frame moves the point along slanting lines
				t.Errorf("%v: %q stands %.2f mm from its line", middle, w.Text, off)
			}
		}
		if seen < 4 {
			t.Errorf("%v: only %d labels", middle, seen)
		}
	}
}

func parseLabel(t *testing.T, text string) (degrees float64, latitude bool) {
	t.Helper()
	var d, m, s int
	number, letter, _ := strings.Cut(text, " ")
	if n, _ := fmt.Sscanf(strings.NewReplacer("°", " ", "'", " ", `"`, " ").Replace(number), "%d %d %d", &d, &m, &s); n == 0 {
		t.Fatalf("label %q", text)
	}
	degrees = float64(d) + float64(m)/60 + float64(s)/3600
	if letter == "S" || letter == "W" {
		degrees = -degrees
	}
	return degrees, letter == "N" || letter == "S"
}

// After the last fix nothing is adjusted any more, so that the adjusted position there
// is where the filter itself went on: the whole filter against two lines here.
func TestResumedIsWhereTheFilterGoesOn(t *testing.T) {
	for _, sigma := range []geo.Metres{15, 300, 1000} {
		b := charttest.New(t, charttest.At(-20.6142, 25.431), 200, workup.Land())
		b.Photo("a.jpg", 40, 35)
		b.Go(30)
		b.Photo("b.jpg", 100, 45)
		b.Go(20)
		b.Fixed(charttest.At(-20.44, 25.80), sigma, "receiver", "")
		track := b.Work()
		j := journey.FromTrack(track)
		p := j.Points[len(j.Points)-1]
		if d := charttest.Apart(t, p.Fix.Resumed, p.At.Adjusted); d > 0.5 { // m; the filter works on its own linear axes
			t.Errorf("fix of %v m: %.2f m from where the filter goes on", sigma, d)
		}
		if moved := charttest.Apart(t, p.At.Estimated, p.At.Adjusted); moved < 100 {
			t.Errorf("fix of %v m moved the estimate by %.0f m only: no test", sigma, moved)
		}
	}
}

func TestJourneyFromTheLog(t *testing.T) {
	j := journey.FromTrack(charttest.SaltPan(t).Work())
	if len(j.Legs) != 10 || j.Fixes != 3 {
		t.Fatalf("%d legs and %d fixes, want 10 and 3", len(j.Legs), j.Fixes)
	}
	for i, leg := range j.Legs[1:] {
		if before := j.Legs[i]; before.To != leg.From || leg.Number != before.Number+1 {
			t.Errorf("leg %d does not go on from leg %d", leg.Number, before.Number)
		}
	}
	// Two fixes were used: three pieces as estimated, one as adjusted.
	if e, a := j.Estimated(), j.Adjusted(); len(e) != 3 || len(a) != 1 {
		t.Errorf("%d and %d pieces, want 3 and 1", len(e), len(a))
	}
	var used []bool
	for _, p := range j.Points {
		if p.Fix != nil {
			used = append(used, p.Fix.Used())
		}
	}
	if fmt.Sprint(used) != "[true false true]" {
		t.Errorf("fixes used: %v", used)
	}
}

func TestSVGIsWellFormedAndEscapes(t *testing.T) {
	c, err := Draw(journey.FromTrack(charttest.SaltPan(t).Work()), `<script>alert("&")</script>`)
	if err != nil {
		t.Fatal(err)
	}
	var b, again bytes.Buffer
	if err := errors.Join(c.WriteSVG(&b), c.WriteSVG(&again)); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(b.Bytes(), again.Bytes()) {
		t.Error("two runs differ")
	}
	d := xml.NewDecoder(&b)
	elements := map[string]int{}
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if e, ok := token.(xml.StartElement); ok {
			elements[e.Name.Local]++
			for _, a := range e.Attr {
				if strings.Contains(a.Value, "NaN") || strings.Contains(a.Value, "Inf") {
					t.Errorf("%s=%q", a.Name.Local, a.Value)
				}
			}
		}
	}
	if elements["script"] != 0 || elements["path"] == 0 || elements["text"] == 0 || elements["svg"] != 1 {
		t.Errorf("elements: %v", elements)
	}
}

// The picture has the chart's ink where the chart has it: the middle of the departure's
// sign is white, its edge black, and the adjusted track is black half-way along leg 1.
func TestPNGShowsTheChart(t *testing.T) {
	j := straight(workup.Circle(20), charttest.At(10, 20), charttest.At(10.1, 20.15))
	c, err := Draw(j, "")
	if err != nil {
		t.Fatal(err)
	}
	for _, dots := range []float64{4, DefaultDotsPerMM} {
		var b bytes.Buffer
		if err := c.WritePNG(&b, dots); err != nil {
			t.Fatal(err)
		}
		picture, err := png.Decode(&b)
		if err != nil {
			t.Fatal(err)
		}
		if got, want := picture.Bounds().Dx(), int(math.Round(c.WidthMM*dots)); got != want {
			t.Errorf("%d dots wide, want %d", got, want)
		}
		level := func(p XY) uint32 {
			r, _, _, _ := picture.At(int(p.X*dots), int(p.Y*dots)).RGBA()
			return r >> 8
		}
		d := drawing{Chart: c, perMM: c.ScaleDenominator / 1000}
		from, to := d.on(charttest.At(10, 20)), d.on(charttest.At(10.1, 20.15))
		if v := level(XY{from.X - 0.7, from.Y + 0.7}); v < 250 {
			t.Errorf("%v dots/mm: the sign is filled (%d)", dots, v)
		}
		if v := level(between(from, to, 0.5)); v > 60 {
			t.Errorf("%v dots/mm: the track is not black (%d)", dots, v)
		}
	}
	for _, dots := range []float64{0, 1, 100, math.NaN(), math.Inf(1)} {
		if err := c.WritePNG(io.Discard, dots); fault.Code(err) != "bad_resolution" {
			t.Errorf("%v dots/mm: %v", dots, err)
		}
	}
}

// Wherever the first leg goes, and wherever on the grid of free places the departure
// falls, its label's white ground leaves the track alone.
func TestLabelsStayOffTheTrack(t *testing.T) {
	for course := range 36 {
		from := charttest.At(-20, 25)
		to, err := geo.RhumbDirect(from, angle.FromDegrees(float64(10*course)), geo.Metres(9000+130*course))
		if err != nil {
			t.Fatal(err)
		}
		c, err := Draw(straight(workup.Circle(50), from, to), "")
		if err != nil {
			t.Fatal(err)
		}
		var track, ground []XY
		for i, item := range c.Items {
			switch it := item.(type) {
			case Stroke:
				if it.WidthMM == trackLine && len(track) == 0 {
					track = it.Points
				}
			case Words:
				if it.Text == "departure" && len(ground) == 0 {
					ground = c.Items[i-1].(Area).Points
				}
			}
		}
		label := rect{ground[0].X, ground[0].Y, ground[2].X, ground[2].Y}
		for i := 1; i < len(track); i++ {
			if _, _, crosses := label.clip(track[i-1], track[i]); crosses {
				t.Errorf("on %d degrees the label covers the track", 10*course)
				break
			}
		}
	}
}

func TestNothingToDraw(t *testing.T) {
	j := &journey.Journey{Number: 1, Points: []journey.Point{{Entry: 1, Kind: logbook.KindDeparture}}}
	if _, err := Draw(j, ""); fault.Code(err) != "nothing_to_draw" {
		t.Error(err)
	}
}

// Dashes add up: the ink is that share of the line which the pattern says.
func TestDashesKeepTheirShare(t *testing.T) {
	line := []XY{{0, 0}, {30, 40}, {30, 90}, {30, 90}, {80, 90}}
	ink := 0.0
	for _, part := range dashes(line, []float64{1.6, 0.8}, 2) {
		for i := 1; i < len(part); i++ {
			ink += distance(part[i-1], part[i])
		}
	}
	// 150 is 31 patterns of 4.8 and 1.2 of ink: 31 x 3.2 + 1.2.
	if want := 100.4; math.Abs(ink-want) > 1e-6 {
		t.Errorf("%v of ink, want %v", ink, want)
	}
}

func TestRoundScaleIsNotSmaller(t *testing.T) {
	for n := 1.0; n < 1e8; n *= 1.13 {
		s := roundScale(n)
		if s < n*(1-1e-6) || s > 1.7*n {
			t.Errorf("scale for %v is %v", n, s)
		}
		if text := strconv.FormatFloat(s, 'f', -1, 64); len(strings.TrimRight(text, "0")) > 3 {
			t.Errorf("%s is not round", text)
		}
	}
}

func BenchmarkDraw10000(b *testing.B) {
	positions := []geo.Position{charttest.At(-20, 25)}
	for i := range 10_000 {
		p, err := geo.RhumbDirect(positions[i], angle.FromDegrees(float64(i*37%360)), 3*geo.Kilometre)
		if err != nil {
			b.Fatal(err)
		}
		positions = append(positions, p)
	}
	j := straight(workup.Circle(300), positions...)
	for b.Loop() {
		if _, err := Draw(j, ""); err != nil {
			b.Fatal(err)
		}
	}
}

// Uncertainties larger than the earth, as after days without a heading, still make a
// chart: nothing hangs, and every number is one.
func TestHugeEllipses(t *testing.T) {
	for _, sigma := range []geo.Metres{1e5, 1e6, 5e6, 2e7} {
		c, err := Draw(straight(workup.Circle(sigma), charttest.At(-20, 25), charttest.At(70, 179)), "")
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := errors.Join(c.WriteSVG(&b), c.WritePNG(io.Discard, 2)); err != nil {
			t.Fatal(err)
		}
		if s := b.String(); strings.Contains(s, "NaN") || strings.Contains(s, "Inf") {
			t.Errorf("sigma %v m: no number", sigma)
		}
	}
}
