package vision

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"shadowread/internal/calib"
	"shadowread/internal/sheet"
)

// ErrTooFewMarks reports a picture without enough of the sheet's marks.
var ErrTooFewMarks = errors.New("too few marks")

// ErrMarksDisagree reports marks that no one map explains.
var ErrMarksDisagree = errors.New("the marks do not agree with one another")

// ErrMirrored is an ErrTooFewMarks, of a picture that shows marks in a mirror, as a front camera stores
// them.
var ErrMirrored = fmt.Errorf("%w: those in view are mirrored", ErrTooFewMarks)

// ErrTwoSheets reports a picture that shows more than one sheet.
var ErrTwoSheets = errors.New("more than one sheet")

const (
	// leastMarks is the fewest marks that make a plate: four leave every parameter of
	// the map a witness against it.
	leastMarks = 4
	// anotherSheet is how many marks that one other map explains make a second sheet:
	// with three, twelve corners agree on eight unknowns. Chance has not made two.
	anotherSheet = 3
	// mostAlike bounds the outlines of one mark that are gone through, the largest
	// first. The search for marks that agree is cubic in their number.
	mostAlike = 4
	// enoughMarks that agree, and are most of what was found, end the search, whose time
	// grows as the cube of that.
	enoughMarks = 6
	// A map explains an outline to one in looseMap of its side while the lens is not known,
	// one in knownMap when it is. Another sheet's marks are off by a side over
	// strayedCoarse, or strayedFine where the map is known.
	looseMap, knownMap         = 3, 8
	strayedCoarse, strayedFine = 0.5, 2
	// astrayMost marks that were read plainly but do not stand where the map has them: one may
	// be chance, two say that parts of the picture do not belong together (a damaged
	// file shifts what follows the damage).
	astrayMost = 2
	// So many marks that read in a mirror alone, and fewer that read as they are, make it worth while
	// to look into one.
	seenInMirror = 2
	// A mark takes part with edgesLeast samples of its edges, of edgesOfMark*perEdge.
	edgesLeast = 12
	// Edges lie within 0.5 px of a map that is one, blurred and on folded paper too. From mostScatter px
	// on it is none: few marks near one another, seen through a lens that bends, were its start.
	mostScatter = 2.0
	// coarse is the long side, px, of the picture that is searched first, or three quarters
	// of it: a sheet that fills half of it has marks of 12 to 18 px.
	coarse = 500
	// pageReach is half the side, mm, of a square about the sheet's face that its page and
	// board lie in, near enough; its outline has outlineSteps along a side, which the lens
	// bends a little. Beside it there must be room for roomFor marks along a side.
	pageReach    = 100
	outlineSteps = 12
	roomFor      = 7
	// Of two neighbouring cells of a mark the lighter must have cellRatio times the light of the
	// darker, and cellGap of full scale more, in visibleTenths tenths of the pairs.
	cellRatio, cellGap = 1.4, 0.004
	visibleTenths      = 9
)

// FoundSheet is the sheet as found in one picture.
type FoundSheet struct {
	*calib.Fit
	Flat  *calib.Fit // the same samples on a sheet taken as flat: its residual shows the curl
	Marks []int      // ids of the marks that took part, ascending

	ghost ghost // of a telephone's second frame
}

// FindSheet finds the sheet's marks in g and fits the map from the sheet to the
// picture. found is the number of marks seen even when they do not suffice. The
// prior is in the pixels of g.
//
// It searches from coarse to fine: a quarter of the size usually shows most marks
// in a sixteenth of the time, and where those do not carry the map to the others
// the next size is searched.
func FindSheet(g *Gray, s *sheet.Sheet, prior calib.Prior) (plate *FoundSheet, found int, err error) {
	factor := 1
	for max(g.W, g.H)/(factor*2) >= coarse*3/4 {
		factor *= 2
	}
	look := &sheetSearch{g, s, prior}
	err = ErrTooFewMarks
	mirrored := 0
	// Shrunk in steps: what is twice the size is wanted once more, beside the sheet.
	finer := g.Shrink(max(1, factor/2))
	for ; factor >= 1; factor /= 2 {
		small := finer
		if factor > 1 && small.Factor != factor*g.Factor {
			small = small.Shrink(2)
		} else if factor > 1 {
			finer = g.Shrink(factor / 2)
		}
		all, inMirror := searchIn(small, s, factor, anyContrast, nil)
		h, seen := consensus(all)
		found, mirrored = max(found, len(seen)), max(mirrored, inMirror)
		if len(seen) < leastMarks {
			continue
		}
		// A lens that bends much carries the marks far from the sheet's middle away from a plane
		// map too; only one seen twice is surely another sheet's.
		another := anotherIn(all, h.Project, strayedCoarse)
		if another && seenTwice(all) {
			return nil, found, ErrTwoSheets
		}
		p, n, e := look.plateFrom(all, h, seen)
		switch {
		case another && (e != nil || anotherIn(all, p.ProjectDrawing, strayedFine)):
			return nil, max(found, n), ErrTwoSheets
		case e == nil:
			// A smaller sheet beside this one shows its marks one size finer.
			if factor > 1 && anotherIn(searchAround(finer, s, factor/2, p), p.ProjectDrawing, strayedFine) {
				return nil, n, ErrTwoSheets
			}
			return p, n, nil
		}
		found, err = max(found, n), e
	}
	if found < seenInMirror && mirrored >= seenInMirror {
		err = ErrMirrored
	}
	if found >= leastMarks && errors.Is(err, ErrTooFewMarks) {
		err = ErrMarksDisagree // enough were seen, but no map has them all where they stand
	}
	return nil, found, err
}

// anotherIn reports whether some of the outlines are another sheet's: they agree with
// one another, and a map of the sheet misses them by more than their side over part.
func anotherIn(all []candidate, project projector, part float64) bool {
	var strangers []candidate
	for _, c := range all {
		if !c.explainedBy(project, part) {
			strangers = append(strangers, c)
		}
	}
	if len(strangers) < anotherSheet {
		return false
	}
	_, agreed := consensus(strangers)
	return len(agreed) >= anotherSheet
}

// seenTwice reports whether two of the outlines are the same mark's at different places.
func seenTwice(all []candidate) bool {
	for i, c := range all {
		for _, d := range all[:i] {
			if a, b := c.corners[0], d.corners[0]; c.mark.ID == d.mark.ID && math.Hypot(a.U-b.U, a.V-b.V) > c.side() {
				return true
			}
		}
	}
	return false
}

// sheetSearch is what a sheet is looked for in, and by.
type sheetSearch struct {
	g     *Gray
	sheet *sheet.Sheet
	prior calib.Prior
}

// plateFrom builds the plate on the outlines of one search, of which h explains those seen.
func (l *sheetSearch) plateFrom(all []candidate, h calib.Homography, seen []candidate) (plate *FoundSheet, found int, err error) {
	// First the marks as they were found, each by its own outline, then every mark
	// that the map puts in the picture. What only leads to the next map takes few samples.
	edges := make([]edgeProfile, 0, len(l.sheet.Marks)*edgesOfMark*perEdge)
	for _, c := range seen {
		edges = l.byOutline(edges, c)
	}
	samples := samplesOf(edges)
	flat := l.prior
	flat.Curl = 0
	fit, err := calib.FitPlate(h, samples, flat)
	if err != nil {
		return nil, len(seen), err
	}
	var marks []int
	for own, most := 0, leastPerEdge; ; {
		before := own
		edges, marks, own = l.edgesBy(edges[:0], fit.ProjectDrawing, all, most)
		if len(marks)+own < leastMarks {
			return nil, len(marks), ErrTooFewMarks
		}
		samples = samplesOf(edges)
		if fit, err = fit.Refit(samples, flat); err != nil {
			return nil, len(marks), err
		}
		if most == perEdge {
			break
		}
		if own <= before { // no outer mark more came in reach
			most = perEdge
		}
	}
	astray := map[int]bool{}
	for _, c := range all {
		if !slices.Contains(marks, c.mark.ID) && !c.explainedBy(fit.ProjectDrawing, knownMap) {
			astray[c.mark.ID] = true
		}
	}
	if len(astray) >= astrayMost {
		return nil, len(marks), ErrMarksDisagree
	}
	double := ghostOf(l.g, edges, fit.ProjectDrawing)
	samples = withoutGhost(double, samples, fit.ProjectDrawing)
	samples = append(samples, tickSamples(l.g, l.sheet, fit)...)
	if fit, err = fit.Refit(samples, flat); err != nil {
		return nil, len(marks), err
	}
	curled, err := fit.Refit(samples, l.prior)
	if err != nil {
		return nil, len(marks), err
	}
	if curled.SigmaPx > mostScatter {
		return nil, len(marks), ErrMarksDisagree
	}
	slices.Sort(marks)
	return &FoundSheet{Fit: curled, Flat: fit, Marks: marks, ghost: double}, len(marks), nil
}

// edgesBy puts the edges of every mark that a map puts in the picture where it is, and returns those marks. While
// few samples will do it puts as well those of marks so far off the first that the lens carries them beyond the
// edges' reach, as their own outlines have them, and tells how many these are.
func (l *sheetSearch) edgesBy(edges []edgeProfile, project projector, all []candidate, most int) (_ []edgeProfile, marks []int, own int) {
	for _, m := range l.sheet.Marks {
		if markVisible(l.g, m, project) {
			if with := edgesOf(edges, l.g, m, project, most); perEdge*(len(with)-len(edges)) >= edgesLeast*most {
				edges, marks = with, append(marks, m.ID)
			}
			continue
		}
		outline := slices.IndexFunc(all, func(c candidate) bool { return c.mark.ID == m.ID && c.explainedBy(project, looseMap) })
		if outline >= 0 && most == leastPerEdge {
			edges, own = l.byOutline(edges, all[outline]), own+1
		}
	}
	return edges, marks, own
}

// byOutline appends the edges of a mark as its own outline has them.
func (l *sheetSearch) byOutline(edges []edgeProfile, c candidate) []edgeProfile {
	corners := c.mark.Corners()
	if local, ok := calib.FitHomography(corners[:], c.corners[:]); ok {
		edges = edgesOf(edges, l.g, c.mark, local.Project, leastPerEdge)
	}
	return edges
}

// span is a part of a row, without its end; none where that comes first.
type span struct{ from, to int }

// searchIn looks for marks in the picture shrunk by factor and returns their
// outlines in the pixels of the whole one, and how many read in a mirror; least is the contrast
// asked for, in levels, and page what of each row is left out.
func searchIn(small *Gray, s *sheet.Sheet, factor, least int, page []span) (all []candidate, inMirror int) {
	if min(small.W, small.H) < leastSide { // no room for a mark, and OpenCV takes no empty picture
		return nil, 0
	}
	all, inMirror = findMarks(small, s, least, page)
	f := float64(factor)
	for i := range all {
		for j, p := range all[i].corners {
			all[i].corners[j] = p.Enlarged(f)
		}
	}
	return all, inMirror
}

// searchAround looks for marks beside the sheet that was found, where only marks in good
// contrast are wanted: what lies on the ground is of none.
func searchAround(small *Gray, s *sheet.Sheet, factor int, p *FoundSheet) (all []candidate) {
	page := make([]span, small.H)
	for v := range page {
		page[v] = span{small.W, 0}
	}
	// The outline of the page's square, row by row.
	const steps = outlineSteps
	outline := func(i int) (u, v float64) {
		a, side := 2*pageReach*float64(i%steps)/steps-pageReach, i/steps%4
		q := p.Project([4]sheet.Point{{X: a, Y: pageReach}, {X: pageReach, Y: -a}, {X: -a, Y: -pageReach}, {X: -pageReach, Y: a}}[side])
		return q.U / float64(factor), q.V / float64(factor)
	}
	for i := range 4 * steps {
		u0, v0 := outline(i)
		u1, v1 := outline(i + 1)
		if math.IsNaN(v0 + v1) { // behind the camera
			continue
		}
		if v0 > v1 {
			u0, v0, u1, v1 = u1, v1, u0, v0
		}
		for v := max(0, int(math.Ceil(v0))); v < small.H && float64(v) <= v1; v++ {
			u := u0
			if v1 > v0 {
				u += (u1 - u0) * (float64(v) - v0) / (v1 - v0)
			}
			page[v].from, page[v].to = min(page[v].from, max(0, int(u))), max(page[v].to, min(small.W, int(u)+1))
		}
	}
	beside := small.W * small.H
	for _, p := range page {
		beside -= max(0, p.to-p.from)
	}
	if beside < roomFor*leastSide*roomFor*leastSide { // too little room for a few marks
		return nil
	}
	all, _ = searchIn(small, s, factor, plainContrast, page)
	return all
}

// markVisible checks a mark where the map predicts it: nine in ten of the pairs of
// neighbouring cells that differ must differ the right way. Neighbours share their
// light, so a shadow's edge across the mark does not matter; a finger over it does.
func markVisible(g *Gray, m sheet.Mark, project projector) bool {
	bits, ok := sheet.ModuleBits(m.ID)
	if !ok {
		return false
	}
	const n = markCells + 2 // a ring of paper about the cells
	module := m.Side / markCells
	var light [n][n]float64
	for r := range n {
		for c := range n {
			p := project(sheet.Point{X: m.X - m.Side/2 + (float64(c)-0.5)*module, Y: m.Y + m.Side/2 - (float64(r)-0.5)*module})
			if !g.contains(p, 1) {
				return false
			}
			light[r][c] = g.light(p.U, p.V)
		}
	}
	white := func(r, c int) bool {
		switch {
		case min(r, c) == 0 || max(r, c) == n-1:
			return true
		case min(r, c) == 1 || max(r, c) == n-2:
			return false
		}
		return bits[r-2][c-2]
	}
	pairs, good := 0, 0
	check := func(r, c, r2, c2 int) {
		a, b := white(r, c), white(r2, c2)
		if a == b {
			return
		}
		pairs++
		w, k := light[r][c], light[r2][c2]
		if b {
			w, k = k, w
		}
		if w > cellRatio*k+cellGap {
			good++
		}
	}
	for r := range n {
		for c := range n {
			if r < n-1 {
				check(r, c, r+1, c)
			}
			if c < n-1 {
				check(r, c, r, c+1)
			}
		}
	}
	return tenths(good, pairs, visibleTenths)
}
