// Package daycard works out what the shadow will do on given days: the azimuth to set
// on a hand dial from one time to the next, the number under the shadow for each
// course, and when the shadow is not usable.
//
// Conventions: number = course - azimuth and heading = azimuth + number, both in [0,
// 360), from true north. Times are those of one clock, a fixed offset from UTC, for
// all days of a card; a day runs from 00:00 to 24:00 of that clock. Altitudes carry
// the refraction of a standard atmosphere. docs/day-card.md gives the rules and their
// reasons.
//
// Left out: the uncertainty of the sun's place itself (0.003°) and what lies about
// it: hills, cloud, dip of the horizon.
package daycard

import (
	"fmt"
	"math"
	"regexp"
	"time"
	"unicode/utf8"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/typeface"
)

// What a card is made with unless the user says otherwise.
const (
	DefaultTolerance = 1 * angle.Degree
	// Below 6° the shadow is long, faint and soon on uneven ground; above 75° half a
	// degree off plumb turns it by two (common practice).
	DefaultLowest  = 6 * angle.Degree
	DefaultHighest = 75 * angle.Degree
)

// Limits of what New accepts.
const (
	MinTolerance = 0.25 * angle.Degree // a quarter of a degree of a sun at 15° an hour lasts a minute
	MaxTolerance = 5 * angle.Degree
	MaxDays      = 31
	MaxCourses   = 6 // that fit on the pocket card
	MaxStops     = 50
	MaxRouteKM   = 500
	MaxTitle     = 60 // characters
	MaxRodMM     = 5000
)

// MinWindow is the shortest span that is worth a line: the time to set a dial, look at
// the shadow and steer by it for a while.
const MinWindow = 2 * time.Minute

// MinRun is the shortest run of windows that is worth a look between two spans in which
// the azimuth turns too fast.
const MinRun = 15 * time.Minute

// MaxFixedError is the greatest error with which a fixed window is still good: ten
// degrees lead a sixth of the way aside.
const MaxFixedError = 10 * angle.Degree

// LevelError is how far off plumb a careful rod is taken to be.
const LevelError = 0.5 * angle.Degree

// When the moon's shadow is usable (common practice: from about half moon, well up, in
// the dark). At the end of nautical twilight the sky gives less light than half a
// moon at 15°.
const (
	MoonLitFraction = bearing.BrightMoon
	MoonLowest      = 15 * angle.Degree
	MoonSunBelow    = -12 * angle.Degree
)

// Date is a day of the card's clock.
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

var datePattern = regexp.MustCompile(`^\d{4}-\d{2}-\d{2}$`)

// ParseDate reads a date as 2026-03-14; the error's code is bad_date.
func ParseDate(s string) (Date, error) {
	const most = 40 // of what was typed, to show
	if !datePattern.MatchString(s) {
		return Date{}, fault.New("bad_date", "write the date as 2026-03-14, with all its digits", "%.*q is no date", most, s)
	}
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return Date{}, fault.New("bad_date", "write the date as 2026-03-14", "date %.*q does not exist", most, s)
	}
	return Date{t.Year(), t.Month(), t.Day()}, nil
}

// String returns the date as 2026-03-14.
func (d Date) String() string { return fmt.Sprintf("%04d-%02d-%02d", d.Year, d.Month, d.Day) }

// MarshalText writes the date as 2026-03-14.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// Stop is a place on the route, and when one is there; the zero Time leaves it open.
type Stop struct {
	Position geo.Position
	Time     time.Time
}

// Options is what a card is made for.
type Options struct {
	Title string // printed at the top; may be empty

	First     Date
	Days      int           // 1 to MaxDays
	UTCOffset time.Duration // of the card's clock, east positive, whole minutes

	// Stops is one place, or a route in order. Without times a line is good anywhere
	// on the straight legs between them; with times (all or none, in order) it is good
	// whoever keeps to them, before the first and after the last at those places.
	Stops           []Stop
	ElevationMetres float64

	Courses []angle.Angle // true, 0 to 360 degrees; taken to a tenth of a degree

	// Tolerance is the most that the azimuth of a line may be off. Where Window is
	// not 0 it does not count.
	Tolerance angle.Angle
	// Window is 0 for windows as long as Tolerance lets them be, or the length of
	// fixed windows, 15 or 30 minutes.
	Window time.Duration

	Lowest, Highest angle.Angle // altitudes between which the shadow is usable

	// RuleAt is when the bearing is taken from which the rule of 15 degrees an hour
	// runs on, since midnight of each day; nil: when the shadow is first usable.
	RuleAt *time.Duration

	RodHeightMM   float64 // 0: no word on the shadow's length
	ScaleRadiusMM float64 // of the dial that the shadow should reach; 0: none
}

// New makes the card.
//
// The error's code is one of bad_title, bad_date, bad_days, bad_utc_offset, bad_stops,
// route_too_long, bad_courses, bad_tolerance, bad_window, bad_altitudes, bad_rule_time,
// bad_rod_height, bad_scale_radius or one of bearing.Observe's.
func New(o Options) (*Card, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	c := &Card{
		Title:           o.Title,
		UTCOffset:       geo.FormatOffset(o.UTCOffset),
		ElevationMetres: o.ElevationMetres,
		LowestDeg:       round(o.Lowest.Degrees(), 10), HighestDeg: round(o.Highest.Degrees(), 10),
		LevelErrorDeg: round(LevelError.Degrees(), 10),
		Moonlight:     Moonlight{MoonLitFraction, round(o.moonLowest().Degrees(), 10), round(MoonSunBelow.Degrees(), 10)},
	}
	if o.Window == 0 {
		c.ToleranceDeg = new(round(o.Tolerance.Degrees(), 100))
	} else {
		c.WindowMinutes = new(o.Window.Minutes())
	}
	for _, s := range o.Stops {
		p := Place{LatitudeDeg: round(s.Position.Lat.Degrees(), 1e6), LongitudeDeg: round(s.Position.Lon.Degrees(), 1e6)}
		if !s.Time.IsZero() {
			p.Time = new(s.Time.In(o.zone()))
		}
		c.Places = append(c.Places, p)
	}
	for _, a := range o.Courses {
		c.CoursesDeg = append(c.CoursesDeg, math.Mod(round(a.Degrees(), 10), 360))
	}
	if o.RodHeightMM > 0 {
		c.RodHeightMM = &o.RodHeightMM
	}
	if o.ScaleRadiusMM > 0 {
		c.ScaleRadiusMM = &o.ScaleRadiusMM
	}
	r := newRoute(o.Stops)
	for i := range o.Days {
		d, err := newDay(o, c, r, i)
		if err != nil {
			return nil, err
		}
		c.Days = append(c.Days, d)
	}
	return c, nil
}

// zone is the card's clock.
func (o Options) zone() *time.Location {
	return time.FixedZone("UTC"+geo.FormatOffset(o.UTCOffset), int(o.UTCOffset/time.Second))
}

// midnight is the start of day i of the card.
func (o Options) midnight(i int) time.Time {
	return time.Date(o.First.Year, o.First.Month, o.First.Day+i, 0, 0, 0, 0, o.zone())
}

func (o Options) moonLowest() angle.Angle { return max(o.Lowest, MoonLowest) }

func (o Options) check() error {
	first := time.Date(o.First.Year, o.First.Month, o.First.Day, 0, 0, 0, 0, time.UTC)
	switch {
	case len([]rune(o.Title)) > MaxTitle:
		return fault.New("bad_title", "shorten it", "the title has more than %d characters", MaxTitle)
	case !printable(o.Title):
		return fault.New("bad_title", "use plain letters, figures and signs", "the title holds a character that cannot be printed")
	case (Date{first.Year(), first.Month(), first.Day()}) != o.First: // 31 April
		return fault.New("bad_date", "write the date as 2026-03-14", "date %v does not exist", o.First)
	case o.First.Year < bearing.FirstYear || o.First.Year > bearing.LastYear:
		return fault.New("bad_date", "check the year", "the sun's place is known for %d to %d, not for %v", bearing.FirstYear, bearing.LastYear, o.First)
	case o.Days < 1 || o.Days > MaxDays:
		return fault.New("bad_days", fmt.Sprintf("a card holds 1 to %d days", MaxDays), "cannot make a card for %d days", o.Days)
	case o.UTCOffset < -12*time.Hour || o.UTCOffset > 14*time.Hour || o.UTCOffset%time.Minute != 0:
		return fault.New("bad_utc_offset", "write the UTC offset as +02:00; civil offsets run from -12:00 to +14:00",
			"UTC offset %v is not one of a clock", o.UTCOffset)
	}
	if err := o.checkStops(); err != nil {
		return err
	}
	if len(o.Courses) < 1 || len(o.Courses) > MaxCourses {
		return fault.New("bad_courses", fmt.Sprintf("give 1 to %d courses", MaxCourses), "cannot make a card for %d courses", len(o.Courses))
	}
	for _, c := range o.Courses {
		if !(c >= 0 && c.Degrees() <= 360) {
			return fault.New("bad_courses", "courses run from 0 to 360 degrees, clockwise from true north", "course %g degrees does not exist", c.Degrees())
		}
	}
	switch {
	case o.Window != 0 && o.Window != 15*time.Minute && o.Window != 30*time.Minute:
		return fault.New("bad_window", "give 15 or 30 minutes, or none for windows by tolerance", "fixed windows of %g minutes are not made", o.Window.Minutes())
	case o.Window == 0 && !(o.Tolerance >= MinTolerance && o.Tolerance <= MaxTolerance):
		return fault.New("bad_tolerance", fmt.Sprintf("give %g to %g degrees", MinTolerance.Degrees(), MaxTolerance.Degrees()),
			"a tolerance of %g degrees cannot be kept", o.Tolerance.Degrees())
	case !(o.Lowest >= 0 && o.Lowest < o.Highest && o.Highest <= 90*angle.Degree):
		return fault.New("bad_altitudes", "the lowest altitude is at least 0, the highest at most 90 degrees, and above the lowest",
			"the shadow is not usable from %g to %g degrees", o.Lowest.Degrees(), o.Highest.Degrees())
	case o.RuleAt != nil && (*o.RuleAt < 0 || *o.RuleAt >= 24*time.Hour || *o.RuleAt%time.Minute != 0):
		return fault.New("bad_rule_time", "give hours and minutes of the card's clock, as 07:30", "the rule cannot run on from %v after midnight", *o.RuleAt)
	case !(o.RodHeightMM >= 0 && o.RodHeightMM <= MaxRodMM):
		return fault.New("bad_rod_height", "give the height in millimetres, such as 50", "rod height %g mm is out of reach", o.RodHeightMM)
	case !(o.ScaleRadiusMM >= 0 && o.ScaleRadiusMM <= MaxRodMM):
		return fault.New("bad_scale_radius", "give the radius in millimetres, such as 58", "scale radius %g mm is out of reach", o.ScaleRadiusMM)
	case o.ScaleRadiusMM > 0 && o.RodHeightMM == 0:
		return fault.New("bad_rod_height", "give the rod's height with the scale's radius", "the scale has no rod")
	}
	return nil
}

func (o Options) checkStops() error {
	if len(o.Stops) < 1 || len(o.Stops) > MaxStops {
		return fault.New("bad_stops", fmt.Sprintf("give a place, or a route of at most %d", MaxStops), "cannot make a card for %d places", len(o.Stops))
	}
	timed := 0
	for i, s := range o.Stops {
		// Observe's limits on positions hold here too; what is not a number gets no further.
		if !(s.Position.Lat.Abs() <= 90*angle.Degree) || !(s.Position.Lon.Abs() <= 180*angle.Degree) {
			return fault.New("bad_stops", "latitude runs from -90 to 90, longitude from -180 to 180 degrees", "place %d is not on the earth", i+1)
		}
		if s.Time.IsZero() {
			continue
		}
		timed++
		if timed > 1 && !s.Time.After(o.Stops[i-1].Time) {
			return fault.New("bad_stops", "put the places in the order of their times", "place %d is not later than place %d", i+1, i)
		}
	}
	switch {
	case timed != 0 && timed != len(o.Stops):
		return fault.New("bad_stops", "give a time to each place or to none", "%d of %d places have a time", timed, len(o.Stops))
	case timed > 0 && (!o.Stops[0].Time.Before(o.midnight(o.Days)) || o.Stops[timed-1].Time.Before(o.midnight(0))):
		return fault.New("bad_stops", "check the dates of the card and of the route", "the route's times lie outside the card's days")
	}
	if km := routeKM(o.Stops); km > MaxRouteKM {
		return fault.New("route_too_long", "make a card for each part", "the route is %.0f km long, a card serves %d km at most", km, MaxRouteKM)
	}
	return nil
}

// printable tells whether s can stand on a line of the card.
func printable(s string) bool {
	for _, r := range s {
		if r < ' ' || r == 0x7f || r == '\u00ad' || r == '\u2028' || r == '\u2029' {
			return false
		}
	}
	return utf8.ValidString(s) && typeface.Regular.Has(s)
}

// round rounds v to one part in parts, without -0.
func round(v, parts float64) float64 { return math.Round(v*parts)/parts + 0 }
