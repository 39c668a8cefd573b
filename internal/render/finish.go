package render

import (
	"image"
	"math"
	"math/rand/v2"
)

// finish turns light into a picture: lateral colour, blur, vignetting, noise, tone
// curve, 8 bits.
func (s *Scene) finish(p *planes) *image.RGBA {
	f := &s.Finish
	if f.LateralColour != 0 {
		s.magnify(p, 0, f.LateralColour)
		s.magnify(p, 2, f.LateralColour/2)
	}
	if k := gaussian(f.Defocus); k != nil {
		for _, c := range p.c {
			blur(c, p.w, p.h, k)
		}
	}
	if k := smear(f.Motion, f.MotionDir.Cos(), f.MotionDir.Sin()); k != nil {
		for i := range p.c {
			p.c[i] = convolve(p.c[i], p.w, p.h, k)
		}
	}

	f.Phone.merged(p)
	img := image.NewRGBA(image.Rect(0, 0, p.w, p.h))
	rng := rand.New(rand.NewPCG(s.Seed, 2))
	read, shot := float32(f.ReadNoise*f.ReadNoise), float32(f.ShotNoise*f.ShotNoise)
	noisy := read > 0 || shot > 0
	loss := f.Vignetting / (s.Camera.Cx*s.Camera.Cx + s.Camera.Cy*s.Camera.Cy)
	for y := range p.h {
		dy := float64(y) - s.Camera.Cy
		for x := range p.w {
			i := y*p.w + x
			dx := float64(x) - s.Camera.Cx
			gain := float32(1 - loss*(dx*dx+dy*dy))
			for c := range 3 {
				v := p.c[c][i] * gain
				if noisy {
					v += float32(rng.NormFloat64()) * float32(math.Sqrt(float64(read+shot*max(0, v))))
				}
				if f.Phone == (Phone{}) {
					img.Pix[4*i+c] = level(v)
				} else {
					p.c[c][i] = v
				}
			}
			img.Pix[4*i+3] = 255
		}
	}
	if f.Phone == (Phone{}) {
		return img
	}
	f.Phone.developed(p, math.Hypot(f.ReadNoise, f.ShotNoise*math.Sqrt(0.4)))
	for i := range p.w * p.h {
		for c := range 3 {
			img.Pix[4*i+c] = uint8(255*p.c[c][i] + 0.5)
		}
	}
	return img
}

// sRGB is the transfer function of IEC 61966-2-1, linear to encoded, both 0 to 1.
func sRGB(v float64) float64 {
	if v <= 0.0031308 {
		return 12.92 * v
	}
	return 1.055*math.Pow(v, 1/2.4) - 0.055
}

// levels[i] is 255 sRGB(i/n); read between entries it is within 0.02 level of the
// curve, at its knee, and far closer above (its second derivative times h²/8).
var levels = func() (t [levelSteps + 1]float32) {
	for i := range t {
		t[i] = float32(255 * sRGB(float64(i)/levelSteps))
	}
	return t
}()

const levelSteps = 2048

// level returns the 8-bit value of linear light v.
func level(v float32) uint8 {
	f := v * levelSteps
	switch {
	case !(f > 0):
		return 0
	case f >= levelSteps:
		return 255
	}
	i := int(f)
	return uint8(levels[i] + (levels[i+1]-levels[i])*(f-float32(i)) + 0.5)
}

// gaussian returns half a blur kernel, its middle first, or nil for no blur.
func gaussian(sigma float64) []float32 {
	if sigma <= 0 {
		return nil
	}
	k := make([]float32, int(math.Ceil(3.5*sigma))+1)
	total := 0.0
	for i := range k {
		// The Gaussian's integral over the pixel.
		lo, hi := (float64(i)-0.5)/sigma/math.Sqrt2, (float64(i)+0.5)/sigma/math.Sqrt2
		k[i] = float32((math.Erf(hi) - math.Erf(lo)) / 2)
		total += float64(k[i])
		if i > 0 {
			total += float64(k[i])
		}
	}
	for i := range k {
		k[i] /= float32(total)
	}
	return k
}

// blur runs the symmetric kernel over the rows and columns of a plane, its edge
// pixels repeated outwards.
func blur(c []float32, w, h int, k []float32) {
	n := len(k) - 1
	line := make([]float32, w+2*n)
	for y := range h {
		row := c[y*w : y*w+w]
		copy(line[n:], row)
		for i := range n {
			line[i], line[n+w+i] = row[0], row[w-1]
		}
		for x := range row {
			m := line[x : x+2*n+1]
			v := k[0] * m[n]
			for i := 1; i <= n; i++ {
				v += k[i] * (m[n-i] + m[n+i])
			}
			row[x] = v
		}
	}
	// Columns, a row at a time: the last n+1 rows are kept as they were.
	kept := make([][]float32, n+1)
	for i := range kept {
		kept[i] = append([]float32(nil), c[:w]...) // above the first row
	}
	sum := make([]float32, w)
	for y := range h {
		row := c[y*w : y*w+w]
		kept[y%(n+1)] = append(kept[y%(n+1)][:0], row...)
		for x, v := range row {
			sum[x] = k[0] * v
		}
		for i := 1; i <= n; i++ {
			up := kept[((y-i)%(n+1)+n+1)%(n+1)]
			down := c[min(h-1, y+i)*w:]
			for x := range sum {
				sum[x] += k[i] * (up[x] + down[x])
			}
		}
		copy(row, sum)
	}
}

// tap is one weight of a sparse kernel.
type tap struct {
	dx, dy int
	weight float32
}

// smear returns the kernel of a straight motion of the given length, px, or nil.
func smear(length, cos, sin float64) []tap {
	if length <= 0 {
		return nil
	}
	weights := map[[2]int]float64{}
	n := int(8*length) + 1
	for i := range n {
		u := length * ((float64(i)+0.5)/float64(n) - 0.5)
		x, y := u*cos, u*sin
		x0, y0 := math.Floor(x), math.Floor(y)
		fx, fy := x-x0, y-y0
		for _, q := range [4][3]float64{{0, 0, (1 - fx) * (1 - fy)}, {1, 0, fx * (1 - fy)}, {0, 1, (1 - fx) * fy}, {1, 1, fx * fy}} {
			weights[[2]int{int(x0 + q[0]), int(y0 + q[1])}] += q[2] / float64(n)
		}
	}
	var k []tap
	reach := int(length) + 2
	for dy := -reach; dy <= reach; dy++ { // in order, so that sums come out the same each time
		for dx := -reach; dx <= reach; dx++ {
			if v := weights[[2]int{dx, dy}]; v > 1e-6 {
				k = append(k, tap{dx, dy, float32(v)})
			}
		}
	}
	return k
}

// convolve returns the plane under the kernel, edge pixels repeated outwards.
func convolve(c []float32, w, h int, k []tap) []float32 {
	out := make([]float32, len(c))
	for y := range h {
		to := out[y*w : y*w+w]
		for _, t := range k {
			from := c[max(0, min(h-1, y+t.dy))*w:][:w]
			lo, hi := max(0, -t.dx), min(w, w-t.dx)
			for x := lo; x < hi; x++ {
				to[x] += t.weight * from[x+t.dx]
			}
			for x := range lo {
				to[x] += t.weight * from[0]
			}
			for x := hi; x < w; x++ {
				to[x] += t.weight * from[w-1]
			}
		}
	}
	return out
}

// magnify stretches one plane about the principal point by 1 + by, with linear
// interpolation.
func (s *Scene) magnify(p *planes, plane int, by float64) {
	src, w, h := p.c[plane], p.w, p.h
	out := make([]float32, len(src))
	at := func(i, n int, centre float64) (whole int, part float32) {
		v := max(0, min(float64(n-1), centre+(float64(i)-centre)/(1+by)))
		whole = min(n-2, int(v))
		return whole, float32(v - float64(whole))
	}
	xs, us := make([]int, w), make([]float32, w)
	for x := range w {
		xs[x], us[x] = at(x, w, s.Camera.Cx)
	}
	for y := range h {
		j, v := at(y, h, s.Camera.Cy)
		a, b, to := src[j*w:][:w], src[(j+1)*w:][:w], out[y*w:][:w]
		for x, i := range xs {
			u := us[x]
			to[x] = (a[i]*(1-u)+a[i+1]*u)*(1-v) + (b[i]*(1-u)+b[i+1]*u)*v
		}
	}
	p.c[plane] = out
}
