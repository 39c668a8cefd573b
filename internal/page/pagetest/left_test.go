package pagetest

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"shadowread/internal/photo/exifwrite"
)

// A browser that loads a page anew puts back what stood in its fields: what was stated by hand
// for a photo of before must not be among it.
func TestStatedIsNotRestored(t *testing.T) {
	inFolder(t, func(b *tab, _ form) {
		b.run(`document.getElementById("stated").open = true`)
		b.fill("stated-date", "2026-08-29")
		b.fill("stated-time", "07:12:31")
		b.fill("stated-body", "moon")
		b.run(`delete document.documentElement.dataset.ready; setTimeout(() => location.reload(), 10)`)
		b.until(`document.documentElement.dataset.ready === "all"`)
		if got := eval[string](b, `["date", "time", "body"].map((w) => document.getElementById("stated-" + w).value).join("")`); got != "" {
			b.t.Errorf("loaded anew, the page has stated by hand: %q", got)
		}
	})
}

// A number that is read while a photo is being read takes its place: nothing goes on for ever.
func TestNumberEndsPhoto(t *testing.T) {
	needsBrowser(t)
	s := newSite(t) // closed after the window
	b := begun(t, s.address, burdened)
	b.place("22", "54.0", "S", "22", "18.0", "E")
	b.readsLong()
	b.fill("number-deg", "347.7")
	b.run(`globalThis.burden = 0; document.getElementById("number-form").requestSubmit()`)
	b.until(answered)
	if got := b.heading(); got == "" { // bench-12mp.jpg is refused here: it is of another day
		t.Errorf("the number is refused with %q", b.refusal())
	}
	b.until(`document.getElementById("working").hidden && !document.getElementById("take").disabled && !document.getElementById("choose").disabled`)
	b.read(demo("01-leaving-camp.jpg"))
	if b.heading() != "058.4" {
		t.Errorf("after that the page reads %q (%s)", b.heading(), b.refusal())
	}
	b.calm()
}

// A photo that is not read, for what is stated by hand is half said, does not stand under the
// heading of the one before.
func TestHalfStatedLeavesNoOldHeading(t *testing.T) {
	inFolder(t, func(b *tab, _ form) {
		b.run(`globalThis.later = 86400e3`) // both were taken before now
		b.read(demo("01-leaving-camp.jpg"))
		b.fill("stated-date", "2026-08-29")
		b.upload("choose-file", demo("02-second-truck.jpg"))
		b.until(`!document.getElementById("stated-fault").hidden`)
		if got := b.heading(); got != "" {
			b.t.Errorf("another photo was chosen, and heading %s still stands", got)
		}
		b.fill("stated-date", "")
		b.click("stated-again")
		b.until(answered)
		if got := b.heading(); got == "" || got == "058.4" {
			b.t.Errorf("then the second photo reads %q (%s)", got, b.refusal())
		}
	})
}

// A place that was given up for the photo's own is not there again when the page is opened anew.
func TestDroppedPlaceStaysAway(t *testing.T) {
	inFolder(t, func(b *tab, f form) {
		b.place("22", "54.0", "S", "12", "18.0", "E")
		b.read(demo("01-leaving-camp.jpg"))
		b.run(`[...document.querySelectorAll("#refused-acts button")].find((e) => e.innerText.includes("photo's")).click()`)
		b.until(`!document.getElementById("read-plate").hidden`)
		b.open(f.address)
		if text := eval[string](b, `document.querySelector("[data-place-shown]").innerText`); !strings.Contains(text, "not given") {
			b.t.Errorf("opened anew, the wrong place is back: %q", text)
		}
	})
}

// By which place a heading was read stands where the place stands.
func TestShowsPhotosPlace(t *testing.T) {
	inFolder(t, func(b *tab, _ form) {
		b.read(demo("01-leaving-camp.jpg"))
		text := eval[string](b, `document.querySelector("#screen-read [data-place-shown]").innerText`)
		if !strings.Contains(text, "the photo's own") || !strings.Contains(text, "22.9") {
			b.t.Errorf("a photo was read by its own place, and it says %q", text)
		}
		if text := eval[string](b, `document.querySelector("#screen-steer [data-place-shown]").textContent`); text != "not given" {
			b.t.Errorf("the screen Steer has that place too: %q", text)
		}
	})
}

// Where summer time has ended since, a time without a UTC offset is by the offset of its own
// day. In 2026 central Europe puts its clocks back on 25 October (Directive 2000/84/EC).
func TestOffsetOfItsDay(t *testing.T) {
	inFolder(t, func(b *tab, _ form) {
		if _, err := chromedp.Call(b.ctx, emulation.SetTimezoneOverride, emulation.SetTimezoneOverrideParams{TimezoneID: "Europe/Berlin"}); err != nil {
			b.t.Fatal(err)
		}
		b.run(`globalThis.later = 80 * 86400e3`) // it is November
		b.place("22", "54.0", "S", "22", "18.0", "E")
		b.fill("stated-date", "2026-08-29")
		b.fill("stated-time", "08:12:31")
		b.read(bare(b.t, campTime))
		if b.heading() != "058.4" {
			b.t.Errorf("a time of August stated in November: %q (%s)", b.heading(), b.refusal())
		}
		b.read(withoutOffset(b.t))
		b.trustOffset("+02:00")
		if got := b.heading(); got != "058.4" {
			b.t.Errorf("a photo of August without an offset, in November: %q", got)
		}
	})
}

// What was set in another window holds in this one when it is looked at again.
func TestTwoWindows(t *testing.T) {
	inFolder(t, func(b *tab, f form) {
		b.run(`const {setValue} = await import("./store.js"), {settingsNow} = await import("./settings.js");
			await setValue("settings", {...settingsNow(), course_deg: 123, rod_height_mm: 50})
			document.dispatchEvent(new Event("visibilitychange"))`)
		b.until(`document.getElementById("set-course-deg").value === "123"`)
		b.screen("settings")
		b.fill("set-lubber-sigma-deg", "1")
		b.until(`document.getElementById("set-lubber-sigma-deg-fault").hidden`)
		b.open(f.address)
		if got := eval[string](b, `document.getElementById("set-rod-height-mm").value`); got != "50" {
			b.t.Errorf("a change in this window undid the other's: rod %q", got)
		}
	})
}

// What was removed in another window does not stand in this one when it is looked at again.
func TestKeptInTwoWindows(t *testing.T) {
	inFolder(t, func(b *tab, _ form) {
		b.read(demo("01-leaving-camp.jpg"))
		b.screen("kept")
		b.until(`document.querySelectorAll("#kept-list > li").length === 1`)
		b.run(`const {allKept, remove} = await import("./store.js"); await remove((await allKept()).map((k) => k.id));
			document.dispatchEvent(new Event("visibilitychange"))`)
		b.until(`document.querySelectorAll("#kept-list > li").length === 0 && !document.getElementById("kept-none").hidden`)
	})
}

// A comma that parts thousands is none that parts tenths.
func TestOdometerWithThousands(t *testing.T) {
	inFolder(t, func(b *tab, _ form) {
		b.read(demo("01-leaving-camp.jpg"))
		b.screen("kept")
		b.until(`document.querySelector("#kept-list input")`)
		b.run(`const [, note] = document.querySelectorAll("#kept-list input[type=text]"); note.value = "soft ground"`)
		for typed, ok := range map[string]bool{"45,210": false, "45.210": false, "45210,4": true, "45210": true} {
			b.run(fmt.Sprintf(`const f = document.querySelector("#kept-list input"); f.value = %q; f.dispatchEvent(new Event("change")); await new Promise((r) => setTimeout(r, 50))`, typed))
			if got := eval[bool](b, `document.querySelector("#kept-list .fault").hidden`); got != ok {
				b.t.Errorf("an odometer of %q is taken: %v", typed, got)
			}
			kept := eval[string](b, `(async () => { const {allKept} = await import("./store.js"), [k] = await allKept(); return k.odometer + " " + k.note })()`)
			if want := map[bool]string{true: strings.Replace(typed, ",", ".", 1)}[ok] + " soft ground"; kept != want {
				b.t.Errorf("of %q is kept %q, not %q", typed, kept, want)
			}
		}
	})
}

// What is said of a kept reading while the list is drawn anew stays in its row.
func TestSaidWhileTheListIsDrawn(t *testing.T) {
	inFolder(t, func(b *tab, _ form) {
		b.read(demo("01-leaving-camp.jpg"))
		b.screen("kept")
		b.until(`document.querySelector("#kept-list input")`)
		b.run(`await new Promise((r) => setTimeout(r, 500))
			document.dispatchEvent(new Event("visibilitychange")) // it is read again
			const [odometer, note] = document.querySelectorAll("#kept-list input[type=text]")
			note.value = "soft ground"; odometer.value = "45210"; odometer.dispatchEvent(new Event("change"))
			await new Promise((r) => setTimeout(r, 500))`)
		if got := eval[string](b, `[...document.querySelectorAll("#kept-list input[type=text]")].map((f) => f.value).join("; ")`); got != "45210; soft ground" {
			b.t.Errorf("the row shows %q", got)
		}
	})
}

// withoutOffset is the first demo photo by a camera that writes no UTC offset, its file copied
// since.
func withoutOffset(t *testing.T) string {
	t.Helper()
	path := bare(t, campTime)
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	data, err = exifwrite.Insert(data, exifwrite.Tags{Clock: time.Date(2026, 8, 29, 8, 12, 31, 0, time.UTC)})
	if err != nil {
		t.Fatal(err)
	}
	path = filepath.Join(t.TempDir(), "no-offset.jpg")
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
	copied := campTime.Add(40*24*time.Hour + 11*time.Minute)
	if err := os.Chtimes(path, copied, copied); err != nil {
		t.Fatal(err)
	}
	return path
}

// A photo that is read twice is one reading: the log takes no photo twice.
func TestPhotoReadTwice(t *testing.T) {
	inFolder(t, func(b *tab, _ form) {
		b.read(demo("01-leaving-camp.jpg"))
		b.screen("kept")
		b.until(`document.querySelector("#kept-list input")`)
		b.run(`const f = document.querySelector("#kept-list input"); f.value = "45210"; f.dispatchEvent(new Event("change"))`)
		b.screen("settings")
		b.fill("set-lubber-sigma-deg", "1")
		b.screen("read")
		b.read(demo("01-leaving-camp.jpg"))
		last := "058.4° " + b.text("read-sigma") + " at 45210"
		b.screen("kept")
		const kept = `[...document.querySelectorAll("#kept-list > li")].map((e) => e.querySelector("b").innerText + " at " + e.querySelector("input").value).join().replaceAll("\u00a0", " ")`
		b.until(kept + ` === ` + strconv.Quote(last)) // it is stored once it is shown
		if got := eval[string](b, kept); got != last {
			b.t.Errorf("kept is %q, not the last %q", got, last)
		}
	})
}

// With a clock that is slow by an hour, and known to be, a heading grows old like any other.
func TestGrowsOldByItsClock(t *testing.T) {
	inFolder(t, func(b *tab, _ form) {
		b.place("22", "54.0", "S", "22", "18.0", "E")
		b.screen("settings")
		b.fill("set-clock-error-s", "-3600")
		b.screen("read")
		b.fill("number-deg", "340")
		b.run(`document.getElementById("number-form").requestSubmit()`)
		b.until(answered)
		if text := b.text("read-counted"); !strings.Contains(text, "3600 s slow") {
			b.t.Errorf("it does not say that the clock's error was counted: %q", text)
		}
		if text := b.text("read-age"); !strings.Contains(text, "now") {
			b.t.Errorf("read just now, it says %q", text)
		}
		b.run(`globalThis.later = 12 * 60000`)
		b.until(`document.getElementById("read-plate").classList.contains("old")`)
	})
}

// What may make the hour wrong stands beside the heading.
func TestDoubtOfHourIsSeen(t *testing.T) {
	inFolder(t, func(b *tab, _ form) {
		b.run(`globalThis.later = 86400e3`)
		b.place("22", "54.0", "S", "22", "18.0", "E")
		b.read(withoutOffset(b.t))
		b.trustOffset("+02:00")
		if text := b.text("read-counted"); b.heading() == "" || !strings.Contains(text, "no UTC offset") || !strings.Contains(text, "where the photo was taken") {
			b.t.Errorf("heading %q (%s), beside it %q", b.heading(), b.refusal(), text)
		}
	})
}

// While no course stands in its field, no number does either.
func TestWrongCourseHoldsNothing(t *testing.T) {
	inFolder(t, func(b *tab, _ form) {
		b.steer()
		for _, typed := range []string{"abc", "400"} {
			b.fill("course-deg", typed)
			b.until(`!document.getElementById("course-fault").hidden && document.getElementById("steer-why").innerText.includes("Correct the course")`)
			if b.held() != "" {
				b.t.Errorf("%q is no course, and hold %s", typed, b.held())
			}
			b.fill("course-deg", "59")
			b.until(`document.getElementById("steer-for").innerText.includes("059.0")`)
		}
	})
}

// In a window of 320 pixels nothing is cut (WCAG 2.2, 1.4.10).
func TestNarrowWindow(t *testing.T) {
	inFolder(t, func(b *tab, _ form) {
		b.read(demo("01-leaving-camp.jpg"))
		b.steer()
		b.size(320, 568)
		for _, name := range []string{"read", "steer", "kept", "settings", "cautions"} {
			b.screen(name)
			if name == "kept" {
				b.until(`document.querySelector("#kept-list details")`)
				b.run(`document.querySelector("#kept-list details").open = true`)
			}
			cut := eval[string](b, `[...document.querySelectorAll("nav > *, main *")].filter((e) => e.checkVisibility() && !e.closest("svg") && !e.closest(".unseen") && (e.getBoundingClientRect().right > 320.5 || e.getBoundingClientRect().left < -0.5))
				.map((e) => e.tagName + " " + (e.id || e.innerText).slice(0, 30) + " to " + Math.round(e.getBoundingClientRect().right)).join("; ")`)
			if cut != "" {
				b.t.Errorf("%s: beyond the window: %s", name, cut)
			}
			wide := eval[string](b, `[...document.querySelectorAll("nav > *")].filter((e) => { const r = document.createRange(); r.selectNodeContents(e); return r.getBoundingClientRect().width > e.clientWidth }).map((e) => e.innerText).join()`)
			if wide != "" {
				b.t.Errorf("%s: no room for: %s", name, wide)
			}
		}
	})
}

// A key that began a reading is under the finger again when it is done.
func TestFocusComesBack(t *testing.T) {
	inFolder(t, func(b *tab, _ form) {
		b.run(`document.getElementById("choose").focus()`)
		b.read(demo("01-leaving-camp.jpg"))
		if at := eval[string](b, `document.activeElement.id`); at != "choose" {
			b.t.Errorf("after the reading the focus is at %q", at)
		}
	})
}

// A device that had no room stores what it did not take as soon as it has; till then the page is
// not left without a question.
func TestStoredLater(t *testing.T) {
	needsBrowser(t)
	b := newTab(t)
	b.clock(campTime.Add(24*time.Hour), false)
	b.open(newSite(t).address)
	b.click("understood")
	b.run(`globalThis.put = IDBObjectStore.prototype.put; IDBObjectStore.prototype.put = function (...given) { const asked = put.apply(this, given); this.transaction.abort(); return asked; }`)
	asks := func() bool {
		return eval[bool](b, `!dispatchEvent(new Event("beforeunload", {cancelable: true}))`)
	}
	b.read(demo("01-leaving-camp.jpg"))
	b.until(`!document.getElementById("bar-trouble").hidden`)
	if !asks() {
		t.Error("a page that holds the only copy of a reading is left without a question")
	}
	b.run(`IDBObjectStore.prototype.put = put`)
	b.read(demo("02-second-truck.jpg"))
	b.screen("kept")
	b.until(`document.querySelectorAll("#kept-list > li").length === 2`)
	b.until(`dispatchEvent(new Event("beforeunload", {cancelable: true}))`)
	if n := eval[int](b, `(async () => (await import("./store.js")).keptInMemory())()`); n != 0 {
		t.Errorf("%d readings are in memory only", n)
	}
}

// A heading does not stand as one of now once the settings or the place by which it was read are
// others; another course makes no other heading.
func TestHeadingBySettingsOfBefore(t *testing.T) {
	inFolder(t, func(b *tab, _ form) {
		changed := func() bool {
			return eval[bool](b, `document.getElementById("read-plate").classList.contains("old") && document.getElementById("read-since").checkVisibility()`)
		}
		set := func(field, text string) {
			b.screen("settings")
			b.fill("set-"+field, text)
			b.run(`const {settingsNow} = await import("./settings.js"); for (let i = 0; i < 500 && String(settingsNow()["` + strings.ReplaceAll(field, "-", "_") + `"] ?? "") !== "` + text + `"; i++) await new Promise((r) => setTimeout(r, 20))`)
			b.screen("read")
		}
		b.read(demo("01-leaving-camp.jpg"))
		set("course-deg", "60")
		if changed() {
			b.t.Error("another course passes for another heading")
		}
		set("clock-error-s", "240")
		if !changed() {
			b.t.Error("the clock is said to be four minutes fast, and the heading of before stands")
		}
		b.click("since-again")
		b.until(`!document.getElementById("read-plate").hidden`)
		if got := b.heading(); got == "058.4" || changed() {
			b.t.Errorf("read again it is %s, marked as of before: %v", got, changed())
		}
		b.place("22", "54.0", "S", "22", "18.0", "E")
		time.Sleep(1100 * time.Millisecond)
		if changed() {
			b.t.Error("a photo was read by its own place, and a place that is given since makes another heading of it")
		}
		set("clock-error-s", "")
		b.fill("number-deg", "347.7")
		b.run(`document.getElementById("number-form").requestSubmit()`)
		b.until(`document.getElementById("read-facts").textContent.includes("number 347.7")`)
		if changed() {
			b.t.Error("a heading of now passes for one of before")
		}
		b.place("22", "54.0", "S", "12", "18.0", "E")
		b.until(`document.getElementById("read-since").checkVisibility()`)
		if !changed() || eval[bool](b, `document.getElementById("since-again").checkVisibility()`) {
			b.t.Error("the place is another, and the heading of before stands, or its number would be taken for one of now")
		}
	})
}

// trustOffset says of a photo that was refused, for nothing shows its clock's UTC offset, that it
// was this one.
func (b *tab) trustOffset(offset string) {
	b.t.Helper()
	if b.heading() != "" || b.refusal() != "no_time" {
		b.t.Errorf("nothing shows that the camera's clock was at %s, and it reads %q (%s)", offset, b.heading(), b.refusal())
		return
	}
	b.run(`[...document.querySelectorAll("#refused-acts button")].find((e) => e.innerText.includes("` + offset + `")).click()`)
	b.until(`!document.getElementById("read-plate").hidden`)
}
