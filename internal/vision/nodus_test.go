package vision

import (
	"math"
	"testing"

	"shadowread/internal/sheet"
)

// A nodus is the one swelling that is alike on both sides, with bare strip before and
// behind and of a length that fits its distance; what lacks one of these is none.
func TestSwellingsThatAreNoNodus(t *testing.T) {
	k := sunCast()
	short := k
	short.to = 50
	f := newFrame(k.dir, 0)
	swelling := func(at, length, left, right float64) layer {
		return func(p sheet.Point) float64 {
			s, n := f.place(p)
			sd := math.Hypot(k.blur, k.opens*max(s, 0))
			return 1 - k.depth*normal((s-at+length/2)/sd)*normal((at+length/2-s)/sd)*normal((n+k.width/2+left)/sd)*normal((k.width/2+right-n)/sd)
		}
	}
	with := func(k casting, ls ...layer) canvas { // the darkest counts: a shadow on a shadow is no darker
		strip := k.layer()
		c := pictureOf(func(p sheet.Point) float64 {
			light := strip(p)
			for _, l := range ls {
				light = min(light, l(p))
			}
			return light
		})
		c.rod.NodusMM = 25
		return c
	}
	for name, tt := range map[string]struct {
		c    canvas
		want float64
	}{
		"a bead":               {with(k, swelling(40, 8, 2, 2)), 40},
		"none":                 {with(k), 0},
		"to one side":          {with(k, swelling(40, 8, 3, 1)), 0},
		"two":                  {with(k, swelling(30, 6, 2, 2), swelling(44, 6, 2, 2)), 0},
		"too flat":             {with(k, swelling(48, 1.2, 2, 2)), 0},
		"too tall":             {with(k, swelling(32, 30, 2, 2)), 0},
		"at the strip's end":   {with(short, swelling(46, 8, 2, 2)), 0},
		"less than noise does": {with(k, swelling(40, 8, 0.33, 0.33)), 0},
	} {
		_, st := tt.c.must(t, shadowDir)
		if math.Abs(st.Nodus-tt.want) > 3*nodusPlace {
			t.Errorf("%s: a nodus at %.1f mm, want %.1f", name, st.Nodus, tt.want)
		}
	}
}
