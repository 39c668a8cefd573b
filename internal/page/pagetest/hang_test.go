package pagetest

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/chromedp/chromedp"
)

// watched notes what the page waits for: each worker with what was last posted to it and came
// from it, and what was asked of the browser and is not answered. A step that waits its time
// out tells it.
const watched = `
	const begun = performance.now(), workers = [], open = new Map();
	let next = 0;
	const at = () => Math.round(performance.now() - begun) + " ms";
	const wait = (what) => { const id = next++; open.set(id, at() + " " + what); return () => open.delete(id); };
	const brief = (data) => data?.module ? "the program" : data?.ready ? "ready" : JSON.stringify({...data, json: data?.json?.length, bytes: data?.bytes?.byteLength}).slice(0, 160);
	const There = globalThis.Worker;
	globalThis.Worker = class extends There {
		constructor(...given) {
			super(...given);
			const told = this.told = {begun: at(), posted: "nothing", came: "nothing", ended: ""};
			workers.push(told);
			for (const kind of ["message", "messageerror", "error"]) {
				this.addEventListener(kind, (e) => { told.came = at() + " " + kind + " " + (kind === "message" ? brief(e.data) : e.message ?? ""); });
			}
		}
		postMessage(data, ...more) {
			this.told.posted = at() + " " + brief(data);
			return super.postMessage(data, ...more);
		}
		terminate() {
			this.told.ended = at();
			super.terminate();
		}
	};
	const instead = (of, name, watch) => {
		const there = of?.prototype[name];
		if (there) of.prototype[name] = function (...given) { return watch(there, this, given); };
	};
	instead(globalThis.IDBFactory, "open", (there, self, given) => {
		const done = wait("opening the base"), asked = there.apply(self, given);
		for (const kind of ["success", "error"]) asked.addEventListener(kind, done);
		return asked;
	});
	instead(globalThis.IDBDatabase, "transaction", (there, self, given) => {
		const done = wait("the base, " + given.join(" ")), asked = there.apply(self, given);
		for (const kind of ["complete", "abort"]) asked.addEventListener(kind, done);
		return asked;
	});
	instead(globalThis.Blob, "arrayBuffer", (there, self, given) => {
		const done = wait("bytes of " + (self.name ?? "a blob"));
		return there.apply(self, given).finally(done);
	});
	instead(globalThis.Geolocation, "getCurrentPosition", (there, self, [well, ill, how]) => {
		const done = wait("the device's place");
		there.call(self, (...told) => { done(); well(...told); }, (...told) => { done(); ill?.(...told); }, how);
	});
	const reach = globalThis.fetch;
	globalThis.fetch = (...given) => { const done = wait("fetching " + given[0]); return reach(...given).finally(done); };
	globalThis.whatWaits = async () => {
		const holder = navigator.serviceWorker, state = (w) => w ? w.state : "none";
		const held = await Promise.race([holder?.getRegistration().catch((e) => e.message), new Promise((r) => setTimeout(r, 1000, "no answer"))]);
		return [
			"address " + location.href + ", ready " + document.documentElement.dataset.ready + ", seen: " + document.visibilityState + ", since the document began " + at(),
			"open: " + [...document.querySelectorAll("main > section, dialog[open], .plate, #bars > *, #working, .fault, details[open]")].filter((e) => e.checkVisibility()).map((e) => "#" + e.id).join(" "),
			"dead: " + [...document.querySelectorAll("button:disabled")].map((e) => "#" + e.id).join(" "),
			"the focus is at " + (document.activeElement?.id || document.activeElement?.tagName),
			...workers.map((w, i) => "worker " + i + ": begun " + w.begun + (w.ended ? ", ended " + w.ended : "") + "; posted to it last: " + w.posted + "; came from it last: " + w.came),
			"waits for: " + ([...open.values()].join("; ") || "nothing"),
			"service worker: controller " + state(holder?.controller) + (typeof held === "string" ? ", registration: " + held : held ? ", installing " + state(held.installing) + ", waiting " + state(held.waiting) + ", active " + state(held.active) : ", not registered"),
			"across the head: " + document.getElementById("bars")?.innerText,
			"the screen has:", document.querySelector("main")?.innerText,
		].join("\n");
	}`

// told is all that is to be known of a page that does not go on.
func (b *tab) told() string {
	var out strings.Builder
	for _, ask := range []struct{ what, script string }{
		{"does the page answer", `"yes"`}, {"what waits", `globalThis.whatWaits ? whatWaits() : "nobody watched at " + location.href`},
	} {
		began := time.Now()
		ctx, cancel := context.WithTimeout(b.ctx, 3*time.Second)
		text, err := chromedp.Run(ctx, chromedp.Evaluate[string](ask.script, chromedp.EvalAwaitPromise))
		cancel()
		if err != nil {
			text = "no: " + err.Error()
		}
		fmt.Fprintf(&out, "%s (%d ms): %s\n", ask.what, time.Since(began).Milliseconds(), text)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	fmt.Fprintf(&out, "the console's last: %s", strings.Join(b.tail, "\n"))
	return out.String()
}
