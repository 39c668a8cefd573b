package align

import (
	"fmt"
	"math"
	"strings"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
)

// Reversal is what is known of an instrument that is reversed on a straight edge, as one
// proves a spirit level: each reading is one stand, levelled anew by the board's own bubble,
// on a heading that differs from the first's by half a circle, or by quarters. Rod's lean
// and bubble's error turn with the board and change sign across the shadow, so that the
// heading that explains all stands is free of both to first order. Sigmas are one standard
// deviation; Priors.PlateSigma is that of the bubble's own error.
type Reversal struct {
	// Centring is how well the bubble was centred, each time anew, each component.
	Centring angle.Angle
	// Sides is how square the board's sides are to one another, where it was turned by
	// quarters.
	Sides angle.Angle
	// Surface is the slope of what the board merely lay on, the same for all stands.
	Surface angle.Angle
}

// DefaultReversal is for a bubble centred by eye between its marks and a board sawn square
// (from memory).
func DefaultReversal() Reversal {
	return Reversal{Centring: 0.15 * angle.Degree, Sides: 0.2 * angle.Degree}
}

// BubbleSigma is one sigma of a bubble's own error, each component (from memory).
const BubbleSigma = 1 * angle.Degree

const quarter = math.Pi / 2

// turns are the quarters by which each stand is turned from the first. It fails with code
// not_reversed where the stands are not so turned.
func (q *problem) turns() ([]int, error) {
	const most = 40 * angle.Degree // leans of three degrees and more under a high sun, twice
	plain := make([]angle.Angle, len(q.stands))
	for i := range q.obs {
		plain[q.stand[i]] = q.obs[i].plainHeading()
	}
	out := make([]int, len(plain))
	halves := false
	var found []string
	bad := false
	for s, h := range plain {
		off := (h - plain[0]).Signed()
		out[s] = (int(math.Round(float64(off/quarter))) + 4) % 4
		bad = bad || (off-angle.Angle(out[s])*quarter).Signed().Abs() > most
		halves = halves || s > 0 && out[s] != 0
		found = append(found, fmt.Sprintf("%.1f°", h.Degrees()))
	}
	if bad || !halves {
		return nil, fault.New("not_reversed", "turn the board end for end against the same straight edge, or by quarters with each side against it in turn",
			"the readings do not stand half or quarter turns apart: they show %s", strings.Join(found, ", "))
	}
	return out, nil
}

// reverse ties the stands' headings to the first's and gives each its own tilt.
func (q *problem) reverse(r Reversal, turns []int) {
	n := len(q.stands)
	q.tilts = pStands + n
	q.held = append(q.held, make([]bool, 2*n)...)
	if r.Centring == 0 {
		for k := q.tilts; k < len(q.held); k++ {
			q.held[k] = true
		}
	} else {
		for k := q.tilts; k < len(q.held); k++ {
			q.priors = append(q.priors, prior{"how well the bubble was centred", k, -1, 1 / r.Centring.Tan(), 0})
		}
	}
	quarters := false
	for _, t := range turns {
		quarters = quarters || t%2 != 0
	}
	const exactly = 1e-6 // rad
	for s := 1; s < n; s++ {
		sigma := exactly
		if quarters && turns[s] != 0 {
			sigma = max(exactly, float64(r.Sides))
		}
		q.priors = append(q.priors, prior{"the board's sides against the edge", pStands + s, pStands, 1 / sigma, float64(turns[s]) * quarter / sigma})
	}
}

// startReversed is start with every stand's heading within a turn of the first's.
func (q *problem) startReversed(turns []int) []float64 {
	x := q.start()
	var sin, cos float64
	for s := range q.stands {
		a := x[pStands+s] - float64(turns[s])*quarter
		sin, cos = sin+math.Sin(a), cos+math.Cos(a)
	}
	first := math.Atan2(sin, cos) // the mean: free of the lean to first order
	for s := range q.stands {
		x[pStands+s] = first + float64(turns[s])*quarter
	}
	return x
}

// solveWith solves a series, a turn, or stands that are reversed.
func (q *problem) solveWith(p Priors) (*solution, []int, error) {
	if p.Reversal == nil {
		return q.solve()
	}
	turns, err := q.turns()
	if err != nil {
		return nil, nil, err
	}
	q.reverse(*p.Reversal, turns)
	s, err := q.solveReversed(turns)
	return s, nil, err
}

// solveReversed fits all stands: of so few none can be set aside.
func (q *problem) solveReversed(turns []int) (*solution, error) {
	used := make([]bool, len(q.obs))
	for i := range used {
		used[i] = true
	}
	s, err := q.fit(q.startReversed(turns), used, false)
	if err != nil {
		return nil, err
	}
	s.widen()
	return s, nil
}

// reversedVerdict says what reversing proved and what it left.
func (r *Result) reversedVerdict() (lines []string) {
	h := r.Stands[0].Heading
	lines = append(lines, fmt.Sprintf("reversed on the edge, the sheet pointed to %06.2f° ± %.2f° (95 %%) in %s: rod's lean and bubble's error cancel in it", h.Value.Degrees(), within95(h.Sigma), r.Stands[0].Name))
	along := func(t Term) angle.Angle { return t.Direction.Bearing() }
	spread := 0.0
	for _, t := range r.Terms {
		spread = max(spread, math.Abs((along(t) - along(r.Terms[0])).Sin()))
	}
	if spread < 0.3 {
		lines = append(lines, "only the lean across the sun is proved: a pair two hours later, or quarter turns, gives the other component")
	}
	return lines
}
