package proof

import (
	"context"
	"strings"
	"testing"
)

// Hours wrong by 1, 2 and 12 that move the altitude by 3 degrees or more: none may pass
// without a word. The photos are those of the fixtures, with the hours typed; the truth is
// an independent renderer's. Right hours: none accused.
func TestNoWrongHourPassesInSilence(t *testing.T) {
	for _, withHeight := range []bool{true, false} {
		var s HourSums
		var table strings.Builder
		if err := Hours(context.Background(), &table, "../../fixtures/independent", withHeight, &s); err != nil {
			t.Fatal(err)
		}
		if wrong := s.OnPaper.all() + s.Beyond.all(); wrong < 15 || s.OnPaper.Silent+s.Beyond.Silent > 0 || s.Right.Refused+s.Right.Warned > 0 {
			t.Errorf("%d wrong hours; %+v\n%s", wrong, s, &table)
		}
	}
}
