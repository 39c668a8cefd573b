//go:build nofonts

package typeface

import "shadowread/internal/fault"

// A build with the tag nofonts prints no page and draws no chart and no overlay: 0.6 MB less.
var Regular, Bold = new(Face), new(Face)

// Licence says that there is no font.
const Licence = "none in this build\n"

// Fonts fails with code "no_fonts".
func Fonts() error {
	return fault.New("no_fonts", "use a build of the program without the tag nofonts, or ask for text or JSON", "this build of the program has no fonts to print or draw with")
}
