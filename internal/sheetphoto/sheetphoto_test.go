package sheetphoto

import (
	"bytes"
	"image"
	"image/jpeg"
	"image/png"
	"strings"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/calib"
	"shadowread/internal/fault"
	"shadowread/internal/photo"
	"shadowread/internal/pixels"
	"shadowread/internal/render"
	"shadowread/internal/sheet"
	"shadowread/internal/vision"
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

// A sheet that is small in a large picture is found at half the size and looked for again at the
// whole one, where grain of single pixels hides their edges: what was found serves.
func TestSheetThatOnlyShowsSmall(t *testing.T) {
	s := &render.Scene{Light: render.Light{
		Body: render.Sun, Azimuth: 100 * angle.Degree, Altitude: 48 * angle.Degree, Disc: 0.533 * angle.Degree,
		ShadowRatio: 0.2, SunColour: [3]float64{1, 1, 1}, SkyColour: [3]float64{1, 1, 1}, Exposure: 0.6,
	}, Finish: render.Finish{Defocus: 0.5}}
	s.Camera = render.Camera{Width: 1600, Height: 1200, Fx: 1280, Fy: 1280, Cx: 800, Cy: 600}
	s.Camera.LookAt(sheet.Point{}, 500, 20*angle.Degree, 250*angle.Degree, 0)
	small, _ := s.Render()
	whole := image.NewGray(image.Rect(0, 0, 3200, 2400))
	for y := range 2400 {
		for x := range 3200 {
			grain := 70 - 140*((x+y)%2) // the mean of four pixels has none
			whole.Pix[y*whole.Stride+x] = uint8(88 + int(small.Pix[small.PixOffset(x/2, y/2)+1])*80/255 + grain)
		}
	}
	var file bytes.Buffer
	if err := png.Encode(&file, whole); err != nil {
		t.Fatal(err)
	}
	p, err := Open(photo.InMemory("a.png", file.Bytes()), photo.Facts{Format: photo.PNG, Width: 3200, Height: 2400})
	if err != nil {
		t.Fatal(err)
	}
	prior := func(g *vision.Gray) calib.Prior { return calib.UnknownLens(g.W, g.H, 0) }
	if _, _, _, err := p.FindWhole(sheet.Standard, prior); err == nil {
		t.Fatal("found in the whole picture: the test wants marks that do not show there")
	}
	g, plate, marks, err := p.Find(sheet.Standard, prior)
	if err != nil || marks < 10 {
		t.Fatalf("%d marks, %v", marks, err)
	}
	if least, _ := plate.Scale(sheet.Point{}); g.W != 1600 || least >= enoughScale {
		t.Errorf("found in %d pixels across, with %.2f px to the millimetre", g.W, least)
	}
}
