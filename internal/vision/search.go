package vision

import (
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/calib"
	"shadowread/internal/sheet"
)

// What shows that the rod's image covers a shadow, which is then the reason given.
const (
	// Dark paper lines the image where, of besideSides places or more to its sides, one in
	// besideOne or more is darker than besideDark; a place is the first besidePlaces columns
	// of the dial that are seen, together against the noise.
	besidePlaces, besideSides, besideOne = 4, 10, 4
	besideDark                           = 0.75
	// A dark line goes on beyond the image, from beyondFrom mm, where beyondLeast places, and
	// most of them, have less than beyondDark of the light beyondFlank mm beside.
	beyondFrom, beyondFlank = 2.0, 4.0
	beyondLeast, beyondDark = 6, 0.8
)

// search is one search for a shadow: the picture, the map of its sheet, what is known of
// the rod, and what all steps of the search look up.
type search struct {
	g     *Gray
	plate *calib.Plate
	sheet *sheet.Sheet
	rod   Rod
	img   *rodImage
	dial  *dialImage // nil until it is looked at
	rays  []ray      // the lines on it, strongest first
	ghost ghost      // of a telephone's second frame
	// curlSigma is one sigma of the sheet's curl along a direction, 1/mm; nil for paper known to be flat.
	curlSigma func(angle.Angle) float64
	// steady leaves out the rows by another shadow's rim, where enough are left.
	steady bool
	// among leaves out the rows that are not as broad as the rod is said to be thick: things lie
	// about on the sheet.
	among bool
	// topMM is the rod's height by its image, where that was asked for; else 0.
	topMM float64
}

func newSearch(g *Gray, p *calib.Plate, h ghost, s *sheet.Sheet, rod Rod) *search {
	return &search{g: g, plate: p, sheet: s, rod: rod, img: newRodImage(p, s, rod), ghost: h}
}

// raw returns the light seen at a place on the paper; NaN outside the picture.
func (q *search) raw(p sheet.Point) float64 {
	at := q.plate.Project(p)
	if !q.g.contains(at, 1) {
		return math.NaN()
	}
	return q.g.light(at.U, at.V)
}

// lit returns the light of the unshaded paper at a place.
func (q *search) lit(p sheet.Point) float64 { return q.dial.paper.at(p.X, p.Y) }

// light returns the light at a place over that of unshaded paper there; NaN outside the
// picture.
func (q *search) light(p sheet.Point) float64 { return q.raw(p) / q.lit(p) }

// hides reports whether the rod's image lies over a place.
func (q *search) hides(p sheet.Point) bool { return q.img.hides(p) }

// shadowBeside reports whether dark paper lines the rod's image: a shadow that
// looks out from behind it.
func (q *search) shadowBeside() bool {
	dir, d := q.img.direction(), q.dial
	if q.img.length() < leastStrip {
		return false
	}
	dark, seen := 0, 0
	for j, row := range d.ratio {
		if d.radius(j) > q.img.length() {
			break
		}
		for _, side := range []int{1, -1} {
			// The first visible places beside the mask, together against the noise.
			sum, n := 0.0, 0
			for k := 0; k < dialColumns/4 && n < besidePlaces; k++ {
				v := row[((column(dir)+side*k)%dialColumns+dialColumns)%dialColumns]
				if !math.IsNaN(v) {
					sum += v
					n++
				}
			}
			if n == 0 {
				continue
			}
			seen++
			if sum/float64(n) < besideDark {
				dark++
			}
		}
	}
	return seen > besideSides && dark*besideOne > seen
}

// shadowBeyond reports whether a dark line goes on where the rod's image ends: the
// shadow that it covers.
func (q *search) shadowBeyond() bool {
	f := newFrame(q.img.direction(), 0)
	dark, seen := 0, 0
	for s := q.img.length() + beyondFrom; s < q.img.plain; s++ {
		mid, flank := q.light(f.at(s, 0)), min(q.light(f.at(s, -beyondFlank)), q.light(f.at(s, beyondFlank)))
		if math.IsNaN(mid + flank) {
			continue
		}
		seen++
		if mid < beyondDark*flank {
			dark++
		}
	}
	return dark >= beyondLeast && 2*dark > seen
}

// absent reports that there is no rod where one must be seen.
func (q *search) absent() bool {
	look := q.hear(&Strip{Direction: q.img.direction() + math.Pi}).look() // of a strip out of the way
	return look.told && !look.seen
}
