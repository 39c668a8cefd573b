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

// Elsewhere draws what stands away from the sheet and casts its shadow through the foot or close by, in
// sharp sun: poles that lean, ropes that rise, a second stick beside the rod, the edge of a vehicle's
// or a person's shadow; the rod's own shadow hidden, short, or seen as well.
func Elsewhere(ctx context.Context, o SoakOptions) (*LyingReport, error) {
	return readTraps(ctx, o, "elsewhere", elsewhereTrap)
}

// elsewhereTrap draws one, and says what it is; own tells that the rod stands.
func elsewhereTrap(o SoakOptions, seed uint64) (s *render.Scene, what string, own bool) {
	r := rand.New(rand.NewPCG(seed, 0xE15E))
	t, image := newTrap(o, r, r.IntN(3) == 0)
	if r.IntN(4) > 0 {
		t.hide(image, 3*angle.Degree)
	}
	rod := &t.Rods[0]
	if r.IntN(4) == 0 && len(rod.Collars) == 0 { // its shadow short
		rod.Height = t.uniform(10, 25)
	}
	switch r.IntN(5) {
	case 0:
		t.tallPole()
	case 1:
		t.rope()
	case 2:
		t.broad()
	case 3:
		t.secondStick()
	default:
		t.pole()
	}
	return t.laid(r.IntN(6) > 0)
}

// leaning sets up a round pole from one height over the line, mm along it, to another, so that
// its shadow falls on the line there.
func (t *trap) leaning(from, low, to, high, thick, aside float64) {
	away, cast := t.away(), 1/t.Light.Altitude.Tan()
	over := func(along, aside, high float64) sheet.Point {
		p := t.at(along, aside)
		return sheet.Point{X: p.X - high*cast*away.Sin(), Y: p.Y - high*cast*away.Cos()}
	}
	a, b := over(from, aside, low), over(to, aside+0.5*t.r.NormFloat64(), high)
	// It goes on straight down to the sheet's plane.
	k := low / (high - low)
	foot := sheet.Point{X: a.X - k*(b.X-a.X), Y: a.Y - k*(b.Y-a.Y)}
	x, y := b.X-foot.X, b.Y-foot.Y
	t.Rods = append(t.Rods, render.Rod{
		Foot: foot, Height: high, Diameter: thick, Material: t.Rods[0].Material,
		Lean: angle.Atan2(math.Hypot(x, y), high), LeanDir: angle.Clockwise(x, y),
	})
	t.what = fmt.Sprintf("%.1f mm thick, shadow from %.0f mm (%.0f high) to %.0f (%.0f), aside %.1f", thick, from, low, to, high, aside)
}

// tallPole is a tent's or an antenna: its shadow ends beyond the foot or at it.
func (t *trap) tallPole() {
	end := t.uniform(-8, 120)
	high := t.uniform(150, 1500)
	t.leaning(-t.uniform(150, 1000), t.uniform(0, 60), end, high, t.uniform(1.5, 10), t.r.NormFloat64())
	t.what = "tall pole " + t.what
}

// rope rises over the sheet, or comes down to it.
func (t *trap) rope() {
	from, to := -t.uniform(10, 200), t.uniform(80, 250)
	if t.r.IntN(2) == 0 {
		from, to = -from, -to
	}
	t.leaning(from, t.uniform(1, 30), to, t.uniform(60, 500), t.uniform(1.5, 6), t.r.NormFloat64())
	t.what = "rope " + t.what
}

// secondStick stands close to the rod and leans.
func (t *trap) secondStick() {
	from := t.uniform(-60, -8)
	t.leaning(from, 0.5, t.uniform(20, 70), t.uniform(25, 90), t.Rods[0].Diameter*t.uniform(0.8, 1.25), 0.7*t.r.NormFloat64())
	t.what = "second stick " + t.what
}

// broad lays a vehicle's or a person's shadow with an edge through the foot or close by.
func (t *trap) broad() {
	high := t.uniform(100, 2500)
	e := render.Shade{
		Offset: t.uniform(-6, 6), Dir: t.dir, Width: math.Inf(1), Penumbra: t.penumbra(high),
	}
	if t.r.IntN(2) == 0 {
		e.Width = t.uniform(8, 80)
		e.Offset += e.Width / 2
	}
	t.Shades = append(t.Shades, e)
	t.what = fmt.Sprintf("broad shadow %.0f wide, %.1f soft, its edge or middle at %.1f", e.Width, e.Penumbra, e.Offset)
}
