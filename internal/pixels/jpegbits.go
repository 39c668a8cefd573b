package pixels

import "encoding/binary"

// zigzag is the place of each coefficient in its block (ITU-T T.81, figure A.6).
var zigzag = [64]uint8{
	0, 1, 8, 16, 9, 2, 3, 10,
	17, 24, 32, 25, 18, 11, 4, 5,
	12, 19, 26, 33, 40, 48, 41, 34,
	27, 20, 13, 6, 7, 14, 21, 28,
	35, 42, 49, 56, 57, 50, 43, 36,
	29, 22, 15, 23, 30, 37, 44, 51,
	58, 59, 52, 45, 38, 31, 39, 46,
	53, 60, 61, 54, 47, 55, 62, 63,
}

// lookBits is the longest code that is looked up at once: most are shorter.
const lookBits = 10

// huffman is a table of codes.
type huffman struct {
	bad bool // no table, once it is wanted
	// look has, for the next bits, length and symbol of their code, length<<8 | symbol; 0 for
	// longer codes.
	look [1 << lookBits]uint16
	// quick has, where the next bits hold a coefficient whole, value<<16 | zeros before it<<8
	// | bits; 0 otherwise.
	quick [1 << lookBits]int32
	// most is the greatest code of each length, -1 for none; add gives its symbol.
	most, add [17]int32
	symbols   [256]uint8
}

// newHuffman makes the codes of T.81, annex C.
func newHuffman(counts [16]uint8, symbols []uint8, isDC bool) *huffman {
	h := &huffman{}
	copy(h.symbols[:], symbols)
	code, at := int32(0), int32(0)
	for i, n := range counts {
		length := i + 1
		h.most[length] = -1
		if n > 0 {
			h.add[length] = at - code
			for range n {
				if length <= lookBits && code < 1<<length {
					shift := lookBits - length
					for k := range int32(1) << shift {
						h.look[code<<shift|k] = uint16(length)<<8 | uint16(h.symbols[at])
					}
				}
				code++
				at++
			}
			h.most[length] = code - 1
		}
		// A code of ones alone is not allowed.
		h.bad = h.bad || n > 0 && code >= 1<<length
		code <<= 1
	}
	if isDC {
		for _, s := range symbols {
			h.bad = h.bad || s > 15
		}
		return h
	}
	for bits := range h.quick {
		length, symbol := int(h.look[bits]>>8), h.look[bits]&0xFF
		size := int(symbol & 15)
		if length == 0 || size == 0 || length+size > lookBits {
			continue
		}
		value := int32(bits>>(lookBits-length-size)) & (1<<size - 1)
		h.quick[bits] = extend(value, size)<<16 | int32(symbol>>4)<<8 | int32(length+size)
	}
	return h
}

// extend is the value of a coefficient's bits (T.81, figure F.12).
func extend(v int32, size int) int32 {
	if size > 0 && v < 1<<(size-1) {
		v += -1<<size + 1
	}
	return v
}

// jpegBits reads entropy-coded data. Beyond its end zeros come, and have goes below zero.
type jpegBits struct {
	data []byte
	pos  int    // of what is not in acc yet
	acc  uint64 // the next bits, from the highest on
	have int    // how many
	run  int    // blocks to come that end where they begin (T.81, G.1.2.2)
}

// fill has 32 bits at hand, or all that there are.
func (b *jpegBits) fill() {
	if b.have < 0 {
		return
	}
	if b.pos+8 <= len(b.data) {
		w := binary.BigEndian.Uint64(b.data[b.pos:])
		if inv := ^w; (inv-0x0101010101010101)&w&0x8080808080808080 == 0 { // no 0xFF among them
			n := (64 - b.have) >> 3
			b.acc |= w >> b.have
			b.pos += n
			b.have += 8 * n
			return
		}
	}
	for b.have <= 56 && b.pos < len(b.data) {
		c := b.data[b.pos]
		if c == 0xFF {
			if b.pos+1 >= len(b.data) || b.data[b.pos+1] != 0 {
				return // a marker
			}
			b.pos++
		}
		b.pos++
		b.acc |= uint64(c) << (56 - b.have)
		b.have += 8
	}
}

// ended reports whether all bits but what fills the last byte are read and a marker is next.
func (b *jpegBits) ended() bool {
	if b.have >= 0 && b.have < 8 {
		b.fill()
	}
	return b.have >= 0 && b.have < 8 && b.pos < len(b.data) && b.data[b.pos] == 0xFF
}

// take reads up to 16 bits.
func (b *jpegBits) take(n int) int32 {
	if b.have < 32 {
		b.fill()
	}
	v := int32(b.acc >> 32 >> (32 - n))
	b.acc <<= n
	b.have -= n
	return v
}

// symbol reads a code; -1 if there is none such.
func (b *jpegBits) symbol(h *huffman) int {
	if b.have < 32 {
		b.fill()
	}
	if e := h.look[b.acc>>(64-lookBits)]; e != 0 {
		b.acc <<= e >> 8
		b.have -= int(e >> 8)
		return int(e & 0xFF)
	}
	for length := lookBits + 1; length <= 16; length++ {
		if code := int32(b.acc >> (64 - length)); code <= h.most[length] {
			b.acc <<= length
			b.have -= length
			return int(h.symbols[(code+h.add[length])&0xFF])
		}
	}
	return -1
}

// difference reads a DC coefficient's step.
func (b *jpegBits) difference(h *huffman) (step int32, ok bool) {
	size := b.symbol(h)
	if size < 0 {
		return 0, false
	}
	return extend(b.take(size), size), true
}

// sequential reads a whole block. It says which of its coefficients, in zigzag's order, is
// the last and which columns have any below the first row.
func (b *jpegBits) sequential(p *jpegPart, c *[64]int16) (top int, columns uint8, ok bool) {
	step, ok := b.difference(p.dc)
	if !ok {
		return 0, 0, false
	}
	p.last += step
	c[0] = int16(p.last)
	h := p.ac
	for k := 1; k < 64; k++ {
		if b.have < 32 {
			b.fill()
		}
		var value int32
		if e := h.quick[b.acc>>(64-lookBits)]; e != 0 {
			k += int(e >> 8 & 15)
			b.acc <<= e & 63
			b.have -= int(e & 63)
			value = e >> 16
		} else {
			symbol := b.symbol(h)
			if symbol < 0 {
				return 0, 0, false
			}
			size := symbol & 15
			if size == 0 {
				if symbol != 0xF0 {
					break
				}
				if k += 15; k > 63 {
					return 0, 0, false
				}
				continue
			}
			k += symbol >> 4
			value = extend(b.take(size), size)
		}
		if k > 63 {
			return 0, 0, false
		}
		at := zigzag[k&63]
		c[at&63] = int16(value)
		if at >= 8 {
			columns |= 1 << (at & 7)
		}
		top = k
	}
	return top, columns, b.have >= 0
}

// skip reads a block of which nothing is wanted.
func (b *jpegBits) skip(p *jpegPart) bool {
	if _, ok := b.difference(p.dc); !ok {
		return false
	}
	h := p.ac
	for k := 1; k < 64; k++ {
		if b.have < 32 {
			b.fill()
		}
		if e := h.quick[b.acc>>(64-lookBits)]; e != 0 {
			k += int(e >> 8 & 15)
			b.acc <<= e & 63
			b.have -= int(e & 63)
		} else {
			symbol := b.symbol(h)
			size := symbol & 15
			if symbol < 0 || size == 0 && symbol != 0xF0 {
				return symbol >= 0 && b.have >= 0
			}
			k += symbol >> 4
			b.take(size)
		}
		if k > 63 {
			return false
		}
	}
	return b.have >= 0
}

// The scans of a progressive picture (T.81, annex G).

func (b *jpegBits) firstDC(p *jpegPart, c *[64]int16, low int) bool {
	step, ok := b.difference(p.dc)
	p.last += step
	c[0] = int16(p.last << low)
	return ok && b.have >= 0
}

func (b *jpegBits) refineDC(c *[64]int16, low int) bool {
	c[0] |= int16(b.take(1) << low)
	return b.have >= 0
}

func (b *jpegBits) firstAC(h *huffman, c *[64]int16, s *jpegScan) bool {
	if b.run > 0 {
		b.run--
		return true
	}
	for k := s.start; k <= s.end; k++ {
		symbol := b.symbol(h)
		if symbol < 0 {
			return false
		}
		zeros, size := symbol>>4, symbol&15
		if size == 0 && zeros < 15 {
			b.run = 1<<zeros - 1 + int(b.take(zeros))
			break
		}
		if k += zeros; k > s.end {
			return false
		}
		if size > 0 {
			c[zigzag[k]] = int16(extend(b.take(size), size) << s.low)
		}
	}
	return b.have >= 0
}

func (b *jpegBits) refineAC(h *huffman, c *[64]int16, s *jpegScan) bool {
	bit := int16(1) << s.low
	// refine gives a coefficient that is there its next bit.
	refine := func(v *int16) {
		if b.take(1) == 0 || *v&bit != 0 {
			return
		}
		if *v > 0 {
			*v += bit
		} else {
			*v -= bit
		}
	}
	k := s.start
	if b.run == 0 {
		for ; k <= s.end; k++ {
			symbol := b.symbol(h)
			if symbol < 0 {
				return false
			}
			zeros, size := symbol>>4, symbol&15
			value := int16(0)
			switch {
			case size > 1:
				return false
			case size == 1 && b.take(1) == 1:
				value = bit
			case size == 1:
				value = -bit
			case zeros < 15:
				b.run = 1<<zeros + int(b.take(zeros))
			}
			if b.run > 0 {
				break
			}
			for ; k <= s.end; k++ {
				if v := &c[zigzag[k]]; *v != 0 {
					refine(v)
				} else if zeros--; zeros < 0 {
					break
				}
			}
			if value != 0 {
				if k > s.end {
					return false
				}
				c[zigzag[k]] = value
			}
			if b.have < 0 {
				return false
			}
		}
	}
	if b.run > 0 {
		for ; k <= s.end; k++ {
			if v := &c[zigzag[k]]; *v != 0 {
				refine(v)
			}
		}
		b.run--
	}
	return b.have >= 0
}
