package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/paper"
	"shadowread/internal/photo"
)

// quantity is a flag's number in a stated unit. What lies outside min and max, both
// included, is a slip and refused.
type quantity struct {
	value    float64
	min, max float64
	unit     string // as in the help: deg, mm, km, s
	set      bool   // given by the user
	text     string // shown as the default; "" where there is none
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
	case err != nil:
		return fault.Usage("bad_number", q.bounds(), "%q is no number", s)
	case !(v >= q.min && v <= q.max): // NaN fails both
		return fault.Usage("out_of_range", q.bounds(), "%s is out of range", s)
	}
	q.value, q.set = v, true
	return nil
}

func (q *quantity) bounds() string {
	return strings.TrimSpace(fmt.Sprintf("give a number from %g to %g %s", q.min, q.max, q.unit))
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
func (p *parsed[T]) Type() string   { return p.name }

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

// place is --position.
type place struct{ parsed[geo.Position] }

func (p *place) add(fs *pflag.FlagSet, usage string) {
	p.name, p.parse = "LAT,LON", geo.ParsePosition
	fs.Var(p, "position", usage)
}

// when is --time and --utc-offset, which may come in any order.
type when struct {
	time   string
	offset parsed[time.Duration]
}

func (w *when) add(fs *pflag.FlagSet, timeUsage, offsetUsage string) {
	w.offset = newOffsetFlag()
	fs.StringVar(&w.time, "time", "", timeUsage)
	fs.Var(&w.offset, "utc-offset", offsetUsage)
}

// newOffsetFlag is --utc-offset.
func newOffsetFlag() parsed[time.Duration] {
	return parsed[time.Duration]{name: "OFFSET", parse: geo.ParseOffset}
}

// at returns the time given; nil where none is.
func (w *when) at() (*time.Time, error) {
	if w.time == "" {
		return nil, nil
	}
	t, err := geo.ParseTime(w.time, w.offset.given())
	if err != nil {
		return nil, fault.Usage(fault.Code(err), fault.Hint(err), "--time: %s", err)
	}
	return &t, nil
}

// stated returns the UTC offset by which the time was given, or that of the camera; nil
// where none was.
func (w *when) stated() *time.Duration {
	if w.offset.set || len(w.time) < len("+00:00") {
		return w.offset.given()
	}
	// What ends in a date alone was refused by at.
	d, err := geo.ParseOffset(w.time[len(w.time)-len("+00:00"):])
	if err != nil {
		return nil
	}
	return &d
}

// newBodyFlag is --body.
func newBodyFlag() parsed[*bearing.Body] {
	return parsed[*bearing.Body]{name: "BODY", text: "auto", parse: func(s string) (*bearing.Body, error) {
		if s == "auto" {
			return nil, nil
		}
		b, err := bearing.ParseBody(s)
		if err != nil {
			return nil, fault.Usage("unknown_body", "give auto, sun or moon", "unknown body %q", s)
		}
		return &b, nil
	}}
}

// parsePrintScale reads X,Y, printed over nominal.
func parsePrintScale(s string) (scale [2]float64, err error) {
	const least, most = 0.9, 1.1 // a page fitted to the wrong paper differs by less
	xs, ys, ok := strings.Cut(s, ",")
	if !ok {
		return scale, fault.Usage("bad_print_scale", "give X,Y: measured over nominal athwart and fore-and-aft, as 1.000,0.995", "%q is no pair", s)
	}
	for i, text := range []string{xs, ys} {
		v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
		if err != nil || !(v >= least && v <= most) {
			return scale, fault.Usage("bad_print_scale", "divide what you measure by the nominal 176 mm: 175.1 mm make 0.9949",
				"%q is no scale from %g to %g", text, least, most)
		}
		scale[i] = v
	}
	return scale, nil
}

// words makes a flag complete to a fixed list.
func words(cmd *cobra.Command, flag string, list ...string) {
	// It fails for a flag that is not there: a slip of ours that any run shows.
	if err := cmd.RegisterFlagCompletionFunc(flag, cobra.FixedCompletions(list, cobra.ShellCompDirectiveNoFileComp)); err != nil {
		panic(err)
	}
}

func positionOptions(p *place, sigma *quantity) photo.PositionOptions {
	o := photo.PositionOptions{Position: p.given()}
	if p.set {
		o.Resolution = geo.Resolution(p.text)
	}
	if sigma.set {
		o.SigmaKM = &sigma.value
	}
	return o
}
