package proof

import (
	"context"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"

	"shadowread/internal/angle"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
	"shadowread/internal/render"
)

// LevelReport is what random pictures of rods that lean come to, nothing of it declared:
// the vehicle's heading against the truth, degrees.
type LevelReport struct {
	Heading measured
	Before  measured // the same if nothing of the rod's image were taken
	// Across are those in which the rod's image was seen across the shadow, the component
	// that counts, within seenAcross.
	Across measured
	Wild   []string // beyond 3.5 sigma
	beyond int      // four
}

const (
	// leanDrawn is the most that a rod is drawn to lean; the board is drawn level to half of
	// the reader's default, on two axes.
	leanDrawn  = 3 * angle.Degree
	boardDrawn = reading.DefaultLevel / math.Sqrt2
	seenAcross = 0.85 // the sine of the angle between the shadow and what the image shows
)

// Level renders random pictures of rods that lean by up to three degrees in any direction,
// on boards set by a bubble, and reads each as a user who knows nothing of it.
func Level(ctx context.Context, o SoakOptions) (*LevelReport, error) {
	rep := &LevelReport{}
	return rep, eachSeed(ctx, o, "level", rep.one)
}

func (rep *LevelReport) one(ctx context.Context, o SoakOptions, dir string, seed uint64, lock *sync.Mutex) error {
	r := rand.New(rand.NewPCG(seed, 0x1e4e1))
	s := render.RandomScene(r, render.RandomOptions{Width: o.WidthPX, Sky: sky, PrintSigma: soakPrint})
	s.Rods[0].Lean = angle.Angle(r.Float64()) * leanDrawn
	s.Rods[0].LeanDir = angle.FromDegrees(360 * r.Float64())
	s.Plate.Pitch, s.Plate.Roll = angle.Angle(r.NormFloat64())*boardDrawn, angle.Angle(r.NormFloat64())*boardDrawn
	path := filepath.Join(dir, fmt.Sprintf("%d.jpg", seed))
	if ok, err := drawn(s, path); !ok {
		return err
	}
	defer os.Remove(path)
	opts := atHand(s, s.Time)
	if seed%2 == 0 { // half of them state it
		opts.Rod.HeightMM = s.Rods[0].Height
	}
	got := reading.Read(ctx, photofile.At(path), opts)
	lock.Lock()
	defer lock.Unlock()
	rep.Heading.all++
	rep.Before.all++
	if !got.OK() {
		return nil
	}
	e := (*got.Heading - s.Plate.Heading).Signed()
	rep.Heading.add(e.Degrees(), got.Sigma.Degrees())
	if l := got.RodSlope; l != nil && math.Abs((l.Toward-got.Shadow.Direction).Sin()) > seenAcross {
		rep.Across.all++
		rep.Across.add(e.Degrees(), got.Sigma.Degrees())
	}
	rep.Before.add((e - got.Correction).Signed().Degrees(), (opts.Level * angle.Angle(got.Sky.Altitude.Tan())).Degrees())
	if e.Abs() > 4*got.Sigma {
		rep.beyond++
	}
	if e.Abs() > 3.5*got.Sigma {
		seen := "no image of the rod"
		if l := got.RodSlope; l != nil {
			off, toward, sigma := l.Lean()
			seen = fmt.Sprintf("image %.2f° ± %.2f° towards %.0f°", off.Degrees(), sigma.Degrees(), toward.Degrees())
		}
		rep.Wild = append(rep.Wild, fmt.Sprintf("seed %d: off by %.2f°, sigma %.2f°, altitude %.0f°; the rod leans %.2f° towards %.0f°, %s", seed, e.Degrees(), got.Sigma.Degrees(),
			got.Sky.Altitude.Degrees(), s.Rods[0].Lean.Degrees(), s.Rods[0].LeanDir.Degrees(), seen))
	}
	return nil
}

// Print writes the report.
func (rep *LevelReport) Print(w io.Writer) {
	fmt.Fprintf(w, "rods that lean by up to %.0f°, nothing declared, degrees: %v\nif the rod's image told nothing: %v\nof those in which it shows the lean across the shadow: %v\n", leanDrawn.Degrees(), &rep.Heading, &rep.Before, &rep.Across)
	for _, s := range rep.Wild {
		fmt.Fprintln(w, s)
	}
}

// Failed says what falls short of what is asked; "" for nothing.
func (rep *LevelReport) Failed() string {
	const most = 1.2
	switch z, seen := rep.Heading.Ratio(), rep.Across.Ratio(); {
	case rep.Across.found < 20:
		return "too few pictures to tell: draw more"
	case z > most || seen > most:
		return fmt.Sprintf("errors over sigma are %.2f RMS, %.2f where the lean is seen", z, seen)
	case rep.beyond > 0:
		return fmt.Sprintf("%d headings are off by more than four sigma", rep.beyond)
	case rep.Heading.RMS() > rep.Before.RMS():
		return "the rod's image makes headings worse"
	}
	return ""
}
