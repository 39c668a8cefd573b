package photo

import (
	"bytes"
	"encoding/binary"
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
		_, err := DecodePlain(file.Bytes(), TIFF)
		if fault.Code(err) != "unreadable_file" || strings.Contains(err.Error(), "damaged") || !strings.Contains(fault.Hint(err), "save the photo anew") {
			t.Errorf("%s: %v (%s)", name, err, fault.Hint(err))
		}
	}
	if _, err := DecodePlain([]byte("II*\x00\x08\x00\x00\x00"), TIFF); err == nil || !strings.Contains(err.Error(), "damaged") {
		t.Errorf("cut short: %v", err)
	}
}
