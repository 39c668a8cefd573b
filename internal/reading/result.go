// Package reading joins what the picture shows (vision, calib) with what the photo
// says of itself (photo) and what the sky does (bearing) into a true heading with
// an honest uncertainty, or into a refusal that says what to do.
package reading

import (
	"encoding/json"
	"math"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/calib"
	"shadowread/internal/camera"
	"shadowread/internal/instrument"
	"shadowread/internal/photo"
	"shadowread/internal/vision"
	"shadowread/internal/wording"
)

// Reason says why there is no heading. The constants stand in the order in which
// they are looked for: the first that applies is reported.
type Reason string

// Reasons of a refusal.
const (
	UnreadableFile  Reason = "unreadable_file"
	TooLarge        Reason = "too_large"
	LensMismatch    Reason = "lens_mismatch"
	TooFewMarks     Reason = "too_few_marks"
	MoreSheets      Reason = "more_than_one_sheet"
	PoorMap         Reason = "poor_map"
	TooSmall        Reason = "too_small"
	NoShadow        Reason = "no_shadow"
	AmbiguousShadow Reason = "ambiguous_shadow"
	RodHidesShadow  Reason = "rod_hides_shadow"
	NotHanging      Reason = "not_a_plumb_line"
	NoTime          Reason = "no_time"
	NoTimeZone      Reason = "no_time_zone"
	TimeConflict    Reason = "time_conflict"
	TimeOutOfRange  Reason = "time_out_of_range"
	NoPosition      Reason = "no_position"
	// PositionConflict is never the reader's own: who asks holds places against each other.
	PositionConflict Reason = "position_conflict"
	BodyTooLow       Reason = "body_too_low"
	BodyTooHigh      Reason = "body_too_high"
	NoCorrection     Reason = "no_correction"
	LightDisagrees   Reason = "light_disagrees"
	ClockCheck       Reason = "clock_check_failed"
)

// order ranks the reasons.
var order = []Reason{UnreadableFile, TooLarge, LensMismatch, TooFewMarks, MoreSheets, PoorMap, TooSmall, NoShadow, AmbiguousShadow, RodHidesShadow, NotHanging,
	NoTime, NoTimeZone, TimeConflict, TimeOutOfRange, NoPosition, PositionConflict, BodyTooLow, BodyTooHigh, NoCorrection, LightDisagrees, ClockCheck}

// Budget is what makes up the uncertainty of a heading, one sigma each. The sum is
// the root of the sum of squares.
type Budget struct {
	ShadowFit angle.Angle // the strip's direction in the pixels
	SheetMap  angle.Angle // the map from pixels to the sheet
	Print     angle.Angle // the print stretched in one axis
	Level     angle.Angle // the rod from plumb across the shadow, times tan(altitude)
	Alignment angle.Angle // the sheet's forward axis against the vehicle
	Time      angle.Angle
	Position  angle.Angle
	Body      angle.Angle // the computed azimuth itself
}

// LevelParts are the parts of the budget's level where the sheet's tilt was measured.
type LevelParts struct{ Tilt, Square angle.Angle }

// Term is one part of the budget.
type Term struct {
	Name  string // as in the JSON
	Sigma angle.Angle
}

// Terms lists the budget with the names of the output.
func (b Budget) Terms() []Term {
	return []Term{
		{"shadow_fit", b.ShadowFit}, {"sheet_map", b.SheetMap}, {"print", b.Print}, {"level", b.Level},
		{"alignment", b.Alignment}, {"time", b.Time}, {"position", b.Position}, {"body", b.Body},
	}
}

// Sigma returns the root sum of squares of the terms, at most half a circle.
func (b Budget) Sigma() angle.Angle {
	s := 0.0
	for _, t := range b.Terms() {
		s += float64(t.Sigma * t.Sigma)
	}
	return min(angle.Angle(math.Sqrt(s)), 180*angle.Degree)
}

// Largest returns the name of the greatest term.
func (b Budget) Largest() string {
	name, most := "", angle.Angle(-1)
	for _, t := range b.Terms() {
		if t.Sigma > most {
			name, most = t.Name, t.Sigma
		}
	}
	return name
}

// ClockVerdict is what the length of the shadow says about the time.
type ClockVerdict string

// Verdicts of the clock check.
const (
	ClockPassed      ClockVerdict = "passed"
	ClockFailed      ClockVerdict = "failed"
	ClockWeak        ClockVerdict = "weak"         // the altitude hardly changes, so it proves little
	ClockNotPossible ClockVerdict = "not_possible" // the tip's shadow or the rod's height is not known
)

// Result is one photo read or refused. Fields that are not known are nil.
type Result struct {
	Photo   string
	Reason  Reason // "" when there is a heading
	Message string // of a refusal: what is wrong and what to do

	Facts   *photo.Facts
	Instant *photo.Instant
	Place   *photo.Place
	Sky     *bearing.Apparent
	// MoonTaken tells that the moon was taken because the sun is down, not because
	// somebody said so.
	MoonTaken bool

	Marks      []int // ids of the marks that took part
	MarksFound int
	Lens       *camera.Match // that served; nil where none is known
	LensSource LensSource    // "" without a photo
	Plate      *calib.Fit
	Picture    PictureSize
	Shadow     *vision.Strip
	PlumbLine  bool      // the gnomon hangs
	RodSlope   *RodSlope // what the rod's image shows of it; nil where too little is seen
	rodTop     *instrument.Top
	Number     *angle.Angle // the scale's number under the shadow
	// Printed is what a measured stretch of the print adds to a number read by eye. That
	// of a photo is read on the sheet as it is.
	Printed angle.Angle

	AltitudeFromShadow *angle.Angle
	AltitudeSigma      angle.Angle // of AltitudeFromShadow less the computed one, one sigma
	AltitudeAtMost     bool        // AltitudeFromShadow is the highest that the shadow allows
	OtherHours         []time.Time // that the shadow's length does not rule out
	ClockProved        bool        // a GPS stamp in the photo vouches for the time
	RodHeightMM        float64     // that it rests on, stated or seen; 0 if neither
	RodHeightSigmaMM   float64
	Clock              ClockVerdict

	Heading *angle.Angle // the vehicle's, as far as Instrument tells, else the sheet's
	// Tilt is how the sheet stood, where that was measured, and TiltSources by what.
	Tilt        *instrument.Tilt
	TiltSources []string
	TiltOwn     angle.Angle // what is this photo's own of a tilt by the horizon, one sigma
	// LevelParts are then the parts of the budget's level: what is left open of the tilt, and
	// of the rod against its sheet.
	LevelParts  *LevelParts
	Horizon     *vision.Horizon // that served; nil where none was asked for or found
	horizonTilt *instrument.Tilt
	stand       *instrument.Stand
	unsaid      bool // how the rod of a photo was set
	// Correction is what is known of rod, sheet and mounting adds to the heading of a rod
	// that is plumb over a level sheet.
	Instrument *instrument.Record
	Correction angle.Angle
	Sigma      angle.Angle
	Budget     *Budget
	Course     *angle.Angle
	Come       *angle.Angle // course less heading, (-180, 180], right positive
	Compass    Compass

	Warnings []photo.Warning
	Stages   []Stage // in the order of their ends; for those who look into speed
	lapped   time.Time
}

// PictureSize describes the raster in which Plate and Shadow count pixels.
type PictureSize struct {
	W, H     int
	Factor   int  // stored pixels to one pixel of the raster
	Mirrored bool // the raster is the stored one turned left to right
}

// OK reports whether there is a heading.
func (r *Result) OK() bool { return r.Reason == "" }

// refuse records a reason unless one that ranks before it stands already.
func (r *Result) refuse(reason Reason, message string) {
	rank := func(x Reason) int {
		for i, o := range order {
			if o == x {
				return i
			}
		}
		return len(order)
	}
	if r.Reason == "" || rank(reason) < rank(r.Reason) {
		r.Reason, r.Message = reason, message
	}
}

// Refuse takes the heading back for a reason that who asked knows, unless one that ranks
// before it stands already.
func (r *Result) Refuse(err error) {
	r.refuse(reasonOf(err, UnreadableFile), say(err))
	r.Heading, r.Come, r.Budget, r.Sigma, r.Compass = nil, nil, nil, 0, Compass{}
}

func (r *Result) warn(code, message string) {
	r.Warnings = append(r.Warnings, photo.Warning{Code: code, Message: message})
}

// SchemaVersion is the version of the JSON object that MarshalJSON writes. It
// changes when a key changes its meaning or goes, not when one joins.
const SchemaVersion = 1

// MarshalJSON writes the reading with units in the names: degrees, millimetres,
// pixels, UTC. What is not known is null.
// It is as long as the object: a key a line.
func (r *Result) MarshalJSON() ([]byte, error) {
	type object struct {
		Schema            int                 `json:"schema_version"`
		Photo             *string             `json:"photo"`
		Status            string              `json:"status"`
		Reason            *Reason             `json:"reason"`
		Message           *string             `json:"message"`
		TimeUTC           *string             `json:"time_utc"`
		TimeSource        *string             `json:"time_source"`
		TimeSigma         *float64            `json:"time_sigma_s"`
		Latitude          *float64            `json:"latitude_deg"`
		Longitude         *float64            `json:"longitude_deg"`
		PositionSource    *string             `json:"position_source"`
		PositionSigma     *float64            `json:"position_sigma_km"`
		Body              *string             `json:"body"`
		BodyAzimuth       *float64            `json:"body_azimuth_deg"`
		BodyAltitude      *float64            `json:"body_altitude_deg"`
		ShadowAngle       *float64            `json:"shadow_angle_deg"`
		ScaleReading      *float64            `json:"scale_reading_deg"`
		PrintCorrection   *float64            `json:"print_correction_deg"` // of scale_reading_deg; null for a photo
		Heading           *float64            `json:"heading_true_deg"`
		HeadingSigma      *float64            `json:"heading_sigma_deg"`
		Instrument        *corrected          `json:"instrument"`
		Budget            map[string]*float64 `json:"error_budget_deg"`
		MarksFound        *int                `json:"marks_found"`
		LensSource        *LensSource         `json:"lens_source"`
		LensFile          *string             `json:"lens_file"`
		PrintStretch      *float64            `json:"print_stretch"`
		PrintStretchSigma *float64            `json:"print_stretch_sigma"`
		ResidualPx        *float64            `json:"map_residual_px"`
		ResidualMM        *float64            `json:"map_residual_mm"`
		FootOffset        *float64            `json:"foot_offset_mm"`
		RodDiameter       *float64            `json:"shadow_width_mm"`
		ShadowLength      *float64            `json:"shadow_length_mm"`
		RodHeight         *float64            `json:"rod_height_mm"`
		RodSlope          *slopeSeen          `json:"rod_slope"`
		AltitudeFromShade *float64            `json:"altitude_from_shadow_deg"`
		AltitudeSigma     *float64            `json:"altitude_from_shadow_sigma_deg"`
		AltitudeAtMost    bool                `json:"altitude_from_shadow_is_bound"`
		AltitudeComputed  *float64            `json:"body_altitude_sigma_deg"`
		ShadowAtLeast     *float64            `json:"shadow_at_least_mm"`
		NodusLength       *float64            `json:"nodus_shadow_mm"`
		ClockCheck        ClockVerdict        `json:"clock_check"`
		ClockProved       bool                `json:"clock_proved_by_gps"`
		OtherHours        []string            `json:"clock_other_hours_utc"`
		EV100             *float64            `json:"exposure_ev100"`
		Course            *float64            `json:"course_deg"`
		Come              *float64            `json:"come_deg"`
		Declination       *float64            `json:"declination_deg"`
		DeclinationSigma  *float64            `json:"declination_sigma_deg"`
		DeclinationSource *string             `json:"declination_source"`
		Magnetic          *float64            `json:"heading_magnetic_deg"`
		MagneticSigma     *float64            `json:"heading_magnetic_sigma_deg"`
		Grid              *float64            `json:"heading_grid_deg"`
		GridSigma         *float64            `json:"heading_grid_sigma_deg"`
		Compass           *float64            `json:"heading_compass_deg"`
		CompassSigma      *float64            `json:"heading_compass_sigma_deg"`
		Steer             *float64            `json:"course_compass_deg"`
		SteerSigma        *float64            `json:"course_compass_sigma_deg"`
		TiltForward       *float64            `json:"tilt_forward_deg"`
		TiltStarboard     *float64            `json:"tilt_starboard_deg"`
		TiltSigma         *float64            `json:"tilt_sigma_deg"`
		TiltSource        []string            `json:"tilt_source"`
		Correction        *float64            `json:"correction_deg"`
		Warnings          []photo.Warning     `json:"warnings"`
	}
	o := object{Schema: SchemaVersion, Status: "ok", Warnings: r.Warnings, ClockCheck: r.Clock,
		Course: degrees(r.Course, 6), Come: degrees(r.Come, 4), ShadowAngle: nil,
		AltitudeFromShade: degrees(r.AltitudeFromShadow, 4), ScaleReading: degrees(r.Number, 4), Heading: degrees(r.Heading, 4)}
	if r.Photo != "" {
		o.Photo = &r.Photo
	}
	o.AltitudeAtMost, o.ClockProved, o.OtherHours = r.AltitudeAtMost, r.ClockProved, []string{}
	for _, t := range r.OtherHours {
		o.OtherHours = append(o.OtherHours, t.UTC().Format(time.RFC3339))
	}
	if r.AltitudeFromShadow != nil {
		o.AltitudeSigma = wording.Known(r.AltitudeSigma.Degrees(), 4)
	}
	if r.Sky != nil && r.Instant != nil && r.Place != nil {
		o.AltitudeComputed = wording.Known(r.skyAltitudeSigma().Degrees(), 4)
	}
	if r.Facts != nil && r.Facts.EV100 != nil {
		o.EV100 = wording.Known(*r.Facts.EV100, 2)
	}
	if o.Warnings == nil {
		o.Warnings = []photo.Warning{}
	}
	if o.ClockCheck == "" {
		o.ClockCheck = ClockNotPossible
	}
	if !r.OK() {
		o.Status, o.Reason, o.Message = "refused", &r.Reason, &r.Message
	}
	if t := r.Instant; t != nil {
		s := t.UTC.UTC().Format(time.RFC3339Nano)
		o.TimeUTC, o.TimeSource, o.TimeSigma = &s, &t.Source, wording.Known(t.Sigma.Seconds(), 3)
	}
	if p := r.Place; p != nil {
		o.Latitude, o.Longitude = wording.Known(p.Position.Lat.Degrees(), 7), wording.Known(p.Position.Lon.Degrees(), 7)
		o.PositionSource, o.PositionSigma = &p.Source, wording.Known(p.SigmaKM, 4)
	}
	if b := r.Sky; b != nil {
		s := b.Body.String()
		o.Body, o.BodyAzimuth, o.BodyAltitude = &s, wording.Known(b.Azimuth.Degrees(), 5), wording.Known(b.Altitude.Degrees(), 5)
	}
	if s := r.Shadow; s != nil {
		d := s.Direction
		o.ShadowAngle, o.FootOffset, o.RodDiameter = degrees(&d, 4), wording.Known(s.FootOffset, 3), wording.Known(s.Width, 3)
		if s.Length > 0 {
			o.ShadowLength = wording.Known(s.Length, 3)
		}
		if s.AtLeast > 0 {
			o.ShadowAtLeast = wording.Known(s.AtLeast, 3)
		}
		if s.Nodus > 0 {
			o.NodusLength = wording.Known(s.Nodus, 3)
		}
	} else if r.Number != nil {
		o.ShadowAngle = wording.Known(r.direction().Bearing().Degrees(), 4)
	}
	if r.Photo == "" && r.Number != nil {
		o.PrintCorrection = degrees(&r.Printed, 4)
	}
	if r.Photo != "" {
		o.MarksFound = &r.MarksFound
	}
	if r.LensSource != "" {
		o.LensSource = &r.LensSource
	}
	if r.Lens != nil {
		o.LensFile = &r.Lens.Path
	}
	if i := r.Instrument; i != nil {
		o.Instrument = &corrected{i.Name, i.Gnomon, degrees(&r.Correction, 4)}
	}
	if p := r.Plate; p != nil {
		o.PrintStretch, o.PrintStretchSigma = wording.Known(p.Stretch, 6), wording.Known(p.StretchSigma(), 6)
		o.ResidualPx, o.ResidualMM = wording.Known(p.ResidualPx*float64(r.Picture.Factor), 4), wording.Known(p.ResidualMM, 5)
	}
	if r.RodHeightMM > 0 {
		o.RodHeight = wording.Known(r.RodHeightMM, 2)
	}
	if l := r.RodSlope; l != nil {
		o.RodSlope = l.seen()
	}
	o.TiltSource = []string{}
	if t := r.Tilt; t != nil {
		o.TiltForward, o.TiltStarboard, o.TiltSigma = wording.Known(t.Forward.Degrees(), 4), wording.Known(t.Starboard.Degrees(), 4), wording.Known(t.Sigma.Degrees(), 4)
		o.TiltSource = r.TiltSources
	}
	if r.Heading != nil {
		o.Correction = wording.Known(r.Correction.Degrees(), 4)
	}
	if b := r.Budget; b != nil {
		o.Budget = map[string]*float64{}
		for _, t := range b.Terms() {
			o.Budget[t.Name] = wording.Known(t.Sigma.Degrees(), 5)
		}
		if p := r.LevelParts; p != nil {
			o.Budget["tilt"], o.Budget["square"] = wording.Known(p.Tilt.Degrees(), 5), wording.Known(p.Square.Degrees(), 5)
		}
		o.HeadingSigma = wording.Known(r.Sigma.Degrees(), 5)
	}
	if d := r.Compass.Declination; d != nil {
		o.Declination, o.DeclinationSigma, o.DeclinationSource = wording.Known(d.Value.Degrees(), 4), wording.Known(d.Sigma.Degrees(), 4), new(d.Source())
	}
	o.Grid, o.GridSigma = r.Compass.Grid.degrees()
	o.Magnetic, o.MagneticSigma = r.Compass.Magnetic.degrees()
	o.Compass, o.CompassSigma = r.Compass.Deviated.degrees()
	o.Steer, o.SteerSigma = r.Compass.Steer.degrees()
	return json.Marshal(o)
}

func (u *Uncertain) degrees() (value, sigma *float64) {
	if u == nil {
		return nil, nil
	}
	return degrees(&u.Value, 4), wording.Known(u.Sigma.Degrees(), 4)
}

// degrees rounds an angle for output. Rounding must not turn 359.99999 into 360.
func degrees(a *angle.Angle, places int) *float64 {
	if a == nil {
		return nil
	}
	x := wording.Known(a.Degrees(), places)
	switch {
	case x == nil:
	case *x >= 360:
		*x = 0
	case *x <= -180: // signed differences exclude -180
		*x = 180
	}
	return x
}
