// Command shadowread reads a true heading, with its uncertainty, from a photo of a
// rod's shadow on the printed sheet.
package main

import (
	"context"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
)

// heapOfOne is the Go heap, in bytes, beyond which garbage is collected at once: with what is
// no heap, half a gigabyte for a photo. Left to itself the heap grows to twice what is used.
const heapOfOne = 300 << 20

// boundHeap allows for so many photos at once. What GOMEMLIMIT says goes before it.
func boundHeap(photos int) {
	if os.Getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(heapOfOne * int64(photos))
	}
}

func main() {
	boundHeap(1)
	// The first signal cancels the context: running work ends and nothing is left
	// half-written. After it signals do again what they do by default, so that a
	// second one ends the program at once.
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop)
	os.Exit(execute(ctx, os.Args[1:], stdStreams()))
}
