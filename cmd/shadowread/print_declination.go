package main

import (
	"fmt"
	"strconv"
	"time"

	"shadowread/internal/compass"
	"shadowread/internal/geomag"
	"shadowread/internal/reading"
	"shadowread/internal/wording"
)

// declinationResult is what was observed and what the model gives; nil where not known.
type declinationResult struct {
	observed   *compass.ObservedDeclination
	shared     compass.Shared
	model      *reading.Declination
	comparison *compass.Comparison
}

// nameOutliers says which readings the others contradict.
func (d *declinationResult) nameOutliers(s *streams, file string) {
	for _, t := range d.observed.Terms {
		if t.Outlier {
			s.note("outlier", "%s line %d is out of line with the others by %s: read it again or leave it out; until then its scatter is in the sigma",
				file, t.Line, wording.Signed(t.Apart, 1))
		}
	}
}

func (d *declinationResult) compare() {
	if d.observed == nil || d.model == nil {
		return
	}
	f := *d.model.Field
	f.DeclinationSigma = d.model.Sigma // with the position's share
	d.comparison = new(d.observed.Compare(f))
}

// The JSON object of shadowread declination.
type (
	declinationJSON struct {
		Signs      string             `json:"signs"`
		Observed   *observedJSON      `json:"observed"`
		Model      *modelJSON         `json:"model"`
		Comparison *comparisonJSON    `json:"comparison"`
		Readings   []declinationEntry `json:"readings"`
	}
	observedJSON struct {
		Declination float64 `json:"declination_deg"`
		Sigma       float64 `json:"declination_sigma_deg"`
		Readings    int     `json:"readings"`
		Scatter     float64 `json:"scatter"`
		OneSided    float64 `json:"one_sided"`
		Constant    float64 `json:"shared_constant_deg"`
		Lean        float64 `json:"shared_lean_deg"`
	}
	modelJSON struct {
		Name        string      `json:"name"`
		Time        string      `json:"time_utc"`
		Latitude    float64     `json:"latitude_deg"`
		Longitude   float64     `json:"longitude_deg"`
		Elevation   float64     `json:"elevation_m"`
		Declination float64     `json:"declination_deg"`
		Sigma       float64     `json:"declination_sigma_deg"`
		Published   float64     `json:"published_sigma_deg"`
		Change      float64     `json:"change_deg_per_year"`
		Inclination float64     `json:"inclination_deg"`
		Horizontal  float64     `json:"horizontal_nt"`
		Total       float64     `json:"total_nt"`
		Zone        geomag.Zone `json:"zone"`
	}
	comparisonJSON struct {
		Difference float64         `json:"difference_deg"`
		Sigma      float64         `json:"difference_sigma_deg"`
		Sigmas     float64         `json:"sigmas"`
		Agree      bool            `json:"agree"`
		Causes     []compass.Cause `json:"causes"`
	}
	declinationEntry struct {
		Line         *int    `json:"line"`
		Photo        *string `json:"photo"`
		True         float64 `json:"true_deg"`
		TrueSigma    float64 `json:"true_sigma_deg"`
		Compass      float64 `json:"compass_deg"`
		CompassSigma float64 `json:"compass_sigma_deg"`
		Declination  float64 `json:"declination_deg"`
		Apart        float64 `json:"apart_deg"`
		Outlier      bool    `json:"outlier"`
	}
)

func (d *declinationResult) json() declinationJSON {
	out := declinationJSON{Signs: "east positive; declination = true - compass; magnetic = true - declination", Readings: []declinationEntry{}}
	if o := d.observed; o != nil {
		out.Observed = &observedJSON{wording.Degrees(o.Declination, 4), wording.Degrees(o.Sigma, 4), len(o.Terms), wording.Round(o.Scatter, 4), wording.Round(o.OneSided, 4), wording.Degrees(d.shared.Constant, 4), wording.Degrees(d.shared.Lean, 4)}
		for _, t := range o.Terms {
			out.Readings = append(out.Readings, declinationEntry{lineOf(t.Sighting), photoOf(t.Sighting), wording.BearingDegrees(t.Heading, 4), wording.Degrees(t.HeadingSigma, 4),
				wording.BearingDegrees(t.Compass, 4), wording.Degrees(t.CompassSigma, 4), wording.Degrees(t.Declination, 4), wording.Degrees(t.Apart, 4), t.Outlier})
		}
	}
	if m := d.model; m != nil {
		f := m.Field
		out.Model = &modelJSON{"World Magnetic Model 2025", f.Time.Format(time.RFC3339Nano), wording.Round(f.Position.Lat.Degrees(), 7), wording.Round(f.Position.Lon.Degrees(), 7), f.HeightMetres,
			wording.Degrees(m.Value, 4), wording.Degrees(m.Sigma, 4), wording.Degrees(f.DeclinationSigma, 4), wording.Degrees(f.DeclinationChange, 4), wording.Degrees(f.Inclination, 4), wording.Round(float64(f.Horizontal), 1), wording.Round(float64(f.Total), 1), f.Zone}
	}
	if c := d.comparison; c != nil {
		out.Comparison = &comparisonJSON{wording.Degrees(c.Difference, 4), wording.Degrees(c.Sigma, 4), wording.Round(c.Sigmas, 2), c.Agree, append([]compass.Cause{}, c.Causes...)}
	}
	return out
}

// pipe is one record of values.
func (d *declinationResult) pipe() []string {
	cells := make([]string, 9)
	if o := d.observed; o != nil {
		cells[0], cells[1], cells[2] = wording.Fixed(o.Declination, 4), wording.Fixed(o.Sigma, 4), strconv.Itoa(len(o.Terms))
	}
	if m := d.model; m != nil {
		cells[3], cells[4], cells[5], cells[6] = wording.Fixed(m.Value, 4), wording.Fixed(m.Sigma, 4), wording.Fixed(m.Field.DeclinationChange, 4), m.Field.Zone.String()
	}
	if c := d.comparison; c != nil {
		cells[7], cells[8] = wording.Fixed(c.Difference, 4), strconv.FormatFloat(c.Sigmas, 'f', 2, 64)
	}
	return cells
}

func (d *declinationResult) output(s *streams) error {
	switch {
	case s.json:
		return s.printJSON(d.json())
	case !s.outTTY:
		return (&table{s: s, pipe: "declination"}).row("", d.pipe()...)
	}
	line := func(label, format string, args ...any) {
		fmt.Fprintf(s.out, "%-12s %s\n", label, fmt.Sprintf(format, args...))
	}
	fmt.Fprintln(s.out, s.paint(dim, "east positive; declination = true − compass; magnetic = true − declination; ± holds 95 %"))
	if o := d.observed; o != nil {
		line("observed", "%s, from %s", s.paint(bold, wording.EastWest(o.Declination, o.Sigma)), wording.Count(len(o.Terms), "reading"))
	}
	if m := d.model; m != nil {
		f := m.Field
		line("model", "%s, World Magnetic Model 2025", wording.EastWest(m.Value, m.Sigma))
		line("", "at %s, %g m, %s; it changes by %s a year", f.Position, f.HeightMetres, f.Time.Format("2006-01-02 15:04 UTC"), wording.Signed(f.DeclinationChange, 2))
		line("", "horizontal field %.0f nT, inclination %s", float64(f.Horizontal), wording.Signed(f.Inclination, 1))
		if text := reading.ZoneText(*f); text != "" {
			fmt.Fprintf(s.out, "%s\n%s\n", s.paint(yellow, "warning magnetic_"+f.Zone.String()), s.wrap(2, text))
		}
	}
	if c := d.comparison; c != nil {
		verdict := "they agree"
		if !c.Agree {
			verdict = s.paint(red, "they do not agree")
		}
		line("difference", "%s, %.1f sigmas: %s", signed95(c.Difference, c.Sigma), c.Sigmas, verdict)
		for i, cause := range c.Causes {
			if i == 0 {
				fmt.Fprintln(s.out, "likely causes, the most telling first:")
			}
			fmt.Fprintln(s.out, s.wrap(2, cause.Text))
		}
	}
	if d.observed == nil || len(d.observed.Terms) < 2 {
		return nil
	}
	return readingsTable(s, d.observed.Terms)
}

// readingsTable lists what each reading says.
func readingsTable(s *streams, terms []compass.DeclinationTerm) error {
	fmt.Fprintln(s.out)
	t := table{s: s, columns: []column{
		{head: "line", right: true}, {head: "true°", right: true, width: 6}, {head: "compass°", right: true}, {head: "declination°", right: true}, {head: "apart°", right: true}, {head: "notes"},
	}}
	for _, x := range terms {
		st, notes := style(""), plain(x.Photo)
		if x.Outlier {
			st, notes = red, outlierNote(notes)
		}
		err := t.row(st, strconv.Itoa(x.Line), wording.Three(x.Heading, 1), wording.Three(x.Compass, 1), wording.SignedNumber(x.Declination.Degrees(), 1), wording.SignedNumber(x.Apart.Degrees(), 1), notes)
		if err != nil {
			return err
		}
	}
	return nil
}
