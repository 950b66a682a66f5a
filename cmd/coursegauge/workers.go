package main

import (
	"context"
	"sync"
	"sync/atomic"
)

// eachInOrder calls work for 0 to n-1 from several workers, the lower numbers
// first, until all are done or the context ends; then it waits for the calls
// that have begun.
func eachInOrder(ctx context.Context, n, workers int, work func(i int)) {
	var next atomic.Int64
	var running sync.WaitGroup
	for range min(n, max(workers, 1)) {
		running.Go(func() {
			for ctx.Err() == nil {
				i := int(next.Add(1)) - 1
				if i >= n {
					return
				}
				work(i)
			}
		})
	}
	running.Wait()
}
