package onpage

import (
	"fmt"
	"math"
	"time"

	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/photo"
	"shadowread/internal/reading"
	"shadowread/internal/telling"
	"shadowread/internal/wording"
)

// How a picture came to the page.
const (
	byCamera = "camera" // taken for it
	byAlbum  = "album"  // chosen
)

const (
	// previewSigma is one sigma of the time that a picture is looked at before it is taken
	// over, by which its file is younger than the picture (a judgement).
	previewSigma = 30 * time.Second
	// clocksApart is how far two clocks may be apart, or a file may be written after its
	// picture, before either is doubted.
	clocksApart = 2 * time.Minute
	// freshFor is how old a picture may be that was taken for the page.
	freshFor = 10 * time.Minute
	// zoneNear is how near to whole half hours two times lie that differ by a zone.
	zoneNear = time.Minute
	// zoneMost is the most that two zones differ by.
	zoneMost = 26 * time.Hour
)

// timing is what the page knows of when a picture was taken.
type timing struct {
	FileMS float64 `json:"file_modified_ms"` // 0 where not known
	// AskedMS is when the page asked for the camera; 0 where it did not.
	AskedMS float64 `json:"asked_ms"`
	Chosen  string  `json:"chosen"`
	Stated  *string `json:"stated_time"`
	// TrustFile says that somebody knows that the picture was taken when its file was made.
	TrustFile bool `json:"trust_file_time"`
	// TrustOffset says that somebody knows that the camera's clock was at this device's offset.
	TrustOffset bool `json:"trust_utc_offset"`
}

// moment is when a picture was taken, as far as it can be told beforehand.
type moment struct {
	options  photo.TimeOptions
	utc      time.Time // zero where it is not known
	fresh    bool      // it was taken for the page, just now
	note     string    // by what it is known
	warnings []photo.Warning
	refused  error      // a contradiction that may make the heading wrong
	offered  *time.Time // a time that would do if somebody knew it to be right
	// offeredOffset would do if somebody knew that the camera's clock was at it.
	offeredOffset *time.Duration
}

func (m *moment) warn(code, format string, args ...any) {
	m.warnings = append(m.warnings, photo.Warning{Code: code, Message: fmt.Sprintf(format, args...)})
}

func (m *moment) conflict(hint, format string, args ...any) {
	m.refused = fault.New(string(reading.TimeConflict), hint, format, args...)
}

const stateTime = "state the time by hand"

// clocks are those that a picture's time is held against.
type clocks struct {
	now        time.Time
	offset     time.Duration  // of this device's from UTC
	stated     *time.Duration // the journey's offset; nil where none is kept
	clockError *time.Duration // how much the photo's clock is fast; nil where not known
}

func (c clocks) zone() (time.Duration, string) {
	if c.stated != nil {
		return *c.stated, "the settings'"
	}
	return c.offset, "this device's"
}

// bornOut reports whether the satellites' stamp in a photo is of its moment by this device's
// offset, and not by the journey's.
func (c clocks) bornOut(f photo.Facts) bool {
	if f.GPSTime.IsZero() || c.stated == nil {
		return false
	}
	apart := func(offset time.Duration) time.Duration { return f.Clock.Add(-offset).Sub(f.GPSTime).Abs() }
	return apart(c.offset) <= clocksApart && apart(*c.stated) > clocksApart
}

// of decides when a picture was taken: by what was stated before the camera's clock before
// the file's time, each held against this device's clock.
func (t timing) of(f photo.Facts, c clocks) (moment, error) {
	file, err := t.file()
	if err != nil {
		return moment{}, err
	}
	switch {
	case t.Stated != nil && *t.Stated != "":
		return t.stated(f, c)
	case !f.Clock.IsZero():
		return t.byClock(f, c, file), nil
	case !file.IsZero():
		return t.byFile(c, file)
	}
	return moment{}, nil
}

func (t timing) file() (time.Time, error) {
	if t.FileMS == 0 {
		return time.Time{}, nil
	}
	return timeOf(t.FileMS)
}

func (t timing) stated(f photo.Facts, c clocks) (m moment, err error) {
	var taken *time.Duration // it is held against the place
	n, err := geo.ParseNoted(*t.Stated, nil, c.now)
	if err != nil || n.Offset == nil { // it has none of its own
		offset, _ := c.zone()
		taken = &offset
		n, err = geo.ParseNoted(*t.Stated, taken, c.now)
	}
	if err != nil {
		return m, err
	}
	if n.Day {
		return m, fault.New("no_hour", "give the hour too, as 08:12:31", "%.40q has no hour", *t.Stated)
	}
	m.utc = n.Time
	m.options = photo.TimeOptions{At: &n.Time, UTCOffset: taken}
	if n.Minutes {
		m.options = m.options.ToTheMinute()
	}
	m.note = "time as stated"
	if ahead := m.utc.Sub(c.now); ahead > clocksApart {
		m.warn("time_in_future", "the stated time is %s after now by this device's clock: check it, its date and its UTC offset", wording.Span(ahead))
	}
	if f.ClockOffset != nil && !f.Clock.IsZero() {
		if apart := m.utc.Sub(f.Clock.Add(-*f.ClockOffset)); apart.Abs() > clocksApart {
			m.warn("time_differs", "the stated time is %s from the photo's own, %s: check the hour and its zone", wording.Span(apart), f.Clock.Format(time.DateTime)+" "+geo.FormatOffset(*f.ClockOffset))
		}
	}
	return m, nil
}

// byClock goes by the clock of the camera. Where the photo does not say its UTC offset, that
// of the settings or of this device is taken, and the file's time, which is in UTC, shows
// whether it can be. What nothing bears out but this device's zone is refused until somebody
// says so: a camera may be on the zone of home or on winter time.
func (t timing) byClock(f photo.Facts, c clocks, file time.Time) (m moment) {
	m.options.ClockError = c.clockError
	own := f.ClockOffset != nil
	if stamped := c.bornOut(f); c.stated != nil && !own && stamped {
		c.stated = nil // the journey's offset is another camera's
	}
	offset, whose := c.zone()
	if own {
		offset, whose = *f.ClockOffset, "its own"
	} else {
		m.options.UTCOffset = &offset
	}
	read := f.Clock.Add(-offset) // by the clock as it goes, as the file's time is
	m.utc = read
	if c.clockError != nil {
		m.utc = read.Add(-*c.clockError)
	}
	m.note = fmt.Sprintf("time by the photo's clock, at %s from UTC (%s)", geo.FormatOffset(offset), whose)
	age := c.now.Sub(read)
	m.fresh = t.Chosen == byCamera && age < freshFor
	shown := f.Clock.Format(time.DateTime) + " " + geo.FormatOffset(offset)
	if age < -clocksApart {
		m.conflict("set this device's clock and its zone right, or "+stateTime, "the photo is of %s, which is %s after now by this device's clock", shown, wording.Span(age))
		return m
	}
	if t.Chosen == byCamera && !m.fresh {
		m.warn("photo_not_new", "the photo is of %s, %s ago: it was not taken just now", shown, wording.Span(age))
	}
	if !own && c.stated != nil && *c.stated != c.offset {
		m.warn("offset_differs", "the settings have a UTC offset of %s, this device is at %s; the settings' was taken", geo.FormatOffset(*c.stated), geo.FormatOffset(c.offset))
	}
	// A stamp of the satellites' time that agrees shows the offset too.
	vouched := !f.GPSTime.IsZero() && m.utc.Sub(f.GPSTime).Abs() <= clocksApart
	if !file.IsZero() {
		late := file.Sub(read)
		vouched = vouched || late.Abs() <= clocksApart
		hours := late.Round(30 * time.Minute)
		switch {
		case vouched:
		case !own && hours != 0 && hours.Abs() <= zoneMost && (late-hours).Abs() <= zoneNear:
			m.conflict("check which UTC offset the camera's clock had, or "+stateTime, "the photo's clock, taken at %s from UTC, and the time of its file are %s apart, as by another zone or summer time", geo.FormatOffset(offset), wording.Span(hours))
		case late < 0 && !own:
			m.conflict(stateTime, "the photo is of %s by its clock, and its file is %s older", shown, wording.Span(late))
		case late < 0:
			m.warn("file_time_differs", "the photo is of %s by its clock, and its file is %s older: check the camera's clock", shown, wording.Span(late))
		}
	}
	if own || vouched || m.refused != nil {
		return m
	}
	if c.stated == nil && !t.TrustOffset {
		m.offeredOffset = &offset
		m.refused = fault.New(string(reading.NoTime), "say so if you know that it was, give the UTC offset in the settings, or "+stateTime,
			"the photo's time, %s, has no UTC offset, and nothing shows that its clock was at this device's, %s", f.Clock.Format(time.DateTime), geo.FormatOffset(offset))
	} else {
		m.warn("offset_taken", "the photo's time has no UTC offset: %s, %s, was taken; check it, an hour is worth 15 degrees", whose, geo.FormatOffset(offset))
	}
	return m
}

// byFile goes by the time of the file, where a picture says nothing of its time. That is when
// it was taken if this page had it taken; else it may be when it was copied, or chosen, and
// only who took it can know.
func (t timing) byFile(c clocks, file time.Time) (m moment, err error) {
	age := c.now.Sub(file)
	m.utc = file
	sigma := photo.SigmaClockUnchecked
	if c.clockError != nil {
		m.utc, sigma = file.Add(-*c.clockError), photo.SigmaClockChecked
	}
	sigma = time.Duration(math.Hypot(float64(sigma), float64(previewSigma)))
	m.options = photo.TimeOptions{At: &m.utc, Sigma: &sigma}
	m.note = "time by the file"
	if age < -clocksApart {
		m.conflict("set this device's clock right, or "+stateTime, "the photo's file is of %s after now by this device's clock", wording.Span(age))
		return m, nil
	}
	asked := time.Time{}
	if t.AskedMS != 0 {
		if asked, err = timeOf(t.AskedMS); err != nil {
			return m, err
		}
	}
	isNew := age < freshFor && !(t.AskedMS != 0 && file.Before(asked.Add(-2*time.Second))) // file systems round
	switch {
	case t.TrustFile:
		m.fresh = t.Chosen == byCamera && isNew
	case t.Chosen == byCamera && isNew:
		m.fresh = true
	case t.Chosen == byCamera:
		m.offered = &m.utc
		m.conflict(stateTime, "the photo does not say when it was taken, and its file is %s old: it was not taken just now", wording.Span(age))
	default:
		m.offered = &m.utc
		m.refused = fault.New(string(reading.NoTime), "say so if you know that it was taken then, or "+stateTime,
			"the photo does not say when it was taken; its file was made %s ago, and may have been copied since", wording.Span(age))
	}
	return m, nil
}

// told is the note with its sigma.
func (m moment) told(r *reading.Result) *string {
	if r.Instant == nil {
		return nil
	}
	note := m.note
	if note == "" {
		note = "time by this device's clock"
	}
	return new(note + ", ± " + telling.Sigma(r.Instant.Sigma) + " one sigma")
}
