package vision

import (
	"math"
	"slices"

	"shadowread/internal/angle"
	"shadowread/internal/calib"
	"shadowread/internal/sheet"
)

// What a plumb line is told by. Lengths are mm, of a thread's image on the paper.
const (
	// HangMost is how far from the printed foot a thread may pass the paper, mm.
	HangMost = 10.0
	// swayMost is the largest slope across the line of sight that a thread may have
	// against the sheet: a sheet set by eye, 3 degrees from level (common practice).
	swayMost = 0.06
	// threadSeen is how much of a thread must be seen beside its shadow, mm on the paper.
	threadSeen = 10.0
	// threadHeight stands for a height that was not stated, mm: one that masks too much
	// costs some shadow, too little would read the thread for its shadow.
	threadHeight = 250.0
	// The strip that is measured must run along the line that met the thread, within alongLine.
	alongLine = 3 * angle.Degree
	// A line within alongView of the direction away from the camera may be the thread's own image.
	alongView = 8 * angle.Degree
	swayStep  = 0.01 // slope from one look to the next: half a millimetre at 50 mm of height

	// threadDiffers is the part of the paper's light by which a thread differs and plain paper
	// beside it, threadSide beyond its edges, does not; each look is the mean of three places
	// lookSpread apart along it, against the noise. threadPlaces are where it is looked for,
	// across: half a step of the sway moves it by some of it.
	threadDiffers = 0.1
	threadSide    = 3.0
	lookSpread    = 0.4

	// highRod is a height that few rods have (docs/method.md: the shadow of one of 50 mm
	// serves most of the day) and every thread. A thread is seen to go up where from upFrom to
	// upTo of it, each upStep, upLeast looks below and above it are clear, and upTenths tenths
	// of them show it: in its middle or upPlace of its breadth aside, against both sides,
	// upSide beyond its edges.
	highRod              = 72.0
	upFrom, upTo, upStep = 0.55, 1.3, 0.5
	upLeast, upTenths    = 10, 6
	upPlace, upSide      = 0.3, 2.0
	belowCamera          = 0.95 // of the camera's height: what is nearer to it is left out
)

var threadPlaces = [4]float64{-0.6, -0.2, 0.2, 0.6}

// hanging is a thread as found: where it meets the paper, and where a camera would stand
// that saw it in this place if it were square to the paper. A shear along the paper takes
// the one view into the other and leaves the paper as it is.
type hanging struct {
	foot   sheet.Point
	camera [3]float64
	seen   float64 // mm of its image
}

// findHanging measures the strip of a plumb line. Shadow and image of a thread meet where
// it passes the paper, and the image runs away from the camera, whose place the map
// tells; so that a thread which is seen beside its shadow gives its foot, and is then
// measured like a rod that stands there. One that is not seen vouches for no line.
func (q *search) findHanging() (*Strip, error) {
	if !q.lookAtDial(func(sheet.Point) bool { return false }) {
		return nil, ErrNoShadow
	}
	var best hanging
	var cast ray // the line that meets the thread
	hides := false
	for i, r := range q.dial.rays(q.rod.DiameterMM, HangMost) {
		if i >= mostLines {
			break
		}
		h := q.meets(r)
		switch {
		case h.seen < threadSeen:
			hides = hides || q.img.mayBe(r)
		case cast.score == 0:
			best, cast = h, r
		case r.score > rivalScore*cast.score && (q.img.mayBe(r) || q.img.mayBe(cast)):
			return nil, ErrRodHides
		case r.score > rivalScore*cast.score:
			return nil, ErrAmbiguous
		}
	}
	switch {
	case cast.score == 0 && hides:
		return nil, ErrRodHides
	case cast.score == 0:
		return nil, ErrNoShadow
	}
	moved, near := q.plate.About(best.foot), *q.sheet
	near.Dial.ClearZone[1] -= math.Hypot(best.foot.X, best.foot.Y)
	img := newRodImage(moved, &near, q.rod)
	img.camera, img.cross = best.camera, &sheet.Point{X: -best.foot.X, Y: -best.foot.Y}
	about := &search{g: q.g, plate: moved, sheet: &near, rod: q.rod, img: img, ghost: q.ghost}
	st, err := about.findStanding()
	if err != nil {
		return nil, err
	}
	if (st.Direction - cast.dir).Signed().Abs() > alongLine {
		return nil, ErrAmbiguous
	}
	_, across := newFrame(st.Direction, 0).place(best.foot)
	st.FootOffset += across
	// A thread goes up and out of the picture, and so does its shadow; where either is seen
	// to end on the sheet's face, a rod stands there. Farther out may lie the shadow of
	// what the thread hangs from; and what goes up higher than rods do is none that ends.
	st.Hangs = about.goesUp(st)
	if st.Length > 0 && st.Length < faceHalf || !st.Hangs && about.endsOnFace(st.RodTop) {
		return nil, ErrStands
	}
	st.Length, st.LengthSigma, st.AtLeast = 0, 0, 0
	return st, nil
}

// endsOnFace reports whether the gnomon's image is seen to end within the face.
func (q *search) endsOnFace(top *calib.Pixel) bool {
	if top == nil {
		return false
	}
	p, ok := q.plate.Unproject(*top)
	return ok && math.Hypot(p.X, p.Y) < faceHalf
}

// meets looks for the thread's image beside a dark line: from every place of the line
// near the foot, away from the camera, for every sway.
func (q *search) meets(line ray) (best hanging) {
	r := q.img
	strip := newFrame(line.dir, line.offset)
	for along := -HangMost; along <= HangMost; along++ {
		h := hanging{foot: strip.at(along, 0)}
		if math.Hypot(h.foot.X, h.foot.Y) > HangMost {
			continue
		}
		view := newFrame(angle.Clockwise(h.foot.X-r.camera[0], h.foot.Y-r.camera[1]), 0)
		for sway := -swayMost; sway <= swayMost; sway += swayStep {
			// The camera as seen from the foot: a thread's shear moves the one and not the other.
			aside := sway * r.camera[2]
			h.camera = [3]float64{
				r.camera[0] - h.foot.X + aside*view.v.X,
				r.camera[1] - h.foot.Y + aside*view.v.Y,
				r.camera[2],
			}
			h.seen = q.threadFrom(h, strip, along)
			if h.seen > best.seen {
				best = h
			}
		}
	}
	return best
}

// threadFrom returns how far the image of a thread is seen from its foot, mm on the
// paper: something other than paper, with plain paper to both sides and clear of the strip.
func (q *search) threadFrom(h hanging, strip frame, from float64) (seen float64) {
	diameter := q.rod.DiameterMM
	f := newFrame(angle.Clockwise(-h.camera[0], -h.camera[1]), 0)
	s0, n0 := f.place(h.foot)
	f.offset = n0
	// The mean of three places along the line, against the noise.
	off := func(d, n float64) float64 {
		return math.Abs((q.light(f.at(d-lookSpread, n))+q.light(f.at(d, n))+q.light(f.at(d+lookSpread, n)))/3 - 1)
	}
	sum := 0.0
	for d := shadowStart; ; d++ {
		p := f.at(s0+d, 0)
		out := math.Hypot(p.X, p.Y)
		if out > q.img.plain {
			return seen
		}
		along, across := strip.place(p)
		if out < shadowStart || along > from && math.Abs(across) < diameter/2+threadSide {
			continue // the printed foot, or the strip itself
		}
		thread := slices.ContainsFunc(threadPlaces[:], func(n float64) bool { return off(s0+d, n) > threadDiffers })
		side := diameter/2 + threadSide
		plain := off(s0+d, -side) < threadDiffers && off(s0+d, side) < threadDiffers
		if thread && plain {
			sum++
		} else {
			sum--
		}
		seen = max(seen, sum)
	}
}

// goesUp reports whether the gnomon's image goes on above the height of any rod, in the picture:
// something at its place that differs from what is seen to both sides, be it
// paper, print, board or ground.
func (q *search) goesUp(st *Strip) bool {
	r := q.img
	f, strip := newFrame(r.direction(), 0), newFrame(st.Direction, st.FootOffset)
	away := math.Hypot(r.camera[0], r.camera[1])
	raw := func(d, n float64) float64 { return q.raw(f.at(d, n)) }
	var seen, all [2]int // below and above the height of a high rod
	for z := upFrom * highRod; z < upTo*highRod; z += upStep {
		part := 0
		if z > highRod {
			part = 1
		}
		if z >= belowCamera*r.camera[2] {
			break
		}
		grown := r.camera[2] / (r.camera[2] - z) // how much larger it is seen, before the paper
		d, side := away*z/(r.camera[2]-z), (st.Width/2+upSide)*grown
		if along, across := strip.place(f.at(d, 0)); along > 0 && math.Abs(across) < side+st.Width {
			continue
		}
		l, m := (raw(d, -side)+raw(d-1, -side)+raw(d+1, -side))/3, (raw(d, side)+raw(d-1, side)+raw(d+1, side))/3
		if math.IsNaN(l + m) {
			continue
		}
		all[part]++
		for _, n := range [3]float64{-upPlace, 0, upPlace} {
			c := (raw(d, n*st.Width*grown) + raw(d-1, n*st.Width*grown) + raw(d+1, n*st.Width*grown)) / 3
			if c < (1-threadDiffers)*min(l, m) || c > (1+threadDiffers)*max(l, m) {
				seen[part]++
				break
			}
		}
	}
	for i := range all {
		if all[i] < upLeast || !tenths(seen[i], all[i], upTenths) {
			return false
		}
	}
	return true
}

// mayBe reports whether a line may be the thread's own image, or lie with it: it then
// points away from the camera.
func (r *rodImage) mayBe(line ray) bool {
	from := newFrame(line.dir, line.offset).at(0, 0)
	away := angle.Clockwise(from.X-r.camera[0], from.Y-r.camera[1])
	return (away - line.dir).Signed().Abs() < alongView
}
