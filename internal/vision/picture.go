// Package vision knows pixels: it decodes pictures, finds the printed marks and
// the edges of ink, and measures the strip of shadow.
//
// Pixel convention, for the whole program: the centre of the top-left pixel is
// (0, 0). A picture shrunk by a whole factor s (each small pixel the mean of s x s, or what a
// JPEG decoder makes of it)
// has its centres at full = small*s + (s-1)/2.
//
// What is heavy with pixels, and may be done by OpenCV, is left to package pixels. All
// measuring is done on plain byte rows.
//
// Every number that measuring rests on stands, with its unit and what it does, at the top
// of the file of its step. One without a source beside it was set by hand; what holds it in
// its place are drawn pictures with known truth: random ones (make soak) and traps (package
// reading).
package vision

import (
	"image"

	"shadowread/internal/calib"
	"shadowread/internal/pixels"
)

// Gray is an 8-bit picture, rows one after the other.
type Gray struct {
	W, H int
	Pix  []uint8
	// Factor is the whole number of stored pixels that one pixel here stands for.
	Factor int
	// Mirrored says that the rows were turned left to right after decoding.
	Mirrored bool
	// Colours has them decoded: the stored picture, not turned, by a factor of its own, nil
	// where it has none. It may itself be nil.
	Colours func() (img image.Image, factor int)
}

// DecodeJPEG reads a JPEG as gray without applying its orientation, shrunk by factor 1, 2, 4
// or 8, which is cheaper than decoding it whole. It fails as pixels.DecodeJPEG does.
func DecodeJPEG(data []byte, factor int) (*Gray, error) {
	p, err := pixels.DecodeJPEG(data, factor)
	if err != nil {
		return nil, err
	}
	return &Gray{W: p.W, H: p.H, Pix: p.Pix, Factor: factor}, nil
}

// FromImage converts a decoded picture to gray with the weights of ITU-R BT.601,
// as the decoder does for a JPEG's luma.
func FromImage(img image.Image) *Gray {
	b := img.Bounds()
	g := &Gray{W: b.Dx(), H: b.Dy(), Factor: 1, Pix: make([]uint8, b.Dx()*b.Dy())}
	gray := func(r, g, b uint32) uint8 { return uint8((299*r + 587*g + 114*b + 500) / 1000) }
	for v := range g.H {
		out := g.Pix[v*g.W : (v+1)*g.W]
		y := b.Min.Y + v
		switch p := img.(type) {
		case *image.YCbCr:
			copy(out, p.Y[p.YOffset(b.Min.X, y):])
		case *image.Gray:
			copy(out, p.Pix[p.PixOffset(b.Min.X, y):])
		case *image.RGBA: // opaque, as decoders make it
			row := p.Pix[p.PixOffset(b.Min.X, y):]
			for u := range out {
				out[u] = gray(uint32(row[4*u]), uint32(row[4*u+1]), uint32(row[4*u+2]))
			}
		case *image.NRGBA: // what is transparent has its colour all the same
			row := p.Pix[p.PixOffset(b.Min.X, y):]
			for u := range out {
				out[u] = gray(uint32(row[4*u]), uint32(row[4*u+1]), uint32(row[4*u+2]))
			}
		default:
			for u := range out {
				r, g, b, _ := img.At(b.Min.X+u, y).RGBA()
				out[u] = gray(r>>8, g>>8, b>>8)
			}
		}
	}
	return g
}

// Mirror returns the picture turned left to right.
func (g *Gray) Mirror() *Gray {
	m := &Gray{W: g.W, H: g.H, Factor: g.Factor, Mirrored: !g.Mirrored, Colours: g.Colours, Pix: make([]uint8, len(g.Pix))}
	for v := range g.H {
		row, out := g.Pix[v*g.W:(v+1)*g.W], m.Pix[v*g.W:(v+1)*g.W]
		for u, p := range row {
			out[g.W-1-u] = p
		}
	}
	return m
}

// Shrink returns g made smaller by a whole factor, each pixel a mean.
func (g *Gray) Shrink(s int) *Gray {
	s = min(s, g.W, g.H) // a thin picture keeps a row
	if s <= 1 {
		return g
	}
	// A remainder at the right and the bottom is cut off, so that whole blocks are
	// averaged and the centres stay where the convention has them.
	p := pixels.Shrink(pixels.Gray{W: g.W, H: g.H, Pix: g.Pix}, s)
	return &Gray{W: p.W, H: p.H, Pix: p.Pix, Factor: g.Factor * s, Mirrored: g.Mirrored, Colours: g.Colours}
}

// contains reports whether p lies at least margin px inside the picture.
func (g *Gray) contains(p calib.Pixel, margin float64) bool {
	return p.U >= margin && p.V >= margin && p.U <= float64(g.W-1)-margin && p.V <= float64(g.H-1)-margin
}

// linear is the light, 0 to 1, behind each 8-bit level: the sRGB transfer function
// (IEC 61966-2-1). Shadows multiply light, not levels.
var linear = func() (t [256]float32) {
	for i := range t {
		t[i] = float32(srgbToLinear(float64(i) / 255))
	}
	return t
}()

// light returns the linear light at a place by bilinear interpolation; the place
// must lie inside the picture.
func (g *Gray) light(u, v float64) float64 {
	iu, iv := int(u), int(v)
	if iu < 0 || iv < 0 || iu >= g.W-1 || iv >= g.H-1 {
		iu, iv = max(0, min(iu, g.W-2)), max(0, min(iv, g.H-2))
	}
	fu, fv := float32(u-float64(iu)), float32(v-float64(iv))
	i := iv*g.W + iu
	a, b := linear[g.Pix[i]], linear[g.Pix[i+1]]
	c, d := linear[g.Pix[i+g.W]], linear[g.Pix[i+g.W+1]]
	top := a + fu*(b-a)
	return float64(top + fv*(c+fu*(d-c)-top))
}
