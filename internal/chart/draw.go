// Package chart draws a journey as worked up: the track before and after adjustment,
// 95 % ellipses, fixes and numbered legs over a graticule, in black on white, as SVG
// and PNG or item by item onto somebody else's page. It uses no map tiles.
//
// The projection is the azimuthal equidistant one about the middle of the journey, on
// the WGS84 ellipsoid: distances and directions from the middle are true, everywhere on
// the earth, over a pole and across the 180th meridian too. A distance d from the
// middle, lengths across the radius are stretched by (d/R)/sin(d/R), 0.1 % at 500 km
// (J. P. Snyder, Map Projections: A Working Manual, USGS Professional Paper 1395, 1987,
// chapter 25).
//
// Lengths on the chart are millimetres, counted from its upper left corner, x to the
// right and y down.
package chart

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/geo"
	"shadowread/internal/journey"
	"shadowread/internal/typeface"
	"shadowread/internal/workup"
)

// The chart's measures, mm.
const (
	width      = 180.0
	margin     = 16.0 // round the frame, for the graticule's labels
	headHeight = 6.0  // above the frame, for the title
	inset      = 9.0  // of the track from the frame
	flattest   = 80.0 // height of the frame at the least and the most
	tallest    = 190.0

	trackLine    = 0.55
	estimateLine = 0.28
	ellipseLine  = 0.22
	thinLine     = 0.12

	body  = 2.9 // em
	small = 2.4
)

var (
	estimateDash = []float64{1.6, 1.0}
	beforeDash   = []float64{0.7, 0.7}
	closingDash  = []float64{0.3, 0.8}
)

// smallestExtent is what a journey that went nowhere is drawn as.
const smallestExtent = 200 * geo.Metre

// Draw draws a journey. title stands above the chart; if empty it is the journey's
// number. It fails with code "nothing_to_draw" if no position is known, or as
// [typeface.Fonts] does.
func Draw(j *journey.Journey, title string) (*Chart, error) {
	if err := typeface.Fonts(); err != nil {
		return nil, err
	}
	if title == "" {
		title = fmt.Sprintf("Journey %d", j.Number)
	}
	d := &drawing{j: j, taken: ground{}, Chart: &Chart{Title: title, WidthMM: width}}
	d.collect()
	if len(d.outline) == 0 {
		return nil, fault.New("nothing_to_draw", "log a fix, or correct the entry at which the position was lost", "no position of the journey is known")
	}
	d.lay()
	d.graticule()
	d.tracks()
	d.fixes()
	d.ends()
	d.numbers()
	d.surround()
	return d.Chart, nil
}

type drawing struct {
	*Chart
	j       *journey.Journey
	outline []geo.Position // all that must lie on the chart
	rings   []ring
	perMM   float64 // metres of ground
	taken   ground  // where there is type or track already
	tight   int     // leg numbers left out for want of room
	meets   bool    // an estimated track other than the adjusted one is drawn
	foot    float64 // where scale and legend begin
}

// ring is an ellipse to be drawn.
type ring struct {
	at      geo.Position
	ellipse workup.Ellipse
	before  bool // adjustment
	always  bool // to be drawn however crowded
}

func (r ring) points() []geo.Position { return journey.Ring(r.at, r.ellipse, 72) }

// collect gathers tracks and ellipses.
func (d *drawing) collect() {
	adjusted := d.j.IsAdjusted()
	d.meets = adjusted
	for _, tracks := range [][][]geo.Position{d.j.Estimated(), d.j.Adjusted()} {
		for _, piece := range tracks {
			d.outline = append(d.outline, piece...)
		}
	}
	for i := range d.j.Points {
		p := &d.j.Points[i]
		if p.Fix != nil {
			d.outline = append(d.outline, p.Fix.Position)
		}
		if p.At == nil {
			continue
		}
		last := p == d.j.Last()
		d.rings = append(d.rings, ring{at: p.At.Adjusted, ellipse: p.At.AdjustedCov.Ellipse95(), always: last})
		if p.Fix != nil && p.Fix.Closing != nil {
			d.rings = append(d.rings, ring{at: p.At.Estimated, ellipse: p.At.Cov.Ellipse95(), before: true, always: true})
		}
	}
	for _, r := range d.rings {
		if r.always {
			d.outline = append(d.outline, r.points()...)
		}
	}
}

// lay chooses projection, scale and frame.
func (d *drawing) lay() {
	p, b := centred(d.outline)
	d.projection = p
	wide := max(b.east-b.west, float64(smallestExtent))
	high := max(b.north-b.south, float64(smallestExtent))
	across := width - 2*margin
	// One metre of ground is so many millimetres at the least.
	perMM := max(wide/(across-2*inset), high/(tallest-2*inset))
	d.ScaleDenominator = roundScale(perMM * 1000)
	d.perMM = d.ScaleDenominator / 1000
	height := min(max(high/d.perMM+2*inset, flattest), tallest)
	d.frame = rect{margin, margin + headHeight, margin + across, margin + headHeight + height}
	d.foot = d.frame.bottom + 11
	d.HeightMM = d.foot + max(12, legendRow*float64(rows(d.legendLines()))) + 12
}

// roundScale returns the round number not below n.
func roundScale(n float64) float64 {
	ten := math.Pow(10, math.Floor(math.Log10(n)))
	for _, m := range []float64{1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10} {
		if s := m * ten; s >= n*(1-1e-9) {
			return s
		}
	}
	return 10 * ten
}

// on returns where a position is on the chart.
func (d *drawing) on(p geo.Position) XY { return d.onPlane(d.projection.project(p)) }

func (d *drawing) onPlane(q plane) XY {
	return XY{
		(d.frame.left+d.frame.right)/2 + q.east/d.perMM,
		(d.frame.top+d.frame.bottom)/2 - q.north/d.perMM,
	}
}

func (d *drawing) add(items ...Item) { d.Items = append(d.Items, items...) }

// rhumbs returns a track on the chart: its legs are rhumb lines, which bend on the
// projection near the poles.
func (d *drawing) rhumbs(track []geo.Position) []XY {
	const step = 4.0 // mm
	line := []XY{d.on(track[0])}
	for i := 1; i < len(track); i++ {
		to := d.on(track[i])
		course, length, err := geo.RhumbInverse(track[i-1], track[i])
		n := math.Ceil(float64(length) / d.perMM / step)
		for k := 1.0; err == nil && k < n; k++ {
			if p, err := geo.RhumbDirect(track[i-1], course, length*geo.Metres(k/n)); err == nil {
				line = append(line, d.on(p))
			}
		}
		line = append(line, to)
	}
	return line
}

func (d *drawing) stroke(line []XY, s Stroke) {
	for _, part := range d.frame.clipLine(line) {
		s.Points = part
		d.add(s)
	}
}

// track draws a track and keeps type off it.
func (d *drawing) track(piece []geo.Position, s Stroke) {
	line := d.rhumbs(piece)
	d.stroke(line, s)
	for i, b := range line {
		a := line[max(i-1, 0)]
		n := math.Ceil(distance(a, b)/cell) + 1
		for k := range int(n) {
			d.taken.take(around(between(a, b, float64(k)/n), 0.3))
		}
	}
}

// tracks draws the tracks with their ellipses.
func (d *drawing) tracks() {
	d.ellipses()
	if d.meets {
		for _, piece := range d.j.Estimated() {
			d.track(piece, Stroke{WidthMM: estimateLine, DashMM: estimateDash})
		}
	}
	for _, piece := range d.j.Adjusted() {
		d.track(piece, Stroke{WidthMM: trackLine})
	}
	for i := range d.j.Points {
		if p := &d.j.Points[i]; p.Placed() && p.Fix == nil {
			d.add(disc(d.on(p.At.Adjusted), 0.65, 0))
		}
	}
}

// ellipses draws those that can be told apart: centres 7 mm from others drawn, and not
// smaller than the dot of an entry.
func (d *drawing) ellipses() {
	const apart, least = 7.0, 0.9
	var drawn []XY
	// Those that must be drawn first, so that the others keep clear of them; then from
	// the end, where the ellipse says most.
	for _, always := range []bool{true, false} {
		for _, r := range slices.Backward(d.rings) {
			if r.always != always {
				continue
			}
			at := d.on(r.at)
			near := func(o XY) bool { return distance(o, at) < apart }
			if float64(r.ellipse.Major)/d.perMM < least || !always && slices.ContainsFunc(drawn, near) {
				continue
			}
			drawn = append(drawn, at)
			var line []XY
			for _, p := range r.points() {
				line = append(line, d.on(p))
			}
			s := Stroke{WidthMM: ellipseLine, Grey: 0.35}
			if r.before {
				s.DashMM = beforeDash
			}
			d.stroke(append(line, line[0]), s)
		}
	}
}

func distance(a, b XY) float64 { return math.Hypot(a.X-b.X, a.Y-b.Y) }

// circle returns a polygon that prints as a circle.
func circle(at XY, radius float64) []XY {
	points := make([]XY, 36)
	for i := range points {
		t := 2 * math.Pi * angle.Angle(i) / angle.Angle(len(points))
		points[i] = XY{at.X + radius*t.Cos(), at.Y + radius*t.Sin()}
	}
	return points
}

func disc(at XY, radius, grey float64) Area { return Area{circle(at, radius), grey} }

const (
	fixRadius = 1.5
	fixRoom   = fixRadius + 0.3 // kept clear about its centre
)

// fixSign is a circle with its centre marked; crossed out if the fix was not used.
func fixSign(at XY, used bool) []Item {
	items := []Item{
		disc(at, fixRadius, 1),
		Stroke{Points: circle(at, fixRadius), Closed: true, WidthMM: 0.35},
		disc(at, 0.35, 0),
	}
	if !used {
		r := 1.4 * fixRadius
		items = append(items,
			Stroke{Points: []XY{{at.X - r, at.Y - r}, {at.X + r, at.Y + r}}, WidthMM: 0.35},
			Stroke{Points: []XY{{at.X - r, at.Y + r}, {at.X + r, at.Y - r}}, WidthMM: 0.35})
	}
	return items
}

// fixes draws the fixes with the way from the estimate to each.
func (d *drawing) fixes() {
	for i := range d.j.Points {
		p := &d.j.Points[i]
		if p.Fix == nil {
			continue
		}
		at := d.on(p.Fix.Position)
		if p.At != nil && p.Fix.Closing != nil {
			d.stroke([]XY{d.on(p.At.Estimated), at}, Stroke{WidthMM: estimateLine, DashMM: closingDash})
		}
	}
	for i := range d.j.Points {
		if p := &d.j.Points[i]; p.Fix != nil {
			at := d.on(p.Fix.Position)
			d.add(fixSign(at, p.Fix.Used())...)
			d.taken.take(around(at, fixRoom))
		}
	}
	for i := range d.j.Points {
		if p := &d.j.Points[i]; p.Fix != nil {
			d.label(fmt.Sprintf("fix %d", p.Fix.Number), d.on(p.Fix.Position), fixRoom)
		}
	}
}

func around(at XY, r float64) rect { return rect{at.X - r, at.Y - r, at.X + r, at.Y + r} }

// startSign and endSign mark the departure and the last estimate. On paper a fix is a dotted
// circle and an estimated position a dotted triangle or square (common practice), so that
// the departure, known from outside as a fix is, has a ring about its circle.
func startSign(at XY) []Item {
	const r = 1.9
	return append([]Item{disc(at, r, 1), Stroke{Points: circle(at, r), Closed: true, WidthMM: 0.35}},
		Stroke{Points: circle(at, 0.35*r), Closed: true, WidthMM: 0.35}, disc(at, 0.3, 0))
}

func endSign(at XY) []Item {
	const r = 1.9
	triangle := []XY{{at.X, at.Y - r}, {at.X + 0.87*r, at.Y + 0.5*r}, {at.X - 0.87*r, at.Y + 0.5*r}}
	return []Item{Area{triangle, 1}, Stroke{Points: triangle, Closed: true, WidthMM: 0.35}, disc(at, 0.35, 0)}
}

// ends marks the departure and where the journey is.
func (d *drawing) ends() {
	if first := &d.j.Points[0]; first.At != nil {
		at := d.on(first.At.Adjusted)
		d.add(startSign(at)...)
		const room = 2.1
		d.taken.take(around(at, room))
		defer d.label("departure", at, room)
	}
	if d.endMarked() {
		at := d.on(d.j.Last().At.Adjusted)
		d.add(endSign(at)...)
		d.taken.take(around(at, 2))
	}
}

// endMarked tells whether the last position has a sign of its own.
func (d *drawing) endMarked() bool {
	last := d.j.Last()
	return last != nil && last.Fix == nil && len(d.j.Points) > 1
}

// label sets words beside a sign that takes so much room about its centre, on the first
// side that is free, or to the right.
func (d *drawing) label(text string, at XY, room float64) {
	const edge = 0.3          // of the ground under the words
	off := room + edge + cell // closer, the two could share a cell
	w, h := small*typeface.Regular.Width(text), small*0.75
	sides := []struct{ x, y float64 }{
		{off, h / 2}, {-off - w, h / 2}, {-w / 2, -off}, {-w / 2, off + h},
		{off, -off / 2}, {off, off/2 + h}, {-off - w, -off / 2}, {-off - w, off/2 + h},
	}
	choice := sides[0]
	for _, s := range sides {
		r := rect{at.X + s.x - edge, at.Y + s.y - h - edge, at.X + s.x + w + edge, at.Y + s.y + edge}
		if d.free(r) {
			choice = s
			break
		}
	}
	d.words(text, XY{at.X + choice.x, at.Y + choice.y}, 0)
}

func (d *drawing) free(r rect) bool {
	f := d.frame
	return r.left >= f.left && r.right <= f.right && r.top >= f.top && r.bottom <= f.bottom &&
		d.taken.free(r)
}

// words sets small type on a white ground.
func (d *drawing) words(text string, at XY, align float64) {
	w, h := small*typeface.Regular.Width(text), small*0.75
	x := at.X - align*w
	r := rect{x - 0.3, at.Y - h - 0.3, x + w + 0.3, at.Y + 0.4}
	d.add(Area{r.corners(), 1}, Words{Text: text, SizeMM: small, At: at, Align: align})
	d.taken.take(r)
}

func (r rect) corners() []XY {
	return []XY{{r.left, r.top}, {r.right, r.top}, {r.right, r.bottom}, {r.left, r.bottom}}
}

// numbers puts the legs' numbers beside the adjusted track: at the middle of each leg,
// or else near it, wherever there is room.
func (d *drawing) numbers() {
	for _, leg := range d.j.Legs {
		line := d.legLine(leg)
		if len(line) < 2 {
			continue
		}
		text := fmt.Sprint(leg.Number)
		r := max(1.7, small*typeface.Bold.Width(text)/2+0.5)
		placed := false
		for _, share := range []float64{0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8} {
			at, tangent := along(line, share)
			for _, side := range []float64{1, -1, 1.7, -1.7} {
				off := side * (r + 0.7)
				c := XY{at.X - tangent.Y*off, at.Y + tangent.X*off}
				if !d.free(around(c, r)) {
					continue
				}
				d.add(disc(c, r, 1), Stroke{Points: circle(c, r), Closed: true, WidthMM: thinLine},
					Words{Text: text, Bold: true, SizeMM: small, At: XY{c.X, c.Y + 0.36*small}, Align: 0.5})
				d.taken.take(around(c, r))
				placed = true
				break
			}
			if placed {
				break
			}
		}
		if !placed {
			d.tight++
		}
	}
}

// legLine returns a leg's way on the adjusted track.
func (d *drawing) legLine(leg journey.Leg) []XY {
	var track []geo.Position
	for i := leg.From; i <= leg.To; i++ {
		p := &d.j.Points[i]
		if p.At == nil || i > leg.From && p.Begins {
			break
		}
		if i > leg.From {
			for k := range p.Via {
				track = append(track, p.Via[k].Adjusted)
			}
		}
		track = append(track, p.At.Adjusted)
	}
	if len(track) == 0 {
		return nil
	}
	return d.rhumbs(track)
}

// along returns a point of a line, by its share of the length, and the direction there.
func along(line []XY, share float64) (at, tangent XY) {
	whole := 0.0
	for i := 1; i < len(line); i++ {
		whole += distance(line[i-1], line[i])
	}
	rest := share * whole
	tangent = XY{1, 0}
	for i := 1; i < len(line); i++ {
		a, b := line[i-1], line[i]
		l := distance(a, b)
		if l == 0 {
			continue
		}
		tangent = XY{(b.X - a.X) / l, (b.Y - a.Y) / l}
		if rest <= l {
			return XY{a.X + rest*tangent.X, a.Y + rest*tangent.Y}, tangent
		}
		rest -= l
	}
	return line[len(line)-1], tangent
}

// surround draws the frame, the title, the scale, north and the legend.
func (d *drawing) surround() {
	f := d.frame
	d.add(Stroke{Points: f.corners(), Closed: true, WidthMM: 0.35},
		Words{Text: d.Title, Bold: true, SizeMM: min(4.2, (f.right-f.left)/max(1, widthOf(d.Title))), At: XY{f.left, f.top - 7.5}})
	d.north()
	d.scaleBar(f.left, d.foot)
	d.legend(f.left+68, d.foot)
	d.caption(f.left, d.HeightMM-7)
}

// widthOf returns the length in em of what a user wrote, too.
func widthOf(text string) float64 { return typeface.Bold.Width(Printable(text)) }

// Printable returns the text with a question mark for every character that the
// embedded fonts lack.
func Printable(text string) string {
	return strings.Map(func(r rune) rune {
		if typeface.Regular.Has(string(r)) && typeface.Bold.Has(string(r)) {
			return r
		}
		return '?'
	}, text)
}

// north draws the arrow: true north at the middle of the chart.
func (d *drawing) north() {
	x, y := d.frame.right-6, d.frame.top-3.2
	const l = 9.0
	d.add(
		Stroke{Points: []XY{{x, y}, {x, y - l}}, WidthMM: 0.35},
		Area{[]XY{{x, y - l - 1.5}, {x + 1.2, y - l + 2}, {x - 1.2, y - l + 2}}, 0},
		Words{Text: "N", Bold: true, SizeMM: body, At: XY{x + 2, y - l + 2}})
}

// scaleBar draws a bar of a round length and says the scale.
func (d *drawing) scaleBar(x, y float64) {
	length := 55 * d.perMM // at the most
	ten := math.Pow(10, math.Floor(math.Log10(length)))
	for _, m := range []float64{5, 2, 1} {
		if m*ten <= length {
			length = m * ten
			break
		}
	}
	const h, parts = 1.2, 4
	step := length / d.perMM / parts
	for i := range parts {
		r := rect{x + float64(i)*step, y, x + float64(i+1)*step, y + h}
		if i%2 == 0 {
			d.add(Area{r.corners(), 0})
		}
		d.add(Stroke{Points: r.corners(), Closed: true, WidthMM: thinLine})
	}
	unit, size := "km", 1000.0
	if length < 2000 {
		unit, size = "m", 1
	}
	for _, i := range []int{0, 2, 4} {
		text := fmt.Sprintf("%g", length/size*float64(i)/parts)
		align := 0.5
		switch i {
		case 0:
			align = 0
		case parts:
			text += " " + unit
		}
		d.add(Words{Text: text, SizeMM: small, At: XY{x + float64(i)*step, y + h + 2.8}, Align: align})
	}
	d.add(Words{Text: "1 : " + thousands(d.ScaleDenominator), SizeMM: small, At: XY{x, y + h + 6.6}})
}

// thousands writes a whole number with its thousands apart.
func thousands(n float64) string {
	s := fmt.Sprintf("%.0f", n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + " " + s[i:]
	}
	return s
}

// legendLine is a sign with its meaning.
type legendLine struct {
	text  string
	items func(XY) []Item
}

const legendRow = 4.4 // mm

func rows(lines []legendLine) int { return (len(lines) + 1) / 2 }

// legendLines explains the signs that are on the chart.
func (d *drawing) legendLines() []legendLine {
	stroke := func(s Stroke) func(XY) []Item {
		return func(at XY) []Item {
			s.Points = []XY{{at.X - 4, at.Y}, {at.X + 4, at.Y}}
			return []Item{s}
		}
	}
	track := "track by the log"
	if d.meets {
		track = "track adjusted by the fixes"
	}
	lines := []legendLine{{track, stroke(Stroke{WidthMM: trackLine})}}
	if d.meets {
		lines = append(lines, legendLine{"track as estimated on the way", stroke(Stroke{WidthMM: estimateLine, DashMM: estimateDash})})
	}
	lines = append(lines,
		legendLine{"entry", func(at XY) []Item { return []Item{disc(at, 0.65, 0)} }},
		legendLine{"95 % ellipse", func(at XY) []Item { return []Item{oval(at, nil)} }})
	if slices.ContainsFunc(d.rings, func(r ring) bool { return r.before }) {
		lines = append(lines,
			legendLine{"95 % ellipse before the fix", func(at XY) []Item { return []Item{oval(at, beforeDash)} }},
			legendLine{"closing error", stroke(Stroke{WidthMM: estimateLine, DashMM: closingDash})})
	}
	if d.j.Fixes > 0 {
		lines = append(lines, legendLine{"fix", func(at XY) []Item { return fixSign(at, true) }})
	}
	if slices.ContainsFunc(d.j.Points, func(p journey.Point) bool { return p.Fix != nil && !p.Fix.Used() }) {
		lines = append(lines, legendLine{"fix not used", func(at XY) []Item { return fixSign(at, false) }})
	}
	lines = append(lines, legendLine{"departure", startSign})
	if d.endMarked() {
		lines = append(lines, legendLine{"last estimated position", endSign})
	}
	return lines
}

func (d *drawing) legend(x, y float64) {
	lines := d.legendLines()
	for i, l := range lines {
		at := XY{x + float64(i/rows(lines))*44 + 4, y + float64(i%rows(lines))*legendRow}
		d.add(l.items(at)...)
		d.add(Words{Text: l.text, SizeMM: small, At: XY{at.X + 5.5, at.Y + 0.36*small}})
	}
}

func oval(at XY, dash []float64) Stroke {
	s := Stroke{Points: circle(at, 1), Closed: true, WidthMM: ellipseLine, DashMM: dash, Grey: 0.35}
	for i, p := range s.Points {
		s.Points[i] = XY{at.X + 3*(p.X-at.X), at.Y + 1.3*(p.Y-at.Y)}
	}
	return s
}

// caption says what a reader must know to measure on the chart.
func (d *drawing) caption(x, y float64) {
	lines := []string{fmt.Sprintf("WGS84, azimuthal equidistant about %s: distances and directions from there are true. North is up in the middle", d.projection.middle)}
	if turn := d.convergence(); turn > 0.5*angle.Degree {
		lines[0] += fmt.Sprintf("; at the sides it turns by up to %.0f°", math.Ceil(turn.Degrees()))
	}
	lines[0] += "."
	if d.tight > 0 {
		lines = append(lines, fmt.Sprintf("Left out for want of room: %d leg numbers.", d.tight))
	}
	for i, l := range lines {
		d.add(Words{Text: l, SizeMM: 2.1, At: XY{x, y + 3*float64(i)}})
	}
}

// convergence is the most that true north turns from the chart's up at the corners.
func (d *drawing) convergence() (most angle.Angle) {
	for _, c := range d.frame.corners() {
		p := d.projection.position(d.offChart(c))
		const step = 100 // m, small against any chart
		a, b := d.on(p), d.on(journey.Offset(p, workup.Offset{North: step}))
		most = max(most, angle.Atan2(b.X-a.X, a.Y-b.Y).Abs())
	}
	return most
}

// offChart is onPlane's inverse.
func (d *drawing) offChart(p XY) plane {
	return plane{
		(p.X - (d.frame.left+d.frame.right)/2) * d.perMM,
		((d.frame.top+d.frame.bottom)/2 - p.Y) * d.perMM,
	}
}
