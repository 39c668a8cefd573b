package main

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"shadowread/internal/align"
	"shadowread/internal/angle"
	"shadowread/internal/wording"
)

// alignResult is what align says.
type alignResult struct {
	*align.Result
	Tolerance *float64         // degrees; nil where none was asked for
	Judged    *align.Judgement // against it
}

// MarshalJSON adds the tolerance to the object of package align.
func (r alignResult) MarshalJSON() ([]byte, error) {
	object, err := r.Result.MarshalJSON()
	if err != nil {
		return nil, err
	}
	tail := "}"
	if r.Judged != nil {
		tail = fmt.Sprintf(`,"tolerance_deg":%g,"judged":%q}`, *r.Tolerance, *r.Judged)
	}
	return append(bytes.TrimSuffix(object, []byte("}")), tail...), nil
}

// alignValue is a line of the result: name, value, sigma, unit.
type alignValue struct {
	name, value, sigma, unit string
	determined               bool
	rests                    string
	bearing                  bool
}

func (r alignResult) values(places func(angle.Angle) int) (out []alignValue) {
	if r.Code != "" {
		return nil // zeros would pass for estimates
	}
	rests := func(share float64, on string) string {
		if share < 0.5 {
			return ""
		}
		return on
	}
	deg := func(name string, e align.Estimate[angle.Angle], bearing bool) {
		n := places(e.Sigma)
		value := wording.SignedNumber(e.Value.Degrees(), n)
		if bearing {
			value = wording.Bearing(e.Value, n)
		}
		out = append(out, alignValue{name, value, wording.Fixed(e.Sigma, n), "deg", e.Determined, rests(e.PriorShare, e.RestsOn), bearing})
	}
	mm := func(name string, e align.Estimate[float64]) {
		out = append(out, alignValue{name, strconv.FormatFloat(e.Value, 'f', 3, 64), strconv.FormatFloat(e.Sigma, 'f', 3, 64), "mm", e.Determined, rests(e.PriorShare, e.RestsOn), false})
	}
	for _, st := range r.Stands {
		if st.Used {
			deg(strings.TrimSpace("heading "+plain(st.Name)), st.Heading, true)
		}
	}
	if l := r.Lubber; l != nil {
		deg("lubber line", *l, false)
	}
	deg("lean to starboard", r.LeanStarboard, false)
	deg("lean forward", r.LeanForward, false)
	mm("foot to starboard", r.FootStarboardMM)
	mm("foot forward", r.FootForwardMM)
	if h := r.HeightMM; h != nil {
		mm("rod height", *h)
	}
	c := r.Clock
	out = append(out, alignValue{"clock fast by", strconv.FormatFloat(c.Value.Seconds(), 'f', 1, 64), strconv.FormatFloat(c.Sigma.Seconds(), 'f', 1, 64), "s", c.Determined, rests(c.PriorShare, c.RestsOn), false})
	return out
}

func (r alignResult) output(s *streams) error {
	switch {
	case s.json:
		return s.printJSON(r)
	case s.outTTY:
		return r.forPeople(s)
	}
	t := &table{s: s, pipe: "align"}
	var rows [][]string
	for _, v := range r.values(func(angle.Angle) int { return 5 }) {
		state := "open"
		if v.determined {
			state = "determined"
		}
		rows = append(rows, []string{"value", v.name, strings.TrimPrefix(v.value, "+"), v.sigma, v.unit, state, v.rests})
	}
	for _, x := range r.Terms {
		aside := ""
		if x.SetAside {
			aside = "set aside"
		}
		rows = append(rows, []string{"reading", plain(x.Label), x.Sky.Time.UTC().Format(time.RFC3339Nano), wording.Fixed(x.Residual, 5), wording.Fixed(x.DirectionSigma, 5), aside})
	}
	for _, line := range r.verdict() {
		rows = append(rows, []string{"verdict", plain(line)})
	}
	for _, row := range rows {
		if err := t.row("", row...); err != nil {
			return err
		}
	}
	return nil
}

// verdict is align's, with the word on the tolerance before it.
func (r alignResult) verdict() []string {
	lines := r.Verdict()
	if r.Judged == nil {
		return lines
	}
	text := map[align.Judgement]string{
		align.Within:    "within tolerance: with the sun at 45° a heading read as if nothing were off is right within %g°",
		align.Outside:   "outside tolerance: with the sun at 45° a heading read as if nothing were off is wrong by more than %g°",
		align.NotProved: "not proved: the readings leave open whether a heading with the sun at 45° is right within %g°",
	}[*r.Judged]
	return slices.Insert(lines, 0, fmt.Sprintf(text, *r.Tolerance))
}

func (r alignResult) forPeople(s *streams) error {
	for i, line := range r.verdict() {
		line = s.wrap(2, plain(line))[1:]
		if i == 0 && r.Judged != nil {
			st := bold
			if *r.Judged != align.Within {
				st = red
			}
			line = s.paint(st, line)
		}
		fmt.Fprintf(s.out, "-%s\n", line)
	}
	values := r.values(wording.Places)
	if len(values) > 0 {
		fmt.Fprintln(s.out)
	}
	width := 0
	for _, v := range values {
		width = max(width, len([]rune(v.name)))
	}
	t := table{s: s, columns: []column{{head: "", width: width}, {head: "value", right: true, width: 8}, {head: "± 1 sigma", right: true}, {head: "unit"}, {head: "notes"}}}
	for _, v := range values {
		var notes []string
		if !v.determined {
			notes = append(notes, "not determined")
		}
		if v.rests != "" {
			notes = append(notes, "rests on "+v.rests)
		}
		st := style("")
		if !v.determined {
			st = dim
		}
		if whole, _, _ := strings.Cut(v.value, "."); v.bearing { // three figures before the point
			v.value = strings.Repeat("0", max(0, 3-len(whole))) + v.value
		}
		if err := t.row(st, v.name, v.value, v.sigma, v.unit, strings.Join(notes, ", ")); err != nil {
			return err
		}
	}
	fmt.Fprintln(s.out)
	names, width := newPrinter(s, labelsOf(r.Result), shown{}), 0
	for _, x := range r.Terms {
		width = max(width, len([]rune(names.label(x.Label))))
	}
	t = table{s: s, columns: []column{{head: "reading", width: width}, {head: "time UTC", width: 19}, {head: "azimuth", right: true}, {head: "altitude", right: true}, {head: "residual", right: true}, {head: "± 1 sigma", right: true}, {head: "notes"}}}
	for _, x := range r.Terms {
		st, note := style(""), ""
		if x.SetAside {
			st, note = red, "set aside"
		}
		n := wording.Places(x.DirectionSigma)
		if err := t.row(st, plain(names.label(x.Label)), x.Sky.Time.UTC().Format(time.DateTime), wording.ThreeFigures(x.Sky.Azimuth, 1), wording.Fixed(x.Sky.Altitude, 1)+"°",
			wording.Signed(x.Residual, n), wording.Fixed(x.DirectionSigma, n)+"°", note); err != nil {
			return err
		}
	}
	return nil
}

func labelsOf(r *align.Result) (labels []string) {
	for _, x := range r.Terms {
		labels = append(labels, x.Label)
	}
	return labels
}
