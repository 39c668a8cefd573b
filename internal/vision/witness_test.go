package vision

import (
	"math"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// weakCast is a shadow whose penumbra vouches for nothing: it grows by less than the sun's
// disc makes it, and by too much to be none.
func weakCast() casting {
	k := sunCast()
	k.opens = 0.0019
	return k
}

// Each witness speaks against one picture and is silent of its twin, which differs in what
// the witness looks for alone. All others are silent of both.
func TestWitnesses(t *testing.T) {
	wire := func(k casting) layer { // goes on behind the foot
		k.from = -70
		return k.layer()
	}
	withRod := func(rod float64, layers ...layer) canvas {
		c := pictureOf(layers...)
		return c.with(c.rodLayer(rod, 50))
	}
	fromAbove := func(noise float64, layers ...layer) canvas {
		c := canvas{tilt: 2 * deg, view: rodDir + 180*deg, noise: noise, layers: layers}
		return c.with(c.rodLayer(3, 50))
	}
	change := func(f func(*casting)) layer {
		k := sunCast()
		f(&k)
		return k.layer()
	}
	changeWeak := func(f func(*casting)) layer {
		k := weakCast()
		f(&k)
		return k.layer()
	}
	along := func(dir angle.Angle) canvas { // the rod's image runs close to the line
		c := canvas{tilt: 12 * deg, view: dir + 180*deg, noise: 0.7}
		return c.with(c.rodLayer(3, 50))
	}
	capped := func(aside angle.Angle) canvas { // a rod with a broad head from 8 mm up, whose image runs aside of the line
		c := canvas{tilt: 30 * deg, view: shadowDir + aside + 180*deg, noise: 0.7}.with(weakCast().layer())
		rod, head, below := c.rodLayer(3, 60), c.rodLayer(7.5, 60), c.rodLayer(7.5, 8)
		return c.with(func(p sheet.Point) float64 {
			if below(p) == 1 && head(p) != 1 {
				return head(p)
			}
			return rod(p)
		})
	}
	behind := func(from, half float64) layer { // shade behind the foot, but for a lane along the line
		f := newFrame(shadowDir, 0)
		return func(p sheet.Point) float64 {
			s, n := f.place(p)
			return 1 - 0.4*normal((-s-from)/0.4)*normal((math.Abs(n)-half)/0.4)
		}
	}
	lane := func(half float64) layer { // a broad shade that lies behind the foot and over it
		f := newFrame(shadowDir, 0)
		return func(p sheet.Point) float64 {
			s, n := f.place(p)
			return 1 - 0.7*normal((8-s)/0.4)*normal((half-math.Abs(n))/0.4)
		}
	}
	barBehind := func(to float64) layer { // a bar's shade over the foot, more to one side of the line
		f := newFrame(shadowDir, 0)
		return func(p sheet.Point) float64 {
			s, n := f.place(p)
			return 1 - 0.7*normal((8-s)/0.4)*normal((s+to)/0.4)*normal((3.5-math.Abs(n-2))/0.4)
		}
	}
	opposite := func(layers ...layer) canvas { // the rod's image runs where the line would go on
		return canvas{tilt: 40 * deg, view: shadowDir, noise: 0.7}.with(layers...)
	}
	opposed := func(layers ...layer) canvas {
		c := opposite(layers...)
		return c.with(c.rodLayer(3, 65)) // to beyond the plain paper
	}
	covered := func(layers ...layer) canvas { // the same, to beyond the picture; the line ends in it
		c := opposite(layers...)
		return c.with(c.rodLayer(3, 200))
	}
	unending := func(from, to float64) layer { // in which no end is in sight
		k := sunCast()
		k.from, k.to = from, to
		return k.layer()
	}
	unlit := func(to float64) layer { // a rod that looks as the line does, to where it ends
		return casting{dir: shadowDir + 180*deg, width: 3, depth: 0.7, to: to, blur: 0.15}.layer()
	}
	pale := func(light float64) layer { // a rod of nearly the paper's light
		f := newFrame(rodDir, 0)
		return func(p sheet.Point) float64 {
			if s, n := f.place(p); s > 0 && math.Abs(n) < 1.5 {
				return light
			}
			return 1
		}
	}
	backlit := func(rod float64) canvas { // the line comes towards the camera
		c := opposite(sunCast().layer())
		return c.with(c.rodLayer(rod, 65))
	}
	pair := func(turn angle.Angle, to float64) layer { // two sticks, whose shadows are one, and the one's ends farther out, in as broad a line
		a, b := sunCast(), sunCast()
		a.width, a.to, a.offset = 2, 40, -0.6
		b.width, b.to, b.offset, b.dir = 2, to, 0.6, b.dir+turn
		return onEachOther(a.layer(), b.layer())
	}
	sharp := func(st *Strip) { st.GrowthSigma = leastGrowth } // vouches for nothing
	ended := func(st *Strip) { st.GrowthSigma, st.Length = leastGrowth, 80 }
	blurs := changeWeak(func(k *casting) { k.to, k.opens = 300, 0.0007 })
	blunt := changeWeak(func(k *casting) { k.opens = 0.0016 }) // between a stick and a shadow
	faint := func(st *Strip) { st.Growth, st.GrowthSigma = [2]float64{0, 0.4 * leastGrowth}, 0.05*leastGrowth }
	// From nearly above a ball over the foot, of which the strip's end shows the shadow, and shade behind.
	const ballHigh, ratio = 45.0, 1.0
	under := func(line casting, ball float64) canvas {
		c := canvas{tilt: 3 * deg, view: rodDir + 180*deg, noise: 0.7, rod: Rod{ShadowRatio: ratio}}
		img := newRodImage(c.plate(), sheet.Standard, Rod{})
		over := img.camera[2] - ballHigh
		at := newFrame(img.direction(), 0).at(math.Hypot(img.camera[0], img.camera[1])*ballHigh/over, 0)
		top := func(p sheet.Point) float64 {
			return 1 - 0.8*normal((ball*img.camera[2]/over-math.Hypot(p.X-at.X, p.Y-at.Y))/0.15)
		}
		return c.with(line.layer(), top)
	}
	headed := func(line casting, ball float64) canvas {
		return under(line, ball).with(shade(shadowDir+90*deg, 6.9, 0.6))
	}
	headOf := func(head float64) func(*Strip) {
		return func(st *Strip) { st.Head, st.Length, st.GrowthSigma = head, (ballHigh+head)*ratio, leastGrowth }
	}
	poor := func(st *Strip) {
		headOf(5)(st)
		st.seenSigma = vagueMost + 1e-9
	}
	stated := func(tilt angle.Angle) canvas { // seen by a shadow alone
		return canvas{tilt: tilt, view: rodDir + 180*deg, noise: 0.7, rod: Rod{HeightMM: 50, DiameterMM: 3}, layers: []layer{sunCast().layer()}}
	}
	short := sunCast()
	short.to = 50
	broad := func(st *Strip) { st.Width = thickest + 0.1 }
	late := func(from float64) func(*Strip) { return func(st *Strip) { st.From = from } }
	held := func(from float64) func(*Strip) { return func(st *Strip) { st.From, st.Held = from, true } }
	for _, tt := range []struct {
		name           string
		speaks, silent canvas
		set, twin      func(*Strip) // what a drawing cannot make alone
		want           error
	}{
		{name: "the line comes into view far out", want: ErrNoShadow,
			speaks: withRod(3, sunCast().layer()), set: late(farStart + 1),
			silent: withRod(3, sunCast().layer()), twin: late(farStart - 1)},
		{name: "the line comes into view far out, of another breadth, and its penumbra is not sure to grow", want: ErrNoShadow,
			speaks: withRod(4.2, change(func(k *casting) { k.to = 45 })), set: func(st *Strip) { st.From, st.GrowthSigma = farStart+1, leastGrowth },
			silent: withRod(3, change(func(k *casting) { k.to = 45 })), twin: func(st *Strip) { st.From, st.GrowthSigma = farStart+1, leastGrowth }},
		{name: "the line comes into view far out, and another is there", want: ErrNoShadow,
			speaks: withRod(3, change(func(k *casting) { k.to = 45 }), change(func(k *casting) { k.dir += 60 * deg })), set: late(farStart + 1),
			silent: withRod(3, change(func(k *casting) { k.to = 45 })), twin: late(farStart + 1)},
		{name: "the line comes into view farther out than any clay's shadow lies", want: ErrNoShadow,
			speaks: withRod(3, sunCast().layer()), set: held(50),
			silent: withRod(3, sunCast().layer()), twin: held(47)},
		{name: "as faint and narrow as a crease", want: ErrNoShadow,
			speaks: withRod(1.3, change(func(k *casting) { k.width, k.depth = 1.3, 0.3 })),
			silent: withRod(1.3, change(func(k *casting) { k.width, k.depth = 1.3, 0.4 }))},
		{name: "goes on behind the foot", want: ErrNoShadow,
			speaks: withRod(3, wire(sunCast())),
			silent: withRod(3, sunCast().layer())},
		{name: "goes on behind the foot, where a rod may stand", want: ErrNoShadow,
			speaks: opposite(sunCast().layer(), unlit(300)),
			silent: opposite(sunCast().layer(), unlit(30))},
		{name: "goes on behind the foot to past the plain paper", want: ErrNoShadow,
			speaks: opposite(sunCast().layer(), unlit(300)),
			silent: opposite(sunCast().layer(), unlit(66))},
		{name: "goes on behind the foot, with no end before it", want: ErrNoShadow,
			speaks: opposite(sunCast().layer(), unlit(300)),
			silent: opposite(change(func(k *casting) { k.to = 45 }), unlit(300))},
		{name: "behind the rod's image a line goes on", want: ErrRodHides,
			speaks: opposed(unending(-300, 300)), set: sharp,
			silent: opposed(unending(0, 300)), twin: sharp},
		{name: "behind the rod's image another line may be its shadow", want: ErrRodHides,
			speaks: covered(blurs, change(func(k *casting) { k.dir += 60 * deg })), set: ended,
			silent: covered(blurs, change(func(k *casting) { k.dir, k.depth = k.dir+60*deg, 0.15 })), twin: ended},
		{name: "sharper far from the foot than near it", want: ErrNoShadow,
			speaks: withRod(3, change(func(k *casting) { k.opens = -0.0012 })),
			silent: withRod(3, weakCast().layer())},
		{name: "soft by the foot, where ink is sharp", want: ErrNoShadow,
			speaks: withRod(3, change(func(k *casting) { k.blur = 0.9 }), printedMarks),
			silent: withRod(3, change(func(k *casting) { k.blur = 0.25 }), printedMarks)},
		{name: "passes the foot", want: ErrNoShadow,
			speaks: withRod(3, changeWeak(func(k *casting) { k.offset = strayMost + 0.1 })),
			silent: withRod(3, changeWeak(func(k *casting) { k.offset = strayMost - 0.1 }))},
		{name: "passes the foot, as broad as two rods", want: ErrNoShadow,
			speaks: withRod(3, change(func(k *casting) { k.offset = strayMost + 0.2 })), set: broad,
			silent: withRod(3, change(func(k *casting) { k.offset = strayMost - 0.2 })), twin: broad},
		{name: "not seen to begin", want: ErrFootShaded,
			speaks: withRod(3, weakCast().layer(), shade(shadowDir+90*deg, 6.9, 0.6)),
			silent: withRod(3, weakCast().layer(), shade(shadowDir+90*deg, 9, 0.6))},
		{name: "not seen to begin, but to end in the rod's own head", want: ErrFootShaded,
			speaks: headed(weakCast(), 2.5), set: headOf(5),
			silent: headed(sunCast(), 5), twin: headOf(5)},
		{name: "neither seen to begin, in a shade along it, nor to end", want: ErrFootShaded,
			speaks: fromAbove(0.7, sunCast().layer(), lane(9)),
			silent: fromAbove(0.7, change(func(k *casting) { k.to = 45 }), lane(9))},
		{name: "not seen to begin, in a shade along one side that goes on", want: ErrFootShaded,
			speaks: fromAbove(0.7, change(func(k *casting) { k.to = 45 }), barBehind(300)),
			silent: fromAbove(0.7, change(func(k *casting) { k.to = 45 }), barBehind(61))},
		{name: "the foot is shaded", want: ErrFootShaded,
			speaks: withRod(1.2, blunt, behind(1, 3.2)), set: sharp,
			silent: withRod(1.2, blunt, behind(6, 3.2)), twin: sharp},
		{name: "the foot is shaded, and no disc blurs the line", want: ErrFootShaded,
			speaks: withRod(1.2, blunt, behind(1, 3.2)), set: sharp,
			silent: withRod(1.2, weakCast().layer(), behind(1, 3.2))},
		{name: "the foot is shaded, and a rod in the shade is not as thick", want: ErrFootShaded,
			speaks: withRod(1.2, blunt, behind(1, 3.2)), set: sharp,
			silent: withRod(3, blunt, behind(1, 3.2)), twin: sharp},
		{name: "no rod is seen", want: ErrNoShadow,
			speaks: pictureOf(sunCast().layer()),
			silent: withRod(3, sunCast().layer())},
		{name: "no rod is seen, be it as bright as the paper", want: ErrNoShadow,
			speaks: pictureOf(sunCast().layer(), pale(0.99)),
			silent: pictureOf(sunCast().layer(), pale(0.94))},
		{name: "no rod is seen where no head on its top hides it", want: ErrNoShadow,
			speaks: stated(15 * deg),
			silent: stated(12 * deg)},
		{name: "much narrower than the head that covers the rod", want: ErrNoShadow,
			speaks: withRod(6, weakCast().layer()),
			silent: withRod(6, weakCast().layer()), twin: func(st *Strip) { st.Head = 3 }},
		{name: "much narrower than the rod", want: ErrNoShadow,
			speaks: withRod(6, weakCast().layer()),
			silent: withRod(4.2, weakCast().layer())},
		{name: "much narrower than what is seen of the rod, not beside a strip up to its head", want: ErrNoShadow,
			speaks: capped(40 * deg),
			silent: capped(15 * deg)},
		{name: "broader than the rod, of which the unlit side is seen", want: ErrNoShadow,
			speaks: backlit(2),
			silent: backlit(2.7)},
		{name: "broader than what is seen of the rod, which may be lit", want: ErrNoShadow,
			speaks: backlit(2),
			silent: withRod(2, sunCast().layer())},
		{name: "two sticks' that touch, the one longer", want: ErrNoShadow,
			speaks: withRod(3, pair(-0.5*deg, 43)),
			silent: withRod(3, pair(-0.5*deg, 40))},
		{name: "one that ends aslant, its edges not parallel", want: ErrNoShadow,
			speaks: withRod(3, pair(-0.5*deg, 43)),
			silent: withRod(3, pair(0, 43))},
		{name: "too sharp where no rod can be seen", want: ErrNoShadow,
			speaks: fromAbove(0.7, changeWeak(func(k *casting) { k.opens = 0.0005 })), set: faint,
			silent: fromAbove(0.7, sunCast().layer())},
		{name: "poor where no rod can be seen", want: ErrNoShadow,
			speaks: fromAbove(0.7, weakCast().layer()), set: func(st *Strip) { st.seenSigma, st.GrowthSigma = vagueMost+1e-9, leastGrowth },
			silent: fromAbove(0.7, weakCast().layer()), twin: func(st *Strip) { st.seenSigma, st.GrowthSigma = vagueMost-1e-9, leastGrowth }},
		{name: "poor where no rod can be seen, nor the head that the line ends in", want: ErrNoShadow,
			speaks: under(short, 2.5), set: poor,
			silent: under(short, 5), twin: poor},
		{name: "beside the rod's image", want: ErrRodHides,
			speaks: along(shadowDir - besideRod + 3*deg).with(weakCast().layer()), set: func(st *Strip) { st.GrowthSigma, st.To = leastGrowth, 28 },
			silent: along(shadowDir - besideRod - 3*deg).with(weakCast().layer()), twin: func(st *Strip) { st.GrowthSigma, st.To = leastGrowth, 28 }},
	} {
		t.Run(tt.name, func(t *testing.T) {
			for _, one := range []struct {
				c    canvas
				set  func(*Strip)
				want error
			}{{tt.speaks, tt.set, tt.want}, {tt.silent, tt.twin, nil}} {
				s, st := one.c.must(t, shadowDir)
				if one.set != nil {
					one.set(st)
				}
				if err := s.castByRod(st); err != one.want { // not one that wraps it
					look := s.hear(st).look()
					thick, seen, told := look.thick, look.seen, look.told
					t.Errorf("%v, want %v: %+v rod %.1f %v %v", err, one.want, *st, thick, seen, told)
				}
			}
		})
	}
}

// A strip of which the rod's image covers one edge far out is followed towards the foot by the other,
// to where that begins.
func TestStripSeenByOneEdge(t *testing.T) {
	c := canvas{tilt: 50 * deg, view: shadowDir - 8*deg + 180*deg, noise: 0.7}
	for _, begins := range []float64{0, 25} {
		k := sunCast()
		k.from = begins
		d := c.with(k.layer())
		s, st := d.with(d.rodLayer(3, 60)).must(t, shadowDir)
		st.From = farStart + 2
		h := s.hear(st)
		if from := h.seenFrom(); math.Abs(from-max(begins, 13)) > 2 { // the image leaves it free from there on
			t.Errorf("seen from %.1f mm on, it begins at %v", from, begins)
		}
		if err := s.castByRod(st); begins == 0 && err != nil {
			t.Error(err)
		}
	}
}
