package logbook

import (
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/workup"
)

// Entry is an entry as it stands in the log.
type Entry struct {
	Number  int // 1, 2, 3 through the whole file
	Journey int // 1, 2, 3
	// Slot is the number of the entry first written in this one's place: its own,
	// unless it is a correction.
	Slot         int
	Supersedes   int // 0: nothing
	SupersededBy int // 0: it stands
	// Place is where an entry stands that was put in later between others; 0 for one that
	// stands in the order of writing.
	Place   int64
	Time    time.Time
	Offset  *time.Duration // from UTC, by which the time was said; nil: not known
	Written time.Time      // by the clock of the machine
	Note    string
	Content Content
}

// Kind returns the kind of the entry.
func (e *Entry) Kind() Kind { return e.Content.Kind() }

// Stands reports whether the entry is reckoned with: not superseded, nor itself
// the withdrawal of one.
func (e *Entry) Stands() bool { return e.SupersededBy == 0 && e.Kind() != KindWithdrawal }

// At is what every entry has beside its content.
type At struct {
	// Time is when it was; in a correction, the zero time keeps that of the entry
	// corrected.
	Time time.Time
	// Offset is the UTC offset by which Time was said; in a correction, nil keeps that of the
	// entry corrected.
	Offset *time.Duration
	Note   string
	// Supersedes is the number of the entry that this one corrects; 0 for a new one.
	// A correction without a Run keeps that of the entry corrected.
	Supersedes int
	// Journey is that of a new entry, 0 for the last; a departure begins its own.
	Journey int
	// InBetween puts a forgotten entry in by its time, before those that are later.
	InBetween bool
	// Wary has what is odd refused, unless its code is among Accept; without it Added.Odd
	// tells. Corrections are held against nothing but Found, what the caller finds odd.
	Wary   bool
	Accept []Odd
	Found  []Oddity
}

// Added tells what became of an entry.
type Added struct {
	Entry Entry
	// Estimate is where the work-up puts the vehicle after the last entry of the
	// journey; nil if the position is lost.
	Estimate *Estimate
	Lost     *Lost
	// Closing is what a fix showed; nil for others. If it says that the fix was not
	// used, ConfirmFix makes it count.
	Closing *workup.Closing
	// Later is what the last fix after an entry that was corrected shows now; nil without.
	Later *workup.Closing
	// NeedsHeading says that this is a leg whose photo gave none: LegByHand in its place.
	NeedsHeading bool
	// Before is the time of the entry before, zero for a departure, and Ran what was run
	// since, as logged.
	Before time.Time
	Ran    geo.Metres
	last   int // the entry before; 0 for a departure
	// Disagrees is set where an odometer's reading and a distance or speed beside it are
	// three sigma apart or more.
	Disagrees *Disagreement
	// Unsteered says that Ran was run on no heading that is known.
	Unsteered bool
	// OtherInstrument says that the leg before was read with another instrument, or with
	// none proved, and no remount is logged since.
	OtherInstrument bool
	// OtherUnit is the odometer's last reading where the entry states another unit.
	OtherUnit *Odometer
	// Settings are those that hold after the last entry of the journey.
	Settings Settings
	// Odd is what is odd of an entry that was not written warily.
	Odd []Oddity
}

// Estimate is a position by the log.
type Estimate struct {
	Time     time.Time
	Position geo.Position
	Cov      workup.Cov
	Heading  angle.Angle // of the current leg
	Steered  bool        // there is a current leg with a heading
	// Since is the last fix used or the departure, and Run what was logged since.
	Since time.Time
	Run   geo.Metres
}

// Sigma returns one sigma of the position along the longest axis of its ellipse.
func (e *Estimate) Sigma() geo.Metres {
	return e.Cov.Along(e.Cov.Ellipse95().Bearing)
}

// PhotoReading is a photo as read or refused, by whatever reads photos.
type PhotoReading struct {
	Name   string   // file name, without folders
	SHA256 [32]byte // of the file's bytes
	Time   time.Time
	Offset *time.Duration // of the camera's clock from UTC; nil: not known
	// Reading is nil if the photo was refused; Refused and Message then say why.
	Reading          *DialHeading
	Refused, Message string
	Whole            []byte   // the reading as JSON, kept as it is; may be nil
	Overlay          []byte   // a small JPEG that shows what was found; may be nil
	Found            []Oddity // of its time and the sky
}

// NumberReading is a number read by eye: its heading, the reading as JSON, and what is odd
// of its time and the sky.
type NumberReading struct {
	Heading DialHeading
	Whole   []byte
	Found   []Oddity
}

// Limits of what is kept with an entry, in bytes.
const (
	maxWhole   = 1 << 20
	maxOverlay = 4 << 20
)

func bad(code, hint, format string, args ...any) error { return fault.New(code, hint, format, args...) }

// fromNS and toNS convert times; the log keeps nanoseconds since 1970 in UTC.
func fromNS(ns int64) time.Time { return time.Unix(0, ns).UTC() }

// Years within which entries may lie: those that nanoseconds in an int64 reach, to
// the round number.
const firstYear, lastYear = 1700, 2200

func toNS(t time.Time) (int64, error) {
	if y := t.UTC().Year(); y < firstYear || y > lastYear {
		return 0, bad("bad_time", "give date, time and UTC offset of the entry", "an entry cannot be of the year %d", y)
	}
	return t.UnixNano(), nil
}
