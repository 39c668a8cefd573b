package proof

import (
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"time"

	"shadowread/internal/angle"
	"shadowread/internal/bearing"
	"shadowread/internal/geo"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
	"shadowread/internal/render"
)

// Outcome is one random picture read.
type Outcome struct {
	Seed     uint64
	Readable bool
	WhyNot   string
	Reason   reading.Reason
	Message  string
	Error    angle.Angle // of the heading, when it was read
	Sigma    angle.Angle // without level and lubber line
	Result   *reading.Result
	Truth    *render.Truth
}

// SoakOptions says what to draw.
type SoakOptions struct {
	Count   int
	Seed    uint64
	WidthPX int // pictures are 4 by 3
	Workers int
	Gnomons bool   // rods as people make them
	Phone   bool   // a telephone's processing, sheets that were used
	Keep    string // folder for the pictures that went wrong; "" keeps none
}

// soakPrint is one sigma of the print's scale in each direction: the ratio of both
// then has the reader's prior for an unmeasured print, 0.1 %.
const soakPrint = 0.001 / 1.4142

// Soak renders and reads random pictures: any pose to 60 degrees off the vertical,
// lenses from action camera to phone, sun from 8 to 70 degrees, noise, haze, curl,
// dirt and other shadows. It calls done for each, in order of the seeds.
func Soak(ctx context.Context, o SoakOptions, done func(Outcome)) error {
	dir, err := os.MkdirTemp("", "soak")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	outcomes := make([]chan Outcome, o.Count)
	for i := range outcomes {
		outcomes[i] = make(chan Outcome, 1)
	}
	var next sync.Mutex
	n := 0
	for range max(1, o.Workers) {
		go func() {
			for {
				next.Lock()
				i := n
				n++
				next.Unlock()
				if i >= o.Count || ctx.Err() != nil {
					return
				}
				outcomes[i] <- soakOne(ctx, o, dir, o.Seed+uint64(i))
			}
		}()
	}
	for i := range outcomes {
		select {
		case out := <-outcomes[i]:
			done(out)
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return nil
}

// eachSeed calls one for every seed, by several workers, with a folder for pictures and a
// lock on what they share. It returns the last error.
func eachSeed(ctx context.Context, o SoakOptions, name string, one func(ctx context.Context, o SoakOptions, dir string, seed uint64, lock *sync.Mutex) error) error {
	dir, err := os.MkdirTemp("", name)
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	var wg sync.WaitGroup
	var lock sync.Mutex
	seeds := make(chan uint64, o.Count)
	for i := range o.Count {
		seeds <- o.Seed + uint64(i)
	}
	close(seeds)
	for range max(1, o.Workers) {
		wg.Go(func() {
			for seed := range seeds {
				if ctx.Err() != nil {
					return
				}
				if e := one(ctx, o, dir, seed, &lock); e != nil {
					lock.Lock()
					err = e
					lock.Unlock()
				}
			}
		})
	}
	wg.Wait()
	if err == nil {
		err = ctx.Err()
	}
	return err
}

// atHand says where a scene is, and when, as a user would.
func atHand(s *render.Scene, at time.Time) reading.Options {
	o := reading.Defaults()
	o.Time.At = &at
	o.Position.Position, o.Position.SigmaKM = &geo.Position{Lat: s.Lat, Lon: s.Lon}, new(0.0)
	return o
}

// sky places the sun for the renderer.
func sky(at time.Time, lat, lon angle.Angle) (azimuth, altitude angle.Angle) {
	a, err := bearing.Observe(bearing.Sun, at, geo.Position{Lat: lat, Lon: lon}, 0)
	if err != nil {
		return 0, -1
	}
	return a.Azimuth, a.Altitude
}

// keep copies a picture that went wrong, where such are kept.
func (o SoakOptions) keep(path string) {
	if o.Keep == "" {
		return
	}
	if data, err := os.ReadFile(path); err == nil {
		os.MkdirAll(o.Keep, 0o755)
		os.WriteFile(filepath.Join(o.Keep, filepath.Base(path)), data, 0o644)
	}
}

func soakOne(ctx context.Context, o SoakOptions, dir string, seed uint64) Outcome {
	r := rand.New(rand.NewPCG(seed, 0x5eed))
	scene := render.RandomScene(r, render.RandomOptions{
		Width: o.WidthPX, Sky: sky, MaxCurl: 1, PrintSigma: soakPrint, Troubles: true, Gnomons: o.Gnomons, Phone: o.Phone,
	})
	out := Outcome{Seed: seed}
	path := filepath.Join(dir, fmt.Sprintf("soak-%d.jpg", seed))
	truth, err := writeScene(scene, path)
	if err != nil {
		out.Reason, out.Message = "render", err.Error()
		return out
	}
	defer os.Remove(path)
	out.Truth = truth
	out.Readable, out.WhyNot = scene.Readable(truth)
	opts := atHand(scene, scene.Time)
	opts.Time.Sigma = new(time.Duration(0)) // the sigma is to be the picture's
	// Half of the users know their rod.
	if len(scene.Rods) > 0 && seed%2 == 0 {
		opts.Rod.HeightMM, opts.Rod.DiameterMM = scene.Rods[0].Height, scene.Rods[0].Diameter
	}
	res := reading.Read(ctx, photofile.At(path), opts)
	out.Result, out.Reason, out.Message = res, res.Reason, res.Message
	if res.OK() && truth.StripReader != nil {
		out.Error = (*res.Heading - res.Correction - angle.FromDegrees(*truth.StripReader)).Signed()
		out.Sigma = WithoutLevel(*res.Budget)
	}
	if out.Readable != res.OK() || res.OK() && (out.Error.Abs() > 3*out.Sigma) {
		o.keep(path)
	}
	return out
}

func writeScene(s *render.Scene, path string) (*render.Truth, error) {
	f, err := os.Create(path)
	if err != nil {
		return nil, err
	}
	t, err := s.WriteJPEG(f)
	if e := f.Close(); err == nil {
		err = e
	}
	return t, err
}

// drawn writes a scene's picture if it is one that must be read; else it leaves none.
func drawn(s *render.Scene, path string) (ok bool, err error) {
	truth, err := writeScene(s, path)
	if err == nil {
		ok, _ = s.Readable(truth)
	}
	if !ok {
		os.Remove(path)
	}
	return ok, err
}

// Report sums a soak up. A picture that should not be read may be read, but then
// its error must lie within its sigma like any other's.
type Report struct {
	Sums
	Refused []Outcome // readable, but refused
	Wild    []Outcome // beyond four sigma or above one degree
	Extra   int       // read though not called readable
}

// Add counts one outcome.
func (p *Report) Add(o Outcome) {
	if o.Readable {
		p.Readable++
	} else {
		p.Unreadable++
		if o.Reason != "" {
			p.Kept++
		}
	}
	switch {
	case o.Reason != "":
		if o.Readable {
			p.Refused = append(p.Refused, o)
		}
		return
	case o.Truth.StripReader == nil, o.Error.Abs() > 4*o.Sigma, o.Error.Abs() > 1*angle.Degree:
		p.Wild = append(p.Wild, o)
	}
	if !o.Readable {
		p.Extra++
		return
	}
	p.add(o.Error, o.Sigma)
}

// Print writes the sums.
func (p *Report) Print(w io.Writer) {
	n := float64(max(1, p.Read))
	fmt.Fprintf(w, "%d readable, %d read, %d refused (%.1f %%); %d others, %d of them read\n",
		p.Readable, p.Read, len(p.Refused), 100*float64(len(p.Refused))/float64(max(1, p.Readable)), p.Unreadable, p.Extra)
	fmt.Fprintf(w, "error rms %.4f°, worst %.4f°; within one sigma %.1f %%, within two %.1f %%, worst ratio %.2f; %d beyond four sigma or one degree\n",
		p.RMS.Degrees(), p.Worst.Degrees(), 100*float64(p.WithinOne)/n, 100*float64(p.WithinTwo)/n, p.WorstRatio, len(p.Wild))
}
