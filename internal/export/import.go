package export

import (
	"bytes"
	"cmp"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"golang.org/x/net/html/charset"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/journey"
	"shadowread/internal/table"
	"shadowread/internal/wording"
	"shadowread/internal/workup"
)

// Limits of a receiver's track: a point a second for a week.
const (
	maxTrackBytes  = 128 << 20
	maxTrackPoints = 7 * 24 * 3600
)

// Received is a receiver's track.
type Received struct {
	Points []ReceivedPoint // in the order of their times
	// Skipped counts points without a time, or rows without a position.
	Skipped int
}

// ReceivedPoint is a position of a receiver. Line is where in the file it begins.
type ReceivedPoint struct {
	Time     time.Time // UTC
	Position geo.Position
	Name     string
	Line     int
}

// ReadGPX reads the track points of a GPX file, version 1.0 or 1.1; where there are none,
// its waypoints. Times without an offset are UTC, as GPX has them. name is the file's for
// messages, which give the line.
//
// It fails with code "unreadable_file", "file_too_large", "bad_gpx", "bad_position",
// "bad_time" or "no_track".
func ReadGPX(r io.Reader, name string) (*Received, error) {
	data, err := readBounded(r, name)
	if err != nil {
		return nil, err
	}
	d := xml.NewDecoder(bytes.NewReader(data))
	d.CharsetReader = charset.NewReaderLabel
	g := gpxReader{Decoder: d, name: name}
	tracks, waypoints := &Received{}, &Received{}
	depth := 0
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, g.bad(err)
		}
		switch t := token.(type) {
		case xml.EndElement:
			depth--
		case xml.StartElement:
			depth++
			if depth == 1 && t.Name.Local != "gpx" {
				return nil, g.bad(fmt.Errorf("it begins with <%.40s>, not <gpx>", t.Name.Local))
			}
			into := map[string]*Received{"trkpt": tracks, "wpt": waypoints}[t.Name.Local]
			if into == nil {
				continue
			}
			if err := g.point(t, into); err != nil {
				return nil, err
			}
			depth--
		}
	}
	if len(tracks.Points) == 0 && tracks.Skipped == 0 {
		tracks = waypoints
	}
	return tracks.ordered(name)
}

func readBounded(r io.Reader, name string) ([]byte, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxTrackBytes+1))
	if err != nil {
		return nil, fault.Wrap(err, "unreadable_file", "check that the file may be read", "%s cannot be read", name)
	}
	if len(data) > maxTrackBytes {
		return nil, fault.New("file_too_large", "give the track day by day", "%s is larger than %d MiB", name, maxTrackBytes>>20)
	}
	return data, nil
}

// ordered puts the points in the order of their times.
func (r *Received) ordered(name string) (*Received, error) {
	if len(r.Points) == 0 {
		hint := "record a track, with times, and save it as GPX, or as CSV with the columns time, latitude and longitude"
		if r.Skipped > 0 {
			return nil, fault.New("no_track", hint, "%s has no point with a time and a position, only %d without", name, r.Skipped)
		}
		return nil, fault.New("no_track", hint, "%s has no track", name)
	}
	slices.SortStableFunc(r.Points, func(a, b ReceivedPoint) int { return a.Time.Compare(b.Time) })
	return r, nil
}

func (r *Received) add(p ReceivedPoint, name string) error {
	if len(r.Points) >= maxTrackPoints {
		return fault.New("file_too_large", "give the track day by day, or a point a minute", "%s has more than %d points", name, maxTrackPoints)
	}
	r.Points = append(r.Points, p)
	return nil
}

type gpxReader struct {
	*xml.Decoder
	name string
}

func (g gpxReader) line() int {
	line, _ := g.InputPos()
	return line
}

func (g gpxReader) bad(err error) error {
	line := g.line()
	var s *xml.SyntaxError
	text := err.Error()
	if errors.As(err, &s) {
		line, text = s.Line, s.Msg
	}
	return fault.New("bad_gpx", "save the track again as GPX 1.1", "%s line %d: this is no GPX: %s", g.name, line, text)
}

// point reads a waypoint or a track point to its end.
func (g gpxReader) point(start xml.StartElement, into *Received) error {
	p := ReceivedPoint{Line: g.line()}
	var lat, lon string
	for _, a := range start.Attr {
		switch a.Name.Local {
		case "lat":
			lat = a.Value
		case "lon":
			lon = a.Value
		}
	}
	position, err := degrees(lat, lon)
	if err != nil {
		return at(g.name, p.Line, err)
	}
	p.Position = position
	var read struct {
		Time *string `xml:"time"`
		Name string  `xml:"name"`
	}
	if err := g.DecodeElement(&read, &start); err != nil {
		return g.bad(err)
	}
	if read.Time == nil {
		into.Skipped++
		return nil
	}
	p.Name = strings.TrimSpace(read.Name)
	utc := time.Duration(0)
	if p.Time, err = timeOf(strings.TrimSpace(*read.Time), &utc); err != nil {
		return at(g.name, p.Line, err)
	}
	return into.add(p, g.name)
}

// timeOf reads a time; the offset is for one that has none of its own.
func timeOf(text string, offset *time.Duration) (time.Time, error) {
	t, err := geo.ParseTime(text, nil)
	if err != nil && fault.Code(err) == "no_utc_offset" && offset != nil {
		t, err = geo.ParseTime(text, offset)
	}
	return t, err
}

// at says at which line of which file an error is.
func at(name string, line int, err error) error {
	return fault.New(cmp.Or(fault.Code(err), "bad_track"), fault.Hint(err), "%s line %d: %s", name, line, err)
}

// degrees reads a position in decimal degrees.
func degrees(lat, lon string) (geo.Position, error) {
	a, errA := strconv.ParseFloat(strings.TrimSpace(lat), 64)
	b, errB := strconv.ParseFloat(strings.TrimSpace(lon), 64)
	if errA != nil || errB != nil || !(math.Abs(a) <= 90) || !(math.Abs(b) <= 180) {
		return geo.Position{}, fault.New("bad_position", "latitude runs from -90 to 90 and longitude from -180 to 180, in decimal degrees",
			"latitude %.30q and longitude %.30q are no position", lat, lon)
	}
	if b == -180 {
		b = 180
	}
	return geo.Position{Lat: angle.FromDegrees(a), Lon: angle.FromDegrees(b)}, nil
}

var trackForm = table.Form{
	Columns: []string{"time", "latitude", "longitude", "name"}, Numbers: []string{"latitude", "longitude"},
	Also:      map[string]string{"lat": "latitude", "lon": "longitude"},
	Needed:    [][]string{{"time"}, {"latitude"}, {"longitude"}},
	Strangers: true, // receivers note much besides
	Names:     "time, latitude and longitude",
	MaxBytes:  maxTrackBytes, MaxRows: maxTrackPoints,
}

// ReadCSV reads a track as CSV (package table): of the columns, time (RFC 3339), latitude
// and longitude (or lat and lon, decimal degrees) must be there, name may, and others are
// passed over. offset is for times without one; may be nil.
//
// It fails with one of table.Form.Read's codes, "bad_position", "bad_time",
// "no_utc_offset" or "no_track".
func ReadCSV(r io.Reader, name string, offset *time.Duration) (*Received, error) {
	out := &Received{}
	err := trackForm.Read(r, name, func(r table.Row) (err error) {
		lat, lon, when := r.Field("latitude"), r.Field("longitude"), r.Field("time")
		if lat == "" && lon == "" || when == "" {
			out.Skipped++
			return nil
		}
		p := ReceivedPoint{Name: strings.Clone(r.Field("name")), Line: r.Line}
		if p.Position, err = degrees(lat, lon); err != nil {
			return err
		}
		if p.Time, err = timeOf(when, offset); err != nil {
			return err
		}
		out.Points = append(out.Points, p)
		return nil
	})
	if err != nil {
		return nil, err
	}
	return out.ordered(name)
}

// At returns where the receiver was at a time, between two of its points no further
// apart in time than maxGap; not ok if there are none.
func (r *Received) At(t time.Time, maxGap time.Duration) (p geo.Position, ok bool) {
	i, exact := slices.BinarySearchFunc(r.Points, t, func(p ReceivedPoint, t time.Time) int { return p.Time.Compare(t) })
	if exact {
		return r.Points[i].Position, true
	}
	if i == 0 || i == len(r.Points) {
		return geo.Position{}, false
	}
	a, b := r.Points[i-1], r.Points[i]
	gap := b.Time.Sub(a.Time)
	if gap > maxGap {
		return geo.Position{}, false
	}
	course, length, err := geo.RhumbInverse(a.Position, b.Position)
	if err != nil {
		return geo.Position{}, false
	}
	share := float64(t.Sub(a.Time)) / float64(gap)
	p, err = geo.RhumbDirect(a.Position, course, length*geo.Metres(share))
	return p, err == nil
}

// Difference is how far the log was off by a receiver, at an entry.
type Difference struct {
	Entry, Leg int
	Time       time.Time
	Receiver   geo.Position
	Estimated  Miss // of the estimate on the way
	Adjusted   Miss // of the position adjusted by the log's fixes
}

// Miss runs from a position of the log to the receiver's. Sigmas is the distance in
// sigmas of the log's position (Mahalanobis): the 95 % ellipse ends at 2.45.
type Miss struct {
	Distance geo.Metres
	Bearing  angle.Angle
	Sigmas   float64
}

// Compare compares the log with a receiver's track at every entry that the track has
// within maxGap. The receiver's own error is not counted.
func Compare(j *journey.Journey, r *Received, maxGap time.Duration) ([]Difference, error) {
	var out []Difference
	for i := range j.Points {
		p := &j.Points[i]
		if !p.Placed() {
			continue
		}
		there, ok := r.At(p.Time, maxGap)
		if !ok {
			continue
		}
		d := Difference{Entry: p.Entry, Leg: p.Leg, Time: p.Time, Receiver: there}
		var err error
		if d.Estimated, err = miss(p.At.Estimated, p.At.Cov, there); err != nil {
			return nil, err
		}
		if d.Adjusted, err = miss(p.At.Adjusted, p.At.AdjustedCov, there); err != nil {
			return nil, err
		}
		out = append(out, d)
	}
	if len(out) == 0 {
		return nil, fault.New("no_common_time", "check that the track is of the same days and that its times are UTC; where its points lie further apart, give --max-gap",
			"no entry lies between two points of the track that are at most %s apart in time", wording.Span(maxGap))
	}
	return out, nil
}

func miss(from geo.Position, c workup.Cov, to geo.Position) (Miss, error) {
	course, length, err := geo.GeodesicInverse(from, to)
	if err != nil {
		return Miss{}, err
	}
	n, e := float64(length)*course.Cos(), float64(length)*course.Sin()
	m := Miss{Distance: length, Bearing: course}
	if det := c.NN*c.EE - c.NE*c.NE; det > 0 {
		m.Sigmas = math.Sqrt((c.EE*n*n - 2*c.NE*n*e + c.NN*e*e) / det)
	}
	return m, nil
}
