package main

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
)

// No shell of Windows expands a pattern; one elsewhere has, and what is left is a name.
func TestPatternsAreExpandedOnWindows(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"a.jpg", "b.jpg", "c[1].jpg", "c1.jpg", "d.txt"} {
		if err := os.WriteFile(filepath.Join(dir, name), nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	in := func(names ...string) (paths []string) {
		for _, name := range names {
			paths = append(paths, filepath.Join(dir, name))
		}
		return paths
	}
	for _, tt := range []struct {
		system      string
		given, want []string
	}{
		{"windows", in("?.jpg"), in("a.jpg", "b.jpg")},
		{"windows", in("d.txt", "b*", "none*.jpg"), in("d.txt", "b.jpg", "none*.jpg")},
		{"windows", in("c[1].jpg", "[.jpg"), in("c[1].jpg", "[.jpg")},
		{"linux", in("?.jpg"), in("?.jpg")},
	} {
		if got := matched(tt.system, tt.given); !slices.Equal(got, tt.want) {
			t.Errorf("%s, %q: %q, want %q", tt.system, tt.given, got, tt.want)
		}
	}
}
