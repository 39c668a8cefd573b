package vision

import (
	"math"

	"shadowread/internal/calib"
	"shadowread/internal/sheet"
)

// topColumns are the places across the rod's image that are looked at, in its half widths.
var topColumns = [7]float64{-1, -0.66, -0.33, 0, 0.33, 0.66, 1}

// topRow is the light of the rod's image at a distance from the foot, over that of what is
// seen beside it.
type topRow struct {
	d, beside float64
	light     [len(topColumns)]float64 // NaN where black ink is, or a black rod before it
	ink       bool                     // over ticks and numerals
	ground    bool                     // beyond the page
	state     topState
}

// topState is what a row shows.
type topState int

const (
	nothing topState = iota // what lies beside goes on
	aRod                    // what stood there before
	other                   // over a pattern, something else
)

// top finds where the rod's image ends, be it before paper, print, board or ground, and
// returns the pixel of the axis's tip and its sigma along the image, mm on the paper. It must
// be seen to end: rod before, and after it what is beside, which does not change there. ok
// is false where the image is too short, meets the shadow or is as bright as what follows.
func (r *rodImage) top(raw func(sheet.Point) float64, s *sheet.Sheet, st *Strip) (tip calib.Pixel, sigma float64, ok bool) {
	f := newFrame(r.direction(), 0)
	if st.RodAxis != nil { // a rod that leans is seen to run aside
		f = st.RodAxis.along
	}
	differs := max(0.12, 5*st.Noise)
	rows := r.topRows(raw, s, st, f)
	judge(rows, differs)
	const (
		run  = 3.0  // mm of rod before the end, and of none after
		lost = 12.0 // mm between the two that are not told: a mark's border
	)
	for i := 1; i < len(rows); i++ {
		before, after := around(rows, i, run)
		gap := rows[i].d - rows[i-1].d
		switch {
		case len(before) < 6 || len(after) < 6:
			continue
		case gap < lost && ended(after) && count(before, nothing) <= 1:
		case ended(after) && rows[i].d > rows[0].d+2*run:
			return tip, 0, false // the rod was never plainly there
		default:
			continue
		}
		if 10*count(rows[:i], aRod) < 9*i {
			return tip, 0, false // dirt or a shadow may pass for a piece of the rod
		}
		bright := brightest(rows[max(0, i-30):i])
		pale := bright > 1-plainly && bright < 1+plainly
		if pale && !(st.Length > 0 && st.LengthSigma < 2*plainTop && st.Head == 0) {
			// What is as bright goes on unseen; but a rod whose shadow ends without a head is
			// shaded on one side to its end.
			return tip, 0, false
		}
		ground := middleBeside(after)
		if was := middleBeside(before); was < sameGround*ground || ground < sameGround*was {
			return tip, 0, false // before the edge of the paper or the board, or wood's grain
		}
		if rows[i].ink || rows[i].ground {
			gap = max(gap, rows[i].d-sureOf(before))
		}
		d := rows[i].d - gap/2
		half := st.Width / 2 * r.camera[2] / max(r.camera[2]-r.heightBefore(d), 1)
		beyond, sigma := rim(rows[:i], half, differs)
		head, ok := headWidth(raw, s, f, d, ground, differs)
		switch {
		case !ok:
			return tip, 0, false
		case head > 2.7*half:
			beyond, sigma = head/2, plainTop+roundTop*head/2
		case st.Head > 0:
			return tip, 0, false // its shadow has a head, which is not seen
		}
		if pale { // its sunlit end may go unseen
			sigma = math.Hypot(sigma, paleTop*half)
		}
		return r.plate.Project(f.at(d-beyond, 0)), math.Hypot(sigma, gap/math.Sqrt(12)), true
	}
	return tip, 0, false
}

// judge says of each row whether something stands there; over ticks, numerals, a board
// or the ground, whether it looks as the rows before did.
func judge(rows []topRow, differs float64) {
	const first, last = 24, 40 // rows that a rod's look is taken from
	var rod []int              // rows that show it
	var sum, seen [len(topColumns)]float64
	take := func(i int, sign float64) {
		for k, v := range rows[i].light {
			if !math.IsNaN(v) {
				sum[k], seen[k] = sum[k]+sign*v, seen[k]+sign
			}
		}
	}
	for i := range rows {
		odd, same := 0, 0
		for k, v := range rows[i].light {
			if math.Abs(v-1) > differs {
				odd++
			}
			if was := sum[k]/seen[k] - 1; math.Abs(was) > differs && (v-1)/was > 0.5 {
				same++
			}
		}
		if odd < 2 {
			continue
		}
		if (rows[i].ink || rows[i].ground) && len(rod) >= first && same < 2 {
			rows[i].state = other
			continue
		}
		rows[i].state = aRod
		rod = append(rod, i)
		take(i, 1)
		if len(rod) > last {
			take(rod[len(rod)-last-1], -1)
		}
	}
}

// ended reports whether rows show nothing but what lies beside, and ink where there is some.
func ended(rows []topRow) bool {
	inked := 0
	for _, w := range rows {
		switch {
		case w.state == nothing:
		case w.state == other && w.ink:
			inked++
		default:
			return false
		}
	}
	return 2*inked <= len(rows)
}

// sureOf is where the rod was last seen before anything that may be ink.
func sureOf(rows []topRow) float64 {
	for i, w := range rows {
		if w.state != aRod {
			return rows[max(0, i-1)].d
		}
	}
	return rows[len(rows)-1].d
}

// brightest is the light of the brightest part of the rod's middle.
func brightest(rows []topRow) float64 {
	var vs []float64
	for _, w := range rows {
		most := 0.0
		for k, n := range topColumns {
			if v := w.light[k]; math.Abs(n) < 0.5 && v > most {
				most = v
			}
		}
		vs = append(vs, most)
	}
	return quantile(vs, 0.5)
}

// middleBeside is the light of what lies beside.
func middleBeside(rows []topRow) float64 {
	vs := make([]float64, len(rows))
	for i, w := range rows {
		vs[i] = w.beside
	}
	return quantile(vs, 0.5)
}

// rim returns how far beyond the axis's tip the rod's image is seen to end, with its sigma,
// mm. The flat top is a disc that shows its far rim, a bulge in the end of the image, where
// it differs from the ground, and where it is as bright its near one, a hollow. rows are
// those before the end, half is the rod's half width there.
func rim(rows []topRow, half, differs float64) (beyond, sigma float64) {
	end := rows[len(rows)-1].d
	var across, at []float64
	for k, c := range topColumns {
		if c *= max(half, leastHalf) / half; math.Abs(c) > 0.9 {
			continue
		}
		plain, of, last := 0, 0, math.Inf(-1)
		for _, w := range rows {
			differ := math.Abs(w.light[k]-1) > differs
			if w.d > end-2*half-5 && w.d < end-2*half-1 {
				of++
				if differ {
					plain++
				}
			}
			if differ {
				last = w.d
			}
		}
		if of >= 4 && plain >= of-1 && last > end-2*half-1 {
			across, at = append(across, c), append(at, last)
		}
	}
	unsure := math.Hypot(plainTop, half/math.Sqrt(3))
	if len(across) < 3 {
		return 0, unsure
	}
	// The image may lie beside where a rod that is square would be seen, by as much.
	fit := func(sign float64) (mean, misfit float64) {
		misfit = math.Inf(1)
		for aside := -asideMost; aside <= asideMost; aside += asideMost / 4 {
			sum, square := 0.0, 0.0
			for i, c := range across {
				v := at[i] - sign*half*math.Sqrt(max(0, 1-sq(c-aside)))
				sum, square = sum+v, square+v*v
			}
			n := float64(len(across))
			if m := square - sum*sum/n; m < misfit {
				mean, misfit = sum/n, m
			}
		}
		return mean, misfit
	}
	far, bulge := fit(1)
	near, hollow := fit(-1)
	switch {
	case hollow < 0.25*bulge && bulge-hollow > sq(0.5):
		return end - near, math.Hypot(plainTop, 0.2*half)
	case bulge < 0.25*hollow && hollow-bulge > sq(0.5):
		return end - far, math.Hypot(plainTop, 0.1*half)
	}
	return 0, unsure
}

// asideMost is how far the image of a rod's top may lie beside where it is looked for, in its
// half widths.
const asideMost = 0.6

// topRows looks along the rod's image. Rows over marks, and those with something else
// beside, are left out.
func (r *rodImage) topRows(raw func(sheet.Point) float64, s *sheet.Sheet, st *Strip, f frame) (rows []topRow) {
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
		onLubber, mark := covered(s, p, 2*half)
		if onLubber {
			continue
		}
		look := printedLight(raw, s, mark, f)
		// Thin ink beside is brighter between.
		var sides [2]float64
		for k, side := range [2]float64{-1, 1} {
			var vs []float64
			for _, along := range [3]float64{-0.4, 0, 0.4} {
				for n := 1.2; n < 3; n += 0.45 {
					if v, white := look(d+along, side*(half+n+0.02*r.heightBefore(d))); white {
						vs = append(vs, v)
					}
				}
			}
			if len(vs) < 4 {
				vs = []float64{math.NaN()}
			}
			sides[k] = quantile(vs, 0.7)
		}
		beside := (sides[0] + sides[1]) / 2
		if !(beside > 0.02) || sides[0] < 0.75*sides[1] || sides[1] < 0.75*sides[0] {
			continue
		}
		w, told := topRow{d: d, beside: beside, ink: inBand(s, p), ground: !onPage(p)}, 0
		for k, n := range topColumns {
			v, white := look(d, n*max(half, leastHalf))
			if !white && v < black*beside {
				v = math.NaN()
			} else {
				told++
			}
			w.light[k] = v / beside
		}
		if told < 4 {
			continue
		}
		rows = append(rows, w)
	}
	return rows
}

// inBand reports whether a place lies among the dial's ticks and numerals.
func inBand(s *sheet.Sheet, p sheet.Point) bool {
	r := math.Hypot(p.X, p.Y)
	return r > s.Dial.RingRadius-1 && r < s.Dial.NumeralRadius+s.Dial.NumeralHeight
}

// printedLight looks at places along and across the rod's image. white is whether the paper
// is bare there, but for thin ink, which is looked past.
func printedLight(raw func(sheet.Point) float64, s *sheet.Sheet, mark *sheet.Mark, f frame) func(d, n float64) (v float64, white bool) {
	const thin = 0.4 // mm
	return func(d, n float64) (float64, bool) {
		p := f.at(d, n)
		if !inBand(s, p) {
			return raw(p), mark == nil || !inked(mark, p)
		}
		var vs []float64
		for _, along := range [3]float64{-thin, 0, thin} {
			for _, across := range [3]float64{-thin, 0, thin} {
				vs = append(vs, raw(f.at(d+along, n+across)))
			}
		}
		return quantile(vs, 0.8), mark == nil || !inked(mark, p)
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

const (
	// plainTop is one sigma of the place of a rod's top, mm on the paper; roundTop that of a
	// head's, as a part of its radius: a ball's far limb stands nearer than a disc's rim.
	plainTop = 0.5
	roundTop = 0.4
	// paleTop is the same for a rod as bright as the paper, as a part of its half width.
	paleTop = 1.2
	// plainly is the part of the paper's light by which a rod's bright side must differ: of a
	// white one the shaded parts are seen, and a head or a cork in the sun is not.
	plainly = 0.2
	// sameGround is the part by which the ground may grow darker or brighter about an end.
	sameGround = 0.88
	// leastHalf is the half width, mm on the paper, within which a rod's image is looked at.
	leastHalf = 1.8
	// black is the light of printed black over that of the paper, at most.
	black = 0.4
)

// headWidth is the greatest breadth of the rod's image in the last stretch before its end at
// a distance from the foot, before a ground of some light, mm on the paper. ok is false where
// something wider is in the way.
func headWidth(raw func(sheet.Point) float64, s *sheet.Sheet, f frame, end, ground, differs float64) (width float64, ok bool) {
	const stretch, widest, step = 15.0, 12.0, 0.3 // mm
	var widths []float64
	rows := 0
	for d := end - stretch; d < end-step; d += step {
		_, mark := covered(s, f.at(d, 0), widest)
		look := printedLight(raw, s, mark, f)
		odd := func(d, n float64) bool {
			v, white := look(d, n)
			return math.Abs(v/ground-1) > differs && (white || v > black*ground)
		}
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
		rows++
		if max(reach[0], reach[1]) < widest-step {
			widths = append(widths, reach[0]+reach[1])
		}
	}
	return quantile(widths, 0.85), 2*len(widths) > rows
}
