package pagetest

import (
	"fmt"
	"strings"
	"testing"

	protobrowser "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// mortal lets a test end the page's workers in silence, as a device does that is short of memory:
// theDead swallow what is posted to them. Timers that go on and on run twenty times as fast, so
// that nobody need wait for the page's patience.
const mortal = `
	const There = globalThis.Worker, every = globalThis.setInterval, alive = new Set();
	globalThis.stillborn = 0;
	globalThis.Worker = class extends There {
		constructor(...given) {
			super(...given);
			this.dead = stillborn-- > 0;
			alive.add(this);
		}
		postMessage(...given) { if (!this.dead) super.postMessage(...given); }
	};
	globalThis.dieAll = () => { for (const w of alive) w.dead = true; alive.clear(); };
	globalThis.setInterval = (work, ms, ...given) => every(work, ms / 20, ...given);
	const now = performance.now.bind(performance);
	performance.now = () => now() + (globalThis.later ?? 0)`

// mortalPage is the page with workers that can be ended, the cautions acknowledged.
func mortalPage(t *testing.T, before string) *tab {
	t.Helper()
	needsBrowser(t)
	s := newSite(t) // closed after the window
	b := newTab(t)
	b.clock(campTime, false)
	b.before(mortal + "\n" + before)
	b.do("open", chromedp.Navigate(s.address))
	return b
}

// What steers is begun anew where its worker gives no answer any more: the number comes again.
func TestSteersOnAfterADeadWorker(t *testing.T) {
	b := mortalPage(t, "")
	b.until(`document.documentElement.dataset.ready === "all"`)
	b.click("understood")
	b.steer()
	old := b.held()
	b.run(`dieAll(); globalThis.later = 3600e3`)
	b.until(fmt.Sprintf(`document.querySelector("#steer-figure svg")?.getAttribute("aria-label").split(" ")[1] > %q && !document.getElementById("steer-plate").classList.contains("old")`, old))
}

// A turn does not stand beside another number than that by which it was computed, while nothing
// answers.
func TestTurnIsOfItsNumber(t *testing.T) {
	b := mortalPage(t, "")
	b.until(`document.documentElement.dataset.ready === "all"`)
	b.click("understood")
	b.steer()
	b.fill("eye-deg", "346")
	b.run(`document.getElementById("eye-form").requestSubmit()`)
	b.until(`!document.getElementById("steer-turn").hidden`)
	b.run(`dieAll()`)
	b.fill("eye-deg", "340")
	b.run(`document.getElementById("eye-form").requestSubmit()`)
	if turn := b.text("steer-turn"); !eval[bool](b, `document.getElementById("steer-turn").hidden`) {
		t.Errorf("340 is read, and by 346 it says %q", turn)
	}
}

// A photo whose reader gives no answer any more is said to have none, and is read once it was
// cancelled.
func TestReadsAfterADeadWorker(t *testing.T) {
	b := mortalPage(t, "")
	b.until(`document.documentElement.dataset.ready === "all"`)
	b.click("understood")
	b.read(demo("01-leaving-camp.jpg"))
	b.until(`!document.getElementById("check-picture").hidden`) // else the next one has a new reader
	b.run(`dieAll(); document.getElementById("read-plate").hidden = true`)
	b.upload("choose-file", demo("01-leaving-camp.jpg"))
	b.until(`document.getElementById("working-line").innerText.includes("reading …")`)
	if text := b.text("working-line"); strings.Contains(text, "no answer") {
		t.Errorf("at once it says %q", text)
	}
	b.run(`globalThis.later = 61e3`)
	b.until(`document.getElementById("working-line").innerText.includes("no answer for a minute")`)
	b.run(`globalThis.later = 0`)
	b.click("cancel")
	b.read(demo("01-leaving-camp.jpg"))
	if b.heading() != "058.4" {
		t.Errorf("after that the page reads %q (%s)", b.heading(), b.refusal())
	}
}

// A program that does not start in its worker is said not to, and is begun anew at the next call.
func TestStartsAfterAStillbornWorker(t *testing.T) {
	b := mortalPage(t, `stillborn = 1`)
	b.until(`document.getElementById("trouble-text").innerText.includes("the program does not start")`)
	b.click("understood")
	b.steer()
	b.screen("read")
	b.read(demo("01-leaving-camp.jpg"))
	if b.heading() != "058.4" {
		t.Errorf("after that the page reads %q (%s)", b.heading(), b.refusal())
	}
}

// A device whose browser asks again whether the page may have its place keeps no photo waiting.
func TestReadsWhileThePlaceIsAsked(t *testing.T) {
	needsBrowser(t)
	s := newSite(t)
	b := begun(t, s.address)
	b.permit("geolocation", strings.TrimSuffix(s.address, "/"), protobrowser.PermissionSettingGranted)
	_, err := chromedp.Call(b.ctx, emulation.SetGeolocationOverride, emulation.SetGeolocationOverrideParams{Latitude: new(-22.9), Longitude: new(22.3), Accuracy: new(12.0)})
	if err != nil {
		t.Fatal(err)
	}
	b.askDevice()
	b.run(`const once = setTimeout; globalThis.setTimeout = (work, ms, ...given) => once(work, ms / 10, ...given);
		Geolocation.prototype.getCurrentPosition = () => {}; globalThis.later = 300e3`)
	b.upload("choose-file", demo("01-leaving-camp.jpg"))
	b.until(`document.getElementById("working-line").innerText.includes("asking this device for its place")`)
	b.until(answered)
	if b.heading() != "058.4" {
		t.Errorf("the page reads %q (%s)", b.heading(), b.refusal())
	}
}

// A network that stalls while the program is loaded is told of, and no longer once it is there.
func TestProgramIsStillLoaded(t *testing.T) {
	needsBrowser(t)
	s := newSite(t) // closed after the window
	b := newTab(t)
	b.clock(campTime, false)
	b.before(`const reach = globalThis.fetch, once = globalThis.setTimeout;
		globalThis.fetch = (...given) => new Promise((resolve) => { globalThis.goOn = () => resolve(reach(...given)) });
		globalThis.setTimeout = (work, ms, ...given) => once(work, ms / 20, ...given)`)
	b.do("open", chromedp.Navigate(s.address))
	b.until(`document.getElementById("trouble-text").innerText.includes("still being loaded")`)
	b.run(`goOn()`)
	b.until(`document.documentElement.dataset.ready === "all"`)
	b.calm()
}
