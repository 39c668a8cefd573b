package photo

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
)

// Bounds on walking a container, so that a file made of countless empty parts
// ends in an error within a second or so.
const (
	maxSegments = 1 << 14 // JPEG, before the picture data
	maxChunks   = 1 << 20 // PNG; writers cut the picture into pieces of 8 KB
)

// truncated is the error for a file that ends too early.
func truncated() error {
	return unreadable(copyHint, "the file is cut short")
}

// readJPEG walks the segments up to the picture data (ITU-T T.81 annex B; Exif
// in APP1 by CIPA DC-008) and looks for the marker that ends the picture: a JPEG
// decoder fills what is missing with grey and says nothing.
func readJPEG(f *io.SectionReader) (header, error) {
	var h header
	at := int64(2)
	for range maxSegments {
		var b [4]byte
		if _, err := f.ReadAt(b[:], at); err != nil {
			return h, truncated()
		}
		if b[0] != 0xFF {
			return h, unreadable(copyHint, "the JPEG file is damaged")
		}
		marker := b[1]
		if marker == 0xFF { // fill byte
			at++
			continue
		}
		length := int64(binary.BigEndian.Uint16(b[2:]))
		if length < 2 {
			return h, unreadable(copyHint, "the JPEG file is damaged")
		}
		body := io.NewSectionReader(f, at+4, length-2)
		switch {
		case marker >= 0xC0 && marker <= 0xCF && marker != 0xC4 && marker != 0xC8 && marker != 0xCC: // SOF
			var sof [5]byte
			if _, err := body.ReadAt(sof[:], 0); err != nil {
				return h, truncated()
			}
			h.height = int(binary.BigEndian.Uint16(sof[1:]))
			h.width = int(binary.BigEndian.Uint16(sof[3:]))
		case marker == 0xE1 && h.exif == nil: // APP1
			const id = "Exif\x00\x00"
			got := make([]byte, len(id))
			if _, err := body.ReadAt(got, 0); err == nil && string(got) == id {
				h.exif = io.NewSectionReader(body, int64(len(id)), body.Size()-int64(len(id)))
			}
		case marker == 0xDA: // SOS
			if h.width == 0 {
				return h, unreadable(copyHint, "the JPEG file is damaged")
			}
			if !hasEOI(f, at+2+length) {
				return h, truncated()
			}
			return h, nil
		case marker == 0xD9: // EOI
			return h, unreadable(copyHint, "the JPEG file holds no picture")
		}
		at += 2 + length
	}
	return h, unreadable(copyHint, "the JPEG file has no picture after %d segments", maxSegments)
}

// hasEOI tells whether the end-of-image marker comes at or after from. Within
// picture data FF is always followed by 0 or a restart marker. The file's end is
// looked at first, where the marker nearly always is.
func hasEOI(f *io.SectionReader, from int64) bool {
	const chunk = 64 << 10
	eoi := []byte{0xFF, 0xD9}
	buf := make([]byte, chunk+1) // one over, for a marker on the seam
	holds := func(at int64) bool {
		n, err := f.ReadAt(buf, at)
		return (err == nil || errors.Is(err, io.EOF)) && bytes.Contains(buf[:n], eoi)
	}
	if holds(max(from, f.Size()-chunk)) {
		return true
	}
	for at := from; at < f.Size(); at += chunk {
		if holds(at) {
			return true
		}
	}
	return false
}

// readPNG walks the chunks to the last one (PNG third edition, sections 5 and
// 11; Exif in eXIf, section 11.3.4.5).
func readPNG(f *io.SectionReader) (header, error) {
	var h header
	at := int64(8)
	pixels := false
	for i := range maxChunks {
		var b [16]byte
		n, _ := f.ReadAt(b[:], at)
		if n < 12 {
			return h, truncated()
		}
		length, kind := int64(binary.BigEndian.Uint32(b[:])), string(b[4:8])
		if at+12+length > f.Size() {
			return h, truncated()
		}
		switch {
		case i == 0:
			if kind != "IHDR" || length != 13 || n < 16 {
				return h, unreadable(copyHint, "the PNG file is damaged")
			}
			var size [8]byte
			if _, err := f.ReadAt(size[:], at+8); err != nil {
				return h, truncated()
			}
			h.width = int(int32(binary.BigEndian.Uint32(size[:])))
			h.height = int(int32(binary.BigEndian.Uint32(size[4:])))
		case kind == "eXIf" && h.exif == nil:
			h.exif = io.NewSectionReader(f, at+8, length)
		case kind == "IDAT":
			pixels = true
		case kind == "IEND" && !pixels:
			return h, truncated()
		case kind == "IEND":
			return h, nil
		}
		at += 12 + length
	}
	return h, unreadable(copyHint, "the PNG file has more than %d parts", maxChunks)
}

// readTIFF reads the first directory (TIFF 6.0) and checks that the picture data
// it names lies inside the file. Its Orientation tag is Exif's, and stands in the same
// directory.
func readTIFF(f *io.SectionReader) (header, error) {
	order, offset, ok := tiffOrder(f)
	if !ok {
		return header{}, truncated()
	}
	dir, ok := readDirectory(f, order, offset, tiffTags)
	if !ok {
		return header{}, truncated()
	}
	// The raw files of cameras are TIFF files whose first picture is a thumbnail.
	// Some mark it as such, some carry a mark of their own behind the header.
	var mark [2]byte
	f.ReadAt(mark[:], 8)
	if kind, _ := dir.number(tagSubfileType, 0); int(kind)&1 == 1 || string(mark[:]) == "CR" {
		return header{}, unreadable("save the photo as a JPEG", "the file is a camera's raw file, which is not read")
	}
	for _, pair := range [][2]uint16{{tagStripOffsets, tagStripCounts}, {tagTileOffsets, tagTileCounts}} {
		for i := range dir.count(pair[0]) {
			at, _ := dir.number(pair[0], i)
			length, _ := dir.number(pair[1], i)
			if at+length > float64(f.Size()) {
				return header{}, truncated()
			}
		}
	}
	return header{width: int(dir.positive(tagWidth)), height: int(dir.positive(tagHeight)), exif: f}, nil
}
