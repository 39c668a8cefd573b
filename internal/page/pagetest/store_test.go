package pagetest

import (
	"testing"

	"github.com/chromedp/chromedp"
)

// A browser that closes the device's store by itself, as some do to a page that lay behind others,
// does not keep readings from it: it is opened again.
func TestStoreIsOpenedAgain(t *testing.T) {
	needsBrowser(t)
	s := newSite(t) // closed after the window
	b := newTab(t)
	b.clock(campTime, false)
	b.before(`const open = IDBFactory.prototype.open;
		IDBFactory.prototype.open = function (...given) {
			const asked = open.apply(this, given);
			asked.addEventListener("success", () => { globalThis.theBase = asked.result });
			return asked;
		}`)
	b.open(s.address)
	b.click("understood")
	b.run(`theBase.close()`)
	b.read(demo("01-leaving-camp.jpg"))
	b.screen("kept")
	b.until(`document.querySelectorAll("#kept-list > li").length === 1`)
	b.calm()
	if n := eval[int](b, `(async () => (await import("./store.js")).keptInMemory())()`); n != 0 {
		t.Errorf("%d readings are in memory only", n)
	}
}

// A store that does not open keeps nobody from reading: the page says what it has not, and what
// was read meanwhile is stored once it opens. Settings of before are not written over.
func TestStoreIsSilent(t *testing.T) {
	needsBrowser(t)
	s := newSite(t) // closed after the window
	b := begun(t, s.address)
	b.screen("settings")
	b.fill("set-rod-height-mm", "50")
	b.until(`document.getElementById("set-rod-height-mm-fault").hidden`)
	stored := `new Promise((told) => { openBase.call(indexedDB, "shadowread").onsuccess = (e) => {
		const t = e.target.result.transaction(["kept", "values"]), kept = t.objectStore("kept").count(), set = t.objectStore("values").get("settings");
		t.oncomplete = () => told(kept.result + " kept, rod " + set.result?.rod_height_mm) } })`
	b.run(`globalThis.openBase = IDBFactory.prototype.open`)
	b.before(`const open = globalThis.openBase = IDBFactory.prototype.open, every = setInterval;
		globalThis.setInterval = (work, ms) => every(work, ms / 20); // nobody need wait for the page's patience
		IDBFactory.prototype.open = function (...given) {
			const asked = {}, there = open.apply(this, given);
			globalThis.letOpen = () => { asked.result = there.result; asked.onsuccess() };
			return asked;
		}`)
	if got := eval[string](b, stored); got != "0 kept, rod 50" {
		t.Fatalf("stored: %s", got)
	}
	b.do("open", chromedp.Navigate(s.address))
	b.until(`document.documentElement.dataset.ready === "all" && document.getElementById("trouble-text").innerText.includes("store does not answer")`)
	b.click("understood")
	b.screen("settings")
	b.fill("set-course-deg", "60")
	b.until(`document.getElementById("set-course-deg-fault").hidden`)
	b.screen("read")
	b.read(demo("01-leaving-camp.jpg"))
	if b.heading() != "058.4" {
		t.Errorf("the page reads %q (%s)", b.heading(), b.refusal())
	}
	b.screen("kept")
	b.until(`document.querySelectorAll("#kept-list > li").length === 1`)
	b.run(`letOpen(); const {keptInMemory} = await import("./store.js"); while (keptInMemory()) await new Promise((r) => setTimeout(r, 20))`)
	if got := eval[string](b, stored); got != "1 kept, rod 50" {
		t.Errorf("stored: %s", got)
	}
}
