package render

import (
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// Vec is a vector, in millimetres or of unit length.
type Vec struct{ X, Y, Z float64 }

func (a Vec) add(b Vec) Vec          { return Vec{a.X + b.X, a.Y + b.Y, a.Z + b.Z} }
func (a Vec) sub(b Vec) Vec          { return Vec{a.X - b.X, a.Y - b.Y, a.Z - b.Z} }
func (a Vec) mul(k float64) Vec      { return Vec{a.X * k, a.Y * k, a.Z * k} }
func (a Vec) dot(b Vec) float64      { return a.X*b.X + a.Y*b.Y + a.Z*b.Z }
func (a Vec) norm() float64          { return math.Sqrt(a.dot(a)) }
func (a Vec) unit() Vec              { return a.mul(1 / a.norm()) }
func (a Vec) array() [3]float64      { return [3]float64{a.X, a.Y, a.Z} }
func (a Vec) ground() sheet.Point    { return sheet.Point{X: a.X, Y: a.Y} }
func (a Vec) direction() angle.Angle { return angle.Clockwise(a.X, a.Y) }

func (a Vec) cross(b Vec) Vec {
	return Vec{a.Y*b.Z - a.Z*b.Y, a.Z*b.X - a.X*b.Z, a.X*b.Y - a.Y*b.X}
}

// Camera is a pinhole with OpenCV's lens distortion:
//
//	x' = x (1 + k1 r² + k2 r⁴ + k3 r⁶) + 2 p1 x y + p2 (r² + 2 x²)
//	y' = y (1 + k1 r² + k2 r⁴ + k3 r⁶) + p1 (r² + 2 y²) + 2 p2 x y
//
// (OpenCV documentation, "Camera Calibration and 3D Reconstruction"), x and y
// being the camera coordinates over depth. R (rows) and T, in mm, take the plate
// to the camera: X_cam = R X_plate + T.
type Camera struct {
	Width, Height  int        // px
	Fx, Fy, Cx, Cy float64    // px
	Dist           [5]float64 // k1 k2 p1 p2 k3
	R              [3]Vec
	T              Vec
}

// LookAt sets the pose: the camera looks at target on the plate from distance mm,
// its axis tilt off the plate's normal, standing in direction dir (clockwise from
// forward) of the target. With roll 0 the plate's forward axis points up in the
// picture; roll turns the camera clockwise as its holder sees it. Tilt is below
// 90 degrees.
func (c *Camera) LookAt(target sheet.Point, distance float64, tilt, dir, roll angle.Angle) {
	ahead := Vec{-tilt.Sin() * dir.Sin(), -tilt.Sin() * dir.Cos(), -tilt.Cos()}
	forward := Vec{0, 1, 0}
	if math.Abs(ahead.Y) > 0.999 { // forward is the line of sight
		forward = Vec{0, 0, 1}
	}
	down := ahead.mul(forward.dot(ahead)).sub(forward).unit()
	right := down.cross(ahead)
	c.R[0] = right.mul(roll.Cos()).add(down.mul(roll.Sin()))
	c.R[1] = down.mul(roll.Cos()).sub(right.mul(roll.Sin()))
	c.R[2] = ahead
	centre := Vec{target.X, target.Y, 0}.sub(ahead.mul(distance))
	c.T = c.rotate(centre).mul(-1)
}

func (c *Camera) rotate(v Vec) Vec { return Vec{c.R[0].dot(v), c.R[1].dot(v), c.R[2].dot(v)} }

// unrotate turns a direction of the camera frame into the plate frame.
func (c *Camera) unrotate(x, y, z float64) Vec {
	return c.R[0].mul(x).add(c.R[1].mul(y)).add(c.R[2].mul(z))
}

// Centre returns the camera's place in the plate frame.
func (c *Camera) Centre() Vec { return c.unrotate(-c.T.X, -c.T.Y, -c.T.Z) }

// Project returns the pixel where the plate-frame point p appears; ok is false
// behind the camera and beyond the field where the lens model folds back.
func (c *Camera) Project(p Vec) (x, y float64, ok bool) {
	q := c.rotate(p).add(c.T)
	if q.Z <= 0 {
		return math.NaN(), math.NaN(), false
	}
	d := c.distort(q.X/q.Z, q.Y/q.Z)
	return c.Fx*d.x + c.Cx, c.Fy*d.y + c.Cy, c.unfolded(math.Hypot(q.X, q.Y) / q.Z)
}

// unfolded reports whether the radial distortion grows all the way to radius r.
func (c *Camera) unfolded(r float64) bool {
	const steps = 64
	for i := 1; i <= steps; i++ {
		q := r * r * float64(i*i) / (steps * steps)
		if 1+q*(3*c.Dist[0]+q*(5*c.Dist[1]+q*7*c.Dist[4])) <= 0 {
			return false
		}
	}
	return true
}

// distorted is a distorted point and its derivatives by the undistorted one; the
// mixed derivatives are equal.
type distorted struct{ x, y, xx, xy, yy float64 }

func (c *Camera) distort(x, y float64) distorted {
	k1, k2, p1, p2, k3 := c.Dist[0], c.Dist[1], c.Dist[2], c.Dist[3], c.Dist[4]
	r := x*x + y*y
	g := 1 + r*(k1+r*(k2+r*k3))
	dg := k1 + r*(2*k2+3*r*k3)
	return distorted{
		x:  x*g + 2*p1*x*y + p2*(r+2*x*x),
		y:  y*g + p1*(r+2*y*y) + 2*p2*x*y,
		xx: g + 2*x*x*dg + 2*p1*y + 6*p2*x,
		xy: 2*x*y*dg + 2*p1*x + 2*p2*y,
		yy: g + 2*y*y*dg + 6*p1*y + 2*p2*x,
	}
}

// lensPoint is an undistorted point with the derivatives of it by the pixel.
type lensPoint struct {
	x, y               float64
	xpx, xpy, ypx, ypy float64
	ok                 bool
}

// undistort inverts the lens model at a pixel with Newton steps from the guess;
// ok is false where they do not settle.
func (c *Camera) undistort(px, py, guessX, guessY float64) lensPoint {
	perX, perY := 1/c.Fx, 1/c.Fy
	xd, yd := (px-c.Cx)*perX, (py-c.Cy)*perY
	p := lensPoint{x: guessX, y: guessY}
	for range 30 {
		d := c.distort(p.x, p.y)
		det := d.xx*d.yy - d.xy*d.xy
		if det <= 1e-3 {
			return p
		}
		ex, ey := xd-d.x, yd-d.y
		xx, xy, yy := d.yy/det, -d.xy/det, d.xx/det // the inverse
		p.x += xx*ex + xy*ey
		p.y += xy*ex + yy*ey
		// Newton squares the error: a step of 1e-5 leaves about 1e-10.
		if ex*ex+ey*ey < 1e-10 {
			p.xpx, p.xpy = xx*perX, xy*perY
			p.ypx, p.ypy = xy*perX, yy*perY
			p.ok = true
			return p
		}
	}
	return p
}

// undistortRow inverts the lens model at the pixels of row y: at every 16th, and by
// cubic Hermite interpolation between them, whose error h⁴/384 times the fourth
// derivative is under 1e-5 px for a focal length over 500 px.
func (c *Camera) undistortRow(row []lensPoint, y int) {
	const step = 16
	at := func(x int, guess lensPoint) lensPoint {
		if !guess.ok {
			guess.x, guess.y = (float64(x)-c.Cx)/c.Fx, (float64(y)-c.Cy)/c.Fy
		}
		return c.undistort(float64(x), float64(y), guess.x, guess.y)
	}
	a := at(0, lensPoint{})
	for x0 := 0; x0 < len(row); x0 += step {
		b := at(x0+step, a)
		for x := x0; x < min(x0+step, len(row)); x++ {
			if !a.ok || !b.ok {
				row[x] = at(x, lensPoint{})
				continue
			}
			u := float64(x-x0) / step
			v := 1 - u
			fa, fb := v*v*(1+2*u), u*u*(3-2*u)
			ga, gb := u*v*v*step, -u*u*v*step
			row[x] = lensPoint{
				x:   fa*a.x + fb*b.x + ga*a.xpx + gb*b.xpx,
				y:   fa*a.y + fb*b.y + ga*a.ypx + gb*b.ypx,
				xpx: v*a.xpx + u*b.xpx, xpy: v*a.xpy + u*b.xpy,
				ypx: v*a.ypx + u*b.ypx, ypy: v*a.ypy + u*b.ypy,
				ok: true,
			}
		}
		a = b
	}
}

// onPlate returns where the ray from the camera through v, continued, meets the
// plane of the sheet; ok is false if it does not.
func (c *Camera) onPlate(v Vec) (p Vec, ok bool) {
	from := c.Centre()
	d := v.sub(from)
	if d.Z >= 0 {
		return p, false
	}
	return from.sub(d.mul(from.Z / d.Z)), true
}
