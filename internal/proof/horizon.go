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
	"shadowread/internal/instrument"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
	"shadowread/internal/render"
)

// HorizonReport is what random pictures of a board out of level before a horizon come to,
// read with the instrument's record: the vehicle's heading, and the tilt less the slope of
// the ground, which no picture shows, on two axes, degrees.
type HorizonReport struct {
	Heading, Tilt  measured
	WithinOne      int // headings within one sigma
	Beyond         int // four
	Wild           []string
	Refused, Blind int // not read, and read without the horizon
}

const (
	// rodProved is one sigma of the rod's slope in the record, groundDrawn that of the ground,
	// highestSun of what is read.
	rodProved   = 0.05 * angle.Degree
	groundDrawn = reading.DefaultHorizon
	highestSun  = 65 * angle.Degree
)

// Horizon renders random pictures of boards up to 8 degrees out of level before a horizon,
// with rods as their record knows them, and reads each.
func Horizon(ctx context.Context, o SoakOptions) (*HorizonReport, error) {
	rep := &HorizonReport{}
	return rep, eachSeed(ctx, o, "horizon", rep.one)
}

func (rep *HorizonReport) one(ctx context.Context, o SoakOptions, dir string, seed uint64, lock *sync.Mutex) error {
	r := rand.New(rand.NewPCG(seed, 0x40121205))
	s := render.RandomScene(r, render.RandomOptions{Width: o.WidthPX, Sky: sky, PrintSigma: soakPrint, Country: true, GroundSigma: groundDrawn})
	if s.Light.Altitude > highestSun {
		return nil
	}
	rod := instrument.SlopeOf(angle.Angle(r.NormFloat64())*rodProved, angle.Angle(r.NormFloat64())*rodProved)
	s.Rods[0].Lean, s.Rods[0].LeanDir = rod.Tilt()
	path := filepath.Join(dir, fmt.Sprintf("%d.jpg", seed))
	if ok, err := drawn(s, path); !ok {
		return err
	}
	defer os.Remove(path)
	record := &instrument.Record{Gnomon: instrument.Rod, LevelSigma: 5 * angle.Degree}
	for _, c := range []int{instrument.RodStarboard, instrument.RodForward} {
		record.Proved.Covariance[c][c] = float64(rodProved * rodProved)
	}
	opts := atHand(s, s.Time)
	opts.Rod.HeightMM = s.Rods[0].Height
	opts.Instrument = record
	opts.Horizon = &reading.Horizon{Sigma: groundDrawn, EyeMetres: s.Country.EyeMetres}
	got := reading.Read(ctx, photofile.At(path), opts)

	lock.Lock()
	defer lock.Unlock()
	rep.Heading.all++
	rep.Tilt.all += 2
	switch {
	case !got.OK():
		rep.Refused++
		rep.Wild = append(rep.Wild, fmt.Sprintf("seed %d: %s", seed, got.Reason))
		return nil
	case got.Tilt == nil:
		rep.Blind++
		rep.Wild = append(rep.Wild, fmt.Sprintf("seed %d: the horizon is not seen, haze %.2f", seed, s.Country.Haze))
		return nil
	}
	e := (*got.Heading - s.Plate.Heading).Signed()
	rep.Heading.add(e.Degrees(), got.Sigma.Degrees())
	if e.Abs() <= got.Sigma {
		rep.WithinOne++
	}
	if e.Abs() > 4*got.Sigma {
		rep.Beyond++
	}
	// The ground rises along the axes' projections: what it hides of the tilt.
	forward := got.Tilt.Forward - s.Plate.Pitch + s.Country.SlopeForward
	starboard := got.Tilt.Starboard + s.Plate.Roll + s.Country.SlopeStarboard
	rep.Tilt.add(forward.Degrees(), got.TiltOwn.Degrees())
	rep.Tilt.add(starboard.Degrees(), got.TiltOwn.Degrees())
	if off := max(forward.Abs(), starboard.Abs()); e.Abs() > 3*got.Sigma || off > 0.15*angle.Degree {
		rep.Wild = append(rep.Wild, fmt.Sprintf("seed %d: heading off by %.2f°, sigma %.2f°, altitude %.0f°; tilt off by %.3f° and %.3f°, its own sigma %.3f°", seed,
			e.Degrees(), got.Sigma.Degrees(), got.Sky.Altitude.Degrees(), forward.Degrees(), starboard.Degrees(), got.TiltOwn.Degrees()))
	}
	return nil
}

// Print writes the report.
func (rep *HorizonReport) Print(w io.Writer) {
	fmt.Fprintf(w, "boards up to 8° out of level before a horizon, a record that knows the rod to %.2f°, ground level to %.1f°:\nheadings, degrees: %v; within one sigma %.1f %%, beyond four %d\ntilt by map and lens alone, degrees: %v\nrefused %d, horizon not seen %d\n",
		rodProved.Degrees(), groundDrawn.Degrees(), &rep.Heading, 100*rep.within(), rep.Beyond, &rep.Tilt, rep.Refused, rep.Blind)
	for _, s := range rep.Wild {
		fmt.Fprintln(w, s)
	}
}

func (rep *HorizonReport) within() float64 {
	return float64(rep.WithinOne) / math.Max(1, float64(rep.Heading.found))
}

// Failed says what falls short of what is asked; "" for nothing.
func (rep *HorizonReport) Failed() string {
	const (
		rms         = 0.13 // degree
		tilt        = 0.06
		least, most = 0.60, 0.77
		seen        = 0.9
	)
	switch {
	case rep.Heading.found < 20:
		return "too few pictures to tell: draw more"
	case rep.Beyond > 0:
		return fmt.Sprintf("%d headings are off by more than four sigma", rep.Beyond)
	case rep.Heading.RMS() > rms || rep.Tilt.RMS() > tilt:
		return fmt.Sprintf("headings are off by %.3f°, tilts by %.3f° RMS", rep.Heading.RMS(), rep.Tilt.RMS())
	case rep.within() < least || rep.within() > most:
		return fmt.Sprintf("%.0f %% of the headings are within one sigma", 100*rep.within())
	case rep.Heading.Found() < seen:
		return fmt.Sprintf("%.0f %% of the horizons are found", 100*rep.Heading.Found())
	}
	return ""
}
