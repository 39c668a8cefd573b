package report

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"image/jpeg"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"shadowread/internal/angle"
	"shadowread/internal/chart/charttest"
	"shadowread/internal/compass"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/instrument"
	"shadowread/internal/logbook"
	"shadowread/internal/paper"
	"shadowread/internal/wording"
	"shadowread/internal/workup"
)

// input is what a command would give for a log.
func input(t testing.TB, b *charttest.Book) Input {
	t.Helper()
	in := Input{Title: "Two trucks over a salt pan (invented)", Track: b.Work(), UTCOffset: 2 * time.Hour}
	in.Overlay = func(entry int) ([]byte, error) {
		_, overlay, err := b.Evidence(t.Context(), entry)
		return overlay, err
	}
	var err error
	if in.Entries, err = b.List(t.Context(), 0, true); err != nil {
		t.Fatal(err)
	}
	w, err := b.Where(t.Context(), 0)
	if err == nil {
		in.Where = w
	} else if fault.Code(err) != "position_lost" {
		t.Fatal(err)
	}
	return in
}

func htmlOf(t testing.TB, in Input) string {
	t.Helper()
	var b bytes.Buffer
	if err := WriteHTML(&b, in); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// texts returns the words of a page, and calls each for every element.
func texts(t testing.TB, page string, each func(*html.Node)) string {
	t.Helper()
	root, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	var words strings.Builder
	var walk func(*html.Node)
	walk = func(n *html.Node) {
		switch n.Type {
		case html.TextNode:
			words.WriteString(n.Data + "\n")
		case html.ElementNode:
			each(n)
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			walk(c)
		}
	}
	walk(root)
	return words.String()
}

// A report must open without a network and run nothing, whatever was noted.
func TestHTMLStandsAlone(t *testing.T) {
	b := charttest.SaltPan(t)
	in := input(t, b)
	in.Title = `</title><script>alert(1)</script><svg onload=alert(1)> & "x"`
	shown := in.Title + "\ufffd[2J\ufffd"
	in.Title += "\x1b[2J\u009b"
	page := htmlOf(t, in)
	if page != htmlOf(t, in) {
		t.Error("two runs differ")
	}
	pictures := 0
	words := texts(t, page, func(n *html.Node) {
		if slices.Contains([]string{"script", "link", "iframe", "object", "embed", "base", "form", "b"}, n.Data) {
			t.Errorf("<%s> in the report", n.Data)
		}
		for _, a := range n.Attr {
			switch {
			case strings.HasPrefix(a.Key, "on"), a.Key == "href":
				t.Errorf("<%s %s=%q>", n.Data, a.Key, a.Val)
			case a.Key == "src":
				data, ok := strings.CutPrefix(a.Val, "data:image/jpeg;base64,")
				raw, err := base64.StdEncoding.DecodeString(data)
				if !ok || err != nil {
					t.Fatalf("src=%.40q", a.Val)
				}
				head, err := jpeg.DecodeConfig(bytes.NewReader(raw))
				if err != nil || head.Width > overlayWidth {
					t.Errorf("picture of %d x %d: %v", head.Width, head.Height, err)
				}
				pictures++
			}
		}
	})
	if strings.Contains(page, "url(") || strings.Contains(page, "@import") {
		t.Error("the styles reach outside")
	}
	for _, want := range []string{shown, "tea; <b>wind</b> & dust, 塩"} {
		if !strings.Contains(words, want) {
			t.Errorf("the page does not show %q", want)
		}
	}
	if pictures != 8 { // nine photos, one of them refused
		t.Errorf("%d pictures, want 8", pictures)
	}
}

func TestDaysFollowTheClock(t *testing.T) {
	in := input(t, charttest.SaltPan(t)) // from 06:00 UTC to 02:07 UTC of the next day
	for hours, want := range map[int][]string{
		2:  {"Saturday 14 March 2026", "Sunday 15 March 2026"},
		-5: {"Saturday 14 March 2026"},
		-7: {"Friday 13 March 2026", "Saturday 14 March 2026"},
	} {
		in.UTCOffset = time.Duration(hours) * time.Hour
		d, err := compose(in)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		rows := 0
		for _, day := range d.Days {
			got = append(got, day.Title)
			rows += len(day.Rows)
		}
		if !slices.Equal(got, want) || rows != len(in.Track.Points) {
			t.Errorf("UTC%+d: %q with %d entries, want %q with %d", hours, got, rows, want, len(in.Track.Points))
		}
	}
}

// Closing errors by another way: from the estimate in the adjustment's table to the fix
// as logged, over the odometer's difference.
func TestClosingErrors(t *testing.T) {
	b := charttest.SaltPan(t)
	in := input(t, b)
	d, err := compose(in)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	from := 1000.0
	for _, p := range in.Track.Points {
		f, ok := p.Entry.Content.(*logbook.Fix)
		if !ok {
			continue
		}
		row := d.Fixes.Rows[n]
		n++
		_, distance, err := geo.GeodesicInverse(p.At.Estimated, f.Position)
		if err != nil {
			t.Fatal(err)
		}
		ran := f.Run.Odometer.Metres()/1000 - geo.Metres(from)
		if want := wording.Length(distance); row[4] != want {
			t.Errorf("fix %d: closing error %s, want %s", n, row[4], want)
		}
		if want := fmt.Sprintf("%.2f", float64(distance/ran)/10); row[7] != want {
			t.Errorf("fix %d: %s %% of the run, want %s", n, row[7], want)
		}
		if row[9] == "yes" {
			from += float64(ran)
		}
	}
	if got := []string{d.Fixes.Rows[0][9], d.Fixes.Rows[1][9], d.Fixes.Rows[2][9]}; !slices.Equal(got, []string{"yes", "no", "yes"}) {
		t.Errorf("used: %q", got)
	}
	// At a fix the compass rule moves by the whole closing error.
	for _, row := range d.Adjusted.Rows {
		if row[2] == "fix 1" && row[6] != d.Fixes.Rows[0][4] {
			t.Errorf("the compass rule moves fix 1 by %s, want %s", row[6], d.Fixes.Rows[0][4])
		}
	}
}

func TestCautions(t *testing.T) {
	start := charttest.At(-20.6142, 25.431)
	tests := []struct {
		name string
		log  func(t testing.TB) *charttest.Book
		want []string // regular expressions
	}{
		{"a leg without a heading", func(t testing.TB) *charttest.Book {
			b := charttest.New(t, start, 20, workup.Land())
			b.Refused("p.jpg", "no_shadow", "there is no shadow on the dial", -1)
			b.Go(5)
			b.Stop("")
			return b
		}, []string{`Leg 1 \(entry 2\) has no heading yet`, "No fix closes the journey"}},
		// 9 km north and 6 km east of the estimate.
		{"a fix far off", charttest.SaltPan, []string{`Fix 2 \(entry 12\) lies 10\.8 km off`, "not used until it is confirmed", "Headings by hand: 2 of 10 legs"}},
		{"a fix confirmed", func(t testing.TB) *charttest.Book {
			b := charttest.SaltPan(t)
			if _, err := b.ConfirmFix(t.Context(), 12, ""); err != nil {
				t.Fatal(err)
			}
			return b
		}, []string{`Fix 2 \(entry 19\) was confirmed though it lies \d\d\.\d sigma off`, "teaches nothing"}},
		// 500 m north and 700 m east after 38 km.
		{"a poor day", charttest.DateLine, []string{`closes with 2\.3 % of the distance run; 1 % is common practice`}},
		{"near the pole", func(t testing.TB) *charttest.Book {
			b := charttest.New(t, charttest.At(89.3, 10), 50, workup.Ice())
			b.Photo("a.jpg", 0, 15)
			b.Go(60)
			b.Photo("b.jpg", 0, 15)
			return b
		}, []string{"The position was lost at entry 3", "not known: the position is lost"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			in := input(t, tt.log(t))
			words := texts(t, htmlOf(t, in), func(*html.Node) {})
			for _, want := range tt.want {
				if !regexp.MustCompile(want).MatchString(words) {
					t.Errorf("the report does not say %q", want)
				}
			}
			if strings.Contains(words, "NaN") || strings.Contains(words, "%!") {
				t.Error("a number or a word is missing")
			}
			var p bytes.Buffer
			if err := WritePDF(&p, in, paper.Letter); err != nil {
				t.Error(err)
			}
		})
	}
}

func TestInstrumentAndCompass(t *testing.T) {
	in := input(t, charttest.SaltPan(t))
	lubber := -0.42 * angle.Degree
	in.Instrument = &instrument.Record{Name: "truck one", Found: charttest.Departure, How: "by a steering mark", Gnomon: instrument.Rod, HeightMM: 100,
		Proved: instrument.Proved{Lubber: &lubber, Lean: instrument.SlopeOf(0.3*angle.Degree, 0)}, LevelSigma: 0.2 * angle.Degree, AlignmentSigma: 0.3 * angle.Degree}
	in.Compass = &compass.Card{Title: "truck one's compass", Swung: charttest.Departure, Coefficients: compass.Coefficients{1 * angle.Degree, 12 * angle.Degree, 8 * angle.Degree, 5 * angle.Degree, 1.5 * angle.Degree}}
	words := texts(t, htmlOf(t, in), func(*html.Node) {})
	// The handbook's coefficients (Handbook of Magnetic Compass Adjustment, ch. V); its
	// equation gives A + C + E on north.
	for _, want := range []string{"truck one", "−0.42° to be added", "0.30° to starboard, 0.00° forward", "A +1.0°, B +12.0°, C +8.0°, D +5.0°, E +1.5°", "000° +10.5°"} {
		if !strings.Contains(words, want) {
			t.Errorf("the report does not say %q", want)
		}
	}
	if strings.Contains(words, "No record of the sun compass") {
		t.Error("the record is said to be missing")
	}
}

func TestOverlaysThatCannotBeShown(t *testing.T) {
	in := input(t, charttest.SaltPan(t))
	in.Overlay = func(entry int) ([]byte, error) { return []byte("no picture"), nil }
	if words := texts(t, htmlOf(t, in), func(*html.Node) {}); !strings.Contains(words, "The overlay of entry 2 cannot be shown") {
		t.Error("a damaged overlay passes unsaid")
	}
	broken := errors.New("disk gone")
	in.Overlay = func(entry int) ([]byte, error) { return nil, broken }
	var out bytes.Buffer
	if err := WriteHTML(&out, in); !errors.Is(err, broken) || out.Len() > 0 {
		t.Errorf("got %v and %d bytes", err, out.Len())
	}
}

func TestPDF(t *testing.T) {
	in := input(t, charttest.SaltPan(t))
	var a, b bytes.Buffer
	if err := errors.Join(WritePDF(&a, in, paper.A4), WritePDF(&b, in, paper.A4)); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("two runs differ")
	}
	if err := WritePDF(&a, in, paper.Format{Name: "a0"}); fault.Code(err) != "bad_paper" {
		t.Error(err)
	}
	if n := len(regexp.MustCompile(`/Type /Page\b[^s]`).FindAll(b.Bytes(), -1)); n < 3 || n > 8 {
		t.Errorf("%d pages", n)
	}
	reader, err := exec.LookPath("pdftotext") // of poppler-utils
	if err != nil {
		t.Skip("no pdftotext: the words of the PDF are not checked")
	}
	path := filepath.Join(t.TempDir(), "report.pdf")
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(reader, "-layout", path, "-").CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	words := strings.Join(strings.Fields(string(out)), " ")
	for _, want := range []string{in.Title, "Cautions", "Saturday 14 March 2026", "Fix 2 (entry 12) lies 10.8 km off", "stand as question marks",
		"azimuthal equidistant", "leg 4, photo p04.jpg", "tea; <b>wind</b> & dust, ?", "How to read this"} {
		if !strings.Contains(words, want) {
			t.Errorf("the PDF does not say %q", want)
		}
	}
}

// What was corrected stands as it was, with what took its place.
func TestCorrectionsAreNamed(t *testing.T) {
	b := charttest.SaltPan(t)
	if _, err := b.Withdraw(t.Context(), 6, "went straight through"); err != nil { // the detour's stop
		t.Fatal(err)
	}
	if _, err := b.Fix(t.Context(), logbook.At{Supersedes: 12}, logbook.Fix{Position: charttest.At(-20.5, 25.5), Sigma: 30, Source: "the right hill"}); err != nil {
		t.Fatal(err)
	}
	d, err := compose(input(t, b))
	if err != nil {
		t.Fatal(err)
	}
	wants := []string{
		`^6\|.*\|halt\|.*\|tea; <b>wind</b> & dust, 塩\|nothing: withdrawn, went straight through\|`,
		`^7\|14 March 2026 .*\|leg, photo p04.jpg refused\|none yet\|\|.* km\|\|entry 8\|`,
		`^12\|.*\|fix, a hill that was the wrong one, 20\.\d+ S 25\.\d+ E\|.*\|entry \d+\|`,
	}
	if len(d.Replaced.Rows) != len(wants) {
		t.Fatalf("%d corrections, want %d: %q", len(d.Replaced.Rows), len(wants), d.Replaced.Rows)
	}
	for i, want := range wants {
		if got := strings.Join(d.Replaced.Rows[i], "|"); !regexp.MustCompile(want).MatchString(got) {
			t.Errorf("%s, want %s", got, want)
		}
	}
	if page := htmlOf(t, input(t, charttest.DateLine(t))); strings.Contains(page, "Corrections") {
		t.Error("corrections where there were none")
	}
}

func TestSigned(t *testing.T) {
	for v, want := range map[float64]string{0: "0.0", -0.04: "0.0", 0.06: "+0.1", -1.25: "−1.3"} {
		if got := signed(v, 1); got != want {
			t.Errorf("%v: %q, want %q", v, got, want)
		}
	}
}
