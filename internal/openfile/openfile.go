// Package openfile opens the files that a user names for reading.
package openfile

import (
	"os"

	"shadowread/internal/fault"
	"shadowread/internal/wholefile"
)

// Regular opens a regular file. A named pipe would wait for a writer, and a terminal or
// another device for ever, deaf to an interrupt: they are opened without waiting, looked
// at and refused, as is a folder. How much is read of the file is the caller's to bound.
//
// The error names the file. Its code is not_a_file, or unreadable_file with the file
// system's error behind it.
func Regular(path string) (*os.File, error) {
	// Opening a device can do something to it: it is not opened where its name tells.
	info, err := os.Stat(path)
	if err == nil && !info.Mode().IsRegular() {
		return nil, notAFile(path, info)
	}
	f, err := os.OpenFile(path, os.O_RDONLY|nonblock, 0)
	if err != nil {
		return nil, fault.Wrap(wholefile.Cause(err), "unreadable_file", "check that the file is there and may be read", "%s cannot be read", path)
	}
	// Another may stand under the name by now.
	info, err = f.Stat()
	switch {
	case err != nil:
		err = fault.Wrap(wholefile.Cause(err), "unreadable_file", "check that the disk can be read", "%s cannot be read", path)
	case !info.Mode().IsRegular():
		err = notAFile(path, info)
	default:
		return f, nil
	}
	f.Close()
	return nil, err
}

func notAFile(path string, info os.FileInfo) error {
	what := "no regular file"
	if info.IsDir() {
		what = "a folder"
	}
	return fault.New("not_a_file", "give the name of a file", "%s is %s", path, what)
}
