package onpage

import (
	"fmt"
	"math"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/photo"
	"shadowread/internal/reading"
	"shadowread/internal/wording"
)

// Where the page has a place from.
const (
	fromDevice   = "device"
	fromHand     = "hand"
	fromLast     = "last"     // that of the reading before
	fromSettings = "settings" // the log's estimate, by the journey's file
)

const (
	// mostSpeedKMH is more than a vehicle keeps up across country, as the log has it.
	mostSpeedKMH = 120
	// vague is the sigma beyond which a place of another time is none, as in the log.
	vagueKM = 500.0
	// deviceLeastKM is the least sigma of a device's fix: devices state a radius that holds
	// two thirds at best (common practice).
	deviceLeastKM = 0.02
	mostSigmaKM   = 1000
	// statedFor is how long after a photo a place that is said passes for that of the photo.
	statedFor = 10 * time.Minute
)

// place is what the page says of where it is.
type place struct {
	Source       string  `json:"source"`
	LatitudeDeg  float64 `json:"latitude_deg"`
	LongitudeDeg float64 `json:"longitude_deg"`
	Text         string  `json:"text"`     // in the place of both, as it was typed
	SigmaKM      float64 `json:"sigma_km"` // 0 for the source's default
	AgeS         float64 `json:"age_s"`    // of the fix, or of what the place is from
	// Confirmed says that somebody knows better than the photo.
	Confirmed bool `json:"confirmed"`
}

// spot is where a reading was made.
type spot struct {
	options  photo.PositionOptions
	note     string
	warnings []photo.Warning
	refused  error
}

func (s *spot) warn(code, format string, args ...any) {
	s.warnings = append(s.warnings, photo.Warning{Code: code, Message: fmt.Sprintf(format, args...)})
}

// position is where it is, and how surely when it was there.
func (p place) position() (at geo.Position, sigmaKM float64, err error) {
	if p.Text != "" {
		if at, err = geo.ParsePosition(p.Text); err != nil {
			return at, 0, err
		}
	} else {
		at = geo.Position{Lat: angle.FromDegrees(p.LatitudeDeg), Lon: angle.FromDegrees(p.LongitudeDeg)}
		if !(math.Abs(p.LatitudeDeg) <= 90 && math.Abs(p.LongitudeDeg) <= 180) {
			return at, 0, fault.New("bad_position", "give a latitude from -90 to 90 and a longitude from -180 to 180", "latitude %v, longitude %v is no position", p.LatitudeDeg, p.LongitudeDeg)
		}
	}
	if !(p.SigmaKM >= 0 && p.SigmaKM <= mostSigmaKM) || !(p.AgeS >= 0 && p.AgeS < 1e10) {
		return at, 0, fault.New("bad_position", "take the place anew", "a place that is good to %v km and %v s old is none", p.SigmaKM, p.AgeS)
	}
	sigmaKM = p.SigmaKM
	switch {
	case p.Source == fromDevice && sigmaKM > 0:
		sigmaKM = max(deviceLeastKM, sigmaKM)
	case p.Source == fromDevice:
		sigmaKM = photo.SigmaPositionGPSKM
	case sigmaKM == 0:
		sigmaKM = photo.SigmaPositionOptionKM
	}
	if p.Text != "" {
		sigmaKM = math.Hypot(sigmaKM, geo.Resolution(p.Text).Degrees()*geo.KMPerDegree/math.Sqrt(12))
	}
	return at, sigmaKM, nil
}

// of decides where a reading was made, whose time was taken, zero where it is not known. A
// place of another time is as good as the way that may have been gone between; a photo's own
// goes before it, and must agree with one of its time.
func (p *place) of(f photo.Facts, now time.Time, m moment) (s spot, err error) {
	if p == nil {
		if f.GPS != nil {
			s.note = "place by the photo"
		}
		return s, nil
	}
	at, sigma, err := p.position()
	if err != nil {
		return s, err
	}
	between := time.Duration(0)
	if p.Source != fromHand {
		between = time.Duration(p.AgeS * float64(time.Second))
		if !m.utc.IsZero() && !m.fresh {
			between = m.utc.Sub(now.Add(-between)).Abs()
		}
	}
	way := mostSpeedKMH * between.Hours()
	sigma = math.Sqrt(sigma*sigma + way*way/3)
	if since := now.Add(-time.Duration(p.AgeS * float64(time.Second))).Sub(m.utc); p.Source == fromHand && f.GPS == nil && !p.Confirmed && !m.utc.IsZero() && !m.fresh && since > statedFor {
		s.warn("place_given_since", "the place was given by hand %s after the photo was taken: it must be where the photo was taken, not where you are", wording.Span(since))
	}
	if f.GPS != nil {
		if takes, err := p.holdAgainst(&s, f, at, sigma, m.fresh); err != nil || !takes {
			s.note = "place by the photo"
			return s, err
		}
	}
	if sigma > vagueKM {
		s.refused = fault.New(string(reading.NoPosition), "say where it was", "the place is of %s before or after, in which a vehicle may have gone anywhere", wording.Span(between))
	}
	s.options.Position, s.options.SigmaKM = &at, &sigma
	s.note = p.told(between, m)
	return s, nil
}

// holdAgainst compares a place with the photo's own fix, and reports whether the place is to
// be taken.
func (p place) holdAgainst(s *spot, f photo.Facts, at geo.Position, sigma float64, fresh bool) (takes bool, err error) {
	own, err := photo.ResolvePosition(photo.Facts{GPS: f.GPS, GPSErrorMetres: f.GPSErrorMetres}, photo.PositionOptions{})
	if err != nil {
		return true, err
	}
	_, apart, err := geo.GeodesicInverse(at, own.Position)
	if err != nil {
		return true, err
	}
	if apart.Kilometres() <= 3*math.Hypot(sigma, own.SigmaKM) {
		return sigma < own.SigmaKM, nil
	}
	where := fmt.Sprintf("the photo's own place, %s, is %s away", own.Position, wording.Length(apart))
	switch {
	case p.Source == fromHand && p.Confirmed:
		s.warn("place_differs", "%s; the stated one was taken", where)
		return true, nil
	case p.Source == fromDevice && fresh, p.Source == fromHand:
		s.refused = fault.New(string(reading.PositionConflict), "take the photo's place if it is right, or confirm the other", "%s from the %s", where, map[bool]string{true: "stated one", false: "device's"}[p.Source == fromHand])
		return true, nil
	}
	s.warn("place_by_photo", "%s, and was taken", where)
	return false, nil
}

func (p place) told(between time.Duration, m moment) string {
	old := ""
	if between >= time.Minute {
		old = ", " + wording.Span(between) + " old"
		if !m.fresh {
			old = ", " + wording.Span(between) + " before or after"
		}
	}
	switch p.Source {
	case fromDevice:
		return "place by this device" + old
	case fromLast:
		return "last place used" + old
	case fromSettings:
		return "place by the log" + old
	}
	return "place as stated"
}

// told is the note with how sure it is.
func (s spot) told(r *reading.Result) *string {
	if r.Place == nil {
		return nil
	}
	note := s.note
	if note == "" {
		note = "place"
	}
	return new(note + ", ± " + wording.Length(geo.Metres(r.Place.SigmaKM)*geo.Kilometre) + " one sigma")
}
