//go:build !nodynamic

package photo

import (
	"image"
	"io"
)

// DecodesHEIC says whether this build can decode HEIC pixels.
const DecodesHEIC = false

func decodeHEIC(io.Reader) (image.Image, error) {
	return nil, unreadable("build the program with -tags nodynamic, as make build does, or save the photo as a JPEG",
		"this build of the program has no HEIC decoder")
}
