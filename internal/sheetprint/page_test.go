package sheetprint

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/paper"
	"shadowread/internal/sheet"
)

func (g group) bounds() (lo, hi sheet.Point) {
	all := path{}
	for _, s := range g.shapes {
		all = append(all, s...)
	}
	for _, t := range g.texts {
		all = append(all, t.outline()...)
	}
	return all.bounds()
}

func TestNumberUnderTheShadowGivesTheHeading(t *testing.T) {
	// By the sky, not by the sheet: a shadow points away from the body, to the
	// azimuth + 180, which lies azimuth + 180 - heading clockwise of forward.
	for azimuth := 0; azimuth < 360; azimuth += 30 {
		for heading := 0; heading < 360; heading += 10 {
			shadow := angle.FromDegrees(float64(azimuth + 180 - heading))
			under := 0
			for n := 0; n < 360; n += 10 {
				num := numeral(sheet.Standard.Dial, n)
				lo, hi := num.outline().bounds()
				at := angle.Clockwise((lo.X+hi.X)/2, (lo.Y+hi.Y)/2)
				// Between numerals there are 10 degrees; the ink of figures is not quite
				// even about their middle, by up to half a degree.
				if (at - shadow).Signed().Abs() > 1*angle.Degree {
					continue
				}
				under++
				if got := (azimuth + n) % 360; num.s != fmt.Sprint(n) || got != heading {
					t.Errorf("azimuth %d, heading %d: the shadow falls on %s, which gives %d", azimuth, heading, num.s, got)
				}
			}
			if under != 1 {
				t.Errorf("azimuth %d, heading %d: the shadow falls on %d numerals, want one", azimuth, heading, under)
			}
		}
	}
}

func TestNumeralsStandAndMeasureAsPublished(t *testing.T) {
	// standard-sheet.json: numeral_radius 67.5, numeral_height 3.2. A round figure
	// overshoots the flat ones by a few hundredths at either end, and a printed
	// numeral is the reader's, not the program's: 0.1 mm.
	const tolerance = 0.1 // mm
	for n := 0; n < 360; n += 10 {
		num := numeral(sheet.Standard.Dial, n)
		num.at, num.turn = xy(0, sheet.Standard.Dial.NumeralRadius-sheet.Standard.Dial.NumeralHeight/2), 0 // brought to the front, upright
		lo, hi := num.outline().bounds()
		if math.Abs(lo.Y-65.9) > tolerance || math.Abs(hi.Y-69.1) > tolerance {
			t.Errorf("numeral %d stands from %.2f to %.2f mm, want 65.9 to 69.1", n, lo.Y, hi.Y)
		}
		if hi.X-lo.X > 8 { // 10 degrees are 11.8 mm here: a third stays free
			t.Errorf("numeral %d is %.2f mm wide", n, hi.X-lo.X)
		}
	}
}

func TestFaceHoldsOnlyWhatIsListed(t *testing.T) {
	const rounding = 1e-9 // mm
	for _, g := range face(sheet.Standard) {
		lo, hi := g.bounds()
		if lo.X < -faceHalf-rounding || lo.Y < -faceHalf-rounding || hi.X > faceHalf+rounding || hi.Y > faceHalf+rounding {
			t.Errorf("%s leaves the face: %v to %v", g.id, lo, hi)
		}
	}
	for _, g := range notes(sheet.Standard) {
		lo, hi := g.bounds()
		if lo.Y < faceHalf && hi.Y > -faceHalf {
			t.Errorf("%s prints into the face: y from %.2f to %.2f", g.id, lo.Y, hi.Y)
		}
		// A mark needs a white module about it to be found (common practice): the
		// corner marks' modules are 22/6 mm; the small marks' 14/6 mm.
		if lo.Y < faceHalf+14.0/6 && hi.Y > -faceHalf-14.0/6 {
			t.Errorf("%s crowds the marks: y from %.2f to %.2f", g.id, lo.Y, hi.Y)
		}
	}
}

func TestNotesAreWellSet(t *testing.T) {
	const printable = 6.0 // mm; common office printers leave 4 to 6 mm blank
	const optical = 0.3   // mm; a letter's side bearing
	for _, f := range paper.Office {
		p := mustLeaf(f)
		for _, g := range page(sheet.Standard) {
			lo, hi := g.bounds()
			if lo.X+p.Width/2 < printable || p.Width/2-hi.X < printable ||
				p.footFromTop-hi.Y < printable || p.Height-p.footFromTop+lo.Y < printable {
				t.Errorf("%s: %s is within %g mm of the paper's edge: %v to %v", p.Name, g.id, printable, lo, hi)
			}
		}
	}
	type placed struct {
		s      string
		lo, hi sheet.Point
	}
	var lines []placed
	for _, g := range notes(sheet.Standard) {
		for _, x := range g.texts {
			lo, hi := x.outline().bounds()
			if lo.X < -faceHalf-optical || hi.X > faceHalf+optical {
				t.Errorf("%q runs past the face's sides: x from %.2f to %.2f", x.s, lo.X, hi.X)
			}
			lines = append(lines, placed{x.s, lo, hi})
		}
	}
	for i, a := range lines {
		for _, b := range lines[:i] {
			if a.lo.X < b.hi.X+1 && b.lo.X < a.hi.X+1 && a.lo.Y < b.hi.Y && b.lo.Y < a.hi.Y {
				t.Errorf("%q touches %q", a.s, b.s)
			}
		}
	}
}

func TestPageSaysWhatItMust(t *testing.T) {
	var all []string
	for _, g := range notes(sheet.Standard) {
		for _, x := range g.texts {
			all = append(all, x.s)
		}
	}
	got := strings.Join(all, "\n")
	for _, want := range []string{
		"FORWARD", "True heading = azimuth of the sun + number under the shadow (less 360 if over)",
		"100 mm", "athwart: 176 mm", "fore and aft: 176 mm", "actual size", "Rod height", "Rod diameter",
		"Never look at the sun", "Cap the tip", "airbag", "driver", "sole means", "Local rules",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
}

func TestFiguresInPrint(t *testing.T) {
	// The shadow of a rod of height h has the length h / tan(altitude). The table
	// must name the shortest whole millimetre that carries it to the scale.
	for alt := 10; alt <= 65; alt += 5 {
		h := float64(rodHeight(sheet.Standard, angle.FromDegrees(float64(alt))))
		tan := math.Tan(float64(alt) * math.Pi / 180)
		if h/tan < 58 || (h-1)/tan >= 58 {
			t.Errorf("altitude %d: a %g mm rod throws %.2f mm, one mm less %.2f; the scale is at 58", alt, h, h/tan, (h-1)/tan)
		}
	}
	var table string
	for _, x := range rodTable(sheet.Standard, 0).texts {
		table += x.s + "\n"
	}
	// 50 / tan(41) = 57.5 mm falls short of 58, 50 / tan(40) = 59.6 mm reaches it.
	if !strings.Contains(table, "50 mm rod reaches the scale only below 41°") {
		t.Errorf("the table does not give the 50 mm rod's limit:\n%s", table)
	}
	// The cost of a stretch of 0.5 % one way, by brute force over all directions.
	worst := 0.0
	for i := range 3600 {
		a := float64(i) / 10 * math.Pi / 180
		d := math.Abs(math.Remainder(math.Atan2(1.005*math.Sin(a), math.Cos(a))-a, 2*math.Pi))
		worst = max(worst, d*180/math.Pi)
	}
	if got := fmt.Sprintf("%.2f", worst); got != "0.14" {
		t.Errorf("a stretch of 0.5 %% costs up to %s degrees, the page says 0.14", got)
	}
}

func TestBadRequestsWriteNothing(t *testing.T) {
	odd := paper.Format{Name: "A3", Width: 297, Height: 420}
	for _, tt := range []struct {
		name, code string
		write      func(io.Writer) error
	}{
		{"PDF on A3", "bad_paper", func(w io.Writer) error { return WritePDF(w, odd) }},
		{"SVG on A3", "bad_paper", func(w io.Writer) error { return WriteSVG(w, odd) }},
		{"PNG on A3", "bad_paper", func(w io.Writer) error { return WritePNG(w, odd, 600) }},
		{"PDF on nothing", "bad_paper", func(w io.Writer) error { return WritePDF(w, paper.Format{}) }},
		{"99 dpi", "bad_dpi", func(w io.Writer) error { return WritePNG(w, paper.A4, 99) }},
		{"1201 dpi", "bad_dpi", func(w io.Writer) error { return WritePNG(w, paper.A4, 1201) }},
		{"-1 dpi", "bad_dpi", func(w io.Writer) error { return WritePNG(w, paper.A4, -1) }},
	} {
		var b bytes.Buffer
		err := tt.write(&b)
		var f *fault.Error
		if !errors.As(err, &f) || f.Code != tt.code || f.Hint == "" {
			t.Errorf("%s: error %#v, want the error %s with a hint", tt.name, err, tt.code)
		}
		if b.Len() > 0 {
			t.Errorf("%s: %d bytes written", tt.name, b.Len())
		}
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, io.ErrShortWrite }

func TestAFailingWriterIsReported(t *testing.T) {
	for name, err := range map[string]error{"PDF": WritePDF(full{}, paper.A4), "SVG": WriteSVG(full{}, paper.A4), "PNG": WritePNG(full{}, paper.A4, 100)} {
		if !errors.Is(err, io.ErrShortWrite) {
			t.Errorf("%s: error %v, want the writer's", name, err)
		}
	}
}

// The face is the square that the marks' outer edges span.
func TestFaceReachesToTheMarks(t *testing.T) {
	reach := 0.0
	for _, m := range sheet.Standard.Marks {
		for _, c := range m.Corners() {
			reach = max(reach, c.X, -c.X, c.Y, -c.Y)
		}
	}
	if reach != faceHalf {
		t.Errorf("the marks reach %v mm from the foot, the face %v mm", reach, faceHalf)
	}
}
