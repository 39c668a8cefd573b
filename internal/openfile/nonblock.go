//go:build !js

package openfile

import "syscall"

// nonblock opens without waiting. Windows, which has no pipes among files, does not heed it.
const nonblock = syscall.O_NONBLOCK
