package daycard

import (
	"math"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
)

// legKM is the longest step between the places at which an untimed leg is looked at.
// In the 12.5 km from a place to the middle of a step, the azimuth of a sun at 75°
// strays from a straight line by (12.5/6371)² tan² 75° / 2 = 0.0015°.
const legKM = 25

// route tells where one may be.
type route struct {
	stops  []Stop
	places []geo.Position // along an untimed route; nil for a timed one
}

func newRoute(stops []Stop) route {
	r := route{stops: stops}
	if !stops[0].Time.IsZero() {
		return r
	}
	r.places = []geo.Position{stops[0].Position}
	for i, s := range stops[1:] {
		from := stops[i].Position
		n := max(1, int(math.Ceil(apartKM(from, s.Position)/legKM)))
		for k := range n {
			r.places = append(r.places, between(from, s.Position, float64(k+1)/float64(n)))
		}
	}
	return r
}

// at returns the places where one may be at t.
func (r route) at(t time.Time) []geo.Position {
	if r.places != nil {
		return r.places
	}
	return []geo.Position{r.planned(t)}
}

// middle returns one place that stands for the whole at t.
func (r route) middle(t time.Time) geo.Position {
	if r.places != nil {
		return r.places[len(r.places)/2]
	}
	return r.planned(t)
}

func (r route) planned(t time.Time) geo.Position {
	for i, s := range r.stops {
		if t.After(s.Time) {
			continue
		}
		if i == 0 {
			return s.Position
		}
		before := r.stops[i-1]
		return between(before.Position, s.Position, float64(t.Sub(before.Time))/float64(s.Time.Sub(before.Time)))
	}
	return r.stops[len(r.stops)-1].Position
}

func routeKM(stops []Stop) (km float64) {
	for i := range stops[1:] {
		km += apartKM(stops[i].Position, stops[i+1].Position)
	}
	return km
}

// normal is the vertical at p as a unit vector, z to the pole.
func normal(p geo.Position) [3]float64 {
	return [3]float64{p.Lat.Cos() * p.Lon.Cos(), p.Lat.Cos() * p.Lon.Sin(), p.Lat.Sin()}
}

// apartKM is the angle between the verticals as a length; the ellipsoid changes it by
// less than 1 %.
func apartKM(p, q geo.Position) float64 {
	a, b := normal(p), normal(q)
	chord := math.Sqrt((a[0]-b[0])*(a[0]-b[0]) + (a[1]-b[1])*(a[1]-b[1]) + (a[2]-b[2])*(a[2]-b[2]))
	return 2 * angle.Asin(chord/2).Degrees() * geo.KMPerDegree
}

// between returns the place a fraction f of the way from p to q: along the chord, so
// that neither date line nor pole is in the way. On 500 km the chord strays from even
// progress by less than 60 m.
func between(p, q geo.Position, f float64) geo.Position {
	if f == 0 || p == q {
		return p
	}
	if f == 1 {
		return q
	}
	a, b := normal(p), normal(q)
	for i := range a {
		a[i] += f * (b[i] - a[i])
	}
	return geo.Position{Lat: angle.Atan2(a[2], math.Hypot(a[0], a[1])), Lon: angle.Atan2(a[1], a[0])}
}
