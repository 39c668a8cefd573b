package proof

import (
	"context"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"text/tabwriter"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/geo"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
)

// wrongBy are the hours by which a clock, its zone or the one who types the time
// commonly errs.
var wrongBy = []time.Duration{-time.Hour, time.Hour, -2 * time.Hour, 2 * time.Hour, -12 * time.Hour, 12 * time.Hour}

// movedLeast is the least change of the body's altitude by a wrong hour that counts:
// below it the shadow's length cannot tell (near noon).
const movedLeast = 3 * angle.Degree

// doubts are the warnings by which a reading says that its hour may be wrong. What a GPS
// stamp says against a given time is left out: it has nothing to do with the shadow.
var doubts = []string{
	"clock_check_failed", "clock_check_weak", "clock_not_checked", "moon_taken", "light_disagrees", "compass_disagrees",
}

// Answers is how readings with a wrong hour, or the right one, came out.
type Answers struct{ Refused, Warned, NotChecked, Silent int }

func (a Answers) all() int { return a.Refused + a.Warned + a.NotChecked + a.Silent }

func (a Answers) String() string {
	return fmt.Sprintf("%d: %d refused, %d warned, %d said as not checked, %d silent", a.all(), a.Refused, a.Warned, a.NotChecked, a.Silent)
}

// take counts a reading.
func (a *Answers) take(r *reading.Result) string {
	has := func(code string) bool {
		for _, w := range r.Warnings {
			if w.Code == code {
				return true
			}
		}
		return false
	}
	switch {
	case !r.OK():
		a.Refused++
		return string(r.Reason)
	case has("clock_not_checked"):
		a.NotChecked++
		return "not checked"
	case slices.ContainsFunc(doubts, has):
		a.Warned++
		return "warned"
	}
	a.Silent++
	return "SILENT"
}

// HourSums is what reading photos with wrong hours comes to.
type HourSums struct {
	OnPaper, Beyond Answers // wrong hours, by where the shadow's tip lies
	Right           Answers // right hours; refused and warned ones are accused
}

// paperHalf is half of an A4 page athwart and fore-and-aft, mm (ISO 216).
var paperHalf = [2]float64{105, 148.5}

// Hours reads every readable photo of a folder with a truth.json with its own hour and
// with wrong ones that move the body's altitude by movedLeast or more, prints a line for
// each photo and adds the answers to s. Time and place are said, as by one who types
// them; withHeight says the rod's height too.
func Hours(ctx context.Context, w io.Writer, dir string, withHeight bool, s *HourSums) error {
	truths, err := loadTruth(dir)
	if err != nil {
		return err
	}
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	defer tw.Flush()
	fmt.Fprint(tw, "photo\ttip\tright")
	for _, d := range wrongBy {
		fmt.Fprintf(tw, "\t%+g h", d.Hours())
	}
	fmt.Fprintln(tw)
	for _, t := range truths {
		if !t.Readable {
			continue
		}
		at, err := time.Parse(time.RFC3339Nano, t.UTC)
		if err != nil {
			return fmt.Errorf("%s: %w", t.File, err)
		}
		where := geo.Position{Lat: angle.FromDegrees(t.Lat), Lon: angle.FromDegrees(t.Lon)}
		body, err := bearing.ParseBody(t.Body)
		if err != nil {
			return fmt.Errorf("%s: %w", t.File, err)
		}
		read := func(at time.Time) *reading.Result {
			o := t.options()
			o.Time.At, o.Position.Position = &at, &where
			if !withHeight {
				o.Rod.HeightMM = 0
			}
			return reading.Read(ctx, photofile.At(filepath.Join(dir, t.File)), o)
		}
		right, err := bearing.Observe(body, at, where, 0)
		if err != nil {
			return fmt.Errorf("%s: %w", t.File, err)
		}
		answers, tip := &s.Beyond, "beyond"
		if p := t.Tip; p != nil && math.Abs(p[0]) < paperHalf[0] && math.Abs(p[1]) < paperHalf[1] {
			answers, tip = &s.OnPaper, "on paper"
		}
		fmt.Fprintf(tw, "%s\t%s\t%s", t.File, tip, s.Right.take(read(at)))
		for _, d := range wrongBy {
			wrong, err := bearing.Observe(body, at.Add(d), where, 0)
			if err != nil || (wrong.Altitude-right.Altitude).Abs() < movedLeast {
				fmt.Fprint(tw, "\t-")
				continue
			}
			fmt.Fprintf(tw, "\t%s", answers.take(read(at.Add(d))))
			if err := ctx.Err(); err != nil {
				return err
			}
		}
		fmt.Fprintln(tw)
	}
	return nil
}

// Print writes the sums.
func (s HourSums) Print(w io.Writer) {
	fmt.Fprintf(w, "wrong hours, tip on the paper: %v\nwrong hours, tip beyond: %v\nright hours: %v\n", s.OnPaper, s.Beyond, s.Right)
}
