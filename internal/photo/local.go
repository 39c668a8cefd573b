package photo

import (
	"fmt"
	"math"
	"slices"
	"time"

	"shadowread/internal/geo"
)

// neighbourKM is how far away a clock may come from without a word: a party near a
// border, or on its way from the town where it set out, keeps the time it came with.
const neighbourKM = 300.0

// anyClock is the latitude beyond which a clock may show anything: 300 km from there are
// 15 degrees of longitude and more, and stations keep the time of who supplies them.
// In the far south that begins with the continent.
const (
	anyClockNorth = 80.0
	anyClockSouth = -60.0
)

// keptNearby reports whether a clock that somebody set by law can have been at offset
// about p when it read clock: the civil time of a zone at most neighbourKM away, summer
// time or not, or at sea that of the strip of 15 degrees and of the strips beside it. It
// says so too where it cannot be known.
func keptNearby(p geo.Position, clock time.Time, offset time.Duration) bool {
	if lat := p.Lat.Degrees(); lat > anyClockNorth || lat < anyClockSouth {
		return true
	}
	// The coarse map knows most places well enough to pass a sound photo, and only a
	// doubt is worth the second that the whole one takes.
	for _, load := range []func() (zoneFinder, error){zoneTiles, zoneMap} {
		finder, err := load()
		if err != nil { // a build without the map
			return nearTheSun(p, offset)
		}
		for i, zone := range zonesAround(finder, p) {
			beside := time.Duration(0)
			if i == 0 && (civil{zone: zone}).nautical() { // p itself is at sea
				beside = time.Hour
			}
			if kept(zone, clock, offset, beside) {
				return true
			}
		}
	}
	return false
}

// farthestFromTheSun is more than any civil time lies from the sun's mean time where it is kept:
// the west of China is 3 h 10 min ahead, the islands at the date line a whole day (from memory).
const farthestFromTheSun = 3*time.Hour + 15*time.Minute

// nearTheSun reports whether an offset can be a civil time at p for all that the longitude
// tells: a flipped sign shows where it counts, a digit hardly.
func nearTheSun(p geo.Position, offset time.Duration) bool {
	apart := offset.Hours() - p.Lon.Degrees()/15
	return math.Abs(math.Remainder(apart, 24)) <= farthestFromTheSun.Hours()
}

// zonesAround names the zones at p, which come first where they are known, and on rings
// about it.
func zonesAround(finder zoneFinder, p geo.Position) (zones []string) {
	for _, km := range []float64{borderKM, neighbourKM / 3, 2 * neighbourKM / 3, neighbourKM} {
		for _, q := range around(p, km) {
			names, err := finder.GetTimezoneNames(q[1], q[0])
			if err != nil {
				continue // a gap
			}
			for _, name := range names {
				if !slices.Contains(zones, name) {
					zones = append(zones, name)
				}
			}
		}
	}
	return zones
}

// kept reports whether clocks of a zone, or of those that differ from it by beside, can
// have been at offset when they read clock.
func kept(zone string, clock time.Time, offset, beside time.Duration) bool {
	location, err := time.LoadLocation(zone)
	if err != nil {
		return true
	}
	for _, o := range offsetsAt(clock, location) {
		if offset == o || offset == standardOffset(clock, location, o) || (offset-o).Abs() == beside {
			return true
		}
	}
	return false
}

// checkOffset warns of a UTC offset by which nobody near place sets a clock: a sign or a
// digit of it is wrong, or the longitude is. stated is one that the user gave, who may
// well keep UTC and say so.
func (at *Instant) checkOffset(clock time.Time, offset time.Duration, place *Place, stated bool) {
	if place == nil || stated && offset == 0 {
		return
	}
	who := "the photo's clock is"
	if stated {
		who = "the clock is said to be"
	}
	if doubt := OffsetDoubt(*place, clock, offset); doubt != "" {
		at.warn("offset_not_local", "%s %s", who, doubt)
	}
}

// OffsetDoubt says why a clock that reads clock is not at a UTC offset at a place; "" where
// it may be.
func OffsetDoubt(place Place, clock time.Time, offset time.Duration) string {
	if place.SigmaKM > neighbourKM || keptNearby(place.Position, clock, offset) {
		return ""
	}
	sun := time.Duration(math.Round(place.Position.Lon.Degrees()/15*2)) * 30 * time.Minute
	return fmt.Sprintf("at %s from UTC, which no place within %g km of %s kept on that day (the sun's time is near %s): check the offset, its sign and the longitude; an hour is worth 15 degrees",
		geo.FormatOffset(offset), neighbourKM, place.Position, geo.FormatOffset(sun))
}
