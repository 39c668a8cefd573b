package main

import (
	"strings"
	"time"
	"unicode/utf8"

	"shadowread/internal/steering"
	"shadowread/internal/telling"
	"shadowread/internal/wording"
)

// blockDigits are figures of three by five blocks; the point takes one column.
var blockDigits = map[rune][5]string{
	'0': {"###", "# #", "# #", "# #", "###"},
	'1': {" # ", "## ", " # ", " # ", "###"},
	'2': {"###", "  #", "###", "#  ", "###"},
	'3': {"###", "  #", " ##", "  #", "###"},
	'4': {"# #", "# #", "###", "  #", "  #"},
	'5': {"###", "#  ", "###", "  #", "###"},
	'6': {"###", "#  ", "###", "# #", "###"},
	'7': {"###", "  #", "  #", " # ", " # "},
	'8': {"###", "# #", "###", "# #", "###"},
	'9': {"###", "# #", "###", "  #", "###"},
	'.': {" ", " ", " ", " ", "#"},
}

// blocks draws a number as large as columns and rows allow; nil where they are too few.
func blocks(number string, columns, rows int) (lines []string) {
	width := len(number) - 1
	for _, c := range number {
		width += len(blockDigits[c][0])
	}
	wide, high := columns/width, rows/leastFigures
	if wide < 1 || high < 1 {
		return nil
	}
	// A character is twice as high as it is broad: figures neither squat nor lank.
	high = max(1, min(high, wide*3/4))
	wide = min(wide, 3*high)
	margin := strings.Repeat(" ", (columns-wide*width)/2)
	for row := range 5 {
		var b strings.Builder
		for i, c := range number {
			if i > 0 {
				b.WriteString(strings.Repeat(" ", wide))
			}
			for _, cell := range blockDigits[c][row] {
				mark := " "
				if cell == '#' {
					mark = "█"
				}
				b.WriteString(strings.Repeat(mark, wide))
			}
		}
		line := strings.TrimRight(margin+b.String(), " ")
		for range high {
			lines = append(lines, line)
		}
	}
	return lines
}

// frame is what the whole screen shows at t: the number, what belongs to it and what to mind.
// Where something is in the way of a number, that stands in its place.
func (h *helm) frame(now *steering.Steer, trouble error, t time.Time, columns, rows int) string {
	s := *h.s
	s.width = columns
	var middle []string
	top, foot := h.headAndFoot(&s, now, trouble, t, rows)
	switch {
	case trouble != nil:
		middle = split(s.wrap(0, plain("no number to hold: "+trouble.Error())))
	case !now.OK():
		middle = split(s.wrap(0, plain("no number to hold: "+now.Reading.Message)))
	default:
		number := telling.Number(now)
		if middle = blocks(number, columns-2, rows-len(top)-len(foot)); middle == nil {
			middle = []string{number}
		}
	}
	if room := rows - len(top) - len(foot) - len(middle); room > 1 {
		middle = append([]string{""}, append(middle, "")...)
	}
	for i, line := range middle {
		middle[i] = s.paint(bold, clip(line, columns))
	}
	for i, line := range top {
		top[i] = clip(line, columns)
	}
	for i, line := range foot {
		foot[i] = clip(line, columns)
	}
	lines := append(append(top, middle...), foot...)
	if len(lines) > rows {
		lines = lines[:rows]
	}
	return toTop + strings.Join(lines, restOfRow+"\r\n") + restOfRow + restBelow
}

// narrow is a screen, in columns, on which sentences are cut to what is needed under way.
const narrow = 60

// headAndFoot is the text over and under the figures.
func (h *helm) headAndFoot(s *streams, now *steering.Steer, trouble error, t time.Time, rows int) (top, foot []string) {
	add := func(text string) {
		if text != "" {
			foot = append(foot, text)
		}
	}
	short := s.width < narrow
	at := "at " + h.zone.Time(t)
	usable := "usable " + h.zone.Usable(now)
	if short {
		_, clock, _ := strings.Cut(h.zone.Time(t), " ") // without the date
		at = "at " + clock
		usable, _, _ = strings.Cut(usable, ",")
	}
	switch {
	case trouble != nil:
	case !now.OK():
		add(usable)
	default:
		top = []string{"hold for course " + telling.Course(now)}
		sky := telling.Sky(now)
		if short {
			sky = now.Reading.Sky.Body.String() + " " + wording.Fixed(now.Reading.Sky.Altitude, 1) + "° high"
		} else {
			top[0] = "hold under the shadow for course " + telling.Course(now) + " (95 %)"
		}
		if to := h.whereTo(); to != "" {
			add(clip("to "+to, s.width-1))
		}
		add(h.fitting(now, s.width))
		add(northsText(now, short))
		add(usable)
		at = sky + ", " + at
	}
	add(at)
	caution := split(s.wrap(0, mindful))
	if codes := codesOf(now); codes != "" && trouble == nil && rows-len(top)-len(foot)-len(caution) > leastFigures {
		add("mind: " + codes)
	}
	return top, append(foot, caution...)
}

// leastFigures is how many rows the smallest figures take.
const leastFigures = 5

// codesOf names the warnings. That nobody checks the clock is the same at all times, and said
// before the screen is drawn.
func codesOf(now *steering.Steer) string {
	var codes []string
	for _, w := range now.Warnings {
		if w.Code != "clock_not_checked" {
			codes = append(codes, w.Code)
		}
	}
	return strings.Join(codes, ", ")
}

// northsText is the course by compass and from grid north, as far as they are known.
func northsText(now *steering.Steer, short bool) string {
	var texts []string
	if c := now.Reading.Compass.Steer; c != nil {
		label := "compass must show "
		if short {
			label = "compass "
		}
		texts = append(texts, label+telling.With(*c))
	}
	if g := now.Grid(); g != nil {
		text := "grid " + telling.With(*g)
		if short && len(texts) > 0 { // no room for its ±, which the line of the course has nearly
			text = "grid " + wording.ThreeFigures(g.Value, wording.SteerPlaces(g.Sigma))
		}
		texts = append(texts, text)
	}
	return strings.Join(texts, ", ")
}

// fitting is as many of the next changes as fit.
func (h *helm) fitting(now *steering.Steer, columns int) string {
	if len(now.Changes) == 0 {
		return ""
	}
	for n := len(now.Changes); n > 1; n-- {
		if text := "then " + h.zone.Changes(now, n); utf8.RuneCountInString(text) < columns {
			return text
		}
	}
	return "then " + h.zone.Changes(now, 1)
}

func split(text string) []string { return strings.Split(text, "\n") }

// clip cuts what a row has no room for.
func clip(line string, columns int) string {
	if r := []rune(line); len(r) > columns {
		return string(r[:max(0, columns-1)]) + "…"
	}
	return line
}
