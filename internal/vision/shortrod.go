package vision

import (
	"math"

	"shadowread/internal/rank"
)

// What tells that a rod of unknown height is short.
const (
	// The image is looked across every lookStep to shortAside beyond its mask. It has ended where
	// rodLooks looks or more show something and then clearLooks show paper alone, or lastLooks that
	// are the last on the plain paper under the mask. shortMargin, mm, of mask is left beyond.
	shortAside                      = 1.5
	rodLooks, clearLooks, lastLooks = 6, 20, 10
	shortMargin                     = 1.0
	// Within apartReach, mm, before the end rodLooks looks must show it apart from the strip, which
	// has a penumbra of apartBlur, mm, and paper rodBeside, mm, beyond its other flank.
	apartReach, apartBlur, rodBeside = 6.0, 0.6, 1.2
	apartLeast                       = 2 // places across
)

// findByShort is findStanding with the rod's image masked to no farther than it is seen to reach,
// where its height was not stated; nil where it is not seen to end on the plain paper, and where
// what is found may be the image itself, of a rod that leans.
func (q *search) findByShort() *Strip {
	if q.img.known || q.rod.Hangs || q.dial == nil {
		return nil
	}
	f, differs := newFrame(q.img.direction(), 0), max(differsLeast, differsNoise*q.dial.noise())
	end, rod, clear := 0.0, 0, 0
	for d := clearOfFoot; d < min(q.img.plain, q.img.length()) && clear < clearLooks; d += lookStep {
		if q.showsPaper(f, d, differs) {
			clear++
			continue
		}
		rod, end, clear = rod+1, d, 0
	}
	if rod < rodLooks || clear < lastLooks {
		return nil
	}
	img := *q.img
	img.height = img.heightBefore(end + shortMargin)
	short := &search{g: q.g, plate: q.plate, sheet: q.sheet, rod: q.rod, img: &img, ghost: q.ghost}
	st, err := short.findStanding()
	if err != nil || !short.standsApart(st, f, end, differs) {
		return nil
	}
	return st
}

// showsPaper reports whether nothing stands before the paper at a distance along the rod's image:
// within the mask no place differs from the paper, but for a shadow that comes in from one side
// and does not reach the axis.
func (q *search) showsPaper(f frame, d, differs float64) bool {
	most := q.img.radius + maskGrows*q.img.heightBefore(d)
	for _, side := range [2]float64{-1, 1} {
		outside := true // still in what comes in from this side
		for n := most + shortAside; n > -lookBeside; n -= lookBeside {
			v := q.light(f.at(d, side*n)) - 1
			switch {
			case math.IsNaN(v):
				return false
			case math.Abs(v) <= differs:
				outside = outside && n > most
			case !outside || v > 0 || n < lookBeside:
				return false
			}
		}
	}
	return true
}

// standsApart reports whether before its end the rod is seen beside the strip, as narrow as that
// and with paper on its other side: the image of a rod that leans is one line, and clay is broad.
func (q *search) standsApart(st *Strip, f frame, end, differs float64) bool {
	strip := newFrame(st.Direction, st.FootOffset)
	other := 1.0 // the side away from the strip
	if (st.Direction - q.img.direction()).Signed() > 0 {
		other = -1
	}
	looks := 0
	for d := end - apartReach; d <= end; d += lookStep {
		half := st.Width / 2 * q.img.grown(d)
		if v := q.light(f.at(d, other*(half+rodBeside))); !(math.Abs(v-1) < differs) {
			continue
		}
		odd := 0
		for n := -half; n <= half; n += lookBeside {
			p := f.at(d, n)
			if _, across := strip.place(p); math.Abs(across) > st.Width/2+apartBlur && math.Abs(q.light(p)-1) > differs {
				odd++
			}
		}
		if odd >= apartLeast {
			looks++
		}
	}
	return looks >= rodLooks
}

// noise is the scatter of a place's light on the farther paper, as a part of it, by what
// neighbours differ.
func (d *dialImage) noise() float64 {
	var ds []float64
	for _, row := range d.ratio[d.rows/2:] {
		for i := 1; i < len(row); i++ {
			if v := math.Abs(row[i] - row[i-1]); !math.IsNaN(v) {
				ds = append(ds, v)
			}
		}
	}
	return rank.MadSigma * quantile(ds, 0.5) / math.Sqrt2
}
