package render

import "math"

// body is a cylinder in space, perhaps with a ball about its far end: what rods and
// things that lie on the sheet are made of.
type body struct {
	from, to     Vec
	radius, ball float64 // mm
	look         *Material
}

func (b *body) axis() (Vec, float64) {
	v := b.to.sub(b.from)
	n := v.norm()
	return v.mul(1 / n), n
}

// bodies returns the parts of a rod, which do not overlap but for a ball.
func (r *Rod) bodies() (parts []body) {
	axis, length := r.axis()
	foot := r.foot()
	lean := Vec{r.BowDir.Sin(), r.BowDir.Cos(), 0}
	at := func(u float64) Vec {
		return foot.add(axis.mul(u)).add(lean.mul(r.Bow * math.Sin(math.Pi*u/length)))
	}
	end := length - r.Cap/2
	add := func(from, to, radius float64) {
		if to > from {
			parts = append(parts, body{from: at(from), to: at(to), radius: radius, look: &r.Material})
		}
	}
	radius := func(u float64) float64 { return r.Diameter / 2 * (1 - r.Taper*u/length) }
	// The shaft between collars, cut finely where it is bowed and finer where it tapers.
	shaft := func(from, to float64) {
		n := 1
		switch {
		case r.Taper != 0:
			n = 64
		case r.Bow != 0:
			n = 16
		}
		for i := range n {
			a, b := from+(to-from)*float64(i)/float64(n), from+(to-from)*float64(i+1)/float64(n)
			add(a, b, radius((a+b)/2))
		}
	}
	const steps = 8 // of a point
	done := 0.0
	for _, c := range r.Collars {
		shaft(done, min(c.From, end-r.Point))
		add(max(c.From, 0), min(c.To, length), c.Diameter/2)
		done = c.To
	}
	shaft(done, end-r.Point)
	for i := range steps {
		if r.Point > 0 {
			u := end - r.Point*(1-float64(i)/steps)
			add(max(u, done), u+r.Point/steps, radius(u)*(1-(float64(i)+0.5)/steps))
		}
	}
	if n := len(parts); n > 0 && r.Cap > 0 {
		parts[n-1].ball = r.Cap / 2
	}
	return parts
}

func (t *Thing) body() body {
	lift := t.Diameter / 2
	return body{
		from: Vec{t.From.X, t.From.Y, lift}, to: Vec{t.To.X, t.To.Y, lift},
		radius: t.Diameter / 2, look: &t.Material,
	}
}

// wholes returns the bodies of each rod and each thing, rods first.
func (s *Scene) wholes() (all [][]body) {
	for i := range s.Rods {
		all = append(all, s.Rods[i].bodies())
	}
	for i := range s.Things {
		all = append(all, []body{s.Things[i].body()})
	}
	return all
}
