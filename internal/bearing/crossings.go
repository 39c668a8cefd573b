package bearing

import (
	"math"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
)

// Crossing is an instant at which a body passes an altitude.
type Crossing struct {
	Time    time.Time   // UTC, good to the second but for the air
	Rising  bool        // else setting
	Azimuth angle.Angle // of the light's centre
}

// MaxSpan is the longest span that is searched at once.
const MaxSpan = 400 * 24 * time.Hour

// horizonRefraction is the refraction that almanacs take for rise and set (Meeus,
// Astronomical Algorithms, ch. 15; U.S. Naval Observatory).
const horizonRefraction = 34 * angle.Arcminute

// RiseSet returns the instants from (included) to until (not included) at which the
// upper limb of b passes a level horizon at the observer's height, in the almanacs'
// sense: refraction 34', no dip. up tells whether it is up at from: without crossings
// it stays so.
//
// The error's code is one of Observe's, or bad_span.
func RiseSet(b Body, from, until time.Time, p geo.Position, elevationMetres float64) (crossings []Crossing, up bool, err error) {
	return search(b, from, until, p, elevationMetres, func(_ observer, s sight) angle.Angle {
		return s.disc.altitude() + s.semiDiameter + horizonRefraction
	})
}

// AltitudeCrossings is RiseSet for the light's centre passing the given altitude,
// with refraction, as Observe gives it.
func AltitudeCrossings(b Body, from, until time.Time, p geo.Position, elevationMetres float64, altitude angle.Angle) (crossings []Crossing, above bool, err error) {
	return search(b, from, until, p, elevationMetres, func(o observer, s sight) angle.Angle {
		return o.refract(s.light.altitude()) - altitude
	})
}

// Window is a span of time, Until not included.
type Window struct{ From, Until time.Time }

// AltitudeWindows returns the spans between from and until during which the light's
// centre stands between low and high, with refraction: those in which a shadow can be
// read.
func AltitudeWindows(b Body, from, until time.Time, p geo.Position, elevationMetres float64, low, high angle.Angle) ([]Window, error) {
	rises, aboveLow, err := AltitudeCrossings(b, from, until, p, elevationMetres, low)
	if err != nil {
		return nil, err
	}
	tops, aboveHigh, err := AltitudeCrossings(b, from, until, p, elevationMetres, high)
	if err != nil {
		return nil, err
	}
	var windows []Window
	open := from
	inside := aboveLow && !aboveHigh
	step := func(at time.Time) {
		now := aboveLow && !aboveHigh
		switch {
		case now && !inside:
			open = at
		case !now && inside:
			windows = append(windows, Window{open.UTC(), at})
		}
		inside = now
	}
	for len(rises) > 0 || len(tops) > 0 {
		if len(tops) == 0 || len(rises) > 0 && rises[0].Time.Before(tops[0].Time) {
			aboveLow = rises[0].Rising
			step(rises[0].Time)
			rises = rises[1:]
			continue
		}
		aboveHigh = tops[0].Rising
		step(tops[0].Time)
		tops = tops[1:]
	}
	if inside {
		windows = append(windows, Window{open.UTC(), until.UTC()})
	}
	return windows, nil
}

// searchStep is short against the half day between an altitude's extremes: two
// crossings within one step have an extreme between them, which is looked for.
const searchStep = 10 * time.Minute

// search finds the zeros of height, a smooth function of time.
func search(b Body, from, until time.Time, p geo.Position, elevationMetres float64, height func(observer, sight) angle.Angle) ([]Crossing, bool, error) {
	if err := check(b, from, p, elevationMetres); err != nil {
		return nil, false, err
	}
	span := until.Sub(from)
	if span < 0 || span > MaxSpan {
		return nil, false, fault.New("bad_span", "give an end after the start, at most 400 days later",
			"cannot search from %s to %s", from.UTC().Format(time.RFC3339), until.UTC().Format(time.RFC3339))
	}
	if err := check(b, until.Add(-time.Nanosecond), p, elevationMetres); span > 0 && err != nil {
		return nil, false, err
	}

	o := newObserver(p, elevationMetres)
	at := func(d time.Duration) float64 { return height(o, o.see(b, from.Add(d))).Radians() }
	var crossings []Crossing
	cross := func(low, high time.Duration, rising bool) {
		for high-low > time.Millisecond {
			if mid := low + (high-low)/2; (at(mid) >= 0) == rising {
				high = mid
			} else {
				low = mid
			}
		}
		if high >= 0 && high < span {
			t := from.Add(high)
			crossings = append(crossings, Crossing{t.UTC(), rising, o.see(b, t).light.azimuth()})
		}
	}

	// One step beyond each end, so that an extreme in the first or the last step has
	// a sample on either side.
	before, here := at(-searchStep), at(0)
	up := here >= 0
	for d := time.Duration(0); d < span+searchStep; d += searchStep {
		after := at(d + searchStep)
		switch {
		case (before >= 0) != (here >= 0): // found by the step before
		case (here >= 0) == (after >= 0) && math.Abs(here) <= math.Abs(before) && math.Abs(here) < math.Abs(after):
			// The body comes near the height and turns back, perhaps beyond it.
			if m := extreme(at, d-searchStep, d+searchStep, here >= 0); (at(m) >= 0) != (here >= 0) {
				cross(d-searchStep, m, here < 0)
				cross(m, d+searchStep, here >= 0)
			}
		}
		if (here >= 0) != (after >= 0) {
			cross(d, d+searchStep, after >= 0)
		}
		before, here = here, after
	}
	return crossings, up, nil
}

// extreme returns where f is least (or greatest) between low and high, by golden
// section; f has one extreme there.
func extreme(f func(time.Duration) float64, low, high time.Duration, least bool) time.Duration {
	const golden = 0.3819660112501051
	sign := -1.0
	if least {
		sign = 1
	}
	for high-low > 100*time.Millisecond {
		part := time.Duration(golden * float64(high-low))
		if a, b := low+part, high-part; sign*f(a) < sign*f(b) {
			high = b
		} else {
			low = a
		}
	}
	return low + (high-low)/2
}
