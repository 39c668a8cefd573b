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

// Field draws what else lies, runs or stands about a sheet in the open: streaks and tape, a fold through the foot, the
// shadows of an arm with its telephone, of a lid, of a guy line, of a second gnomon, a blade of grass, a broken rod with
// what fell off it, a second stick that touches the rod.
func Field(ctx context.Context, o SoakOptions) (*LyingReport, error) {
	return readTraps(ctx, o, "field", fieldTrap)
}

// fieldTrap draws one, and says what it is; own tells that the rod stands.
func fieldTrap(o SoakOptions, seed uint64) (s *render.Scene, what string, own bool) {
	r := rand.New(rand.NewPCG(seed, 0xF1E1D))
	t, image := newTrap(o, r, r.IntN(3) == 0)
	if r.IntN(2) == 0 {
		t.hide(image, 3*angle.Degree)
	}
	stands := 3 // of four
	switch r.IntN(9) {
	case 0:
		t.streak()
	case 1:
		t.fold()
	case 2:
		t.arm()
	case 3:
		t.lid()
	case 4:
		t.guyLine()
	case 5:
		t.secondGnomon()
	case 6:
		t.grass()
	case 7:
		t.stub()
		stands = 4
	default:
		t.twin()
		stands = 4
	}
	return t.laid(r.IntN(4) < stands)
}

// streak is what was dragged or ran through the foot or from it, tape, or a crack.
func (t *trap) streak() {
	k := render.Streak{Width: t.uniform(0.6, 6), Soft: t.uniform(0.1, 1.2), Strength: -t.uniform(0.15, 0.7)}
	from, to := t.uniform(-3, 8), t.uniform(20, 150)
	if t.r.IntN(3) == 0 {
		from, to = -t.uniform(20, 150), t.uniform(20, 150)
	}
	k.From, k.To = t.at(from, 0.7*t.r.NormFloat64()), t.at(to, 0.7*t.r.NormFloat64())
	t.Paper.Streaks = append(t.Paper.Streaks, k)
	if t.r.IntN(2) == 0 {
		t.Light.Body = render.NoBody
	}
	t.what = fmt.Sprintf("streak %.1f wide, %.2f soft, %.2f dark, from %.0f to %.0f, sun %t", k.Width, k.Soft, -k.Strength, from, to, t.Light.Body != render.NoBody)
}

// fold runs through the foot; one side of its ridge is darker.
func (t *trap) fold() {
	f := render.Fold{Offset: 0.7 * t.r.NormFloat64(), Dir: t.dir, Height: t.uniform(0.1, 0.6), Reach: t.uniform(3, 10)}
	c := render.Crease{Offset: f.Offset, Dir: t.dir, Width: t.uniform(0.3, 1.2), Strength: -t.uniform(0.1, 0.5)}
	t.Paper.Folds, t.Paper.Creases = append(t.Paper.Folds, f), append(t.Paper.Creases, c)
	t.what = fmt.Sprintf("fold %.1f high over %.0f, %.2f dark over %.1f", f.Height, f.Reach, -c.Strength, c.Width)
}

// arm is the observer's, an edge of its shadow by the foot, with the telephone's at its end.
func (t *trap) arm() {
	high := t.uniform(150, 500)
	e := render.Shade{Offset: t.uniform(-8, 8), Dir: t.dir, Width: t.uniform(50, 110), Penumbra: t.penumbra(high)}
	e.Offset += e.Width / 2
	t.Shades = append(t.Shades, e)
	t.Blobs = append(t.Blobs, render.Blob{Centre: t.at(t.uniform(-30, 80), e.Offset-t.uniform(20, 60)), RX: 40, RY: 75, Penumbra: t.penumbra(high)})
	t.what = fmt.Sprintf("arm's shadow %.0f wide, %.1f soft, its middle at %.1f", e.Width, e.Penumbra, e.Offset)
}

// lid is one that stands open, or what the board lies under: its shadow's edge runs by the foot, all but sharp.
func (t *trap) lid() {
	e := render.Shade{Offset: t.uniform(-6, 6), Dir: t.dir, Width: math.Inf(1), Penumbra: t.penumbra(t.uniform(2, 60))}
	t.Shades = append(t.Shades, e)
	what := ""
	if t.r.IntN(2) == 0 { // with a gap of light, or a slat
		e.Offset -= t.uniform(2, 12)
		e.Width = t.uniform(1.5, 6)
		t.Shades, what = append(t.Shades, e), fmt.Sprintf(" and a slat's %.1f wide", e.Width)
	}
	t.what = fmt.Sprintf("lid's shadow, %.1f soft, at %.1f%s", e.Penumbra, e.Offset, what)
}

// guyLine runs over the foot from a stake close by.
func (t *trap) guyLine() {
	from, to := t.uniform(15, 120), -t.uniform(100, 400)
	if t.r.IntN(2) == 0 {
		from, to = -from, -to
	}
	t.leaning(from, t.uniform(0.5, 8), to, t.uniform(100, 1200), t.uniform(1.5, 5), t.r.NormFloat64())
	t.what = "guy line " + t.what
}

// secondGnomon stands or leans beside the sheet's own; its shadow falls over the foot or beside it.
func (t *trap) secondGnomon() {
	p := t.Rods[0]
	away := t.away()
	off, aside := t.uniform(8, 90), 1.5*t.r.NormFloat64()
	p.Foot = sheet.Point{X: -off*away.Sin() + aside*away.Cos(), Y: -off*away.Cos() - aside*away.Sin()}
	p.Height = (off + t.uniform(10, 90)) * t.Light.Altitude.Tan()
	p.Lean, p.LeanDir = angle.FromDegrees(t.uniform(0, 8)), angle.FromDegrees(t.uniform(0, 360))
	t.Rods = append(t.Rods, p)
	t.what = fmt.Sprintf("second gnomon %.0f off, %.0f high, leaning %.1f°, aside %.1f", off, p.Height, p.Lean.Degrees(), aside)
}

// grass is a blade or two beside the rod.
func (t *trap) grass() {
	for range 1 + t.r.IntN(2) {
		a, d := angle.FromDegrees(t.uniform(0, 360)), t.uniform(2, 12)
		t.Rods = append(t.Rods, render.Rod{
			Foot: sheet.Point{X: d * a.Sin(), Y: d * a.Cos()}, Height: t.uniform(30, 120), Diameter: t.uniform(0.8, 3), Taper: 0.8,
			Lean: angle.FromDegrees(t.uniform(0, 35)), LeanDir: angle.FromDegrees(t.uniform(0, 360)),
			Bow: t.uniform(0, 4), BowDir: angle.FromDegrees(t.uniform(0, 360)),
			Material: render.Material{Name: "grass", Albedo: [3]float64{0.14, 0.24, 0.06}, Specular: 0.05, Sharpness: 10},
		})
		t.what += fmt.Sprintf("grass %.1f thick, %.1f off, ", t.Rods[len(t.Rods)-1].Diameter, d)
	}
}

// stub is what is left of a broken rod, whose rest lies by it.
func (t *trap) stub() {
	rod := &t.Rods[0]
	long := rod.Height
	rod.Height, rod.Cap, rod.Collars, rod.Point, rod.Taper, rod.Bow = t.uniform(2, 14), 0, nil, 0, 0, 0
	from, aside := t.uniform(-2, 8), 1.5*t.r.NormFloat64()
	t.Things = []render.Thing{{From: t.at(from, aside), To: t.at(from+long-rod.Height, aside+3*t.r.NormFloat64()), Diameter: rod.Diameter, Material: rod.Material}}
	if t.r.IntN(2) == 0 {
		t.Light.Body = render.NoBody
	}
	t.what = fmt.Sprintf("stub, %s %.1f thick lying from %.0f, aside %.1f, sun %t", rod.Material.Name, rod.Diameter, from, aside, t.Light.Body != render.NoBody)
}

// twin is a second stick that touches the rod or all but does, both carved.
func (t *trap) twin() {
	rod := &t.Rods[0]
	rod.Cap, rod.Collars, rod.Point, rod.Bow = 0, nil, 0, 0
	rod.Diameter, rod.Taper = t.uniform(2, 6), t.uniform(0, 0.6)
	other, a := *rod, angle.FromDegrees(t.uniform(0, 360))
	d := rod.Diameter * t.uniform(0.8, 1.4)
	other.Foot = sheet.Point{X: rod.Foot.X + d*a.Sin(), Y: rod.Foot.Y + d*a.Cos()}
	other.Lean, other.LeanDir = angle.FromDegrees(t.uniform(0.5, 5)), angle.FromDegrees(t.uniform(0, 360))
	other.Height = rod.Height * t.uniform(0.6, 1.3)
	t.Rods = append(t.Rods, other)
	t.what = fmt.Sprintf("twin %.1f thick, %.1f off, leaning %.1f°, %.0f high, tapers by %.2f", other.Diameter, d, other.Lean.Degrees(), other.Height, rod.Taper)
}
