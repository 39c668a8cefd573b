package page

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"shadowread/internal/fault"
)

// small is a page with a program of no use, for what does not run it.
func small(t testing.TB, version string) *Page {
	t.Helper()
	p, err := with(version, []byte("\x1f\x8bnothing"), []byte("globalThis.Go = class {};\n"))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// carried is the page that this build carries.
func carried(t testing.TB) *Page {
	t.Helper()
	p, err := New("0")
	if fault.Code(err) == "no_page_in_this_build" {
		if os.Getenv("CI") == "true" {
			t.Fatal(err)
		}
		t.Skip("skipped: this build carries no page; make page builds it")
	}
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// What a host sends to a browser that opens the page for the first time.
func TestSizeOverTheWire(t *testing.T) {
	const most = 3_000_000 // bytes: 3.0 MB, a minute over a poor mobile network of 400 kbit/s
	p := carried(t)
	sum := 0
	for _, name := range p.names() {
		sum += len(p.files[name])
	}
	t.Logf("%d bytes in %d files, %d of them the program", sum, len(p.names()), len(p.files[program]))
	if sum > most {
		t.Errorf("the page has %d bytes, more than %d", sum, most)
	}
	r, err := gzip.NewReader(bytes.NewReader(p.files[program]))
	if err != nil {
		t.Fatal(err)
	}
	if !r.ModTime.IsZero() || r.Name != "" {
		t.Errorf("the packed program names a time %v or a file %q: it is not the same each time", r.ModTime, r.Name)
	}
	head := make([]byte, 4)
	if _, err := io.ReadFull(r, head); err != nil || string(head) != "\x00asm" {
		t.Errorf("%v: it begins with %q", err, head)
	}
}

func TestVersionIsOfTheContent(t *testing.T) {
	a, again, b := small(t, "1.2.3"), small(t, "1.2.3"), small(t, "1.2.4")
	other, err := with("1.2.3", []byte("\x1f\x8bsomething"), []byte("globalThis.Go = class {};\n"))
	if err != nil {
		t.Fatal(err)
	}
	if a.Version != again.Version || a.Version == b.Version || a.Version == other.Version || !strings.HasPrefix(a.Version, "1.2.3-") {
		t.Errorf("versions %s, %s, %s, %s", a.Version, again.Version, b.Version, other.Version)
	}
	for _, name := range a.names() {
		if text := string(a.files[name]); strings.Contains(text, versionMark) || strings.Contains(text, filesMark) {
			t.Errorf("%s has a mark left", name)
		}
	}
}

// Nothing comes from elsewhere, and nothing stands in line.
func TestFilesAreOfOnePlace(t *testing.T) {
	p := small(t, "0")
	html := string(p.files["index.html"])
	if !strings.Contains(html, `content="`+Policy+`"`) {
		t.Error("index.html has not the policy")
	}
	for _, name := range p.names() {
		text := string(p.files[name])
		if !strings.HasSuffix(name, ".html") && !strings.HasSuffix(name, ".css") && !strings.HasSuffix(name, ".js") && !strings.HasSuffix(name, ".webmanifest") {
			continue
		}
		for _, far := range []string{`src="http`, `href="http`, `src="//`, `url(http`, `url(//`, `from "http`, `fetch("http`} {
			if strings.Contains(text, far) {
				t.Errorf("%s has %s", name, far)
			}
		}
	}
	for _, inline := range []string{" style=", " onclick=", " onload=", " onchange=", "<style", "javascript:"} {
		if strings.Contains(html, inline) {
			t.Errorf("index.html has%s", inline)
		}
	}
	for _, name := range p.names() {
		if kinds[filepath.Ext(name)] == "" {
			t.Errorf("the media type of %s is not known", name)
		}
	}
}

func TestWrite(t *testing.T) {
	dir := t.TempDir()
	at := filepath.Join(dir, "page")
	first, second := small(t, "1"), small(t, "2")
	holds := func(p *Page) {
		t.Helper()
		for _, name := range p.names() {
			if got, err := os.ReadFile(filepath.Join(at, name)); err != nil || !bytes.Equal(got, p.files[name]) {
				t.Errorf("%s: %v, or other than written", name, err)
			}
		}
		if left, _ := filepath.Glob(filepath.Join(dir, ".*")); len(left) > 0 {
			t.Errorf("left beside it: %v", left)
		}
	}
	for _, p := range []*Page{first, second, first} { // an older one is replaced, and a newer
		if err := p.Write(at); err != nil {
			t.Fatal(err)
		}
		holds(p)
	}
	// What an older page had and this has not goes with it.
	older := small(t, "1")
	older.files["gone.js"] = []byte("//")
	if err := older.mark(); err != nil {
		t.Fatal(err)
	}
	if err := older.Write(at); err != nil {
		t.Fatal(err)
	}
	if err := second.Write(at); err != nil {
		t.Fatal(err)
	}
	holds(second)
	if _, err := os.Stat(filepath.Join(at, "gone.js")); err == nil {
		t.Error("a file of an older page is left")
	}
	// An empty folder is nobody's.
	at = filepath.Join(dir, "empty")
	if err := os.Mkdir(at, 0o777); err != nil {
		t.Fatal(err)
	}
	if err := first.Write(at); err != nil {
		t.Fatal(err)
	}
	holds(first)
}

func TestWriteLeavesOthersAlone(t *testing.T) {
	p := small(t, "1")
	for name, lay := range map[string]func(dir string) error{
		"a file of somebody's":     func(dir string) error { return os.WriteFile(filepath.Join(dir, "notes.txt"), []byte("mine"), 0o600) },
		"a site of somebody's":     func(dir string) error { return os.WriteFile(filepath.Join(dir, "index.html"), []byte("mine"), 0o600) },
		"a marker of nobody's":     func(dir string) error { return os.WriteFile(filepath.Join(dir, marker), []byte("{}"), 0o600) },
		"a page and a file beside": func(dir string) error { return os.WriteFile(filepath.Join(dir, "photo.jpg"), []byte("mine"), 0o600) },
	} {
		at := filepath.Join(t.TempDir(), "page")
		if strings.HasPrefix(name, "a page") {
			if err := p.Write(at); err != nil {
				t.Fatal(err)
			}
		} else if err := os.Mkdir(at, 0o777); err != nil {
			t.Fatal(err)
		}
		if err := lay(at); err != nil {
			t.Fatal(err)
		}
		before := listed(t, at)
		if err := p.Write(at); fault.Code(err) != "foreign_folder" || fault.Hint(err) == "" {
			t.Errorf("%s: %v", name, err)
		}
		if after := listed(t, at); before != after {
			t.Errorf("%s: held %s, now %s", name, before, after)
		}
	}
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := p.Write(file); fault.Code(err) != "foreign_folder" {
		t.Errorf("a file: %v", err)
	}
	if err := p.Write(filepath.Join(t.TempDir(), "none", "page")); fault.Code(err) != "cannot_write" {
		t.Errorf("no folder to write to: %v", err)
	}
}

func listed(t *testing.T, dir string) string {
	t.Helper()
	var b strings.Builder
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			data, err := os.ReadFile(path)
			b.WriteString(path + " " + string(data) + "\n")
			return err
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestHandler(t *testing.T) {
	p := small(t, "1")
	h := p.Handler("127.0.0.1:80", "localhost:80")
	ask := func(method, host, path string) *http.Response {
		r := httptest.NewRequest(method, "http://"+host+"/", nil)
		r.Host, r.URL.Path = host, path
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w.Result()
	}
	for _, name := range append(p.names(), "") {
		r := ask("GET", "127.0.0.1:80", "/"+name)
		body, _ := io.ReadAll(r.Body)
		want := p.files[name]
		if name == "" {
			want = p.files["index.html"]
		}
		if r.StatusCode != 200 || !bytes.Equal(body, want) || r.Header.Get("Content-Security-Policy") != Policy || r.Header.Get("Content-Encoding") != "" || r.Header.Get("X-Content-Type-Options") != "nosniff" {
			t.Errorf("/%s: %v %v", name, r.Status, r.Header)
		}
	}
	for path, kind := range map[string]string{"/": "text/html", "/worker.js": "text/javascript", "/" + program: "application/gzip", "/version.json": "application/json"} {
		if got := ask("GET", "localhost:80", path).Header.Get("Content-Type"); !strings.HasPrefix(got, kind) {
			t.Errorf("%s is %s, want %s", path, got, kind)
		}
	}
	for _, tt := range []struct {
		method, host, path string
		status             int
	}{
		{"GET", "shadow.example:80", "/", 421}, // a name that was made to lead here
		{"GET", "127.0.0.1", "/", 421},
		{"GET", "", "/", 421},
		{"POST", "127.0.0.1:80", "/", 405},
		{"GET", "127.0.0.1:80", "/files", 404},
		{"GET", "127.0.0.1:80", "/../page.go", 404},
		{"GET", "127.0.0.1:80", "//index.html", 404},
		{"GET", "127.0.0.1:80", "", 404},
	} {
		if got := ask(tt.method, tt.host, tt.path).StatusCode; got != tt.status {
			t.Errorf("%+v: %d", tt, got)
		}
	}
}

func TestServe(t *testing.T) {
	p := small(t, "1")
	ctx, cancel := context.WithCancel(t.Context())
	at, ended := make(chan string, 1), make(chan error, 1)
	go func() { ended <- p.Serve(ctx, 0, func(address string) { at <- address }) }()
	address := <-at
	r, err := http.Get(address)
	if err != nil || r.StatusCode != 200 {
		t.Fatal(err)
	}
	r.Body.Close()
	host := strings.TrimSuffix(strings.TrimPrefix(address, "http://"), "/")
	_, port, err := net.SplitHostPort(host)
	if err != nil {
		t.Fatal(err)
	}
	// This machine's other addresses do not answer.
	addresses, err := net.InterfaceAddrs()
	if err != nil {
		t.Fatal(err)
	}
	for _, a := range addresses {
		ip := a.(*net.IPNet).IP
		if ip.To4() != nil && ip.IsLoopback() {
			continue
		}
		if c, err := net.DialTimeout("tcp", net.JoinHostPort(ip.String(), port), time.Second); err == nil {
			c.Close()
			t.Errorf("it answers on %s", ip)
		}
	}
	listener, err := net.Listen("tcp", host)
	if err == nil {
		listener.Close()
		t.Error("the port was free")
	}
	cancel()
	select {
	case err := <-ended:
		if !errors.Is(err, context.Canceled) {
			t.Error(err)
		}
	case <-time.After(5 * time.Second):
		t.Error("it does not end")
	}
}

func TestServeOnATakenPort(t *testing.T) {
	l, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	if err := small(t, "1").Serve(t.Context(), l.Addr().(*net.TCPAddr).Port, func(string) { t.Error("begun") }); fault.Code(err) != "port_taken" {
		t.Error(err)
	}
}

func TestSingle(t *testing.T) {
	p := small(t, "1")
	one, err := p.Single()
	if err != nil {
		t.Fatal(err)
	}
	text := string(one)
	for _, gone := range []string{" src=\"app.js\"", "rel=\"stylesheet\"", "rel=\"manifest\"", "importScripts(", Policy} {
		if strings.Contains(text, gone) {
			t.Errorf("it has %s", gone)
		}
	}
	for _, there := range []string{"default-src 'none'", "script-src 'sha256-", "worker-src blob:", `id="worker"`, `id="program"`} {
		if !strings.Contains(text, there) {
			t.Errorf("it has not %s", there)
		}
	}
}

// What the joining of modules does not know is an error.
func TestBundleRefuses(t *testing.T) {
	for _, bad := range []string{
		"import x from \"./program.js\";", "import { load as l } from \"./program.js\";", "export default 1;", "const m = await import(\"./program.js\");",
		"export { x };", "import \"./program.js\";", "const u = import.meta.url;", "import { a } from \"./none.js\";", "const s = \"</script>\";",
	} {
		p := small(t, "1")
		p.files["bad.js"] = []byte(bad + "\n")
		if out, err := p.bundle("bad.js"); err == nil {
			t.Errorf("%s became %s", bad, out)
		}
	}
	p := small(t, "1")
	p.files["a.js"] = []byte("import {\n  b,\n} from \"./b.js\";\nexport const a = b + 1;\n")
	p.files["b.js"] = []byte("export const b = 1;\nexport async function c() {}\n")
	if out, err := p.bundle("a.js"); err != nil || out != "const b = 1;\nasync function c() {}\nconst a = b + 1;\n" {
		t.Errorf("%v: %s", err, out)
	}
}

func TestMarkerNamesAllFiles(t *testing.T) {
	p := small(t, "1")
	var m markerFile
	if err := json.Unmarshal(p.files[marker], &m); err != nil || m.Version != p.Version || len(m.SHA256) != len(p.files)-1 {
		t.Errorf("%v, %+v", err, m)
	}
}
