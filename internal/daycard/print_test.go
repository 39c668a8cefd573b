package daycard

import (
	"bytes"
	"cmp"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/paper"
	"shadowread/internal/testtable"
)

// demo is an invented journey: two trucks that survey a salt pan.
func demo() Options {
	o := options(-20.6142, 25.4310, 2026, time.November, 2, 2*time.Hour)
	o.Title = "Salt pan survey, two trucks (an invented journey)"
	o.Stops = append(o.Stops, at(-20.4142, 25.8310))
	o.Courses = []angle.Angle{62 * angle.Degree, 242 * angle.Degree, 97 * angle.Degree}
	o.ElevationMetres, o.RodHeightMM, o.ScaleRadiusMM = 905, 50, 58
	return o
}

// crowded is the most that a card has to hold.
func crowded() Options {
	o := demo()
	o.Title = strings.Repeat("W", MaxTitle)
	o.Days = 2
	o.First = Date{2026, time.November, 25}
	o.Tolerance = 0.25 * angle.Degree
	o.Highest = 90 * angle.Degree
	o.UTCOffset = -9*time.Hour - 30*time.Minute
	o.RuleAt = new(3 * time.Hour)
	o.Courses = nil
	for i := range MaxCourses {
		o.Courses = append(o.Courses, angle.FromDegrees(60*float64(i)+0.5))
	}
	return o
}

func needs(t *testing.T, program string) {
	t.Helper()
	if _, err := exec.LookPath(program); err != nil {
		t.Skipf("NOT CHECKED: %s is not installed, so nobody else has read this card", program)
	}
}

// word is one that poppler finds on a page, its box in mm from the upper left.
type word struct {
	page                   int
	left, top, right, foot float64
	text                   string
}

var (
	pageTag = regexp.MustCompile(`<page width="([\d.]+)" height="([\d.]+)">`)
	wordTag = regexp.MustCompile(`<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">(.*)</word>`)
)

func words(t *testing.T, c *Card, p paper.Format) (found []word, pages int) {
	t.Helper()
	var b bytes.Buffer
	if err := c.WritePDF(&b, p); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "card.pdf")
	if err := os.WriteFile(name, b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("pdftotext", "-bbox", name, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	mm := func(s string) float64 { return testtable.Number(t, s) * 25.4 / 72 }
	for _, l := range strings.Split(string(out), "\n") {
		if m := pageTag.FindStringSubmatch(l); m != nil {
			pages++
			if mm(m[1])-p.Width > 0.1 || p.Width-mm(m[1]) > 0.1 || mm(m[2])-p.Height > 0.1 || p.Height-mm(m[2]) > 0.1 {
				t.Errorf("%s: page %s by %s points", p.Name, m[1], m[2])
			}
		}
		if m := wordTag.FindStringSubmatch(l); m != nil {
			found = append(found, word{pages, mm(m[1]), mm(m[2]), mm(m[3]), mm(m[4]), m[5]})
		}
	}
	return found, pages
}

// As poppler reads it, no word leaves the margins or touches another, and every line of
// the table stands on a front.
func TestThePrintedCardIsWhole(t *testing.T) {
	needs(t, "pdftotext")
	fixed := demo()
	fixed.Window = 15 * time.Minute
	fixed.Courses = fixed.Courses[:1]
	for name, o := range map[string]Options{
		"demo": demo(), "crowded": crowded(), "fixed": fixed,
		"polar day": scenarios()["polar day"], "polar night": scenarios()["polar night"], "timed": scenarios()["timed route"],
	} {
		c := mustNew(t, o)
		for _, p := range Papers {
			found, pages := words(t, c, p)
			if pages%2 != 0 || pages < 2*len(c.Days) {
				t.Errorf("%s on %s: %d pages", name, p.Name, pages)
			}
			for i, w := range found {
				// A box holds the font's full height, a third of a line more than the letters.
				if margin := newLayout(p).margin; w.left < margin-0.1 || w.right > p.Width-margin+0.1 || w.top < margin-1.5 || w.foot > p.Height-margin+1.5 {
					t.Errorf("%s on %s, page %d: %q leaves the margins", name, p.Name, w.page, w.text)
				}
				for _, v := range found[:i] {
					lap := min(w.foot, v.foot) - max(w.top, v.top)
					if v.page == w.page && w.left < v.right-0.05 && v.left < w.right-0.05 && lap > 0.5*min(w.foot-w.top, v.foot-v.top) {
						t.Errorf("%s on %s, page %d: %q touches %q", name, p.Name, w.page, w.text, v.text)
					}
				}
			}
			var read []string
			for _, w := range found {
				if w.page%2 == 1 {
					read = append(read, w.text)
				}
			}
			for _, d := range c.Days {
				for _, l := range c.lines(d) {
					cells := l.cells
					if cells == nil {
						cells = []string{l.at, strings.Fields(l.note)[0]}
					}
					if !stands(found, cells) {
						t.Errorf("%s on %s: line %v is not on the card", name, p.Name, cells)
					}
				}
			}
			all := strings.Join(read, " ")
			for _, want := range []string{"Never look at the sun.", "sole means", headingRule, "UTC" + c.UTCOffset, "All times are UTC" + c.UTCOffset} {
				if !strings.Contains(all, want) {
					t.Errorf("%s on %s: the card does not say %q", name, p.Name, want)
				}
			}
			for page := 2; page <= pages; page += 2 {
				for _, want := range []string{"Time,", "Odometer", "Number", "heading", "Remarks"} {
					if !slices.ContainsFunc(found, func(w word) bool { return w.page == page && w.text == want }) {
						t.Errorf("%s on %s, page %d: the log has no column %q", name, p.Name, page, want)
					}
				}
			}
		}
	}
}

// stands tells whether the cells stand side by side on a front.
func stands(found []word, cells []string) bool {
	return slices.ContainsFunc(found, func(first word) bool {
		if first.text != cells[0] || first.page%2 == 0 {
			return false
		}
		var row []word
		for _, w := range found {
			// A note is set smaller than a time, in the middle of its line.
			if w.page == first.page && w.left >= first.left && min(w.foot, first.foot)-max(w.top, first.top) > 0.6*(w.foot-w.top) {
				row = append(row, w)
			}
		}
		slices.SortFunc(row, func(a, b word) int { return cmp.Compare(a.left, b.left) })
		var texts []string
		for _, w := range row[:min(len(row), len(cells))] {
			texts = append(texts, w.text)
		}
		return slices.Equal(texts, cells)
	})
}

func TestThePrintedCardIsBlackAndUnscaled(t *testing.T) {
	c := mustNew(t, demo())
	for _, p := range Papers {
		var a, b bytes.Buffer
		if err := c.WritePDF(&a, p); err != nil {
			t.Fatal(err)
		}
		if err := c.WritePDF(&b, p); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(a.Bytes(), b.Bytes()) {
			t.Errorf("%s: two runs differ", p.Name)
		}
		// ISO 32000-1, 12.2.
		if !strings.Contains(a.String(), "/ViewerPreferences <</PrintScaling /None>>") {
			t.Errorf("%s: viewers may scale the page", p.Name)
		}
		if p != paper.Pocket {
			continue
		}
		needs(t, "pdftoppm")
		cmd := exec.Command("pdftoppm", "-r", "60", "-f", "1", "-l", "1", "-")
		cmd.Stdin = &a
		out, err := cmd.Output()
		if err != nil {
			t.Fatal(err)
		}
		m := regexp.MustCompile(`^P6\n(\d+) (\d+)\n255\n`).FindSubmatch(out)
		if m == nil {
			t.Fatalf("not a PPM: %.20q", out)
		}
		width, _ := strconv.Atoi(string(m[1]))
		height, _ := strconv.Atoi(string(m[2]))
		pix := out[len(m[0]):]
		if len(pix) != 3*width*height {
			t.Fatalf("%d bytes of %d by %d pixels", len(pix), width, height)
		}
		dark := 0
		for i := 0; i < len(pix); i += 3 {
			if pix[i] != pix[i+1] || pix[i] != pix[i+2] {
				t.Fatalf("a coloured pixel at %d", i/3)
			}
			if pix[i] < 128 {
				dark++
			}
		}
		if dark == 0 {
			t.Error("the page is blank")
		}
	}
}

func TestTheTextTable(t *testing.T) {
	var b strings.Builder
	if err := mustNew(t, demo()).WriteText(&b); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"Monday 2 November 2026 (2026-11-02)\n",
		"From 20.6142 S 25.4310 E to 20.4142 S 25.8310 E.\n",
		"All times are UTC+02:00: 12:00 on this card is 10:00 UTC.\n",
		"not usable: sun too low\n", "counterclockwise", "Never look at the sun.",
	} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the table does not say %q:\n%s", want, &b)
		}
	}
	for name, want := range map[string]string{
		"date line":   "All times are UTC+12:00: 12:00 on this card is 00:00 UTC.",
		"polar day":   "Sun: up all day; highest ",
		"polar night": "Sun: down all day.\n",
		"north pole":  "24:00  end of the day\n",
		"timed route": "on 7 Sep 08:00 by one place to 20.1000 S 26.1000 E on 7 Sep 16:00.",
		"30 minutes":  "Each line is good for 15 minutes either side of its time",
	} {
		b.Reset()
		if err := mustNew(t, scenarios()[name]).WriteText(&b); err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(b.String(), want) {
			t.Errorf("%s: the table does not say %q:\n%s", name, want, &b)
		}
	}
	o := options(-21.2, -175.2, 2026, time.March, 1, 13*time.Hour)
	b.Reset()
	if err := mustNew(t, o).WriteText(&b); err != nil {
		t.Fatal(err)
	}
	if want := "12:00 on this card is 23:00 UTC on the 28 February."; !strings.Contains(b.String(), want) {
		t.Errorf("the table does not say %q:\n%s", want, &b)
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, io.ErrShortWrite }

func TestBadPaperAndFailingWriters(t *testing.T) {
	c := mustNew(t, demo())
	var b bytes.Buffer
	if err := c.WritePDF(&b, paper.Format{Name: "A4"}); fault.Code(err) != "bad_paper" || b.Len() > 0 {
		t.Errorf("error %v and %d bytes for a paper of no size", err, b.Len())
	}
	if err := c.WritePDF(full{}, paper.A4); !errors.Is(err, io.ErrShortWrite) {
		t.Errorf("PDF: %v", err)
	}
	if err := c.WriteText(full{}); !errors.Is(err, io.ErrShortWrite) {
		t.Errorf("text: %v", err)
	}
}

func BenchmarkWritePDF(b *testing.B) {
	c := mustNew(b, demo())
	for b.Loop() {
		if err := c.WritePDF(io.Discard, paper.Pocket); err != nil {
			b.Fatal(err)
		}
	}
}
