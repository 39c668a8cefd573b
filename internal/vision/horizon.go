package vision

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"

	"shadowread/internal/calib"
	"shadowread/internal/rank"
)

// Why a horizon is not taken.
var (
	// ErrNoHorizon means that no long straight edge is seen where the horizon must be, or
	// more than one.
	ErrNoHorizon = errors.New("no horizon, or more than one line that may be it")
	// ErrCrooked means that what is seen there is not straight, as hills make it.
	ErrCrooked = errors.New("the horizon is not straight")
)

// Horizon is the outline of flat country in a picture.
type Horizon struct {
	Line []calib.Pixel // along it, where stretches of the width show it
}

const (
	horizonReach  = 12.0 // degrees that a sheet may be out of level
	horizonTurn   = 0.5  // degrees of azimuth from one look to the next
	horizonStep   = 0.6  // px from one sample to the next along a look, about
	horizonKernel = 4    // samples to each side over which a step of light is averaged
	// stretches are what the line is held to: the steps in each together are told from a
	// ground's texture, and where they stand tells hills from a line.
	stretches   = 12
	horizonPart = 0.7  // of them, in which the line must be seen
	crookedPart = 0.3  // from here on it is there, but not straight
	seenStep    = 0.35 // of the line's step of light, with which a stretch shows it
	horizonNear = 0.5  // degrees off the line within which a stretch is looked for
	horizonWide = 15.0 // degrees of azimuth in which it must be in the picture, at least
	// leastHorizonStep is in linear light; overTexture how far a step must stand out from
	// what texture sums up to by chance, in its sigmas, over some 10^5 lines.
	leastHorizonStep, overTexture = 0.008, 6.0
	// Another line counts if it is seen in rivalPart of the stretches with rivalStep of the
	// step of light, rivalApart degrees off, and its places stand within rivalRough degrees
	// of a smooth curve, RMS: texture's stand 0.2 to 0.4 off.
	// Bands of the ground, streaked by distance, lie below the horizon and have up to a third of
	// its step: there a line must have rivalBelow of it.
	rivalPart, rivalStep, rivalApart, rivalRough = 0.6, 0.15, 0.15, 0.06
	rivalBelow                                   = 0.4
	// Columns are looked at to lookWidth degrees to each side of the camera's axis, where
	// leastColumn degrees of them are in the picture, lookMargin px from its border. Samples
	// are usualSize degrees apart where the picture does not tell, and finest at least.
	lookWidth, leastColumn = 60.0, 2.0
	lookMargin             = 2
	usualSize, finest      = 0.02, 0.008
	noiseEvery             = 7 // samples from one that tells the texture to the next: neighbours share theirs
	// A line, and a place of it, must be in view in columnsSeen of the columns.
	columnsSeen = 0.6
	coarseStep  = 4 // samples from one line that is tried to the next
	// About the best one fineReach steps to each side are tried, of a part of coarseStep twice.
	fineReach = 3.0
)

// fineSteps are one over those parts.
var fineSteps = [2]float64{4, 8}

// horizonLooks are the steps of light in columns across the sheet's vanishing line: by
// azimuth, and down from horizonReach above it. NaN where the picture ends.
type horizonLooks struct {
	azimuth []float64   // degrees
	steps   [][]float64 // of light, downwards
	size    float64     // degrees from one sample to the next
	texture float64     // one sigma of a step where there is no line
}

// FindHorizon looks for the horizon in a picture of the sheet by its map: where the sheet's
// own vanishing line lies, and 12 degrees about it. It returns ErrNoHorizon or
// ErrCrooked where none can be trusted.
func FindHorizon(g *Gray, p *calib.Plate) (*Horizon, error) {
	l := lookAcross(g, p)
	n := len(l.azimuth)
	if n < 2*stretches || l.azimuth[n-1]-l.azimuth[0] < horizonWide {
		return nil, ErrNoHorizon
	}
	best := l.best(nil)
	if math.Abs(best.step) < max(leastHorizonStep, overTexture*l.texture/math.Sqrt(best.seen)) {
		return nil, ErrNoHorizon
	}
	places, part, step := l.places(best)
	switch {
	case part < crookedPart:
		return nil, ErrNoHorizon
	case part < horizonPart:
		return nil, ErrCrooked
	}
	h := &Horizon{}
	for _, q := range places {
		h.Line = append(h.Line, p.Toward(rayOf(q.azimuth, q.elevation)))
	}
	if l.rival(best, places, step) {
		return nil, ErrNoHorizon
	}
	return h, nil
}

// rival reports whether another long line is in view: seen in as many stretches, with as
// sharp a step in each, smoothly from one to the next, which texture is not, and another
// than the best.
func (l *horizonLooks) rival(best levelLine, its []seenAt, step float64) bool {
	another := l.best(&best)
	places, part, itsStep := l.places(another)
	least := rivalStep
	if another.elevation < best.elevation {
		least = rivalBelow
	}
	if part < rivalPart || itsStep < least*step {
		return false
	}
	elevations := map[float64]float64{}
	for _, q := range its {
		elevations[q.azimuth] = q.elevation
	}
	middle, half := l.middle(), (l.azimuth[len(l.azimuth)-1]-l.azimuth[0])/2
	a, b := mat.NewDense(len(places), 3, nil), mat.NewVecDense(len(places), nil)
	near := 0
	for i, q := range places {
		x := (q.azimuth - middle) / half
		a.SetRow(i, []float64{1, x, x * x})
		b.SetVec(i, q.elevation)
		if e, ok := elevations[q.azimuth]; ok && math.Abs(q.elevation-e) < rivalApart/2 {
			near++ // the same edge
		}
	}
	var c, fitted mat.VecDense
	if 2*near > len(places) || c.SolveVec(a, b) != nil {
		return false
	}
	fitted.MulVec(a, &c)
	fitted.SubVec(&fitted, b)
	return mat.Norm(&fitted, 2)/math.Sqrt(float64(len(places))) < rivalRough
}

// rayOf is a direction in the plate frame, degrees.
func rayOf(azimuth, elevation float64) [3]float64 {
	sin, cos := math.Sincos(azimuth * math.Pi / 180)
	s, c := math.Sincos(elevation * math.Pi / 180)
	return [3]float64{c * sin, c * cos, s}
}

// lookAcross samples the picture.
func lookAcross(g *Gray, p *calib.Plate) (l horizonLooks) {
	axis := p.Pose.R[2]
	middle := math.Atan2(axis[0], axis[1]) * 180 / math.Pi
	l.size = usualSize
	if a, b := p.Toward(rayOf(middle, 0)), p.Toward(rayOf(middle, 1)); !math.IsNaN(a.U + b.U) {
		l.size = max(finest, horizonStep/math.Hypot(b.U-a.U, b.V-a.V))
	}
	samples := int(2*horizonReach/l.size) + 1
	var noise []float64
	for off := -lookWidth; off <= lookWidth; off += horizonTurn {
		light := make([]float64, samples)
		there := 0
		for i := range light {
			light[i] = math.NaN()
			toward := rayOf(middle+off, horizonReach-float64(i)*l.size)
			q := p.Toward(toward)
			// Far outside the picture a lens's polynomial may lead back into it.
			if math.IsNaN(q.U) || !g.contains(q, lookMargin) || !p.Sees(q, toward) {
				continue
			}
			light[i] = g.light(q.U, q.V)
			there++
		}
		if float64(there)*l.size < leastColumn {
			if len(l.azimuth) > 0 {
				break
			}
			continue
		}
		steps := stepsOf(light)
		for i := 0; i < len(steps); i += noiseEvery {
			if !math.IsNaN(steps[i]) {
				noise = append(noise, math.Abs(steps[i]))
			}
		}
		l.azimuth, l.steps = append(l.azimuth, middle+off), append(l.steps, steps)
	}
	l.texture = rank.MadSigma * quantile(noise, 0.5)
	return l
}

// stepsOf is the light below less that above each sample.
func stepsOf(light []float64) []float64 {
	const k = horizonKernel
	sum := make([]float64, len(light)+1)
	for i, v := range light {
		sum[i+1] = sum[i] + v
		if math.IsNaN(v) {
			sum[i+1] = sum[i]
		}
	}
	steps := make([]float64, len(light))
	for i := range steps {
		steps[i] = math.NaN()
		if i >= k && i+k < len(light) && !math.IsNaN(light[i-k]) && !math.IsNaN(light[i+k]) {
			steps[i] = (sum[i+1+k] - sum[i+1] - (sum[i] - sum[i-k])) / k
		}
	}
	return steps
}

// levelLine is a line at an elevation in the middle, with a slope to the right, degrees by
// degree of azimuth; step is the mean step of light across it, seen the columns in view.
type levelLine struct{ elevation, slope, step, seen float64 }

// at is the line's elevation at an azimuth off the middle. Great circles are bent: by a
// tilt's cosine, which within the picture's width is the second-order term.
func (v levelLine) at(off float64) float64 {
	r := off * math.Pi / 180
	return v.elevation*math.Cos(r) + v.slope*180/math.Pi*math.Sin(r)
}

func (l *horizonLooks) middle() float64 { return (l.azimuth[0] + l.azimuth[len(l.azimuth)-1]) / 2 }

// best is the line of the greatest step of light. Where besides is given, columns in which
// the two come close do not count.
func (l *horizonLooks) best(besides *levelLine) (best levelLine) {
	n := len(l.azimuth)
	middle := l.middle()
	half := (l.azimuth[n-1] - l.azimuth[0]) / 2
	sines, cosines := make([]float64, n), make([]float64, n)
	for i, a := range l.azimuth {
		sines[i], cosines[i] = math.Sincos((a - middle) * math.Pi / 180)
	}
	pitch := coarseStep * l.size
	try := func(e, k float64) {
		sum, seen := 0.0, 0.0
		for i := range n {
			at := e*cosines[i] + k*180/math.Pi*sines[i]
			if besides != nil && math.Abs(at-besides.at(l.azimuth[i]-middle)) < rivalApart {
				continue
			}
			j := int((horizonReach-at)/l.size + 0.5)
			if j < 0 || j >= len(l.steps[i]) {
				continue
			}
			if v := l.steps[i][j]; !math.IsNaN(v) {
				sum, seen = sum+v, seen+1
			}
		}
		if seen < columnsSeen*float64(n) {
			return
		}
		if step := sum / seen; math.Abs(step) > math.Abs(best.step) {
			best = levelLine{e, k, step, seen}
		}
	}
	steepest := math.Tan(horizonReach * math.Pi / 180)
	for e := -horizonReach; e <= horizonReach; e += pitch {
		for k := -steepest; k <= steepest; k += pitch / half {
			try(e, k)
		}
	}
	for _, fine := range fineSteps { // about the best
		b := best
		for i := -fineReach; i <= fineReach; i++ {
			for j := -fineReach; j <= fineReach; j++ {
				try(b.elevation+i*pitch/fine, b.slope+j*pitch/half/fine)
			}
		}
	}
	return best
}

// seenAt is where a stretch shows the horizon, degrees.
type seenAt struct{ azimuth, elevation float64 }

// places finds the line in each stretch of the width, by the sum of its columns' steps, and
// the part of the stretches that show it, with their mean step of light.
func (l *horizonLooks) places(line levelLine) (places []seenAt, part, step float64) {
	n, middle := len(l.azimuth), l.middle()
	reach := int(horizonNear/l.size) + 1
	for k := range stretches {
		from, to := k*n/stretches, (k+1)*n/stretches
		sums := make([]float64, 2*reach+1)
		counts := make([]float64, 2*reach+1)
		for i := from; i < to; i++ {
			j := (horizonReach - line.at(l.azimuth[i]-middle)) / l.size
			for d := range sums {
				x := j + float64(d-reach)
				lo := int(math.Floor(x))
				if lo < 0 || lo+1 >= len(l.steps[i]) {
					continue
				}
				f := x - float64(lo)
				if v := l.steps[i][lo]*(1-f) + l.steps[i][lo+1]*f; !math.IsNaN(v) {
					sums[d], counts[d] = sums[d]+v, counts[d]+1
				}
			}
		}
		top, at := 0.0, -1
		for d := range sums {
			if counts[d] < columnsSeen*float64(to-from) {
				continue
			}
			if v := sums[d] / counts[d] / line.step; v > top {
				top, at = v, d
			}
		}
		if at < 1 || at+1 >= len(sums) || top < seenStep {
			continue
		}
		step += top * math.Abs(line.step)
		a, b, c := sums[at-1]/line.step, sums[at]/line.step, sums[at+1]/line.step
		sub := 0.0
		if d := a - 2*b + c; d < 0 {
			sub = 0.5 * (a - c) / d
		}
		off := (float64(at-reach) + sub) * l.size // downwards
		azimuth := (l.azimuth[from] + l.azimuth[to-1]) / 2
		places = append(places, seenAt{azimuth, line.at(azimuth-middle) - off})
	}
	return places, float64(len(places)) / stretches, step / math.Max(1, float64(len(places)))
}
