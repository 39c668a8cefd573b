package main

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"runtime"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/paper"
)

// quantity is a flag's number in a stated unit. What lies outside least and most, both
// included, is a slip and refused.
type quantity struct {
	value       float64
	least, most float64
	unit        string // as in the help: deg, mm, km, s
	set         bool   // given by the user
	text        string // shown as the default; "" where there is none
}

// Set reads the number; the flag's own unit may follow it.
func (q *quantity) Set(s string) error {
	t := strings.TrimSpace(strings.ReplaceAll(s, "−", "-"))
	if q.unit != "" {
		t = strings.TrimSpace(strings.TrimSuffix(t, q.unit))
	}
	if q.unit == "deg" {
		t = strings.TrimSuffix(t, "°")
	}
	v, err := strconv.ParseFloat(t, 64)
	switch {
	case err != nil && strings.Contains(t, ","):
		return fault.Usage("bad_number", q.bounds()+"; the decimal sign is a point", "%.40q is no number", s)
	case err != nil:
		return fault.Usage("bad_number", q.bounds(), "%.40q is no number", s)
	case !(v >= q.least && v <= q.most): // NaN fails both
		return fault.Usage("out_of_range", q.bounds(), "%s is out of range", s)
	}
	q.value, q.set = v, true
	return nil
}

// A comma that parts two numbers may be the decimal sign of one, as half the world writes it:
// 128,5 is then 128.5. Figures that nobody writes behind a decimal sign, a point, a space or a
// minus sign part them.
var mayBeDecimal = regexp.MustCompile(`^-?[0-9]+,[0-9]{1,2}$`)

// decimalComma fails with code "decimal_comma" where the text of two numbers may be one.
func decimalComma(text, hint string) error {
	t := strings.TrimSpace(strings.ReplaceAll(text, "−", "-"))
	if !mayBeDecimal.MatchString(t) {
		return nil
	}
	whole, part, _ := strings.Cut(t, ",")
	return fault.Usage("decimal_comma", hint, "%q may be two numbers, %s and %s, or one with a decimal comma, %s.%s", text, whole, part, whole, part)
}

func (q *quantity) bounds() string {
	return strings.TrimSpace(fmt.Sprintf("give a number from %g to %g %s", q.least, q.most, q.unit))
}

func (q *quantity) String() string { return q.text }

// Type names the value in the help.
func (q *quantity) Type() string {
	if q.unit == "" {
		return "N"
	}
	return q.unit
}

func (q *quantity) angle() angle.Angle { return angle.FromDegrees(q.value) }

func (q *quantity) duration() time.Duration {
	return time.Duration(math.Round(q.value * float64(time.Second)))
}

// parsed is a flag that keeps what parse made of its text. The parser's own error
// comes through, so that its hint is not lost.
type parsed[T any] struct {
	value T
	set   bool
	text  string
	name  string // in the help
	parse func(string) (T, error)
}

func (p *parsed[T]) Set(s string) (err error) {
	if p.value, err = p.parse(s); err != nil {
		return err
	}
	p.text, p.set = s, true
	return nil
}

func (p *parsed[T]) String() string { return p.text }

func (p *parsed[T]) Type() string { return p.name }

// paperFlag is a format of paper, the first unless another is given.
func paperFlag(formats []paper.Format) parsed[paper.Format] {
	return parsed[paper.Format]{name: "PAPER", text: strings.ToLower(formats[0].Name), value: formats[0], parse: paper.Parser(formats...)}
}

// given returns the value for an option that may be absent.
func (p *parsed[T]) given() *T {
	if !p.set {
		return nil
	}
	return &p.value
}

// words makes a flag complete to a fixed list.
func words(cmd *cobra.Command, flag string, list ...string) {
	// It fails for a flag that is not there: a slip of ours that any run shows.
	if err := cmd.RegisterFlagCompletionFunc(flag, cobra.FixedCompletions(list, cobra.ShellCompDirectiveNoFileComp)); err != nil {
		panic(err)
	}
}

const maxJobs = 256

func jobsFlag() quantity {
	return quantity{value: float64(runtime.GOMAXPROCS(0)), least: 1, most: maxJobs}
}

// mayBeEmpty are the flags whose empty value says something: no text, or no record.
var mayBeEmpty = []string{"note", "name", "title", "source", "instrument", "lens", "deviation-card"}

// noEmptyFlag refuses a flag that is given and says nothing, as a script does whose variable is
// empty: --time "$T" would be now, --log "$LOG" another log.
func noEmptyFlag(cmd *cobra.Command) (err error) {
	cmd.Flags().Visit(func(f *pflag.Flag) {
		empty := f.Value.String() == "" && f.Value.Type() == "string"
		if list, ok := f.Value.(pflag.SliceValue); ok {
			empty = slices.Contains(list.GetSlice(), "") || len(list.GetSlice()) == 0
		}
		if err == nil && empty && !slices.Contains(mayBeEmpty, f.Name) {
			err = fault.Usage("empty_value", "say what it is to be, or leave it out", "--%s is given, and empty", f.Name)
		}
	})
	return err
}
