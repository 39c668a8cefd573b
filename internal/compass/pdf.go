//go:build !js

// What follows composes a PDF; a page in a browser prints nothing, and is smaller for it.

package compass

import (
	"fmt"
	"io"
	"math"

	"codeberg.org/go-pdf/fpdf"

	"shadowread/internal/angle"
	"shadowread/internal/fault"
	"shadowread/internal/paper"
	"shadowread/internal/typeface"
	"shadowread/internal/wording"
)

// The page, in mm and, for type, points.
const (
	margin     = 18.0
	plotTop    = 66.0
	plotHeight = 76.0
	tableTop   = plotTop + plotHeight + 19
	rowHeight  = 4.05
	plotLeft   = margin + 11 // room for the scale's figures
	small      = 8.5         // pt
)

// WritePDF writes the card as one page in black and white: the deviation's curve
// with its 95 %, two sigmas, the readings, and the tables both ways. The bytes depend on the
// card and the paper alone.
func (c Card) WritePDF(w io.Writer, f paper.Format) error {
	if err := typeface.Fonts(); err != nil {
		return err
	}
	doc := paper.NewDocument("Deviation card: "+c.Title, f, c.Swung)
	doc.AddPage()
	p := page{doc, f.Width - margin}
	p.head(c)
	p.curve(c)

	middle := f.Width / 2
	bearing := func(a angle.Angle) string { return tenths(a.Bearing(), "%05.1f") }
	sigmas := func(l Line) string { return tenths(2*l.Sigma, "%.1f") }
	p.table(margin, middle-6, "To steer a magnetic heading", []string{"magnetic", "deviation", "compass", "± (95 %)"}, c.ByMagnetic(),
		func(l Line) []string {
			return []string{bearing(l.Magnetic), eastWest(l.Deviation), bearing(l.Compass), sigmas(l)}
		})
	p.table(middle+6, p.right, "To read a compass heading", []string{"compass", "deviation", "magnetic", "± (95 %)"}, c.ByCompass(),
		func(l Line) []string {
			return []string{bearing(l.Compass), eastWest(l.Deviation), bearing(l.Magnetic), sigmas(l)}
		})

	p.SetFont("Go", "", small)
	p.put("Never the sole means of navigation. Where rules ask for a licensed compass adjuster, this page does not stand in for one.", margin, f.Height-11, 0)

	if err := doc.Output(w); err != nil {
		return fault.Wrap(err, "pdf_failed", "write the card as a table or JSON instead", "cannot compose the PDF")
	}
	return nil
}

// tenths prints an angle rounded to 0.1 degree, 360.0 as 0.
func tenths(a angle.Angle, format string) string {
	return fmt.Sprintf(format, wording.BearingDegrees(a, 1))
}

// eastWest prints a deviation as on a card: "5.2 E", "0.0".
func eastWest(a angle.Angle) string {
	switch d := wording.Round(a.Degrees(), 1); {
	case d > 0:
		return fmt.Sprintf("%.1f E", d)
	case d < 0:
		return fmt.Sprintf("%.1f W", -d)
	}
	return "0.0"
}

type page struct {
	*fpdf.Fpdf
	right float64 // mm
}

// put writes s with its baseline at y; align is 0 for s to start at x, 0.5 for it to
// be centred there, 1 for it to end there.
func (p page) put(s string, x, y, align float64) {
	p.Text(x-align*p.GetStringWidth(s), y, s)
}

func (p page) head(c Card) {
	p.SetFont("Go", "B", 18)
	p.put("Deviation card", margin, 25, 0)
	p.SetFont("Go", "", 11)
	const beside = 30 // mm for the number of readings
	if room := p.right - margin - beside; p.GetStringWidth(c.Title) > room {
		p.SetFontSize(11 * room / p.GetStringWidth(c.Title))
	}
	p.put(c.Title, margin, 32, 0)
	p.SetFont("Go", "", small)
	p.put("swung "+c.Swung.Format("2006-01-02 15:04 UTC"), p.right, 25, 1)
	p.put(fmt.Sprintf("%d readings", len(c.Points)), p.right, 29.5, 1)
	p.put("East positive. Compass = magnetic − deviation; magnetic = true − declination.", margin, 38.5, 0)
	p.put("Deviation = A + B sin z + C cos z + D sin 2z + E cos 2z, z the compass heading. Coefficients in degrees, ± holds 95 %:", margin, 42.5, 0)
	each := (p.right - margin) / count
	for k, v := range c.Coefficients {
		sigma := angle.Angle(math.Sqrt(c.covariance[k][k]))
		s := fmt.Sprintf("%s %+.2f ± %.2f", names[k], wording.Round(v.Degrees(), 2), 2*sigma.Degrees())
		p.put(s, margin+float64(k)*each, 47.5, 0)
	}
	p.put("A absorbs the error of the declination and of the lubber line.", margin, 52, 0)
	p.put(c.swungWith(), margin, 56, 0)
	p.put("Good for this compass in this place on this vehicle, loaded as it was when swung, and near the same latitude.", margin, 60, 0)
}

// swungWith says which declination the card goes with.
func (c Card) swungWith() string {
	d := c.Declination
	if d == nil {
		return "Swung by magnetic headings, without a declination."
	}
	source := "as given"
	if d.Source == FromModel {
		source = "World Magnetic Model 2025"
	}
	return fmt.Sprintf("Swung with the declination %s ± %.1f (%s): steer with the same.", eastWest(d.Value), 2*d.Sigma.Degrees(), source)
}

// curve draws deviation against compass heading.
func (p page) curve(c Card) {
	top := angle.Degree // the scale's end
	for z := range 360 {
		deviation, sigma := c.DeviationAt(angle.FromDegrees(float64(z)))
		top = max(top, deviation.Abs()+2*sigma)
	}
	for _, q := range c.Points {
		top = max(top, q.Deviation.Abs())
	}
	line := niceStep(top.Degrees() / 4)
	end := math.Ceil(top.Degrees()/line) * line
	x := func(deg float64) float64 { return plotLeft + (p.right-plotLeft)*deg/360 }
	y := func(deg float64) float64 { return plotTop + plotHeight/2*(1-deg/end) }

	p.SetFont("Go", "", small)
	p.SetLineWidth(0.1)
	below := plotTop + plotHeight + 4
	for deg := 0; deg <= 360; deg += 15 {
		p.Line(x(float64(deg)), plotTop, x(float64(deg)), plotTop+plotHeight)
		if deg%30 == 0 {
			p.put(fmt.Sprintf("%03d", deg%360), x(float64(deg)), below, 0.5)
		}
		if deg%90 == 0 {
			p.put([]string{"N", "E", "S", "W", "N"}[deg/90], x(float64(deg)), below+3.8, 0.5)
		}
	}
	p.put("compass heading z; dashed: 95 %; circles: readings, crossed where out of line", (plotLeft+p.right)/2, below+8, 0.5)
	for n := -math.Round(end / line); n*line <= end+line/2; n++ {
		p.SetLineWidth(map[bool]float64{true: 0.35, false: 0.1}[n == 0])
		p.Line(plotLeft, y(n*line), p.right, y(n*line))
		p.put(scaleFigure(n*line), plotLeft-1.5, y(n*line)+1.1, 1)
	}
	p.SetLineWidth(0.35)
	p.Rect(plotLeft, plotTop, p.right-plotLeft, plotHeight, "D")

	for _, sigmas := range []float64{-2, 0, 2} {
		p.SetLineWidth(0.6)
		if sigmas != 0 {
			p.SetLineWidth(0.25)
			p.SetDashPattern([]float64{1.6, 1.2}, 0)
		}
		for deg := range 361 {
			deviation, sigma := c.DeviationAt(angle.FromDegrees(float64(deg)))
			px, py := x(float64(deg)), y((deviation + angle.Angle(sigmas)*sigma).Degrees())
			if deg == 0 {
				p.MoveTo(px, py)
			} else {
				p.LineTo(px, py)
			}
		}
		p.DrawPath("D")
		p.SetDashPattern(nil, 0)
	}
	p.SetLineWidth(0.3)
	for _, q := range c.Points {
		const r = 0.95
		px, py := x(q.Compass.Degrees()), y(q.Deviation.Degrees())
		p.SetFillColor(255, 255, 255)
		p.Circle(px, py, r, "FD")
		if q.Outlier {
			p.Line(px-2*r, py-2*r, px+2*r, py+2*r)
			p.Line(px-2*r, py+2*r, px+2*r, py-2*r)
		}
	}
}

// niceStep returns the least of 1, 2, 5 times a power of ten that is at least d.
func niceStep(d float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(d)))
	for _, n := range []float64{1, 2, 5} {
		if n*power >= d {
			return n * power
		}
	}
	return 10 * power
}

// scaleFigure prints a deviation at a line of the scale, "5° E".
func scaleFigure(deg float64) string {
	switch {
	case deg > 1e-9:
		return fmt.Sprintf("%g° E", wording.Round(deg, 3))
	case deg < -1e-9:
		return fmt.Sprintf("%g° W", wording.Round(-deg, 3))
	}
	return "0°"
}

func (p page) table(left, right float64, title string, columns []string, lines []Line, cells func(Line) []string) {
	p.SetFont("Go", "B", 10)
	p.put(title, left, tableTop, 0)
	each := (right - left) / float64(len(columns))
	row := func(y float64, texts []string) {
		for i, s := range texts {
			p.put(s, left+float64(i+1)*each-3, y, 1)
		}
	}
	p.SetFont("Go", "", small)
	y := tableTop + 5
	row(y, columns)
	p.SetLineWidth(0.35)
	p.Line(left, y+1.3, right, y+1.3)
	p.SetLineWidth(0.1)
	for i, l := range lines {
		y += rowHeight
		row(y+0.9, cells(l))
		if (i+1)%3 == 0 { // a thin line every 45 degrees guides the eye
			p.Line(left, y+2, right, y+2)
		}
	}
}
