package vision

import (
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/calib"
	"shadowread/internal/sheet"
)

// rodImage is the part of the paper that the rod hides from the camera. A ray from
// the camera at C to the paper passes the rod's axis in plan at the height
// C_z (1 - t), t being the part of the way to the paper.
type rodImage struct {
	camera [3]float64
	radius float64      // mm, with a margin
	height float64      // mm, with a margin
	known  bool         // the height was stated
	plain  float64      // mm from the foot, within which nothing is printed
	cross  *sheet.Point // the printed foot, where the rod stands off it and its ink is in the way
}

// A rod of unknown size is masked as one of 75 x 4 mm: too large costs some
// shadow, too small would read the rod for its shadow.
func newRodImage(p *calib.Plate, s *sheet.Sheet, rod Rod) *rodImage {
	d, h := rod.DiameterMM, rod.HeightMM
	if d == 0 {
		d = 4
	}
	switch {
	case h > 0:
	case rod.Hangs:
		h = threadHeight
	default:
		h = 75
	}
	return &rodImage{
		camera: p.Pose.Centre(), radius: d/2 + 0.5, height: h * 1.04, known: rod.HeightMM > 0,
		plain: s.Dial.ClearZone[1] - 1,
	}
}

// direction is where the rod's image runs on the paper, away from the camera.
func (r *rodImage) direction() angle.Angle { return angle.Clockwise(-r.camera[0], -r.camera[1]) }

// length is how far from the foot the image of the rod's tip lies on the paper, mm.
func (r *rodImage) length() float64 {
	away := math.Hypot(r.camera[0], r.camera[1])
	if r.camera[2] <= r.height {
		return math.Inf(1)
	}
	return away * r.height / (r.camera[2] - r.height)
}

// heightBefore is the height at which the rod's axis stands before the paper at a
// distance from the foot along its image, mm.
func (r *rodImage) heightBefore(d float64) float64 {
	return r.camera[2] * d / (math.Hypot(r.camera[0], r.camera[1]) + d)
}

// grown is how much larger the rod is seen, before the paper at a distance from the foot,
// than what lies there.
func (r *rodImage) grown(d float64) float64 {
	return r.camera[2] / max(r.camera[2]-r.heightBefore(d), 1)
}

func (r *rodImage) hides(q sheet.Point) bool {
	if r.cross != nil && math.Hypot(q.X-r.cross.X, q.Y-r.cross.Y) < shadowStart {
		return true
	}
	dx, dy := q.X-r.camera[0], q.Y-r.camera[1]
	l2 := dx*dx + dy*dy
	if l2 == 0 {
		return math.Hypot(q.X, q.Y) < r.radius
	}
	// Closest approach to the foot in plan; from the tip on the ray is above the rod.
	t := -(r.camera[0]*dx + r.camera[1]*dy) / l2
	z := r.camera[2] * (1 - t)
	if z < -1 || t < 0 {
		return math.Hypot(q.X, q.Y) < r.radius
	}
	miss := math.Abs(r.camera[0]*dy-r.camera[1]*dx) / math.Sqrt(l2)
	// The lean of a rod and the error of its foot widen the mask with the height.
	return z < r.height && miss < r.radius+0.02*z
}
