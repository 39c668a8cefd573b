//go:build !windows

package main

import "os"

// takesSequences reports whether a terminal takes control sequences, for colours or a screen.
func takesSequences(*os.File) bool { return true }
