// Package journey is what a journey's pictures and papers show: points, legs and fixes
// as worked up, the tracks before and after adjustment, the rings of their ellipses.
package journey

import (
	"math"
	"time"

	"github.com/tidwall/geodesic"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/workup"
)

// Journey is a journey in the form in which it is shown and handed over.
type Journey struct {
	Number int
	Points []Point // one for each standing entry, the departure first
	Legs   []Leg
	Fixes  int // numbered from 1
}

// Point is an entry as shown.
type Point struct {
	Entry int // its number in the log
	Kind  logbook.Kind
	Time  time.Time
	// Offset is from UTC, by which the time was said; nil: not known.
	Offset *time.Duration
	Note   string
	// Content is what the entry says, and Reading what the log keeps beside a leg by the
	// dial, as JSON; nil where that was not asked for.
	Content logbook.Content
	Reading []byte
	// Leg is the number of the current leg from here on; 0 if there is none.
	Leg int
	// At is where the entry was made; nil while the position is lost.
	At *workup.Point
	// Via is what a detour passes between the point before and At.
	Via []workup.Point
	// Begins says that no way is known that leads here: the departure, or the fix after
	// the position was lost.
	Begins bool
	Fix    *Fix
}

// Leg is the way on one heading.
type Leg struct {
	Number int // 1, 2, 3
	Entry  int // that gave the heading
	// From and To are indexes of Points. To is the entry that ended the leg, or the
	// last one.
	From, To int
}

// Fix is a position had from outside.
type Fix struct {
	Number   int // 1, 2, 3
	Position geo.Position
	Sigma    geo.Metres // per axis
	Source   string
	// Closing is nil if the fix began the work-up anew after the position was lost.
	Closing *workup.Closing
	// Resumed is where the estimate went on from: between estimate and fix, by their
	// covariances. Of a fix that was not used it is the estimate.
	Resumed geo.Position
}

// Placed reports whether the entry was made at a place that is known. Settings are of no
// place: their time is that of writing.
func (p *Point) Placed() bool { return p.At != nil && p.Kind != logbook.KindSettings }

// Used reports whether the work-up made use of the fix.
func (f *Fix) Used() bool { return f.Closing == nil || f.Closing.Used }

// FromTrack takes a journey from the log's work-up.
func FromTrack(t *logbook.Track) *Journey {
	j := &Journey{Number: t.Journey}
	known := false
	for i := range t.Points {
		p := &t.Points[i]
		e := &p.Entry
		q := Point{Entry: e.Number, Kind: e.Kind(), Time: e.Time, Offset: e.Offset, Note: e.Note, Content: e.Content, At: p.At, Via: p.Via, Begins: p.At != nil && !known}
		known = p.At != nil
		switch c := e.Content.(type) {
		case *logbook.Leg:
			j.endLeg(i)
			j.Legs = append(j.Legs, Leg{Number: len(j.Legs) + 1, Entry: e.Number, From: i, To: i})
		case *logbook.Fix:
			j.Fixes++
			q.Fix = &Fix{Number: j.Fixes, Position: c.Position, Sigma: c.Sigma, Source: c.Source, Resumed: c.Position}
			if p.At != nil && p.At.Closing != nil {
				q.Fix.Closing = p.At.Closing
				if !p.At.Closing.Blunder || c.Rule != workup.FromThree { // else the estimate starts at the fix
					q.Fix.Resumed = resumed(p.At, c.Sigma)
				}
			}
		}
		q.Leg = len(j.Legs)
		j.Points = append(j.Points, q)
	}
	j.endLeg(len(j.Points) - 1)
	return j
}

func (j *Journey) endLeg(at int) {
	if n := len(j.Legs); n > 0 {
		j.Legs[n-1].To = at
	}
}

// resumed returns the estimate after a fix: x + P (P + sigma² I)⁻¹ (fix - x), the
// position's part of the filter's update (docs/workup.md).
func resumed(at *workup.Point, sigma geo.Metres) geo.Position {
	c := at.Closing
	if !c.Used {
		return at.Estimated
	}
	n, e := float64(c.Distance)*c.Bearing.Cos(), float64(c.Distance)*c.Bearing.Sin()
	r := float64(sigma * sigma)
	a, b, d := at.Cov.NN+r, at.Cov.NE, at.Cov.EE+r
	det := a*d - b*b
	u, v := (d*n-b*e)/det, (a*e-b*n)/det
	return Offset(at.Estimated, workup.Offset{
		North: geo.Metres(at.Cov.NN*u + at.Cov.NE*v),
		East:  geo.Metres(at.Cov.NE*u + at.Cov.EE*v),
	})
}

// Offset returns the position a small way from p, gone along the geodesic.
func Offset(p geo.Position, o workup.Offset) geo.Position {
	return direct(p, angle.Atan2(float64(o.East), float64(o.North)), geo.Metres(math.Hypot(float64(o.North), float64(o.East))))
}

func direct(p geo.Position, course angle.Angle, distance geo.Metres) geo.Position {
	var lat, lon float64
	geodesic.WGS84.Direct(p.Lat.Degrees(), p.Lon.Degrees(), course.Degrees(), float64(distance), &lat, &lon, nil)
	return geo.Position{Lat: angle.FromDegrees(lat), Lon: angle.FromDegrees(lon).Signed()}
}

// Ring returns n positions on an ellipse about a position, clockwise from the end of
// its major axis.
func Ring(p geo.Position, e workup.Ellipse, n int) []geo.Position {
	ring := make([]geo.Position, n)
	for i := range ring {
		t := 2 * math.Pi * angle.Angle(i) / angle.Angle(n)
		along, across := e.Major*geo.Metres(t.Cos()), e.Minor*geo.Metres(t.Sin())
		cos, sin := geo.Metres(e.Bearing.Cos()), geo.Metres(e.Bearing.Sin())
		ring[i] = Offset(p, workup.Offset{North: along*cos - across*sin, East: along*sin + across*cos})
	}
	return ring
}

// Estimated returns the track as it was worked up on the way, in pieces: a fix that was
// used ends one and begins the next.
func (j *Journey) Estimated() (pieces [][]geo.Position) {
	return j.pieces(func(p *workup.Point) geo.Position { return p.Estimated }, true)
}

// Adjusted returns the track adjusted by all fixes, in pieces: only where the position
// was lost does one end.
func (j *Journey) Adjusted() (pieces [][]geo.Position) {
	return j.pieces(func(p *workup.Point) geo.Position { return p.Adjusted }, false)
}

func (j *Journey) pieces(where func(*workup.Point) geo.Position, breakAtFix bool) (pieces [][]geo.Position) {
	var piece []geo.Position
	end := func() {
		if len(piece) > 0 {
			pieces = append(pieces, piece)
		}
		piece = nil
	}
	add := func(p geo.Position) {
		if n := len(piece); n == 0 || piece[n-1] != p {
			piece = append(piece, p)
		}
	}
	for i := range j.Points {
		p := &j.Points[i]
		if p.At == nil || p.Begins {
			end()
		}
		if p.At == nil {
			continue
		}
		for k := range p.Via {
			add(where(&p.Via[k]))
		}
		add(where(p.At))
		if f := p.Fix; breakAtFix && f != nil && f.Closing != nil && f.Closing.Used {
			end()
			add(f.Resumed)
		}
	}
	end()
	return pieces
}

// IsAdjusted reports whether a fix moved the track.
func (j *Journey) IsAdjusted() bool {
	for i := range j.Points {
		if f := j.Points[i].Fix; f != nil && f.Closing != nil && f.Closing.Used {
			return true
		}
	}
	return false
}

// Last returns the last point whose position is known, nil if the last stretch of the
// journey is lost.
func (j *Journey) Last() *Point {
	if n := len(j.Points); n > 0 && j.Points[n-1].At != nil {
		return &j.Points[n-1]
	}
	return nil
}
