package vision

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// The dial is looked at first as a picture in polar coordinates about the foot, a
// row for each millimetre and a half of radius and a column for each half degree. Finer
// ones cost time in proportion; the strip is measured anew anyway.
const (
	dialColumns = 720
	dialFrom    = 6.5 // mm, outside the foot's cross
	dialStep    = 1.5 // mm
	dialClear   = 0.5 // mm: short of the clear zone's end, where the ring's blur begins

	// Every twelfth place, of every surfaceColumns columns in every surfaceRows rows, carries
	// the surface of the paper's light: more cost time and tell no more of what is smooth.
	// leastPlacesLit is the fewest that make one.
	surfaceColumns, surfaceRows = 6, 2
	leastPlacesLit              = 200
	darkest                     = 1e-4 // of the light, whose logarithm is taken
	surfaceUnit                 = 50.0 // mm
	// The surface lies on the bright side: it starts at the quantile brightStart, and what is
	// darker than it by shadeFrom (of ln light) loses weight as the square of that and by
	// shadeFall. What is brighter by glintFrom, a glint, weighs glintWeight. surfaceTurns turns.
	brightStart            = 0.75
	shadeFrom, shadeFall   = 0.04, 10
	glintFrom, glintWeight = 0.3, 0.1
	surfaceTurns           = 12
	// evenPull is the weight, as a part of the places', with which all terms but the mean are
	// drawn to nothing, and firstPull times that in the first pulledTurns turns: less lets a
	// half-shaded dial's surface run away in the corners, more flattens what light does.
	evenPull               = 0.02 * 0.05
	firstPull, pulledTurns = 10, 4
)

// What a dark line is told by.
const (
	offsetStep = 1.0 // mm
	offsetMost = 4.0 // mm: beyond, a line does not come from a rod on this foot
	// The middle of a line is the mean within lineCore to each side, its flanks begin at
	// lineFlank, clear of rods up to 5 mm thick and their penumbra, or flankClear beyond a
	// stated rod's edge, and are lineFlankWide broad, all mm.
	lineCore              = 0.6
	lineFlank, flankClear = 3.0, 1.2
	lineFlankWide         = 1.2
	metAt                 = 0.95 // sine under which a line must cross a circle to be followed there
	// depthFloor is the depth that each radius must have to add to a line's score: less
	// follows noise and dirt, more loses faint shadows. depthOver and depthUnder bound what one radius can do, so that neither
	// a black spot makes a line nor a bright one ends it.
	depthFloor            = 0.06
	depthOver, depthUnder = 0.5, 0.2
	offsetCost            = 0.002 // of the score for each mm off the foot and radius: of equals, the nearer
	// Lines of less score, or shorter ones (mm), are none.
	leastScore, leastLength = 0.35, 10.0
	rayBegins               = 6 // rows, 9 mm
	// peakColumns is how far to each side a line must be the strongest: 7 degrees. Less makes
	// two of a broad one, more loses a shadow beside a wire's.
	peakColumns = 14
	// shadedFlank is the light of the darker flank below which there is nothing to read: both
	// lie in a larger shadow.
	shadedFlank = 0.6
)

// dialImage is the light on the clear zone over the light of its unshaded paper.
type dialImage struct {
	rows  int
	ratio [][]float64 // [row][column]; NaN outside the picture or behind the rod
	paper surface
	// Bright is the typical light of the unshaded paper (0 to 1, 1 where the
	// sensor clips).
	bright float64
}

func (d *dialImage) radius(row int) float64 { return dialFrom + dialStep*float64(row) }

// column returns the nearest column of a direction.
func column(a angle.Angle) int {
	return int(math.Round(a.Bearing().Degrees()*dialColumns/360)) % dialColumns
}

// surface is ln(light) as a quadratic in x and y, both in surfaceUnits.
type surface [surfaceTerms]float64

const surfaceTerms = 6

func (s surface) at(x, y float64) float64 { return math.Exp(s.log(x/surfaceUnit, y/surfaceUnit)) }

func (s *surface) log(x, y float64) float64 {
	return s[0] + s[1]*x + s[2]*y + s[3]*x*x + s[4]*x*y + s[5]*y*y
}

// lookAtDial samples the clear zone and fits the unshaded paper's light: a smooth
// surface that lies on the bright side of the data, since shadows, rod and dirt
// only darken. hidden tells what of the paper is covered. ok is false where too little is seen.
func (q *search) lookAtDial(hidden func(sheet.Point) bool) (ok bool) {
	d := &dialImage{rows: int((q.sheet.Dial.ClearZone[1]-dialClear-dialFrom)/dialStep) + 1}
	d.ratio = make([][]float64, d.rows)
	var dirs [dialColumns]sheet.Point
	for i := range dirs {
		dirs[i].X, dirs[i].Y = math.Sincos(2 * math.Pi * float64(i) / dialColumns)
	}
	places := (d.rows + surfaceRows - 1) / surfaceRows * dialColumns / surfaceColumns
	xs, ys, ls := make([]float64, 0, places), make([]float64, 0, places), make([]float64, 0, places)
	for j := range d.ratio {
		row := make([]float64, dialColumns)
		d.ratio[j] = row
		r := d.radius(j)
		for i := range row {
			pt := sheet.Point{X: r * dirs[i].X, Y: r * dirs[i].Y}
			row[i] = math.NaN()
			at := q.plate.Project(pt)
			if !q.g.contains(at, 1) || hidden(pt) {
				continue
			}
			row[i] = q.g.light(at.U, at.V)
			if i%surfaceColumns == j%surfaceColumns && j%surfaceRows == 0 {
				xs, ys, ls = append(xs, pt.X), append(ys, pt.Y), append(ls, math.Log(max(row[i], darkest)))
			}
		}
	}
	if len(xs) < leastPlacesLit {
		return false
	}
	d.paper = brightSurface(xs, ys, ls)
	d.bright = d.paper.at(0, 0)
	for j, row := range d.ratio {
		r := d.radius(j)
		for i := range row {
			row[i] /= d.paper.at(r*dirs[i].X, r*dirs[i].Y)
		}
	}
	q.dial = d
	return true
}

// brightSurface fits the surface by iterated weighted least squares with weights
// that fall fast for places darker than the fit.
func brightSurface(xs, ys, ls []float64) surface {
	var s surface
	s[0] = quantile(ls, brightStart)
	for iter := range surfaceTurns {
		// Summed by hand: gonum's sums would allocate for each place.
		var a [surfaceTerms * surfaceTerms]float64 // its upper half
		var rhs [surfaceTerms]float64
		for k := range xs {
			x, y := xs[k]/surfaceUnit, ys[k]/surfaceUnit
			r := ls[k] - s.log(x, y)
			w := 1.0
			if r < -shadeFrom {
				w = shadeFrom * shadeFrom / (r * r) * math.Exp(r*shadeFall)
			} else if r > glintFrom {
				w = glintWeight
			}
			b := [surfaceTerms]float64{1, x, y, x * x, x * y, y * y}
			for m := range b {
				for n := m; n < surfaceTerms; n++ {
					a[m*surfaceTerms+n] += w * b[m] * b[n]
				}
				rhs[m] += w * b[m] * ls[k]
			}
		}
		pull := evenPull * float64(len(xs)) // to even light
		if iter < pulledTurns {
			pull *= firstPull
		}
		for m := 1; m < surfaceTerms; m++ {
			a[m*surfaceTerms+m] += pull
		}
		var chol mat.Cholesky
		t := mat.NewVecDense(surfaceTerms, nil)
		if chol.Factorize(mat.NewSymDense(surfaceTerms, a[:])) && chol.SolveVecTo(t, mat.NewVecDense(surfaceTerms, rhs[:])) == nil {
			s = surface(t.RawVector().Data)
		}
	}
	return s
}

// ray is a dark line through the neighbourhood of the foot: its direction on the
// paper and its offset to the right of the foot, mm, seen along the direction.
type ray struct {
	dir    angle.Angle
	offset float64
	score  float64 // sum over the radii of the depth beyond what is noise
	length float64 // mm, from the foot to where the line ends or fades
	depth  float64 // mean depth: 1 less the light's ratio to its flanks
	begins float64 // the same of its first rayBegins looks; NaN where none is seen of them
	flank  float64 // mm, from its middle to where the flanks begin
}

// rays lists the dark two-sided lines that start near the foot, strongest first.
// Each radius gives for every direction the depth of the middle (within lineCore)
// below the darker of its two flanks; a line collects its depths outward until
// they run out (the greatest prefix sum). Lines pass the foot by most mm at most.
func (d *dialImage) rays(diameter, most float64) []ray {
	nOff := int(2*most/offsetStep) + 1
	flank := max(lineFlank, diameter/2+flankClear)
	// A line off the foot meets a radius some columns on; not where it does not come so near.
	type meeting struct{ radius, turn int }
	met, reach := make([][]meeting, nOff), 0
	for o := range met {
		for j := range d.rows {
			if x := (-most + offsetStep*float64(o)) / d.radius(j); math.Abs(x) < metAt {
				turn := int(math.Round(math.Asin(x) * dialColumns / (2 * math.Pi)))
				met[o], reach = append(met[o], meeting{j, turn}), max(reach, turn, -turn)
			}
		}
	}
	rings := d.rings(flank, reach)
	score := make([]ray, dialColumns)
	for o := range nOff {
		off := -most + offsetStep*float64(o)
		places := make([]int, len(met[o])) // of the first column
		for k, m := range met[o] {
			places[k] = m.radius*rings.long + m.turn + reach
		}
		for i := range score {
			sum, best, last := 0.0, 0.0, 0
			for k, at := range places {
				if sum += rings.adds[at+i]; sum > best {
					best, last = sum, k
				}
			}
			if best <= score[i].score {
				continue
			}
			end := met[o][last].radius + 1
			if best -= offsetCost * math.Abs(off) * float64(end); best <= score[i].score {
				continue
			}
			total, looks, near, nearLooks := 0.0, 0.0, 0.0, 0.0
			for k, m := range met[o] {
				v := rings.depth[places[k]+i]
				if math.IsNaN(v) {
					continue
				}
				if k <= last {
					total, looks = total+v, looks+1
				}
				if m.radius >= rayBegins && k >= last {
					break
				}
				if m.radius < rayBegins {
					near, nearLooks = near+v, nearLooks+1
				}
			}
			score[i] = ray{
				dir: angle.FromDegrees(360 * float64(i) / dialColumns), offset: off, score: best,
				length: d.radius(end), depth: total / looks, begins: near / nearLooks, flank: flank,
			}
		}
	}
	return strongest(score)
}

// rings are how much darker the middle is than its flanks on each radius, and what that adds to a
// line's score: 0 where it is not seen. Each goes on beyond its ends, long in all.
type rings struct {
	depth, adds []float64
	long        int
}

func (d *dialImage) rings(flank float64, beyond int) rings {
	long := dialColumns + 2*beyond
	r := rings{make([]float64, d.rows*long), make([]float64, d.rows*long), long}
	var room runningSums
	for j, row := range d.ratio {
		whole := r.depth[j*long : (j+1)*long]
		ring := whole[beyond : beyond+dialColumns]
		lineDepth(&room, ring, row, 2*math.Pi*d.radius(j)/dialColumns, lineCore, flank, flank+lineFlankWide)
		copy(whole, ring[dialColumns-beyond:])
		copy(whole[beyond+dialColumns:], ring[:beyond])
		for k, v := range whole {
			if !math.IsNaN(v) {
				r.adds[j*long+k] = max(-depthUnder, min(depthOver, v)) - depthFloor
			}
		}
	}
	return r
}

// strongest lists the peaks among the lines of all directions, strongest first, each in the middle
// of what is as strong: within a broad, short shadow all is.
func strongest(score []ray) (out []ray) {
	at := func(i int) ray { return score[(i+dialColumns)%dialColumns] }
	for i, r := range score {
		if r.score < leastScore || r.length < leastLength {
			continue
		}
		peak := true
		for k := -peakColumns; k <= peakColumns && peak; k++ {
			o := at(i + k).score
			peak = r.score > o || r.score == o && k >= 0
		}
		if !peak {
			continue
		}
		last := 0
		for last < peakColumns && at(i+last+1).score == r.score {
			last++
		}
		m := at(i + last/2)
		if last%2 == 1 {
			m.dir += angle.FromDegrees(180.0 / dialColumns)
		}
		out = append(out, m)
	}
	slices.SortFunc(out, func(a, b ray) int { return cmp.Compare(b.score, a.score) })
	return out
}

// runningSums is room for what lies before each place in three turns of a ring, and how much of it
// is seen; nothing before the first.
type runningSums struct {
	sum [3*dialColumns + 1]float64
	cnt [3*dialColumns + 1]int
}

// lineDepth writes, for each column of a ring whose columns lie pitch mm apart, how
// much darker the middle is than the darker flank, as a part of that flank's light.
func lineDepth(room *runningSums, out, row []float64, pitch, middle, from, to float64) {
	n := len(row)
	// Running sums over three turns make every window a difference.
	sum, cnt := room.sum[:3*n+1], room.cnt[:3*n+1]
	at, count := 0.0, 0
	for turn := range 3 {
		for k, v := range row {
			if !math.IsNaN(v) {
				at += v
				count++
			}
			sum[turn*n+k+1], cnt[turn*n+k+1] = at, count
		}
	}
	window := func(a, b int) float64 { // mean over columns a..b, NaN when mostly missing
		if c := cnt[b+1] - cnt[a]; 2*c > b-a {
			return (sum[b+1] - sum[a]) / float64(c)
		}
		return math.NaN()
	}
	m := max(0, int(math.Round(middle/pitch)))
	a, b := int(math.Round(from/pitch)), int(math.Round(to/pitch))
	b = min(max(b, a+1), n/2)
	a = min(a, b-1)
	for i := range out {
		k := i + n
		mid := window(k-m, k+m)
		left, right := window(k-b, k-a), window(k+a, k+b)
		ref := min(left, right)
		if math.IsNaN(left) {
			ref = right
		} else if math.IsNaN(right) {
			ref = left
		}
		if math.IsNaN(mid) || math.IsNaN(ref) || ref <= 0 {
			out[i] = math.NaN()
			continue
		}
		out[i] = (ref - mid) / ref
		// Inside a large shadow both flanks are dark and there is nothing to read.
		if ref < shadedFlank {
			out[i] = min(out[i], 0)
		}
	}
}
