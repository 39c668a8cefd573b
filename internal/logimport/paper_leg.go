package logimport

import (
	"encoding/json"
	"strings"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/workup"
)

func (r *paperRow) leg(run logbook.Run) (logbook.Content, error) {
	leg := &logbook.Leg{Run: run, How: logbook.How(strings.ToLower(r.Field("how")))}
	if err := r.photo(leg); err != nil {
		return nil, err
	}
	heading, byHand, err := r.Number("heading_deg")
	if err != nil {
		return nil, err
	}
	number, byNumber, err := r.Number("number_deg")
	if err != nil {
		return nil, err
	}
	sigma, known, err := r.Number("sigma_deg")
	if err != nil {
		return nil, err
	}
	exported := leg.How != ""
	switch {
	case byHand && byNumber && !exported:
		return nil, r.Bad("the leg has both a heading and a number")
	case byHand && !known:
		return nil, noSigma()
	case byHand && !(heading >= 0 && heading <= 360):
		return nil, fault.New("bad_heading", "give the true heading in degrees", "heading_deg %v is none from 0 to 360", heading)
	case (byNumber && !byHand || byNumber && exported) && !(number >= 0 && number <= 360 && sigma >= 0):
		return nil, r.Bad("number_deg %v with sigma_deg %v is none that a dial shows", number, sigma)
	case !byHand && !byNumber && known:
		return nil, r.Bad("the leg has a sigma but no heading")
	}
	given := logbook.Heading{Heading: angle.FromDegrees(heading).Bearing(), Sigma: angle.FromDegrees(sigma)}
	switch leg.How {
	case "":
		leg.How = logbook.ByHand
		fallthrough
	case logbook.ByHand:
		if byHand {
			leg.Hand = &given
			return leg, nil
		}
	case logbook.ByPhoto, logbook.ByNumber:
		if byHand {
			leg.Reading, err = r.reading(given)
			return leg, err
		}
		if leg.How == logbook.ByPhoto {
			return leg, nil
		}
	default:
		return nil, r.Bad("how %q is none of photo, number, hand", string(leg.How))
	}
	if byNumber {
		n := angle.FromDegrees(number)
		leg.How, r.number, r.numberSigma = logbook.ByNumber, &n, angle.FromDegrees(sigma)
	}
	return leg, nil // without either it needs a heading
}

// photo reads which photo a leg is of.
func (r *paperRow) photo(leg *logbook.Leg) error {
	hash := strings.ToLower(strings.TrimPrefix(r.Field("photo_sha256"), hashLead))
	switch {
	case hash != "":
		leg.Photo = &logbook.Photo{Name: r.Text("photo"), SHA256: hash, Refused: r.Text("refused"), Message: r.Text("refused_message")}
	case leg.How == logbook.ByPhoto:
		return r.Bad("a leg by a photo needs the photo's photo_sha256")
	case r.Field("photo")+r.Field("refused")+r.Field("refused_message") != "":
		return r.Bad("a photo needs its photo_sha256")
	}
	return nil
}

// reading reads a heading by the dial with its parts.
func (r *paperRow) reading(h logbook.Heading) (*logbook.DialHeading, error) {
	out := &logbook.DialHeading{Heading: h.Heading, Sigma: h.Sigma}
	for column, part := range map[string]*angle.Angle{"level_sigma_deg": &out.Level, "lubber_sigma_deg": &out.Alignment, "position_sigma_deg": &out.Position} {
		x, _, err := r.Number(column)
		if err != nil {
			return nil, err
		}
		*part = angle.FromDegrees(x)
	}
	sky, err := r.figures("body_azimuth_deg", "body_altitude_deg")
	if err != nil {
		return nil, err
	}
	if sky != nil {
		out.Body = &workup.Body{Azimuth: angle.FromDegrees(sky[0]), Altitude: angle.FromDegrees(sky[1])}
	}
	if text := r.Field("computed_at"); text != "" {
		p, err := geo.ParsePosition(text)
		if err != nil {
			return nil, err
		}
		out.ComputedAt = &p
	}
	if out.Instrument, err = r.instrument(); err != nil {
		return nil, err
	}
	if out.SetUpAnew, err = r.yes("set_up_anew"); err != nil {
		return nil, err
	}
	kept := logbook.DialReading{Body: r.Text("body")}
	if number, filled, err := r.Number("number_deg"); err != nil {
		return nil, err
	} else if filled {
		kept.Number = &number
	}
	if kept != (logbook.DialReading{}) {
		r.kept, err = json.Marshal(kept)
	}
	return out, err
}

func noSigma() error {
	return fault.New("bad_heading", "fill the column sigma_deg: degrees, one sigma", "how well the heading is known is not given")
}
