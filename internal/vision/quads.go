package vision

import (
	"image"
	"math"
	"slices"

	"shadowread/internal/calib"
	"shadowread/internal/pixels"
	"shadowread/internal/sheet"
)

// candidate is a dark four-sided outline that decodes as one of the sheet's marks.
// Corners are in the pixels of the picture that was searched, in the order of
// sheet.Mark.Corners.
type candidate struct {
	mark    sheet.Mark
	corners [4]calib.Pixel
}

// What an outline of a mark is told by.
const (
	// leastSide is the smallest side, px, at which the 6 x 6 cells of a mark can still
	// be told apart (a cell of 1.7 px).
	leastSide = 10
	// The contrast of an outline with the mean about it, in levels: what print shows in any
	// light, and in plain light, where the grain of sand and gravel falls out.
	anyContrast, plainContrast = 7, 22
	// meanWindow is the window, px, of that mean: a little wider than a module of a middling
	// mark. A mark too large for it keeps a dark band along its outline, which is all that is
	// wanted.
	meanWindow = 15
	// grainMost is the part of neighbouring pixels that may differ in black and white: gravel
	// comes to a quarter, noise to a half. In what is finer there is no mark to be found at this
	// size, and its outlines, one for each speck, would cost gigabytes. Every
	// grainRows row is looked at.
	grainMost = 0.33
	grainRows = 4
	// An outline is simplified to what keeps within cornerPart of its length.
	cornerPart = 0.05
	// spanLeast is the least step from the darkest to the brightest cell, and cellMargin the
	// part of it by which each must be off its middle, in the root of the light: a cell that
	// cannot be told refuses the mark.
	spanLeast, cellMargin = 0.06, 0.1
	// Worn ink is below wornInk of the brightest cell, in the root of the light: it keeps back half of it.
	wornInk = 0.7
)

// cellPlaces are where a cell is looked at, across and down: clear of its neighbours' blur.
var cellPlaces = [3]float64{0.3, 0.5, 0.7}

// findMarks looks for dark four-sided outlines in g and keeps those that decode as
// marks of the sheet; it counts those that do in a mirror. The picture is thresholded against its
// local mean, so that uneven light and large shadows do not matter. What is ink within
// the page, a span of each row or nil, is left out.
func findMarks(g *Gray, s *sheet.Sheet, least int, page []span) (found []candidate, inMirror int) {
	ink := pixels.Ink(pixels.Gray{W: g.W, H: g.H, Pix: g.Pix}, meanWindow, least)
	for v, p := range page {
		if p.from < p.to {
			clear(ink.Pix[v*g.W+p.from : v*g.W+p.to])
		}
	}
	if grain(ink) {
		return nil, 0
	}
	for _, corners := range pixels.Quads(ink, 4*leastSide, 2*(g.W+g.H), cornerPart) {
		if quad, ok := quadrilateral(corners); ok {
			switch c, mirrored, ok := decodeQuad(g, s, quad); {
			case ok:
				found = append(found, c)
			case mirrored:
				inMirror++
			}
		}
	}
	return found, inMirror
}

func grain(ink pixels.Gray) bool {
	changes, pairs, w := 0, 0, ink.W
	for v := 0; v < ink.H; v += grainRows {
		row := ink.Pix[v*w : (v+1)*w]
		for u := 1; u < w; u++ {
			changes += int(row[u]&1 ^ row[u-1]&1)
		}
		pairs += w - 1
	}
	return float64(changes) > grainMost*float64(pairs)
}

// quadrilateral puts the corners of an outline in order; ok is false for anything that
// cannot be the outline of a square seen in perspective.
func quadrilateral(pts [4]image.Point) (quad [4]calib.Pixel, ok bool) {
	area := 0.0
	sense := 0
	for i := range 4 {
		a, b, c := pts[i], pts[(i+1)%4], pts[(i+2)%4]
		area += float64(a.X*b.Y-b.X*a.Y) / 2
		if turn := (b.X-a.X)*(c.Y-b.Y) - (b.Y-a.Y)*(c.X-b.X); turn > 0 {
			sense++
		} else {
			sense--
		}
		if d := b.Sub(a); d.X*d.X+d.Y*d.Y < leastSide*leastSide/4 {
			return quad, false
		}
	}
	if sense != 4 && sense != -4 || math.Abs(area) < leastSide*leastSide/2 {
		return quad, false
	}
	if area < 0 { // corners clockwise in the picture, as on the sheet from above
		pts[1], pts[3] = pts[3], pts[1]
	}
	for i, p := range pts {
		quad[i] = pixel(p)
	}
	return quad, true
}

func pixel(p image.Point) calib.Pixel { return calib.Pixel{U: float64(p.X), V: float64(p.Y)} }

// decodeQuad reads the 6 x 6 cells inside the outline and looks the pattern up in
// all four turns, and in a mirror. No bit is corrected: with 12 patterns of 16 bits in 4 turns and a
// whole dark border, chance makes a mark of one outline in well over a thousand, and
// the layout has the last word.
func decodeQuad(g *Gray, s *sheet.Sheet, quad [4]calib.Pixel) (c candidate, inMirror, ok bool) {
	from := []sheet.Point{{X: 0, Y: 0}, {X: markCells, Y: 0}, {X: markCells, Y: markCells}, {X: 0, Y: markCells}}
	h, ok := calib.FitHomography(from, quad[:])
	if !ok {
		return c, false, false
	}
	cells, ok := sampleCells(g, func(x, y float64) calib.Pixel { return h.Project(sheet.Point{X: x, Y: y}) })
	if !ok {
		return c, false, false
	}
	bits, ok := readBits(cells)
	if !ok {
		return c, false, false
	}
	m, turn, ok := markOf(s, bits)
	if !ok {
		_, _, inMirror = markOf(s, mirrored(bits))
		return c, inMirror, false
	}
	c.mark = m
	for i := range 4 {
		c.corners[i] = quad[(i+turn)%4]
	}
	return c, false, true
}

// markOf returns the mark of a pattern that is turned by so many quarters.
func markOf(s *sheet.Sheet, bits [4][4]bool) (m sheet.Mark, turn int, ok bool) {
	for _, m := range s.Marks {
		want, ok := sheet.ModuleBits(m.ID)
		if !ok {
			continue
		}
		for turn := range 4 {
			if bits == want {
				return m, turn, true
			}
			want = quarterTurn(want)
		}
	}
	return m, 0, false
}

// mirrored is a pattern turned left to right.
func mirrored(b [4][4]bool) [4][4]bool {
	for r := range b {
		slices.Reverse(b[r][:])
	}
	return b
}

// quarterTurn turns a pattern clockwise: the pattern's top-left cell goes to the top
// right.
func quarterTurn(b [4][4]bool) (out [4][4]bool) {
	for r := range 4 {
		for c := range 4 {
			out[c][3-r] = b[r][c]
		}
	}
	return out
}

// sampleCells returns the mean light of the middle of each cell; at maps cell units
// (0 to 6 to the right and down) to pixels.
func sampleCells(g *Gray, at func(x, y float64) calib.Pixel) (cells [markCells][markCells]float64, ok bool) {
	for r := range markCells {
		for c := range markCells {
			sum := 0.0
			for _, dy := range cellPlaces {
				for _, dx := range cellPlaces {
					p := at(float64(c)+dx, float64(r)+dy)
					if !g.contains(p, 0) { // false for NaN too
						return cells, false
					}
					sum += g.light(p.U, p.V)
				}
			}
			cells[r][c] = math.Sqrt(sum / float64(len(cellPlaces)*len(cellPlaces))) // nearer to even steps of contrast
		}
	}
	return cells, true
}

// readBits tells ink from paper half way between the darkest cell and the brightest; where that
// leaves a cell untold, as toner of which half is worn off does, half way between the brightest cell of the
// border, which is all ink, and the brightest of all. A cell that cannot be told refuses the mark.
func readBits(cells [markCells][markCells]float64) (bits [4][4]bool, ok bool) {
	lo, hi, border := math.Inf(1), math.Inf(-1), 0.0
	for r := range markCells {
		for c, v := range cells[r] {
			lo, hi = min(lo, v), max(hi, v)
			if onBorder(r, c) {
				border = max(border, v)
			}
		}
	}
	if hi-lo < spanLeast {
		return bits, false
	}
	if bits, ok = bitsBetween(cells, lo, hi); !ok && border < wornInk*hi {
		bits, ok = bitsBetween(cells, border, hi)
	}
	return bits, ok
}

func onBorder(r, c int) bool { return min(r, c) == 0 || max(r, c) == markCells-1 }

// bitsBetween tells ink from paper half way between what is one and what is the other; ok is false
// where a cell is too near to that, or one of the border is white.
func bitsBetween(cells [markCells][markCells]float64, ink, paper float64) (bits [4][4]bool, ok bool) {
	mid := (ink + paper) / 2
	for r := range markCells {
		for c, v := range cells[r] {
			white := v > mid
			switch {
			case math.Abs(v-mid) < cellMargin*(paper-ink), white && onBorder(r, c):
				return bits, false
			case !onBorder(r, c):
				bits[r-1][c-1] = white
			}
		}
	}
	return bits, true
}
