// Package vision knows pixels: it decodes pictures, finds the printed marks and
// the edges of ink, and measures the strip of shadow.
//
// Pixel convention, for the whole program: the centre of the top-left pixel is
// (0, 0). A picture shrunk by a whole factor s (each small pixel the mean of s x s)
// has its centres at full = small*s + (s-1)/2.
//
// It is the only package that imports OpenCV, and only to decode, shrink,
// threshold and trace contours; all measuring is done on plain byte rows.
package vision

import (
	"bytes"
	"image"
	"slices"

	"gocv.io/x/gocv"
	"golang.org/x/image/tiff"

	"shadowread/internal/calib"
	"shadowread/internal/fault"
)

// Gray is an 8-bit picture, rows one after the other.
type Gray struct {
	W, H int
	Pix  []uint8
	// Factor is the whole number of stored pixels that one pixel here stands for.
	Factor int
	// Mirrored says that the rows were turned left to right after decoding.
	Mirrored bool
}

// Stored returns the place in the stored raster, before any mirroring, of a place
// in g.
func (g *Gray) Stored(p calib.Pixel) calib.Pixel {
	if g.Mirrored {
		p.U = float64(g.W-1) - p.U
	}
	s := float64(g.Factor)
	return calib.Pixel{U: p.U*s + (s-1)/2, V: p.V*s + (s-1)/2}
}

// Decode reads an encoded picture (JPEG, PNG, TIFF) as gray without applying its
// orientation, shrunk by factor 1, 2, 4 or 8 while decoding, which for a JPEG is
// cheaper than decoding it whole.
func Decode(data []byte, factor int) (*Gray, error) {
	if bytes.HasPrefix(data, []byte("II*\x00")) || bytes.HasPrefix(data, []byte("MM\x00*")) {
		img, err := tiff.Decode(bytes.NewReader(data)) // OpenCV would turn it
		if err != nil {
			return nil, undecodable()
		}
		return FromImage(img).Shrink(factor), nil
	}
	flag := gocv.IMReadGrayScale
	switch factor {
	case 2:
		flag = gocv.IMReadReducedGrayscale2
	case 4:
		flag = gocv.IMReadReducedGrayscale4
	case 8:
		flag = gocv.IMReadReducedGrayscale8
	}
	m, err := gocv.IMDecode(data, flag|gocv.IMReadIgnoreOrientation)
	if err != nil || m.Empty() {
		m.Close()
		return nil, undecodable()
	}
	defer m.Close()
	return grayFromMat(m, factor), nil
}

func undecodable() error {
	return fault.New("unreadable_file", "check that the file opens in a picture viewer and copy it again from the camera", "the picture cannot be decoded")
}

func grayFromMat(m gocv.Mat, factor int) *Gray {
	return &Gray{W: m.Cols(), H: m.Rows(), Factor: factor, Pix: bytesOf(m)}
}

// bytesOf copies a Mat's pixels out, so that they outlive it.
func bytesOf(m gocv.Mat) []uint8 {
	if p, err := m.DataPtrUint8(); err == nil && m.IsContinuous() {
		return slices.Clone(p)
	}
	return m.ToBytes()
}

// FromImage converts a decoded picture to gray with the weights of ITU-R BT.601,
// as the decoder does for a JPEG's luma.
func FromImage(img image.Image) *Gray {
	b := img.Bounds()
	g := &Gray{W: b.Dx(), H: b.Dy(), Factor: 1, Pix: make([]uint8, b.Dx()*b.Dy())}
	if y, ok := img.(*image.YCbCr); ok {
		for v := range g.H {
			copy(g.Pix[v*g.W:(v+1)*g.W], y.Y[y.YOffset(b.Min.X, b.Min.Y+v):])
		}
		return g
	}
	for v := range g.H {
		for u := range g.W {
			r, gr, bl, _ := img.At(b.Min.X+u, b.Min.Y+v).RGBA()
			g.Pix[v*g.W+u] = uint8((299*r + 587*gr + 114*bl + 500*257) / 1000 >> 8)
		}
	}
	return g
}

// Mirror returns the picture turned left to right.
func (g *Gray) Mirror() *Gray {
	m := &Gray{W: g.W, H: g.H, Factor: g.Factor, Mirrored: !g.Mirrored, Pix: make([]uint8, len(g.Pix))}
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
	if s <= 1 {
		return g
	}
	w, h := g.W/s, g.H/s
	out := &Gray{W: w, H: h, Factor: g.Factor * s, Mirrored: g.Mirrored}
	// A remainder at the right and the bottom is cut off, so that whole blocks are
	// averaged and the centres stay where Gray.Stored says.
	src, err := gocv.NewMatFromBytes(g.H, g.W, gocv.MatTypeCV8U, g.Pix)
	if err != nil {
		return out
	}
	defer src.Close()
	whole := src.Region(image.Rect(0, 0, w*s, h*s))
	defer whole.Close()
	dst := gocv.NewMat()
	defer dst.Close()
	gocv.Resize(whole, &dst, image.Pt(w, h), 0, 0, gocv.InterpolationArea)
	out.Pix = bytesOf(dst)
	return out
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
