//go:build nodynamic

package photo

import (
	"image"
	"io"

	"github.com/gen2brain/heic"
)

// DecodesHEIC says whether this build can decode HEIC pixels.
const DecodesHEIC = true

// The decoder runs in a sandbox (WebAssembly) inside the program. Without the build tag
// the library would, as the program starts, load a decoder found on the machine, which
// reads foreign bytes with all the user's rights.
func decodeHEIC(r io.Reader) (image.Image, error) { return heic.Decode(r) }
