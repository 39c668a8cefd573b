package vision

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"shadowread/internal/calib"
	"shadowread/internal/sheet"
)

// markLayer is the sheet's marks, each moved by what shift says.
func markLayer(shift func(m sheet.Mark) (x, y float64, ok bool)) layer {
	return func(p sheet.Point) float64 {
		for _, m := range sheet.Standard.Marks {
			x, y, ok := shift(m)
			m.X, m.Y = m.X+x, m.Y+y
			if ok && max(m.X-p.X, p.X-m.X, m.Y-p.Y, p.Y-m.Y) < m.Side/2 && blackOf(m, p) {
				return 0.06
			}
		}
		return 1
	}
}

// blackOf reports whether a place within a mark is black.
func blackOf(m sheet.Mark, p sheet.Point) bool {
	bits, _ := sheet.ModuleBits(m.ID)
	x, y := int((p.X-m.X+m.Side/2)/m.Side*markCells), int((m.Y+m.Side/2-p.Y)/m.Side*markCells)
	if min(x, y) < 1 || max(x, y) > markCells-2 {
		return true
	}
	return !bits[y-1][x-1]
}

func withMarks(shift func(m sheet.Mark) (x, y float64, ok bool)) canvas {
	return canvas{tilt: 20 * deg, view: rodDir, noise: 0.7, scale: 2.6}.with(markLayer(shift))
}

// The plate is refused for marks that are too few, or that do not stand where the others
// allow; one astray may be chance.
func TestMarksMakeAPlateOrNot(t *testing.T) {
	at := func(m sheet.Mark) (float64, float64, bool) { return 0, 0, true }
	first := sheet.Standard.Marks
	astray := func(n int) func(m sheet.Mark) (float64, float64, bool) {
		return func(m sheet.Mark) (float64, float64, bool) {
			for _, f := range first[:n] {
				if f.ID == m.ID {
					return 2, 2, true
				}
			}
			return 0, 0, true
		}
	}
	three := func(m sheet.Mark) (float64, float64, bool) {
		return 0, 0, slices.ContainsFunc(first[:3], func(f sheet.Mark) bool { return f.ID == m.ID })
	}
	for name, tt := range map[string]struct {
		shift func(m sheet.Mark) (float64, float64, bool)
		want  error
	}{
		"all":         {at, nil},
		"three":       {three, ErrTooFewMarks},
		"one astray":  {astray(1), nil},
		"two astray":  {astray(2), ErrMarksDisagree},
		"none at all": {func(sheet.Mark) (float64, float64, bool) { return 0, 0, false }, ErrTooFewMarks},
	} {
		g := withMarks(tt.shift).search(t).g
		prior := calib.UnknownLens(g.W, g.H, 0)
		prior.Stretch, prior.Curl = 0.001, calib.TapedCurl
		if p, n, err := FindSheet(g, sheet.Standard, prior); err != tt.want {
			t.Errorf("%s: %v with %d marks, want %v: %+v", name, err, n, tt.want, p)
		}
	}
}

// A mark that something lies over takes no part; a shadow's edge across it does not matter.
func TestCoveredMarksTakeNoPart(t *testing.T) {
	m := sheet.Standard.Marks[0]
	c := withMarks(func(sheet.Mark) (float64, float64, bool) { return 0, 0, true })
	over := func(part float64, p sheet.Point) bool {
		return max(m.X-p.X, p.X-m.X, m.Y-p.Y, p.Y-m.Y) < m.Side && p.X < m.X-m.Side/2+part*m.Side
	}
	shaded := c.with(func(p sheet.Point) float64 {
		if over(0.5, p) {
			return 0.4
		}
		return 1
	}).search(t)
	if !markVisible(shaded.g, m, shaded.plate.ProjectDrawing) {
		t.Error("a mark half in shade is not visible")
	}
	for part, want := range map[float64]bool{0: true, 0.5: false} {
		s := c.search(t)
		for v := range s.g.H {
			for u := range s.g.W {
				if q, _ := s.plate.Unproject(calib.Pixel{U: float64(u), V: float64(v)}); over(part, q) {
					s.g.Pix[v*s.g.W+u] = 140
				}
			}
		}
		if got := markVisible(s.g, m, s.plate.ProjectDrawing); got != want {
			t.Errorf("a finger over %.1f of it: visible %v", part, got)
		}
	}
}

// Every cell of a mark must be told from the middle between ink and paper, and the border
// be dark. Toner that is worn in speckles is told by the border, whose brightest is still ink.
func TestCellsThatCannotBeTold(t *testing.T) {
	sound := func() (cells [markCells][markCells]float64) {
		for r := 1; r < markCells-1; r++ {
			for c := 1; c < markCells-1; c++ {
				cells[r][c] = float64((r + c) % 2)
			}
		}
		return cells
	}
	worn := func(most float64) [markCells][markCells]float64 { // ink in speckles, up to most of the paper
		cells := sound()
		for r := range cells {
			for c, v := range cells[r] {
				if v == 0 {
					cells[r][c] = most * float64((r+2*c)%3) / 2
				}
			}
		}
		return cells
	}
	gray, open, faint := sound(), sound(), sound()
	gray[2][3] = 0.55
	open[0][3] = 1
	for r := range faint {
		for c := range faint[r] {
			faint[r][c] *= spanLeast - 0.01
		}
	}
	for name, tt := range map[string]struct {
		cells [markCells][markCells]float64
		want  bool
	}{"sound": {sound(), true}, "a gray cell": {gray, false}, "an open border": {open, false}, "faint": {faint, false},
		"speckled": {worn(0.55), true}, "worn off": {worn(0.8), false}} {
		if _, ok := readBits(tt.cells); ok != tt.want {
			t.Errorf("%s: read %v", name, ok)
		}
	}
}

// Marks in a picture of grain are passed by before its outlines are traced.
func TestGrainIsPassedBy(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for noise, want := range map[int]bool{0: false, 120: true} {
		g := withMarks(func(sheet.Mark) (float64, float64, bool) { return 0, 0, true }).search(t).g
		for i := range g.Pix {
			if noise > 0 && i%g.W < g.W*3/4 { // beside it stand sound marks
				g.Pix[i] = uint8(60 + r.IntN(noise))
			}
		}
		found, _ := findMarks(g, sheet.Standard, anyContrast, nil)
		if got := len(found) == 0; got != want {
			t.Errorf("noise of %d levels: passed by %v", noise, got)
		}
	}
}

// A bar's soft shade over a mark moves no edge of it: half way from ink to paper is sought by their
// light at the edge, not beside it.
func TestMarksInSoftShade(t *testing.T) {
	m := sheet.Standard.Marks[0]
	for _, mark := range sheet.Standard.Marks {
		if math.Hypot(mark.X, mark.Y) < math.Hypot(m.X, m.Y) { // in the picture with all about it
			m = mark
		}
	}
	f := newFrame(30*deg, 0)
	_, middle := f.place(sheet.Point{X: m.X, Y: m.Y})
	shade := func(p sheet.Point) float64 {
		_, n := f.place(p)
		return 1 - 0.7*math.Exp(-sq((n-middle)/12)/2)
	}
	samples := func(shade layer) []calib.Sample {
		const side = 1200 // px: levels begin beyond all blur
		p := slantPlate(20*deg, 0, 5.5)
		p.Lens.Cx, p.Lens.Cy = (side-1)/2, (side-1)/2
		g := &Gray{W: side, H: side, Factor: 1, Pix: make([]uint8, side*side)}
		for i := range g.Pix {
			q := onPaper(p, float64(i%side), float64(i/side))
			g.Pix[i] = uint8(math.Round(255 * linearToSRGB(0.7*printedMarks(q)*shade(q))))
		}
		var edges []edgeProfile
		for _, k := range sheet.Standard.Marks {
			edges = edgesOf(edges, g, k, p.ProjectDrawing, perEdge)
		}
		return samplesOf(edges)
	}
	seen := map[sheet.Point]calib.Pixel{}
	for _, s := range samples(func(sheet.Point) float64 { return 1 }) {
		seen[s.At] = s.Seen
	}
	off := map[int][]float64{}
	for _, s := range samples(shade) {
		if q, ok := seen[s.At]; ok && s.Group/edgesOfMark == m.ID {
			off[s.Group] = append(off[s.Group], math.Hypot(s.Seen.U-q.U, s.Seen.V-q.V))
		}
	}
	if len(off) < edgesOfMark {
		t.Fatalf("%d edges seen", len(off))
	}
	for group, d := range off {
		if quantile(d, 0.5) > 0.03 {
			t.Errorf("edge %d is off by %.3f px", group, quantile(d, 0.5))
		}
	}
}

// A mark that a map puts aside by more than the edges' reach, and by less than a third of its side, is taken by its
// own outline while the map is only begun: a lens carries the outer ones there, off a map by the inner ones.
func TestMarksBeyondTheEdgesReach(t *testing.T) {
	s := withMarks(func(sheet.Mark) (float64, float64, bool) { return 0, 0, true }).search(t)
	exact := s.plate.ProjectDrawing
	for part, want := range map[float64]int{0: 0, 0.25: 1, 0.5: 0} { // of the side
		m := sheet.Standard.Marks[0]
		bent := func(p sheet.Point) calib.Pixel {
			if max(m.X-p.X, p.X-m.X, m.Y-p.Y, p.Y-m.Y) < m.Side {
				p.X += part * m.Side
			}
			return exact(p)
		}
		var all []candidate
		for _, m := range sheet.Standard.Marks {
			c := candidate{mark: m}
			for i, p := range m.Corners() {
				c.corners[i] = exact(p)
			}
			all = append(all, c)
		}
		look := sheetSearch{g: s.g, sheet: sheet.Standard}
		for most, want := range map[int]int{leastPerEdge: want, perEdge: 0} {
			edges, marks, own := look.edgesBy(nil, bent, all, most)
			if own != want || slices.Contains(marks, m.ID) != (part == 0) {
				t.Errorf("aside by %v of its side: %d by their own outlines, want %d; marks %v", part, own, want, marks)
			}
			for _, e := range edges {
				if q := exact(e.at); e.group/edgesOfMark == m.ID && math.Hypot(e.q.U-q.U, e.q.V-q.V) > 0.5 {
					t.Errorf("aside by %v of its side: an edge is looked for at %v, it lies at %v", part, e.q, q)
				}
			}
		}
	}
}
