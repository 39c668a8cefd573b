package render

import "math"

// Phone is what a telephone's own processing does between the sensor and the file. The
// zero value does nothing. Truth is the first frame's.
type Phone struct {
	Mosaic bool // one colour a pixel (red, green, green, blue), the others filled in bilinearly
	// Merge is a second frame, taken where the picture is darker than MergeBelow of white
	// and displaced by this much, px: half of each.
	Merge      [2]float64
	MergeBelow float64
	Smooth     float64 // strength of noise reduction: range of a bilateral filter over the noise's sigma
	Keep       float64 // part of the grain put back after it
	// Local tone mapping: the exponent of the light about a place (1 leaves it), the gain of
	// the detail against it, and how wide "about" is, as a part of the width.
	Shades, Detail, Radius float64
	Contrast               float64 // of an S-shaped curve on the encoded values, 0 to 1
	Halo                   float64 // amount of an unsharp mask on the encoded values
	HaloPX                 float64 // its one sigma, px
}

// merged mixes the displaced second frame into the dark parts, before the sensor's noise.
func (f *Phone) merged(p *planes) {
	if f.MergeBelow <= 0 {
		return
	}
	dx, dy := int(math.Round(f.Merge[0])), int(math.Round(f.Merge[1]))
	for c := range p.c {
		src := p.c[c]
		out := make([]float32, len(src))
		for y := range p.h {
			v := max(0, min(p.h-1, y-dy))
			for x := range p.w {
				i := y*p.w + x
				out[i] = src[i]
				if src[i] < float32(f.MergeBelow) {
					out[i] = (src[i] + src[v*p.w+max(0, min(p.w-1, x-dx))]) / 2
				}
			}
		}
		p.c[c] = out
	}
}

// developed turns the sensor's noisy linear light into encoded values, 0 to 1. sigma is
// the noise of a pixel in mid-grey, linear.
func (f *Phone) developed(p *planes, sigma float64) {
	if f.Mosaic {
		demosaic(p)
	}
	y := make([]float32, p.w*p.h)
	for i := range y {
		y[i] = 0.2126*p.c[0][i] + 0.7152*p.c[1][i] + 0.0722*p.c[2][i]
	}
	out := y
	if f.Smooth > 0 {
		out = bilateral(y, p.w, p.h, f.Smooth*sigma)
		for i := range out {
			out[i] += float32(f.Keep) * (y[i] - out[i])
		}
	}
	if f.Radius > 0 {
		out = f.toned(out, p.w, p.h)
	}
	enc := make([]float32, len(out))
	for i, v := range out {
		e := sRGB(min(1, math.Max(0, float64(v))))
		enc[i] = float32(e + f.Contrast*e*(1-e)*(2*e-1))
	}
	if f.Halo > 0 {
		soft := append([]float32(nil), enc...)
		blur(soft, p.w, p.h, gaussian(f.HaloPX))
		for i := range enc {
			enc[i] += float32(f.Halo) * (enc[i] - soft[i])
		}
	}
	for i := range y { // the colours follow the luma, their own noise halved
		for c := range p.c {
			ratio := p.c[c][i] / max(y[i], 1e-3)
			p.c[c][i] = max(0, min(1, enc[i]*float32(math.Pow(float64(max(0, min(4, ratio))), 0.5/2.2))))
		}
	}
}

// demosaic leaves each pixel one colour and fills the others from its neighbours.
func demosaic(p *planes) {
	colour := func(x, y int) int { // of the sensor's pixel
		switch {
		case y%2 == 0 && x%2 == 0:
			return 0
		case y%2 == 1 && x%2 == 1:
			return 2
		}
		return 1
	}
	var out [3][]float32
	for c := range out {
		out[c] = make([]float32, p.w*p.h)
	}
	for y := range p.h {
		for x := range p.w {
			var sum, n [3]float32
			for j := max(0, y-1); j <= min(p.h-1, y+1); j++ {
				for i := max(0, x-1); i <= min(p.w-1, x+1); i++ {
					c := colour(i, j)
					sum[c] += p.c[c][j*p.w+i]
					n[c]++
				}
			}
			k := y*p.w + x
			for c := range out {
				out[c][k] = sum[c] / max(1, n[c])
			}
			own := colour(x, y)
			out[own][k] = p.c[own][k]
		}
	}
	p.c = out
}

// bilateral is the mean over 5 by 5 pixels of those that differ by little (a bell of the
// given range).
func bilateral(src []float32, w, h int, reach float64) []float32 {
	out := make([]float32, len(src))
	k := float32(-0.5 / (reach * reach))
	for y := range h {
		for x := range w {
			here := src[y*w+x]
			var sum, all float32
			for j := max(0, y-2); j <= min(h-1, y+2); j++ {
				for i := max(0, x-2); i <= min(w-1, x+2); i++ {
					v := src[j*w+i]
					d := (v - here) * (v - here) * k
					if d < -8 {
						continue
					}
					g := 1 / (1 - d + d*d/2) // near enough a bell
					sum, all = sum+g*v, all+g
				}
			}
			out[y*w+x] = sum / all
		}
	}
	return out
}

// toned is the local tone mapping.
func (f *Phone) toned(src []float32, w, h int) []float32 {
	// The light about a place, on a coarse grid.
	n := max(4, w/160)
	cw, ch := (w+n-1)/n, (h+n-1)/n
	base := make([]float32, cw*ch)
	for y := range ch {
		for x := range cw {
			var sum, all float32
			for j := y * n; j < min(h, (y+1)*n); j++ {
				for i := x * n; i < min(w, (x+1)*n); i++ {
					sum, all = sum+float32(math.Log(float64(max(src[j*w+i], 1e-3)))), all+1
				}
			}
			base[y*cw+x] = sum / all
		}
	}
	blur(base, cw, ch, gaussian(f.Radius*float64(cw)))
	out := make([]float32, len(src))
	for y := range h {
		v := min(float64(ch-1), math.Max(0, (float64(y)+0.5)/float64(n)-0.5))
		j := min(ch-2, int(v))
		for x := range w {
			u := min(float64(cw-1), math.Max(0, (float64(x)+0.5)/float64(n)-0.5))
			i := min(cw-2, int(u))
			s, t := u-float64(i), v-float64(j)
			a, b := base[j*cw+i:], base[(j+1)*cw+i:]
			l := (float64(a[0])*(1-s)+float64(a[1])*s)*(1-t) + (float64(b[0])*(1-s)+float64(b[1])*s)*t
			d := math.Log(float64(max(src[y*w+x], 1e-3))) - l
			const white = -0.4 // ln of what the paper shall have
			out[y*w+x] = float32(math.Exp(white + f.Shades*(l-white) + f.Detail*d))
		}
	}
	return out
}
