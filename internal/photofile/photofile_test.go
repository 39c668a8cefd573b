package photofile

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"shadowread/internal/fault"
	"shadowread/internal/photo"
	"shadowread/internal/testpipe"
)

var plain = filepath.Join("..", "photo", "testdata", "photos", "exif6.jpg")

func TestAt(t *testing.T) {
	want, err := os.ReadFile(plain)
	if err != nil {
		t.Fatal(err)
	}
	file := At(plain)
	facts, err := photo.ReadFacts(file)
	if err != nil || facts.Orientation != 6 || file.Name != plain {
		t.Errorf("%v, %+v", err, facts)
	}
	if got, err := file.Bytes(); err != nil || !bytes.Equal(got, want) {
		t.Errorf("%v, %d bytes, want %d", err, len(got), len(want))
	}
}

// What is no regular file is refused at once: the test hangs where it is not.
func TestUnreadableFiles(t *testing.T) {
	dir := t.TempDir()
	pipe, sealed, empty := filepath.Join(dir, "pipe.jpg"), filepath.Join(dir, "sealed.jpg"), filepath.Join(dir, "empty.jpg")
	testpipe.Make(t, pipe)
	for path, mode := range map[string]os.FileMode{sealed: 0, empty: 0o600} {
		if err := os.WriteFile(path, nil, mode); err != nil {
			t.Fatal(err)
		}
	}
	for name, path := range map[string]string{
		"missing": filepath.Join(dir, "missing.jpg"), "folder": dir, "pipe": pipe, "device": "/dev/zero", "empty": empty, "no permission": sealed,
	} {
		_, err := photo.ReadFacts(At(path))
		if fault.Code(err) != "unreadable_file" || fault.Hint(err) == "" {
			t.Errorf("%s: %v, want unreadable_file", name, err)
		}
		if _, err := At(path).Bytes(); fault.Code(err) != "unreadable_file" {
			t.Errorf("%s, its bytes: %v, want unreadable_file", name, err)
		}
	}
}
