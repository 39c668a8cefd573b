package userdir

import (
	"errors"
	"path/filepath"
	"testing"
)

func TestFolderIsThatOfTheSystem(t *testing.T) {
	root := t.TempDir() // an absolute path here
	home := filepath.Join(root, "home")
	for _, tt := range []struct {
		system, xdg, local, want string
	}{
		{"linux", "", "", filepath.Join(home, ".local", "share")},
		{"linux", "relative", root, filepath.Join(home, ".local", "share")},
		{"darwin", "", root, filepath.Join(home, "Library", "Application Support")},
		{"windows", "", root, root},
		{"windows", "", "", filepath.Join(home, "AppData", "Local")},
		{"windows", filepath.Join(root, "own"), root, filepath.Join(root, "own")},
		{"darwin", filepath.Join(root, "own"), "", filepath.Join(root, "own")},
	} {
		env := map[string]string{"XDG_DATA_HOME": tt.xdg, "LOCALAPPDATA": tt.local}
		got, err := folder(tt.system, func(k string) string { return env[k] }, func() (string, error) { return home, nil })
		if err != nil || got != tt.want {
			t.Errorf("%+v: %s %v", tt, got, err)
		}
	}
	homeless := errors.New("no home")
	if _, err := folder("linux", func(string) string { return "" }, func() (string, error) { return "", homeless }); err != homeless {
		t.Errorf("without a home: %v", err)
	}
}
