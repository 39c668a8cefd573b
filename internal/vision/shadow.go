package vision

import (
	"errors"
	"fmt"
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/calib"
	"shadowread/internal/sheet"
)

// What keeps a shadow from being read.
var (
	ErrNoShadow  = errors.New("no shadow of the rod")
	ErrAmbiguous = errors.New("more than one line may be the rod's shadow")
	ErrRodHides  = errors.New("the rod's image covers its shadow")
	// ErrStands reports a rod that was said to be a plumb line.
	ErrStands = errors.New("the gnomon ends above the paper: it stands and does not hang")
	ErrBowed  = errors.New("the shadow is bowed by too much to say where its tip points")
	// ErrFootShaded is an ErrNoShadow whose cause is known.
	ErrFootShaded = fmt.Errorf("%w: the foot stands in another shadow", ErrNoShadow)
)

// Rod is what is known of the gnomon; zero means unknown.
type Rod struct {
	HeightMM, DiameterMM float64
	// NodusMM is the height of the middle of a bead or a ring of tape on the rod.
	NodusMM float64
	// ShadowMM is how long its shadow should be by the clock.
	ShadowMM float64
	// Hangs tells a plumb line, whose thread may pass the paper up to a centimetre from
	// the printed foot and need not stand square to it.
	Hangs bool
}

const (
	// mm of clear strip below which no direction is given: of a rod, and of a wire, whose
	// bow so short a piece does not show.
	leastStrip, leastWire = 6.0, 10.0
	shadowStart           = 6.0 // mm: outside the foot's cross, which ends at 5
	footMost              = 3.0 // mm by which a shadow may miss the foot
	// A strip whose sigma is above vagueMost (four of them make a degree) for another cause
	// than noise, its edges taper, bow or jump: two shadows in one. Texture and ticks of
	// the light raise a straight strip's sigma to some ten times the noise's.
	vagueMost  = 0.25 * angle.Degree
	vagueNoise = 20
)

// FindShadow measures the strip of shadow that the rod casts on the dial.
//
// Candidates are dark two-sided lines from near the foot (dialImage.rays). The rod
// itself is such a line; its image is predicted from the camera's place and
// masked. Each candidate is then measured edge by edge and must look like a
// shadow: two parallel edges, a rod's width, and no witness against it (castByRod).
func FindShadow(g *Gray, p *calib.Plate, s *sheet.Sheet, rod Rod) (*Strip, error) {
	if rod.Hangs {
		return findHanging(g, p, s, rod)
	}
	return findStanding(g, p, s, rod, newRodImage(p, s, rod))
}

// findStanding measures the strip of a rod that stands on the origin of the plate's
// frame.
func findStanding(g *Gray, p *calib.Plate, s *sheet.Sheet, rod Rod, img *rodImage) (*Strip, error) {
	dial, ok := lookAtDial(g, p, s, img.hides)
	if !ok {
		return nil, ErrNoShadow
	}
	rays := dial.rays(rod.DiameterMM, offsetMost)
	var strips []*Strip
	var scores []float64
	covered, shaded, bowed := false, false, false
	for i, r := range rays {
		if i >= 6 {
			break
		}
		through, joined := throughFoot(rays, r, img)
		if through {
			continue
		}
		strip, err := measureStrip(g, p, s, r, rod, img, dial)
		if err == nil {
			err = strip.castByRod(g, dial, img, s, rod)
		}
		covered = covered || errors.Is(err, ErrRodHides)
		shaded = shaded || errors.Is(err, ErrFootShaded)
		bowed = bowed || errors.Is(err, ErrBowed)
		if err == nil && joined && !strip.asBroadAs(rod) {
			return nil, ErrAmbiguous
		}
		if err == nil {
			strips, scores = append(strips, strip), append(scores, r.score)
		}
	}
	switch {
	case len(strips) == 0 && bowed:
		return nil, ErrBowed
	case len(strips) == 0 && shaded:
		return nil, ErrFootShaded
	case len(strips) == 0 && !img.absent(g, dial) && (covered || img.shadowBeside(dial) || img.shadowBeyond(g, dial)):
		return nil, ErrRodHides
	case len(strips) == 0:
		return nil, ErrNoShadow
	}
	best := strips[0]
	for i, o := range strips[1:] {
		apart := (o.Direction - best.Direction).Signed().Abs()
		if apart > 1*angle.Degree && scores[i+1] > 0.35*scores[0] {
			return nil, ErrAmbiguous
		}
	}
	best.RodAxis = img.axis(img.overPaper(g, dial), best)
	if tip, sigma, ok := img.top(g.at(p), s, best); ok {
		best.RodTop, best.RodTopSigma = &tip, sigma
	}
	return best, nil
}

// throughFoot reports whether a line goes on beyond the foot: the shadow of a rod
// begins there, a wire's or a crease's does not. What lies along the rod's image may
// be the rod; castByRod looks there more closely. joined tells a line from behind that
// misses the foot and runs into the strip farther out, so that the two pass for one.
func throughFoot(rays []ray, r ray, img *rodImage) (through, joined bool) {
	for _, o := range rays {
		if (o.dir-img.direction()).Signed().Abs() < 12*angle.Degree && o.length < img.length()+8 {
			continue
		}
		turn := (o.dir - r.dir - math.Pi).Signed()
		if o.score < 0.4*r.score || turn.Abs() > 8*angle.Degree {
			continue
		}
		through = through || turn.Abs() < 6*angle.Degree && math.Abs(o.offset+r.offset) < 1.5
		joined = joined || math.Abs(o.offset+r.offset-20*turn.Tan()) < 1.5 // 20 mm out
	}
	return through, joined
}

// measureStrip measures one candidate. It returns ErrNoShadow when the line does
// not look like a rod's shadow and ErrRodHides when the rod's image leaves too
// little of it.
func measureStrip(g *Gray, p *calib.Plate, s *sheet.Sheet, r ray, rod Rod, img *rodImage, dial *dialImage) (*Strip, error) {
	f := &stripFit{g: g, plate: p, frame: newFrame(r.dir, r.offset)}
	least, most := p.Scale(f.frame.at(30, 0))
	px := math.Sqrt(least * most)
	inner := max(2.4, rod.DiameterMM/2+1)
	edges := max(2, rod.DiameterMM/2+0.4) // n within which every sample must be seen
	to := s.Dial.ClearZone[1] - 0.6
	lit := func(q sheet.Point) float64 { return dial.paper.at(q.X, q.Y) }
	// A first look gives the width; a second, with the flanks set to it, measures.
	width := rod.DiameterMM
	every, turns := 2.0, 3
	f.recentre(r, to, img.hides, lit)
	for pass := range 2 {
		if pass == 1 {
			every, turns = 1, 4
			inner = width/2 + max(0.9, 2.5*f.sigma(50))
			edges = width/2 + 0.35
		}
		f.sampleRows(shadowStart, to, inner+1.8, img.hides, edges, every)
		total := len(f.rows)
		visible := f.good()
		f.keepBare(lit)
		f.normalise(inner, lit)
		if !f.start(r, 0.8/px) {
			if visible < total/2 {
				return nil, ErrRodHides
			}
			return nil, ErrNoShadow
		}
		f.cutEnd()
		f.cutCap()
		if f.good() < 6 {
			if visible < total/2 {
				return nil, ErrRodHides
			}
			return nil, ErrNoShadow
		}
		for iter := range turns {
			f.measureEdges()
			f.left = f.fitEdgeLine(func(r *profileRow) float64 { return r.left })
			f.right = f.fitEdgeLine(func(r *profileRow) float64 { return r.right })
			if f.left.used < 6 || f.right.used < 6 {
				return nil, ErrNoShadow
			}
			if iter < turns-1 {
				f.refineLight()
			}
		}
		axis := f.axis()
		width = f.right.at(axis.mid) - f.left.at(axis.mid)
		if !(width > 0.4 && width < 12) {
			return nil, ErrNoShadow
		}
		// The second pass runs along the measured axis.
		if pass == 0 {
			off := f.frame.offset + axis.at(0)
			f.frame = newFrame(f.direction()+angle.Atan2(axis.b, 1), off)
		}
	}
	return f.strip(rod, s, img, lit)
}

func (f *stripFit) good() (n int) {
	for i := range f.rows {
		if f.rows[i].ok {
			n++
		}
	}
	return n
}

// start finds first values for the model from the median profile of the rows
// nearest to the foot, where every shadow is.
func (f *stripFit) start(r ray, blur float64) bool {
	count := len(f.rows[0].light)
	profile := make([]float64, count)
	near := math.Inf(1)
	for i := range f.rows {
		if f.rows[i].ok {
			near = min(near, f.rows[i].s)
		}
	}
	var col []float64
	for k := range profile {
		col = col[:0]
		for i := range f.rows {
			row := &f.rows[i]
			if row.ok && row.s < min(max(30, near+15), r.length-1) && !math.IsNaN(row.light[k]) {
				col = append(col, row.light[k])
			}
		}
		if len(col) < 4 {
			profile[k] = math.NaN()
			continue
		}
		profile[k] = quantile(col, 0.5)
	}
	// The darkest place near the axis and the half-depth crossings to both sides.
	low, at := math.Inf(1), -1
	smooth := smoothed(profile, 2)
	for k, v := range smooth {
		if n := f.first + float64(k)*f.step; math.Abs(n) < 1.2 && v < low {
			low, at = v, k
		}
	}
	if at < 0 || low > 0.96 {
		return false
	}
	half := (1 + low) / 2
	a, b := at, at
	for a > 0 && smooth[a] < half {
		a--
	}
	for b < count-1 && smooth[b] < half {
		b++
	}
	if !(smooth[a] >= half) || !(smooth[b] >= half) {
		return false
	}
	f.left = fitLine{a: f.first + float64(a)*f.step}
	f.right = fitLine{a: f.first + float64(b)*f.step}
	f.depth = 1 - low
	f.blur, f.grow, f.fade = max(blur, 0.05), 1e-5, 0
	return true
}

func smoothed(xs []float64, reach int) []float64 {
	out := make([]float64, len(xs))
	for i := range xs {
		s, n := 0.0, 0
		for k := max(0, i-reach); k <= min(len(xs)-1, i+reach); k++ {
			if !math.IsNaN(xs[k]) {
				s += xs[k]
				n++
			}
		}
		out[i] = s / float64(n) // NaN when nothing is seen
	}
	return out
}

// recentre lays the frame along the darkest places of the rows: a ray beside the
// rod's image is known to a few degrees only, since half of its dark is masked.
func (f *stripFit) recentre(r ray, to float64, hidden func(sheet.Point) bool, lit func(sheet.Point) float64) {
	const reach = 3.2 // mm to each side
	f.sampleRows(shadowStart, min(to, r.length-0.5), reach+1, hidden, 0, 2)
	span := max(1, int(0.6/f.step))
	var ss, ns []float64
	for i := range f.rows {
		row := &f.rows[i]
		paper := lit(f.frame.at(row.s, 0))
		low, at := (1-0.4*r.depth)*paper, math.NaN()
		for k := span; k+span < len(row.light); k++ {
			n := f.first + float64(k)*f.step
			if math.Abs(n) > reach {
				continue
			}
			if v := f.level(row, n-0.6, n+0.6); v < low {
				low, at = v, n
			}
		}
		if !math.IsNaN(at) {
			ss, ns = append(ss, row.s), append(ns, at)
		}
	}
	if l := robustLine(ss, ns); l.used >= 8 && math.Abs(l.b) < 0.15 {
		f.frame = newFrame(r.dir+angle.Atan2(l.b, 1), f.frame.offset+l.at(0))
	}
}

// cutEnd puts aside the rows from a little before the place where the strip ends:
// the shadow of the rod's tip is round and blurred; and those before it begins, where a
// cork or a lump of clay lies over it.
func (f *stripFit) cutEnd() {
	depth := make([]float64, len(f.rows))
	for i := range f.rows {
		row := &f.rows[i]
		depth[i] = math.NaN()
		if row.ok {
			m := (f.left.at(row.s) + f.right.at(row.s)) / 2
			w := max((f.right.at(row.s)-f.left.at(row.s))/4, f.step)
			depth[i] = 1 - f.level(row, m-w, m+w)
		}
	}
	med := runningMedian(depth, 6)
	end, low, high := len(med), 0, 0
	for i, d := range med {
		switch {
		case math.IsNaN(d):
		case high < 4: // not begun
			if high++; d < 0.5*f.depth {
				high = 0
				f.rows[i].ok = false
			}
		case d < 0.5*f.depth:
			if low++; low >= 8 {
				end = i - low + 1
			}
		default:
			low = 0
		}
		if end < len(med) {
			break
		}
	}
	if end == len(med) {
		return
	}
	f.dropFrom(f.rows[end].s - (f.right.a-f.left.a)/2 - 0.6 - 0.006*f.rows[end].s)
}

// cutCap puts aside the rows from where the strip widens to both sides at once for
// good: a cap on the rod's tip casts a broader shadow. Where the strip goes on
// beyond, another shadow crosses it, and only the crossing is left out.
func (f *stripFit) cutCap() {
	first, wide, beyond := -1, false, 0
	for i := range f.rows {
		row := &f.rows[i]
		gap := 3*f.sigma(row.s) + 0.15
		l, r := f.left.at(row.s), f.right.at(row.s)
		a, b := f.level(row, l-gap-0.4, l-gap), f.level(row, r+gap, r+gap+0.4)
		dark := a < 1-0.3*f.depth && b < 1-0.3*f.depth
		switch {
		case first < 0 && !row.ok: // before the strip lies the rod's own image
		case first < 0:
			first = i
		case dark && !wide:
			wide, beyond, first = true, 0, i
			row.ok = false
		case dark:
			beyond = 0
			row.ok = false
		case wide && row.ok:
			if beyond++; beyond > 12 {
				wide = false
			}
		}
	}
	if wide {
		f.dropFrom(f.rows[first].s - 0.5)
	}
}

func (f *stripFit) dropFrom(stop float64) { f.keep(0, stop) }

// keep puts the rows outside a stretch aside.
func (f *stripFit) keep(from, to float64) {
	for i := range f.rows {
		if s := f.rows[i].s; s < from || s > to {
			f.rows[i].ok = false
		}
	}
}

// refineLight fits the depth and the blur, each in the nearer and the farther half, to
// the rows as they stand. Haze about the sun fills a shadow the more, the farther it is
// cast: edges sought at one depth would taper.
func (f *stripFit) refineLight() {
	first, last := math.Inf(1), 0.0
	for i := range f.rows {
		if r := &f.rows[i]; r.ok {
			first, last = min(first, r.s), max(last, r.s)
		}
	}
	mid := (first + last) / 2
	var halves [2]struct {
		s, n, cc, cd float64
		rows         []*profileRow
	}
	for i := range f.rows {
		row := &f.rows[i]
		if !row.ok {
			continue
		}
		h := &halves[0]
		if row.s > mid {
			h = &halves[1]
		}
		h.s += row.s
		h.n++
		h.rows = append(h.rows, row)
		s := f.sigma(row.s)
		for k, v := range row.light {
			if math.IsNaN(v) {
				continue
			}
			n := f.first + float64(k)*f.step
			c := cdf((n-f.left.at(row.s))/s) * cdf((f.right.at(row.s)-n)/s)
			h.cc += c * c
			h.cd += c * (1 - v)
		}
	}
	if cc := halves[0].cc + halves[1].cc; cc > 0 {
		f.depth, f.fade = max(0.02, min(0.999, (halves[0].cd+halves[1].cd)/cc)), 0
	}
	var at, square [2]float64
	for h := range halves {
		if halves[h].n < 4 {
			return
		}
		at[h] = halves[h].s / halves[h].n
	}
	if a, b := &halves[0], &halves[1]; a.cc > 0 && b.cc > 0 {
		f.middle = (a.cc*at[0] + b.cc*at[1]) / (a.cc + b.cc)
		f.fade = max(0, (a.cd/a.cc-b.cd/b.cc)/(at[1]-at[0])) // no light makes it deeper
	}
	for h := range halves {
		s0 := f.sigma(at[h])
		best, cost := s0, math.Inf(1)
		for _, m := range []float64{0.6, 0.75, 0.88, 1, 1.13, 1.33, 1.7} {
			if c := f.misfit(halves[h].rows, s0*m); c < cost {
				best, cost = s0*m, c
			}
		}
		square[h] = best * best
	}
	f.grow = max(0, (square[1]-square[0])/(at[1]*at[1]-at[0]*at[0]))
	f.blur = math.Sqrt(max(0.03*0.03, square[0]-f.grow*at[0]*at[0]))
}

// depthAt is the part of the light that the shadow takes away at a distance from the foot.
func (f *stripFit) depthAt(s float64) float64 {
	return max(0.02, min(0.999, f.depth-f.fade*(s-f.middle)))
}

// misfit is the sum of squares over the edges of some twenty rows for one blur.
func (f *stripFit) misfit(rows []*profileRow, sigma float64) (sum float64) {
	for i := 0; i < len(rows); i += max(1, len(rows)/20) {
		row := rows[i]
		l, r := f.left.at(row.s), f.right.at(row.s)
		for k, v := range row.light {
			n := f.first + float64(k)*f.step
			if math.IsNaN(v) || n < l-0.8 || n > r+0.8 {
				continue
			}
			e := v - 1 + f.depthAt(row.s)*cdf((n-l)/sigma)*cdf((r-n)/sigma)
			sum += e * e
		}
	}
	return sum
}

// unevenFocus is the part by which the camera's own blur may be less at the strip's end.
const unevenFocus = 0.02

// growth measures by how much the variance of the edges' blur grows with the square
// of the distance from the foot, per mm squared, from its nearer and farther half.
//
// Of a blur that is the camera's own the breadth on the paper changes with the scale, so
// that from the blur at the foot a growth follows without any penumbra; how much of the
// blur is the camera's is not told, and so least and most bound what is left.
func (f *stripFit) growth() (least, most, sigma float64) {
	var near, far []*profileRow
	axis := f.axis()
	for i := range f.rows {
		switch r := &f.rows[i]; {
		case !r.ok:
		case r.s < axis.mid:
			near = append(near, r)
		default:
			far = append(far, r)
		}
	}
	if len(near) < 8 || len(far) < 8 {
		return 0, 0, math.Inf(1)
	}
	variance := func(rows []*profileRow) (v, vs, at float64) {
		for _, r := range rows {
			at += r.s / float64(len(rows))
		}
		// Blur in small parts of the half: the middle one and its scatter.
		const parts = 6
		var all [parts]float64
		for k := range parts {
			all[k] = sq(f.blurOf(rows[k*len(rows)/parts:(k+1)*len(rows)/parts], f.sigma(at)))
		}
		v = quantile(all[:], 0.5) // what holds the foot, or another shadow, blurs one part
		return v, max(1.4826*quantile(apart(all[:], v), 0.5), 1e-3) / math.Sqrt(parts-1), at
	}
	v0, s0, a0 := variance(near)
	v1, s1, a1 := variance(far)
	span := a1*a1 - a0*a0
	growth, camera := (v1-v0)/span, f.blur*f.blur*(sq(f.pxAcross(0)/f.pxAcross(a1))-sq(f.pxAcross(0)/f.pxAcross(a0)))/span
	return growth - max(camera, 0), growth - min(camera, 0) + unevenFocus*f.blur*f.blur/span, math.Hypot(s0, s1) / span
}

// apart returns how far values lie from one.
func apart(vs []float64, from float64) []float64 {
	out := make([]float64, len(vs))
	for i, v := range vs {
		out[i] = math.Abs(v - from)
	}
	return out
}

// blurOf returns the blur that fits some rows best, within a factor of 2 of the one given:
// the lowest of a few, and the vertex of the parabola through it and its neighbours.
func (f *stripFit) blurOf(rows []*profileRow, about float64) float64 {
	const half, ratio = 6, 1.12
	var cost [2*half + 1]float64
	least := 0
	for i := range cost {
		cost[i] = f.misfit(rows, about*math.Pow(ratio, float64(i-half)))
		if cost[i] < cost[least] {
			least = i
		}
	}
	at := float64(least - half)
	if least > 0 && least < len(cost)-1 {
		a, b, c := cost[least-1], cost[least], cost[least+1]
		if bend := a - 2*b + c; bend > 0 {
			at += (a - c) / (2 * bend)
		}
	}
	return about * math.Pow(ratio, at)
}

// noiseSigma is the sigma of the direction that white noise alone leaves to a strip (the
// closed form in docs/method.md).
func (f *stripFit) noiseSigma(st *Strip) angle.Angle {
	mid := (st.From + st.To) / 2
	px := f.pxAcross(mid)
	length := (st.To - st.From) * px
	return angle.Angle(st.Noise / st.Depth * math.Sqrt(12*math.Sqrt(math.Pi)*f.sigma(mid)*px/(length*length*length)))
}

// pxAcross is the scale across the strip at a distance from the foot, px/mm.
func (f *stripFit) pxAcross(s float64) float64 {
	a, b := f.plate.Project(f.frame.at(s, -1)), f.plate.Project(f.frame.at(s, 1))
	return math.Hypot(b.U-a.U, b.V-a.V) / 2
}

func sq(x float64) float64 { return x * x }

func (f *stripFit) axis() fitLine {
	return f.fitEdgeLine(func(r *profileRow) float64 { return (r.left + r.right) / 2 })
}

// strip turns the fitted edges into a measurement, or says that they are not a
// rod's shadow.
func (f *stripFit) strip(rod Rod, s *sheet.Sheet, img *rodImage, lit func(sheet.Point) float64) (*Strip, error) {
	axis := f.axis()
	first, last := math.Inf(1), 0.0
	seen := 0.0
	for i := range f.rows {
		if r := &f.rows[i]; r.ok {
			first, last = min(first, r.s), max(last, r.s)
			seen++
		}
	}
	if len(f.rows) > 1 {
		seen *= f.rows[1].s - f.rows[0].s
	}
	width := f.right.at(axis.mid) - f.left.at(axis.mid)
	// Disagreement beyond the scatter widens the sigma: of the two edges, of the
	// near and the far half (a bow).
	variance := axis.varB
	apart, expected := (f.left.b-f.right.b)/2, (f.left.varB+f.right.varB)/4
	variance += f.taper(axis.mid, apart, expected)
	atLeast := 0.0
	tip, tipSigma, tipSeen := f.findTip(axis, s, img.hides, lit)
	if !tipSeen {
		tip, tipSigma, atLeast = f.followStrip(axis, s, img.hides)
	}
	turn, cost, bow := f.bowed(axis, rod, tip)
	variance += sq(float64(cost))
	least, most, growthSigma := f.growth()
	st := &Strip{
		Direction:  (f.direction() + angle.Atan2(axis.b, 1) + turn).Bearing(),
		Sigma:      angle.Angle(math.Sqrt(variance)),
		FootOffset: f.frame.offset + axis.at(0),
		FootSigma:  math.Sqrt(axis.varA + variance*axis.mid*axis.mid),
		Width:      width,
		Depth:      f.depth,
		Growth:     [2]float64{least, most}, GrowthSigma: growthSigma,
		From: first, To: last,
		Noise: f.flankNoise(),
		Bow:   bow,
		Head:  f.head, Held: f.held,
		Length: tip, LengthSigma: tipSigma, AtLeast: atLeast,
	}
	if bow != 0 {
		st.FootOffset += axis.bend * axis.mid * axis.mid
	}
	for i, s := range [2]float64{first, last} {
		st.Axis[i] = f.plate.Project(f.frame.at(s, axis.at(s)))
		st.Left[i] = f.plate.Project(f.frame.at(s, f.left.at(s)))
		st.Right[i] = f.plate.Project(f.frame.at(s, f.right.at(s)))
	}
	switch {
	case seen < leastStrip, seen < leastWire && width < stiffRod && rod.DiameterMM < stiffRod:
		return nil, ErrNoShadow
	case math.Abs(st.FootOffset) > footMost+2*st.FootSigma:
		return nil, ErrNoShadow
	case rod.DiameterMM > 0 && math.Abs(width-rod.DiameterMM) > 0.5+0.25*rod.DiameterMM:
		return nil, ErrNoShadow
	case math.Abs(apart)*2*(last-first) > 0.5*width && math.Abs(apart) > 4*math.Sqrt(expected): // tapers
		return nil, ErrNoShadow
	case f.uneven():
		return nil, ErrNoShadow
	case !(st.Sigma < bowedMost) && bow != 0:
		return nil, ErrBowed
	case !(st.Sigma < 1*angle.Degree) && bow == 0:
		return nil, ErrNoShadow
	case bow == 0 && st.Sigma > vagueMost && st.Sigma > vagueNoise*f.noiseSigma(st):
		return nil, ErrNoShadow
	}
	if rod.NodusMM > 0 {
		st.Nodus, st.NodusSigma = f.findNodus(axis, s, img.hides)
	}
	return st, nil
}

// uneven reports whether the strip's two halves differ, as those of a body do that lies
// on the paper: one side of it is lit, along the other lies its own shadow. A shadow is
// the same on both sides.
func (f *stripFit) uneven() bool {
	const bins = 5 // to each side of the axis
	sure, _ := f.lopsided(bins, 0, math.Inf(1), func(width float64, k int) (from, to float64) {
		return width * float64(k) / (2 * bins), width * float64(k+1) / (2 * bins)
	})
	return sure > unevenMost*f.depth
}

// taper is what the edges' disagreement apart, whose variance is expected, adds to the
// variance of the direction. Another
// shadow along one side turns that edge and not the other, and there the two sides differ;
// haze about the sun makes a shadow narrower or broader with the distance, the same on
// both sides, and turns nothing.
func (f *stripFit) taper(middle, apart, expected float64) (variance float64) {
	const bins, wide = 6, 0.4 // mm about each edge
	about := func(_ float64, k int) (from, to float64) {
		from = wide * (float64(k) - bins/2)
		return from, from + wide
	}
	_, near := f.lopsided(bins, 0, middle, about)
	_, far := f.lopsided(bins, middle, math.Inf(1), about)
	part := max(leastTaper, min(1, max(near, far)/(twoSided*f.depth)))
	return part * part * max(0, apart*apart-expected)
}

const (
	// twoSided is the part of its depth by which a shadow's sides differ where another
	// shadow lies along one of them, at least.
	twoSided = 0.1
	// leastTaper is the part of a taper that is taken to turn the axis however alike the
	// sides are.
	leastTaper = 0.3
)

// lopsided is by how much the light differs between places that mirror each other about the
// axis, at most: surely, and possibly. bin gives the places, from the edges inwards, mm. It
// looks at the rows between two distances from the foot.
func (f *stripFit) lopsided(bins int, start, end float64, bin func(width float64, k int) (from, to float64)) (sure, possible float64) {
	sum, square := make([]float64, bins), make([]float64, bins)
	n := 0.0
	for i := range f.rows {
		row := &f.rows[i]
		if !row.ok || row.s < start || row.s > end {
			continue
		}
		l, r := f.left.at(row.s), f.right.at(row.s)
		n++
		for k := range bins {
			from, to := bin(r-l, k)
			d := f.level(row, l+from, l+to) - f.level(row, r-to, r-from)
			if math.IsNaN(d) {
				d = 0
			}
			sum[k] += d
			square[k] += d * d
		}
	}
	if n < 10 {
		return 0, math.Inf(1)
	}
	for k := range bins {
		mean := math.Abs(sum[k] / n)
		sigma := math.Sqrt(max(0, square[k]/n-mean*mean) / n)
		if mean > 5*sigma {
			sure = max(sure, mean)
		}
		possible = max(possible, mean+2*sigma)
	}
	return sure, possible
}

// unevenMost is the part of a shadow's depth by which its halves may differ: of sound
// shadows' none did by more than a tenth, of bodies' that lie on the paper most by more
// than a half.
const unevenMost = 0.25

func (f *stripFit) direction() angle.Angle { return angle.Clockwise(f.frame.u.X, f.frame.u.Y) }

// flankNoise is the scatter of neighbouring samples beside the strip, as a part of
// the paper's light: differences over two pixels, so that texture and slow changes
// stay out.
func (f *stripFit) flankNoise() float64 {
	var d []float64
	for i := range f.rows {
		row := &f.rows[i]
		if !row.ok {
			continue
		}
		for k := 4; k < len(row.light); k++ {
			n := f.first + float64(k)*f.step
			if n < f.left.at(row.s)-0.8 || n-4*f.step > f.right.at(row.s)+0.8 {
				if v := math.Abs(row.light[k] - row.light[k-4]); !math.IsNaN(v) {
					d = append(d, v)
				}
			}
		}
	}
	return 1.4826 * quantile(d, 0.5) / math.Sqrt2
}
