package vision

import (
	"testing"

	"shadowread/internal/sheet"
)

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
