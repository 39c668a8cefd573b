package proof

import (
	"syscall"
	"time"
)

// cpuTime is what the thread has used, in user and system mode: the wall clock would
// time the other workers too. One reading is the work of one thread.
func cpuTime() time.Duration {
	const thread = 1 // RUSAGE_THREAD of Linux
	var u syscall.Rusage
	if err := syscall.Getrusage(thread, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
