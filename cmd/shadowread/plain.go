package main

import (
	"bytes"
	"fmt"
	"io"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Names of files and other text from outside may hold what drives a terminal or turns
// the order of its letters. On a line of ours it becomes question marks; in JSON, which
// must give the name, an escape.

// foreign reports whether a character is a control (C0, DEL or C1 of ECMA-48, as ESC and
// BEL), a line break of Unicode's, or one of its invisible ones that order, join or tag
// (general category Cf, the marks of UAX #9 among them).
func foreign(r rune) bool {
	return unicode.IsControl(r) || r == '\u2028' || r == '\u2029' || unicode.Is(unicode.Cf, r)
}

// plain makes text fit for a line of its own.
func plain(s string) string {
	return strings.Map(harmless, s)
}

// harmless is a character as a line of ours shows it.
func harmless(r rune) rune {
	if foreign(r) || r == utf8.RuneError {
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

// escaped replaces in JSON, where they stand in strings only, the characters that
// json.Marshal lets through.
func escaped(line []byte) []byte {
	if !bytes.ContainsFunc(line, foreign) {
		return line
	}
	var b bytes.Buffer
	for _, r := range string(line) {
		switch {
		case !foreign(r):
			b.WriteRune(r)
		case r > 0xFFFF: // a surrogate pair (RFC 8259, section 7)
			fmt.Fprintf(&b, `\u%04x\u%04x`, 0xD800+(r-0x10000)>>10, 0xDC00+(r-0x10000)&0x3FF)
		default:
			fmt.Fprintf(&b, `\u%04x`, r)
		}
	}
	return b.Bytes()
}
