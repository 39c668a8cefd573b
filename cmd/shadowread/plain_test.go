package main

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"unicode/utf8"

	"shadowread/internal/wording"
)

// hostile are the ways to drive a terminal from within a name: ECMA-48 sequences in 7
// and 8 bits, those of UAX #9 that turn the order of letters, and lines of one's own.
var hostile = []string{
	"a\x1b[2Jb.jpg", "a\x1b]0;title\x07b.jpg", "a\u009b2Jb.jpg", "a\u202egpj.b", "a\u2066b\u200f.jpg", "a\nerror: all is well.jpg",
	"a\rb.jpg", "a\xff\x9bb.jpg", "a\u2028b.jpg", "a\U000e0041b.jpg", "a\x1b[31mb.jpg", "a\x7fb.jpg",
	"a\xd9\x1b[0mb.jpg",
}

// clean reports whether text can do no more to a terminal than letters and colours do.
func clean(text string) bool {
	return utf8.ValidString(text) && !strings.ContainsFunc(ours.ReplaceAllString(text, ""), func(r rune) bool { return r != '\n' && r != '\t' && wording.Foreign(r) })
}

func TestHostileNames(t *testing.T) {
	for _, name := range hostile {
		if got := plain(name); !clean(got) || strings.Contains(got, "\n") || !strings.HasPrefix(got, "a") {
			t.Errorf("plain(%q) = %q", name, got)
		}
		var out bytes.Buffer
		s := &streams{out: &terminal{w: &out}, err: &out, errTTY: true, outTTY: true, color: true, width: 80}
		s.say(message{Level: "note", Message: name, Hint: name})
		(&progress{s: s}).show("reading %s", name)
		if err := (&table{s: s, columns: []column{{head: "photo"}}}).row(red, name); err != nil {
			t.Fatal(err)
		}
		if strings.Contains(out.String(), "\nerror:") {
			t.Errorf("%q makes a line of its own: %q", name, out.String())
		}
		s.out.Write([]byte(s.paint(bold, name) + "\n")) // pages have lines
		if !clean(out.String()) {
			t.Errorf("%q is shown as %q", name, out.String())
		}
		out.Reset()
		s = &streams{out: &out, err: &out, json: true}
		s.say(message{Level: "note", Message: name})
		if err := s.printJSON(map[string]string{"photo": name}); err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(out.String()) {
			var m map[string]string
			if err := json.Unmarshal([]byte(line), &m); err != nil || !clean(line) {
				t.Errorf("%q: %q, %v", name, line, err)
			}
			if got := m["message"] + m["photo"]; got != strings.ToValidUTF8(name, "\ufffd") && utf8.ValidString(name) {
				t.Errorf("%q comes back from JSON as %q", name, got)
			}
		}
	}
}

func FuzzHostileNames(f *testing.F) {
	for _, name := range hostile {
		f.Add(name)
	}
	f.Fuzz(func(t *testing.T, name string) {
		if got := plain(name); !clean(got) {
			t.Errorf("plain(%q) = %q", name, got)
		}
		var once, parts bytes.Buffer
		n, err := (&terminal{w: &once}).Write([]byte(name + "\n")) // a rune cut short ends before the newline
		if n != len(name)+1 || err != nil || !clean(once.String()) {
			t.Errorf("%q is shown as %q (%d, %v)", name, once.String(), n, err)
		}
		name = strings.ReplaceAll(name, "\x1b", "") // ours come in one piece
		bytewise := &terminal{w: &parts}
		once.Reset()
		(&terminal{w: &once}).Write([]byte(name + "\n"))
		for _, c := range []byte(name + "\n") {
			bytewise.Write([]byte{c})
		}
		if once.String() != parts.String() {
			t.Errorf("%q is shown as %q at once and as %q byte by byte", name, once.String(), parts.String())
		}
		line, err := json.Marshal(name)
		if err != nil {
			t.Fatal(err)
		}
		var was, is string
		if err := json.Unmarshal(line, &was); err != nil {
			t.Fatal(err)
		}
		if err := json.Unmarshal(wording.EscapedJSON(line), &is); err != nil || is != was || !clean(string(wording.EscapedJSON(line))) {
			t.Errorf("%q comes back as %q (%v)", was, is, err)
		}
	})
}
