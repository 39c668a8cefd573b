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
	"time"

	"shadowread/internal/align"
	"shadowread/internal/angle"
	"shadowread/internal/instrument"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
	"shadowread/internal/render"
)

// ReversedReport is what rendered pairs of a board reversed on a straight edge come to: the
// edge's heading against the truth, degrees, with the rod's height stated and without, and
// that of rods that lean by twice as much; Single is the same of the first photo alone.
type ReversedReport struct {
	Stated, Unstated, Great, Single measured
	Beyond                          int // four sigma
	Wild                            []string
}

const (
	// leanReversed is one sigma of the rod's slope on two axes, bubbleReversed of the bubble's
	// own error.
	leanReversed   = 1.5 * angle.Degree
	bubbleReversed = align.BubbleSigma
	lowestReversed = 8 * angle.Degree
	turnTakes      = 2 * time.Minute
)

// Reversed renders random pairs and proves each. A third of them state no height of the rod,
// a third has rods that lean by twice as much.
func Reversed(ctx context.Context, o SoakOptions) (*ReversedReport, error) {
	rep := &ReversedReport{}
	return rep, eachSeed(ctx, o, "reversed", rep.one)
}

// reversedPair draws the two scenes.
func reversedPair(r *rand.Rand, width int, lean angle.Angle) (scenes []*render.Scene) {
	slope := func(sigma angle.Angle) instrument.Slope {
		return instrument.SlopeOf(angle.Angle(r.NormFloat64())*sigma, angle.Angle(r.NormFloat64())*sigma)
	}
	rod, bubble := slope(lean), slope(bubbleReversed)
	for k := range 2 {
		s := render.RandomScene(r, render.RandomOptions{Width: width, Sky: sky, PrintSigma: soakPrint})
		if k == 0 {
			s.Rods[0].Lean, s.Rods[0].LeanDir = rod.Tilt()
		} else {
			first := scenes[0]
			s.Rods, s.Paper, s.Lat, s.Lon, s.Time = first.Rods, first.Paper, first.Lat, first.Lon, first.Time.Add(turnTakes)
			s.Plate.Heading = first.Plate.Heading + math.Pi
			s.Light.Azimuth, s.Light.Altitude = sky(s.Time, s.Lat, s.Lon)
		}
		plumb := bubble.Plus(slope(align.DefaultReversal().Centring))
		starboard, forward := plumb.Angles()
		// A sheet pitched up and rolled to starboard: the vertical leans forward and to port.
		s.Plate.Pitch, s.Plate.Roll = forward, -starboard
		scenes = append(scenes, s)
	}
	return scenes
}

func (rep *ReversedReport) one(ctx context.Context, o SoakOptions, dir string, seed uint64, lock *sync.Mutex) error {
	r := rand.New(rand.NewPCG(seed, 0x2e7e25ed))
	lean, stated := leanReversed, seed%3 != 0
	if seed%3 == 2 {
		lean *= 2
	}
	var set []*reading.Result
	scenes := reversedPair(r, o.WidthPX, lean)
	priors := align.DefaultPriors()
	priors.Reversal, priors.PlateSigma = new(align.DefaultReversal()), align.BubbleSigma
	for k, s := range scenes {
		if s.Light.Altitude < lowestReversed || s.Light.Altitude > highestSun {
			return nil
		}
		path := filepath.Join(dir, fmt.Sprintf("%d-%d.jpg", seed, k))
		if ok, err := drawn(s, path); !ok {
			return err
		}
		defer os.Remove(path)
		opts := atHand(s, s.Time)
		if stated {
			opts.Rod.HeightMM = s.Rods[0].Height
			priors.HeightMM = s.Rods[0].Height
		}
		set = append(set, reading.Read(ctx, photofile.At(path), opts))
	}
	got, err := proved(set, priors)

	lock.Lock()
	defer lock.Unlock()
	of := &rep.Stated
	switch {
	case seed%3 == 2:
		of = &rep.Great
	case !stated:
		of = &rep.Unstated
	}
	of.all++
	if err != nil {
		rep.Wild = append(rep.Wild, fmt.Sprintf("seed %d: %v", seed, err))
		return nil
	}
	h := got.Stands[0].Heading
	e := (h.Value - scenes[0].Plate.Heading).Signed()
	of.add(e.Degrees(), h.Sigma.Degrees())
	rep.Single.all++
	rep.Single.add((*set[0].Heading - scenes[0].Plate.Heading).Signed().Degrees(), set[0].Sigma.Degrees())
	if e.Abs() > 4*h.Sigma {
		rep.Beyond++
	}
	if e.Abs() > 3*h.Sigma {
		rep.Wild = append(rep.Wild, fmt.Sprintf("seed %d: off by %.3f°, sigma %.3f°, altitude %.0f°; the rod leans %.1f° towards %.0f°", seed, e.Degrees(), h.Sigma.Degrees(),
			scenes[0].Light.Altitude.Degrees(), scenes[0].Rods[0].Lean.Degrees(), scenes[0].Rods[0].LeanDir.Degrees()))
	}
	return nil
}

// proved fits a pair as align does.
func proved(set []*reading.Result, priors align.Priors) (*align.Result, error) {
	var obs []align.Observation
	for _, r := range set {
		if !r.OK() {
			return nil, fmt.Errorf("%s: %s", r.Reason, r.Message)
		}
		obs = append(obs, r.Observation(r.Photo, 0))
	}
	if err := reading.SharePriors(&priors, set); err != nil {
		return nil, err
	}
	got, err := align.Solve(obs, priors, align.Options{})
	if err == nil && got.Code != "" {
		err = fmt.Errorf("%s", got.Code)
	}
	return got, err
}

// Print writes the report.
func (rep *ReversedReport) Print(w io.Writer) {
	fmt.Fprintf(w, "pairs reversed on a straight edge, degrees:\nrod's height stated: %v\nnot stated: %v\nstated, rods that lean by twice as much: %v\nfirst photo alone: %v\nbeyond four sigma: %d\n",
		&rep.Stated, &rep.Unstated, &rep.Great, &rep.Single, rep.Beyond)
	for _, s := range rep.Wild {
		fmt.Fprintln(w, s)
	}
}

// Failed says what falls short of what is asked; "" for nothing.
func (rep *ReversedReport) Failed() string {
	const most, least = 1.2, 0.8
	const rms = 0.12 // degree, with the height
	z := rep.Stated.Ratio()
	switch {
	case rep.Stated.found < 20:
		return "too few pairs to tell: draw more"
	case rep.Beyond > 0:
		return fmt.Sprintf("%d headings are off by more than four sigma", rep.Beyond)
	case rep.Stated.RMS() > rms:
		return fmt.Sprintf("with the rod's height headings are off by %.3f° RMS", rep.Stated.RMS())
	case z > most || z < least || rep.Great.Ratio() > most || rep.Unstated.Ratio() > most:
		return fmt.Sprintf("errors over sigma are %.2f RMS, %.2f without the height, %.2f of rods that lean much", z, rep.Unstated.Ratio(), rep.Great.Ratio())
	}
	return ""
}
