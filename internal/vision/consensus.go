package vision

import (
	"cmp"
	"math"
	"slices"

	"shadowread/internal/calib"
	"shadowread/internal/sheet"
)

// consensus returns the largest set of outlines, one a mark, that one map of the
// sheet explains. A lone mark explains only itself and so makes no plate.
func consensus(all []candidate) (best calib.Homography, chosen []candidate) {
	all = largest(all)
	for i := range all {
		for j := i + 1; j < len(all); j++ {
			if all[i].mark.ID == all[j].mark.ID {
				continue
			}
			h, ok := mapOf(all[i], all[j])
			if !ok {
				continue
			}
			// Widen from the pair: refit on what agrees, twice.
			var agree []candidate
			for range 2 {
				agree = agreeing(all, h)
				if len(agree) < 2 {
					break
				}
				if g, ok := mapOf(agree...); ok {
					h = g
				}
			}
			if agree = agreeing(all, h); len(agree) > len(chosen) {
				best, chosen = h, agree
			}
			if len(chosen) >= enoughMarks && 2*len(chosen) > len(all) {
				return best, chosen
			}
		}
	}
	return best, chosen
}

// largest keeps the largest outlines of each mark.
func largest(all []candidate) (kept []candidate) {
	all = slices.Clone(all)
	slices.SortStableFunc(all, func(a, b candidate) int { return cmp.Compare(b.side(), a.side()) })
	taken := map[int]int{}
	for _, c := range all {
		if taken[c.mark.ID]++; taken[c.mark.ID] <= mostAlike {
			kept = append(kept, c)
		}
	}
	return kept
}

func mapOf(cs ...candidate) (calib.Homography, bool) {
	var from []sheet.Point
	var to []calib.Pixel
	for _, c := range cs {
		k := c.mark.Corners()
		from, to = append(from, k[:]...), append(to, c.corners[:]...)
	}
	return calib.FitHomography(from, to)
}

// agreeing returns, for each mark, the outline that h explains best, if it does to
// within a third of the mark's side: lens distortion may bend the map by that much
// and a false mark misses by far more.
func agreeing(all []candidate, h calib.Homography) []candidate {
	byID := map[int]candidate{}
	misfit := map[int]float64{}
	for _, c := range all {
		worst := c.distance(h.Project)
		if !c.explainedBy(h.Project, looseMap) {
			continue
		}
		if old, ok := misfit[c.mark.ID]; !ok || worst < old {
			byID[c.mark.ID], misfit[c.mark.ID] = c, worst
		}
	}
	out := make([]candidate, 0, len(byID))
	for _, c := range byID {
		out = append(out, c)
	}
	slices.SortFunc(out, func(a, b candidate) int { return a.mark.ID - b.mark.ID })
	return out
}

// distance is the greatest distance of an outline's corners from where a map has
// them, px; NaN where it has none.
func (c candidate) distance(project projector) (worst float64) {
	for k, p := range c.mark.Corners() {
		q := project(p)
		worst = max(worst, math.Hypot(q.U-c.corners[k].U, q.V-c.corners[k].V))
	}
	return worst
}

// explainedBy reports whether a map has the outline where it was seen, to one in part of
// its side.
func (c candidate) explainedBy(project projector, part float64) bool {
	return c.distance(project) < c.side()/part
}

// side is the outline's side in the picture as its diagonal tells it, px.
func (c candidate) side() float64 {
	a, b := c.corners[0], c.corners[2]
	return math.Hypot(a.U-b.U, a.V-b.V) / math.Sqrt2
}
