package main

import (
	"os"

	"golang.org/x/sys/windows"
)

// takesSequences has a console take control sequences (Microsoft, "Console Virtual Terminal
// Sequences"), which those before Windows 10 cannot: it would show them as letters.
func takesSequences(f *os.File) bool {
	console := windows.Handle(f.Fd())
	var mode uint32
	if err := windows.GetConsoleMode(console, &mode); err != nil {
		return false
	}
	return windows.SetConsoleMode(console, mode|windows.ENABLE_VIRTUAL_TERMINAL_PROCESSING) == nil
}
