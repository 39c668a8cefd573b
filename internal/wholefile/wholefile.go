// Package wholefile writes files whole or not at all.
package wholefile

import (
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
)

// Write composes the content first, writes it to a file beside path, on the disk, and
// moves that into place; a file of that name is replaced. A failure leaves path as it
// was. An error of write comes back as composing; one of the file system as writing.
func Write(path string, write func(io.Writer) error) (composing, writing error) {
	var content bytes.Buffer
	if err := write(&content); err != nil {
		return err, nil
	}
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*.part")
	if err != nil {
		return nil, err
	}
	defer os.Remove(f.Name()) // fails once it has been moved
	_, err = f.Write(content.Bytes())
	if err := errors.Join(err, f.Chmod(0o644), f.Sync(), f.Close()); err != nil {
		return nil, err
	}
	return nil, os.Rename(f.Name(), path)
}
