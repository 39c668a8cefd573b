package main

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"shadowread/internal/reading"
	"shadowread/internal/telling"
	"shadowread/internal/wording"
)

// printer prints readings: as JSON, as a block for a single one on a terminal, else
// as rows of a table.
type printer struct {
	s       *streams
	table   *table // nil: blocks
	show    shown
	folder  string // of all photos, left out in the table; "" where they differ
	heading bool   // some reading had one
	proved  bool   // it was corrected by an instrument's record
	read    int    // readings with a heading
	checked int    // of them, how many clocks the shadow or a GPS stamp checked
}

// shown is what a table on a terminal shows only where it was asked for.
type shown struct {
	course bool // how far to come
	norths bool // headings from other norths than the true one
	terms  bool // all terms of the uncertainty, the small ones too
	timing bool // how long the stages took
}

// newPrinter takes the paths that will be printed, none for a number read by eye.
func newPrinter(s *streams, paths []string, show shown) *printer {
	p := &printer{s: s, show: show}
	if s.outTTY && len(paths) < 2 {
		return p
	}
	if len(paths) > 1 {
		p.folder = filepath.Dir(paths[0])
		if slices.ContainsFunc(paths, func(path string) bool { return filepath.Dir(path) != p.folder }) {
			p.folder = ""
		}
	}
	photo, turn := 0, 0
	for _, path := range paths {
		photo = max(photo, utf8.RuneCountInString(p.label(path)))
	}
	if show.course {
		turn = utf8.RuneCountInString("turn right 123.4°")
	}
	p.table = &table{s: s, pipe: "read", columns: []column{
		{head: "photo", width: photo}, {head: "time", width: 19}, {head: "by", width: 4}, {head: "altitude", right: true},
		{head: "heading", right: true, width: 8}, {head: "± 95 %", right: true}, {head: "turn", width: turn}, {head: "largest", width: 11}, {head: "notes"},
	}}
	return p
}

// label is the end of a path, which tells photos apart on a terminal.
func (p *printer) label(path string) string {
	if p.folder != "" {
		path = filepath.Base(path)
	}
	const most = 40
	if r := []rune(path); len(r) > most {
		return "…" + string(r[len(r)-most+1:])
	}
	return path
}

func (p *printer) output(r *reading.Result) error {
	p.heading = p.heading || r.OK()
	p.proved = p.proved || r.Instrument != nil
	if r.OK() {
		p.read++
		if r.Clock == reading.ClockPassed || r.ClockProved {
			p.checked++
		}
	}
	switch {
	case p.s.json:
		return p.s.printJSON(r)
	case p.table == nil:
		_, err := fmt.Fprint(p.s.out, block(p.s, r, p.show.terms))
		return err
	}
	return p.row(r)
}

// footer says once what holds for every row of a table.
func (p *printer) footer() {
	if p.table != nil && p.s.outTTY && !p.s.json && p.heading {
		of := "of the sheet's forward axis"
		if p.proved {
			of = "corrected by the instrument's record"
		}
		p.s.note("clocks", "the clock was checked, by the shadow or a GPS stamp, in %d of %d headings", p.checked, p.read)
		p.s.note("legend", "headings are true, %s, ± holds 95 %%; by is what casts the shadow, largest the greatest term of the uncertainty", of)
	}
}

func (p *printer) row(r *reading.Result) error {
	notes := make([]string, 0, len(r.Warnings)+1)
	if !r.OK() {
		notes = append(notes, string(r.Reason))
	}
	for _, w := range r.Warnings {
		notes = append(notes, w.Code)
	}
	var st style
	var cells []string
	if p.s.outTTY {
		notes = append(otherNorths(r, p.show.norths), notes...)
		cells = p.forPeople(r, strings.Join(notes, ", "))
	} else {
		cells = forPipe(r, strings.Join(notes, ","))
	}
	for i := range cells { // a file's name may hold anything
		cells[i] = plain(cells[i])
	}
	if !r.OK() {
		st = red
	}
	if err := p.table.row(st, cells...); err != nil || r.OK() || !p.s.outTTY {
		return err
	}
	_, err := fmt.Fprintln(p.s.out, p.s.wrap(4, plain(r.Message)))
	return err
}

func (p *printer) forPeople(r *reading.Result, notes string) []string {
	cells := []string{p.label(r.Photo), "", "", "", "refused", "", "", "", notes}
	if t := r.Instant; t != nil {
		cells[1] = wording.LocalTime(t.UTC, t.Offset)
	}
	if b := r.Sky; b != nil {
		cells[2], cells[3] = b.Body.String(), wording.Fixed(b.Altitude, 1)+"°"
	}
	if !r.OK() {
		return cells
	}
	n := wording.SteerPlaces(r.Sigma)
	cells[4], cells[5] = wording.ThreeFigures(*r.Heading, n), wording.Fixed(wording.Within95(r.Sigma), n)+"°"
	if r.Come != nil {
		cells[6] = wording.Turn(*r.Come, n)
	}
	cells[7] = wording.Term(r.Budget.Largest())
	return cells
}

func forPipe(r *reading.Result, notes string) []string {
	cells := []string{r.Photo, "", "", "", "", "", "", "", "", "", "", "", "", "", "", "", notes}
	if t := r.Instant; t != nil {
		cells[1] = t.UTC.UTC().Format(time.RFC3339Nano)
	}
	if b := r.Sky; b != nil {
		cells[2], cells[3] = b.Body.String(), wording.Fixed(b.Altitude, 4)
	}
	if !r.OK() {
		return cells
	}
	cells[4], cells[5] = wording.Bearing(*r.Heading, 4), wording.Fixed(r.Sigma, 4)
	if r.Come != nil {
		cells[6] = wording.Fixed(*r.Come, 4)
	}
	cells[7] = r.Budget.Largest()
	c := r.Compass
	for i, u := range []*reading.Uncertain{c.Magnetic, c.Deviated, c.Steer, c.Grid} {
		if u != nil {
			cells[8+2*i], cells[9+2*i] = wording.Bearing(u.Value, 4), wording.Fixed(u.Sigma, 4)
		}
	}
	return cells
}

// otherNorths names the headings from other norths, the magnetic ones if asked for.
func otherNorths(r *reading.Result, magnetic bool) (texts []string) {
	c := r.Compass
	add := func(name string, u *reading.Uncertain) {
		if magnetic && u != nil {
			texts = append(texts, name+" "+telling.With(*u))
		}
	}
	add("magnetic", c.Magnetic)
	add("compass", c.Deviated)
	add("steer by compass", c.Steer)
	if c.Grid != nil {
		texts = append(texts, "grid "+telling.With(*c.Grid))
	}
	return texts
}
