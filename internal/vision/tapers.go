package vision

import "math"

// A carved stick or a peg is thinner at its tip, and so is its shadow: both edges run to one place on
// its axis, and the axis lies midway, as a straight rod's does. Another shadow that joins along one
// side makes edges that are not parallel, too, and turns the axis. The rod's own image tells the two
// apart: its breadth changes with the height, and the shadow's with the distance, by the same over
// what the clock makes one of the other.
const (
	// taperFloor is one sigma of how a rod's breadth is seen to change with the height, mm per mm: each
	// of its edges may be off by axisFloor.
	taperFloor = 2 * axisFloor
	// taperRise is the least height between the ends of the image by which it is told, mm at the rod.
	taperRise = 7.0
	// Of the places along it taperTenths tenths must lie by one line: a head's do not.
	taperTenths = 7
	// Between its lit and its unlit side a rod looks like the paper over less than litHole mm.
	litHole = 1.5
	// Two sticks side by side taper alike in their image and their shadow, but stand about the foot: the
	// axes of both must pass it within ownFoot, mm. Rods are set to half a millimetre.
	ownFoot = 0.8
	// The rod speaks for the shadow's taper where the two agree within likeTaper sigmas.
	likeTaper = 3
)

// rodEdges is the rod's image on the plain paper, below a height, mm, and clear of a strip of some
// breadth, mm: the distances from the foot along a frame, and there both edges, mm, but for holes.
func (q *search) rodEdges(f, strip frame, width, noise, top, hole float64) (ds, left, right []float64) {
	r := q.img
	differs := max(differsLeast, differsNoise*noise)
	for d := clearOfFoot; d < r.plain; d += axisAlong {
		if r.heightBefore(d) > top {
			break
		}
		if along, across := strip.place(f.at(d, 0)); along > 0 && math.Abs(across) < width/2+besideShadow {
			continue // the shadow itself lies there
		}
		a, b, ok := runAcross(func(n float64) float64 { return math.Abs(q.light(f.at(d, n))-1) - differs }, hole)
		if ok {
			ds, left, right = append(ds, d), append(left, a), append(right, b)
		}
	}
	return ds, left, right
}

// rodTapers is by how much the rod's breadth is seen to change with the height, mm per mm, and one
// sigma of it; ok is false where too little of it is seen, or where it does not stand on the foot.
func (q *search) rodTapers(strip frame, width, noise float64) (rate, sigma float64, ok bool) {
	r := q.img
	ds, left, right := q.rodEdges(newFrame(r.direction(), 0), strip, width, noise, r.belowHead(usualHeight), litHole)
	if len(ds) < axisRows {
		return 0, 0, false
	}
	zs, widths, mids := make([]float64, len(ds)), make([]float64, len(ds)), make([]float64, len(ds))
	for i, d := range ds {
		zs[i] = r.heightBefore(d)
		mids[i] = (left[i] + right[i]) / 2
		widths[i] = (right[i] - left[i]) * (r.camera[2] - zs[i]) / r.camera[2]
	}
	l := robustLine(zs, widths)
	if math.Abs(robustLine(ds, mids).at(0)) > ownFoot {
		return 0, 0, false
	}
	if l.used < axisRows || !tenths(l.used, len(ds), taperTenths) || zs[len(zs)-1]-zs[0] < taperRise {
		return 0, 0, false
	}
	return l.b, math.Hypot(taperFloor, math.Sqrt(l.varB)), true
}

// ownTaper is what of the edges' disagreement, turned, the rod's own taper leaves open, at one sigma: all of
// it where the rod does not tell, or another taper, or is the thicker the higher, as no stick is set up.
func (f *stripFit) ownTaper(axis fitLine, turned, expected, noise float64) (open float64) {
	open = math.Abs(turned)
	if !(f.rod.ShadowRatio > 0) || f.rod.Hangs || turned*turned < sq(taperSure)*expected {
		return open
	}
	strip := newFrame(f.direction(), f.frame.offset+axis.at(0))
	if math.Abs(strip.offset) > ownFoot {
		return open
	}
	if off, bound, ok := f.fromStated(axis, turned); ok && math.Abs(off) <= bound {
		return min(open, math.Hypot(off, bound/2)) // a bound is two sigma
	}
	rate, sigma, ok := f.rodTapers(strip, f.right.at(axis.mid)-f.left.at(axis.mid), noise)
	// The breadth changes with the distance by rate over the ratio; each edge turns by half of it.
	off, sigma := turned+rate/(2*f.rod.ShadowRatio), sigma/(2*f.rod.ShadowRatio)
	if !ok || rate > 0 || sq(off) > sq(likeTaper)*(sq(sigma)+expected) {
		return open
	}
	return min(open, math.Hypot(off, sigma))
}

// fromStated is by how much the edges are turned otherwise than by a rod's taper from the stated diameter at the
// foot to the breadth in the strip's middle, and within which that is nothing; ok is false where none is stated, or the strip is no
// narrower: other shadows only add to it.
func (f *stripFit) fromStated(axis fitLine, turned float64) (off, within float64, ok bool) {
	d := f.rod.DiameterMM
	narrower := d - (f.right.at(axis.mid) - f.left.at(axis.mid))
	bound := asBroad + asBroadPart*d
	return turned - narrower/(2*axis.mid), bound / (2 * axis.mid), d > 0 && narrower > bound
}

// narrows hears the witnesses on a strip whose edges are not parallel, and returns nil for a shadow of the sun's
// disc that narrows from the foot, through which its axis passes, where no stated breadth tells of a taper. It may be a
// rod's that tapers, and whose image does not show that, as from above; or another shadow lies along one of its edges,
// and the other edge is the rod's: the strip's sigma becomes all by which either turns.
func (q *search) narrows(st *Strip) error {
	if q.castByRod(st) != nil {
		return ErrNoShadow
	}
	cast := st.vouched(q.rod) || q.hear(st).discSays() < -surelyLies
	if !cast || q.rod.DiameterMM > 0 || math.Abs(st.FootOffset) > ownFoot || !(st.Narrows > 0 && st.Narrows < bowedMost) {
		return ErrTapers
	}
	st.Sigma = st.Narrows
	return nil
}
