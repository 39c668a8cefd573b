//go:build nofonts

package typeface

import (
	"testing"

	"shadowread/internal/fault"
)

func TestWithoutFonts(t *testing.T) {
	if code := fault.Code(Fonts()); code != "no_fonts" {
		t.Errorf("code %q", code)
	}
	if !Regular.Has("N") {
		t.Error("the title of a card in plain text is held against fonts that are not there")
	}
}
