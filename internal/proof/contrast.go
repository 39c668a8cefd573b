package proof

import (
	"fmt"
	"io"

	"shadowread/internal/angle"
	"shadowread/internal/pixels"
	"shadowread/internal/reading"
)

// Contrast holds readings without OpenCV against those with it, in a build that has both.
type Contrast struct {
	Photos int
	Most   angle.Angle // by which headings differ
	Unlike []string    // photos with unlike statuses, and both
}

// read reads a photo, and once more without OpenCV if this build has both.
func (c *Contrast) read(photo string, read func() *reading.Result) *reading.Result {
	r := read()
	engines := pixels.Engines()
	if len(engines) < 2 {
		return r
	}
	pixels.Use(pixels.PlainGo)
	defer pixels.Use(engines[0])
	p := read()
	c.Photos++
	if p.Reason != r.Reason {
		c.Unlike = append(c.Unlike, fmt.Sprintf("%s (%s, without OpenCV %s)", photo, status(r), status(p)))
	} else if r.OK() {
		c.Most = max(c.Most, (*p.Heading - *r.Heading).Signed().Abs())
	}
	return r
}

func status(r *reading.Result) string {
	if r.OK() {
		return "read"
	}
	return string(r.Reason)
}

func (c *Contrast) print(w io.Writer) {
	if c.Photos == 0 {
		return
	}
	fmt.Fprintf(w, "without OpenCV: headings of %d photos differ by %.4f° at most, %d statuses", c.Photos, c.Most.Degrees(), len(c.Unlike))
	for _, u := range c.Unlike {
		fmt.Fprintf(w, "; %s", u)
	}
	fmt.Fprintln(w)
}
