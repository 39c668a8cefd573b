package align

import (
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"shadowread/internal/angle"
)

// Point is a residual of the figure.
type Point struct {
	Label           string
	Hours           float64 // after the first reading
	Azimuth         angle.Angle
	Residual, Sigma angle.Angle
	SetAside        bool
}

// Points returns the residuals against time and azimuth. Azimuths run on through north
// where the body passes it, so that neighbours stay neighbours.
func (r *Result) Points() []Point {
	first := r.first()
	start := r.Terms[0].Sky.Azimuth
	var out []Point
	for _, t := range r.Terms {
		out = append(out, Point{t.Label, t.Sky.Time.Sub(first).Hours(), start + (t.Sky.Azimuth - start).Signed(), t.Residual, t.DirectionSigma, t.SetAside})
	}
	return out
}

func (r *Result) first() time.Time {
	first := r.Terms[0].Sky.Time
	for _, t := range r.Terms {
		if t.Sky.Time.Before(first) {
			first = t.Sky.Time
		}
	}
	return first
}

// The figure, in pixels of an SVG.
const (
	figureWidth, figureHeight = 720, 560
	panelLeft, panelRight     = 70, 700
	panelHeight               = 190
)

// WriteSVG draws the residuals against time and against the body's azimuth, with one
// sigma of each reading. Readings set aside are crosses; where one lies beyond the scale,
// which the others set, its cross stands on the frame.
func (r *Result) WriteSVG(w io.Writer) error {
	points := r.Points()
	top := 0.0 // degrees
	for _, p := range points {
		if !p.SetAside {
			top = max(top, (p.Residual.Abs() + p.Sigma).Degrees())
		}
	}
	step := niceStep(2.2 * top / 4)
	top = step * math.Ceil(1.05*top/step)

	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%d" height="%d" viewBox="0 0 %d %d" font-family="sans-serif" font-size="13">`+"\n", figureWidth, figureHeight, figureWidth, figureHeight)
	b.WriteString(`<rect width="100%" height="100%" fill="white"/>` + "\n")
	fmt.Fprintf(&b, `<text x="%d" y="24">Residuals of the shadow's direction, seen less fitted, degrees; bars are one sigma</text>`+"\n", panelLeft)
	at := r.first().UTC().Format("2006-01-02 15:04:05 UTC")
	panel(&b, 45, points, top, step, "hours after "+at, func(p Point) float64 { return p.Hours }, func(v float64) float64 { return v })
	panel(&b, 305, points, top, step, "azimuth of the body, degrees", func(p Point) float64 { return p.Azimuth.Degrees() }, func(v float64) float64 { return angle.FromDegrees(v).Bearing().Degrees() })
	b.WriteString("</svg>\n")
	_, err := io.WriteString(w, b.String())
	return err
}

func panel(b *strings.Builder, y0 int, points []Point, top, step float64, label string, value func(Point) float64, shown func(float64) float64) {
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range points {
		low, high = min(low, value(p)), max(high, value(p))
	}
	margin := max(0.05*(high-low), 0.01)
	low, high = low-margin, high+margin
	x := func(v float64) float64 { return panelLeft + (panelRight-panelLeft)*(v-low)/(high-low) }
	y := func(v float64) float64 { return float64(y0) + panelHeight*(0.5-max(-top, min(top, v))/(2*top)) }

	fmt.Fprintf(b, `<g stroke="#bbb" stroke-width="0.7" fill="none"><rect x="%d" y="%d" width="%d" height="%d"/>`, panelLeft, y0, panelRight-panelLeft, panelHeight)
	var text strings.Builder
	lines := int(math.Round(top / step))
	for k := -lines; k <= lines; k++ {
		v := float64(k) * step
		fmt.Fprintf(b, `<path d="M%d %.1fH%d"/>`, panelLeft, y(v), panelRight)
		fmt.Fprintf(&text, `<text x="%d" y="%.1f" text-anchor="end">%s</text>`, panelLeft-6, y(v)+4.5, tick(v, step))
	}
	across := niceStep((high - low) / 8)
	for v := across * math.Ceil(low/across); v <= high; v += across {
		fmt.Fprintf(b, `<path d="M%.1f %dV%d"/>`, x(v), y0, y0+panelHeight)
		fmt.Fprintf(&text, `<text x="%.1f" y="%d" text-anchor="middle">%s</text>`, x(v), y0+panelHeight+17, tick(shown(v), across))
	}
	fmt.Fprintf(b, `<path stroke="black" d="M%d %.1fH%d"/></g>`+"\n%s\n", panelLeft, y(0), panelRight, text.String())
	fmt.Fprintf(b, `<text x="%d" y="%d" text-anchor="middle">%s</text>`+"\n", (panelLeft+panelRight)/2, y0+panelHeight+36, label)
	for _, p := range points {
		px, py := x(value(p)), y(p.Residual.Degrees())
		b.WriteString(`<g stroke="black" fill="black"><title>`)
		xml.EscapeText(b, []byte(p.Label))
		b.WriteString(`</title>`)
		if p.SetAside {
			fmt.Fprintf(b, `<path stroke-width="1.5" d="M%.1f %.1fl10 10m0 -10l-10 10"/>`, px-5, py-5)
		} else {
			fmt.Fprintf(b, `<circle cx="%.1f" cy="%.1f" r="3"/><path d="M%.1f %.1fV%.1f"/>`, px, py, px, y((p.Residual - p.Sigma).Degrees()), y((p.Residual + p.Sigma).Degrees()))
		}
		b.WriteString("</g>\n")
	}
}

// niceStep is the least of 1, 2 and 5 times a power of ten that is x or more.
func niceStep(x float64) float64 {
	power := math.Pow10(int(math.Floor(math.Log10(max(x, 1e-9)))))
	for _, m := range []float64{1, 2, 5} {
		if m*power >= x*(1-1e-9) {
			return m * power
		}
	}
	return 10 * power
}

func tick(v, step float64) string {
	places := max(0, -int(math.Floor(math.Log10(step)+1e-9)))
	return fmt.Sprintf("%.*f", places, v+0)
}
