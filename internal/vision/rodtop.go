package vision

import (
	"math"

	"shadowread/internal/calib"
	"shadowread/internal/sheet"
)

// topRow is the light of the rod's image at a distance from the foot, and of what is seen
// beside it.
type topRow struct {
	d, beside, most float64 // most: the rod's brightest
	rod             bool    // something other than what lies beside stands there
}

// top finds where the rod's image ends, be it before paper, print, board or ground, and
// returns the pixel of the axis's tip and its sigma along the image, mm on the paper. It must
// be seen to end: rod before, and after it what is beside, which does not change there. ok
// is false where the image is too short, meets the shadow or is as bright as what follows.
func (r *rodImage) top(raw func(sheet.Point) float64, s *sheet.Sheet, st *Strip) (tip calib.Pixel, sigma float64, ok bool) {
	f := newFrame(r.direction(), 0)
	differs := max(0.12, 5*st.Noise)
	rows := r.topRows(raw, s, st, f, differs)
	const run = 3.0 // mm of rod before the end, and of none after
	for i := range rows {
		before, after := around(rows, i, run)
		switch {
		case len(before) < 6 || len(after) < 6:
			continue
		case count(after) == 0 && count(before) >= len(before)-1:
		case count(after) == 0 && rows[i].d > rows[0].d+2*run:
			return tip, 0, false // the rod was never plainly there
		default:
			continue
		}
		if 10*count(rows[:i]) < 9*i {
			return tip, 0, false // dirt or a shadow may pass for a piece of the rod
		}
		var bright, was, is []float64
		for _, w := range rows[max(0, i-30):i] {
			bright = append(bright, w.most)
		}
		for _, w := range before {
			was = append(was, w.beside)
		}
		for _, w := range after {
			is = append(is, w.beside)
		}
		ground := quantile(is, 0.5)
		// What is as bright goes on unseen; but a rod whose shadow ends without a head is
		// shaded on one side to its end.
		headless := st.Length > 0 && st.LengthSigma < 2*plainTop && st.Head == 0
		if lit := quantile(bright, 0.5) / ground; !headless && lit > 1-plainly && lit < 1+plainly {
			return tip, 0, false
		}
		if was := quantile(was, 0.5); was < 0.75*ground || ground < 0.75*was {
			return tip, 0, false // before the edge of the paper or the board
		}
		// The far rim of the top stands half a width beyond the axis, seen from the height
		// of the tip; of a head or a cork, half its own.
		d := rows[i].d
		rim, sigma := st.Width/2*r.camera[2]/max(r.camera[2]-r.heightBefore(d), 1), plainTop
		light := func(p sheet.Point) float64 { return raw(p) / ground }
		if head := headWidth(light, f, d, differs); head > 2.7*rim {
			rim, sigma = head/2, plainTop+roundTop*head/2
		} else if st.Head > 0 {
			return tip, 0, false // its shadow has a head, which is not seen
		}
		return r.plate.Project(f.at(d-rim, 0)), sigma, true
	}
	return tip, 0, false
}

// topRows looks along the rod's image. Rows over marks, and those with something else
// beside, are left out.
func (r *rodImage) topRows(raw func(sheet.Point) float64, s *sheet.Sheet, st *Strip, f frame, differs float64) (rows []topRow) {
	const (
		step     = 0.25  // mm
		farthest = 220.0 // mm
	)
	strip := newFrame(st.Direction, st.FootOffset)
	for d := 5.8; d < farthest; d += step {
		p := f.at(d, 0)
		grown := r.camera[2] / max(r.camera[2]-r.heightBefore(d), 1)
		half := st.Width / 2 * grown
		if along, across := strip.place(p); along > 0 && math.Abs(across) < st.Width/2+half+2.6 {
			if len(rows) > 0 {
				return rows
			}
			continue
		}
		if math.IsNaN(raw(p)) {
			return rows
		}
		if onLubber, m := covered(s, p, 2*half); onLubber || m != nil {
			continue
		}
		// Thin ink beside is brighter between.
		var sides [2]float64
		for k, side := range [2]float64{-1, 1} {
			var vs []float64
			for _, along := range [3]float64{-0.4, 0, 0.4} {
				for n := 1.2; n < 3; n += 0.45 {
					vs = append(vs, raw(f.at(d+along, side*(half+n+0.02*r.heightBefore(d)))))
				}
			}
			sides[k] = quantile(vs, 0.7)
		}
		beside := (sides[0] + sides[1]) / 2
		if !(beside > 0.02) || sides[0] < 0.75*sides[1] || sides[1] < 0.75*sides[0] {
			continue
		}
		w, odd := topRow{d: d, beside: beside}, 0
		for _, n := range [7]float64{-1, -0.66, -0.33, 0, 0.33, 0.66, 1} {
			v := raw(f.at(d, n*max(half, 1.8)))
			if math.Abs(v/beside-1) > differs {
				odd++
			}
			if math.Abs(n) < 0.5 {
				w.most = max(w.most, v)
			}
		}
		w.rod = odd >= 2
		rows = append(rows, w)
	}
	return rows
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

// count is how many rows show the rod.
func count(rows []topRow) (n int) {
	for _, w := range rows {
		if w.rod {
			n++
		}
	}
	return n
}

const (
	// plainTop is one sigma of the place of a rod's top, mm on the paper; roundTop that of a
	// head's, as a part of its radius: a ball's far limb stands nearer than a disc's rim.
	plainTop = 0.5
	roundTop = 0.4
	// plainly is the part of the paper's light by which a rod's bright side must differ: of a
	// white one the shaded parts are seen, and a head or a cork in the sun is not.
	plainly = 0.2
)

// headWidth is the greatest breadth of the rod's image in the last stretch before its end at
// a distance from the foot, mm on the paper.
func headWidth(light func(sheet.Point) float64, f frame, end, differs float64) (width float64) {
	const stretch, widest, step = 15.0, 12.0, 0.3 // mm
	odd := func(d, n float64) bool { return math.Abs(light(f.at(d, n))-1) > differs }
	var widths []float64
	for d := end - stretch; d < end-step; d += step {
		var reach [2]float64
		for i, side := range [2]float64{-1, 1} {
			for gap := 0.0; reach[i] < widest && gap < 3*step; {
				n := reach[i] + gap + step
				if odd(d, side*n) {
					reach[i], gap = n, 0
				} else {
					gap += step
				}
			}
		}
		widths = append(widths, reach[0]+reach[1])
	}
	return quantile(widths, 0.85)
}
