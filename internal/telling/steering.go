package telling

import (
	"fmt"
	"math"
	"strings"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
	"shadowread/internal/steering"
	"shadowread/internal/wording"
)

// Number is the number to hold, to the tenth: the dial has whole degrees, between which one reads by eye.
func Number(now *steering.Steer) string { return wording.Three(*now.Number, 1) }

// Course is the course with how surely it is held: near a pole not at all.
func Course(now *steering.Steer) string {
	n := wording.SteerPlaces(now.Reading.Sigma)
	return fmt.Sprintf("%s true ± %s°", wording.ThreeFigures(now.Course, n), wording.Fixed(min(wording.Within95(now.Reading.Sigma), 180*angle.Degree), n))
}

// Zone is that by which times of day are told.
type Zone struct{ *time.Location }

// Changes names the next changes, n at most.
func (z Zone) Changes(now *steering.Steer, n int) string {
	var texts []string
	for _, c := range now.Changes[:min(n, len(now.Changes))] {
		texts = append(texts, fmt.Sprintf("%03d from %s", c.Number, c.Time.In(z.Location).Format(time.TimeOnly)))
	}
	return strings.Join(texts, ", ")
}

var endTexts = map[steering.End]string{
	steering.TooLow:  "then too low",
	steering.TooHigh: "then too high",
	steering.SunUp:   "then the sun rises",

	steering.NoNumber: "then no number gives the course",
}

// Usable says when the dial ceases to serve, or when it can be read again.
func (z Zone) Usable(now *steering.Steer) string {
	v := now.Serving
	switch {
	case now.OK() && v.Until != nil:
		return "until " + z.moment(*v.Until, now.Time) + ", " + endTexts[v.End]
	case now.OK():
		return "for a day and more"
	case v.From != nil:
		return "from " + z.moment(*v.From, now.Time) + ", by the " + v.Body.String()
	}
	return "not within a day"
}

// moment is a time of day, with its date where that is another than now's.
func (z Zone) moment(t, now time.Time) string {
	t, now = t.In(z.Location), now.In(z.Location)
	if t.YearDay() != now.YearDay() {
		return t.Format("2 January 15:04:05")
	}
	return t.Format(time.TimeOnly)
}

// Sky says what casts the shadow.
func Sky(now *steering.Steer) string {
	sky := now.Reading.Sky
	if sky == nil {
		return ""
	}
	text := fmt.Sprintf("%s, altitude %s°, azimuth %s°", sky.Body, wording.Fixed(sky.Altitude, 1), wording.Three(sky.Azimuth, 1))
	if sky.Body.String() == "moon" {
		text += fmt.Sprintf(", lit to %.0f %%", math.Round(100*sky.LitFraction))
	}
	return text
}

// Compass says what the compass must show on the course; "" where that is not known.
func Compass(now *steering.Steer) string {
	c := now.Reading.Compass.Steer
	if c == nil {
		return ""
	}
	return "must show " + With(*c)
}

// Grid is the course from grid north; "" where it is not asked for.
func Grid(now *steering.Steer) string {
	if g := now.Grid(); g != nil {
		return "course " + With(*g)
	}
	return ""
}

// Time is a time with what it counts from.
func (z Zone) Time(t time.Time) string {
	t = t.In(z.Location)
	name := "UTC"
	if _, seconds := t.Zone(); seconds != 0 {
		name = geo.FormatOffset(time.Duration(seconds) * time.Second)
	}
	return t.Format(time.DateTime) + " " + name
}
