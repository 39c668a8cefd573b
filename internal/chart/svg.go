package chart

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// WriteSVG writes the chart as a document of its own, its words as text. The bytes
// depend on the chart alone.
func (c *Chart) WriteSVG(w io.Writer) error {
	b := &bytes.Buffer{}
	fmt.Fprintf(b, `<svg xmlns="http://www.w3.org/2000/svg" width="%smm" height="%smm" viewBox="0 0 %[1]s %[2]s" role="img" font-family="Go, Helvetica, Arial, sans-serif">`+"\n",
		number(c.WidthMM), number(c.HeightMM))
	fmt.Fprintf(b, "<title>%s</title>\n", escape(c.Title))
	fmt.Fprintf(b, `<rect width="%s" height="%s" fill="#fff"/>`+"\n", number(c.WidthMM), number(c.HeightMM))
	for _, item := range c.Items {
		switch it := item.(type) {
		case Stroke:
			fmt.Fprintf(b, `<path d="%s" fill="none" stroke="%s" stroke-width="%s" stroke-linecap="%s" stroke-linejoin="round"`,
				path(it.Points, it.Closed), grey(it.Grey), number(it.WidthMM), it.lineCap())
			if len(it.DashMM) > 0 {
				dash := make([]string, len(it.DashMM))
				for i, l := range it.DashMM {
					dash[i] = number(l)
				}
				fmt.Fprintf(b, ` stroke-dasharray="%s"`, strings.Join(dash, " "))
			}
			b.WriteString("/>\n")
		case Area:
			fmt.Fprintf(b, `<path d="%s" fill="%s"/>`+"\n", path(it.Points, true), grey(it.Grey))
		case Words:
			weight := ""
			if it.Bold {
				weight = ` font-weight="bold"`
			}
			fmt.Fprintf(b, `<text x="%s" y="%s" font-size="%s" text-anchor="%s"%s>%s</text>`+"\n",
				number(it.At.X), number(it.At.Y), number(it.SizeMM), anchor(it.Align), weight, escape(it.Text))
		}
	}
	b.WriteString("</svg>\n")
	_, err := w.Write(b.Bytes())
	return err
}

// lineCap keeps dashes as long as they are meant to be.
func (s Stroke) lineCap() string {
	if len(s.DashMM) > 0 {
		return "butt"
	}
	return "round"
}

func anchor(align float64) string {
	switch align {
	case 0:
		return "start"
	case 1:
		return "end"
	}
	return "middle"
}

func path(points []XY, closed bool) string {
	var b strings.Builder
	for i, p := range points {
		b.WriteString(map[bool]string{true: "M", false: "L"}[i == 0])
		b.WriteString(number(p.X) + " " + number(p.Y))
	}
	if closed {
		b.WriteString("Z")
	}
	return b.String()
}

// number writes a length to a thousandth of a millimetre.
func number(v float64) string {
	return strconv.FormatFloat(math.Round(v*1000)/1000+0, 'f', -1, 64) // + 0 turns -0 to 0
}

func grey(g float64) string {
	level := int(math.Round(255 * g))
	return fmt.Sprintf("#%02x%02[1]x%02[1]x", level)
}

func escape(s string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(s)) // a Builder does not fail
	return b.String()
}
