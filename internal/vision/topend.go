package vision

import "math"

// What tells the rod from the ground behind it, and where the one ends.
const (
	// The rod's look is a mean over the looks before, which fades over lookFades mm, once
	// leastLooks are there; the light of one place on the rod lies within rodSigma of that, as
	// a part: a head, a bright top and what a polished rod mirrors differ by more than a ground.
	lookFades, leastLooks = 20.0, 12
	rodSigma              = 0.25
	groundAlone           = 1.1 // part of the ground in a place's light, from which on the rod's own is told
	// Light that neither explains is oddLight likely for each e-fold; below blackest of the
	// ground's it tells of glare and noise alone.
	oddLight, blackest = 0.01, 0.05
	// Places across a row and rows side by side share their errors (dirt, a shade's edge): a
	// row weighs rowWeight of its places, and mostRow at most.
	rowWeight, mostRow = 0.25, 1.0
	// The rod is there where sureRod speaks for it before its end, and has ended where sureEnd
	// speaks for the ground beyond. What comes again after that, with as much, may be the rest of
	// it beyond a shade as dark, or another thing: the end may lie at either. But it is looked
	// for no farther once overEnd speaks for the ground over barePlain looks beyond it that show
	// nothing, where the rod differs by standsOut sigmas of its own.
	sureRod, sureEnd, overEnd = 8.0, 6.0, 16.0
	// Before the likeliest end it may lie where bareRun such looks in a row begin.
	barePlain, standsOut = 12, 1.5
	bareRun              = 3
	topRim               = 3.0 // mm beyond the likeliest end that a rim may still be seen
	oddGround            = 2.0 // sigmas of the ground by which a place must differ
	// Of the first firstLooks looks and of all, thereTenths must show something: beside a bead the
	// ground is not seen, and before a shade a rod as dark is not.
	firstLooks, thereTenths = 24, 7
	leastOdd                = 2 // places across that rod and ground must differ at
)

// rodEnd is where the rod's image may end, weighed.
type rodEnd struct {
	d, sigma float64 // mm from the foot
	rows     int     // before the likeliest place
	seen     int     // before the last that still differs from the ground: a top's far rim
}

// endings weighs each row after the other as the first beyond the rod's end.
type endings struct {
	look       rodLook
	score      []float64 // of an end before each row, and after the last
	best       int
	gap        int  // the first row from which bareRun of them plainly show the ground alone
	plain, run int  // such rows since the best, and since the last other
	over       bool // no farther one can be the end
}

func newEndings() *endings {
	return &endings{score: make([]float64, 1, topReach/topStep), gap: math.MaxInt}
}

func (e *endings) take(w *topRow, differs float64) {
	if e.over {
		return
	}
	i := len(e.score) - 1
	e.score = append(e.score, e.score[i]+e.look.speaks(w, differs))
	if w.odd(differs, 0) == 0 && e.look.standsOut(w) {
		e.plain, e.run = e.plain+1, e.run+1
	} else {
		e.run = 0
	}
	if e.run == bareRun {
		e.gap = min(e.gap, i+1-bareRun)
	}
	e.look.take(w)
	if e.score[i+1] > e.score[e.best] {
		e.best, e.plain = i+1, 0
	}
	e.over = e.score[e.best]-e.score[i+1] > overEnd && e.plain >= barePlain
}

// endOf weighs the places where the rod's image may end: before it each row should look as the
// rod did, beyond it as the ground beside. Rows where the two look alike, or nothing is told,
// leave it open. ok is false where the rod is not plainly there or not seen to end.
func (l *lookUp) endOf(rows []topRow, weighed *endings) (e rodEnd, ok bool) {
	score, best := weighed.score, weighed.best
	if best == len(rows) || !l.begins(rows[:best]) || score[best] < sureRod || score[best]-score[len(score)-1] < sureEnd {
		return e, false
	}
	var sum, mean, square float64
	for i := 1; i < len(score) && i < len(rows); i++ {
		gap, at := rows[i].d-rows[i-1].d, (rows[i].d+rows[i-1].d)/2
		w := gap * math.Exp(score[i]-score[best])
		sum, mean, square = sum+w, mean+w*at, square+w*(at*at+gap*gap/12)
	}
	mean /= sum
	e = rodEnd{d: mean, sigma: math.Sqrt(max(0, square/sum-mean*mean)), rows: best, seen: best}
	for w := rows[best]; e.seen < len(rows)-1 && w.d-rows[best].d < topRim && !w.ink && w.odd(l.differs, oddGround) >= leastOdd; w = rows[e.seen] {
		e.seen++
	}
	e.d += (rows[e.seen].d + rows[e.seen-1].d - rows[best].d - rows[best-1].d) / 2
	for _, i := range append(otherEnds(score, best), min(weighed.gap, best)) {
		e.sigma = max(e.sigma, math.Abs(rows[min(i, len(rows)-1)].d-rows[best].d))
	}
	return e, true
}

// otherEnds lists the places besides the best after which the score falls by sureEnd, and which
// it rose to by as much; beyond the best, by half of what it fell, since ground that looks like
// the rod by chance does so for a little.
func otherEnds(score []float64, best int) (ends []int) {
	falls, low, top := false, 0, 0 // the least since the last fall, the most since the last rise
	note := func() {
		if top > leastLooks && (top < best || top > best && 2*(score[top]-score[low]) > score[best]-score[low]) {
			ends = append(ends, top)
		}
	}
	for i, v := range score {
		switch {
		case falls && v < score[low]:
			low = i
		case falls && v > score[low]+sureEnd:
			falls, top = false, i
		case !falls && v > score[top]:
			top = i
		case !falls && v < score[top]-sureEnd:
			note()
			falls, low = true, i
		}
	}
	if !falls {
		note()
	}
	return ends
}

// begins reports whether something stands before the ground from the first row on, as the rod
// does before plain paper: where its image is short, what stands farther out is not the rod.
func (l *lookUp) begins(rows []topRow) bool {
	first, there := 0, 0
	for i := range rows {
		if rows[i].odd(l.differs, 0) < leastOdd {
			continue
		}
		if there++; i < firstLooks {
			first++
		}
	}
	return len(rows) >= leastLooks && tenths(first, min(len(rows), firstLooks), thereTenths) && tenths(there, len(rows), thereTenths)
}

// rodLook is how bright the rod was at each place across, and what lay beside.
type rodLook struct {
	sum, weight, ground [len(topColumns)]float64
	looks               int
	d                   float64
}

// take has a row be one of the rod's.
func (r *rodLook) take(w *topRow) {
	fade := math.Exp((r.d - w.d) / lookFades)
	for k, v := range w.light {
		r.sum[k], r.weight[k], r.ground[k] = r.sum[k]*fade, r.weight[k]*fade, r.ground[k]*fade
		if !math.IsNaN(v) {
			r.sum[k], r.weight[k], r.ground[k] = r.sum[k]+v, r.weight[k]+1, r.ground[k]+w.ground[k]
		}
	}
	r.looks, r.d = r.looks+1, w.d
}

// mixed is what a place is like that is part the ground and the rest the rod's middle: where it
// was between the two, it may have been blurred, and goes with the ground. Of a thin rod the
// outermost places are the ground alone, and tell nothing.
func (r *rodLook) mixed(k int, ground float64) (light, part float64) {
	was, then := r.sum[k]/r.weight[k], r.ground[k]/r.weight[k]
	const m = len(topColumns) / 2
	middle := r.sum[m] / r.weight[m]
	part = (was - middle) / (then - middle)
	if !(part > 0 && part < groundAlone) {
		return was, 0
	}
	part = min(part, 1)
	return middle + part*(ground-middle), part
}

// standsOut reports whether the rod would plainly be seen before the ground of a row.
func (r *rodLook) standsOut(w *topRow) bool {
	n := 0
	for k, v := range w.ground {
		if math.Abs(dark(r.sum[k]/r.weight[k]/v)) > standsOut*rodSigma {
			n++
		}
	}
	return r.looks >= leastLooks && n >= leastOdd
}

// speaks is by how much a row speaks for the rod, negative for the ground, in natural logarithms.
func (r *rodLook) speaks(w *topRow, differs float64) (says float64) {
	if r.looks < leastLooks {
		return 0
	}
	n := 0
	for k, v := range w.light {
		light, part := r.mixed(k, w.ground[k])
		rod, mixed := dark(r.sum[k]/r.weight[k]/w.ground[k]), dark(light/w.ground[k])
		if math.IsNaN(rod) || math.IsNaN(v) || math.Abs(rod) < differs {
			continue
		}
		n++
		seen := dark(v / w.ground[k])
		blurred := likely(seen-mixed, math.Hypot((1-part)*rodSigma, part*w.vague[k]))
		says += math.Log(((1-part)*likely(seen-rod, rodSigma) + part*blurred) / w.grounds(k))
	}
	if n < leastOdd {
		return 0
	}
	least := -mostRow
	if w.head { // what lies beside is no ground
		least = 0
	}
	return max(least, min(mostRow, rowWeight*says))
}

// dark is a part of the ground's light in e-folds.
func dark(part float64) float64 { return math.Log(max(part, blackest)) }

// likely is the density of light that is off what is expected.
func likely(off, sigma float64) float64 {
	return bell(off, sigma) + oddLight
}
