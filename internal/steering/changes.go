package steering

import (
	"math"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/reading"
)

// half is the middle of a degree, where the whole number that is nearest changes.
const half = 0.5 * angle.Degree

// Change is when another whole number is nearest to the one to hold.
type Change struct {
	Time   time.Time
	Number int // from then on, 0 to 359
}

// Changes returns the next times, n at most, at which the whole number nearest to the one to
// hold changes, up to until.
func Changes(t, until time.Time, course angle.Angle, n int, o reading.Options) (changes []Change) {
	number := func(t time.Time) (angle.Angle, bool) {
		at, _ := solve(t, course.Bearing(), o)
		if at == nil {
			return 0, false
		}
		return *at, true
	}
	before, ok := number(t)
	for ok && len(changes) < n && t.Before(until) {
		next := t.Add(changeStep)
		if next.After(until) {
			next = until
		}
		after, still := number(next)
		if !still {
			return changes
		}
		if whole(before) != whole(after) {
			low, high := t, next
			for high.Sub(low) > 100*time.Millisecond {
				mid := low.Add(high.Sub(low) / 2)
				if m, fits := number(mid); fits && whole(m) == whole(before) {
					low = mid
				} else {
					high = mid
				}
			}
			changes = append(changes, Change{high, wholeOf(number, high, after)})
			if m, fits := number(high); fits && whole(m) != whole(after) { // two in one step
				t, before = high, m
				continue
			}
		}
		t, before = next, after
	}
	return changes
}

// changeStep is one in which a sun below 80 degrees turns by less than half a degree: 15
// degrees an hour, times the tangent.
const changeStep = 20 * time.Second

func wholeOf(number func(time.Time) (angle.Angle, bool), t time.Time, otherwise angle.Angle) int {
	if n, ok := number(t); ok {
		return whole(n)
	}
	return whole(otherwise)
}

// whole is the nearest whole number, 0 to 359.
func whole(n angle.Angle) int {
	return int(math.Floor((n + half).Bearing().Degrees())) % 360
}
