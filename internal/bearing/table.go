package bearing

import (
	"math"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/wording"
)

// Row is one line of a table of the sun or the moon. Angles are rounded to a
// millionth of a degree, the shadow to a thousandth of a millimetre.
//
// Azimuth and altitude are those of the disc's centre, as an almanac gives them. The
// shadow's direction and length follow the light's centre (see Apparent).
type Row struct {
	Body               Body      `json:"body"`
	TimeUTC            time.Time `json:"time_utc"`
	AzimuthDeg         float64   `json:"azimuth_deg"`
	AltitudeDeg        float64   `json:"altitude_deg"` // with refraction
	AltitudeAirlessDeg float64   `json:"altitude_airless_deg"`
	// AzimuthRateDegPerHour is that of the light's centre.
	AzimuthRateDegPerHour float64  `json:"azimuth_rate_deg_per_hour"`
	ShadowDirectionDeg    *float64 `json:"shadow_direction_deg"` // null with the body down
	ShadowLengthMM        *float64 `json:"shadow_length_mm"`     // null with the body down or no rod height given

	LightAzimuthDeg *float64 `json:"light_azimuth_deg,omitempty"` // moon only
	LitFraction     *float64 `json:"lit_fraction,omitempty"`      // moon only
}

// MaxRows bounds a table: a day by the second is 86,401 rows.
const MaxRows = 100_000

// Table returns the rows from from to to, both included where the step meets them.
// rodHeightMM is 0 where no rod is given.
//
// The error's code is one of Observe's, or bad_span, bad_step, too_many_rows or
// bad_rod_height.
func Table(b Body, from, to time.Time, step time.Duration, p geo.Position, elevationMetres, rodHeightMM float64) ([]Row, error) {
	switch {
	case to.Before(from):
		return nil, fault.New("bad_span", "give an end after the start",
			"%s comes before %s", to.UTC().Format(time.RFC3339), from.UTC().Format(time.RFC3339))
	case step <= 0:
		return nil, fault.New("bad_step", "give a step such as 10m", "step %v is not positive", step)
	case to.Sub(from)/step >= MaxRows:
		return nil, fault.New("too_many_rows", "take a longer step or a shorter span", "the table would pass %d rows", MaxRows)
	case !(rodHeightMM >= 0) || math.IsInf(rodHeightMM, 0):
		return nil, fault.New("bad_rod_height", "give the height in millimetres, such as 50", "rod height %g mm is not a length", rodHeightMM)
	}
	var rows []Row
	for t := from; !t.After(to); t = t.Add(step) {
		a, err := Observe(b, t, p, elevationMetres)
		if err != nil {
			return nil, err
		}
		rows = append(rows, a.row(rodHeightMM))
	}
	return rows, nil
}

func (a Apparent) row(rodHeightMM float64) Row {
	r := Row{
		Body: a.Body, TimeUTC: a.Time,
		AzimuthDeg:            bearingDeg(a.DiscAzimuth),
		AltitudeDeg:           roundDeg(a.DiscAltitude),
		AltitudeAirlessDeg:    roundDeg(a.DiscAltitudeAirless),
		AzimuthRateDegPerHour: roundDeg(a.AzimuthRate),
	}
	if a.Altitude > 0 {
		r.ShadowDirectionDeg = new(bearingDeg(a.ShadowDirection()))
	}
	if mm, ok := ShadowLength(rodHeightMM, a.Altitude); ok {
		r.ShadowLengthMM = new(math.Round(mm*1e3) / 1e3)
	}
	if a.Body == Moon {
		r.LightAzimuthDeg = new(bearingDeg(a.Azimuth))
		r.LitFraction = new(math.Round(a.LitFraction*1e6) / 1e6)
	}
	return r
}

// roundDeg adds zero so that no -0 is printed.
func roundDeg(a angle.Angle) float64 { return wording.Degrees(a, 6) }

// bearingDeg rounds a bearing and keeps it below 360.
func bearingDeg(a angle.Angle) float64 { return wording.BearingDegrees(a, 6) }
