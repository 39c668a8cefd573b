package steering

import (
	"encoding/json"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/photo"
	"shadowread/internal/reading"
	"shadowread/internal/wording"
)

// Steer is all that is said to who steers.
type Steer struct {
	*Hold
	Changes  []Change
	Serving  Serving
	Given    *reading.Result // of a number read by eye; nil where there was none
	Warnings []photo.Warning
	looked   time.Time // when it was looked ahead
}

// Grid is the course from polar grid north; nil away from the poles unless it was asked for.
// Near a pole it is known much better than the true one.
func (s *Steer) Grid() *reading.Uncertain { return s.Reading.Compass.Grid }

// shown is how many changes are told beforehand: with the sun at its usual pace a quarter of
// an hour.
const shown = 4

// New returns what to say at t. Hold's sigma, and that of given, is of the number by eye.
func New(t time.Time, course, sigma angle.Angle, given *angle.Angle, o reading.Options) (*Steer, error) {
	s := &Steer{Hold: At(t, course, sigma, o), looked: t}
	o.Course = &s.Course
	if given != nil {
		s.Given = Read(t, *given, sigma, o)
	}
	return s, s.lookAhead(o)
}

// Again returns what to say some seconds after s: the number anew, and of what lies ahead what
// s knew. It is not for a moment past the first of s's changes, nor for another place.
func (s *Steer) Again(t time.Time, sigma angle.Angle, o reading.Options) *Steer {
	next := *s
	next.Hold, next.Given = At(t, s.Course, sigma, o), nil
	next.warn()
	return &next
}

// Lasts reports whether what s knows of what lies ahead still holds at t.
func (s *Steer) Lasts(t time.Time) bool {
	if !s.OK() || t.Before(s.looked) || t.Sub(s.looked) >= time.Minute {
		return false
	}
	return (len(s.Changes) == 0 || t.Before(s.Changes[0].Time)) && (s.Serving.Until == nil || t.Before(*s.Serving.Until))
}

func (s *Steer) lookAhead(o reading.Options) (err error) {
	s.warn()
	at, sky := s.Reading.Place, s.Reading.Sky
	if at == nil || sky == nil {
		return nil
	}
	var now *bearing.Body
	if s.OK() {
		now = &sky.Body
	}
	if s.Serving, err = ServingAt(s.Time, at.Position, at.ElevationMetres, now, o.Body); err != nil {
		return err
	}
	if !s.OK() {
		return nil
	}
	until := s.Time.Add(LookAhead)
	if u := s.Serving.Until; u != nil {
		until = s.cutShort(*u, o)
	}
	s.Changes = Changes(s.Time, until, s.Course, shown, o)
	return nil
}

// cutShort looks whether an instrument's record leaves a number until the end, and ends before
// where it does not.
func (s *Steer) cutShort(until time.Time, o reading.Options) time.Time {
	there := func(t time.Time) bool {
		n, _ := solve(t, s.Course, o)
		return n != nil
	}
	low, high := s.Time, until.Add(-time.Second) // at the end itself the altitude is refused
	if o.Instrument == nil || !low.Before(high) || there(high) {
		return until
	}
	for high.Sub(low) > 100*time.Millisecond {
		if mid := low.Add(high.Sub(low) / 2); there(mid) {
			low = mid
		} else {
			high = mid
		}
	}
	s.Serving.Until, s.Serving.End = &low, NoNumber
	return low
}

// warn takes the reader's warnings over and adds what only who steers must know.
func (s *Steer) warn() {
	s.Warnings = nil
	for _, w := range s.Reading.Warnings {
		if w.Code == "clock_not_checked" { // a reading can be checked by its shadow's length
			w.Message = "the clock is not checked, and a wrong hour turns the number by 15°: hold it against another clock"
		}
		s.Warnings = append(s.Warnings, w)
	}
	if sky := s.Reading.Sky; s.OK() && sky.LitFraction < bearing.BrightMoon {
		s.Warnings = append(s.Warnings, photo.Warning{Code: "moon_faint",
			Message: "the moon is lit to less than half: its shadow is hardly seen"})
	}
}

// schemaVersion changes when a key of the JSON changes its meaning or goes.
const schemaVersion = 1

type changeObject struct {
	TimeUTC string  `json:"time_utc"`
	Number  float64 `json:"number_deg"`
}

type givenObject struct {
	Number       *float64 `json:"scale_reading_deg"`
	Heading      *float64 `json:"heading_true_deg"`
	HeadingSigma *float64 `json:"heading_sigma_deg"`
	Turn         *float64 `json:"turn_deg"`
	Grid         *float64 `json:"heading_grid_deg"`
	GridSigma    *float64 `json:"heading_grid_sigma_deg"`
}

type object struct {
	Schema         int             `json:"schema_version"`
	Status         string          `json:"status"`
	Reason         *reading.Reason `json:"reason"`
	Message        *string         `json:"message"`
	TimeUTC        string          `json:"time_utc"`
	Latitude       *float64        `json:"latitude_deg"`
	Longitude      *float64        `json:"longitude_deg"`
	PositionSource *string         `json:"position_source"`
	PositionSigma  *float64        `json:"position_sigma_km"`
	Body           *string         `json:"body"`
	BodyAzimuth    *float64        `json:"body_azimuth_deg"`
	BodyAltitude   *float64        `json:"body_altitude_deg"`
	Lit            *float64        `json:"lit_fraction"`
	Course         float64         `json:"course_deg"`
	Number         *float64        `json:"number_deg"`
	HeadingSigma   *float64        `json:"heading_sigma_deg"`
	Correction     *float64        `json:"correction_deg"`
	Changes        []changeObject  `json:"changes"`
	Until          *string         `json:"usable_until_utc"`
	End            *End            `json:"usable_end"`
	From           *string         `json:"usable_from_utc"`
	FromBody       *string         `json:"usable_from_body"`
	Given          *givenObject    `json:"given"`
	Declination    *float64        `json:"declination_deg"`
	Compass        *float64        `json:"course_compass_deg"`
	CompassSigma   *float64        `json:"course_compass_sigma_deg"`
	Grid           *float64        `json:"course_grid_deg"`
	GridSigma      *float64        `json:"course_grid_sigma_deg"`
	Warnings       []photo.Warning `json:"warnings"`
}

// MarshalJSON writes it with units in the names, one sigma, null for what is not known.
func (s *Steer) MarshalJSON() ([]byte, error) {
	r := s.Reading
	o := object{Schema: schemaVersion, Status: "ok", TimeUTC: stamp(s.Time), Course: wording.BearingDegrees(s.Course, 6),
		Number: bearingOf(s.Number, 4), Changes: []changeObject{}, Warnings: s.Warnings}
	if o.Warnings == nil {
		o.Warnings = []photo.Warning{}
	}
	if !s.OK() {
		o.Status, o.Reason, o.Message = "refused", &r.Reason, &r.Message
	}
	if p := r.Place; p != nil {
		o.Latitude, o.Longitude = wording.Known(p.Position.Lat.Degrees(), 7), wording.Known(p.Position.Lon.Degrees(), 7)
		o.PositionSource, o.PositionSigma = &p.Source, wording.Known(p.SigmaKM, 4)
	}
	if b := r.Sky; b != nil {
		o.Body, o.BodyAzimuth = new(b.Body.String()), bearingOf(&b.Azimuth, 5)
		o.BodyAltitude, o.Lit = wording.Known(b.Altitude.Degrees(), 5), wording.Known(b.LitFraction, 3)
	}
	if s.OK() {
		o.HeadingSigma, o.Correction = wording.Known(r.Sigma.Degrees(), 5), wording.Known(r.Correction.Degrees(), 4)
	}
	for _, c := range s.Changes {
		o.Changes = append(o.Changes, changeObject{stamp(c.Time), float64(c.Number)})
	}
	if u := s.Serving.Until; u != nil {
		o.Until, o.End = new(stamp(*u)), &s.Serving.End
	}
	if f := s.Serving.From; f != nil {
		o.From, o.FromBody = new(stamp(*f)), new(s.Serving.Body.String())
	}
	if g := s.Given; g != nil {
		o.Given = &givenObject{Number: bearingOf(g.Number, 4)}
		if g.OK() {
			o.Given.Heading, o.Given.HeadingSigma = bearingOf(g.Heading, 4), wording.Known(g.Sigma.Degrees(), 5)
			o.Given.Turn = wording.Known(g.Come.Degrees(), 4)
			if grid := g.Compass.Grid; grid != nil {
				o.Given.Grid, o.Given.GridSigma = bearingOf(&grid.Value, 4), wording.Known(grid.Sigma.Degrees(), 4)
			}
		}
	}
	if d := r.Compass.Declination; d != nil {
		o.Declination = wording.Known(d.Value.Degrees(), 4)
	}
	if c := r.Compass.Steer; c != nil {
		o.Compass, o.CompassSigma = bearingOf(&c.Value, 4), wording.Known(c.Sigma.Degrees(), 4)
	}
	if g := s.Grid(); g != nil {
		o.Grid, o.GridSigma = bearingOf(&g.Value, 4), wording.Known(g.Sigma.Degrees(), 4)
	}
	return json.Marshal(o)
}

// stamp is a time to the tenth of a second, as far as it means anything.
func stamp(t time.Time) string { return t.UTC().Round(100 * time.Millisecond).Format(time.RFC3339Nano) }

func bearingOf(a *angle.Angle, places int) *float64 {
	if a == nil {
		return nil
	}
	return new(wording.BearingDegrees(*a, places))
}
