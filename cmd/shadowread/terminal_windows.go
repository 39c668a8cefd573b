package main

import (
	"os"

	"golang.org/x/sys/windows"
)

// colours has a console take colours (Microsoft, "Console Virtual Terminal Sequences"), which
// those before Windows 10 cannot.
func colours(f *os.File) bool {
	console := windows.Handle(f.Fd())
	var mode uint32
	if err := windows.GetConsoleMode(console, &mode); err != nil {
		return false
	}
	return windows.SetConsoleMode(console, mode|windows.ENABLE_VIRTUAL_TERMINAL_PROCESSING) == nil
}
