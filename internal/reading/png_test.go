package reading

import (
	"bytes"
	"image"
	"image/png"
	"math/rand/v2"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
	"shadowread/internal/photo"
)

// A PNG with one bit turned among its pixels is damaged (its parts carry checksums: PNG third
// edition, 5.3), and is said to be that, not a sheet whose marks do not suffice.
func TestOneBitOfAPNG(t *testing.T) {
	img := image.NewGray(image.Rect(0, 0, 640, 480))
	r := rand.New(rand.NewPCG(1, 2))
	for i := range img.Pix {
		img.Pix[i] = uint8(100 + r.IntN(80))
	}
	var b bytes.Buffer
	if err := png.Encode(&b, img); err != nil {
		t.Fatal(err)
	}
	o := Options{}
	o.Position.Position = &geo.Position{Lat: -22.9 * angle.Degree, Lon: 22.3 * angle.Degree}
	o.Time.At = new(time.Date(2026, 8, 29, 8, 0, 0, 0, time.UTC))
	reason := func(data []byte) Reason { return Read(t.Context(), photo.InMemory("a.png", data), o).Reason }
	if got := reason(b.Bytes()); got != TooFewMarks {
		t.Fatalf("undamaged: %q", got)
	}
	for range 50 {
		data := bytes.Clone(b.Bytes())
		at := 60 + r.IntN(len(data)-120) // between the head and the end, which other tests damage
		data[at] ^= 1 << r.IntN(8)
		if got := reason(data); got != UnreadableFile {
			t.Fatalf("a bit of byte %d: %q", at, got)
		}
	}
	if got := reason(b.Bytes()[:b.Len()/2]); got != UnreadableFile {
		t.Errorf("cut short: %q", got)
	}
}
