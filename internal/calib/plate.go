// Package calib knows the lens and the plate: how a point of the printed sheet
// comes to stand on a pixel, and how to find that map from the marks.
//
// Conventions. The plate frame is the sheet's: x to starboard, y forward, z up
// out of the sheet, millimetres, origin at the printed foot. The camera frame is
// x right, y down, z ahead. Pixels: the centre of the top-left pixel is (0, 0), u
// to the right, v down, in the raster that was measured. The lens is the usual
// pinhole with radial terms k1 k2 k3 and decentring terms p1 p2 (Brown 1966, in
// the form of OpenCV's calib3d module).
package calib

import (
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// Pixel is a place in the picture: pixel centres at whole numbers.
type Pixel struct{ U, V float64 }

// Enlarged returns the place in a raster whose pixels are f times smaller.
func (p Pixel) Enlarged(f float64) Pixel {
	return Pixel{U: p.U*f + (f-1)/2, V: p.V*f + (f-1)/2}
}

// Lens is a camera's inner geometry in pixels of one raster; pixels are square.
type Lens struct {
	F                  float64 // focal length, px
	Cx, Cy             float64 // principal point, px
	K1, K2, K3, P1, P2 float64 // distortion, units of the focal length
}

// maxTangent bounds the directions that a lens polynomial is asked for: 70
// degrees off the axis. Beyond, polynomials fold back and mean nothing.
const maxTangent = 2.75

// distort maps a direction (tangents) to the distorted tangents.
func (l *Lens) distort(x, y float64) (xd, yd float64) {
	r2 := x*x + y*y
	rad := 1 + r2*(l.K1+r2*(l.K2+r2*l.K3))
	return x*rad + 2*l.P1*x*y + l.P2*(r2+2*x*x), y*rad + l.P1*(r2+2*y*y) + 2*l.P2*x*y
}

// Undistort returns the direction (tangents x, y at z = 1) that the lens images
// at p; ok is false where the distortion cannot be inverted.
func (l *Lens) Undistort(p Pixel) (x, y float64, ok bool) {
	xd, yd := (p.U-l.Cx)/l.F, (p.V-l.Cy)/l.F
	x, y = xd, yd
	const h = 1e-6
	for range 30 {
		gx, gy := l.distort(x, y)
		ex, ey := gx-xd, gy-yd
		if math.Abs(ex)+math.Abs(ey) < 1e-11 {
			return x, y, true
		}
		ax, ay := l.distort(x+h, y)
		bx, by := l.distort(x, y+h)
		j11, j21 := (ax-gx)/h, (ay-gy)/h
		j12, j22 := (bx-gx)/h, (by-gy)/h
		det := j11*j22 - j12*j21
		if !(det > 1e-3) { // folded over: the polynomial is past its turning point
			return 0, 0, false
		}
		x -= (j22*ex - j12*ey) / det
		y -= (j11*ey - j21*ex) / det
		if !(x*x+y*y < maxTangent*maxTangent) {
			return 0, 0, false
		}
	}
	return 0, 0, false
}

// Pose places the plate before the camera: X_camera = R X_plate + T, mm.
type Pose struct {
	R [3][3]float64
	T [3]float64
}

// Centre returns the camera's place in the plate frame, mm.
func (p *Pose) Centre() [3]float64 {
	var c [3]float64
	for i := range 3 {
		c[i] = -(p.R[0][i]*p.T[0] + p.R[1][i]*p.T[1] + p.R[2][i]*p.T[2])
	}
	return c
}

// Curl is the sheet's height above the plate's plane in mm:
// z = XX x^2 + XY x y + YY y^2, coefficients in 1/mm.
type Curl struct{ XX, XY, YY float64 }

func (c Curl) height(x, y float64) float64 { return c.XX*x*x + c.XY*x*y + c.YY*y*y }

// Plate is the map between the sheet and a picture of it.
//
// It distinguishes the nominal coordinates of the sheet's drawing from the true
// millimetres of the paper: a printer may stretch one axis (Stretch), which turns
// every direction that is not along an axis.
type Plate struct {
	Lens    Lens
	Pose    Pose
	Stretch float64 // ratio of the true print scale athwart to that fore-and-aft, less 1
	Curl    Curl
}

// Paper returns the true place on the paper, mm, of a point of the drawing.
func (p *Plate) Paper(s sheet.Point) sheet.Point {
	return sheet.Point{X: s.X * (1 + p.Stretch/2), Y: s.Y * (1 - p.Stretch/2)}
}

// ProjectDrawing returns the pixel of a point of the drawing.
func (p *Plate) ProjectDrawing(s sheet.Point) Pixel { return p.Project(p.Paper(s)) }

// Project returns the pixel of a true place on the paper, mm.
func (p *Plate) Project(s sheet.Point) Pixel {
	return p.ProjectSpace(s.X, s.Y, p.Curl.height(s.X, s.Y))
}

// ProjectSpace returns the pixel of a point of the plate frame, mm. Points behind
// the camera or far outside the lens's field come back as NaN.
func (p *Plate) ProjectSpace(x, y, z float64) Pixel {
	r, t := &p.Pose.R, &p.Pose.T
	w := r[2][0]*x + r[2][1]*y + r[2][2]*z + t[2]
	if w < 1e-6 {
		return Pixel{math.NaN(), math.NaN()}
	}
	a := (r[0][0]*x + r[0][1]*y + r[0][2]*z + t[0]) / w
	b := (r[1][0]*x + r[1][1]*y + r[1][2]*z + t[1]) / w
	if a*a+b*b > maxTangent*maxTangent {
		return Pixel{math.NaN(), math.NaN()}
	}
	a, b = p.Lens.distort(a, b)
	return Pixel{p.Lens.F*a + p.Lens.Cx, p.Lens.F*b + p.Lens.Cy}
}

// Unproject returns the true place on the paper, mm, that stands at pixel q; ok
// is false above the plate's horizon or where the lens cannot be inverted.
func (p *Plate) Unproject(q Pixel) (s sheet.Point, ok bool) {
	d, ok := p.ray(q) // from the camera at c: c + k d
	c := p.Pose.Centre()
	if !ok || !(d[2] < -1e-9) {
		return s, false
	}
	// The curl is small beside the distance: the height converges at once.
	z := 0.0
	for range 4 {
		k := (z - c[2]) / d[2]
		s = sheet.Point{X: c[0] + k*d[0], Y: c[1] + k*d[1]}
		z = p.Curl.height(s.X, s.Y)
	}
	return s, true
}

// About returns the same map in a frame whose origin lies at a true place on the paper,
// mm, and whose plane touches the sheet there; the stretch, which holds about the
// sheet's own foot, is left out.
func (p *Plate) About(at sheet.Point) *Plate {
	c := p.Curl
	z := c.height(at.X, at.Y)
	// The sheet's slope there is a small rotation that carries the normal over.
	sx, sy := 2*c.XX*at.X+c.XY*at.Y, c.XY*at.X+2*c.YY*at.Y
	tilt := turn([3]float64{sy, -sx, 0}, [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}})
	r, t := &p.Pose.R, &p.Pose.T
	out := &Plate{Lens: p.Lens, Curl: c}
	for i := range 3 {
		for j := range 3 {
			for k := range 3 {
				out.Pose.R[i][j] += r[i][k] * tilt[k][j]
			}
		}
		out.Pose.T[i] = r[i][0]*at.X + r[i][1]*at.Y + r[i][2]*z + t[i]
	}
	return out
}

// Sight is the ray of a pixel over the sheet's foot: the height, mm, at which it comes
// nearest to the plate's normal there, the direction on the plate in which it goes, away
// from the camera, and the tangent of its angle to the normal.
type Sight struct {
	HeightMM float64
	Away     angle.Angle
	Tangent  float64
}

// Sight returns the ray of pixel q. ok is false where the lens cannot be inverted or the
// ray runs along the normal.
func (p *Plate) Sight(q Pixel) (s Sight, ok bool) {
	d, ok := p.ray(q)
	c := p.Pose.Centre()
	across := d[0]*d[0] + d[1]*d[1]
	if !ok || across < 1e-6*d[2]*d[2] {
		return s, false
	}
	k := -(c[0]*d[0] + c[1]*d[1]) / across
	return Sight{c[2] + k*d[2], angle.Clockwise(d[0], d[1]), math.Sqrt(across) / math.Abs(d[2])}, true
}

// SlopeAcross returns what two pixels on the image of a straight rod's axis tell of its
// slope against the plate: the component towards a direction on the plate, across the
// line of sight, in mm per mm out of the plate. The rod lies in the plane of the two
// rays. ok is false where that plane does not cut the plate or the lens cannot be inverted.
func (p *Plate) SlopeAcross(a, b Pixel) (toward angle.Angle, slope float64, ok bool) {
	u, okA := p.ray(a)
	v, okB := p.ray(b)
	n := cross(u, v)
	across := math.Hypot(n[0], n[1])
	if !okA || !okB || !(across > 1e-6) {
		return 0, 0, false
	}
	return angle.Clockwise(n[0], n[1]), -n[2] / across, true
}

// ray returns the direction in the plate frame of what stands at a pixel, of length 1
// along the camera's axis.
func (p *Plate) ray(q Pixel) (d [3]float64, ok bool) {
	a, b, ok := p.Lens.Undistort(q)
	r := &p.Pose.R
	for i := range 3 {
		d[i] = r[0][i]*a + r[1][i]*b + r[2][i]
	}
	return d, ok
}

// Scale returns the smaller and the larger magnification at a true place on the
// paper, px per mm.
func (p *Plate) Scale(s sheet.Point) (least, most float64) {
	const h = 0.5
	x0, x1 := p.Project(sheet.Point{X: s.X - h, Y: s.Y}), p.Project(sheet.Point{X: s.X + h, Y: s.Y})
	y0, y1 := p.Project(sheet.Point{X: s.X, Y: s.Y - h}), p.Project(sheet.Point{X: s.X, Y: s.Y + h})
	a, c := x1.U-x0.U, x1.V-x0.V
	b, d := y1.U-y0.U, y1.V-y0.V
	// Singular values of [[a b] [c d]].
	e, f := (a*a+b*b+c*c+d*d)/2, a*d-b*c
	g := math.Sqrt(max(0, e*e-f*f))
	return math.Sqrt(max(0, e-g)), math.Sqrt(e + g)
}

// FitHomography fits the plane-to-pixel map h (row-major, h[8] scaled with the rest)
// to point pairs by the normalised linear method (Hartley and Zisserman, Multiple View
// Geometry, 2nd ed., sections 4.1.2 and 4.4). It needs four pairs or more; ok
// is false when they do not pin it down.
func FitHomography(from []sheet.Point, to []Pixel) (h Homography, ok bool) {
	n := len(from)
	if n < 4 {
		return h, false
	}
	var mx, my, mu, mv, sx, su float64
	for i := range n {
		mx, my, mu, mv = mx+from[i].X, my+from[i].Y, mu+to[i].U, mv+to[i].V
	}
	fn := float64(n)
	mx, my, mu, mv = mx/fn, my/fn, mu/fn, mv/fn
	for i := range n {
		sx += math.Hypot(from[i].X-mx, from[i].Y-my) / fn
		su += math.Hypot(to[i].U-mu, to[i].V-mv) / fn
	}
	if sx == 0 || su == 0 {
		return h, false
	}
	// About the middle of the pairs the map is finite, so its last element may be
	// set to 1 and the rest solved by normal equations.
	var a [8][9]float64
	for i := range n {
		x, y := (from[i].X-mx)/sx, (from[i].Y-my)/sx
		u, v := (to[i].U-mu)/su, (to[i].V-mv)/su
		addRow(&a, [9]float64{x, y, 1, 0, 0, 0, -u * x, -u * y, u})
		addRow(&a, [9]float64{0, 0, 0, x, y, 1, -v * x, -v * y, v})
	}
	g, ok := solve8(&a)
	if !ok {
		return h, false
	}
	// Undo the normalisation: H = T_to^-1 G T_from.
	for j := range 3 {
		r0, r1, r2 := g[j], g[3+j], g[6+j]
		g[j], g[3+j] = su*r0+mu*r2, su*r1+mv*r2
	}
	for i := range 3 {
		c0, c1, c2 := g[3*i], g[3*i+1], g[3*i+2]
		h[3*i], h[3*i+1] = c0/sx, c1/sx
		h[3*i+2] = c2 - (c0*mx+c1*my)/sx
	}
	return h, true
}

// addRow adds one equation to the normal equations a.
func addRow(a *[8][9]float64, r [9]float64) {
	for i := range 8 {
		if r[i] == 0 {
			continue
		}
		for j := range 9 {
			a[i][j] += r[i] * r[j]
		}
	}
}

// solve8 solves the normal equations by elimination; ok is false when they leave
// the map open. The result carries the fixed last element.
//
// By hand: every four-sided outline of a picture asks for it, and gonum's Cholesky takes
// five times as long here, with ten allocations.
func solve8(a *[8][9]float64) (g [9]float64, ok bool) {
	for i := range 8 {
		p := i
		for r := i + 1; r < 8; r++ {
			if math.Abs(a[r][i]) > math.Abs(a[p][i]) {
				p = r
			}
		}
		a[i], a[p] = a[p], a[i]
		if !(math.Abs(a[i][i]) > 1e-9) { // NaN too
			return g, false
		}
		for r := i + 1; r < 8; r++ {
			f := a[r][i] / a[i][i]
			for c := i; c < 9; c++ {
				a[r][c] -= f * a[i][c]
			}
		}
	}
	for i := 7; i >= 0; i-- {
		g[i] = a[i][8]
		for c := i + 1; c < 8; c++ {
			g[i] -= a[i][c] * g[c]
		}
		g[i] /= a[i][i]
	}
	g[8] = 1
	return g, true
}

// Homography is a plain plane-to-pixel map, good enough to predict where marks
// stand before the lens is known.
type Homography [9]float64

// Project maps a point of the drawing to its pixel; NaN on the horizon.
func (h *Homography) Project(s sheet.Point) Pixel {
	w := h[6]*s.X + h[7]*s.Y + h[8]
	if w == 0 {
		return Pixel{math.NaN(), math.NaN()}
	}
	return Pixel{(h[0]*s.X + h[1]*s.Y + h[2]) / w, (h[3]*s.X + h[4]*s.Y + h[5]) / w}
}

// PoseFromHomography splits a map into a pose for a lens of focal length f px and
// principal point (cx, cy), without distortion (Zhang, PAMI 22(11), 2000, section
// 3.1), and says how far the two axes are from a rigid pair (0 for a true lens).
func PoseFromHomography(h Homography, f, cx, cy float64) (p Pose, misfit float64) {
	var m [3][3]float64
	for j := range 3 {
		m[0][j] = (h[j] - cx*h[6+j]) / f
		m[1][j] = (h[3+j] - cy*h[6+j]) / f
		m[2][j] = h[6+j]
	}
	n1, n2 := math.Sqrt(m[0][0]*m[0][0]+m[1][0]*m[1][0]+m[2][0]*m[2][0]), math.Sqrt(m[0][1]*m[0][1]+m[1][1]*m[1][1]+m[2][1]*m[2][1])
	s := 2 / (n1 + n2)
	if m[2][2] < 0 { // the foot is before the camera
		s = -s
	}
	var a, b [3]float64
	for i := range 3 {
		a[i], b[i], p.T[i] = m[i][0]*s, m[i][1]*s, m[i][2]*s
	}
	dot := a[0]*b[0] + a[1]*b[1] + a[2]*b[2]
	misfit = math.Abs(dot) + math.Abs(n1-n2)/(n1+n2)*2
	// Nearest orthonormal pair: share the departure from square equally.
	for i := range 3 {
		a[i], b[i] = a[i]-dot/2*b[i], b[i]-dot/2*a[i]
	}
	a = unit(a)
	c := unit(cross(a, b))
	b = cross(c, a)
	for i := range 3 {
		p.R[i] = [3]float64{a[i], b[i], c[i]}
	}
	return p, misfit
}

// On arrays, as poses are: r3's vectors would be copied in and out.
func cross(a, b [3]float64) [3]float64 {
	return [3]float64{a[1]*b[2] - a[2]*b[1], a[2]*b[0] - a[0]*b[2], a[0]*b[1] - a[1]*b[0]}
}

func unit(a [3]float64) [3]float64 {
	n := math.Sqrt(a[0]*a[0] + a[1]*a[1] + a[2]*a[2])
	return [3]float64{a[0] / n, a[1] / n, a[2] / n}
}

// turn returns exp([w]) r: r turned by the small rotation vector w (Rodrigues).
func turn(w [3]float64, r [3][3]float64) [3][3]float64 {
	t := math.Sqrt(w[0]*w[0] + w[1]*w[1] + w[2]*w[2])
	if t == 0 {
		return r
	}
	k := [3]float64{w[0] / t, w[1] / t, w[2] / t}
	s, c := math.Sincos(t)
	var out [3][3]float64
	for j := range 3 {
		v := [3]float64{r[0][j], r[1][j], r[2][j]}
		kv := cross(k, v)
		d := k[0]*v[0] + k[1]*v[1] + k[2]*v[2]
		for i := range 3 {
			out[i][j] = v[i]*c + kv[i]*s + k[i]*d*(1-c)
		}
	}
	return out
}

// Mirrored returns the lens of the raster, width px wide, turned left to right.
func (l Lens) Mirrored(widthPX int) Lens {
	l.Cx = float64(widthPX-1) - l.Cx
	l.P2 = -l.P2
	return l
}
