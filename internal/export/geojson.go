package export

import (
	"encoding/json"
	"io"
	"math"
	"slices"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/clip"
	"github.com/paulmach/orb/geojson"

	"shadowread/internal/geo"
	"shadowread/internal/journey"
	"shadowread/internal/wording"
	"shadowread/internal/workup"
)

// writeGeoJSON writes a FeatureCollection (RFC 7946): tracks, entries, fixes and 95 %
// ellipses, told apart by the property "kind". What crosses the 180th meridian is cut
// there (3.1.9); rings run counterclockwise (3.1.6).
func writeGeoJSON(w io.Writer, j *journey.Journey, name string) error {
	c := geojson.NewFeatureCollection()
	add := func(g orb.Geometry, properties geojson.Properties) {
		f := geojson.NewFeature(g)
		f.Properties = properties
		c.Append(f)
	}
	for _, t := range tracks(j) {
		for _, piece := range t.pieces {
			if g := lines(piece); g != nil {
				add(g, geojson.Properties{"kind": "track", "state": t.state, "name": name})
			}
		}
	}
	for i := range j.Points {
		p := &j.Points[i]
		if f := p.Fix; f != nil {
			add(point(f.Position), fixProperties(p))
		}
		if !p.Placed() {
			continue
		}
		e := p.At.AdjustedCov.Ellipse95()
		properties := geojson.Properties{
			"kind": "entry", "entry": p.Entry, "entry_kind": string(p.Kind), "time": timestamp(p.Time), "name": title(p),
			"ellipse95_major_m": metres(e.Major), "ellipse95_minor_m": metres(e.Minor), "ellipse95_bearing_deg": wording.Round(e.Bearing.Degrees(), 1),
		}
		if p.Leg > 0 {
			properties["leg"] = p.Leg
		}
		if p.Note != "" {
			properties["note"] = p.Note
		}
		add(point(p.At.Adjusted), properties)
		if g := area(p.At.Adjusted, e); g != nil {
			add(g, geojson.Properties{"kind": "ellipse95", "entry": p.Entry, "state": "adjusted"})
		}
	}
	out, err := json.MarshalIndent(c, "", " ")
	if err != nil {
		return err
	}
	_, err = w.Write(append(wording.EscapedJSON(out), '\n'))
	return err
}

func fixProperties(p *journey.Point) geojson.Properties {
	f := p.Fix
	properties := geojson.Properties{
		"kind": "fix", "entry": p.Entry, "name": title(p), "time": timestamp(p.Time),
		"sigma_m": metres(f.Sigma), "used": f.Used(), "source": f.Source,
	}
	if c := f.Closing; c != nil {
		properties["closing_m"] = metres(c.Distance)
		properties["closing_bearing_deg"] = wording.Round(c.Bearing.Degrees(), 1)
		properties["closing_per_cent"] = math.Round(c.PerCent*100) / 100
	}
	return properties
}

// metres rounds to a tenth, more than positions of this kind are worth.
func metres(m geo.Metres) float64 { return wording.Round(float64(m), 1) }

type track struct {
	state  string
	pieces [][]geo.Position
}

// tracks returns the adjusted track, and that estimated on the way if it is another.
func tracks(j *journey.Journey) []track {
	ts := []track{{"adjusted", j.Adjusted()}}
	if j.IsAdjusted() {
		ts = append(ts, track{"estimated", j.Estimated()})
	}
	return ts
}

func point(p geo.Position) orb.Point { return orb.Point{longitude(p), latitude(p)} }

// unrolled returns positions as points whose longitudes go on beyond 180 degrees, each
// on the short way from the one before.
func unrolled(positions []geo.Position) []orb.Point {
	points := make([]orb.Point, len(positions))
	for i, p := range positions {
		lon := p.Lon.Degrees()
		if i > 0 {
			before := points[i-1][0]
			lon += 360 * math.Round((before-lon)/360)
		}
		points[i] = orb.Point{lon, p.Lat.Degrees()}
	}
	return points
}

// turns calls part for each turn of the earth that the points lie in, with the box to cut
// them by and what to take off their longitudes.
func turns(points []orb.Point, part func(box orb.Bound, off float64)) {
	west, east := math.Inf(1), math.Inf(-1)
	for _, p := range points {
		west, east = min(west, p[0]), max(east, p[0])
	}
	first := math.Floor((west + 180) / 360)
	last := max(first, math.Ceil((east+180)/360)-1)
	for k := first; k <= last; k++ {
		off := 360 * k
		part(orb.Bound{Min: orb.Point{off - 180, -90}, Max: orb.Point{off + 180, 90}}, off)
	}
}

func shifted(points []orb.Point, off float64) []orb.Point {
	out := make([]orb.Point, 0, len(points))
	for _, p := range points {
		q := orb.Point{round7(p[0] - off), round7(p[1])}
		if n := len(out); n == 0 || out[n-1] != q {
			out = append(out, q)
		}
	}
	return out
}

// lines returns a track cut at the 180th meridian, nil if it went nowhere.
func lines(track []geo.Position) orb.Geometry {
	var parts orb.MultiLineString
	points := unrolled(track)
	turns(points, func(box orb.Bound, off float64) {
		for _, part := range clip.LineString(box, orb.LineString(points)) {
			if line := shifted(part, off); len(line) > 1 {
				parts = append(parts, line)
			}
		}
	})
	switch len(parts) {
	case 0:
		return nil
	case 1:
		return parts[0]
	}
	return parts
}

// area returns an ellipse as a polygon, cut at the 180th meridian; nil if it is smaller
// than what is written.
func area(at geo.Position, e workup.Ellipse) orb.Geometry {
	ring := journey.Ring(at, e, 48)
	slices.Reverse(ring)
	points := unrolled(append(ring, ring[0]))
	var parts orb.MultiPolygon
	turns(points, func(box orb.Bound, off float64) {
		r := shifted(clip.Ring(box, slices.Clone(orb.Ring(points))), off)
		if len(r) > 0 && r[0] != r[len(r)-1] {
			r = append(r, r[0])
		}
		if len(r) >= 4 {
			parts = append(parts, orb.Polygon{r})
		}
	})
	switch len(parts) {
	case 0:
		return nil
	case 1:
		return parts[0]
	}
	return parts
}
