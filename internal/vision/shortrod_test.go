package vision

import (
	"math"
	"testing"

	"shadowread/internal/sheet"
)

// A short rod's image by its shadow, of which the mask for one of unknown height leaves nothing near
// the foot. The image of a rod that leans, or that comes out of clay, is no shadow before a rod.
func TestShortRodBesideItsShadow(t *testing.T) {
	view := func(layers ...layer) canvas {
		return canvas{tilt: 35 * deg, view: shadowDir - 14*deg + 180*deg, noise: 0.7, layers: layers}
	}
	short := func(height float64) canvas { // the shadow runs 14 degrees off the image
		k := sunCast()
		k.from = 0
		c := view(k.layer())
		return c.with(c.rodLayer(3, height))
	}
	aside := func(layers ...layer) canvas { // what looks like a shadow is the image, five degrees off
		k := sunCast()
		k.dir, k.depth, k.to = shadowDir-9*deg, 0.9, 50
		return view(append(layers, k.layer())...)
	}
	clay := func(p sheet.Point) float64 {
		if math.Hypot(p.X, p.Y) < 9 {
			return 0.5
		}
		return 1
	}
	for _, tt := range []struct {
		name string
		c    canvas
		read bool
	}{
		{"ends on the paper", short(36), true},
		{"reaches beyond it", short(75), false},
		{"leans", aside(), false},
		{"leans out of clay", aside(clay), false},
	} {
		s := tt.c.search(t)
		st := s.findByShort()
		if (st != nil) != tt.read {
			t.Errorf("%s: %v, want it read: %t", tt.name, st, tt.read)
		}
		if st != nil && (st.Direction-shadowDir).Signed().Abs() > 3*st.Sigma+0.01*deg {
			t.Errorf("%s: %v ± %v, want %v", tt.name, st.Direction, st.Sigma, shadowDir)
		}
	}
}

// Whatever direction within a broad, short shadow is as dark, the line through its middle is meant.
func TestRayThroughTheMiddle(t *testing.T) {
	k := sunCast()
	k.width, k.to, k.opens = 5, 15, 0
	s := pictureOf(k.layer()).search(t)
	if r := s.dial.rays(0, offsetMost)[0]; (r.dir - shadowDir).Signed().Abs() > 2*deg { // of some nine to either side
		t.Errorf("%v, want %v", r.dir, shadowDir)
	}
}

// A shadow that is seen to be longer than what the rod's top tells was not made by a rod so short.
func TestLengthAgainstTheTop(t *testing.T) {
	f := &stripFit{search: &search{rod: Rod{ShadowRatio: 1.3}, topMM: 40}}
	if got := f.lengths(0, 45); len(got) != 1 || math.Abs(got[0]-52) > 1e-9 {
		t.Errorf("by the top: %v, want 52", got)
	}
	f.topMM = 29
	if got := f.lengths(0, 45); len(got) < 5 || got[0] != 45 || got[len(got)-1] < 130 {
		t.Errorf("a top that ends too soon: %v, want all that may be", got)
	}
}
