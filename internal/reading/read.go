package reading

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/calib"
	"shadowread/internal/camera"
	"shadowread/internal/fault"
	"shadowread/internal/instrument"
	"shadowread/internal/lens"
	"shadowread/internal/photo"
	"shadowread/internal/sheet"
	"shadowread/internal/sheetphoto"
	"shadowread/internal/vision"
	"shadowread/internal/wording"
)

// Limits and sigmas of the reading. Each says where it comes from.
const (
	// printStretch is one sigma of a print's scale athwart over fore-and-aft when
	// nobody measured it: office printers hold a thousandth between their axes once
	// page scaling is off (common practice, from memory).
	printStretch = 0.001
	// printSeen is the same for a photo through a known lens, which shows the stretch
	// by itself: five times as wide, so that a page fitted to its paper is found.
	printSeen = 0.005
	// flatLimit is the residual on the sheet above which it is called curled.
	flatLimit = 0.05 // mm
	// residualCost is what a residual left on the sheet costs in direction: measured
	// on curled sheets seen from 5 to 45 degrees off the vertical.
	residualCost = 0.6 * angle.Degree // a millimetre
	curlShare    = 0.2                // of what a flat sheet would leave, that a curl may still hide
	// rippleLimit is the residual that no curl leaves on a sheet that lies well: of 94 flat
	// sheets rendered none has more, of 45 photos with known truth five, up to 0.023 mm. More
	// is paper in ripples, which the marks show in part and the shadow between them follows
	// by parallax: over 130 sheets with ripples of 0.05 to 0.3 mm, 80 to 200 mm long, the
	// errors over sigma are 1.0 RMS.
	// What heights that were found explain of it is left out.
	rippleLimit = 0.009            // mm
	rippleCost  = 6 * angle.Degree // a millimetre of residual
	// mapLimit refuses a map that leaves the direction open, sheetLimit one of a sheet so
	// wavy that it does.
	mapLimit   = 0.5 * angle.Degree
	sheetLimit = 1 * angle.Degree
	// LowestAltitude and HighestAltitude bound those at which a shadow is usable. Below,
	// the light is too weak and the strip runs off the paper's texture; above, one
	// degree of lean turns the shadow by nearly six.
	LowestAltitude  = 2 * angle.Degree
	HighestAltitude = 80 * angle.Degree
	// NumberSigma is for a number read by eye between degree ticks.
	NumberSigma = 0.5 * angle.Degree
)

// Read reads one photo. Whatever goes wrong is in the result; what could be found
// out is there even when there is no heading.
func Read(ctx context.Context, file photo.File, o Options) *Result {
	return Look(ctx, file, o).Conclude(o)
}

// Look finds what a photo shows, its time and its place, and leaves the heading to Conclude.
func Look(ctx context.Context, file photo.File, o Options) *Result {
	o.Rod.Hangs = o.Rod.Hangs || o.Instrument != nil && o.Instrument.Gnomon == instrument.PlumbLine
	r := &Result{Photo: file.Name, Course: o.Course, PlumbLine: o.Rod.Hangs, lapped: time.Now()}
	facts, err := photo.ReadFacts(file)
	if o.Original != nil {
		facts = facts.CopyOf(*o.Original)
	}
	r.lap("file")
	r.Facts = &facts
	r.Warnings = append(r.Warnings, facts.Warnings...)
	if err != nil {
		r.refuse(reasonOf(err, UnreadableFile), say(err))
		if r.Reason == UnreadableFile {
			return r
		}
	}
	r.whenAndWhere(facts, o)
	r.lap("sky")
	if err == nil && ctx.Err() == nil {
		r.look(file, facts, o)
	}
	return r
}

// Stage is a step of a reading and the time it took.
type Stage struct {
	Name string
	Took time.Duration
}

// lap ends a stage.
func (r *Result) lap(name string) {
	now := time.Now()
	r.Stages = append(r.Stages, Stage{name, now.Sub(r.lapped)})
	r.lapped = now
}

// Conclude returns what a photo that was looked at comes to, by the options of the look and
// what other photos of its stand show; r stays as it is.
func (r *Result) Conclude(o Options) *Result {
	c := *r
	c.Warnings = slices.Clone(r.Warnings)
	if r.Budget != nil {
		c.Budget = new(*r.Budget)
	}
	o.Rod.Hangs = r.PlumbLine
	c.Stages, c.lapped = slices.Clone(r.Stages), time.Now()
	c.conclude(o)
	c.lap("heading")
	return &c
}

// ReadNumber gives the heading for a number read by eye under the shadow. A sigma
// of 0 stands for the default, half a degree.
func ReadNumber(_ context.Context, number, sigma angle.Angle, o Options) *Result {
	r := &Result{Course: o.Course}
	if sigma == 0 {
		sigma = NumberSigma
	}
	n := number.Bearing()
	r.Number = &n
	r.whenAndWhere(photo.Facts{}, o)
	x, y := o.onPaper(math.Pi - n)
	r.Printed = (math.Pi - n - angle.Clockwise(x, y)).Signed()
	_, stretch := o.stretch()
	r.Budget = &Budget{ShadowFit: sigma, Print: angle.Angle(stretch / 2 * math.Abs((2 * r.direction()).Sin()))}
	r.conclude(o)
	return r
}

// onPaper is where a ray of the drawing, clockwise from forward, leads on the paper: a
// print stretched by x athwart and y fore-and-aft puts what is drawn at (sin d, cos d)
// at (x sin d, y cos d).
func (o Options) onPaper(drawn angle.Angle) (x, y float64) {
	x, y = drawn.Sin(), drawn.Cos()
	if p := o.PrintScale; p != nil {
		x, y = p[0]*x, p[1]*y
	}
	return x, y
}

// direction is that of the shadow on the paper, clockwise from the sheet's forward axis.
func (r *Result) direction() angle.Angle { return math.Pi - *r.Number - r.Printed }

// stretch returns the mean and sigma of the print's stretch.
func (o Options) stretch() (mean, sigma float64) {
	if p := o.PrintScale; p != nil {
		return p[0]/p[1] - 1, calib.MeasuredPrint
	}
	return 0, printStretch
}

// whenAndWhere resolves place, time and the body's place in the sky.
func (r *Result) whenAndWhere(facts photo.Facts, o Options) {
	place, err := photo.ResolvePosition(facts, o.Position)
	if err == nil {
		r.Place = &place
	} else {
		r.refuse(reasonOf(err, NoPosition), say(err))
	}
	instant, err := photo.ResolveTime(facts, r.Place, o.Time)
	r.Warnings = append(r.Warnings, instant.Warnings...)
	if err == nil {
		r.Instant = &instant
	} else {
		r.refuse(reasonOf(err, NoTime), say(err))
	}
	if r.Place == nil || r.Instant == nil {
		return
	}
	body := bearing.Sun
	if o.Body != nil {
		body = *o.Body
	}
	sky, err := bearing.Observe(body, r.Instant.UTC, r.Place.Position, r.Place.ElevationMetres)
	if err == nil && o.Body == nil && sky.DiscAltitude+sky.SemiDiameter < 0 {
		sky, err = bearing.Observe(bearing.Moon, r.Instant.UTC, r.Place.Position, r.Place.ElevationMetres)
		r.MoonTaken = err == nil
	}
	if err != nil {
		r.refuse(reasonOf(err, TimeOutOfRange), say(err))
		return
	}
	r.Sky = &sky
	if apart := r.Instant.UTC.Sub(facts.GPSTime); r.Instant.Source == photo.TimeFromOption && !facts.GPSTime.IsZero() && apart.Abs() > stampFresh {
		r.warn("gps_time_differs", fmt.Sprintf("the given time is %s from the photo's GPS stamp, which can be older than the photo but not younger: check the hour and its zone", wording.Span(apart)))
	}
	r.ClockProved = !facts.GPSTime.IsZero() && r.Instant.UTC.Sub(facts.GPSTime).Abs() <= stampFresh
	if r.MoonTaken && sky.Altitude >= LowestAltitude {
		r.warn("moon_taken", fmt.Sprintf("the sun is down then and there, and the moon, lit to %.0f %%, was taken for what casts the shadow: if it was day, the hour, its zone or the position is wrong. Say --body moon if it was the moon", 100*sky.LitFraction))
	}
	switch {
	case sky.Altitude < LowestAltitude:
		r.refuse(BodyTooLow, fmt.Sprintf("the %s stands at %.1f° then and there, too low for a shadow; check the time, its zone and the signs of the position, or wait", sky.Body, sky.Altitude.Degrees()))
	case sky.Altitude > HighestAltitude:
		r.refuse(BodyTooHigh, fmt.Sprintf("the %s stands at %.1f°: a rod 0.5° from plumb would turn the shadow by %.0f°; wait until it is below %.0f°", sky.Body, sky.Altitude.Degrees(), 0.5*sky.Altitude.Tan(), HighestAltitude.Degrees()))
	}
}

// look finds the sheet and the shadow in the picture.
func (r *Result) look(file photo.File, facts photo.Facts, o Options) {
	o.begin("decoding")
	p, err := sheetphoto.Open(file, facts)
	if err != nil {
		r.refuse(reasonOf(err, UnreadableFile), say(err))
		return
	}
	if !r.findLens(facts, o) {
		return
	}
	o.begin("finding the sheet")
	g, plate, found, err := p.Find(sheet.Standard, func(g *vision.Gray) calib.Prior { return o.prior(g, facts, r.Lens) })
	r.MarksFound = found
	r.lap("sheet")
	last := &r.Stages[len(r.Stages)-1]
	last.Took -= p.Decoding
	r.Stages = append(r.Stages, Stage{"decode", p.Decoding})
	if err != nil {
		r.refuse(reasonOf(err, UnreadableFile), say(err))
		return
	}
	r.Plate, r.Marks = plate.Fit, plate.Marks
	r.Picture = PictureSize{W: g.W, H: g.H, Factor: g.Factor, Mirrored: g.Mirrored}
	if g.Mirrored && !facts.Mirrored() {
		r.warn("picture_mirrored", "the picture is mirrored (front cameras do that); it was turned back, since the marks read only one way")
	}
	r.lookForHorizon(g, o)
	r.lap("horizon")
	if plate.Loosened {
		r.warn("picture_cropped", "the picture seems to be cropped or the lens unusual; the map is looser for it. Use the whole picture as the camera wrote it")
	}
	if plate.Flat.ResidualMM > flatLimit {
		r.warn("sheet_not_flat", fmt.Sprintf("the sheet is not flat: its marks lie %.2f mm off a plane map. Fix the paper to a board on all sides", plate.Flat.ResidualMM))
	}
	if r.Lens != nil && o.PrintScale == nil {
		r.Warnings = append(r.Warnings, lens.Print{Stretch: plate.Stretch, Sigma: plate.StretchSigma()}.Warnings(lens.Options{})...)
	}
	if r.Sky != nil && r.Sky.Altitude > 0 {
		o.Rod.ShadowRatio, o.Rod.Moonlit = 1/r.Sky.Altitude.Tan(), r.Sky.Body == bearing.Moon
	}
	o.begin("measuring the shadow")
	shadow, err := vision.FindShadow(g, plate, sheet.Standard, o.Rod)
	r.lap("shadow")
	scale, _ := plate.Scale(sheet.Point{})
	if err != nil {
		r.noShadow(err, scale, o.Rod.Hangs)
		return
	}
	r.Shadow = shadow
	if b := shadow.Bow; b != 0 {
		side := "right"
		if b < 0 {
			side = "left"
		}
		r.warn("rod_bowed", fmt.Sprintf("the shadow is bowed by some %.1f mm to the %s, seen along it: the rod is bent, or the paper is not flat; the uncertainty is wider for it. Straighten the rod or take another", math.Abs(b), side))
	}
	if shadow.Narrows > 0 {
		r.warn("shadow_narrows", "the shadow narrows from its foot: a rod that tapers makes it so, and so does another shadow along one edge; the uncertainty is wider for it. Take the photo from the side, so that a few centimetres of the rod are seen before plain paper, state how thick it is at the foot, or take a rod of one thickness")
	}
	r.RodSlope = rodSlope(plate.Fit, shadow.RodAxis)
	r.rodTop = rodTop(plate.Fit, shadow.RodTop, shadow.RodTopSigma)
	fromPrint, rest := plate.Spread(func(p *calib.Plate) float64 {
		a, _ := p.Unproject(shadow.Axis[0])
		b, _ := p.Unproject(shadow.Axis[1])
		d := angle.Clockwise(b.X-a.X, b.Y-a.Y)
		return float64((d - shadow.Direction).Signed())
	})
	relief := plate.Relief(shadow.Axis[0], shadow.Axis[1])
	shadow.Turn(relief.Turn)
	unexplained := 1.0 // of the residual, by the relief: of none there is nothing to explain
	if plate.ResidualMM > 0 {
		unexplained = relief.ResidualMM / plate.ResidualMM
	}
	left := math.Hypot(relief.ResidualMM, curlShare*plate.Flat.ResidualMM*unexplained)
	ripple := math.Sqrt(max(0, left*left-rippleLimit*rippleLimit))
	r.Budget = &Budget{
		ShadowFit: shadow.Sigma,
		SheetMap: angle.Angle(math.Sqrt(sq(rest) + sq(float64(relief.Sigma)) +
			sq(left*float64(residualCost)) + sq(ripple*float64(rippleCost)))),
		Print: angle.Angle(fromPrint),
	}
	n := (math.Pi - shadow.Direction).Bearing()
	r.Number = &n
	if angle.Angle(rest) > mapLimit || r.Budget.SheetMap > sheetLimit {
		r.refuse(PoorMap, fmt.Sprintf("the marks in view leave the direction open by %.1f°: take the whole sheet, with marks on all sides of the dial", r.Budget.SheetMap.Degrees()))
	}
	if _, right := o.footFrom(shadow.Direction); math.Abs(shadow.FootOffset-right) > 1 && !o.Rod.Hangs {
		r.warn("shadow_off_foot", fmt.Sprintf("the shadow passes the printed foot by %.1f mm: the rod does not stand on the foot, or it leans", shadow.FootOffset))
	}
}

// noShadow refuses a picture in which the sheet shows at a scale, px/mm, and no shadow was
// found on it.
func (r *Result) noShadow(err error, scale float64, hangs bool) {
	switch {
	case scale < leastScale:
		r.refuse(TooSmall, fmt.Sprintf("the picture shows the sheet with %.1f pixels to the millimetre, too few to see the shadow's edges: take it at full resolution, with the sheet filling the picture", scale))
	case errors.Is(err, vision.ErrStands):
		r.refuse(NotHanging, "a rod stands on the sheet, since its top or the tip of its shadow is seen: only a thread that hangs is plumb by itself. Leave --plumb-line out, or take the instrument's own record")
	case errors.Is(err, vision.ErrRodHides) && hangs:
		r.refuse(RodHidesShadow, "the thread is not seen beside its shadow, so that one may pass for the other: take the photo from the side, so that the two make an open angle")
	case errors.Is(err, vision.ErrAmbiguous):
		r.refuse(AmbiguousShadow, "more than one line from the foot may be the rod's shadow: keep other rods, wires and creases off the dial")
	case errors.Is(err, vision.ErrBowed):
		r.refuse(NoShadow, "the rod's shadow is there but bowed: the rod is bent by too much to say where its tip points; straighten it, take another, or state its height")
	case errors.Is(err, vision.ErrRodHides):
		r.refuse(RodHidesShadow, "the rod stands before its own shadow: take the photo from another side, best from above")
	case errors.Is(err, vision.ErrLies):
		r.refuse(NoShadow, "the dark line on the dial is no shadow but a thing that lies there: it hides the print, begins beside the foot, or its edges are as sharp far from the foot as near it. Take it away; if the sun does shine, make sure of the hour, its zone and the position")
	case errors.Is(err, vision.ErrTapers):
		r.refuse(NoShadow, "there is a dark line from the foot, but its edges are not parallel, and it is not seen whether the rod itself tapers or another shadow lies along its own: take the photo from the side, so that a few centimetres of the rod are seen before plain paper, keep other shadows off the dial, or take a rod of one thickness")
	case errors.Is(err, vision.ErrFootShaded):
		r.refuse(NoShadow, "the foot of the rod stands in another shadow: step aside, or turn the plate into the open sun")
	case hangs:
		r.refuse(NoShadow, "no shadow of the plumb line on the dial: it needs a clear sun (or bright moon), a thread of 1 to 3 mm that passes the paper within 10 mm of the printed foot and is in view for at least 50 mm, and nothing else shading the dial. Use cord, hang it nearer, and take the photo from the side")
	default:
		r.refuse(NoShadow, "no shadow of the rod on the dial: it needs a clear sun (or bright moon), nothing else shading the dial, and a rod whose shadow covers 10 mm of the clear zone. If there is one, it may lie behind the rod: take the photo from above")
	}
}

func (o Options) prior(g *vision.Gray, facts photo.Facts, known *camera.Match) calib.Prior {
	if known != nil {
		p := known.Record.Prior(g.W, g.Factor, g.Mirrored)
		p.StretchMean, p.Stretch = o.stretch()
		if o.PrintScale == nil {
			p.Stretch = printSeen
		}
		p.Curl = calib.TapedCurl
		return p
	}
	w, h := float64(g.W), float64(g.H)
	focal := 0.0
	whole := facts.ExifWidth == 0 || facts.ExifHeight == 0 ||
		facts.ExifWidth*facts.Height == facts.ExifHeight*facts.Width ||
		facts.ExifWidth*facts.Width == facts.ExifHeight*facts.Height
	if f := facts.FocalLength35MM; f >= 8 && f <= 400 && whole {
		focal = f / math.Hypot(36, 24) * math.Hypot(w, h) // the same diagonal angle (CIPA DCG-001)
	}
	p := calib.UnknownLens(g.W, g.H, focal)
	if !whole { // cropped: the middle of the picture is not the lens's
		p.Centre *= 25
	}
	p.StretchMean, p.Stretch = o.stretch()
	p.Curl = calib.TapedCurl
	return p
}

// conclude joins direction and azimuth to the heading, checks the clock by the
// shadow's length and adds the budget up.
func (r *Result) conclude(o Options) {
	var fear feared
	if r.Sky != nil && r.Number != nil {
		r.standing(o)
		r.checkLight(o)
		fear = r.checkClock(o)
		r.seeShadow(o)
		r.warnOfLean(o)
		r.checkCompass()
	}
	if r.Sky == nil || r.Number == nil || r.Budget == nil {
		r.Budget = nil // half a budget would pass for a small sigma
		return
	}
	b := r.Budget
	turn := r.mount(o, fear.lean)
	b.Time, b.Position = r.Sky.AzimuthSigmaFor(r.Instant.Sigma, r.Place.SigmaKM)
	b.Time = max(b.Time, fear.clock)
	b.Body = r.Sky.AzimuthSigma
	r.Sigma = b.Sigma()
	if !r.OK() {
		r.Budget = nil
		return
	}
	h := (r.Sky.Azimuth + *r.Number + r.Printed + turn).Bearing()
	r.Heading = &h
	if o.Course != nil {
		c := (*o.Course - h).Signed()
		r.Come = &c
	}
	r.compass(o)
}

// reasonOf maps a fault's code to a reason of the same name.
func reasonOf(err error, otherwise Reason) Reason {
	code := Reason(fault.Code(err))
	for _, o := range order {
		if o == code {
			return o
		}
	}
	return otherwise
}

// say is the sentence for people behind an error, with its hint.
func say(err error) string {
	var f *fault.Error
	if !errors.As(err, &f) {
		return err.Error()
	}
	if f.Hint == "" {
		return f.Message
	}
	return f.Message + ": " + f.Hint
}

// leastScale is the scale, px/mm, below which a rod of 3 mm and its shadow are five pixels
// broad: what is not found then says nothing of the rod.
const leastScale = 1.7
