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

	"shadowread/internal/angle"
	"shadowread/internal/photofile"
	"shadowread/internal/reading"
	"shadowread/internal/render"
	"shadowread/internal/sheet"
)

// LyingReport is what sticks that lie on the sheet as a shadow would come to.
type LyingReport struct {
	All, Refused, Right int
	Reasons             map[reading.Reason]int
	Wrong               []string
	draw                trapDrawer
}

// Lying draws sticks that lie from a standing rod's foot, or where one would stand, mostly under
// clouds and as long as the sun's shadow would be, and reads them: none may give a heading but
// that of a shadow which is there as well.
func Lying(ctx context.Context, o SoakOptions) (*LyingReport, error) {
	return readTraps(ctx, o, "lying", lyingScene)
}

// readTraps reads what draw lays; own tells that the rod casts a shadow of its own.
func readTraps(ctx context.Context, o SoakOptions, name string, draw trapDrawer) (*LyingReport, error) {
	rep := &LyingReport{Reasons: map[reading.Reason]int{}, draw: draw}
	return rep, eachSeed(ctx, o, name, rep.one)
}

type trapDrawer func(o SoakOptions, seed uint64) (s *render.Scene, what string, own bool)

// sticks are what they may be of.
var sticks = []render.Material{
	render.Steel, render.Brass, render.Dowel, render.Black, render.White,
	{Name: "bark", Albedo: [3]float64{0.16, 0.12, 0.09}, Specular: 0.02, Sharpness: 8},
	{Name: "red pencil", Albedo: [3]float64{0.45, 0.06, 0.05}, Specular: 0.2, Sharpness: 30},
	{Name: "blue pen", Albedo: [3]float64{0.04, 0.07, 0.30}, Specular: 0.3, Sharpness: 40},
	{Name: "gray cable", Albedo: [3]float64{0.22, 0.22, 0.22}, Specular: 0.05, Sharpness: 10},
}

// lyingScene draws one, and says what it is; own tells that the rod stands.
func lyingScene(o SoakOptions, seed uint64) (_ *render.Scene, what string, own bool) {
	r := rand.New(rand.NewPCG(seed, 0x11e5))
	uniform := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	s := render.RandomScene(r, render.RandomOptions{
		Width: o.WidthPX, Sky: sky, MaxCurl: 1, PrintSigma: soakPrint, Troubles: true,
		Gnomons: r.IntN(2) == 0, Phone: r.IntN(2) == 0,
	})
	s.Things = nil
	rod := s.Rods[0]
	sunny := r.IntN(5) == 0
	if !sunny {
		s.Light.Body = render.NoBody
	}
	long := rod.Height / s.Light.Altitude.Tan() * (1 + 0.05*r.NormFloat64())
	if r.IntN(3) == 0 {
		long = uniform(20, 150)
	}
	dir, aside, from := angle.FromDegrees(uniform(0, 360)), 0.0, 0.0
	switch r.IntN(3) {
	case 0:
		from = uniform(3, 10)
	case 1:
		aside = uniform(-3, 3)
	}
	turn := angle.FromDegrees(2 * r.NormFloat64())
	at := func(d float64) sheet.Point {
		return sheet.Point{X: d*(dir+turn).Sin() + aside*dir.Cos(), Y: d*(dir+turn).Cos() - aside*dir.Sin()}
	}
	thick := rod.Diameter
	if r.IntN(2) == 0 {
		thick = uniform(1, 6)
	}
	look := sticks[r.IntN(len(sticks))]
	what = look.Name
	if r.IntN(4) == 0 {
		what = "flat"
		s.Occluders = append(s.Occluders, render.Occluder{From: at(from), To: at(max(long, from+12)), Radius: thick / 2})
	} else {
		s.Things = []render.Thing{{From: at(from), To: at(max(long, from+12)), Diameter: thick, Material: look}}
	}
	if name, things := atHandToo(s.Seed, at(from), at(max(long, from+12))); name != "" {
		what, thick = name, things[0].Diameter
		s.Things, s.Occluders = things, nil
	}
	stands := r.IntN(4) > 0
	if !stands {
		s.Rods = nil
	}
	return s, fmt.Sprintf("%s %.1f mm thick, %.0f mm long from %.0f, aside %.1f, %.0f°; sun %t at %.0f°, rod %t %.1f by %.0f, ratio %.2f, halo %.1f %.1f",
		what, thick, long, from, aside, dir.Degrees(), sunny, s.Light.Altitude.Degrees(), stands, rod.Diameter, rod.Height, long/(rod.Height/s.Light.Altitude.Tan()), s.Finish.Phone.Halo, s.Finish.Phone.HaloPX), stands
}

// atHandToo makes a quarter of all sticks something else that lies about. It draws by itself: what
// a seed means besides stays.
func atHandToo(seed uint64, from, to sheet.Point) (name string, things []render.Thing) {
	r := rand.New(rand.NewPCG(seed, 0x7E1D))
	uniform := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	thing := func(name string, thick float64, red, green, blue, shine float64) (string, []render.Thing) {
		look := render.Material{Name: name, Albedo: [3]float64{red, green, blue}, Specular: shine, Sharpness: 30}
		return name, []render.Thing{{From: from, To: to, Diameter: thick, Material: look}}
	}
	if r.IntN(4) > 0 {
		return "", nil
	}
	switch r.IntN(6) {
	case 0:
		return thing("copper wire", uniform(0.8, 2.2), 0.60, 0.32, 0.20, 0.8)
	case 1:
		return thing("cable's end", uniform(3, 6), 0.05, 0.05, 0.05, 0.05)
	case 2:
		return thing("yellow pencil", uniform(6, 7.5), 0.65, 0.42, 0.05, 0.2)
	case 3:
		return thing("green straw", uniform(4, 7), 0.12, 0.40, 0.15, 0.2)
	case 4:
		return thing("white straw", uniform(4, 7), 0.75, 0.75, 0.74, 0.2)
	}
	// A blade: dark along its back, bright along its edge.
	name, things = thing("blade", uniform(1.5, 4), 0.15, 0.15, 0.16, 0.4)
	bright, n := things[0], math.Hypot(to.X-from.X, to.Y-from.Y)
	aside := func(p sheet.Point) sheet.Point {
		d := 0.7 * bright.Diameter
		return sheet.Point{X: p.X + d*(to.Y-from.Y)/n, Y: p.Y - d*(to.X-from.X)/n}
	}
	bright.From, bright.To, bright.Diameter, bright.Material = aside(from), aside(to), bright.Diameter*0.6, render.White
	return name, append(things, bright)
}

func (rep *LyingReport) one(ctx context.Context, o SoakOptions, dir string, seed uint64, lock *sync.Mutex) error {
	s, what, own := rep.draw(o, seed)
	path := filepath.Join(dir, fmt.Sprintf("lying-%d.jpg", seed))
	truth, err := writeScene(s, path)
	if err != nil {
		return err
	}
	defer os.Remove(path)
	opts := atHand(s, s.Time)
	opts.Time.Sigma = new(time.Duration(0))
	if own && seed%2 == 0 {
		opts.Rod.HeightMM, opts.Rod.DiameterMM = s.Rods[0].Height, s.Rods[0].Diameter
	}
	res := reading.Read(ctx, photofile.At(path), opts)
	lock.Lock()
	defer lock.Unlock()
	rep.All++
	if !res.OK() {
		rep.Refused++
		rep.Reasons[res.Reason]++
		return nil
	}
	if own && truth.StripReader != nil {
		err := (*res.Heading - res.Correction - angle.FromDegrees(*truth.StripReader)).Signed()
		if err.Abs() <= 4*WithoutLevel(*res.Budget) && err.Abs() < angle.Degree {
			rep.Right++
			return nil
		}
		what = fmt.Sprintf("off by %.2f°, %s", err.Degrees(), what)
	}
	rep.Wrong = append(rep.Wrong, fmt.Sprintf("seed %d: read ± %.2f°, clock %s: %s", seed, math.Abs(WithoutLevel(*res.Budget).Degrees()), res.Clock, what))
	o.keep(path)
	return nil
}

// Print writes the report.
func (rep *LyingReport) Print(w io.Writer) {
	fmt.Fprintf(w, "%d sticks, %d refused %v, %d shadows beside them read right, %d read WRONG\n", rep.All, rep.Refused, rep.Reasons, rep.Right, len(rep.Wrong))
	for _, s := range rep.Wrong {
		fmt.Fprintln(w, s)
	}
}

// Failed says what falls short; "" for nothing.
func (rep *LyingReport) Failed() string {
	if len(rep.Wrong) > 0 {
		return "sticks that lie are read"
	}
	return ""
}
