//go:build unix

package openfile

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"shadowread/internal/fault"
	"shadowread/internal/testpipe"
)

// What is no regular file is refused at once: the test hangs where it is not.
func TestRegular(t *testing.T) {
	dir := t.TempDir()
	pipe, link, file := filepath.Join(dir, "pipe"), filepath.Join(dir, "link"), filepath.Join(dir, "file")
	testpipe.Make(t, pipe)
	if err := os.Symlink(pipe, link); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, []byte("text"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{pipe, link, dir, "/dev/zero"} {
		if _, err := Regular(path); fault.Code(err) != "not_a_file" {
			t.Errorf("%s: %v", path, err)
		}
	}
	if _, err := Regular(filepath.Join(dir, "absent")); fault.Code(err) != "unreadable_file" || !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("absent: %v", err)
	}
	f, err := Regular(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if got, err := io.ReadAll(f); string(got) != "text" || err != nil {
		t.Errorf("read %q, %v", got, err)
	}
}
