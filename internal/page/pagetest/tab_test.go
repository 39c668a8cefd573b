package pagetest

import (
	"context"
	"fmt"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	protobrowser "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/emulation"
	protopage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"shadowread/internal/browser"
	"shadowread/internal/page"
)

// patience is for one step of the browser, on a machine that has much else to do.
const patience = 40 * time.Second

// elsewhere is a host's name that leads to this machine (RFC 6761 keeps .test for tests).
const elsewhere = "pan.test"

var theBrowser struct {
	once  sync.Once
	ctx   context.Context
	close func()
	err   error
}

func TestMain(m *testing.M) {
	code := m.Run()
	if theBrowser.close != nil {
		theBrowser.close()
	}
	os.Exit(code)
}

// needsBrowser skips a test, aloud, where there is no browser or no page; where CI is set it fails.
func needsBrowser(t *testing.T) {
	t.Helper()
	_, err := browser.Find()
	if err == nil {
		_, err = page.New("test")
	}
	switch {
	case err == nil:
	case os.Getenv("CI") == "true":
		t.Fatal(err)
	default:
		t.Skip("SKIPPED, the page was not tested: ", err)
	}
}

// browserContext starts the one browser of all tests.
func browserContext(t *testing.T) context.Context {
	t.Helper()
	theBrowser.once.Do(func() {
		theBrowser.ctx, theBrowser.close, theBrowser.err = browser.Open(context.Background(),
			chromedp.Flag("hide-scrollbars", true), chromedp.Flag("font-render-hinting", "none"),
			// A name that is not this machine's own: by http it is no secure context.
			chromedp.Flag("host-resolver-rules", "MAP "+elsewhere+" 127.0.0.1"))
	})
	if theBrowser.err != nil {
		t.Fatal("the browser does not start:", theBrowser.err)
	}
	return theBrowser.ctx
}

// tab is a window of a browser that knows nothing of the other tests.
type tab struct {
	t      *testing.T
	ctx    context.Context
	mu     sync.Mutex
	said   []string          // what the console had to complain of
	tail   []string          // the last of all that it said
	silent func(string) bool // what of it is meant
}

func newTab(t *testing.T) *tab {
	t.Helper()
	ctx, cancel := chromedp.NewContext(browserContext(t), chromedp.WithNewBrowserContext())
	t.Cleanup(cancel)
	b := &tab{t: t, ctx: ctx, silent: func(string) bool { return false }}
	messages := chromedp.Console(ctx)
	go func() {
		for m, err := range messages {
			if err != nil {
				return
			}
			b.mu.Lock()
			b.tail = append(b.tail[max(0, len(b.tail)-19):], m.String())
			if m.IsException() || m.Type == "error" || m.Type == "warning" {
				b.said = append(b.said, m.String())
			}
			b.mu.Unlock()
		}
	}()
	// Errors of the console, and what the page's policy forbade, fail the test.
	t.Cleanup(func() {
		b.mu.Lock()
		defer b.mu.Unlock()
		for _, text := range b.said {
			if !b.silent(text) {
				t.Error("the console says:", text)
			}
		}
	})
	b.size(390, 844)
	b.before(watched)
	return b
}

// heard is what the console complained of so far.
func (b *tab) heard() []string {
	time.Sleep(100 * time.Millisecond)
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.said
}

func (b *tab) do(what string, steps ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	if err := chromedp.Do(ctx, steps...); err != nil {
		b.t.Fatalf("%s: %v\n%s", what, err, b.told())
	}
}

// before has a script run in each document that is opened from now on, before the page's own.
func (b *tab) before(script string) {
	b.t.Helper()
	if _, err := chromedp.Call(b.ctx, protopage.AddScriptToEvaluateOnNewDocument, protopage.AddScriptToEvaluateOnNewDocumentParams{Source: "(() => {" + script + "})()"}); err != nil {
		b.t.Fatal(err)
	}
}

// eval runs a script, awaits it if it is a promise, and returns what it comes to.
func eval[T any](b *tab, script string) T {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](script, chromedp.EvalAwaitPromise))
	if err != nil {
		b.t.Fatalf("%s: %v\n%s", script, err, b.told())
	}
	return v
}

func (b *tab) run(script string) {
	b.t.Helper()
	eval[bool](b, "(async () => {"+script+"; return true})()")
}

// until waits for a condition.
func (b *tab) until(condition string) {
	b.t.Helper()
	end := time.Now().Add(patience)
	for !eval[bool](b, "(() => { try { return Boolean("+condition+") } catch { return false } })()") { // a page that is being loaded has nothing yet
		if time.Now().After(end) {
			b.t.Fatalf("never came: %s\n%s", condition, b.told())
		}
		time.Sleep(20 * time.Millisecond)
	}
}

func (b *tab) open(address string) {
	b.t.Helper()
	b.do("open", chromedp.Navigate(address))
	b.until(`document.documentElement.dataset.ready === "all"`)
}

func (b *tab) click(id string) {
	b.t.Helper()
	b.run(fmt.Sprintf(`document.getElementById(%q).click()`, id))
}

// fill types into a field as a person would have left it.
func (b *tab) fill(id, text string) {
	b.t.Helper()
	b.run(fmt.Sprintf(`const f = document.getElementById(%q); f.value = %q; f.dispatchEvent(new Event("change", {bubbles: true}))`, id, text))
}

func (b *tab) text(id string) string {
	b.t.Helper()
	return eval[string](b, fmt.Sprintf(`document.getElementById(%q).innerText`, id))
}

func (b *tab) screen(name string) {
	b.t.Helper()
	b.run(fmt.Sprintf(`location.hash = "#%s"`, name))
	b.until(fmt.Sprintf(`!document.getElementById("screen-%s").hidden`, name))
}

func (b *tab) size(width, height int64) {
	b.t.Helper()
	angle, kind := int64(0), emulation.ScreenOrientationTypePortraitPrimary
	if width > height {
		angle, kind = 90, emulation.ScreenOrientationTypeLandscapePrimary
	}
	_, err := chromedp.Call(b.ctx, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{
		Width: width, Height: height, DeviceScaleFactor: 1, Mobile: true,
		ScreenOrientation: &emulation.ScreenOrientation{Angle: angle, Type: kind},
	})
	if err != nil {
		b.t.Fatal(err)
	}
}

// upload hands a file to a field as the file chooser does.
func (b *tab) upload(id, path string) {
	b.t.Helper()
	b.do("upload", chromedp.SetUploadFiles(chromedp.CSS("#"+id), []string{path}))
}

func (b *tab) picture() []byte {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	if err != nil {
		b.t.Fatal(err)
	}
	return png
}

// permit grants or denies a permission for an origin.
func (b *tab) permit(name, origin string, setting protobrowser.PermissionSetting) {
	b.t.Helper()
	c := chromedp.FromContext(b.ctx)
	_, err := chromedp.CallBrowser(b.ctx, protobrowser.SetPermission, protobrowser.SetPermissionParams{
		Permission: &protobrowser.PermissionDescriptor{Name: name}, Setting: setting, Origin: origin, BrowserContextID: c.BrowserContextID,
	})
	if err != nil {
		b.t.Fatal(err)
	}
}

func contains(part string) func(string) bool {
	return func(text string) bool { return strings.Contains(text, part) }
}

// clock sets the page's clock before it is opened, to run on from there or to stand still.
func (b *tab) clock(at time.Time, still bool) {
	b.t.Helper()
	b.before(fmt.Sprintf(`
		const There = Date, shift = %d - There.now();
		const now = () => (%v ? %d : There.now() + shift) + (globalThis.later ?? 0);
		globalThis.Date = class extends There {
			constructor(...given) { if (given.length) super(...given); else super(now()); }
			static now() { return now(); }
		}`, at.UnixMilli(), still, at.UnixMilli()))
	if _, err := chromedp.Call(b.ctx, emulation.SetTimezoneOverride, emulation.SetTimezoneOverrideParams{TimezoneID: "Etc/GMT-2"}); err != nil {
		b.t.Fatal(err)
	}
}

// calm fails if the page complains of something across its head.
func (b *tab) calm() {
	b.t.Helper()
	if text := eval[string](b, `document.getElementById("bar-trouble").hidden ? "" : document.getElementById("trouble-text").innerText`); text != "" {
		b.t.Error("the page complains:", text)
	}
}

// read hands a photo to the page, as chosen from the album, and waits for what it says.
func (b *tab) read(path string) {
	b.t.Helper()
	b.run(`document.getElementById("read-plate").hidden = document.getElementById("read-refused").hidden = true`) // what was said of the photo before
	b.upload("choose-file", path)
	b.until(answered)
}

// answered: a heading stands there, or a refusal.
const answered = `["read-plate", "read-refused"].some((id) => !document.getElementById(id).hidden)`

// heading is the large figure; "" where none is shown.
func (b *tab) heading() string {
	b.t.Helper()
	return eval[string](b, `document.getElementById("read-plate").hidden ? "" : document.querySelector("#read-figure svg").getAttribute("aria-label").split(" ")[1]`)
}

func (b *tab) refusal() string {
	b.t.Helper()
	return eval[string](b, `document.getElementById("read-refused").hidden ? "" : document.getElementById("refused-code").innerText`)
}
