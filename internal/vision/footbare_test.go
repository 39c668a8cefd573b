package vision

import (
	"errors"
	"math"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/sheet"
)

// A rod covers the foot's print that it stands on and before, where it was set two millimetres off as well; the shadow of
// one that stands elsewhere, as broad and as dark, does not.
func TestPrintWhereTheRodMustStand(t *testing.T) {
	for name, tt := range map[string]struct {
		thick float64
		tilt  angle.Angle
		along float64 // from the foot, of the rod; of none NaN
		bare  bool
		bar   bool // whose shade lies over the foot, as broad as what may hold one
	}{
		"a thin rod":                       {2.4, 35 * deg, 0, false, false},
		"a thick rod":                      {7, 35 * deg, 0, false, false},
		"two millimetres off":              {3, 35 * deg, 2, false, false},
		"behind the foot":                  {3, 35 * deg, -2, false, false},
		"none, before a thin shadow":       {2.4, 35 * deg, math.NaN(), true, false},
		"none, before a thick one":         {7, 35 * deg, math.NaN(), true, false},
		"a rod, in a bar's shade":          {3, 35 * deg, 0, false, true},
		"none, in a bar's shade":           {3, 35 * deg, math.NaN(), true, true},
		"a thick rod, seen from above":     {7, 3 * deg, 0, false, false},
		"none, a thick shadow, from above": {7, 3 * deg, math.NaN(), true, false},
	} {
		t.Run(name, func(t *testing.T) {
			k := sunCast()
			k.width, k.from = tt.thick, -9
			c := canvas{tilt: tt.tilt, view: rodDir + 180*deg, noise: 0.7, scale: 6}
			print := footPrinted
			if !math.IsNaN(tt.along) {
				k.from = tt.along
				base := sheet.Point{X: tt.along * shadowDir.Sin(), Y: tt.along * shadowDir.Cos()}
				rod := c.rodAt(base, tt.thick, 50)
				print = func(p sheet.Point) float64 {
					if rod(p) < 1 || math.Hypot(p.X-base.X, p.Y-base.Y) < tt.thick/2 {
						return rod(p)
					}
					return footPrinted(p)
				}
			}
			c = c.with(print, k.layer())
			if tt.bar {
				b := sunCast()
				b.dir, b.width, b.from, b.depth = shadowDir+60*deg, 20, -90, 0.5
				c = c.with(b.layer())
			}
			s, st := c.must(t, shadowDir)
			if st.Held != tt.bar {
				t.Errorf("its beginning is broader: %v", st.Held)
			}
			if bare := s.hear(st).footBare(); bare != tt.bare {
				t.Errorf("the foot is bare: %v", bare)
			}
			if err := s.castByRod(st); tt.bare && !errors.Is(err, ErrNoShadow) {
				t.Errorf("%v, want %v", err, ErrNoShadow)
			}
		})
	}
}

// Where the dark top of a rod as bright as paper begins by the ring, seen from above, its rim is none of it.
func TestRimOfABrightRodsTop(t *testing.T) {
	const thick = 4.2
	k := sunCast()
	k.dir, k.width, k.from = rodDir+23*deg, thick, 0
	c := canvas{tilt: 12 * deg, view: rodDir + 180*deg, noise: 0.7, scale: 6}
	image := newFrame(rodDir, 0)
	top := sheet.Standard.FootRing + thick/4 // its middle: the rim lies over the ring
	rod := func(p sheet.Point) float64 {
		switch s, n := image.place(p); {
		case math.Hypot(s-top, n) < thick/2:
			return 0.4
		case math.Hypot(s-max(0, min(s, top)), n) < thick/2:
			return 0.95
		}
		return footPrinted(p)
	}
	shadow := k.layer()
	s, st := c.with(func(p sheet.Point) float64 {
		if v := rod(p); v == 0.4 || v == 0.95 {
			return v
		}
		return rod(p) * shadow(p)
	}).must(t, k.dir)
	if s.hear(st).footBare() {
		t.Error("the foot is bare")
	}
}
