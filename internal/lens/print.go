package lens

import (
	"context"
	"fmt"
	"math"

	"shadowread/internal/calib"
	"shadowread/internal/camera"
	"shadowread/internal/fault"
	"shadowread/internal/photo"
	"shadowread/internal/sheet"
	"shadowread/internal/sheetphoto"
	"shadowread/internal/vision"
)

// Print is what the photos say of the printed sheet.
type Print struct {
	// Stretch is the ratio of the true print scale athwart to that fore-and-aft,
	// less 1. It turns a direction at 45 degrees by half of itself, in radians.
	Stretch float64 `json:"stretch"`
	Sigma   float64 `json:"stretch_sigma"` // one standard deviation
	// CurlMM is the sheet's height above or below the plane of its foot, mm, at 100
	// mm in the direction in which it is greatest.
	CurlMM float64 `json:"curl_mm"`
	Photos int     `json:"photos"`
}

// curlHeight returns the height at 100 mm: the eigenvalue of the quadratic form that
// is greater in magnitude.
func curlHeight(c calib.Curl) float64 {
	m, d := (c.XX+c.YY)/2, math.Hypot((c.XX-c.YY)/2, c.XY/2)
	const arm = 100 * 100
	if m < 0 {
		d = -d
	}
	return arm * (m + d)
}

const (
	// stretched is the least stretch that is spoken of: one sigma of a good print
	// (common practice), 0.03 degree at worst.
	stretched = 0.001
	// significant is how many sigmas it must stand out.
	significant = 3
)

// Warnings says what to do about the print: with codes "print_stretched", or where its
// scale was measured "print_scale_doubtful".
func (p Print) Warnings(o Options) (list []photo.Warning) {
	cost := math.Abs(p.Stretch) / 2 * 180 / math.Pi
	if mean, sigma := o.stretch(); o.PrintScale != nil {
		if d := p.Stretch - mean; math.Abs(d) > significant*math.Hypot(p.Sigma, sigma) {
			list = append(list, photo.Warning{Code: "print_scale_doubtful", Message: fmt.Sprintf(
				"the photos show the print stretched by %+.2f %% ± %.2f %% athwart, the measured scale says %+.2f %%: measure both 176 mm again",
				100*p.Stretch, 100*p.Sigma, 100*mean)})
		}
		return list
	}
	if math.Abs(p.Stretch) > max(stretched, significant*p.Sigma) {
		list = append(list, photo.Warning{Code: "print_stretched", Message: fmt.Sprintf(
			"the print is stretched by %+.2f %% ± %.2f %% athwart against fore-and-aft, which turns a shadow at 45° by %.2f°: measure both 176 mm and give them, or print again at 100 %% without fitting to the page",
			100*p.Stretch, 100*p.Sigma, cost)})
	}
	return list
}

// PrintCheck is a print judged by a known lens.
type PrintCheck struct {
	Schema int `json:"schema_version"` // of this object
	Print
	// Views holds what each photo says by itself.
	Views    []PrintView     `json:"views"`
	Skipped  []Skipped       `json:"skipped,omitempty"`
	Warnings []photo.Warning `json:"warnings,omitempty"`
}

// PrintView is one photo's word on the print.
type PrintView struct {
	Photo   string  `json:"photo"`
	Stretch float64 `json:"stretch"`
	Sigma   float64 `json:"stretch_sigma"`
}

// CheckPrint estimates the stretch of one print from photos of it taken through a
// known lens: with the lens free a slanted photo of a stretched print looks like one
// of a true print from another side; with the lens known it does not.
//
// The photos' own errors average out, those of the record are common to all. A
// photo's own variance is that with the lens held, what the lens's sigmas add is the
// common part; with weights w of sum 1 the variance is sum(w^2 own) + sum(w
// sqrt(common))^2.
//
// It fails with code "lens_mismatch" for a photo by another lens than the record's
// and "too_few_views" when no photo shows the sheet.
func CheckPrint(ctx context.Context, photos []photo.File, record camera.LensRecord, o Options) (*PrintCheck, error) {
	c := &PrintCheck{Schema: 1}
	var weight, mean, single, common float64
	for _, file := range photos {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		facts, err := photo.ReadFacts(file)
		if err == nil {
			if err := Fits(record, facts); err != nil {
				return nil, fault.Wrap(err, "lens_mismatch", "give photos by the camera of the lens record", "%s", file.Name)
			}
		}
		var own, curl float64
		v := PrintView{Photo: file.Name}
		if err == nil {
			own, curl, err = v.measure(file, facts, record)
		}
		if err != nil {
			c.Skipped = append(c.Skipped, Skipped{file.Name, fault.Code(err), err.Error()})
			continue
		}
		w := 1 / (v.Sigma * v.Sigma)
		weight += w
		mean += w * v.Stretch
		single += w * w * own * own
		common += w * math.Sqrt(max(0, v.Sigma*v.Sigma-own*own))
		if math.Abs(curl) > math.Abs(c.CurlMM) {
			c.CurlMM = curl
		}
		c.Views = append(c.Views, v)
	}
	if len(c.Views) == 0 {
		return nil, fault.New("too_few_views", "take the whole sheet, sharp and well lit", "none of the photos shows the sheet")
	}
	c.Stretch, c.Sigma, c.Photos = mean/weight, math.Hypot(math.Sqrt(single), common)/weight, len(c.Views)
	c.Warnings = c.Print.Warnings(o)
	return c, nil
}

// measure fills in what one photo says and returns the sigma of it that is the
// photo's own, with the lens held, and the sheet's curl.
func (v *PrintView) measure(file photo.File, facts photo.Facts, record camera.LensRecord) (own, curlMM float64, err error) {
	p, err := sheetphoto.Open(file, facts)
	if err != nil {
		return 0, 0, err
	}
	g, plate, _, err := p.FindWhole(sheet.Standard, func(g *vision.Gray) calib.Prior {
		p := record.Prior(g.W, g.Factor, g.Mirrored)
		p.Stretch, p.Curl = printOpen, calib.TapedCurl
		return p
	})
	if err != nil {
		return 0, 0, err
	}
	samples, _ := vision.SheetPoints(g, sheet.Standard, plate)
	held, err := plate.Refit(samples, calib.Prior{Lens: plate.Lens, Stretch: printOpen, Curl: calib.TapedCurl})
	if err != nil {
		return 0, 0, fault.Wrap(err, "poor_map", "take the whole sheet, with marks on all sides of the dial in view", "the marks do not pin the sheet down")
	}
	v.Stretch, v.Sigma = plate.Stretch, plate.StretchSigma()
	return held.StretchSigma(), curlHeight(plate.Curl), nil
}

// Fits refuses a photo that the record does not fit: one of another size, or one
// that names another camera, lens or zoom. A photo that names none passes. It fails
// with code "lens_mismatch".
func Fits(record camera.LensRecord, f photo.Facts) error {
	a, b := record.Camera, camera.Of(f)
	known := a.Known() && b.Known()
	if a.WidthPX == b.WidthPX && a.HeightPX == b.HeightPX && (!known || a.Same(b)) && camera.Whole(f) {
		return nil
	}
	hint := "give the lens record of this camera at this zoom, or none"
	if turned(a, b) {
		hint = turnedHint
	}
	return fault.New("lens_mismatch", hint, "the photo (%s) is not by the lens of the record (%s)", b, a)
}
