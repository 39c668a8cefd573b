// Package recordfile keeps records of instruments and lenses in files.
package recordfile

import (
	"errors"
	"io"
	"os"
	"path/filepath"

	"shadowread/internal/camera"
	"shadowread/internal/fault"
	"shadowread/internal/instrument"
	"shadowread/internal/openfile"
	"shadowread/internal/wholefile"
)

// Lens reads the lens record in a file. It fails with code "bad_lens_record", or
// with what openfile.Regular fails with, which alone names the file.
func Lens(path string) (camera.LensRecord, error) {
	data, err := Bytes(path, camera.MaxRecordBytes, "the lens record")
	if err != nil {
		return camera.LensRecord{}, err
	}
	return camera.DecodeLensRecord(data)
}

// Instrument reads the instrument's record in a file; see instrument.Decode.
func Instrument(path string) (instrument.Record, error) {
	data, err := Bytes(path, instrument.MaxFile, path)
	if err != nil {
		return instrument.Record{}, err
	}
	return instrument.Decode(data, path)
}

// Bytes reads a record's file, called what, up to the byte by which it is too long. It fails as
// openfile.Regular does.
func Bytes(path string, most int64, what string) ([]byte, error) {
	f, err := openfile.Regular(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, most+1))
	if err != nil {
		return nil, fault.Wrap(wholefile.Cause(err), "unreadable_file", "check that the disk can be read", "%s cannot be read", what)
	}
	return data, nil
}

// SaveLens writes a lens record to a file, whole or not at all: beside it first, then
// under its name, in place of what stood there. It fails with code
// "bad_lens_record" for a record that does not validate and "cannot_write".
func SaveLens(path string, r camera.LensRecord) error {
	if err := r.Validate(); err != nil {
		return err
	}
	if info, err := os.Lstat(path); err == nil && !info.Mode().IsRegular() {
		return fault.New("cannot_write", "give the name of a file", "%s is there and is no regular file", filepath.Base(path))
	}
	if err := errors.Join(wholefile.Write(path, r.Encode)); err != nil {
		return fault.Wrap(wholefile.Cause(err), "cannot_write", "choose a folder that exists and may be written to", "the lens record %s cannot be written", filepath.Base(path))
	}
	return nil
}

// SaveInstrument writes an instrument's record to a file, whole or not at all; a file of that
// name is replaced. The error's code is cannot_write, or that of instrument.Record.Check.
func SaveInstrument(path string, r instrument.Record) error {
	composing, writing := wholefile.Write(path, r.Write)
	if writing != nil {
		return fault.Wrap(wholefile.Cause(writing), "cannot_write", "choose a folder that exists and may be written to", "%s cannot be written", path)
	}
	return composing
}
