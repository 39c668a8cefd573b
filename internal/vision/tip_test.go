package vision

import (
	"math"
	"testing"

	"shadowread/internal/sheet"
)

// A thing that lies across the shadow among the ticks is as bright as paper, and no end: behind it the shadow, or its
// head's, is seen again. What lies farther out otherwise than about the strip's axis changes no end.
func TestEndBehindWhatLiesAcross(t *testing.T) {
	const from, to, dir = 50.0, 60.0, 60 * deg // that of a gap between two marks
	axis := newFrame(dir, 0)
	// piece is lit, or dark, over all the breadth.
	piece := func(l layer, from, to, light float64) layer {
		return func(p sheet.Point) float64 {
			if s, _ := axis.place(p); s > from && s < to {
				return light
			}
			return l(p)
		}
	}
	strip := func(from, to, width, offset float64) layer {
		k := sunCast()
		k.dir, k.from, k.to, k.width, k.offset = dir, from, to, width, offset
		return k.layer()
	}
	ends := strip(-9, from, 3, 0)
	for name, tt := range map[string]struct {
		layers []layer
		ends   bool
	}{
		"it ends":                        {[]layer{ends}, true},
		"it goes on behind a straw":      {[]layer{piece(strip(-9, 86, 3, 0), from, to, 1)}, false},
		"and behind the straw's shadow":  {[]layer{piece(piece(strip(-9, 86, 3, 0), from, 54, 1), 54, to, 0.3)}, false},
		"its head is seen behind":        {[]layer{ends, strip(72, 82, 9, 0)}, false},
		"a shadow runs across behind":    {[]layer{piece(ends, 72, 80, 0.3)}, true},
		"a thing lies to one side there": {[]layer{ends, strip(70, 82, 5, 2)}, true},
	} {
		c := canvas{tilt: pictureOf().tilt, view: pictureOf().view, noise: 0.7, scale: 2.8}
		_, st := c.with(tt.layers...).must(t, dir)
		if got := math.Abs(st.Length-from+1.5) < 1.5; got != tt.ends {
			t.Errorf("%s: %.1f ± %.1f mm long", name, st.Length, st.LengthSigma)
		}
	}
}

// A soft bar's shade that runs across farther out is no shadow of a thing that lies on the strip: it ends where
// it turns light.
func TestEndBeforeASoftBar(t *testing.T) {
	const end, dir = 38.0, 75 * deg
	k := sunCast()
	k.dir, k.to, k.depth, k.width = dir, end, 0.8, 1.8
	axis := newFrame(dir, 0)
	for _, aslant := range []float64{-0.6, 0.6} {
		bar := func(p sheet.Point) float64 {
			s, n := axis.place(p)
			s += aslant * n
			return 1 - 0.8*normal((s-end-7)/2.5)*normal((end+17-s)/2.5)
		}
		_, st := pictureOf(k.layer(), bar).must(t, dir)
		if off := math.Abs(st.Length + k.width/2 - end); st.Length == 0 || off > 1 {
			t.Errorf("aslant by %v: %.1f ± %.1f mm long", aslant, st.Length, st.LengthSigma)
		}
	}
}
