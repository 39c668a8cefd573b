package logbook

import (
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/wording"
)

// dialLeg is a leg by the dial with what the dial showed.
type dialLeg struct {
	leg  *Leg
	dial DialReading
}

// by names the record that corrected a leg's heading, "" for none, and by how much.
func (d dialLeg) by() (name string, correction angle.Angle) {
	i := d.dial.Instrument
	if i == nil {
		return "", 0
	}
	if i.Correction != nil {
		correction = angle.FromDegrees(*i.Correction)
	}
	return i.Name, correction
}

// instrumentSlips are those of a leg that was read with another instrument's record than
// the legs about it, or without one. others are those, the nearest first.
func instrumentSlips(l dialLeg, others []dialLeg) (out []slipped) {
	if l.leg.Reading == nil || l.leg.Hand != nil {
		return nil
	}
	own, correction := l.by()
	tried := map[string]bool{own: true}
	for _, o := range others {
		name, other := o.by()
		if tried[name] {
			continue
		}
		tried[name] = true
		c := l.leg.turnedBy(other - correction)
		// A reading without a record is thought worse of than one with.
		r, model := c.Reading, o.leg.Reading
		rest := float64(r.Sigma*r.Sigma - r.Level*r.Level - r.Alignment*r.Alignment)
		r.Level, r.Alignment = model.Level, model.Alignment
		r.Sigma = angle.Angle(math.Sqrt(max(0, rest) + float64(r.Level*r.Level+r.Alignment*r.Alignment)))
		instead := wording.ThreeFigures(r.Heading, 1) + " without a record"
		if name != "" {
			instead = wording.ThreeFigures(r.Heading, 1) + " by the record of " + name
		}
		out = append(out, slipped{slip: SlipInstrument, instead: instead, content: c})
	}
	return out
}

// around lists the legs by the dial about entry i, the nearest first; before is the last
// one before the run.
func (d *closingRun) around(dials []DialReading, i int) (out []dialLeg) {
	add := func(j int) {
		if j < 0 || j >= len(d.entries) {
			return
		}
		if l, ok := d.entries[j].Content.(*Leg); ok && l.Reading != nil && l.Hand == nil {
			out = append(out, dialLeg{l, dials[j]})
		}
	}
	for k := 1; k < len(d.entries); k++ {
		add(i - k)
		add(i + k)
	}
	if d.last != nil {
		out = append(out, *d.last)
	}
	return out
}
