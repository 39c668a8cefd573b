package photo

import (
	"errors"
	"math"
	"slices"
	"strings"
	"time"

	"shadowread/internal/geo"
)

// zoneFinder is a map of civil time zones.
type zoneFinder interface {
	GetTimezoneNames(longitude, latitude float64) ([]string, error)
}

// borderKM is how near a border counts as on it: the simplified lines of the map
// stray from the true ones by some hundred metres.
const borderKM = 2.0

// civil is a UTC offset that clocks at a place may have shown, and the zone.
// standard is the zone's offset without summer time, in that year.
type civil struct {
	zone             string
	offset, standard time.Duration
}

// civilOffsets returns every UTC offset under which a civil clock at most
// radiusKM from p can have read clock: two near a border or in the hour that
// repeats in autumn, none in the hour that is left out in spring. Nautical zones
// (Etc/GMT+n) are among them.
func civilOffsets(p geo.Position, radiusKM float64, clock time.Time) ([]civil, error) {
	finder, err := zoneMap()
	if err != nil {
		return nil, err
	}
	var zones []string
	for _, q := range around(p, max(radiusKM, borderKM)) {
		names, err := finder.GetTimezoneNames(q[1], q[0])
		if err != nil {
			continue // a gap between simplified borders; a neighbour covers it
		}
		for _, name := range names {
			if !slices.Contains(zones, name) {
				zones = append(zones, name)
			}
		}
	}
	if len(zones) == 0 {
		return nil, errors.New("the time zone map has no zone there")
	}
	var found []civil
	for _, zone := range zones {
		location, err := time.LoadLocation(zone)
		if err != nil {
			return nil, err
		}
		for _, offset := range offsetsAt(clock, location) {
			if !slices.ContainsFunc(found, func(c civil) bool { return c.offset == offset }) {
				found = append(found, civil{zone, offset, standardOffset(clock, location, offset)})
			}
		}
	}
	return found, nil
}

// nautical tells whether a zone is one of the 15-degree strips of the open sea,
// by which hardly anybody sets a clock.
func (c civil) nautical() bool { return strings.HasPrefix(c.zone, "Etc/") }

// around returns p and eight points about it at distance km, as latitude and
// longitude in degrees.
func around(p geo.Position, km float64) [][2]float64 {
	lat, lon := p.Lat.Degrees(), p.Lon.Degrees()
	north := km / geo.KMPerDegree
	// Near a pole every longitude is near.
	east := min(north/max(p.Lat.Cos(), 1e-6), 90)
	points := [][2]float64{{lat, lon}}
	for _, dy := range []float64{-north, 0, north} {
		for _, dx := range []float64{-east, 0, east} {
			points = append(points, [2]float64{max(-90, min(90, lat+dy)), math.Mod(lon+dx+540, 360) - 180})
		}
	}
	return points
}

// standardOffset returns a location's offset without summer time in the half year
// to either side of clock, or offset where there is no summer time in force.
func standardOffset(clock time.Time, location *time.Location, offset time.Duration) time.Duration {
	if !clock.Add(-offset).In(location).IsDST() {
		return offset
	}
	for _, months := range []int{-6, 6} {
		if t := clock.AddDate(0, months, 0).In(location); !t.IsDST() {
			_, seconds := t.Zone()
			return time.Duration(seconds) * time.Second
		}
	}
	return offset
}

// offsetsAt returns the UTC offsets under which a clock in a location can read
// clock (its hours and minutes, whatever its own location).
func offsetsAt(clock time.Time, location *time.Location) (offsets []time.Duration) {
	offset := func(t time.Time) time.Duration {
		_, seconds := t.In(location).Zone()
		return time.Duration(seconds) * time.Second
	}
	// A day to either side lies on either side of any change of the clocks.
	for _, d := range []time.Duration{-24 * time.Hour, 24 * time.Hour} {
		candidate := offset(clock.Add(d))
		if offset(clock.Add(-candidate)) == candidate && !slices.Contains(offsets, candidate) {
			offsets = append(offsets, candidate)
		}
	}
	return offsets
}
