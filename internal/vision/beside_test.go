package vision

import "testing"

// The shade by a lit straw's one edge has its other edge beside it, all along. Beside a shadow there is none; what
// crosses it, or comes near it, is not at one distance, a fold goes on beyond its end, and what sharpening does is alike to both sides.
func TestRunsBeside(t *testing.T) {
	own := sunCast()
	own.width = 1.4
	line := func(offset, width, depth float64) casting {
		k := sunCast()
		k.offset, k.width, k.depth, k.opens = offset, width, depth, 0
		return k
	}
	short, straw := own, line(2.6, 0.6, 0.2)
	short.to, straw.to = 32, 32
	near := line(3, 0.6, 0.2)
	near.dir += 3 * deg
	for name, tt := range map[string]struct {
		layers []layer
		beside bool
	}{
		"a shadow":                   {[]layer{own.layer()}, false},
		"a straw's other edge":       {[]layer{own.layer(), line(2.6, 0.6, 0.2).layer()}, true},
		"a short straw's other edge": {[]layer{short.layer(), straw.layer()}, true},
		"a fold":                     {[]layer{short.layer(), line(2.6, 0.6, 0.2).layer()}, false},
		"a bright straw":             {[]layer{own.layer(), line(-2.8, 2, -0.12).layer()}, true},
		"a line that nears it":       {[]layer{own.layer(), near.layer()}, false},
		"a halo":                     {[]layer{own.layer(), line(2.6, 1.5, -0.12).layer(), line(-2.6, 1.5, -0.12).layer()}, false},
	} {
		c := pictureOf(tt.layers...)
		c.scale = 6
		_, st := c.must(t, shadowDir)
		if beside := st.fit.runsBeside(st.fit.axis(), st); beside != tt.beside {
			t.Errorf("%s: %v", name, beside)
		}
	}
}

// Something beside it speaks against a line of no disc's blur, and not against a shadow that is seen to be the sun's: a
// bar's rim may run there.
func TestShadowBesideARim(t *testing.T) {
	rim := func(offset float64) layer {
		k := sunCast()
		k.offset, k.width, k.depth, k.opens, k.to = offset, 0.6, 0.2, 0, 45
		return k.layer()
	}
	for name, tt := range map[string]struct {
		opens float64
		lies  bool
	}{"a shadow": {sunCast().opens, false}, "a straw's shade": {0, true}} {
		k := sunCast()
		k.width, k.opens, k.to = 1.4, tt.opens, 45
		c := pictureOf(k.layer(), rim(2.6))
		c.scale = 6
		s, st := c.must(t, shadowDir)
		h := s.hear(st)
		if !st.fit.runsBeside(st.fit.axis(), st) || h.lies(true) != tt.lies {
			t.Errorf("%s: lies %v, disc %.1f", name, h.lies(true), h.discSays())
		}
	}
}
