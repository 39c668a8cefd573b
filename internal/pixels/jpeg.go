package pixels

import (
	"encoding/binary"
	"image"
	"math"
)

// A decoder of JPEG (ITU-T T.81) for what cameras write: eight bits, Huffman codes,
// baseline or progressive. Of a picture in colour it reads through everything, so as to
// hear of damage, and makes pixels of the luma alone unless its colours are asked for. Pixels are those of libjpeg-turbo to
// the bit (jpegidct.go). It is stricter than that: a code that does not exist, a run beyond
// a block's end and data left over are damage even where that library says nothing.

type jpegDecoder struct {
	jpegBits
	size          int  // of a decoded block's side, px
	colours       bool // are wanted, too
	rgb           bool // the parts are red, green and blue
	quant         [4]*[64]int32
	dc, ac        [4]*huffman
	interval      int // MCUs from one restart to the next, 0 for none
	jfif, adobe   bool
	transform     uint8 // of the colours, by Adobe's marker
	width, height int
	progressive   bool
	parts         []jpegPart // luma first
	mostH, mostV  int
	scans         int
	many          bool // scans: coefficients are kept
}

// jpegPart is a component.
type jpegPart struct {
	id, table  uint8
	h, v       int // sampling
	wide, high int // blocks that hold the picture
	stride     int // blocks in a row, with what fills the last MCU
	rows       int // likewise
	quant      *[64]int32
	coef       []int16  // of all blocks, in natural order, if there are many scans
	bits       [64]int8 // that are still to come of each coefficient, -1 for all; progressive
	seen       bool
	pix        []uint8 // decoded, of whole blocks; nil where not wanted
	// In a scan:
	dc, ac *huffman
	last   int32 // DC
}

// jpegScan is a scan's header beside its components.
type jpegScan struct {
	parts      []*jpegPart
	start, end int // coefficients, in the order of the zigzag
	high, low  int // bits
}

func (plain) decodeJPEG(data []byte, factor int) (Gray, error) {
	d := &jpegDecoder{size: 8 / factor}
	if err := d.read(data); err != nil {
		return Gray{}, err
	}
	return d.gray(), nil
}

// DecodeColours decodes a JPEG with its colours, shrunk by a factor 1, 2, 4 or 8; nil without an
// error where it has none, or has them in another way than cameras do. It is plain Go in every build.
func DecodeColours(data []byte, factor int) (*image.YCbCr, error) {
	d := &jpegDecoder{size: 8 / factor, colours: true}
	if err := d.read(data); err != nil {
		return nil, err
	}
	return d.inColour(), nil
}

// read goes through a file, and makes the pixels of what is wanted.
func (d *jpegDecoder) read(data []byte) error {
	d.data = data
	if len(data) < 2 || data[0] != 0xFF || data[1] != 0xD8 {
		return ErrDamaged
	}
	d.pos = 2
	for {
		m, err := d.marker()
		if err != nil {
			return err
		}
		switch {
		case m == 0xD9: // EOI
			return d.finish()
		case m == 0xDA: // SOS
			err = d.scan()
		case m == 0xC9 || m == 0xCA: // arithmetic coding
			return ErrKind
		case m == 0xC0 || m == 0xC1 || m == 0xC2:
			d.progressive = m == 0xC2
			err = d.frame()
		case m == 0xC4:
			err = d.huffmanTables()
		case m == 0xDB:
			err = d.quantTables()
		case m == 0xDD:
			err = d.restartInterval()
		case m >= 0xD0 && m <= 0xD7 || m == 0x01: // RST, TEM: without content
		case m >= 0xE0 && m <= 0xEF:
			err = d.application(m)
		case m == 0xFE || m == 0xDC || m == 0xCC: // COM, DNL, DAC
			_, err = d.segment()
		default:
			return ErrDamaged
		}
		if err != nil {
			return err
		}
	}
}

// marker reads the next marker, which must follow at once.
func (d *jpegDecoder) marker() (uint8, error) {
	if d.pos >= len(d.data) || d.data[d.pos] != 0xFF {
		return 0, ErrDamaged
	}
	for d.pos < len(d.data) && d.data[d.pos] == 0xFF {
		d.pos++
	}
	if d.pos == len(d.data) || d.data[d.pos] == 0 {
		return 0, ErrDamaged
	}
	d.pos++
	return d.data[d.pos-1], nil
}

// segment returns what a marker holds.
func (d *jpegDecoder) segment() ([]byte, error) {
	if d.pos+2 > len(d.data) {
		return nil, ErrDamaged
	}
	n := int(binary.BigEndian.Uint16(d.data[d.pos:]))
	if n < 2 || d.pos+n > len(d.data) {
		return nil, ErrDamaged
	}
	s := d.data[d.pos+2 : d.pos+n]
	d.pos += n
	return s, nil
}

func (d *jpegDecoder) application(m uint8) error {
	s, err := d.segment()
	switch {
	case err != nil:
		return err
	case m == 0xE0 && len(s) >= 14 && string(s[:5]) == "JFIF\x00":
		if s[5] != 1 { // version
			return ErrDamaged
		}
		d.jfif = true
	case m == 0xEE && len(s) >= 12 && string(s[:5]) == "Adobe":
		d.adobe, d.transform = true, s[11]
	}
	return nil
}

func (d *jpegDecoder) restartInterval() error {
	s, err := d.segment()
	if err != nil || len(s) != 2 {
		return ErrDamaged
	}
	d.interval = int(binary.BigEndian.Uint16(s))
	return nil
}

func (d *jpegDecoder) quantTables() error {
	s, err := d.segment()
	if err != nil {
		return err
	}
	for len(s) > 0 {
		wide, n := s[0]>>4 != 0, s[0]&15
		need := 65
		if wide {
			need = 129
		}
		if n >= 4 || len(s) < need {
			return ErrDamaged
		}
		t := new([64]int32)
		for k := range t {
			if wide {
				t[zigzag[k]] = int32(binary.BigEndian.Uint16(s[1+2*k:]))
			} else {
				t[zigzag[k]] = int32(s[1+k])
			}
		}
		d.quant[n] = t
		s = s[need:]
	}
	return nil
}

func (d *jpegDecoder) huffmanTables() error {
	s, err := d.segment()
	if err != nil {
		return err
	}
	for len(s) > 0 {
		if len(s) < 17 {
			return ErrDamaged
		}
		n := 0
		for _, c := range s[1:17] {
			n += int(c)
		}
		class, at := s[0]>>4, s[0]&15
		if n > 256 || 17+n > len(s) || class > 1 || at >= 4 {
			return ErrDamaged
		}
		h := newHuffman([16]uint8(s[1:17]), s[17:17+n], class == 0)
		if class == 0 {
			d.dc[at] = h
		} else {
			d.ac[at] = h
		}
		s = s[17+n:]
	}
	return nil
}

// frame reads the size and the components.
func (d *jpegDecoder) frame() error {
	s, err := d.segment()
	if err != nil || d.parts != nil || len(s) < 6 {
		return ErrDamaged
	}
	const longest = 65500 // px a side, of libjpeg
	d.height, d.width = int(binary.BigEndian.Uint16(s[1:])), int(binary.BigEndian.Uint16(s[3:]))
	n := int(s[5])
	if s[0] != 8 || min(d.width, d.height) == 0 || max(d.width, d.height) > longest || n == 0 || len(s) != 6+3*n {
		return ErrDamaged
	}
	if n > 3 {
		return ErrKind
	}
	if d.width*d.height > MaxPixels {
		return ErrLarge
	}
	d.parts = make([]jpegPart, n)
	for i := range d.parts {
		c := s[6+3*i:]
		p := &d.parts[i]
		p.id, p.h, p.v, p.table = c[0], int(c[1]>>4), int(c[1]&15), c[2]
		if p.h < 1 || p.h > 4 || p.v < 1 || p.v > 4 {
			return ErrDamaged
		}
		d.mostH, d.mostV = max(d.mostH, p.h), max(d.mostV, p.v)
		for k := range p.bits {
			p.bits[k] = -1
		}
	}
	acrossMCUs, downMCUs := ceil(d.width, 8*d.mostH), ceil(d.height, 8*d.mostV)
	for i := range d.parts {
		p := &d.parts[i]
		p.wide, p.high = ceil(d.width*p.h, 8*d.mostH), ceil(d.height*p.v, 8*d.mostV)
		p.stride, p.rows = acrossMCUs*p.h, downMCUs*p.v
	}
	return nil
}

func ceil(a, b int) int { return (a + b - 1) / b }

// begin makes room, at the first scan, in which inScan components take part.
func (d *jpegDecoder) begin(inScan int) error {
	wanted := d.parts[:1]
	switch len(d.parts) {
	case 2: // no colours are made of two
		return ErrDamaged
	case 3:
		rgb := [3]uint8{d.parts[0].id, d.parts[1].id, d.parts[2].id} == [3]uint8{'R', 'G', 'B'}
		if d.adobe && !d.jfif {
			if d.transform > 1 {
				return ErrDamaged
			}
			rgb = d.transform == 0
		}
		d.rgb = rgb && !d.jfif
		if d.rgb || d.colours {
			wanted = d.parts
		}
	}
	d.many = d.progressive || inScan < len(d.parts)
	if d.many {
		bytes := 0.0
		for i := range d.parts {
			bytes += 128 * float64(d.parts[i].wide) * float64(d.parts[i].high)
		}
		if bytes > mostCoefficients {
			return ErrLarge
		}
		for i := range d.parts {
			d.parts[i].coef = make([]int16, 64*d.parts[i].stride*d.parts[i].rows)
		}
	}
	for i := range wanted {
		p := &wanted[i]
		if (i == 0 || d.rgb) && (p.h != d.mostH || p.v != d.mostV) { // luma that is coarser than its colours
			return ErrKind
		}
		p.pix = make([]uint8, d.size*d.size*p.stride*p.rows)
	}
	return nil
}

func (d *jpegDecoder) scan() error {
	s, err := d.segment()
	if err != nil || d.parts == nil || len(s) < 1 {
		return ErrDamaged
	}
	n := int(s[0])
	if n < 1 || n > 4 || len(s) != 4+2*n {
		return ErrDamaged
	}
	tail := s[1+2*n:]
	scan := jpegScan{start: int(tail[0]), end: int(tail[1]), high: int(tail[2] >> 4), low: int(tail[2] & 15)}
	blocks := 0
	for i := range n {
		p := d.part(s[1+2*i])
		if p == nil {
			return ErrDamaged
		}
		for _, other := range scan.parts {
			if p == other {
				return ErrDamaged
			}
		}
		dc, ac := s[2+2*i]>>4, s[2+2*i]&15
		if dc >= 4 || ac >= 4 {
			return ErrDamaged
		}
		p.dc, p.ac, p.last = d.dc[dc], d.ac[ac], 0
		scan.parts = append(scan.parts, p)
		blocks += p.h * p.v
	}
	if n > 1 && blocks > 10 { // T.81, B.2.3
		return ErrDamaged
	}
	d.scans++
	if d.scans == 1 {
		if err := d.begin(n); err != nil {
			return err
		}
	} else if !d.many {
		return ErrDamaged
	}
	most := mostScans
	if pixels := d.width * d.height; d.many {
		most = min(most, int(mostScanned/pixels))
	}
	if d.scans > most {
		return ErrScans
	}
	if !d.takes(&scan) {
		return ErrDamaged
	}
	if !d.decode(&scan) {
		return ErrDamaged
	}
	return nil
}

func (d *jpegDecoder) part(id uint8) *jpegPart {
	for i := range d.parts {
		if d.parts[i].id == id {
			return &d.parts[i]
		}
	}
	return nil
}

// takes reports whether a scan is one that may come now and has its tables, and notes what
// it brings.
func (d *jpegDecoder) takes(s *jpegScan) bool {
	isDC := s.start == 0
	if !d.progressive {
		if !isDC || s.end != 63 || s.high != 0 || s.low != 0 {
			return false
		}
	} else if isDC && s.end != 0 || !isDC && (s.start > s.end || s.end > 63 || len(s.parts) != 1) ||
		s.high != 0 && s.low != s.high-1 || s.low > 13 {
		return false
	}
	for _, p := range s.parts {
		if p.quant == nil {
			if p.table >= 4 || d.quant[p.table] == nil {
				return false
			}
			p.quant = d.quant[p.table]
		}
		p.seen = true
		needsDC, needsAC := isDC && s.high == 0, !isDC || !d.progressive
		if needsDC && (p.dc == nil || p.dc.bad) || needsAC && (p.ac == nil || p.ac.bad) {
			return false
		}
		if !d.progressive {
			continue
		}
		if !isDC && p.bits[0] < 0 {
			return false
		}
		for k := s.start; k <= s.end; k++ {
			if s.high != max(0, int(p.bits[k])) {
				return false
			}
			p.bits[k] = int8(s.low)
		}
	}
	return true
}

// decode reads a scan's data.
func (d *jpegDecoder) decode(s *jpegScan) bool {
	across, down := ceil(d.width, 8*d.mostH), ceil(d.height, 8*d.mostV)
	alone := len(s.parts) == 1
	if alone {
		across, down = s.parts[0].wide, s.parts[0].high
	}
	d.acc, d.have, d.run = 0, 0, 0
	until, next := d.interval, uint8(0xD0)
	for v := range down {
		for u := range across {
			if d.interval > 0 {
				if until == 0 {
					if !d.restart(s, next) {
						return false
					}
					until, next = d.interval, 0xD0|(next+1)&7
				}
				until--
			}
			for _, p := range s.parts {
				if alone {
					if !d.block(s, p, u, v) {
						return false
					}
					continue
				}
				for y := range p.v {
					for x := range p.h {
						if !d.block(s, p, u*p.h+x, v*p.v+y) {
							return false
						}
					}
				}
			}
		}
	}
	return d.run == 0 && d.ended()
}

func (d *jpegDecoder) restart(s *jpegScan, want uint8) bool {
	if d.run != 0 || !d.ended() {
		return false
	}
	if m, err := d.marker(); err != nil || m != want {
		return false
	}
	d.acc, d.have = 0, 0
	for _, p := range s.parts {
		p.last = 0
	}
	return true
}

// block reads what a scan has of one block.
func (d *jpegDecoder) block(s *jpegScan, p *jpegPart, u, v int) bool {
	if d.many {
		c := (*[64]int16)(p.coef[64*(v*p.stride+u):])
		switch {
		case !d.progressive:
			_, _, ok := d.sequential(p, c)
			return ok
		case s.start == 0 && s.high == 0:
			return d.firstDC(p, c, s.low)
		case s.start == 0:
			return d.refineDC(c, s.low)
		case s.high == 0:
			return d.firstAC(p.ac, c, s)
		}
		return d.refineAC(p.ac, c, s)
	}
	if p.pix == nil {
		return d.skip(p)
	}
	var c [64]int16
	top, columns, ok := d.sequential(p, &c)
	if ok {
		d.draw(p, &c, top, columns, u, v)
	}
	return ok
}

// draw makes pixels of a block.
func (d *jpegDecoder) draw(p *jpegPart, c *[64]int16, top int, columns uint8, u, v int) {
	stride := d.size * p.stride
	out := p.pix[d.size*(v*stride+u):]
	if top == 0 || d.size == 1 {
		drawFlat(int32(c[0])*p.quant[0], out, stride, d.size)
		return
	}
	switch d.size {
	case 8:
		draw8(c, p.quant, columns, out, stride)
	case 4:
		draw4(c, p.quant, columns, out, stride)
	case 2:
		draw2(c, p.quant, columns, out, stride)
	}
}

// finish makes the pixels that are still to make, at the end of the file.
func (d *jpegDecoder) finish() error {
	if d.scans == 0 {
		return ErrDamaged
	}
	for i := range d.parts {
		p := &d.parts[i]
		if p.pix == nil {
			continue
		}
		if !p.seen || d.progressive && !p.complete() {
			return ErrDamaged
		}
		if d.many {
			for k := range p.stride * p.rows {
				c := (*[64]int16)(p.coef[64*k:])
				d.draw(p, c, 63, math.MaxUint8, k%p.stride, k/p.stride)
			}
		}
	}
	return nil
}

// gray is the picture in gray.
func (d *jpegDecoder) gray() Gray {
	p := &d.parts[0]
	out := Gray{W: ceil(d.width*d.size, 8), H: ceil(d.height*d.size, 8), Pix: p.pix}
	if d.rgb {
		grayOf(p.pix, d.parts[1].pix, d.parts[2].pix)
	}
	if stride := d.size * p.stride; stride != out.W {
		for v := range out.H {
			copy(out.Pix[v*out.W:(v+1)*out.W], out.Pix[v*stride:])
		}
	}
	out.Pix = out.Pix[:out.W*out.H]
	return out
}

// inColour is the picture in colour; nil if it is not one of luma and colours that are as fine, or
// half as fine.
func (d *jpegDecoder) inColour() *image.YCbCr {
	if len(d.parts) != 3 || d.rgb {
		return nil
	}
	y, b, r := &d.parts[0], &d.parts[1], &d.parts[2]
	ratio, ok := map[[2]int]image.YCbCrSubsampleRatio{
		{1, 1}: image.YCbCrSubsampleRatio444, {2, 1}: image.YCbCrSubsampleRatio422,
		{2, 2}: image.YCbCrSubsampleRatio420, {1, 2}: image.YCbCrSubsampleRatio440,
	}[[2]int{y.h / b.h, y.v / b.v}]
	if !ok || y.h%b.h != 0 || y.v%b.v != 0 || b.h != r.h || b.v != r.v {
		return nil
	}
	return &image.YCbCr{
		Y: y.pix, Cb: b.pix, Cr: r.pix, YStride: d.size * y.stride, CStride: d.size * b.stride, SubsampleRatio: ratio,
		Rect: image.Rect(0, 0, ceil(d.width*d.size, 8), ceil(d.height*d.size, 8)),
	}
}

// complete reports whether the coarse coefficients have all their bits. Where they do not,
// libjpeg-turbo would make up what is missing.
func (p *jpegPart) complete() bool {
	for _, b := range p.bits[:10] {
		if b != 0 {
			return false
		}
	}
	return true
}

// grayOf turns red into gray (ITU-R BT.601, rounded as libjpeg-turbo does).
func grayOf(red, green, blue []uint8) {
	for i, r := range red {
		red[i] = uint8((19595*uint32(r) + 38470*uint32(green[i]) + 7471*uint32(blue[i]) + 1<<15) >> 16)
	}
}
