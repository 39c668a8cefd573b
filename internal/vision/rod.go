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
	plate  *calib.Plate
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
		plate: p, camera: p.Pose.Centre(), radius: d/2 + 0.5, height: h * 1.04, known: rod.HeightMM > 0,
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

// shadowBeside reports whether dark paper lines the rod's image: a shadow that
// looks out from behind it.
func (r *rodImage) shadowBeside(d *dialImage) bool {
	dir := r.direction()
	if r.length() < leastStrip {
		return false
	}
	dark, seen := 0, 0
	for j, row := range d.ratio {
		if d.radius(j) > r.length() {
			break
		}
		for _, side := range []int{1, -1} {
			// The first visible places beside the mask, together against the noise.
			sum, n := 0.0, 0
			for k := 0; k < dialColumns/4 && n < 4; k++ {
				v := row[((column(dir)+side*k)%dialColumns+dialColumns)%dialColumns]
				if !math.IsNaN(v) {
					sum += v
					n++
				}
			}
			if n == 0 {
				continue
			}
			seen++
			if sum/float64(n) < 0.75 {
				dark++
			}
		}
	}
	return seen > 10 && dark*4 > seen
}

// shadowBeyond reports whether a dark line goes on where the rod's image ends: the
// shadow that it covers.
func (r *rodImage) shadowBeyond(g *Gray, d *dialImage) bool {
	f := newFrame(r.direction(), 0)
	light := r.overPaper(g, d)
	dark, seen := 0, 0
	for s := r.length() + 2; s < r.plain; s++ {
		mid, flank := light(f.at(s, 0)), min(light(f.at(s, -4)), light(f.at(s, 4)))
		if math.IsNaN(mid + flank) {
			continue
		}
		seen++
		if mid < 0.8*flank {
			dark++
		}
	}
	return dark >= 6 && 2*dark > seen
}

// absent reports that there is no rod where one must be seen.
func (r *rodImage) absent(g *Gray, d *dialImage) bool {
	nowhere := &Strip{Direction: r.direction() + math.Pi}
	_, seen, told := r.look(r.overPaper(g, d), nowhere)
	return told && !seen
}

// overPaper returns the light at a place over that of unshaded paper there; NaN
// outside the picture.
func (r *rodImage) overPaper(g *Gray, d *dialImage) func(sheet.Point) float64 {
	raw := g.at(r.plate)
	return func(p sheet.Point) float64 { return raw(p) / d.paper.at(p.X, p.Y) }
}
