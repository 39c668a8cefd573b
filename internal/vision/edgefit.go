package vision

import "math"

// cdf and phi are the normal law and its density, from a table of 64 steps to the
// unit with straight lines between: good to 3e-5.
func cdf(x float64) float64 { return tabled(&normalTable, x) }

func phi(x float64) float64 { return math.Exp(-x*x/2) / math.Sqrt(2*math.Pi) }

// bell is the density of the normal law of some sigma.
func bell(x, sigma float64) float64 { return phi(x/sigma) / sigma }

// What the edges of a row are sought by.
const (
	normalReach, normalSteps = 5, 64 // sigmas to each side, and steps to a sigma, of the table
	// Samples within edgeBlur sigmas of the blur and edgeReach mm of an edge tell its place:
	// farther ones hold nothing but noise.
	edgeBlur, edgeReach = 2.5, 0.1
	// One step moves an edge by stepBlur sigmas and stepReach mm at most: beyond, the model's
	// slope says nothing.
	stepBlur, stepReach = 1.5, 0.2
	// apartEdges is the determinant over the square of its diagonal below which the two edges
	// are one.
	apartEdges = 1e-6
)

type normalLaw [2*normalReach*normalSteps + 2]float64

var normalTable = func() (t normalLaw) {
	for i := range t {
		t[i] = 0.5 * math.Erfc(-(float64(i)/normalSteps-normalReach)/math.Sqrt2)
	}
	return t
}()

func tabled(t *normalLaw, x float64) float64 {
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

func (f *stripFit) sigma(s float64) float64 { return math.Sqrt(f.blur*f.blur + f.grow*s*s) }

// edgeSpan is how far to both sides of an edge its place is sought by the light, mm.
func (f *stripFit) edgeSpan(s float64) float64 { return edgeBlur*f.sigma(s) + edgeReach }

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
		reach := f.edgeSpan(row.s)
		for k, v := range row.light {
			n := f.first + float64(k)*f.step
			if n < l-reach || n > r+reach || n > l+reach && n < r-reach {
				continue
			}
			if math.IsNaN(v) {
				row.ok = false
				break
			}
			fromLeft, fromRight := (n-l)/s, (r-n)/s
			cl, cr := cdf(fromLeft), cdf(fromRight)
			m := 1 - depth*cl*cr
			dl := depth * phi(fromLeft) / s * cr
			dr := -depth * phi(fromRight) / s * cl
			e := v - m
			ll, lr, rr = ll+dl*dl, lr+dl*dr, rr+dr*dr
			bl, br = bl+dl*e, br+dr*e
		}
		det := ll*rr - lr*lr
		if !row.ok || !(det > apartEdges*ll*rr) {
			row.ok = false
			continue
		}
		most := stepBlur*s + stepReach
		row.left = l + max(-most, min(most, (rr*bl-lr*br)/det))
		row.right = r + max(-most, min(most, (ll*br-lr*bl)/det))
	}
}

// fitEdgeLine fits a line through value(row) over the good rows with a biweight; what only places
// edges for the next turn of a fit needs no variances.
func (f *stripFit) fitEdgeLine(value func(*profileRow) float64, placesOnly bool) fitLine {
	ss, ns := make([]float64, 0, len(f.rows)), make([]float64, 0, len(f.rows))
	for i := range f.rows {
		if r := &f.rows[i]; r.ok {
			ss, ns = append(ss, r.s), append(ns, value(r))
		}
	}
	if placesOnly {
		l, _, _, _, _ := biweightLine(ss, ns)
		return l
	}
	return robustLine(ss, ns)
}

// axis is the line midway between the edges. Beyond what was measured a thick rod's shadow, which the
// paper bends, goes on straight.
//
// How alike neighbouring rows err is told to a third only, by some ten independent stretches: the edges, each with
// noise of its own, tell it once more, and what they find stands where it is more.
func (f *stripFit) axis() fitLine {
	l := f.fitEdgeLine(func(r *profileRow) float64 { return (r.left + r.right) / 2 }, false)
	if edges := (f.left.alike + f.right.alike) / 2; l.alike > 0 && edges > l.alike {
		l.widen(edges / l.alike)
	}
	l.swings = f.right.at(l.mid)-f.left.at(l.mid) >= stiffRod && math.Abs(l.bend)*sq(f.lastGood()-f.firstGood())/4 < waveMost
	return l
}
