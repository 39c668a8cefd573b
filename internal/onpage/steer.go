package onpage

import (
	"encoding/json"
	"strings"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/photo"
	"shadowread/internal/reading"
	"shadowread/internal/steering"
	"shadowread/internal/wording"
)

// steerRequest asks for the number to hold.
type steerRequest struct {
	settingsRequest
	device
	CourseDeg *float64 `json:"course_deg"` // nil for the settings'
	Stop      string   `json:"stop"`       // a stop of the settings to steer to, in the place of a course
	TimeMS    float64  `json:"time_ms"`    // 0 for now
	Place     *place   `json:"place"`
	NumberDeg *float64 `json:"number_deg"` // read by eye; nil where none is
	SigmaDeg  *float64 `json:"number_sigma_deg"`
	bodyRequest
}

type steerAnswer struct {
	Steer *steering.Steer `json:"steer"`
	Say   saidSteer       `json:"say"`
}

// steered is what was answered last. While nothing but the time has changed since, what lies
// ahead is not worked out again: the page asks each few seconds.
type steered struct {
	key string
	now *steering.Steer
}

// at is what to say at a time, by what was said before if it still holds.
func (last *steered) at(key string, t time.Time, course, sigma angle.Angle, given *angle.Angle, o reading.Options) (s *steering.Steer, err error) {
	if given == nil && last.key == key && last.now != nil && last.now.Lasts(t) {
		return last.now.Again(t, sigma, o), nil
	}
	s, err = steering.New(t, course, sigma, given, o)
	last.key, last.now = key, nil
	if err == nil && given == nil {
		last.now = s
	}
	return s, err
}

// key is all that is asked but the time, and how old the place is.
func (r steerRequest) key() string {
	r.device.NowMS, r.TimeMS = 0, 0
	if r.Place != nil {
		p := *r.Place
		p.AgeS, p.SigmaKM = 0, 0 // they move no azimuth
		r.Place = &p
	}
	text, err := json.Marshal(r)
	if err != nil {
		return ""
	}
	return string(text)
}

func (r steerRequest) answer(last *steered) (any, error) {
	k, c, err := r.with(r.Settings)
	if err != nil {
		return nil, err
	}
	when := c.present()
	if r.TimeMS != 0 {
		at, err := timeOf(r.TimeMS)
		if err != nil {
			return nil, err
		}
		if c.clockError != nil {
			at = at.Add(-*c.clockError)
		}
		when.utc = at
	}
	var given *angle.Angle
	var sigma angle.Angle
	if r.NumberDeg != nil {
		n, s, err := dial(r.NumberDeg, r.SigmaDeg)
		if err != nil {
			return nil, err
		}
		given, sigma = &n, s
	}
	where, err := r.Place.of(photo.Facts{}, c.now, when)
	if err != nil {
		return nil, err
	}
	course, to, err := r.course(k, where)
	if err != nil {
		return nil, err
	}
	o := k.options()
	o.Time, o.Position = photo.TimeOptions{}, where.options
	o.Tilt, o.Horizon, o.Rod.HeightMM = nil, nil, 0 // of a board that stands, and of a photo
	if o.Body, err = r.body(); err != nil {
		return nil, err
	}
	s, err := last.at(r.key(), when.utc, course, sigma, given, o)
	if err != nil {
		return nil, err
	}
	if where.refused != nil {
		return nil, where.refused
	}
	s.Warnings = append(s.Warnings, where.warnings...)
	return steerAnswer{s, k.saySteer(s, where, c, to)}, nil
}

// course is that which is given, else that to a stop from where it is, else the settings'.
func (r steerRequest) course(k *kept, where spot) (course angle.Angle, to *string, err error) {
	if r.Stop == "" {
		if r.CourseDeg == nil {
			r.CourseDeg = k.settings.CourseDeg
		}
		course, err = courseOf(r.CourseDeg)
		return course, nil, err
	}
	for _, s := range k.settings.Stops {
		if !strings.EqualFold(s.Name, r.Stop) {
			continue
		}
		if where.options.Position == nil {
			return 0, nil, fault.New("no_position", "say where you are", "the course to %s is not known without a place", s.Name)
		}
		at := geo.Position{Lat: angle.FromDegrees(s.LatitudeDeg), Lon: angle.FromDegrees(s.LongitudeDeg)}
		course, distance, err := geo.RhumbInverse(*where.options.Position, at)
		if err != nil {
			return 0, nil, err
		}
		return course.Bearing(), new(s.Name + ", " + wording.Length(distance) + ", course " + wording.ThreeFigures(course.Bearing(), 1)), nil
	}
	return 0, nil, fault.New("no_such_stop", "choose one of the settings' stops", "there is no stop %.100q", r.Stop)
}

// nextAfter is when to ask again: when the number has moved by a fifth of what is shown of it,
// or the whole number changes.
func nextAfter(s *steering.Steer) time.Time {
	const fifth = 0.02 * angle.Degree
	const least, most = time.Second, 10 * time.Second
	next := s.Time.Add(most)
	if s.OK() {
		hours := float64(fifth) / max(1e-9, s.Reading.Sky.AzimuthRate.Abs().Radians())
		next = s.Time.Add(max(least, min(most, time.Duration(min(1, hours)*float64(time.Hour)))))
	}
	if len(s.Changes) > 0 && s.Changes[0].Time.Before(next) {
		next = s.Changes[0].Time
	}
	return next
}
