package photo

import (
	"fmt"
	"strings"
	"time"

	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/wording"
)

// Sources of a time.
const (
	TimeFromOption       = "option"               // --time
	TimeFromOptionOffset = "camera_option_offset" // camera clock, --utc-offset
	TimeFromExifOffset   = "camera_exif_offset"   // camera clock, OffsetTimeOriginal
	TimeFromGPSOffset    = "camera_gps_offset"    // camera clock, offset by the GPS stamp and the civil zone
	TimeFromZoneMap      = "camera_zone_map"      // camera clock, civil zone at the position
)

// Default one-sigma uncertainties of a time. A second is worth 0.004 degree of
// azimuth on average, several times as much with a high sun.
const (
	// SigmaTimeOption is for a time that somebody noted when the photo was taken.
	SigmaTimeOption = 5 * time.Second
	// SigmaClockChecked is for a camera clock whose error is known, because the
	// user gave it or because a fresh GPS stamp agrees.
	SigmaClockChecked = 2 * time.Second
	// SigmaClockUnchecked is for a camera clock that nothing vouches for: a clock
	// set by hand some weeks ago, at a drift of a second a day (common practice).
	SigmaClockUnchecked = 30 * time.Second
)

const (
	// gpsTolerance is how far the camera's clock may be from the GPS stamp plus a
	// whole number of quarter hours.
	gpsTolerance = 2 * time.Minute
	quarterHour  = 15 * time.Minute
)

// TimeOptions is what the user says about the time.
type TimeOptions struct {
	At        *time.Time     // the time of the photo itself
	UTCOffset *time.Duration // of the camera's clock, or by which At was said; east positive
	// ClockError is how far the camera's clock is fast. It is taken off camera
	// times only. Nil means not known; a known 0 makes the clock a checked one.
	ClockError *time.Duration
	Sigma      *time.Duration // overrides the default
}

// minuteSigma is a minute over the root of 12: that of a time uniform over a minute.
const minuteSigma = 17320 * time.Millisecond

// NotedAt takes a time from paper, where it was written down often to the minute (common
// practice): a whole one is as good as its rounding, unless a sigma is given.
func (o TimeOptions) NotedAt(at time.Time) TimeOptions {
	o.At = &at
	if o.Sigma == nil && at.Truncate(time.Minute).Equal(at) {
		o.Sigma = new(minuteSigma)
	}
	return o
}

// ToTheMinute says that the time was given without seconds: to half a minute either way.
func (o TimeOptions) ToTheMinute() TimeOptions {
	o.Sigma = new(minuteSigma)
	return o
}

// Instant is when a photo was taken.
type Instant struct {
	UTC      time.Time
	Source   string
	Sigma    time.Duration  // one sigma
	Offset   *time.Duration // from UTC, of the clock that told the time; nil: not known
	Warnings []Warning
}

// ResolveTime decides when a photo was taken. The sources are tried in the order
// of the constants above; place is nil where it is not known.
//
// It fails with code "no_time" (no clock reading), "no_time_zone" (the camera's
// UTC offset cannot be known) or "time_conflict" (clock, GPS stamp and civil zone
// do not agree). The warnings found so far come with an error too.
func ResolveTime(f Facts, place *Place, o TimeOptions) (Instant, error) {
	if o.At != nil {
		at := Instant{UTC: o.At.UTC(), Source: TimeFromOption, Sigma: SigmaTimeOption}
		if o.Sigma != nil {
			at.Sigma = *o.Sigma
		}
		at.Offset = o.UTCOffset
		if o.UTCOffset != nil { // by which At was given
			at.checkOffset(at.UTC.Add(*o.UTCOffset), *o.UTCOffset, place, true)
		}
		return at, nil
	}
	if f.Clock.IsZero() {
		return Instant{}, fault.New("no_time",
			"give --time; messaging programs strip the time from photos: use the original file",
			"the photo does not say when it was taken")
	}
	clock := f.Clock
	if o.ClockError != nil {
		clock = clock.Add(-*o.ClockError)
	}

	var at Instant
	var offset time.Duration
	var err error
	switch {
	case o.UTCOffset != nil:
		at.Source, offset = TimeFromOptionOffset, *o.UTCOffset
		if f.ClockOffset != nil && *f.ClockOffset != offset {
			at.warn("offset_conflict", "the photo says that its clock is at %s from UTC; the given %s was used",
				geo.FormatOffset(*f.ClockOffset), geo.FormatOffset(offset))
		}
	case f.ClockOffset != nil:
		at.Source, offset = TimeFromExifOffset, *f.ClockOffset
	case place == nil:
		err = fault.New("no_time_zone", "give --utc-offset, the camera clock's difference from UTC, or --position",
			"the photo's time has no UTC offset, and without a position the time zone is not known")
	case !f.GPSTime.IsZero():
		at.Source = TimeFromGPSOffset
		offset, err = at.gpsOffset(clock, f.GPSTime, place)
	default:
		at.Source = TimeFromZoneMap
		var zone string
		if zone, offset, err = mapOffset(clock, place); err == nil {
			at.warn("zone_from_map", "the photo's time has no UTC offset; the camera was taken to be set to %s, %s; check it, an hour is worth 15 degrees",
				zone, geo.FormatOffset(offset))
		}
	}
	if err != nil {
		return Instant{Warnings: at.Warnings}, err
	}
	if at.Source == TimeFromOptionOffset || at.Source == TimeFromExifOffset {
		at.checkOffset(clock, offset, place, o.UTCOffset != nil)
	}
	at.UTC, at.Offset = clock.Add(-offset), &offset
	at.Sigma = at.clockSigma(f.GPSTime, o.ClockError != nil)
	if o.Sigma != nil {
		at.Sigma = *o.Sigma
	}
	return at, nil
}

func (at *Instant) warn(code, format string, args ...any) {
	at.Warnings = append(at.Warnings, Warning{code, fmt.Sprintf(format, args...)})
}

// gpsOffset returns the UTC offset of the camera's clock as its difference from
// the GPS stamp, if that is near a quarter hour and is a civil offset there, with
// or without summer time. The
// stamp is that of the last fix and may be old: a quarter of an hour would cost
// 3.75 degrees.
func (at *Instant) gpsOffset(clock, stamp time.Time, place *Place) (time.Duration, error) {
	const hint = "give --utc-offset, the camera clock's difference from UTC, or --time"
	difference := clock.Sub(stamp)
	offset := difference.Round(quarterHour)
	if (difference - offset).Abs() > gpsTolerance {
		return 0, fault.New("time_conflict", hint,
			"the camera's clock reads %s and its GPS stamp %s UTC, which are no whole number of quarter hours apart; the stamp may be old or the clock wrong",
			clock.Format(time.DateTime), stamp.Format(time.DateTime))
	}
	civils, err := civilOffsets(place.Position, 3*place.SigmaKM, clock)
	if err != nil {
		return 0, fault.Wrap(err, "no_time_zone", hint, "the time zone at %s is not known", place.Position)
	}
	for _, c := range civils {
		if c.offset == offset {
			return offset, nil
		}
	}
	// Many a camera stays on standard time all the year. An old stamp cannot feign
	// it: it makes the clock seem further ahead of UTC, never further behind.
	for _, c := range civils {
		if c.standard == offset && offset < c.offset {
			at.warn("clock_on_standard_time", "the camera's clock is at %s, while %s had summer time (%s); taken as it is",
				geo.FormatOffset(offset), c.zone, geo.FormatOffset(c.offset))
			return offset, nil
		}
	}
	return 0, fault.New("time_conflict", hint,
		"the camera's clock is %s from its GPS stamp, which is not the civil time at %s%s; the stamp may be old or the clock set to another zone",
		geo.FormatOffset(offset), place.Position, listOffsets(civils))
}

// mapOffset returns the civil zone at a place and its UTC offset, if there is
// exactly one that the clock can have meant.
func mapOffset(clock time.Time, place *Place) (zone string, offset time.Duration, err error) {
	const hint = "give --utc-offset, the camera clock's difference from UTC"
	civils, err := civilOffsets(place.Position, 3*place.SigmaKM, clock)
	switch {
	case err != nil:
		err = fault.Wrap(err, "no_time_zone", hint, "the time zone at %s is not known", place.Position)
	case len(civils) == 0:
		err = fault.New("no_time_zone", hint,
			"no clock at %s read %s: the clocks were put forward over it", place.Position, clock.Format(time.DateTime))
	case len(civils) > 1:
		err = fault.New("no_time_zone", hint,
			"%s at %s can be more than one time%s: a border is near or the clocks were put back", clock.Format(time.DateTime), place.Position, listOffsets(civils))
	case civils[0].nautical():
		err = fault.New("no_time_zone", hint, "%s is at sea, where no civil time zone holds", place.Position)
	default:
		return civils[0].zone, civils[0].offset, nil
	}
	return "", 0, err
}

// listOffsets prints offsets as " (Africa/Harare +02:00, ...)", or nothing.
func listOffsets(civils []civil) string {
	var list []string
	for _, c := range civils {
		list = append(list, c.zone+" "+geo.FormatOffset(c.offset))
	}
	if list == nil {
		return ""
	}
	return " (" + strings.Join(list, ", ") + ")"
}

// clockSigma returns the default uncertainty of a camera time, given the GPS
// stamp if there is one.
func (at *Instant) clockSigma(stamp time.Time, errorKnown bool) time.Duration {
	if stamp.IsZero() {
		if errorKnown {
			return SigmaClockChecked
		}
		return SigmaClockUnchecked
	}
	// A stamp may be old, but not later than the photo, and it is old by whole
	// half hours only by a rare chance: then rather the offset is wrong.
	late := at.UTC.Sub(stamp)
	halfHours := late > SigmaClockUnchecked && (late-late.Round(30*time.Minute)).Abs() <= SigmaClockUnchecked
	switch {
	case late < -SigmaClockUnchecked || halfHours:
		at.warn("gps_time_differs", "the photo's time is %s from its GPS stamp, more than an old stamp explains; the uncertainty covers it: check the camera's clock and UTC offset",
			wording.Span(late))
		return late.Abs()
	case errorKnown && late >= 0:
		return SigmaClockChecked
	case late <= gpsTolerance: // the clock may be off by that much
		return max(SigmaClockChecked, late.Abs())
	}
	at.warn("gps_stamp_old", "the photo's GPS stamp is %s old, or the camera's clock is fast by that much: check the clock and the position",
		wording.Span(late))
	return SigmaClockUnchecked
}
