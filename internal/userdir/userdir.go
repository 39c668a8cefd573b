// Package userdir says where a user's data lies.
package userdir

import (
	"os"
	"path/filepath"

	"shadowread/internal/fault"
)

// Data returns a place in the user's data folder: under shadowread in XDG_DATA_HOME, or in
// .local/share at home (XDG Base Directory Specification). what is what is looked for, "the
// log" say. It fails with code "no_home".
func Data(what, name string) (string, error) {
	data := os.Getenv("XDG_DATA_HOME")
	if !filepath.IsAbs(data) { // the specification: a relative one is to be ignored
		home, err := os.UserHomeDir()
		if err != nil {
			return "", fault.Wrap(err, "no_home", "set XDG_DATA_HOME, or name "+what, "there is no folder for %s", what)
		}
		data = filepath.Join(home, ".local", "share")
	}
	return filepath.Join(data, "shadowread", name), nil
}
