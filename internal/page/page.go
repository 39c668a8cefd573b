// Package page makes the page that reads and steers in a browser: a folder of files for any
// host, one file for a phone without one, or what is served on this machine alone.
package page

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"encoding/json"
	"io/fs"
	"maps"
	"slices"
	"strings"

	"shadowread/internal/fault"
)

//go:embed files
var embedded embed.FS

//go:embed all:built
var built embed.FS

// Policy is the page's Content-Security-Policy: nothing comes from elsewhere, nothing stands
// in line.
const Policy = "default-src 'self'; script-src 'self' 'wasm-unsafe-eval'; img-src 'self' blob:"

// What make page builds: the WebAssembly, packed, and what the toolchain loads it by.
const (
	program = "shadowread.wasm.gz"
	loader  = "wasm_exec.js"
)

// marker says in a folder that it is a page of ours, and what belongs to it.
const marker = "version.json"

// What stands in the files for the version, and in the service worker for what it is to hold.
const (
	versionMark = "@VERSION@"
	filesMark   = `["@FILES@"]`
)

// Page is all files of a page, by their names.
type Page struct {
	Version string // of the program and of what it consists of
	files   map[string][]byte
}

// New returns the page of a version of the program. It fails with code no_page_in_this_build.
func New(version string) (*Page, error) {
	wasm, err := built.ReadFile("built/" + program)
	by, also := built.ReadFile("built/" + loader)
	if err != nil || also != nil {
		return nil, fault.New("no_page_in_this_build", "build it with make build, or take a released program", "this build of the program carries no page")
	}
	return with(version, wasm, by)
}

func with(version string, wasm, by []byte) (*Page, error) {
	p := &Page{files: map[string][]byte{program: wasm, loader: by}}
	err := fs.WalkDir(embedded, "files", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		p.files[strings.TrimPrefix(path, "files/")], err = embedded.ReadFile(path)
		return err
	})
	if err != nil {
		return nil, err
	}
	p.Version = version + "-" + p.sum()[:12]
	return p, p.mark()
}

// sum is over all files, so that pages that differ have another version.
func (p *Page) sum() string {
	h := sha256.New()
	for _, name := range p.names() {
		one := sha256.Sum256(p.files[name])
		h.Write([]byte(name))
		h.Write(one[:])
	}
	return hex.EncodeToString(h.Sum(nil))
}

// names are those of the files, in order.
func (p *Page) names() []string { return slices.Sorted(maps.Keys(p.files)) }

// mark puts the version into the files, and adds the marker.
func (p *Page) mark() error {
	var hold []string // by the service worker: all but itself
	for _, name := range p.names() {
		if name != "service-worker.js" {
			hold = append(hold, name)
		}
	}
	list, err := json.Marshal(hold)
	if err != nil {
		return err
	}
	sums := map[string]string{}
	for name, data := range p.files {
		if strings.HasSuffix(name, ".js") || strings.HasSuffix(name, ".html") || strings.HasSuffix(name, ".webmanifest") {
			text := strings.ReplaceAll(string(data), versionMark, p.Version)
			p.files[name] = []byte(strings.ReplaceAll(text, filesMark, string(list)))
		}
		sum := sha256.Sum256(p.files[name])
		sums[name] = hex.EncodeToString(sum[:])
	}
	p.files[marker], err = json.MarshalIndent(markerFile{p.Version, sums}, "", " ")
	return err
}

// markerFile is the marker's content.
type markerFile struct {
	Version string            `json:"shadowread_page"`
	SHA256  map[string]string `json:"sha256"`
}
