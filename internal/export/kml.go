package export

import (
	"fmt"
	"image/color"
	"io"

	"shadowread/internal/journey"

	"github.com/paulmach/orb"
	"github.com/twpayne/go-kml/v3"
)

// writeKML writes KML 2.2 (OGC 07-147r2) on the ground: tracks, entries, fixes and 95 %
// ellipses, cut at the 180th meridian as in GeoJSON. Black is meant to be seen on any
// map and in print.
func writeKML(w io.Writer, j *journey.Journey, name string) error {
	line := func(id string, width float64, c color.Color) kml.Element {
		return kml.SharedStyle(id, kml.LineStyle(kml.Color(c), kml.Width(width)), kml.PolyStyle(kml.Fill(false)))
	}
	ways := kml.Folder(kml.Name("Tracks"))
	for _, t := range tracks(j) {
		for _, piece := range t.pieces {
			if g := lines(piece); g != nil {
				ways.Append(kml.Placemark(kml.Name("Track, "+t.state), kml.StyleURL("#"+t.state), geometry(g)))
			}
		}
	}
	entries, fixes, ellipses := kml.Folder(kml.Name("Entries")), kml.Folder(kml.Name("Fixes")), kml.Folder(kml.Name("95 % ellipses"))
	for i := range j.Points {
		p := &j.Points[i]
		when := kml.TimeStamp(kml.When(p.Time.UTC()))
		if f := p.Fix; f != nil {
			fixes.Append(kml.Placemark(kml.Name(title(p)), kml.Description(describeFix(p)), when, geometry(point(f.Position))))
		}
		if !p.Placed() {
			continue
		}
		e := p.At.AdjustedCov.Ellipse95()
		if p.Fix == nil {
			entries.Append(kml.Placemark(kml.Name(title(p)), kml.Description(describe(p, e)), when, geometry(point(p.At.Adjusted))))
		}
		if g := area(p.At.Adjusted, e); g != nil {
			ellipses.Append(kml.Placemark(kml.Name(fmt.Sprintf("Entry %d", p.Entry)), when, kml.StyleURL("#ellipse"), geometry(g)))
		}
	}
	document := kml.Document(kml.Name(name),
		kml.Description("Positions by a log of headings and distances, adjusted by its fixes; not a receiver's track."),
		line("adjusted", 3, color.Black), line("estimated", 1.5, color.Gray{Y: 90}), line("ellipse", 1, color.Gray{Y: 60}),
		ways, entries, fixes, ellipses)
	return kml.KML(document).WriteIndent(w, "", " ")
}

func describeFix(p *journey.Point) string {
	if p.At == nil {
		return p.Note
	}
	return describe(p, p.At.AdjustedCov.Ellipse95())
}

// geometry turns a geometry of GeoJSON into KML's.
func geometry(g orb.Geometry) kml.Element {
	switch g := g.(type) {
	case orb.Point:
		return kml.Point(kml.Coordinates(coordinates(g)...))
	case orb.LineString:
		return kml.LineString(kml.Tessellate(true), kml.Coordinates(coordinates(g...)...))
	case orb.Polygon:
		return kml.Polygon(kml.Tessellate(true), kml.OuterBoundaryIs(kml.LinearRing(kml.Coordinates(coordinates(g[0]...)...))))
	case orb.MultiLineString:
		m := kml.MultiGeometry()
		for _, l := range g {
			m.Append(geometry(l))
		}
		return m
	case orb.MultiPolygon:
		m := kml.MultiGeometry()
		for _, l := range g {
			m.Append(geometry(l))
		}
		return m
	}
	panic(fmt.Sprintf("no geometry of a journey: %T", g))
}

func coordinates(points ...orb.Point) []kml.Coordinate {
	cs := make([]kml.Coordinate, len(points))
	for i, p := range points {
		cs[i] = kml.Coordinate{Lon: p[0], Lat: p[1]}
	}
	return cs
}
