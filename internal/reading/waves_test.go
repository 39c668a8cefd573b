package reading_test

import (
	"fmt"
	"testing"

	"shadowread/internal/angle"
	"shadowread/internal/render"
)

// Damp paper stands in ripples between its taped edges, which no curl explains: half a
// millimetre within the dial shifts what lies on them by parallax.
func TestWavesOfThePaper(t *testing.T) {
	for i, w := range []render.Wave{
		{Amplitude: 0.3, Length: 70, Dir: 20 * angle.Degree, Phase: 1},
		{Amplitude: 0.5, Length: 90, Dir: 160 * angle.Degree, Phase: 2},
		{Amplitude: 0.8, Length: 120, Dir: 70 * angle.Degree, Phase: 4},
	} {
		t.Run(fmt.Sprint(i), func(t *testing.T) {
			t.Parallel()
			s := scene(40*angle.Degree, 30*angle.Degree, 200*angle.Degree)
			s.Paper.Waves = []render.Wave{w}
			r, truth := readScene(t, s, exactly(s))
			mustRead.check(t, r, truth)
			if r.Budget != nil {
				t.Logf("sheet_map %.4f, fit %.4f, marks %.3f mm off a plane", r.Budget.SheetMap.Degrees(), r.Budget.ShadowFit.Degrees(), r.Plate.ResidualMM)
			}
		})
	}
}
