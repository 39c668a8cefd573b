package vision

import (
	"shadowread/internal/angle"
	"shadowread/internal/calib"
	"shadowread/internal/sheet"
)

// Strip is the measured shadow of the rod on the paper.
type Strip struct {
	Direction  angle.Angle // on the paper, clockwise from forward, away from the foot
	Sigma      angle.Angle // of Direction, from the pixels alone
	FootOffset float64     // mm by which the axis passes the printed foot, to the right positive, seen along the shadow
	FootSigma  float64     // mm, of FootOffset
	Width      float64     // mm between the 50 % edges
	Depth      float64     // part of the light that the shadow takes away
	From, To   float64     // mm from the foot: the part of the strip that was measured
	// Length is from the rod's axis at the foot to the shadow of the axis's tip, mm;
	// 0 when the tip's shadow cannot be seen. LengthSigma is its uncertainty.
	Length, LengthSigma float64
	// AtLeast bounds the same length from below where the tip is not seen: as far as
	// the shadow was followed, mm; 0 where Length is known or nothing is.
	AtLeast float64
	// Nodus is the distance from the rod's axis at the foot to the shadow of the
	// middle of its bead, mm, with its sigma; 0 where none was stated or found.
	Nodus, NodusSigma float64
	Noise             float64 // scatter of a pixel beside the strip, as a part of the paper's light
	// Growth is that of the variance of the edges' blur with the square of the distance:
	// the least and the most that the camera's own blur leaves.
	Growth      [2]float64
	GrowthSigma float64
	// Bow is how far the axis of the shadow stands off the straight line from foot to tip,
	// at most, to the right positive, mm; 0 unless it is surely bowed.
	Bow float64
	// Narrows is the sigma of a shadow whose edges run together by more than is seen of the rod, in which
	// one of them may be another shadow's; 0 elsewhere. Sigma is the same where such a strip is a reading.
	Narrows angle.Angle
	// Hangs says of a gnomon that was said to hang that it is seen to go up higher than
	// rods do.
	Hangs bool
	// RodTop is the pixel of the tip of the rod's axis, where the rod's image ends;
	// nil where it is not seen to.
	RodTop      *calib.Pixel
	RodTopSigma float64 // mm on the paper, along the rod's image
	// Held says that the strip begins at the foot with the broader shadow of what holds it.
	Held bool
	// Head is the half width of the shadow of a head, a cork or a ball on the tip, mm; 0
	// where none is seen.
	Head float64
	// Bare says that its end is seen, and no head there.
	Bare bool
	// RodAxis is the rod's axis as seen before plain paper; nil where too little is.
	RodAxis   *RodAxis
	cast      bool        // it darkens other ground beyond the paper by the same part of the light
	fit       *stripFit   // what it was measured by
	seenSigma angle.Angle // what of Sigma the strip itself shows, a bow of a wire aside
	// Ends of the measured part as seen in the picture: the axis and both edges.
	Axis, Left, Right [2]calib.Pixel
}

// Turn turns the strip about its middle, by what the heights of the paper did to it.
func (st *Strip) Turn(by angle.Angle) {
	st.Direction = (st.Direction + by).Bearing()
	st.FootOffset -= float64(by) * (st.From + st.To) / 2
}

// frame is a straight coordinate system on the paper: s along a direction from
// near the foot, n to its right.
type frame struct {
	u, v   sheet.Point // unit vectors along and to the right
	offset float64     // mm to the right of the foot
}

func newFrame(dir angle.Angle, offset float64) frame {
	s, c := dir.Sin(), dir.Cos()
	return frame{u: sheet.Point{X: s, Y: c}, v: sheet.Point{X: c, Y: -s}, offset: offset}
}

func (f frame) at(s, n float64) sheet.Point {
	n += f.offset
	return sheet.Point{X: s*f.u.X + n*f.v.X, Y: s*f.u.Y + n*f.v.Y}
}

// place returns where a point of the paper lies in the frame.
func (f frame) place(p sheet.Point) (s, n float64) {
	return p.X*f.u.X + p.Y*f.u.Y, p.X*f.v.X + p.Y*f.v.Y - f.offset
}
