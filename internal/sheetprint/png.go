package sheetprint

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/draw"
	"image/png"
	"io"
	"math"

	"golang.org/x/image/vector"

	"shadowread/internal/fault"
	"shadowread/internal/paper"
	"shadowread/internal/sheet"
)

// WritePNG writes the standard sheet as a grey PNG of dpi pixels an inch, which
// it states in the file. The upper left corner of the paper is the upper left
// corner of the first pixel. A dpi outside 100 to 1200 is the usage error
// bad_dpi, an unknown paper the usage error bad_paper.
func WritePNG(w io.Writer, f paper.Format, dpi int) error {
	p, err := newLeaf(f)
	if err != nil {
		return err
	}
	if dpi < 100 || dpi > 1200 {
		return fault.New("bad_dpi", "give a whole number from 100 to 1200; 600 suits most printers", "%d pixels an inch cannot be drawn", dpi)
	}
	var b bytes.Buffer
	if err := png.Encode(&b, raster(p, float64(dpi)/25.4)); err != nil {
		return fault.Wrap(err, "png_failed", "write the sheet as PDF or SVG instead", "cannot compose the PNG")
	}
	// The signature and the header chunk, which come first, are 33 bytes.
	for _, part := range [][]byte{b.Bytes()[:33], physicalSize(dpi), b.Bytes()[33:]} {
		if _, err := w.Write(part); err != nil {
			return err
		}
	}
	return nil
}

// physicalSize is the pHYs chunk (PNG specification, 11.3.4.3), in whole pixels
// a metre: at 600 dpi the rounding is 2e-6.
func physicalSize(dpi int) []byte {
	n := uint32(math.Round(float64(dpi) / 0.0254))
	b := binary.BigEndian.AppendUint32(nil, 9)
	b = append(b, "pHYs"...)
	b = binary.BigEndian.AppendUint32(b, n)
	b = binary.BigEndian.AppendUint32(b, n)
	b = append(b, 1) // the unit is the metre
	return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[4:]))
}

// raster draws the page, black on white, each pixel as dark as its part that is
// covered.
func raster(p leaf, pxPerMM float64) *image.Gray {
	img := image.NewGray(image.Rect(0, 0, int(math.Round(p.Width*pxPerMM)), int(math.Round(p.Height*pxPerMM))))
	for i := range img.Pix {
		img.Pix[i] = 255
	}
	var z vector.Rasterizer
	for _, g := range page(sheet.Standard) {
		for _, s := range g.shapes {
			fill(img, &z, s, p, pxPerMM)
		}
		for _, t := range g.texts {
			fill(img, &z, t.outline(), p, pxPerMM)
		}
	}
	return img
}

// fill darkens the pixels under s, in a window just around it.
func fill(img *image.Gray, z *vector.Rasterizer, s path, p leaf, pxPerMM float64) {
	px := func(q sheet.Point) (x, y float64) {
		return (p.Width/2 + q.X) * pxPerMM, (p.footFromTop - q.Y) * pxPerMM
	}
	lo, hi := s.bounds()
	left, bottom := px(lo)
	right, top := px(hi)
	box := image.Rect(int(math.Floor(left)), int(math.Floor(top)), int(math.Ceil(right)), int(math.Ceil(bottom))).Intersect(img.Rect)
	at := func(q sheet.Point) (x, y float32) {
		u, v := px(q)
		return float32(u - float64(box.Min.X)), float32(v - float64(box.Min.Y))
	}
	// The rasteriser works in fixed point up to 512 pixels, and its rounded slopes
	// turn a tick by up to 0.005 degrees: ask for one more, for floats.
	z.Reset(max(box.Dx(), 513), box.Dy())
	for _, seg := range s {
		switch seg.op {
		case 'M':
			z.MoveTo(at(seg.p[0]))
		case 'L':
			z.LineTo(at(seg.p[0]))
		case 'C':
			bx, by := at(seg.p[0])
			cx, cy := at(seg.p[1])
			dx, dy := at(seg.p[2])
			z.CubeTo(bx, by, cx, cy, dx, dy)
		case 'Z':
			z.ClosePath()
		}
	}
	cover := image.NewAlpha(image.Rect(0, 0, box.Dx(), box.Dy()))
	z.DrawOp = draw.Src
	z.Draw(cover, cover.Rect, image.Opaque, image.Point{})
	for y := range box.Dy() {
		row := img.Pix[img.PixOffset(box.Min.X, box.Min.Y+y):]
		for x, a := range cover.Pix[y*cover.Stride : y*cover.Stride+box.Dx()] {
			row[x] = uint8(int(row[x]) * (255 - int(a)) / 255)
		}
	}
}
