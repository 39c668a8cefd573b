package render

import (
	"image"
	"math"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// borderCentre is the middle of the two edges of a dark line's ends, along x through
// (x, y): where the encoded green passes half way.
func borderCentre(img *image.RGBA, x, y float64) float64 {
	var edge [2]float64
	for k, side := range [2]int{-1, 1} {
		j := int(y + 0.5)
		for i := int(x + 0.5); ; i += side {
			a, b := float64(img.RGBAAt(i, j).G), float64(img.RGBAAt(i+side, j).G)
			if b > 128 {
				edge[k] = float64(i) + float64(side)*(128-a)/(b-a)
				break
			}
		}
	}
	return (edge[0] + edge[1]) / 2
}

// A telephone's processing is the same on all sides of a mark, so that it may change a
// mark's looks but not where it stands; a merged second frame does move what is dark.
func TestPhoneKeepsPlaces(t *testing.T) {
	plain := sceneFromAbove()
	before, truth := plain.Render()
	for name, tt := range map[string]struct {
		phone Phone
		moved float64 // px, at least
	}{
		"mosaic":     {Phone{Mosaic: true}, 0},
		"smooth":     {Phone{Smooth: 3, Keep: 0.3}, 0},
		"tone":       {Phone{Shades: 0.7, Detail: 1.1, Radius: 0.05}, 0},
		"halo":       {Phone{Halo: 1, HaloPX: 1.5}, 0},
		"everything": {Phone{Mosaic: true, Smooth: 3, Shades: 0.7, Detail: 1.1, Radius: 0.05, Contrast: 0.4, Halo: 0.8, HaloPX: 1.5}, 0},
		"ghost":      {Phone{Merge: [2]float64{2, 0}, MergeBelow: 0.5}, 0.5},
	} {
		s := *plain
		s.Finish.Phone = tt.phone
		after, _ := s.Render()
		for _, m := range truth.Marks {
			if !m.InFrame {
				continue
			}
			// Through the middle of the upper border, a module high.
			x, y := (m.Corners[0][0]+m.Corners[1][0])/2, m.Corners[0][1]+(m.Corners[3][1]-m.Corners[0][1])/12
			d := math.Abs(borderCentre(after, x, y) - borderCentre(before, x, y))
			if tt.moved == 0 && d > 0.15 || tt.moved > 0 && d < tt.moved {
				t.Errorf("%s: mark %d moved by %.3f px", name, m.ID, d)
			}
		}
	}
}

// sceneFromAbove is a clean sheet seen squarely, in even light.
func sceneFromAbove() *Scene {
	s := &Scene{
		Seed:   3,
		Light:  Light{Body: NoBody, Exposure: 0.7},
		Camera: Camera{Width: 800, Height: 600, Fx: 700, Fy: 700, Cx: 400, Cy: 300},
		Finish: Finish{Defocus: 0.6, Quality: 95, ReadNoise: 0.002, ShotNoise: 0.008},
	}
	s.Camera.LookAt(sheet.Point{}, 300, 0.01*angle.Degree, 0, 0)
	return s
}

// What lies on the page, and a fold, are where they are said to be.
func TestUsedSheet(t *testing.T) {
	s := sceneFromAbove()
	s.Paper.Pencil = []Pencil{{sheet.Point{X: -30, Y: 20}, sheet.Point{X: 30, Y: 20}}}
	img, _ := s.Render()
	at := func(p sheet.Point) float64 {
		x, y, _ := s.Camera.Project(Vec{X: p.X, Y: p.Y})
		return float64(img.RGBAAt(int(x+0.5), int(y+0.5)).G)
	}
	if on, off := at(sheet.Point{X: 10, Y: 20}), at(sheet.Point{X: 10, Y: 24}); on > off-8 {
		t.Errorf("the pencil's line has %v, the paper %v", on, off)
	}
	p := Paper{Folds: []Fold{{Offset: 12, Dir: 0, Height: 0.3, Reach: 10}}}
	if h := p.height(12, 40) - p.height(200, 40); math.Abs(h-0.3) > 0.001 {
		t.Errorf("the fold stands %.4f mm high", h)
	}
	const step = 1e-4
	gx, gy := p.slope(15, 7)
	if want := (p.height(15+step, 7) - p.height(15-step, 7)) / (2 * step); math.Abs(gx-want) > 1e-6 || gy != 0 {
		t.Errorf("slope %v, %v, by differences %v", gx, gy, want)
	}
	s = sceneFromAbove()
	s.Another = &Another{Foot: sheet.Point{X: 230}, Turn: 90 * angle.Degree, Scale: 0.9}
	if ok, why := s.Readable(s.Truth()); ok || why != "two sheets" {
		t.Errorf("two sheets are called readable: %v", why)
	}
	away := *s
	away.Another = &Another{Foot: sheet.Point{X: 900}, Scale: 0.9}
	if _, why := away.Readable(away.Truth()); why == "two sheets" {
		t.Error("a sheet out of the picture counts")
	}
	two, _ := s.Render()
	differ := 0
	one := sceneFromAbove()
	alone, _ := one.Render()
	for i := range two.Pix {
		if two.Pix[i] != alone.Pix[i] {
			differ++
		}
	}
	if differ < 1000 {
		t.Errorf("the other sheet changes %d values only", differ)
	}
}
