// Package pixels does what OpenCV is good for: it decodes a JPEG to gray, shrinks, tells
// ink from paper and solves a lens. It does so by OpenCV and
// libjpeg-turbo, or in plain Go where these are not to be had (CGO_ENABLED=0, or the build tag
// noopencv); nothing above knows which. Both come to the same pixels; plain Go refuses
// damaged JPEG data at least wherever libjpeg-turbo remarks on it.
package pixels

import (
	"errors"
)

// Gray is an 8-bit picture, rows one after the other.
type Gray struct {
	W, H int
	Pix  []uint8
}

func blank(w, h int) Gray { return Gray{w, h, make([]uint8, w*h)} }

// blankInk has room for the margin that Quads puts about it.
func blankInk(w, h int) Gray { return Gray{w, h, make([]uint8, w*h, marginRoom(w, h))} }

// engine is one way to do it.
type engine interface {
	// name says what does the work, and its version where it has one.
	name() string
	decodeJPEG(data []byte, factor int) (Gray, error)
	shrink(g Gray, factor int) Gray
	threshold(g Gray, window, below int) Gray
	solveFlat(views []FlatView, width, height int, square bool) (CameraSolution, bool)
}

// PlainGo is the name of what every build has.
const PlainGo = "plain Go"

// Engines names what this build has, the one that works unless another is asked for
// first.
func Engines() (names []string) {
	for _, e := range engines {
		names = append(names, e.name())
	}
	return names
}

// Use picks one of Engines for the whole program. It is for comparing them; nothing else
// may run meanwhile.
func Use(name string) bool {
	for _, e := range engines {
		if e.name() == name {
			at = e
			return true
		}
	}
	return false
}

var at = engines[0]

// Why a JPEG is not decoded.
var (
	// ErrDamaged is any damage that the decoder notices, and be it a single remark.
	ErrDamaged = errors.New("damaged JPEG data")
	// ErrKind is a kind that no camera writes: arithmetic coding, inks for colours, luma that
	// is coarser than its colours.
	ErrKind = errors.New("an unusual kind of JPEG")
	// ErrLarge and ErrScans are what would take more time or memory than ten sound photos.
	ErrLarge = errors.New("too large a JPEG")
	ErrScans = errors.New("a JPEG of too many scans")
)

// DecodeJPEG decodes a JPEG to gray, shrunk by a factor 1, 2, 4 or 8.
func DecodeJPEG(data []byte, factor int) (Gray, error) { return at.decodeJPEG(data, factor) }

// Shrink returns the means of whole blocks of factor x factor pixels, rounded; a remainder
// at the right and the bottom is cut off. The factor is at most the smaller side.
func Shrink(g Gray, factor int) Gray {
	if len(g.Pix) == 0 || factor == 1 {
		return g
	}
	return at.shrink(g, factor)
}

// Ink marks, with 255, the pixels that lie at least below levels under the mean of the
// window x window pixels about them (an odd number below 17); others are 0. Beyond the edge the
// picture goes on as it ends.
func Ink(g Gray, window, below int) Gray {
	if len(g.Pix) == 0 {
		return g
	}
	return at.threshold(g, window, below)
}

const (
	// MaxPixels is the largest picture that is decoded.
	MaxPixels = 100_000_000
	// mostCoefficients bounds the bytes that a JPEG of many scans takes while it is decoded.
	mostCoefficients = 3e8
	// mostScanned bounds pixels times scans: ten times those of 12 megapixels in ten scans.
	mostScanned = 1.2e9
	// mostScans is more than any camera makes: they make some ten.
	mostScans = 100
)
