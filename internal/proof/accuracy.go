package proof

import (
	"context"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"text/tabwriter"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
)

// Sums is what a set of readings comes to.
type Sums struct {
	Readable, Read   int // photos that an honest reader should read, and that were read
	Unreadable, Kept int // photos that should be refused, and that were
	RMS, Worst       angle.Angle
	WithinOne        int // readings within one and within two of their own sigma
	WithinTwo        int
	WorstRatio       float64
	Plain            Contrast // the same without OpenCV
}

// add counts one reading with its error and sigma.
func (s *Sums) add(err, sigma angle.Angle) {
	n := float64(s.Read)
	s.Read++
	s.RMS = angle.Angle(math.Sqrt((float64(s.RMS*s.RMS)*n + float64(err*err)) / (n + 1)))
	s.Worst = max(s.Worst, err.Abs())
	ratio := math.Abs(float64(err / sigma))
	s.WorstRatio = max(s.WorstRatio, ratio)
	if ratio < 1 {
		s.WithinOne++
	}
	if ratio < 2 {
		s.WithinTwo++
	}
}

// WithoutLevel is the sigma of a heading against a truth for the same rod: the rod
// from plumb and its lubber line are in the truth and so not in the error.
func WithoutLevel(b reading.Budget) angle.Angle {
	b.Level, b.Alignment = 0, 0
	return b.Sigma()
}

// Accuracy reads every photo of a folder with a truth.json, prints a table of
// truth, reading, error, sigma and their ratio, and returns the sums. The error is
// against strip_reader_heading_deg, the azimuth less the direction of the strip
// that the rod casts: what one photo can show. The sigma beside it leaves out the
// terms that one photo cannot show (WithoutLevel).
func Accuracy(ctx context.Context, w io.Writer, dir string) (Sums, error) {
	var s Sums
	truths, err := loadTruth(dir)
	if err != nil {
		return s, err
	}
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, "photo\ttruth\treading\terror\tsigma\tratio\tfull sigma\tclock\tremark")
	for _, t := range truths {
		if err := ctx.Err(); err != nil {
			return s, err
		}
		o := t.options()
		if t.Exif == "none" {
			at, err := time.Parse(time.RFC3339Nano, t.UTC)
			if err != nil {
				return s, err
			}
			o.Time.At = &at
		}
		r := s.Plain.read(t.File, func() *reading.Result { return reading.Read(ctx, photofile.At(filepath.Join(dir, t.File)), o) })
		if t.Readable {
			s.Readable++
		} else {
			s.Unreadable++
		}
		if !r.OK() {
			mark := "NOT READ"
			if !t.Readable {
				s.Kept++
				mark = "refused: " + t.WhyNot
			}
			fmt.Fprintf(tw, "%s\t\t%s\t\t\t\t\t\t%s\n", t.File, r.Reason, mark)
			continue
		}
		if !t.Readable {
			fmt.Fprintf(tw, "%s\t\t%.4f\t\t\t\t%.3f\t\tREAD, should be refused: %s\n", t.File, r.Heading.Degrees(), r.Sigma.Degrees(), t.WhyNot)
			continue
		}
		// The truth is that of the strip: a rod that was seen to lean is left as it leans.
		e := (*r.Heading - r.Correction - angle.FromDegrees(t.Heading)).Signed()
		sigma := WithoutLevel(*r.Budget)
		s.add(e, sigma)
		fmt.Fprintf(tw, "%s\t%.4f\t%.4f\t%+.4f\t%.4f\t%+.2f\t%.3f\t%s\t%s\n", t.File, t.Heading, r.Heading.Degrees(),
			e.Degrees(), sigma.Degrees(), float64(e/sigma), r.Sigma.Degrees(), r.Clock, t.lengthSeen(r))
	}
	tw.Flush()
	fmt.Fprintf(w, "read %d of %d readable, refused %d of %d unreadable; error rms %.4f°, worst %.4f°; %d within one sigma, %d within two, worst ratio %.2f\n",
		s.Read, s.Readable, s.Kept, s.Unreadable, s.RMS.Degrees(), s.Worst.Degrees(), s.WithinOne, s.WithinTwo, s.WorstRatio)
	s.Plain.print(w)
	return s, nil
}

// lengthSeen holds the shadow's length, or its lower bound, against the truth, mm.
func (t truth) lengthSeen(r *reading.Result) string {
	switch s := r.Shadow; {
	case s == nil:
		return ""
	case s.Length > 0:
		return fmt.Sprintf("length %+.2f ± %.2f of %.1f", s.Length-t.Length, s.LengthSigma, t.Length)
	case s.AtLeast > 0:
		return fmt.Sprintf("length at least %.1f of %.1f", s.AtLeast, t.Length)
	}
	return ""
}
