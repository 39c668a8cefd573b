package photo

import (
	"bufio"
	"errors"
	"image"
	"image/color"
	"image/png"
	"io"
	"runtime/debug"

	"golang.org/x/image/tiff"

	"shadowread/internal/fault"
)

// mostDecoded bounds the bytes that a decoded PNG or TIFF takes: 64 megapixels in eight
// bits, half of them in sixteen. It is five times what 12 megapixels take, and with the
// gray copy and the command's bound on garbage below half a gigabyte.
const mostDecoded = 256 << 20

// mostInflated bounds what a PNG is inflated to, which takes the time: 67 megapixels of three colours in
// eight bits, 50 with what is transparent. Grain, each byte foretold by its neighbours, takes eight times as long then as
// a sound photo of 12 megapixels. Of an interlaced one lastPass of the picture is held beside it.
const (
	mostInflated = 192 << 20
	lastPass     = 0.5
)

// DecodePlain decodes a PNG or a TIFF as it is stored, without heed of orientation. PNG
// carries checksums of its parts (PNG third edition, 5.3) and of its pixels (RFC 1950),
// so that its damage is noticed. The file is not held beside its pixels. It fails with
// "unreadable_file" or "too_large".
func DecodePlain(file File, format Format) (img image.Image, err error) {
	err = file.open(func(f *io.SectionReader) error {
		decode, configure := png.Decode, png.DecodeConfig
		if format == TIFF {
			decode, configure = tiff.Decode, tiff.DecodeConfig
		}
		from := func() io.Reader {
			f.Seek(0, io.SeekStart)
			if format == TIFF { // read by places
				return f
			}
			return bufio.NewReaderSize(f, 1<<16)
		}
		c, err := configure(from())
		if err != nil {
			return undecoded(err)
		}
		if err := tooMuch(f, format, c); err != nil {
			return err
		}
		GiveBack(c.Width * c.Height)
		if img, err = decode(from()); err != nil {
			img = nil
			return undecoded(err)
		}
		return nil
	})
	return img, err
}

// tooMuch says of a picture that takes more time or memory than what is read.
func tooMuch(f *io.SectionReader, format Format, c image.Config) error {
	pixels := float64(c.Width) * float64(c.Height)
	bytes := pixels * bytesOf(c.ColorModel)
	if bytes > mostDecoded {
		return TooLarge("the picture takes %.0f MB decoded, more than the %d MB that are read", bytes/(1<<20), mostDecoded>>20)
	}
	if block := blockBytes(f, c); format == TIFF && bytes+growing*block > mostDecoded+smallBlock {
		return fault.New("too_large", "save it as an ordinary JPEG, or as a TIFF in strips of some rows each",
			"the TIFF's picture takes %.0f MB decoded, and it lies in strips or tiles as large as %.0f MB, each of which is held twice beside it while it is read: that is more than the %d MB that are read",
			bytes/(1<<20), block/(1<<20), (mostDecoded+smallBlock)>>20)
	}
	if format != PNG {
		return nil
	}
	if inflated := pixels * inflatedOf(c.ColorModel); inflated > mostInflated {
		return TooLarge("the picture takes %.0f MB inflated, more than the %d MB that are read of a PNG", inflated/(1<<20), mostInflated>>20)
	}
	var method [1]byte // of interlace (PNG third edition, 11.2.1)
	if _, err := f.ReadAt(method[:], 28); err == nil && method[0] != 0 && bytes*(1+lastPass) > mostDecoded {
		return TooLarge("the picture takes %.0f MB decoded, and its interlaced parts %.0f MB more", bytes/(1<<20), lastPass*bytes/(1<<20))
	}
	return nil
}

// A TIFF's decoder holds a strip or a tile beside the picture, in a slice that grows: while it is
// copied both are there, and what it outgrew before.
const (
	growing = 2.25
	// smallBlock is what strips of a usual size add.
	smallBlock = 16 << 20
)

// blockBytes is what a strip or a tile of a TIFF takes when it is decompressed (TIFF 6.0, sections
// 3 and 15).
func blockBytes(f *io.SectionReader, c image.Config) float64 {
	wide, high, bits := float64(c.Width), float64(c.Height), 0.0
	if order, offset, ok := tiffOrder(f); ok {
		dir, _ := readDirectory(f, order, offset, blockTags)
		if rows := dir.positive(tagStripRows); rows > 0 {
			high = min(high, rows)
		}
		if w, h := dir.positive(tagTileWidth), dir.positive(tagTileHeight); w > 0 && h > 0 {
			wide, high = w, h
		}
		for i := range dir.count(tagSampleBits) {
			n, _ := dir.number(tagSampleBits, i)
			bits += n
		}
	}
	return wide * high * max(1, bits/8)
}

// GiveBack has what large pictures took before given back at once, if this one of so many pixels
// is large. Left to itself the heap grows to twice what is used.
func GiveBack(pixels int) {
	const large = 6_000_000
	if pixels > large {
		debug.FreeOSMemory()
	}
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

// inflatedOf is what a pixel of a PNG takes when it is inflated; what has a part that is transparent is
// decoded as not multiplied by that.
func inflatedOf(m color.Model) float64 {
	switch m {
	case color.RGBAModel:
		return 3
	case color.RGBA64Model:
		return 6
	}
	return bytesOf(m)
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
