package vision

import "math"

// A nodus is a bead or a ring of tape on the rod at a known height. Its shadow is a
// swelling of the strip, alike on both sides and with bare strip before and behind, whose
// middle is the shadow of the nodus's own: discs across the rod cast circles, and so all
// that is turned about it and alike above and below.
const (
	nodusStep = 0.25 // mm along the strip from one look to the next
	nodusCell = 0.4  // mm across it
	nodusWide = 6.0  // mm to each side within which a swelling ends
	// leastSwell is by how much each side must swell, mm; unlike is the part by which the
	// sides may differ, beside unlikeNoise.
	leastSwell = 0.4
	unlike     = 0.35
	// bareBeside is the bare strip that must be seen before and behind, mm: a head or what
	// holds the foot has it on one side only.
	bareBeside = 1.5
	// nodusPlace is one sigma of the middle, mm on the paper, on plain paper; its two ends
	// are blurred alike.
	nodusPlace = 0.3
	// A nodus is of a height, over its place on the rod, between these: its swelling has
	// that length over its distance.
	flatNodus, tallNodus = 0.06, 0.7
	lostStrip            = 32.0 // mm without any strip, over a mark say, after which it is lost
	nodusHole            = 2.0  // mm without a look after which what was bare is forgotten
	nodusAround          = 8    // looks before and behind a swelling that tell its sides
	nodusLength          = 0.02 // one sigma of its middle beside nodusPlace, as a part of its length
	nodusGround          = 0.75 // least part of the brightest ground's light along it: no edge of paper or board
	nodusTop             = 0.9  // quantile of its height that is its top
	nodusLooks           = 3    // looks above half of that, at least
	unlikeNoise          = 0.3  // mm by which its sides may differ however small it is
	// Looks are windows nodusWindow to each side along the strip, twice that for the light
	// beside, flankWidth broad, nodusLeast places of which must be seen; the core is
	// nodusCore of the half breadth to each side.
	nodusWindow, flankWidth = 0.35, 2.0
	nodusLeast              = 5
	nodusCore               = 0.25
)

// swell is how far the dark reaches beyond the strip's edges at a distance from the foot,
// and the light of what lies beside.
type swell struct{ s, left, right, ground float64 }

// findNodus looks for the one swelling of the strip; 0 where there is none or more than one.
func (f *stripFit) findNodus(axis fitLine) (at, sigma float64) {
	rows := f.swells(axis)
	bareFrom, i := math.NaN(), 0 // where the bare strip before began
	for i < len(rows) {
		r := rows[i]
		if i > 0 && r.s-rows[i-1].s > nodusHole {
			bareFrom = math.NaN()
		}
		if min(r.left, r.right) < leastSwell {
			if math.IsNaN(bareFrom) {
				bareFrom = r.s
			}
			i++
			continue
		}
		j := i
		for j < len(rows) && min(rows[j].left, rows[j].right) >= leastSwell && (j == i || rows[j].s-rows[j-1].s < nodusHole) {
			j++
		}
		if r.s-bareFrom > bareBeside && bareAfter(rows[j:], rows[j-1].s) {
			middle, ok := middleOf(rows[max(0, i-nodusAround):min(len(rows), j+nodusAround)])
			if long := (rows[j-1].s - r.s) / middle; ok && long > flatNodus && long < tallNodus && evenGround(rows[i:j]) {
				if at != 0 {
					return 0, 0
				}
				at, sigma = middle, math.Hypot(nodusPlace, nodusLength*(rows[j-1].s-r.s))
			}
		}
		bareFrom, i = math.NaN(), j
	}
	return at, sigma
}

// evenGround reports whether what lies beside a swelling is alike along it: no edge of paper
// or board.
func evenGround(rows []swell) bool {
	least, most := math.Inf(1), 0.0
	for _, r := range rows {
		least, most = math.Min(least, r.ground), math.Max(most, r.ground)
	}
	return least > nodusGround*most
}

// bareAfter reports whether the strip is bare right behind a swelling that ends at a
// distance from the foot.
func bareAfter(rows []swell, end float64) bool {
	last := end
	for _, r := range rows {
		if r.s-last > nodusHole || min(r.left, r.right) >= leastSwell {
			break
		}
		last = r.s
	}
	return last-end > bareBeside
}

// middleOf is the middle of a swelling: that of the places where it rises to and falls
// from half its height. ok is false where its sides are not alike.
func middleOf(rows []swell) (middle float64, ok bool) {
	top, uneven := 0.0, 0.0
	var all []float64
	for _, r := range rows {
		all = append(all, (r.left+r.right)/2)
	}
	top = quantile(all, nodusTop)
	from, to, n := math.NaN(), math.NaN(), 0.0
	for i, r := range rows {
		if all[i] < 0.5*top {
			continue
		}
		if math.IsNaN(from) {
			from = crossed(rows, all, i, i-1, 0.5*top)
		}
		to = crossed(rows, all, i, i+1, 0.5*top)
		uneven += r.left - r.right
		n++
	}
	if n < nodusLooks || top < leastSwell || math.Abs(uneven/n) > unlike*top+unlikeNoise {
		return 0, false
	}
	return (from + to) / 2, true
}

// crossed is where the height passes a level between two rows.
func crossed(rows []swell, heights []float64, in, out int, level float64) float64 {
	if out < 0 || out >= len(rows) || heights[in] == heights[out] {
		return rows[in].s
	}
	t := (heights[in] - level) / (heights[in] - heights[out])
	return rows[in].s + max(0, min(1, t))*(rows[out].s-rows[in].s)
}

// swells follows the strip outward and measures how far the dark reaches beyond its edges.
// Rows in which something else is dark beside it are left out.
func (f *stripFit) swells(axis fitLine) (rows []swell) {
	half := (f.right.at(axis.mid) - f.left.at(axis.mid)) / 2
	const window, least = nodusWindow, nodusLeast
	last := shadowStart
	for d := shadowStart; d < min(farthest, last+lostStrip); d += nodusStep {
		mid := axis.at(d)
		p := f.frame.at(d, mid)
		if !f.g.contains(f.plate.Project(p), insidePicture) {
			break
		}
		if onLubber, m := covered(f.sheet, p, 2*half); onLubber || m != nil {
			continue
		}
		l := f.brightPart(patch{d, 2 * window, mid - nodusWide - flankWidth, mid - nodusWide}, f.img.hides, least)
		r := f.brightPart(patch{d, 2 * window, mid + nodusWide, mid + nodusWide + flankWidth}, f.img.hides, least)
		if math.IsNaN(l+r) || l < alikeFlanks*r || r < alikeFlanks*l {
			continue
		}
		level := (1 - f.depth/2) * (l + r) / 2
		core := f.brightPart(patch{d, window, mid - nodusCore*half, mid + nodusCore*half}, f.img.hides, least)
		if !(core < level) {
			continue
		}
		last = d
		left, right := f.reach(d, mid, -1, level, core), f.reach(d, mid, 1, level, core)
		if !math.IsNaN(left + right) {
			rows = append(rows, swell{d, left - half, right - half, (l + r) / 2})
		}
	}
	return rows
}

// reach is how far from the middle the dark goes to one side, mm; NaN where it is not seen
// to end.
func (f *stripFit) reach(d, mid, side, level, core float64) float64 {
	const window, least = nodusWindow, nodusLeast
	before := core
	for n := nodusCell; n < nodusWide; n += nodusCell {
		at := mid + side*n
		v := f.brightPart(patch{d, window, at - nodusCell/2, at + nodusCell/2}, f.img.hides, least)
		if math.IsNaN(v) {
			return v
		}
		if v >= level {
			return n - nodusCell*(v-level)/(v-before)
		}
		before = v
	}
	return math.NaN()
}
