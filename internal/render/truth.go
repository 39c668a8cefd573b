package render

import (
	"fmt"
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// Truth is what is known of a picture. Angles are in degrees, lengths in mm,
// image coordinates in pixels of the stored raster; what does not apply is null.
type Truth struct {
	File           string      `json:"file"`
	UTC            string      `json:"utc"`
	Lat            float64     `json:"lat"`
	Lon            float64     `json:"lon"`
	Readable       bool        `json:"readable"`
	WhyNot         string      `json:"why_not_readable"`
	Heading        float64     `json:"heading_deg"`
	Pitch          float64     `json:"pitch_deg"`
	Roll           float64     `json:"roll_deg"`
	Body           string      `json:"body"`
	BodyAzimuth    *float64    `json:"body_azimuth_deg"`
	BodyAltitude   *float64    `json:"body_altitude_deg"`
	BodyVector     *[3]float64 `json:"body_vector_plate"`
	BodyAbovePlate *float64    `json:"body_altitude_above_plate_deg"`
	Shadow         *float64    `json:"shadow_cw_deg"`
	ShadowStrip    *float64    `json:"shadow_strip_cw_deg"`
	LevelReader    *float64    `json:"level_reader_heading_deg"`
	StripReader    *float64    `json:"strip_reader_heading_deg"`
	Rod            *RodTruth   `json:"rod"`
	Rods           int         `json:"rods"`
	ShadowTip      *[2]float64 `json:"shadow_tip_mm"`
	ShadowLength   *float64    `json:"shadow_length_mm"`
	Sheet          SheetTruth  `json:"sheet"`
	Light          LightTruth  `json:"light"`
	Camera         CameraTruth `json:"camera"`
	Marks          []MarkTruth `json:"marks"`
	Foot           [2]float64  `json:"foot_px"`
	RodBase        *[2]float64 `json:"rod_base_px"`
	RodTip         *[2]float64 `json:"rod_tip_px"`
	ContrastLevels float64     `json:"contrast_levels"`
	NoiseLevels    float64     `json:"noise_levels"`
	ClearStrip     float64     `json:"clear_strip_mm"`
	RodImageAngle  *float64    `json:"rod_image_from_shadow_deg"`
}

// RodTruth is the first rod.
type RodTruth struct {
	Diameter float64    `json:"diameter_mm"`
	Height   float64    `json:"height_mm"`
	Foot     [2]float64 `json:"foot_mm"`
	Lean     float64    `json:"lean_deg"`
	LeanDir  float64    `json:"lean_dir_deg"`
	Material string     `json:"material"`
	Cap      float64    `json:"cap_mm,omitempty"`
}

// SheetTruth is the state of the page.
type SheetTruth struct {
	Curl    float64 `json:"curl_mm"`
	CurlDir float64 `json:"curl_dir_deg"`
	Dirt    float64 `json:"dirt"`
	Creases int     `json:"creases"`
	ScaleX  float64 `json:"scale_x"`
	ScaleY  float64 `json:"scale_y"`
}

// LightTruth is the light.
type LightTruth struct {
	ShadowRatio  float64 `json:"shadow_ratio"`
	HazeFraction float64 `json:"haze_fraction"`
	HazeAngle    float64 `json:"haze_angle_deg"`
}

// CameraTruth is the camera.
type CameraTruth struct {
	Width       int           `json:"width_px"`
	Height      int           `json:"height_px"`
	Fx          float64       `json:"fx_px"`
	Fy          float64       `json:"fy_px"`
	Cx          float64       `json:"cx_px"`
	Cy          float64       `json:"cy_px"`
	Dist        [5]float64    `json:"dist_k1_k2_p1_p2_k3"`
	Rotation    [3][3]float64 `json:"rotation_plate_to_camera"`
	Translation [3]float64    `json:"translation_mm"`
	Centre      [3]float64    `json:"centre_plate_mm"`
	Tilt        float64       `json:"tilt_deg"`
	Defocus     float64       `json:"defocus_sigma_px"` // Gaussian, where the shared photos have a disc
	Motion      [2]float64    `json:"motion_px"`
	ISO         int           `json:"iso"`
	Quality     int           `json:"jpeg_quality"`
}

// MarkTruth is one mark of the sheet.
type MarkTruth struct {
	ID       int           `json:"id"`
	Centre   [2]float64    `json:"centre_px"`
	Corners  [4][2]float64 `json:"corners_px"`
	InFrame  bool          `json:"in_frame"`
	Occluded bool          `json:"occluded"`
}

// Truth works out the truth without drawing.
func (s *Scene) Truth() *Truth {
	c := &s.Camera
	deg := func(a angle.Angle) *float64 { d := a.Degrees(); return &d }
	px := func(p Vec) [2]float64 {
		x, y, ok := c.Project(p)
		if !ok { // JSON knows no NaN: somewhere plainly outside
			return [2]float64{-1e6, -1e6}
		}
		return [2]float64{x, y}
	}
	sx, sy := s.Paper.scales()
	t := &Truth{
		File: s.Name, UTC: s.Time.UTC().Format("2006-01-02T15:04:05.00Z07:00"),
		Lat: s.Lat.Degrees(), Lon: s.Lon.Degrees(),
		Heading: s.Plate.Heading.Bearing().Degrees(), Pitch: s.Plate.Pitch.Degrees(), Roll: s.Plate.Roll.Degrees(),
		Body: NoBody, Rods: len(s.Rods),
		Sheet: SheetTruth{s.Paper.Curl, s.Paper.CurlDir.Degrees(), s.Paper.Dirt, len(s.Paper.Creases), sx, sy},
		Light: LightTruth{s.Light.ShadowRatio, s.Light.HazeFraction, s.Light.HazeDisc.Degrees()},
		Camera: CameraTruth{
			Width: c.Width, Height: c.Height, Fx: c.Fx, Fy: c.Fy, Cx: c.Cx, Cy: c.Cy, Dist: c.Dist,
			Rotation:    [3][3]float64{c.R[0].array(), c.R[1].array(), c.R[2].array()},
			Translation: c.T.array(), Centre: c.Centre().array(), Tilt: angle.Acos(-c.R[2].Z).Degrees(),
			Defocus: s.Finish.Defocus, Motion: [2]float64{s.Finish.Motion, s.Finish.MotionDir.Degrees()},
			ISO: s.Finish.ISO, Quality: s.Finish.Quality,
		},
		Foot: px(s.Paper.point(sheet.Point{})),
	}
	for _, m := range sheet.Standard.Marks {
		k := MarkTruth{ID: m.ID, Centre: px(s.Paper.point(sheet.Point{X: m.X, Y: m.Y})), InFrame: true}
		for i, p := range m.Corners() {
			k.Corners[i] = px(s.Paper.point(p))
			k.InFrame = k.InFrame && c.holds(k.Corners[i])
		}
		for i := range s.Occluders {
			k.Occluded = k.Occluded || s.Occluders[i].touches(m, sx, sy)
		}
		t.Marks = append(t.Marks, k)
	}

	body, lit := s.body()
	if lit {
		shadow := Vec{-body.X, -body.Y, 0}.direction()
		v := body.array()
		t.Body, t.BodyVector = s.Light.Body, &v
		t.BodyAzimuth, t.BodyAltitude = deg(s.Light.Azimuth.Bearing()), deg(s.Light.Altitude)
		t.BodyAbovePlate = deg(angle.Asin(body.Z))
		t.Shadow = deg(shadow)
		t.LevelReader = deg((s.Light.Azimuth + 180*angle.Degree - shadow).Bearing())
	}
	if len(s.Rods) > 0 {
		r := &s.Rods[0]
		t.Rod = &RodTruth{
			r.Diameter, r.Height, [2]float64{r.Foot.X, r.Foot.Y},
			r.Lean.Degrees(), r.LeanDir.Degrees(), r.Material.Name, r.Cap,
		}
		base, tip := px(r.foot()), px(r.tip())
		t.RodBase, t.RodTip = &base, &tip
		if lit {
			cast := s.castTip(body)
			strip := cast.sub(r.foot())
			at := [2]float64{cast.X, cast.Y}
			length := strip.norm()
			t.ShadowTip, t.ShadowLength = &at, &length
			t.ShadowStrip = deg(strip.direction())
			t.StripReader = deg((s.Light.Azimuth + 180*angle.Degree - strip.direction()).Bearing())
		}
	}
	s.measure(t)
	t.Readable, t.WhyNot = s.Readable(t)
	return t
}

// castTip returns where the shadow of the first rod's tip falls on the flat plate.
func (s *Scene) castTip(body Vec) Vec {
	tip := s.Rods[0].tip()
	return tip.sub(body.mul(tip.Z / body.Z))
}

// ShadowOnPaper is how far from the printed foot, along the strip, the shadow of the first
// rod's axis at a part of its height lies on the paper as that lies: what a curl lifts is met
// sooner, and the rod may stand beside the foot.
func (s *Scene) ShadowOnPaper(part float64) (mm float64, ok bool) {
	body, lit := s.body()
	if !lit || len(s.Rods) == 0 {
		return 0, false
	}
	foot := s.Rods[0].foot()
	high := foot.add(s.Rods[0].tip().sub(foot).mul(part))
	at := high
	const turns = 40 // more than enough for slopes of a few hundredths
	for range turns {
		at = high.sub(body.mul((high.Z - s.Paper.height(at.X, at.Y)) / body.Z))
	}
	along := s.castTip(body).sub(foot)
	return (at.X*along.X + at.Y*along.Y) / along.norm(), true
}

// holds reports whether the pixel coordinates lie in the picture.
func (c *Camera) holds(p [2]float64) bool {
	return p[0] >= 0 && p[1] >= 0 && p[0] <= float64(c.Width-1) && p[1] <= float64(c.Height-1)
}

// touches reports whether the occluder lies over part of the printed mark.
func (o *Occluder) touches(m sheet.Mark, scaleX, scaleY float64) bool {
	const n = 44 // points along a side: half a millimetre apart at most
	for i := range n + 1 {
		for j := range n + 1 {
			u, v := (float64(i)/n-0.5)*m.Side, (float64(j)/n-0.5)*m.Side
			if o.distance(sheet.Point{X: (m.X + u) * scaleX, Y: (m.Y + v) * scaleY}) <= o.Radius {
				return true
			}
		}
	}
	return false
}

// Limits of what a reader is asked to read.
const (
	wholeMarks    = 5    // marks in the picture with nothing over them
	markSidePx    = 18.0 // the shortest side of each
	contrastNoise = 5.0  // paper in light less paper in shadow, over the noise of a pixel
	clearStripMM  = 15.0 // length of the shadow that can be seen
	rodImageDeg   = 10.0 // between the shadow and the rod's own image
)

// shows reports whether a mark of the other sheet stands in the picture.
func (o *Another) shows(c *Camera) bool {
	if o == nil {
		return false
	}
	for _, m := range sheet.Standard.Marks {
		// Out of its own axes into the plate's.
		x, y := m.X*o.Turn.Cos()+m.Y*o.Turn.Sin(), -m.X*o.Turn.Sin()+m.Y*o.Turn.Cos()
		px, py, ok := c.Project(Vec{o.Foot.X + o.Scale*x, o.Foot.Y + o.Scale*y, 0})
		if ok && c.holds([2]float64{px, py}) {
			return true
		}
	}
	return false
}

// measure fills in what Readable asks for: contrast and noise in 8-bit levels, the
// length of the shadow that can be seen and the angle to the rod's image.
func (s *Scene) measure(t *Truth) {
	body, lit := s.body()
	if !lit || len(s.Rods) == 0 {
		return
	}
	light := s.Light.Exposure * PaperAlbedo
	shadow := light * s.Light.ShadowRatio
	t.ContrastLevels = 255 * (sRGB(min(1, light)) - sRGB(min(1, shadow)))
	t.NoiseLevels = math.Sqrt((s.noiseLevels(light) + s.noiseLevels(shadow)) / 2)

	r := &s.Rods[0]
	cast := s.castTip(body)
	strip := cast.sub(r.foot())
	length := strip.norm()
	if length == 0 {
		return
	}
	along := strip.mul(1 / length)
	side := Vec{along.Y, -along.X, 0}
	const step, inner, outer = 0.25, 6.0, 57.0 // mm; the radii between which nothing is printed
	tracer := s.newViewer()
	for u := step / 2; u < length; u += step {
		p := r.foot().add(along.mul(u))
		if d := math.Hypot(p.X, p.Y); d < inner || d > outer || !r.bare(u/length) {
			continue
		}
		if tracer.unhidden(p, side.mul(r.Diameter/2)) {
			t.ClearStrip += step
		}
	}
	if image, ok := s.Camera.onPlate(r.tip()); ok {
		d := (image.sub(r.foot()).direction() - strip.direction()).Signed().Abs().Degrees()
		t.RodImageAngle = &d
	}
}

// bare reports whether the rod has its own thickness at a part of its height: what a head,
// a nut, clay or a cork casts is no strip, nor is the end of a point.
func (r *Rod) bare(part float64) bool {
	_, length := r.axis()
	z := part * length
	for _, c := range r.Collars {
		if z > c.From-0.5 && z < c.To+0.5 {
			return false
		}
	}
	return z < length-r.Point/2
}

// Seen reports whether a place of the sheet's plane, mm, lies in the picture with two
// millimetres about it, before no body and in no shadow but the first rod's.
func (s *Scene) Seen(at *[2]float64) bool {
	p := Vec{at[0], at[1], 0}
	v := s.newViewer()
	for _, side := range []Vec{{2, 0, 0}, {0, 2, 0}} {
		if !v.unhidden(p, side) {
			return false
		}
	}
	return true
}

// noiseLevels returns the variance of the 8-bit value of linear light v: the
// sensor's noise through the slope of the tone curve, and rounding.
func (s *Scene) noiseLevels(v float64) float64 {
	f := &s.Finish
	v = min(1, v)
	const h = 1e-4
	slope := 255 * (sRGB(v+h) - sRGB(v-h)) / (2 * h)
	return slope*slope*(f.ReadNoise*f.ReadNoise+f.ShotNoise*f.ShotNoise*v) + 1.0/12
}

// viewer answers whether places on the first rod's shadow can be seen.
type viewer struct {
	scene  *Scene
	eye    Vec
	rods   []tube
	others *sun // all that casts a shadow but the first rod
}

func (s *Scene) newViewer() *viewer {
	v := &viewer{scene: s, eye: s.Camera.Centre()}
	for _, parts := range s.wholes() {
		for i := range parts {
			v.rods = append(v.rods, newTube(&parts[i], v.eye))
		}
	}
	rest := *s
	rest.Rods = s.Rods[1:]
	v.others = rest.newSun()
	return v
}

// unhidden reports whether the shadow at p and at both its edges is in the picture,
// not behind a rod or an occluder and not in another shadow.
func (v *viewer) unhidden(p, half Vec) bool {
	for _, q := range [3]Vec{p.sub(half), p, p.add(half)} {
		q.Z = v.scene.Paper.height(q.X, q.Y)
		x, y, ok := v.scene.Camera.Project(q)
		if !ok || !v.scene.Camera.holds([2]float64{x, y}) {
			return false
		}
		for i := range v.scene.Occluders {
			if o := &v.scene.Occluders[i]; o.distance(q.ground()) < o.Radius {
				return false
			}
		}
		d := q.sub(v.eye)
		for i := range v.rods {
			if far, _, ok := v.rods[i].meet(d); ok && far < 0.9999 {
				return false
			}
		}
		if light, _ := v.others.byRods(q); light*v.others.byOthers(q) < 0.9 {
			return false
		}
	}
	return true
}

// Readable says whether an honest reader should read the picture, from the truth
// about it alone: one rod in direct light, at least 5 whole marks with sides of 18
// pixels, contrast over noise of 5, 15 mm of clear strip between the radii where
// nothing is printed, cast by the rod's own thickness, and the rod's image 10 degrees or
// more from the shadow.
func (s *Scene) Readable(t *Truth) (ok bool, why string) {
	whole := 0
	for _, m := range t.Marks {
		shortest := math.Inf(1)
		for i, p := range m.Corners {
			q := m.Corners[(i+1)%4]
			shortest = min(shortest, math.Hypot(p[0]-q[0], p[1]-q[1]))
		}
		if m.InFrame && !m.Occluded && shortest >= markSidePx {
			whole++
		}
	}
	switch {
	case s.Another.shows(&s.Camera):
		return false, "two sheets"
	case t.Rods == 0:
		return false, "no rod"
	case t.Rods > 1:
		return false, "more than one rod"
	case t.Body == NoBody:
		return false, "no direct light"
	case whole < wholeMarks:
		return false, fmt.Sprintf("%d whole marks of %v px", whole, markSidePx)
	case t.ContrastLevels < contrastNoise*t.NoiseLevels:
		return false, fmt.Sprintf("contrast over noise %.1f", t.ContrastLevels/t.NoiseLevels)
	case t.ClearStrip < clearStripMM:
		return false, fmt.Sprintf("%.1f mm of clear strip", t.ClearStrip)
	case t.RodImageAngle == nil || *t.RodImageAngle < rodImageDeg:
		return false, "the rod's image lies by its shadow"
	}
	return true, ""
}
