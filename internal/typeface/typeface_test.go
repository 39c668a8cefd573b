//go:build !nofonts

package typeface

import "testing"

// Columns of figures stand under each other only if all ten are of one width.
func TestFiguresAreOneWidth(t *testing.T) {
	for _, f := range []*Face{Regular, Bold} {
		for _, r := range "123456789" {
			if got, want := f.Width(string(r)), f.Width("0"); got != want || got == 0 {
				t.Errorf("%q is %v em wide, 0 is %v", r, got, want)
			}
		}
	}
}

func TestHasTellsWhatCanBePrinted(t *testing.T) {
	for s, want := range map[string]bool{"": true, "Salt pan, 20° S": true, "Ōkahu – Ψ": true, "塩": false, "salt\U0001F9C2": false} {
		if got := Regular.Has(s); got != want {
			t.Errorf("Has(%q) = %v", s, got)
		}
	}
}
