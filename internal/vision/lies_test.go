package vision

import (
	"math"
	"testing"

	"shadowread/internal/sheet"
)

// beneath is what a line makes of a print: a shadow, which print shows through, or a thing that hides it
// and has one light of its own, each with the same edges.
func beneath(k casting, print layer, thing bool) layer {
	line := k.layer()
	return func(p sheet.Point) float64 {
		v := line(p)
		if inside := (1 - v) / k.depth; thing {
			return print(p)*(1-inside) + (1-k.depth)*inside
		}
		return print(p) * v
	}
}

// footPrinted is the foot's ring and cross, as the sheet has them.
func footPrinted(p sheet.Point) float64 {
	const blur = 0.15
	s := sheet.Standard
	line := func(off float64) float64 { return normal((off+s.FootLine/2)/blur) - normal((off-s.FootLine/2)/blur) }
	ink := footRing(p, blur)
	for _, arm := range [2][2]float64{{p.X, p.Y}, {p.Y, p.X}} {
		if r := math.Abs(arm[0]); r > s.FootCross[0] && r < s.FootCross[1] {
			ink = max(ink, line(arm[1]))
		}
	}
	return 1 - 0.9*ink
}

// dialPrinted is the ring and the ticks of single degrees.
func dialPrinted(p sheet.Point) float64 {
	const blur = 0.15
	d, r := sheet.Standard.Dial, math.Hypot(p.X, p.Y)
	line := func(off, wide float64) float64 { return normal((off+wide/2)/blur) - normal((off-wide/2)/blur) }
	ink := line(r-d.RingRadius, d.RingWidth)
	if r > d.TickInnerRadius && r < d.TickOuterRadius[1] {
		degree := math.Atan2(p.X, p.Y) / float64(deg)
		ink = max(ink, line(r*(degree-math.Round(degree))*float64(deg), d.TickWidth[1]))
	}
	return 1 - 0.9*ink
}

// The foot's ring and cross show through a shadow that begins there and not through a thing that lies there;
// a thing that begins beyond them leaves them as they are, and nothing is said.
func TestFootsPrintUnderALine(t *testing.T) {
	thing := sunCast()
	apart := thing
	apart.from = 8
	for name, tt := range map[string]struct {
		line  casting
		thing bool
		lies  bool
	}{"a shadow": {thing, false, false}, "a thing": {thing, true, true}, "a thing beyond": {apart, true, false}} {
		c := canvas{tilt: 35 * deg, view: rodDir + 180*deg, noise: 0.7}
		_, st := c.with(beneath(tt.line, footPrinted, tt.thing)).withRod().must(t, shadowDir)
		f := st.fit
		if says := f.footSays(f.axis()); (says > surelyLies) != tt.lies || !tt.lies && says > maybeLies {
			ratio, sigma := f.printThrough(f.axis(), f.footPrint())
			t.Errorf("%s: %.1f by print that shows %.2f ± %.2f of itself", name, says, ratio, sigma)
		}
	}
}

// In the dark a telephone may merge two frames, in each of which a thin line lies elsewhere: print that
// shows so little in a shadow tells less.
func TestFootsPrintInTwoFrames(t *testing.T) {
	faint := func(p sheet.Point) float64 { // the print, where the strip is
		s, n := newFrame(shadowDir, 0).place(p)
		in := normal(s/0.3) * normal((1.5-math.Abs(n))/0.15)
		return 1 + in*((0.85+0.15*footPrinted(p))/footPrinted(p)-1)
	}
	c := canvas{tilt: 35 * deg, view: rodDir + 180*deg, noise: 0.7}
	_, st := c.with(beneath(sunCast(), footPrinted, false), faint).withRod().must(t, shadowDir)
	f := st.fit
	one := f.footSays(f.axis())
	f.ghost = ghost{u: 0.4}
	if two := f.footSays(f.axis()); one < surelyLies || two > one-1 {
		ratio, sigma := f.printThrough(f.axis(), f.footPrint())
		t.Errorf("%.1f by one frame, %.1f by two, of print that shows %.2f ± %.2f", one, two, ratio, sigma)
	}
}

// A black head before the paper behind the foot hides the print there, and then nothing is said of that in the line.
func TestFootsPrintBehindABlackHead(t *testing.T) {
	behind := newFrame(shadowDir+180*deg, 0).at(8, 0)
	head := func(p sheet.Point) float64 { return 1 - 0.97*normal((7.5-math.Hypot(p.X-behind.X, p.Y-behind.Y))/0.15) }
	c := canvas{tilt: 35 * deg, view: rodDir + 180*deg, noise: 0.7}
	_, st := c.with(sunCast().layer(), head).withRod().must(t, shadowDir)
	f := st.fit
	if ratio, sigma := f.printThrough(f.axis(), f.footPrint()); !math.IsInf(sigma, 1) || f.footSays(f.axis()) != 0 {
		t.Errorf("print that shows %.2f ± %.2f of itself", ratio, sigma)
	}
}

// Of a line not much broader than its edges' blur the middle shows the print, too, and what blur brings in
// from beside a thing is known.
func TestPrintThroughANarrowLine(t *testing.T) {
	k := sunCast()
	k.width, k.blur, k.depth = 1.8, 0.38, 0.85
	if half := k.width / 2; half > edgeInk*k.blur {
		t.Fatal("not narrow")
	}
	for name, thing := range map[string]bool{"a shadow": false, "a thing": true} {
		c := canvas{tilt: 35 * deg, view: rodDir + 180*deg, noise: 0.7}
		_, st := c.with(beneath(k, dialPrinted, thing)).must(t, shadowDir)
		f := st.fit
		ratio, sigma := f.printThrough(f.axis(), f.dialPrint(printTo))
		if hidden := ratio+printSure*sigma < asInked; hidden != thing || !thing && ratio < asUncovered {
			t.Errorf("print shows %.2f ± %.2f of itself in %s", ratio, sigma, name)
		}
	}
}

// The disc blurs a shadow's edges by the distance from what casts it: the rod's own are sharp by the
// foot, in haze as well, a pole's that stands elsewhere are not.
func TestSoftByTheFoot(t *testing.T) {
	marks := markLayer(func(sheet.Mark) (x, y float64, ok bool) { return 0, 0, true })
	own, haze, pole := sunCast(), sunCast(), sunCast()
	haze.opens *= 3
	pole.blur += 45 * pole.opens // begins 45 mm behind the foot
	falls := pole                // the top's shadow falls on the foot, and outward the pole comes nearer
	falls.blur, falls.opens = 0.5, -0.006
	close := falls // of a pole that stands close by: no softer by the foot than the rod's own may be
	close.blur, close.opens = 0.2, -0.003
	broad := func(k casting) layer { // half of whose light comes from an aureole of eleven degrees
		disc, f := k.layer(), newFrame(k.dir, 0)
		return func(p sheet.Point) float64 {
			s, n := f.place(p)
			sd := math.Hypot(k.blur, 0.2/4*s)
			all := max(0, normal((n+k.width/2)/sd)+normal((k.width/2-n)/sd)-1) * normal(s/0.3)
			return (disc(p) + 1 - k.depth*all) / 2
		}
	}
	clear := own
	clear.opens = sunDisc / 4
	for name, tt := range map[string]struct {
		line layer
		soft bool
	}{
		"the rod's": {own.layer(), false}, "the rod's in haze": {haze.layer(), false}, "a pole's": {pole.layer(), true},
		"a pole's that ends there": {falls.layer(), true}, "a close pole's": {close.layer(), true},
		"the rod's in an aureole": {broad(clear), false}, "a pole's in an aureole": {broad(pole), true},
	} {
		q, st := pictureOf(tt.line, marks).must(t, shadowDir)
		if soft := q.hear(st).softFoot(); soft != tt.soft {
			t.Errorf("%s shadow is soft by the foot: %v", name, soft)
		}
	}
}

// A thick rod covers the foot's ring that it stands on, most where it is set half a millimetre off: that the ring
// does not show there is not the line's doing.
func TestFootsPrintUnderAThickRod(t *testing.T) {
	const thick, off = 5.6, 0.6
	k := sunCast()
	k.width, k.dir = thick, 45*deg // between the cross's arms
	base := sheet.Point{X: off * k.dir.Sin(), Y: off * k.dir.Cos()}
	print := func(p sheet.Point) float64 {
		under := normal((thick/2 - math.Hypot(p.X-base.X, p.Y-base.Y)) / 0.15)
		return under + (1-under)*footPrinted(p)
	}
	c := canvas{tilt: 35 * deg, view: k.dir + 60*deg, noise: 0.7}
	_, st := c.with(beneath(k, print, false)).must(t, k.dir)
	f := st.fit
	if ratio, sigma := f.printThrough(f.axis(), f.footPrint()); ratio+printSure*sigma < footShows-footCast || f.footSays(f.axis()) > maybeLies {
		t.Errorf("print shows %.2f ± %.2f of itself", ratio, sigma)
	}
}
