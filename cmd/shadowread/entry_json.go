package main

import (
	"time"

	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/wording"
	"shadowread/internal/workup"
)

// The JSON objects of shadowread log. Angles are degrees, lengths metres, times UTC.
type (
	entryJSON struct {
		Entry        int            `json:"entry"`
		Journey      int            `json:"journey"`
		Kind         logbook.Kind   `json:"kind"`
		Time         time.Time      `json:"time_utc"`
		Written      time.Time      `json:"written_utc"`
		Offset       *float64       `json:"utc_offset_s"` // by which the time was said; null: not known
		Supersedes   *int           `json:"supersedes"`
		SupersededBy *int           `json:"superseded_by"`
		Note         string         `json:"note"`
		Way          *wayJSON       `json:"way"`
		How          *logbook.How   `json:"how"` // of a leg's heading
		Heading      *float64       `json:"heading_true_deg"`
		HeadingSigma *float64       `json:"heading_sigma_deg"`
		Grid         *float64       `json:"heading_grid_deg"` // null away from the poles
		NeedsHeading bool           `json:"needs_heading"`
		Photo        *logbook.Photo `json:"photo"`
		Position     *spotJSON      `json:"position"` // of a departure or fix
		Source       *string        `json:"source"`
		Confirmed    *bool          `json:"confirmed"` // of a fix
		Legs         []shortLegJSON `json:"legs"`      // of a detour
		Reads        *string        `json:"reads"`     // of a new odometer
		Body         *string        `json:"body"`      // sun or moon, of a leg by the dial
		Number       *float64       `json:"number_deg"`
		// Settings are those of a departure, or of an entry of their own, by the keys of the
		// file that a phone takes.
		Settings *settingsJSON `json:"settings"`
	}
	shortLegJSON struct {
		Heading float64  `json:"heading_true_deg"`
		Sigma   float64  `json:"heading_sigma_deg"`
		Way     *wayJSON `json:"way"`
	}
	wayJSON struct {
		Odometer      *string  `json:"odometer"` // as given, with its unit
		RolledOver    *int     `json:"rolled_over_digits"`
		Speed         *float64 `json:"speed_kmh"`
		SpeedSigma    *float64 `json:"speed_sigma_kmh"`
		UnderWay      *float64 `json:"under_way_s"`
		Distance      *float64 `json:"distance_m"`
		DistanceSigma *float64 `json:"distance_sigma_m"`
		Stood         bool     `json:"stood"`
	}
	spotJSON struct {
		Latitude  float64      `json:"latitude_deg"`
		Longitude float64      `json:"longitude_deg"`
		Sigma     *float64     `json:"sigma_m"`    // on each axis, of what was given
		Ellipse   *ellipseJSON `json:"ellipse_95"` // of what was worked up
	}
	ellipseJSON struct {
		Major   float64 `json:"semi_major_m"`
		Minor   float64 `json:"semi_minor_m"`
		Bearing float64 `json:"major_bearing_deg"`
	}
	closingJSON struct {
		Distance float64 `json:"distance_m"` // from the estimate to the fix
		Bearing  float64 `json:"bearing_deg"`
		PerCent  float64 `json:"per_cent_of_run"`
		Run      float64 `json:"run_m"`
		Sigmas   float64 `json:"sigmas"`
		Used     bool    `json:"used"`
	}
	addedJSON struct {
		entryJSON
		Estimate *spotJSON    `json:"estimate"` // null if the position is lost
		Lost     *string      `json:"lost"`
		Closing  *closingJSON `json:"closing"`
		Since    *float64     `json:"since_last_s"`  // the entry before
		Run      *float64     `json:"run_m"`         // since then, as logged
		Later    *closingJSON `json:"later_closing"` // of a correction: what the last fix after it shows now
		// Suspects would each close a fix of three sigma or more.
		Suspects []suspectJSON `json:"suspects"`
	}
	listedJSON struct {
		entryJSON
		Estimated *spotJSON    `json:"estimated"` // on the way
		Adjusted  *spotJSON    `json:"adjusted"`  // by all fixes
		Closing   *closingJSON `json:"closing"`
	}
)

func metres(m geo.Metres) float64 { return wording.Round(float64(m), 2) }

func positive(n int) *int {
	if n == 0 {
		return nil
	}
	return &n
}

func spotOf(p geo.Position, sigma geo.Metres) *spotJSON {
	return &spotJSON{Latitude: wording.Round(p.Lat.Degrees(), 7), Longitude: wording.Round(p.Lon.Degrees(), 7), Sigma: new(metres(sigma))}
}

func workedSpot(p geo.Position, c workup.Cov) *spotJSON {
	s := spotOf(p, 0)
	s.Sigma, s.Ellipse = nil, new(ellipseOf(c.Ellipse95()))
	return s
}

func ellipseOf(e workup.Ellipse) ellipseJSON {
	return ellipseJSON{metres(e.Major), metres(e.Minor), wording.BearingDegrees(e.Bearing, 4)}
}

func closingOf(c *workup.Closing) *closingJSON {
	if c == nil {
		return nil
	}
	return &closingJSON{metres(c.Distance), wording.BearingDegrees(c.Bearing, 4), wording.Round(c.PerCent, 3), metres(c.Run), wording.Round(c.Sigmas, 3), c.Used}
}

func wayOf(r logbook.Run) *wayJSON {
	w := &wayJSON{Stood: r.Stood}
	if o := r.Odometer; o != nil {
		w.Odometer, w.RolledOver = new(o.String()), positive(o.RolledOver)
	}
	if v := r.Speed; v != nil {
		w.Speed = new(wording.Round(float64(v.Mean)*3.6, 4))
		if v.Sigma > 0 {
			w.SpeedSigma = new(wording.Round(float64(v.Sigma)*3.6, 4))
		}
		if v.For > 0 {
			w.UnderWay = new(v.For.Seconds())
		}
	}
	if d := r.Distance; d != nil {
		w.Distance = new(metres(d.Length))
		if d.Sigma > 0 {
			w.DistanceSigma = new(metres(d.Sigma))
		}
	}
	return w
}

func entryOf(e *logbook.Entry) entryJSON {
	out := entryJSON{
		Entry: e.Number, Journey: e.Journey, Kind: e.Kind(), Time: e.Time.UTC(), Written: e.Written.UTC(), Note: e.Note,
		Supersedes: positive(e.Supersedes), SupersededBy: positive(e.SupersededBy),
	}
	if e.Offset != nil {
		out.Offset = new(e.Offset.Seconds())
	}
	if run := runOf(e.Content); run != nil {
		out.Way = wayOf(*run)
	}
	switch c := e.Content.(type) {
	case *logbook.Departure:
		out.Position, out.Source, out.Settings = spotOf(c.Position, c.Sigma), &c.Source, settingsJSONOf(c.Settings)
		if c.Odometer != nil {
			out.Way = wayOf(logbook.ByOdometer(*c.Odometer))
		}
	case *logbook.Fix:
		out.Position, out.Source, out.Confirmed = spotOf(c.Position, c.Sigma), &c.Source, &c.Confirmed
	case *logbook.Leg:
		out.How, out.Photo, out.NeedsHeading = &c.How, c.Photo, c.NeedsHeading()
		if h := headingOf(c); h != nil {
			out.Heading, out.HeadingSigma = new(wording.BearingDegrees(h.Heading, 4)), new(wording.Degrees(h.Sigma, 4))
		}
	case *logbook.Detour:
		for _, l := range c.Legs {
			out.Legs = append(out.Legs, shortLegJSON{wording.BearingDegrees(l.Heading.Heading, 4), wording.Degrees(l.Heading.Sigma, 4), wayOf(l.Run)})
		}
	case *logbook.Settings:
		out.Settings = settingsJSONOf(c)
	case *logbook.OdometerSet:
		out.Reads = new(c.After.String())
	}
	return out
}

// showing adds what the dial showed.
func (e *entryJSON) showing(d logbook.DialReading) {
	if d.Body != "" {
		e.Body = &d.Body
	}
	e.Number = d.Number
}

func addedOf(a logbook.Added, shown logbook.DialReading) addedJSON {
	out := addedJSON{entryJSON: entryOf(&a.Entry), Closing: closingOf(a.Closing), Later: closingOf(a.Later), Suspects: []suspectJSON{}}
	out.showing(shown)
	if !a.Before.IsZero() {
		out.Since, out.Run = new(a.Entry.Time.Sub(a.Before).Seconds()), new(metres(a.Ran))
	}
	if e := a.Estimate; e != nil {
		if a.Entry.Supersedes == 0 {
			out.Grid = gridDegreesAt(&a.Entry, e.Position)
		}
		out.Estimate = workedSpot(e.Position, e.Cov)
	}
	if a.Lost != nil {
		out.Lost = new(a.Lost.Error())
	}
	return out
}

// listed is an entry of a list, with where the work-up puts it.
type listed struct {
	*logbook.Entry
	at    *workup.Point // nil if it does not stand, or the position is lost
	shown logbook.DialReading
	// offset is from UTC, by which its time is shown; nil: UTC.
	offset *time.Duration
	set    *logbook.Settings // that hold at the end of its journey
}

func (l *listed) json() listedJSON {
	out := listedJSON{entryJSON: entryOf(l.Entry)}
	out.showing(l.shown)
	if p := l.at; p != nil {
		out.Estimated, out.Adjusted = workedSpot(p.Estimated, p.Cov), workedSpot(p.Adjusted, p.AdjustedCov)
		out.Closing, out.Grid = closingOf(p.Closing), gridDegreesAt(l.Entry, p.Adjusted)
	}
	return out
}
