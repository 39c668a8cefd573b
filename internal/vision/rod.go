package vision

import (
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/calib"
	"shadowread/internal/sheet"
)

// How much of the paper is masked for the rod, mm: too much costs some shadow, too little
// would read the rod for its shadow.
const (
	usualRod, usualHeight = 4.0, 75.0 // diameter and height of one that was not stated
	rodMargin             = 0.5       // to each side, for the image's blur
	heightMargin          = 1.04      // times a stated height
	// maskGrows is by how much the mask widens for each mm of height, to each side: a rod's
	// lean of a degree, and the error of its foot.
	maskGrows = 0.02
	ringClear = 1.0 // short of the clear zone's end, within which nothing is printed
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

func newRodImage(p *calib.Plate, s *sheet.Sheet, rod Rod) *rodImage {
	d, h := rod.DiameterMM, rod.HeightMM
	if d == 0 {
		d = usualRod
	}
	switch {
	case h > 0:
	case rod.Hangs:
		h = threadHeight
	default:
		h = usualHeight
	}
	return &rodImage{
		camera: p.Pose.Centre(), radius: d/2 + rodMargin, height: h * heightMargin, known: rod.HeightMM > 0,
		plain: s.Dial.ClearZone[1] - ringClear,
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

// belowHead is the height below which the rod wears no head, mm: of one of unknown height an own one.
func (r *rodImage) belowHead(unknown float64) float64 {
	if r.known {
		return belowCap * r.height
	}
	return unknown
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
	// Most places are far to the side of it.
	cross := r.camera[0]*dy - r.camera[1]*dx
	if sq(cross) >= sq(r.radius+maskGrows*r.height)*l2 && q.X*q.X+q.Y*q.Y >= sq(r.radius) {
		return false
	}
	// Closest approach to the foot in plan; from the tip on the ray is above the rod.
	t := -(r.camera[0]*dx + r.camera[1]*dy) / l2
	z := r.camera[2] * (1 - t)
	if z < -1 || t < 0 {
		return math.Hypot(q.X, q.Y) < r.radius
	}
	return z < r.height && math.Abs(cross)/math.Sqrt(l2) < r.radius+maskGrows*z
}
