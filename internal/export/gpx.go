package export

import (
	"io"

	"github.com/twpayne/go-gpx"

	"shadowread/internal/geo"
	"shadowread/internal/journey"
	"shadowread/internal/workup"
)

// writeGPX writes GPX 1.1 (topografix.com/GPX/1/1): the departure, the fixes as they
// were taken and the last position as waypoints, the adjusted track with a segment for
// each piece. Times are UTC, as GPX has them.
func writeGPX(w io.Writer, j *journey.Journey, name string) error {
	g := &gpx.GPX{Version: "1.1", Creator: "shadowread", Metadata: &gpx.MetadataType{
		Name: name,
		Desc: "Positions by a log of headings and distances, adjusted by its fixes; not a receiver's track.",
		Time: j.Points[len(j.Points)-1].Time, // of the data: the file's own would differ each time
	}}
	track := &gpx.TrkType{Name: name, Src: "log, adjusted"}
	var segment *gpx.TrkSegType
	for i := range j.Points {
		p := &j.Points[i]
		if f := p.Fix; f != nil {
			at := p.At
			if at == nil { // a fix while the position is lost stands for itself
				at = &workup.Point{Adjusted: f.Position, AdjustedCov: workup.Circle(f.Sigma)}
			}
			wpt := waypoint(p, f.Position, at.AdjustedCov)
			wpt.Src = f.Source
			g.Wpt = append(g.Wpt, wpt)
		} else if i == 0 || p == j.Last() {
			if p.At != nil {
				g.Wpt = append(g.Wpt, waypoint(p, p.At.Adjusted, p.At.AdjustedCov))
			}
		}
		if !p.Placed() {
			continue
		}
		if p.Begins || segment == nil {
			segment = &gpx.TrkSegType{}
			track.TrkSeg = append(track.TrkSeg, segment)
		}
		for k := range p.Via {
			segment.TrkPt = append(segment.TrkPt, &gpx.WptType{Lat: latitude(p.Via[k].Adjusted), Lon: longitude(p.Via[k].Adjusted)})
		}
		segment.TrkPt = append(segment.TrkPt, waypoint(p, p.At.Adjusted, p.At.AdjustedCov))
	}
	g.Trk = []*gpx.TrkType{track}
	if _, err := io.WriteString(w, `<?xml version="1.0" encoding="UTF-8"?>`+"\n"); err != nil {
		return err
	}
	if err := g.WriteIndent(w, "", " "); err != nil {
		return err
	}
	_, err := io.WriteString(w, "\n")
	return err
}

func waypoint(p *journey.Point, at geo.Position, cov workup.Cov) *gpx.WptType {
	return &gpx.WptType{
		Lat: latitude(at), Lon: longitude(at), Time: p.Time,
		Name: title(p), Desc: describe(p, cov.Ellipse95()), Type: string(p.Kind),
	}
}
