// Package browser opens the page in a real browser without a screen and calls the program in
// it, for tests and measures.
package browser

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/chromedp/chromedp"

	"shadowread/internal/page"
)

// Variable names another browser than those that are looked for.
const Variable = "SHADOWREAD_BROWSER"

// ErrNone says that there is no browser on this machine.
var ErrNone = errors.New("there is no chromium here; install Debian's chromium, or name a browser with " + Variable)

// Find returns the path of a browser.
func Find() (string, error) {
	if path := os.Getenv(Variable); path != "" {
		return path, nil
	}
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome-stable", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			return path, nil
		}
	}
	return "", ErrNone
}

// Open starts a browser and returns a context for chromedp. What is opened in it is closed
// by close.
func Open(ctx context.Context, more ...chromedp.ExecAllocatorOption) (tab context.Context, close func(), err error) {
	path, err := Find()
	if err != nil {
		return nil, nil, err
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path))
	if os.Geteuid() == 0 { // whose sandbox it refuses to set up
		options = append(options, chromedp.NoSandbox)
	}
	allocator, end := chromedp.NewExecAllocator(ctx, append(options, more...)...)
	tab, closeTab := chromedp.NewContext(allocator)
	close = func() { closeTab(); end() }
	if err := chromedp.Do(tab); err != nil { // starts it
		close()
		return nil, nil, err
	}
	return tab, close, nil
}

// Program is the program in a page in a browser.
type Program struct {
	tab   context.Context
	close func()
	mutex sync.Mutex
	files map[string][]byte
	next  int
	base  string // the page's address
}

// Start serves a page on this machine, opens it and starts the program in a worker of it.
func Start(ctx context.Context, p *page.Page) (*Program, error) {
	listener, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	run := &Program{files: map[string][]byte{}, base: "http://" + listener.Addr().String()}
	served := p.Handler(listener.Addr().String())
	server := &http.Server{ReadHeaderTimeout: 10 * time.Second, Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		name, ok := strings.CutPrefix(r.URL.Path, "/handed/")
		if !ok {
			served.ServeHTTP(w, r)
			return
		}
		run.mutex.Lock()
		data, ok := run.files[name]
		run.mutex.Unlock()
		if !ok {
			http.NotFound(w, r)
			return
		}
		w.Write(data)
	})}
	go server.Serve(listener)
	tab, closeTab, err := Open(ctx)
	if err != nil {
		server.Close()
		return nil, err
	}
	run.tab, run.close = tab, func() { closeTab(); server.Close() }
	if err := chromedp.Do(tab, chromedp.Navigate(run.base+"/")); err != nil {
		run.Close()
		return nil, err
	}
	if _, err := Evaluate[chromedp.Void](run, begin); err != nil {
		run.Close()
		return nil, err
	}
	return run, nil
}

// begin starts the program in a worker as the page does.
const begin = `(async () => {
  const { load, start } = await import("/program.js");
  const module = await load();
  globalThis.proof = { load, start, program: await start(module), module };
  globalThis.proof.call = async (name, json, url) => {
    const bytes = url ? await (await fetch(url)).arrayBuffer() : null;
    const t = performance.now();
    const answer = await globalThis.proof.program.call(name, JSON.parse(json), bytes);
    return { json: answer.json, bytes: answer.bytes ? answer.bytes.byteLength : 0, ms: performance.now() - t };
  };
})()`

// Close ends the browser.
func (p *Program) Close() { p.close() }

// Evaluate runs a script in the page, waits for its promise and decodes what it comes to.
func Evaluate[T any](p *Program, script string) (T, error) {
	return chromedp.Run(p.tab, chromedp.Evaluate[T](script, chromedp.EvalAwaitPromise))
}

// Answered is what a call of the program comes to.
type Answered struct {
	JSON  string  `json:"json"`
	Bytes int     `json:"bytes"` // of the picture that came back
	MS    float64 `json:"ms"`    // that it took, there and back
}

// Call calls the program as the page does. file may be nil.
func (p *Program) Call(name string, request any, file []byte) (a Answered, err error) {
	text, err := json.Marshal(request)
	if err != nil {
		return a, err
	}
	at := ""
	if file != nil {
		p.mutex.Lock()
		p.next++
		key := strconv.Itoa(p.next)
		p.files[key] = file
		p.mutex.Unlock()
		defer func() {
			p.mutex.Lock()
			delete(p.files, key)
			p.mutex.Unlock()
		}()
		at = "/handed/" + key
	}
	return Evaluate[Answered](p, fmt.Sprintf("globalThis.proof.call(%q, %s, %q)", name, quoted(string(text)), at))
}

// Answer is Call for who wants the answer alone.
func (p *Program) Answer(name string, request any, file []byte) (string, error) {
	a, err := p.Call(name, request, file)
	return a.JSON, err
}

// Opened opens a page in a tab and tells how many milliseconds later its program was ready.
func Opened(tab context.Context, address string) (float64, error) {
	if err := chromedp.Do(tab, chromedp.Navigate(address)); err != nil {
		return 0, err
	}
	const ready = `new Promise((ready) => {
  const look = () => {
    const [first] = performance.getEntriesByName("program ready");
    if (first) ready(first.startTime); else setTimeout(look, 10);
  };
  look();
})`
	return chromedp.Run(tab, chromedp.Evaluate[float64](ready, chromedp.EvalAwaitPromise))
}

// Address is the page's.
func (p *Program) Address() string { return p.base + "/" }

// Memory is how much the worker's program has taken, bytes. It never gives back.
func (p *Program) Memory() (int64, error) {
	a, err := p.Call("memory", map[string]any{}, nil)
	if err != nil {
		return 0, err
	}
	var m struct {
		Bytes int64 `json:"bytes"`
	}
	return m.Bytes, json.Unmarshal([]byte(a.JSON), &m)
}

// quoted is a JavaScript string.
func quoted(s string) string {
	out, _ := json.Marshal(s) // of a string: it cannot fail
	return string(out)
}
