package main

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"shadowread/internal/fault"
)

// photoEndings are those that a folder is searched for. A file that is named on the
// command line may have any: its content decides.
var photoEndings = []string{".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif"}

// overlayEnding is that of the reader's own drawings, which are no photos.
const overlayEnding = "-overlay.jpg"

// expand replaces folders by the photos in them, sorted by name, and says what it
// passes over. A folder without a photo is an error.
func expand(s *streams, args []string) ([]string, error) {
	var photos []string
	for _, arg := range matched(runtime.GOOS, args) {
		info, err := os.Stat(arg)
		if err != nil || !info.IsDir() { // what cannot be opened is the reader's to refuse
			photos = append(photos, arg)
			continue
		}
		entries, err := os.ReadDir(arg) // sorted by name
		if err != nil {
			return nil, fault.Wrap(err, "unreadable_folder", "check that the folder may be read", "the folder %s cannot be read", arg)
		}
		var found, passed []string
		for _, e := range entries {
			name := e.Name()
			path := filepath.Join(arg, name)
			info, err := os.Stat(path) // through a link
			folder := err == nil && info.IsDir()
			// A leading dot hides a file: some systems keep a stub of each photo so.
			if folder || strings.HasSuffix(name, overlayEnding) || strings.HasPrefix(name, ".") || !slices.Contains(photoEndings, strings.ToLower(filepath.Ext(name))) {
				passed = append(passed, name)
				continue
			}
			found = append(found, path)
		}
		if len(passed) > 0 {
			s.note("passed_over", "passed over in %s: %s", arg, someOf(passed))
		}
		if len(found) == 0 {
			return nil, fault.New("empty_folder", "photos end in "+strings.Join(photoEndings, ", ")+"; folders inside a folder are not searched",
				"no photo in the folder %s", arg)
		}
		photos = append(photos, found...)
	}
	return photos, nil
}

// matched puts files in place of patterns, as *.jpg, that name no file themselves. Windows leaves
// that to programs, elsewhere a shell has done it.
func matched(system string, args []string) (paths []string) {
	if system != "windows" {
		return args
	}
	for _, arg := range args {
		found, err := filepath.Glob(arg) // sorted by name
		if _, there := os.Lstat(arg); there == nil || err != nil || len(found) == 0 {
			found = []string{arg}
		}
		paths = append(paths, found...)
	}
	return paths
}

// thereIs refuses a name that no file has, as a slip of the pen; what cannot be read of
// a file is the reader's to say. The code is no_such_file.
func thereIs(path string) error {
	if _, err := os.Stat(path); !errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return fault.New("no_such_file", "check the name", "there is no file %s", path)
}

// thereAre is thereIs for a set that would be another one without a file.
func thereAre(paths []string) error {
	for _, path := range paths {
		if err := thereIs(path); err != nil {
			return err
		}
	}
	return nil
}

// someOf lists names without flooding the terminal.
func someOf(names []string) string {
	const most = 6
	if len(names) > most {
		return strings.Join(names[:most], ", ") + ", ..."
	}
	return strings.Join(names, ", ")
}
