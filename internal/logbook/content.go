package logbook

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/workup"
)

// Content is what an entry says: one of Departure, Leg, Detour, Halt, Fix, Note,
// Remount, Tyres, OdometerSet, Settings and Withdrawal.
type Content interface {
	Kind() Kind
	// run is the way since the entry before; nil for what has none.
	run() *Run
	validate() error
}

// Kind names what an entry is.
type Kind string

// The kinds of entries.
const (
	KindDeparture   Kind = "departure"
	KindLeg         Kind = "leg"
	KindDetour      Kind = "detour"
	KindHalt        Kind = "halt"
	KindFix         Kind = "fix"
	KindNote        Kind = "note"
	KindRemount     Kind = "remount"
	KindTyres       Kind = "tyres"
	KindOdometerSet Kind = "odometer_set"
	KindSettings    Kind = "settings"
	KindWithdrawal  Kind = "withdrawal"
)

// Unit is a unit that odometers count in.
type Unit string

// The units of odometers.
const (
	Kilometres    Unit = "km"
	StatuteMiles  Unit = "mi"
	NauticalMiles Unit = "nmi"
)

// Length returns the length of one unit, 0 if u is none.
func (u Unit) Length() geo.Metres {
	switch u {
	case Kilometres:
		return geo.Kilometre
	case StatuteMiles:
		return geo.StatuteMile
	case NauticalMiles:
		return geo.NauticalMile
	}
	return 0
}

// Odometer is a reading, kept as it was given. ParseOdometer makes one.
type Odometer struct {
	AsGiven string `json:"as_given"` // digits, and a point if it shows fractions
	Unit    Unit   `json:"unit"`
	// RolledOver confirms that the odometer has passed its last number since the
	// reading before: the count of its digits before the point. 0: it has not.
	RolledOver int `json:"rolled_over_digits,omitempty"`
}

// maxDigits is more than any odometer shows, and few enough for a float64.
const maxDigits = 9

// ParseOdometer takes a reading as text, "12345.6". It fails with code
// "bad_odometer".
func ParseOdometer(text string, u Unit) (Odometer, error) {
	o := Odometer{AsGiven: strings.TrimSpace(text), Unit: u}
	return o, o.Validate()
}

// Validate fails with code "bad_odometer" for what no odometer shows.
func (o Odometer) Validate() error {
	whole, fraction, point := strings.Cut(o.AsGiven, ".")
	if !digits(whole) || point && !digits(fraction) {
		return fault.New("bad_odometer", "write the reading as it stands there, as 12345.6: digits, and a point before a fraction",
			"odometer reading %q cannot be read", o.AsGiven)
	}
	if o.Unit.Length() == 0 {
		return fault.New("bad_odometer", "the units are km, mi (statute miles) and nmi (nautical miles)", "odometer unit %q is not known", string(o.Unit))
	}
	if o.RolledOver < 0 || o.RolledOver > maxDigits || o.RolledOver > 0 && o.number() >= math.Pow10(o.RolledOver) {
		return fault.New("bad_odometer", "give the digits before the point, as many as the odometer shows",
			"an odometer of %d digits cannot read %s", o.RolledOver, o.AsGiven)
	}
	return nil
}

func digits(s string) bool {
	return s != "" && len(s) <= maxDigits && strings.Trim(s, "0123456789") == ""
}

// number returns the reading in its unit.
func (o Odometer) number() float64 {
	x, _ := strconv.ParseFloat(o.AsGiven, 64) // validated
	return x
}

// Metres returns the reading.
func (o Odometer) Metres() geo.Metres { return geo.Metres(o.number()) * o.Unit.Length() }

// Resolution returns the size of the last digit.
func (o Odometer) Resolution() geo.Metres {
	_, fraction, _ := strings.Cut(o.AsGiven, ".")
	return geo.Metres(math.Pow10(-len(fraction))) * o.Unit.Length()
}

// String returns the reading with its unit, "12345.6 km".
func (o Odometer) String() string { return o.AsGiven + " " + string(o.Unit) }

// Speed is a mean speed, with its sigma. A sigma of 0 stands for a tenth of the
// speed (a judgement).
type Speed struct {
	Mean  workup.MetresPerSecond `json:"mean_mps"`
	Sigma workup.MetresPerSecond `json:"sigma_mps"`
	// For is the time under way; 0 stands for all since the entry before.
	For time.Duration `json:"for_ns,omitempty"`
}

// Distance is a distance had some other way: paced, or off a map. A sigma of 0
// stands for a tenth of it (a judgement).
type Distance struct {
	Length geo.Metres `json:"length_m"`
	Sigma  geo.Metres `json:"sigma_m"`
}

// guessed is the sigma of a speed or distance without one, as a share of it.
const guessed = 0.1

// Run is the way since the entry before. One of the four must be given; an
// odometer reading beside a speed or a distance is held against it, and begins the way that
// follows.
type Run struct {
	Odometer *Odometer `json:"odometer,omitempty"`
	Speed    *Speed    `json:"speed,omitempty"`
	Distance *Distance `json:"distance,omitempty"`
	Stood    bool      `json:"stood,omitempty"` // nothing was run
	// CountsOn says that a leg's reading counts from the one before, whatever was run since
	// without the odometer. Legs of older versions that set out from such a halt began to
	// count there.
	CountsOn bool `json:"counts_on,omitempty"`
}

// ByOdometer is the usual Run.
func ByOdometer(o Odometer) Run { return Run{Odometer: &o} }

func (r *Run) given() bool { return *r != Run{} }

// plain tells a reading of the odometer with nothing beside it.
func (r *Run) plain() bool {
	return r.Odometer != nil && r.Speed == nil && r.Distance == nil && !r.Stood
}

func (r *Run) validate() error {
	ways := 0
	for _, given := range []bool{r.Speed != nil, r.Distance != nil, r.Stood} {
		if given {
			ways++
		}
	}
	switch {
	case ways > 1 || ways == 0 && r.Odometer == nil:
		return noDistance("an entry takes one of: odometer reading, speed, distance, or that nothing was run")
	case r.Odometer != nil && r.Odometer.Validate() != nil:
		return r.Odometer.Validate()
	case r.Speed != nil && !(nonNegative(float64(r.Speed.Mean), float64(r.Speed.Sigma)) && r.Speed.For >= 0):
		return fault.New("bad_speed", "give the speed and its sigma, not negative, and the time under way", "the speed of %v m/s cannot be worked with", float64(r.Speed.Mean))
	case r.Distance != nil && !nonNegative(float64(r.Distance.Length), float64(r.Distance.Sigma)):
		return fault.New("bad_distance", "give the distance and its sigma, not negative", "the distance of %v m cannot be worked with", float64(r.Distance.Length))
	}
	return nil
}

func noDistance(format string, args ...any) error {
	return fault.New("no_distance", "give the odometer's reading, or the speed, or the distance, or say that nothing was run since the entry before", format, args...)
}

func nonNegative(values ...float64) bool {
	for _, v := range values {
		if !(v >= 0) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}

// Departure begins a journey.
type Departure struct {
	Position geo.Position `json:"position"`
	Sigma    geo.Metres   `json:"sigma_m"` // one sigma per axis
	Source   string       `json:"source,omitempty"`
	// Odometer is the reading there; nil if it is not known. The first reading of
	// the journey is then taken to be that of the departure.
	Odometer *Odometer `json:"odometer,omitempty"`
	// Model holds how wrong the instruments may be; workup.Land() or one like it.
	Model workup.Model `json:"model"`
	// SpeedLimit is the greatest speed made good that is believed; 0 stands for
	// DefaultSpeedLimit.
	SpeedLimit workup.MetresPerSecond `json:"speed_limit_mps"`
	// Settings are those with which the journey begins; may be nil.
	Settings *Settings `json:"settings,omitempty"`
}

// DefaultSpeedLimit is 120 km/h, more than a vehicle keeps up across country (a
// judgement).
const DefaultSpeedLimit workup.MetresPerSecond = 120 / 3.6

// DialHeading is a heading read with the dial, with what the work-up must know of it.
type DialHeading struct {
	Heading angle.Angle `json:"heading_rad"` // true
	Sigma   angle.Angle `json:"sigma_rad"`   // of all the budget
	// Terms of Sigma that the work-up treats by itself where many legs share them:
	// the rod from plumb, the sheet's forward axis against the vehicle's, and the
	// azimuth by the error of the position.
	Level     angle.Angle `json:"level_rad"`
	Alignment angle.Angle `json:"alignment_rad"`
	Position  angle.Angle `json:"position_rad"`
	// Body is where the sun or moon stood.
	Body *workup.Body `json:"body,omitempty"`
	// ComputedAt is the position that Body was computed for, if that was the log's
	// own estimate (Estimate.Position); nil if a receiver or the user gave it.
	ComputedAt *geo.Position `json:"computed_at,omitempty"`
	// SetUpAnew says that the instrument was put down and levelled for this reading
	// alone: level and lubber line then are errors of this leg and of no other.
	SetUpAnew bool `json:"set_up_anew,omitempty"`
	// Instrument is the record that the heading was corrected by, without its text where the
	// journey's settings have it; one without a hash says that there was none, and nil, as in
	// entries of older versions, that it is not known.
	Instrument *Record `json:"instrument,omitempty"`
}

// How says where a leg's heading comes from.
type How string

// Where headings come from.
const (
	ByPhoto  How = "photo"
	ByNumber How = "number" // read by eye under the shadow
	ByHand   How = "hand"
)

// Leg is a change of leg. Its heading holds from here to the next.
type Leg struct {
	Run     Run          `json:"run"`
	How     How          `json:"how"`
	Reading *DialHeading `json:"reading,omitempty"` // by photo or number
	Hand    *Heading     `json:"hand,omitempty"`
	Photo   *Photo       `json:"photo,omitempty"`
	// Hashes of what LegFromPhoto and LegFromNumber were given, in hexadecimal.
	ReadingSHA256 string `json:"reading_sha256,omitempty"`
	OverlaySHA256 string `json:"overlay_sha256,omitempty"`
}

// Heading is a true heading had without the dial.
type Heading struct {
	Heading angle.Angle `json:"heading_rad"`
	Sigma   angle.Angle `json:"sigma_rad"`
}

// Photo names the photo of a leg.
type Photo struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256"` // hexadecimal
	// Refused is why it gave no heading, as a stable code; "" if it gave one.
	Refused string `json:"refused,omitempty"`
	Message string `json:"message,omitempty"`
}

// NeedsHeading reports whether the leg still waits for a heading.
func (l *Leg) NeedsHeading() bool { return l.Reading == nil && l.Hand == nil }

// Detour is the way round an obstacle. It leaves the current leg at Run, goes its
// own short legs, and the current leg goes on after them.
type Detour struct {
	Run  Run        `json:"run"`
	Legs []ShortLeg `json:"legs"`
}

// ShortLeg is a leg of a detour. Its Run is from the end of the one before.
type ShortLeg struct {
	Heading Heading `json:"heading"`
	Run     Run     `json:"run"`
}

// Halt is a stop, or a mere reading of odometer and clock: the heading goes on.
type Halt struct {
	Run Run `json:"run"`
}

// Fix is a position had from outside.
type Fix struct {
	Run      Run          `json:"run"`
	Position geo.Position `json:"position"`
	Sigma    geo.Metres   `json:"sigma_m"` // one sigma per axis
	Source   string       `json:"source,omitempty"`
	// Confirmed makes the fix count though it lies so far off that its rule has it wait.
	Confirmed bool `json:"confirmed,omitempty"`
	// Rule is that of the program that wrote the entry: an old log gives the same positions.
	Rule workup.FixRule `json:"rule,omitempty"`
}

// Note is an entry that says nothing but its note.
type Note struct{}

// Remount says that the instrument was taken off and put on again: bias and lean
// begin anew with the next reading.
type Remount struct{}

// Tyres says that tyres were changed, or their pressure: the odometer's scale
// begins anew.
type Tyres struct {
	Run Run `json:"run"`
}

// OdometerSet says that the odometer was set to another number, or replaced.
type OdometerSet struct {
	Run   Run      `json:"run"` // up to then
	After Odometer `json:"after"`
}

// Withdrawal takes an entry out of the log's reckoning. It always supersedes one.
type Withdrawal struct{}

// Kind and run make Content of the types of entries.

func (*Departure) Kind() Kind   { return KindDeparture }
func (*Leg) Kind() Kind         { return KindLeg }
func (*Detour) Kind() Kind      { return KindDetour }
func (*Halt) Kind() Kind        { return KindHalt }
func (*Fix) Kind() Kind         { return KindFix }
func (*Note) Kind() Kind        { return KindNote }
func (*Remount) Kind() Kind     { return KindRemount }
func (*Tyres) Kind() Kind       { return KindTyres }
func (*OdometerSet) Kind() Kind { return KindOdometerSet }
func (*Withdrawal) Kind() Kind  { return KindWithdrawal }

func (*Departure) run() *Run     { return nil }
func (l *Leg) run() *Run         { return &l.Run }
func (d *Detour) run() *Run      { return &d.Run }
func (h *Halt) run() *Run        { return &h.Run }
func (f *Fix) run() *Run         { return &f.Run }
func (*Note) run() *Run          { return nil }
func (*Remount) run() *Run       { return nil }
func (t *Tyres) run() *Run       { return &t.Run }
func (o *OdometerSet) run() *Run { return &o.Run }
func (*Withdrawal) run() *Run    { return nil }

// Validate fails as the verbs do for what an entry cannot say at any place of any log.
func Validate(at At, c Content) error {
	if _, err := toNS(at.Time); err != nil {
		return err
	}
	if err := validText(at.Note); err != nil {
		return err
	}
	return c.validate()
}

// newContent returns an empty content of a kind, nil if there is no such kind.
func newContent(k Kind) Content {
	switch k {
	case KindDeparture:
		return &Departure{}
	case KindLeg:
		return &Leg{}
	case KindDetour:
		return &Detour{}
	case KindHalt:
		return &Halt{}
	case KindFix:
		return &Fix{}
	case KindNote:
		return &Note{}
	case KindRemount:
		return &Remount{}
	case KindTyres:
		return &Tyres{}
	case KindOdometerSet:
		return &OdometerSet{}
	case KindSettings:
		return &Settings{}
	case KindWithdrawal:
		return &Withdrawal{}
	}
	return nil
}

// encode and decode turn contents, and places that are not those of the order of writing,
// into what is stored and back.
func encode(c Content, place int64) (string, error) {
	text, err := json.Marshal(c)
	if err != nil || place == 0 {
		return string(text), err
	}
	lead := ","
	if len(text) == len("{}") {
		lead = ""
	}
	return fmt.Sprintf(`%s%s"place":%d}`, text[:len(text)-1], lead, place), nil
}

func decode(k Kind, text []byte) (Content, int64, error) {
	c := newContent(k)
	if c == nil {
		return nil, 0, fmt.Errorf("kind %q is not known", k)
	}
	if err := json.Unmarshal(text, c); err != nil || !bytes.Contains(text, []byte(`"place":`)) {
		return c, 0, err
	}
	var in struct {
		Place int64 `json:"place"`
	}
	err := json.Unmarshal(text, &in)
	return c, in.Place, err
}

func hash(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// maxText bounds what one text of an entry may hold, in bytes.
const maxText = 4096

func validText(texts ...string) error {
	for _, t := range texts {
		if len(t) > maxText || !utf8.ValidString(t) || strings.ContainsRune(t, 0) {
			return fault.New("bad_text", fmt.Sprintf("write at most %d bytes of plain text in UTF-8", maxText), "a note, source or name cannot be kept")
		}
	}
	return nil
}

// maxSigma is the most that a heading or a position may be uncertain by.
const (
	maxHeadingSigma  = 30 * angle.Degree
	maxPositionSigma = 1000 * geo.Kilometre
)

func (h Heading) validate() error {
	if math.IsNaN(h.Heading.Sin()) || !(h.Sigma > 0 && h.Sigma <= maxHeadingSigma) {
		return fault.New("bad_heading", "give the true heading and its sigma in degrees, more than 0 and at most 30; if it is not known so well, leave it out and log a fix at the leg's end",
			"heading %v with sigma %v cannot be worked up", h.Heading, h.Sigma)
	}
	return nil
}

func validPosition(p geo.Position, sigma geo.Metres) error {
	if err := p.Validate(); err != nil {
		return err
	}
	if !(sigma > 0 && sigma <= maxPositionSigma) {
		return fault.New("bad_position_sigma", "give the position's error in metres, one sigma per axis, more than 0 and at most 1,000,000",
			"the position's sigma of %v m cannot be worked with", float64(sigma))
	}
	return nil
}

func (d *Departure) validate() error {
	switch {
	case validPosition(d.Position, d.Sigma) != nil:
		return validPosition(d.Position, d.Sigma)
	case d.Model.Validate() != nil:
		return d.Model.Validate()
	case d.Odometer != nil && d.Odometer.Validate() != nil:
		return d.Odometer.Validate()
	case !(d.SpeedLimit > 0) || math.IsInf(float64(d.SpeedLimit), 0):
		return fault.New("bad_speed", "give the greatest speed that the vehicle can make good, more than 0", "the speed limit of %v m/s cannot be worked with", float64(d.SpeedLimit))
	case d.Settings != nil && d.Settings.validate() != nil:
		return d.Settings.validate()
	}
	return validText(d.Source)
}

func (l *Leg) validate() error {
	if err := l.Run.validate(); err != nil {
		return err
	}
	if l.Hand != nil {
		if err := l.Hand.validate(); err != nil {
			return err
		}
	}
	if r := l.Reading; r != nil {
		if err := (Heading{r.Heading, r.Sigma}).validate(); err != nil {
			return err
		}
		shared := math.Hypot(math.Hypot(float64(r.Level), float64(r.Alignment)), float64(r.Position))
		if !nonNegative(float64(r.Level), float64(r.Alignment), float64(r.Position)) || shared > float64(r.Sigma)*(1+1e-6) {
			return fault.New("bad_heading", "give the terms of the sigma that the heading carries", "a heading's sigma of %v is less than its terms", r.Sigma)
		}
		if b := r.Body; b != nil && (math.IsNaN(b.Azimuth.Sin()) || !(b.Altitude.Abs() <= 90*angle.Degree)) {
			return fault.New("bad_altitude", "give the direction of the sun or moon at the reading", "the body's direction %v, %v is none", b.Azimuth, b.Altitude)
		}
		if r.ComputedAt != nil {
			if err := r.ComputedAt.Validate(); err != nil {
				return err
			}
		}
		if i := r.Instrument; i != nil && i.Text != "" {
			if err := i.validate(maxRecord); err != nil {
				return err
			}
		}
	}
	if p := l.Photo; p != nil {
		if sum, err := hex.DecodeString(p.SHA256); err != nil || len(sum) != sha256.Size {
			return fault.New("bad_photo_hash", "give the SHA-256 of the photo's bytes", "photo %q has no hash", p.Name)
		}
		return validText(p.Name, p.Refused, p.Message)
	}
	return nil
}

// maxShortLegs bounds a detour; one of more is a change of leg.
const maxShortLegs = 100

func (d *Detour) validate() error {
	if len(d.Legs) == 0 || len(d.Legs) > maxShortLegs {
		return fault.New("bad_detour", fmt.Sprintf("give 1 to %d short legs, each with heading and distance", maxShortLegs), "a detour has %d legs", len(d.Legs))
	}
	for i, l := range d.Legs {
		if err := l.Heading.validate(); err != nil {
			return fmt.Errorf("short leg %d: %w", i+1, err)
		}
		if err := l.Run.validate(); err != nil {
			return fmt.Errorf("short leg %d: %w", i+1, err)
		}
		if s := l.Run.Speed; s != nil && s.For == 0 {
			return fault.New("bad_speed", "give the time under way on each short leg", "short leg %d has a speed without a time", i+1)
		}
	}
	return d.Run.validate()
}

func (f *Fix) validate() error {
	if err := f.Run.validate(); err != nil {
		return err
	}
	if err := validPosition(f.Position, f.Sigma); err != nil {
		return err
	}
	if f.Rule != workup.BeyondFive && f.Rule != workup.FromThree {
		return fault.New("bad_fix_rule", "use the newer program", "the fix is of a rule that this program does not know")
	}
	return validText(f.Source)
}

func (o *OdometerSet) validate() error {
	if err := o.Run.validate(); err != nil {
		return err
	}
	return o.After.Validate()
}

func (h *Halt) validate() error     { return h.Run.validate() }
func (t *Tyres) validate() error    { return t.Run.validate() }
func (*Note) validate() error       { return nil }
func (*Remount) validate() error    { return nil }
func (*Withdrawal) validate() error { return nil }
