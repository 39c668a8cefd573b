package pagetest

import (
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"shadowread/internal/page"
)

// site is the page's folder on a plain host, as anybody's, which can be cut off.
type site struct {
	folder, address string
	server          *httptest.Server
}

func newSite(t *testing.T) *site {
	t.Helper()
	s := &site{folder: folder(t)}
	s.server = httptest.NewUnstartedServer(http.FileServer(http.Dir(s.folder)))
	s.server.Start()
	t.Cleanup(s.server.Close)
	s.address = s.server.URL + "/"
	return s
}

// folder is the page as shadowread page writes it.
func folder(t *testing.T) string {
	t.Helper()
	p, err := page.New("test")
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Join(t.TempDir(), "page")
	if err := p.Write(dir); err != nil {
		t.Fatal(err)
	}
	return dir
}

// singleFile is the page as shadowread page --single writes it.
func singleFile(t *testing.T) string {
	t.Helper()
	p, err := page.New("test")
	if err != nil {
		t.Fatal(err)
	}
	html, err := p.Single()
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "shadowread.html")
	if err := os.WriteFile(path, html, 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// cutOff is the country without a network: nothing answers any more.
func (s *site) cutOff() { s.server.Close() }

// form is one of the two in which the page comes.
type form struct {
	name    string
	address string
	single  bool
}

// forms are the folder on a host and the one file opened from its storage.
func forms(t *testing.T) []form {
	t.Helper()
	return []form{{"folder", newSite(t).address, false}, {"single", "file://" + singleFile(t), true}}
}

// eachForm runs a test in both forms, the cautions acknowledged.
func eachForm(t *testing.T, test func(b *tab, f form)) {
	needsBrowser(t)
	for _, f := range forms(t) {
		t.Run(f.name, func(t *testing.T) { inForm(t, f, test) })
	}
}

// inFolder is for what both forms have in common.
func inFolder(t *testing.T, test func(b *tab, f form)) {
	needsBrowser(t)
	inForm(t, form{"folder", newSite(t).address, false}, test)
}

func inForm(t *testing.T, f form, test func(b *tab, f form)) {
	b := begun(t, f.address)
	test(b, f)
	b.calm()
}

// begun is the page just after the first photo of the demo was taken, the cautions acknowledged.
func begun(t *testing.T, address string, before ...string) *tab {
	t.Helper()
	b := newTab(t)
	b.clock(campTime, false)
	for _, script := range before {
		b.before(script)
	}
	b.open(address)
	b.click("understood")
	return b
}

// campTime is 14 seconds after the first photo of the demo was taken (fixtures/demo/truth.json).
var campTime = time.Date(2026, 8, 29, 6, 12, 45, 0, time.UTC)

func demo(name string) string { return fixture("demo/" + name) }

func fixture(name string) string {
	path, err := filepath.Abs("../../../fixtures/" + name)
	if err != nil {
		panic(err)
	}
	return path
}

// withVersion gives the page in a folder another version, as a later program writes it.
func withVersion(t *testing.T, folder, version string) {
	t.Helper()
	path := filepath.Join(folder, "service-worker.js")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	before, rest, found := strings.Cut(string(text), `const version = "`)
	_, after, closed := strings.Cut(rest, `"`)
	if !found || !closed {
		t.Fatal("the service worker names no version")
	}
	if err := os.WriteFile(path, []byte(before+`const version = "`+version+`"`+after), 0o644); err != nil {
		t.Fatal(err)
	}
}
