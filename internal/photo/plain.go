package photo

import (
	"bytes"
	"errors"
	"image"
	"image/color"
	"image/png"

	"golang.org/x/image/tiff"
)

// mostDecoded bounds the bytes that a decoded PNG or TIFF takes: 64 megapixels in eight
// bits, half of them in sixteen. It is five times what 12 megapixels take, and with the
// gray copy below half a gigabyte.
const mostDecoded = 256 << 20

// DecodePlain decodes a PNG or a TIFF as it is stored, without heed of orientation. PNG
// carries checksums of its parts (PNG third edition, 5.3) and of its pixels (RFC 1950),
// so that its damage is noticed. It fails with "unreadable_file" or "too_large".
func DecodePlain(data []byte, format Format) (image.Image, error) {
	decode, configure := png.Decode, png.DecodeConfig
	if format == TIFF {
		decode, configure = tiff.Decode, tiff.DecodeConfig
	}
	c, err := configure(bytes.NewReader(data))
	if err != nil {
		return nil, undecoded(err)
	}
	if bytes := float64(c.Width) * float64(c.Height) * bytesOf(c.ColorModel); bytes > mostDecoded {
		return nil, TooLarge("the picture takes %.0f MB decoded, more than the %d MB that are read", bytes/(1<<20), mostDecoded>>20)
	}
	img, err := decode(bytes.NewReader(data))
	if err != nil {
		return nil, undecoded(err)
	}
	return img, nil
}

// undecoded says whether the picture is damaged or of a kind that its decoder does not know,
// which another copy would not help.
func undecoded(err error) error {
	var (
		inTIFF tiff.UnsupportedError
		inPNG  png.UnsupportedError
	)
	if errors.As(err, &inTIFF) || errors.As(err, &inPNG) {
		return unreadable("save the photo anew as an ordinary JPEG", "the file is of a kind that is not read (compression, or inks for colours)")
	}
	return Damaged()
}

// bytesOf is what a pixel takes in memory.
func bytesOf(m color.Model) float64 {
	switch m {
	case color.GrayModel:
		return 1
	case color.Gray16Model:
		return 2
	case color.RGBA64Model, color.NRGBA64Model:
		return 8
	}
	if _, ok := m.(color.Palette); ok {
		return 1
	}
	return 4
}
