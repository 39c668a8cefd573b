package wording

import (
	"bytes"
	"fmt"
	"unicode"
	"unicode/utf8"
)

// Names of files, notes and other text from outside may hold what drives a terminal or turns
// the order of its letters, and what is written comes to be shown on one.

// Foreign reports whether a character is a control (C0, DEL or C1 of ECMA-48, as ESC and
// BEL), a line break of Unicode's, or one of its invisible ones that order, join or tag
// (general category Cf, the marks of UAX #9 among them).
func Foreign(r rune) bool {
	return unicode.IsControl(r) || r == '\u2028' || r == '\u2029' || unicode.Is(unicode.Cf, r)
}

// Printed is a character as a file of text may hold it: of controls but line feed and tab
// U+FFFD is left (HTML Standard, 13.2.3.5: none but white space). What orders and joins letters stays,
// since words are written with it.
func Printed(r rune) rune {
	if unicode.IsControl(r) && r != '\n' && r != '\t' {
		return utf8.RuneError
	}
	return r
}

// EscapedJSON replaces in JSON, where they stand in strings only, the foreign characters that
// json.Marshal lets through.
func EscapedJSON(data []byte) []byte {
	between := func(r rune) bool { return r == '\n' || !Foreign(r) } // lines are no part of strings
	if !bytes.ContainsFunc(data, func(r rune) bool { return !between(r) }) {
		return data
	}
	var b bytes.Buffer
	for _, r := range string(data) {
		switch {
		case between(r):
			b.WriteRune(r)
		case r > 0xFFFF: // a surrogate pair (RFC 8259, section 7)
			fmt.Fprintf(&b, `\u%04x\u%04x`, 0xD800+(r-0x10000)>>10, 0xDC00+(r-0x10000)&0x3FF)
		default:
			fmt.Fprintf(&b, `\u%04x`, r)
		}
	}
	return b.Bytes()
}
