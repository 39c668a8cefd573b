package proof

import (
	"context"
	"strings"
	"testing"

	"shadowread/internal/angle"
)

// The demo photos come from the project's own renderer, the independent ones from a
// path tracer that knows nothing of this program (fixtures/README.md). The bars are
// those that the program promises: on photos of others an error of 0.03° rms and
// 0.10° at worst, and on every one an honest sigma.
func TestFixturesAreReadWithinTheBars(t *testing.T) {
	for _, tt := range []struct {
		dir                  string
		readable, unreadable int
		rms, worst           angle.Angle
		ratio                float64 // error over sigma, at worst
		refused              []string
	}{
		{"demo", 6, 1, 0.03 * angle.Degree, 0.10 * angle.Degree, 3, []string{"07-rod-hides-shadow.jpg rod_hides_shadow"}},
		{"independent", 4, 1, 0.03 * angle.Degree, 0.10 * angle.Degree, 3, []string{"dev-15.jpg no_shadow"}},
		{"bench", 1, 0, 0.03 * angle.Degree, 0.10 * angle.Degree, 3, nil},
	} {
		t.Run(tt.dir, func(t *testing.T) {
			var table strings.Builder
			s, err := Accuracy(context.Background(), &table, "../../fixtures/"+tt.dir)
			if err != nil {
				t.Fatal(err)
			}
			if s.Readable != tt.readable || s.Read != s.Readable || s.Unreadable != tt.unreadable || s.Kept != s.Unreadable {
				t.Errorf("read %d of %d readable, refused %d of %d unreadable; want all of %d and of %d",
					s.Read, s.Readable, s.Kept, s.Unreadable, tt.readable, tt.unreadable)
			}
			if s.RMS > tt.rms || s.Worst > tt.worst || s.WorstRatio > tt.ratio {
				t.Errorf("error rms %v, worst %v, over sigma %.2f; want at most %v, %v, %v", s.RMS, s.Worst, s.WorstRatio, tt.rms, tt.worst, tt.ratio)
			}
			// Both decode the same pixels and find the same outlines.
			if most := 0.005 * angle.Degree; s.Plain.Most > most || len(s.Plain.Unlike) > 0 {
				t.Errorf("without OpenCV headings differ by %v, at most %v wanted, and unlike are %v", s.Plain.Most, most, s.Plain.Unlike)
			}
			squeezed := strings.Join(strings.Fields(table.String()), " ")
			for _, want := range tt.refused {
				if !strings.Contains(squeezed, want) {
					t.Errorf("no %q", want)
				}
			}
			if t.Failed() {
				t.Log("\n" + table.String())
			}
		})
	}
}
