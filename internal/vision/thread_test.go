package vision

import (
	"testing"

	"shadowread/internal/sheet"
)

// A plumb line is read where its image is seen to meet its shadow, and nowhere else: each
// check refuses one picture, and passes its twin.
func TestPlumbLineChecks(t *testing.T) {
	at := sheet.Point{X: 4, Y: -3}
	above := newFrame(rodDir, 0).at(5, 0) // from the foot along the thread's image
	above.X, above.Y = above.X+at.X, above.Y+at.Y
	through := func(p sheet.Point, k casting) casting {
		k.offset = p.X*k.dir.Cos() - p.Y*k.dir.Sin()
		return k
	}
	across := func(k casting) casting { return through(at, k) }
	thread := canvas{tilt: 40 * deg, view: rodDir + 180*deg, noise: 0.7, rod: Rod{Hangs: true}}
	thin := sunCast()
	thin.width, thin.from, thin.to = 2, -1, 300
	ends, second := thin, thin
	ends.to = 50
	second.dir += 50 * deg
	other := thin
	other.dir += 20 * deg
	other.depth = 0.6
	faint := second
	faint.depth = 0.2
	for _, tt := range []struct {
		name string
		c    canvas
		want error
	}{
		{"a thread and its shadow", thread.with(thread.rodAt(at, 2, 300), across(thin).layer()), nil},
		{"no thread is seen", thread.with(across(thin).layer()), ErrNoShadow},
		{"no shadow", thread.with(thread.rodAt(at, 2, 300)), ErrRodHides},
		{"the thread meets another line too", thread.with(thread.rodAt(at, 2, 300), across(thin).layer(), across(second).layer()), ErrAmbiguous},
		{"another line meets it farther up", thread.with(thread.rodAt(at, 2, 300), across(thin).layer(), through(above, other).layer()), ErrAmbiguous},
		{"that is faint", thread.with(thread.rodAt(at, 2, 300), across(thin).layer(), across(faint).layer()), nil},
		{"the shadow ends on the face", thread.with(thread.rodAt(at, 2, 300), across(ends).layer()), ErrStands},
		{"the thread ends before the paper", thread.with(thread.rodAt(at, 3, 45), across(thin).layer()), ErrStands},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := tt.c.search(t)
			st, err := s.find()
			if err != tt.want { // not one that wraps it
				t.Errorf("%v, want %v: %+v", err, tt.want, st)
			}
			if err == nil && (st.Direction-shadowDir).Signed().Abs() > 0.05*deg {
				t.Errorf("direction %v", st.Direction)
			}
		})
	}
}

// A gnomon is seen to hang where its image goes on above the height of rods.
func TestThreadIsSeenToGoUp(t *testing.T) {
	c := canvas{tilt: 30 * deg, view: rodDir + 180*deg, noise: 0.7}
	for height, want := range map[float64]bool{highRod - 5: false, 200: true} {
		s := c.with(c.rodLayer(2, height)).search(t)
		if got := s.goesUp(&Strip{Direction: shadowDir, Width: 2}); got != want {
			t.Errorf("of %.0f mm: goes up %v", height, got)
		}
	}
}
