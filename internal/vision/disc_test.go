package vision

import (
	"math"
	"testing"

	"shadowread/internal/sheet"
)

// A bar's shadow is as soft all along, and more than any camera makes ink: that the blur is not
// among those tried first makes it no shadow of the rod.
func TestDiscOfASoftBar(t *testing.T) {
	for _, blur := range []float64{0.7, 0.9, 1.2} { // mm, at 3.3 px to one
		k := sunCast()
		k.width, k.blur, k.opens = 4, blur, 0
		c := pictureOf(k.layer())
		s, st := c.must(t, shadowDir)
		if says := s.hear(st).discSays(); says < -maybeCast {
			t.Errorf("soft by %.1f mm: a shadow of the rod is likelier by %.1f", blur, -says)
		}
	}
}

// Misfits of half a level are neither law's doing: by how much the one is less tells little.
func TestFitsTooGoodTellLittle(t *testing.T) {
	level := 1 / 255.0
	const n = 248
	if says := likelier(n*sq(0.60*level), n*sq(0.55*level), n); says < 0 || says > surelyLies+maybeCast {
		t.Errorf("0.55 of a level over 0.60: likelier by %.1f", says)
	}
	if says := likelier(n*sq(2.2*level), n*sq(1.7*level), n); math.Abs(says-14.8) > 1 { // as without it: n/8 ln 1.675 = 16.0
		t.Errorf("1.7 levels over 2.2: likelier by %.1f", says)
	}
}

// Dusty air puts a broad, faint light about the disc. Its half shadow over the disc's own is no stick's, and a
// stick's edges are as sharp in such light.
func TestDiscThroughHaze(t *testing.T) {
	for _, part := range []float64{0.15, 0.27, 0.4} {
		for _, breadth := range []float64{0.06, 0.1} { // radians
			k := sunCast()
			k.width = 4.6
			broad := k
			broad.opens *= breadth / sunDisc
			disc, about := k.layer(), broad.layer()
			c := pictureOf(func(p sheet.Point) float64 { return (1-part)*disc(p) + part*about(p) })
			c.scale, c.noise = 8, 0.2
			s, st := c.must(t, shadowDir)
			says := s.hear(st).discSays()
			if says > 0 {
				t.Errorf("%v of the light from %v about the sun: a stick is likelier by %.1f", part, breadth, says)
			}
		}
	}
	k := sunCast()
	k.width, k.opens = 4.6, 0
	about := k
	about.blur = 4.6 // the sky's light that it takes from beside it
	body, shade := k.layer(), about.layer()
	for name, l := range map[string]layer{
		"a stick":       body,
		"a round stick": func(p sheet.Point) float64 { return 0.85*body(p) + 0.15*shade(p) },
	} {
		c := pictureOf(l)
		c.scale, c.noise = 5, 0.2
		s, st := c.must(t, shadowDir)
		if says := s.hear(st).discSays(); says < surelyLies {
			t.Errorf("%s is likelier by %.1f", name, says)
		}
	}
}

// Under a broad head there is less of the sky than under a thin rod: a shadow's end may be deeper than the rest of
// it, and is as likely a shadow's.
func TestDiscOfADeeperEnd(t *testing.T) {
	const end = 27.0
	k := sunCast()
	k.depth, k.to = 0.88, end+10
	strip, frame := k.layer(), newFrame(k.dir, 0)
	says := func(deep float64) float64 {
		c := pictureOf(func(p sheet.Point) float64 {
			s, n := frame.place(p)
			blur := math.Hypot(k.blur, math.Sqrt2*k.opens*s) // of light that comes halfway down
			head := normal((s-end+12)/k.blur) * normal((end-s)/blur) * normal((n+7)/k.blur) * normal((7-n)/k.blur)
			return min(strip(p)+normal((s-end+3)/k.blur), 1-deep*head)
		})
		c.scale, c.noise, c.rod.ShadowRatio = 4.4, 0.3, 1
		s, st := c.must(t, shadowDir)
		if st.fit.endProfile(st.fit.axis(), st) == nil {
			t.Fatal("no end is seen")
		}
		return s.hear(st).discSays()
	}
	if even, deeper := says(k.depth), says(0.94); even > -surelyLies || deeper > even+1 {
		t.Errorf("a stick is likelier by %.1f, by a deeper end by %.1f", even, deeper)
	}
}

// What a telephone sharpens has its edges elsewhere than where half of the light shows, and neither a shadow's nor
// a stick's are told for sure unless that is allowed for.
func TestDiscThroughSharpening(t *testing.T) {
	dim := func(sheet.Point) float64 { return 0.6 } // nothing clips
	for _, sharpened := range []float64{0.6, 1.2, 1.6} {
		k := sunCast()
		k.width, k.depth, k.opens = 2.2, 0.8, sunDisc/4*1.15 // a sun 30 degrees up
		for name, opens := range map[string]float64{"a shadow": k.opens, "a stick": 0} {
			k.opens = opens
			c := pictureOf(k.layer(), dim)
			c.scale, c.noise, c.sharpened, c.rod.ShadowRatio = 5, 2, sharpened, 1.73
			s, st := c.must(t, shadowDir)
			says := s.hear(st).discSays()
			if opens > 0 {
				says = -says
			}
			if says < 2*surelyLies {
				t.Errorf("%s, sharpened by %v, is likelier by %.1f", name, sharpened, says)
			}
		}
	}
}

// Of what sharpening brightens beyond white nothing is known.
func TestDiscBesideClippedPaper(t *testing.T) {
	k := sunCast()
	k.width, k.depth, k.blur, k.opens = 2.2, 0.9, 0.1, sunDisc/4*1.15
	c := pictureOf(k.layer())
	c.scale, c.noise, c.sharpened, c.rod.ShadowRatio = 5, 3, 1.6, 1.73
	_, st := c.must(t, shadowDir)
	unseen := 0.0
	for _, p := range st.fit.sideProfiles(st.fit.axis()) {
		unseen += float64(len(p.v)) - p.seen()
		for _, v := range p.v {
			if v >= clips {
				t.Fatalf("a level of %.0f takes part", 255*v)
			}
		}
	}
	if unseen == 0 {
		t.Error("nothing clips")
	}
}
