//go:build !linux

package proof

import "time"

var begun = time.Now()

// cpuTime is the wall clock where a thread's own time is not told.
func cpuTime() time.Duration { return time.Since(begun) }
