package main

import (
	"fmt"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/daylight"
	"shadowread/internal/geo"
	"shadowread/internal/wording"
)

// What log where says of the hours ahead.

func (v view) aheadJSON(out *whereJSON) {
	if speed := v.pace.Speed(); speed > 0 {
		out.Speed = new(wording.Round(float64(speed), 4))
	}
	if v.onward == nil {
	} else if s := v.onward.Steering; s != nil {
		out.ToGo.Steer, out.ToGo.SteerSigma = new(wording.BearingDegrees(s.Heading, 4)), new(wording.Degrees(s.Sigma, 4))
		out.ToGo.TimeToGo = new(wording.Round(v.onward.TimeToGo().Seconds(), 0))
	}
	if o := v.outlook; o != nil {
		out.SunUp, out.SunTurns = &o.SunUp, known(o.Turn)
		out.DialNow, out.DialNext = spanOf(o.Now), spanOf(o.Next)
	}
}

func known(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return new(t.UTC().Truncate(time.Second))
}

func spanOf(s *daylight.Span) *spanJSON {
	if s == nil {
		return nil
	}
	return &spanJSON{s.Body.String(), s.From.UTC().Truncate(time.Second), known(s.Until)}
}

// hourText is a time to the minute on the clock that is known, without the date where that is today's.
func (v view) hourText(t time.Time) string {
	offset := time.Duration(0)
	if v.offset != nil {
		offset = *v.offset
	}
	zone := time.FixedZone("", int(offset/time.Second))
	t = t.In(zone)
	layout := "15:04"
	if t.Format(time.DateOnly) != v.where.Estimate.Time.In(zone).Format(time.DateOnly) {
		layout = "2006-01-02 15:04"
	}
	if offset == 0 {
		return t.Format(layout) + " UTC"
	}
	return t.Format(layout) + " " + geo.FormatOffset(offset)
}

// skyForPeople says what is left of the day, and when the dial serves.
func (v view) skyForPeople(s *streams) {
	o := v.outlook
	if o == nil {
		return
	}
	now := v.where.Estimate.Time
	switch {
	case o.Turn.IsZero() && o.SunUp:
		labelled(s, "daylight", "the sun does not set within half a year")
	case o.Turn.IsZero():
		labelled(s, "daylight", "the sun does not rise within half a year")
	case o.SunUp:
		labelled(s, "daylight", "%s left, the sun sets at %s", wording.Span(o.Turn.Sub(now)), v.hourText(o.Turn))
	default:
		labelled(s, "daylight", "the sun is down, and rises in %s, at %s", wording.Span(o.Turn.Sub(now)), v.hourText(o.Turn))
	}
	text := "not usable"
	if o.Now != nil {
		text = "usable now by the " + o.Now.Body.String()
		if !o.Now.Until.IsZero() {
			text += ", until " + v.hourText(o.Now.Until)
		}
	}
	if o.Next != nil {
		text += "; again from " + v.hourText(o.Next.From) + " by the " + o.Next.Body.String()
	}
	labelled(s, "dial", "%s", text)
}

// steeringForPeople says what to steer on ground that drifts, and how long it takes.
func (v view) steeringForPeople(s *streams) {
	speed, sh := v.pace.Speed(), v.where.Shared
	if speed == 0 {
		return
	}
	if v.onward.Steering == nil {
		labelled(s, "steer", "the drift is faster than the day's speed of %s can make good", v.speedText())
		return
	}
	if sh.DriftNSigma > 0 || sh.DriftESigma > 0 {
		labelled(s, "steer", "%s true, which allows for the drift", wording.Steer(v.onward.Steering.Heading, max(v.onward.Steering.Sigma, angle.Degree/19)))
	}
	labelled(s, "time to go", "%s at the day's speed of %s under way", wording.Span(v.onward.TimeToGo()), v.speedText())
}

// speedText is the day's speed in the journey's unit.
func (v view) speedText() string {
	unit := v.set.UnitOr()
	return fmt.Sprintf("%.1f %s", float64(v.pace.Speed())*3600/float64(unit.Length()), unit.PerHour())
}
