//go:build !windows

package main

import "os"

// colours reports whether a terminal takes colours.
func colours(*os.File) bool { return true }
