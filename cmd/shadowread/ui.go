package main

// House rules of output:
//
//   - Results go to standard output, all else to standard error.
//   - On a terminal results are laid out for people. Elsewhere a record is one line
//     of values parted by tabs, below a line led by # that names them; nothing is
//     rounded for looks.
//     With --json it is one JSON object a line.
//   - On standard error a line begins with "error:", "hint:" or "note:", in lower
//     case, without a full stop. With --json each is one JSON object with the keys
//     level, code, message and, where there is one, hint.
//   - --quiet silences notes and progress, never errors.
//   - Progress is drawn on a terminal only, on one line that is wiped.
//   - Colour stresses what the words already say, on a terminal only, and not where
//     NO_COLOR is set or TERM is "dumb".
//   - Text from outside, as names, cannot drive the terminal: see plain.go.
//   - Units follow their numbers. A plus-or-minus that people steer by holds 95 %; any
//     other is one sigma and says so.

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"unicode/utf8"

	"golang.org/x/term"

	"shadowread/internal/wording"
)

// streams is what a command talks to.
type streams struct {
	out, err       io.Writer
	in             io.Reader
	outTTY, errTTY bool
	inTTY          bool
	color          bool
	width          int    // columns of the terminal on out
	json, quiet    bool   // set by the flags of that name
	log            string // what logVariable names
	// screen is out on a terminal that can be drawn over, past what keeps names from driving
	// it: for text of ours alone. It is nil elsewhere.
	screen io.Writer
	// size is the terminal's columns and rows as they are now; nil: not known.
	size func() (columns, rows int, ok bool)
}

// forceTTY names the variable that makes a pipe look like a terminal.
const forceTTY = "SHADOWREAD_FORCE_TTY"

func stdStreams() *streams {
	s := newStreams(os.Stdout, os.Stderr, os.Getenv)
	s.in = os.Stdin
	s.inTTY = os.Getenv(forceTTY) != "" || s.errTTY && term.IsTerminal(int(os.Stdin.Fd()))
	return s
}

func newStreams(out, err io.Writer, getenv func(string) string) *streams {
	s := &streams{out: out, err: err, outTTY: getenv(forceTTY) != "" || isTerminal(out), errTTY: isTerminal(err), width: 100, log: getenv(logVariable)}
	f, ok := out.(*os.File)
	if s.outTTY && getenv("TERM") != "dumb" && (!isTerminal(out) || takesSequences(f)) {
		s.screen = out
		s.color = getenv("NO_COLOR") == ""
	}
	if ok {
		s.size = func() (columns, rows int, ok bool) {
			w, h, err := term.GetSize(int(f.Fd()))
			return w, h, err == nil && w > 0 && h > 0
		}
		if w, _, err := term.GetSize(int(f.Fd())); err == nil && w > 0 {
			s.width = w
		}
	}
	return s
}

func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// style is an ANSI SGR attribute (ECMA-48).
type style string

const (
	bold   style = "1"
	dim    style = "2"
	red    style = "31"
	yellow style = "33"
)

func (s *streams) paint(st style, text string) string {
	if !s.color || text == "" {
		return text
	}
	return "\x1b[" + string(st) + "m" + text + "\x1b[0m"
}

// message is one line on standard error with --json.
type message struct {
	Level   string `json:"level"` // error, note
	Code    string `json:"code"`
	Message string `json:"message"`
	Hint    string `json:"hint,omitempty"`
}

func (s *streams) say(m message) {
	if s.json {
		line, _ := json.Marshal(m) // strings cannot fail
		fmt.Fprintf(s.err, "%s\n", wording.EscapedJSON(line))
		return
	}
	fmt.Fprintf(s.err, "%s: %s\n", m.Level, plain(m.Message))
	if m.Hint == "" {
		return
	}
	for hint := range strings.SplitSeq(m.Hint, "\n") {
		fmt.Fprintf(s.err, "hint: %s\n", plain(hint))
	}
}

// note tells something that does not change the result.
func (s *streams) note(code, format string, args ...any) {
	if !s.quiet {
		s.say(message{Level: "note", Code: code, Message: fmt.Sprintf(format, args...)})
	}
}

// printJSON writes v as one line.
func (s *streams) printJSON(v any) error {
	line, err := json.Marshal(v)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(s.out, "%s\n", wording.EscapedJSON(line))
	return err
}

// wrap breaks text between words so that it fits the terminal, each line indented.
func (s *streams) wrap(indent int, text string) string {
	var b strings.Builder
	margin := strings.Repeat(" ", indent)
	room := max(30, s.width-1) // narrower, words would stand one a line
	column := 0
	for word := range strings.FieldsSeq(text) {
		n := utf8.RuneCountInString(word)
		switch {
		case column == 0:
			b.WriteString(margin + word)
			column = indent + n
		case column+1+n > room:
			b.WriteString("\n" + margin + word)
			column = indent + n
		default:
			b.WriteString(" " + word)
			column += 1 + n
		}
	}
	return b.String()
}

// progress is a line on standard error that is drawn over itself.
type progress struct {
	s     *streams
	drawn int // columns
}

func (p *progress) show(format string, args ...any) {
	if !p.s.errTTY || p.s.quiet || p.s.json {
		return
	}
	p.wipe()
	text := plain(fmt.Sprintf(format, args...))
	fmt.Fprint(p.s.err, text)
	p.drawn = utf8.RuneCountInString(text)
}

// wipe clears the line, as must be done before anything else is written.
func (p *progress) wipe() {
	if p.drawn > 0 {
		fmt.Fprintf(p.s.err, "\r%s\r", strings.Repeat(" ", p.drawn))
		p.drawn = 0
	}
}

// column is one column of a table on a terminal.
type column struct {
	head  string
	width int // at least; the last column is not padded
	right bool
}

// table prints records: aligned below their headings on a terminal, parted by tabs
// elsewhere, below a line that names the values. It prints row by row, so that a long job shows what it has.
type table struct {
	s       *streams
	columns []column
	started bool
	pipe    string // kind of its records in a pipe, of pipeHeadings
	headed  map[string]bool
}

// row prints one record. style "" leaves the terminal's.
func (t *table) row(st style, cells ...string) error {
	cells = slices.Clone(cells)
	for i, cell := range cells { // a tab or a line's end would make two of it
		cells[i] = plain(cell)
	}
	if !t.s.outTTY {
		if err := t.pipeHeading(cells); err != nil {
			return err
		}
		_, err := fmt.Fprintln(t.s.out, strings.Join(cells, "\t"))
		return err
	}
	if !t.started {
		t.started = true
		heads := make([]string, len(t.columns))
		for i, c := range t.columns {
			heads[i] = c.head
		}
		if err := t.line(dim, heads); err != nil {
			return err
		}
	}
	return t.line(st, cells)
}

func (t *table) line(st style, cells []string) error {
	var b strings.Builder
	for i, cell := range cells {
		c := t.columns[i]
		pad := strings.Repeat(" ", max(0, max(c.width, utf8.RuneCountInString(c.head))-utf8.RuneCountInString(cell)))
		switch {
		case c.right:
			b.WriteString(pad + cell)
		case i == len(cells)-1:
			b.WriteString(cell)
		default:
			b.WriteString(cell + pad)
		}
		if i < len(cells)-1 {
			b.WriteString("  ")
		}
	}
	text := strings.TrimRight(b.String(), " ")
	if st != "" {
		text = t.s.paint(st, text)
	}
	_, err := fmt.Fprintln(t.s.out, text)
	return err
}
