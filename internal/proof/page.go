package proof

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
	"shadowread/internal/photo"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
	"shadowread/internal/steering"
)

// PageTolerance is how far a heading, or a number to hold, of the page may be from the
// program's.
const PageTolerance = 0.005 * angle.Degree

// Caller is the program in a page, in a browser.
type Caller interface {
	// Answer calls it as the page does and returns its answer.
	Answer(name string, request any, file []byte) (string, error)
}

// PageSums is what a comparison of page and program comes to.
type PageSums struct {
	Photos, Read int
	Most         angle.Angle // by which headings differ
	Wrong        []string    // beyond PageTolerance, or with another status or code
	Contrast     Contrast    // the program with OpenCV and without
	Steered      int
	MostSteered  angle.Angle
}

// Page reads every photo of folders by the page and by the program and prints a table of both
// and their difference. A folder with a truth.json says what the photographer knows beside
// each; in another nobody knows anything.
func Page(ctx context.Context, w io.Writer, page Caller, dirs ...string) (s PageSums, err error) {
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "photo\tprogram\tpage\tdifference\tremark")
	for _, dir := range dirs {
		photos, err := photosIn(dir)
		if err != nil {
			return s, err
		}
		for _, p := range photos {
			if err := ctx.Err(); err != nil {
				return s, err
			}
			if err := s.photo(ctx, tw, page, p); err != nil {
				return s, err
			}
		}
	}
	tw.Flush()
	fmt.Fprintf(w, "%d photos, %d of them read: headings of page and program differ by %.4f° at most (%.3f° are allowed), %d statuses or headings beyond that\n",
		s.Photos, s.Read, s.Most.Degrees(), PageTolerance.Degrees(), len(s.Wrong))
	s.Contrast.print(w)
	return s, nil
}

// pagePhoto is a photo and what is known beside it.
type pagePhoto struct {
	path    string
	options reading.Options
}

func photosIn(dir string) (photos []pagePhoto, err error) {
	truths, err := loadTruth(dir)
	if err == nil {
		for _, t := range truths {
			o := t.options()
			if t.Exif == "none" {
				at, err := time.Parse(time.RFC3339Nano, t.UTC)
				if err != nil {
					return nil, err
				}
				o.Time.At = &at
			}
			photos = append(photos, pagePhoto{filepath.Join(dir, t.File), o})
		}
		return photos, nil
	}
	if !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		if slices.Contains([]string{".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic"}, strings.ToLower(filepath.Ext(e.Name()))) {
			photos = append(photos, pagePhoto{filepath.Join(dir, e.Name()), reading.Defaults()})
		}
	}
	if len(photos) == 0 {
		return nil, fmt.Errorf("%s holds no photos", dir)
	}
	return photos, nil
}

// pageAnswer is what of the page's answer is held against the program.
type pageAnswer struct {
	Error *struct {
		Code string `json:"code"`
	} `json:"error"`
	Reading struct {
		Reason  *string  `json:"reason"`
		Heading *float64 `json:"heading_true_deg"`
		Sigma   *float64 `json:"heading_sigma_deg"`
	} `json:"reading"`
	Steer struct {
		Reason  *string  `json:"reason"`
		Number  *float64 `json:"number_deg"`
		Changes []struct {
			Time time.Time `json:"time_utc"`
		} `json:"changes"`
	} `json:"steer"`
}

func (s *PageSums) photo(ctx context.Context, w io.Writer, page Caller, p pagePhoto) error {
	data, err := os.ReadFile(p.path)
	if err != nil {
		return err
	}
	r := s.Contrast.read(p.path, func() *reading.Result { return reading.Read(ctx, photofile.At(p.path), p.options) })
	text, err := page.Answer("read", requestFor(p, r), data)
	if err != nil {
		return fmt.Errorf("%s: %w", p.path, err)
	}
	var a pageAnswer
	if err := json.Unmarshal([]byte(text), &a); err != nil {
		return fmt.Errorf("%s: %w: %s", p.path, err, text)
	}
	s.Photos++
	name := filepath.Join(filepath.Base(filepath.Dir(p.path)), filepath.Base(p.path))
	of := func() string {
		switch {
		case a.Error != nil:
			return a.Error.Code
		case a.Reading.Reason != nil:
			return *a.Reading.Reason
		}
		return "read"
	}()
	if of != status(r) {
		remark := "UNLIKE"
		if u := s.Contrast.Unlike; len(u) > 0 && strings.HasPrefix(u[len(u)-1], p.path+" ") && strings.Contains(u[len(u)-1], "without OpenCV "+of) {
			remark = "as the program without OpenCV"
		} else {
			s.Wrong = append(s.Wrong, name)
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t\t%s\n", name, status(r), of, remark)
		return nil
	}
	if !r.OK() {
		fmt.Fprintf(w, "%s\t%s\t%s\t\t\n", name, status(r), of)
		return nil
	}
	s.Read++
	apart := (angle.FromDegrees(*a.Reading.Heading) - *r.Heading).Signed()
	sigmas := angle.FromDegrees(*a.Reading.Sigma) - r.Sigma
	s.Most = max(s.Most, apart.Abs())
	remark := ""
	if apart.Abs() > PageTolerance || sigmas.Abs() > PageTolerance {
		remark = fmt.Sprintf("BEYOND, sigma %+.4f", sigmas.Degrees())
		s.Wrong = append(s.Wrong, name)
	}
	fmt.Fprintf(w, "%s\t%.4f\t%.4f\t%+.4f\t%s\n", name, r.Heading.Degrees(), *a.Reading.Heading, apart.Degrees(), remark)
	return nil
}

// requestFor is what the page knows of a photo: what the photographer does, and the offset of
// the clock by which the program read it, which is that of a phone on the spot.
func requestFor(p pagePhoto, r *reading.Result) map[string]any {
	now := time.Date(2026, 12, 31, 12, 0, 0, 0, time.UTC)
	offset := 0.0
	if r.Instant != nil {
		now = r.Instant.UTC.Add(24 * time.Hour)
		if r.Facts != nil && !r.Facts.Clock.IsZero() {
			offset = r.Facts.Clock.Sub(r.Instant.UTC).Round(15 * time.Minute).Minutes()
		}
	}
	request := map[string]any{
		"name": filepath.Base(p.path), "chosen": "album", "device_now_ms": now.UnixMilli(), "device_utc_offset_min": offset,
		"trust_utc_offset": true, // as who took it says
		"settings":         map[string]any{"rod_height_mm": p.options.Rod.HeightMM},
	}
	if at := p.options.Time.At; at != nil {
		request["stated_time"] = at.Format(time.RFC3339Nano)
	}
	if at := p.options.Position.Position; at != nil {
		request["place"] = map[string]any{"source": "hand", "latitude_deg": at.Lat.Degrees(), "longitude_deg": at.Lon.Degrees()}
	}
	return request
}

// PageSteer asks page and program for the number to hold, for courses all round at hours of
// a day at places of all latitudes, and prints what they differ by.
func PageSteer(ctx context.Context, w io.Writer, page Caller, s *PageSums) error {
	const near = 1.0 // s; the JSON has tenths
	day := time.Date(2026, 8, 29, 0, 0, 0, 0, time.UTC)
	for _, lat := range []float64{-78, -45, -22.9, 0.5, 35, 62, 84} {
		for hour := 1; hour < 24; hour += 4 {
			for _, course := range []float64{0, 58, 123.4, 271} {
				if err := ctx.Err(); err != nil {
					return err
				}
				at := day.Add(time.Duration(hour)*time.Hour + 17*time.Second)
				o := reading.Defaults()
				o.Position = photo.PositionOptions{Position: &geo.Position{Lat: angle.FromDegrees(lat), Lon: angle.FromDegrees(22.3)}}
				want, err := steering.New(at, angle.FromDegrees(course), 0, nil, o)
				if err != nil {
					return err
				}
				text, err := page.Answer("steer", map[string]any{"course_deg": course, "device_now_ms": at.UnixMilli(), "device_utc_offset_min": 0,
					"place": map[string]any{"source": "hand", "latitude_deg": lat, "longitude_deg": 22.3}}, nil)
				if err != nil {
					return err
				}
				var a pageAnswer
				if err := json.Unmarshal([]byte(text), &a); err != nil {
					return err
				}
				s.Steered++
				name := fmt.Sprintf("steer %g at %g° on %s", course, lat, at.Format(time.TimeOnly))
				got := a.Steer
				switch {
				case a.Error != nil || want.OK() != (got.Number != nil) || !want.OK() && (got.Reason == nil || *got.Reason != string(want.Reading.Reason)) || len(got.Changes) != len(want.Changes):
					s.Wrong = append(s.Wrong, name)
				case want.OK():
					apart := (angle.FromDegrees(*got.Number) - *want.Number).Signed().Abs()
					s.MostSteered = max(s.MostSteered, apart)
					late := 0.0
					for i, c := range want.Changes {
						late = max(late, math.Abs(got.Changes[i].Time.Sub(c.Time).Seconds()))
					}
					if apart > PageTolerance || late > near {
						s.Wrong = append(s.Wrong, name)
					}
				}
			}
		}
	}
	fmt.Fprintf(w, "%d courses steered: numbers of page and program differ by %.4f° at most\n", s.Steered, s.MostSteered.Degrees())
	return nil
}
