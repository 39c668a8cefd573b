package reading

import (
	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/camera"
	"shadowread/internal/compass"
	"shadowread/internal/instrument"
	"shadowread/internal/photo"
	"shadowread/internal/vision"
)

// Options is what the user knows beside the photo.
type Options struct {
	Time     photo.TimeOptions
	Position photo.PositionOptions
	Body     *bearing.Body // nil: the sun if it is up, else the moon
	Rod      vision.Rod
	// LengthMM is the shadow's length to its tip, read by eye beside a number; 0 where
	// it was not.
	LengthMM float64
	// Lens is the camera's lens; a photo by another is refused. Where it is nil, the
	// photo's is looked for in Lenses, if that is not nil.
	Lens   *camera.Match
	Lenses camera.Lenses
	// Instrument is what was proved of the instrument; nil where nothing was. Its
	// sigmas then stand in the budget instead of Level and Alignment.
	Instrument *instrument.Record
	// PrintScale is the print's true size over its nominal size, athwart and
	// fore-and-aft, as measured on the paper; nil when not measured.
	PrintScale *[2]float64
	// Level is one sigma of the rod from plumb across the shadow, by bubble and set square
	// together. It plays no part where the tilt is measured.
	Level angle.Angle
	// Square is one sigma of the rod against its sheet, where the tilt is measured.
	Square angle.Angle
	// Unsaid tells that neither was stated: a photo is then read as of a rod that may have
	// been set by eye.
	Unsaid bool
	// Tilt is how the sheet stands, measured on the board; nil where nobody did.
	Tilt *instrument.Tilt
	// Horizon says that the country is flat to the horizon that the photo shows; nil where
	// nobody said so.
	Horizon *Horizon
	// Same is what other photos of the same standing board show; nil for a photo alone.
	Same *SameStand
	// Alignment is one sigma of the sheet's forward axis against the vehicle's.
	Alignment angle.Angle
	Course    *angle.Angle // true

	Declination *Declination  // nil: the World Magnetic Model's
	Card        *compass.Card // the compass's deviation; nil where not known
	Grid        bool          // give the grid heading far from the poles too

	// Original is what the camera's file says of a photo that is read from an upright copy of
	// its pixels; nil where the photo is read itself.
	Original *photo.Facts
	// Progress, if not nil, is told what begins.
	Progress func(stage string)
}

func (o Options) begin(stage string) {
	if o.Progress != nil {
		o.Progress(stage)
	}
}

// DefaultLevel is for a plate set with a bubble; by eye it is 2 degrees (common
// practice).
const DefaultLevel = 0.5 * angle.Degree

// Horizon is what a person knows of the ground.
type Horizon struct {
	Sigma     angle.Angle // one sigma of the ground's slope
	EyeMetres float64     // of the camera above it
}

// DefaultHorizon is for a pan or a plain, DefaultEye for a person who stands, m (common
// practice).
const (
	DefaultHorizon = 0.1 * angle.Degree
	DefaultEye     = 1.6
)

// DefaultSquare is for a rod in a drilled hole, checked with a set square; DefaultTilt for a
// tilt measured with a clinometer or a bubble with a scale (both from memory).
const (
	DefaultSquare = 0.5 * angle.Degree
	DefaultTilt   = 0.3 * angle.Degree
)

// Defaults returns the options of a user who says nothing.
func Defaults() Options { return Options{Level: DefaultLevel, Square: DefaultSquare, Unsaid: true} }
