package reading_test

import (
	"bytes"
	"encoding/binary"
	"image/jpeg"
	"math"
	"slices"
	"testing"

	"golang.org/x/image/tiff"

	"shadowread/internal/angle"
	"shadowread/internal/overlay"
	"shadowread/internal/photo/exifwrite"
	"shadowread/internal/photofile"
	"shadowread/internal/render"
)

// oriented adds the Orientation tag to a TIFF of little-endian order (TIFF 6.0: a
// directory's entries are sorted, its place stands in the header).
func oriented(data []byte, orientation int) []byte {
	order := binary.LittleEndian
	at := int(order.Uint32(data[4:]))
	n := int(order.Uint16(data[at:]))
	entries := slices.Collect(slices.Chunk(data[at+2:at+2+12*n], 12))
	tag := order.AppendUint16(nil, 0x0112)
	tag = order.AppendUint16(tag, 3) // SHORT
	tag = order.AppendUint32(tag, 1)
	tag = order.AppendUint32(tag, uint32(orientation))
	entries = append(entries, tag)
	slices.SortFunc(entries, func(a, b []byte) int { return int(order.Uint16(a)) - int(order.Uint16(b)) })
	data = append(slices.Clone(data), make([]byte, len(data)%2)...) // on a word's boundary
	order.PutUint32(data[4:], uint32(len(data)))
	data = order.AppendUint16(data, uint16(n+1))
	for _, e := range entries {
		data = append(data, e...)
	}
	return order.AppendUint32(data, 0)
}

// A TIFF is read as the JPEG of the same raster and orientation is, and its overlay
// shows foot and shadow upright, where the renderer's truth puts them.
func TestTIFFOrientations(t *testing.T) {
	p := plain()
	o := exactly(p.scene)
	for orientation := 1; orientation <= 8; orientation++ {
		raster := stored(p.img, orientation)
		x := exifwrite.Tags{Orientation: orientation}
		j := read(photograph(t, raster, x), o)
		var b bytes.Buffer
		if err := tiff.Encode(&b, raster, nil); err != nil {
			t.Fatal(err)
		}
		path := file(t, "photo.tif", oriented(b.Bytes(), orientation))
		r := read(path, o)
		if !r.OK() || !j.OK() {
			t.Errorf("orientation %d: %s, as JPEG %s", orientation, r.Message, j.Message)
			continue
		}
		if d := (*r.Heading - *j.Heading).Signed().Abs(); d > sameHeading {
			t.Errorf("orientation %d: %v apart from the JPEG", orientation, d)
		}
		if e := (*r.Heading - angle.FromDegrees(*p.truth.StripReader)).Signed().Abs(); e > sameHeading {
			t.Errorf("orientation %d: error %v", orientation, e)
		}
		if r.Picture != j.Picture || r.Facts.Orientation != orientation {
			t.Errorf("orientation %d: read as %d on %v, the JPEG on %v", orientation, r.Facts.Orientation, r.Picture, j.Picture)
		}
		data, err := overlay.JPEG(photofile.At(path), r)
		if err != nil {
			t.Errorf("orientation %d: %v", orientation, err)
			continue
		}
		drawn, err := jpeg.Decode(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		scale := float64(drawn.Bounds().Dx()) / float64(p.img.Rect.Dx())
		// orange reports whether the axis's colour (240, 150, 20) is drawn within 3 px.
		orange := func(u, v float64) bool {
			x, y := int(math.Round((u+0.5)*scale-0.5)), int(math.Round((v+0.5)*scale-0.5))
			for dy := -3; dy <= 3; dy++ {
				for dx := -3; dx <= 3; dx++ {
					r, g, b, _ := drawn.At(x+dx, y+dy).RGBA()
					if r>>8 > 190 && b>>8 < 110 && g < r && r>>8-b>>8 > 110 {
						return true
					}
				}
			}
			return false
		}
		d := p.scene.Light.Azimuth - p.scene.Plate.Heading + math.Pi
		for _, along := range []float64{2, 20, 35, 50} { // from beside the foot outwards
			u, v, _ := p.scene.Camera.Project(render.Vec{X: along * d.Sin(), Y: along * d.Cos()})
			if !orange(u, v) {
				t.Errorf("orientation %d: the axis is not drawn %g mm from the foot, at (%.0f, %.0f)", orientation, along, u, v)
			}
			if w, h := float64(p.img.Rect.Dx()), float64(p.img.Rect.Dy()); along > 30 && orange(w-1-u, h-1-v) {
				t.Errorf("orientation %d: the axis is drawn upside down", orientation)
			}
		}
	}
}
