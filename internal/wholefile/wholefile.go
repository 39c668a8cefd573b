// Package wholefile writes files whole or not at all.
package wholefile

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
)

// Write composes the content first, writes it to a file beside path, on the disk, and
// moves that into place; a file of that name is replaced. A failure leaves path as it
// was. An error of write comes back as composing; one of the file system as writing.
func Write(path string, write func(io.Writer) error) (composing, writing error) {
	return compose(path, write, os.Rename)
}

// WriteNew is Write for a name that must be free: writing is fs.ErrExist where a file
// has it, one that came while this one was written included.
func WriteNew(path string, write func(io.Writer) error) (composing, writing error) {
	return compose(path, write, moveNew)
}

func compose(path string, write func(io.Writer) error, move func(temp, path string) error) (composing, writing error) {
	var content bytes.Buffer
	if err := write(&content); err != nil {
		return err, nil
	}
	// A name of our own rather than os.CreateTemp's, whose mode is not the user's.
	temp := filepath.Join(filepath.Dir(path), fmt.Sprintf(".shadowread-%016x.part", rand.Uint64()))
	f, err := os.OpenFile(temp, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return nil, err
	}
	defer os.Remove(temp) // fails once it has been moved
	_, err = f.Write(content.Bytes())
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return nil, err
	}
	return nil, move(temp, path)
}

// moveNew gives a file its name unless there is one of it. A hard link does not replace
// a file that came meanwhile, as a rename would; file systems without links are left
// with the look.
func moveNew(temp, path string) error {
	err := os.Link(temp, path)
	if err == nil || errors.Is(err, fs.ErrExist) {
		return err
	}
	if _, err := os.Lstat(path); err == nil {
		return &fs.PathError{Op: "create", Path: path, Err: fs.ErrExist}
	} else if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	return os.Rename(temp, path)
}

// Cause takes the names out of an error of the file system: a message has the file's
// already, and the other is a temporary one.
func Cause(err error) error {
	var (
		path *fs.PathError
		link *os.LinkError
	)
	switch {
	case errors.As(err, &path):
		return path.Err
	case errors.As(err, &link):
		return link.Err
	}
	return err
}
