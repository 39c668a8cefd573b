package reading

import (
	"fmt"
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
)

// What the exposure tells of the light. Exposure values at ISO 100, for a scene exposed
// to look right, from the usual photographic tables (from memory): sunlit ground 15, hazy
// sun 14, a lit room or street 4 to 8, a landscape under a full moon -3 to -2. They follow
// from the illuminance E in lux as log2(E/2.5) (incident light constant 250, ISO 2720,
// from memory), and that from the sun's altitude by natural illumination charts (from
// memory): 90 klx at 60 degrees, 10 klx at 10, 1.2 klx at 2.
const (
	// moonMost is the most that a photo by moonlight is exposed for, night modes and
	// cameras at the end of their range among them: lamps begin above.
	moonMost = 3.5
	// sunMargin is by how many steps a photo by the sun may be exposed for less than a
	// clear sky gives: thick haze takes two, a bright exposure two.
	sunMargin = 4.5
)

// discMost is the angular diameter above which a light is none in the sky: more than twice
// the moon's 0.52 degrees, and half as much again as the least that haze's aureole over the
// demonstration's photo 04 shows. A vehicle's light of 150 mm at 4 m has 2 degrees; what has
// less, a head torch of 10 mm half a metre away, is not told by this.
const discMost = 1.2 * angle.Degree

// discOf is the angular diameter of the light under which a shadow's penumbra grows so. A disc
// blurs an edge on the sheet as a normal law of a quarter of its width, times the light's way from
// the rod, distance over cos(altitude).
func discOf(growth float64, altitude angle.Angle) angle.Angle {
	return angle.Angle(4 * math.Sqrt(max(0, growth)) * altitude.Cos())
}

// daylight is the exposure value at ISO 100 under a clear sky, by the sun's altitude in
// degrees.
var daylight = [][2]float64{{0, 7.5}, {2, 9}, {5, 11}, {10, 12}, {20, 13.5}, {40, 14.7}, {90, 15.3}}

// sunLeast is the least exposure value of a photo by the sun at an altitude.
func sunLeast(altitude angle.Angle) float64 {
	a := math.Max(0, altitude.Degrees())
	for i := 1; i < len(daylight); i++ {
		p, q := daylight[i-1], daylight[i]
		if a <= q[0] {
			return p[1] + (a-p[0])/(q[0]-p[0])*(q[1]-p[1]) - sunMargin
		}
	}
	return daylight[len(daylight)-1][1] - sunMargin
}

// checkLight holds the light that the photo was exposed for against the body that is
// taken to cast the shadow.
func (r *Result) checkLight(o Options) {
	if s := r.Shadow; s != nil && r.Sky.Body == bearing.Moon {
		if disc := discOf(s.Growth[0]-3*s.GrowthSigma, r.Sky.Altitude); disc > discMost {
			r.disagree(o, fmt.Sprintf("the shadow's edges blur as under a light of %.1f° across or more, the moon has 0.5°: it is a lamp's", disc.Degrees()))
		}
	}
	if r.Facts == nil || r.Facts.EV100 == nil {
		return
	}
	ev := *r.Facts.EV100
	message := ""
	switch {
	case r.Sky.Body == bearing.Moon && ev > moonMost:
		message = fmt.Sprintf("the photo was exposed for exposure value %.0f at ISO 100, moonlight gives 0 or less: it was taken by day or by a lamp", ev)
	case r.Sky.Body == bearing.Sun && ev < sunLeast(r.Sky.Altitude):
		message = fmt.Sprintf("the photo was exposed for exposure value %.0f at ISO 100, the sun at %.0f° gives %.0f or more: it was taken by the moon or by a lamp", ev, r.Sky.Altitude.Degrees(), sunLeast(r.Sky.Altitude))
	default:
		return
	}
	r.disagree(o, message)
}

// disagree refuses a reading whose light is not the body's, where nobody said which body
// it was, and else warns.
func (r *Result) disagree(o Options, message string) {
	message += "; check the time, its zone and the signs of the position"
	if o.Body != nil {
		r.warn(string(LightDisagrees), message)
		return
	}
	r.refuse(LightDisagrees, message+". If they are right, say --body")
}

const (
	// compassTilt is how far the camera must look off the vertical for its compass to
	// tell which way it looked.
	compassTilt = 25 * angle.Degree
	// compassApart is what a phone's compass near iron does not explain (common practice).
	compassApart = 60 * angle.Degree
)

// checkCompass compares the sheet's heading with the one that the camera's own compass
// gives. The direction is that of the camera's optical axis over the ground (Exif 2.32,
// GPSImgDirection).
func (r *Result) checkCompass() {
	if r.Facts == nil || r.Facts.Direction == nil || r.Plate == nil || r.Place == nil || r.Instant == nil {
		return
	}
	axis := r.Plate.Pose.R[2] // the optical axis in the plate's frame
	if angle.Acos(-axis[2]) < compassTilt {
		return
	}
	looked := *r.Facts.Direction
	if r.Facts.DirectionMagnetic {
		d, err := ModelDeclination(*r.Instant, *r.Place)
		if err != nil {
			return
		}
		looked += d.Value
	}
	by := (looked - angle.Clockwise(axis[0], axis[1])).Bearing()
	read := (r.Sky.Azimuth + *r.Number).Bearing()
	if apart := (by - read).Signed().Abs(); apart >= compassApart {
		r.warn("compass_disagrees", fmt.Sprintf("the camera's own compass gives the sheet a heading of %.0f°, the shadow gives %.0f°: check the hour, noon for midnight, and the signs of the position; or iron is near the camera", by.Degrees(), read.Degrees()))
	}
}
