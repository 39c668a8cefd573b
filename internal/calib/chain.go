package calib

import "math"

// chain is what the rows tell of shapes, turned so that each has to do with its neighbours
// alone: then any height and noise is weighed in a few steps for each shape.
type chain struct {
	known, next []float64 // the information's diagonal, and beside it
	seen, turns []float64
	with        []weighed
}

// weighed is a chain for one ratio of the heights' variance to the noise's.
type weighed struct{ ratio, logs, square, turn, variance float64 }

// turn makes the chain of the lower half of a symmetric matrix, which it spoils, and turns the
// vectors along: reflections from the last row up (Golub and Van Loan, Matrix Computations,
// section 8.3.1).
func (c *chain) turn(a []float64, seen, turns []float64) {
	n := len(seen)
	c.seen, c.turns, c.with = seen, turns, c.with[:0]
	c.known, c.next = cleared(c.known, n), cleared(c.next, max(0, n-1))
	var room [bendNodes]float64
	for i := n - 1; i > 0; i-- {
		u := a[i*n : i*n+i]
		square := dot(u, u)
		last, beside := u[i-1], -math.Copysign(math.Sqrt(square), u[i-1])
		c.known[i], c.next[i-1] = a[i*n+i], beside
		half := square - last*beside // of what the reflection's vector squares to
		if !(half > 0) {
			continue
		}
		u[i-1] = last - beside
		p := room[:i]
		clear(p)
		symmetricTimes(a, n, u, p)
		for k := range p {
			p[k] /= half
		}
		along := dot(u, p) / (2 * half)
		for k := range p {
			p[k] -= along * u[k]
		}
		for j := range i {
			row, uj, pj := a[j*n:j*n+j+1], u[j], p[j]
			uk, pk := u[:len(row)], p[:len(row)]
			for k := range row {
				row[k] -= uj*pk[k] + pj*uk[k]
			}
		}
		reflect(seen[:i], u, half)
		reflect(turns[:i], u, half)
	}
	if n > 0 {
		c.known[0] = a[0]
	}
}

func reflect(v, u []float64, half float64) {
	along := dot(u, v) / half
	for k := range v {
		v[k] -= along * u[k]
	}
}

// symmetricTimes adds to p what the lower half of a symmetric matrix, of rows of n, makes of u.
func symmetricTimes(a []float64, n int, u, p []float64) {
	j := 0
	for ; j+1 < len(u); j += 2 { // two rows at a time
		r0, r1 := a[j*n:j*n+j+1], a[(j+1)*n:(j+1)*n+j+2]
		u0, u1 := u[j], u[j+1]
		uk, pk, q0, q1 := u[:j], p[:j], r0[:j], r1[:j]
		s0, s1 := 0.0, 0.0
		for k, v := range uk {
			s0 += q0[k] * v
			s1 += q1[k] * v
			pk[k] += q0[k]*u0 + q1[k]*u1
		}
		p[j] += s0 + r0[j]*u0 + r1[j]*u1
		p[j+1] += s1 + r1[j]*u0 + r1[j+1]*u1
	}
	if j < len(u) {
		row := a[j*n : j*n+j+1]
		for k, v := range row[:j] {
			p[k] += v * u[j]
		}
		p[j] += dot(row, u[:j+1])
	}
}

// weigh adds to what flat paper makes likely what heights of a variance hh do, the rows' noise
// having the variance kk.
func (c *chain) weigh(g *bend, hh, kk float64) {
	w := c.at(hh / kk)
	g.likely += (w.ratio*w.square/kk - w.logs) / 2
	g.turn += w.ratio * w.turn
	g.variance += hh * w.variance
}

// at weighs for one ratio, of which heights and noises that are doubled together have the same.
func (c *chain) at(ratio float64) *weighed {
	for i := range c.with {
		if c.with[i].ratio == ratio {
			return &c.with[i]
		}
	}
	r := weighed{ratio: ratio}
	pivots := 1.0
	pivot, z, w := 0.0, 0.0, 0.0 // of the shape before
	for k, known := range c.known {
		own, zk, wk := 1+ratio*known, c.seen[k], c.turns[k]
		if k > 0 {
			beside := ratio * c.next[k-1]
			part := beside / pivot
			own -= beside * part
			zk -= part * z
			wk -= part * w
		}
		pivot, z, w = own, zk, wk
		by := 1 / pivot
		r.square += z * z * by
		r.turn += z * w * by
		r.variance += w * w * by
		if pivots *= pivot; pivots > 1e200 {
			r.logs, pivots = r.logs+math.Log(pivots), 1
		}
	}
	r.logs += math.Log(pivots)
	c.with = append(c.with, r)
	return &c.with[len(c.with)-1]
}

// dot is by hand, as are products below: gonum's kernels cost as much to call as rows this short
// cost to add up.
func dot(a, b []float64) (sum float64) {
	b = b[:len(a)]
	var s0, s1, s2, s3 float64
	k := 0
	for ; k+3 < len(a); k += 4 {
		s0 += a[k] * b[k]
		s1 += a[k+1] * b[k+1]
		s2 += a[k+2] * b[k+2]
		s3 += a[k+3] * b[k+3]
	}
	for ; k < len(a); k++ {
		s0 += a[k] * b[k]
	}
	return s0 + s1 + (s2 + s3)
}

// dots are the products of two rows with four.
func dots(a0, a1, b0, b1, b2, b3 []float64) (c0, c1 [4]float64) {
	n := len(a0)
	a1, b0, b1, b2, b3 = a1[:n], b0[:n], b1[:n], b2[:n], b3[:n]
	var s00, s01, s02, s03, s10, s11, s12, s13 float64
	for k, x := range a0 {
		y := a1[k]
		b := b0[k]
		s00 += x * b
		s10 += y * b
		b = b1[k]
		s01 += x * b
		s11 += y * b
		b = b2[k]
		s02 += x * b
		s12 += y * b
		b = b3[k]
		s03 += x * b
		s13 += y * b
	}
	return [4]float64{s00, s01, s02, s03}, [4]float64{s10, s11, s12, s13}
}

// products puts the products of the rows of a with those of b into out, of rows of stride. With lower,
// those of a row with rows that come after it may be left out.
func products(out []float64, stride int, a, b [][]float64, lower bool) {
	for i := 0; i < len(a); i += 2 {
		pair := min(i+1, len(a)-1) // the last again where it has no next
		upTo := len(b)
		if lower {
			upTo = min(upTo, pair+1)
		}
		row0, row1 := out[i*stride:], out[pair*stride:]
		j := 0
		for ; j+3 < len(b) && j < upTo; j += 4 {
			c0, c1 := dots(a[i], a[pair], b[j], b[j+1], b[j+2], b[j+3])
			copy(row0[j:j+4], c0[:])
			copy(row1[j:j+4], c1[:])
		}
		for ; j < upTo; j++ {
			row0[j], row1[j] = dot(a[i], b[j]), dot(a[pair], b[j])
		}
	}
}

// cleared is room for n numbers, none left in it.
func cleared(room []float64, n int) []float64 {
	if cap(room) < n {
		return make([]float64, n)
	}
	clear(room[:n])
	return room[:n]
}
