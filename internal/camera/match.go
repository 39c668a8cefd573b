package camera

import (
	"slices"

	"shadowread/internal/photo"
)

// Match is a record found for a photo.
type Match struct {
	Record LensRecord
	Path   string // what it is called, a file's path where it lies in one
}

// Lenses is where lens records are kept: a folder (recordfile), or what a page was given.
type Lenses interface {
	// Find returns the record of the lens that took a photo, nil for none. Warnings are of
	// what is kept there and is no record.
	Find(photo.Facts) (*Match, []photo.Warning, error)
}

// Youngest returns the record of the lens that took a photo: same make, model, focal
// length and picture size. It returns nil when there is none.
func Youngest(records []Match, f photo.Facts) *Match {
	if !Whole(f) {
		return nil
	}
	var found []Match
	for _, m := range records {
		if m.Record.Camera.Same(Of(f)) {
			found = append(found, m)
		}
	}
	if len(found) == 0 {
		return nil
	}
	best := slices.MaxFunc(found, func(a, b Match) int { return a.Record.Solved.Compare(b.Record.Solved) })
	return &best
}

// Of returns what a photo says of its camera, for comparison with a record.
func Of(f photo.Facts) Camera {
	return Camera{
		Make: f.Make, Model: f.Model, FocalLengthMM: f.FocalLengthMM, FocalLength35MM: f.FocalLength35MM,
		WidthPX: f.Width, HeightPX: f.Height,
	}
}

// Whole reports whether the picture is, for all that the photo says, as the camera
// wrote it, neither cropped nor scaled. A decoder may have turned it.
func Whole(f photo.Facts) bool {
	return f.ExifWidth == 0 || f.ExifHeight == 0 ||
		f.ExifWidth == f.Width && f.ExifHeight == f.Height ||
		f.ExifWidth == f.Height && f.ExifHeight == f.Width
}
