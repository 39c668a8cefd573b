package vision

import (
	"math"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// What the measured strip itself tells against: each picture is refused by one check, and its
// twin passes all.
func TestStripsThatAreNoRodsShadow(t *testing.T) {
	from := func(f func(*casting)) canvas {
		k := sunCast()
		f(&k)
		c := canvas{tilt: 2 * deg, view: rodDir + 180*deg, noise: 0.7}
		return c.with(k.layer())
	}
	stated := func(diameter float64, c canvas) canvas { c.rod.DiameterMM = diameter; return c }
	wide := func(width, to float64) canvas {
		return from(func(k *casting) { k.width, k.to, k.opens = width, to, 0.003 })
	}
	near := func(c canvas) canvas { c.scale = 10; return c }
	dim := func(swing float64) canvas { // its noise would let it be as poor as that
		c := from(func(k *casting) { k.depth, k.to, k.wave, k.every = 0.35, 22, swing, 7 })
		c.noise = 7
		return c
	}
	wave := func(swing float64) canvas {
		return from(func(k *casting) { k.wave, k.every = swing, 38 })
	}
	besideThing := func(part float64) canvas { // the left third's light, of the shadow's, which is little anyway
		own := newFrame(shadowDir, 0)
		return from(func(k *casting) { k.depth = 0.87 }).with(func(p sheet.Point) float64 {
			s, n := own.place(p)
			return 1 - (1-part)*normal((n+1.5)/0.15)*normal((-0.5-n)/0.15)*normal(s/0.3)
		})
	}
	for _, tt := range []struct {
		name           string
		speaks, silent canvas
		want           error
	}{
		{"too short", wide(3, shadowStart+leastStrip+0.5), wide(3, shadowStart+leastStrip+5), ErrNoShadow},
		{"passes the foot", from(func(k *casting) { k.offset = footMost + 0.2 }), from(func(k *casting) { k.offset = footMost - 0.2 }), ErrNoShadow},
		{"not of the stated diameter", stated(5, wide(3, 90)), stated(4, wide(3, 90)), ErrNoShadow},
		{"tapers", near(from(func(k *casting) { k.width, k.taper, k.blur, k.opens = 0.4, -0.38, 0.06, 0.001 })), near(from(func(k *casting) { k.width, k.taper, k.blur, k.opens = 0.5, -0.1, 0.06, 0.001 })), ErrTapers},
		{"its halves differ", from(func(k *casting) { k.sides = 0.35 }), from(func(k *casting) { k.sides = 0.05 }), ErrNoShadow},
		{"one side of its core has another light", besideThing(0.35), besideThing(0.8), ErrNoShadow},
		{"bowed by too much", from(func(k *casting) { k.bow = 2.5 }), from(func(k *casting) { k.bow = 0.8 }), ErrBowed},
		{"of no direction", dim(0.35), dim(0.2), ErrNoShadow},
		{"not straight", wave(0.45), wave(0.05), ErrNoShadow},
		{"too narrow", near(from(func(k *casting) { k.width, k.blur, k.opens = 0.3, 0.05, 0 })), near(from(func(k *casting) { k.width, k.blur, k.opens = 0.6, 0.05, 0 })), ErrNoShadow},
		{"too broad", stated(11.9, wide(12.4, 90)), stated(11.6, wide(11.6, 90)), ErrNoShadow},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if _, st, err := tt.speaks.measured(t, shadowDir); err != tt.want { // not one that wraps it
				t.Errorf("%v, want %v, of %+v", err, tt.want, st)
			}
			if _, _, err := tt.silent.measured(t, shadowDir); err != nil {
				t.Errorf("the twin: %v, want a strip", err)
			}
		})
	}
}

// A smudge by one edge turns it, and widens the sigma. What is as dark as the shadow and touches an edge in a few
// rows, as the image of a rod's head does, places that edge elsewhere for sure: these rows are put aside, and turn nothing.
func TestStainByOneEdge(t *testing.T) {
	own := newFrame(shadowDir, 0)
	for name, tt := range map[string]struct{ to, light, least, most float64 }{
		"a smudge": {12, 0.93, 0.04, 0.1}, "a dark thing": {8, 0.1, 0, 0.1},
	} {
		k := sunCast()
		k.to = 26
		c := canvas{tilt: 2 * deg, view: rodDir + 180*deg, noise: 0.7}
		_, st, err := c.with(k.layer(), func(p sheet.Point) float64 {
			if s, n := own.place(p); s > 6 && s < tt.to && n > 1.5 && n < 2.3 {
				return tt.light
			}
			return 1
		}).measured(t, shadowDir)
		if err != nil {
			t.Fatal(name, err)
		}
		off, sigma := (st.Direction - shadowDir).Signed().Abs(), st.Sigma
		if sigma < angle.FromDegrees(tt.least) || sigma > angle.FromDegrees(tt.most) || off > 2*sigma {
			t.Errorf("%s: %.3f° off, sigma %.3f°", name, math.Abs(off.Degrees()), sigma.Degrees())
		}
	}
}
