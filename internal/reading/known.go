package reading

import (
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/instrument"
	"shadowread/internal/lens"
	"shadowread/internal/photo"
	"shadowread/internal/sheet"
)

// LensSource tells where the lens of a photo is known from.
type LensSource string

// Sources of a lens.
const (
	LensFromFile  LensSource = "file"
	LensFromStore LensSource = "store"
	LensUnknown   LensSource = "none"
)

// corrected is what the JSON object says of an instrument record.
type corrected struct {
	Name       string            `json:"name"`
	Gnomon     instrument.Gnomon `json:"gnomon"`
	Correction *float64          `json:"correction_deg"`
}

// findLens looks for the photo's lens. It refuses a photo that is not by the lens
// that was given.
func (r *Result) findLens(facts photo.Facts, o Options) bool {
	r.LensSource = LensUnknown
	switch {
	case o.Lens != nil:
		if err := lens.Fits(o.Lens.Record, facts); err != nil {
			r.refuse(LensMismatch, say(err))
			return false
		}
		r.Lens, r.LensSource = o.Lens, LensFromFile
	case o.Lenses != nil:
		m, warnings, err := o.Lenses.Find(facts)
		r.Warnings = append(r.Warnings, warnings...)
		if err != nil { // a photo can be read without
			r.warn("lens_store", say(err))
		}
		if m != nil {
			r.Lens, r.LensSource = m, LensFromStore
		}
	}
	return true
}

// footFrom returns how far the rod's foot is known to stand from the printed one, mm,
// along a direction on the sheet and to its right.
func (o Options) footFrom(direction angle.Angle) (ahead, right float64) {
	if o.Instrument == nil || o.Instrument.Foot == nil {
		return 0, 0
	}
	f, s, c := o.Instrument.Foot, direction.Sin(), direction.Cos()
	return f.StarboardMM*s + f.ForwardMM*c, f.StarboardMM*c - f.ForwardMM*s
}

// leanShown is by how much the known lean makes the altitude that the shadow's length
// shows too small.
func (r *Result) leanShown(o Options) angle.Angle {
	if r.stand == nil || r.Sky.Altitude <= 0 {
		return 0
	}
	perMM, ok := r.stand.ShadowPerMM(r.Sky.Azimuth, r.Sky.Altitude, r.direction())
	if !ok {
		return 0
	}
	return r.Sky.Altitude - angle.Atan2(1, perMM)
}

// mayStand is what the level costs, and a warning, where a gnomon is said to hang and the
// picture does not show that it does: a rod on a sheet that is level to a bubble.
func (r *Result) mayStand(tan float64) angle.Angle {
	if !r.PlumbLine || r.Shadow == nil || r.Shadow.Hangs {
		return 0
	}
	r.warn("hanging_not_seen", "the photo does not show that the gnomon hangs, so that its uncertainty is that of a rod: take the photo with more of the thread in view, before something plain")
	return angle.Angle(float64(DefaultLevel) * tan)
}

// mount fills the budget's terms of the mounting, and returns what the instrument's
// record adds to the heading of the sheet's forward axis. feared is a lean across the
// shadow that the record does not know of.
func (r *Result) mount(o Options, feared angle.Angle) (turn angle.Angle) {
	if r.stand == nil {
		return 0
	}
	b, tan := r.Budget, math.Abs(r.Sky.Altitude.Tan())
	direction := r.direction()
	eye := angle.Angle(0)
	if i := o.Instrument; i != nil && i.Foot != nil && r.Shadow == nil {
		f := i.Foot
		// A shadow read by eye runs from the foot to where it crosses the scale.
		x, y := o.onPaper(math.Pi - *r.Number)
		ring := sheet.Standard.Dial.TickInnerRadius
		radius := ring * math.Hypot(x, y)
		read := direction
		direction = angle.Clockwise(ring*x-f.StarboardMM, ring*y-f.ForwardMM)
		eye = (read - direction).Signed()
		b.ShadowFit = angle.Angle(math.Hypot(float64(b.ShadowFit), f.SigmaMM/radius))
	}
	t, err := r.stand.Turn(r.Sky.Azimuth, r.Sky.Altitude, direction)
	if err != nil {
		r.refuse(NoCorrection, say(err))
		return 0
	}
	b.Level = max(angle.RSS(t.Level, angle.Angle(float64(feared)*tan)), r.mayStand(tan))
	b.Alignment = t.Alignment
	if r.Tilt != nil {
		r.LevelParts = &LevelParts{t.Tilt, t.Square}
	}
	r.Instrument, r.Correction = o.Instrument, (t.Turn + eye).Signed()
	return r.Correction
}
