package onpage

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/camera"
	"shadowread/internal/compass"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/instrument"
	"shadowread/internal/photo"
	"shadowread/internal/reading"
	"shadowread/internal/settingsfile"
)

// Settings are what the page keeps beside its readings: those of a journey's file, and what
// is said on the page alone.
type Settings struct {
	settingsfile.File
	CourseDeg *float64 `json:"course_deg,omitempty"` // true
	Tilt      *tilt    `json:"tilt,omitempty"`
	Horizon   *horizon `json:"horizon,omitempty"`
	// Lenses are records beside those of the journey's cameras.
	Lenses []string `json:"lenses,omitempty"`
	// ClockErrorS is how much the clock of this device is fast; nil where nobody held it
	// against another.
	ClockErrorS *float64 `json:"clock_error_s,omitempty"`
	Grid        bool     `json:"grid,omitempty"`
}

type tilt struct {
	ForwardDeg   float64  `json:"forward_deg"`
	StarboardDeg float64  `json:"starboard_deg"`
	SigmaDeg     *float64 `json:"sigma_deg"`
}

type horizon struct {
	SigmaDeg *float64 `json:"sigma_deg"`
	EyeM     *float64 `json:"eye_m"`
}

// fieldFault is what is wrong with a field of the settings.
type fieldFault struct {
	Field string `json:"field"`
	failure
}

// kept is settings as they are understood.
type kept struct {
	settings   Settings // without what is at fault
	offset     *time.Duration
	instrument *instrument.Record
	card       *compass.Card
	lenses     lenses
	faults     []fieldFault
}

// lenses are the records that the page was given.
type lenses []camera.Match

// Find looks for the record of the lens that took a photo.
func (l lenses) Find(f photo.Facts) (*camera.Match, []photo.Warning, error) {
	return camera.Youngest(l, f), nil, nil
}

// maxLenses is more than anybody has cameras.
const maxLenses = 32

func (k *kept) wrong(field string, err error) {
	k.faults = append(k.faults, fieldFault{field, failureOf(err)})
}

// understand looks at each field by itself: one that is at fault costs no other.
func understand(s Settings) *kept {
	k := &kept{settings: s}
	out := &k.settings
	out.Version = settingsfile.Version
	for _, part := range []struct {
		field string
		alone settingsfile.File
		drop  func(*Settings)
	}{
		{"journey", settingsfile.File{Journey: s.Journey, Begun: s.Begun}, func(s *Settings) { s.Journey, s.Begun = "", nil }},
		{"rod_height_mm", settingsfile.File{RodHeightMM: s.RodHeightMM}, func(s *Settings) { s.RodHeightMM = 0 }},
		{"utc_offset", settingsfile.File{UTCOffset: s.UTCOffset}, func(s *Settings) { s.UTCOffset = "" }},
		{"distance_unit", settingsfile.File{DistanceUnit: s.DistanceUnit}, func(s *Settings) { s.DistanceUnit = "" }},
		{"position_form", settingsfile.File{PositionForm: s.PositionForm}, func(s *Settings) { s.PositionForm = "" }},
		{"steering_sigma_deg", settingsfile.File{SteeringSigmaDeg: s.SteeringSigmaDeg}, func(s *Settings) { s.SteeringSigmaDeg = 0 }},
		{"level_sigma_deg", settingsfile.File{LevelSigmaDeg: s.LevelSigmaDeg}, func(s *Settings) { s.LevelSigmaDeg = nil }},
		{"lubber_sigma_deg", settingsfile.File{LubberSigmaDeg: s.LubberSigmaDeg}, func(s *Settings) { s.LubberSigmaDeg = nil }},
		{"print_scale", settingsfile.File{PrintScale: s.PrintScale}, func(s *Settings) { s.PrintScale = nil }},
		{"instrument", settingsfile.File{Instrument: s.Instrument}, func(s *Settings) { s.Instrument = "" }},
		{"cameras", settingsfile.File{Cameras: s.Cameras}, func(s *Settings) { s.Cameras = nil }},
		{"deviation_card", settingsfile.File{DeviationCard: s.DeviationCard}, func(s *Settings) { s.DeviationCard = "" }},
		{"stops", settingsfile.File{Stops: s.Stops}, func(s *Settings) { s.Stops = nil }},
		{"position", settingsfile.File{Position: s.Position}, func(s *Settings) { s.Position = nil }},
	} {
		if err := part.alone.Check(); err != nil {
			k.wrong(part.field, err)
			part.drop(out)
		}
	}
	if out.UTCOffset != "" {
		offset, err := geo.ParseOffset(out.UTCOffset)
		if err == nil {
			k.offset = &offset
		}
	}
	k.ownNumbers()
	k.records()
	return k
}

// quantity is a number of the page's own settings with its bounds.
func (k *kept) quantity(field, unit string, value *float64, least, most float64) bool {
	if value == nil || *value >= least && *value <= most {
		return true
	}
	k.wrong(field, fault.New("bad_settings", fmt.Sprintf("give a number from %g to %g", least, most), "%v%s is not from %g to %g", *value, unit, least, most))
	return false
}

func (k *kept) ownNumbers() {
	s := &k.settings
	if !k.quantity("course_deg", "°", s.CourseDeg, 0, 360) {
		s.CourseDeg = nil
	}
	const clockMost = 366 * 86400
	if !k.quantity("clock_error_s", " s", s.ClockErrorS, -clockMost, clockMost) {
		s.ClockErrorS = nil
	}
	// The bounds are those of the command's options.
	if t := s.Tilt; t != nil && !(k.quantity("tilt", "°", &t.ForwardDeg, -20, 20) && k.quantity("tilt", "°", &t.StarboardDeg, -20, 20) && k.quantity("tilt", "°", t.SigmaDeg, 0.01, 10)) {
		s.Tilt = nil
	}
	if h := s.Horizon; h != nil && !(k.quantity("horizon", "°", h.SigmaDeg, 0.005, 5) && k.quantity("horizon", " m", h.EyeM, 0.1, 100)) {
		s.Horizon = nil
	}
}

// records reads those of instrument, lenses and compass.
func (k *kept) records() {
	s := &k.settings
	if s.Instrument != "" {
		record, err := instrument.Decode([]byte(s.Instrument), "the instrument's record")
		if err != nil {
			k.wrong("instrument", err)
			s.Instrument = ""
		} else {
			k.instrument = &record
		}
	}
	if s.DeviationCard != "" {
		card, err := compass.ReadCard(strings.NewReader(s.DeviationCard), "the deviation card")
		if err != nil {
			k.wrong("deviation_card", err)
			s.DeviationCard = ""
		} else {
			k.card = &card
		}
	}
	if len(s.Lenses) > maxLenses {
		k.wrong("lenses", fault.New("bad_settings", "keep those of the cameras that you have", "there are more than %d lens records", maxLenses))
		s.Lenses = nil
	}
	var sound []string
	for _, text := range s.Lenses {
		if err := k.lens(text, ""); err != nil {
			k.wrong("lenses", err)
			continue
		}
		sound = append(sound, text)
	}
	s.Lenses = sound
	for i, c := range s.Cameras {
		if c.Lens == "" {
			continue
		}
		if err := k.lens(c.Lens, c.Camera); err != nil {
			k.wrong("cameras", err)
			s.Cameras = append([]settingsfile.Camera{}, s.Cameras...)
			s.Cameras[i].Lens = ""
		}
	}
}

func (k *kept) lens(text, name string) error {
	record, err := camera.DecodeLensRecord([]byte(text))
	if err != nil {
		return err
	}
	if name == "" {
		name = record.Camera.String()
	}
	k.lenses = append(k.lenses, camera.Match{Record: record, Path: name})
	return nil
}

// usable fails with the first fault: a heading is not worked out by half of what was said.
func (k *kept) usable() error {
	if len(k.faults) == 0 {
		return nil
	}
	f := k.faults[0]
	return fault.New(f.Code, f.Hint, "%s", f.Message)
}

// options is how photos and numbers are read.
func (k *kept) options() reading.Options {
	s, o := k.settings, reading.Defaults()
	o.Rod.HeightMM = s.RodHeightMM
	if s.LevelSigmaDeg != nil {
		o.Level, o.Unsaid = angle.FromDegrees(*s.LevelSigmaDeg), false
	}
	if s.LubberSigmaDeg != nil {
		o.Alignment = angle.FromDegrees(*s.LubberSigmaDeg)
	}
	if p := s.PrintScale; len(p) == 2 {
		o.PrintScale = &[2]float64{p[0], p[1]}
	}
	if s.CourseDeg != nil {
		o.Course = new(angle.FromDegrees(*s.CourseDeg).Bearing())
	}
	if t := s.Tilt; t != nil {
		o.Tilt = &instrument.Tilt{Forward: angle.FromDegrees(t.ForwardDeg), Starboard: angle.FromDegrees(t.StarboardDeg), Sigma: orDegrees(t.SigmaDeg, reading.DefaultTilt)}
	}
	if h := s.Horizon; h != nil {
		o.Horizon = &reading.Horizon{Sigma: orDegrees(h.SigmaDeg, reading.DefaultHorizon), EyeMetres: reading.DefaultEye}
		if h.EyeM != nil {
			o.Horizon.EyeMetres = *h.EyeM
		}
	}
	if k.instrument != nil {
		record := *k.instrument
		// As the command has it: what is said goes before the record.
		if s.RodHeightMM == 0 {
			o.Rod.HeightMM = record.HeightMM
		}
		o.Rod.NodusMM, o.Rod.DiameterMM = record.NodusMM, record.DiameterMM
		if s.LevelSigmaDeg != nil {
			record.LevelSigma = o.Level
		}
		if s.LubberSigmaDeg != nil {
			record.AlignmentSigma = o.Alignment
		}
		o.Instrument = &record
	}
	o.Card, o.Grid = k.card, s.Grid
	if len(k.lenses) > 0 {
		o.Lenses = k.lenses
	}
	return o
}

func orDegrees(x *float64, otherwise angle.Angle) angle.Angle {
	if x == nil {
		return otherwise
	}
	return angle.FromDegrees(*x)
}

// clockError is what is known of the clock that a photo's time is by: that of its camera, by
// the journey's file, else that of this device; nil where nothing is.
func (k *kept) clockError(f photo.Facts) *time.Duration {
	seconds := k.settings.ClockErrorS
	if name := camera.Of(f); name.Model != "" {
		for _, c := range k.settings.Cameras {
			if strings.EqualFold(c.Camera, f.Model) || strings.EqualFold(c.Camera, strings.TrimSpace(f.Make+" "+f.Model)) || strings.EqualFold(c.Camera, name.String()) {
				seconds = c.ClockErrorS
			}
		}
	}
	return durationOf(seconds)
}

func durationOf(seconds *float64) *time.Duration {
	if seconds == nil {
		return nil
	}
	return new(time.Duration(math.Round(*seconds * float64(time.Second))))
}

type settingsRequest struct {
	Settings Settings `json:"settings"`
}

// shownSettings is what the page shows of its settings.
type shownSettings struct {
	Journey    *string     `json:"journey"`
	Instrument *string     `json:"instrument"`
	Lenses     []string    `json:"lenses"`
	Card       *string     `json:"card"`
	Stops      []shownStop `json:"stops"`
	Position   *string     `json:"position"`
}

type shownStop struct {
	Name         string  `json:"name"`
	LatitudeDeg  float64 `json:"latitude_deg"`
	LongitudeDeg float64 `json:"longitude_deg"`
	Shown        string  `json:"shown"`
}

type settingsAnswer struct {
	Settings Settings      `json:"settings"`
	Faults   []fieldFault  `json:"faults"`
	Shown    shownSettings `json:"shown"`
}

func showSettings(r settingsRequest) (any, error) { return understand(r.Settings).answer(), nil }

func (k *kept) answer() settingsAnswer {
	a := settingsAnswer{Settings: k.settings, Faults: k.faults, Shown: shownSettings{Lenses: []string{}, Stops: []shownStop{}}}
	if a.Faults == nil {
		a.Faults = []fieldFault{}
	}
	if k.settings.Journey != "" {
		a.Shown.Journey = &k.settings.Journey
	}
	if r := k.instrument; r != nil {
		text := named(r.Name, "the "+string(r.Gnomon)) + proved(r.Found)
		if r.Lens != "" && len(k.lenses) == 0 { // a page cannot follow to another file
			text += "; it names a lens record, which is to be opened too"
		}
		a.Shown.Instrument = &text
	}
	for _, m := range k.lenses {
		text := m.Record.Camera.String() + ", solved " + m.Record.Solved.Format(time.DateOnly)
		if m.Path != m.Record.Camera.String() {
			text = m.Path + ": " + text
		}
		a.Shown.Lenses = append(a.Shown.Lenses, text)
	}
	if c := k.card; c != nil {
		a.Shown.Card = new(named(c.Title, "the compass") + ", swung " + c.Swung.Format(time.DateOnly))
	}
	for _, s := range k.settings.Stops {
		a.Shown.Stops = append(a.Shown.Stops, shownStop{s.Name, s.LatitudeDeg, s.LongitudeDeg, k.position(geo.Position{Lat: angle.FromDegrees(s.LatitudeDeg), Lon: angle.FromDegrees(s.LongitudeDeg)})})
	}
	if p := k.settings.Position; p != nil {
		a.Shown.Position = new(k.position(geo.Position{Lat: angle.FromDegrees(p.LatitudeDeg), Lon: angle.FromDegrees(p.LongitudeDeg)}))
	}
	return a
}

func named(name, otherwise string) string {
	if name == "" {
		return otherwise
	}
	return name
}

func proved(found time.Time) string {
	if found.IsZero() {
		return ""
	}
	return ", proved " + found.UTC().Format(time.DateOnly)
}

// position writes a position in the form of the settings.
func (k *kept) position(p geo.Position) string {
	if k.settings.PositionForm == settingsfile.DegreesMinutes {
		return minutes(p.Lat, "N", "S", 90) + " " + minutes(p.Lon, "E", "W", 180)
	}
	return p.String()
}

// minutes writes degrees and minutes to the tenth, which is 185 m at most.
func minutes(a angle.Angle, positive, negative string, most int) string {
	half := positive
	if a < 0 {
		half = negative
	}
	tenths := int(math.Round(a.Abs().Degrees() * 600))
	digits := 2
	if most > 90 {
		digits = 3
	}
	return fmt.Sprintf("%0*d°%02d.%d' %s", digits, tenths/600, tenths%600/10, tenths%10, half)
}

type openRequest struct {
	Settings Settings `json:"settings"` // which what is opened is put into
	Text     string   `json:"text"`
}

// openSettings puts what a file holds into the settings: all of a journey's file, or an
// instrument's, lens's or deviation record, told by its content.
func openSettings(r openRequest) (any, error) {
	s, text := r.Settings, []byte(r.Text)
	if len(text) > settingsfile.MaxFile {
		return nil, fault.New("file_too_large", "check that it is the file you mean", "the file is larger than %d MB", settingsfile.MaxFile>>20)
	}
	var format struct {
		Format string `json:"format"`
	}
	isJSON := json.Unmarshal(bytes.TrimPrefix(text, []byte("\ufeff")), &format) == nil
	switch {
	case settingsfile.Is(bytes.TrimPrefix(text, []byte("\ufeff"))):
		f, err := settingsfile.Parse(text)
		if err != nil {
			return nil, err
		}
		if known := s.Journey != "" || s.Begun != nil; known && (f.Journey != s.Journey || !sameTime(f.Begun, s.Begun)) {
			s.Tilt, s.Horizon = nil, nil // of another journey's stops
		}
		s.File = *f // what the journey says holds; what it does not say is not its
	case isJSON && format.Format != "":
		if _, err := compass.ReadCard(bytes.NewReader(text), "the deviation card"); err != nil {
			return nil, err
		}
		s.DeviationCard = r.Text
	case strings.Contains(r.Text, "shadowread instrument"):
		if _, err := instrument.Decode(text, "the instrument's record"); err != nil {
			return nil, err
		}
		if s.Instrument != "" && s.Instrument != r.Text {
			s.Tilt = nil // of another board
		}
		s.Instrument = r.Text
	case strings.Contains(r.Text, "[camera]") || strings.Contains(r.Text, "[lens]"):
		record, err := camera.DecodeLensRecord(text)
		if err != nil {
			return nil, err
		}
		s.Lenses = withLens(s.Lenses, record, r.Text)
	default:
		return nil, fault.New("unknown_record", "give the file of a journey's settings, or the record of an instrument, a lens or a deviation card", "the file is no record of this program")
	}
	return understand(s).answer(), nil
}

func sameTime(a, b *time.Time) bool {
	return a == nil && b == nil || a != nil && b != nil && a.Equal(*b)
}

// withLens puts a record into the place of an older one of the same lens.
func withLens(kept []string, record camera.LensRecord, text string) (out []string) {
	for _, old := range kept {
		if r, err := camera.DecodeLensRecord([]byte(old)); err == nil && r.Camera.Same(record.Camera) {
			continue
		}
		out = append(out, old)
	}
	return append(out, text)
}
