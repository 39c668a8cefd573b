package instrument

import (
	"errors"
	"path/filepath"
)

// NameLens has the record, which is kept in a file, name a lens record as seen from its own
// folder, so that the two can be moved together.
func (r *Record) NameLens(file, lens string) {
	r.Lens = lens
	from, errA := filepath.Abs(filepath.Dir(file))
	to, errB := filepath.Abs(lens)
	if errors.Join(errA, errB) != nil {
		return
	}
	r.Lens = to
	if rel, err := filepath.Rel(from, to); err == nil {
		r.Lens = filepath.ToSlash(rel)
	}
}

// LensFile returns the file of the lens record that a record read from a file names, "" for
// none.
func (r *Record) LensFile(file string) string {
	lens := filepath.FromSlash(r.Lens)
	if lens == "" || filepath.IsAbs(lens) {
		return lens
	}
	return filepath.Join(filepath.Dir(file), lens)
}
