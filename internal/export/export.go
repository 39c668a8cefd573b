// Package export hands a journey over to other programs, as GPX 1.1, GeoJSON, KML 2.2
// and CSV, and takes in the track of a receiver to compare the log with.
//
// Files hold the positions as adjusted by all fixes; GeoJSON, KML and CSV those as
// estimated on the way too. Coordinates are degrees on WGS84 to seven decimals, a
// centimetre. Controls in notes and names, which drive a terminal that a file is shown on, are
// escaped in JSON, and elsewhere U+FFFD is left of them. Points of a track are the log's
// entries: between two the way is a rhumb line, which GeoJSON and KML readers draw as their
// own straight line. The bytes depend on the journey alone.
package export

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/journey"
	"shadowread/internal/wording"
	"shadowread/internal/workup"
)

// Format is a kind of file.
type Format string

// The formats that can be written.
const (
	GPX     Format = "gpx"
	GeoJSON Format = "geojson"
	KML     Format = "kml"
	CSV     Format = "csv"
)

var writers = map[Format]func(io.Writer, *journey.Journey, string) error{
	GPX: writeGPX, GeoJSON: writeGeoJSON, KML: writeKML, CSV: writeCSV,
}

// ParseFormat returns the format of a name, or of a file name's extension, in any case.
// It fails with code "bad_format".
func ParseFormat(name string) (Format, error) {
	f := Format(strings.ToLower(strings.TrimPrefix(name, ".")))
	if _, ok := writers[f]; !ok {
		return "", fault.New("bad_format", "give gpx, geojson, kml or csv", "format %.40q is not known", name)
	}
	return f, nil
}

// Write writes a journey in a format; name is what it is called in the file. It fails
// with code "bad_format", "nothing_to_write" if no position is known, or as w does.
func Write(w io.Writer, f Format, j *journey.Journey, name string) error {
	write, ok := writers[f]
	if !ok {
		_, err := ParseFormat(string(f))
		return err
	}
	if len(j.Adjusted()) == 0 {
		return fault.New("nothing_to_write", "log a fix, or correct the entry at which the position was lost", "no position of the journey is known")
	}
	var b bytes.Buffer
	if err := write(&b, j, name); err != nil {
		return err
	}
	_, err := w.Write(bytes.Map(wording.Printed, b.Bytes()))
	return err
}

// round7 rounds degrees to what is written, 1 cm.
func round7(degrees float64) float64 { return wording.Round(degrees, 7) }

func latitude(p geo.Position) float64 { return round7(p.Lat.Degrees()) }

// longitude returns degrees in [-180, 180): the 180th meridian counts as west, which
// GPX prescribes and the others allow.
func longitude(p geo.Position) float64 {
	if d := round7(p.Lon.Degrees()); d < 180 {
		return d
	}
	return -180
}

func timestamp(t time.Time) string { return t.UTC().Format(time.RFC3339Nano) }

// title names a point for people.
func title(p *journey.Point) string {
	switch {
	case p.Fix != nil:
		return fmt.Sprintf("fix %d", p.Fix.Number)
	case p.Kind == "leg":
		return fmt.Sprintf("leg %d", p.Leg)
	}
	return strings.ReplaceAll(string(p.Kind), "_", " ")
}

// describe says in words how sure a position is, and what a fix showed.
func describe(p *journey.Point, e workup.Ellipse) string {
	parts := []string{fmt.Sprintf("Entry %d. 95 %% ellipse %s.", p.Entry, ellipseWords(e))}
	if f := p.Fix; f != nil {
		parts = append(parts, fmt.Sprintf("Fix good to %.0f m (one sigma per axis).", float64(f.Sigma)))
		if c := f.Closing; c != nil {
			parts = append(parts, fmt.Sprintf("Closing error %.0f m on %03.0f°, %.1f %% of the distance run.", float64(c.Distance), wording.BearingDegrees(c.Bearing, 0), c.PerCent))
		}
		if !f.Used() {
			parts = append(parts, "Not used.")
		}
	}
	if p.Note != "" {
		parts = append(parts, p.Note)
	}
	return strings.Join(parts, " ")
}

func ellipseWords(e workup.Ellipse) string {
	return fmt.Sprintf("%.0f m by %.0f m (semi-axes), long axis on %03.0f°", float64(e.Major), float64(e.Minor), math.Mod(math.Round(e.Bearing.Degrees()), 180))
}
