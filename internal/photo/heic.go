package photo

import (
	"bytes"
	"encoding/binary"
	"errors"
	"image"
	"io"
	"math"
	"slices"

	"shadowread/internal/fault"
)

// Bounds on the parts of a HEIC file that are read into memory. A phone's meta
// box has some kilobytes; Exif data is held to what a JPEG could carry, with room
// for maker notes.
const (
	maxMetaBytes     = 4 << 20
	maxHEICExifBytes = 1 << 20
	maxBoxes         = 1 << 16
)

// mostHEIC bounds the pixels of a HEIC photo that are decoded: the decoder in its sandbox
// takes some 28 bytes a pixel, half a gigabyte at 16 megapixels (measured).
const mostHEIC = 16_000_000

// box is one box of an ISO base media file (ISO/IEC 14496-12, section 4.2).
type box struct {
	kind string
	body []byte
}

// boxes cuts data into boxes. What does not fit is left out.
func boxes(data []byte) (list []box) {
	for len(data) >= 8 && len(list) < maxBoxes {
		size, head := uint64(binary.BigEndian.Uint32(data)), uint64(8)
		switch {
		case size == 1 && len(data) >= 16:
			size, head = binary.BigEndian.Uint64(data[8:]), 16
		case size == 0: // to the end
			size = uint64(len(data))
		}
		if size < head || size > uint64(len(data)) {
			return list
		}
		list = append(list, box{string(data[4:8]), data[head:size]})
		data = data[size:]
	}
	return list
}

// child returns the body of the first box of a kind.
func child(list []box, kind string) []byte {
	for _, b := range list {
		if b.kind == kind {
			return b.body
		}
	}
	return nil
}

// fields reads big-endian numbers of varying width. Beyond the end it yields
// zeros and sets short.
type fields struct {
	data  []byte
	short bool
}

func (r *fields) number(bytes int) uint64 {
	if len(r.data) < bytes {
		r.data, r.short = nil, true
		return 0
	}
	var v uint64
	for _, b := range r.data[:bytes] {
		v = v<<8 | uint64(b)
	}
	r.data = r.data[bytes:]
	return v
}

// fullBox reads the version and flags that open many boxes.
func (r *fields) fullBox() (version, flags uint64) { return r.number(1), r.number(3) }

// readHEIC reads the meta box (ISO/IEC 23008-12, HEIF): the primary item's size
// and rotation, and where the Exif data is.
//
// The rotation and mirroring of the primary item are the file's own (irot, in quarter
// turns counter-clockwise, and imir). HEIF makes these normative and Exif Orientation
// information only (23008-12 section 6.5.10 and annex A, from memory), so that is never
// applied, whether or not the file has a rotation.
func readHEIC(f *io.SectionReader) (header, error) {
	h := header{orientation: 1}
	meta, err := heicMeta(f)
	if err != nil {
		return h, err
	}
	if len(meta) < 4 {
		return h, unreadable(copyHint, "the HEIC file is damaged")
	}
	children := boxes(meta[4:]) // behind version and flags

	pitm := fields{data: child(children, "pitm")}
	version, _ := pitm.fullBox()
	primary := pitm.number(2)
	if version > 0 {
		pitm = fields{data: child(children, "pitm")}
		pitm.number(4)
		primary = pitm.number(4)
	}
	turns, mirrored := uint64(0), false
	for _, property := range itemProperties(child(children, "iprp"), primary) {
		r := fields{data: property.body}
		switch property.kind {
		case "ispe":
			r.fullBox()
			w, ht := r.number(4), r.number(4)
			h.width, h.height = int(min(w, 1<<31-1)), int(min(ht, 1<<31-1))
		case "irot": // may stand before the size, though the standard has it behind
			turns = r.number(1) & 3
		case "imir":
			mirrored = true
		}
	}
	switch {
	case !mirrored:
		h.orientation = [4]int{1, 8, 3, 6}[turns]
	case turns&1 == 1: // left as the decoder turns it
		h.width, h.height = h.height, h.width
	}

	exif, hasExif := exifItem(child(children, "iinf"))
	for _, it := range itemLocations(child(children, "iloc")) {
		if it.method == 0 && it.end > uint64(f.Size()) {
			return h, truncated()
		}
		if hasExif && it.id == exif {
			h.exif = exifBlock(f, child(children, "idat"), it)
		}
	}
	return h, nil
}

// heicMeta walks the boxes of the file, checks the brands and that no box reaches
// beyond the file's end, and returns the meta box.
func heicMeta(f *io.SectionReader) (meta []byte, err error) {
	at := int64(0)
	for range maxBoxes {
		if at == f.Size() {
			break
		}
		var b [16]byte
		n, _ := f.ReadAt(b[:], at)
		if n < 8 {
			return nil, truncated()
		}
		size, head := uint64(binary.BigEndian.Uint32(b[:])), int64(8)
		left := uint64(f.Size() - at)
		switch {
		case size == 1 && n == 16:
			size, head = binary.BigEndian.Uint64(b[8:]), 16
		case size == 0:
			size = left
		}
		if size > left {
			return nil, truncated()
		}
		if size < uint64(head) {
			return nil, unreadable(copyHint, "the HEIC file is damaged")
		}
		length := int64(size) - head
		switch string(b[4:8]) {
		case "ftyp":
			brands := make([]byte, min(length, 256))
			if _, err := f.ReadAt(brands, at+head); err != nil {
				return nil, truncated()
			}
			if !slices.ContainsFunc([]string{"heic", "heix", "heim", "heis"}, func(s string) bool {
				return bytes.Contains(brands, []byte(s))
			}) {
				return nil, unreadable("give a photo as JPEG, PNG, TIFF or HEIC", "the file is not a HEIC photo")
			}
		case "meta":
			if length > maxMetaBytes {
				return nil, unreadable(copyHint, "the HEIC file has a header of %d MB", length>>20)
			}
			if meta == nil {
				meta = make([]byte, length)
				if _, err := f.ReadAt(meta, at+head); err != nil {
					return nil, truncated()
				}
			}
		}
		at += int64(size)
	}
	return meta, nil
}

// itemProperties returns the properties of an item in their order (23008-12
// section 9.3).
func itemProperties(iprp []byte, item uint64) (list []box) {
	children := boxes(iprp)
	all := boxes(child(children, "ipco"))
	for _, c := range children {
		if c.kind != "ipma" {
			continue
		}
		r := fields{data: c.body}
		version, flags := r.fullBox()
		for n := r.number(4); n > 0 && !r.short; n-- {
			id := r.number(2 + 2*int(min(version, 1)))
			for k := r.number(1); k > 0 && !r.short; k-- {
				index := r.number(1) & 0x7F
				if flags&1 == 1 {
					index = index<<8 | r.number(1)
				}
				if id == item && index > 0 && index <= uint64(len(all)) {
					list = append(list, all[index-1])
				}
			}
		}
	}
	return list
}

// exifItem returns the identifier of the first item of type Exif (14496-12
// section 8.11.6).
func exifItem(iinf []byte) (id uint64, ok bool) {
	r := fields{data: iinf}
	version, _ := r.fullBox()
	r.number(2 + 2*int(min(version, 1))) // count
	for _, b := range boxes(r.data) {
		if b.kind != "infe" {
			continue
		}
		e := fields{data: b.body}
		version, _ := e.fullBox()
		if version < 2 {
			continue
		}
		id := e.number(2 * int(min(version-1, 2)))
		e.number(2) // protection
		if e.number(4) == 0x45786966 && !e.short {
			return id, true
		}
	}
	return 0, false
}

// item is where an item's data is (14496-12 section 8.11.3).
type item struct {
	id      uint64
	method  uint64 // 0: in the file, 1: in the meta box's idat
	pieces  uint64
	at, end uint64 // of the last piece
}

// itemLocations reads iloc. A place that does not fit into 64 bits is returned as
// the largest there is, which no file reaches.
func itemLocations(iloc []byte) (items []item) {
	r := fields{data: iloc}
	version, _ := r.fullBox()
	sizes := r.number(2)
	offsetSize, lengthSize, baseSize, indexSize := int(sizes>>12), int(sizes>>8&15), int(sizes>>4&15), int(sizes&15)
	if version == 0 {
		indexSize = 0
	}
	// Without offset and length a piece takes no room, and a few bytes could ask
	// for a billion of them.
	if version > 2 || max(offsetSize, lengthSize, baseSize, indexSize) > 8 || offsetSize == 0 || lengthSize == 0 {
		return nil
	}
	idBytes := 2 + 2*int(version/2)
	for n := r.number(idBytes); n > 0 && !r.short; n-- {
		it := item{id: r.number(idBytes)}
		if version > 0 {
			it.method = r.number(2) & 15
		}
		r.number(2) // data reference
		base := r.number(baseSize)
		it.pieces = r.number(2)
		for k := it.pieces; k > 0 && !r.short; k-- {
			r.number(indexSize)
			it.at = add(base, r.number(offsetSize))
			it.end = add(it.at, r.number(lengthSize))
		}
		if !r.short {
			items = append(items, it)
		}
	}
	return items
}

// add adds without wrapping.
func add(a, b uint64) uint64 {
	if sum := a + b; sum >= a {
		return sum
	}
	return math.MaxUint64
}

// exifBlock returns the TIFF structure of an Exif item: the first four bytes say
// how far behind them it begins (23008-12 annex A). An item in several pieces is
// not read.
func exifBlock(f *io.SectionReader, idat []byte, it item) *io.SectionReader {
	source := f
	if it.method == 1 {
		source = io.NewSectionReader(bytes.NewReader(idat), 0, int64(len(idat)))
	}
	if it.pieces != 1 || it.method > 1 || it.end > uint64(source.Size()) || it.end-it.at > maxHEICExifBytes {
		return nil
	}
	var skip [4]byte
	if _, err := source.ReadAt(skip[:], int64(it.at)); err != nil {
		return nil
	}
	begin := it.at + 4 + uint64(binary.BigEndian.Uint32(skip[:]))
	if begin > it.end {
		return nil
	}
	return io.NewSectionReader(source, int64(begin), int64(it.end-begin))
}

// DecodeHEIC decodes the pixels of a HEIC photo that ReadFacts has accepted, as the
// sensor stored them: the file's own rotation is left to apply, as Facts.Orientation.
// A mirrored picture comes as the file has it seen.
//
// It fails with code "unreadable_file" or "too_large".
func DecodeHEIC(file File) (img image.Image, err error) {
	err = file.open(func(data *io.SectionReader) (err error) {
		img, err = decodeWholeHEIC(data)
		return err
	})
	return img, err
}

func decodeWholeHEIC(data *io.SectionReader) (image.Image, error) {
	facts, err := readFacts(data)
	if err != nil {
		return nil, err
	}
	if facts.Format != HEIC {
		return nil, unreadable("give a HEIC photo", "the file is not a HEIC photo")
	}
	if n := facts.Width * facts.Height; n > mostHEIC {
		return nil, TooLarge("the HEIC photo has %.1f megapixels, more than the %d that are decoded", float64(n)/1e6, mostHEIC/1_000_000)
	}
	img, err := decodeHEIC(data)
	if err != nil {
		var f *fault.Error
		if errors.As(err, &f) {
			return nil, err
		}
		return nil, fault.Wrap(err, "unreadable_file", copyHint, "the HEIC photo cannot be decoded")
	}
	return turnBack(img, facts.Orientation), nil
}

// turnBack undoes what the decoder did to show a picture of the given orientation
// upright: lenses are those of the stored picture, however the camera was held.
func turnBack(img image.Image, orientation int) image.Image {
	if orientation == 1 {
		return img
	}
	from := img.Bounds()
	w, h := from.Dx(), from.Dy()
	if orientation != 3 {
		w, h = h, w
	}
	upright := func(u, v int) (x, y int) {
		switch orientation {
		case 6:
			return from.Max.X - 1 - v, from.Min.Y + u
		case 8:
			return from.Min.X + v, from.Max.Y - 1 - u
		}
		return from.Max.X - 1 - u, from.Max.Y - 1 - v
	}
	in, ok := img.(*image.YCbCr)
	if !ok {
		out := image.NewNRGBA(image.Rect(0, 0, w, h))
		for v := range h {
			for u := range w {
				out.Set(u, v, img.At(upright(u, v)))
			}
		}
		return out
	}
	out := image.NewYCbCr(image.Rect(0, 0, w, h), image.YCbCrSubsampleRatio444)
	for v := range h {
		for u := range w {
			x, y := upright(u, v)
			i, c := v*out.YStride+u, in.COffset(x, y)
			out.Y[i], out.Cb[i], out.Cr[i] = in.Y[in.YOffset(x, y)], in.Cb[c], in.Cr[c]
		}
	}
	return out
}
