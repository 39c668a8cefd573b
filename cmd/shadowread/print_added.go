package main

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/wording"
	"shadowread/internal/workup"
)

// acknowledged is an entry with what is told of it besides.
type acknowledged struct {
	logbook.Added
	shown  logbook.DialReading
	offset *time.Duration // from UTC, by which its time was given; nil: UTC
	// suspects are the slips that would close a fix that is far off.
	suspects []logbook.Suspect
	spot     *spotFlags // of a departure or fix, as it was given; nil for others
}

// printAdded tells what became of an entry, and returns errRefused if it waits for a
// heading.
func printAdded(s *streams, a acknowledged) error {
	var err error
	switch {
	case s.json:
		out := addedOf(a.Added, a.shown)
		out.Suspects = suspectsJSON(a.suspects)
		err = s.printJSON(out)
	case s.outTTY:
		err = addedForPeople(s, a)
	default:
		err = addedTable(s).row("", addedForPipe(a.Added)...)
	}
	if err != nil {
		return err
	}
	tellAdded(s, a.Added)
	tellFix(s, a)
	if a.NeedsHeading {
		return errRefused
	}
	return nil
}

// tellAdded says what the user is to do about an entry.
func tellAdded(s *streams, a logbook.Added) {
	if ahead := a.Entry.Time.Sub(a.Entry.Written); ahead > time.Minute {
		s.note("time_ahead", "entry %d is of a time that the clock of this machine reaches in %s only: check its date and UTC offset", a.Entry.Number, wording.Span(ahead))
	}
	if d := a.Disagrees; d != nil {
		s.note("odometer_disagrees", "entry %d: by the odometer %s were run, and %s are given: check both; the length that is given counts, and the odometer from there on", a.Entry.Number, a.Settings.UnitOr().Text(d.Odometer), a.Settings.UnitOr().Text(d.Given))
	}
	if a.Unsteered {
		s.note("no_heading_run", "the %s to entry %d were run on no heading that is known, and the ellipse holds all directions: a leg's entry belongs at its beginning", a.Settings.UnitOr().Text(a.Ran), a.Entry.Number)
	}
	if a.OtherInstrument {
		s.note("other_instrument", "entry %d was read with another instrument's record, or without one, than the leg before it, and no remount was logged between: check --instrument, or log the remount", a.Entry.Number)
	}
	if o := a.OtherUnit; o != nil {
		s.note("other_unit", "the odometer last read %s, and its readings count as %s from here on: while it counts %s, say so behind each, as in %s%s; one that was replaced is logged by shadowread log new-odometer", o, a.Settings.UnitOr(), o.Unit, o.AsGiven, o.Unit)
	}
	if a.NeedsHeading {
		s.note("needs_heading", "entry %d is in the log and needs a heading: %s", a.Entry.Number, waitsFor(a.Entry.Number))
	}
	if c := a.Later; c != nil {
		used := "is used"
		if !c.Used {
			used = "is not used"
		}
		s.note("fix_now", "the last fix after it now lies %.1f sigma from the estimate, and %s", c.Sigmas, used)
	}
	if a.Lost != nil {
		s.note("position_lost", "there is no estimated position: %s; log a fix, or correct the entry", a.Lost.Error())
	}
}

func addedForPipe(a logbook.Added) []string {
	cells := append(entryCells(&a.Entry), "", "", "", "", "")
	if e := a.Estimate; e != nil {
		copy(cells[len(cells)-5:], spotCells(e.Position, e.Cov))
	}
	return append(cells, plain(a.Entry.Note))
}

// entryCells begin the records of an entry in a pipe.
func entryCells(e *logbook.Entry) []string {
	heading, sigma, how := "", "", ""
	if l, ok := e.Content.(*logbook.Leg); ok {
		how = string(l.How)
		if h := headingOf(l); h != nil {
			heading, sigma = wording.Bearing(h.Heading, 4), wording.Fixed(h.Sigma, 4)
		}
	}
	return []string{strconv.Itoa(e.Number), string(e.Kind()), e.Time.UTC().Format(time.RFC3339Nano), wayText(e.Content), heading, sigma, how}
}

func spotCells(p geo.Position, c workup.Cov) []string {
	e := c.Ellipse95()
	return []string{wording.Fixed(p.Lat, 6), wording.Fixed(p.Lon, 6), fmt.Sprintf("%.1f", float64(e.Major)), fmt.Sprintf("%.1f", float64(e.Minor)), wording.Bearing(e.Bearing, 2)}
}

// labelled is a line of a block.
func labelled(s *streams, label, format string, args ...any) {
	fmt.Fprintf(s.out, "%-12s %s\n", label, plain(fmt.Sprintf(format, args...)))
}

func addedForPeople(s *streams, a acknowledged) error {
	e := &a.Entry
	grid := ""
	if x := a.Estimate; x != nil && e.Supersedes == 0 { // where a correction was made is not told
		grid = gridAt(e, x.Position)
	}
	head := fmt.Sprintf("entry %d: %s", e.Number, whatTextAt(e, grid))
	if e.Supersedes != 0 && e.Kind() != logbook.KindWithdrawal {
		head += fmt.Sprintf(", in place of entry %d", e.Supersedes)
	}
	st := bold
	if a.NeedsHeading {
		st = red
	}
	fmt.Fprintln(s.out, s.paint(st, head))
	if l, ok := e.Content.(*logbook.Leg); ok && l.Photo != nil {
		labelled(s, "photo", "%s", l.Photo.Name)
		if l.Photo.Refused != "" && l.NeedsHeading() {
			fmt.Fprintln(s.out, s.wrap(13, plain(l.Photo.Message)))
		}
	}
	if text := shownText(a.shown); text != "" {
		labelled(s, "dial", "%s", strings.Replace(text, ", ", " by the ", 1))
	}
	way := wayTextIn(e.Content, a.Settings.UnitOr())
	if way != "" {
		way = ", " + way
	}
	labelled(s, "time", "%s%s", wording.LocalTime(e.Time, a.offset), way)
	if set, ok := e.Content.(*logbook.Settings); ok {
		for _, l := range settingsLines(set) {
			labelled(s, l[0], "%s", l[1])
		}
		return nil
	}
	if !a.Before.IsZero() && e.Kind() != logbook.KindWithdrawal { // nothing was run to one
		labelled(s, "since", "%s after the entry before, %s run", wording.Elapsed(e.Time.Sub(a.Before)), a.Settings.UnitOr().Text(a.Ran))
	}
	if given := a.spot; given != nil && given.sigma.set {
		if as, is := wording.Length(geo.Metres(given.sigma.value)), wording.Length(given.within(nil, geo.Metres(given.sigma.value))); as != is {
			labelled(s, "error", "%s as given, %s with what the position's last digit leaves open", as, is)
		}
	}
	if a.Closing != nil {
		labelled(s, "the fix", "%s", closingText(a.Closing, a.Settings.UnitOr()))
		farForPeople(s, a)
	}
	if x := a.Estimate; x != nil {
		labelled(s, "estimate", "%s, 95 %% within %s", a.Settings.Place(x.Position), ellipseText(x.Cov.Ellipse95(), a.Settings.UnitOr()))
	}
	return nil
}

// addedTable is for entries that come one after the other.
func addedTable(s *streams) *table {
	return &table{s: s, pipe: "added", columns: []column{
		{head: "entry", right: true}, {head: "time", width: 26}, {head: "what", width: 29}, {head: "odometer", width: 10}, {head: "estimate", width: 19}, {head: "95 % within", width: 18}, {head: "notes"},
	}}
}

func addedRow(t *table, a logbook.Added) error {
	if !t.s.outTTY {
		return t.row("", addedForPipe(a)...)
	}
	e := &a.Entry
	unit := a.Settings.UnitOr()
	cells := []string{strconv.Itoa(e.Number), wording.LocalTime(e.Time, e.Offset), whatText(e), wayTextIn(e.Content, unit), "", "", entryNotes(e, a.Closing, unit)}
	if x := a.Estimate; x != nil {
		cells[2] = whatTextAt(e, gridAt(e, x.Position))
		cells[4], cells[5] = a.Settings.Place(x.Position), briefEllipse(x.Cov.Ellipse95(), unit)
	}
	st := style("")
	if a.NeedsHeading || a.Closing != nil && !a.Closing.Used {
		st = red
	}
	return t.row(st, cells...)
}
