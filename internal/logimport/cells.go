package logimport

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
	"shadowread/internal/logbook"
	"shadowread/internal/table"
	"shadowread/internal/wording"
	"shadowread/internal/workup"
)

// CellColumns are the columns in which Cells writes what an entry says, beside kind, time
// and note: all that Paper needs to enter it again.
var CellColumns = []string{
	"odometer_km", "odometer_mi", "odometer_nmi", "odometer_decimals", "rolled_over_digits",
	"distance_km", "distance_sigma_km", "speed_kmh", "speed_sigma_kmh", "under_way_s", "stood",
	"how", "heading_deg", "sigma_deg", "level_sigma_deg", "lubber_sigma_deg", "position_sigma_deg", "set_up_anew",
	"number_deg", "body", "body_azimuth_deg", "body_altitude_deg", "computed_at",
	"photo", "photo_sha256", "refused", "refused_message",
	"position", "error_m", "source", "confirmed", "legs", "reads", "reads_unit", "reads_decimals",
	"steering_deg", "lubber_shared_deg", "lubber_walk_deg", "lean_deg", "lean_walk_deg", "scale", "scale_walk",
	"drift_mps", "drift_walk_mps", "speed_limit_kmh", "waits_from_sigmas", "settings", "instrument",
}

// Cells returns what an entry says, by column. reading is what the log keeps beside a leg
// by the dial, as JSON; it may be nil.
func Cells(c logbook.Content, reading []byte) map[string]string {
	w := cells{}
	switch c := c.(type) {
	case *logbook.Departure:
		w.odometer(c.Odometer)
		w.fixed(c.Position, c.Sigma, c.Source)
		w.model(c)
		w.settings(c.Settings)
	case *logbook.Leg:
		w.run(c.Run)
		w.leg(c, reading)
	case *logbook.Detour:
		w.run(c.Run)
		legs := make([]string, len(c.Legs))
		for i, l := range c.Legs {
			legs[i] = shortLegText(l)
		}
		w["legs"] = strings.Join(legs, "; ")
	case *logbook.Halt:
		w.run(c.Run)
	case *logbook.Fix:
		w.run(c.Run)
		w.fixed(c.Position, c.Sigma, c.Source)
		w.yes("confirmed", c.Confirmed)
		w["waits_from_sigmas"] = fixRules[c.Rule]
	case *logbook.Tyres:
		w.run(c.Run)
	case *logbook.Settings:
		w.settings(c)
	case *logbook.OdometerSet:
		w.run(c.Run)
		w["reads"], w["reads_unit"], w["reads_decimals"] = c.After.AsGiven, string(c.After.Unit), decimals(c.After)
	}
	return w
}

type cells map[string]string

func (w cells) yes(column string, is bool) {
	if is {
		w[column] = "yes"
	}
}

// Numbers are written to a millionth of their unit: of degrees that is 2 cm in 1000 km, of
// kilometres a millimetre.
const millionth = 1e6

func plain(x float64) string {
	return strconv.FormatFloat(math.Round(x*millionth)/millionth, 'f', -1, 64)
}

// measured leaves out what was not given.
func (w cells) measured(column string, x float64) {
	if x != 0 {
		w[column] = plain(x)
	}
}

// upward and downward keep a sigma more than its parts; what a conversion has left in the
// ninth digit is not rounded away from.
func upward(a angle.Angle) string { return plain(math.Ceil(a.Degrees()*millionth-1e-3) / millionth) }

func downward(a angle.Angle) string {
	return plain(math.Floor(a.Degrees()*millionth+1e-3) / millionth)
}

// bearingText stays below 360.
func bearingText(a angle.Angle) string {
	return plain(math.Mod(math.Round(a.Bearing().Degrees()*millionth), 360*millionth) / millionth)
}

func (w cells) odometer(o *logbook.Odometer) {
	if o == nil {
		return
	}
	w["odometer_"+string(o.Unit)] = o.AsGiven
	w["odometer_decimals"] = decimals(*o)
	if o.RolledOver > 0 {
		w["rolled_over_digits"] = strconv.Itoa(o.RolledOver)
	}
}

// decimals is how many digits stand behind the point.
func decimals(o logbook.Odometer) string {
	_, fraction, _ := strings.Cut(o.AsGiven, ".")
	return strconv.Itoa(len(fraction))
}

func (w cells) run(r logbook.Run) {
	w.odometer(r.Odometer)
	if d := r.Distance; d != nil {
		w["distance_km"] = plain(d.Length.Kilometres())
		w.measured("distance_sigma_km", d.Sigma.Kilometres())
	}
	if s := r.Speed; s != nil {
		w["speed_kmh"] = plain(float64(s.Mean) * 3.6)
		w.measured("speed_sigma_kmh", float64(s.Sigma)*3.6)
		w.measured("under_way_s", s.For.Seconds())
	}
	w.yes("stood", r.Stood)
}

// fixed writes a position with letters: a cell that begins with a minus sign may be
// taken for a formula.
func (w cells) fixed(p geo.Position, sigma geo.Metres, source string) {
	w["position"], w["error_m"], w["source"] = positionText(p), plain(math.Round(1000*float64(sigma))/1000), table.SafeCell(source)
}

func positionText(p geo.Position) string {
	side := func(a angle.Angle, positive, negative string) string {
		if a < 0 {
			positive = negative
		}
		return strconv.FormatFloat(math.Abs(a.Degrees()), 'f', 7, 64) + " " + positive
	}
	return side(p.Lat, "N", "S") + ", " + side(p.Lon, "E", "W")
}

func (w cells) model(d *logbook.Departure) {
	for _, f := range modelFields(&d.Model) {
		w[f.column] = plain(*f.value / f.unit)
	}
	w["speed_limit_kmh"] = plain(float64(d.SpeedLimit) * 3.6)
}

// modelField is a part of a model, in the unit of its column.
type modelField struct {
	column string
	value  *float64
	unit   float64
}

func modelFields(m *workup.Model) []modelField {
	deg := float64(angle.Degree)
	return []modelField{
		{"steering_deg", (*float64)(&m.Steering), deg},
		{"lubber_shared_deg", (*float64)(&m.Mount), deg}, {"lubber_walk_deg", (*float64)(&m.MountWalk), deg},
		{"lean_deg", (*float64)(&m.Lean), deg}, {"lean_walk_deg", (*float64)(&m.LeanWalk), deg},
		{"scale", &m.Scale, 1}, {"scale_walk", &m.ScaleWalk, 1},
		{"drift_mps", (*float64)(&m.Drift), 1}, {"drift_walk_mps", (*float64)(&m.DriftWalk), 1},
	}
}

func (w cells) leg(l *logbook.Leg, reading []byte) {
	w["how"] = string(l.How)
	if p := l.Photo; p != nil {
		w["photo"], w["photo_sha256"] = table.SafeCell(p.Name), hashLead+p.SHA256
		w["refused"], w["refused_message"] = table.SafeCell(p.Refused), table.SafeCell(p.Message)
	}
	if l.Hand != nil {
		w["heading_deg"], w["sigma_deg"] = bearingText(l.Hand.Heading), plain(l.Hand.Sigma.Degrees())
	}
	r := l.Reading
	if r == nil {
		return
	}
	w["heading_deg"], w["sigma_deg"] = bearingText(r.Heading), upward(r.Sigma)
	w["level_sigma_deg"], w["lubber_sigma_deg"], w["position_sigma_deg"] = downward(r.Level), downward(r.Alignment), downward(r.Position)
	w.yes("set_up_anew", r.SetUpAnew)
	if b := r.Body; b != nil {
		w["body_azimuth_deg"], w["body_altitude_deg"] = bearingText(b.Azimuth), plain(b.Altitude.Degrees())
	}
	if r.ComputedAt != nil {
		w["computed_at"] = positionText(*r.ComputedAt)
	}
	if r.Instrument != nil {
		text, _ := json.Marshal(r.Instrument) // texts alone
		w["instrument"] = string(wording.EscapedJSON(text))
	}
	shown := logbook.Shown(reading)
	w["body"] = table.SafeCell(shown.Body)
	if shown.Number != nil {
		w["number_deg"] = plain(*shown.Number)
	}
}

// hashLead keeps a hash from being taken for a number.
const hashLead = "sha256:"

// odometerText is what ParseReading reads, with the digits before the point behind it
// where the odometer rolled over.
func odometerText(o logbook.Odometer) string {
	text := o.AsGiven + string(o.Unit)
	if o.RolledOver > 0 {
		text += fmt.Sprintf("(%d)", o.RolledOver)
	}
	return text
}

// shortLegText is what ParseShortLeg reads. A speed becomes the length that it makes.
func shortLegText(l logbook.ShortLeg) string {
	way := ""
	switch r := l.Run; {
	case r.Distance != nil:
		way = lengthText(r.Distance.Length, r.Distance.Sigma)
	case r.Speed != nil:
		seconds := r.Speed.For.Seconds()
		way = lengthText(geo.Metres(float64(r.Speed.Mean)*seconds), geo.Metres(float64(r.Speed.Sigma)*seconds))
	case r.Stood:
		way = lengthText(0, 0)
	}
	if o := l.Run.Odometer; o != nil {
		way = strings.TrimSuffix("@"+odometerText(*o)+" "+way, " ")
	}
	return bearingText(l.Heading.Heading) + plusMinus + plain(l.Heading.Sigma.Degrees()) + "," + way
}

func lengthText(length, sigma geo.Metres) string {
	text := plain(float64(length)) + "m"
	if sigma > 0 {
		text += plusMinus + plain(float64(sigma)) + "m"
	}
	return text
}

// plusMinus is what parts a figure from its sigma in a detour's legs.
const plusMinus = "+-"
