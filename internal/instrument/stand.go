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
	// HeightMM is the rod's as stated, with one sigma; 0 where nobody did.
	HeightMM, HeightSigmaMM float64
	// Unsaid tells that nobody said with what care the rod was set, so that pictures of it
	// decide between a set square and the eye.
	Unsaid bool
}

// A rod of which nobody says how it was set stands by a set square, or by eye, and its board
// then to a third of that (common practice; the figures are from memory). Of rods that lean by
// up to three degrees, of which nothing is said, headings are then off by 1.2 sigma RMS (proof
// level); without it by more than two.
const (
	byEye      = 1.5 * angle.Degree
	byEyeBoard = byEye / 3
	oneByEye   = 0.4
)

// Stand is what is known of the lubber line's correction, the rod's lean from plumb, its
// slope against the sheet and its height at one stand of the instrument.
type Stand struct {
	// guesses are one, or a rod set with care and one set by eye.
	guesses   []guess
	setUp     angle.Angle // one sigma of the lean that is no part of the covariance
	aligned   angle.Angle // what a new setting-up leaves open of the lubber line
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
	if r := k.Record; r != nil {
		if err := r.Check(); err != nil {
			return nil, err
		}
		s.level, s.aligned, s.plumbLine = r.LevelSigma, r.AlignmentSigma, r.Gnomon == PlumbLine
	}
	g := guess{tilted: s.tilted, weight: 1}
	g.fix(height, math.Log(usualHeight), anyHeight)
	if k.HeightMM > 0 {
		g.fix(height, math.Log(k.HeightMM), sq(k.HeightSigmaMM/k.HeightMM))
	}
	switch {
	case s.plumbLine:
		if k.Tilt != nil {
			s.level = k.Tilt.Sigma
		}
		g.take(k.Record)
		g.hang(k.Tilt)
	case k.Record != nil:
		g.take(k.Record)
		if s.setUp = k.Record.LevelSigma; k.Tilt != nil {
			s.setUp = 0
			s.Contradicted = g.tilt(*k.Tilt, k.Record, k.Square)
		}
	case k.Tilt != nil:
		g.addRod(variance(k.Square))
		g.replace(*k.Tilt)
	default: // bubble and set square, half each
		g.addRod(variance(k.Level) / 2)
		g.addLean(variance(k.Level) / 2)
	}
	s.guesses = []guess{g}
	if k.Unsaid && k.Record == nil && !s.plumbLine {
		g.addRod(variance(byEye))
		if !s.tilted {
			g.addLean(variance(byEyeBoard))
		}
		s.guesses[0].weight, g.weight = 1-oneByEye, oneByEye
		s.guesses = append(s.guesses, g)
	}
	return s, nil
}

// Seen is what a picture shows of the rod's slope towards a direction on the sheet, mm per
// mm, with one sigma.
type Seen struct {
	Toward       angle.Angle
	Slope, Sigma float64
}

// Top is what a picture shows of the rod's top: the height over the foot, with one sigma,
// that it would have if the rod did not lean along the line of sight; the direction on the
// sheet in which that goes, away from the camera, and the tangent of its angle to the
// sheet's normal.
type Top struct {
	Toward                angle.Angle
	HeightMM, HeightSigma float64
	Tangent               float64
}

// Shadow is the length of the rod's shadow from the foot, with one sigma, and one sigma
// of the altitude of what casts it.
type Shadow struct {
	Azimuth, Altitude, AltitudeSigma angle.Angle
	Direction                        angle.Angle // on the sheet, clockwise from forward
	LengthMM, SigmaMM                float64
}

// See joins what pictures of one stand show of the rod's image. A rod that leans by more
// than was known of it may lean by as much along the lines of sight, and a top that is not
// where it was stated to be may be another rod's.
func (s *Stand) See(slopes []Seen, tops []Top) {
	if s.plumbLine {
		return
	}
	var sides, ends []observed
	for _, v := range slopes {
		o := observed{value: v.Slope, sigma: v.Sigma, lean: 1}
		o.row[RodStarboard], o.row[RodForward] = v.Toward.Sin(), v.Toward.Cos()
		sides = append(sides, o)
	}
	for _, t := range tops {
		o := observed{value: math.Log(t.HeightMM), sigma: t.HeightSigma / t.HeightMM, lean: t.Tangent}
		// The ray meets the rod at h (1 + slope / tangent) over the foot.
		o.row[height] = 1
		o.row[RodStarboard], o.row[RodForward] = t.Toward.Sin()/t.Tangent, t.Toward.Cos()/t.Tangent
		ends = append(ends, o)
	}
	for i := range s.guesses {
		widest := i == len(s.guesses)-1
		s.guesses[i].join(sides, widest, false)
		s.guesses[i].join(ends, widest, true)
	}
	s.weigh()
}

// weigh has the guesses' weights add up to one.
func (s *Stand) weigh() {
	sum := 0.0
	for _, g := range s.guesses {
		sum += g.weight
	}
	for i := range s.guesses {
		if sum > 0 {
			s.guesses[i].weight /= sum
		} else { // nothing fits: the widest
			s.guesses[i].weight = 0
			s.guesses[len(s.guesses)-1].weight = 1
		}
	}
}

// SeeShadow joins the length of the shadow, which tells of the lean along it, of the height
// and, with the image of the rod, of the lean across.
func (s *Stand) SeeShadow(v Shadow) {
	if s.plumbLine {
		return
	}
	at := func(x [components]float64) float64 {
		plumb, rod := slopes(x)
		perMM, _ := lengthFor(plumb, rod, v.Azimuth, v.Altitude, v.Direction)
		return x[height] + math.Log(perMM)
	}
	// d(altitude) / d ln(length) of a plumb rod.
	moves := v.Altitude.Sin() * v.Altitude.Cos()
	sigma := math.Hypot(v.SigmaMM/v.LengthMM, float64(angle.RSS(v.AltitudeSigma, s.setUp))/moves)
	for i := range s.guesses {
		g := &s.guesses[i]
		o := observed{row: g.gradient(at), sigma: sigma, lean: moves}
		mean, _ := g.along(o.row)
		if o.value = math.Log(v.LengthMM) - at(g.value) + mean; !math.IsNaN(o.value) && !math.IsInf(o.value, 0) {
			g.join([]observed{o}, i == len(s.guesses)-1, true)
		}
	}
	s.weigh()
}

// likely is the guess that what was seen speaks for.
func (s *Stand) likely() *guess {
	best := &s.guesses[0]
	for i := range s.guesses {
		if s.guesses[i].weight > best.weight {
			best = &s.guesses[i]
		}
	}
	return best
}

// HeightMM is the rod's height as far as it is known, with one sigma.
func (s *Stand) HeightMM() (h, sigma float64) {
	g := s.likely()
	h = math.Exp(g.value[height])
	return h, h * float64(g.sigma(row{height: 1}))
}

// ShadowPerMM is the length of the shadow for each millimetre that the rod's top stands over
// the sheet, as rod and sheet likely stand.
func (s *Stand) ShadowPerMM(azimuth, altitude, direction angle.Angle) (perMM float64, ok bool) {
	plumb, rod := s.Slopes()
	return lengthFor(plumb, rod, azimuth, altitude, direction)
}

// Slopes returns the plumb line's slope through the sheet and the rod's, as they likely are.
func (s *Stand) Slopes() (plumb, rod Slope) { return slopes(s.likely().value) }

func slopes(v [components]float64) (plumb, rod Slope) {
	rod = Slope{v[RodStarboard], v[RodForward]}
	return rod.Minus(Slope{v[LeanStarboard], v[LeanForward]}), rod
}

// LeanSigma is one sigma of the rod's lean from plumb towards a direction on the sheet, as
// it likely stands; of a plumb line that of the sheet.
func (s *Stand) LeanSigma(toward angle.Angle) angle.Angle {
	if s.plumbLine {
		return s.level
	}
	return angle.RSS(s.setUp, s.likely().sigma(row{LeanStarboard: toward.Sin(), LeanForward: toward.Cos()}))
}

// RodSigma is one sigma of the rod's slope against the sheet towards a direction on it.
func (s *Stand) RodSigma(toward angle.Angle) angle.Angle {
	return s.likely().sigma(row{RodStarboard: toward.Sin(), RodForward: toward.Cos()})
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
	ok := true
	at := func(v [components]float64) float64 {
		plumb, rod := slopes(v)
		turn, fits := turnFor(plumb, rod, sunAzimuth, sunAltitude, direction)
		ok = ok && fits
		return float64(turn.Signed()) + v[Lubber]
	}
	// The likely guess is taken; what is left open is about that.
	turn, total, lubber, tilt := at(s.likely().value), 0.0, 0.0, 0.0
	for _, g := range s.guesses {
		mean, gradient := at(g.value), g.gradient(at)
		v := float64(variance(g.sigma(gradient)))
		aligned := min(v, g.cov[Lubber][Lubber])
		t := g.sigma(row{LeanStarboard: gradient[LeanStarboard], LeanForward: gradient[LeanForward],
			RodStarboard: -gradient[LeanStarboard], RodForward: -gradient[LeanForward]})
		total += g.weight * (v + sq(mean-turn))
		lubber += g.weight * aligned
		tilt += g.weight * variance(t)
	}
	if !ok {
		return Turned{}, fault.New("no_correction", "straighten the rod and prove the instrument again", "the rod leans too far for a sun at %.1f°", sunAltitude.Degrees())
	}
	out := Turned{Turn: angle.Angle(turn).Signed(), Level: angle.Angle(math.Sqrt(max(0, total-lubber))),
		Alignment: angle.RSS(angle.Angle(math.Sqrt(lubber)), s.aligned)}
	out.Level = angle.RSS(out.Level, angle.Angle(float64(s.setUp)*sunAltitude.Tan()))
	if s.plumbLine {
		out.Level = angle.RSS(out.Level, PlumbLineLevel(s.level))
		tilt = variance(out.Level)
	}
	if s.tilted {
		out.Tilt = angle.Angle(math.Sqrt(min(tilt, variance(out.Level))))
		out.Square = angle.Angle(math.Sqrt(max(0, variance(out.Level)-variance(out.Tilt))))
	}
	return out, nil
}
