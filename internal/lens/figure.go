package lens

import (
	"bufio"
	"fmt"
	"io"
	"math"
)

// WriteFigure draws the residuals of a solution as SVG: the frame of the picture as
// it is stored, a dot for each mark corner where the solution has it, and a line
// from it to where the photo shows it, drawn longer by a round factor. Arrows that
// point all ways are noise; arrows that turn together show a lens that the model
// does not describe, or a bent sheet.
func (r *Result) WriteFigure(w io.Writer) error {
	const (
		wide   = 720.0 // of the picture's frame, user units
		margin = 40.0
		foot   = 84.0 // for the legend
	)
	c := r.Record.Camera
	per := wide / float64(c.WidthPX)
	high := float64(c.HeightPX) * per
	factor := exaggeration(r.RMSPx * per)
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %.0f" width="%.0f" height="%.0f" font-family="sans-serif" font-size="13">`+"\n",
		wide+2*margin, high+margin+foot, wide+2*margin, high+margin+foot)
	fmt.Fprintf(b, `<rect width="100%%" height="100%%" fill="white"/>`+"\n")
	fmt.Fprintf(b, `<g transform="translate(%.0f %.0f)">`+"\n", margin, margin)
	// The fields of the coverage; those without a corner are hatched by a cross.
	fw, fh := wide/float64(r.Coverage.Columns), high/float64(r.Coverage.Rows)
	fmt.Fprintf(b, `<g stroke="#ccc" stroke-width="0.7" fill="none">`+"\n")
	for i, n := range r.Coverage.Counts {
		x, y := float64(i%r.Coverage.Columns)*fw, float64(i/r.Coverage.Columns)*fh
		fmt.Fprintf(b, `<rect x="%.2f" y="%.2f" width="%.2f" height="%.2f"/>`+"\n", x, y, fw, fh)
		if n == 0 {
			fmt.Fprintf(b, `<path d="M%.2f %.2fl%.2f %.2fm0 %.2fl%.2f %.2f"/>`+"\n", x, y, fw, fh, -fh, -fw, fh)
		}
	}
	fmt.Fprintf(b, "</g>\n")
	fmt.Fprintf(b, `<rect width="%.2f" height="%.2f" fill="none" stroke="black"/>`+"\n", wide, high)
	cx, cy := (r.Record.Lens.Cx+0.5)*per, (r.Record.Lens.Cy+0.5)*per
	fmt.Fprintf(b, `<path d="M%.2f %.2fh12m-6 -6v12" stroke="black" stroke-width="1.5" fill="none"/>`+"\n", cx-6, cy)
	fmt.Fprintf(b, `<g stroke="black" stroke-width="0.9" fill="black">`+"\n")
	for _, v := range r.Views {
		for _, e := range v.residuals {
			x, y := (e.u+0.5)*per, (e.v+0.5)*per
			fmt.Fprintf(b, `<circle cx="%.2f" cy="%.2f" r="1.2" stroke="none"/><path d="M%.2f %.2fl%.2f %.2f"/>`+"\n",
				x, y, x, y, e.du*per*factor, e.dv*per*factor)
		}
	}
	fmt.Fprintf(b, "</g>\n")
	// A bar of a round length in pixels, drawn as the arrows are.
	bar := roundDown(60 / (per * factor))
	long := bar * per * factor
	fmt.Fprintf(b, `<path d="M0 %.2fv8m0 -4h%.2fm0 -4v8" stroke="black" fill="none"/>`+"\n", high+14, long)
	fmt.Fprintf(b, `<text x="%.2f" y="%.2f">%g px of residual (%g times the picture&#39;s scale); rms %.3f px in %d photos</text>`+"\n", long+8, high+22, bar, factor, r.RMSPx, len(r.Views))
	fmt.Fprintf(b, `<text y="%.2f">Cross: the lens&#39;s centre. Crossed fields: no corner of a mark in any photo (%.0f %% of the fields have some).</text>`+"\n", high+44, 100*r.Coverage.Covered)
	fmt.Fprintf(b, `<text y="%.2f">The picture as the camera stores it, not turned: %d x %d px.</text>`+"\n", high+66, c.WidthPX, c.HeightPX)
	fmt.Fprintf(b, "</g>\n</svg>\n")
	return b.Flush()
}

// exaggeration is the factor that draws an rms residual of s user units some 12 long.
func exaggeration(s float64) float64 {
	return max(1, roundDown(12/max(s, 1e-6)))
}

// roundDown returns the greatest 1, 2 or 5 times a power of ten that is not above x.
func roundDown(x float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(x)))
	for _, m := range []float64{5, 2} {
		if x >= m*p {
			return m * p
		}
	}
	return p
}
