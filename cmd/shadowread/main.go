// Command shadowread reads a true heading, with its uncertainty, from a photo of a
// rod's shadow on the printed sheet.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
)

func main() {
	// The first signal cancels the context: running work ends and nothing is left
	// half-written. After it signals do again what they do by default, so that a
	// second one ends the program at once.
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop)
	os.Exit(execute(ctx, os.Args[1:], stdStreams()))
}
