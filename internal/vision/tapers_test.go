package vision

import (
	"math"
	"testing"

	"shadowread/internal/sheet"
)

// coneLayer is the image of a round rod of a diameter at its foot, which a height of one mm makes
// broader by rate; it is lit from the left, where it is as much brighter than the paper as it is
// darker to the right.
func (c canvas) coneLayer(diameter, rate, height float64) layer {
	img := newRodImage(c.plate(), sheet.Standard, Rod{})
	f := newFrame(img.direction(), 0)
	return func(p sheet.Point) float64 {
		d, n := f.place(p)
		z := img.heightBefore(d)
		half := (diameter + rate*z) / 2 * img.grown(d)
		if d < 0 || z > height || math.Abs(n) > half {
			return 1
		}
		return 0.85 - 0.65*n/half
	}
}

// A rod that is thinner at its tip casts a shadow whose breadth at a distance is the rod's own at the
// height that the clock makes of it: plane geometry.
func TestTaperedRod(t *testing.T) {
	const diameter, height, ratio = 6.0, 60.0, 1.3
	const rate = -0.05 // mm per mm: half as thick at the tip
	cast := sunCast()
	cast.width, cast.taper = diameter, -rate/ratio*50/2
	joined := sunCast() // by another of its breadth, at a small angle, that the two leave by the foot
	joined.width, joined.dir = 3.6, shadowDir+1.4*deg
	own := sunCast()
	own.width = 3.6
	picture := func(rod Rod, rate float64, shadows ...layer) canvas {
		c := pictureOf(shadows...)
		c.rod = rod
		return c.with(c.coneLayer(diameter, rate, height))
	}
	clock := Rod{ShadowRatio: ratio}
	for _, tt := range []struct {
		name string
		c    canvas
		told bool
	}{
		{"as its rod does", picture(clock, rate, cast.layer()), true},
		{"and its rod not", picture(clock, 0, cast.layer()), false},
		{"and its rod by half", picture(clock, rate/2, cast.layer()), false},
		{"and its rod by half as much again", picture(clock, 1.5*rate, cast.layer()), false},
		{"without a clock", picture(Rod{}, rate, cast.layer()), false},
		{"under another sun", picture(Rod{ShadowRatio: 2 * ratio}, rate, cast.layer()), false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			st, err := tt.c.search(t).find()
			if err != nil {
				t.Fatal(err)
			}
			off := (st.Direction - shadowDir).Signed().Abs()
			if off > 4*st.Sigma || tt.told != (st.Sigma < 0.05*deg) || tt.told != (st.Narrows == 0) || st.Sigma < st.Narrows {
				t.Errorf("off by %.4f degrees with a sigma of %.4f", off.Degrees(), st.Sigma.Degrees())
			}
		})
	}
	t.Run("another shadow joins", func(t *testing.T) {
		for name, c := range map[string]canvas{
			"of a straight rod": picture(clock, 0), "of a tapered one": picture(clock, rate),
			"of a stated one": picture(Rod{DiameterMM: own.width, HeightMM: height, ShadowRatio: ratio}, 0),
		} {
			st, err := c.with(onEachOther(own.layer(), joined.layer())).search(t).find()
			if err != nil {
				continue
			}
			if off := (st.Direction - shadowDir).Signed().Abs(); off > 2*st.Sigma {
				t.Errorf("%s: read %.4f degrees off with a sigma of %.4f", name, off.Degrees(), st.Sigma.Degrees())
			}
		}
	})
}

// Where the rod is seen from above, a shadow that narrows from the stated breadth at the foot is a tapered
// rod's: another shadow only adds to one.
func TestTaperFromTheStatedBreadth(t *testing.T) {
	cast := sunCast()
	cast.width, cast.taper = 6, 1.2 // of half of it at 50 mm
	for name, tt := range map[string]struct {
		line   layer
		stated float64
		read   bool
	}{
		"as stated": {cast.layer(), 6, true}, "less is stated": {cast.layer(), 5, false},
		"more is stated": {cast.layer(), 6.7, false},
	} {
		c := canvas{tilt: 2 * deg, view: rodDir + 180*deg, noise: 0.7, rod: Rod{DiameterMM: tt.stated, ShadowRatio: 1.3}}
		st, err := c.with(tt.line).with(c.rodLayer(tt.stated, 50)).search(t).find()
		if (err == nil) != tt.read {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if err != nil {
			continue
		}
		if off := (st.Direction - shadowDir).Signed().Abs(); off > 3*st.Sigma {
			t.Errorf("%s: off by %.4f degrees with a sigma of %.4f, narrows %.4f", name, off.Degrees(), st.Sigma.Degrees(), st.Narrows.Degrees())
		}
	}
}

// Seen from above a rod does not tell whether it tapers: a shadow that narrows is read with a sigma that allows for
// another one along either edge. One that broadens is no stick's.
func TestNarrowsFromAbove(t *testing.T) {
	own := sunCast()
	own.width = 1.6
	joined, crossed := own, own
	joined.dir = shadowDir + 1.6*deg
	crossed.dir, crossed.offset = shadowDir-1.8*deg, 1.55 // beside it at the foot, in it at its end
	tapered := func(taper float64) layer {
		k := sunCast()
		k.width, k.taper = 6, taper
		return k.layer()
	}
	for name, tt := range map[string]struct {
		line layer
		read bool
	}{
		"a rod that tapers": {tapered(1.2), true}, "another shadow joins": {onEachOther(own.layer(), crossed.layer()), true},
		"thicker at the top": {tapered(-1.2), false},
		"another one leaves": {onEachOther(own.layer(), joined.layer()), false},
	} {
		c := canvas{tilt: 2 * deg, view: rodDir + 180*deg, noise: 0.7, rod: Rod{ShadowRatio: 1.3}}
		st, err := c.with(tt.line).with(c.rodLayer(4, 50)).search(t).find()
		if (err == nil) != tt.read {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if err != nil {
			continue
		}
		if off := (st.Direction - shadowDir).Signed().Abs(); off > 2*st.Sigma || st.Sigma > 2*deg || st.Narrows != st.Sigma {
			t.Errorf("%s: off by %.4f degrees with a sigma of %.4f, narrows %.4f", name, off.Degrees(), st.Sigma.Degrees(), st.Narrows.Degrees())
		}
	}
}

// What a stated breadth leaves of a thick rod's taper is within what it is stated to: no sigma that refuses it.
func TestStrongTaperFromTheStatedBreadth(t *testing.T) {
	k := sunCast()
	k.width, k.taper, k.to = 6.8, 1.36, 33
	c := canvas{tilt: 2 * deg, view: rodDir + 180*deg, noise: 8, rod: Rod{DiameterMM: 6.8, ShadowRatio: 0.85}}
	st, err := c.with(k.layer(), c.rodLayer(6.8, 40)).search(t).find()
	if err != nil {
		t.Fatal(err)
	}
	if off := (st.Direction - shadowDir).Signed().Abs(); off > 3*st.Sigma || st.Sigma > vagueMost {
		t.Errorf("off by %.4f degrees with a sigma of %.4f", off.Degrees(), st.Sigma.Degrees())
	}
}

// A rod that looks like the paper between its lit side and the other is one all the same.
func TestRunAcross(t *testing.T) {
	over := func(n float64) float64 { // from -3 to -0.4 and from 0.3 to 2 something is seen
		if n > -3 && n < -0.4 || n > 0.3 && n < 2 {
			return 1
		}
		return -1
	}
	for _, tt := range []struct{ hole, left, right float64 }{{0, 0.3, 2}, {1, -3, 2}} {
		left, right, ok := runAcross(over, tt.hole)
		if !ok || math.Abs(left-tt.left) > axisAcross || math.Abs(right-tt.right) > axisAcross {
			t.Errorf("over holes of %v from %.2f to %.2f, %v; want from %v to %v", tt.hole, left, right, ok, tt.left, tt.right)
		}
	}
}
