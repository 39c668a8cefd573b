package vision

import (
	"errors"
	"math"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/calib"
	"shadowread/internal/sheet"
)

// A second frame in the dark places, displaced, makes one side of a shadow lighter than the other, and
// one side of every mark; a body that lies on the paper leaves the marks alone.
func TestGhostOfASecondFrame(t *testing.T) {
	k := sunCast()
	k.width = 2
	f := newFrame(shadowDir, 0)
	across := func(mm float64) sheet.Point { return f.at(0, mm) }
	for name, tt := range map[string]struct {
		marks float64
		want  error
	}{
		"of both":                  {0.8, nil},
		"of the strip alone":       {0, ErrNoShadow},
		"of the marks' other side": {-0.8, ErrNoShadow},
	} {
		c := pictureOf(ghosted(k.layer(), across(0.8)), ghosted(printedMarks, across(tt.marks)))
		c.noise = 0.3
		_, st, err := c.measured(t, shadowDir)
		if !errors.Is(err, tt.want) {
			t.Errorf("%s: %v", name, err)
		} else if err == nil && (st.Direction-shadowDir).Signed().Abs() > 0.1*deg {
			t.Errorf("%s: %.3f off", name, (st.Direction - shadowDir).Signed().Degrees())
		}
	}
}

// The second frame steepens what is dark on the clean side, the more the wider the penumbra. The fit of
// the disc knows that, and the blur's growth is the clean edge's: a shadow and a stick are told apart.
func TestDiscThroughAGhost(t *testing.T) {
	for name, tt := range map[string]struct {
		opens, sign   float64
		least, growth float64 // of the sun's
	}{
		"a shadow": {0.0033, -1, 1, 2},
		"a stick":  {0, 1, 0, 0.3},
	} {
		k := sunCast()
		k.opens = tt.opens
		f := newFrame(shadowDir, 0)
		for _, by := range []float64{0.5, -0.5} {
			c := pictureOf(ghosted(k.layer(), f.at(0, by)), ghosted(printedMarks, f.at(0, by)))
			c.noise = 0.3
			s, st := c.with(c.rodLayer(3, 50)).must(t, shadowDir)
			if says := s.hear(st).discSays(); !s.ghost.sure() || !(says*tt.sign > 0.5) {
				t.Errorf("%s displaced by %.1f mm: the stick is likelier by %.1f; ghost %+v", name, by, says, s.ghost)
			}
			if a, b := st.Growth[0]/leastGrowth, st.Growth[1]/leastGrowth; a < tt.least || b > tt.growth {
				t.Errorf("%s displaced by %.1f mm: the blur grows by %.2f to %.2f suns", name, by, a, b)
			}
		}
	}
}

// printedMarks are the sheet's, as blurred as a picture's.
func printedMarks(p sheet.Point) float64 {
	for i := range sheet.Standard.Marks {
		m := &sheet.Standard.Marks[i]
		if max(math.Abs(p.X-m.X), math.Abs(p.Y-m.Y)) > m.Side {
			continue
		}
		const n, wide = 6, 0.6 // mm
		black := 0
		for j := range n * n {
			q := sheet.Point{X: p.X + wide*(float64(j%n)/(n-1)-0.5), Y: p.Y + wide*(float64(j/n)/(n-1)-0.5)}
			if blackAbout(m, q, 0) > 0 {
				black++
			}
		}
		return 1 - 0.94*float64(black)/(n*n)
	}
	return 1
}

// ghosted is a layer of which dark places are taken from two frames, the second displaced by mm.
func ghosted(l layer, by sheet.Point) layer {
	return func(p sheet.Point) float64 {
		here := l(p)
		if here < 0.5 {
			return (here + l(sheet.Point{X: p.X - by.X, Y: p.Y - by.Y})) / 2
		}
		return here
	}
}

// The map is that of the edges that the second frame leaves sharp: it is as sure as without one.
func TestMapOfGhostedMarks(t *testing.T) {
	find := func(by sheet.Point) (*Gray, *FoundSheet, *calib.Plate) {
		c := pictureOf(ghosted(printedMarks, by))
		c.scale, c.noise = 3, 0.3
		q := c.search(t)
		p, _, err := FindSheet(q.g, sheet.Standard, calib.UnknownLens(pictureSide, pictureSide, q.plate.Lens.F))
		if err != nil {
			t.Fatal(err)
		}
		return q.g, p, q.plate
	}
	plain, sound, _ := find(sheet.Point{})
	if h := sound.ghost; math.Hypot(h.u, h.v) > ghostSure/2 {
		t.Errorf("a ghost of %.3f where there is none", math.Hypot(h.u, h.v))
	}
	g, twice, truth := find(sheet.Point{X: 0.5, Y: 0.3})
	if h := twice.ghost; math.Hypot(h.u, h.v) < ghostSure {
		t.Errorf("a ghost of %.3f is missed", math.Hypot(h.u, h.v))
	}
	if twice.SigmaPx > 1.5*sound.SigmaPx { // with its edges it is 1.8
		t.Errorf("the edges scatter by %.3f px, without a ghost by %.3f", twice.SigmaPx, sound.SigmaPx)
	}
	for _, dir := range []angle.Angle{0, 45 * deg, 90 * deg, 135 * deg} {
		a := sheet.Point{X: 50 * dir.Sin(), Y: 50 * dir.Cos()}
		u, v := twice.Project(sheet.Point{}), twice.Project(a)
		p, _ := truth.Unproject(u)
		q, _ := truth.Unproject(v)
		if off := (angle.Clockwise(q.X-p.X, q.Y-p.Y) - dir).Signed().Abs(); off > 0.05*deg {
			t.Errorf("direction %.0f is off by %.3f", dir.Degrees(), off.Degrees())
		}
	}
	// What a lens is calibrated by leaves them out too, and has corners enough.
	whole, _ := SheetPoints(plain, sheet.Standard, sound)
	left, corners := SheetPoints(g, sheet.Standard, twice)
	if len(corners) < leastViewPoints || 4*len(left) > 3*len(whole) {
		t.Errorf("%d corners and %d samples are left, without a ghost %d samples", len(corners), len(left), len(whole))
	}
}
