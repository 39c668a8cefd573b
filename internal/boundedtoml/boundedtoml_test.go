package boundedtoml

import (
	"errors"
	"fmt"
	"runtime"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
)

// Files at the bounds and beyond them; the worst that the bounds leave must be cheap.
func TestDecodeIsBounded(t *testing.T) {
	key := strings.Repeat("a.", maxDots) + "a"
	many := func(line func(i int) string) string {
		var b strings.Builder
		for i := 0; b.Len() < maxBytes-200; i++ {
			b.WriteString(line(i))
		}
		return b.String()
	}
	for name, text := range map[string]string{
		"one dotted key":      strings.Repeat("a.", 30_000) + "a = 1",
		"3,000 parts":         strings.Repeat("a.", 3_000) + "a = 1",
		"a dotted table":      "[" + strings.Repeat("a.", 30_000) + "a]",
		"dots with quotes":    strings.Repeat(`"a" . `, 10_000) + "a = 1",
		"dotted keys":         many(func(i int) string { return fmt.Sprintf("b%d.%s = 1\n", i, key[2:]) }),
		"dotted tables":       many(func(i int) string { return fmt.Sprintf("[b%d.%s]\n", i, key[2:]) }),
		"keys in a table":     "[" + key + "]\n" + many(func(i int) string { return fmt.Sprintf("b%d.%s = 1\n", i, key[2:]) }),
		"arrays of tables":    many(func(i int) string { return fmt.Sprintf("[[b.%s]]\n", key[4:]) }),
		"arrays":              "a = " + strings.Repeat("[", 30_000),
		"arrays over lines":   "a = " + strings.Repeat("[\n", 30_000),
		"arrays at the bound": "a = " + strings.Repeat("[\n", maxBrackets) + strings.Repeat("]", maxBrackets),
		"inline tables":       "a = " + strings.Repeat("{ a = ", 10_000),
		"inline at the bound": "a = [" + strings.Repeat("\n{ "+key+" = [", maxTables) + strings.Repeat("] }", maxTables) + "]",
		"endless":             strings.Repeat("#", maxBytes+1),
	} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		var into struct{ Format string }
		_, err := Decode([]byte(text), &into)
		runtime.ReadMemStats(&after)
		// Everything allocated on the way, most of it given back at once: far below what
		// a photo takes. Without the bounds it is thousands of MB.
		if mb := (after.TotalAlloc - before.TotalAlloc) >> 20; mb > 200 {
			t.Errorf("%s: %d MB allocated (%v)", name, mb, err)
		}
	}
	for _, text := range []string{strings.Repeat("a.", 3_000) + "a = 1", "a = " + strings.Repeat("[\n", 30_000), "a = " + strings.Repeat("{ a = ", 10_000)} {
		var parse toml.ParseError
		if _, err := Decode([]byte(text), &struct{}{}); !errors.As(err, &parse) || parse.Position.Line < 1 {
			t.Errorf("%.20q: %v", text, err)
		}
	}
}

// TOML 1.0 within the bounds is read as the parser reads it.
func TestDecode(t *testing.T) {
	var got struct {
		A struct{ B []float64 }
		C string
	}
	if _, err := Decode([]byte("# ....\na.b = [0.5, 1.5]\nc = \"x.y.z\"\n"), &got); err != nil || len(got.A.B) != 2 || got.C != "x.y.z" {
		t.Errorf("%+v, %v", got, err)
	}
}

func FuzzDecode(f *testing.F) {
	for _, seed := range []string{"a.b.c = [0.5]\n", "[a.'b.c']\nd = {e.f = 1}\n", "[[a]]\n[[a.b]]\n", strings.Repeat("a.", maxDots) + "a = 1", "a = [[[[[]]]]]", "a = \"\"\"\n...\n\"\"\""} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		var into map[string]any
		_, _ = Decode(data, &into)
		runtime.ReadMemStats(&after)
		if mb := (after.TotalAlloc - before.TotalAlloc) >> 20; mb > 400 {
			t.Errorf("%d MB for %d bytes", mb, len(data))
		}
	})
}
