package logbook

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/geo"
	"shadowread/internal/wording"
	"shadowread/internal/workup"
)

// Slip is a slip of the hand or the eye, as a stable code.
type Slip string

// The slips that are tried.
const (
	SlipOdometer1   Slip = "odometer_1"
	SlipOdometer10  Slip = "odometer_10"
	SlipOdometer100 Slip = "odometer_100"
	SlipDigits      Slip = "digits_turned"
	SlipHeading1    Slip = "heading_1"
	SlipHeading10   Slip = "heading_10"
	SlipHour        Slip = "hour"
	SlipUnit        Slip = "unit"
	SlipSense       Slip = "dial_sense"
	SlipInstrument  Slip = "instrument"
	SlipCarried     Slip = "odometer_carried" // one figure read wrong from there on
)

// slipped is an entry with a slip taken back.
type slipped struct {
	slip     Slip
	instead  string
	odometer *Odometer // of an odometer's slip
	content  Content
	// onward is what becomes of this odometer reading and of all after it.
	onward func(Odometer) Odometer
}

// taken returns the entries with the slip of the first taken back.
func (s slipped) taken(entries []Entry) []Entry {
	out := slices.Clone(entries)
	if s.onward == nil {
		out[0].Content = s.content
		return out
	}
	for i := range out {
		c, run := copied(out[i].Content)
		if run == nil {
			continue
		}
		runs := []*Run{run}
		if d, ok := c.(*Detour); ok {
			d.Legs = slices.Clone(d.Legs)
			for k := range d.Legs {
				runs = append(runs, &d.Legs[k].Run)
			}
		}
		for _, r := range runs {
			if r.Odometer != nil {
				r.Odometer = new(s.onward(*r.Odometer))
			}
		}
		out[i].Content = c
		if _, ok := c.(*OdometerSet); ok { // another counter from here on
			break
		}
	}
	return out
}

// copied returns a content that may be changed in its own parts, with its way.
func copied(c Content) (Content, *Run) {
	switch c := c.(type) {
	case *Leg:
		n := *c
		return &n, &n.Run
	case *Detour:
		n := *c
		return &n, &n.Run
	case *Halt:
		n := *c
		return &n, &n.Run
	case *Fix:
		n := *c
		return &n, &n.Run
	case *Tyres:
		n := *c
		return &n, &n.Run
	case *OdometerSet:
		n := *c
		return &n, &n.Run
	}
	return c, nil
}

// slipsOf returns what an entry may have been meant to say. before is the reckoning there.
func slipsOf(e *Entry, dial DialReading, before *reckoning) (out []slipped) {
	if _, run := copied(e.Content); run != nil {
		if run.Odometer != nil {
			for _, s := range odometerSlips(run.Odometer) {
				c, run := copied(e.Content)
				run.Odometer = s.odometer
				s.content = c
				out = append(out, s)
				if s.slip != SlipDigits {
					by := s.odometer.number() - e.Content.run().Odometer.number()
					out = append(out, slipped{slip: SlipCarried, instead: s.instead, onward: func(o Odometer) Odometer { return o.by(by) }})
				}
			}
			for _, unit := range otherUnits(run.Odometer.Unit) {
				in := func(o Odometer) Odometer { o.Unit = unit; return o }
				out = append(out, slipped{slip: SlipUnit, instead: in(*run.Odometer).String(), onward: in})
			}
		}
		out = append(out, lengthSlips(e)...)
	}
	if l, ok := e.Content.(*Leg); ok {
		out = append(out, headingSlips(l, dial)...)
		out = append(out, hourSlips(e, l, dial, before)...)
	}
	return out
}

// by is the reading with as much more on it; what would be less than nothing stays.
func (o Odometer) by(more float64) Odometer {
	_, fraction, _ := strings.Cut(o.AsGiven, ".")
	if x := o.number() + more; x >= 0 {
		o.AsGiven = strconv.FormatFloat(x, 'f', len(fraction), 64)
	}
	return o
}

// odometerSlips are those of one reading; nil has none.
func odometerSlips(o *Odometer) (out []slipped) {
	if o == nil {
		return nil
	}
	seen := map[string]bool{o.AsGiven: true}
	add := func(slip Slip, text string) {
		n := *o
		n.AsGiven = text
		if !seen[text] && n.Validate() == nil {
			seen[text] = true
			out = append(out, slipped{slip: slip, instead: n.String(), odometer: &n})
		}
	}
	for _, step := range []struct {
		slip Slip
		size float64
	}{{SlipOdometer1, 1}, {SlipOdometer10, 10}, {SlipOdometer100, 100}} {
		for _, sign := range []float64{1, -1} {
			add(step.slip, o.by(sign*step.size).AsGiven)
		}
	}
	for _, text := range turned(o.AsGiven) {
		add(SlipDigits, text)
	}
	return out
}

// turned returns a number with each pair of neighbouring figures turned round.
func turned(text string) (out []string) {
	var at []int
	for i, r := range text {
		if r >= '0' && r <= '9' {
			at = append(at, i)
		}
	}
	for k := 1; k < len(at); k++ {
		b := []byte(text)
		i, j := at[k-1], at[k]
		if b[i] == b[j] {
			continue
		}
		b[i], b[j] = b[j], b[i]
		out = append(out, string(b))
	}
	return out
}

func otherUnits(u Unit) []Unit {
	return slices.DeleteFunc([]Unit{Kilometres, StatuteMiles, NauticalMiles}, func(o Unit) bool { return o == u })
}

// lengthSlips are a distance or a speed in the other unit: miles that were entered as
// kilometres, or the other way round.
func lengthSlips(e *Entry) (out []slipped) {
	for _, unit := range []Unit{StatuteMiles, NauticalMiles} {
		ratio := float64(unit.Length() / Kilometres.Length())
		for _, by := range []float64{ratio, 1 / ratio} {
			c, run := copied(e.Content)
			switch {
			case run.Distance != nil && run.Distance.Length > 0:
				d := *run.Distance
				d.Length *= geo.Metres(by)
				d.Sigma *= geo.Metres(by)
				run.Distance = &d
				out = append(out, slipped{slip: SlipUnit, instead: wording.Length(d.Length), content: c})
			case run.Speed != nil && run.Speed.Mean > 0:
				v := *run.Speed
				v.Mean *= workup.MetresPerSecond(by)
				v.Sigma *= workup.MetresPerSecond(by)
				run.Speed = &v
				out = append(out, slipped{slip: SlipUnit, instead: fmt.Sprintf("%.3g km/h", float64(v.Mean)*3.6), content: c})
			}
		}
	}
	return out
}

// headingSlips are those of what was read or typed. A photo's number was read by nobody.
func headingSlips(l *Leg, dial DialReading) (out []slipped) {
	text := ""
	switch {
	case l.How == ByHand && l.Hand != nil:
		text = figures(l.Hand.Heading.Degrees())
	case l.How == ByNumber && l.Reading != nil && dial.Number != nil:
		text = figures(*dial.Number)
	default:
		return nil
	}
	was, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return nil
	}
	seen := map[float64]bool{was: true}
	add := func(slip Slip, is float64) {
		if is < 0 || is >= 360 {
			is = angle.FromDegrees(is).Bearing().Degrees()
		}
		is = wording.Round(is, 4)
		if seen[is] {
			return
		}
		seen[is] = true
		out = append(out, slipped{slip: slip, instead: wording.ThreeFigures(angle.FromDegrees(is), 1), content: l.turnedBy(angle.FromDegrees(is - was))})
	}
	for _, sign := range []float64{1, -1} {
		add(SlipHeading10, was+10*sign)
		add(SlipHeading1, was+sign)
	}
	if l.How == ByNumber {
		add(SlipSense, 360-was)
	}
	for _, t := range turned(text) {
		if is, err := strconv.ParseFloat(t, 64); err == nil && is < 360 {
			add(SlipDigits, is)
		}
	}
	return out
}

// figures writes degrees as they are spoken and typed: three figures, and the tenth if there
// is one.
func figures(degrees float64) string {
	degrees = wording.Round(degrees, 1)
	if degrees == float64(int(degrees)) {
		return fmt.Sprintf("%03.0f", degrees)
	}
	return fmt.Sprintf("%05.1f", degrees)
}

// turnedBy is the leg with its heading turned. The number under the shadow and the heading
// turn alike.
func (l *Leg) turnedBy(by angle.Angle) *Leg {
	n := *l
	if l.Hand != nil {
		h := *l.Hand
		h.Heading = (h.Heading + by).Bearing()
		n.Hand = &h
		return &n
	}
	r := *l.Reading
	r.Heading = (r.Heading + by).Bearing()
	n.Reading = &r
	return &n
}

// hourSlips are those of a reading whose azimuth was computed for an hour too early or too
// late: a summer time, a wrong zone.
func hourSlips(e *Entry, l *Leg, dial DialReading, before *reckoning) (out []slipped) {
	if l.Reading == nil || l.Reading.Body == nil {
		return nil
	}
	body, err := bearing.ParseBody(dial.Body)
	if err != nil {
		body = bearing.Sun
	}
	where := before.Filter.Position
	if l.Reading.ComputedAt != nil {
		where = *l.Reading.ComputedAt
	}
	for _, by := range []time.Duration{time.Hour, -time.Hour} {
		sky, err := bearing.Observe(body, e.Time.Add(by), where, 0)
		if err != nil || sky.Altitude < 0 {
			continue
		}
		c := l.turnedBy((sky.Azimuth - l.Reading.Body.Azimuth).Signed())
		if c.Reading == nil || c.Hand != nil {
			continue
		}
		c.Reading.Body = &workup.Body{Azimuth: sky.Azimuth, Altitude: sky.Altitude}
		out = append(out, slipped{slip: SlipHour, instead: wording.LocalTime(e.Time.Add(by), e.Offset), content: c})
	}
	return out
}
