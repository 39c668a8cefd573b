package reading

import (
	"math"
	"testing"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/calib"
	"shadowread/internal/geo"
	"shadowread/internal/photo"
	"shadowread/internal/vision"
)

// morningAt is a reading of a clear morning at the place and day of the worked example of
// NREL/TP-560-34302, table A5.1, with a shadow as long as given to its parts.
func morningAt(shadow vision.Strip) *Result {
	at := time.Date(2003, 10, 17, 16, 30, 30, 0, time.UTC)
	place := photo.Place{Position: geo.Position{Lat: 39.742476 * angle.Degree, Lon: -105.1786 * angle.Degree}, Source: "option"}
	sky, err := bearing.Observe(bearing.Sun, at, place.Position, 0)
	if err != nil {
		panic(err)
	}
	shadow.Direction = 70 * angle.Degree
	n := math.Pi - shadow.Direction
	return &Result{Photo: "x.jpg", Shadow: &shadow, Number: &n, Sky: &sky, Place: &place, Instant: &photo.Instant{UTC: at, Source: "option"}}
}

func has(r *Result, code string) bool {
	for _, w := range r.Warnings {
		if w.Code == code {
			return true
		}
	}
	return false
}

// Lengths follow from tan(altitude) = height/length; the sun stands some 25 degrees high.
func TestClockByTipNodusAndBound(t *testing.T) {
	sun := morningAt(vision.Strip{}).Sky.Altitude
	long := func(height float64, off angle.Angle) float64 { return height / (sun + off).Tan() }
	const deg = angle.Degree
	for _, tt := range []struct {
		name    string
		shadow  vision.Strip
		want    ClockVerdict
		refused bool
		warns   string
	}{
		{"tip", vision.Strip{Length: long(50, 0), LengthSigma: 0.1}, ClockPassed, false, ""},
		{"nodus alone", vision.Strip{Nodus: long(20, 0), NodusSigma: 0.2}, ClockPassed, false, ""},
		{"nodus, an hour or so off", vision.Strip{Nodus: long(20, 10*deg), NodusSigma: 0.2}, ClockFailed, true, ""},
		{"nodus, a board 5 degrees out of level", vision.Strip{Nodus: long(20, 5*deg), NodusSigma: 0.2}, ClockFailed, false, "clock_check_failed"},
		{"tip and nodus", vision.Strip{Length: long(50, 0), LengthSigma: 0.1, Nodus: long(20, 0), NodusSigma: 0.2}, ClockPassed, false, ""},
		{"longer than the sun allows", vision.Strip{AtLeast: long(50, -10*deg)}, ClockFailed, true, ""},
		{"as long as it may be", vision.Strip{AtLeast: 0.8 * long(50, 0)}, ClockNotPossible, false, "clock_not_checked"},
		{"nothing seen", vision.Strip{}, ClockNotPossible, false, "clock_not_checked"},
	} {
		r := morningAt(tt.shadow)
		o := Defaults()
		o.Rod.HeightMM, o.Rod.NodusMM = 50, 20
		fear := r.checkClock(o)
		if r.Clock != tt.want || r.OK() == tt.refused || tt.warns != "" && !has(r, tt.warns) || tt.warns == "" && len(r.Warnings) > 0 {
			t.Errorf("%s: %s, reason %q, warnings %v; want %s, refused %v, %q", tt.name, r.Clock, r.Reason, r.Warnings, tt.want, tt.refused, tt.warns)
		}
		// What the check leaves open covers a board that leans, and a clock that is wrong
		// by what would fit: half an hour turns the sun by 6 degrees or more.
		if failed := tt.want == ClockFailed && !tt.refused; failed && (fear.lean < 4*deg || fear.clock < 6*deg) {
			t.Errorf("%s: fears %v and %v", tt.name, fear.lean, fear.clock)
		}
	}
}

// A fresh GPS stamp vouches for the clock: what the shadow says against it is the board's.
func TestClockProvedByGPS(t *testing.T) {
	r := morningAt(vision.Strip{Length: 50 / (30 * angle.Degree).Tan(), LengthSigma: 0.1})
	r.ClockProved = true
	o := Defaults()
	o.Rod.HeightMM = 50
	if fear := r.checkClock(o); !r.OK() || fear.lean == 0 || fear.clock != 0 {
		t.Errorf("reason %q, fear %+v", r.Reason, fear)
	}
	r = morningAt(vision.Strip{})
	r.ClockProved = true
	if r.checkClock(o); len(r.Warnings) > 0 {
		t.Errorf("warned %v of a clock that is proved", r.Warnings)
	}
}

// Exposure values of the usual photographic tables (from memory): sun 14 to 16, the
// last light of a low sun 10, lamps 4 to 8, full moonlight -3, phones' night modes up to 1.
func TestLightAgrees(t *testing.T) {
	for _, tt := range []struct {
		body     bearing.Body
		altitude float64
		ev       float64
		fits     bool
	}{
		{bearing.Sun, 50, 15, true}, {bearing.Sun, 30, 12, true}, {bearing.Sun, 3, 10, true}, {bearing.Sun, 2.5, 7, true},
		{bearing.Sun, 40, 6, false}, {bearing.Sun, 20, 8, false}, {bearing.Sun, 3, -2, false}, {bearing.Sun, 30, -3, false},
		{bearing.Moon, 40, -3, true}, {bearing.Moon, 40, 1, true}, {bearing.Moon, 40, 6, false}, {bearing.Moon, 40, 15, false},
	} {
		sky := bearing.Apparent{Body: tt.body, Altitude: angle.FromDegrees(tt.altitude)}
		r := &Result{Sky: &sky, Facts: &photo.Facts{EV100: &tt.ev}}
		if r.checkLight(Options{}); (r.Reason == LightDisagrees) == tt.fits {
			t.Errorf("%v at %v, exposure value %v: %q", tt.body, tt.altitude, tt.ev, r.Reason)
		}
		r = &Result{Sky: &sky, Facts: &photo.Facts{EV100: &tt.ev}}
		if r.checkLight(Options{Body: &tt.body}); !r.OK() || has(r, string(LightDisagrees)) == tt.fits {
			t.Errorf("%v said: %v", tt.body, r.Warnings)
		}
	}
}

// A camera 40 degrees off the vertical that stands behind the sheet and looks forward
// along its arrow points where the arrow does.
func TestCompassOfTheCamera(t *testing.T) {
	s, c := (40 * angle.Degree).Sin(), (40 * angle.Degree).Cos()
	fit := &calib.Fit{}
	// Rows: right, down in the picture, ahead.
	fit.Pose.R = [3][3]float64{{1, 0, 0}, {0, -c, -s}, {0, s, -c}}
	r := morningAt(vision.Strip{})
	r.Plate = fit
	read := (r.Sky.Azimuth + *r.Number).Bearing()
	for off, warns := range map[float64]bool{0: false, 40: false, -50: false, 70: true, 180: true, -90: true} {
		r.Warnings = nil
		r.Facts = &photo.Facts{Direction: new((read + angle.FromDegrees(off)).Bearing())}
		if r.checkCompass(); has(r, "compass_disagrees") != warns {
			t.Errorf("%v degrees off: warnings %v", off, r.Warnings)
		}
	}
	// From magnetic north: declination there was some 9 degrees east in 2025 (WMM2025).
	r.Instant.UTC = time.Date(2026, 10, 17, 16, 30, 30, 0, time.UTC)
	for off, warns := range map[float64]bool{54: true, -54: false} {
		r.Warnings = nil
		r.Facts = &photo.Facts{Direction: new((read + angle.FromDegrees(off)).Bearing()), DirectionMagnetic: true}
		if r.checkCompass(); has(r, "compass_disagrees") != warns {
			t.Errorf("magnetic, %v degrees off: warnings %v", off, r.Warnings)
		}
	}
	// From above it says nothing.
	fit.Pose.R = [3][3]float64{{1, 0, 0}, {0, -1, 0}, {0, 0, -1}}
	r.Warnings = nil
	if r.checkCompass(); len(r.Warnings) > 0 {
		t.Errorf("from above: %v", r.Warnings)
	}
}
