package sheetphoto

import (
	"bytes"
	"image"
	"image/jpeg"
	"strings"
	"testing"

	"shadowread/internal/fault"
	"shadowread/internal/photo"
	"shadowread/internal/pixels"
)

func TestWhyAJPEGIsNotDecoded(t *testing.T) {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 64, 64)), nil); err != nil {
		t.Fatal(err)
	}
	sound := b.Bytes()
	for _, tt := range []struct {
		name       string
		data       []byte
		code, says string
	}{
		{"arithmetic coding", bytes.Replace(sound, []byte{0xFF, 0xC0}, []byte{0xFF, 0xC9}, 1), "unreadable_file", "arithmetic"},
		{"cut off", sound[:len(sound)-9], "unreadable_file", "damaged"},
		{"nothing", nil, "unreadable_file", "damaged"},
	} {
		p := Photo{data: tt.data, format: photo.JPEG}
		if _, err := p.decode(1); fault.Code(err) != tt.code || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("%s: %v", tt.name, err)
		}
	}
	if err := undecoded(pixels.ErrScans); fault.Code(err) != "too_large" || !strings.Contains(err.Error(), "scans") {
		t.Errorf("many scans: %v", err)
	}
	if err := undecoded(pixels.ErrLarge); fault.Code(err) != "too_large" {
		t.Errorf("large: %v", err)
	}
	if pixels.MaxPixels != photo.MaxPixels {
		t.Error("headers and pixels have unlike bounds")
	}
}
