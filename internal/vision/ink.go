package vision

import (
	"math"

	"shadowread/internal/sheet"
)

// What is printed where. Lengths are mm on the paper.
const (
	// The page, A4 with its face's middle 112 mm from its front (ISO 216; the sheet's own).
	pageHalf, pageFront, pageRear = 103.0, 110.0, -183.0
	// Ink may reach so far beyond what is printed: of the ring and numerals, of marks, of the
	// lubber line to its sides and at its rear.
	ringBlur, markBlur     = 0.6, 0.5
	lubberBlur, lubberRear = 2.0, 1.0
	// Ink too broad to leave paper between: a mark's with markNear about it, the lubber
	// line's with lubberNear to its sides and from lubberRear to lubberFront.
	markNear                = 3.0
	lubberNear, lubberFront = 1.0, 6.0
	markCells               = 6 // to a side, a black border about four by four
	blurEdge, deepEdge      = 0.4, 0.9
)

// printed reports ink that may cover the neighbourhood: the ring, numerals, marks
// and the lubber line. Ticks leave paper between.
func printed(s *sheet.Sheet, p sheet.Point, width float64) bool {
	r := math.Hypot(p.X, p.Y)
	if math.Abs(r-s.Dial.RingRadius) < ringBlur || math.Abs(r-s.Dial.NumeralRadius) < s.Dial.NumeralHeight/2+ringBlur {
		return true
	}
	for _, m := range s.Marks {
		if h := m.Side/2 + markBlur + width; math.Abs(p.X-m.X) < h && math.Abs(p.Y-m.Y) < h {
			return true
		}
	}
	return math.Abs(p.X) < lubberBlur+width/2 && p.Y > s.LubberFrom.Y-lubberRear
}

// onPage reports whether a place lies on the page.
func onPage(p sheet.Point) bool {
	return math.Abs(p.X) < pageHalf && p.Y < pageFront && p.Y > pageRear
}

// covered reports ink too broad to leave paper between: the lubber line, or the mark
// that is near.
func covered(s *sheet.Sheet, p sheet.Point, width float64) (lubber bool, mark *sheet.Mark) {
	for i, m := range s.Marks {
		if h := m.Side/2 + width + markNear; math.Abs(p.X-m.X) < h && math.Abs(p.Y-m.Y) < h {
			mark = &s.Marks[i]
		}
	}
	return math.Abs(p.X) < lubberNear+width/2 && p.Y > s.LubberFrom.Y-lubberRear && p.Y < s.LubberTo.Y+lubberFront, mark
}

// inked reports whether a place lies on a mark's black or within blurEdge of it; soaked whether
// all within deepEdge of it is black.
func inked(m *sheet.Mark, p sheet.Point) bool { return blackAbout(m, p, blurEdge) > 0 }

func soaked(m *sheet.Mark, p sheet.Point) bool { return blackAbout(m, p, deepEdge) == 4 }

// blackAbout is how many of the four places off to the corners lie on a mark's black.
func blackAbout(m *sheet.Mark, p sheet.Point, off float64) (n int) {
	bits, ok := sheet.ModuleBits(m.ID)
	for _, d := range [4]sheet.Point{{X: -off, Y: -off}, {X: off, Y: -off}, {X: -off, Y: off}, {X: off, Y: off}} {
		// Modules from the top left.
		x := int(math.Floor((p.X + d.X - m.X + m.Side/2) / m.Side * markCells))
		y := int(math.Floor((m.Y + m.Side/2 - p.Y - d.Y) / m.Side * markCells))
		if min(x, y) < 0 || max(x, y) > markCells-1 {
			continue
		}
		if !ok || min(x, y) == 0 || max(x, y) == markCells-1 || !bits[y-1][x-1] {
			n++
		}
	}
	return n
}

// inBand reports whether a place lies among the dial's ticks and numerals.
func inBand(s *sheet.Sheet, p sheet.Point) bool {
	r := math.Hypot(p.X, p.Y)
	return r > s.Dial.RingRadius-aboutRing && r < s.Dial.NumeralRadius+s.Dial.NumeralHeight
}
