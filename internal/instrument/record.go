package instrument

import (
	"math"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"gonum.org/v1/gonum/mat"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
)

// Gnomon is what casts the shadow.
type Gnomon string

// The gnomons. A plumb line (a thread with a weight) is always plumb: the sheet's level
// does not turn its shadow to first order.
const (
	Rod       Gnomon = "rod"
	PlumbLine Gnomon = "plumb line"
)

// Hung returns the record of a rod as that of the plumb line which it was: always plumb,
// with no lean to correct for. The lubber keeps its own sigma, for which the lean was free.
func (r Record) Hung() Record {
	lubber := r.Proved.Covariance[Lubber][Lubber]
	r.Gnomon, r.Proved = PlumbLine, Proved{Lubber: r.Proved.Lubber}
	r.Proved.Covariance[Lubber][Lubber] = lubber
	return r
}

// Components of Proved's covariance, in order.
const (
	Lubber = iota
	LeanStarboard
	LeanForward
	RodStarboard
	RodForward
	Components
)

// Record is what is known of one instrument. Sigmas are one standard deviation.
type Record struct {
	Name  string
	Found time.Time // UTC; zero where nothing has been proved yet
	How   string    // how it was found, for people

	Gnomon     Gnomon
	HeightMM   float64 // of the tip above the sheet; 0 where not known
	DiameterMM float64 // 0 where not known
	NodusMM    float64 // height of a bead or ring of tape on the rod; 0 for none
	Foot       *Foot   // nil where not known

	Proved Proved

	// LevelSigma is what a new setting-up changes: for a rod the lean from plumb along
	// any one direction, for a plumb line the level of the sheet. It is 0 only for an
	// instrument that has not been moved since it was proved.
	LevelSigma angle.Angle
	// AlignmentSigma is the same for the forward axis against the vehicle; where no
	// lubber line was proved, it is all that is known.
	AlignmentSigma angle.Angle

	Lens string // file of the camera's lens record; "" for none
}

// Foot is where the rod's axis meets the sheet, mm from the printed foot.
type Foot struct{ StarboardMM, ForwardMM, SigmaMM float64 }

// Proved is what proving the instrument has shown.
type Proved struct {
	// Lubber is added to the heading of the sheet's forward axis to give the vehicle's;
	// nil where it was not found.
	Lubber *angle.Angle
	// Lean is the rod's slope less the plumb line's: which way its top leans from plumb.
	Lean Slope
	// Rod is the rod's slope against the sheet's normal. It enters to second order only.
	Rod Slope
	// Covariance is that of lubber, lean and rod in rad² (slopes are small angles), in
	// the order of the constants. Rows of what was not found are 0.
	Covariance [Components][Components]float64
}

const (
	// MaxLean is the most that a rod may lean and be corrected for: beyond, it wants
	// straightening, and the correction at a high sun would not be unique.
	MaxLean = 10 * angle.Degree
	// maxAltitude is where a correction ends: at 80 degrees a lean counts 5.7 times.
	maxAltitude = 80 * angle.Degree
	maxText     = 200 // characters
)

// Check reports what in a record cannot be. The error's code is bad_instrument.
func (r Record) Check() error {
	bad := func(key, hint, format string, args ...any) error {
		e := fault.New("bad_instrument", hint, format, args...)
		e.Err = keyError(key)
		return e
	}
	for _, t := range []struct{ key, text string }{{"name", r.Name}, {"how", r.How}, {"file", r.Lens}} {
		if !utf8.ValidString(t.text) || utf8.RuneCountInString(t.text) > maxText || strings.IndexFunc(t.text, func(c rune) bool { return !unicode.IsPrint(c) }) >= 0 {
			return bad(t.key, "write one line of at most 200 printable characters", "%s is no plain line of text", t.key)
		}
	}
	if r.Gnomon != Rod && r.Gnomon != PlumbLine {
		return bad("kind", `write "rod" or "plumb line"`, "the gnomon %q is not known", r.Gnomon)
	}
	type bounded struct {
		key       string
		value     float64
		low, high float64
		unit      string
	}
	limits := []bounded{
		{"height_mm", r.HeightMM, 0, 10_000, "mm"},
		{"diameter_mm", r.DiameterMM, 0, 500, "mm"},
		{"nodus_height_mm", r.NodusMM, 0, 10_000, "mm"},
		{"level_sigma_deg", r.LevelSigma.Degrees(), 0, 20, "degrees"},
		{"alignment_sigma_deg", r.AlignmentSigma.Degrees(), 0, 180, "degrees"},
	}
	if f := r.Foot; f != nil {
		limits = append(limits, bounded{"foot_starboard_mm", f.StarboardMM, -500, 500, "mm"},
			bounded{"foot_forward_mm", f.ForwardMM, -500, 500, "mm"}, bounded{"foot_sigma_mm", f.SigmaMM, 0, 500, "mm"})
	}
	p := r.Proved
	if p.Lubber != nil {
		limits = append(limits, bounded{"lubber_correction_deg", p.Lubber.Degrees(), -180, 180, "degrees"})
	}
	for _, b := range limits {
		if !(b.value >= b.low && b.value <= b.high) {
			return bad(b.key, "check the value and its unit", "%s = %g is not between %g and %g %s", b.key, b.value, b.low, b.high, b.unit)
		}
	}
	for _, s := range []struct {
		key, what string
		Slope
	}{{"lean_starboard_deg", "lean from plumb", p.Lean}, {"rod_starboard_deg", "lean against the sheet", p.Rod}} {
		if tilt, _ := s.Tilt(); !(tilt <= MaxLean) {
			return bad(s.key, "straighten the rod and prove the instrument again", "the rod's %s of %.1f° is too large to correct for", s.what, tilt.Degrees())
		}
	}
	if !positive(p.Covariance) {
		return bad("covariance_deg2", "prove the instrument again rather than editing it", "the covariance is none")
	}
	if p.Lubber == nil && p.Covariance[Lubber] != [Components]float64{} {
		return bad("covariance_deg2", "write the correction, or 0 in the covariance's first row", "there is a sigma of the lubber line but no lubber line")
	}
	if r.Gnomon == PlumbLine && (p.Lean != Slope{} || p.Rod != Slope{}) {
		return bad("lean_starboard_deg", "leave the lean out", "a plumb line does not lean")
	}
	return nil
}

// positive tells whether c is a covariance: symmetric, with no negative eigenvalue but
// for rounding, and of angles.
func positive(c [Components][Components]float64) bool {
	const rounding = 1e-9 // of the largest variance; the file has twelve digits
	m := mat.NewSymDense(Components, nil)
	most := 0.0
	for i := range c {
		most = max(most, c[i][i])
	}
	for i := range c {
		for j := range c {
			if !(math.Abs(c[i][j]) <= math.Pi*math.Pi) || math.Abs(c[i][j]-c[j][i]) > rounding*most {
				return false
			}
			m.SetSym(i, j, c[i][j])
		}
	}
	var eigen mat.EigenSym
	return eigen.Factorize(m, false) && eigen.Values(nil)[0] >= -rounding*most
}

// Correction is what the record alone does to a heading: see Stand.Turn. It fails with its
// code and with Check's for a record that cannot be.
func (r Record) Correction(sunAzimuth, sunAltitude, direction angle.Angle) (turn, levelSigma, alignmentSigma angle.Angle, err error) {
	s, err := StandOf(Known{Record: &r})
	if err != nil {
		return 0, 0, 0, err
	}
	t, err := s.Turn(sunAzimuth, sunAltitude, direction)
	return t.Turn, t.Level, t.Alignment, err
}

// RodTowards returns the rod's slope against the sheet towards a direction on it, with one
// sigma, mm per mm.
func (p Proved) RodTowards(direction angle.Angle) (slope, sigma float64) {
	s, c, v := direction.Sin(), direction.Cos(), p.Covariance
	variance := v[RodStarboard][RodStarboard]*s*s + 2*v[RodStarboard][RodForward]*s*c + v[RodForward][RodForward]*c*c
	return p.Rod.Towards(direction), math.Sqrt(max(0, variance))
}

// PlumbLineLevel is one sigma of a heading by a plumb line over a sheet that is level to
// the given sigma: the tilt squared, times a factor that is at most about 1.
func PlumbLineLevel(level angle.Angle) angle.Angle { return level * level }

// turnFor finds the heading that puts the shadow where it was seen, less the heading for
// a plumb rod on a level sheet. Each turn of the iteration leaves the part lean times
// tan(altitude) of the error.
func turnFor(plumb, rod Slope, azimuth, altitude, direction angle.Angle) (angle.Angle, bool) {
	plain := azimuth + math.Pi - direction
	heading := plain
	for range 400 {
		d, _, ok := ShadowOn(heading, plumb, rod, azimuth, altitude)
		if !ok {
			return 0, false
		}
		step := (d - direction).Signed()
		heading += step
		if step.Abs() < 1e-12 {
			return (heading - plain).Signed(), true
		}
	}
	return 0, false
}

// lengthFor returns the length of the shadow for each millimetre of the rod's height, where
// it was seen in a direction on the sheet.
func lengthFor(plumb, rod Slope, azimuth, altitude, direction angle.Angle) (perMM float64, ok bool) {
	turn, ok := turnFor(plumb, rod, azimuth, altitude, direction)
	if !ok {
		return 0, false
	}
	_, perMM, ok = ShadowOn(azimuth+math.Pi-direction+turn, plumb, rod, azimuth, altitude)
	return perMM, ok
}
