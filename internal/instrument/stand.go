package instrument

import (
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
)

// Tilt is how a sheet stands: the elevations of its forward and its starboard axis above
// the horizontal, positive where that edge is high, and one sigma of either.
type Tilt struct{ Forward, Starboard, Sigma angle.Angle }

// Plumb returns the plumb line's slope through a sheet that stands so: its two components
// out of the sheet are the sines of the elevations.
func (t Tilt) Plumb() Slope {
	x, y := t.Starboard.Sin(), t.Forward.Sin()
	z := math.Sqrt(max(1e-6, 1-x*x-y*y))
	return Slope{x / z, y / z}
}

// With joins two measurements of one tilt by their weights. apart is by how many sigmas
// they differ; beyond three the result is as uncertain as they are apart.
func (t Tilt) With(o Tilt) (joined Tilt, apart float64) {
	v, w := float64(t.Sigma*t.Sigma), float64(o.Sigma*o.Sigma)
	if v+w == 0 {
		v, w = 1, 1
	}
	mean := func(a, b angle.Angle) angle.Angle { return angle.Angle((float64(a)*w + float64(b)*v) / (v + w)) }
	joined = Tilt{mean(t.Forward, o.Forward), mean(t.Starboard, o.Starboard), angle.Angle(math.Sqrt(v * w / (v + w)))}
	off := angle.RSS(t.Forward-o.Forward, t.Starboard-o.Starboard)
	if apart = float64(off) / math.Sqrt(v+w); apart > 3 {
		joined.Sigma = max(t.Sigma, o.Sigma, off/2)
	}
	return joined, apart
}

// Known is what a person knows of how rod and sheet stand before the picture is looked at.
type Known struct {
	Record *Record // nil where nothing was proved
	// Level is one sigma of the rod from plumb along any one direction, by bubble and set
	// square together, for a plumb line that of the sheet. A record has its own.
	Level, Alignment angle.Angle
	// Square is one sigma of a drilled rod against its sheet, where Tilt is measured.
	Square    angle.Angle
	Tilt      *Tilt // nil where it was not measured
	PlumbLine bool  // the gnomon hangs; a record says so itself
}

// Stand is what is known of the lubber line's correction, the rod's lean from plumb and
// its slope against the sheet at one stand of the instrument, with their covariance, in
// the order of Proved's. The sheet's tilt is slope less lean.
type Stand struct {
	value     [Components]float64
	cov       [Components][Components]float64
	setUp     angle.Angle // one sigma of the lean that is no part of the covariance
	aligned   angle.Angle // what a new setting-up leaves open of the alignment
	tilted    bool        // the sheet's tilt was measured
	plumbLine bool
	level     angle.Angle // a plumb line's
	// Contradicted tells that the measured tilt and the record exclude each other: the
	// board stands otherwise than when it was proved. The tilt stands.
	Contradicted bool
}

// StandOf joins what is known. It fails with Check's code for a record that cannot be.
func StandOf(k Known) (*Stand, error) {
	s := &Stand{aligned: k.Alignment, level: k.Level, plumbLine: k.PlumbLine, tilted: k.Tilt != nil}
	rod, lean := variance(k.Square), 0.0
	if r := k.Record; r != nil {
		if err := r.Check(); err != nil {
			return nil, err
		}
		s.level, s.aligned, s.plumbLine = r.LevelSigma, r.AlignmentSigma, r.Gnomon == PlumbLine
		s.cov = r.Proved.Covariance
		s.value = [Components]float64{LeanStarboard: r.Proved.Lean.Starboard, LeanForward: r.Proved.Lean.Forward,
			RodStarboard: r.Proved.Rod.Starboard, RodForward: r.Proved.Rod.Forward}
		if r.Proved.Lubber != nil {
			s.value[Lubber] = float64(*r.Proved.Lubber)
		}
		lean = variance(r.LevelSigma)
	}
	if s.plumbLine {
		s.hang(k.Tilt)
		return s, nil
	}
	if k.Record == nil {
		if k.Tilt == nil { // bubble and set square, half each
			rod, lean = variance(k.Level)/2, variance(k.Level)/2
		}
		s.addRod(rod)
		s.addLean(lean)
		if k.Tilt != nil {
			s.replace(*k.Tilt)
		}
		return s, nil
	}
	s.setUp = k.Record.LevelSigma
	if k.Tilt != nil {
		s.setUp = 0
		s.addLean(lean)
		known := s.cov[RodStarboard][RodStarboard] + s.cov[RodForward][RodForward]
		if found := known > 0 || k.Record.Proved.Rod != (Slope{}); !found || known > 2*rod {
			s.forgetRod(rod)
		}
		s.Contradicted = s.observeTilt(*k.Tilt)
	}
	return s, nil
}

func variance(a angle.Angle) float64 { return float64(a * a) }

func sq(x float64) float64 { return x * x }

// axes are lean and rod, to starboard and forward.
var axes = [2]struct{ lean, rod int }{{LeanStarboard, RodStarboard}, {LeanForward, RodForward}}

// fix sets a component to a value with a variance of its own.
func (s *Stand) fix(k int, value, v float64) {
	for j := range s.cov {
		s.cov[k][j], s.cov[j][k] = 0, 0
	}
	s.value[k], s.cov[k][k] = value, v
}

// hang makes rod and plumb line one.
func (s *Stand) hang(t *Tilt) {
	var plumb Slope
	var v float64
	if t != nil {
		plumb, v, s.level = t.Plumb(), variance(t.Sigma), t.Sigma
	}
	for i, a := range axes {
		s.fix(a.lean, 0, 0)
		s.fix(a.rod, plumb.on(i), v)
	}
}

// on is the slope's component on an axis.
func (s Slope) on(axis int) float64 { return [2]float64{s.Starboard, s.Forward}[axis] }

// addRod adds to what is open of the rod's slope, which its lean shares; addLean to what
// is open of the lean alone, by the sheet.
func (s *Stand) addRod(v float64) {
	for _, a := range axes {
		s.cov[a.rod][a.rod] += v
		s.cov[a.lean][a.lean] += v
		s.cov[a.rod][a.lean] += v
		s.cov[a.lean][a.rod] += v
	}
}

func (s *Stand) addLean(v float64) {
	for _, a := range axes {
		s.cov[a.lean][a.lean] += v
	}
}

// forgetRod takes the rod for square but for a variance.
func (s *Stand) forgetRod(v float64) {
	for _, a := range axes {
		s.fix(a.rod, 0, v)
	}
}

// replace has the lean follow from the tilt as measured and from the rod's slope, whose
// covariance it shares.
func (s *Stand) replace(t Tilt) {
	plumb := t.Plumb()
	for i, a := range axes {
		s.value[a.lean] = s.value[a.rod] - plumb.on(i)
		s.cov[a.lean] = s.cov[a.rod]
	}
	for _, a := range axes {
		for j := range s.cov {
			s.cov[j][a.lean] = s.cov[j][a.rod]
		}
	}
	s.addLean(variance(t.Sigma))
}

// observeTilt joins a measured tilt with a record that knows the lean. Beyond three sigmas
// the record's lean is another stand's, and the tilt replaces it.
func (s *Stand) observeTilt(t Tilt) (contradicted bool) {
	was := *s
	plumb := t.Plumb()
	misfit := 0.0
	for i, a := range axes {
		var h [Components]float64
		h[a.lean], h[a.rod] = -1, 1
		misfit = math.Hypot(misfit, s.observe(h, plumb.on(i), float64(t.Sigma)))
	}
	if misfit <= 3 {
		return false
	}
	*s = was
	s.replace(t)
	return true
}

// Seen is what a picture shows of the rod's slope towards a direction on the sheet, mm per
// mm, with one sigma.
type Seen struct {
	Toward       angle.Angle
	Slope, Sigma float64
}

// SeeRod joins what pictures of one stand show of the rod. A rod that leans by more than was
// known of it may lean by as much along the lines of sight.
func (s *Stand) SeeRod(seen ...Seen) {
	if s.plumbLine {
		return
	}
	const (
		unlike = 2
		sloppy = 3 // a board set up with such a rod is level to a third of that
	)
	row := func(v Seen) (h [Components]float64) {
		h[RodStarboard], h[RodForward] = v.Toward.Sin(), v.Toward.Cos()
		return h
	}
	most := 0.0
	for _, v := range seen {
		known, variance := s.along(row(v))
		if off := math.Abs(v.Slope - known); off > unlike*math.Sqrt(variance+v.Sigma*v.Sigma) {
			most = max(most, off)
		}
	}
	if most > 0 {
		s.addRod(most * most)
		if !s.tilted {
			s.addLean(most * most / sq(sloppy))
		}
	}
	for _, v := range seen {
		s.observe(row(v), v.Slope, v.Sigma)
	}
}

// along is the mean and the variance of a combination of the components.
func (s *Stand) along(h [Components]float64) (mean, v float64) {
	for i := range h {
		mean += h[i] * s.value[i]
		for j := range h {
			v += h[i] * s.cov[i][j] * h[j]
		}
	}
	return mean, v
}

// observe joins a measured combination of the components, and returns by how many sigmas
// it was off what was known.
func (s *Stand) observe(h [Components]float64, value, sigma float64) float64 {
	mean, v := s.along(h)
	total := v + sigma*sigma
	if total <= 0 {
		return 0
	}
	var gain [Components]float64
	for i := range gain {
		for j := range h {
			gain[i] += s.cov[i][j] * h[j] / total
		}
	}
	for i := range gain {
		s.value[i] += gain[i] * (value - mean)
	}
	for i := range gain {
		for j := range gain {
			s.cov[i][j] -= gain[i] * total * gain[j]
		}
	}
	return math.Abs(value-mean) / math.Sqrt(total)
}

// Slopes returns the plumb line's slope through the sheet and the rod's.
func (s *Stand) Slopes() (plumb, rod Slope) { return slopes(s.value) }

func slopes(v [Components]float64) (plumb, rod Slope) {
	rod = Slope{v[RodStarboard], v[RodForward]}
	return rod.Minus(Slope{v[LeanStarboard], v[LeanForward]}), rod
}

// LeanSigma is one sigma of the rod's lean from plumb towards a direction on the sheet; of
// a plumb line that of the sheet.
func (s *Stand) LeanSigma(toward angle.Angle) angle.Angle {
	if s.plumbLine {
		return s.level
	}
	var h [Components]float64
	h[LeanStarboard], h[LeanForward] = toward.Sin(), toward.Cos()
	_, v := s.along(h)
	return angle.RSS(s.setUp, angle.Angle(math.Sqrt(max(0, v))))
}

// Turned is what a stand does to a heading: what is to be added to the heading of a plumb
// rod on a level sheet, and the sigmas that stand in the budget for level and alignment.
// Their squares add up to the whole of what remains; where lubber and lean were found
// together their errors partly cancel, and the sum shows it. Tilt and Square are the parts
// of Level where the tilt was measured.
type Turned struct{ Turn, Level, Alignment, Tilt, Square angle.Angle }

// Turn returns what a stand does to the heading azimuth + 180 - direction of a reading, the
// direction of the shadow on the sheet clockwise from forward.
//
// It fails with code no_correction where the sun does not stand between the horizon and
// 80 degrees.
func (s *Stand) Turn(sunAzimuth, sunAltitude, direction angle.Angle) (Turned, error) {
	if !(sunAltitude > 0 && sunAltitude <= maxAltitude) {
		return Turned{}, fault.New("no_correction", "wait until the sun stands between the horizon and 80 degrees", "no correction is known for a sun at %.1f°", sunAltitude.Degrees())
	}
	at := func(v [Components]float64) (angle.Angle, bool) {
		plumb, rod := slopes(v)
		turn, ok := turnFor(plumb, rod, sunAzimuth, sunAltitude, direction)
		return turn + angle.Angle(v[Lubber]), ok
	}
	turn, ok := at(s.value)
	var gradient [Components]float64
	for k := range s.value {
		const step = 1e-5 // rad: 2 arcseconds
		up, down := s.value, s.value
		up[k] += step
		down[k] -= step
		a, okA := at(up)
		b, okB := at(down)
		ok = ok && okA && okB
		gradient[k] = float64((a - b).Signed()) / (2 * step)
	}
	if !ok {
		return Turned{}, fault.New("no_correction", "straighten the rod and prove the instrument again", "the rod leans too far for a sun at %.1f°", sunAltitude.Degrees())
	}
	_, total := s.along(gradient)
	total = max(0, total)
	alignment := min(total, s.cov[Lubber][Lubber])
	out := Turned{Turn: turn.Signed(), Level: angle.Angle(math.Sqrt(total - alignment)),
		Alignment: angle.RSS(angle.Angle(math.Sqrt(alignment)), s.aligned)}
	out.Level = angle.RSS(out.Level, angle.Angle(float64(s.setUp)*sunAltitude.Tan()))
	if s.plumbLine {
		out.Level = angle.RSS(out.Level, PlumbLineLevel(s.level))
	}
	if s.tilted {
		_, tilt := s.along([Components]float64{LeanStarboard: gradient[LeanStarboard], LeanForward: gradient[LeanForward],
			RodStarboard: -gradient[LeanStarboard], RodForward: -gradient[LeanForward]})
		if s.plumbLine {
			tilt = variance(out.Level)
		}
		out.Tilt = angle.Angle(math.Sqrt(min(max(0, tilt), variance(out.Level))))
		out.Square = angle.Angle(math.Sqrt(max(0, variance(out.Level)-variance(out.Tilt))))
	}
	return out, nil
}
