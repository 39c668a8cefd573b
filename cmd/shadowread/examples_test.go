package main

import (
	"bytes"
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"shadowread/internal/page"

	"github.com/spf13/cobra"
)

// example is a command line that help or a page shows, with what the page prints below it.
type example struct {
	line  string
	shown []string
}

// expected is what an example is to do: its exit status, and parts of lines that it prints
// on either stream.
type expected struct {
	status int
	says   []string
}

// Every example of the help, of README and of the docs runs as it stands, those of one
// page one after the other as somebody would who copies them, and prints what
// testdata/examples.txt says of it.
func TestExamplesRun(t *testing.T) {
	want := expectedOfExamples(t)
	pages := map[string][]example{}
	root := newRoot(&streams{})
	root.InitDefaultHelpCmd()
	for _, c := range allCommands(root) {
		if c.Example == "" && c.Runnable() && !c.Hidden {
			t.Errorf("%s has no example", c.CommandPath())
		}
		for line := range strings.Lines(c.Example) {
			pages[c.CommandPath()] = append(pages[c.CommandPath()], example{line: strings.TrimSpace(line)})
		}
	}
	for _, path := range markdown(t) {
		pages[filepath.Base(path)] = append(pages[filepath.Base(path)], examplesIn(t, path)...)
	}
	unused := map[string]bool{}
	for line := range want {
		unused[line] = true
	}
	for page, list := range pages {
		for _, e := range list {
			delete(unused, e.line)
		}
		t.Run(page, func(t *testing.T) {
			dir := t.TempDir()
			if err := os.Symlink(fixtures, filepath.Join(dir, "fixtures")); err != nil {
				t.Fatal(err)
			}
			t.Chdir(dir)
			t.Setenv("XDG_DATA_HOME", filepath.Join(dir, "data"))
			for _, e := range list {
				if wantsPage(e.line) && !carriesPage() {
					t.Logf("skipped, since this build carries no page: %s", e.line)
					continue
				}
				status, text := runExample(t, e.line)
				w, known := want[e.line]
				if !known {
					t.Errorf("testdata/examples.txt does not say what this prints: %s\n%s", e.line, text)
					continue
				}
				if status != w.status && portTaken(e.line, w) {
					t.Logf("not served, since something else has its port: %s", e.line)
					w = expected{status: exitError, says: []string{"of this machine cannot be taken"}}
				}
				if status != w.status {
					t.Errorf("exit status %d, want %d: %s\n%s", status, w.status, e.line, text)
				}
				for _, part := range slices.Concat(w.says, e.shown) {
					if !strings.Contains(text, part) {
						t.Errorf("%s does not print %q but\n%s", e.line, part, text)
					}
				}
			}
		})
	}
	for line := range unused {
		t.Errorf("no page has the example %s", line)
	}
}

// expectedOfExamples reads testdata/examples.txt: an example behind "$ ", then "status N"
// unless that is 0, and parts of what it prints, one a line.
func expectedOfExamples(t *testing.T) map[string]expected {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("testdata", "examples.txt"))
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]expected{}
	line := ""
	for text := range strings.Lines(string(data)) {
		text = strings.TrimSpace(text)
		e := all[line]
		switch {
		case text == "" || strings.HasPrefix(text, "#"):
			continue
		case strings.HasPrefix(text, "$ "):
			if line != "" && len(e.says) == 0 {
				t.Errorf("examples.txt does not say what this prints: %s", line)
			}
			line = text[2:]
			e = all[line]
		case strings.HasPrefix(text, "status "):
			if _, err := fmt.Sscanf(text, "status %d", &e.status); err != nil {
				t.Fatal(text, err)
			}
		default:
			e.says = append(e.says, text)
		}
		all[line] = e
	}
	return all
}

// runExample lets a shell split the words and send the output where the line says; the
// command itself runs in this process, which is quicker.
func runExample(t *testing.T, line string) (status int, printed string) {
	t.Helper()
	sh := exec.Command("sh", "-c", "shadowread() { printf '%s\\0' \"$@\" >words; }\n"+line)
	if out, err := sh.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	words, err := os.ReadFile("words")
	if err != nil {
		t.Fatal(err)
	}
	var out, errs bytes.Buffer
	s := &streams{out: &out, err: &errs, outTTY: !strings.Contains(line, " > "), width: 100}
	ctx := context.Background()
	if strings.HasPrefix(line, "shadowread serve") { // until somebody ends it
		var cancel context.CancelFunc
		ctx, cancel = context.WithCancel(ctx)
		time.AfterFunc(200*time.Millisecond, cancel)
	}
	status = execute(ctx, strings.Split(strings.TrimSuffix(string(words), "\x00"), "\x00"), s)
	return status, errs.String() + out.String()
}

// portTaken tells whether something else on this machine has the port of an example.
func portTaken(line string, want expected) bool {
	if !strings.HasPrefix(line, "shadowread serve") || len(want.says) == 0 {
		return false
	}
	l, err := net.Listen("tcp4", strings.Trim(strings.TrimPrefix(want.says[0], "http:"), "/"))
	if err == nil {
		l.Close()
	}
	return err != nil
}

// wantsPage tells examples that a build without a page cannot run.
func wantsPage(line string) bool {
	return strings.HasPrefix(line, "shadowread page") || strings.HasPrefix(line, "shadowread serve")
}

func carriesPage() bool {
	_, err := page.New(version)
	return err == nil
}

// markdown lists the pages that people read.
func markdown(t *testing.T) []string {
	t.Helper()
	root := filepath.Join("..", "..")
	pages := []string{filepath.Join(root, "README.md")}
	for _, pattern := range []string{"docs/*.md", "fixtures/README.md"} {
		found, err := filepath.Glob(filepath.Join(root, pattern))
		if err != nil || len(found) == 0 {
			t.Fatal(pattern, err)
		}
		pages = append(pages, found...)
	}
	return pages
}

// examplesIn returns the command lines in a page's blocks of code, fenced or indented.
// Below one that a "$" leads stands what it prints.
func examplesIn(t *testing.T, path string) (list []example) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	fenced, prompted := false, false
	for text := range strings.Lines(string(data)) {
		line := strings.TrimSpace(text)
		if strings.HasPrefix(line, "```") {
			fenced, prompted = !fenced, false
			continue
		}
		if !fenced && !strings.HasPrefix(text, "    ") {
			continue
		}
		command, prompt := strings.CutPrefix(line, "$ ")
		switch {
		case strings.HasPrefix(command, "shadowread "):
			list, prompted = append(list, example{line: command}), prompt
		case prompted && line != "":
			list[len(list)-1].shown = append(list[len(list)-1].shown, line)
		}
	}
	return list
}

var (
	inline   = regexp.MustCompile("`(shadowread [^`]+)`")
	flagName = regexp.MustCompile(`(?:^|\s)--([a-z][a-z0-9-]*)`)
)

// What pages and help say within a line names commands and flags that there are.
func TestCommandsInProseExist(t *testing.T) {
	root := newRoot(&streams{})
	for _, path := range append(markdown(t), filepath.Join("..", "..", "CHANGELOG.md")) {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range inline.FindAllStringSubmatch(strings.ReplaceAll(string(data), "\n", " "), -1) {
			checkCommandLine(t, root, filepath.Base(path), m[1])
		}
	}
}

func checkCommandLine(t *testing.T, root *cobra.Command, page, text string) {
	t.Helper()
	words := strings.Fields(text)
	c, rest := root, words[1:]
	for len(rest) > 0 {
		i := slices.IndexFunc(c.Commands(), func(below *cobra.Command) bool { return below.Name() == rest[0] })
		if i < 0 {
			break
		}
		c, rest = c.Commands()[i], rest[1:]
	}
	if c == root && rest[0] != "help" && !strings.HasPrefix(rest[0], "-") {
		t.Errorf("%s: no such command: %s", page, text)
		return
	}
	for _, m := range flagName.FindAllStringSubmatch(strings.Join(rest, " "), -1) {
		if c.Flags().Lookup(m[1]) == nil && c.InheritedFlags().Lookup(m[1]) == nil && m[1] != "help" {
			t.Errorf("%s: %s has no flag --%s: %s", page, c.CommandPath(), m[1], text)
		}
	}
}
