package pagetest

import (
	"bytes"
	"image/png"
	"os"
	"strings"
	"testing"

	protobrowser "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

func (b *tab) askDevice() {
	b.t.Helper()
	b.run(`document.querySelector("[data-place]").click()`)
	b.until(`document.getElementById("place-dialog").open`)
	b.click("place-device")
	b.until(`!document.getElementById("place-dialog").open || !document.getElementById("place-fault").hidden`)
}

func TestLocation(t *testing.T) {
	needsBrowser(t)
	s := newSite(t)
	b := begun(t, s.address)
	origin := strings.TrimSuffix(s.address, "/")
	b.permit("geolocation", origin, protobrowser.PermissionSettingDenied)
	b.askDevice()
	if text := b.text("place-fault"); !strings.Contains(text, "by hand") {
		t.Errorf("location denied: %q", text)
	}
	b.run(`document.querySelector("#place-dialog [data-close]").click()`)
	b.permit("geolocation", origin, protobrowser.PermissionSettingGranted)
	_, err := chromedp.Call(b.ctx, emulation.SetGeolocationOverride, emulation.SetGeolocationOverrideParams{Latitude: new(-22.9), Longitude: new(22.3), Accuracy: new(12.0)})
	if err != nil {
		t.Fatal(err)
	}
	b.askDevice()
	if text := eval[string](b, `document.querySelector("[data-place-shown]").innerText`); !strings.Contains(text, "by this device") {
		t.Errorf("the place shows as %q", text)
	}
	// Opened anew, it is the last used and says its age.
	b.run(`globalThis.later = 0`)
	b.open(s.address)
	if text := eval[string](b, `document.querySelector("[data-place-shown]").innerText`); !strings.Contains(text, "last used") {
		t.Errorf("opened anew the place shows as %q", text)
	}
}

// The one file has neither place from the device nor installation, and says so.
func TestSingleFileSays(t *testing.T) {
	needsBrowser(t)
	b := newTab(t)
	b.open("file://" + singleFile(t))
	b.click("understood")
	b.run(`document.querySelector("[data-place]").click()`)
	b.until(`document.getElementById("place-fault").innerText.includes("by hand")`)
	b.run(`document.querySelector("#place-dialog [data-close]").click()`)
	b.screen("settings")
	b.until(`document.getElementById("device-facts").innerText.includes("one file")`)
}

// A device that is full, or refuses, is told of aloud, and the reading is still shown.
func TestStorage(t *testing.T) {
	needsBrowser(t)
	t.Run("full", func(t *testing.T) {
		s := newSite(t)
		b := begun(t, s.address)
		// A store that is full undoes what was put into it (Indexed Database API 3.0, 2.7.1:
		// a transaction aborted for QuotaExceededError).
		b.run(`const put = IDBObjectStore.prototype.put;
			IDBObjectStore.prototype.put = function (...given) { const asked = put.apply(this, given); this.transaction.abort(); return asked; }`)
		b.readsWithoutStore()
	})
	t.Run("refused", func(t *testing.T) {
		s := newSite(t)
		b := begun(t, s.address, `IDBFactory.prototype.open = () => { throw new DOMException("no", "SecurityError"); }`)
		b.click("trouble-seen")
		b.readsWithoutStore()
	})
}

func (b *tab) readsWithoutStore() {
	b.t.Helper()
	b.read(demo("01-leaving-camp.jpg"))
	if b.heading() != "058.4" {
		b.t.Errorf("heading %q", b.heading())
	}
	b.until(`!document.getElementById("bar-trouble").hidden`)
	if text := b.text("trouble-text"); !strings.Contains(text, "did not store the reading") {
		b.t.Errorf("the page says %q", text)
	}
	b.screen("kept")
	b.until(`document.querySelectorAll("#kept-list > li").length === 1`)
}

func TestSettings(t *testing.T) {
	record, err := os.ReadFile(fixture("instrument/board.toml"))
	if err != nil {
		t.Fatal(err)
	}
	eachForm(t, func(b *tab, f form) {
		b.screen("settings")
		b.fill("set-rod-height-mm", "fifty")
		b.until(`!document.getElementById("set-rod-height-mm-fault").hidden`)
		b.fill("set-rod-height-mm", "-4")
		b.until(`document.getElementById("set-rod-height-mm").getAttribute("aria-invalid") === "true"`)
		b.fill("set-rod-height-mm", "50")
		b.until(`document.getElementById("set-rod-height-mm-fault").hidden`)
		b.click("record-paste")
		b.fill("paste-text", "no record")
		b.click("paste-take")
		b.until(`!document.getElementById("paste-fault").hidden`)
		b.fill("paste-text", string(record))
		b.click("paste-take")
		b.until(`document.getElementById("records-shown").innerText.includes("first truck's board")`)
		b.upload("record-file", fixture("compass/card.json"))
		b.until(`document.getElementById("records-shown").innerText.includes("lead truck")`)
		b.open(f.address)
		b.screen("settings")
		b.until(`document.getElementById("records-shown").innerText.includes("lead truck")`)
		if got := eval[string](b, `document.getElementById("set-rod-height-mm").value`); got != "50" {
			b.t.Errorf("opened anew, the rod's height is %q", got)
		}
		b.fill("set-course-deg", "60")
		b.screen("read")
		b.read(demo("01-leaving-camp.jpg"))
		// With the record's lubber line the heading is the vehicle's; the card gives a compass course.
		if norths := b.text("read-norths"); !strings.Contains(norths, "compass") || b.heading() == "" {
			b.t.Errorf("heading %q (%s), norths %q", b.heading(), b.refusal(), norths)
		}
		if b.text("read-turn") == "" || b.text("read-by") != "to course 060.0° true" {
			b.t.Errorf("a course of 60 degrees is set, and it says %q %q", b.text("read-turn"), b.text("read-by"))
		}
		// What was measured of the board once is told each time that it counts.
		b.screen("settings")
		b.fill("set-tilt-forward-deg", "0.5")
		b.fill("set-tilt-starboard-deg", "-1")
		b.screen("read")
		b.read(demo("01-leaving-camp.jpg"))
		if text := b.text("read-counted"); !strings.Contains(text, "forward edge 0.5° high, starboard edge 1° low") {
			b.t.Errorf("a tilt is set, and it says %q (%s)", text, b.refusal())
		}
	})
}

// The night view has red light only, and stays until it is put out.
func TestNight(t *testing.T) {
	eachForm(t, func(b *tab, f form) {
		b.click("night")
		b.read(demo("01-leaving-camp.jpg"))
		b.open(f.address)
		for _, name := range []string{"read", "steer", "kept", "settings", "cautions"} {
			b.screen(name)
			img, err := png.Decode(bytes.NewReader(b.picture()))
			if err != nil {
				b.t.Fatal(err)
			}
			lit := 0
			for y := range img.Bounds().Dy() {
				for x := range img.Bounds().Dx() {
					r, g, bl, _ := img.At(x, y).RGBA()
					if g>>8 > 60 || bl>>8 > 60 {
						b.t.Fatalf("%s: at %d,%d it shines %d %d %d", name, x, y, r>>8, g>>8, bl>>8)
					}
					if r>>8 > 150 {
						lit++
					}
				}
			}
			if lit < 500 {
				b.t.Errorf("%s: nothing is to be seen at night", name)
			}
		}
	})
}

// The cautions come first, and nothing else until they are acknowledged; then they are one
// touch away.
func TestCautionsFirst(t *testing.T) {
	needsBrowser(t)
	for _, f := range forms(t) {
		t.Run(f.name, func(t *testing.T) {
			b := newTab(t)
			b.open(f.address + "#steer")
			seen := func() string {
				return eval[string](b, `[...document.querySelectorAll("main > section")].filter((s) => s.checkVisibility()).map((s) => s.id).join()`)
			}
			if got := seen(); got != "screen-cautions" {
				t.Errorf("at first opening stands %q", got)
			}
			for _, words := range []string{"passenger", "sole means", "look at the sun", "rod's tip", "Local rules"} {
				if !strings.Contains(b.text("screen-cautions"), words) {
					t.Errorf("the cautions do not speak of: %s", words)
				}
			}
			b.click("understood")
			b.until(`!document.getElementById("screen-read").hidden`)
			b.open(f.address)
			if got := seen(); got == "screen-cautions" {
				t.Error("they are not remembered as read")
			}
			b.run(`document.querySelector('nav a[href="#cautions"]').click()`)
			b.until(`!document.getElementById("screen-cautions").hidden`)
		})
	}
}

// A keyboard reaches everything, and what has the focus shows it.
func TestKeyboard(t *testing.T) {
	inFolder(t, func(b *tab, _ form) {
		b.run(`document.activeElement.blur(); document.body.focus()`)
		reached := map[string]bool{}
		for range 16 {
			b.do("tab", chromedp.KeyEvent("\t"))
			at := eval[string](b, `((e) => (e.id || e.hash || e.closest("[id]")?.id) + (parseFloat(getComputedStyle(e).outlineWidth) >= 3 ? "" : " without an outline"))(document.activeElement)`)
			reached[at] = true
		}
		for _, want := range []string{"#read", "#steer", "#kept", "#settings", "#cautions", "night", "take", "choose", "stated", "by-number"} {
			if !reached[want] {
				b.t.Errorf("the key Tab does not reach %s, but %v", want, reached)
			}
		}
		b.run(`document.querySelector('nav a[href="#steer"]').focus()`)
		b.do("enter", chromedp.KeyEvent("\r"))
		b.until(`!document.getElementById("screen-steer").hidden && document.activeElement.id === "title-steer"`)
		b.run(`document.querySelector("#screen-steer [data-place]").click()`)
		b.until(`document.getElementById("place-dialog").open`)
		b.do("escape", chromedp.KeyEvent("\x1b"))
		b.until(`!document.getElementById("place-dialog").open`)
	})
}

// The device's own sheet gets the file where there is one.
func TestShares(t *testing.T) {
	needsBrowser(t)
	s := newSite(t) // closed after the window
	b := newTab(t)
	b.clock(campTime, false)
	b.before(`globalThis.shared = []; Navigator.prototype.canShare = () => true;
		Navigator.prototype.share = async ({files}) => { shared.push(files[0].name + ": " + await files[0].text()) }`)
	b.open(s.address)
	b.click("understood")
	b.read(demo("01-leaving-camp.jpg"))
	b.screen("kept")
	b.until(`document.querySelectorAll("#kept-list > li").length === 1`)
	b.run(`document.querySelector('input[value="headings"]').click()`)
	b.click("kept-share")
	b.until(`shared.length === 1`)
	if text := eval[string](b, `shared[0]`); !strings.Contains(text, ".csv: ") || !strings.Contains(text, "58.4") {
		t.Errorf("shared: %s", text)
	}
	b.calm()
}

// The policy lets nothing in line run, in either form.
func TestPolicyHolds(t *testing.T) {
	eachForm(t, func(b *tab, _ form) {
		b.silent = contains("Content Security Policy")
		b.run(`const s = document.createElement("script"); s.textContent = "globalThis.broken = 1"; document.head.append(s);
			const i = document.createElement("button"); i.setAttribute("onclick", "globalThis.broken = 1"); document.body.append(i); i.click();
			await new Promise((r) => setTimeout(r, 100))`)
		if eval[bool](b, `globalThis.broken === 1`) {
			b.t.Error("a script in line ran")
		}
		if n := len(b.heard()); n == 0 {
			b.t.Error("the browser did not complain of it")
		}
	})
}
