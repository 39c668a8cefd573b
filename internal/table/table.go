// Package table reads CSV files whose first line names the columns (RFC 4180), by one
// rule for all that the program takes in: a byte order mark and either line end are
// passed over, and so are lines that begin with # and rows with nothing in them; names of
// columns may be in capitals; fields are trimmed. Where the first line is parted by
// semicolons, as spreadsheets of half the world write it, so are the rows, and a comma in
// a number is its decimal sign, unless that is a point in all of them.
package table

import (
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"shadowread/internal/fault"
)

// Form is what a reader knows of its files.
type Form struct {
	Columns []string // all that may stand there, in lower case
	// Numbers are those of the columns that hold figures.
	Numbers []string
	// Needed lists columns of which one at least must be there.
	Needed [][]string
	// Also holds other names of columns.
	Also map[string]string
	// Strangers says that columns of other names are passed over, not refused.
	Strangers bool
	// Names tells people of the columns, as "time and number".
	Names             string
	MaxBytes, MaxRows int
}

// Hint tells how a file is written.
func (f *Form) Hint() string {
	return "the first line names the columns: " + f.Names +
		"; fields are parted by commas and the decimal sign is a point, or by semicolons and it is a comma, or a point in all numbers"
}

// Read hands the rows of a file to row, one by one. name stands for the file in messages,
// which give the line; row's own errors get both.
//
// The error's code is row's, or unreadable_file, file_too_large (rows too many, too),
// bad_csv, unknown_column or missing_column.
func (f *Form) Read(r io.Reader, name string, row func(Row) error) error {
	data, err := io.ReadAll(io.LimitReader(r, int64(f.MaxBytes)+1))
	if err != nil {
		return fault.Wrap(err, "unreadable_file", "check that the file may be read", "%s cannot be read", name)
	}
	text := strings.TrimPrefix(string(data), "\ufeff") // spreadsheets write that mark
	if len(data) > f.MaxBytes {
		return tooLarge(name, strings.Count(text, "\n")+1, "the file is larger than %d MiB", f.MaxBytes>>20)
	}
	c := csv.NewReader(strings.NewReader(text))
	c.Comma = separator(text)
	c.Comment = '#'
	c.FieldsPerRecord = -1 // counted below, where blank rows are known
	var h *header
	rows := 0
	for {
		fields, err := c.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var parse *csv.ParseError
		if errors.As(err, &parse) {
			return f.bad("bad_csv", name, parse.Line, "%v", parse.Err)
		}
		if err != nil {
			return err
		}
		line, _ := c.FieldPos(0)
		for i := range fields {
			fields[i] = strings.TrimSpace(fields[i])
		}
		if !slices.ContainsFunc(fields, func(s string) bool { return s != "" }) {
			continue
		}
		if h == nil {
			if h, err = f.header(name, line, fields); err != nil {
				return err
			}
			h.semicolons = c.Comma == ';'
			continue
		}
		if len(fields) != h.fields {
			return f.bad("bad_csv", name, line, "the row has %d fields where the first line has %d", len(fields), h.fields)
		}
		if !h.oneDecimalSign(fields) {
			return f.bad("bad_csv", name, line, "a number has another decimal sign here than above, and may be grouped in thousands")
		}
		if rows++; rows > f.MaxRows {
			return tooLarge(name, line, "the file has more than %d rows", f.MaxRows)
		}
		out := Row{Line: line, file: name, header: h, fields: fields}
		if err := row(out); err != nil {
			return out.Wrong(err)
		}
	}
	if h == nil {
		return f.bad("missing_column", name, 1, "the file is empty")
	}
	return nil
}

var quoted = regexp.MustCompile(`"[^"]*"`)

// separator returns what the names of the columns are parted by.
func separator(text string) rune {
	for line := range strings.Lines(text) {
		if strings.HasPrefix(line, "#") || strings.Trim(line, " \t\r\n,;") == "" {
			continue
		}
		names := quoted.ReplaceAllString(line, "")
		if strings.Contains(names, ";") && !strings.Contains(names, ",") {
			return ';'
		}
		break
	}
	return ','
}

// header is the line that names the columns.
type header struct {
	form       *Form
	at         map[string]int
	fields     int
	semicolons bool
	sign       string // decimal sign of the numbers so far, among semicolons; "" for none
}

// oneDecimalSign reports whether a row's numbers have the decimal sign of those above. A
// point among decimal commas would part thousands, and be read as a thousandth.
func (h *header) oneDecimalSign(fields []string) bool {
	for _, column := range h.form.Numbers {
		i, ok := h.at[column]
		if !ok || !h.semicolons {
			continue
		}
		for _, sign := range []string{".", ","} {
			if !strings.Contains(fields[i], sign) {
				continue
			}
			if h.sign = cmp.Or(h.sign, sign); h.sign != sign {
				return false
			}
		}
	}
	return true
}

func (f *Form) header(name string, line int, fields []string) (*header, error) {
	h := &header{form: f, at: map[string]int{}, fields: len(fields)}
	for i, column := range fields {
		column = strings.ToLower(column)
		column = cmp.Or(f.Also[column], column)
		_, twice := h.at[column]
		switch known := slices.Contains(f.Columns, column); {
		case !known && f.Strangers:
			continue
		case !known:
			return nil, f.bad("unknown_column", name, line, "column %.40q is not known; the columns are %s", column, strings.Join(f.Columns, ", "))
		case twice:
			return nil, f.bad("bad_csv", name, line, "column %s stands there twice", column)
		}
		h.at[column] = i
	}
	for _, list := range f.Needed {
		there := func(column string) bool { _, ok := h.at[column]; return ok }
		switch {
		case slices.ContainsFunc(list, there):
		case len(list) == 1:
			return nil, f.bad("missing_column", name, line, "column %s is missing", list[0])
		default:
			return nil, f.bad("missing_column", name, line, "none of the columns %s is there", strings.Join(list, ", "))
		}
	}
	return h, nil
}

// Row is a row of a file.
type Row struct {
	Line   int
	file   string
	header *header
	fields []string
}

// Field returns what stands in a column, "" if nothing does. A number has a point for
// its decimal sign.
func (r Row) Field(column string) string {
	i, ok := r.header.at[column]
	if !ok {
		return ""
	}
	if r.header.semicolons && slices.Contains(r.header.form.Numbers, column) {
		return strings.ReplaceAll(r.fields[i], ",", ".")
	}
	return r.fields[i]
}

// Text returns the words in a column as they were before SafeCell.
func (r Row) Text(column string) string { return BareCell(r.Field(column)) }

// What ParseFloat takes beside these, such as exponents, hexadecimal digits and words,
// is a slip where people note what a scale shows.
var plain = regexp.MustCompile(`^[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)$`)

// Number returns the number in a column; filled says whether anything stands there. The
// error's code is bad_number.
func (r Row) Number(column string) (x float64, filled bool, err error) {
	text := r.Field(column)
	if text == "" {
		return 0, false, nil
	}
	if plain.MatchString(text) {
		if x, err := strconv.ParseFloat(text, 64); err == nil {
			return x, true, nil
		}
	}
	return 0, true, fault.New("bad_number", r.header.form.Hint(), "%s %q is no number", column, text)
}

// Bad is the error of a row whose fields cannot stand together: bad_row.
func (r Row) Bad(format string, args ...any) error {
	return fault.New("bad_row", r.header.form.Hint(), format, args...)
}

// Wrong says at which line of which file an error is.
func (r Row) Wrong(err error) error { return wrong(r.file, r.Line, err) }

func wrong(file string, line int, err error) error {
	var f *fault.Error
	if !errors.As(err, &f) {
		return fmt.Errorf("%s line %d: %w", file, line, err)
	}
	e := *f
	e.Message, e.Err = fmt.Sprintf("%s line %d: %s", file, line, strings.TrimSuffix(err.Error(), "\n")), nil
	return &e
}

func (f *Form) bad(code, file string, line int, format string, args ...any) error {
	return wrong(file, line, fault.New(code, f.Hint(), format, args...))
}

func tooLarge(file string, line int, format string, args ...any) error {
	return wrong(file, line, fault.New("file_too_large", "check that it is the right file; if it is, split it", format, args...))
}
