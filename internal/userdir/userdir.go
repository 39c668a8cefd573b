// Package userdir says where a user's data lies.
package userdir

import (
	"os"
	"path/filepath"
	"runtime"

	"shadowread/internal/fault"
)

// Data returns a place in the user's data folder: under shadowread in XDG_DATA_HOME, or where
// programs of the system keep their data. what is what is looked for, "the log" say. It fails
// with code "no_home".
func Data(what, name string) (string, error) {
	data, err := folder(runtime.GOOS, os.Getenv, os.UserHomeDir)
	if err != nil {
		return "", fault.Wrap(err, "no_home", "set XDG_DATA_HOME, or name "+what, "there is no folder for %s", what)
	}
	return filepath.Join(data, "shadowread", name), nil
}

// folder is where programs keep data: .local/share at home (XDG Base Directory
// Specification), but Application Support on macOS (File System Programming Guide) and the local
// application data on Windows (KNOWNFOLDERID, from memory), which does not roam.
func folder(system string, env func(string) string, home func() (string, error)) (string, error) {
	if data := env("XDG_DATA_HOME"); filepath.IsAbs(data) { // the specification: a relative one is to be ignored
		return data, nil
	}
	if data := env("LOCALAPPDATA"); system == "windows" && filepath.IsAbs(data) {
		return data, nil
	}
	at, err := home()
	switch system {
	case "windows":
		return filepath.Join(at, "AppData", "Local"), err
	case "darwin":
		return filepath.Join(at, "Library", "Application Support"), err
	}
	return filepath.Join(at, ".local", "share"), err
}
