package main

import (
	"context"
	"sync"
)

// waiting bounds the results that wait for a slower one before them, for each job.
const waiting = 4

// inOrder does up to jobs of n things at once and hands their results on in order. It
// holds no more than jobs things and waiting*jobs results. What take returns ends it.
func inOrder[T any](ctx context.Context, n, jobs int, do func(ctx context.Context, i int) T, take func(i int, result T) error) error {
	boundHeap(max(1, min(n, jobs)))
	// A failed take ends the workers too.
	ctx, cancel := context.WithCancel(ctx)
	var running sync.WaitGroup
	defer running.Wait() // a file that is being written is finished
	defer cancel()

	queue := make(chan chan T, waiting*jobs)
	free := make(chan struct{}, jobs)
	running.Go(func() {
		defer close(queue)
		for i := range n {
			done := make(chan T, 1)
			select {
			case queue <- done:
			case <-ctx.Done():
				return
			}
			select {
			case free <- struct{}{}:
			case <-ctx.Done():
				return
			}
			running.Go(func() {
				defer func() { <-free }()
				done <- do(ctx, i)
			})
		}
	})
	for i := range n {
		var got T
		select {
		case done := <-queue: // nil, for ever empty, once the queue is given up
			select {
			case got = <-done:
			case <-ctx.Done():
			}
		case <-ctx.Done():
		}
		if err := ctx.Err(); err != nil { // what a cancelled thing returns is not handed on
			return err
		}
		if err := take(i, got); err != nil {
			return err
		}
	}
	return nil
}
