// Package settingsfile is the file by which a journey's settings go from the log to the
// page on a phone, so that nothing is typed twice. It opens nothing: text in, text out.
package settingsfile

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"shadowread/internal/fault"
	"shadowread/internal/geo"
)

// Version is that of the format which this program writes, and the only one that it reads.
const Version = 1

// The forms in which positions are shown.
const (
	Degrees        = "degrees"         // -22.90000
	DegreesMinutes = "degrees_minutes" // 22°54.000' S
)

// The units in which a journey counts its distances.
const (
	Kilometres    = "km"
	StatuteMiles  = "mi"
	NauticalMiles = "nmi"
)

// File is the settings of a journey. What is not set is empty or nil. Keys carry their
// units; sigmas are one standard deviation.
type File struct {
	Version int        `json:"shadowread_settings"`
	Journey string     `json:"journey"`             // its name; may be ""
	Begun   *time.Time `json:"begun_utc,omitempty"` // the departure's time

	RodHeightMM float64 `json:"rod_height_mm,omitempty"`
	// UTCOffset is as +02:00; "" where it is not known.
	UTCOffset    string `json:"utc_offset,omitempty"`
	DistanceUnit string `json:"distance_unit,omitempty"` // km, mi or nmi
	PositionForm string `json:"position_form,omitempty"` // degrees or degrees_minutes

	SteeringSigmaDeg float64 `json:"steering_sigma_deg,omitempty"`
	// Nil stands for the reader's own default; 0 is said of a perfect one.
	LevelSigmaDeg  *float64 `json:"level_sigma_deg,omitempty"`
	LubberSigmaDeg *float64 `json:"lubber_sigma_deg,omitempty"`
	// PrintScale is printed over nominal, athwart and fore-and-aft; nil or two numbers.
	PrintScale []float64 `json:"print_scale,omitempty"`

	// Instrument is the text of the record of shadowread align, whole.
	Instrument    string   `json:"instrument,omitempty"`
	Cameras       []Camera `json:"cameras,omitempty"`
	DeviationCard string   `json:"deviation_card,omitempty"` // the text of the card's file, whole

	Stops []Stop `json:"stops,omitempty"` // in the order in which they are gone to
	// Position is where the log's estimate had the vehicle when the file was written.
	Position *Position `json:"position,omitempty"`
}

// Camera is a camera of the journey.
type Camera struct {
	// Camera is how its photos name it, or as its keeper does.
	Camera string `json:"camera"`
	// ClockErrorS is how much its clock is fast; nil where nobody held it against another: 0
	// is said of a clock that was found to be right, and is trusted.
	ClockErrorS *float64 `json:"clock_error_s"`
	Lens        string   `json:"lens,omitempty"` // the text of the record of shadowread lens, whole
}

// Stop is a named waypoint.
type Stop struct {
	Name         string  `json:"name"`
	LatitudeDeg  float64 `json:"latitude_deg"`
	LongitudeDeg float64 `json:"longitude_deg"`
}

// Position is an estimated position with one sigma along the longer axis of its ellipse.
type Position struct {
	LatitudeDeg  float64   `json:"latitude_deg"`
	LongitudeDeg float64   `json:"longitude_deg"`
	SigmaKM      float64   `json:"sigma_km"`
	Time         time.Time `json:"time_utc"`
}

// Limits of a file.
const (
	MaxFile    = 4 << 20 // bytes
	MaxRecord  = 64 << 10
	MaxCard    = 1 << 20
	MaxName    = 100 // characters
	MaxCameras = 16
	MaxStops   = 200
)

const hint = "write it anew: shadowread log settings -o FILE"

func bad(format string, args ...any) error {
	return fault.New("bad_settings", hint, "the settings cannot be used: %s", fmt.Sprintf(format, args...))
}

// Is tells a file of settings from other files by its text.
func Is(text []byte) bool {
	var head struct {
		Version *json.RawMessage `json:"shadowread_settings"`
	}
	return json.Unmarshal(text, &head) == nil && head.Version != nil
}

// Parse reads a file. It fails with code "file_too_large", "settings_version" or
// "bad_settings"; a key that is not known is refused, since a slip in one must not leave a
// heading uncorrected.
func Parse(text []byte) (*File, error) {
	if len(text) > MaxFile {
		return nil, fault.New("file_too_large", "check that it is a file of settings", "the settings are larger than %d bytes", MaxFile)
	}
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	if !utf8.Valid(text) { // the decoder would take it, altered
		return nil, bad("they are no text in UTF-8")
	}
	var head struct {
		Version *float64 `json:"shadowread_settings"`
	}
	switch err := json.Unmarshal(text, &head); {
	case err != nil:
		return nil, bad("%s", decodingText(err))
	case head.Version == nil:
		return nil, bad("they do not begin as this program writes them, with shadowread_settings")
	case *head.Version != Version:
		return nil, fault.New("settings_version", "use the program that wrote them, or write them anew: shadowread log settings -o FILE",
			"the settings are of version %v, not %d", *head.Version, Version)
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	f := new(File)
	if err := d.Decode(f); err != nil {
		return nil, bad("%s", decodingText(err))
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return nil, bad("something stands behind them")
	}
	f.normal()
	return f, f.Check()
}

// decodingText leaves out who complains.
func decodingText(err error) string {
	var kind *json.UnmarshalTypeError
	if errors.As(err, &kind) {
		return fmt.Sprintf("%s cannot be a %s", kind.Field, kind.Value)
	}
	return strings.TrimPrefix(err.Error(), "json: ")
}

// normal brings times to UTC, and lists without an entry to none.
func (f *File) normal() {
	if f.Begun != nil {
		f.Begun = new(f.Begun.UTC())
	}
	if f.Position != nil {
		f.Position.Time = f.Position.Time.UTC()
	}
	if len(f.Cameras) == 0 {
		f.Cameras = nil
	}
	if len(f.Stops) == 0 {
		f.Stops = nil
	}
	if len(f.PrintScale) == 0 {
		f.PrintScale = nil
	}
}

// Encode returns the text of a file that Parse reads back. It fails as Check does.
func (f File) Encode() ([]byte, error) {
	f.Version = Version
	if err := f.Check(); err != nil {
		return nil, err
	}
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	if err := e.Encode(f); err != nil { // a time beyond the year 9999
		return nil, bad("%v", err)
	}
	return b.Bytes(), nil
}

// Check fails with code "bad_settings" for what no journey has. Whether records can be read
// is for those to say who read them.
func (f *File) Check() error {
	if err := f.checkWords(); err != nil {
		return err
	}
	for _, q := range []struct {
		key         string
		value       float64
		least, most float64
	}{
		{"rod_height_mm", f.RodHeightMM, 0, 500},
		{"steering_sigma_deg", f.SteeringSigmaDeg, 0, 30},
		{"level_sigma_deg", orZero(f.LevelSigmaDeg), 0, 20},
		{"lubber_sigma_deg", orZero(f.LubberSigmaDeg), 0, 45},
	} {
		if !within(q.value, q.least, q.most) {
			return bad("%s %v is not from %g to %g", q.key, q.value, q.least, q.most)
		}
	}
	if n := len(f.PrintScale); n != 0 && n != 2 {
		return bad("print_scale has %d numbers, not two", n)
	}
	for _, v := range f.PrintScale {
		if !within(v, 0.9, 1.1) {
			return bad("print_scale %v is not from 0.9 to 1.1", v)
		}
	}
	if len(f.Cameras) > MaxCameras || len(f.Stops) > MaxStops {
		return bad("more than %d cameras or %d stops", MaxCameras, MaxStops)
	}
	if err := f.checkCameras(); err != nil {
		return err
	}
	return f.checkPlaces()
}

func (f *File) checkWords() error {
	switch {
	case !name(f.Journey):
		return bad("the journey's name has more than %d characters, or such as do not print", MaxName)
	case f.UTCOffset != "" && !isOffset(f.UTCOffset):
		return bad("utc_offset %q is none; it is written as +02:00", f.UTCOffset)
	case f.DistanceUnit != "" && f.DistanceUnit != Kilometres && f.DistanceUnit != StatuteMiles && f.DistanceUnit != NauticalMiles:
		return bad("distance_unit %q is none of km, mi and nmi", f.DistanceUnit)
	case f.PositionForm != "" && f.PositionForm != Degrees && f.PositionForm != DegreesMinutes:
		return bad("position_form %q is neither degrees nor degrees_minutes", f.PositionForm)
	case len(f.Instrument) > MaxRecord:
		return bad("the instrument's record is larger than %d bytes", MaxRecord)
	case len(f.DeviationCard) > MaxCard:
		return bad("the deviation card is larger than %d bytes", MaxCard)
	case f.Begun != nil && !within(float64(f.Begun.Year()), 1700, 2200):
		return bad("begun_utc is of the year %d", f.Begun.Year())
	}
	if !text(f.Instrument) || !text(f.DeviationCard) {
		return bad("a record in them is no text in UTF-8")
	}
	return nil
}

func (f *File) checkCameras() error {
	const year = 366 * 86400
	seen := map[string]bool{}
	for i, c := range f.Cameras {
		switch {
		case c.Camera == "" || !name(c.Camera):
			return bad("camera %d has no name that can be used", i+1)
		case seen[strings.ToLower(c.Camera)]:
			return bad("camera %s stands in them twice", c.Camera)
		case !within(orZero(c.ClockErrorS), -year, year):
			return bad("the clock_error_s of camera %s is more than a year", c.Camera)
		case len(c.Lens) > MaxRecord || !text(c.Lens):
			return bad("the lens of camera %s is no text of at most %d bytes", c.Camera, MaxRecord)
		}
		seen[strings.ToLower(c.Camera)] = true
	}
	return nil
}

func (f *File) checkPlaces() error {
	seen := map[string]bool{}
	for i, s := range f.Stops {
		switch {
		case s.Name == "" || !name(s.Name):
			return bad("stop %d has no name that can be used", i+1)
		case seen[strings.ToLower(s.Name)]:
			return bad("stop %s stands in them twice", s.Name)
		case !onEarth(s.LatitudeDeg, s.LongitudeDeg):
			return bad("stop %s is not on earth: latitude %v, longitude %v", s.Name, s.LatitudeDeg, s.LongitudeDeg)
		}
		seen[strings.ToLower(s.Name)] = true
	}
	p := f.Position
	switch {
	case p == nil:
		return nil
	case !onEarth(p.LatitudeDeg, p.LongitudeDeg):
		return bad("the position is not on earth: latitude %v, longitude %v", p.LatitudeDeg, p.LongitudeDeg)
	case !within(p.SigmaKM, 0, 1000):
		return bad("the position's sigma_km %v is not from 0 to 1000", p.SigmaKM)
	case !within(float64(p.Time.Year()), 1700, 2200):
		return bad("the position's time_utc is of the year %d", p.Time.Year())
	}
	return nil
}

func orZero(x *float64) float64 {
	if x == nil {
		return 0
	}
	return *x
}

func within(x, least, most float64) bool { return x >= least && x <= most } // NaN is not

func onEarth(lat, lon float64) bool { return math.Abs(lat) <= 90 && math.Abs(lon) <= 180 }

// isOffset tells offsets as this program writes them; one way is enough.
func isOffset(s string) bool {
	d, err := geo.ParseOffset(s)
	return err == nil && geo.FormatOffset(d) == s
}

// name tells what can be printed in one line; nothing is a name too.
func name(s string) bool {
	if !utf8.ValidString(s) || utf8.RuneCountInString(s) > MaxName || s != strings.TrimSpace(s) {
		return false
	}
	return strings.IndexFunc(s, func(r rune) bool { return !unicode.IsPrint(r) }) < 0
}

func text(s string) bool { return utf8.ValidString(s) && !strings.ContainsRune(s, 0) }
