package vision

const (
	// blockSide is the side of a JPEG's blocks, stored px (ITU-T T.81, A.1.1).
	blockSide = 8
	// seamReach is how many blocks to each side a shift is looked for.
	seamReach = 12
	// seamGain is how much less two rows must differ when one is shifted by whole
	// blocks than as they stand, for the shift to be believed.
	// Sound photos, sharp and noisy, curled and at any slant, stay above 0.92; torn ones
	// come to 0.3 to 0.6.
	seamGain = 0.75
	// sparse is the columns from one to the next in a first look.
	sparse = 9
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
// the picture when one is shifted by blocks; 1 where none fit better.
func (g *Gray) seam() float64 {
	step := blockSide / g.Factor
	if step < 2 || g.W < 4*seamReach*step {
		return 1
	}
	margin := seamReach * step
	least := 1.0
	for v := step; v+1 < g.H; v += step {
		for _, half := range [2][2]int{{margin + 1, g.W / 2}, {g.W / 2, g.W - margin}} {
			// Where rows within the blocks differ as much, this is no seam.
			rough := g.rowsDiffer(v, 0, half, sparse)
			if rough < 1 || rough < 1.1*g.rowsDiffer(v-1, 0, half, sparse) || rough < 1.1*g.rowsDiffer(v+1, 0, half, sparse) {
				continue
			}
			as := g.rowsDiffer(v, 0, half, 1)
			if as < 1 || as < 1.2*max(g.rowsDiffer(v-1, 0, half, 1), g.rowsDiffer(v+1, 0, half, 1)) {
				continue
			}
			for k := 1; k <= seamReach; k++ {
				for _, s := range [2]int{k * step, -k * step} {
					if g.rowsDiffer(v, s, half, sparse) < (1+seamGain)/2*rough {
						least = min(least, g.rowsDiffer(v, s, half, 1)/as)
					}
				}
			}
		}
	}
	return least
}

// rowsDiffer is the mean difference between the steps along row v-1 and those along
// row v shifted, at every so many columns of a part of the width.
func (g *Gray) rowsDiffer(v, shift int, part [2]int, every int) float64 {
	above, row := g.Pix[(v-1)*g.W:v*g.W], g.Pix[v*g.W:(v+1)*g.W]
	sum := 0
	n := 0
	for u := part[0]; u < part[1]; u += every {
		d := int(above[u]) - int(above[u-1]) - int(row[u+shift]) + int(row[u+shift-1])
		sum += max(d, -d)
		n++
	}
	return float64(sum) / float64(n)
}
