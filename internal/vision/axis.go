package vision

import (
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/calib"
)

// RodAxis is the image of the rod's axis: two pixels on it, and what their places leave
// open of the rod's slope across the line of sight (calib.Plate.SlopeAcross), one
// sigma, mm per mm out of the plate.
type RodAxis struct {
	Ends       [2]calib.Pixel
	SlopeSigma float64
	along      frame // on the paper
}

const (
	// axisLeast is the least height between the ends of an axis, mm at the rod.
	axisLeast = 7.0
	// axisFloor is one sigma of a rod's slope that its light leaves open, mm per mm: what
	// the sun lights differs less from the paper than what it does not, and not everywhere
	// alike. Measured on rods of five materials (TestRodSlope in package reading).
	axisFloor = 0.0015
	// axisTaper is how much a rod's width may change between the ends, as a part of it.
	axisTaper = 0.15
	// The image is looked across every axisAlong mm, in steps of axisAcross mm to acrossReach
	// to each side; a run counts that is leastRun broad and lies within acrossOff of the axis
	// that the camera's place predicts.
	axisAlong, axisAcross  = 0.3, 0.15
	acrossReach, acrossOff = 6.0, 3.2
	leastRun               = 0.6
	axisRows               = 12 // looks that each edge must have
	// Up to belowCap of a stated height there is no head on a rod's tip; shortRod, mm, is what
	// one of unknown height has at least.
	belowCap = 0.8
	shortRod = 28.0
	// besideShadow is how near the strip's edge the image is left out, mm.
	besideShadow = 3.5
	// Something stands there where the light differs from the paper's by differsLeast or by
	// differsNoise sigmas of a pixel's.
	differsLeast, differsNoise = 0.1, 5
	clearOfFoot                = 5.8 // mm from the foot, where its ring and cross end
)

// rodAxis measures the image of the rod's axis on the plain paper, from both edges, below
// the cap that its tip may wear.
func (q *search) rodAxis(st *Strip) *RodAxis {
	r := q.img
	f := newFrame(r.direction(), 0)
	high := r.camera[2]
	ds, left, right := q.rodEdges(f, newFrame(st.Direction, st.FootOffset), st.Width, st.Noise, r.belowHead(shortRod), 0)
	a, b := robustLine(ds, left), robustLine(ds, right)
	if a.used < axisRows || b.used < axisRows {
		return nil
	}
	var height, width [2]float64
	// The middle of the edges, a line through d and n.
	k, n := (a.b+b.b)/2, (a.at(0)+b.at(0))/2
	out := &RodAxis{along: newFrame(r.direction()+angle.Atan2(k, 1), n/math.Hypot(1, k))}
	for i, d := range [2]float64{ds[0], ds[len(ds)-1]} {
		height[i] = r.heightBefore(d)
		width[i] = (b.at(d) - a.at(d)) * (high - height[i]) / high
		out.Ends[i] = q.plate.Project(f.at(d, (a.at(d)+b.at(d))/2))
	}
	rise := height[1] - height[0]
	taper := math.Abs(width[1] - width[0])
	if rise < axisLeast || taper > axisTaper*(width[0]+width[1])/2 {
		return nil
	}
	// The scatter of the middle between the ends, brought back from the paper to the rod,
	// and half of what the two edges disagree by.
	span := (ds[len(ds)-1] - ds[0]) * (high - height[1]) / high
	scatter := math.Sqrt(a.varB+b.varB) / 2 * span / rise
	out.SlopeSigma = math.Sqrt(scatter*scatter + taper*taper/(4*rise*rise) + axisFloor*axisFloor)
	return out
}

// runAcross returns the edges of the run that lies nearest to 0 where over is above 0,
// within acrossReach, but for holes of less than some mm; ok is false where it is unseen, is cut or lies
// more than acrossOff away.
func runAcross(over func(n float64) float64, hole float64) (left, right float64, ok bool) {
	const step = axisAcross
	nearest := acrossOff
	start, ended, inside := 0.0, math.Inf(-1), false
	last := over(-acrossReach)
	for n := -acrossReach + step; n <= acrossReach; n += step {
		v := over(n)
		if math.IsNaN(v) {
			return 0, 0, false
		}
		cross := n - step*v/(v-last) // where the light passes the bar, between the two
		switch {
		case v > 0 && last <= 0:
			if inside = true; cross-ended >= hole {
				start = cross
			}
		case v <= 0 && last > 0 && inside:
			inside, ended = false, cross
			if gap := max(start, -cross, 0); cross-start > leastRun && (gap < nearest || ok && start == left) {
				left, right, ok, nearest = start, cross, true, gap
			}
		}
		last = v
	}
	return left, right, ok
}
