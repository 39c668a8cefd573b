package photo

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"strings"
	"testing"

	"shadowread/internal/fault"
)

// A TIFF that holds a JPEG (compression 7) or inks (photometric 5; TIFF 6.0 and its Technical Note
// 2) is whole: another copy of it would not help.
func TestKindsOfTIFFThatAreNotRead(t *testing.T) {
	for name, tags := range map[string][][2]uint16{
		"a JPEG inside": {{256, 1}, {257, 1}, {258, 8}, {259, 7}, {262, 1}, {273, 8}, {278, 1}, {279, 1}},
		"inks":          {{256, 1}, {257, 1}, {258, 8}, {259, 1}, {262, 5}, {273, 8}, {278, 1}, {279, 1}},
	} {
		file := bytes.NewBufferString("II*\x00\x08\x00\x00\x00")
		binary.Write(file, binary.LittleEndian, uint16(len(tags)))
		for _, tag := range tags {
			binary.Write(file, binary.LittleEndian, [6]uint16{tag[0], 3, 1, 0, tag[1], 0}) // one SHORT
		}
		file.Write(make([]byte, 4))
		_, err := DecodePlain(InMemory("a.tif", file.Bytes()), TIFF)
		if fault.Code(err) != "unreadable_file" || strings.Contains(err.Error(), "damaged") || !strings.Contains(fault.Hint(err), "save the photo anew") {
			t.Errorf("%s: %v (%s)", name, err, fault.Hint(err))
		}
	}
	if _, err := DecodePlain(InMemory("a.tif", []byte("II*\x00\x08\x00\x00\x00")), TIFF); err == nil || !strings.Contains(err.Error(), "damaged") {
		t.Errorf("cut short: %v", err)
	}
}

// What is inflated takes the time, and the parts of an interlaced picture are held beside it.
func TestLargePNG(t *testing.T) {
	file := func(side uint32, colour, interlace byte) File {
		head := binary.BigEndian.AppendUint32([]byte("IHDR"), side)
		head = append(binary.BigEndian.AppendUint32(head, side), 8, colour, 0, 0, interlace)
		b := append([]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\x0d"), head...)
		return InMemory("a.png", binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(head)))
	}
	for _, tt := range []struct {
		side              uint32
		colour, interlace byte
		code, says        string
	}{
		{7000, 6, 0, "unreadable_file", "damaged"}, // there are no pixels
		{7100, 6, 0, "too_large", "192 MB inflated, more than the 192 MB"},
		{8100, 2, 0, "unreadable_file", "damaged"},
		{8200, 2, 0, "too_large", "256 MB"},
		{6600, 2, 1, "unreadable_file", "damaged"},
		{6700, 2, 1, "too_large", "171 MB decoded, and its interlaced parts 86 MB more"},
	} {
		if _, err := DecodePlain(file(tt.side, tt.colour, tt.interlace), PNG); fault.Code(err) != tt.code || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("%+v: %v", tt, err)
		}
	}
}

// One strip of 72 MB is decoded beside 96 MB of pixels, and twice while it grows; in many strips
// the same picture is read.
func TestTIFFInOneStrip(t *testing.T) {
	file := func(rows uint32) File {
		b := bytes.NewBufferString("II*\x00\x08\x00\x00\x00")
		tags := [][3]uint32{{256, 8000, 1}, {257, 8000, 1}, {258, 16, 1}, {259, 1, 1}, {262, 1, 1}, {277, 1, 1}, {278, rows, 1}}
		binary.Write(b, binary.LittleEndian, uint16(len(tags)))
		for _, tag := range tags {
			binary.Write(b, binary.LittleEndian, struct {
				ID, Kind   uint16
				Count, One uint32
			}{uint16(tag[0]), 4, tag[2], tag[1]})
		}
		b.Write(make([]byte, 4))
		return InMemory("a.tif", b.Bytes())
	}
	if _, err := DecodePlain(file(8000), TIFF); fault.Code(err) != "too_large" || !strings.Contains(err.Error(), "122 MB decoded, and it lies in strips or tiles as large as 122 MB") || !strings.Contains(fault.Hint(err), "in strips of some rows") {
		t.Errorf("in one strip: %v (%s)", err, fault.Hint(err))
	}
	if _, err := DecodePlain(file(8), TIFF); fault.Code(err) != "unreadable_file" { // it has none
		t.Errorf("in many: %v", err)
	}
}
