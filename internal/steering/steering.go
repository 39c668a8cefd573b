// Package steering tells the number to hold under the middle of the shadow so that the
// heading is a course: now, and how it changes as the sun runs on. It asks the reader what a
// number comes to and turns that round, so that both cannot differ. It knows neither a
// terminal nor a clock.
package steering

import (
	"context"
	"fmt"
	"math"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/reading"
)

// Hold is the number to hold under the shadow at an instant, or why there is none.
type Hold struct {
	Time   time.Time
	Course angle.Angle  // true
	Number *angle.Angle // in [0, 360); nil where there is none
	// Reading is the reader's of Number, whose heading is the course: its uncertainty is
	// that with which the course is held. Where there is no number it is refused.
	Reading *reading.Result
}

// OK reports whether there is a number.
func (h *Hold) OK() bool { return h.Number != nil }

// Read returns what the reader makes of a number under the shadow at t. A sigma of 0 stands
// for the reader's default.
func Read(t time.Time, number, sigma angle.Angle, o reading.Options) *reading.Result {
	o.Time.At = &t
	return reading.ReadNumber(context.Background(), number, sigma, o)
}

// At returns the number to hold at t for a course. What time and course o has itself does not
// count. sigma is that of the number as it is held by eye, 0 for the reader's default.
func At(t time.Time, course, sigma angle.Angle, o reading.Options) *Hold {
	course = course.Bearing()
	h := &Hold{Time: t, Course: course}
	o.Course = &course
	n, r := solve(t, course, o)
	if n == nil {
		h.Reading = r
		return h
	}
	if h.Reading = Read(t, *n, sigma, o); h.Reading.OK() {
		h.Number = n
	}
	return h
}

// settled is how near the course the heading must come; the reader prints a ten-thousandth
// of a degree.
const settled = 1e-8 * angle.Degree

// solve finds the number whose heading is the course; where it finds none it returns why.
func solve(t time.Time, course angle.Angle, o reading.Options) (*angle.Angle, *reading.Result) {
	// What only follows from the heading, and the map of time zones, cost more than all the rest.
	o.Time.UTCOffset = nil
	o.Declination, o.Card, o.Grid, o.Course = &reading.Declination{}, nil, false, nil
	first := Read(t, 0, 0, o)
	if first.Sky == nil || !first.OK() && first.Reason != reading.NoCorrection {
		return nil, first
	}
	miss := func(n angle.Angle) (angle.Angle, bool) {
		r := Read(t, n, 0, o)
		if !r.OK() {
			return 0, false
		}
		return (course - *r.Heading).Signed(), true
	}
	if n, ok := secant(miss, course-first.Sky.Azimuth); ok {
		return &n, nil
	}
	if n, ok := scan(miss); ok {
		return &n, nil
	}
	o.Course = &course
	r := Read(t, course-first.Sky.Azimuth, 0, o)
	r.Reason, r.Heading, r.Come, r.Budget, r.Compass = reading.NoCorrection, nil, nil, nil, reading.Compass{}
	r.Message = fmt.Sprintf("no number gives this course with the %s at %.1f°: rod and sheet, by the instrument's record, stand too far from plumb and level for it. Wait, or straighten them and prove the instrument again",
		first.Sky.Body, first.Sky.Altitude.Degrees())
	return nil, r
}

// secant closes in from a first guess. A degree of number is a degree of heading but for the
// stretch of a print, the foot and the lean.
func secant(miss func(angle.Angle) (angle.Angle, bool), n angle.Angle) (angle.Angle, bool) {
	slope, step, before := 1.0, angle.Angle(0), angle.Angle(0)
	for i := range 30 {
		m, ok := miss(n)
		if !ok {
			return 0, false
		}
		if m.Abs() < settled {
			return n.Bearing(), true
		}
		if i > 0 {
			slope = min(4, max(0.25, float64((before-m).Signed()/step)))
		}
		step, before = m/angle.Angle(slope), m
		n += step
	}
	return 0, false
}

// scan looks round the whole dial, where the rod leans by so much that a guess leads astray.
func scan(miss func(angle.Angle) (angle.Angle, bool)) (angle.Angle, bool) {
	const step = 0.5 * angle.Degree
	a, known := miss(0)
	for n := step; n < 2*math.Pi+step/2; n += step {
		b, ok := miss(n)
		// Where the miss passes through half a turn it changes sign too.
		if known && ok && (a > 0) != (b > 0) && (a-b).Abs() < 90*angle.Degree {
			return bisect(miss, n-step, n, a > 0)
		}
		a, known = b, ok
	}
	return 0, false
}

func bisect(miss func(angle.Angle) (angle.Angle, bool), low, high angle.Angle, positive bool) (angle.Angle, bool) {
	for range 60 {
		mid := low + (high-low)/2
		m, ok := miss(mid)
		switch {
		case !ok:
			return 0, false
		case m.Abs() < settled:
			return mid.Bearing(), true
		case (m > 0) == positive:
			low = mid
		default:
			high = mid
		}
	}
	return 0, false
}
