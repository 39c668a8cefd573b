package export

import (
	"encoding/csv"
	"io"
	"slices"
	"strconv"

	"shadowread/internal/geo"
	"shadowread/internal/journey"
	"shadowread/internal/logimport"
	"shadowread/internal/table"
	"shadowread/internal/wording"
	"shadowread/internal/workup"
)

// csvColumns begin with the entry and what follows of it, and end with what it says. The
// note is the last.
var csvColumns = slices.Concat([]string{"entry", "kind", "time"}, logimport.DerivedColumns, logimport.CellColumns, []string{"utc_offset", "note"})

// writeCSV writes a line for each entry (RFC 4180): adjusted, estimated and by the
// compass rule, and all that logimport.Paper needs to enter it again; what is not known is
// empty, and a text that a spreadsheet would take for a formula is led by an apostrophe.
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
		said := logimport.Cells(p.Content, p.Reading)
		for _, column := range logimport.CellColumns {
			row = append(row, said[column])
		}
		offset := ""
		if p.Offset != nil {
			offset = geo.FormatOffset(*p.Offset)
		}
		if err := c.Write(append(row, offset, table.SafeCell(p.Note))); err != nil {
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
