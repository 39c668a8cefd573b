package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"shadowread/internal/logbook"
	"shadowread/internal/wording"
	"shadowread/internal/workup"
)

// printList prints the entries of a journey.
func printList(s *streams, list []listed) error {
	if s.json {
		for i := range list {
			if err := s.printJSON(list[i].json()); err != nil {
				return err
			}
		}
		return nil
	}
	if !s.outTTY {
		t := &table{s: s, pipe: "list"}
		for _, l := range list {
			cells := append(entryCells(l.Entry), "", "", "", "", "", "", "")
			if p := l.at; p != nil {
				copy(cells[7:], spotCells(p.Adjusted, p.AdjustedCov))
			}
			for i, n := range []int{l.Supersedes, l.SupersededBy} {
				if n != 0 {
					cells[12+i] = strconv.Itoa(n)
				}
			}
			if err := t.row("", append(cells, plain(l.Note))...); err != nil {
				return err
			}
		}
		return nil
	}
	rows := make([][]string, len(list))
	for i, l := range list {
		closing := (*workup.Closing)(nil)
		grid := ""
		if p := l.at; p != nil {
			grid = gridAt(l.Entry, p.Adjusted)
		}
		rows[i] = []string{strconv.Itoa(l.Number), wording.LocalTime(l.Time, l.offset), readText(l.Entry, grid, l.shown), wayTextIn(l.Content, l.set.UnitOr()), "", "", ""}
		if p := l.at; p != nil {
			rows[i][4], rows[i][5] = l.set.Place(p.Adjusted), briefEllipse(p.AdjustedCov.Ellipse95(), l.set.UnitOr())
			closing = p.Closing
		}
		rows[i][6] = entryNotes(l.Entry, closing, l.set.UnitOr())
		if l.SupersededBy != 0 {
			rows[i][6] = strings.TrimPrefix(rows[i][6]+"; ", "; ") + fmt.Sprintf("superseded by %d", l.SupersededBy)
		}
	}
	t := addedTable(s)
	t.columns[4].head = "position"
	for i := range t.columns {
		t.columns[i].width = slices.Max(append([]int{0}, widths(rows, i)...))
	}
	for i, row := range rows {
		st := style("")
		switch l, leg := list[i].Content.(*logbook.Leg); {
		case list[i].SupersededBy != 0 || list[i].Kind() == logbook.KindWithdrawal:
			st = dim
		case leg && l.NeedsHeading() || list[i].at != nil && list[i].at.Closing != nil && !list[i].at.Closing.Used:
			st = red
		}
		if err := t.row(st, row...); err != nil {
			return err
		}
	}
	s.note("legend", "headings are true, ± holds 95 %%; the error of a departure or fix is one sigma on each axis, as given; positions are adjusted by the fixes; 95 %% within: half the length by half the width of the ellipse")
	return nil
}

func widths(rows [][]string, column int) (out []int) {
	for _, r := range rows {
		out = append(out, utf8.RuneCountInString(r[column]))
	}
	return out
}
