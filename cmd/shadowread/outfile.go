package main

import (
	"bytes"
	"errors"
	"io"
	"io/fs"
	"os"

	"shadowread/internal/fault"
	"shadowread/internal/wholefile"
)

// writeFile writes a file whole or not at all. An existing file is replaced only with
// force.
func writeFile(path string, force bool, write func(io.Writer) error) error {
	if err := mayWrite(path, force); err != nil {
		return err
	}
	put := wholefile.WriteNew // a file that comes meanwhile is not replaced either
	if force {
		put = wholefile.Write
	}
	composing, writing := put(path, write)
	switch {
	case errors.Is(writing, fs.ErrExist) && !force:
		return fileExists(path)
	case writing != nil:
		return unwritable(writing, path)
	}
	return composing
}

// mayWrite tells whether writeFile would replace what it must not.
func mayWrite(path string, force bool) error {
	info, err := os.Lstat(path)
	switch {
	case err == nil && !info.Mode().IsRegular():
		return fault.New("not_a_file", "give the name of a file", "%s is there and is no regular file", path)
	case err == nil && !force:
		return fileExists(path)
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return unwritable(err, path)
	}
	return nil
}

func fileExists(path string) error {
	return fault.New("file_exists", "give another name, or --force to replace it", "%s is there already", path)
}

func unwritable(err error, path string) error {
	return fault.Wrap(wholefile.Cause(err), "cannot_write", "choose a folder that exists and may be written to", "%s cannot be written", path)
}

// composed is the content of a file that is written when all of them are ready; path
// "" is not asked for.
type composed struct {
	path    string
	content *bytes.Buffer
}

func writeComposed(s *streams, force bool, files ...composed) error {
	for _, f := range files {
		if f.path == "" {
			continue
		}
		if err := writeFile(f.path, force, func(w io.Writer) error { _, err := f.content.WriteTo(w); return err }); err != nil {
			return err
		}
		s.note("wrote", "wrote %s", f.path)
	}
	return nil
}

// mayWriteAll is mayWrite for the files that are asked for: before the work, not after.
func mayWriteAll(force bool, paths ...string) error {
	for _, path := range paths {
		if path == "" {
			continue
		}
		if err := mayWrite(path, force); err != nil {
			return err
		}
	}
	return nil
}
