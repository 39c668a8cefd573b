package vision

import (
	"image"
	"image/color"
	"math"
	"testing"
)

// tinted gives a picture colours: what is darker than half the paper's light has ln(red/blue)
// hue beside the paper's own, and its lowest rows are as brown as a board.
func tinted(g *Gray, factor int, hue, paper float64) func() (image.Image, int) {
	img := image.NewRGBA(image.Rect(0, 0, g.W/factor, g.H/factor))
	for v := range img.Rect.Dy() {
		for u := range img.Rect.Dx() {
			at := v*factor*g.W + u*factor
			if g.Mirrored {
				at = v*factor*g.W + g.W - 1 - u*factor
			}
			light, k := 0.8*float64(linear[g.Pix[at]]), paper
			if light < 0.3 {
				k += hue
			}
			if v > img.Rect.Dy()*3/4 {
				k = 0.5
			}
			level := func(x float64) uint8 { return uint8(255*linearToSRGB(min(1, x)) + 0.5) }
			img.SetRGBA(u, v, color.RGBA{level(light * math.Exp(k/2)), level(light), level(light * math.Exp(-k/2)), 255})
		}
	}
	return func() (image.Image, int) { return img, factor }
}

// The hue is that of the dark over the paper's, whatever the paper's own and however the picture was
// turned or shrunk.
func TestHue(t *testing.T) {
	c := pictureOf(sunCast().layer())
	for _, tt := range []struct {
		hue, paper float64
		factor     int
		mirrored   bool
	}{{-0.5, 0, 1, false}, {0.4, 0.2, 1, false}, {0, -0.2, 1, true}, {-0.3, 0.1, 2, true}, {0.3, 0, 2, false}} {
		q, st := c.must(t, shadowDir)
		f := st.fit
		g := *q.g
		g.Mirrored = tt.mirrored
		g.Factor = 1
		g.Colours = tinted(&g, tt.factor, tt.hue, tt.paper)
		f.g = &g
		hues, ok := f.hues(f.axis())
		if h := hues[redLight]; !ok || math.Abs(h.of-tt.hue) > 3*h.sigma || h.sigma > 0.1 {
			t.Errorf("%+v: %+v %v", tt, h, ok)
		}
	}
}

// What is redder or greener than paper is a thing's, what is as gray is likelier one's under a deep
// shadow alone, and what is as blue as skylight is a shadow's. A picture in one hue tells nothing.
func TestHueSays(t *testing.T) {
	q, st := pictureOf(sunCast().layer()).must(t, shadowDir)
	f, plain := st.fit, *q.g
	says := func(hue, depth float64) (float64, bool) {
		g := plain
		g.Colours = tinted(&g, 1, hue, 0)
		f.g = &g
		return f.hueSays(f.axis(), depth)
	}
	if _, red := says(0.4, 0.7); !red {
		t.Error("wood is not told")
	}
	green := plain
	green.Colours = func() (image.Image, int) {
		img, factor := tinted(&plain, 1, 0, 0)()
		for i, level := range plain.Pix {
			if at := 4 * i; linear[level] < 0.3 {
				img.(*image.RGBA).Pix[at+1] = uint8(min(255, 1.3*float64(img.(*image.RGBA).Pix[at+1])))
			}
		}
		return img, factor
	}
	f.g = &green
	if _, red := f.hueSays(f.axis(), 0.7); !red {
		t.Error("a leaf is not told")
	}
	if _, own := says(-2, 0.9); !own {
		t.Error("a blue pen, bluer than any sky, is not told")
	}
	if _, own := says(-1.3, 0.9); own {
		t.Error("the bluest of skies is no thing")
	}
	if s, red := says(0, 0.8); s < surelyLies || red {
		t.Errorf("gray, as deep as a shadow in clear air: %.1f %v", s, red)
	}
	if s, _ := says(0, 0.2); s > surelyLies {
		t.Errorf("gray, as faint as a shadow through cloud: %.1f", s)
	}
	if s, red := says(-0.35, 0.8); s > -1 || red {
		t.Errorf("as blue as the sky: %.1f %v", s, red)
	}
	f.g = &plain
	for _, without := range []func() (image.Image, int){nil, func() (image.Image, int) { return nil, 0 }, func() (image.Image, int) {
		return &image.Gray{Pix: plain.Pix, Stride: plain.W, Rect: image.Rect(0, 0, plain.W, plain.H)}, 1
	}} {
		plain.Colours = without
		if s, red := f.hueSays(f.axis(), 0.8); s != 0 || red {
			t.Errorf("without colours: %.1f %v", s, red)
		}
	}
}

// Published clear skies (Bird and Riordan, J. Climate Appl. Meteor. 25(1), 1986, in words: skylight
// is bluer than sunlight, the more so the clearer): deeper shadows and lower suns are bluer, and
// none is redder than its paper.
func TestSkyHue(t *testing.T) {
	f := &stripFit{}
	last := 0.0
	for depth := 0.1; depth < 0.96; depth += 0.05 {
		high, low := f.skyHue(depth, 0.9), f.skyHue(depth, 0.2)
		if !(high < last) || !(low <= high) {
			t.Errorf("depth %.2f: %.3f, low %.3f, less deep %.3f", depth, high, low, last)
		}
		last = high
	}
}
