package export

import (
	"encoding/csv"
	"io"
	"strconv"

	"shadowread/internal/geo"
	"shadowread/internal/journey"
	"shadowread/internal/table"
	"shadowread/internal/wording"
	"shadowread/internal/workup"
)

var csvColumns = []string{
	"entry", "kind", "time", "leg",
	"latitude", "longitude", "ellipse95_major_m", "ellipse95_minor_m", "ellipse95_bearing_deg",
	"estimated_latitude", "estimated_longitude", "estimated_major_m", "estimated_minor_m", "estimated_bearing_deg",
	"compass_rule_latitude", "compass_rule_longitude",
	"fix_latitude", "fix_longitude", "fix_sigma_m", "fix_source", "fix_used", "closing_m", "closing_bearing_deg", "closing_per_cent",
	"note",
}

// writeCSV writes a line for each entry (RFC 4180): adjusted, estimated and by the
// compass rule; what is not known is empty, and a note or source that a spreadsheet
// would take for a formula is led by an apostrophe.
func writeCSV(w io.Writer, j *journey.Journey, _ string) error {
	c := csv.NewWriter(w)
	if err := c.Write(csvColumns); err != nil {
		return err
	}
	for i := range j.Points {
		p := &j.Points[i]
		row := []string{strconv.Itoa(p.Entry), string(p.Kind), timestamp(p.Time), ""}
		if p.Leg > 0 {
			row[3] = strconv.Itoa(p.Leg)
		}
		if at := p.At; at != nil {
			row = append(append(row, place(at.Adjusted)...), ellipse(at.AdjustedCov)...)
			row = append(append(row, place(at.Estimated)...), ellipse(at.Cov)...)
			row = append(row, place(at.Proportional)...)
		} else {
			row = append(row, make([]string, 12)...)
		}
		row = append(row, fixFields(p.Fix)...)
		if err := c.Write(append(row, table.SafeCell(p.Note))); err != nil {
			return err
		}
	}
	c.Flush()
	return c.Error()
}

func fixFields(f *journey.Fix) []string {
	fields := make([]string, 8)
	if f == nil {
		return fields
	}
	copy(fields, place(f.Position))
	copy(fields[2:], []string{decimal(float64(f.Sigma), 1), table.SafeCell(f.Source), strconv.FormatBool(f.Used())})
	if c := f.Closing; c != nil {
		copy(fields[5:], []string{decimal(float64(c.Distance), 1), wording.Bearing(c.Bearing, 1), decimal(c.PerCent, 2)})
	}
	return fields
}

func place(p geo.Position) []string {
	return []string{decimal(latitude(p), 7), decimal(longitude(p), 7)}
}

func ellipse(c workup.Cov) []string {
	e := c.Ellipse95()
	return []string{decimal(float64(e.Major), 1), decimal(float64(e.Minor), 1), wording.Bearing(e.Bearing, 1)}
}

func decimal(v float64, places int) string { return strconv.FormatFloat(v, 'f', places, 64) }
