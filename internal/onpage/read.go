package onpage

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/fault"
	"shadowread/internal/overlay"
	"shadowread/internal/photo"
	"shadowread/internal/reading"
	"shadowread/internal/telling"
)

// mostPixels is the largest picture that the page reads as it is: a phone gives a page some
// hundred megabytes, and decoding takes two bytes a pixel and the file.
const mostPixels = 50_000_000

type factsRequest struct {
	Name string `json:"name"`
}

// factsAnswer says what a photo's file is, and whether it is to be read as it is.
type factsAnswer struct {
	Format   photo.Format `json:"format"`
	WidthPX  int          `json:"width_px"`
	HeightPX int          `json:"height_px"`
	// Copy says why the browser is to make a JPEG of it first, null where it need not: "large"
	// or "heic". MostPixels is what the copy may have.
	Copy       *string `json:"copy"`
	MostPixels int     `json:"most_pixels"`
	// Original goes back with the copy, to "read".
	Original photo.Facts `json:"original"`
	SHA256   string      `json:"photo_sha256"` // of the original, by which the log knows it
	// Clock is what the camera's clock read, in no zone, for the page to say which UTC offset
	// its device had then; null where the file does not say.
	Clock *string `json:"clock_local"`
}

func (r factsRequest) answer(data []byte) (any, error) {
	facts, err := photo.ReadFacts(photo.InMemory(r.Name, data))
	if err != nil && !(fault.Code(err) == "too_large" && facts.Width > 0) {
		return nil, err
	}
	a := factsAnswer{Format: facts.Format, WidthPX: facts.Width, HeightPX: facts.Height, MostPixels: mostPixels, Original: facts, SHA256: sumOf(data)}
	if !facts.Clock.IsZero() {
		a.Clock = new(facts.Clock.Format("2006-01-02T15:04:05"))
	}
	switch {
	case facts.Format == photo.HEIC && !photo.DecodesHEIC:
		a.Copy = new("heic")
	case float64(facts.Width)*float64(facts.Height) > mostPixels:
		a.Copy = new("large")
	}
	return a, nil
}

// readRequest asks for a photo's heading.
type readRequest struct {
	settingsRequest
	device
	timing
	Name  string `json:"name"`
	Place *place `json:"place"`
	// ShrunkBy is by how much the browser shrank the picture; 1 where it did not. Original is
	// then what "facts" answered.
	ShrunkBy float64      `json:"shrunk_by"`
	Original *photo.Facts `json:"original"`
	Overlay  bool         `json:"overlay"`
	bodyRequest
}

// bodyRequest may say what casts the shadow: "sun" or "moon"; "" for the sun if it is up, else
// the moon.
type bodyRequest struct {
	Body string `json:"body"`
}

func (r bodyRequest) body() (*bearing.Body, error) {
	if r.Body == "" {
		return nil, nil
	}
	b, err := bearing.ParseBody(r.Body)
	if err != nil {
		return nil, fault.New("unknown_body", "say sun or moon", "unknown body %.40q", r.Body)
	}
	return &b, nil
}

type readAnswer struct {
	Reading *reading.Result `json:"reading"`
	Say     saidReading     `json:"say"`
	SHA256  string          `json:"photo_sha256"`
}

func (r readRequest) answer(data []byte, progress func(string, []byte)) (any, []byte, error) {
	k, c, err := r.with(r.Settings)
	if err != nil {
		return nil, nil, err
	}
	file := photo.InMemory(r.Name, data)
	if r.Name == "" {
		file.Name = "photo"
	}
	facts, _ := photo.ReadFacts(file) // what is wrong with it the reading says
	o := k.options()
	if r.Original != nil {
		facts, o.Original = facts.CopyOf(*r.Original), r.Original
	}
	if facts.Format == photo.HEIC && !photo.DecodesHEIC {
		return nil, nil, fault.New("heic_not_decoded", "set the camera to JPEG (\"most compatible\"), or save the photo as a JPEG", "the photo is a HEIC file, which this browser does not decode")
	}
	c.clockError = k.clockError(facts)
	when, err := r.timing.of(facts, c)
	if err != nil {
		return nil, nil, err
	}
	where, err := r.Place.of(facts, c.now, when)
	if err != nil {
		return nil, nil, err
	}
	o.Time, o.Position = when.options, where.options
	o.Progress = func(stage string) { progress(stage, nil) }
	if o.Body, err = r.body(); err != nil {
		return nil, nil, err
	}
	res := reading.Read(context.Background(), file, o)
	k.conclude(res, when, where)
	if r.ShrunkBy > 1 {
		res.Warnings = append(res.Warnings, photo.Warning{Code: "picture_shrunk", Message: fmt.Sprintf("the picture was shrunk by %.3g before it was read: it is larger than what this page holds", r.ShrunkBy)})
	}
	out := readAnswer{Reading: res, Say: k.sayReading(res, when, where, c), SHA256: sumOf(data)}
	if !r.Overlay {
		return out, nil, nil
	}
	early, err := json.Marshal(out)
	if err != nil {
		return nil, nil, err
	}
	progress("read", early)
	picture, err := overlay.JPEG(file, res)
	if err != nil {
		picture = nil // a file that shows no picture has no overlay; the refusal says why
	}
	return out, picture, nil
}

func sumOf(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// conclude puts what the page knows of time and place to a reading.
func (k *kept) conclude(r *reading.Result, when moment, where spot) {
	if k.settings.Tilt != nil {
		r.Warnings = append(r.Warnings, photo.Warning{Code: "tilt_stated", Message: "the tilt in the settings was taken: it holds as long as the board stands as it was measured"})
	}
	r.Warnings = append(append(r.Warnings, when.warnings...), where.warnings...)
	for _, err := range []error{when.refused, where.refused} {
		if err != nil {
			r.Refuse(err)
		}
	}
}

// with understands settings that are to be used, and what they say of this device's clocks.
func (d device) with(s Settings) (*kept, clocks, error) {
	k := understand(s)
	if err := k.usable(); err != nil {
		return nil, clocks{}, err
	}
	c, err := d.clocks(k)
	return k, c, err
}

// clocks are this device's and what is known of them.
func (d device) clocks(k *kept) (c clocks, err error) {
	if c.now, err = d.now(); err != nil {
		return c, err
	}
	if c.offset, err = d.offset(); err != nil {
		return c, err
	}
	c.stated = k.offset
	c.clockError = durationOf(k.settings.ClockErrorS)
	return c, nil
}

// present is the moment of a number that is read as it is entered.
func (c clocks) present() moment {
	at := c.now
	if c.clockError != nil {
		at = at.Add(-*c.clockError)
	}
	return moment{options: photo.TimeOptions{At: &at}, utc: at, fresh: true}
}

// numberRequest asks for the heading of a number read by eye.
type numberRequest struct {
	settingsRequest
	device
	NumberDeg *float64 `json:"number_deg"`
	SigmaDeg  *float64 `json:"number_sigma_deg"` // nil for the reader's own
	LengthMM  *float64 `json:"length_mm"`
	Stated    *string  `json:"stated_time"` // nil for now
	Place     *place   `json:"place"`
	bodyRequest
}

// dial reads a number that a dial shows. The bounds are those of the command's options.
func dial(number, sigma *float64) (n, s angle.Angle, err error) {
	if number == nil || !(*number >= 0 && *number <= 360) {
		return 0, 0, fault.New("bad_number", "give the number under the middle of the shadow, from 0 to 360", "no number of the dial is given")
	}
	if sigma != nil {
		if !(*sigma >= 0.01 && *sigma <= 45) {
			return 0, 0, fault.New("bad_number", "give one sigma from 0.01 to 45 degrees", "%v° is no sigma of a number", *sigma)
		}
		s = angle.FromDegrees(*sigma)
	}
	return angle.FromDegrees(*number), s, nil
}

func (r numberRequest) answer() (any, error) {
	k, c, err := r.with(r.Settings)
	if err != nil {
		return nil, err
	}
	number, sigma, err := dial(r.NumberDeg, r.SigmaDeg)
	if err != nil {
		return nil, err
	}
	when := c.present()
	if r.Stated != nil && *r.Stated != "" {
		if when, err = (timing{Stated: r.Stated}).stated(photo.Facts{}, c); err != nil {
			return nil, err
		}
	}
	where, err := r.Place.of(photo.Facts{}, c.now, when)
	if err != nil {
		return nil, err
	}
	o := k.options()
	o.Time, o.Position, o.Horizon = when.options, where.options, nil
	if o.Body, err = r.body(); err != nil {
		return nil, err
	}
	if l := r.LengthMM; l != nil {
		if !(*l >= 1 && *l <= 2000) {
			return nil, fault.New("bad_length", "give the shadow's length from foot to tip, 1 to 2000 mm", "%v mm is no length of a shadow", *l)
		}
		o.LengthMM = *l
	} else {
		o.Rod.HeightMM = 0 // it means nothing without a length
	}
	res := reading.ReadNumber(context.Background(), number, sigma, o)
	k.conclude(res, when, where)
	return readAnswer{Reading: res, Say: k.sayReading(res, when, where, c)}, nil
}

var errNoCourse = fault.New("no_course", "give the course to steer", "no course is given")

func courseOf(deg *float64) (angle.Angle, error) {
	if deg == nil {
		return 0, errNoCourse
	}
	if !(*deg >= 0 && *deg <= 360) {
		return 0, fault.New("bad_course", "give the true course, from 0 to 360 degrees", "%v° is no course", *deg)
	}
	return angle.FromDegrees(*deg).Bearing(), nil
}

// zoneOf is that by which times of day are told.
func (c clocks) zoneOf() telling.Zone {
	offset, _ := c.zone()
	if offset == 0 {
		return telling.Zone{Location: time.UTC}
	}
	return telling.Zone{Location: time.FixedZone("", int(math.Round(offset.Seconds())))}
}
