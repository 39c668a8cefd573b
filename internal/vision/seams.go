package vision

import (
	"cmp"
	"slices"
)

const (
	// blockSide is the side of a JPEG's blocks, stored px (ITU-T T.81, A.1.1).
	blockSide = 8
	// seamReach is how many blocks to each side a shift is looked for.
	seamReach = 12
	// seamGain is how much less two rows must differ when one is shifted by whole
	// blocks than as they stand, for the shift to be believed.
	// Of 330 sound photos, sharp and noisy, curled and at any slant, one in a hundred comes
	// below 0.85 and none below 0.74; torn ones come to 0.3 to 0.7.
	seamGain = 0.73
	// fits is the part above which a shift fits by chance.
	fits = 0.94
	// sparse is the columns from one to the next in a first look.
	sparse = 5
	// A seam's rows differ more than those above and below: by roughGain in the first look, by
	// fullGain in the whole one. likeliest shifts of the first look get the whole one.
	roughGain, fullGain = 1.1, 1.2
	likeliest           = 6
	// A shift is that of a tear if the rows above or below, which are whole, would differ by foreign
	// times as much under it: torn photos come to 1.7 and more. Where it means little to them too, the
	// picture is smooth or goes on along the row: by burnt-out paper many shifts fit by chance.
	foreign = 1.3
	// Nor may another shift gain more than alone of what that of a tear does: of 290 torn pictures
	// none came above 0.63, smooth ones, whose many shifts fit alike, to 0.79 and more.
	alone = 0.7
)

// Torn reports whether rows of a JPEG stand shifted by whole blocks against the rows
// above them. A decoder that loses or gains blocks by a turned bit, and says nothing,
// puts all that follows so many blocks to the left or right: marks, dial and shadow no
// longer belong together, though each may look sound.
//
// From the row of blocks in which it happens either the right part is shifted against
// what is above or the left part against what is below, and one of them is half the
// width at least. Differences along the rows are compared, since such damage changes
// the brightness too.
func (g *Gray) Torn() bool { return g.seam() < seamGain }

// seam is the least part of their difference that two neighbouring rows keep over half
// the picture when one is shifted by blocks, and no other shift fits like that; 1 where none fit better. The two halves that
// one damage leaves, a row of blocks apart and shifted alike, count together.
func (g *Gray) seam() float64 {
	step := blockSide / g.Factor
	if step < 2 || g.W < 4*seamReach*step {
		return 1
	}
	margin := seamReach * step
	halves := [2][2]int{{g.W / 2, g.W - margin}, {margin + 1, g.W / 2}} // right, left
	least := 1.0
	take := func(part, next float64) {
		if 1-next < alone*(1-part) {
			least = min(least, part)
		}
	}
	var right []shifted // of the last two rows of blocks
	for v := step; v+1 < g.H; v += step {
		here := g.shifts(v, halves[0], step)
		for _, s := range here {
			take(s.part, s.next)
		}
		for _, s := range g.shifts(v, halves[1], step) {
			take(s.part, s.next)
			for _, r := range right {
				// A unit of a JPEG with colour is one or two blocks high (T.81, A.2.3).
				if r.by == s.by && v-r.row <= 2*step {
					take(r.part*s.part, r.next*s.next)
				}
			}
		}
		right = append(slices.DeleteFunc(right, func(r shifted) bool { return v-r.row >= 2*step }), here...)
	}
	return least
}

// shifted is a shift, px, that makes a row more like the one above, and the part of their
// difference that it leaves, and that the best of the others leaves.
type shifted struct {
	row, by    int
	part, next float64
}

// shifts lists the whole blocks by which row v fits the row above better over half the
// picture.
func (g *Gray) shifts(v int, half [2]int, step int) (all []shifted) {
	// Where rows within the blocks differ as much, this is no seam.
	rough := g.rowsDiffer(v, 0, half, sparse)
	if rough < 1 || rough < roughGain*g.rowsDiffer(v-1, 0, half, sparse) || rough < roughGain*g.rowsDiffer(v+1, 0, half, sparse) {
		return nil
	}
	as := g.rowsDiffer(v, 0, half, 1)
	if as < 1 || as < fullGain*g.rowsDiffer(v-1, 0, half, 1) || as < fullGain*g.rowsDiffer(v+1, 0, half, 1) {
		return nil
	}
	for k := 1; k <= seamReach; k++ {
		for _, s := range [2]int{k * step, -k * step} {
			if d := g.rowsDiffer(v, s, half, sparse); d < rough {
				all = append(all, shifted{row: v, by: s, part: d, next: 1})
			}
		}
	}
	slices.SortFunc(all, func(a, b shifted) int { return cmp.Compare(a.part, b.part) })
	all = all[:min(len(all), likeliest)]
	for i := range all {
		all[i].part = g.rowsDiffer(v, all[i].by, half, 1) / as
	}
	all = slices.DeleteFunc(all, func(s shifted) bool { return s.part > fits || !g.tears(v, s.by, half) })
	for i := range all {
		for j := range all {
			if j != i {
				all[i].next = min(all[i].next, all[j].part)
			}
		}
	}
	return all
}

// tears reports whether rows above or below row v cannot be shifted as well.
func (g *Gray) tears(v, by int, half [2]int) bool {
	for _, whole := range [2]int{v - 1, v + 1} {
		if g.rowsDiffer(whole, by, half, 1) > foreign*g.rowsDiffer(whole, 0, half, 1) {
			return true
		}
	}
	return false
}

// rowsDiffer is the mean difference between the steps along row v-1 and those along
// row v shifted, at every so many columns of a part of the width.
func (g *Gray) rowsDiffer(v, shift int, part [2]int, every int) float64 {
	n := part[1] - part[0]
	above := g.Pix[(v-1)*g.W+part[0]-1:]
	row := g.Pix[v*g.W+part[0]+shift-1:]
	// Slices of one length and an index without a sign: nothing is left to be checked in the loop.
	a, b, c, d := above[:n], above[1:n+1], row[:n], row[1:n+1]
	b, c, d = b[:len(a)], c[:len(a)], d[:len(a)]
	sum, looks := 0, 0
	for u := uint(0); u < uint(len(a)); u += uint(every) {
		x := int(b[u]) - int(a[u]) - int(d[u]) + int(c[u])
		sum += max(x, -x)
		looks++
	}
	return float64(sum) / float64(looks)
}
