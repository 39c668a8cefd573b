package page

import (
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"path"
	"regexp"
	"strings"
)

var (
	policyTag   = regexp.MustCompile(`<meta http-equiv="Content-Security-Policy" content="[^"]*">`)
	styleTag    = regexp.MustCompile(`<link rel="stylesheet" href="([^"]+)">`)
	linkTag     = regexp.MustCompile(`[ \t]*<link rel="(?:manifest|icon|apple-touch-icon|modulepreload)"[^>]*>\n?`)
	moduleTag   = regexp.MustCompile(`<script type="module" src="([^"]+)"></script>`)
	importLine  = regexp.MustCompile(`(?s)\bimport\s*\{([^}]*)\}\s*from\s*"\./([^"]+)";[ \t]*\n?`)
	exportWord  = regexp.MustCompile(`(?m)^export (async function|function|const|let|class) `)
	leftOver    = regexp.MustCompile(`(?m)^\s*(?:import|export)\b.*|\bimport\s*\(|\bimport\.meta\b`)
	scriptsLine = regexp.MustCompile(`(?m)^importScripts\("([^"]+)"\);$`)
	imageSource = regexp.MustCompile(`(src|href)="([^":#]+\.(?:svg|png))"`)
)

// Single returns the page as one file, that may be opened from a phone's storage: all stands
// in it, and its policy names what may run by hashes.
func (p *Page) Single() ([]byte, error) {
	html := string(p.files["index.html"])
	html = linkTag.ReplaceAllString(html, "")
	var styles, scripts []string
	var failed error
	html = styleTag.ReplaceAllStringFunc(html, func(tag string) string {
		text, err := p.text(styleTag.FindStringSubmatch(tag)[1])
		if err != nil {
			failed = err
		}
		styles = append(styles, hashOf(text))
		return "<style>" + text + "</style>"
	})
	html = imageSource.ReplaceAllStringFunc(html, func(attribute string) string {
		m := imageSource.FindStringSubmatch(attribute)
		data, ok := p.files[m[2]]
		if !ok {
			failed = fmt.Errorf("the page has no %s", m[2])
		}
		return m[1] + `="data:` + kinds[path.Ext(m[2])] + ";base64," + base64.StdEncoding.EncodeToString(data) + `"`
	})
	worker, err := p.worker()
	if err != nil {
		return nil, err
	}
	data := "<script type=\"text/plain\" id=\"worker\">" + worker + "</script>\n" +
		"<script type=\"text/plain\" id=\"program\">" + base64.StdEncoding.EncodeToString(p.files[program]) + "</script>\n"
	html = moduleTag.ReplaceAllStringFunc(html, func(tag string) string {
		text, err := p.bundle(moduleTag.FindStringSubmatch(tag)[1])
		if err != nil {
			failed = err
		}
		scripts = append(scripts, hashOf(text))
		out := data + "<script type=\"module\">" + text + "</script>"
		data = ""
		return out
	})
	if failed != nil {
		return nil, failed
	}
	if len(scripts) == 0 || !policyTag.MatchString(html) {
		return nil, fmt.Errorf("index.html has no module script or no policy")
	}
	style := "'none'"
	if len(styles) > 0 {
		style = strings.Join(styles, " ")
	}
	policy := "default-src 'none'; script-src " + strings.Join(scripts, " ") + " 'wasm-unsafe-eval'; worker-src blob:; style-src " + style + "; img-src blob: data:"
	html = policyTag.ReplaceAllLiteralString(html, `<meta http-equiv="Content-Security-Policy" content="`+policy+`">`)
	return []byte(html), nil
}

// text is a file that stands in a line of the page, where nothing may end its element.
func (p *Page) text(name string) (string, error) {
	data, ok := p.files[name]
	if !ok {
		return "", fmt.Errorf("the page has no %s", name)
	}
	text := string(data)
	if lower := strings.ToLower(text); strings.Contains(lower, "</script") || strings.Contains(lower, "</style") || strings.Contains(lower, "<!--") {
		return "", fmt.Errorf("%s has what ends a script or a style in it", name)
	}
	return text, nil
}

func hashOf(text string) string {
	sum := sha256.Sum256([]byte(text))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}

// worker is the worker's source with the scripts that it loads.
func (p *Page) worker() (string, error) {
	text, err := p.text("worker.js")
	if err != nil {
		return "", err
	}
	var failed error
	text = scriptsLine.ReplaceAllStringFunc(text, func(line string) string {
		loaded, err := p.text(scriptsLine.FindStringSubmatch(line)[1])
		if err != nil {
			failed = err
		}
		return loaded
	})
	return text, failed
}

// bundle joins a module and those that it imports into one. It knows named imports and
// exports, and the modules' names in the outermost scope must differ; anything else is an
// error, so that nothing goes wrong in silence.
func (p *Page) bundle(name string) (string, error) {
	var b strings.Builder
	done := map[string]bool{}
	var add func(name string, within []string) error
	add = func(name string, within []string) error {
		if done[name] {
			return nil
		}
		done[name] = true
		text, err := p.text(name)
		if err != nil {
			return err
		}
		for _, m := range importLine.FindAllStringSubmatch(text, -1) {
			if strings.Contains(m[1], " as ") {
				return fmt.Errorf("%s imports under another name: %s", name, m[1])
			}
			if err := add(m[2], append(within, name)); err != nil {
				return err
			}
		}
		text = importLine.ReplaceAllString(text, "")
		text = exportWord.ReplaceAllString(text, "$1 ")
		if left := leftOver.FindString(text); left != "" {
			return fmt.Errorf("%s has what is not joined: %q", name, left)
		}
		b.WriteString(text)
		return nil
	}
	err := add(name, nil)
	return b.String(), err
}
