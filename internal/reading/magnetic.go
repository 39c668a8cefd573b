package reading

import (
	"fmt"
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/compass"
	"shadowread/internal/geo"
	"shadowread/internal/geomag"
	"shadowread/internal/photo"
)

// SigmaDeclinationOption is one sigma of a declination that the user gives without
// one: read off a chart and brought up to date (common practice).
const SigmaDeclinationOption = 0.5 * angle.Degree

// Declination turns true headings into magnetic ones: magnetic = true - declination,
// east positive.
type Declination struct {
	Value, Sigma angle.Angle
	Field        *geomag.Field // of the model; nil where the user gave the value
}

// Source names where the declination comes from: "option" or "wmm2025".
func (d Declination) Source() string {
	if d.Field == nil {
		return "option"
	}
	return "wmm2025"
}

// ModelDeclination returns the declination of the World Magnetic Model 2025 then and
// there. Its sigma is the published one together with what the position's does to it.
//
// The error's code is one of geomag.Magnetic's.
func ModelDeclination(i photo.Instant, p photo.Place) (Declination, error) {
	f, err := geomag.Magnetic(i.UTC, p.Position, p.ElevationMetres)
	if err != nil {
		return Declination{}, err
	}
	sum := sq(float64(f.DeclinationSigma))
	for _, axis := range [2]angle.Angle{0, 90 * angle.Degree} {
		var most angle.Angle
		for _, course := range [2]angle.Angle{axis, axis + 180*angle.Degree} {
			moved, err := geo.RhumbDirect(p.Position, course, geo.Metres(1000*p.SigmaKM))
			if err != nil { // over a pole, where the true heading is open by as much
				continue
			}
			if there, err := geomag.Magnetic(i.UTC, moved, p.ElevationMetres); err == nil {
				most = max(most, (there.Declination - f.Declination).Signed().Abs())
			}
		}
		sum += sq(float64(most))
	}
	return Declination{f.Declination, min(angle.Angle(math.Sqrt(sum)), 180*angle.Degree), &f}, nil
}

// SettleDeclination returns the declination that makes true headings magnetic at a spot:
// the one given, else the model's; nil where neither is known. model is the model's
// beside it, nil where it cannot be asked.
//
// The error's code is one of geomag.Magnetic's. With a declination given there is none:
// the model has its years, and whoever gave it may know better.
func SettleDeclination(given *Declination, at Spot) (settled, model *Declination, err error) {
	if at.Place == nil || at.Instant == nil {
		return given, nil, nil
	}
	m, err := ModelDeclination(*at.Instant, *at.Place)
	switch {
	case err != nil && given != nil:
		return given, nil, nil
	case err != nil:
		return nil, nil, err
	case given == nil:
		return &m, &m, nil
	}
	return given, &m, nil
}

// Contradicts reports whether a declination is another than the model's by more than two
// sigmas: by chance one in twenty is, more often its sign is wrong.
func (d Declination) Contradicts(model Declination) bool {
	return (d.Value - model.Value).Signed().Abs() > 2*angle.RSS(d.Sigma, model.Sigma)
}

// Uncertain is an angle with one sigma.
type Uncertain struct{ Value, Sigma angle.Angle }

// Compass is the heading as instruments and maps other than the sky count it. What is
// not known or not asked for is nil.
type Compass struct {
	Declination *Declination
	Magnetic    *Uncertain // the heading
	Grid        *Uncertain // the heading from polar grid north
	Deviated    *Uncertain // what the compass on board shows on this heading
	Steer       *Uncertain // what it shows on the course
}

// compass fills r.Compass from the heading.
func (r *Result) compass(o Options) {
	c := &r.Compass
	if o.Grid || geo.NearPole(r.Place.Position) {
		b := *r.Budget
		b.Position = r.Sky.GridSigmaForPosition(r.Place.SigmaKM)
		c.Grid = &Uncertain{geo.GridHeading(*r.Heading, r.Place.Position), b.Sigma()}
	}
	if c.Declination = o.Declination; c.Declination == nil {
		d, err := ModelDeclination(*r.Instant, *r.Place)
		if err != nil {
			r.warn("no_declination", "there is no magnetic heading: "+say(err))
			return
		}
		c.Declination = &d
	}
	d := *c.Declination
	if f := d.Field; f != nil && f.Zone != geomag.Clear {
		r.warn("magnetic_"+f.Zone.String(), ZoneText(*f))
	}
	c.Magnetic = &Uncertain{(*r.Heading - d.Value).Bearing(), min(angle.RSS(r.Sigma, d.Sigma), 180*angle.Degree)}
	if o.Card == nil {
		return
	}
	r.checkCard(*o.Card, d)
	c.Deviated = new(onCard(*o.Card, *c.Magnetic))
	if r.Course != nil {
		c.Steer = new(onCard(*o.Card, Uncertain{(*r.Course - d.Value).Bearing(), d.Sigma}))
	}
}

// carried is how far a declination may be from that of a swing because the compass was
// carried since: a thousand kilometres change it by a degree or two in most places
// (common practice).
const carried = 3 * angle.Degree

// checkCard warns of a card that was swung with a declination stated by somebody which the
// model does not bear out here, or the other way about: A then carries the difference.
func (r *Result) checkCard(card compass.Card, d Declination) {
	was := card.Declination
	if was == nil || was.Source == d.Source() {
		return
	}
	apart := (was.Value - d.Value).Signed()
	if apart.Abs() > carried+2*angle.RSS(was.Sigma, d.Sigma) {
		r.warn("card_declination", fmt.Sprintf("the deviation card was swung with a declination of %+.1f° (%s), and this reading has %+.1f° (%s): unless the compass was carried far since, one of them is wrong, perhaps its sign (east is positive), and the card's A with it",
			was.Value.Degrees(), was.Source, d.Value.Degrees(), d.Source()))
	}
}

// onCard returns what the compass shows on a magnetic heading. The card's own sigma
// holds that of the declination it was swung with. Where that is the same declination
// its error cancels; the sum is then too large, not too small.
func onCard(card compass.Card, magnetic Uncertain) Uncertain {
	compass, sigma := card.CompassFor(magnetic.Value)
	right, _ := card.CompassFor(magnetic.Value + magnetic.Sigma)
	left, _ := card.CompassFor(magnetic.Value - magnetic.Sigma)
	most := max((right - compass).Signed().Abs(), (left - compass).Signed().Abs())
	return Uncertain{compass, min(angle.RSS(sigma, most), 180*angle.Degree)}
}

// ZoneText says in words what a zone of the magnetic model means; "" for none.
func ZoneText(f geomag.Field) string {
	text := ""
	switch f.Zone {
	case geomag.Caution:
		text = "caution zone: the horizontal field is %.0f nT, so that a compass is sluggish and wanders; trust it little"
	case geomag.Blackout:
		text = "blackout zone: the horizontal field is %.0f nT, too weak for a compass; do not steer by one"
	default:
		return ""
	}
	return fmt.Sprintf(text, float64(f.Horizontal))
}
