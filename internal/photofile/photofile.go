// Package photofile opens photos that lie in folders, and lays overlays beside them.
package photofile

import (
	"errors"
	"io/fs"
	"os"

	"shadowread/internal/fault"
	"shadowread/internal/photo"
	"shadowread/internal/wholefile"
)

// At is the photo at path. It opens regular files alone, and looks before it opens, since
// opening a named pipe would wait for a writer. It fails with code "unreadable_file".
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
	info, err := os.Stat(path)
	if err != nil {
		return nil, openError(err)
	}
	switch {
	case info.IsDir():
		return nil, fault.New("unreadable_file", "name a photo", "this is a folder, not a photo")
	case !info.Mode().IsRegular():
		return nil, fault.New("unreadable_file", "name a photo", "this is not a regular file")
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, openError(err)
	}
	return content{f, info.Size()}, nil
}

func openError(err error) error {
	hint := "check that the disk or card can be read"
	switch {
	case errors.Is(err, fs.ErrNotExist):
		hint = "check the name"
	case errors.Is(err, fs.ErrPermission):
		hint = "ask for permission to read the file, or copy it"
	}
	// The path is already in the caller's hands; keep the cause only.
	return fault.Wrap(wholefile.Cause(err), "unreadable_file", hint, "the file cannot be opened")
}
