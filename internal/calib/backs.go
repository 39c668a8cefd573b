package calib

import "math"

// backs is what the rows tell of heights at the nodes across backs that run one way, the map
// being adjusted to them.
type backs struct {
	info  []float64 // symmetric
	seen  []float64
	turns []float64 // what heights turn the line by
	root  []float64 // what the rows tell of heights and map together, a row a node, over the map's root
	// The information folded, a chain, and room.
	folded []float64
	chain  chain
	room   []float64
}

// overRoot solves for the lower root of the map's information.
func (t *trial) overRoot(v []float64) {
	root := t.root.RawTriangular()
	for i := range v {
		row := root.Data[i*root.Stride : i*root.Stride+i+1]
		sum := v[i]
		for j, r := range row[:i] {
			sum -= r * v[j]
		}
		v[i] = sum / row[i]
	}
}

func (t *trial) turnedTo(way float64) *backs {
	b, n := &t.backs, len(t.pulled)
	b.info, b.root = cleared(b.info, bendNodes*bendNodes), cleared(b.root, bendNodes*n)
	b.seen, b.turns = cleared(b.seen, bendNodes), cleared(b.turns, bendNodes)
	sin, cos := math.Sincos(way)
	var room [4 * reliefRows]share
	for i := range t.seen {
		r := &t.seen[i]
		shares := room[:0]
		for j, at := range r.at {
			k, part := across(at, sin, cos)
			shares = append(shares, share{k, (1 - part) * r.lift[j]}, share{k + 1, part * r.lift[j]})
		}
		b.add(r, shares)
	}
	for i, p := range t.on {
		k, part := across(p, sin, cos)
		b.turns[k] += (1 - part) * t.by[i]
		b.turns[k+1] += part * t.by[i]
	}
	var rows [bendNodes][]float64
	for k := range rows {
		rows[k] = b.root[k*n : (k+1)*n]
		t.overRoot(rows[k])
		b.seen[k] -= dot(rows[k], t.pulled)
		b.turns[k] -= dot(rows[k], t.turned)
	}
	b.folded = cleared(b.folded, bendNodes*bendNodes)
	products(b.folded, bendNodes, rows[:], rows[:], true)
	for k := range bendNodes {
		for l := range k + 1 {
			b.info[k*bendNodes+l] -= b.folded[k*bendNodes+l]
			b.info[l*bendNodes+k] = b.info[k*bendNodes+l]
		}
	}
	b.fold()
	return b
}

// share is what a node has of a sight.
type share struct {
	node int
	lift float64
}

// add adds a sight of which nodes have shares.
func (b *backs) add(r *sight, shares []share) {
	n := len(r.by)
	for _, s := range shares {
		h := r.info * s.lift
		b.seen[s.node] += h * r.off
		info := b.info[s.node*bendNodes : (s.node+1)*bendNodes]
		for _, o := range shares {
			info[o.node] += h * o.lift
		}
		row := b.root[s.node*n : (s.node+1)*n]
		for q, v := range r.by {
			row[q] += h * v
		}
	}
}

// fold turns the nodes to what they and their mirror images have in common, and by what they differ.
func (b *backs) fold() {
	folded(b.seen)
	folded(b.turns)
	row := func(m []float64, i int) []float64 { return m[i*bendNodes : (i+1)*bendNodes] }
	for i := range bendNodes {
		folded(row(b.info, i))
	}
	b.folded = cleared(b.folded, bendNodes*bendNodes)
	for i := range bendHalf - 1 {
		u, v, alike, odd := row(b.info, i), row(b.info, bendNodes-1-i), row(b.folded, i), row(b.folded, bendHalf+i)
		for k := range u {
			alike[k], odd[k] = (u[k]+v[k])/math.Sqrt2, (u[k]-v[k])/math.Sqrt2
		}
	}
	copy(row(b.folded, bendHalf-1), row(b.info, bendHalf-1))
}

// among is what the rows tell of shapes: the information's lower half, and what is seen of each
// and what it turns the line by. It holds until others are asked for.
func (b *backs) among(s *shapes) (info, seen, turns []float64) {
	n, first := len(s.alike)+len(s.odd), len(s.alike)
	b.room = cleared(b.room, n*(n+bendNodes+2))
	info, seen, turns = b.room[:n*n], b.room[n*n:n*(n+1)], b.room[n*(n+1):n*(n+2)]
	half := b.room[n*(n+2):] // shapes by nodes, of the odd ones by those that are odd
	var rowsA, rowsB [bendNodes][]float64
	rows := func(room [][]float64, of []float64, from, to, left, right int) [][]float64 {
		for i := from; i < to; i++ {
			room = append(room, of[i*bendNodes+left:i*bendNodes+right])
		}
		return room
	}
	products(half, bendNodes, s.alike, rows(rowsA[:0], b.folded, 0, bendNodes, 0, bendHalf), false)
	products(half[first*bendNodes+bendHalf:], bendNodes, s.odd, rows(rowsA[:0], b.folded, bendHalf, bendNodes, bendHalf, bendNodes), false)
	products(info, n, rows(rowsA[:0], half, 0, first, 0, bendHalf), s.alike, true)
	products(info[first*n:], n, s.odd, rows(rowsA[:0], half, 0, first, bendHalf, bendNodes), false)
	products(info[first*n+first:], n, rows(rowsB[:0], half, first, n, bendHalf, bendNodes), s.odd, true)
	for c, v := range s.alike {
		seen[c], turns[c] = dot(v, b.seen), dot(v, b.turns)
	}
	for c, v := range s.odd {
		seen[first+c], turns[first+c] = dot(v, b.seen[bendHalf:]), dot(v, b.turns[bendHalf:])
	}
	return info, seen, turns
}
