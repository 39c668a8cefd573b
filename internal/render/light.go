package render

import "math"

// discPart[i] is the part of a uniform disc of radius 1 left of the chord at
// x = -1 + 2 i/n: 1/2 + (asin x + x sqrt(1-x²))/pi, the area of a circular segment.
var discPart = func() (t [discSteps + 1]float64) {
	for i := range t {
		x := -1 + 2*float64(i)/discSteps
		t[i] = 0.5 + (math.Asin(x)+x*math.Sqrt(max(0, 1-x*x)))/math.Pi
	}
	return t
}()

const discSteps = 2048

// discLeft returns the part of a uniform unit disc left of the chord at x.
func discLeft(x float64) float64 {
	switch {
	case x <= -1:
		return 0
	case x >= 1:
		return 1
	}
	f := (x + 1) * (discSteps / 2)
	i := int(f)
	return discPart[i] + (discPart[i+1]-discPart[i])*(f-float64(i))
}

// strips cut a unit disc at equal steps of the angle about its middle; chord is
// half the length of a strip, part its part of the disc.
var strips = func() (t [24]struct{ from, to, middle, chord, part float64 }) {
	from := -1.0
	for i := range t {
		s := &t[i]
		s.from, s.to = from, -math.Cos(float64(i+1)*math.Pi/float64(len(t)))
		s.middle = (s.from + s.to) / 2
		s.chord = math.Sqrt(1 - s.middle*s.middle)
		s.part = discLeft(s.to) - discLeft(s.from)
		from = s.to
	}
	return t
}()

// caster is a rod made ready to hide the body's disc from a point.
//
// Seen from the point, directions near the body are s + α e + β f, e square to
// the body and to the rod, f up along the rod. A ray of that direction passes the
// rod's axis at (m h - α d) / sqrt(m² + α²), where h is the axis' offset along e,
// d its distance along q (the part of s square to the axis) and m the sine of the
// angle between s and the axis. The rod hides the band where that is within its
// radius, up to its end.
type caster struct {
	foot, tip  Vec  // the ends of the axis; under a ball, its centre is the tip
	whole      bool // it stands on the sheet, so that nothing shines under its foot
	axis       Vec
	e, q, f, s Vec
	m, cos     float64 // sine and cosine of the angle between s and the axis
	radius     float64
	ballRadius float64
}

func newCaster(b *body, s Vec) caster {
	axis, _ := b.axis()
	from, to := b.from, b.to
	if axis.dot(s) < 0 { // what lies may point away from the body; rays must rise along it
		axis, from, to = axis.mul(-1), to, from
	}
	across := axis.cross(s)
	k := caster{foot: from, tip: to, axis: axis, s: s, m: across.norm(), cos: axis.dot(s), radius: b.radius, ballRadius: b.ball}
	k.whole = b.from.Z == 0
	k.e = across.unit()
	k.q = k.e.cross(axis)
	k.f = s.cross(k.e)
	return k
}

// hidden returns the part of the body's disc, of angular radius disc (rad), that
// the cylinder hides from p: the rays that enter one without a lower end below its upper
// end, less those that have left it again below the lower.
func (k *caster) hidden(p Vec, disc float64) float64 {
	v := k.endless(p, disc, -1)
	if v == 0 || k.whole {
		return v
	}
	below := *k
	below.tip, below.ballRadius = k.foot, 0
	return max(0, v-below.endless(p, disc, 1))
}

// endless is hidden without a lower end; side says whether rays are counted by where
// they enter (-1) or leave (1) the cylinder.
func (k *caster) endless(p Vec, disc, side float64) float64 {
	w := k.foot.sub(p)
	h, d := w.dot(k.e), w.dot(k.q)
	if d < -k.radius-k.ballRadius || math.Abs(h) > k.radius+k.ballRadius+disc*math.Abs(d)/k.m {
		return 0
	}
	lo, hi := 0.0, 0.0 // the band, in units of the disc's radius
	switch off := h*h + d*d - k.radius*k.radius; {
	case off <= 0: // inside the rod
		return 1
	case d > 1.001*k.radius:
		root := k.radius * math.Sqrt(off)
		c := k.m / ((d*d - k.radius*k.radius) * disc)
		lo, hi = (h*d-root)*c, (h*d+root)*c
	case d > 0 && math.Abs(h) < k.radius: // against the rod's near face
		lo, hi = math.Inf(-1), math.Inf(1)
	}

	// The end. Its rim nearest to the point stands highest; crown, its middle, is
	// lower than any of the rim that counts.
	t := k.tip.sub(p)
	tall := t.dot(k.axis)
	rise := func(y float64) float64 { // of a place on the end y along q, over the disc's centre
		up, out := tall*k.m-y*k.cos, tall*k.cos+y*k.m
		if out <= 0 { // more than a right angle from the body
			return math.Copysign(math.Inf(1), up)
		}
		return up / out / disc
	}
	crown := rise(d)
	var ballX, ballY, ballR float64
	if k.ballRadius > 0 {
		n := t.dot(k.s)
		ballX, ballY, ballR = t.dot(k.e)/(n*disc), t.dot(k.f)/(n*disc), k.ballRadius/(n*disc)
	}
	if min(crown, rise(d+side*k.radius)) > 1.01 && ballY-ballR >= min(1, ballR) {
		return discLeft(hi) - discLeft(lo)
	}
	if max(crown, rise(d+side*k.radius), ballY+ballR) < -1.01 {
		return 0
	}

	// Near the end the disc is cut into strips along the rod.
	covered := 0.0
	for i := range strips {
		from, to, x, chord := strips[i].from, strips[i].to, strips[i].middle, strips[i].chord
		banded := max(0, min(to, hi)-max(from, lo)) / (to - from)
		// Along the strip: hidden by the rod, by the ball, and by the ball above the rod.
		var rod, ball, over float64
		if banded > 0 {
			// Where this strip's rays come to the rod's near side, or its far one.
			n := math.Hypot(x*disc, k.m)
			b := (h*x*disc + d*k.m) / n
			near := b + side*math.Sqrt(max(0, b*b-h*h-d*d+k.radius*k.radius))
			rod = max(0, min(2*chord, chord+rise(near*k.m/n)))
		}
		if dx := x - ballX; math.Abs(dx) < ballR {
			reach := math.Sqrt(ballR*ballR - dx*dx)
			low, high := max(-chord, ballY-reach), min(chord, ballY+reach)
			ball = max(0, high-low)
			over = max(0, high-max(low, rod-chord))
		}
		part := (banded*(rod+over) + (1-banded)*ball) / (2 * chord)
		covered += part * strips[i].part
	}
	return min(1, covered)
}

// sun is the direct light made ready.
type sun struct {
	casters [][]caster // of each rod and thing
	disc    float64    // angular radius, rad
	haze    float64    // part of the light in the aureole
	aureole float64    // angular radius, rad
	shades  []shade
	blobs   []Blob
	toPlane Vec // per mm of height, the step along the light to the sheet's plane
}

type shade struct{ nx, ny, offset, half, soft float64 }

func (s *Scene) newSun() *sun {
	dir, ok := s.body()
	if !ok {
		return nil
	}
	l := &sun{
		disc: s.Light.Disc.Radians() / 2, haze: s.Light.HazeFraction, aureole: s.Light.HazeDisc.Radians() / 2,
		blobs: s.Blobs, toPlane: dir.mul(-1 / dir.Z),
	}
	for _, parts := range s.wholes() {
		var casters []caster
		for i := range parts {
			casters = append(casters, newCaster(&parts[i], dir))
		}
		l.casters = append(l.casters, casters)
	}
	for _, b := range s.Shades {
		k := shade{nx: b.Dir.Cos(), ny: -b.Dir.Sin(), offset: b.Offset, half: b.Width / 2, soft: max(b.Penumbra/2, 1e-6)}
		if math.IsInf(b.Width, 1) { // a bar so wide that its far edge is out of sight
			k.half = 1e6
			k.offset += k.half
		}
		l.shades = append(l.shades, k)
	}
	return l
}

// byRods returns the part of the direct light that the rods let through to p, and
// that part of the disc's alone, without the aureole.
func (l *sun) byRods(p Vec) (light, ofDisc float64) {
	light, ofDisc = 1, 1
	for _, parts := range l.casters {
		// The parts of one rod hide the same strip of the disc, one above the other and
		// overlapping where they meet, since a ray may pass through both.
		hidden, hazed := 0.0, 0.0
		for i := range parts {
			hidden = max(hidden, parts[i].hidden(p, l.disc))
			if l.haze > 0 {
				hazed = max(hazed, parts[i].hidden(p, l.aureole))
			}
		}
		ofDisc *= 1 - hidden
		light *= 1 - hidden - l.haze*(hazed-hidden)
	}
	return light, ofDisc
}

// byOthers returns the part of the direct light that bars and blobs let through.
func (l *sun) byOthers(p Vec) float64 {
	if len(l.shades) == 0 && len(l.blobs) == 0 {
		return 1
	}
	q := p.add(l.toPlane.mul(p.Z))
	v := 1.0
	for i := range l.shades {
		b := &l.shades[i]
		d := q.X*b.nx + q.Y*b.ny - b.offset
		v *= 1 - (discLeft((d+b.half)/b.soft) - discLeft((d-b.half)/b.soft))
	}
	for i := range l.blobs {
		b := &l.blobs[i]
		// Distance from the outline, near enough for an ellipse that is not flat.
		x, y := (q.X-b.Centre.X)/b.RX, (q.Y-b.Centre.Y)/b.RY
		d := (math.Sqrt(x*x+y*y) - 1) * min(b.RX, b.RY)
		v *= discLeft(d / max(b.Penumbra/2, 1e-6))
	}
	return v
}
