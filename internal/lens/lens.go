// Package lens solves a camera's lens from photos of the printed sheet, keeps the
// solutions and uses them to judge a print.
//
// The photos' mark corners go to OpenCV's planar calibration; its solution starts a
// joint adjustment of all edges of all photos (calib.FitViews), which gives the
// result and its covariance. A set that cannot determine the lens is refused with
// what is missing.
package lens

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/calib"
	"shadowread/internal/camera"
	"shadowread/internal/fault"
	"shadowread/internal/photo"
	"shadowread/internal/vision"
)

// Limits of a set of photos. Each says where it comes from.
const (
	// LeastViews is the fewest photos that make a lens. Three determine one in
	// principle (Zhang, PAMI 22(11), 2000); five leave a witness against each.
	LeastViews = 5
	// tilted is how far off the vertical a photo must be to show the focal length:
	// foreshortening grows with the square of the tilt and is 3.5 % here.
	tilted = 15 * angle.Degree
	// apart is how far the directions of two tilts in the picture must differ.
	// Views tilted alike are parallel planes, which say the same of the lens
	// (Zhang, section 3.2).
	apart = 60 * angle.Degree
	// cornerReach is how near to each corner of the picture some mark must come,
	// in halves of the diagonal. Distortion is extrapolated beyond.
	cornerReach = 0.4
	// looseFocal and looseCentre are the sigmas above which the lens is called
	// undetermined: they are what an uncalibrated photo of the sheet finds out by
	// itself, so that a record no better would serve nothing.
	looseFocal  = 0.01  // of the focal length
	looseCentre = 0.005 // of the picture's long side
	// roughRMS is where something is amiss with flatness, focus or a photo. Edges
	// are found to 0.1 px; lens models fit phones to 0.2 px (common practice).
	roughRMS = 0.5 // px
	// hopelessRMS is where nothing fits.
	hopelessRMS = 3.0 // px
	// apartSigma is how far apart the two solvers may be: the adjustment takes edges,
	// ticks and a curl into account, so that OpenCV's own error is the greater.
	apartSigma = 5
	// printOpen leaves the print's stretch to the photos: nobody overlooks 1 %.
	printOpen = 0.01
)

// Options is what the user knows beside the photos.
type Options struct {
	// PrintScale is the print's true size over its nominal size, athwart and
	// fore-and-aft, as measured on the paper; nil when not measured.
	PrintScale *[2]float64
	// Solved is the day that the record will carry.
	Solved time.Time
}

func (o Options) stretch() (mean, sigma float64) {
	if p := o.PrintScale; p != nil {
		return p[0]/p[1] - 1, calib.MeasuredPrint
	}
	return 0, printOpen
}

// View is one photo's part in the solution.
type View struct {
	Photo string
	Marks []int // ids
	// RMSPx is the root mean square distance of the marks' corners from the
	// solution; Share is this photo's part of the sum of squares.
	RMSPx, Share float64
	// Tilt is the sheet's lean from square to the lens's axis; Direction is
	// where its normal leans in the picture, clockwise from up.
	Tilt, Direction angle.Angle
	DistanceMM      float64 // from the lens to the sheet's foot
	residuals       []residual
}

// MarshalJSON puts the units in the names.
func (v View) MarshalJSON() ([]byte, error) {
	return json.Marshal(struct {
		Photo      string  `json:"photo"`
		Marks      []int   `json:"marks"`
		RMSPx      float64 `json:"rms_px"`
		Share      float64 `json:"share"`
		Tilt       float64 `json:"tilt_deg"`
		Direction  float64 `json:"tilt_direction_deg"`
		DistanceMM float64 `json:"distance_mm"`
	}{v.Photo, v.Marks, v.RMSPx, v.Share, v.Tilt.Degrees(), v.Direction.Degrees(), v.DistanceMM})
}

// residual is how far a corner was seen from where the solution has it, px of the
// stored raster.
type residual struct{ u, v, du, dv float64 }

// Skipped is a photo that took no part.
type Skipped struct {
	Photo  string `json:"photo"`
	Reason string `json:"reason"` // stable, snake_case
	Detail string `json:"detail"`
}

// Solver is the solution of OpenCV's calibrateCamera for the marks' corners, which
// takes the sheet for flat and all corners alike. The print's stretch is the record's.
type Solver struct {
	F     float64 `json:"f_px"`
	Cx    float64 `json:"cx_px"`
	Cy    float64 `json:"cy_px"`
	K1    float64 `json:"k1"`
	K2    float64 `json:"k2"`
	K3    float64 `json:"k3"`
	P1    float64 `json:"p1"`
	P2    float64 `json:"p2"`
	RMSPx float64 `json:"rms_px"`
	// Difference is the greatest departure of a parameter from the record's, in
	// the record's sigmas.
	Difference float64 `json:"difference_sigma"`
}

// Result is a lens solved.
type Result struct {
	Schema   int               `json:"schema_version"` // of this object
	Record   camera.LensRecord `json:"record"`
	Views    []View            `json:"views"`
	Skipped  []Skipped         `json:"skipped,omitempty"`
	RMSPx    float64           `json:"rms_px"` // of all corners
	Coverage Coverage          `json:"coverage"`
	OpenCV   Solver            `json:"opencv"`
	Print    Print             `json:"print"`
	Warnings []photo.Warning   `json:"warnings,omitempty"`
}

func (r *Result) warn(code, format string, args ...any) {
	r.Warnings = append(r.Warnings, photo.Warning{Code: code, Message: fmt.Sprintf(format, args...)})
}

// Solve finds the lens of the camera that took the photos. Photos that cannot be
// read, show no sheet or are there twice are skipped and named in the result.
//
// It fails with code "mixed_cameras" for photos by different lenses, zooms or of
// different sizes, "cropped_photo", "too_few_views", "views_all_frontal",
// "views_one_side", "corners_not_covered", "lens_undetermined" or "poor_fit".
func Solve(ctx context.Context, photos []photo.File, o Options) (*Result, error) {
	r := &Result{Schema: 1}
	views, skipped, err := lookAll(ctx, photos, o)
	if err != nil {
		return nil, err
	}
	r.Skipped = skipped
	if err := enough(views, skipped); err != nil {
		return nil, err
	}
	body := views[0].camera
	r.Coverage = cover(views, body)
	if err := tilts(views); err != nil {
		return nil, err
	}
	if err := r.Coverage.check(); err != nil {
		return nil, err
	}
	fit, err := r.solve(views, body, o)
	if err != nil {
		return nil, err
	}
	r.conclude(fit, views, body, o)
	if err := r.judge(); err != nil {
		return nil, err
	}
	return r, nil
}

// enough refuses too few photos.
func enough(views []*view, skipped []Skipped) error {
	if len(views) >= LeastViews {
		return nil
	}
	why := ""
	for _, s := range skipped {
		why += fmt.Sprintf("; %s: %s", s.Photo, s.Detail)
	}
	return fault.New("too_few_views", "take six to eight photos of the whole sheet: one from straight above, the others 30 to 45 degrees off the vertical from all sides, with the sheet filling the picture into its corners",
		"%d photos show the sheet, a lens needs %d%s", len(views), LeastViews, why)
}

// tilts refuses views that leave the focal length open.
func tilts(views []*view) error {
	var off []angle.Angle
	most := angle.Angle(0)
	for _, v := range views {
		t, dir := lean(&v.plate.Pose)
		most = max(most, t)
		if t >= tilted {
			off = append(off, dir)
		}
	}
	if len(off) < 2 {
		return fault.New("views_all_frontal", "add at least two photos taken 30 to 45 degrees off the vertical, from different sides",
			"at most one photo is taken at a slant (the most is %.0f°), so that the focal length cannot be told from the distance", most.Degrees())
	}
	wide := angle.Angle(0)
	for i, a := range off {
		for _, b := range off[:i] {
			wide = max(wide, (a - b).Signed().Abs())
		}
	}
	if wide < apart {
		near := compass(off[0] + math.Pi) // the normal leans away from the nearer edge
		return fault.New("views_one_side", "add photos taken at a slant from the other sides, or from the same side with the camera turned by a quarter",
			"in all slanted photos the nearer edge of the sheet is at the %s of the picture", near)
	}
	return nil
}

// lean returns the sheet's tilt from square to the lens's axis and where its normal
// leans in the picture, clockwise from up.
func lean(p *calib.Pose) (tilt, dir angle.Angle) {
	return angle.Acos(-p.R[2][2]), angle.Clockwise(p.R[0][2], -p.R[1][2])
}

// compass names a direction in the picture.
func compass(dir angle.Angle) string {
	names := []string{"top", "top right", "right", "bottom right", "bottom", "bottom left", "left", "top left"}
	return names[int(math.Round(dir.Bearing().Degrees()/45))%len(names)]
}

// solve runs both solvers: OpenCV's to start the joint adjustment, and again on the
// print as that has found it, as a witness.
func (r *Result) solve(views []*view, body camera.Camera, o Options) (*calib.LensFit, error) {
	w, h := body.WidthPX, body.HeightPX
	s, err := vision.SolveCamera(flatViews(views, calib.Plate{}), w, h, true)
	if err != nil {
		return nil, err
	}
	var joint []calib.View
	for i, v := range views {
		joint = append(joint, calib.View{Samples: v.samples, Pose: s.Poses[i], Shrink: v.plate.Shrink})
	}
	fit, err := calib.FitViews(joint, s.Lens, openPrior(w, h, o))
	if err != nil {
		return nil, fault.Wrap(err, "lens_undetermined", addViews, "the photos do not determine the lens")
	}
	if s, err = vision.SolveCamera(flatViews(views, fit.Plate(0)), w, h, true); err != nil {
		return nil, err
	}
	l := s.Lens
	r.OpenCV = Solver{F: l.F, Cx: l.Cx, Cy: l.Cy, K1: l.K1, K2: l.K2, K3: l.K3, P1: l.P1, P2: l.P2, RMSPx: s.RMSPx}
	return fit, nil
}

// flatViews are the marks' corners on a flat print with the stretch of pl.
func flatViews(views []*view, pl calib.Plate) (flat []vision.FlatView) {
	for _, v := range views {
		var f vision.FlatView
		for _, c := range v.corners {
			f.On, f.Seen = append(f.On, pl.Paper(c.At)), append(f.Seen, c.Seen)
		}
		flat = append(flat, f)
	}
	return flat
}

const addViews = "add photos taken 30 to 45 degrees off the vertical from all sides, some with the camera turned by a quarter, with the sheet filling the picture into its corners"

// openPrior leaves the lens to the photos. Its sigmas are some five times those of
// the lenses people use (calib.UnknownLens), and only keep a parameter that the
// photos do not show from running away.
func openPrior(width, height int, o Options) calib.Prior {
	p := calib.UnknownLens(width, height, 0)
	p.LogF *= 5
	p.Centre *= 5
	p.K1, p.K2, p.K3 = 5*p.K1, 5*p.K2, 5*p.K3
	p.Decentring *= 5
	p.StretchMean, p.Stretch = o.stretch()
	p.Curl = calib.TapedCurl
	return p
}

// conclude fills the result from the fit. The views' raster is the stored one,
// mirrored if the photos were.
func (r *Result) conclude(fit *calib.LensFit, views []*view, body camera.Camera, o Options) {
	sum, n := 0.0, 0
	for i, v := range views {
		pl := fit.Plate(i)
		out := View{Photo: v.photo, Marks: v.plate.Marks}
		out.Tilt, out.Direction = lean(&pl.Pose)
		t := pl.Pose.T
		out.DistanceMM = math.Sqrt(t[0]*t[0] + t[1]*t[1] + t[2]*t[2])
		own := 0.0
		for _, c := range v.corners {
			q := pl.ProjectDrawing(c.At)
			du, dv := c.Seen.U-q.U, c.Seen.V-q.V
			own += du*du + dv*dv
			if v.mirrored {
				q.U, du = float64(body.WidthPX-1)-q.U, -du
			}
			out.residuals = append(out.residuals, residual{q.U, q.V, du, dv})
		}
		out.RMSPx = math.Sqrt(own / float64(len(v.corners)))
		out.Share = own // of the sum, below
		sum, n = sum+own, n+len(v.corners)
		r.Views = append(r.Views, out)
	}
	for i := range r.Views {
		r.Views[i].Share /= sum
	}
	r.RMSPx = math.Sqrt(sum / float64(n))
	r.OpenCV.Difference = farthest(fit, &r.OpenCV)
	l := fit.Lens
	if views[0].mirrored {
		l = l.Mirrored(body.WidthPX)
		c := &r.OpenCV
		c.Cx, c.P2 = float64(body.WidthPX-1)-c.Cx, -c.P2
	}
	r.Record = camera.LensRecord{Camera: body, Lens: l, Sigma: fit.Sigma, RMSPx: r.RMSPx, Views: len(views), Solved: o.Solved}
	r.Print = Print{Stretch: fit.Stretch, Sigma: fit.StretchSigma, CurlMM: curlHeight(fit.Curl), Photos: len(views)}
	r.Warnings = append(r.Warnings, r.Print.Warnings(o)...)
}

// farthest compares OpenCV's lens with the fit's, in sigmas.
func farthest(fit *calib.LensFit, o *Solver) float64 {
	l, s := fit.Lens, fit.Sigma
	most := 0.0
	for _, d := range [][2]float64{
		{o.F - l.F, s.F}, {o.Cx - l.Cx, s.Cx}, {o.Cy - l.Cy, s.Cy}, {o.K1 - l.K1, s.K1},
		{o.K2 - l.K2, s.K2}, {o.K3 - l.K3, s.K3}, {o.P1 - l.P1, s.P1}, {o.P2 - l.P2, s.P2},
	} {
		most = max(most, math.Abs(d[0])/d[1])
	}
	return most
}

// judge refuses a solution that is none and warns of a doubtful one.
func (r *Result) judge() error {
	c, s := r.Record.Camera, r.Record.Sigma
	long := float64(max(c.WidthPX, c.HeightPX))
	if r.RMSPx > hopelessRMS {
		return fault.New("poor_fit", "tape the sheet flat to a board, switch zoom and stabilisation off, and use photos as the camera wrote them",
			"no lens explains the photos: the marks' corners lie %.1f px off", r.RMSPx)
	}
	if s.F > looseFocal*r.Record.Lens.F {
		return fault.New("lens_undetermined", addViews, "the photos leave the focal length open by %.1f %%", 100*s.F/r.Record.Lens.F)
	}
	if most := max(s.Cx, s.Cy); most > looseCentre*long {
		return fault.New("lens_undetermined", addViews, "the photos leave the lens's centre open by %.0f px", most)
	}
	if err := r.Record.Validate(); err != nil {
		return fault.Wrap(err, "lens_undetermined", addViews, "the photos give no usable lens")
	}
	if r.RMSPx > roughRMS {
		r.warn("rough_fit", "the marks' corners lie %.2f px off, where 0.2 px is usual: the sheet is not flat, or focus or zoom changed between the photos", r.RMSPx)
	}
	rms := make([]float64, 0, len(r.Views))
	for _, v := range r.Views {
		rms = append(rms, v.RMSPx)
	}
	slices.Sort(rms)
	var odd []string
	for _, v := range r.Views {
		if v.RMSPx > max(2.5*rms[len(rms)/2], 0.3) {
			odd = append(odd, v.Photo)
		}
	}
	if len(odd) > 0 {
		r.warn("photo_stands_out", "these photos fit much worse than the others; look at them, and leave them out if they are shaken or the sheet was bent: %s", strings.Join(odd, ", "))
	}
	if r.OpenCV.Difference > apartSigma {
		r.warn("solvers_differ", "the solution that takes the sheet for flat differs by %.0f sigma; the photos show the sheet curled by %.1f mm at 100 mm from the foot: tape it flat to a board and take the photos again", r.OpenCV.Difference, r.Print.CurlMM)
	}
	return nil
}
