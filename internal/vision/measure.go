package vision

import (
	"math"

	"shadowread/internal/angle"
)

// measureStrip measures one candidate. It returns ErrNoShadow when the line does
// not look like a rod's shadow and ErrRodHides when the rod's image leaves too
// little of it.
func (q *search) measureStrip(r ray) (*Strip, error) {
	f := &stripFit{search: q, frame: newFrame(r.dir, r.offset)}
	least, most := q.plate.Scale(f.frame.at(30, 0))
	px := math.Sqrt(least * most)
	inner := max(2.4, q.rod.DiameterMM/2+1)
	edges := max(2, q.rod.DiameterMM/2+0.4) // n within which every sample must be seen
	to := q.sheet.Dial.ClearZone[1] - 0.6
	// A first look gives the width; a second, with the flanks set to it, measures.
	width := q.rod.DiameterMM
	every, turns := 2.0, 3
	f.recentre(r, to)
	for pass := range 2 {
		if pass == 1 {
			every, turns = 1, 4
			inner = width/2 + max(0.9, 2.5*f.sigma(50))
			edges = width/2 + 0.35
		}
		f.sampleRows(shadowStart, to, inner+1.8, edges, every)
		total := len(f.rows)
		visible := f.good()
		f.keepBare()
		f.normalise(inner)
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
	return f.strip()
}

// start finds first values for the model from the median profile of the rows
// nearest to the foot, where every shadow is.
func (f *stripFit) start(r ray, blur float64) bool {
	samples := len(f.rows[0].light)
	profile := make([]float64, samples)
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
	for b < samples-1 && smooth[b] < half {
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
func (f *stripFit) recentre(r ray, to float64) {
	const reach = 3.2 // mm to each side
	f.sampleRows(shadowStart, min(to, r.length-0.5), reach+1, 0, 2)
	span := max(1, int(0.6/f.step))
	var ss, ns []float64
	for i := range f.rows {
		row := &f.rows[i]
		paper := f.lit(f.frame.at(row.s, 0))
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
