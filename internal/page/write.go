package page

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"

	"shadowread/internal/fault"
	"shadowread/internal/wholefile"
)

// Write writes the page into a folder, whole or not at all: beside it first, then under its
// name. An older page of ours in it is replaced; a folder with anything else in it is left
// alone. It fails with code foreign_folder or cannot_write.
func (p *Page) Write(dir string) error {
	dir = filepath.Clean(dir)
	there, err := p.replaceable(dir)
	if err != nil {
		return err
	}
	part := filepath.Join(filepath.Dir(dir), fmt.Sprintf(".shadowread-%016x.part", rand.Uint64()))
	defer os.RemoveAll(part) // fails once it has been moved
	if err := p.writeInto(part); err != nil {
		return cannotWrite(err, dir)
	}
	if !there {
		return cannotWrite(os.Rename(part, dir), dir)
	}
	old := part + ".old"
	if err := os.Rename(dir, old); err != nil {
		return cannotWrite(err, dir)
	}
	if err := os.Rename(part, dir); err != nil {
		return cannotWrite(errors.Join(err, os.Rename(old, dir)), dir)
	}
	return cannotWrite(os.RemoveAll(old), dir)
}

func cannotWrite(err error, dir string) error {
	if err == nil {
		return nil
	}
	return fault.Wrap(wholefile.Cause(err), "cannot_write", "choose a place that may be written to, on a disk with room", "the page cannot be written to %s", dir)
}

func (p *Page) writeInto(dir string) error {
	if err := os.Mkdir(dir, 0o777); err != nil {
		return err
	}
	for _, name := range p.names() {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			return err
		}
		if err := writeSynced(path, p.files[name]); err != nil {
			return err
		}
	}
	return nil
}

func writeSynced(path string, data []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	return errors.Join(err, f.Sync(), f.Close())
}

// replaceable reports whether there is a folder of this name, and refuses one with anything
// in it but a page of ours.
func (p *Page) replaceable(dir string) (there bool, err error) {
	info, err := os.Lstat(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return false, nil
	case err != nil:
		return false, cannotWrite(err, dir)
	case !info.IsDir():
		return false, foreign(dir, "it is no folder")
	}
	var held markerFile
	data, err := os.ReadFile(filepath.Join(dir, marker))
	if err == nil {
		err = json.Unmarshal(data, &held)
	}
	ours := err == nil && held.Version != ""
	err = filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		name, err := filepath.Rel(dir, path)
		if err != nil {
			return err
		}
		name = filepath.ToSlash(name)
		if _, known := held.SHA256[name]; !ours || !known && name != marker {
			return foreign(dir, "it holds "+strings.ToValidUTF8(name, "?"))
		}
		return nil
	})
	var strange *fault.Error
	if err != nil && !errors.As(err, &strange) {
		return true, cannotWrite(err, dir)
	}
	return true, err
}

func foreign(dir, why string) error {
	return fault.New("foreign_folder", "name a folder that is not there, or one with a page of this program alone", "%s is left as it is: %s, which is no part of the page", dir, why)
}
