package proof

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"

	"shadowread/internal/angle"
	"shadowread/internal/render"
	"shadowread/internal/sheet"
)

// Sunlit draws what Lying does not: in the sun and in haze, things that lie by the foot, edges
// of shade by their side, and shadows of what stands elsewhere, the rod's own mostly hidden,
// washed out or not there. Where it is seen too it may be read.
func Sunlit(ctx context.Context, o SoakOptions) (*LyingReport, error) {
	return readTraps(ctx, o, "sunlit", sunnyTrap)
}

// trap is a scene being laid.
type trap struct {
	*render.Scene
	r    *rand.Rand
	dir  angle.Angle // on the board, of the line that passes for a shadow
	what string
}

func (t *trap) uniform(lo, hi float64) float64 { return lo + (hi-lo)*t.r.Float64() }

// at is a place along and beside the line.
func (t *trap) at(along, aside float64) sheet.Point {
	return sheet.Point{X: along*t.dir.Sin() + aside*t.dir.Cos(), Y: along*t.dir.Cos() - aside*t.dir.Sin()}
}

// away is where shadows fall on the board.
func (t *trap) away() angle.Angle { return (t.Light.Azimuth + math.Pi - t.Plate.Heading).Bearing() }

// newTrap draws the sheet and the rod, and picks the line; image is where the rod's image lies.
func newTrap(o SoakOptions, r *rand.Rand, troubles bool) (t *trap, image angle.Angle) {
	t = &trap{r: r, Scene: render.RandomScene(r, render.RandomOptions{
		Width: o.WidthPX, Sky: sky, MaxCurl: 1, PrintSigma: soakPrint, Troubles: troubles,
		Gnomons: r.IntN(2) == 0, Phone: r.IntN(2) == 0,
	})}
	t.Things = nil
	image = angle.Clockwise(-t.Camera.Centre().X, -t.Camera.Centre().Y)
	t.dir = angle.FromDegrees(t.uniform(0, 360))
	if r.IntN(2) == 0 { // what is behind the foot lies behind the rod's image
		t.dir = (image + math.Pi + angle.FromDegrees(8*r.NormFloat64())).Bearing()
	}
	return t, image
}

// hide turns the sheet until the rod's shadow lies behind its image, but for sigma.
func (t *trap) hide(image, sigma angle.Angle) {
	t.Plate.Heading = (t.Light.Azimuth + math.Pi - image + angle.Angle(t.r.NormFloat64())*sigma).Bearing()
}

// penumbra is how soft the shadow is of what stands so high, mm, over the sheet.
func (t *trap) penumbra(high float64) float64 { return 0.0093 * high / t.Light.Altitude.Sin() }

// laid is the scene, with the rod or without, and says what was laid, by which rod, in which light.
func (t *trap) laid(own bool) (s *render.Scene, what string, _ bool) {
	rod := t.Rods[0]
	what = fmt.Sprintf("%s, along %.0f°; altitude %.0f°, rod %.1f by %.0f, haze %.2f", t.what, t.dir.Degrees(),
		t.Light.Altitude.Degrees(), rod.Diameter, rod.Height, t.Light.HazeFraction)
	if !own {
		t.Rods, what = t.Rods[1:], what+", the rod taken away"
	}
	return t.Scene, what, own
}

// sunnyTrap draws one, and says what it is; own tells that the rod casts a shadow of its own.
func sunnyTrap(o SoakOptions, seed uint64) (s *render.Scene, what string, own bool) {
	r := rand.New(rand.NewPCG(seed, 0x5A4D))
	t, image := newTrap(o, r, true)
	hide := func() { t.hide(image, 2*angle.Degree) }
	switch r.IntN(5) {
	case 0:
		t.stick()
		t.edge()
		hide()
	case 1:
		t.stick()
		hide()
	case 2:
		t.stick()
		t.what += " in thick haze"
		t.Light.HazeFraction, t.Light.HazeDisc = t.uniform(0.5, 0.95), angle.FromDegrees(t.uniform(5, 15))
	case 3:
		hide()
		t.bar()
	default:
		hide()
		t.pole()
	}
	return t.laid(r.IntN(4) > 0)
}

// stick lays one from about the foot.
func (t *trap) stick() {
	thick, long := t.Rods[0].Diameter, t.Rods[0].Height/t.Light.Altitude.Tan()
	if t.r.IntN(2) == 0 {
		thick, long = t.uniform(1, 6), t.uniform(20, 150)
	}
	look := sticks[t.r.IntN(len(sticks))]
	from, aside := t.uniform(-3, 8), t.r.NormFloat64()
	a, b := t.at(from, aside), t.at(max(long, from+15), aside+t.r.NormFloat64())
	t.Things = []render.Thing{{From: a, To: b, Diameter: thick, Material: look}}
	t.what = fmt.Sprintf("%s %.1f thick, %.0f long from %.0f, aside %.1f", look.Name, thick, long, from, aside)
	if name, things := atHandToo(t.Seed, a, b); name != "" {
		t.Things, t.what = things, name+" instead of "+t.what
	}
}

// edge lays a shade's rim along the line, which blurs one side of it.
func (t *trap) edge() {
	e := render.Shade{
		Offset: t.uniform(-10, 10), Dir: (t.dir + angle.FromDegrees(6*t.r.NormFloat64())).Bearing(),
		Width: t.uniform(3, 25), Penumbra: t.uniform(0.5, 20),
	}
	if t.r.IntN(2) == 0 {
		e.Width = math.Inf(1)
	}
	t.Shades = append(t.Shades, e)
	t.what += fmt.Sprintf(" by a rim at %.1f, %.0f wide, %.1f soft", e.Offset, e.Width, e.Penumbra)
}

// bar casts a shadow through the foot: a wire's or a bar's over the sheet, the same all along.
func (t *trap) bar() {
	high := t.uniform(5, 400) // mm: its penumbra tells
	b := render.Shade{
		Offset: 1.5 * t.r.NormFloat64(), Dir: t.dir, Width: t.uniform(1, 6), Penumbra: t.penumbra(high),
	}
	t.Shades = append(t.Shades, b)
	t.what = fmt.Sprintf("bar's shadow %.1f wide, %.2f soft, aside %.1f", b.Width, b.Penumbra, b.Offset)
}

// pole stands elsewhere and leans: its shadow comes over the foot, or ends there.
func (t *trap) pole() {
	out, end := t.uniform(-150, -15), t.uniform(15, 120)
	if t.r.IntN(2) == 0 {
		out, end = t.uniform(50, 200), t.uniform(-8, 6)
	}
	p := render.Rod{Foot: t.at(out, t.r.NormFloat64()), Height: t.uniform(40, 160), Diameter: t.uniform(1.5, 6), Material: t.Rods[0].Material}
	tip := t.at(end, t.r.NormFloat64())
	// Where its tip stands, so that its shadow falls there.
	away := t.away()
	cast := p.Height / t.Light.Altitude.Tan()
	x, y := tip.X-cast*away.Sin()-p.Foot.X, tip.Y-cast*away.Cos()-p.Foot.Y
	p.Lean, p.LeanDir = angle.Atan2(math.Hypot(x, y), p.Height), angle.Clockwise(x, y)
	t.Rods = append(t.Rods, p)
	t.what = fmt.Sprintf("shadow of a pole from %.0f to %.0f, %.1f thick, %.0f high, leaning %.0f°", out, end, p.Diameter, p.Height, p.Lean.Degrees())
}
