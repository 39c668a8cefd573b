package wholefile

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

func writing(text string, failure error) func(io.Writer) error {
	return func(w io.Writer) error {
		io.WriteString(w, text)
		return failure
	}
}

// A writer that fails half-way leaves the old file and nothing beside it.
func TestWriteIsWholeOrNotAtAll(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "board.toml")
	if err := errors.Join(Write(path, writing("old", nil))); err != nil {
		t.Fatal(err)
	}
	composing, err := Write(path, writing(strings.Repeat("new", 1<<20), io.ErrUnexpectedEOF))
	if composing != io.ErrUnexpectedEOF || err != nil {
		t.Errorf("errors %v and %v, want the writer's as composing", composing, err)
	}
	if got, err := os.ReadFile(path); err != nil || string(got) != "old" {
		t.Errorf("the file holds %q (%v), want old", got, err)
	}
	if err := errors.Join(Write(path, writing("new", nil))); err != nil {
		t.Fatal(err)
	}
	if got, err := os.ReadFile(path); err != nil || string(got) != "new" {
		t.Errorf("the file holds %q (%v), want new", got, err)
	}
	if entries, err := os.ReadDir(dir); err != nil || len(entries) != 1 {
		t.Errorf("the folder holds %v (%v), want the file alone", entries, err)
	}
}

// What the file system says comes without the name of the temporary file.
func TestCauseNamesNoFile(t *testing.T) {
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "taken"), 0o777); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]error{
		filepath.Join(dir, "nowhere", "a"): fs.ErrNotExist,
		filepath.Join(dir, "taken"):        fs.ErrExist, // POSIX rename: EISDIR, or EEXIST
	} {
		composing, err := Write(path, writing("x", nil))
		if composing != nil || err == nil {
			t.Fatalf("%s: errors %v and %v, want one of writing", path, composing, err)
		}
		cause := Cause(err)
		if !errors.Is(cause, want) && !errors.Is(cause, syscall.EISDIR) || strings.Contains(cause.Error(), dir) {
			t.Errorf("%s: %v", path, cause)
		}
	}
	if entries, err := os.ReadDir(dir); err != nil || len(entries) != 1 {
		t.Errorf("the folder holds %v (%v), want the folder alone", entries, err)
	}
}

// A file that comes while another is composed is not replaced by WriteNew.
func TestWriteNew(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "out")
	composing, writing := WriteNew(path, func(w io.Writer) error {
		if err := os.WriteFile(path, []byte("theirs"), 0o666); err != nil {
			t.Fatal(err)
		}
		_, err := io.WriteString(w, "ours")
		return err
	})
	if composing != nil || !errors.Is(writing, fs.ErrExist) {
		t.Errorf("composing %v, writing %v", composing, writing)
	}
	if got, _ := os.ReadFile(path); string(got) != "theirs" {
		t.Errorf("the file holds %q", got)
	}
	if composing, writing := WriteNew(filepath.Join(dir, "free"), func(w io.Writer) error { _, err := io.WriteString(w, "ours"); return err }); composing != nil || writing != nil {
		t.Errorf("composing %v, writing %v", composing, writing)
	}
	entries, err := os.ReadDir(dir)
	if err != nil || len(entries) != 2 {
		t.Errorf("left behind: %v, %v", entries, err)
	}
}
