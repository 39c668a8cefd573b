package onpage

import "shadowread/internal/fault"

// placeRequest asks what a place is that was typed by hand, or how one is shown.
type placeRequest struct {
	settingsRequest
	Place *place `json:"place"`
}

type placeAnswer struct {
	Place struct {
		LatitudeDeg  float64 `json:"latitude_deg"`
		LongitudeDeg float64 `json:"longitude_deg"`
		SigmaKM      float64 `json:"sigma_km"`
	} `json:"place"`
	Shown string `json:"shown"`
}

func (r placeRequest) answer() (a any, err error) {
	if r.Place == nil {
		return nil, fault.New("no_position", "say where you are", "no place is given")
	}
	at, sigma, err := r.Place.position()
	if err != nil {
		return nil, err
	}
	var out placeAnswer
	out.Place.LatitudeDeg, out.Place.LongitudeDeg, out.Place.SigmaKM = at.Lat.Degrees(), at.Lon.Degrees(), sigma
	out.Shown = understand(r.Settings).position(at)
	return out, nil
}
