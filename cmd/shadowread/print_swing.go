package main

import (
	"fmt"
	"strconv"

	"shadowread/internal/angle"
	"shadowread/internal/compass"
	"shadowread/internal/reading"
	"shadowread/internal/wording"
)

// swingResult is what a swing says.
type swingResult struct {
	analysis    compass.Analysis
	declination *reading.Declination // nil where all headings are magnetic
	card        *compass.Card        // nil where there is none
}

var coefficientNames = [...]string{compass.A: "A", compass.B: "B", compass.C: "C", compass.D: "D", compass.E: "E"}

// The JSON object of shadowread swing.
type (
	swingJSON struct {
		Signs             string            `json:"signs"`
		Declination       *float64          `json:"declination_deg"`
		DeclinationSigma  *float64          `json:"declination_sigma_deg"`
		DeclinationSource *string           `json:"declination_source"`
		Coefficients      []coefficientJSON `json:"coefficients"`
		Correlation       [][]float64       `json:"correlation"`
		Freedom           int               `json:"degrees_of_freedom"`
		RMS               *float64          `json:"residual_rms_deg"` // null where nothing checks the fit
		Scatter           *float64          `json:"scatter"`
		Remarks           []string          `json:"remarks"`
		Readings          []swingEntry      `json:"readings"`
		ByMagnetic        []cardLine        `json:"by_magnetic"` // null without a card
		ByCompass         []cardLine        `json:"by_compass"`
	}
	coefficientJSON struct {
		Name        string   `json:"name"`
		Value       *float64 `json:"value_deg"` // null where meaningless
		Sigma       *float64 `json:"sigma_deg"`
		Meaningless bool     `json:"meaningless"`
		Handbook    *float64 `json:"handbook_deg"` // null unless the eight main headings were read
	}
	swingEntry struct {
		Line         *int     `json:"line"`
		Photo        *string  `json:"photo"`
		Compass      float64  `json:"compass_deg"`
		CompassSigma float64  `json:"compass_sigma_deg"`
		True         *float64 `json:"true_deg"` // null for a magnetic heading
		Magnetic     float64  `json:"magnetic_deg"`
		HeadingSigma float64  `json:"heading_sigma_deg"`
		Deviation    float64  `json:"deviation_deg"`
		Residual     float64  `json:"residual_deg"`
		Apart        float64  `json:"apart_deg"`
		Outlier      bool     `json:"outlier"`
	}
	cardLine struct {
		Magnetic  float64 `json:"magnetic_deg"`
		Compass   float64 `json:"compass_deg"`
		Deviation float64 `json:"deviation_deg"`
		Sigma     float64 `json:"sigma_deg"`
	}
)

func (r *swingResult) json() swingJSON {
	a := r.analysis
	out := swingJSON{Signs: compass.Signs, Freedom: a.Freedom, Remarks: append([]string{}, a.Remarks...)}
	if d := r.declination; d != nil {
		out.Declination, out.DeclinationSigma, out.DeclinationSource = new(wording.Degrees(d.Value, 4)), new(wording.Degrees(d.Sigma, 4)), new(d.Source())
	}
	if a.Freedom > 0 {
		out.RMS, out.Scatter = new(wording.Degrees(a.ResidualRMS, 4)), new(wording.Round(a.Scatter, 4))
	}
	for k, name := range coefficientNames {
		c := coefficientJSON{Name: name, Meaningless: a.Meaningless[k]}
		if !c.Meaningless {
			c.Value, c.Sigma = new(wording.Degrees(a.Coefficients[k], 4)), new(wording.Degrees(a.Sigmas[k], 4))
		}
		if a.Handbook != nil {
			c.Handbook = new(wording.Degrees(a.Handbook[k], 4))
		}
		out.Coefficients = append(out.Coefficients, c)
		var row []float64
		for _, v := range a.Correlation[k] {
			row = append(row, wording.Round(v, 4))
		}
		out.Correlation = append(out.Correlation, row)
	}
	for _, x := range a.Readings {
		e := swingEntry{lineOf(x.Sighting), photoOf(x.Sighting), wording.BearingDegrees(x.Compass, 4), wording.Degrees(x.CompassSigma, 4), nil, wording.BearingDegrees(x.Magnetic, 4),
			wording.Degrees(x.HeadingSigma, 4), wording.Degrees(x.Deviation, 4), wording.Degrees(x.Residual, 4), wording.Degrees(x.Apart, 4), x.Outlier}
		if x.Reference == compass.FromTrueNorth {
			e.True = new(wording.BearingDegrees(x.Heading, 4))
		}
		out.Readings = append(out.Readings, e)
	}
	if r.card != nil {
		out.ByMagnetic, out.ByCompass = cardLines(r.card.ByMagnetic()), cardLines(r.card.ByCompass())
	}
	return out
}

func cardLines(lines []compass.Line) (out []cardLine) {
	for _, l := range lines {
		out = append(out, cardLine{wording.BearingDegrees(l.Magnetic, 4), wording.BearingDegrees(l.Compass, 4), wording.Degrees(l.Deviation, 4), wording.Degrees(l.Sigma, 4)})
	}
	return out
}

func (r *swingResult) output(s *streams) error {
	switch {
	case s.json:
		return s.printJSON(r.json())
	case !s.outTTY:
		return r.pipe(s)
	}
	return r.forPeople(s)
}

// pipe prints records of several kinds; the first cell names it. What limits the swing
// is noted.
func (r *swingResult) pipe(s *streams) error {
	for _, remark := range r.analysis.Remarks {
		s.note("swing_remark", "%s", remark)
	}
	t := &table{s: s, pipe: "swing"}
	j := r.json()
	yes := func(b bool, text string) string {
		if b {
			return text
		}
		return ""
	}
	var rows [][]string
	for _, c := range j.Coefficients {
		rows = append(rows, []string{"coefficient", c.Name, decimal(c.Value, 4), decimal(c.Sigma, 4), decimal(c.Handbook, 4), yes(c.Meaningless, "meaningless")})
	}
	for _, x := range r.analysis.Readings {
		rows = append(rows, []string{"reading", strconv.Itoa(x.Line), wording.Bearing(x.Compass, 4), wording.Bearing(x.Magnetic, 4), wording.Fixed(x.Deviation, 4), wording.Fixed(x.Residual, 4), yes(x.Outlier, "outlier")})
	}
	if r.card != nil {
		for _, l := range r.card.ByMagnetic() {
			rows = append(rows, []string{"steer", wording.Bearing(l.Magnetic, 4), wording.Bearing(l.Compass, 4), wording.Fixed(l.Deviation, 4), wording.Fixed(l.Sigma, 4)})
		}
		for _, l := range r.card.ByCompass() {
			rows = append(rows, []string{"read", wording.Bearing(l.Compass, 4), wording.Bearing(l.Magnetic, 4), wording.Fixed(l.Deviation, 4), wording.Fixed(l.Sigma, 4)})
		}
	}
	for _, row := range rows {
		if err := t.row("", row...); err != nil {
			return err
		}
	}
	return nil
}

func (r *swingResult) forPeople(s *streams) error {
	a := r.analysis
	fmt.Fprintf(s.out, "%s\n\n", s.paint(dim, s.wrap(0, compass.Signs)))
	if d := r.declination; d != nil {
		fmt.Fprintf(s.out, "declination  %s (%s)\n\n", wording.EastWest(d.Value, d.Sigma), declinationSource(*d))
	}
	t := table{s: s, columns: []column{{head: "coefficient"}, {head: "degrees", right: true}, {head: "± 1 sigma", right: true}, {head: "handbook's half sums", right: true}, {head: "notes"}}}
	for k, name := range coefficientNames {
		cells := []string{name, wording.SignedNumber(a.Coefficients[k].Degrees(), 2), wording.Fixed(a.Sigmas[k], 2), "-", ""}
		st := style("")
		if a.Meaningless[k] {
			st, cells[1], cells[2], cells[4] = red, "-", "-", "meaningless: the headings do not determine it"
		}
		if a.Handbook != nil {
			cells[3] = wording.SignedNumber(a.Handbook[k].Degrees(), 2)
		}
		if err := t.row(st, cells...); err != nil {
			return err
		}
	}
	fmt.Fprintln(s.out)
	if a.Freedom > 0 {
		fmt.Fprintf(s.out, "residuals: %s rms over %s of freedom, %.1f times what the sigmas say\n", wording.Fixed(a.ResidualRMS, 2)+"°", wording.Count(a.Freedom, "degree"), a.Scatter)
	} else {
		fmt.Fprintln(s.out, "no more readings than coefficients: nothing checks the equation")
	}
	for _, remark := range a.Remarks {
		fmt.Fprintln(s.out, s.paint(yellow, s.wrap(0, remark)))
	}
	fmt.Fprintln(s.out)

	t = table{s: s, columns: []column{{head: "line", right: true}, {head: "compass°", right: true}, {head: "magnetic°", right: true}, {head: "deviation°", right: true}, {head: "residual°", right: true}, {head: "notes"}}}
	for _, x := range a.Readings {
		st, notes := style(""), plain(x.Photo)
		if x.Outlier {
			st, notes = red, outlierNote(notes)
		}
		if err := t.row(st, strconv.Itoa(x.Line), cardBearing(x.Compass), cardBearing(x.Magnetic), wording.SignedNumber(x.Deviation.Degrees(), 1), wording.SignedNumber(x.Residual.Degrees(), 1), notes); err != nil {
			return err
		}
	}
	if r.card == nil {
		return nil
	}
	fmt.Fprintf(s.out, "\n%s\n", s.paint(bold, "steer a magnetic heading              read a compass heading"))
	t = table{s: s, columns: []column{
		{head: "magnetic", right: true}, {head: "deviation", right: true}, {head: "compass", right: true}, {head: "±", right: true, width: 3},
		{head: "   compass", right: true}, {head: "deviation", right: true}, {head: "magnetic", right: true}, {head: "±", right: true, width: 3},
	}}
	byCompass := r.card.ByCompass()
	for i, l := range r.card.ByMagnetic() {
		m := byCompass[i]
		err := t.row("", cardBearing(l.Magnetic), wording.SignedNumber(l.Deviation.Degrees(), 1), cardBearing(l.Compass), wording.Fixed(wording.Within95(l.Sigma), 1),
			cardBearing(m.Compass), wording.SignedNumber(m.Deviation.Degrees(), 1), cardBearing(m.Magnetic), wording.Fixed(wording.Within95(m.Sigma), 1))
		if err != nil {
			return err
		}
	}
	_, err := fmt.Fprintln(s.out, s.paint(dim, "± holds 95 %, without the error of reading the compass under way"))
	return err
}

// cardBearing prints a bearing as cards do: 005.0.
func cardBearing(a angle.Angle) string { return wording.Three(a, 1) }
