// Package overlay draws into a copy of a photo what was found in it, and says the result in
// words below.
package overlay

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/image/draw"
	"golang.org/x/image/font"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"

	"shadowread/internal/angle"
	"shadowread/internal/calib"
	"shadowread/internal/fault"
	"shadowread/internal/photo"
	"shadowread/internal/reading"
	"shadowread/internal/sheet"
	"shadowread/internal/typeface"
	"shadowread/internal/wording"
)

// The overlay's size. It is made to be looked at on a phone, which shows it some
// 400 points wide: lettering and lines are parts of the overlay's width.
const (
	overlayMost    = 2000 // px on the picture's long side: more only opens slower
	overlayLeast   = 1000 // px: a smaller picture is enlarged, or its lettering would not be
	overlayNarrow  = 0.4  // least width over the picture's long side, for the lettering
	overlayQuality = 88

	overlaySmall        = 800 // px on the long side of the one kept in a log
	overlaySmallQuality = 80

	textEm   = 1.0 / 28 // of the width: capitals, 0.73 em, are a fortieth of it
	titleEm  = 1.0 / 13
	marginEm = 1.0 / 32

	ringReach = 4.5 // radius of the ring about the point that is read, in line widths
)

// Colours tell the lines apart on a screen; dashes, widths and the arrow do so
// without them. The hues are those of Okabe and Ito (Color Universal Design,
// 2008), which remain distinct for the colour-blind.
var (
	sheetInk   = color.NRGBA{86, 180, 233, 255}  // sky blue: where the map puts the sheet
	axisInk    = color.NRGBA{240, 150, 20, 255}  // orange: the shadow's axis and the number
	edgeInk    = color.NRGBA{255, 255, 255, 255} // white: the shadow's edges
	haloInk    = color.NRGBA{0, 0, 0, 200}
	bandInk    = color.NRGBA{20, 24, 28, 255}
	textInk    = color.NRGBA{255, 255, 255, 255}
	labelInk   = color.NRGBA{168, 178, 188, 255}
	warningInk = color.NRGBA{255, 205, 110, 255}
)

// JPEG returns a copy of a photo with what r found drawn into it, and below it a band that says
// the result in words.
//
// The picture stands upright by its Exif orientation, and the sheet in it always
// reads the right way round: where the reader turned a mirrored picture back, so
// does the overlay. The copy carries no Exif data: it is made to be passed on, and
// place, time and camera are the photographer's to tell.
//
// It fails with what photo.ReadFacts and photo.DecodeHEIC fail with, and with
// "unreadable_file" for pixels that cannot be decoded.
func JPEG(file photo.File, r *reading.Result) ([]byte, error) {
	img, err := overlayOf(file, r)
	if err != nil {
		return nil, err
	}
	return encoded(img, overlayQuality)
}

// Small returns what JPEG draws in some 50 kB, shrunk to
// overlaySmall on its long side: enough to see marks, shadow and words. It fails as
// JPEG does.
func Small(file photo.File, r *reading.Result) ([]byte, error) {
	img, err := overlayOf(file, r)
	if err != nil {
		return nil, err
	}
	size := img.Bounds().Size()
	scale := min(1, overlaySmall/float64(max(size.X, size.Y)))
	small := image.NewRGBA(image.Rect(0, 0, max(1, int(scale*float64(size.X))), max(1, int(scale*float64(size.Y)))))
	draw.CatmullRom.Scale(small, small.Rect, img, img.Bounds(), draw.Src, nil)
	return encoded(small, overlaySmallQuality)
}

func encoded(img image.Image, quality int) ([]byte, error) {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: quality}); err != nil {
		return nil, notWritten(err)
	}
	return b.Bytes(), nil
}

func overlayOf(file photo.File, r *reading.Result) (*image.RGBA, error) {
	stored, orientation, err := decodeColour(file)
	if err != nil {
		return nil, err
	}
	return drawOverlay(stored, orientation, r)
}

// decodeColour returns the picture as it is stored and its Exif orientation.
func decodeColour(file photo.File) (image.Image, int, error) {
	facts, err := photo.ReadFacts(file)
	if err != nil {
		return nil, 0, err
	}
	if facts.Format == photo.HEIC {
		img, err := photo.DecodeHEIC(file)
		return img, facts.Orientation, err
	}
	var img image.Image
	if facts.Format == photo.JPEG {
		var data []byte
		if data, err = file.Bytes(); err != nil {
			return nil, 0, err
		}
		img, err = jpeg.Decode(bytes.NewReader(data))
	} else {
		img, err = photo.DecodePlain(file, facts.Format)
	}
	if err == nil && img.Bounds().Size() != image.Pt(facts.Width, facts.Height) {
		err = fmt.Errorf("the pixels are %v, the header says %d x %d", img.Bounds().Size(), facts.Width, facts.Height)
	}
	if err != nil {
		return nil, 0, fault.Wrap(err, string(reading.UnreadableFile), "save the photo anew as a plain JPEG for a picture of the reading", "the overlay cannot be drawn")
	}
	return img, facts.Orientation, nil
}

// drawOverlay composes picture and band.
func drawOverlay(stored image.Image, orientation int, r *reading.Result) (*image.RGBA, error) {
	v := newView(stored.Bounds().Size(), orientation, r)
	width := max(v.size.X, int(overlayNarrow*float64(max(v.size.X, v.size.Y))))
	text := &lettering{width: float64(width)}
	words := bandOf(r, text)
	if text.err != nil {
		return nil, text.err
	}
	height := v.size.Y + int(math.Ceil(words.height))
	img := image.NewRGBA(image.Rect(0, 0, width, height))
	draw.Draw(img, img.Rect, image.NewUniform(bandInk), image.Point{}, draw.Src)
	words.draw(img, float64(v.size.Y))

	at := image.Pt((width-v.size.X)/2, 0)
	frame := img.SubImage(image.Rectangle{at, at.Add(v.size)}).(*image.RGBA)
	v.paint(frame, stored)
	drawing{view: v, r: r, text: text, dst: frame}.draw()
	return img, text.err
}

// view says where a place of the stored raster stands in the overlay: scaled, then
// turned. Places are pixels with whole numbers at the centres, as everywhere.
type view struct {
	stored image.Point // size of the stored raster
	scaled image.Point // the same, scaled
	size   image.Point // the same, turned upright
	// A pixel (u, v) goes to (v, u) if swap, then each is counted from the far side
	// if its flip is set.
	swap, flipU, flipV bool
	picture            reading.PictureSize
}

func newView(stored image.Point, orientation int, r *reading.Result) view {
	long := float64(max(stored.X, stored.Y))
	scale := max(overlayLeast, min(overlayMost, long)) / long
	v := view{stored: stored, picture: r.Picture}
	v.scaled.X = max(1, int(math.Round(scale*float64(stored.X))))
	v.scaled.Y = max(1, int(math.Round(scale*float64(stored.Y))))
	v.size = v.scaled
	// CIPA DC-008, tag Orientation: the sides on which row 0 and column 0 are seen.
	switch orientation {
	case 2:
		v.flipU = true
	case 3:
		v.flipU, v.flipV = true, true
	case 4:
		v.flipV = true
	case 5:
		v.swap = true
	case 6:
		v.swap, v.flipU = true, true
	case 7:
		v.swap, v.flipU, v.flipV = true, true, true
	case 8:
		v.swap, v.flipV = true, true
	}
	if v.swap {
		v.size.X, v.size.Y = v.size.Y, v.size.X
	}
	// The marks are the better witness of what is mirrored.
	if r.Plate != nil && photo.Mirrored(orientation) != r.Picture.Mirrored {
		v.flipU = !v.flipU
	}
	return v
}

// spot is a place in the overlay's picture, px.
type spot struct{ x, y float64 }

func (a spot) add(b spot) spot         { return spot{a.x + b.x, a.y + b.y} }
func (a spot) sub(b spot) spot         { return spot{a.x - b.x, a.y - b.y} }
func (a spot) times(k float64) spot    { return spot{a.x * k, a.y * k} }
func (a spot) length() float64         { return math.Hypot(a.x, a.y) }
func (a spot) distance(b spot) float64 { return a.sub(b).length() }

// at maps a place of the working raster, in which the reader counts.
func (v view) at(p calib.Pixel) spot {
	if v.picture.Mirrored {
		p.U = float64(v.picture.W-1) - p.U
	}
	f := float64(v.picture.Factor)
	p = p.Enlarged(f)
	s := spot{p.U, p.V}
	s.x = (s.x+0.5)*float64(v.scaled.X)/float64(v.stored.X) - 0.5
	s.y = (s.y+0.5)*float64(v.scaled.Y)/float64(v.stored.Y) - 0.5
	if v.swap {
		s.x, s.y = s.y, s.x
	}
	if v.flipU {
		s.x = float64(v.size.X-1) - s.x
	}
	if v.flipV {
		s.y = float64(v.size.Y-1) - s.y
	}
	return s
}

// paint scales the stored picture and turns it into dst, which has the view's size.
func (v view) paint(dst *image.RGBA, stored image.Image) {
	// By halves, each pixel a mean of four, so that fine print does not alias; one
	// step with a wide kernel would hold 200 MB of a 12-megapixel picture.
	scale := func(src image.Image, size image.Point) *image.RGBA {
		out := image.NewRGBA(image.Rectangle{Max: size})
		draw.ApproxBiLinear.Scale(out, out.Rect, src, src.Bounds(), draw.Src, nil)
		return out
	}
	for size := stored.Bounds().Size(); size.X > 2*v.scaled.X; {
		size = image.Pt((size.X+1)/2, (size.Y+1)/2)
		stored = scale(stored, size)
	}
	small := scale(stored, v.scaled)
	for y := range v.size.Y {
		row := dst.Pix[dst.PixOffset(dst.Rect.Min.X, dst.Rect.Min.Y+y):]
		for x := range v.size.X {
			u, w := x, y
			if v.flipU {
				u = v.size.X - 1 - u
			}
			if v.flipV {
				w = v.size.Y - 1 - w
			}
			if v.swap {
				u, w = w, u
			}
			copy(row[4*x:4*x+4], small.Pix[small.PixOffset(u, w):])
			row[4*x+3] = 255 // a PNG may be transparent
		}
	}
}

// drawing draws what a reading found into the picture.
type drawing struct {
	view
	r    *reading.Result
	text *lettering
	dst  *image.RGBA
}

func (d drawing) draw() {
	if d.r.Plate == nil {
		return
	}
	perMM := 0.0 // the least magnification at the foot, px per mm
	if least, _ := d.r.Plate.Scale(sheet.Point{}); least > 0 {
		a := d.at(calib.Pixel{})
		perMM = least * a.distance(d.at(calib.Pixel{U: 1}))
	}
	// Wide enough to be seen on a phone, but on a small sheet not so wide that they
	// hide what they show.
	w := d.text.width
	if h := d.r.Horizon; h != nil { // where it was seen
		var seen [][]spot
		for _, q := range h.Line {
			c := d.at(q)
			seen = append(seen, []spot{{c.x - w/60, c.y}, {c.x + w/60, c.y}}, circle(c, w/250))
		}
		d.strokes(seen, w/900, sheetInk)
	}
	line := max(w/1100, min(w/500, 0.5*perMM))

	d.strokes(d.sheetLines(), 1.3*line, sheetInk)
	for _, m := range d.marks() {
		if c := d.onDrawing(sheet.Point{X: m.X, Y: m.Y}); d.inside(c, spot{}) {
			d.text.label(d.dst, c, strconv.Itoa(m.ID), min(textEm*w, 0.45*m.Side*perMM), sheetInk)
		}
	}
	s := d.r.Shadow
	if s == nil {
		return
	}
	edges := append(dashes(d.at(s.Left[0]), d.at(s.Left[1]), 5*line), dashes(d.at(s.Right[0]), d.at(s.Right[1]), 5*line)...)
	d.strokes(edges, line, edgeInk)

	// The axis runs past the foot by its offset; the number is that of its
	// direction and so stands where a parallel through the foot meets the scale.
	along := sheet.Point{X: s.Direction.Sin(), Y: s.Direction.Cos()}
	across := sheet.Point{X: along.Y, Y: -along.X}
	radius := sheet.Standard.Dial.RingRadius
	end := math.Sqrt(max(0, radius*radius-s.FootOffset*s.FootOffset))
	var axis []spot
	for k := range 30 {
		t := end * float64(k) / 29
		axis = append(axis, d.onPaper(sheet.Point{X: along.X*t + across.X*s.FootOffset, Y: along.Y*t + across.Y*s.FootOffset}))
	}
	d.strokes([][]spot{axis}, 1.3*line, axisInk)
	if d.r.Number == nil {
		return
	}
	read := d.onPaper(sheet.Point{X: along.X * radius, Y: along.Y * radius})
	d.strokes([][]spot{circle(read, ringReach*line)}, 1.3*line, axisInk)
	d.number(read, perMM, line)
}

// number writes the number under the shadow at the end of a thin line: on the blank
// paper between foot and scale if it fits there, else outside the scale, where it
// hides nothing that a user would want to compare.
func (d drawing) number(read spot, perMM, line float64) {
	text := wording.Bearing(*d.r.Number, 2)
	em := 1.15 * textEm * d.text.width
	half := spot{d.text.measure(text, em, true)/2 + 0.2*em, 0.55 * em}
	taken := d.taken()
	c, ok := spot{}, false
search:
	for _, radius := range []float64{32, 38, 26, 76, 84, 96, 108, 120, 135, 150} {
		for _, turn := range []float64{0, 6, -6, 12, -12, 20, -20, 30, -30, 45, -45, 60, -60, 80, -80} {
			a := d.r.Shadow.Direction + angle.FromDegrees(turn)
			c = d.onPaper(sheet.Point{X: radius * a.Sin(), Y: radius * a.Cos()})
			if ok = d.inside(c, half) && !anyWithin(taken, c, half, 1.5*perMM); ok {
				break search
			}
		}
	}
	if !ok { // the sheet fills the picture: in the nearest corner
		c = half
		if read.x > float64(d.size.X)/2 {
			c.x = float64(d.size.X) - half.x
		}
		if read.y > float64(d.size.Y)/2 {
			c.y = float64(d.size.Y) - half.y
		}
	}
	from := read.add(c.sub(read).times(ringReach * line / max(c.distance(read), 1e-9)))
	d.strokes([][]spot{{from, c}}, 0.6*line, axisInk)
	d.text.label(d.dst, c, text, em, axisInk)
}

// taken lists places, no farther apart than lettering is high, that the number must
// not hide: marks, scale, shadow, rod and forward axis.
func (d drawing) taken() (out []spot) {
	for _, m := range sheet.Standard.Marks {
		for i := range 16 {
			out = append(out, d.onDrawing(sheet.Point{X: m.X + m.Side*(float64(i%4)/3-0.5), Y: m.Y + m.Side*(float64(i/4)/3-0.5)}))
		}
	}
	s := d.r.Shadow
	for _, r := range []float64{58, 63, 69} {
		for deg := range 120 {
			a := angle.FromDegrees(3 * float64(deg))
			out = append(out, d.onDrawing(sheet.Point{X: r * a.Sin(), Y: r * a.Cos()}))
		}
	}
	for mm := 0.0; mm < sheet.Standard.LubberTo.Y; mm += 3 {
		out = append(out, d.onDrawing(sheet.Point{Y: mm}),
			d.onPaper(sheet.Point{X: mm * s.Direction.Sin(), Y: mm * s.Direction.Cos()}))
		if mm < sheet.Standard.RodHeight {
			out = append(out, d.at(d.r.Plate.ProjectSpace(0, 0, mm)))
		}
	}
	return out
}

// anyWithin reports whether one of ps lies in the box about c, widened by gap.
func anyWithin(ps []spot, c, half spot, gap float64) bool {
	return slices.ContainsFunc(ps, func(p spot) bool {
		return math.Abs(p.x-c.x) < half.x+gap && math.Abs(p.y-c.y) < half.y+gap
	})
}

// inside reports whether a box about c lies in the picture; that about NaN does not.
func (d drawing) inside(c, half spot) bool {
	return c.x >= half.x && c.y >= half.y && c.x <= float64(d.size.X)-half.x && c.y <= float64(d.size.Y)-half.y
}

// onPaper and onDrawing map millimetres on the paper and on the sheet's drawing.
func (d drawing) onPaper(p sheet.Point) spot   { return d.at(d.r.Plate.Project(p)) }
func (d drawing) onDrawing(p sheet.Point) spot { return d.at(d.r.Plate.ProjectDrawing(p)) }

// marks are those that took part.
func (d drawing) marks() (out []sheet.Mark) {
	for _, m := range sheet.Standard.Marks {
		if slices.Contains(d.r.Marks, m.ID) {
			out = append(out, m)
		}
	}
	return out
}

// sheetLines is the sheet as the map puts it: the marks that took part, the dial's
// ring with the inner half of every tenth tick, so that the outer half shows
// beside it in print, and the forward axis.
func (d drawing) sheetLines() (lines [][]spot) {
	for _, m := range d.marks() {
		k := m.Corners()
		var l []spot
		for i := range 5 {
			l = append(l, d.onDrawing(k[i%4]))
		}
		lines = append(lines, l)
	}
	polar := func(r float64, deg int) spot {
		a := angle.FromDegrees(float64(deg))
		return d.onDrawing(sheet.Point{X: r * a.Sin(), Y: r * a.Cos()})
	}
	dial := sheet.Standard.Dial
	var ring []spot
	for deg := 0; deg <= 360; deg += 2 {
		ring = append(ring, polar(dial.RingRadius, deg))
	}
	lines = append(lines, ring)
	for deg := 0; deg < 360; deg += 10 {
		middle := (dial.TickInnerRadius + dial.TickOuterRadius[10]) / 2
		lines = append(lines, []spot{polar(dial.TickInnerRadius, deg), polar(middle, deg)})
	}
	// The forward axis spares the numeral that it crosses.
	to := sheet.Standard.LubberTo
	for _, part := range [][2]float64{{0, dial.NumeralRadius - dial.NumeralHeight}, {dial.NumeralRadius + dial.NumeralHeight, to.Y}} {
		var l []spot
		for k := range 20 {
			l = append(l, d.onDrawing(sheet.Point{Y: part[0] + (part[1]-part[0])*float64(k)/19}))
		}
		lines = append(lines, l)
	}
	head := []spot{d.onDrawing(sheet.Point{X: -4, Y: to.Y - 7}), d.onDrawing(to), d.onDrawing(sheet.Point{X: 4, Y: to.Y - 7})}
	return append(lines, head)
}

// circle is a closed line about c.
func circle(c spot, radius float64) (out []spot) {
	for k := range 25 {
		s, cos := math.Sincos(2 * math.Pi * float64(k) / 24)
		out = append(out, spot{c.x + radius*cos, c.y + radius*s})
	}
	return out
}

// dashes cuts the line from a to b into dashes of the given length with gaps as
// long.
func dashes(a, b spot, length float64) (out [][]spot) {
	n := int(a.distance(b)/(2*length)) + 1
	step := b.sub(a).times(1 / (float64(n) - 0.5)) // ends with a dash
	for k := range n {
		from := a.add(step.times(float64(k)))
		out = append(out, []spot{from, from.add(step.times(0.5))})
	}
	return out
}

// strokes draws lines of a width in px, light in a dark seam so that they show on
// any ground. Places far outside the picture or nowhere part a line.
func (d drawing) strokes(lines [][]spot, width float64, ink color.NRGBA) {
	seam := width/2 + max(0.8, 0.45*width)
	var box image.Rectangle // what has to be filled
	for _, l := range lines {
		for _, p := range l {
			if d.near(p) {
				x, y, m := int(p.x), int(p.y), int(seam)+3
				box = box.Union(image.Rect(x-m, y-m, x+m, y+m))
			}
		}
	}
	box = box.Intersect(image.Rectangle{Max: d.size})
	if box.Empty() {
		return
	}
	origin := spot{float64(box.Min.X), float64(box.Min.Y)}
	z := new(vector.Rasterizer)
	fill := func(half float64, ink color.NRGBA) {
		z.Reset(max(box.Dx(), 513), box.Dy()) // beyond 512 it computes in floats, which are finer
		for _, l := range lines {
			for i, p := range l {
				if !d.near(p) {
					continue
				}
				p := p.sub(origin)
				// All pieces turn the same way: where they overlap they do not cancel.
				disc(z, p, half)
				if i > 0 && d.near(l[i-1]) {
					o := l[i-1].sub(origin)
					n := p.sub(o)
					n = spot{-n.y, n.x}.times(half / max(n.length(), 1e-9))
					polygon(z, o.add(n), p.add(n), p.sub(n), o.sub(n))
				}
			}
		}
		z.Draw(d.dst, box.Add(d.dst.Rect.Min), image.NewUniform(ink), image.Point{})
	}
	fill(seam, haloInk)
	fill(width/2, ink)
}

// near bounds what the rasteriser is given; it fails for NaN.
func (d drawing) near(s spot) bool {
	m := 2 * float64(max(d.size.X, d.size.Y))
	return s.x > -m && s.x < m && s.y > -m && s.y < m
}

// polygon adds an area; the rasteriser counts from the corner of the first pixel,
// not from its centre.
func polygon(z *vector.Rasterizer, corners ...spot) {
	for i, c := range corners {
		x, y := float32(c.x+0.5), float32(c.y+0.5)
		if i == 0 {
			z.MoveTo(x, y)
		} else {
			z.LineTo(x, y)
		}
	}
	z.ClosePath()
}

func disc(z *vector.Rasterizer, c spot, radius float64) {
	var corners [12]spot
	for k := range corners {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / 12)
		corners[k] = spot{c.x + radius*cos, c.y - radius*sin}
	}
	polygon(z, corners[:]...)
}

// lettering sets type for an overlay of a width in px. The first failure is kept.
type lettering struct {
	width float64
	faces map[string]font.Face
	err   error
}

// face returns a face of em px.
func (l *lettering) face(em float64, bold bool) font.Face {
	key := fmt.Sprint(em, bold)
	if f, ok := l.faces[key]; ok {
		return f
	}
	of := typeface.Regular
	if bold {
		of = typeface.Bold
	}
	f, err := of.Sized(em)
	if err != nil {
		l.err = notWritten(err)
		return nil
	}
	if l.faces == nil {
		l.faces = map[string]font.Face{}
	}
	l.faces[key] = f
	return f
}

// measure returns the width of s, px.
func (l *lettering) measure(s string, em float64, bold bool) float64 {
	f := l.face(em, bold)
	if f == nil {
		return 0
	}
	return float64(font.MeasureString(f, s)) / 64
}

// write sets s with its baseline starting at (x, y).
func (l *lettering) write(dst draw.Image, x, y float64, s string, em float64, bold bool, ink color.NRGBA) {
	f := l.face(em, bold)
	if f == nil {
		return
	}
	at := fixed.Point26_6{X: fixed.Int26_6(math.Round(64 * x)), Y: fixed.Int26_6(math.Round(64 * y))}
	(&font.Drawer{Dst: dst, Src: image.NewUniform(ink), Face: f, Dot: at}).DrawString(s)
}

// label sets s in bold about c, in a dark seam.
func (l *lettering) label(dst *image.RGBA, c spot, s string, em float64, ink color.NRGBA) {
	// c counts from the corner of the picture within dst.
	x := c.x + 0.5 + float64(dst.Rect.Min.X) - l.measure(s, em, true)/2
	y := c.y + 0.5 + float64(dst.Rect.Min.Y) + 0.36*em // half the height of figures
	seam := haloInk
	seam.A = 255 // the copies overlap, and would show it
	for k := range 16 {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / 16)
		l.write(dst, x+0.07*em*cos, y+0.07*em*sin, s, em, true, seam)
	}
	l.write(dst, x, y, s, em, true, ink)
}

// wrap breaks s between words into lines of at most width px.
func (l *lettering) wrap(s string, em, width float64) (lines []string) {
	line := ""
	for _, word := range strings.Fields(s) {
		switch longer := line + " " + word; {
		case line == "":
			line = word
		case l.measure(longer, em, false) <= width:
			line = longer
		default:
			lines = append(lines, line)
			line = word
		}
	}
	return append(lines, line)
}

// run is a piece of text placed in the band, baseline at (x, y) from its corner.
type run struct {
	x, y float64
	s    string
	em   float64 // px
	bold bool
	ink  color.NRGBA
}

// band is the text below the picture.
type band struct {
	*lettering
	height float64 // px
	runs   []run
}

func (b *band) draw(dst draw.Image, top float64) {
	for _, r := range b.runs {
		b.write(dst, r.x, top+r.y, r.s, r.em, r.bold, r.ink)
	}
}

// title sets pieces of type, whose em is given in parts of the width, on one line
// that is made to fit.
func (b *band) title(pieces ...run) {
	room := b.width * (1 - 2*marginEm)
	length, tallest := 0.0, 0.0
	for _, p := range pieces {
		length += b.measure(p.s, p.em*b.width, p.bold)
	}
	fit := min(1, room/max(length, 1))
	for _, p := range pieces {
		tallest = max(tallest, p.em*b.width*fit)
	}
	x := marginEm * b.width
	b.height += 1.05 * tallest
	for _, p := range pieces {
		p.em *= b.width * fit
		p.x, p.y = x, b.height
		x += b.measure(p.s, p.em, p.bold)
		b.runs = append(b.runs, p)
	}
	b.height += 0.35 * tallest
}

// row sets a paragraph, behind a label in a column of its own if there is one.
func (b *band) row(label, s string, ink color.NRGBA) {
	em := textEm * b.width
	left := marginEm * b.width
	x := left
	if label != "" {
		b.runs = append(b.runs, run{left, b.height + em, label, em, false, labelInk})
		x += b.measure("± mostly  ", em, false) // the longest label
	}
	for _, line := range b.wrap(s, em, b.width-left-x) {
		b.runs = append(b.runs, run{x, b.height + em, line, em, false, ink})
		b.height += 1.35 * em
	}
}

// band says the result in words.
func bandOf(r *reading.Result, l *lettering) *band {
	b := &band{lettering: l, height: 0.3 * textEm * l.width}
	places := wording.SteerPlaces(r.Sigma)
	if r.Heading != nil {
		b.title(run{s: "heading ", em: 1.0 / 24, ink: labelInk},
			run{s: wording.ThreeFigures(*r.Heading, places), em: titleEm, bold: true, ink: textInk},
			run{s: " true ", em: 1.0 / 24, ink: labelInk},
			run{s: " ± " + wording.Fixed(wording.Within95(r.Sigma), places) + "°", em: 1.0 / 19, bold: true, ink: textInk},
			run{s: " (95 %)", em: textEm, ink: labelInk})
	} else {
		b.title(run{s: "no heading: ", em: 1.0 / 16, bold: true, ink: warningInk},
			run{s: strings.ReplaceAll(string(r.Reason), "_", " "), em: 1.0 / 22, bold: true, ink: textInk})
		b.row("", r.Message, textInk)
		b.height += 0.4 * textEm * l.width
	}
	if r.Come != nil && r.Course != nil {
		b.row("course", wording.ThreeFigures(*r.Course, places)+": "+wording.Turn(*r.Come, places), textInk)
	}
	if r.Number != nil {
		b.row("number", wording.Bearing(*r.Number, 2)+" under the shadow", textInk)
	}
	if r.Instant != nil {
		b.row("time", wording.LocalTime(r.Instant.UTC, r.Instant.Offset), textInk)
	}
	if s := r.Sky; s != nil {
		b.row(s.Body.String(), fmt.Sprintf("azimuth %s°, altitude %.2f°", wording.Three(s.Azimuth, 2), s.Altitude.Degrees()), textInk)
	}
	if t := r.Tilt; t != nil {
		b.row("board", fmt.Sprintf("forward %s, starboard %s, ± %.2f° (%s; positive is high)", wording.Signed(t.Forward, 2), wording.Signed(t.Starboard, 2), wording.Within95(t.Sigma).Degrees(), strings.Join(r.TiltSources, " and ")), textInk)
	}
	if a := r.AltitudeFromShadow; a != nil && r.Clock != reading.ClockFailed {
		b.row("clock", fmt.Sprintf("%s by the shadow: altitude %.1f°", strings.ReplaceAll(string(r.Clock), "_", " "), a.Degrees()), textInk)
	}
	if r.Heading != nil && r.Budget != nil {
		name := r.Budget.Largest()
		for _, t := range r.Budget.Terms() {
			if t.Name == name {
				b.row("± mostly", wording.Term(name)+" "+wording.Fixed(wording.Within95(t.Sigma), places)+"°", textInk)
			}
		}
	}
	for _, w := range r.Warnings {
		b.row("warning", w.Message, warningInk)
	}
	b.height += 0.6 * textEm * l.width
	return b
}

func notWritten(err error) error {
	return fault.Wrap(err, "overlay_not_written", "read without an overlay", "the overlay cannot be drawn")
}
