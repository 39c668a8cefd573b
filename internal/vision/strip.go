package vision

import (
	"math"
	"slices"

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
	// RodAxis is the rod's axis as seen before plain paper; nil where too little is.
	RodAxis *RodAxis
	// Ends of the measured part as seen in the picture: the axis and both edges.
	Axis, Left, Right [2]calib.Pixel
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

// profileRow is the light across the strip at one distance from the foot, divided
// by the paper's light beside it.
type profileRow struct {
	s     float64   // mm from the foot
	light []float64 // at n = first + k*step; NaN where unseen
	// Edges in n, mm, and whether they could be measured.
	left, right float64
	ok          bool
}

// stripFit is the work space of one measurement.
type stripFit struct {
	g     *Gray
	plate *calib.Plate
	frame frame
	step  float64 // mm between samples across
	first float64 // n of the first sample
	rows  []profileRow
	// The model: both edges as lines in s, the depth and the blur.
	left, right fitLine
	depth       float64 // at middle
	// fade is how much of the depth is lost for each mm beyond middle, mm from the foot.
	fade, middle float64
	head         float64 // half width of the shadow's broader end, mm
	held         bool    // it begins with the broader shadow of what holds the foot
	blur, grow   float64 // sigma of the edge at the foot, mm, and its growth squared per mm squared
}

// fitLine is n = a + b*(s-mid), with its covariance.
type fitLine struct {
	a, b, mid  float64
	varA, varB float64
	scatter    float64
	used       int
	// bend is half the second derivative, 1/mm: n = a + b(s-mid) + bend (s-mid)^2.
	bend, varBend float64
	curve         [2]float64 // a and b of that parabola
}

// bent reports whether the line is surely bent.
func (l fitLine) bent() bool { return !(l.bend*l.bend < sureBow*sureBow*l.varBend) }

// follow is at, along the parabola where it is surely bent: to look for what lies beyond.
func (l fitLine) follow(s float64) float64 {
	if !l.bent() {
		return l.at(s)
	}
	x := s - l.mid
	return l.curve[0] + l.curve[1]*x + l.bend*x*x
}

func (l fitLine) at(s float64) float64 { return l.a + l.b*(s-l.mid) }

// sampleRows reads the light in a window of half width half about the frame's axis
// between two distances from the foot, a row every so many pixels. hidden tells the
// paper that the rod covers.
func (f *stripFit) sampleRows(from, to, half float64, hidden func(sheet.Point) bool, edge, every float64) {
	least, most := f.plate.Scale(f.frame.at((from+to)/2, 0))
	scale := math.Sqrt(least * most)
	ds := every / scale
	f.step = 0.5 / scale
	count := 2*int(half/f.step) + 1
	f.first = -float64(count/2) * f.step
	f.rows = f.rows[:0]
	for s := from; s <= to; s += ds {
		a := f.plate.Project(f.frame.at(s, f.first))
		b := f.plate.Project(f.frame.at(s, 0))
		c := f.plate.Project(f.frame.at(s, -f.first))
		row := profileRow{s: s, light: make([]float64, count)}
		blocked := false
		for k := range row.light {
			n := f.first + float64(k)*f.step
			// The map bends so little over a few millimetres that a parabola
			// through three points is exact to thousandths of a pixel.
			t := n / -f.first // -1..1
			qa, qb, qc := t*(t-1)/2, 1-t*t, t*(t+1)/2
			q := calib.Pixel{U: qa*a.U + qb*b.U + qc*c.U, V: qa*a.V + qb*b.V + qc*c.V}
			if !f.g.contains(q, 1) || hidden(f.frame.at(s, n)) {
				row.light[k] = math.NaN()
				if math.Abs(n) < edge {
					blocked = true
				}
				continue
			}
			row.light[k] = f.g.light(q.U, q.V)
		}
		row.ok = !blocked
		f.rows = append(f.rows, row)
	}
}

// level is the mean of the samples with n in [a, b]; NaN when under a third is seen.
func (f *stripFit) level(r *profileRow, a, b float64) float64 {
	i, j := int(math.Ceil((a-f.first)/f.step)), int((b-f.first)/f.step)
	i, j = max(i, 0), min(j, len(r.light)-1)
	sum, n := 0.0, 0
	for k := i; k <= j; k++ {
		if v := r.light[k]; !math.IsNaN(v) {
			sum += v
			n++
		}
	}
	if n == 0 || 3*n < j-i+1 {
		return math.NaN()
	}
	return sum / float64(n)
}

// normalise divides every row by the light of the paper to both sides, smoothed
// along the strip, and puts rows aside whose flanks differ (another shadow's edge,
// dirt) or are dark (inside a large shadow). inner is where the flanks begin.
func (f *stripFit) normalise(inner float64, lit func(sheet.Point) float64) {
	half := -f.first
	n := len(f.rows)
	l, r := make([]float64, n), make([]float64, n)
	for i := range f.rows {
		row := &f.rows[i]
		l[i], r[i] = f.level(row, -half, -inner), f.level(row, inner, half)
	}
	ls, rs := runningMedian(l, 7), runningMedian(r, 7)
	for i := range f.rows {
		row := &f.rows[i]
		a, b := ls[i], rs[i]
		if math.IsNaN(a) {
			a = b
		} else if math.IsNaN(b) {
			b = a
		}
		paper := lit(f.frame.at(row.s, 0))
		if math.IsNaN(a) || a < 0.7*b || b < 0.7*a || min(a, b) < 0.6*paper {
			row.ok = false
			continue
		}
		mid := (half + inner) / 2
		for k := range row.light {
			t := (f.first + float64(k)*f.step) / mid
			row.light[k] /= (a+b)/2 + (b-a)/2*max(-1, min(1, t))
		}
	}
}

func runningMedian(xs []float64, reach int) []float64 {
	out := make([]float64, len(xs))
	var w []float64
	for i := range xs {
		w = w[:0]
		for k := max(0, i-reach); k <= min(len(xs)-1, i+reach); k++ {
			if !math.IsNaN(xs[k]) {
				w = append(w, xs[k])
			}
		}
		if len(w) == 0 || math.IsNaN(xs[i]) && len(w) < 3 {
			out[i] = math.NaN()
			continue
		}
		slices.Sort(w)
		out[i] = w[len(w)/2]
	}
	return out
}

func (f *stripFit) sigma(s float64) float64 { return math.Sqrt(f.blur*f.blur + f.grow*s*s) }

// cdf and phi are the normal law and its density, from a table of 64 steps to the
// unit with straight lines between: good to 3e-5.
func cdf(x float64) float64 { return lookUp(&normalTable, x) }

func phi(x float64) float64 { return math.Exp(-x*x/2) / math.Sqrt(2*math.Pi) }

const normalReach, normalSteps = 5, 64

var normalTable = func() (t [2*normalReach*normalSteps + 2]float64) {
	for i := range t {
		t[i] = 0.5 * math.Erfc(-(float64(i)/normalSteps-normalReach)/math.Sqrt2)
	}
	return t
}()

func lookUp(t *[2*normalReach*normalSteps + 2]float64, x float64) float64 {
	y := (x + normalReach) * normalSteps
	if !(y > 0) {
		return 0
	}
	if y >= 2*normalReach*normalSteps {
		return 1
	}
	i := int(y)
	return t[i] + (y-float64(i))*(t[i+1]-t[i])
}

// measureEdges moves each row's two edges by one Newton step of the most likely
// position, the model being a strip of shadow with two blurred edges:
//
//	m(n) = 1 - depth * cdf((n-left)/sigma) * cdf((right-n)/sigma)
//
// For white noise this estimate reaches the Cramer-Rao bound.
func (f *stripFit) measureEdges() {
	for i := range f.rows {
		row := &f.rows[i]
		if !row.ok {
			continue
		}
		s, depth := f.sigma(row.s), f.depthAt(row.s)
		l, r := f.left.at(row.s), f.right.at(row.s)
		var ll, lr, rr, bl, br float64
		reach := 2.5*s + 0.1
		for k, v := range row.light {
			n := f.first + float64(k)*f.step
			if n < l-reach || n > r+reach || n > l+reach && n < r-reach {
				continue
			}
			if math.IsNaN(v) {
				row.ok = false
				break
			}
			cl, cr := cdf((n-l)/s), cdf((r-n)/s)
			m := 1 - depth*cl*cr
			dl := depth * phi((n-l)/s) / s * cr
			dr := -depth * phi((r-n)/s) / s * cl
			e := v - m
			ll, lr, rr = ll+dl*dl, lr+dl*dr, rr+dr*dr
			bl, br = bl+dl*e, br+dr*e
		}
		det := ll*rr - lr*lr
		if !row.ok || !(det > 1e-6*ll*rr) {
			row.ok = false
			continue
		}
		most := 1.5*s + 0.2
		row.left = l + max(-most, min(most, (rr*bl-lr*br)/det))
		row.right = r + max(-most, min(most, (ll*br-lr*bl)/det))
	}
}

// fitEdgeLine fits a line through value(row) over the good rows with a biweight.
func (f *stripFit) fitEdgeLine(value func(*profileRow) float64) fitLine {
	var ss, ns []float64
	for i := range f.rows {
		if r := &f.rows[i]; r.ok {
			ss, ns = append(ss, r.s), append(ns, value(r))
		}
	}
	return robustLine(ss, ns)
}

// robustLine fits n = a + b (s - mid) with Tukey's biweight and estimates the
// variances of a and b from the residuals, allowing for their correlation from row
// to row (interpolation, paper texture and JPEG blocks make neighbours alike).
func robustLine(ss, ns []float64) fitLine {
	var l fitLine
	if len(ss) < 6 {
		l.varA, l.varB = math.Inf(1), math.Inf(1)
		return l
	}
	for _, s := range ss {
		l.mid += s / float64(len(ss))
	}
	w := make([]float64, len(ss))
	for i := range w {
		w[i] = 1
	}
	res := make([]float64, len(ss))
	abs := make([]float64, len(ss))
	var sw, sx, sy, sxx, sxy float64
	for iter := range 8 {
		sw, sx, sy, sxx, sxy = 0, 0, 0, 0, 0
		for i := range ss {
			x, y := ss[i]-l.mid, ns[i]
			sw += w[i]
			sx += w[i] * x
			sy += w[i] * y
			sxx += w[i] * x * x
			sxy += w[i] * x * y
		}
		det := sw*sxx - sx*sx
		if det <= 0 {
			l.varA, l.varB = math.Inf(1), math.Inf(1)
			return l
		}
		l.a, l.b = (sxx*sy-sx*sxy)/det, (sw*sxy-sx*sy)/det
		for i := range ss {
			res[i] = ns[i] - l.at(ss[i])
			abs[i] = math.Abs(res[i])
		}
		l.scatter = max(1e-4, 1.4826*quantile(abs, 0.5))
		c := 4.685 * l.scatter
		if iter < 2 {
			c *= 3
		}
		for i, r := range res {
			w[i] = 0
			if u := r / c; math.Abs(u) < 1 {
				w[i] = (1 - u*u) * (1 - u*u)
			}
		}
	}
	// The bow is taken out before the residuals are looked at: they would take it for
	// noise that is alike from row to row.
	bent := parabola(ss, ns, l, w)
	for i := range ss {
		x := ss[i] - l.mid
		res[i] = ns[i] - (bent[0] + bent[1]*x + bent[2]*x*x)
	}
	l.bend, l.curve = bent[2], [2]float64{bent[0], bent[1]}
	// Residual variance and its correlation over lags up to an eighth of the line.
	v, n := 0.0, 0.0
	for i, r := range res {
		v += w[i] * r * r
		n += w[i]
		if w[i] > 0.2 {
			l.used++
		}
	}
	v /= max(n-3, 1)
	inflate := 1.0
	lags := min(len(res)/8, 24)
	for k := 1; k <= lags; k++ {
		c, m := 0.0, 0.0
		for i := 0; i+k < len(res); i++ {
			ww := math.Sqrt(w[i] * w[i+k])
			c += ww * res[i] * res[i+k]
			m += ww
		}
		if m > 0 {
			inflate += 2 * (1 - float64(k)/float64(lags+1)) * c / m / v
		}
	}
	inflate = max(1, inflate)
	det := sw*sxx - sx*sx
	l.varA, l.varB = inflate*v*sxx/det, inflate*v*sw/det
	l.varBend = inflate * v * bent[3]
	return l
}

// parabola fits n = a + b x + c x^2, x = s - mid, to a robust line's neighbourhood: the
// line's weights first, then those of its own residuals. It returns a, b, c, and the
// variance of c for residuals of variance 1.
func parabola(ss, ns []float64, l fitLine, w []float64) (p [4]float64) {
	w = slices.Clone(w)
	for i := range w {
		// A bow alone must not put the ends of the line aside.
		if r := math.Abs(ns[i]-l.at(ss[i])) / max(l.scatter, 1e-4); r < 12 {
			w[i] = max(w[i], 0.3)
		}
	}
	abs := make([]float64, len(ss))
	for range 5 {
		var m [6]float64 // sums of w x^k
		var y [3]float64
		for i := range ss {
			x := ss[i] - l.mid
			f := w[i]
			for k := range 5 {
				m[k] += f
				if k < 3 {
					y[k] += f * ns[i]
				}
				f *= x
			}
		}
		det := m[0]*(m[2]*m[4]-m[3]*m[3]) - m[1]*(m[1]*m[4]-m[2]*m[3]) + m[2]*(m[1]*m[3]-m[2]*m[2])
		if !(det > 0) {
			return [4]float64{l.a, l.b, 0, math.Inf(1)}
		}
		p[0] = (y[0]*(m[2]*m[4]-m[3]*m[3]) - m[1]*(y[1]*m[4]-m[3]*y[2]) + m[2]*(y[1]*m[3]-m[2]*y[2])) / det
		p[1] = (m[0]*(y[1]*m[4]-m[3]*y[2]) - y[0]*(m[1]*m[4]-m[2]*m[3]) + m[2]*(m[1]*y[2]-m[2]*y[1])) / det
		p[2] = (m[0]*(m[2]*y[2]-m[3]*y[1]) - m[1]*(m[1]*y[2]-m[2]*y[1]) + y[0]*(m[1]*m[3]-m[2]*m[2])) / det
		p[3] = (m[0]*m[2] - m[1]*m[1]) / det
		for i := range ss {
			x := ss[i] - l.mid
			abs[i] = math.Abs(ns[i] - (p[0] + p[1]*x + p[2]*x*x))
		}
		c := 4.685 * max(1e-4, 1.4826*quantile(slices.Clone(abs), 0.5))
		for i, r := range abs {
			w[i] = 0
			if u := r / c; u < 1 {
				w[i] = (1 - u*u) * (1 - u*u)
			}
		}
	}
	return p
}
