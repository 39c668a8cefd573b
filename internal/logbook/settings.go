package logbook

import (
	"context"
	"database/sql"
	"encoding/hex"
	"math"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
)

// Settings is what the entries of a journey are made with, stated once. In a departure or
// an entry of its own it is what is changed by it: what is nil stays as it was, and Forgotten
// names what holds no longer. What holds at an entry is what those before it have said.
type Settings struct {
	Name      *string        `json:"name,omitempty"` // the journey's
	Unit      *Unit          `json:"distance_unit,omitempty"`
	UTCOffset *time.Duration `json:"utc_offset_ns,omitempty"`
	RodHeight *geo.Metres    `json:"rod_height_m,omitempty"`
	// Steering goes before that of the departure's model, for the legs that begin after it.
	Steering   *angle.Angle `json:"steering_sigma_rad,omitempty"`
	Level      *angle.Angle `json:"level_sigma_rad,omitempty"`
	Lubber     *angle.Angle `json:"lubber_sigma_rad,omitempty"`
	PrintScale *[2]float64  `json:"print_scale,omitempty"` // printed over nominal, athwart and fore-and-aft
	// PositionForm is how positions are shown.
	PositionForm *PositionForm `json:"position_form,omitempty"`
	Photos       *string       `json:"photos_folder,omitempty"` // where they arrive
	Instrument   *Record       `json:"instrument,omitempty"`
	Card         *Record       `json:"deviation_card,omitempty"`
	Cameras      *[]Camera     `json:"cameras,omitempty"`
	Stops        *[]Stop       `json:"stops,omitempty"` // in the order in which they are gone to
	Forgotten    []string      `json:"forgotten,omitempty"`
}

// Record is a user's file as it was when it was named: the file may change or be lost.
type Record struct {
	File   string `json:"file,omitempty"` // its name, without folders
	SHA256 string `json:"sha256"`         // of the text, in hexadecimal
	Text   string `json:"text,omitempty"`
}

// NewRecord keeps a file's text.
func NewRecord(file string, text []byte) *Record {
	return &Record{File: file, SHA256: hash(text), Text: string(text)}
}

// Camera is a camera of the journey, by the name that its photos carry.
type Camera struct {
	Name string `json:"camera"`
	// ClockError is how much its clock is fast; nil if that is not known.
	ClockError *time.Duration `json:"clock_error_ns,omitempty"`
	Lens       *Record        `json:"lens,omitempty"`
}

// Stop is a named waypoint.
type Stop struct {
	Name     string       `json:"name"`
	Position geo.Position `json:"position"`
}

// PositionForm is how positions are shown.
type PositionForm string

// The forms of positions.
const (
	Degrees        PositionForm = "degrees"         // -22.90000, 22.30000
	DegreesMinutes PositionForm = "degrees_minutes" // 22°54.000' S 22°18.000' E
)

// UnitOr returns the unit of bare numbers; that of journeys which state none, as those of
// older versions, is the kilometre.
func (s *Settings) UnitOr() Unit {
	if s.Unit == nil {
		return Kilometres
	}
	return *s.Unit
}

// setting is a field of Settings by its key.
type setting struct {
	key    string
	is     func(*Settings) bool
	copy   func(to, from *Settings)
	forget func(*Settings)
}

// field makes a setting of the field that at returns.
func field[T any](key string, at func(*Settings) **T) setting {
	return setting{
		key:    key,
		is:     func(s *Settings) bool { return *at(s) != nil },
		copy:   func(to, from *Settings) { *at(to) = *at(from) },
		forget: func(s *Settings) { *at(s) = nil },
	}
}

var settingsFields = []setting{
	field("name", func(s *Settings) **string { return &s.Name }),
	field("distance_unit", func(s *Settings) **Unit { return &s.Unit }),
	field("utc_offset", func(s *Settings) **time.Duration { return &s.UTCOffset }),
	field("rod_height", func(s *Settings) **geo.Metres { return &s.RodHeight }),
	field("steering_sigma", func(s *Settings) **angle.Angle { return &s.Steering }),
	field("level_sigma", func(s *Settings) **angle.Angle { return &s.Level }),
	field("lubber_sigma", func(s *Settings) **angle.Angle { return &s.Lubber }),
	field("print_scale", func(s *Settings) **[2]float64 { return &s.PrintScale }),
	field("position_form", func(s *Settings) **PositionForm { return &s.PositionForm }),
	field("photos", func(s *Settings) **string { return &s.Photos }),
	field("instrument", func(s *Settings) **Record { return &s.Instrument }),
	field("deviation_card", func(s *Settings) **Record { return &s.Card }),
	field("cameras", func(s *Settings) **[]Camera { return &s.Cameras }),
	field("stops", func(s *Settings) **[]Stop { return &s.Stops }),
}

// Forgettable lists the keys that Settings.Forgotten may hold: all but the unit, without
// which no number of the journey means anything.
func Forgettable() (keys []string) {
	for _, f := range settingsFields {
		if f.key != "distance_unit" {
			keys = append(keys, f.key)
		}
	}
	return keys
}

// Says returns the keys of what is set.
func (s *Settings) Says() (keys []string) {
	for _, f := range settingsFields {
		if f.is(s) {
			keys = append(keys, f.key)
		}
	}
	return keys
}

// With returns the settings with a change to them; nil changes nothing.
func (s Settings) With(change *Settings) Settings {
	if change == nil {
		return s
	}
	for _, f := range settingsFields {
		switch {
		case f.is(change):
			f.copy(&s, change)
		case slices.Contains(change.Forgotten, f.key):
			f.forget(&s)
		}
	}
	s.Forgotten = nil
	return s
}

// Kind and run make Content of it.
func (*Settings) Kind() Kind { return KindSettings }
func (*Settings) run() *Run  { return nil }

// Limits of settings, those of the file that a phone's page takes.
const (
	maxRecord  = 64 << 10
	maxCard    = 1 << 20
	maxName    = 100 // characters
	maxCameras = 16
	maxStops   = 200
	maxRod     = 0.5 * geo.Metre
	maxClock   = 366 * 24 * time.Hour
)

func badSettings(format string, args ...any) error {
	return fault.New("bad_settings", "give another value; see shadowread log settings --help", format, args...)
}

// validate fails with code "bad_settings" for what no journey has. Whether records can be
// read is for those to say who read them.
func (s *Settings) validate() error {
	if len(s.Says()) == 0 && len(s.Forgotten) == 0 {
		return badSettings("nothing is set")
	}
	for _, key := range s.Forgotten {
		if !slices.Contains(Forgettable(), key) {
			return badSettings("%q is no setting that can be forgotten", key)
		}
	}
	switch {
	case s.Name != nil && !printable(*s.Name):
		return badSettings("a journey's name has at most %d characters that print", maxName)
	case s.Unit != nil && s.Unit.Length() == 0:
		return badSettings("the unit %q is none of km, mi and nmi", string(*s.Unit))
	case s.UTCOffset != nil && (s.UTCOffset.Abs() > 14*time.Hour || *s.UTCOffset%time.Minute != 0):
		return badSettings("the UTC offset %v is none", *s.UTCOffset)
	case s.RodHeight != nil && !(*s.RodHeight > 0 && *s.RodHeight <= maxRod):
		return badSettings("a rod %v m high cannot be worked with", float64(*s.RodHeight))
	case s.PositionForm != nil && *s.PositionForm != Degrees && *s.PositionForm != DegreesMinutes:
		return badSettings("the form of positions %q is neither degrees nor degrees_minutes", string(*s.PositionForm))
	case s.Photos != nil && validText(*s.Photos) != nil:
		return validText(*s.Photos)
	}
	for _, sigma := range []*angle.Angle{s.Steering, s.Level, s.Lubber} {
		if sigma != nil && !(*sigma >= 0 && *sigma <= 45*angle.Degree) {
			return badSettings("a sigma of %v cannot be worked with", *sigma)
		}
	}
	if s.Steering != nil && *s.Steering > maxHeadingSigma {
		return badSettings("a steering sigma of %v cannot be worked with", *s.Steering)
	}
	if p := s.PrintScale; p != nil && !(math.Abs(p[0]-1) <= 0.1 && math.Abs(p[1]-1) <= 0.1) {
		return badSettings("a print scale of %v, %v cannot be worked with", p[0], p[1])
	}
	if err := s.Instrument.validate(maxRecord); err != nil {
		return err
	}
	if err := s.Card.validate(maxCard); err != nil {
		return err
	}
	return s.validLists()
}

func (s *Settings) validLists() error {
	seen := map[string]bool{}
	if s.Cameras != nil {
		if len(*s.Cameras) > maxCameras {
			return badSettings("more than %d cameras", maxCameras)
		}
		for _, c := range *s.Cameras {
			if err := c.Lens.validate(maxRecord); err != nil {
				return err
			}
			key := "camera " + strings.ToLower(c.Name)
			if c.Name == "" || !printable(c.Name) || seen[key] {
				return badSettings("a camera has no name, or %q stands there twice", c.Name)
			}
			if c.ClockError != nil && c.ClockError.Abs() > maxClock {
				return badSettings("the clock of %s is out by more than a year", c.Name)
			}
			seen[key] = true
		}
	}
	if s.Stops == nil {
		return nil
	}
	if len(*s.Stops) > maxStops {
		return badSettings("more than %d stops", maxStops)
	}
	for _, stop := range *s.Stops {
		if err := stop.Position.Validate(); err != nil {
			return err
		}
		key := "stop " + strings.ToLower(stop.Name)
		if stop.Name == "" || !printable(stop.Name) || seen[key] {
			return badSettings("a stop has no name, or %q stands there twice", stop.Name)
		}
		seen[key] = true
	}
	return nil
}

func (r *Record) validate(most int) error {
	switch {
	case r == nil:
		return nil
	case len(r.Text) > most || !utf8.ValidString(r.Text) || strings.ContainsRune(r.Text, 0):
		return badSettings("the record %s is no text of at most %d bytes", r.File, most)
	case r.SHA256 != hash([]byte(r.Text)):
		return badSettings("the record %s is not that of its hash", r.File)
	}
	if _, err := hex.DecodeString(r.SHA256); err != nil {
		return badSettings("the record %s has no hash", r.File)
	}
	return validText(r.File)
}

func printable(s string) bool {
	if !utf8.ValidString(s) || utf8.RuneCountInString(s) > maxName || s != strings.TrimSpace(s) {
		return false
	}
	return strings.IndexFunc(s, func(r rune) bool { return !unicode.IsPrint(r) }) < 0
}

// Set writes what is changed of the journey's settings. It fails with code "bad_settings"
// too.
func (l *Log) Set(ctx context.Context, at At, s Settings) (Added, error) {
	return l.add(ctx, at, &s, proof{})
}

// SettingsOf returns what holds after the last entry of a journey; journey 0 is the last.
// It fails with code "no_journey".
func (l *Log) SettingsOf(ctx context.Context, journey int) (s Settings, err error) {
	err = l.read(ctx, func(tx *sql.Tx) error {
		_, now, err := l.journeyNow(ctx, tx, journey)
		if err != nil {
			return err
		}
		s = now.Settings
		return nil
	})
	return s, err
}

// SettingsAt returns what held once an entry was written, for its correction.
func (l *Log) SettingsAt(ctx context.Context, entry int) (s Settings, err error) {
	err = l.read(ctx, func(tx *sql.Tx) error {
		e, err := entryIn(ctx, tx, entry)
		if err != nil {
			return err
		}
		now, err := reckonedBefore(ctx, tx, e.Journey, e.place()+1)
		if err == nil && now != nil {
			s = now.Settings
		}
		return err
	})
	return s, err
}

// SettingsBy returns what held at a time in a journey, for an entry that is put in there;
// journey 0 is the last. It fails with code "no_journey" or "before_departure".
func (l *Log) SettingsBy(ctx context.Context, journey int, at time.Time) (s Settings, err error) {
	err = l.read(ctx, func(tx *sql.Tx) error {
		number, err := theJourney(ctx, tx, journey)
		if err != nil {
			return err
		}
		place, err := lastBy(ctx, tx, number, at)
		if err != nil {
			return err
		}
		now, err := reckonedBefore(ctx, tx, number, place+1)
		if err == nil && now != nil {
			s = now.Settings
		}
		return err
	})
	return s, err
}
