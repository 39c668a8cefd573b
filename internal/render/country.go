package render

import (
	"math"
	"math/rand/v2"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// Country is what lies about the board to a horizon: flat ground, of another slope than
// level if one says so, under a clear sky. The horizon lies below the level of the eye by
// 1.76 minutes of arc times the root of the eye's height in metres, refraction included (The
// Nautical Almanac, explanation of the altitude corrections).
type Country struct {
	EyeMetres float64 // of the camera above the ground
	// SlopeForward and SlopeStarboard are by how much the ground rises along the horizontal
	// projections of the sheet's axes.
	SlopeForward, SlopeStarboard angle.Angle
	Haze                         float64 // of the sky's light over the farthest ground, 0 to 1
	Hills                        []Hill
}

// Hill is a bell-shaped rise on the horizon: where, clockwise from the sheet's forward axis,
// one sigma of its width, and its height.
type Hill struct{ Azimuth, Width, Height angle.Angle }

// country is a Country made ready for rays.
type country struct {
	*Country
	up, fore, right Vec // of the ground, in the plate frame
	horizon         angle.Angle
}

func (s *Scene) newCountry() *country {
	if s.Country == nil {
		return nil
	}
	c := &country{Country: s.Country, horizon: -angle.Angle(1.76*math.Sqrt(s.Country.EyeMetres)) * angle.Arcminute}
	up := s.Plate.BodyVector(0, math.Pi/2)
	fore, right := s.Plate.BodyVector(s.Plate.Heading, 0), s.Plate.BodyVector(s.Plate.Heading+math.Pi/2, 0)
	c.up = up.sub(fore.mul(c.SlopeForward.Tan())).sub(right.mul(c.SlopeStarboard.Tan())).unit()
	c.fore = fore.add(up.mul(c.SlopeForward.Tan())).unit()
	c.right = c.fore.cross(c.up)
	return c
}

// skyline is the elevation of the country's outline over the ground's plane.
func (c *country) skyline(azimuth angle.Angle) angle.Angle {
	top := c.horizon
	for _, h := range c.Hills {
		x := float64((azimuth - h.Azimuth).Signed() / h.Width)
		top += h.Height * angle.Angle(math.Exp(-x*x/2))
	}
	return top
}

// far draws what the ray d meets beyond the board.
func (t *tracer) far(d Vec, h *hit) {
	c := t.country
	d = d.unit()
	elevation := angle.Asin(max(-1, min(1, d.dot(c.up))))
	azimuth := angle.Clockwise(d.dot(c.right), d.dot(c.fore))
	e := t.scene.Light.Exposure
	// The sky grows paler towards the horizon.
	low := math.Exp(-max(0, elevation.Degrees()) / 12)
	sky := [3]float64{e * (0.35 + 0.38*low), e * (0.50 + 0.30*low), e * (0.80 + 0.10*low)}
	h.busy = false
	switch top := c.skyline(azimuth); {
	case elevation > top:
		h.r, h.g, h.b, h.id = sky[0], sky[1], sky[2], inSky
	case elevation > c.horizon:
		const dark = 0.35
		mix := 0.5 * (1 + c.Haze) / 2
		tree := dark * (1 + 0.3*t.noise.at(float64(azimuth)*900, float64(elevation)*900))
		h.r, h.g, h.b, h.id = blend(e*tree, sky[0], mix), blend(e*tree, sky[1], mix), blend(e*tree*0.8, sky[2], mix), onHill
	default:
		far := c.EyeMetres / math.Tan(float64(c.horizon/2-elevation)) // m; at the horizon as far as it is seen
		x, y := far*azimuth.Sin(), far*azimuth.Cos()
		grain := 0.0
		pixel := far * max(1, far/c.EyeMetres) / t.scene.Camera.Fx // m on the ground, about
		for _, size := range []float64{0.03, 0.3, 3, 40, 400} {    // m; what is smaller than a pixel averages out
			if seen := size / pixel; seen > 0.5 {
				grain += min(1, seen-0.5) * t.noise.at(x/size, y/size)
			}
		}
		a := e * (0.48 + 0.16*grain)
		mix := c.Haze * (1 - math.Exp(-far/1500))
		h.r, h.g, h.b, h.id = blend(a*1.02, sky[0], mix), blend(a*0.97, sky[1], mix), blend(a*0.86, sky[2], mix), onGround
	}
}

// blend is a with a part of b in its place.
func blend(a, b, part float64) float64 { return a + part*(b-a) }

// outdoors stands the board out of level by up to 8 degrees in flat country whose ground is
// level to groundSigma, and has a telephone, held upright, look over the sheet to the horizon.
func (s *Scene) outdoors(r *rand.Rand, groundSigma angle.Angle, width int) {
	uniform := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	degrees := func(lo, hi float64) angle.Angle { return angle.FromDegrees(uniform(lo, hi)) }
	s.Plate.Pitch, s.Plate.Roll = degrees(-5.6, 5.6), degrees(-5.6, 5.6)
	s.Country = &Country{
		EyeMetres:    uniform(1.3, 2),
		SlopeForward: angle.Angle(r.NormFloat64()) * groundSigma, SlopeStarboard: angle.Angle(r.NormFloat64()) * groundSigma,
		Haze: uniform(0, 0.7),
	}
	if width == 0 {
		width = 2000
	}
	c := Camera{Width: width * 3 / 4, Height: width}
	c.Fx = 0.78 * float64(width) * (1 + 0.03*r.NormFloat64())
	c.Fy = c.Fx
	c.Cx, c.Cy = float64(c.Width)/2+0.005*float64(width)*r.NormFloat64(), float64(c.Height)/2+0.005*float64(width)*r.NormFloat64()
	c.Dist = [5]float64{uniform(-0.05, 0.08), uniform(-0.1, 0.05), 0.0005 * r.NormFloat64(), 0.0005 * r.NormFloat64(), 0}
	// The foot is seen below at depression, the camera's axis points below the plate's own
	// horizon by less.
	depression, axis := degrees(38, 46), degrees(16, 22)
	far, dir := uniform(430, 560), degrees(0, 360)
	high := far * depression.Sin()
	ahead := high/axis.Tan() - far*depression.Cos()
	target := sheet.Point{X: -ahead * dir.Sin(), Y: -ahead * dir.Cos()}
	c.LookAt(target, high/axis.Sin(), math.Pi/2-axis, dir, 0)
	// The plate's normal goes up in the picture, but for how level a hand holds.
	right, down := c.R[0].Z, c.R[1].Z
	c.LookAt(target, high/axis.Sin(), math.Pi/2-axis, dir, angle.Atan2(right, -down)+angle.Angle(r.NormFloat64())*2*angle.Degree)
	s.Camera = c
}
