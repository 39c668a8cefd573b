// Package photofile opens photos that lie in folders, and lays overlays beside them.
package photofile

import (
	"errors"
	"io/fs"
	"os"

	"shadowread/internal/fault"
	"shadowread/internal/openfile"
	"shadowread/internal/photo"
)

// At is the photo at path, a regular file (see openfile.Regular). It fails with code
// "unreadable_file".
func At(path string) photo.File {
	return photo.File{Name: path, Open: func() (photo.Content, error) { return open(path) }}
}

// All are the photos at paths.
func All(paths []string) (files []photo.File) {
	for _, path := range paths {
		files = append(files, At(path))
	}
	return files
}

type content struct {
	*os.File
	size int64
}

func (c content) Size() int64 { return c.size }

func open(path string) (photo.Content, error) {
	f, err := openfile.Regular(path)
	if err != nil {
		return nil, openError(err, path)
	}
	info, err := f.Stat() // of this file, whatever has its name by now
	if err != nil {
		f.Close()
		return nil, openError(err, path)
	}
	return content{f, info.Size()}, nil
}

// openError says without the name, which is in the caller's hands, what keeps a photo shut.
func openError(err error, path string) error {
	hint := "check that the disk or card can be read"
	switch {
	case fault.Code(err) == "not_a_file":
		if info, err := os.Stat(path); err == nil && info.IsDir() {
			return fault.New("unreadable_file", "name a photo", "this is a folder, not a photo")
		}
		return fault.New("unreadable_file", "name a photo", "this is not a regular file")
	case errors.Is(err, fs.ErrNotExist):
		hint = "check the name"
	case errors.Is(err, fs.ErrPermission):
		hint = "ask for permission to read the file, or copy it"
	}
	return fault.Wrap(errors.Unwrap(err), "unreadable_file", hint, "the file cannot be opened")
}
