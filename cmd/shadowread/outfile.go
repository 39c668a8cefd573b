package main

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"

	"shadowread/internal/fault"
)

// writeFile writes a file whole or not at all: into a new file beside it, which
// then takes its name. An existing file is replaced only with force.
func writeFile(path string, force bool, write func(io.Writer) error) (err error) {
	if err := mayWrite(path, force); err != nil {
		return err
	}
	// A name of our own rather than os.CreateTemp's, whose mode is not the user's.
	temp := filepath.Join(filepath.Dir(path), fmt.Sprintf(".%s.%d.part", filepath.Base(path), os.Getpid()))
	f, err := os.OpenFile(temp, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return unwritable(err, path)
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(temp)
		}
	}()
	b := bufio.NewWriter(f)
	if err := write(b); err != nil {
		return err
	}
	if err := errors.Join(b.Flush(), f.Sync(), f.Close()); err != nil {
		return unwritable(err, path)
	}
	if err := os.Rename(temp, path); err != nil {
		return unwritable(err, path)
	}
	return nil
}

// mayWrite tells whether writeFile would replace what it must not.
func mayWrite(path string, force bool) error {
	info, err := os.Lstat(path)
	switch {
	case err == nil && !info.Mode().IsRegular():
		return fault.New("not_a_file", "give the name of a file", "%s is there and is no regular file", path)
	case err == nil && !force:
		return fault.New("file_exists", "give another name, or --force to replace it", "%s is there already", path)
	case err != nil && !errors.Is(err, fs.ErrNotExist):
		return unwritable(err, path)
	}
	return nil
}

func unwritable(err error, path string) error {
	return fault.Wrap(withoutPath(err), "cannot_write", "choose a folder that exists and may be written to", "%s cannot be written", path)
}

func unreadable(err error, path string) error {
	return fault.Wrap(withoutPath(err), "unreadable_file", "check that the file is there and may be read", "%s cannot be read", path)
}

// withoutPath strips the name, which the message has already or is a temporary one.
func withoutPath(err error) error {
	var cause *fs.PathError
	if errors.As(err, &cause) {
		return cause.Err
	}
	return err
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
