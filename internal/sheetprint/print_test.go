package sheetprint

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"encoding/xml"
	"fmt"
	"hash/crc32"
	"image"
	"image/draw"
	"image/png"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"shadowread/internal/paper"
	"shadowread/internal/sheet"
	"shadowread/internal/testtable"
)

// The page is measured as printed: pictures of it, drawn by programs of others
// where they are installed (poppler for the PDF, librsvg for the SVG), are
// searched for the marks without a look at where they should be.

const printDPI = 600

// A scan is a picture of a page; plate millimetres are taken from the paper's
// upper left corner, which is that of the first pixel.
type scan struct {
	*image.Gray
	paper leaf
	perMM float64
}

// pixel returns the place of p in pixels, the first one's centre at (0.5, 0.5).
func (s scan) pixel(p sheet.Point) (x, y float64) {
	return (s.paper.Width/2 + p.X) * s.perMM, (s.paper.footFromTop - p.Y) * s.perMM
}

// point is the inverse of pixel.
func (s scan) point(x, y float64) sheet.Point {
	return xy(x/s.perMM-s.paper.Width/2, s.paper.footFromTop-y/s.perMM)
}

// dark returns the darkness at p, 0 to 1, interpolated between pixel centres.
func (s scan) dark(p sheet.Point) float64 {
	x, y := s.pixel(p)
	x, y = x-0.5, y-0.5
	i, j := int(math.Floor(x)), int(math.Floor(y))
	u, v := x-float64(i), y-float64(j)
	at := func(i, j int) float64 { return 1 - float64(s.GrayAt(i, j).Y)/255 }
	return (1-v)*((1-u)*at(i, j)+u*at(i+1, j)) + v*((1-u)*at(i, j+1)+u*at(i+1, j+1))
}

// profile returns the ink along a to b, in mm, and the middle of it as mm from a.
func (s scan) profile(a, b sheet.Point) (ink, middle float64) {
	length := math.Hypot(b.X-a.X, b.Y-a.Y)
	n := int(length * s.perMM * 4)
	step := length / float64(n)
	for i := range n {
		f := (float64(i) + 0.5) / float64(n)
		d := s.dark(xy(a.X+f*(b.X-a.X), a.Y+f*(b.Y-a.Y))) * step
		ink += d
		middle += d * f * length
	}
	return ink, middle / ink
}

func pdfScan(t *testing.T, p paper.Format) scan {
	needs(t, "pdftoppm")
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "page.pdf"), func(w io.Writer) error { return WritePDF(w, p) })
	run(t, "pdftoppm", "-r", strconv.Itoa(printDPI), "-gray", "-singlefile", filepath.Join(dir, "page.pdf"), filepath.Join(dir, "page"))
	data, err := os.ReadFile(filepath.Join(dir, "page.pgm"))
	if err != nil {
		t.Fatal(err)
	}
	var w, h, depth int
	if _, err := fmt.Sscanf(string(data[:32]), "P5\n%d %d\n%d\n", &w, &h, &depth); err != nil || depth != 255 {
		t.Fatalf("not an 8-bit PGM: %v", err)
	}
	return scan{&image.Gray{Pix: data[len(data)-w*h:], Stride: w, Rect: image.Rect(0, 0, w, h)}, mustLeaf(p), printDPI / 25.4}
}

func svgScan(t *testing.T, p paper.Format) scan {
	needs(t, "rsvg-convert")
	dir := t.TempDir()
	writeFile(t, filepath.Join(dir, "page.svg"), func(w io.Writer) error { return WriteSVG(w, p) })
	dpi := strconv.Itoa(printDPI)
	run(t, "rsvg-convert", "-d", dpi, "-p", dpi, "-o", filepath.Join(dir, "page.png"), filepath.Join(dir, "page.svg"))
	f, err := os.Open(filepath.Join(dir, "page.png"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	return decodeScan(t, f, p)
}

func pngScan(t *testing.T, p paper.Format) scan {
	var b bytes.Buffer
	if err := WritePNG(&b, p, printDPI); err != nil {
		t.Fatal(err)
	}
	return decodeScan(t, &b, p)
}

func decodeScan(t *testing.T, r io.Reader, p paper.Format) scan {
	t.Helper()
	img, err := png.Decode(r)
	if err != nil {
		t.Fatal(err)
	}
	g, ok := img.(*image.Gray)
	if !ok {
		g = image.NewGray(img.Bounds())
		draw.Draw(g, g.Rect, image.White, image.Point{}, draw.Src) // the last pixel may lie half beyond the paper
		draw.Draw(g, g.Rect, img, img.Bounds().Min, draw.Over)
	}
	return scan{g, mustLeaf(p), printDPI / 25.4}
}

func needs(t *testing.T, program string) {
	t.Helper()
	if _, err := exec.LookPath(program); err != nil {
		t.Skipf("NOT CHECKED: %s is not installed, so nobody else has drawn this page", program)
	}
}

func run(t *testing.T, name string, args ...string) []byte {
	t.Helper()
	out, err := exec.Command(name, args...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s: %v\n%s", name, err, out)
	}
	return out
}

func writeFile(t *testing.T, name string, write func(io.Writer) error) {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}

func TestPrintedPage(t *testing.T) {
	for _, p := range paper.Office {
		for _, form := range []struct {
			name string
			scan func(*testing.T, paper.Format) scan
		}{{"pdf", pdfScan}, {"svg", svgScan}, {"png", pngScan}} {
			t.Run(p.Name+"/"+form.name, func(t *testing.T) {
				s := form.scan(t, p)
				// The right and lower edges may share a pixel with the paper's end.
				if w, h := p.Width*s.perMM, p.Height*s.perMM; math.Abs(float64(s.Rect.Dx())-w) > 1 || math.Abs(float64(s.Rect.Dy())-h) > 1 {
					t.Fatalf("the picture has %v pixels, the paper %.1f x %.1f", s.Rect.Size(), w, h)
				}
				checkMarks(t, s)
				checkScaleLine(t, s)
				checkTicks(t, s)
				checkInk(t, s)
			})
		}
	}
}

// found is a mark as seen: its corners as in Mark.Corners and its bits.
type found struct {
	corners [4]sheet.Point
	bits    uint16
}

// findMarks returns what looks like a mark: joined dark pixels in a square box
// of 10 to 30 mm, whose edges are then fitted.
func findMarks(t *testing.T, s scan) (marks []found) {
	w, h := s.Rect.Dx(), s.Rect.Dy()
	seen := make([]bool, w*h)
	var todo []int
	for start := range seen {
		if seen[start] || s.Pix[start] > 127 {
			continue
		}
		box := image.Rect(start%w, start/w, start%w+1, start/w+1)
		seen[start] = true
		todo = append(todo, start)
		for len(todo) > 0 {
			at := todo[len(todo)-1]
			todo = todo[:len(todo)-1]
			x, y := at%w, at/w
			box = box.Union(image.Rect(x, y, x+1, y+1))
			for _, n := range []image.Point{{x - 1, y}, {x + 1, y}, {x, y - 1}, {x, y + 1}} {
				if i := n.Y*w + n.X; n.In(s.Rect) && !seen[i] && s.Pix[i] < 128 {
					seen[i] = true
					todo = append(todo, i)
				}
			}
		}
		side := float64(box.Dx()) / s.perMM
		if math.Abs(float64(box.Dx()-box.Dy())) > 0.5*s.perMM || side < 10 || side > 30 {
			continue
		}
		lo, hi := s.point(float64(box.Min.X), float64(box.Max.Y)), s.point(float64(box.Max.X), float64(box.Min.Y))
		marks = append(marks, s.measure(lo, hi))
	}
	return marks
}

// measure fits the four edges of the mark in the box from lo to hi: the ink
// along a short line across an edge says where the edge is, whatever the grey of
// the pixels on it.
func (s scan) measure(lo, hi sheet.Point) found {
	const reach, samples = 1.0, 40 // mm: well within the black border, which is 2.3 mm or more
	side := hi.X - lo.X
	// fit returns offset and slope of the edge at u, seen from cross(u, v) with v
	// growing inward from the box.
	fit := func(cross func(u, v float64) sheet.Point) (offset, slope float64) {
		var n, su, sv, suu, suv float64
		for i := range samples {
			u := side * (0.1 + 0.8*(float64(i)+0.5)/samples)
			ink, _ := s.profile(cross(u, -reach), cross(u, reach))
			v := reach - ink
			n, su, sv, suu, suv = n+1, su+u, sv+v, suu+u*u, suv+u*v
		}
		slope = (n*suv - su*sv) / (n*suu - su*su)
		return (sv - slope*su) / n, slope
	}
	lOff, lSlope := fit(func(u, v float64) sheet.Point { return xy(lo.X+v, lo.Y+u) })
	rOff, rSlope := fit(func(u, v float64) sheet.Point { return xy(hi.X-v, lo.Y+u) })
	bOff, bSlope := fit(func(u, v float64) sheet.Point { return xy(lo.X+u, lo.Y+v) })
	tOff, tSlope := fit(func(u, v float64) sheet.Point { return xy(lo.X+u, hi.Y-v) })
	// The slopes are tiny: a corner is each edge's line, taken at the box's corner.
	x := func(right bool, u float64) float64 {
		if right {
			return hi.X - rOff - rSlope*u
		}
		return lo.X + lOff + lSlope*u
	}
	y := func(top bool, u float64) float64 {
		if top {
			return hi.Y - tOff - tSlope*u
		}
		return lo.Y + bOff + bSlope*u
	}
	f := found{corners: [4]sheet.Point{xy(x(false, side), y(true, 0)), xy(x(true, side), y(true, side)), xy(x(true, 0), y(false, side)), xy(x(false, 0), y(false, 0))}}
	module := side / 6
	for i := range 16 {
		f.bits <<= 1
		if s.dark(xy(lo.X+(float64(i%4)+1.5)*module, hi.Y-(float64(i/4)+1.5)*module)) < 0.5 {
			f.bits |= 1
		}
	}
	return f
}

// positionTolerance is a fifth of the 0.1 mm asked for: half a pixel at 600 dpi.
// The writers round to a micrometre; what is left is the drawing program's
// antialiasing, in steps of a quarter of a pixel or finer.
const positionTolerance = 0.02 // mm

func checkMarks(t *testing.T, s scan) {
	codes := dictionary(t)
	marks := findMarks(t, s)
	if len(marks) != len(sheet.Standard.Marks) {
		t.Fatalf("%d marks found, want %d", len(marks), len(sheet.Standard.Marks))
	}
	seen := map[int]found{}
	for _, f := range marks {
		for id, code := range codes {
			if code == f.bits {
				seen[id] = f
			}
		}
	}
	worst := 0.0
	for _, m := range sheet.Standard.Marks {
		f, ok := seen[m.ID]
		if !ok {
			t.Errorf("mark %d is not on the page", m.ID)
			continue
		}
		for i, want := range m.Corners() {
			off := math.Hypot(f.corners[i].X-want.X, f.corners[i].Y-want.Y)
			worst = max(worst, off)
			if off > positionTolerance {
				t.Errorf("mark %d, corner %d: at %.3f, want %.3f mm", m.ID, i, f.corners[i], want)
			}
		}
	}
	// What the page tells the user to measure: 176 mm over the outer edges of the
	// corner marks, 4 and 5 ahead, 7 and 6 behind.
	for _, tt := range []struct {
		name string
		got  float64
	}{
		{"athwart, ahead", seen[5].corners[1].X - seen[4].corners[0].X},
		{"athwart, behind", seen[6].corners[2].X - seen[7].corners[3].X},
		{"fore and aft, left", seen[4].corners[0].Y - seen[7].corners[3].Y},
		{"fore and aft, right", seen[5].corners[1].Y - seen[6].corners[2].Y},
	} {
		if math.Abs(tt.got-176) > 2*positionTolerance {
			t.Errorf("%s: %.3f mm over the corner marks, want 176", tt.name, tt.got)
		}
	}
	t.Logf("12 marks, corners within %.4f mm", worst)
}

func checkScaleLine(t *testing.T, s scan) {
	ends := [2]float64{}
	for i, x := range []float64{-50, 50} {
		for _, y := range []float64{-94.9, -97.1} { // on the end ticks, off the line itself
			_, mid := s.profile(xy(x-1, y), xy(x+1, y))
			ends[i] += (x - 1 + mid) / 2
		}
	}
	if got := ends[1] - ends[0]; math.Abs(got-100) > 2*positionTolerance || math.Abs(ends[0]+50) > positionTolerance {
		t.Errorf("the scale line runs from %.3f to %.3f mm: %.3f, want 100", ends[0], ends[1], got)
	}
	if ink, mid := s.profile(xy(0, -95), xy(0, -97)); math.Abs(mid-1) > positionTolerance || ink < 0.18 {
		t.Errorf("the scale line stands at y %.3f mm, %.3f mm thick", -95-mid, ink)
	}
}

func checkTicks(t *testing.T, s scan) {
	// A dial that is off by more would be seen beside the errors of a reading, a few
	// hundredths of a degree; at 60 mm it is half a pixel.
	const angleTolerance = 0.02 // degrees
	// A viewer may snap an edge that runs along the pixels to the nearest one, as
	// poppler does with the tick at 90: half a pixel at either side. It is 0.042
	// mm, less than the least step between classes, 0.07 mm.
	widthTolerance := 1 / s.perMM
	worst := 0.0
	arc := func(deg, radius, from, to float64) float64 { // ink in mm along an arc about deg
		const n = 200
		sum := 0.0
		for i := range n {
			a := (deg + from + (to-from)*(float64(i)+0.5)/n) * math.Pi / 180
			sum += s.dark(xy(radius*math.Sin(a), radius*math.Cos(a)))
		}
		return sum / n * (to - from) * math.Pi / 180 * radius
	}
	for deg := range 360 {
		a := float64(deg)
		// The middle of the ink across the tick, over the length that all ticks share.
		var ink, moment, rows float64
		for r := 58.4; r < 60.8; r += 0.1 {
			rows++
			for d := -0.4; d <= 0.4; d += 0.005 {
				x := (a + d) * math.Pi / 180
				v := s.dark(xy(r*math.Sin(x), r*math.Cos(x)))
				moment += v * d
				ink += v
			}
		}
		off := moment / ink
		worst = max(worst, math.Abs(off))
		if math.Abs(off) > angleTolerance {
			t.Errorf("the tick at %d stands %.4f degrees off", deg, off)
		}
		width := ink / rows * 0.005 * math.Pi / 180 * 59.6
		want, class := map[int]float64{1: 0.18, 5: 0.25, 10: 0.35}, 1 // tick_width
		switch {
		case deg%10 == 0:
			class = 10
		case deg%5 == 0:
			class = 5
		}
		if math.Abs(width-want[class]) > widthTolerance {
			t.Errorf("the tick at %d is %.3f mm wide, want %.2f", deg, width, want[class])
		}
		// tick_outer_radius: 61, 63 and 64.5 mm.
		for r, least := range map[float64]int{60.8: 1, 61.2: 5, 62.8: 5, 63.2: 10, 64.3: 10, 64.7: 360} {
			if got := arc(a, r, -0.4, 0.4) > 0.1; got != (class >= least) {
				t.Errorf("the tick at %d: ink at %g mm is %v", deg, r, got)
			}
		}
		// The ring, between the ticks.
		mid := (a + 0.5) * math.Pi / 180
		width, at := s.profile(xy(57.5*math.Sin(mid), 57.5*math.Cos(mid)), xy(58.5*math.Sin(mid), 58.5*math.Cos(mid)))
		if math.Abs(width-0.25) > widthTolerance || math.Abs(at-0.5) > positionTolerance {
			t.Errorf("the ring at %d.5 degrees: radius %.3f mm, %.3f mm wide", deg, 57.5+at, width)
		}
	}
	t.Logf("360 ticks within %.4f degrees", worst)
}

// checkInk looks at every pixel: none is dark in the clear zone, near the
// paper's edge, or in the face but where the geometry lists something.
func checkInk(t *testing.T, s scan) {
	const white = 250 // of 255: a pixel that is a fiftieth covered
	slack := 1.5 / s.perMM
	stray := 0
	report := func(x, y int, p sheet.Point, what string) {
		if stray++; stray <= 5 {
			t.Errorf("ink of %d at (%.2f, %.2f) mm: %s", s.Pix[y*s.Stride+x], p.X, p.Y, what)
		}
	}
	for y := range s.Rect.Dy() {
		for x := range s.Rect.Dx() {
			if s.Pix[y*s.Stride+x] >= white {
				continue
			}
			p := s.point(float64(x)+0.5, float64(y)+0.5)
			r := math.Hypot(p.X, p.Y)
			switch {
			case r > 6 && r < 57:
				report(x, y, p, "in the clear zone")
			case float64(x) < 6*s.perMM || float64(y) < 6*s.perMM || float64(x) > (s.paper.Width-6)*s.perMM || float64(y) > (s.paper.Height-6)*s.perMM:
				report(x, y, p, "within 6 mm of the paper's edge")
			case math.Abs(p.X) <= 88 && math.Abs(p.Y) <= 88 && !listed(p, r, slack):
				report(x, y, p, "in the face, where nothing is listed")
			}
		}
	}
	if stray > 5 {
		t.Errorf("%d more pixels", stray-5)
	}
}

// listed says whether standard-sheet.json puts ink at p, r mm from the foot,
// give or take slack.
func listed(p sheet.Point, r, slack float64) bool {
	within := func(v, lo, hi float64) bool { return v >= lo-slack && v <= hi+slack }
	for _, m := range sheet.Standard.Marks {
		if within(p.X, m.X-m.Side/2, m.X+m.Side/2) && within(p.Y, m.Y-m.Side/2, m.Y+m.Side/2) {
			return true
		}
	}
	a := math.Atan2(p.X, p.Y) * 180 / math.Pi
	off := func(step float64) (degrees, side float64) { // from the nearest multiple
		d := math.Remainder(a, step)
		return d, r * d * math.Pi / 180
	}
	ten, tenSide := off(10)
	_, side := off(1)
	switch {
	case r < 6: // foot: ring of 3 mm, cross from 3 to 5 mm, lines of 0.25 mm
		return within(r, 2.875, 3.125) || within(r, 3, 5) && (math.Abs(p.X) < 0.125+slack || math.Abs(p.Y) < 0.125+slack)
	case within(r, 57.875, 58.125): // the ring
		return true
	case within(r, 58, 64.5): // ticks, at most 0.35 mm wide
		return math.Abs(side) < 0.175+slack
	case within(p.Y, 71.5, 88) && math.Abs(p.X) < 0.3+slack: // lubber line
		return true
	case within(p.Y, 83, 88) && math.Abs(p.X) < 1.5+slack: // its arrow head; the size is left open
		return true
	}
	// Numerals: 3.2 mm high about a radius of 67.5, upright along it.
	along := r * math.Cos(ten*math.Pi/180)
	return within(along, 65.9-0.1, 69.1+0.1) && math.Abs(tenSide) < 4
}

func TestPDFIsSoundAndDeterministic(t *testing.T) {
	for _, p := range paper.Office {
		var a, b bytes.Buffer
		if err := WritePDF(&a, p); err != nil {
			t.Fatal(err)
		}
		if err := WritePDF(&b, p); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(a.Bytes(), b.Bytes()) {
			t.Errorf("%s: two runs differ", p.Name)
		}
		pdf := a.String()
		// ISO 32000-1, 7.5.4 and 7.5.5: startxref gives the byte where the table
		// begins, the table where each object begins.
		m := regexp.MustCompile(`startxref\n(\d+)\n%%EOF\n$`).FindStringSubmatch(pdf)
		if m == nil {
			t.Fatalf("%s: no startxref at the end", p.Name)
		}
		start, _ := strconv.Atoi(m[1])
		if !strings.HasPrefix(pdf[start:], "xref\n0 ") {
			t.Fatalf("%s: no cross-reference table at byte %d", p.Name, start)
		}
		for i, entry := range regexp.MustCompile(`(\d{10}) \d{5} n`).FindAllStringSubmatch(pdf[start:], -1) {
			at, _ := strconv.Atoi(entry[1])
			if !strings.HasPrefix(pdf[at:], fmt.Sprintf("%d 0 obj", i+1)) {
				t.Errorf("%s: object %d is not at byte %d", p.Name, i+1, at)
			}
		}
		// 12.2: the viewer shall not scale the page to print it.
		if !strings.Contains(pdf, "/ViewerPreferences <</PrintScaling /None>>") {
			t.Errorf("%s: viewers may scale the page", p.Name)
		}
	}
}

func TestPDFWordsCanBeRead(t *testing.T) {
	needs(t, "pdftotext")
	name := filepath.Join(t.TempDir(), "page.pdf")
	writeFile(t, name, func(w io.Writer) error { return WritePDF(w, paper.A4) })
	words := strings.Join(strings.Fields(string(run(t, "pdftotext", "-layout", name, "-"))), " ")
	for _, want := range []string{
		"True heading = azimuth of the sun + number under the shadow (less 360 if over)",
		"Never look at the sun.", "FORWARD", "× tan altitude",
	} {
		if !strings.Contains(words, want) {
			t.Errorf("pdftotext does not find %q in\n%s", want, words)
		}
	}

	// Where poppler sees the figures of the dial. It breaks a slanting numeral into
	// pieces; each belongs to the nearest multiple of ten degrees, and they read
	// clockwise, their heads outward.
	type piece struct {
		clockwise float64
		figures   string
	}
	dial := map[int][]piece{} // by multiple of ten degrees, clockwise from forward
	for _, m := range regexp.MustCompile(`xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">(\d+)<`).FindAllStringSubmatch(string(run(t, "pdftotext", "-bbox", name, "-")), -1) {
		var v [4]float64
		for i := range v {
			v[i], _ = strconv.ParseFloat(m[i+1], 64)
		}
		x, y := (v[0]+v[2])/2*25.4/72-paper.A4.Width/2, 127.4-(v[1]+v[3])/2*25.4/72
		if r := math.Hypot(x, y); math.Abs(r-67.5) > 2 { // a box holds the font's full height, not the figure's
			continue
		}
		ten := int(math.Round(math.Atan2(x, y) * 18 / math.Pi))
		off := math.Atan2(x, y)*180/math.Pi - 10*float64(ten)
		dial[(ten+36)%36] = append(dial[(ten+36)%36], piece{off, m[5]})
	}
	for ten := range 36 {
		pieces := dial[ten]
		slices.SortFunc(pieces, func(a, b piece) int { return cmp.Compare(a.clockwise, b.clockwise) })
		got := ""
		for _, p := range pieces {
			got += p.figures
		}
		// "the numeral n stands at the clockwise angle 180 - n"
		if want := strconv.Itoa((180 - 10*ten + 360) % 360); got != want {
			t.Errorf("at the clockwise angle %d stands %q, want %s", 10*ten, got, want)
		}
	}
}

func TestSVGIsWellFormedAndTrueToSize(t *testing.T) {
	var b bytes.Buffer
	if err := WriteSVG(&b, paper.Letter); err != nil {
		t.Fatal(err)
	}
	var root struct {
		Width   string `xml:"width,attr"`
		Height  string `xml:"height,attr"`
		ViewBox string `xml:"viewBox,attr"`
	}
	if err := xml.Unmarshal(b.Bytes(), &root); err != nil {
		t.Fatal(err)
	}
	if root.Width != "215.9mm" || root.Height != "279.4mm" || root.ViewBox != "0 0 215.9 279.4" {
		t.Errorf("Letter is drawn as %+v", root)
	}
	if strings.Contains(b.String(), "<text") {
		t.Error("the SVG needs a font")
	}
}

func TestPNGStatesItsScale(t *testing.T) {
	var b bytes.Buffer
	if err := WritePNG(&b, paper.A4, 300); err != nil {
		t.Fatal(err)
	}
	// PNG specification, 5.3: length, type, data, CRC over type and data; 11.3.4.3:
	// pHYs holds pixels a metre, which for 300 dpi are 300 / 0.0254 = 11811.
	chunk := b.Bytes()[33:]
	if got := string(chunk[4:8]); got != "pHYs" {
		t.Fatalf("the second chunk is %q", got)
	}
	x, y := binary.BigEndian.Uint32(chunk[8:]), binary.BigEndian.Uint32(chunk[12:])
	if x != 11811 || y != 11811 || chunk[16] != 1 {
		t.Errorf("pHYs says %d x %d, unit %d, want 11811 pixels a metre", x, y, chunk[16])
	}
	if got, want := binary.BigEndian.Uint32(chunk[17:]), crc32.ChecksumIEEE(chunk[4:17]); got != want {
		t.Errorf("pHYs has CRC %08x, want %08x", got, want)
	}
	if _, err := png.Decode(&b); err != nil {
		t.Error(err)
	}
}

func BenchmarkWritePDF(b *testing.B) {
	for b.Loop() {
		if err := WritePDF(io.Discard, paper.A4); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkWritePNG(b *testing.B) {
	for b.Loop() {
		if err := WritePNG(io.Discard, paper.A4, printDPI); err != nil {
			b.Fatal(err)
		}
	}
}

func mustLeaf(f paper.Format) leaf {
	l, err := newLeaf(f)
	if err != nil {
		panic(err)
	}
	return l
}

// dictionary returns OpenCV's codes by id; the source stands in the file.
func dictionary(t *testing.T) []uint16 {
	t.Helper()
	var out []uint16
	for i, row := range testtable.Read(t, "../sheet/testdata/aruco_4x4_50.csv") {
		code, err := strconv.ParseUint(row["code_hex"], 16, 16)
		if err != nil || row["id"] != strconv.Itoa(i) {
			t.Fatalf("row %d: %v, %v", i, row, err)
		}
		out = append(out, uint16(code))
	}
	if len(out) != 50 {
		t.Fatalf("%d codes, want 50", len(out))
	}
	return out
}
