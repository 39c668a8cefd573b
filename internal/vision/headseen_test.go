package vision

import (
	"math"
	"testing"

	"shadowread/internal/sheet"
)

// Seen from nearly above, a black ball on the rod hides the foot and much of the paper behind it: the rest
// tells whether the foot stands in the light.
func TestFootUnderTheHead(t *testing.T) {
	const radius, middle, ratio = 6.5, 46.5, 0.9
	k := sunCast()
	k.to = (middle + radius) * ratio
	f := newFrame(k.dir, 0)
	end := func(p sheet.Point) float64 {
		s, n := f.place(p)
		blur := math.Hypot(k.blur, k.opens*middle*ratio)
		return 1 - k.depth*normal((radius-math.Hypot(s-(middle-radius*0.1)*ratio, n))/blur)
	}
	c := canvas{tilt: 4 * deg, view: k.dir, noise: 0.7, rod: Rod{ShadowRatio: ratio}}
	camera := c.plate().Pose.Centre()
	over := camera[2] - middle
	ball := func(p sheet.Point) float64 {
		x, y := p.X+camera[0]*middle/over, p.Y+camera[1]*middle/over
		return 1 - 0.95*normal((radius*camera[2]/over-math.Hypot(x, y))/0.15)
	}
	line := onEachOther(k.layer(), end)
	for name, tt := range map[string]struct {
		c   canvas
		lit bool
	}{
		"in the light": {c.with(line, ball), true},
		"in a shade":   {c.with(line, shade(k.dir+90*deg, 5, 0.3), ball), false},
	} {
		q, st := tt.c.must(t, k.dir)
		h := q.hear(st)
		if lit := h.footLit(); lit != tt.lit {
			t.Errorf("%s: the foot is lit: %v (a head of %.1f mm, seen %v)", name, lit, st.Head, h.headSeen())
		}
	}
}
