package vision

import (
	"math"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// Where a shadow ends just before a bar's that runs aslant, it ends there or is not seen to: not
// behind the bar.
func TestTipBeforeABarAslant(t *testing.T) {
	const tip = 41.0
	k := sunCast()
	k.to = tip + k.width/2
	for _, turn := range []angle.Angle{35, -35, 60, 90} {
		dir := k.dir + turn*deg
		bar := newFrame(dir, 0)
		_, off := bar.place(newFrame(k.dir, 0).at(tip+8, 0))
		c := pictureOf(k.layer(), func(p sheet.Point) float64 {
			_, n := bar.place(p)
			return 1 - 0.7*normal((n-off+4)/0.7)*normal((off+4-n)/0.7)
		})
		_, st := c.must(t, shadowDir)
		if st.Length > 0 && math.Abs(st.Length-tip) > 3*st.LengthSigma || st.Length == 0 && st.AtLeast > tip {
			t.Errorf("aslant by %.0f: %.1f ± %.1f mm, at least %.1f, is %.1f", float64(turn), st.Length, st.LengthSigma, st.AtLeast, tip)
		}
	}
}

// A thick rod is straight and waved paper bends its shadow by a little: what that measures is told over
// the strip that is seen, though a bar's shadow hides most of its far half.
func TestBowOfAStripWithAGap(t *testing.T) {
	k := sunCast()
	k.width, k.bow = 4, 0.8
	gap := newFrame(k.dir, 0)
	c := pictureOf(k.layer(), func(p sheet.Point) float64 {
		s, _ := gap.place(p)
		return 1 - 0.7*normal((s-30)/0.5)*normal((52-s)/0.5)
	})
	if _, st := c.must(t, k.dir); st.Bow != 0 || st.Sigma > 0.5*deg {
		t.Errorf("bow %.1f mm, sigma %.2f", st.Bow, st.Sigma.Degrees())
	}
}
