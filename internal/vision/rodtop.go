package vision

import (
	"math"

	"shadowread/internal/calib"
)

// What the rod's top is found by.
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
	// leastHalf is the half width, mm on the paper, within which a rod's image is looked at.
	leastHalf = 1.8
	// black is the light of printed black over that of the paper, at most.
	black = 0.4
	// A top differs from what lies beside by topDiffers of its light or topNoise sigmas of a
	// pixel's noise.
	topDiffers, topNoise = 0.12, 5
	brightLooks          = 30  // looks before the end over which its bright side is taken
	sureTip              = 2   // plainTops of sigma within which the shadow's end vouches for a rod as bright as paper
	headAsShadow         = 0.9 // of the breadth by its shadow that a head has which is seen
	headOpen             = 0.9 // of its radius: one sigma of a tip from one before the end to two beyond
	anyHead              = 1.2 // half widths that the image ends beyond the tip, and one sigma, where no head is told from none
	headBroad            = 2.7 // half widths that the image of a head has, at least
	middlePart           = 0.5 // half widths: the middle, of which the brightest place is taken
	// The rim is looked at within rimInner half widths of the middle, where from rimFrom to
	// rimTo, mm, before its reach rimLeast looks, and all of them but one, show the rod. It is a
	// bulge or a hollow where one fits rimBetter as badly as the other, and by more than
	// rimSure, mm squared.
	rimInner           = 0.9
	rimFrom, rimTo     = 5.0, 1.0
	rimLeast           = 4
	rimBetter, rimSure = 0.25, 0.5 * 0.5
	rimAcross          = 3 // places across that it takes
	// asideMost is how far the image of a top may lie beside where it is looked for, in its
	// half widths, tried in asideSteps to each side.
	asideMost, asideSteps = 0.6, 4
	// One sigma of where a bulge and a hollow end, as a part of the half width.
	bulgeSigma, hollowSigma = 0.1, 0.2
)

// topColumns are the places across the rod's image that are looked at, in its half widths.
var topColumns = [7]float64{-1, -0.66, -0.33, 0, 0.33, 0.66, 1}

// lookUp is a look along the rod's image for its top.
type lookUp struct {
	*search
	st      *Strip
	line    frame   // along the rod's image
	differs float64 // part of the light by which something is told from what lies beside
}

// rodTop finds where the rod's image ends, be it before paper, print, board or ground, and
// returns how far from the foot the axis's tip is seen and one sigma of that, mm on the paper;
// where several places may be its end, that covers them. ok is false where the image is too
// short, meets the shadow or is as bright as what follows.
func (q *search) rodTop(st *Strip) (at, sigma float64, ok bool) {
	l := &lookUp{search: q, st: st, line: q.rodLine(st), differs: max(topDiffers, topNoise*st.Noise)}
	rows, weighed := l.rows()
	end, ok := l.endOf(rows, weighed)
	if !ok {
		return 0, 0, false
	}
	side := brightest(rows[max(0, end.rows-brightLooks):end.rows])
	pale := side > 1-plainly && side < 1+plainly
	flat := st.Length > 0 && st.LengthSigma < sureTip*plainTop && st.Head == 0 // by its shadow's end
	if pale && !flat {
		// What is as bright goes on unseen; but a rod whose shadow ends without a head is
		// shaded on one side to its end.
		return 0, 0, false
	}
	half := st.Width / 2 * q.img.grown(end.d)
	beyond, sigma := l.rim(rows[:end.seen], half)
	head, ok := l.headWidth(rows, end, half)
	ball := st.Head * q.img.grown(end.d) // by its shadow
	switch {
	case st.Bare: // no head, whatever stands beside
	case !ok && st.Head == 0: // a ball of up to three half widths, or none
		beyond, sigma = anyHead*half, math.Hypot(sigma, anyHead*half)
	case st.Head > 0 && !(head > headAsShadow*2*ball): // its lit side may be as bright as the ground, and the end seen that of the rod
		beyond, sigma = -ball/2, math.Hypot(sigma, headOpen*ball)
	case st.Head > 0 || head > headBroad*half:
		beyond = max(head/2, ball)
		sigma = plainTop + roundTop*beyond
	}
	if pale { // its sunlit end may go unseen
		sigma = math.Hypot(sigma, paleTop*half)
	}
	return end.d - beyond, math.Hypot(sigma, end.sigma), true
}

// rodLine is the line along the rod's image; one that leans is seen to run aside.
func (q *search) rodLine(st *Strip) frame {
	if st.RodAxis != nil {
		return st.RodAxis.along
	}
	return newFrame(q.img.direction(), 0)
}

// topAt is the pixel of the tip that rodTop found.
func (q *search) topAt(st *Strip, at float64) calib.Pixel {
	return q.plate.Project(q.rodLine(st).at(at, 0))
}

// brightest is the light of the brightest part of the rod's middle.
func brightest(rows []topRow) float64 {
	var vs []float64
	for _, w := range rows {
		most := 0.0
		for k, n := range topColumns {
			if v := w.light[k] / w.beside; math.Abs(n) < middlePart && v > most {
				most = v
			}
		}
		vs = append(vs, most)
	}
	return quantile(vs, 0.5)
}

// rim returns how far beyond the axis's tip the rod's image is seen to end, with its sigma,
// mm. The flat top is a disc that shows its far rim, a bulge in the end of the image, where
// it differs from the ground, and where it is as bright its near one, a hollow. rows are
// those before the end, half is the rod's half width there.
func (l *lookUp) rim(rows []topRow, half float64) (beyond, sigma float64) {
	end := rows[len(rows)-1].d
	var across, at []float64
	for k, c := range topColumns {
		if c *= max(half, leastHalf) / half; math.Abs(c) > rimInner {
			continue
		}
		plain, of, last := 0, 0, math.Inf(-1)
		for _, w := range rows {
			differ := w.stands(k, l.differs, oddGround)
			if w.d > end-2*half-rimFrom && w.d < end-2*half-rimTo {
				of++
				if differ {
					plain++
				}
			}
			if differ {
				last = w.d
			}
		}
		if of >= rimLeast && plain >= of-1 && last > end-2*half-rimTo {
			across, at = append(across, c), append(at, last)
		}
	}
	unsure := math.Hypot(plainTop, half/math.Sqrt(3))
	if len(across) < rimAcross {
		return 0, unsure
	}
	// The image may lie beside where it is looked for, by as much.
	fit := func(sign float64) (tip, misfit float64) {
		misfit = math.Inf(1)
		for aside := -asideMost; aside <= asideMost; aside += asideMost / asideSteps {
			sum, square, n := 0.0, 0.0, float64(len(across))
			for i, c := range across {
				v := at[i] - sign*half*math.Sqrt(max(0, 1-sq(c-aside)))
				sum, square = sum+v, square+v*v
			}
			if m := square - sum*sum/n; m < misfit {
				tip, misfit = sum/n, m
			}
		}
		return tip, misfit
	}
	far, bulge := fit(1)
	near, hollow := fit(-1)
	switch {
	case hollow < rimBetter*bulge && bulge-hollow > rimSure:
		return end - near, math.Hypot(plainTop, hollowSigma*half)
	case bulge < rimBetter*hollow && hollow-bulge > rimSure:
		return end - far, math.Hypot(plainTop, bulgeSigma*half)
	}
	return 0, unsure
}
