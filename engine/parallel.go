package engine

import (
	"context"
	"errors"
	"runtime"
	"sync"
)

// each does n independent jobs on all cores. Every job writes only to its own
// place, so the result does not depend on which ran first. Once the context is done
// no more are begun.
func each(ctx context.Context, n int, do func(i int) error) error {
	errs := make([]error, n)
	next := make(chan int)
	var wg sync.WaitGroup
	for range min(n, runtime.GOMAXPROCS(0)) {
		wg.Go(func() {
			for i := range next {
				errs[i] = do(i)
			}
		})
	}
	for i := range n {
		if ctx.Err() != nil {
			break
		}
		next <- i
	}
	close(next)
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return err // and not one for each job
	}
	return errors.Join(errs...)
}
