package recordfile

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"shadowread/internal/camera"
	"shadowread/internal/fault"
	"shadowread/internal/photo"
	"shadowread/internal/userdir"
)

// Store is a folder of lens records, one file a lens.
type Store struct{ Dir string }

// DefaultDir returns the user's folder for lens records: shadowread/lenses
// in the user's data folder. It fails with code "no_home".
func DefaultDir() (string, error) { return userdir.Data("the lens record", "lenses") }

// Save keeps a record in the store, in place of an older one of the same lens, and
// returns the file. A camera that cannot be told from others is refused with code
// "unknown_camera", since no photo would ever match it.
func (s Store) Save(r camera.LensRecord) (path string, err error) {
	if !r.Camera.Known() {
		return "", fault.New("unknown_camera", "save the record to a file and name that when reading",
			"the photos do not say their camera model and focal length, so that the lens could not be found again")
	}
	if err := os.MkdirAll(s.Dir, 0o755); err != nil {
		return "", fault.Wrap(err, "cannot_write", "choose a folder that may be written to", "the folder for lens records cannot be made")
	}
	base := slug(r.Camera)
	for n := 1; ; n++ {
		name := base + ".toml"
		if n > 1 { // another camera whose name comes to the same letters
			name = fmt.Sprintf("%s-%d.toml", base, n)
		}
		path = filepath.Join(s.Dir, name)
		if _, err := os.Lstat(path); err == nil {
			if old, err := Lens(path); err != nil || !old.Camera.Same(r.Camera) {
				continue
			}
		}
		return path, SaveLens(path, r)
	}
}

// slug makes a file name of a camera.
func slug(c camera.Camera) string {
	var b strings.Builder
	for _, r := range strings.ToLower(fmt.Sprintf("%s %s %.4g mm %dx%d", c.Make, c.Model, c.FocalLengthMM, c.WidthPX, c.HeightPX)) {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9', r == '.' && b.Len() > 0:
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	return b.String()
}

// Find looks for the record of the lens that took a photo: same make, model, focal
// length and picture size. It returns nil when there is none. Of several the
// youngest is taken. Files that are no records are named in the warnings and do not
// stop the search.
func (s Store) Find(f photo.Facts) (*camera.Match, []photo.Warning, error) {
	if !camera.Whole(f) {
		return nil, nil, nil
	}
	entries, err := os.ReadDir(s.Dir)
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return nil, nil, nil
		}
		return nil, nil, fault.Wrap(err, "unreadable_file", "check that the folder may be read", "the folder of lens records cannot be read")
	}
	var found []camera.Match
	var warnings []photo.Warning
	for _, e := range entries {
		if filepath.Ext(e.Name()) != ".toml" || strings.HasPrefix(e.Name(), ".") {
			continue
		}
		path := filepath.Join(s.Dir, e.Name())
		r, err := Lens(path)
		if err != nil {
			warnings = append(warnings, photo.Warning{Code: "bad_lens_record", Message: fmt.Sprintf("%s: %v", e.Name(), err)})
			continue
		}
		found = append(found, camera.Match{Record: r, Path: path})
	}
	return camera.Youngest(found, f), warnings, nil
}
