package chart

import (
	"fmt"
	"math"

	"shadowread/internal/angle"
	"shadowread/internal/geo"
	"shadowread/internal/typeface"
)

// steps between the graticule's lines, seconds of arc.
var steps = []int{1, 2, 5, 10, 15, 30, 60, 2 * 60, 5 * 60, 10 * 60, 15 * 60, 30 * 60,
	3600, 2 * 3600, 5 * 3600, 10 * 3600, 15 * 3600, 30 * 3600}

// stepFor returns the smallest step whose lines are 20 mm apart or more, where a degree
// is so many metres; the largest if there is none.
func (d *drawing) stepFor(perDegree geo.Metres) int {
	for _, s := range steps {
		if float64(perDegree)*float64(s)/3600/d.perMM >= 20 {
			return s
		}
	}
	return steps[len(steps)-1]
}

// graticule draws meridians and parallels with their labels on the frame.
func (d *drawing) graticule() {
	middle := d.projection.middle
	south, north, east := d.reach()
	perLat, perLon := geo.MetresPerDegree(middle.Lat)
	latStep, lonStep := d.stepFor(perLat), d.stepFor(perLon)
	const points = 60 // of each line
	middleLon := middle.Lon.Degrees()
	sample := func(at func(share float64) geo.Position) []XY {
		line := make([]XY, points+1)
		for i := range line {
			line[i] = d.on(at(float64(i) / points))
		}
		return line
	}
	for k := ceil(south, latStep); k*latStep <= floor(north); k++ {
		seconds := k * latStep
		if seconds <= -90*3600 || seconds >= 90*3600 {
			continue // a pole is no line
		}
		lat := angle.FromDegrees(float64(seconds) / 3600)
		line := sample(func(share float64) geo.Position {
			return geo.Position{Lat: lat, Lon: angle.FromDegrees(middleLon + east*(2*share-1)).Signed()}
		})
		d.graticuleLine(line, label(seconds, "N", "S", latStep), true)
	}
	for k := ceil(middleLon-east, lonStep); k*lonStep <= floor(middleLon+east); k++ {
		if float64(k*lonStep)/3600 <= middleLon-180 {
			continue // once round the pole only
		}
		seconds := wrap(k * lonStep)
		lon := angle.FromDegrees(float64(seconds) / 3600)
		line := sample(func(share float64) geo.Position {
			return geo.Position{Lat: angle.FromDegrees(south + (north-south)*share), Lon: lon}
		})
		d.graticuleLine(line, label(seconds, "E", "W", lonStep), false)
	}
}

// ceil is the first multiple of a step, in seconds, from an angle in degrees on.
func ceil(degrees float64, step int) int { return int(math.Ceil(degrees * 3600 / float64(step))) }

func floor(degrees float64) int { return int(math.Floor(degrees * 3600)) }

// wrap reduces a longitude in seconds to (-180, 180] degrees.
func wrap(seconds int) int {
	const turn = 360 * 3600
	seconds = ((seconds % turn) + turn) % turn
	if seconds > turn/2 {
		seconds -= turn
	}
	return seconds
}

// reach returns the latitudes on the chart and how far it goes to either side of the
// middle's meridian, all in degrees.
func (d *drawing) reach() (south, north, east float64) {
	south, north = 90, -90
	const n = 24
	f := d.frame
	for i := range n + 1 {
		for k := range n + 1 {
			p := d.projection.position(d.offChart(XY{
				f.left + (f.right-f.left)*float64(i)/n,
				f.top + (f.bottom-f.top)*float64(k)/n,
			}))
			south, north = min(south, p.Lat.Degrees()), max(north, p.Lat.Degrees())
			east = max(east, (p.Lon - d.projection.middle.Lon).Signed().Abs().Degrees())
		}
	}
	for _, pole := range []float64{-90, 90} {
		if f.has(d.on(geo.Position{Lat: angle.FromDegrees(pole)})) {
			south, north, east = min(south, pole), max(north, pole), 180
		}
	}
	return south, north, east
}

// label writes a line's latitude or longitude to as many places as the step has.
func label(seconds int, positive, negative string, step int) string {
	letter := positive
	switch {
	case seconds < 0:
		letter, seconds = negative, -seconds
	case seconds == 0 || seconds == 180*3600 && positive == "E":
		letter = ""
	}
	text := fmt.Sprintf("%d°", seconds/3600)
	if step%3600 != 0 {
		text += fmt.Sprintf("%02d'", seconds/60%60)
	}
	if step%60 != 0 {
		text += fmt.Sprintf(`%02d"`, seconds%60)
	}
	if letter != "" {
		text += " " + letter
	}
	return text
}

// graticuleLine draws a line and labels it where it leaves the frame: parallels at the
// sides, meridians below and above, each at the other edges if it leaves there alone.
func (d *drawing) graticuleLine(line []XY, text string, parallel bool) {
	f := d.frame
	var ends []XY
	for _, part := range f.clipLine(line) {
		d.add(Stroke{Points: part, WidthMM: thinLine, Grey: 0.6})
		ends = append(ends, part[0], part[len(part)-1])
	}
	const on = 1e-6
	atSide := func(p XY) bool { return p.X < f.left+on || p.X > f.right-on }
	atLevel := func(p XY) bool { return p.Y < f.top+on || p.Y > f.bottom-on }
	labelled := false
	put := func(p XY) {
		w := small * typeface.Regular.Width(text)
		at, align := XY{p.X, p.Y + 0.36*small}, 0.0
		switch {
		case p.X < f.left+on:
			at.X, align = p.X-1, 1
		case p.X > f.right-on:
			at.X = p.X + 1
		case p.Y < f.top+on:
			at, align = XY{p.X, p.Y - 1}, 0.5
		default:
			at, align = XY{p.X, p.Y + 1 + 0.75*small}, 0.5
		}
		x := at.X - align*w
		r := rect{x - 0.8, at.Y - 0.75*small - 0.2, x + w + 0.8, at.Y + 0.3}
		if !d.taken.free(r) {
			return
		}
		d.add(Words{Text: text, SizeMM: small, At: at, Align: align})
		d.taken.take(r)
		labelled = true
	}
	for _, p := range ends {
		if parallel && atSide(p) || !parallel && atLevel(p) {
			put(p)
		}
	}
	if labelled {
		return
	}
	for _, p := range ends {
		if atSide(p) || atLevel(p) {
			put(p)
		}
	}
}
