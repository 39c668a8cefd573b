package vision

import (
	"math"

	"shadowread/internal/sheet"
)

// How the rod's image is looked at. Lengths are mm on the paper.
const (
	topStep, topReach = 0.25, 220.0
	topShadow         = 2.6 // from the strip's edge to the image's, below which the two are one
	// What lies beside is the quantile besideUpper, which sees past thin ink, of places from
	// besideFrom to besideTo beyond the image's edge, each besideStep, on three lines besideAlong
	// apart; leastBeside must be free of a mark's black. The image's edge is let go by
	// maskGrows of its height.
	besideFrom, besideTo, besideStep = 1.2, 3.0, 0.45
	besideAlong, besideUpper         = 0.4, 0.7
	leastBeside                      = 4
	toldLeast                        = 4   // of a row's places that must be told
	thinInk                          = 0.4 // to each side, past which ticks and numerals are looked
	aboutRing                        = 1.0 // inside the ring, where the print begins

	// A head is looked for over headRun before the end, in steps of headEvery, and to
	// headReach at each side; holes of headHole steps are none. Its breadth is the quantile
	// headUpper.
	headRun, headReach, headEvery = 15.0, 12.0, 0.3
	headHole                      = 3
	headUpper                     = 0.85
)

// rows looks along the rod's image. Rows over marks, and those with something else
// beside, are left out.
func (l *lookUp) rows() (rows []topRow) {
	r, st, f := l.img, l.st, l.line
	strip := newFrame(st.Direction, st.FootOffset)
	for d := clearOfFoot; d < topReach; d += topStep {
		p := f.at(d, 0)
		half := st.Width / 2 * r.grown(d)
		if along, across := strip.place(p); along > 0 && math.Abs(across) < st.Width/2+half+topShadow {
			if len(rows) > 0 {
				return rows
			}
			continue
		}
		if math.IsNaN(l.raw(p)) {
			return rows
		}
		onLubber, mark := covered(l.sheet, p, 2*half)
		if onLubber {
			continue
		}
		look := l.past(mark)
		// Thin ink beside is brighter between.
		var sides [2]float64
		for k, side := range [2]float64{-1, 1} {
			var vs []float64
			for _, along := range [3]float64{-besideAlong, 0, besideAlong} {
				for n := besideFrom; n < besideTo; n += besideStep {
					if v, white := look(d+along, side*(half+n+maskGrows*r.heightBefore(d))); white {
						vs = append(vs, v)
					}
				}
			}
			if len(vs) < leastBeside {
				vs = []float64{math.NaN()}
			}
			sides[k] = quantile(vs, besideUpper)
		}
		beside := (sides[0] + sides[1]) / 2
		if !(beside > leastLight) || sides[0] < alikeFlanks*sides[1] || sides[1] < alikeFlanks*sides[0] {
			continue
		}
		w, told := topRow{d: d, beside: beside, ink: inBand(l.sheet, p), ground: !onPage(p)}, 0
		for k, n := range topColumns {
			v, white := look(d, n*max(half, leastHalf))
			if !white && v < black*beside {
				v = math.NaN()
			} else {
				told++
			}
			w.light[k] = v / beside
		}
		if told < toldLeast {
			continue
		}
		rows = append(rows, w)
	}
	return rows
}

// past looks at places along and across the rod's image. white is whether the paper
// is bare there, but for thin ink, which is looked past.
func (l *lookUp) past(mark *sheet.Mark) func(d, n float64) (v float64, white bool) {
	return func(d, n float64) (float64, bool) {
		p := l.line.at(d, n)
		if !inBand(l.sheet, p) {
			return l.raw(p), mark == nil || !inked(mark, p)
		}
		var vs []float64
		for _, along := range [3]float64{-thinInk, 0, thinInk} {
			for _, across := range [3]float64{-thinInk, 0, thinInk} {
				vs = append(vs, l.raw(l.line.at(d+along, n+across)))
			}
		}
		return quantile(vs, upperFifth), mark == nil || !inked(mark, p)
	}
}

// around returns the rows within a length before row i, and from it on.
func around(rows []topRow, i int, length float64) (before, after []topRow) {
	from, to := i, i
	for from > 0 && rows[i].d-rows[from-1].d < length {
		from--
	}
	for to < len(rows) && rows[to].d-rows[i].d < length {
		to++
	}
	return rows[from:i], rows[i:to]
}

// count is how many rows are in a state.
func count(rows []topRow, state topState) (n int) {
	for _, w := range rows {
		if w.state == state {
			n++
		}
	}
	return n
}

// headWidth is the greatest breadth of the rod's image in the last stretch before its end at
// a distance from the foot, before a ground of some light, mm on the paper. ok is false where
// something wider is in the way.
func (l *lookUp) headWidth(end, ground float64) (width float64, ok bool) {
	const widest, step = headReach, headEvery
	var widths []float64
	rows := 0
	for d := end - headRun; d < end-step; d += step {
		_, mark := covered(l.sheet, l.line.at(d, 0), widest)
		look := l.past(mark)
		odd := func(d, n float64) bool {
			v, white := look(d, n)
			return math.Abs(v/ground-1) > l.differs && (white || v > black*ground)
		}
		var reach [2]float64
		for i, side := range [2]float64{-1, 1} {
			for gap := 0.0; reach[i] < widest && gap < headHole*step; {
				n := reach[i] + gap + step
				if odd(d, side*n) {
					reach[i], gap = n, 0
				} else {
					gap += step
				}
			}
		}
		rows++
		if max(reach[0], reach[1]) < widest-step {
			widths = append(widths, reach[0]+reach[1])
		}
	}
	return quantile(widths, headUpper), 2*len(widths) > rows
}
