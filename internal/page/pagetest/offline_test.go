package pagetest

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// closed is the page put away: no window shows it, so that a browser may do as it likes.
func (b *tab) closed() {
	b.t.Helper()
	b.do("close", chromedp.Navigate("about:blank"))
	time.Sleep(300 * time.Millisecond)
}

// installed opens the page and waits until all of it lies on the device.
func (b *tab) installed(s *site) {
	b.t.Helper()
	b.open(s.address)
	b.run(`await navigator.serviceWorker.ready`)
	if eval[bool](b, `document.body.classList.contains("unread")`) {
		b.click("understood")
	}
	b.screen("settings")
	b.until(`document.getElementById("device-facts").innerText.includes("yes, version")`)
}

func TestOffline(t *testing.T) {
	needsBrowser(t)
	s := newSite(t)
	b := newTab(t)
	b.silent = contains("net::ERR") // the look for a newer version finds no host
	b.clock(campTime, false)
	b.installed(s)
	s.cutOff()
	for _, address := range []string{"", "index.html", "?from=home"} { // plain hosts send index.html to ./
		b.open(s.address + address)
		b.screen("read")
		b.read(demo("01-leaving-camp.jpg"))
		if b.heading() != "058.4" {
			t.Errorf("%q without a network reads %q", address, b.heading())
		}
	}
}

// A newer version waits, is said to wait, and takes over only when it is told to.
func TestNewVersion(t *testing.T) {
	needsBrowser(t)
	s := newSite(t)
	b := newTab(t)
	b.installed(s)
	old := b.text("device-facts")
	withVersion(t, s.folder, "9.9-newer")
	b.open(s.address)
	b.until(`!document.getElementById("bar-version").hidden`)
	b.screen("settings")
	b.until(`document.getElementById("device-facts").innerText.includes("yes, version")`)
	if strings.Contains(b.text("device-facts"), "9.9-newer") {
		t.Error("the newer version took over unasked")
	}
	b.closed() // nor by being opened anew
	b.open(s.address)
	b.until(`!document.getElementById("bar-version").hidden`)
	b.screen("settings")
	b.until(`document.getElementById("device-facts").innerText.includes("yes, version")`)
	if strings.Contains(b.text("device-facts"), "9.9-newer") {
		t.Error("opened anew, the newer version took over unasked")
	}
	b.run(`globalThis.before = true`)
	b.click("change-over")
	b.until(`!globalThis.before && document.documentElement.dataset.ready === "all"`)
	b.screen("settings")
	b.until(`document.getElementById("device-facts").innerText.includes("9.9-newer")`)
	if eval[bool](b, `!document.getElementById("bar-version").hidden`) {
		t.Errorf("it still says that a newer version waits; before: %s", old)
	}
	if left := eval[int](b, `caches.keys().then((names) => names.filter((n) => n.includes("version")).length)`); left != 1 {
		t.Errorf("%d versions are left on the device", left)
	}
}

// A question to the service worker may be answered late, by one that was replaced since, or
// not at all: that a newer version waits is seen all the same.
func TestNewVersionIsToldLate(t *testing.T) {
	for _, how := range []struct {
		name, hold string
		questions  int
	}{{"late", `held.push(() => told(e))`, 1}, {"never", ``, 2}} {
		t.Run(how.name, func(t *testing.T) {
			needsBrowser(t)
			s := newSite(t)
			b := newTab(t)
			b.installed(s)
			withVersion(t, s.folder, "9.9-newer")
			b.before(`const port = Object.getOwnPropertyDescriptor(MessagePort.prototype, "onmessage");
				let asked = 0;
				globalThis.held = [];
				Object.defineProperty(MessagePort.prototype, "onmessage", {...port, set(told) {
					const first = asked++ < ` + strconv.Itoa(how.questions) + `;
					port.set.call(this, (e) => { if (first) { ` + how.hold + ` } else told(e); });
				}})`)
			b.open(s.address)
			b.until(`!document.getElementById("bar-version").hidden`)
			b.run(`for (const tell of held) tell(); await new Promise((r) => setTimeout(r, 50))`)
			if eval[bool](b, `document.getElementById("bar-version").hidden`) {
				t.Error("what the service worker of before said came last, and nothing waits any more")
			}
		})
	}
}

// By plain http there is neither place nor installation: the page says so, and reads.
func TestPlainHTTP(t *testing.T) {
	needsBrowser(t)
	s := newSite(t) // closed after the window
	b := newTab(t)
	b.clock(campTime, false)
	b.open(strings.Replace(s.address, "127.0.0.1", elsewhere, 1))
	if eval[bool](b, `window.isSecureContext`) {
		t.Fatal("it is a secure context")
	}
	b.click("understood")
	b.read(demo("01-leaving-camp.jpg"))
	if b.heading() != "058.4" {
		t.Errorf("the page reads %q (%s)", b.heading(), b.refusal())
	}
	b.calm()
	b.run(`document.querySelector("[data-place]").click()`)
	b.until(`document.getElementById("place-fault").innerText.includes("by hand")`)
	b.run(`document.querySelector("#place-dialog [data-close]").click()`)
	b.screen("settings")
	b.until(`document.getElementById("device-facts").innerText.includes("needs its host each time")`)
}

// Where the program cannot be loaded the page says so, and is not dead: it tries again.
func TestProgramComesLate(t *testing.T) {
	needsBrowser(t)
	s := newSite(t)
	program := filepath.Join(s.folder, "shadowread.wasm.gz")
	if err := os.Rename(program, program+".away"); err != nil {
		t.Fatal(err)
	}
	b := newTab(t)
	b.silent = contains("404")
	b.clock(campTime, false)
	b.do("open", chromedp.Navigate(s.address))
	b.until(`document.getElementById("trouble-text").innerText.includes("cannot compute")`)
	b.click("understood")
	b.read(demo("01-leaving-camp.jpg"))
	if got := b.refusal(); got != "internal_error" {
		t.Errorf("without the program: code %q, heading %q", got, b.heading())
	}
	if err := os.Rename(program+".away", program); err != nil {
		t.Fatal(err)
	}
	b.read(demo("01-leaving-camp.jpg"))
	if b.heading() != "058.4" {
		t.Errorf("once the program is there the page reads %q (%s)", b.heading(), b.refusal())
	}
}
