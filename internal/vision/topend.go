package vision

import "math"

// What tells the rod from the ground behind it, and where the one ends.
const (
	// The rod's look is a mean over the looks before, which fades over lookFades mm, once
	// leastLooks are there; the light of one place on the rod lies within rodSigma of that, as
	// a part: a head, a bright top and what a polished rod mirrors differ by more than a ground.
	lookFades, leastLooks = 20.0, 12
	rodSigma              = 0.25
	// Light that neither explains is oddLight likely for each e-fold.
	oddLight = 0.01
	// Places across a row and rows side by side share their errors (dirt, a shade's edge): a
	// row weighs rowWeight of its places, and mostRow at most.
	rowWeight, mostRow = 0.25, 1.0
	// The rod is there where sureRod speaks for it before its end, has ended where sureEnd speaks
	// for the ground beyond, and is looked for no farther once overEnd does.
	sureRod, sureEnd, overEnd = 8.0, 6.0, 16.0
	topRim                    = 3.0 // mm beyond the likeliest end that a rim may still be seen
	oddGround                 = 2.0 // sigmas of the ground by which a place must differ
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
	look  rodLook
	score []float64 // of an end before each row, and after the last
	best  int
	over  bool // no farther one can be the end
}

func (e *endings) take(w *topRow, differs float64) {
	last := len(e.score) - 1
	if e.over {
		return
	}
	e.score = append(e.score, e.score[last]+e.look.speaks(w, differs))
	e.look.take(w)
	if e.score[last+1] > e.score[e.best] {
		e.best = last + 1
	}
	e.over = e.score[e.best]-e.score[last+1] > overEnd
}

// endOf weighs the places where the rod's image may end: before it each row should look as the
// rod did, beyond it as the ground beside. Rows where the two look alike, or nothing is told,
// leave it open. ok is false where the rod is not plainly there or not seen to end.
func (l *lookUp) endOf(rows []topRow, weighed endings) (e rodEnd, ok bool) {
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
	return e, true
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

// rodLook is how bright the rod was at each place across.
type rodLook struct {
	sum, weight [len(topColumns)]float64
	looks       int
	d           float64
}

// take has a row be one of the rod's.
func (r *rodLook) take(w *topRow) {
	fade := math.Exp((r.d - w.d) / lookFades)
	for k, v := range w.light {
		r.sum[k], r.weight[k] = r.sum[k]*fade, r.weight[k]*fade
		if !math.IsNaN(v) {
			r.sum[k], r.weight[k] = r.sum[k]+v, r.weight[k]+1
		}
	}
	r.looks, r.d = r.looks+1, w.d
}

// speaks is by how much a row speaks for the rod, negative for the ground, in natural logarithms.
func (r *rodLook) speaks(w *topRow, differs float64) (says float64) {
	if r.looks < leastLooks {
		return 0
	}
	n := 0
	for k, v := range w.light {
		rod := math.Log(r.sum[k] / r.weight[k] / w.ground[k])
		if math.IsNaN(rod) || math.IsNaN(v) || math.Abs(rod) < differs {
			continue
		}
		n++
		seen := math.Log(max(v, leastLight/2) / w.ground[k])
		says += math.Log(likely(seen-rod, rodSigma) / w.grounds(k))
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

// likely is the density of light that is off what is expected.
func likely(off, sigma float64) float64 {
	return math.Exp(-sq(off/sigma)/2)/(sigma*math.Sqrt(2*math.Pi)) + oddLight
}
