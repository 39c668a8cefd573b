package pagetest

import (
	"bytes"
	"flag"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the kept pictures of the screens anew")

// size is a telephone's window, with the least height of the main figure's digits in it.
type size struct {
	name          string
	width, height int64
	digits        int
}

var sizes = []size{{"upright", 390, 844, 100}, {"lying", 844, 390, 200}}

// Answers in their longest forms, put on the screen as those of the program are.
const (
	longestReading = `(await import("./read.js")).showAnswer({reading: {time_utc: new Date(Date.now() - 14000).toISOString()},
		say: {status: "ok", heading: "359.9", plus_minus: "12.3", turn: "turn right 179.9°", course: "359.9", compass: "359.9° ± 12.3°", grid: "359.9° ± 12.3°", by: "moon",
		local_time: "08:12:31", local_date: "2026-08-29", utc_offset: "+02:00", warnings: [], budget: [], notes: []}}, "photo.jpg", "")`
	longestSteer = `const {helm} = await import("./engine.js"), ask = helm.ask.bind(helm);
		helm.ask = (call, request, ...more) => call !== "steer" ? ask(call, request, ...more)
			: request.number_deg ? {answer: {say: {turn: "turn right 179.9°"}}} : new Promise(() => {});
		(await import("./steer.js")).showSteer({say: {status: "ok", number: "359.9", held: "359.9° true ± 12.3°", plus_minus: "12.3", course: "359.9",
		changes: [{number: "000", local_time: "23:16:40"}, {number: "001", local_time: "23:20:10"}, {number: "002", local_time: "23:24:40"}],
		usable: "until 29 August 18:08:30, then no number gives the course", compass: "must show 359.9° ± 12.3°", grid: "course 359.9° ± 12.3°",
		sky: "moon, altitude 18.9°, azimuth 070.7°, lit to 98 %", local_time: "08:12:45", utc_offset: "+02:00", warnings: [], next_ms: Date.now() + 1e6}}, Date.now());
		document.getElementById("eye-deg").value = "346.0"; document.getElementById("eye-form").requestSubmit(); await new Promise((r) => setTimeout(r, 100))`
)

// box is an element's place in the window.
type box struct {
	Left, Top, Right, Bottom float64
	Seen                     bool // nothing lies over it
	What                     string
}

const boxOf = `(e) => { const r = e.getBoundingClientRect(), at = document.elementFromPoint((r.left + r.right) / 2, (r.top + r.bottom) / 2);
	return {Left: r.left, Top: r.top, Right: r.right, Bottom: r.bottom, Seen: at !== null && (e === at || e.contains(at) || at.contains(e)),
		What: e.tagName.toLowerCase() + " " + (e.id || e.getAttribute("aria-label") || e.innerText || "").trim().slice(0, 40)} }`

func (b *tab) box(selector string) box {
	b.t.Helper()
	return eval[box](b, fmt.Sprintf("(%s)(document.querySelector(%q))", boxOf, selector))
}

// inkHeight is how high the dark figures stand in a part of the picture.
func inkHeight(t *testing.T, shot []byte, in box) int {
	t.Helper()
	img, err := png.Decode(bytes.NewReader(shot))
	if err != nil {
		t.Fatal(err)
	}
	first, last := -1, -2
	for y := int(in.Top); y < int(math.Ceil(in.Bottom)); y++ {
		for x := int(in.Left); x < int(in.Right); x++ {
			if brightness(img, x, y) < 128 {
				if first < 0 {
					first = y
				}
				last = y
				break
			}
		}
	}
	return last - first + 1
}

// brightness is that of the brightest of a point's colours: red light is all that is at night.
func brightness(img image.Image, x, y int) float64 {
	r, g, b, _ := img.At(x, y).RGBA()
	return float64(max(r, g, b)) / 257
}

// inFewColours makes a screen small enough to be kept: 16 greys and 16 reds.
func inFewColours(t *testing.T, data []byte) []byte {
	t.Helper()
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	var palette color.Palette
	for i := range 16 {
		palette = append(palette, color.Gray{Y: uint8(17 * i)}, color.RGBA{R: uint8(17 * i), G: uint8(2 * i), A: 255})
	}
	few := image.NewPaletted(img.Bounds(), palette)
	draw.Draw(few, few.Rect, img, img.Bounds().Min, draw.Src)
	var out bytes.Buffer
	if err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&out, few); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// The main figure and what belongs to it are seen without scrolling in their longest forms,
// the digits as high as they must be.
func TestFigures(t *testing.T) {
	needsBrowser(t)
	s := newSite(t)
	for _, screen := range []struct{ name, show, figure string }{
		{"read", longestReading, "#read-figure svg"}, {"steer", longestSteer, "#steer-figure svg"},
	} {
		for _, size := range sizes {
			t.Run(screen.name+" "+size.name, func(t *testing.T) {
				b := newTab(t)
				b.clock(campTime, false)
				b.size(size.width, size.height)
				b.open(s.address)
				b.click("understood")
				b.steer()
				b.screen(screen.name)
				b.run(screen.show)
				figure := b.box(screen.figure)
				if got := inkHeight(t, b.picture(), figure); got < size.digits {
					t.Errorf("the digits are %d px high, not %d", got, size.digits)
				}
				nav := b.box("nav")
				right, bottom := float64(size.width), float64(size.height)
				if size.width < size.height {
					bottom = nav.Top
				}
				for _, part := range []string{screen.figure, "#" + screen.name + "-plate .head", "#" + screen.name + "-plate .turn", "#" + screen.name + "-plate .norths"} {
					at := b.box(part)
					if at.Left < 0 || at.Top < 0 || at.Right > right+0.5 || at.Bottom > bottom+0.5 || !at.Seen {
						t.Errorf("%s lies from %.0f,%.0f to %.0f,%.0f, seen %v, in %.0f x %.0f", part, at.Left, at.Top, at.Right, at.Bottom, at.Seen, right, bottom)
					}
				}
				for _, part := range []string{"#read-sigma", ".turn span"} {
					if eval[bool](b, fmt.Sprintf(`[...document.querySelectorAll("#screen-%s %s")].some((e) => e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).display !== "inline")`, screen.name, part)) {
						t.Errorf("%s is cut", part)
					}
				}
				if wide := eval[int](b, `document.documentElement.scrollWidth`); wide > int(size.width) {
					t.Errorf("the page is %d px wide", wide)
				}
			})
		}
	}
}

// states are the screens as they are looked at and checked.
func states(b *tab) []struct {
	name string
	show func()
} {
	closeDialogs := `for (const d of document.querySelectorAll("dialog[open]")) d.close();`
	return []struct {
		name string
		show func()
	}{
		{"cautions", func() { b.screen("cautions") }},
		{"read-nothing", func() { b.screen("read") }},
		{"read-heading", func() {
			b.read(demo("01-leaving-camp.jpg"))
			b.until(`!document.getElementById("check-picture").hidden`)
		}},
		{"read-details", func() {
			b.run(`for (const d of document.querySelectorAll("#screen-read details")) d.open = true`)
		}},
		{"picture", func() { b.click("check-picture"); b.until(`document.getElementById("picture").complete`) }},
		{"read-old", func() {
			b.run(closeDialogs + `for (const d of document.querySelectorAll("#screen-read details")) d.open = false; globalThis.later = 720000`)
			b.until(`document.getElementById("read-plate").classList.contains("old")`)
		}},
		{"read-refused", func() {
			b.run(`globalThis.later = 86400000 * 2`)
			b.read(demo("07-rod-hides-shadow.jpg"))
			b.until(`!document.getElementById("check-picture").hidden`)
		}},
		{"place", func() {
			b.run(`globalThis.later = 0`)
			b.place("22", "54.0", "S", "22", "", "")
		}},
		{"steer", func() {
			b.run(closeDialogs)
			b.steer()
			b.fill("eye-deg", "346")
			b.run(`document.getElementById("eye-form").requestSubmit()`)
			b.until(`!document.getElementById("steer-turn").hidden`)
			b.run(`window.scrollTo(0, 0); document.activeElement.blur()`)
		}},
		{"kept", func() {
			b.screen("kept")
			b.until(`document.querySelector("#kept-list details")`)
			b.run(`document.querySelector("#kept-list details").open = true`)
		}},
		{"ask", func() { b.click("kept-remove-all"); b.until(`document.getElementById("ask-dialog").open`) }},
		{"settings", func() {
			b.run(closeDialogs)
			b.screen("settings")
			b.until(`document.getElementById("device-facts").innerText.includes("yes, version")`)
			b.fill("set-rod-height-mm", "fifty")
			b.until(`!document.getElementById("set-rod-height-mm-fault").hidden`)
		}},
		{"paste", func() {
			b.click("record-paste")
			b.click("paste-take")
			b.until(`!document.getElementById("paste-fault").hidden`)
		}},
	}
}

// Each screen, by day upright and lying and by night, looks as it was last looked at with
// one's own eyes (go test -update writes the kept pictures anew), has targets for thumbs in
// gloves, and no violation of the Web Content Accessibility Guidelines 2.2, levels A and AA,
// that axe-core 4.14.1 finds.
func TestScreens(t *testing.T) {
	needsBrowser(t)
	axe, err := os.ReadFile("testdata/axe/axe.min.js")
	if err != nil {
		t.Fatal(err)
	}
	s := newSite(t)
	for _, look := range []struct {
		name  string
		size  size
		night bool
	}{{"upright", sizes[0], false}, {"lying", sizes[1], false}, {"night", sizes[0], true}} {
		t.Run(look.name, func(t *testing.T) {
			b := newTab(t)
			b.clock(campTime, true)
			b.size(look.size.width, look.size.height)
			b.open(s.address)
			b.click("understood")
			if look.night {
				b.click("night")
			}
			b.run(string(axe))
			measured := 0
			for _, state := range states(b) {
				state.show()
				b.run(`document.activeElement?.blur(); for (const e of [document.documentElement, ...document.querySelectorAll("dialog")]) e.scrollTop = 0;
					await new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(r)))`)
				compare(t, state.name+"-"+look.name, b.picture())
				measured += b.targets(state.name)
				for _, violation := range b.violations() {
					t.Errorf("%s: %s", state.name, violation)
				}
			}
			if measured < 100 {
				t.Errorf("only %d targets were measured", measured)
			}
			// The check finds what is wrong, if something is.
			b.run(`document.querySelector("dialog[open]").close(); document.querySelector("main").append(document.createElement("img"))`)
			if found := b.violations(); len(found) != 1 || !strings.Contains(found[0], "image-alt") {
				t.Errorf("a picture without words is not found: %v", found)
			}
		})
	}
}

// targets fails where something to be touched is less than 56 px either way, and returns how
// many there are.
func (b *tab) targets(state string) int {
	b.t.Helper()
	list := eval[[]box](b, `[...document.querySelectorAll("a, button, input, select, textarea, summary")]
		.filter((e) => e.checkVisibility() && (!document.querySelector("dialog[open]") || e.closest("dialog[open]")))
		.map((e) => e.matches("[type=checkbox], [type=radio]") ? e.closest("label") : e).map(`+boxOf+`)`)
	for _, at := range list {
		if at.Right-at.Left < 55.9 || at.Bottom-at.Top < 55.9 {
			b.t.Errorf("%s: %q is %.0f x %.0f px", state, at.What, at.Right-at.Left, at.Bottom-at.Top)
		}
	}
	return len(list)
}

// compare fails where more than a fiftieth of the squares differs by more than a fifth of white.
func compare(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", "screens", name+".png")
	if *update {
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, inFewColours(t, got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Error(err)
		return
	}
	a, b := squares(t, got), squares(t, want)
	if len(a) != len(b) {
		t.Errorf("%s: another size than the kept picture", name)
		return
	}
	off := 0
	for i := range a {
		if math.Abs(a[i]-b[i]) > 51 {
			off++
		}
	}
	if share := float64(off) / float64(len(a)); share > 0.02 {
		out := filepath.Join(os.TempDir(), "shadowread-screen-"+name+".png")
		os.WriteFile(out, got, 0o644)
		t.Errorf("%s: %.1f %% of the screen differs from %s; see %s", name, 100*share, path, out)
	}
}

func squares(t *testing.T, data []byte) (out []float64) {
	t.Helper()
	img, err := png.Decode(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	const side = 8
	r := img.Bounds()
	for y := r.Min.Y; y+side <= r.Max.Y; y += side {
		for x := r.Min.X; x+side <= r.Max.X; x += side {
			sum := 0.0
			for dy := range side {
				for dx := range side {
					sum += brightness(img, x+dx, y+dy)
				}
			}
			out = append(out, sum/(side*side))
		}
	}
	return out
}

// finding is a violation by axe-core.
type finding struct {
	ID    string `json:"id"`
	Help  string `json:"help"`
	Nodes []struct {
		HTML    string `json:"html"`
		Summary string `json:"failureSummary"`
	} `json:"nodes"`
}

// violations are what axe-core, which must have been loaded, finds in the page as it stands.
func (b *tab) violations() (out []string) {
	b.t.Helper()
	for _, f := range eval[[]finding](b, `axe.run(document, {runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"], resultTypes: ["violations"]}).then((r) => r.violations)`) {
		for _, n := range f.Nodes {
			out = append(out, fmt.Sprintf("%s, %s\n%s\n%s", f.ID, f.Help, n.HTML, n.Summary))
		}
	}
	return out
}
