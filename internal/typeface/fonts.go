//go:build !nofonts

package typeface

import (
	_ "embed"

	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
)

// The fonts that everything is printed in.
var (
	Regular = mustParse(goregular.TTF)
	Bold    = mustParse(gobold.TTF)
)

// Licence is the licence of the embedded fonts, which goes where they go.
//
//go:embed licence.txt
var Licence string
