package onpage

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/photo"
	"shadowread/internal/reading"
	"shadowread/internal/steering"
	"shadowread/internal/telling"
	"shadowread/internal/wording"
)

// saidReading is a reading in the words that the page shows. Null is what is not known.
type saidReading struct {
	Status    string       `json:"status"`
	Heading   *string      `json:"heading"`    // three figures: "058.4"
	PlusMinus *string      `json:"plus_minus"` // that holds 95 %
	Unit      *string      `json:"unit"`
	Name      *string      `json:"name"` // "heading", or "corrected heading"
	Turn      *string      `json:"turn"`
	Course    *string      `json:"course"`
	Compass   *string      `json:"compass"`
	Steer     *string      `json:"steer_compass"` // what the compass shows on the course
	Grid      *string      `json:"grid"`
	Magnetic  *string      `json:"magnetic"`
	By        *string      `json:"by"`
	Sky       *string      `json:"sky"`
	Clock     *string      `json:"clock"` // how far the shadow checks the clock
	LocalTime *string      `json:"local_time"`
	LocalDate *string      `json:"local_date"`
	UTCOffset string       `json:"utc_offset"`
	Place     *string      `json:"place"`
	Refused   *refusal     `json:"refused"`
	Warnings  []saidWarn   `json:"warnings"`
	Budget    []budgetTerm `json:"budget"`
	Notes     []string     `json:"notes"` // of the budget
	TimeNote  *string      `json:"time_note"`
	PlaceNote *string      `json:"place_note"`
	// Offered is a time that would do, if somebody knew that it is right: "trust_file_time".
	Offered *offer `json:"offered_time"`
	// OfferedOffset is a UTC offset that would do, if somebody knew that the camera's clock was
	// at it: "trust_utc_offset".
	OfferedOffset *string `json:"offered_utc_offset"`
}

type refusal struct {
	Code    string `json:"code"`
	Message string `json:"message"`
	Todo    string `json:"todo"` // may be empty
}

type saidWarn struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

type budgetTerm struct {
	Name    string  `json:"name"`
	Label   string  `json:"label"`
	Meaning string  `json:"meaning"`
	Sigma   string  `json:"sigma"` // degrees
	Share   float64 `json:"share"` // of the sum of squares
}

type offer struct {
	LocalTime string `json:"local_time"`
	LocalDate string `json:"local_date"`
	UTCOffset string `json:"utc_offset"`
}

func (k *kept) sayReading(r *reading.Result, when moment, where spot, c clocks) saidReading {
	zone, _ := c.zone()
	s := saidReading{Status: "ok", UTCOffset: geo.FormatOffset(zone), Warnings: saidWarnings(r.Warnings), Budget: []budgetTerm{}, Notes: []string{},
		TimeNote: when.told(r), PlaceNote: where.told(r)}
	if t := r.Instant; t != nil {
		local := t.UTC.In(c.zoneOf().Location)
		s.LocalTime, s.LocalDate = new(local.Format(time.TimeOnly)), new(local.Format(time.DateOnly))
	}
	if p := r.Place; p != nil {
		s.Place = new(k.position(p.Position))
	}
	if sky := r.Sky; sky != nil {
		s.By, s.Sky = new(sky.Body.String()), new(fmt.Sprintf("%s, altitude %s°, azimuth %s°", sky.Body, wording.Fixed(sky.Altitude, 1), wording.Three(sky.Azimuth, 1)))
	}
	if text := telling.Clock(r); text != "" {
		s.Clock = new(onPage(text))
	}
	if r.Course != nil {
		s.Course = new(wording.Three(*r.Course, 1))
	}
	if !r.OK() {
		s.Status, s.Refused = "refused", refusalOf(string(r.Reason), r.Message)
		if m := when.offered; m != nil && (r.Reason == reading.NoTime || r.Reason == reading.TimeConflict) {
			local := m.In(c.zoneOf().Location)
			s.Offered = &offer{local.Format(time.TimeOnly), local.Format(time.DateOnly), geo.FormatOffset(zone)}
		}
		if m := when.offeredOffset; m != nil && r.Reason == reading.NoTime {
			s.OfferedOffset = new(geo.FormatOffset(*m))
		}
		return s
	}
	s.heading(r)
	return s
}

// heading says the heading by all its norths, with what makes up its uncertainty.
func (s *saidReading) heading(r *reading.Result) {
	n := wording.SteerPlaces(r.Sigma)
	s.Heading, s.PlusMinus = new(wording.Three(*r.Heading, n)), new(wording.Fixed(wording.Within95(r.Sigma), n))
	s.Unit, s.Name = new("° true"), new(telling.HeadingName(r))
	if r.Come != nil {
		s.Turn = new(wording.Turn(*r.Come, n))
	}
	said := func(u *reading.Uncertain) *string {
		if u == nil {
			return nil
		}
		return new(telling.With(*u))
	}
	compass := r.Compass
	s.Compass, s.Steer, s.Grid, s.Magnetic = said(compass.Deviated), said(compass.Steer), said(compass.Grid), said(compass.Magnetic)
	terms := r.Budget.Terms()
	slices.SortStableFunc(terms, func(a, b reading.Term) int { return cmp.Compare(b.Sigma, a.Sigma) })
	for _, t := range terms {
		share := float64(t.Sigma * t.Sigma / (r.Sigma * r.Sigma))
		s.Budget = append(s.Budget, budgetTerm{t.Name, wording.Term(t.Name), telling.Meaning(r, t.Name), wording.Fixed(t.Sigma, 3), wording.Round(min(1, share), 3)})
	}
	if i := r.Instrument; i != nil {
		s.Notes = append(s.Notes, telling.Instrument(i, r.Correction))
	}
	if r.Tilt != nil {
		s.Notes = append(s.Notes, "board: "+telling.Board(r))
	}
	s.Notes = append(s.Notes, onPageAll(telling.Doubts(r))...)
}

// refusalOf parts what is wrong from what to do, as far as the sentence has two parts.
func refusalOf(code, text string) *refusal {
	text = onPage(text)
	message, todo := text, ""
	for _, mark := range []string{": ", "; ", ". "} {
		if before, after, ok := strings.Cut(text, mark); ok && len(before) < len(message) {
			message, todo = before, upper(after)
		}
	}
	return &refusal{code, message, todo}
}

func upper(s string) string {
	for i, r := range s {
		return strings.ToUpper(string(r)) + s[i+len(string(r)):]
	}
	return s
}

func saidWarnings(list []photo.Warning) []saidWarn {
	out := []saidWarn{}
	for _, w := range list {
		out = append(out, saidWarn{w.Code, onPage(w.Message)})
	}
	return out
}

// saidSteer is what to steer in the words that the page shows.
type saidSteer struct {
	Status     string       `json:"status"`
	Number     *string      `json:"number"` // three figures and a tenth: "350.2"
	Course     string       `json:"course"`
	PlusMinus  *string      `json:"plus_minus"` // with which the course is held
	Held       *string      `json:"held"`       // both: "058.0° true ± 1.2°"
	To         *string      `json:"to"`
	Changes    []saidChange `json:"changes"`
	Until      *string      `json:"until"`
	From       *string      `json:"from"`
	Usable     string       `json:"usable"`
	Turn       *string      `json:"turn"`
	Heading    *string      `json:"heading"` // of the number read by eye
	By         *string      `json:"by"`
	Sky        *string      `json:"sky"`
	Correction *string      `json:"correction"`
	Compass    *string      `json:"compass"`
	Grid       *string      `json:"grid"`
	LocalTime  string       `json:"local_time"`
	UTCOffset  string       `json:"utc_offset"`
	Place      *string      `json:"place"`
	PlaceNote  *string      `json:"place_note"`
	Warnings   []saidWarn   `json:"warnings"`
	Refused    *refusal     `json:"refused"`
	NextMS     int64        `json:"next_ms"` // when to ask again, as this device's clock shows it
}

type saidChange struct {
	LocalTime string `json:"local_time"`
	Number    string `json:"number"`
	TimeMS    int64  `json:"time_ms"`
}

func (k *kept) saySteer(now *steering.Steer, where spot, c clocks, to *string) saidSteer {
	zone := c.zoneOf()
	offset, _ := c.zone()
	fast := time.Duration(0)
	if c.clockError != nil {
		fast = *c.clockError
	}
	r := now.Reading
	s := saidSteer{Status: "ok", Course: wording.Three(now.Course, 1), To: to, Changes: []saidChange{}, Usable: zone.Usable(now),
		LocalTime: now.Time.In(zone.Location).Format(time.TimeOnly), UTCOffset: geo.FormatOffset(offset), PlaceNote: where.told(r),
		Warnings: saidWarnings(now.Warnings), NextMS: nextAfter(now).Add(fast).UnixMilli()}
	if p := r.Place; p != nil {
		s.Place = new(k.position(p.Position))
	}
	if r.Sky != nil {
		s.By, s.Sky = new(r.Sky.Body.String()), new(telling.Sky(now))
	}
	for _, change := range now.Changes {
		s.Changes = append(s.Changes, saidChange{change.Time.In(zone.Location).Format(time.TimeOnly), fmt.Sprintf("%03d", change.Number), change.Time.Add(fast).UnixMilli()})
	}
	for said, text := range map[**string]string{&s.Compass: telling.Compass(now), &s.Grid: telling.Grid(now)} {
		if text != "" {
			*said = new(text)
		}
	}
	if g := now.Given; g != nil && g.OK() {
		s.Turn = new(wording.Turn(*g.Come, wording.SteerPlaces(g.Sigma)))
		s.Heading = new(wording.Steer(*g.Heading, g.Sigma))
	}
	if !now.OK() {
		s.Status, s.Refused = "refused", refusalOf(string(r.Reason), r.Message)
		if now.Serving.From != nil {
			s.From = new(zone.Usable(now))
		}
		return s
	}
	n := wording.SteerPlaces(r.Sigma)
	s.Number, s.Held = new(telling.Number(now)), new(telling.Course(now))
	s.PlusMinus = new(wording.Fixed(min(wording.Within95(r.Sigma), 180*angle.Degree), n))
	if now.Serving.Until != nil {
		s.Until = new(zone.Usable(now))
	}
	if i := r.Instrument; i != nil {
		s.Correction = new(telling.Instrument(i, r.Correction))
	}
	return s
}

// entriesError is a fault of a kept reading.
func entriesError(id, format string, args ...any) error {
	return fault.New("bad_kept", "leave that reading out", "the kept reading %.60s: %s", id, fmt.Sprintf(format, args...))
}
