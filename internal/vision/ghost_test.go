package vision

import (
	"errors"
	"testing"

	"shadowread/internal/sheet"
)

// A second frame in the dark places, displaced, makes one side of a shadow lighter than the other, and
// one side of every mark; a body that lies on the paper leaves the marks alone.
func TestGhostOfASecondFrame(t *testing.T) {
	k := sunCast()
	k.width = 2
	marks := func(p sheet.Point) float64 {
		for i := range sheet.Standard.Marks {
			if blackAbout(&sheet.Standard.Marks[i], p, 0) > 0 {
				return 0.06
			}
		}
		return 1
	}
	f := newFrame(shadowDir, 0)
	ghost := func(l layer, across float64) layer {
		d := f.at(0, across)
		return func(p sheet.Point) float64 {
			here := l(p)
			if here < 0.5 {
				return (here + l(sheet.Point{X: p.X - d.X, Y: p.Y - d.Y})) / 2
			}
			return here
		}
	}
	for name, tt := range map[string]struct {
		marks float64
		want  error
	}{
		"of both":                  {0.8, nil},
		"of the strip alone":       {0, ErrNoShadow},
		"of the marks' other side": {-0.8, ErrNoShadow},
	} {
		c := pictureOf(ghost(k.layer(), 0.8), ghost(marks, tt.marks))
		c.noise = 0.3
		_, st, err := c.measured(t, shadowDir)
		if !errors.Is(err, tt.want) {
			t.Errorf("%s: %v", name, err)
		} else if err == nil && (st.Direction-shadowDir).Signed().Abs() > 0.1*deg {
			t.Errorf("%s: %.3f off", name, (st.Direction - shadowDir).Signed().Degrees())
		}
	}
}
