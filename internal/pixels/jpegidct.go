package pixels

// The inverse cosine transform in whole numbers, with the factors, the order and the rounding of
// libjpeg's jidctint.c (Loeffler, Ligtenberg and Moschytz 1989) and, for shrunken blocks,
// jidctred.c, so that pixels are the same to the bit.

const (
	fixed = 13 // bits after the point of a factor
	extra = 2  // bits that are kept from the columns to the rows
)

func round(v int32, bits int) int32 { return (v + 1<<(bits-1)) >> bits }

// level clamps a sample and moves it up to 0 to 255.
func level(v int32) uint8 {
	v += 128
	if uint32(v) > 255 {
		return uint8(^(v >> 31)) // 0 below, 255 above
	}
	return uint8(v)
}

// drawFlat draws a block of one level.
func drawFlat(dc int32, out []uint8, stride, size int) {
	p := level(round(dc, 3))
	for v := range size {
		row := out[v*stride:][:size]
		for u := range row {
			row[u] = p
		}
	}
}

// draw8 draws a block in full; columns says which have anything below the first row.
func draw8(c *[64]int16, q *[64]int32, columns uint8, out []uint8, stride int) {
	var w [64]int32
	for u := range 8 {
		at := func(v int) int32 { return int32(c[8*v+u]) * q[8*v+u] }
		if columns>>u&1 == 0 {
			dc := at(0) << extra
			for v := range 8 {
				w[8*v+u] = dc
			}
			continue
		}
		e0, e1, e2, e3, o0, o1, o2, o3 := butterflies(at(0), at(1), at(2), at(3), at(4), at(5), at(6), at(7))
		w[u], w[56+u] = round(e0+o3, fixed-extra), round(e0-o3, fixed-extra)
		w[8+u], w[48+u] = round(e1+o2, fixed-extra), round(e1-o2, fixed-extra)
		w[16+u], w[40+u] = round(e2+o1, fixed-extra), round(e2-o1, fixed-extra)
		w[24+u], w[32+u] = round(e3+o0, fixed-extra), round(e3-o0, fixed-extra)
	}
	for v := range 8 {
		r := (*[8]int32)(w[8*v:])
		e0, e1, e2, e3, o0, o1, o2, o3 := butterflies(r[0], r[1], r[2], r[3], r[4], r[5], r[6], r[7])
		const bits = fixed + extra + 3
		row := (*[8]uint8)(out[v*stride:])
		row[0], row[7] = level(round(e0+o3, bits)), level(round(e0-o3, bits))
		row[1], row[6] = level(round(e1+o2, bits)), level(round(e1-o2, bits))
		row[2], row[5] = level(round(e2+o1, bits)), level(round(e2-o1, bits))
		row[3], row[4] = level(round(e3+o0, bits)), level(round(e3-o0, bits))
	}
}

// butterflies returns the even and the odd half of a transform of eight.
func butterflies(i0, i1, i2, i3, i4, i5, i6, i7 int32) (e0, e1, e2, e3, o0, o1, o2, o3 int32) {
	z1 := (i2 + i6) * 4433
	t2, t3 := z1-i6*15137, z1+i2*6270
	t0, t1 := (i0+i4)<<fixed, (i0-i4)<<fixed
	e0, e3, e1, e2 = t0+t3, t0-t3, t1+t2, t1-t2

	z1, z2, z3, z4 := -7373*(i7+i1), -20995*(i5+i3), i7+i3, i5+i1
	z5 := (z3 + z4) * 9633
	z3, z4 = z5-16069*z3, z5-3196*z4
	o0 = i7*2446 + z1 + z3
	o1 = i5*16819 + z2 + z4
	o2 = i3*25172 + z2 + z3
	o3 = i1*12299 + z1 + z4
	return
}

// draw4 draws a block at half its size.
func draw4(c *[64]int16, q *[64]int32, columns uint8, out []uint8, stride int) {
	var w [32]int32
	for u := range 8 {
		if u == 4 { // not used by the rows
			continue
		}
		at := func(v int) int32 { return int32(c[8*v+u]) * q[8*v+u] }
		if columns>>u&1 == 0 {
			dc := at(0) << extra
			w[u], w[8+u], w[16+u], w[24+u] = dc, dc, dc, dc
			continue
		}
		a, b, o, i := halves(at(0), at(1), at(2), at(3), at(5), at(6), at(7))
		const bits = fixed - extra + 1
		w[u], w[24+u] = round(a+o, bits), round(a-o, bits)
		w[8+u], w[16+u] = round(b+i, bits), round(b-i, bits)
	}
	for v := range 4 {
		r := (*[8]int32)(w[8*v:])
		a, b, o, i := halves(r[0], r[1], r[2], r[3], r[5], r[6], r[7])
		const bits = fixed + extra + 3 + 1
		row := (*[4]uint8)(out[v*stride:])
		row[0], row[3] = level(round(a+o, bits)), level(round(a-o, bits))
		row[1], row[2] = level(round(b+i, bits)), level(round(b-i, bits))
	}
}

// halves returns the even and the odd part of the outer and of the inner two of four.
func halves(i0, i1, i2, i3, i5, i6, i7 int32) (evenOut, evenIn, oddOut, oddIn int32) {
	t0, t2 := i0<<(fixed+1), i2*15137-i6*6270
	oddIn = -1730*i7 + 11893*i5 - 17799*i3 + 8697*i1
	oddOut = -4176*i7 - 4926*i5 + 7373*i3 + 20995*i1
	return t0 + t2, t0 - t2, oddOut, oddIn
}

// draw2 draws a block at a quarter of its size.
func draw2(c *[64]int16, q *[64]int32, columns uint8, out []uint8, stride int) {
	var w [16]int32
	for _, u := range [5]int{0, 1, 3, 5, 7} { // the rows use no others
		at := func(v int) int32 { return int32(c[8*v+u]) * q[8*v+u] }
		if columns>>u&1 == 0 {
			w[u], w[8+u] = at(0)<<extra, at(0)<<extra
			continue
		}
		e, o := at(0)<<(fixed+2), quarter(at(1), at(3), at(5), at(7))
		const bits = fixed - extra + 2
		w[u], w[8+u] = round(e+o, bits), round(e-o, bits)
	}
	for v := range 2 {
		r := (*[8]int32)(w[8*v:])
		e, o := r[0]<<(fixed+2), quarter(r[1], r[3], r[5], r[7])
		const bits = fixed + extra + 3 + 2
		row := (*[2]uint8)(out[v*stride:])
		row[0], row[1] = level(round(e+o, bits)), level(round(e-o, bits))
	}
}

func quarter(i1, i3, i5, i7 int32) int32 {
	return -5906*i7 + 6967*i5 - 10426*i3 + 29692*i1
}
