package photo

import (
	"bytes"
	"crypto/sha256"
	"io"

	"shadowread/internal/fault"
)

// File is a photo's file in the hands of whoever has it: a folder on a disk (photofile), or a
// page in a browser, which has bytes and no paths.
type File struct {
	Name string // for people
	// Open gives its content; it fails with a fault.Error. It may be called more than once.
	Open func() (Content, error)
}

// Content is what is in a file. *io.SectionReader has all of it but Close.
type Content interface {
	io.ReaderAt
	io.Closer
	Size() int64
}

// InMemory returns a file of these bytes.
func InMemory(name string, data []byte) File {
	return File{name, func() (Content, error) { return held{bytes.NewReader(data), data}, nil }}
}

type held struct {
	*bytes.Reader
	data []byte
}

func (held) Close() error { return nil }

// open has use look at the content of a file of bearable size.
func (f File) open(use func(*io.SectionReader) error) error {
	c, err := f.content()
	if err != nil {
		return err
	}
	defer c.Close()
	return use(io.NewSectionReader(c, 0, c.Size()))
}

func (f File) content() (Content, error) {
	c, err := f.Open()
	if err != nil {
		return nil, err
	}
	switch size := c.Size(); {
	case size <= 0:
		err = unreadable(copyHint, "the file is empty")
	case size > MaxFileBytes:
		err = fault.New("too_large", "save the photo as a JPEG", "the file has %d MB, more than the %d MB that are read", size>>20, MaxFileBytes>>20)
	default:
		return c, nil
	}
	c.Close()
	return nil, err
}

// Bytes returns the whole file. Nobody may change them. It fails as ReadFacts does.
func (f File) Bytes() ([]byte, error) {
	c, err := f.content()
	if err != nil {
		return nil, err
	}
	defer c.Close()
	if h, ok := c.(held); ok {
		return h.data, nil
	}
	data := make([]byte, c.Size())
	if _, err := io.ReadFull(io.NewSectionReader(c, 0, c.Size()), data); err != nil {
		return nil, fault.Wrap(err, "unreadable_file", "check that the disk or card can be read", "the file cannot be read")
	}
	return data, nil
}

// Sum is the SHA-256 of the whole file, by which one photo is told from others. It fails as
// Bytes does.
func (f File) Sum() (sum [sha256.Size]byte, err error) {
	data, err := f.Bytes()
	if err != nil {
		return sum, err
	}
	return sha256.Sum256(data), nil
}
