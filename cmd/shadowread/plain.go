package main

import (
	"io"
	"regexp"
	"strings"
	"unicode/utf8"

	"shadowread/internal/wording"
)

// Names of files and other text from outside may hold what drives a terminal or turns
// the order of its letters. On a line of ours it becomes question marks; in JSON, which
// must give the name, an escape.

// plain makes text fit for a line of its own.
func plain(s string) string {
	return strings.Map(harmless, s)
}

// harmless is a character as a line of ours shows it.
func harmless(r rune) rune {
	if wording.Foreign(r) || r == utf8.RuneError {
		return '?'
	}
	return r
}

// ours are the sequences that paint writes. In a name they can do no more than colour.
var ours = regexp.MustCompile("\x1b\\[(?:0|1|2|31|33)m")

// terminal is standard output on a terminal: text of many lines, stressed by paint.
// What else drives a terminal does not come through.
type terminal struct {
	w   io.Writer
	cut string // the beginning of a character whose rest the next text may bring
}

func (t *terminal) Write(p []byte) (int, error) {
	text := t.cut + string(p)
	text, t.cut = cutShort(text)
	var b strings.Builder
	lines := func(s string) {
		b.WriteString(strings.Map(func(r rune) rune {
			if r == '\n' || r == '\t' {
				return r
			}
			return harmless(r)
		}, s))
	}
	from := 0
	for _, at := range ours.FindAllStringIndex(text, -1) {
		lines(text[from:at[0]])
		b.WriteString(text[at[0]:at[1]])
		from = at[1]
	}
	lines(text[from:])
	if _, err := io.WriteString(t.w, b.String()); err != nil {
		return 0, err
	}
	return len(p), nil
}

// cutShort splits off the beginning of a character at the end of text, if it has one.
func cutShort(text string) (string, string) {
	for n := 1; n < utf8.UTFMax && n <= len(text); n++ {
		if tail := text[len(text)-n:]; utf8.RuneStart(tail[0]) {
			if !utf8.FullRuneInString(tail) {
				return text[:len(text)-n], tail
			}
			break
		}
	}
	return text, ""
}
