package table

import (
	"errors"
	"io"
	"math"
	"reflect"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"
	"unicode"

	"shadowread/internal/fault"
	"shadowread/internal/wording"
)

// depths is an invented form: soundings of wells along a track.
var depths = Form{
	Columns: []string{"well", "depth_m", "rope_m", "note"}, Numbers: []string{"depth_m", "rope_m"}, Also: map[string]string{"name": "well"},
	Needed: [][]string{{"well"}, {"depth_m", "rope_m"}},
	Names:  "well and depth_m or rope_m", MaxBytes: 1 << 20, MaxRows: 3,
}

func read(f Form, r io.Reader) (rows []string, err error) {
	err = f.Read(r, "f.csv", func(r Row) error {
		rows = append(rows, strings.Join([]string{strconv.Itoa(r.Line), r.Field("well"), r.Field("depth_m"), r.Field("rope_m"), r.Text("note")}, "|"))
		return nil
	})
	return rows, err
}

func TestRead(t *testing.T) {
	for _, tt := range []struct {
		name, text string
		want       []string
	}{
		{"plain", "well,depth_m\na,1.5\n", []string{"2|a|1.5||"}},
		{"byte order mark, line ends, comment", "\ufeff# wells\r\nwell,depth_m\r\na,1.5\r\n# b\r\nc,2\r\n", []string{"3|a|1.5||", "5|c|2||"}},
		{"capitals, spaces and order", " Depth_M ,WELL\n 1.5 , a \n", []string{"2|a|1.5||"}},
		{"another name", "Name,rope_m\na,7\n", []string{"2|a||7|"}},
		{"blank rows", "\n,,\nwell,depth_m,note\n\n,,\n   \na,1,x\n", []string{"7|a|1||x"}},
		{"no rows", "well,depth_m\n", nil},
		{"quotes over lines", "well,depth_m,note\na,1,\"x, \ny\"\nb,2,\"\"\n", []string{"2|a|1||x, \ny", "4|b|2||"}},
		{"a formula made safe", "well,depth_m,note\na,1,'=dry\n", []string{"2|a|1||=dry"}},
		{"semicolons and decimal commas", "# a, b\n;;\nwell;depth_m;note\na;1,5;2,5 m deep.\nb;25;\n", []string{"4|a|1.5||2,5 m deep.", "5|b|25||"}},
		{"semicolons and decimal points", "well;depth_m\na;1.5\nb;2.5\n", []string{"2|a|1.5||", "3|b|2.5||"}},
		{"semicolons within names quoted", "\"well\",\"depth_m\"\n\"a;b\",1\n", []string{"2|a;b|1||"}},
	} {
		got, err := read(depths, strings.NewReader(tt.text))
		if err != nil || !reflect.DeepEqual(got, tt.want) {
			t.Errorf("%s: %q, %v, want %q", tt.name, got, err, tt.want)
		}
	}
}

func TestStrangersArePassedOver(t *testing.T) {
	f := depths
	f.Strangers = true
	got, err := read(f, strings.NewReader("\"by, whom\";well;by;by;rope_m\nx;a;y;z;1,5\n"))
	if want := []string{"2|a||1.5|"}; err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%q, %v, want %q", got, err, want)
	}
}

func TestRefusals(t *testing.T) {
	for _, tt := range []struct{ name, text, code, says string }{
		{"empty", "", "missing_column", "f.csv line 1: the file is empty"},
		{"only a comment", "# wells\n\n", "missing_column", "f.csv line 1: the file is empty"},
		{"unknown column", "# x\nwell,depth\n", "unknown_column", `f.csv line 2: column "depth" is not known; the columns are well, depth_m, rope_m, note`},
		{"column twice", "well,rope_m,Name\n", "bad_csv", "f.csv line 1: column well stands there twice"},
		{"missing column", "depth_m\n1\n", "missing_column", "f.csv line 1: column well is missing"},
		{"missing columns", "well\na\n", "missing_column", "f.csv line 1: none of the columns depth_m, rope_m is there"},
		{"decimal comma among commas", "well,depth_m\na,1,5\n", "bad_csv", "f.csv line 2: the row has 3 fields where the first line has 2"},
		{"a field too many among semicolons", "well;depth_m;note\na;1,5;2,5 m; deep\n", "bad_csv", "f.csv line 2: the row has 4 fields where the first line has 3"},
		{"thousands among decimal commas", "well;depth_m\na;1,5\nb;1.250\n", "bad_csv", "f.csv line 3: a number has another decimal sign"},
		{"thousands in a number", "well;depth_m\na;1.250,5\n", "bad_csv", "f.csv line 2: a number has another decimal sign"},
		{"open quote", "well,depth_m\na,1\n\"b,2\n", "bad_csv", "f.csv line 3: "},
		{"bare quote", "well,depth_m\na\"b,1\n", "bad_csv", "f.csv line 2: "},
		{"rows", "well,depth_m\n" + strings.Repeat("a,1\n", 4), "file_too_large", "f.csv line 5: the file has more than 3 rows"},
		{"bytes", strings.Repeat("#\n", 1<<20), "file_too_large", "f.csv line 524289: the file is larger than 1 MiB"},
	} {
		_, err := read(depths, strings.NewReader(tt.text))
		if fault.Code(err) != tt.code || !strings.HasPrefix(err.Error(), tt.says) || fault.Hint(err) == "" {
			t.Errorf("%s: %v (%s), want %s that says %q", tt.name, err, fault.Code(err), tt.code, tt.says)
		}
	}
	broken := errors.New("disk gone")
	if _, err := read(depths, iotest.ErrReader(broken)); fault.Code(err) != "unreadable_file" || !errors.Is(err, broken) {
		t.Errorf("broken reader: %v", err)
	}
}

func TestErrorsOfRowsGetTheirPlace(t *testing.T) {
	deep, plain := fault.New("too_deep", "take a longer rope", "the well is deep"), errors.New("no light")
	for _, tt := range []struct {
		err        error
		code, says string
	}{{deep, "too_deep", "f.csv line 3: the well is deep"}, {plain, "error", "f.csv line 3: no light"}} {
		err := depths.Read(strings.NewReader("well,rope_m\na,1\nb,2\n"), "f.csv", func(r Row) error {
			if r.Field("well") == "b" {
				return tt.err
			}
			return nil
		})
		if fault.Code(err) != tt.code || err.Error() != tt.says {
			t.Errorf("%v (%s), want %s that says %q", err, fault.Code(err), tt.code, tt.says)
		}
	}
}

func TestNumber(t *testing.T) {
	for _, tt := range []struct {
		text   string
		want   float64
		filled bool
		code   string
	}{
		{"1.5", 1.5, true, ""}, {"-0.25", -0.25, true, ""}, {"+3", 3, true, ""}, {".5", 0.5, true, ""}, {"090.", 90, true, ""}, {"", 0, false, ""},
		{"1e1", 0, true, "bad_number"}, {"NaN", 0, true, "bad_number"}, {"0x10", 0, true, "bad_number"}, {"1.2.3", 0, true, "bad_number"},
		{"inf", 0, true, "bad_number"}, {".", 0, true, "bad_number"}, {"1 000", 0, true, "bad_number"}, {"\"1,5\"", 0, true, "bad_number"},
		{strings.Repeat("9", 400), 0, true, "bad_number"},
	} {
		err := depths.Read(strings.NewReader("well,depth_m\na,"+tt.text+"\n"), "f.csv", func(r Row) error {
			x, filled, err := r.Number("depth_m")
			if x != tt.want || filled != tt.filled {
				t.Errorf("%q: %v, %v", tt.text, x, filled)
			}
			return err
		})
		if fault.Code(err) != tt.code {
			t.Errorf("%q: %v, want code %q", tt.text, err, tt.code)
		}
	}
}

// Whatever is written there gives rows in the order of their lines or one error that
// names the file and says what to do.
func FuzzRead(f *testing.F) {
	for _, s := range []string{
		"well,depth_m\na,1.5\n", "\ufeffWELL;rope_m\r\na;1,5\r\n", "# x\n,,\nname,depth_m,note\n\"a\nb\",1,'=x\n", "well;depth_m\n\"a;b\";1,,5\n", "\"", ";;;", "\x00,\xff\n",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		last := 0
		err := depths.Read(strings.NewReader(s), "f.csv", func(r Row) error {
			if r.Line <= last || r.Line > strings.Count(s, "\n")+1 {
				t.Fatalf("%q: line %d after %d", s, r.Line, last)
			}
			last = r.Line
			x, filled, err := r.Number("depth_m")
			if filled != (r.Field("depth_m") != "") || math.IsNaN(x) || math.IsInf(x, 0) {
				t.Fatalf("%q: %v, %v", s, x, filled)
			}
			return err
		})
		if err != nil && (fault.Code(err) == "error" || fault.Hint(err) == "" || !strings.HasPrefix(err.Error(), "f.csv line ")) {
			t.Fatalf("%q: %v (%s)", s, err, fault.Code(err))
		}
	})
}

// Cells that a spreadsheet would work out are kept from it, and come back as they were.
func FuzzCells(f *testing.F) {
	for _, text := range []string{"", "reeds", "=HYPERLINK(\"x\")", "+1+1", "-2+3", "@SUM(1)", "\t=1", "-5", "+2.5", "'=1", "''-", "'tis", "-", "-0x1", "-inf", "a\x1b[2J\u009b1m\nb\tc\x00", "\r=1", "\xff"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		cell := SafeCell(text)
		if want := strings.Map(wording.Printed, text); BareCell(cell) != want {
			t.Errorf("%q became %q and came back as %q", text, cell, BareCell(cell))
		}
		if strings.ContainsFunc(cell, func(r rune) bool { return unicode.IsControl(r) && r != '\n' && r != '\t' }) {
			t.Errorf("%q drives a terminal", cell)
		}
		if cell != "" && strings.ContainsAny(cell[:1], "=@\t\r\n") {
			t.Errorf("%q is a formula", cell)
		}
		if _, err := strconv.ParseFloat(cell, 64); cell != "" && strings.ContainsAny(cell[:1], "+-") && err != nil {
			t.Errorf("%q is a formula", cell)
		}
	})
}
