//go:build !js

package compass

import (
	"bytes"
	"errors"
	"io"
	"os/exec"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/paper"
)

// The printed page is read back by poppler's pdftotext: one page, and every line of
// both tables on it.
func TestPDFHoldsBothTables(t *testing.T) {
	if _, err := exec.LookPath("pdftotext"); err != nil {
		t.Skip("pdftotext is not installed")
	}
	c := handbookCard(t)
	c.Title = strings.Repeat("W", maxTitle) // the widest
	c.Declination = &Declination{-13.907 * angle.Degree, 0.49 * angle.Degree, FromModel}
	for _, f := range []paper.Format{paper.A4, paper.Letter} {
		var page bytes.Buffer
		if err := c.WritePDF(&page, f); err != nil {
			t.Fatal(err)
		}
		poppler := func(layout string) string {
			command := exec.Command("pdftotext", layout, "-", "-")
			command.Stdin = bytes.NewReader(page.Bytes())
			out, err := command.Output()
			if err != nil {
				t.Fatal(err)
			}
			return string(out)
		}
		out := poppler("-layout")
		const pointsPerMM = 72 / 25.4
		for _, word := range regexp.MustCompile(`xMax="([0-9.]+)" yMax="([0-9.]+)">(.*)</word>`).FindAllStringSubmatch(poppler("-bbox"), -1) {
			x, xErr := strconv.ParseFloat(word[1], 64)
			y, yErr := strconv.ParseFloat(word[2], 64)
			// The last figure of the scale below the curve is centred on its end.
			if err := errors.Join(xErr, yErr); err != nil || x > (f.Width-margin+3)*pointsPerMM || y > (f.Height-10)*pointsPerMM {
				t.Errorf("%s: %q ends at %v, %v points, beyond the margin (%v)", f.Name, word[3], x, y, err)
			}
		}
		text := strings.Join(strings.Fields(out), " ")
		if n := strings.Count(out, "\f"); n != 1 {
			t.Errorf("%s: %d pages, want 1", f.Name, n)
		}
		byCompass, byMagnetic := c.ByCompass(), c.ByMagnetic()
		for i := range byCompass {
			l, m := byMagnetic[i], byCompass[i]
			want := strings.Join([]string{
				tenths(l.Magnetic, "%05.1f"), eastWest(l.Deviation), tenths(l.Compass, "%05.1f"), tenths(2*l.Sigma, "%.1f"),
				tenths(m.Compass, "%05.1f"), eastWest(m.Deviation), tenths(m.Magnetic, "%05.1f"), tenths(2*m.Sigma, "%.1f"),
			}, " ")
			if !strings.Contains(text, want) {
				t.Errorf("%s: the page has no line %q", f.Name, want)
			}
		}
		for _, want := range []string{c.Title, "A +1.00", "B +11.94", "C +7.96", "D +5.00", "E +1.50", "2026-03-14", "13.9 W ± 1.0 (World Magnetic Model 2025)"} {
			if !strings.Contains(text, want) {
				t.Errorf("%s: the page does not say %q", f.Name, want)
			}
		}
	}
}

func TestPDFDependsOnTheCardAlone(t *testing.T) {
	var a, b bytes.Buffer
	if err := errors.Join(handbookCard(t).WritePDF(&a, paper.A4), handbookCard(t).WritePDF(&b, paper.A4)); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("two prints of one card differ")
	}
}

func TestPrintedFigures(t *testing.T) {
	for _, tt := range []struct {
		deg               float64
		bearing, eastWest string
	}{{0, "000.0", "0.0"}, {359.96, "000.0", "360.0 E"}, {7.25, "007.3", "7.3 E"}, {-0.04, "000.0", "0.0"}, {-5.06, "", "5.1 W"}} {
		a := angle.FromDegrees(tt.deg)
		if got := tenths(a.Bearing(), "%05.1f"); tt.bearing != "" && got != tt.bearing {
			t.Errorf("%v prints as %q, want %q", tt.deg, got, tt.bearing)
		}
		if got := eastWest(a); got != tt.eastWest {
			t.Errorf("%v prints as %q, want %q", tt.deg, got, tt.eastWest)
		}
	}
}

func BenchmarkWritePDF(b *testing.B) {
	c := handbookCard(b)
	for b.Loop() {
		if err := c.WritePDF(io.Discard, paper.A4); err != nil {
			b.Fatal(err)
		}
	}
}
