package render

import (
	"math"
	"math/rand/v2"
	"sync"

	"shadowread/internal/sheet"
)

// The furniture: an A4 page, the board under it and the ground, mm.
const (
	pageLeft, pageRight    = -105.0, 105.0
	pageRear, pageFront    = -185.0, 112.0
	boardLeft, boardRight  = -135.0, 135.0
	boardRear, boardFront  = -200.0, 140.0
	boardThickness         = 18.0
	pageCells, toneCellsMM = 2.0, 0.5 // cells per mm, mm per cell, of Paper's tone
)

// What a ray meets. The low bits of a hit's id; two bits of how the rods' shadow
// stands there come above.
const (
	inSky = iota
	onGround
	onSide
	onBoard
	onPage
	onOccluder
	onHill
	onRod // and the following rods

	shadowBits = 6
)

// hit is the colour that a ray brings home.
type hit struct {
	r, g, b float64
	id      uint16
	busy    bool // one sample does not do for a pixel here
}

// tracer is a scene made ready for rays.
type tracer struct {
	scene  *Scene
	print  *printed
	busy   []bool // per cell of the print: ink within a pixel's reach
	eye    Vec
	sun    *sun // nil without direct light
	toBody Vec

	direct, diffuse [3]float64 // light on the sheet's plane, per colour
	scaleX, scaleY  float64
	bent            bool      // the paper
	tone            []float32 // dirt and creases over the page, nil for none
	noise           *texture
	country         *country // nil: the ground ends with the plate's plane
	rods            []tube
}

// tube is a rod made ready for rays from the eye.
type tube struct {
	axis       Vec
	length     float64 // of the cylinder
	radius     float64
	fromFoot   Vec     // eye less foot
	along      float64 // of that, along the axis
	around     float64 // squared distance of the eye from the axis, less the squared radius
	toBall     Vec     // eye less the ball's centre
	ballRadius float64
	look       *Material
	of         int // the rod, or behind the rods the thing, that it is part of
}

// standardPrint is shared by all scenes: it depends on the sheet alone. It is laid out with the first
// of them: a process that draws none, as one that times a reading, has none of its megabytes to go through.
var standardPrint = sync.OnceValue(func() *printed { return newPrint(sheet.Standard) })

func (s *Scene) newTracer() *tracer {
	t := &tracer{scene: s, print: standardPrint(), eye: s.Camera.Centre(), sun: s.newSun()}
	t.toBody, _ = s.body()
	t.scaleX, t.scaleY = s.Paper.scales()
	t.bent = s.Paper.bent()
	t.country = s.newCountry()

	// Colours: an unshaded white surface is white (the camera balances it), so that
	// only the ratio of the two lights shows, in the shadow.
	ratio := s.Light.ShadowRatio
	if t.sun == nil {
		ratio = 1
	}
	sunC, skyC := balanced(s.Light.SunColour), balanced(s.Light.SkyColour)
	for c := range 3 {
		d, f := (1-ratio)*sunC[c], ratio*skyC[c]
		t.direct[c], t.diffuse[c] = s.Light.Exposure*d/(d+f), s.Light.Exposure*f/(d+f)
	}
	for i, parts := range s.wholes() {
		for k := range parts {
			b := newTube(&parts[k], t.eye)
			b.of = i
			t.rods = append(t.rods, b)
		}
	}
	rng := rand.New(rand.NewPCG(s.Seed, 1))
	t.noise = newTexture(rng)
	t.tone = s.Paper.newTone(rng)
	t.markBusy()
	return t
}

// balanced returns the colour scaled to luminance 1 (Rec. 709 weights); the zero
// colour is white.
func balanced(c [3]float64) [3]float64 {
	y := 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2]
	if y <= 0 {
		return [3]float64{1, 1, 1}
	}
	return [3]float64{c[0] / y, c[1] / y, c[2] / y}
}

func newTube(b *body, eye Vec) tube {
	axis, length := b.axis()
	k := tube{axis: axis, length: length, radius: b.radius, look: b.look}
	k.fromFoot = eye.sub(b.from)
	k.along = k.fromFoot.dot(axis)
	k.around = k.fromFoot.dot(k.fromFoot) - k.along*k.along - k.radius*k.radius
	if b.ball > 0 {
		k.ballRadius = b.ball
		k.toBall = k.fromFoot.sub(axis.mul(k.length))
	}
	return k
}

// meet returns how far along d (any length) the eye's ray meets the rod and the
// outward normal there.
func (k *tube) meet(d Vec) (far float64, normal Vec, ok bool) {
	far = math.Inf(1)
	dd := d.dot(k.axis)
	a := d.dot(d) - dd*dd
	b := k.fromFoot.dot(d) - k.along*dd
	if disc := b*b - a*k.around; disc > 0 && a > 0 {
		t := (-b - math.Sqrt(disc)) / a
		if u := k.along + t*dd; t > 0 && u >= 0 && u <= k.length {
			far = t
			normal = k.fromFoot.add(d.mul(t)).sub(k.axis.mul(u)).mul(1 / k.radius)
		}
	}
	// The flat end that faces the eye.
	end, face := k.length, k.axis
	if dd > 0 {
		end, face = 0, k.axis.mul(-1)
	}
	if t := (end - k.along) / dd; dd != 0 && t > 0 && t < far {
		v := k.fromFoot.add(d.mul(t)).sub(k.axis.mul(end))
		if v.dot(v) <= k.radius*k.radius {
			far, normal = t, face
		}
	}
	if k.ballRadius > 0 {
		a, b, c := d.dot(d), k.toBall.dot(d), k.toBall.dot(k.toBall)-k.ballRadius*k.ballRadius
		if disc := b*b - a*c; disc > 0 {
			if t := (-b - math.Sqrt(disc)) / a; t > 0 && t < far {
				far, normal = t, k.toBall.add(d.mul(t)).mul(1/k.ballRadius)
			}
		}
	}
	return far, normal, !math.IsInf(far, 1)
}

// markBusy spreads the print's cells by the reach of the largest pixel on the sheet.
func (t *tracer) markBusy() {
	reach := 0.0 // mm per pixel
	c := &t.scene.Camera
	for i := -1.0; i <= 1; i++ {
		for j := -1.0; j <= 1; j++ {
			p := Vec{X: 100 * i, Y: 100 * j}
			depth := c.rotate(p).add(c.T).Z
			if depth <= 0 {
				continue
			}
			slant := max(0.05, t.eye.sub(p).unit().Z)
			reach = max(reach, depth/min(c.Fx, c.Fy)/slant)
		}
	}
	// Barrel distortion makes pixels larger towards the edge: half as much again.
	n := min(20, int(math.Ceil(0.75*1.5*reach/cellSize)))
	t.busy = make([]bool, len(t.print.kind))
	rows := make([]bool, len(t.print.kind))
	spread := func(from func(i int) bool, to []bool, step int) {
		for i := range t.print.kind {
			if !from(i) {
				continue
			}
			for k := -n; k <= n; k++ {
				if j := i + k*step; j >= 0 && j < len(to) {
					to[j] = true
				}
			}
		}
	}
	spread(func(i int) bool { return t.print.kind[i] == mixed }, rows, 1)
	spread(func(i int) bool { return rows[i] }, t.busy, gridCells)
}

// look sends the ray from the eye along d. A footprint, in mm on the sheet, makes
// the print smooth over it; without one only the kind of place is found. rods says
// whether a rod may be in the way.
func (t *tracer) look(d Vec, f *footprint, rods bool, h *hit) {
	if rods {
		if t.lookAtRods(d, h) {
			return
		}
	}
	h.busy = false
	if d.Z >= -1e-9 {
		if t.country != nil {
			t.far(d, h)
		} else {
			t.sky(d, h)
		}
		return
	}
	k := -t.eye.Z / d.Z
	p := Vec{t.eye.X + k*d.X, t.eye.Y + k*d.Y, 0}
	onPaper := false
	const slack = 100 // mm that a curl may shift where a slanting ray lands
	if t.bent && p.X > pageLeft-slack && p.X < pageRight+slack && p.Y > pageRear-slack && p.Y < pageFront+slack {
		q := p
		for range 4 { // Newton on the height over the paper
			gx, gy := t.scene.Paper.slope(q.X, q.Y)
			k -= (q.Z - t.scene.Paper.height(q.X, q.Y)) / (d.Z - d.X*gx - d.Y*gy)
			q = t.eye.add(d.mul(k))
		}
		if q.X > pageLeft && q.X < pageRight && q.Y > pageRear && q.Y < pageFront {
			p, onPaper = q, true
		}
	} else if !t.bent {
		onPaper = p.X > pageLeft && p.X < pageRight && p.Y > pageRear && p.Y < pageFront
	}
	for i := range t.scene.Occluders {
		if t.finger(&t.scene.Occluders[i], p, h) {
			return
		}
	}
	if o := t.scene.Another; o != nil && !onBoardAt(p) {
		x, y := (p.X-o.Foot.X)/o.Scale, (p.Y-o.Foot.Y)/o.Scale
		x, y = x*o.Turn.Cos()-y*o.Turn.Sin(), x*o.Turn.Sin()+y*o.Turn.Cos()
		if x > pageLeft && x < pageRight && y > pageRear && y < pageFront {
			t.another(p, Vec{X: x, Y: y}, f, h)
			return
		}
	}
	switch {
	case onPaper:
		t.page(p, f, h)
	case onBoardAt(p):
		t.board(p, h)
	default:
		t.ground(p, d, h)
	}
}

func onBoardAt(p Vec) bool {
	return p.X > boardLeft && p.X < boardRight && p.Y > boardRear && p.Y < boardFront
}

func (t *tracer) sky(d Vec, h *hit) {
	lift := min(1, d.Z/d.norm())
	e := t.scene.Light.Exposure
	h.r, h.g, h.b, h.id = e*(0.75-0.4*lift), e*(0.82-0.3*lift), e*(0.92-0.1*lift), inSky
}

// lit sets the colour of a matt surface at p that sees the whole sky.
func (t *tracer) lit(p Vec, red, green, blue, facing float64, id uint16, h *hit) {
	v := 0.0
	if t.sun != nil {
		light, ofDisc := t.sun.byRods(p)
		v = light * t.sun.byOthers(p) * facing
		switch {
		case ofDisc <= 0:
			id |= 1 << shadowBits
		case ofDisc < 1:
			id |= 2 << shadowBits
			h.busy = true
		}
	}
	g := 1 + (p.X*t.scene.Light.Gradient[0]+p.Y*t.scene.Light.Gradient[1])/100
	g = max(0.7, min(1.4, g)) // the gradient is the plate's, not the horizon's
	h.r = g * red * (t.direct[0]*v + t.diffuse[0])
	h.g = g * green * (t.direct[1]*v + t.diffuse[1])
	h.b = g * blue * (t.direct[2]*v + t.diffuse[2])
	h.id = id
}

func (t *tracer) page(p Vec, f *footprint, h *hit) {
	ink := 0.0
	nx, ny := p.X/t.scaleX, p.Y/t.scaleY
	if f != nil {
		ink = t.print.cover(nx, ny, f)
	} else if cell := t.print.at(nx, ny); cell >= 0 {
		h.busy = t.busy[cell]
		if t.print.kind[cell] == solid {
			ink = 1
		}
	}
	if w := t.scene.Paper.Toner; w > 0 && ink > 0 {
		ink *= 1 - w*max(0, min(1, 0.5+1.5*t.noise.at(nx*9, ny*9)))
	}
	black := InkAlbedo
	if t.scene.Paper.Ink > 0 {
		black = t.scene.Paper.Ink
	}
	a := PaperAlbedo + (black-PaperAlbedo)*ink
	if t.tone != nil {
		a *= t.toneAt(p)
	}
	facing := 1.0
	if t.bent {
		gx, gy := t.scene.Paper.slope(p.X, p.Y)
		n := Vec{-gx, -gy, 1}.unit()
		facing = max(0, n.dot(t.toBody)) / t.toBody.Z
	}
	t.lit(p, a, a, a, facing, onPage, h)
	if g := t.scene.Paper.Gloss; g > 0 && t.sun != nil {
		light, _ := t.sun.byRods(p)
		half := t.eye.sub(p).unit().add(t.toBody).unit()
		shine := g * light * t.sun.byOthers(p) * math.Pow(max(0, half.Z), 400)
		h.r, h.g, h.b = h.r+shine*t.direct[0], h.g+shine*t.direct[1], h.b+shine*t.direct[2]
	}
}

// another draws the second sheet's place q, at p of the plate's plane.
func (t *tracer) another(p, q Vec, f *footprint, h *hit) {
	cell, ink := t.print.at(q.X, q.Y), 0.0
	if cell >= 0 && t.print.kind[cell] != blank {
		h.busy = true
		fine := footprint{ax: 0.05, by: 0.05}
		if f != nil {
			fine = *f
		}
		ink = t.print.cover(q.X, q.Y, &fine)
	}
	a := PaperAlbedo + (InkAlbedo-PaperAlbedo)*ink
	id := onPage
	if ink > 0.5 {
		id = onSide // so that its edges are looked at closely
	}
	t.lit(p, a, a, a, 1, uint16(id), h)
}

func (t *tracer) board(p Vec, h *hit) {
	grain := t.noise.at(p.X*0.12, p.Y*2.2) + 0.4*t.noise.at(p.X*0.6, p.Y*7)
	k := 0.9 + 0.45*grain
	t.lit(p, 0.46*k, 0.31*k, 0.18*k, 1, onBoard, h)
}

func (t *tracer) ground(p, d Vec, h *hit) {
	k := -(t.eye.Z + boardThickness) / d.Z
	q := t.eye.add(d.mul(k))
	if onBoardAt(q) { // the ray came in through one of the board's sides
		t.lit(p, 0.22, 0.15, 0.09, 0.5, onSide, h)
		return
	}
	if t.country != nil {
		t.far(d, h)
		return
	}
	fade := min(1, 700/k) // far off, a pixel averages the grain; d has unit depth
	grain := fade * (0.7*t.noise.at(q.X*0.9, q.Y*0.9) + 0.5*t.noise.at(q.X*0.13, q.Y*0.13))
	grain += fade * fade * t.noise.at(q.X*5, q.Y*5)
	a := 0.55 + 0.30*grain
	// Cracks of a dried salt pan: where slow noise passes through zero.
	if c := math.Abs(t.noise.at(q.X*0.05+90, q.Y*0.05+40)) * 14; c < 1 {
		a *= 1 - 0.45*fade*(1-c)*(1-c)
	}
	t.lit(q, a*1.02, a*0.97, a*0.88, t.boardShade(q), onGround, h)
}

// boardShade returns the part of the light that the board lets through to the
// ground at q.
func (t *tracer) boardShade(q Vec) float64 {
	if t.sun == nil {
		return 1
	}
	p := q.add(t.sun.toPlane.mul(q.Z))
	soft := t.sun.disc * boardThickness / t.toBody.Z
	inX := discLeft((p.X-boardLeft)/soft) - discLeft((p.X-boardRight)/soft)
	inY := discLeft((p.Y-boardRear)/soft) - discLeft((p.Y-boardFront)/soft)
	return 1 - inX*inY
}

func (t *tracer) finger(o *Occluder, p Vec, h *hit) bool {
	d := o.distance(p.ground())
	if d >= o.Radius {
		return false
	}
	round := math.Sqrt(1 - d*d/(o.Radius*o.Radius))
	k := 0.35 + 0.65*round + 0.1*t.noise.at(p.X*2, p.Y*2)
	e := t.scene.Light.Exposure
	h.r, h.g, h.b, h.id = e*0.50*k, e*0.33*k, e*0.25*k, onOccluder
	return true
}

// distance returns how far p is from the occluder's axis, mm.
func (o *Occluder) distance(p sheet.Point) float64 {
	dx, dy := o.To.X-o.From.X, o.To.Y-o.From.Y
	u := 0.0
	if n := dx*dx + dy*dy; n > 0 {
		u = max(0, min(1, ((p.X-o.From.X)*dx+(p.Y-o.From.Y)*dy)/n))
	}
	return math.Hypot(p.X-o.From.X-u*dx, p.Y-o.From.Y-u*dy)
}

func (t *tracer) lookAtRods(d Vec, h *hit) bool {
	nearest, best, normal := math.Inf(1), -1, Vec{}
	for i := range t.rods {
		if far, n, ok := t.rods[i].meet(d); ok && far < nearest {
			nearest, best, normal = far, i, n
		}
	}
	if best < 0 {
		return false
	}
	m := t.rods[best].look
	facing, shine := 0.0, 0.0
	if t.sun != nil {
		facing = max(0, normal.dot(t.toBody)) / t.toBody.Z
		if facing > 0 {
			half := t.toBody.sub(d.unit()).unit()
			shine = m.Specular * math.Pow(max(0, normal.dot(half)), m.Sharpness)
		}
	}
	// What it mirrors: the sunlit sheet below, the sky above. A matt surface sees a
	// share of both.
	up := d.Z - 2*d.dot(normal)*normal.Z
	below := PaperAlbedo * t.scene.Light.Exposure
	share := 0.5 - 0.5*normal.Z
	for c, to := range [3]*float64{&h.r, &h.g, &h.b} {
		mirrored := t.diffuse[c]
		if up < 0 {
			mirrored = below
		}
		matt := t.direct[c]*facing + t.diffuse[c]*(1-share) + below*share*0.5
		*to = m.Albedo[c]*((1-m.Mirror)*matt+m.Mirror*mirrored) + shine*t.direct[c]
	}
	h.id, h.busy = uint16(onRod+min(t.rods[best].of, 8)), true
	return true
}

// newTone returns the page's brightness over its clean one, or nil if it is clean.
func (p *Paper) newTone(rng *rand.Rand) []float32 {
	if p.Dirt <= 0 && len(p.Creases)+len(p.Streaks)+len(p.Pencil)+p.Stains+p.Grains == 0 {
		return nil
	}
	w, h := toneSize()
	t := make([]float32, w*h)
	for i := range t {
		t[i] = 1
	}
	for range int(p.Dirt * 260) {
		cx, cy := pageLeft+rng.Float64()*(pageRight-pageLeft), pageRear+rng.Float64()*(pageFront-pageRear)
		radius := 0.4 + 2.2*rng.ExpFloat64()
		dark := float32(p.Dirt * (0.1 + 0.5*rng.Float64()))
		stretch := 0.6 + 0.8*rng.Float64()
		p.stamp(t, cx, cy, radius, stretch, dark)
	}
	for _, c := range p.Creases {
		nx, ny := c.Dir.Cos(), -c.Dir.Sin()
		for j := range h {
			for i := range w {
				x, y := pageLeft+float64(i)*toneCellsMM, pageRear+float64(j)*toneCellsMM
				d := (x*nx + y*ny - c.Offset) / c.Width
				if d > -4 && d < 4 {
					t[j*w+i] *= float32(1 + c.Strength*math.Exp(-d*d/2))
				}
			}
		}
	}
	for i := range p.Streaks {
		p.Streaks[i].lay(t)
	}
	about := func() (x, y float64) { return 190*rng.Float64() - 95, 190*rng.Float64() - 95 }
	for range p.Grains {
		x, y := about()
		dark := float32(0.3 + 0.6*rng.Float64())
		p.stamp(t, x, y, 0.35+0.3*rng.Float64(), 1, dark)
	}
	for range p.Stains {
		x, y := about()
		radius, stretch := 2+6*rng.Float64(), 0.7+0.6*rng.Float64()
		p.stamp(t, x, y, radius, stretch, 0.16)
		p.stamp(t, x, y, radius*0.85, stretch, -0.14)
	}
	for _, l := range p.Pencil {
		n := int(math.Hypot(l.To.X-l.From.X, l.To.Y-l.From.Y) * 4)
		for k := range n + 1 {
			u := float64(k) / float64(max(1, n))
			p.stamp(t, l.From.X+u*(l.To.X-l.From.X), l.From.Y+u*(l.To.Y-l.From.Y), 0.3, 1, 0.12)
		}
	}
	return t
}

// lay brightens or darkens the tone along the streak.
func (k *Streak) lay(t []float32) {
	w, h := toneSize()
	axis := Occluder{From: k.From, To: k.To}
	for j := range h {
		for i := range w {
			d := axis.distance(sheet.Point{X: pageLeft + float64(i)*toneCellsMM, Y: pageRear + float64(j)*toneCellsMM})
			t[j*w+i] *= float32(1 + k.Strength*max(0, min(1, 0.5+(k.Width/2-d)/k.Soft)))
		}
	}
}

func toneSize() (w, h int) {
	return int((pageRight-pageLeft)*pageCells) + 2, int((pageFront-pageRear)*pageCells) + 2
}

// stamp darkens the tone under an elliptic spot with a soft rim.
func (p *Paper) stamp(t []float32, cx, cy, radius, stretch float64, dark float32) {
	w, h := toneSize()
	reach := 1.5 * radius * max(stretch, 1/stretch)
	for j := max(0, int((cy-reach-pageRear)*pageCells)); j < min(h, int((cy+reach-pageRear)*pageCells)+1); j++ {
		for i := max(0, int((cx-reach-pageLeft)*pageCells)); i < min(w, int((cx+reach-pageLeft)*pageCells)+1); i++ {
			x, y := pageLeft+float64(i)*toneCellsMM-cx, pageRear+float64(j)*toneCellsMM-cy
			d := math.Hypot(x*stretch, y/stretch) / radius
			if d < 1.4 {
				t[j*w+i] *= 1 - dark*float32(min(1, (1.4-d)/0.8))
			}
		}
	}
}

func (t *tracer) toneAt(p Vec) float64 {
	w, h := toneSize()
	x, y := (p.X-pageLeft)*pageCells, (p.Y-pageRear)*pageCells
	i, j := int(x), int(y)
	if i < 0 || j < 0 || i >= w-1 || j >= h-1 {
		return 1
	}
	u, v := x-float64(i), y-float64(j)
	a := t.tone[j*w+i:]
	b := t.tone[(j+1)*w+i:]
	return (float64(a[0])*(1-u)+float64(a[1])*u)*(1-v) + (float64(b[0])*(1-u)+float64(b[1])*u)*v
}

// texture is a tile of smooth noise of mean 0 and values within about one of it.
type texture struct {
	v [textureSize * textureSize]float32
}

const textureSize = 256

// newTexture sums value noise of four octaves, each wrapping round at the tile's edge.
func newTexture(rng *rand.Rand) *texture {
	t := &texture{}
	amplitude := 0.5
	for cells := 16; cells <= 128; cells *= 2 {
		knots := make([]float64, cells*cells)
		for i := range knots {
			knots[i] = 2*rng.Float64() - 1
		}
		step := float64(cells) / textureSize
		for j := range textureSize {
			for i := range textureSize {
				x, y := float64(i)*step, float64(j)*step
				cx, cy := int(x), int(y)
				u, v := x-float64(cx), y-float64(cy)
				u, v = u*u*(3-2*u), v*v*(3-2*v)
				right, down := (cx+1)%cells, (cy+1)%cells
				a := knots[cy*cells+cx]*(1-u) + knots[cy*cells+right]*u
				b := knots[down*cells+cx]*(1-u) + knots[down*cells+right]*u
				t.v[j*textureSize+i] += float32(amplitude * (a*(1-v) + b*v))
			}
		}
		amplitude *= 0.7
	}
	return t
}

// at returns the noise at (x, y), one tile being textureSize across.
func (t *texture) at(x, y float64) float64 {
	fx, fy := math.Floor(x), math.Floor(y)
	u, v := float32(x-fx), float32(y-fy)
	const mask = textureSize - 1
	i, j := int(fx)&mask, int(fy)&mask
	i1, j1 := (i+1)&mask, (j+1)&mask
	a := t.v[j*textureSize+i]*(1-u) + t.v[j*textureSize+i1]*u
	b := t.v[j1*textureSize+i]*(1-u) + t.v[j1*textureSize+i1]*u
	return float64(a*(1-v) + b*v)
}
