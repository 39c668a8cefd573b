package paper

import (
	"math"
	"testing"

	"shadowread/internal/fault"
)

func TestParser(t *testing.T) {
	parse := Parser(A4, Letter)
	for name, want := range map[string]Format{"a4": A4, "A4": A4, "letter": Letter, "LETTER": Letter} {
		if got, err := parse(name); err != nil || got != want {
			t.Errorf("%q is %v, %v, want %v", name, got, err, want)
		}
	}
	for _, name := range []string{"foolscap", "", "pocket"} {
		if _, err := parse(name); fault.Code(err) != "bad_paper" {
			t.Errorf("%q: error %v, want bad_paper", name, err)
		}
	}
	// ISO 216: A4 is 210 x 297 mm, A6 105 x 148. Letter is 8.5 x 11 inches of 25.4 mm.
	if A4.Width != 210 || A4.Height != 297 || Pocket.Width != 105 || Pocket.Height != 148 ||
		math.Abs(Letter.Width-8.5*25.4) > 1e-9 || math.Abs(Letter.Height-11*25.4) > 1e-9 {
		t.Errorf("sizes %v, %v, %v", A4, Letter, Pocket)
	}
}
