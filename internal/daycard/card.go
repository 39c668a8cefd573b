package daycard

import "time"

// Card is the day's card. Angles are degrees; those called azimuth, course and number
// lie in [0, 360). Times carry the offset of the card's clock.
type Card struct {
	Title           string    `json:"title,omitempty"`
	UTCOffset       string    `json:"utc_offset"`
	Places          []Place   `json:"places"`
	ElevationMetres float64   `json:"elevation_m"`
	CoursesDeg      []float64 `json:"courses_deg"`
	ToleranceDeg    *float64  `json:"tolerance_deg"`  // null with fixed windows
	WindowMinutes   *float64  `json:"window_minutes"` // null with windows by tolerance
	LowestDeg       float64   `json:"lowest_altitude_deg"`
	HighestDeg      float64   `json:"highest_altitude_deg"`
	LevelErrorDeg   float64   `json:"level_error_deg"` // for which the windows give the cost
	Moonlight       Moonlight `json:"moonlight"`
	RodHeightMM     *float64  `json:"rod_height_mm"`
	ScaleRadiusMM   *float64  `json:"scale_radius_mm"`
	Days            []Day     `json:"days"`
}

// Place is a stop of the route.
type Place struct {
	LatitudeDeg  float64    `json:"latitude_deg"`
	LongitudeDeg float64    `json:"longitude_deg"`
	Time         *time.Time `json:"time,omitempty"`
}

// Moonlight says from when on the moon's shadow is taken to be usable.
type Moonlight struct {
	LeastLitFraction  float64 `json:"least_lit_fraction"`
	LowestAltitudeDeg float64 `json:"lowest_altitude_deg"`
	SunBelowDeg       float64 `json:"sun_below_deg"`
}

// Day is a day of the card. Sun and Moon are for the place given, the middle of an
// untimed route or where a timed one is at noon.
type Day struct {
	Date         Date     `json:"date"`
	LatitudeDeg  float64  `json:"latitude_deg"`
	LongitudeDeg float64  `json:"longitude_deg"`
	Sun          Sun      `json:"sun"`
	Moon         Moon     `json:"moon"`
	Serves       []Span   `json:"serves"` // the windows, those that follow on each other joined
	Windows      []Window `json:"windows"`
	Gaps         []Gap    `json:"gaps"` // all the rest of the day
	Rule         Rule     `json:"rule"`
	Costs        *Costs   `json:"costs"` // null without windows
	Rod          *Rod     `json:"rod"`   // null without windows or rod
	// GridDeg are the courses from polar grid north at the day's place; null away from poles.
	GridDeg  []float64 `json:"courses_grid_deg"`
	Warnings []Warning `json:"warnings"`

	midnight time.Time
}

// State says whether a body rises or sets on a day.
type State string

// The states of a day.
const (
	Crosses State = "rises_or_sets"
	UpAll   State = "up_all_day"
	DownAll State = "down_all_day"
)

// Passage is when the upper limb passes a level horizon, in the almanacs' sense.
type Passage struct {
	State State       `json:"state"`
	Rises []time.Time `json:"rises"`
	Sets  []time.Time `json:"sets"`
}

// Sun is the sun's day.
type Sun struct {
	Passage
	Highest *Highest `json:"highest"` // null where the sun is down all day
}

// Highest is where the sun stands highest, good to half a minute.
type Highest struct {
	Time        time.Time `json:"time"`
	AltitudeDeg float64   `json:"altitude_deg"`
	AzimuthDeg  float64   `json:"azimuth_deg"`
}

// Moon is the moon's day. LitFraction is of noon, 0 to 1; it changes by up to 0.07 in
// the twelve hours to either midnight. Serves holds the spans in which its shadow is usable
// in the dark, to the minute.
type Moon struct {
	Passage
	LitFraction float64 `json:"lit_fraction"`
	Serves      []Span  `json:"serves"`
}

// Span is a span of time.
type Span struct {
	From  time.Time `json:"from"`
	Until time.Time `json:"until"`
}

// Window is a span in which one azimuth is good.
type Window struct {
	Span
	Centre         time.Time `json:"centre"`
	AzimuthDeg     float64   `json:"azimuth_deg"`
	NumbersDeg     []float64 `json:"numbers_deg"`        // under the shadow, for each course
	GreatestErrDeg float64   `json:"greatest_error_deg"` // of the azimuth, rounded up
	LevelCostDeg   float64   `json:"level_cost_deg"`     // of a rod off plumb by level_error_deg, at most
	// RuleErrorDeg is the rule's azimuth less the true one where that is worst in the
	// window, in (-180, 180]; the heading comes out wrong by as much. Null before the
	// bearing is taken.
	RuleErrorDeg   *float64 `json:"rule_error_deg"`
	LowestDeg      float64  `json:"lowest_altitude_deg"`
	HighestDeg     float64  `json:"highest_altitude_deg"`
	ShadowLengthMM *int     `json:"shadow_length_mm"` // at the centre, on level ground; null without a rod
}

// Reason says why the shadow is not usable.
type Reason string

// The reasons.
const (
	TooLow   Reason = "too_low"
	TooHigh  Reason = "too_high"
	TooFast  Reason = "turns_too_fast"      // no window is long enough
	TooApart Reason = "differs_along_route" // the places are too far apart for one azimuth
)

// Gap is a span in which the shadow is not usable.
type Gap struct {
	Span
	Reasons []Reason `json:"reasons"`
}

// Rule is the rule of 15 degrees an hour: clockwise on the northern hemisphere and the
// equator, counter-clockwise on the southern.
type Rule struct {
	Sense      string     `json:"sense"`       // "clockwise" or "counterclockwise"
	From       *time.Time `json:"from"`        // when the bearing is taken; null if the shadow is not usable then
	AzimuthDeg *float64   `json:"azimuth_deg"` // of that bearing
}

// Costs is what common slips turn the azimuth by, at worst, while the shadow is usable.
type Costs struct {
	ClockMinuteDeg float64 `json:"clock_minute_deg"` // a clock off by a minute
	TenKMDeg       float64 `json:"ten_km_deg"`       // ten kilometres off the place
}

// Rod is what the shadow of the rod does while it is usable. The last three are for the scale
// and absent without one.
type Rod struct {
	LongestMM    int      `json:"longest_shadow_mm"`
	ShortestMM   int      `json:"shortest_shadow_mm"`
	ReachesBelow *float64 `json:"reaches_scale_below_altitude_deg,omitempty"`
	ReachesScale []Span   `json:"reaches_scale,omitempty"`
	AllDayRodMM  *int     `json:"rod_for_all_windows_mm,omitempty"` // reaches the scale in every window
}

// Warning is something that the reader of a day must know.
type Warning struct {
	Code    string `json:"code"`
	Message string `json:"message"`
}
